"""Where does it stop changing? Equivalence of every pair of rounds, from the end backwards."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class Plateau(Result):
    """The round from which on no meaningful change is shown, and every candidate tried.

    Parameters
    ----------
    starts_at : str
        Label of that round; "" where equivalence was not shown.
    found : bool
    whole : bool
        True where it holds from the first round on.
    candidates : DataFrame
        from_round, n_pairs, worst_contrast, p (largest over its pairs and methods), tested, holds; from the end backwards.
    pairs : DataFrame
        Equivalence of every pair of rounds.
    low, high, alpha : float
        The bounds and the level of each candidate.
    n_athletes, n_observations : int
    method : str
    left_out : DataFrame
    warnings : tuple of str
    """

    starts_at: str
    found: bool
    whole: bool
    candidates: pd.DataFrame
    pairs: pd.DataFrame
    low: float
    high: float
    alpha: float
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def find_plateau(
    data: pd.DataFrame, outcome: str, *, low: float, high: float, alpha: float = 0.05, ordinal: bool = False
) -> Plateau:
    """Find the earliest round from which every pair of rounds is equivalent.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    low, high : float
        The bounds of what does not matter, low < 0 < high.
    alpha : float
        Level of each candidate.
    ordinal : bool
        True for ratings: the exact rank tests must agree too.

    Returns
    -------
    Plateau
    """
    raise NotImplementedError
