"""What the test's error and the narrow range of a club do to the correlation and the slope, as a table of the answer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from .correlation import correlate
from .error import RETEST, correct_for_error, correct_slope, unrestrict_range
from .results import CapacityFit, ErrorCorrection
from .scaling import RELATIVE
from .tables import numeric_design

REFERENCE_SD = {"M": 8.4, "F": 7.7}
"""Spread of capacity in mL/kg/min among 20- to 29-year-olds: Loe 2013, 3816 people in Norway, directly measured."""
REFERENCE_WORDS = "adults of 20 to 29 years (Loe 2013 PLoS ONE 8:e64319, spread of measured VO2max)"


def error_table(
    points: pd.DataFrame,
    capacity: pd.DataFrame,
    planned: CapacityFit,
    *,
    unit: str,
    step: float,
    covariates: Sequence[str],
    outcome_reliability: float | None,
    seed: int,
) -> tuple[pd.DataFrame, ErrorCorrection | None, tuple[str, ...]]:
    """Say what the test's error does to the correlation and to the planned effect, and what the narrow range does."""
    level = planned.level
    used = capacity[capacity["athlete"].astype(str).isin(points["athlete"])]
    kinds = sorted({str(k) for k in used.get("error_kind", pd.Series(dtype=str)).dropna() if str(k)})
    errors = pd.to_numeric(used.get("standard_error", pd.Series(dtype=float)), errors="coerce").dropna()
    x = points["capacity"].to_numpy(dtype=float)
    n, sd = len(x), float(np.std(x, ddof=1))
    r = correlate(points, "capacity", "outcome").estimate
    lines: list[dict] = []
    notes: list[str] = []
    correction = None
    if len(kinds) > 1:
        notes.append(
            "athletes were tested in ways that err differently (retest and prediction error), so no one correction holds"
        )
    elif not kinds or not len(errors):
        notes.append(
            "the fitness test comes with no published error, so its part in a weak correlation cannot be estimated"
        )
    elif np.isfinite(r):
        kind, error = kinds[0], float(np.sqrt((errors**2).mean()))
        argument = {"retest_sd": error} if kind == RETEST else {"prediction_see": error}
        correction = correct_for_error(
            r, n, capacity_sd=sd, outcome_reliability=outcome_reliability, level=level, seed=seed, **argument
        )
        lines.append(
            _error_row(
                "correlation", correction, correction.estimate, correction.ci_low, correction.ci_high, r
            )
        )
        design, _ = numeric_design(points, covariates)
        residual, width = _residual_sd(x, design)
        slope = correct_slope(planned.estimate, planned.standard_error, planned.df, kind=kind, error_sd=error,
                              capacity_sd=residual, n=n - width, level=level, seed=seed)  # fmt: skip
        corrected = correct_for_error(
            r, max(n - width, 4), capacity_sd=residual, level=level, seed=seed, **argument
        )
        lines.append(_error_row("effect", corrected, *(step * v for v in slope), step * planned.estimate))
        notes += correction.warnings
    if unit == RELATIVE and np.isfinite(r):
        lines.append(_range_row(points, r, sd, n))
    return pd.DataFrame(lines), correction, tuple(notes)


def _residual_sd(x: np.ndarray, design: np.ndarray) -> tuple[float, int]:
    full = np.column_stack([np.ones(len(x)), design])
    rank = int(np.linalg.matrix_rank(full))
    residual = x - full @ np.linalg.lstsq(full, x, rcond=None)[0]
    return float(np.sqrt(residual @ residual / max(len(x) - rank, 1))), rank - 1


def _error_row(
    quantity: str, c: ErrorCorrection, estimate: float, low: float, high: float, observed: float
) -> dict:
    return {
        "quantity": quantity, "error_kind": c.kind, "error_sd": c.error_sd, "capacity_sd": c.capacity_sd,
        "reliability": c.reliability, "reliability_low": c.reliability_low, "reliability_high": c.reliability_high,
        "attenuation": c.attenuation if quantity == "correlation" else 1 / c.slope_factor if c.slope_factor else np.nan,
        "observed": observed, "estimate": estimate, "ci_low": low, "ci_high": high, "n_athletes": c.n_athletes,
        "method": c.method,
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
