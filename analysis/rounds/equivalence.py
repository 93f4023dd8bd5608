"""Two one-sided tests: is the change between rounds shown to be smaller than matters?"""

from __future__ import annotations

import pandas as pd


def equivalence(
    data: pd.DataFrame,
    outcome: str,
    *,
    low: float,
    high: float,
    kind: str = "successive",
    alpha: float = 0.05,
) -> pd.DataFrame:
    """Test whether differences between rounds lie within bounds (two one-sided tests).

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    low, high : float
        The bounds, in the outcome's unit; low < 0 < high.
    kind : {"successive", "first", "pairwise"}
        Which contrasts.
    alpha : float
        Level of each one-sided test.

    Returns
    -------
    DataFrame
        contrast, later, earlier, estimate, ci_low, ci_high (90 %), p_low, p_high, p (Kenward-Roger), ci_low_cr2, ci_high_cr2, p_low_cr2,
        p_high_cr2, p_cr2 (cluster-robust), equivalent (both p < alpha).
    """
    raise NotImplementedError
