"""Does one athlete carry the result? Leave-one-out, Cook's distance, and one robust correlation."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError
from .correlation import pearson_r, t_test_of_r, z_interval
from .guards import check_circular_columns
from .tables import athlete_table

INFLUENCE_COLUMNS = (
    "athlete",
    "estimate",
    "ci_low",
    "ci_high",
    "statistic",
    "df",
    "p",
    "slope",
    "cooks_distance",
    "leverage",
    "studentized_residual",
    "n_athletes",
    "method",
)


def influence(data: pd.DataFrame, x: str, y: str, *, level: float = 0.95) -> pd.DataFrame:
    """Leave each athlete out in turn and say how far that athlete pulls the result.

    Parameters
    ----------
    data : DataFrame
        One row per athlete, or several, which are averaged to one. Columns `athlete`, `x`, `y`.
    x, y : str
        Columns of numbers.
    level : float
        Of the intervals; default 0.95.

    Returns
    -------
    DataFrame
        One line per athlete: the Pearson correlation without that athlete (estimate, ci_low, ci_high, statistic, df, p)
        and the slope; and from the fit with everybody cooks_distance, leverage, studentized_residual (external). The
        range of the correlations stands in `.attrs["range"]`. Nobody is removed.

    Notes
    -----
    Cook's distance = e² h / (2 s² (1 − h)²) for the line of y on x.

    References
    ----------
    Cook RD (1977) Technometrics 19:15-18.

    Examples
    --------
    >>> d = pd.DataFrame({"athlete": list("ABCDEF"), "fit": [44, 47, 50, 52, 55, 58], "hr": [175, 171, 172, 168, 166, 167]})
    >>> table = influence(d, "fit", "hr")
    >>> table.loc[table["cooks_distance"].idxmax(), "athlete"]
    'F'
    """
    data, circular = check_circular_columns(data, x, y)
    table, _, _ = athlete_table(data, [x, y], left=circular)
    n = len(table)
    if n < 4:
        raise KitError(f"leaving one athlete out needs at least 4 athletes with {x} and {y}; there are {n}.")
    a, b = table[x].to_numpy(), table[y].to_numpy()
    leverage, cook, student = _line_diagnostics(a, b)
    lines = []
    for i in range(n):
        u, v = np.delete(a, i), np.delete(b, i)
        r = pearson_r(u, v)
        statistic, p = t_test_of_r(r, n - 3, "two-sided")
        low, high = z_interval(r, n - 4, level)
        spread = (u - u.mean()) @ (u - u.mean())
        slope = float((u - u.mean()) @ v / spread) if spread > 0 else float("nan")
        lines.append((table["athlete"][i], r, low, high, statistic, float(n - 3), p, slope))
    result = pd.DataFrame(lines, columns=list(INFLUENCE_COLUMNS[:8]))
    result = result.assign(
        cooks_distance=cook,
        leverage=leverage,
        studentized_residual=student,
        n_athletes=n - 1,
        method="Pearson correlation without this athlete",
    )
    result.attrs["range"] = (float(result["estimate"].min()), float(result["estimate"].max()))
    return result


def robust_correlation(x: np.ndarray, y: np.ndarray) -> float:
    """Return the percentage-bend correlation, in which the outer fifth of each value counts less."""
    # Wilcox RR (1994) Psychometrika 59:601-616.
    import pingouin

    try:
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    except (TypeError, ValueError):
        raise KitError("x and y must hold numbers, one per athlete.") from None
    if x.shape != y.shape or x.ndim != 1:
        raise KitError("x and y need one number per athlete each, in the same order.")
    both = np.isfinite(x) & np.isfinite(y)
    x, y = x[both], y[both]
    if len(x) < 5 or min(_middle_spread(x), _middle_spread(y)) <= 0:
        return float("nan")
    return float(pingouin.corr(x, y, method="percbend")["r"].iloc[0])


def _middle_spread(values: np.ndarray) -> float:
    """The distance from the median within which four fifths of the values lie."""
    distance = np.sort(np.abs(values - np.median(values)))
    return float(distance[int(0.8 * len(values)) - 1])


def _line_diagnostics(a: np.ndarray, b: np.ndarray):
    n = len(a)
    u = a - a.mean()
    if not u @ u > 0:
        nothing = np.full(n, np.nan)
        return nothing, nothing, nothing
    leverage = 1 / n + u * u / (u @ u)
    residual = b - b.mean() - (u @ b / (u @ u)) * u
    sse = residual @ residual
    variance = sse / (n - 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        cook = residual**2 * leverage / (2 * variance * (1 - leverage) ** 2)
        deleted = (sse - residual**2 / (1 - leverage)) / (n - 3)
        student = residual / np.sqrt(deleted * (1 - leverage))
    return leverage, cook, student
