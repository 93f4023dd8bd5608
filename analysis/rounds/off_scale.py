"""Values off the analyser's scale ("HI", "LO"): where they are, and between what they may lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError
from ..physiology.lactate import REFUSE_ABOVE_MMOL_L
from .prepare import RoundRows, check_columns, read_numbers

LIMIT_COLUMN = "lactate_limit"
PLAUSIBLE = (0.0, REFUSE_ABOVE_MMOL_L)
"""Between what lactate can lie: nothing is below 0 mmol/L, and a number above the other end is refused when it is typed."""
BEYOND = 1.2
"""A value off a scale that reaches the plausible range already may lie this factor beyond it. Our proposal."""


@dataclass(frozen=True)
class OffScale:
    """Which rows are off the scale, and between what they may lie; each range starts at the scale's end."""

    high: np.ndarray
    low: np.ndarray
    high_range: tuple[float, float]
    low_range: tuple[float, float]
    assumed: bool

    def placed(self, data: pd.DataFrame, outcome: str) -> pd.DataFrame:
        """Copy the table with each value off the scale at the scale's end, and "high", "low" or "" beside it."""
        values = read_numbers(
            data.assign(**{outcome: data[outcome].mask(self.high | self.low)}), outcome
        ).copy()
        values[self.high], values[self.low] = self.high_range[0], self.low_range[0]
        marks = np.select([self.high, self.low], ["high", "low"], "")
        return data.assign(**{outcome: values, LIMIT_COLUMN: marks})

    def span(self, rows: RoundRows) -> np.ndarray:
        """How far each prepared value may lie beyond the scale's end: above 0, below 0, or 0 where it was read."""
        marks = rows.table[LIMIT_COLUMN].to_numpy()
        ranges = {"high": self.high_range, "low": self.low_range}
        return np.array([ranges[m][1] - ranges[m][0] if m else 0.0 for m in marks])


def find_limits(
    data,
    outcome: str,
    *,
    limit: tuple[float, float] | None = None,
    limit_column: str = LIMIT_COLUMN,
    plausible: tuple[float, float] = PLAUSIBLE,
) -> OffScale | None:
    """Find the values off the scale and their ranges."""
    if limit_column not in data:
        return None
    check_columns(data, ("athlete", "round_no", outcome))
    marks = data[limit_column].astype(object).where(data[limit_column].notna(), "")
    marks = marks.astype(str).str.strip().str.casefold()
    wrong = sorted(set(marks) - {"", "high", "low", "nan"})
    if wrong:
        raise KitError(f"{limit_column} holds {wrong[0]!r}; it may hold 'high', 'low' or nothing.")
    high, low = (marks == "high").to_numpy(), (marks == "low").to_numpy()
    if not (high | low).any():
        return None
    values = read_numbers(data, outcome)
    read = values[~(high | low) & ~np.isnan(values)]
    if not len(read):
        raise KitError(f"Every value of {outcome} is off the analyser's scale, so nothing can be compared.")
    stated = _stated_ends(limit)
    seen = [float(read.min()), float(read.max())]
    bottom, top = (s if np.isfinite(s) else v for s, v in zip(stated, seen, strict=True))
    if not bottom < top:
        raise KitError(f"The ends of the analyser's scale must be in order; they are {bottom:g} and {top:g}.")
    lowest, highest = plausible
    return OffScale(
        high=high,
        low=low,
        high_range=(float(top), float(highest if highest > top else BEYOND * top)),
        low_range=(float(bottom), float(lowest if lowest < bottom else bottom / BEYOND)),
        assumed=bool((low.any() and np.isnan(stated[0])) or (high.any() and np.isnan(stated[1]))),
    )


def _stated_ends(limit) -> list[float]:
    try:
        low, high = (None, None) if limit is None else limit
        return [np.nan if end is None else float(end) for end in (low, high)]
    except (TypeError, ValueError):
        raise KitError(
            f"limit must be the two ends of the analyser's scale, such as (0.5, 25.0); it is {limit!r}."
        ) from None
