"""The four honest labels of a step from one round to another."""

from __future__ import annotations

import pandas as pd

STEP_LABELS = ("changed", "equivalent", "changed but smaller than matters", "not shown")
"""Every step is one of these."""


def label_steps(
    contrasts: pd.DataFrame,
    equivalences: pd.DataFrame,
    *,
    ranks: pd.DataFrame | None = None,
    alpha: float = 0.05,
) -> pd.DataFrame:
    """Label each step: changed, equivalent, changed but smaller than matters, or not shown.

    Parameters
    ----------
    contrasts : DataFrame
        From `compare_rounds`.
    equivalences : DataFrame
        From `equivalence`, the same contrasts.
    ranks : DataFrame, optional
        Contrasts of `rank_rounds`, for ratings: they must agree too.
    alpha : float
        Level.

    Returns
    -------
    DataFrame
        The contrasts with `changed`, `equivalent` and `label`.
    """
    raise NotImplementedError
