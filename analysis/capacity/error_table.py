"""What the test's error and the narrow range of a club do to the correlation and the slope, as a table of the answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from ..basics import KitError
from .correlation import correlate
from .error import RETEST, correct_for_error, correct_slope, unrestrict_range
from .fit import Prepared, fit_prepared
from .results import CapacityFit, ErrorCorrection
from .scaling import RELATIVE
from .tables import numeric_design

MINIMUM_FOR_CORRECTION = 6
REFERENCE_SD = {"M": 8.4, "F": 7.7}
"""Spread of capacity in mL/kg/min among 20- to 29-year-olds: Loe 2013, 3816 people in Norway, directly measured."""
REFERENCE_WORDS = "adults of 20 to 29 years (Loe 2013 PLoS ONE 8:e64319, spread of measured VO2max)"


def error_table(
    points: pd.DataFrame,
    capacity: pd.DataFrame,
    planned: Prepared,
    fit: CapacityFit,
    *,
    unit: str,
    step: float,
    outcome_reliability: float | None,
    seed: int,
) -> tuple[pd.DataFrame, ErrorCorrection | None, tuple[str, ...]]:
    """Say what the test's error does to the correlation and to the planned effect, and what the narrow range does."""
    used = capacity[capacity["athlete"].astype(str).isin(points["athlete"])]
    used, part, fit, notes = _one_kind(used, planned, fit)
    lines: list[dict] = []
    correction = None
    r = correlate(points, "capacity", "outcome").estimate
    sd = float(points["capacity"].std())
    kinds = used["error_kind"].unique() if "error_kind" in used.columns else []
    errors = pd.to_numeric(used.get("standard_error", pd.Series(dtype=float)), errors="coerce").dropna()
    if not notes and (len(kinds) != 1 or not kinds[0] or not len(errors)):
        notes.append(
            "the fitness test comes with no published error, so its part in a weak correlation cannot be estimated"
        )
    elif len(errors) and np.isfinite(r):
        own = points[points["athlete"].isin(used["athlete"].astype(str))]
        kind, error = str(kinds[0]), float(np.sqrt((errors**2).mean()))
        rows, correction = _correction_rows(own, part, fit, kind, error, step, outcome_reliability, seed)
        lines += rows
        notes += correction.warnings
    if unit == RELATIVE and np.isfinite(r):
        lines.append(_range_row(points, r, sd, len(points)))
    return pd.DataFrame(lines), correction, tuple(notes)


def _one_kind(used: pd.DataFrame, planned: Prepared, fit: CapacityFit):
    """Keep the athletes whose tests err in the commonest way, with their own fit, where tests err in different ways."""
    if "error_kind" not in used.columns:
        return used, planned, fit, []
    known = used[used["error_kind"].astype("string").fillna("") != ""]
    counts = known["error_kind"].value_counts()
    if len(counts) < 2:
        return used, planned, fit, []
    kept = known[known["error_kind"] == counts.index[0]]
    part = replace(
        planned, rows=planned.rows[planned.rows["athlete"].isin(kept["athlete"].astype(str))].copy()
    )
    note = "athletes were tested in ways that err differently (retest and prediction error), which are never mixed"
    try:
        if len(kept) < MINIMUM_FOR_CORRECTION:
            raise KitError("too few athletes of one kind")
        own = fit_prepared(part, level=fit.level)
    except KitError:
        return used.iloc[:0], planned, fit, [f"{note}: too few share one kind for a correction"]
    return kept, part, own, [f"{note}: the correction is for the {len(kept)} with {counts.index[0]} error"]


def _correction_rows(points, part: Prepared, fit: CapacityFit, kind, error, step, outcome_reliability, seed):
    argument = {"retest_sd": error} if kind == RETEST else {"prediction_see": error}
    common = {"level": fit.level, "seed": seed}
    found = correlate(points, "capacity", "outcome", level=fit.level)
    r, n, x = found.estimate, len(points), points["capacity"].to_numpy(dtype=float)
    correction = correct_for_error(
        r,
        n,
        capacity_sd=float(np.std(x, ddof=1)),
        outcome_reliability=outcome_reliability,
        **argument,
        **common,
    )
    # at equal covariates capacity spreads less, and the same error weighs more
    residual, width = _residual_sd(x, numeric_design(points, part.covariates)[0])
    slope = correct_slope(fit.estimate, fit.standard_error, fit.df, kind=kind, error_sd=error, capacity_sd=residual,
                          n=n - width, **common)  # fmt: skip
    equal = correct_for_error(r, max(n - width, 4), capacity_sd=residual, **argument, **common)
    seen = (r, found.ci_low, found.ci_high)
    seen_effect = tuple(step * v for v in (fit.estimate, fit.ci_low, fit.ci_high))
    return [
        _error_row(
            "correlation", correction, (correction.estimate, correction.ci_low, correction.ci_high), seen, n
        ),
        _error_row("effect", equal, tuple(step * v for v in slope), seen_effect, n),
    ], correction


def _residual_sd(x: np.ndarray, design: np.ndarray) -> tuple[float, int]:
    full = np.column_stack([np.ones(len(x)), design])
    rank = int(np.linalg.matrix_rank(full))
    residual = x - full @ np.linalg.lstsq(full, x, rcond=None)[0]
    return float(np.sqrt(residual @ residual / max(len(x) - rank, 1))), rank - 1


def _error_row(quantity: str, c: ErrorCorrection, corrected: tuple, observed: tuple, n: int) -> dict:
    left = c.attenuation if quantity == "correlation" else 1 / c.slope_factor
    return {
        "quantity": quantity, "error_kind": c.kind, "error_sd": c.error_sd, "capacity_sd": c.capacity_sd,
        "reliability": c.reliability, "reliability_low": c.reliability_low, "reliability_high": c.reliability_high,
        "attenuation": left, "observed": observed[0], "observed_ci_low": observed[1], "observed_ci_high": observed[2],
        "estimate": corrected[0], "ci_low": corrected[1], "ci_high": corrected[2], "n_athletes": n, "method": c.method,
    }  # fmt: skip


def _range_row(points: pd.DataFrame, r: float, sd: float, n: int) -> dict:
    sexes = points["sex"].astype("string").fillna("").str.upper()
    known = [REFERENCE_SD[s] for s in sexes if s in REFERENCE_SD]
    reference = float(np.mean(known)) if known else float(np.mean(list(REFERENCE_SD.values())))
    return {
        "quantity": "correlation in a wider range", "error_kind": "range", "capacity_sd": sd, "reference_sd": reference,
        "observed": r, "estimate": unrestrict_range(r, sd=sd, reference_sd=reference) if sd > 0 else np.nan,
        "n_athletes": n, "method": f"as in {REFERENCE_WORDS}; an estimate without interval",
    }  # fmt: skip
