"""Effect sizes of paired data, intervals from noncentral distributions, and readings by the smallest effect that matters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_number

VERY_LARGE_T = 1e4
"""From here on the noncentrality is the observed value times the spread of the standard deviation, to 8 digits."""


def as_number(value, name: str) -> float:
    """Return a number as float, missing or infinite ones too, or raise a KitError for anything else."""
    try:
        return float(value)
    except (TypeError, ValueError):
        raise KitError(f"{name} is {value!r}, but must be a number.") from None


def as_numbers(values, name: str) -> np.ndarray:
    """Return numbers as an array of floats, or raise a KitError where they are none."""
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise KitError(f"{name} must hold numbers.") from None


@cache
def legendre(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights of Gauss-Legendre quadrature on -1 to 1; finding them takes longer than using them."""
    return np.polynomial.legendre.leggauss(n)


def check_level(level: float) -> float:
    """Return a confidence level, or raise a KitError where it is not between 0 and 1."""
    return check_number(level, name="level", low=0, high=1)


def noncentral_t_interval(t: float, df: float, *, level: float = 0.95) -> tuple[float, float]:
    """Give the interval of the noncentrality that a t value is compatible with."""
    # Steiger JH, Fouladi RT (1997) in Harlow, Mulaik, Steiger (eds) What if there were no significance
    # tests?
    from scipy.optimize import brentq
    from scipy.special import chdtri, nctdtr

    tail = (1 - check_level(level)) / 2
    t, df = as_number(t, "t"), as_number(df, "df")
    if not (math.isfinite(t) and df > 0):
        return math.nan, math.nan
    if t < 0:
        low, high = noncentral_t_interval(-t, df, level=level)
        return -high, -low

    if t > VERY_LARGE_T:  # beyond what scipy computes; then only the spread of the SD counts
        return tuple(t * math.sqrt(float(chdtri(df, 1 - q)) / df) for q in (tail, 1 - tail))

    def solve(probability):
        def gap(nc):
            # the noncentral t of scipy is accurate for nc >= 0; mirror it below, where a vanishing tail comes out as NaN
            return (nctdtr(df, nc, t) if nc >= 0 else 1 - np.nan_to_num(nctdtr(df, -nc, -t))) - probability

        width = 4.0
        low, high = t - width, t + width
        while gap(low) < 0:
            width *= 2
            low = t - width
        while gap(high) > 0:
            width *= 2
            high = t + width
        return brentq(gap, low, high, xtol=1e-13, rtol=1e-14)

    return solve(1 - tail), solve(tail)


def noncentral_f_interval(f: float, df_num: float, df_den: float, *, level: float = 0.95) -> tuple[float, float]:
    """Give the interval of the noncentrality that an F value is compatible with.

    Parameters
    ----------
    f : float
        Observed F.
    df_num, df_den : float
        Its degrees of freedom.
    level : float
        Default 0.95.

    Returns
    -------
    low, high : float
        Noncentralities; 0 where even no effect makes the F value look too small.

    References
    ----------
    Steiger JH (2004) Beyond the F test. Psychological Methods 9:164-182.

    Examples
    --------
    >>> low, high = noncentral_f_interval(4.0, 3, 39)
    >>> round(low, 2), round(high, 2)
    (0.48, 28.34)
    """
    from scipy.optimize import brentq
    from scipy.special import chdtri, ncfdtr

    tail = (1 - check_level(level)) / 2
    f, df_num, df_den = as_number(f, "f"), as_number(df_num, "df_num"), as_number(df_den, "df_den")
    if not (math.isfinite(f) and f >= 0 and df_num > 0 and df_den > 0 and math.isfinite(df_num + df_den)):
        return math.nan, math.nan
    if f * df_num > VERY_LARGE_T**2:  # as for t
        return tuple(f * df_num * float(chdtri(df_den, 1 - q)) / df_den for q in (tail, 1 - tail))

    def solve(probability):
        def gap(nc):
            return ncfdtr(df_num, df_den, nc, f) - probability

        if gap(0.0) <= 0:
            return 0.0
        high = 4.0 + 2 * f * df_num
        while gap(high) > 0:
            high *= 2
        return brentq(gap, 0.0, high, xtol=1e-12, rtol=1e-14)

    return solve(1 - tail), solve(tail)


