"""Intervals from noncentral distributions: of a standardised difference and of a share of variance."""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from ..basics import KitError, check_number

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
