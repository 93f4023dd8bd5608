"""Effect sizes of paired data, each under a name that says which it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .intervals import as_number, as_numbers, check_level, noncentral_t_interval


@dataclass(frozen=True)
class PairedEffects(Result):
    """Raw and standardised differences of paired values, later minus earlier.

    Parameters
    ----------
    mean_difference, ci_low, ci_high : float
        In the units of the outcome, with the interval of the paired t test.
    sd_difference, sd_later, sd_earlier, correlation : float
        What the standardised sizes are made of.
    statistic, df, p : float
        The paired t test, two-sided.
    table : DataFrame
        measure, estimate, ci_low, ci_high, method; rows are also found by measure: d_z, g_z, d_av, g_av, d_av_mean_sd,
        g_av_mean_sd, d_rm.
    n_athletes, n_left_out : int
        Complete pairs, and those left out for a missing value.
    level : float
        Of the intervals.
    warnings : tuple of str
    """

    mean_difference: float
    ci_low: float
    ci_high: float
    sd_difference: float
    sd_later: float
    sd_earlier: float
    correlation: float
    statistic: float
    df: float
    p: float
    table: pd.DataFrame
    n_athletes: int
    n_left_out: int
    level: float
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
        (
            "g_z",
            d_z * factor,
            nc_low / root * factor,
            nc_high / root * factor,
            f"{noncentral}, Hedges factor",
        ),
        ("d_av", d_av, nc_low * to_av, nc_high * to_av, keselman),
        (
            "g_av",
            d_av * factor,
            nc_low * to_av * factor,
            nc_high * to_av * factor,
            f"{keselman}, Hedges factor",
        ),
        ("d_av_mean_sd", d_av_mean, nan, nan, "no interval"),
        ("g_av_mean_sd", d_av_mean * factor, nan, nan, "no interval"),
        ("d_rm", d_z * math.sqrt(2 * (1 - r)), nan, nan, "no interval"),
    ]
    table = pd.DataFrame(rows, columns=["measure", "estimate", "ci_low", "ci_high", "method"])
    table.index = list(table["measure"])
    return PairedEffects(
        mean_difference=mean,
        ci_low=mean - half,
        ci_high=mean + half,
        sd_difference=spread,
        sd_later=sd_b,
        sd_earlier=sd_a,
        correlation=r,
        statistic=t,
        df=float(df),
        p=float(2 * stdtr(df, -abs(t))) if usable else math.nan,
        table=table,
        n_athletes=n,
        n_left_out=int(len(later) - n),
        level=level,
        warnings=tuple(warnings),
    )
