"""What a printed sheet is made of, before it becomes a page or a PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ...basics import Result

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Paper -> width and height in mm, upright."""


@dataclass(frozen=True)
class SheetColumn:
    """One column of a sheet.

    Parameters
    ----------
    name : str
        Column of the workbook, "" where it is only for the evening.
    heading : str
        In words.
    unit : str
    weight : float
        Share of the width. Default 1.
    """

    name: str
    heading: str
    unit: str = ""
    weight: float = 1.0


@dataclass(frozen=True)
class Sheet(Result):
    """One sheet to be printed and filled in by hand.

    Parameters
    ----------
    key : str
        Its short name.
    title : str
    who : str
        Who holds it.
    blanks : tuple of str
        Labels with a line to write on, at the top.
    steps : tuple of str
        What to do, in order.
    columns : tuple of SheetColumn
        Empty where the sheet has no table.
    rows : tuple of tuple of str
        Filled cells; "" is left to be filled in by hand.
    cautions : tuple of str
        Below the table.
    wide : bool
        Print across.
    row_mm : float
        Height of a row where there is room for it. Default 11: room for handwriting.
    bold : bool
        Print filled cells bold, so that they stand out from handwriting. Default True.
    """

    key: str
    title: str
    who: str = ""
    blanks: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    columns: tuple[SheetColumn, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    cautions: tuple[str, ...] = ()
    wide: bool = False
    row_mm: float = 11.0
    bold: bool = True

    @property
    def fitted_row_mm(self) -> float:
        """Height of a row with which the sheet stays on one page where it can, but never below 6.5 mm."""
        used = (
            42
            + (5.2 if self.wide else 7.0) * len(self.steps)
            + (5.5 if self.wide else 9.0) * len(self.cautions)
        )
        room = (180 if self.wide else 240) - used
        return max(6.5, min(self.row_mm, room / max(len(self.rows), 1)))

    def column(self, name: str) -> list[str]:
        """Return the cells of one workbook column."""
        at = [c.name for c in self.columns].index(name)
        return [row[at] for row in self.rows]


WORDS = {
    # column of the workbook: heading, unit, weight
    "session": ("Evening", "", 0.95),
    "group": ("Group", "", 0.8),
    "athlete": ("Athlete", "code", 0.85),
    "round_no": ("Round", "", 0.8),
    "start_clock": ("Start", "clock", 1.1),
    "end_clock": ("End", "clock", 1.1),
    "note": ("Note", "", 1.9),
    "device": ("Strap or watch", "number", 1.0),
    "mass_kg": ("Mass now", "kg", 0.9),
    "usual_mass_kg": ("Usual mass", "kg", 0.9),
    "arrived": ("Arrived", "clock", 0.9),
    "left_after": ("Left after", "round", 0.8),
    "took_part": ("Took part", "yes, part, sat_out, left", 1.2),
    "minutes_done": ("Minutes done", "if not all", 0.9),
    "opponent": ("Opponent", "code, guest, none", 1.1),
    "lactate_mmol_l": ("Lactate", "mmol/L, or HI, LO", 1.0),
    "lactate_limit": ("Off the scale", "high, low", 0.8),
    "lactate_delay_s": ("Delay", "s after the round", 0.85),
    "exertion": ("Exertion", "points", 1.0),
    "activity_rating": ("Activity", "coach", 0.95),
    "hr_mean_typed_bpm": ("Mean HR read off", "bpm", 0.85),
    "hr_peak_typed_bpm": ("Peak HR read off", "bpm", 0.85),
    "after_round": ("After round", "", 0.7),
    "sample_clock": ("Drop at", "clock", 1.0),
    "delay_s": ("Delay", "s after the round", 0.85),
    "replicate": ("Reading", "1, 2", 0.7),
}


def sheet_columns(names: Sequence[str]) -> tuple[SheetColumn, ...]:
    """Turn columns of the workbook into columns of a sheet, in the same order.

    Parameters
    ----------
    names : sequence of str

    Returns
    -------
    tuple of SheetColumn

    Examples
    --------
    >>> [c.heading for c in sheet_columns(["athlete", "mass_kg"])]
    ['Athlete', 'Mass now']
    """
    made = []
    for name in names:
        heading, unit, weight = WORDS.get(name, (name.replace("_", " ").capitalize(), "", 1.0))
        made.append(SheetColumn(name, heading, unit, weight))
    return tuple(made)
