"""`answer_capacity`: the whole answer to "do fitter athletes respond less?" for one outcome."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from ..basics import KitError, check_choice, left_out_table
from .adjustment import choose_covariates
from .admission import judge_guards, refuse, set_aside
from .answer_results import CapacityAnswer, Refused
from .chart import join_athletes, specifications
from .drift import drift_and_recovery
from .error_table import error_table
from .fit import fit_prepared, join_capacity, prepare, t_limits
from .guards import GUARD_COLUMNS, is_heart_rate
from .leverage import influence
from .off_scale import off_scale_guard, off_scale_slopes, place_off_scale, widest
from .parts import (
    confounder_table,
    correlation_table,
    line_table,
    point_table,
    slope_table,
    within_table,
)
from .scaling import default_step
from .tables import need_columns
from .verdict import DIRECTIONS, judge

CAUTION_HEART_RATE = (
    "heart rate in grappling overstates oxygen uptake: isometric holds, heat, arousal and dehydration raise it without "
    "more aerobic work"
)
CAUTION_CAUSE = (
    "athletes were compared as they are: a difference between fitter and less fit athletes is no proof that training "
    "would change an athlete's response"
)
CAUTION_WORK = "fitter athletes may do more work in a round, which can hide or reverse a lower response"


def answer_capacity(
    rows: pd.DataFrame,
    capacity: pd.DataFrame,
    athletes: pd.DataFrame,
    outcome: str,
    *,
    smallest_effect: float,
    capacity_step: float | None = None,
    contrast_step: float | None = None,
    direction: str = "lower",
    alpha: float = 0.05,
    covariates: Sequence[str] | None = None,
    seed: int = 0,
    outcome_reliability: float | None = None,
    smallest_effects: Mapping[str, float] | None = None,
    alternative_rows: Mapping[str, pd.DataFrame] | None = None,
    limit: tuple[float, float] | None = None,
    round_variable: str = "round_no",
    chart: bool = True,
) -> CapacityAnswer | Refused:
    """Answer whether fitter athletes respond less, for one outcome.

    Parameters
    ----------
    rows : DataFrame
        One row per athlete and round (of the primary session): athlete, round_no, the outcome, and what else there is.
    capacity : DataFrame
        From `measure_capacity`.
    athletes : DataFrame
        athlete, sex, age_years, hr_max_bpm, hr_max_source, hr_limited, group ...
    outcome : str
        For example "hr_mean_bpm".
    smallest_effect : float
        The smallest effect that matters, in the unit of the outcome, between athletes who are `contrast_step` apart.
    capacity_step : float, optional
        The step that the effect is stated for; default 5 mL/kg/min, or what that is at 80 kg in another unit.
    contrast_step : float, optional
        How far apart in capacity two athletes are whose difference the verdict judges: a fit and a less fit athlete of
        one club. Default two steps (10 mL/kg/min, about two SD of trained grapplers; proposal of the kit).
    direction : {"lower", "higher", "differs"}
        Expected of fitter athletes; default "lower".
    alpha : float
        Default 0.05: intervals of 95 %, equivalence by the 90 % interval.
    covariates : sequence of str, optional
        The plan's; default the rule of `choose_covariates`.
    seed : int
        Of bootstrap and permutation; default 0.
    outcome_reliability : float, optional
        Of the outcome, where known, for the correction of the correlation.
    smallest_effects, alternative_rows : mapping, optional
        For the chart of all analyses: see `specifications`.
    limit : (float, float), optional
        Lower and upper end of the lactate analyser's scale, mmol/L; default the smallest and largest value read.
        Readings off the scale (column lactate_limit) stand at its end, and the verdict holds wherever they lie.
    round_variable : str
        "round_no" or "bout_no", for the rise over the rounds.
    chart : bool
        False leaves the chart of all analyses out (it takes most of the time).

    Returns
    -------
    CapacityAnswer or Refused
        Refused (falsy) says why and what to do: a circular test, fewer than 4 athletes, capacity that does not vary.

    Examples
    --------
    >>> club = pd.DataFrame({"athlete": list("ABCDEF"), "capacity": [44.0, 47, 50, 52, 55, 58], "unit": "mL/kg/min"})
    >>> rows = pd.DataFrame({"athlete": np.repeat(list("ABCDEF"), 2), "round_no": [1, 2] * 6,
    ...                      "lactate_mmol_l": [6, 8, 5, 8, 5, 7, 5, 6, 4, 6, 4, 5.5]})
    >>> answer_capacity(rows, club, club[["athlete"]], "lactate_mmol_l", smallest_effect=1.0, chart=False).verdict
    'supported'
    """
    check_choice(direction, DIRECTIONS, name="direction")
    need_columns(rows, ["athlete", outcome], what="the table of rounds")
    need_columns(athletes, ["athlete"], what="the table of athletes")
    need_columns(capacity, ["athlete", "capacity"], what="the table of capacity")
    if not 0 < alpha < 0.5:
        raise KitError(f"alpha is {alpha!r}, but must lie between 0 and 0.5.")
    unit = str(capacity["unit"].iloc[0]) if "unit" in capacity.columns and len(capacity) else ""
    data, off = place_off_scale(join_athletes(rows, athletes), outcome, limit)
    data, aside, guards = set_aside(data, capacity, outcome)
    if isinstance(data, Refused):
        return data
    step = default_step(unit) if capacity_step is None else float(capacity_step)
    if not step > 0:
        raise KitError(
            f"capacity is in {unit or 'no known unit'}: say with capacity_step what step an effect is stated for."
        )
    club = athletes[athletes["athlete"].astype(str).isin(data.loc[data["_used"], "athlete"].unique())]
    data = data.drop(columns="_used")
    adjustment = choose_covariates(outcome, _with_row_covariates(club, data, covariates), covariates)
    level = 1 - alpha
    apart = 2 * step if contrast_step is None else float(contrast_step)
    if not apart > 0:
        raise KitError(f"contrast_step is {contrast_step!r}, but must be above 0.")
    try:
        bare = prepare(data, capacity, outcome)
        planned = prepare(data, capacity, outcome, adjustment.covariates)
        fit, unadjusted = fit_prepared(planned, level=level), fit_prepared(bare, level=level)
    except KitError as error:
        return refuse(
            outcome, str(error), "more athletes, or values that differ between athletes", guards, aside
        )
    guards += judge_guards(outcome, capacity, club, planned, adjustment)
    points = point_table(planned, data, capacity)
    limits = [apart * v for v in (fit.ci_low, fit.ci_high, fit.ci90_low, fit.ci90_high)]
    elsewhere = off_scale_slopes(planned, off, level=level)
    if len(elsewhere):
        limits = [apart * v for v in widest(elsewhere)]
        guards.append(off_scale_guard(planned, off, elsewhere, step=step))
    verdict = judge(*limits, smallest_effect=smallest_effect, direction=direction)
    correlations, agree = correlation_table(
        points, covariates=planned.covariates, direction=direction, alpha=alpha, seed=seed
    )
    errors, correction, notes = error_table(
        points,
        capacity,
        planned,
        fit,
        unit=unit,
        step=step,
        outcome_reliability=outcome_reliability,
        seed=seed,
    )
    within, levels = within_table(data, outcome, level)
    joined = join_capacity(data, capacity)[0]
    choices = _chart(
        chart,
        data,
        capacity,
        club,
        planned,
        smallest_effect,
        apart,
        level,
        smallest_effects,
        alternative_rows,
    )
    return CapacityAnswer(
        outcome=outcome,
        capacity_unit=unit,
        direction=direction,
        capacity_step=step,
        alpha=alpha,
        effect=step * fit.estimate,
        effect_ci_low=step * fit.ci_low,
        effect_ci_high=step * fit.ci_high,
        contrast_step=apart,
        smallest_effect=float(smallest_effect),
        contrast=apart * fit.estimate,
        contrast_ci_low=limits[0],
        contrast_ci_high=limits[1],
        contrast_ci90_low=limits[2],
        contrast_ci90_high=limits[3],
        verdict=verdict,
        planned=fit,
        unadjusted=unadjusted,
        adjusted_for=planned.covariates,
        adjustment_reason=adjustment.reason,
        slopes=slope_table(planned, fit, unadjusted, joined, level),
        correlations=correlations,
        correlations_agree=agree,
        within=within,
        levels=levels,
        drift=drift_and_recovery(data, capacity, outcome, level=level, round_variable=round_variable),
        influence=_influence(points, choices, step, smallest_effect, direction, alpha),
        errors=errors,
        correction=correction,
        specifications=choices,
        activity=confounder_table(data, capacity, planned, "activity_rating", "activity rating", level),
        delay=confounder_table(data, capacity, planned, "lactate_delay_s", "sampling delay", level)
        if outcome == "lactate_mmol_l"
        else pd.DataFrame(),
        off_scale=elsewhere,
        points=points,
        line=line_table(points, fit),
        guards=pd.DataFrame(guards, columns=list(GUARD_COLUMNS)),
        cautions=((CAUTION_HEART_RATE,) if is_heart_rate(outcome) else ()) + (CAUTION_CAUSE, CAUTION_WORK),
        n_athletes=fit.n_athletes,
        n_observations=fit.n_observations,
        method=fit.method,
        left_out=pd.concat([left_out_table(aside), planned.left_out], ignore_index=True),
        warnings=tuple(dict.fromkeys([*adjustment.warnings, *fit.warnings, *notes])),
    )


def _with_row_covariates(club: pd.DataFrame, data: pd.DataFrame, covariates) -> pd.DataFrame:
    """Give planned covariates that vary from round to round an athlete's mean, so that they can be counted."""
    club = club.assign(athlete=club["athlete"].astype(str))
    for column in covariates or ():
        if (
            column in data.columns
            and column not in club.columns
            and pd.api.types.is_numeric_dtype(data[column])
        ):
            club[column] = club["athlete"].map(data.groupby("athlete")[column].mean())
    return club