def holm(p, *, most_true: int | None = None):
    """Adjust p values by Holm's step-down method; missing ones stay missing and do not count.

    Parameters
    ----------
    p : sequence of float
        Unadjusted p values, in any order.
    most_true : int, optional
        How many of the hypotheses can be true at once where a test of all of them together has been passed: no p is multiplied
        by more. Default: all of them.

    Returns
    -------
    ndarray of float
        Adjusted p values, in the same order.

    Notes
    -----
    The j-th smallest of m is multiplied by m - j + 1, or by `most_true` where that is less; the results never decrease and
    stop at 1.

    References
    ----------
    Shaffer JP (1986) Modified sequentially rejective multiple test procedures. Journal of the American Statistical Association
    81:826-831 (`most_true`).
    Holm S (1979) A simple sequentially rejective multiple test procedure. Scandinavian Journal of Statistics 6:65-70.

    Examples
    --------
    >>> [round(float(v), 3) for v in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    p = np.atleast_1d(as_numbers(p, "p"))
    if p.ndim != 1 or ((p < 0) | (p > 1)).any():
        raise KitError("p must hold p values, from 0 to 1, in one list.")
    out = np.full(p.shape, np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    m = len(order)
    factor = np.minimum(m - np.arange(m), m if most_true is None else max(int(most_true), 1))
    out[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * factor))
    return out


@dataclass(frozen=True)
class PairedEffects(Result):
    """Raw and standardised differences of paired values, later minus earlier."""

    mean_difference: float  # In the units of the outcome, with the interval of the paired t test
    ci_low: float
    ci_high: float
    sd_difference: float  # This and the next three: what the standardised sizes are made of
    sd_later: float
    sd_earlier: float
    correlation: float
    statistic: float  # The paired t test, two-sided
    df: float
    p: float
    # measure (d_z, g_z, d_av, g_av, d_av_mean_sd, g_av_mean_sd, d_rm), estimate, ci_low, ci_high, method; also by measure
    table: pd.DataFrame
    n_athletes: int  # Complete pairs
    n_left_out: int  # Left out for a missing value
    level: float  # Of the intervals
    warnings: tuple[str, ...] = ()
    method: str = "paired differences, later minus earlier"


def hedges_factor(df: float) -> float:
    """Give the factor that removes the small-sample bias of a standardised difference (exact, gamma function)."""
    # Hedges LV (1981) Distribution theory for Glass's estimator of effect size. Journal of Educational
    # Statistics 6:107-128.
    df = as_number(df, "df")
    if not df > 1 or math.isinf(df):
        return 1.0 if df > 1 else math.nan
    return math.exp(math.lgamma(df / 2) - math.lgamma((df - 1) / 2)) / math.sqrt(df / 2)


def paired_effect_sizes(later, earlier, *, level: float = 0.95) -> PairedEffects:
    """Describe the difference of paired values: raw, d_z, d_av and d_rm, with Hedges' correction.

    Parameters
    ----------
    later, earlier : array of float
        One value per athlete, in the same order; pairs with a missing value are left out.
    level : float
        Of the intervals, default 0.95.

    Returns
    -------
    PairedEffects
        Raw difference first, then the table of standardised sizes.

    Notes
    -----
    With D = later - earlier: d_z = mean D / SD of D (noncentral-t interval). d_av = mean D / sqrt((SD1^2 + SD2^2) / 2)
    (Algina-Keselman interval); d_av_mean_sd divides by the mean of the two SDs. d_rm = d_z sqrt(2 (1 - r)). Names that
    start with g are multiplied by the exact factor of Hedges with df = n - 1.

    When to use: d_z belongs to the power of a paired test and grows with the correlation of the pairs; d_av compares
    with the spread between athletes and with studies of other designs. Report the raw difference first.

    References
    ----------
    Hedges LV (1981) Journal of Educational Statistics 6:107-128. Algina J, Keselman HJ (2003) Educational and Psychological
    Measurement 63:537-553. Lakens D (2013) Frontiers in Psychology 4:863.

    Examples
    --------
    >>> sizes = paired_effect_sizes([171, 168, 175, 180.0], [165, 166, 170, 171.0])
    >>> round(sizes.mean_difference, 2), round(float(sizes.table.loc["d_z", "estimate"]), 2)
    (5.5, 1.91)
    """
    from scipy.special import stdtr, stdtrit

    check_level(level)
    later, earlier = as_numbers(later, "later"), as_numbers(earlier, "earlier")
    if later.shape != earlier.shape or later.ndim != 1:
        raise KitError("later and earlier need one value per athlete each, in the same order.")
    both = np.isfinite(later) & np.isfinite(earlier)
    b, a = later[both], earlier[both]
    n = len(a)
    difference = b - a
    spread = float(np.std(difference, ddof=1)) if n > 1 else math.nan
    size = max(np.abs(a).max(initial=0), np.abs(b).max(initial=0))
    warnings: list[str] = []
    if n < 2:
        warnings.append("Fewer than two complete pairs: no effect size can be given.")
    elif spread <= 1e-12 * size:
        spread = 0.0
        warnings.append("Every pair differs by the same amount: standardised sizes are not defined.")
    mean = float(difference.mean()) if n else math.nan
    sd_b, sd_a = (float(np.std(v, ddof=1)) if n > 1 else math.nan for v in (b, a))
    varied = n > 2 and sd_a > 0 and sd_b > 0
    r = float(np.corrcoef(a, b)[0, 1]) if varied else math.nan
    df = n - 1
    usable = n > 1 and spread > 0
    d_z = mean / spread if usable else math.nan
    t = d_z * math.sqrt(n) if usable else math.nan
    half = float(stdtrit(df, 0.5 + level / 2)) * spread / math.sqrt(n) if n > 1 else math.nan
    nc_low, nc_high = noncentral_t_interval(t, df, level=level) if usable else (math.nan, math.nan)
    root = math.sqrt(n) if n else math.nan
    rms, mean_sd = math.sqrt((sd_a**2 + sd_b**2) / 2), (sd_a + sd_b) / 2
    d_av = mean / rms if rms > 0 else math.nan
    d_av_mean = mean / mean_sd if mean_sd > 0 else math.nan
    to_av = spread / (root * rms) if rms > 0 else math.nan
    factor = hedges_factor(df)
    nan = math.nan
    noncentral, keselman = "noncentral t", "Algina and Keselman (2003)"
    rows = [
        ("d_z", d_z, nc_low / root, nc_high / root, noncentral),
        ("g_z", d_z * factor, nc_low / root * factor, nc_high / root * factor, f"{noncentral}, Hedges factor"),
        ("d_av", d_av, nc_low * to_av, nc_high * to_av, keselman),
        ("g_av", d_av * factor, nc_low * to_av * factor, nc_high * to_av * factor, f"{keselman}, Hedges factor"),
        ("d_av_mean_sd", d_av_mean, nan, nan, "no interval"),
        ("g_av_mean_sd", d_av_mean * factor, nan, nan, "no interval"),
        ("d_rm", d_z * math.sqrt(2 * (1 - r)), nan, nan, "no interval"),
    ]
    table = pd.DataFrame(rows, columns=["measure", "estimate", "ci_low", "ci_high", "method"])
    table.index = list(table["measure"])
    return PairedEffects(
        mean_difference=mean, ci_low=mean - half, ci_high=mean + half, sd_difference=spread, sd_later=sd_b,
        sd_earlier=sd_a, correlation=r, statistic=t, df=float(df),
        p=float(2 * stdtr(df, -abs(t))) if usable else math.nan, table=table, n_athletes=n,
        n_left_out=int(len(later) - n), level=level, warnings=tuple(warnings),
    )  # fmt: skip


@dataclass(frozen=True)
class BoundCurve(Result):
    """A reading for every smallest effect that could have been chosen."""

    outcome: str
    planned: float  # the bound that the plan chose, in the unit of the outcome
    readings: pd.DataFrame = field(repr=False)
    planned_verdict: str = ""
    smallest_passing: float = float("nan")
    level: float = 0.90  # of the interval that decides it: 1 - 2 alpha


def bound_curve(
    outcome: str, turns: Sequence[tuple[float, dict]], *, start: dict, planned: float, alpha: float = 0.05
) -> BoundCurve:
    """Put the readings together from the bounds at which they turn: what another smallest effect would have said.

    `turns`: the bound above which a reading holds, and the reading, in any order. `start`: the reading with a bound near 0.

    Examples
    --------
    >>> curve = bound_curve("hr", [(6.2, {"verdict": "negligible"})], start={"verdict": "supported"}, planned=5.0)
    >>> curve.planned_verdict, curve.smallest_passing
    ('supported', 6.2)
    """
    known = sorted((t for t in turns if t[0] == t[0]), key=lambda turn: turn[0])
    lines = [{"bound_from": 0.0, **start}]
    for at, reading in known:
        if at == lines[-1]["bound_from"]:
            lines[-1] = {"bound_from": at, **reading}
        else:
            lines.append({"bound_from": float(at), **reading})
    table = pd.DataFrame(lines)
    table.insert(1, "bound_to", [*table["bound_from"].iloc[1:], float("inf")])
    here = table[(table["bound_from"] < planned) & (planned <= table["bound_to"])]
    passing = known[-1][0] if known else float("nan")
    return BoundCurve(outcome, float(planned), table, str(here["verdict"].iloc[0]), float(passing), 1 - 2 * alpha)
