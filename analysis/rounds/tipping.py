"""Missing rounds may not be missing at random: how different must they have been to change what we say?"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class TippingPoint(Result):
    """How far the missing rounds must lie from what the model expects before a label changes.

    Parameters
    ----------
    outcome : str
    n_missing : int
        Missing athlete-rounds of the athletes in the analysis.
    missing : DataFrame
        athlete, round_no of each.
    table : DataFrame
        contrast, label (as the model expects them), shift_up and shift_down (smallest shift that changes the label, missing where none up to
        the largest tried), label_up, label_down.
    curve : DataFrame
        contrast, shift, estimate, ci_low, ci_high, p, label.
    largest_shift : float
        The largest shift tried, in the outcome's unit.
    n_imputations : int
    method : str
    warnings : tuple of str
    """

    outcome: str
    n_missing: int
    missing: pd.DataFrame
    table: pd.DataFrame
    curve: pd.DataFrame
    largest_shift: float
    n_imputations: int
    method: str
    warnings: tuple[str, ...] = ()


def tipping_point(
    data: pd.DataFrame,
    outcome: str,
    *,
    smallest_effect: float,
    alpha: float = 0.05,
    largest_shift: float | None = None,
    seed: int = 0,
) -> TippingPoint | None:
    """Shift the missing rounds away from what the model expects until a label changes.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    smallest_effect : float
        The smallest change that matters, above 0.
    alpha : float
        Level.
    largest_shift : float, optional
        How far to go. Default: the range of the observed values.
    seed : int
        Of the imputations.

    Returns
    -------
    TippingPoint or None
        None where nothing is missing.
    """
    raise NotImplementedError