def _chart(
    chart, data, capacity, club, planned, smallest_effect, apart, level, smallest_effects, alternative_rows
):
    if not chart:
        return None
    return specifications(
        data, capacity, club, planned.outcome, smallest_effect=smallest_effect, contrast_step=apart,
        covariates=planned.covariates, level=level, smallest_effects=smallest_effects, alternative_rows=alternative_rows,
    )  # fmt: skip


def _influence(points, choices, step, smallest_effect, direction, alpha) -> pd.DataFrame:
    table = influence(points, "capacity", "outcome_adjusted", level=1 - alpha)
    without = ["planned_effect", "planned_ci_low", "planned_ci_high", "verdict"]
    if choices is None:
        return table.assign(**dict.fromkeys(without[:3], np.nan), verdict="")
    lines = choices.table[choices.table["left_out_athlete"] != ""].set_index("left_out_athlete")
    lines = lines.reindex(table["athlete"])
    verdicts = []
    for _, line in lines.iterrows():
        low, high = t_limits(line["estimate"], line["standard_error"], line["df"], 1 - 2 * alpha)
        ends = [line["step"] * v for v in (line["ci_low"], line["ci_high"], low, high)]
        verdicts.append(judge(*ends, smallest_effect=smallest_effect, direction=direction))
    return table.assign(
        planned_effect=step * lines["estimate"].to_numpy(),
        planned_ci_low=step * lines["ci_low"].to_numpy(),
        planned_ci_high=step * lines["ci_high"].to_numpy(),
        verdict=verdicts,
    )
