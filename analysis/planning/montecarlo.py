"""Monte-Carlo intervals: how sure a simulated share is."""

from __future__ import annotations

import numpy as np
import pandas as pd


def share_interval(hits, tries, *, level: float = 0.95):
    """Wilson interval of a share that was counted in simulated studies.

    Parameters
    ----------
    hits, tries : float or array
        How many studies did, out of how many.
    level : float
        Default 0.95.

    Returns
    -------
    low, high : array

    References
    ----------
    Wilson (1927) J Am Stat Assoc 22:209-212.

    Examples
    --------
    >>> [round(float(limit), 3) for limit in share_interval(80, 100)]
    [0.711, 0.867]
    """
    from scipy.stats import norm

    hits, tries = np.asarray(hits, dtype=float), np.asarray(tries, dtype=float)
    z = norm.isf((1 - level) / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = hits / tries
        centre = (share + z**2 / (2 * tries)) / (1 + z**2 / tries)
        reach = z / (1 + z**2 / tries) * np.sqrt(share * (1 - share) / tries + z**2 / (4 * tries**2))
    return np.maximum(centre - reach, 0.0), np.minimum(centre + reach, 1.0)


def with_intervals(table: pd.DataFrame, tries, *, column: str = "power") -> pd.DataFrame:
    """Add `ci_low` and `ci_high`, the Monte-Carlo interval of a column of shares.

    Parameters
    ----------
    table : DataFrame
    tries : int or array
        Studies behind each share.
    column : str
        Default "power".

    Returns
    -------
    DataFrame

    Examples
    --------
    >>> list(with_intervals(pd.DataFrame({"power": [0.5]}), 100))
    ['power', 'ci_low', 'ci_high']
    """
    low, high = share_interval(table[column] * tries, tries)
    return table.assign(ci_low=low, ci_high=high)
