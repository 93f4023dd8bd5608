"""Monte-Carlo intervals: how sure a simulated share is."""

from __future__ import annotations

import numpy as np
import pandas as pd


def share_interval(hits, tries, *, level: float = 0.95):
    """Wilson interval of a share that was counted in simulated studies."""
    # Source: Wilson (1927) J Am Stat Assoc 22:209-212.
    from scipy.stats import norm

    hits, tries = np.asarray(hits, dtype=float), np.asarray(tries, dtype=float)
    z = norm.isf((1 - level) / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = hits / tries
        centre = (share + z**2 / (2 * tries)) / (1 + z**2 / tries)
        reach = z / (1 + z**2 / tries) * np.sqrt(share * (1 - share) / tries + z**2 / (4 * tries**2))
    return np.maximum(centre - reach, 0.0), np.minimum(centre + reach, 1.0)


def with_intervals(table: pd.DataFrame, tries, *, column: str = "power") -> pd.DataFrame:
    """Add `ci_low` and `ci_high`, the Monte-Carlo interval of a column of shares."""
    low, high = share_interval(table[column] * tries, tries)
    return table.assign(ci_low=low, ci_high=high)
