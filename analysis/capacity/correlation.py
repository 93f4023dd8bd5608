"""Correlations of athletes' values: Pearson, Spearman and partial, each with an honest interval."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..basics import KitError, check_choice, left_out_table, plural
from ..basics.errors import need_columns
from .adjustment import check_circular_columns
from .results import Correlation, Levels
from .tables import athlete_table, is_text, numeric_design, usable_rows

METHODS = {"pearson": "Pearson correlation", "spearman": "Spearman rank correlation"}
INTERVALS = ("fisher", "bonett-wright", "bca")
ALTERNATIVES = ("two-sided", "less", "greater")
MINIMUM_ATHLETES = 3


def correlate(
    data: pd.DataFrame, x: str, y: str, *, method: str = "pearson", interval: str | None = None, level: float = 0.95,
    alternative: str = "two-sided", seed: int = 0, n_resamples: int = 9999,
) -> Correlation:  # fmt: skip
    """Correlate two values of the athletes.

    Parameters
    ----------
    data : DataFrame
        One row per athlete, or several, which are averaged to one (with a warning). Columns `athlete`, `x`, `y`.
    x, y : str
        Columns of numbers.
    method : {"pearson", "spearman"}
        Default "pearson".
    interval : {"fisher", "bonett-wright", "bca"}, optional
        Default "fisher" for Pearson and "bonett-wright" for Spearman. "bca": bootstrap over athletes.
    level : float
        Of the interval, between 0 and 1; default 0.95. The interval is always two-sided.
    alternative : {"two-sided", "less", "greater"}
        Of the p value; default "two-sided".
    seed : int
        Of the bootstrap; default 0.
    n_resamples : int
        Of the bootstrap; default 9999.

    Returns
    -------
    Correlation
        estimate, ci_low, ci_high, statistic (t), df, p, n_athletes, left_out ...; not-a-number with a warning where
        one of the two does not vary.

    Notes
    -----
    t = r √((n − 2) / (1 − r²)) on n − 2 degrees of freedom, for Spearman an approximation. Fisher:
    atanh r ± z / √(n − 3). Bonett and Wright: atanh r ± z √((1 + r²/2) / (n − 3)); the plain Fisher interval is too
    narrow for ranks. Rows without both values are left out and counted in `left_out`.

    References
    ----------
    Fisher RA (1921) Metron 1:3-32. Bonett DG, Wright TA (2000) Psychometrika 65:23-28, doi 10.1007/BF02294183.
    Efron B (1987) J Am Stat Assoc 82:171-185.

    Examples
    --------
    >>> d = pd.DataFrame({"athlete": list("ABCDEF"), "fit": [44, 47, 50, 52, 55, 58], "hr": [175, 171, 172, 168, 166, 167]})
    >>> result = correlate(d, "fit", "hr")
    >>> round(result.estimate, 2), result.df
    (-0.91, 4.0)
    """
    check_choice(method, METHODS, name="method")
    check_choice(alternative, ALTERNATIVES, name="alternative")
    _check_level(level)
    interval = interval or ("fisher" if method == "pearson" else "bonett-wright")
    check_choice(interval, INTERVALS, name="interval")
    data, circular = check_circular_columns(data, x, y)
    table, left_out, warnings = athlete_table(data, [x, y], left=circular)
    n = len(table)
    _need_athletes(n, MINIMUM_ATHLETES, x, y)
    a, b = table[x].to_numpy(), table[y].to_numpy()
    ranked = (a, b) if method == "pearson" else (average_ranks(a), average_ranks(b))
    r = pearson_r(*ranked)
    notes = list(warnings)
    if math.isnan(r):
        still = x if np.ptp(a) == 0 else y
        notes.append(f"{still} is the same for every athlete, so there is no correlation to speak of")
    statistic, p = t_test_of_r(r, n - 2, alternative)
    one_order = method == "spearman" and abs(r) > 1 - 1e-12
    if one_order:  # where t is infinite, the orders can be counted
        statistic, p = float("nan"), perfect_order_p(ranked[0], r, alternative)
        notes.append("the ranks agree throughout: p counts all orders, and there is no interval")
        low, high = float("nan"), float("nan")
    elif interval == "bca":
        low, high = _bca(a, b, method == "spearman", level, seed, n_resamples)
    else:
        low, high = z_interval(r, n - 3, level, rank=interval == "bonett-wright")
    if method == "spearman" and interval == "fisher":
        notes.append("the plain Fisher interval is too narrow for ranks; prefer bonett-wright")
    return Correlation(
        estimate=r, ci_low=low, ci_high=high, statistic=statistic, df=float(n - 2), p=p, n_athletes=n,
        n_observations=int(table["n_rows"].sum()), method=METHODS[method],
        interval=_interval_words(interval, n_resamples), level=level, alternative=alternative, slope=slope_of(a, b),
        left_out=left_out, warnings=tuple(notes),
    )  # fmt: skip


def partial_correlation(
    data: pd.DataFrame, x: str, y: str, *, covariates: Sequence[str], level: float = 0.95,
    alternative: str = "two-sided",
) -> Correlation:  # fmt: skip
    """Correlate two values of the athletes at equal covariates.

    Parameters
    ----------
    data : DataFrame
        One row per athlete, or several, which are averaged to one (with a warning).
    x, y : str
        Columns of numbers.
    covariates : sequence of str
        Columns to hold equal; words (sex, group) become 0/1 columns.
    level : float
        Of the interval; default 0.95.
    alternative : {"two-sided", "less", "greater"}
        Of the p value; default "two-sided".

    Returns
    -------
    Correlation
        With `adjusted_for`; df = n − 2 − k for k covariate columns.

    Notes
    -----
    The Pearson correlation of the residuals of x and y on the covariates; Fisher interval with n − k in place of n.

    References
    ----------
    Fisher RA (1924) Metron 3:329-332.

    Examples
    --------
    >>> d = pd.DataFrame({"athlete": list("ABCDEF"), "fit": [44, 47, 50, 52, 55, 58],
    ...                   "hr": [175, 171, 172, 168, 166, 167], "age": [38, 30, 33, 27, 24, 25]})
    >>> partial_correlation(d, "fit", "hr", covariates=["age"]).df
    3.0
    """
    check_choice(alternative, ALTERNATIVES, name="alternative")
    _check_level(level)
    covariates = [covariates] if isinstance(covariates, str) else list(covariates)
    need_columns(data, [x, y, *covariates])
    data, circular = check_circular_columns(data, x, y)
    texts = [c for c in covariates if is_text(data[c])]
    numbers = [c for c in covariates if c not in texts]
    table, left_out, warnings = athlete_table(data, [x, y, *numbers], texts, left=circular)
    design, _ = numeric_design(table, covariates)
    n, k = len(table), int(np.linalg.matrix_rank(np.column_stack([np.ones(len(table)), design]))) - 1
    _need_athletes(n, MINIMUM_ATHLETES + k, x, y)
    a, b = (_residuals(table[c].to_numpy(), design) for c in (x, y))
    r = pearson_r(a, b)
    notes = list(warnings)
    if math.isnan(r):
        notes.append(f"{x} or {y} does not vary at equal {', '.join(covariates)}")
    statistic, p = t_test_of_r(r, n - 2 - k, alternative)
    low, high = z_interval(r, n - k - 3, level)
    return Correlation(
        estimate=r, ci_low=low, ci_high=high, statistic=statistic, df=float(n - 2 - k), p=p, n_athletes=n,
        n_observations=int(table["n_rows"].sum()), method="partial Pearson correlation", interval="Fisher", level=level,
        alternative=alternative, slope=slope_of(a, b), adjusted_for=tuple(covariates), left_out=left_out,
        warnings=tuple(notes),
    )  # fmt: skip


def pearson_r(a: np.ndarray, b: np.ndarray) -> float:
    """Return Pearson's r, not-a-number where one of the two does not vary (beyond rounding error)."""
    u, v = a - a.mean(), b - b.mean()
    su, sv = math.sqrt(u @ u), math.sqrt(v @ v)
    tiny = 1e-12 * math.sqrt(len(a))
    if su <= tiny * max(np.abs(a).max(), 1e-300) or sv <= tiny * max(np.abs(b).max(), 1e-300):
        return float("nan")
    return float(np.clip((u / su) @ (v / sv), -1.0, 1.0))


