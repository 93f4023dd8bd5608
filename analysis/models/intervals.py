"""Intervals from noncentral distributions: of a standardised difference and of a share of variance."""

from __future__ import annotations

import math

import numpy as np

from ..basics import KitError


def check_level(level: float) -> float:
    """Return a confidence level, or raise a KitError where it is not between 0 and 1."""
    if not 0 < level < 1:
        raise KitError(f"level is {level}, but must lie between 0 and 1, for example 0.95.")
    return float(level)


def noncentral_t_interval(t: float, df: float, *, level: float = 0.95) -> tuple[float, float]:
    """Give the interval of the noncentrality that a t value is compatible with.

    Parameters
    ----------
    t : float
        Observed t.
    df : float
        Its degrees of freedom.
    level : float
        Default 0.95.

    Returns
    -------
    low, high : float
        Noncentralities at which t is the upper and the lower (1 - level) / 2 quantile.

    References
    ----------
    Steiger JH, Fouladi RT (1997) in Harlow, Mulaik, Steiger (eds) What if there were no significance tests?

    Examples
    --------
    >>> low, high = noncentral_t_interval(2.0, 13)
    >>> round(low, 3), round(high, 3)
    (-0.136, 4.069)
    """
    from scipy.optimize import brentq
    from scipy.special import nctdtr

    tail = (1 - check_level(level)) / 2
    if not (math.isfinite(t) and df > 0):
        return math.nan, math.nan
    if t < 0:
        low, high = noncentral_t_interval(-t, df, level=level)
        return -high, -low

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


def noncentral_f_interval(
    f: float, df_num: float, df_den: float, *, level: float = 0.95
) -> tuple[float, float]:
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
    from scipy.special import ncfdtr

    tail = (1 - check_level(level)) / 2
    if not (math.isfinite(f) and f >= 0 and df_num > 0 and df_den > 0):
        return math.nan, math.nan

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


def eta2_interval(f: float, df_num: float, df_den: float, *, level: float = 0.90) -> tuple[float, float]:
    """Give the interval of partial eta squared that an F value is compatible with.

    Parameters
    ----------
    f : float
        Observed F.
    df_num, df_den : float
        Its degrees of freedom.
    level : float
        Default 0.90: since eta squared cannot be negative, a 90 % interval that leaves out 0 goes with p < .05.

    Returns
    -------
    low, high : float
        Between 0 and 1.

    Notes
    -----
    With noncentrality L, eta squared is L / (L + df_den), as F = (L / df_num) gives it from F.

    References
    ----------
    Steiger JH (2004) Beyond the F test. Psychological Methods 9:164-182.

    Examples
    --------
    >>> low, high = eta2_interval(4.0, 3, 39)
    >>> 0 < low < 3 * 4.0 / (3 * 4.0 + 39) < high < 1
    True
    """
    low, high = noncentral_f_interval(f, df_num, df_den, level=level)
    return low / (low + df_den), high / (high + df_den)
