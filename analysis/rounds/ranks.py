"""Ranks for ratings: Friedman over the rounds, exact signed-rank tests for the steps."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class RoundsRanks(Result):
    """Friedman test with Kendall's W, and exact signed-rank contrasts.

    Parameters
    ----------
    statistic, df, p : float
        Friedman's chi-square (corrected for ties), complete cases.
    kendall_w : float
        Kendall's coefficient of concordance, 0 to 1.
    contrasts : DataFrame
        contrast, later, earlier, estimate (median difference), pseudomedian, statistic (positive rank sum), p (exact), p_adjusted
        (Holm), rank_biserial, n_athletes, n_zero, method.
    medians : DataFrame
        round_no, median, quartile_low, quartile_high, mean_rank, n_athletes.
    n_athletes, n_observations : int
        Complete cases of the Friedman test.
    method : str
    left_out : DataFrame
    warnings : tuple of str
    """

    statistic: float
    df: float
    p: float
    kendall_w: float
    contrasts: pd.DataFrame
    medians: pd.DataFrame
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def rank_rounds(data: pd.DataFrame, outcome: str, *, kind: str = "successive") -> RoundsRanks:
    """Compare the rounds by ranks: Friedman, and exact signed-rank tests with ties.

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
    RoundsRanks
    """
    raise NotImplementedError
