"""What the error of a fitness test does to a correlation and a slope: two kinds of error, never mixed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from ..basics import KitError, format_number
from .adjustment import RELATIVE
from .correlation import correlate
from .fit import Prepared, fit_prepared
from .results import LEAST_RELIABILITY, CapacityFit, ErrorCorrection
from .tables import numeric_design

RETEST = "retest"
PREDICTION = "prediction"
DRAWS = 20_000


def correct_for_error(
    r: float, n: int, *, retest_sd: float | None = None, prediction_see: float | None = None, capacity_sd: float,
    outcome_reliability: float | None = None, level: float = 0.95, seed: int = 0,
) -> ErrorCorrection:  # fmt: skip
    """Correct a correlation (and give the factor for the slope) for the error of the fitness test.

    Parameters
    ----------
    r : float
        The correlation as measured, between -1 and 1.
    n : int
        Athletes, at least 4.
    retest_sd : float, optional
        Typical error of a measured capacity from test to retest, in the unit of capacity.
    prediction_see : float, optional
        Standard error of estimate of a predicted capacity, in the unit of capacity. Give one of the two, not both;
        neither is allowed where only the outcome's reliability is to be corrected for.
    capacity_sd : float
        Spread (SD) of the measured or predicted capacities of these athletes.
    outcome_reliability : float, optional
        Reliability of the outcome, above 0 and up to 1; taken as known.
    level : float
        Of the intervals; default 0.95.
    seed : int
        Of the parametric bootstrap; default 0.

    Returns
    -------
    ErrorCorrection
        `estimate` is the corrected correlation, not cut at 1; the interval is infinite (`bounded` is False) where the
        reliability cannot be separated from 0; `slope_factor` multiplies the slope on the measured capacity.

    Notes
    -----
    Retest error (the measured value scatters around the athlete's true one): reliability = 1 − sd²/SD²; r is divided by
    √reliability and the slope by the reliability. Prediction error (the true value scatters around the predicted one,
    Berkson's kind): r is divided by √(SD²/(SD² + SEE²)); the slope is not shrunk. The interval is a parametric bootstrap
    of the correlation and of the spread SD together (generalised pivots), so that the uncertainty of the reliability is
    in it. These are estimates of size; the test of the correlation remains that of the measured one.

    When to use: to say how much of a weak correlation may be the test's fault. When not: to turn a correlation that is
    too imprecise into evidence.

    References
    ----------
    Spearman C (1904) Am J Psychol 15:72-101. Berkson J (1950) J Am Stat Assoc 45:164-180.
    Krishnamoorthy K, Xia Y (2007) J Stat Plan Inference 137:2362-2379.

    Examples
    --------
    >>> result = correct_for_error(-0.45, 14, retest_sd=2.58, capacity_sd=4.6)
    >>> round(result.reliability, 2), round(result.estimate, 2), round(result.slope_factor, 2)
    (0.69, -0.54, 1.46)
    >>> round(correct_for_error(-0.45, 14, prediction_see=4.4, capacity_sd=4.6).attenuation, 2)
    0.72
    """
    kind, error = _check(r, n, retest_sd, prediction_see, capacity_sd, outcome_reliability, level)
    outcome = 1.0 if outcome_reliability is None else float(outcome_reliability)
    reliability = float(_reliability(kind, error, capacity_sd))
    low, high = reliability_interval(kind, error, capacity_sd, n, level=level)
    bounded = reliability > 0 and low > 0
    warnings: list[str] = []
    if reliability > 0:
        attenuation = math.sqrt(reliability * outcome)
        estimate = r / attenuation
    else:
        attenuation = estimate = float("nan")
    if bounded:
        ci_low, ci_high = _corrected_interval(r, n, kind, error, capacity_sd, outcome, level, seed)
    else:
        ci_low, ci_high = -math.inf, math.inf
        warnings.append(
            "the reliability of the fitness test in this group cannot be separated from 0: any corrected value is possible"
        )
    if abs(estimate) > 1:
        warnings.append(
            f"the corrected correlation is {format_number(estimate, 2)}, beyond 1: the error was taken too large for this "
            "group, or the correlation is high by chance"
        )
    factor, factor_low, factor_high = 1.0, 1.0, 1.0
    if kind == RETEST:
        factor = 1 / reliability if reliability > 0 else float("nan")
        factor_low, factor_high = (1 / high, 1 / low) if bounded else (-math.inf, math.inf)
    return ErrorCorrection(
        estimate=estimate,
        ci_low=ci_low,
        ci_high=ci_high,
        observed=float(r),
        kind=kind,
        error_sd=error,
        capacity_sd=float(capacity_sd),
        reliability=reliability,
        reliability_low=low,
        reliability_high=high,
        outcome_reliability=outcome,
        attenuation=attenuation,
        slope_factor=factor,
        slope_factor_low=factor_low,
        slope_factor_high=factor_high,
        bounded=bounded,
        n_athletes=int(n),
        method=f"correction for {kind} error; parametric bootstrap of correlation and spread, {DRAWS} draws",
        level=level,
        warnings=tuple(warnings),
    )


def correct_slope(
    slope: float, standard_error: float, df: float, *, kind: str, error_sd: float, capacity_sd: float, n: int,
    level: float = 0.95, seed: int = 0,
) -> tuple[float, float, float]:  # fmt: skip
    """Correct a slope on measured capacity for the error of the fitness test."""
    from scipy.special import stdtrit

    half = float(stdtrit(df, (1 + level) / 2)) * standard_error if df > 0 else float("nan")
    if kind != RETEST:
        return slope, slope - half, slope + half
    reliability = _reliability(kind, error_sd, capacity_sd)
    if reliability <= 0:
        return float("nan"), -math.inf, math.inf
    if reliability_interval(kind, error_sd, capacity_sd, n, level=level)[0] <= 0:
        return slope / reliability, -math.inf, math.inf
    rng = np.random.default_rng(seed)
    spread = capacity_sd * np.sqrt((n - 1) / rng.chisquare(n - 1, DRAWS))
    draws = (slope + standard_error * rng.standard_t(df, DRAWS)) / _reliability(kind, error_sd, spread)
    usable = _reliability(kind, error_sd, spread) > 0
    draws = np.where(usable, draws, -np.sign(draws) * np.inf)
    low, high = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")
    return slope / reliability, float(low), float(high)


def reliability_interval(
    kind: str, error_sd: float, capacity_sd: float, n: int, *, level: float = 0.95
) -> tuple[float, float]:
    """Return the interval of the reliability that the uncertainty of the spread leaves (chi-square, error as known)."""
    from scipy.special import chdtri

    tails = ((1 - level) / 2, (1 + level) / 2)
    spread = [capacity_sd * math.sqrt((n - 1) / chdtri(n - 1, tail)) for tail in tails]
    return float(_reliability(kind, error_sd, spread[0])), float(_reliability(kind, error_sd, spread[1]))


def unrestrict_range(r: float, *, sd: float, reference_sd: float) -> float:
    """Estimate the correlation in a group as spread in capacity as a reference group."""
    # Assumes one straight line with equal scatter over both ranges. The slope is not changed by the range.
    # Thorndike RL (1949) Personnel Selection, case 2 (formula from memory).
    if not (sd > 0 and reference_sd > 0):
        raise KitError(f"sd ({sd!r}) and reference_sd ({reference_sd!r}) must both be above 0.")
    u = reference_sd / sd
    return r * u / math.sqrt(1 + r * r * (u * u - 1))


def _reliability(kind: str, error: float, spread):
    if kind == RETEST:
        return 1 - (error / spread) ** 2
    if kind == PREDICTION:
        return spread**2 / (spread**2 + error**2)
    return spread * 0 + 1.0


def _corrected_interval(r, n, kind, error, capacity_sd, outcome, level, seed) -> tuple[float, float]:
    rng = np.random.default_rng(seed)
    chi_spread, chi_rest = rng.chisquare(n - 1, DRAWS), rng.chisquare(n - 2, DRAWS)
    normal = rng.standard_normal(DRAWS)
    if abs(r) < 1:
        t = r / math.sqrt(1 - r * r) * np.sqrt(chi_rest) - normal
        rho = t / np.sqrt(t * t + chi_spread)
    else:
        rho = np.full(DRAWS, float(r))
    reliability = _reliability(kind, error, capacity_sd * np.sqrt((n - 1) / chi_spread))
    usable = reliability > 0
    corrected = rho / np.sqrt(np.where(usable, reliability, 1.0) * outcome)
    corrected = np.where(usable, corrected, np.sign(rho) * np.inf)
    low, high = np.quantile(corrected, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")
    return float(low), float(high)


def _check(r, n, retest_sd, prediction_see, capacity_sd, outcome_reliability, level) -> tuple[str, float]:
    for name, value in (
        ("r", r), ("n", n), ("retest_sd", retest_sd), ("prediction_see", prediction_see), ("capacity_sd", capacity_sd),
        ("outcome_reliability", outcome_reliability), ("level", level),
    ):  # fmt: skip
        if isinstance(value, str | list | tuple) or (value is None and name in ("r", "n", "capacity_sd", "level")):
            raise KitError(f"{name} is {value!r}, but must be a number.")
    problems = []
    if not -1 <= r <= 1:
        problems.append(f"r is {r!r}, but a correlation lies between -1 and 1")
    if not (float(n).is_integer() and n >= 4):
        problems.append(f"n is {n!r}, but at least 4 athletes are needed")
    if retest_sd is not None and prediction_see is not None:
        problems.append(
            "retest_sd and prediction_see are two kinds of error and are never combined: give retest_sd for a measured "
            "capacity, prediction_see for one predicted by an equation"
        )
    for name, value in (("retest_sd", retest_sd), ("prediction_see", prediction_see)):
        if value is not None and not (value >= 0 and math.isfinite(value)):
            problems.append(f"{name} is {value!r}, but must be 0 or more, in the unit of capacity")
    if not (capacity_sd > 0 and math.isfinite(capacity_sd)):
        problems.append(f"capacity_sd is {capacity_sd!r}, but must be above 0 (the SD of capacity over the athletes)")
    if outcome_reliability is not None and not 0 < outcome_reliability <= 1:
        problems.append(f"outcome_reliability is {outcome_reliability!r}, but must be above 0 and up to 1")
    if not 0 < level < 1:
        problems.append(f"level is {level!r}, but must lie between 0 and 1")
    if problems:
        raise KitError("; ".join(problems) + ".")
    if retest_sd is not None:
        return RETEST, float(retest_sd)
    if prediction_see is not None:
        return PREDICTION, float(prediction_see)
    return "none", 0.0


MINIMUM_FOR_CORRECTION = 6
CANNOT = (
    "the correlation cannot be corrected for the error of the fitness test: too little is known of its reliability here"
)
REFERENCE_SD = {"M": 8.4, "F": 7.7}
"""Spread of capacity in mL/kg/min among 20- to 29-year-olds: Loe 2013, 3816 people in Norway, directly measured."""
REFERENCE_WORDS = "adults of 20 to 29 years (Loe 2013 PLoS ONE 8:e64319, spread of measured VO2max)"


def error_table(
    points: pd.DataFrame, capacity: pd.DataFrame, planned: Prepared, fit: CapacityFit, *, unit: str, step: float,
    seed: int,
) -> tuple[pd.DataFrame, ErrorCorrection | None, tuple[str, ...]]:  # fmt: skip
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
        rows, correction = _correction_rows(own, part, fit, kind, error, step, seed)
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
    part = replace(planned, rows=planned.rows[planned.rows["athlete"].isin(kept["athlete"].astype(str))].copy())
    note = "athletes were tested in ways that err differently (retest and prediction error), which are never mixed"
    try:
        if len(kept) < MINIMUM_FOR_CORRECTION:
            raise KitError("too few athletes of one kind")
        own = fit_prepared(part, level=fit.level)
    except KitError:
        return used.iloc[:0], planned, fit, [f"{note}: too few share one kind for a correction"]
    return kept, part, own, [f"{note}: the correction is for the {len(kept)} with {counts.index[0]} error"]


def _correction_rows(points, part: Prepared, fit: CapacityFit, kind, error, step, seed):
    argument = {"retest_sd": error} if kind == RETEST else {"prediction_see": error}
    common = {"level": fit.level, "seed": seed}
    found = correlate(points, "capacity", "outcome", level=fit.level)
    r, n, x = found.estimate, len(points), points["capacity"].to_numpy(dtype=float)
    correction = correct_for_error(r, n, capacity_sd=float(np.std(x, ddof=1)), **argument, **common)
    # at equal covariates capacity spreads less, and the same error weighs more
    residual, width = _residual_sd(x, numeric_design(points, part.covariates)[0])
    test = {"kind": kind, "error_sd": error, "capacity_sd": residual, "n": n - width, "seed": seed}
    slope, narrow = (
        correct_slope(fit.estimate, fit.standard_error, fit.df, level=level, **test)
        for level in (fit.level, 2 * fit.level - 1)
    )
    equal = correct_for_error(r, max(n - width, 4), capacity_sd=residual, **argument, **common)
    if not correction.sensible:
        correction = replace(correction, warnings=(*correction.warnings, CANNOT))
    seen = (r, found.ci_low, found.ci_high)
    seen_effect = tuple(step * v for v in (fit.estimate, fit.ci_low, fit.ci_high))
    sure = kind != RETEST or (equal.bounded and equal.reliability_low >= LEAST_RELIABILITY)
    ends = (correction.estimate, correction.ci_low, correction.ci_high)
    effect = _error_row("effect", equal, tuple(step * v for v in slope), seen_effect, n, sure)
    effect |= {"ci90_low": step * narrow[1] if sure else np.nan, "ci90_high": step * narrow[2] if sure else np.nan}
    return [_error_row("correlation", correction, ends, seen, n, correction.sensible), effect], correction


def _residual_sd(x: np.ndarray, design: np.ndarray) -> tuple[float, int]:
    full = np.column_stack([np.ones(len(x)), design])
    rank = int(np.linalg.matrix_rank(full))
    residual = x - full @ np.linalg.lstsq(full, x, rcond=None)[0]
    return float(np.sqrt(residual @ residual / max(len(x) - rank, 1))), rank - 1


def _error_row(quantity: str, c: ErrorCorrection, corrected: tuple, observed: tuple, n: int, sure: bool) -> dict:
    corrected = corrected if sure else (np.nan,) * 3
    left = c.attenuation if quantity == "correlation" else 1 / c.slope_factor
    return {
        "quantity": quantity, "error_kind": c.kind, "error_sd": c.error_sd, "capacity_sd": c.capacity_sd,
        "reliability": c.reliability, "reliability_low": c.reliability_low, "reliability_high": c.reliability_high,
        "attenuation": left, "observed": observed[0], "observed_ci_low": observed[1], "observed_ci_high": observed[2],
        "estimate": corrected[0], "ci_low": corrected[1], "ci_high": corrected[2], "corrected": sure, "n_athletes": n,
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


def true_contrast(errors: pd.DataFrame, fit, steps: float) -> tuple[float, ...]:
    """The contrast between athletes truly so far apart, with the retest error in its intervals; infinite where unknown."""
    rows = errors[errors["quantity"] == "effect"] if "quantity" in errors else errors
    if not len(rows) or rows["error_kind"].iloc[0] != RETEST or rows["n_athletes"].iloc[0] != fit.n_athletes:
        return (float("nan"),) * 5
    row = rows.iloc[0]
    if not row["corrected"]:
        return float("nan"), -np.inf, np.inf, -np.inf, np.inf
    return tuple(steps * row[name] for name in ("estimate", "ci_low", "ci_high", "ci90_low", "ci90_high"))


def within_bound(true: tuple[float, ...], smallest: float) -> bool:
    """Whether the corrected interval lies inside the bound too; True where nothing shrinks the slope."""
    return bool(np.isnan(true[3]) or max(abs(true[3]), abs(true[4])) < smallest)
