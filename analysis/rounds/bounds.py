"""Values off the analyser's scale are bounds: the range that every estimate can take."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class LimitBounds(Result):
    """What the comparison can be when values off the scale lie anywhere beyond it.

    Parameters
    ----------
    outcome : str
    n_high, n_low : int
        Values above and below the scale.
    high_from, high_to, low_from, low_to : float
        The range in which they may lie.
    table : DataFrame
        contrast, estimate_min, estimate_max, ci_low_min, ci_high_max, p_max, p_min.
    overall_p_min, overall_p_max : float
        Range of the p of the round test.
    ranks : RoundsRanks or None
        Ranks with the values off the scale tied at its ends (exact sign tests for the steps).
    method : str
    warnings : tuple of str
    """

    outcome: str
    n_high: int
    n_low: int
    high_from: float
    high_to: float
    low_from: float
    low_to: float
    table: pd.DataFrame
    overall_p_min: float
    overall_p_max: float
    ranks: object
    method: str
    warnings: tuple[str, ...] = ()


def bound_limits(
    data: pd.DataFrame,
    outcome: str,
    *,
    limit: tuple[float, float] | None = None,
    limit_column: str = "lactate_limit",
    plausible: tuple[float, float] = (0.5, 25.0),
) -> LimitBounds | None:
    """Analyse values off the analyser's scale as bounds: every estimate from its lowest to its highest.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no`, the outcome and the limit column ("high", "low" or "").
    outcome : str
        A numeric column.
    limit : (float, float), optional
        Lower and upper end of the analyser's scale. Default: the smallest and largest value read.
    limit_column : str
        Where "high" and "low" stand.
    plausible : (float, float)
        How low a "low" and how high a "high" may be, in the outcome's unit. Our proposal.

    Returns
    -------
    LimitBounds or None
        None where no value is off the scale.
    """
    raise NotImplementedError
