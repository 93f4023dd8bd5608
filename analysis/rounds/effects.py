"""Effect sizes for pairs of rounds, raw units first."""

from __future__ import annotations

import pandas as pd


def paired_effects(data: pd.DataFrame, outcome: str, *, kind: str = "successive") -> pd.DataFrame:
    """Give the effect sizes of the steps from paired values, raw differences first.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    kind : {"successive", "first", "pairwise"}
        Which contrasts.

    Returns
    -------
    DataFrame
        contrast, later, earlier, measure ("difference", "d_z", "g_z", "d_av", "g_av"), estimate, ci_low, ci_high, n_athletes, method.
    """
    raise NotImplementedError
