"""Within athletes and between athletes: two different correlations, and the mistake of pooling them."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from ..basics import KitError, check_choice, left_out_table, plural
from .correlation import ALTERNATIVES, correlate, pearson_r, t_test_of_r, z_interval
from .results import Correlation, Levels
from .tables import need_columns, usable_rows


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
    left += [
        {
            "athlete": a,
            "measure": f"{x}, {y}",
            "reason": "only one row with both values, which says nothing within an athlete",
        }
        for a in rows.loc[single, "athlete"]
    ]
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
        estimate=r,
        ci_low=low,
        ci_high=high,
        statistic=statistic,
        df=float(df),
        p=p,
        n_athletes=int(k),
        n_observations=len(usable),
        method="repeated-measures correlation",
        interval="Fisher, with df + 2 in place of n",
        level=level,
        alternative=alternative,
        slope=float(a @ b / (a @ a)) if a @ a > 0 else float("nan"),
        left_out=left_out_table(left),
        warnings=warnings,
    )


def correlation_levels(data: pd.DataFrame, x: str, y: str, *, level: float = 0.95) -> Levels:
    """Give one pair of outcomes between athletes, within athletes, and pooled, which is the mistake.

    Parameters
    ----------
    data : DataFrame
        Several rows per athlete: `athlete`, `x`, `y`.
    x, y : str
        Columns of numbers.
    level : float
        Of the intervals; default 0.95.

    Returns
    -------
    Levels
        `.between`, `.within`, `.pooled_mistake` and the rows and means behind them.

    Notes
    -----
    The pooled correlation takes rows of one athlete for independent athletes. It mixes the other two and belongs to
    neither question; it is given to be recognised, never to be reported.

    References
    ----------
    Bland JM, Altman DG (1994) BMJ 308:896; (1995) BMJ 310:446 and 310:633.

    Examples
    --------
    >>> d = pd.DataFrame({"athlete": list("AAABBBCCC"), "lactate": [3, 5, 6, 4, 6, 8, 2, 5, 5],
    ...                   "hr": [150, 158, 161, 140, 146, 150, 165, 172, 173]})
    >>> levels = correlation_levels(d, "lactate", "hr")
    >>> levels.within.estimate > 0 > levels.between.estimate
    True
    """
    need_columns(data, ["athlete", x, y])
    within = correlate_within(data, x, y, level=level)
    rows, _ = usable_rows(data, [x, y])
    rows = rows[["athlete", x, y]]
    grouped = rows.groupby("athlete", sort=False)
    means = grouped[[x, y]].mean().reset_index()
    weights = grouped.size().to_numpy(dtype=float)
    return Levels(
        x=x,
        y=y,
        between=correlate(means, x, y, level=level),
        within=within,
        between_weighted=_weighted_r(means[x].to_numpy(), means[y].to_numpy(), weights),
        pooled_mistake=pearson_r(rows[x].to_numpy(), rows[y].to_numpy()),
        rows=rows,
        means=means,
        n_athletes=len(means),
        n_observations=len(rows),
        warnings=within.warnings,
    )


def _weighted_r(a: np.ndarray, b: np.ndarray, weights: np.ndarray) -> float:
    u, v = a - np.average(a, weights=weights), b - np.average(b, weights=weights)
    spread = math.sqrt((weights @ (u * u)) * (weights @ (v * v)))
    return float(weights @ (u * v) / spread) if spread > 0 else float("nan")


def _flatten(deviations: np.ndarray, values: pd.Series) -> np.ndarray:
    """Set deviations that are only rounding error to 0."""
    return np.where(np.abs(deviations) < 1e-10 * max(float(values.abs().max()), 1e-300), 0.0, deviations)
