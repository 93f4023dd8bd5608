"""What stands beside the verdict: bpm and percent of the measured maximum as one finding; the verdict at any other bound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from ..basics import KitError
from ..models.bound_curve import BoundCurve, bound_curve
from ..study.outcomes import OUTCOMES
from .adjustment import IN_BPM, PLANNED_RESIDUAL_DF, known_for
from .fit import CapacityFit, fit_prepared, prepare
from .results import NEGLIGIBLE, judge, judge_difference

SHARE = "percent_hr_max"
BESIDE_COLUMNS = (
    *("outcome", "planned", "adjusted_for", "contrast", "ci_low", "ci_high", "ci90_low", "ci90_high"),
    *("smallest_effect", "verdict", "n_athletes"),
)


def beside_table(
    data: pd.DataFrame,
    capacity: pd.DataFrame,
    fit: CapacityFit,
    *,
    apart: float,
    smallest_effect: float,
    smallest_effects: Mapping[str, float],
    direction: str,
    level: float,
) -> pd.DataFrame:
    """Answer the question of heart rate in bpm and in percent of the measured maximum; empty where one is not there."""
    outcome = fit.outcome
    if outcome not in IN_BPM and outcome != SHARE:
        return pd.DataFrame(columns=list(BESIDE_COLUMNS))
    lines = [_line(fit, apart, smallest_effect, direction, planned=True)]
    for other in (SHARE,) if outcome in IN_BPM else (IN_BPM[0],):
        others = tuple(c for c in fit.adjusted_for if c != "hr_max_bpm")
        covariates = others if other == SHARE else ("hr_max_bpm", *others)
        fitted = _fit(data, capacity, other, covariates, level)
        if fitted is not None:
            size = smallest_effects.get(other, OUTCOMES[other].smallest_effect)
            lines.append(_line(fitted, apart, size, direction, planned=False))
    return pd.DataFrame(lines if len(lines) > 1 else [], columns=list(BESIDE_COLUMNS))


def _fit(data, capacity, outcome: str, covariates: Sequence[str], level: float) -> CapacityFit | None:
    if outcome not in data.columns or not data[outcome].notna().any():
        return None
    rows = data
    if "hr_max_source" in data.columns:
        rows = data[known_for(data, ["hr_max_bpm"])]
    try:
        return fit_prepared(prepare(rows, capacity, outcome, covariates, least_df=PLANNED_RESIDUAL_DF), level=level)
    except KitError:
        return None


def _line(fit: CapacityFit, apart: float, smallest: float, direction: str, *, planned: bool) -> dict:
    ends = [apart * v for v in (fit.ci_low, fit.ci_high, fit.ci90_low, fit.ci90_high)]
    return {
        "outcome": fit.outcome,
        "planned": planned,
        "adjusted_for": fit.adjusted_for,
        "contrast": apart * fit.estimate,
        **dict(zip(("ci_low", "ci_high", "ci90_low", "ci90_high"), ends, strict=True)),
        "smallest_effect": float(smallest),
        "verdict": judge(*ends, smallest_effect=smallest, direction=direction),
        "n_athletes": fit.n_athletes,
    }


def fitness_by_bound(answer) -> BoundCurve:
    """Say what the verdict on fitness would be with any other smallest effect that matters."""
    ends = (
        answer.contrast_ci_low,
        answer.contrast_ci_high,
        answer.contrast_ci90_low,
        answer.contrast_ci90_high,
    )
    true = (answer.true_contrast_ci90_low, answer.true_contrast_ci90_high)
    turn = max(abs(v) for v in (*ends[2:], *(v for v in true if v == v)))
    start = judge_difference(*ends[:2], direction=answer.direction)
    turns = [(turn, {"verdict": NEGLIGIBLE})] if turn == turn and abs(turn) != float("inf") else []
    return bound_curve(
        answer.outcome, turns, start={"verdict": start}, planned=answer.smallest_effect, alpha=answer.alpha
    )