def average_ranks(a: np.ndarray) -> np.ndarray:
    """Return ranks, ties sharing their mean; decimal numbers that are equal but for rounding are ties."""
    from scipy.stats import rankdata

    from ..models import tie_decimals

    return rankdata(np.round(a, tie_decimals(a)), axis=-1)


def perfect_order_p(ranks: np.ndarray, r: float, alternative: str) -> float:
    """Return the exact p of ranks that agree throughout: the share of all orders of the athletes that do so."""
    ties = np.unique(ranks, return_counts=True)[1]
    share = math.exp(sum(math.lgamma(t + 1) for t in ties) - math.lgamma(len(ranks) + 1))
    if alternative == "two-sided":
        mirrored = np.array_equal(np.sort(ranks), np.sort(len(ranks) + 1 - ranks))
        return min(1.0, share * (2 if mirrored else 1))
    return share if (r > 0) == (alternative == "greater") else 1.0


def t_test_of_r(r: float, df: float, alternative: str) -> tuple[float, float]:
    """Return t and p of a correlation with `df` degrees of freedom."""
    from scipy.special import stdtr

    if math.isnan(r) or df < 1:
        return float("nan"), float("nan")
    gap = 1 - r * r
    t = math.copysign(math.inf, r) if gap <= 0 else r * math.sqrt(df / gap)
    if alternative == "less":
        return t, float(stdtr(df, t))
    if alternative == "greater":
        return t, float(stdtr(df, -t))
    return t, float(2 * stdtr(df, -abs(t)))


