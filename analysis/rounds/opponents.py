"""Does it matter who spars whom? The spread between bouts, with an honest "cannot tell"."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class OpponentSpread(Result):
    """Variance between bouts (round and unordered pair) beside that between athletes.

    Parameters
    ----------
    outcome : str
    variance_bout, ci_low, ci_high : float
        Variance between bouts and its 95 % profile interval.
    variance_athlete, variance_residual : float
    within_bout_correlation, within_bout_ci_low, within_bout_ci_high : float
        Correlation of the two athletes of a bout, after athlete and round; may be negative.
    n_bouts, n_athletes, n_observations : int
    verdict : str
        "bouts differ", "bouts differ little" or "cannot tell".
    method : str
    left_out : DataFrame
    warnings : tuple of str
    """

    outcome: str
    variance_bout: float
    ci_low: float
    ci_high: float
    variance_athlete: float
    variance_residual: float
    within_bout_correlation: float
    within_bout_ci_low: float
    within_bout_ci_high: float
    n_bouts: int
    n_athletes: int
    n_observations: int
    verdict: str
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def describe_opponents(data: pd.DataFrame, outcome: str) -> OpponentSpread | None:
    """Estimate the spread between bouts beside that between athletes.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no`, `opponent` (a code, "guest", "none" or "") and the outcome.
    outcome : str
        A numeric column.

    Returns
    -------
    OpponentSpread or None
        None where too few opponents were noted.
    """
    raise NotImplementedError