def z_interval(r: float, weight: float, level: float, *, rank: bool = False) -> tuple[float, float]:
    """Return the interval on Fisher's scale, with standard error 1/√weight (times √(1 + r²/2) for ranks)."""
    from ..models import fisher_interval

    if abs(r) >= 1:
        return r, r
    return fisher_interval(r, weight + 3, level=level, variance_factor=1 + r * r / 2 if rank else 1.0)


def _bca(a: np.ndarray, b: np.ndarray, rank: bool, level: float, seed: int, n_resamples: int) -> tuple[float, float]:
    from ..models import bca_interval, pearson_rows, resample_indices

    def values(u, v):
        return pearson_rows(*((average_ranks(w) for w in (u, v)) if rank else (u, v)))

    order = np.lexsort((b, a))  # a seed gives the same answer in whatever order the athletes come
    a, b = a[order], b[order]
    index = resample_indices(len(a), n_resamples, seed=seed)
    others = ~np.eye(len(a), dtype=bool)
    leave_one_out = values(*(np.array([w[keep] for keep in others]) for w in (a, b)))
    found = bca_interval(values(a[index], b[index]), float(values(a, b)[0]), leave_one_out, level=level)
    return found.ci_low, found.ci_high


def _residuals(values: np.ndarray, design: np.ndarray) -> np.ndarray:
    full = np.column_stack([np.ones(len(values)), design])
    residuals = values - full @ np.linalg.lstsq(full, values, rcond=None)[0]
    return np.where(np.abs(residuals) < 1e-10 * max(np.abs(values).max(), 1e-300), 0.0, residuals)


def slope_of(a: np.ndarray, b: np.ndarray) -> float:
    """Return the slope of b on a, not-a-number where a does not vary."""
    u = a - a.mean()
    return float(u @ b / (u @ u)) if u @ u > 0 else float("nan")


def _check_level(level: float) -> None:
    if not 0 < level < 1:
        raise KitError(f"level is {level!r}, but must lie between 0 and 1 (0.95 for a 95 % interval).")


def _need_athletes(n: int, needed: int, x: str, y: str) -> None:
    if n < needed:
        raise KitError(
            f"a correlation of {x} with {y} needs at least {plural(needed, 'athlete')} with both values; "
            f"there {'is' if n == 1 else 'are'} {n}."
        )


def _interval_words(interval: str, n_resamples: int) -> str:
    words = {"fisher": "Fisher", "bonett-wright": "Bonett-Wright"}
    return words.get(interval, f"bias-corrected and accelerated bootstrap, {n_resamples} resamples of athletes")


def correlate_within(
    data: pd.DataFrame, x: str, y: str, *, level: float = 0.95, alternative: str = "two-sided"
) -> Correlation:
    """Correlate two outcomes within athletes: when an athlete's x is up, is the same athlete's y up?

    Parameters
    ----------
    data : DataFrame
        Several rows per athlete: `athlete`, `x`, `y`.
    x, y : str
        Columns of numbers.
    level : float
        Of the interval; default 0.95.
    alternative : {"two-sided", "less", "greater"}
        Of the p value; default "two-sided".

    Returns
    -------
    Correlation
        With t as `statistic`, df = rows − athletes − 1, and the common slope of y on x within athletes.

    Notes
    -----
    Repeated-measures correlation: the slope of y on x with one intercept per athlete; r = ± √(SSx / (SSx + SSres)).
    Fisher interval with df + 2 in place of n. It says nothing about whether fitter athletes differ from others: that
    is a question between athletes.

    References
    ----------
    Bland JM, Altman DG (1995) BMJ 310:446. Bakdash JZ, Marusich LR (2017) Front Psychol 8:456.

    Examples
    --------
    >>> d = pd.DataFrame({"athlete": list("AAABBBCCC"), "lactate": [3, 5, 6, 4, 6, 8, 2, 5, 5],
    ...                   "hr": [150, 158, 161, 165, 170, 176, 140, 150, 151]})
    >>> result = correlate_within(d, "lactate", "hr")
    >>> round(result.estimate, 2), result.df
    (0.99, 5.0)
    """
    check_choice(alternative, ALTERNATIVES, name="alternative")
    need_columns(data, ["athlete", x, y])
    rows, left = usable_rows(data, [x, y])
    counts = rows.groupby("athlete")[x].transform("size")
    single = counts < 2
    usable = rows[~single]
    why = "only one row with both values, which says nothing within an athlete"
    left += [{"athlete": a, "measure": f"{x}, {y}", "reason": why} for a in rows.loc[single, "athlete"]]
    k = usable["athlete"].nunique()
    df = len(usable) - k - 1
    if k < 2 or df < 1:
        raise KitError(
            f"a correlation within athletes needs at least two athletes with two or more rows of {x} and {y}; "
            f"there {'is' if k == 1 else 'are'} {plural(k, 'athlete')} with {plural(len(usable), 'row')}."
        )
    groups = usable["athlete"]
    a = (usable[x] - usable.groupby(groups)[x].transform("mean")).to_numpy()
    b = (usable[y] - usable.groupby(groups)[y].transform("mean")).to_numpy()
    a, b = _flatten(a, usable[x]), _flatten(b, usable[y])
    flat = not (a @ a > 0 and b @ b > 0)
    r = float("nan") if flat else float(np.clip(a @ b / math.sqrt((a @ a) * (b @ b)), -1, 1))
    statistic, p = t_test_of_r(r, df, alternative)
    low, high = z_interval(r, df - 1, level)
    warnings = (f"{x} or {y} does not vary within athletes",) if flat else ()
    return Correlation(
        estimate=r, ci_low=low, ci_high=high, statistic=statistic, df=float(df), p=p, n_athletes=int(k),
        n_observations=len(usable), method="repeated-measures correlation",
        interval="Fisher, with df + 2 in place of n", level=level, alternative=alternative,
        slope=float(a @ b / (a @ a)) if a @ a > 0 else float("nan"), left_out=left_out_table(left), warnings=warnings,
    )  # fmt: skip


def correlation_levels(data: pd.DataFrame, x: str, y: str, *, level: float = 0.95) -> Levels:
    """Give one pair of outcomes between athletes, within athletes, and pooled, which is the mistake.

    The pooled correlation takes rows of one athlete for independent athletes. It mixes the other two and belongs to
    neither question; it is given to be recognised, never to be reported.

    Bland JM, Altman DG (1994) BMJ 308:896; (1995) BMJ 310:446 and 310:633.
    """
    need_columns(data, ["athlete", x, y])
    within = correlate_within(data, x, y, level=level)
    rows, _ = usable_rows(data, [x, y])
    rows = rows[["athlete", x, y]]
    grouped = rows.groupby("athlete", sort=False)
    means = grouped[[x, y]].mean().reset_index()
    weights = grouped.size().to_numpy(dtype=float)
    return Levels(
        x=x, y=y, between=correlate(means, x, y, level=level), within=within,
        between_weighted=_weighted_r(means[x].to_numpy(), means[y].to_numpy(), weights),
        pooled_mistake=pearson_r(rows[x].to_numpy(), rows[y].to_numpy()), rows=rows, means=means, n_athletes=len(means),
        n_observations=len(rows), warnings=within.warnings,
    )  # fmt: skip


def _weighted_r(a: np.ndarray, b: np.ndarray, weights: np.ndarray) -> float:
    u, v = a - np.average(a, weights=weights), b - np.average(b, weights=weights)
    spread = math.sqrt((weights @ (u * u)) * (weights @ (v * v)))
    return float(weights @ (u * v) / spread) if spread > 0 else float("nan")


def _flatten(deviations: np.ndarray, values: pd.Series) -> np.ndarray:
    """Set deviations that are only rounding error to 0."""
    return np.where(np.abs(deviations) < 1e-10 * max(float(values.abs().max()), 1e-300), 0.0, deviations)
