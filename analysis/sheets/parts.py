"""What a printed sheet is made of, before it becomes a page or a PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..basics import Result
from ..study import OUTCOMES

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Paper -> width and height in mm, upright."""

SIZES = ("page", "strip", "card")
"""How much paper a sheet takes: pages of its own; the full width, with others on the page; a card, several across."""


@dataclass(frozen=True)
class SheetColumn:
    """One column of a sheet."""

    name: str  # column of the workbook, "" where it is only for the evening
    heading: str  # in words
    unit: str = ""
    weight: float = 1.0  # share of the width. Default 1


@dataclass(frozen=True)
class Sheet(Result):
    """One sheet to be printed and filled in by hand."""

    key: str
    title: str
    who: str = ""  # who holds it
    blanks: tuple[str, ...] = ()  # labels with a line to write on, at the top
    steps: tuple[str, ...] = ()  # what to do, in order
    columns: tuple[SheetColumn, ...] = ()  # empty where the sheet has no table
    rows: tuple[tuple[str, ...], ...] = ()  # filled cells; "" is left to be filled in by hand
    cautions: tuple[str, ...] = ()  # below the table
    wide: bool = False  # printed across
    row_mm: float = 12.0  # height of a row where there is room for it
    least_row_mm: float = 7.0  # what does not fit goes onto a further page
    bold: bool = True  # filled cells stand out from handwriting
    size: str = "page"  # one of SIZES
    notes: bool = True  # the rest of the page is ruled for notes

    def column(self, name: str) -> list[str]:
        """Return the cells of one workbook column."""
        at = [c.name for c in self.columns].index(name)
        return [row[at] for row in self.rows]


WORDS = {
    # column of the workbook: heading, unit, weight
    "session": ("Evening", "", 0.95),
    "group": ("Group", "", 0.9),
    "athlete": ("Athlete", "code", 0.85),
    "round_no": ("Round", "", 0.75),
    "start_clock": ("Start", "clock", 1.2),
    "end_clock": ("End", "clock", 1.2),
    "note": ("Note", "", 1.9),
    "device": ("Strap or watch", "number", 1.0),
    "mass_kg": ("Mass now", "kg", 0.9),
    "usual_mass_kg": ("Usual mass", "kg", 0.9),
    "mass_after_kg": ("Mass after", "kg", 0.9),
    "drinks_l": ("Drunk", "litres", 0.8),
    "caffeine": ("Caffeine", "last 3 h", 0.75),
    "meal": ("Meal", "last 2 h", 0.65),
    "hard_training_24h": ("Hard training", "last 24 h", 0.75),
    "short_sleep": ("Short sleep", "under 6 h", 0.7),
    "unwell": ("Unwell", "", 0.75),
    "arrived": ("Arrived", "clock", 0.9),
    "left_after": ("Left after", "round", 0.8),
    "took_part": ("Took part", "yes, part, sat_out, left", 1.15),
    "minutes_done": ("Minutes done", "if not all", 0.9),
    "opponent": ("Opponent", "code, guest, none", 1.1),
    **{o.name: (*(o.sheet or (o.label, o.unit)), 1.0) for o in OUTCOMES.values() if o.typed},
    "lactate_limit": ("Off the scale", "high, low", 0.8),
    "lactate_delay_s": ("Delay", "s after round", 0.85),
    "activity_rating": ("Activity", "coach", 1.0),
    "hr_mean_typed_bpm": ("Mean HR", "read off", 0.8),
    "hr_peak_typed_bpm": ("Peak HR", "read off", 0.8),
    "after_round": ("After round", "", 0.7),
    "sample_clock": ("Drop at", "clock", 1.0),
    "delay_s": ("Delay", "s after the round", 0.85),
    "date": ("Date", "", 0.9),
    "kind": ("Kind", "", 1.1),
    "protocol": ("Protocol", "of intervals", 1.0),
    "sets_done": ("Sets done", "", 0.7),
    "minutes": ("Whole session", "min", 0.8),
    "rating": ("How hard", "0 to 10", 0.7),
    "stopped_early": ("Stopped early", "yes/no", 0.8),
    "reason": ("Why stopped or missed", "", 1.8),
    "during": ("During", "", 1.0),
    "needed_care": ("Needed care", "yes/no", 0.8),
    "days_lost": ("Days lost", "", 0.7),
    "related": ("From the study?", "yes, possibly, no", 1.0),
    "replicate": ("Reading", "1, 2", 0.7),
    "age_years": ("Age", "years", 0.6),
    "sex": ("Sex", "F, M, X", 0.6),
    "grade": ("Grade", "", 0.9),
    "club": ("Club", "", 0.8),
    "experience_years": ("Training", "years", 0.75),
    "hr_rest_bpm": ("Resting HR", "bpm", 0.75),
    "hr_max_bpm": ("Highest HR", "bpm", 0.75),
    "hr_max_source": ("From", "measured, predicted", 1.1),
    "hr_limited": ("HR held down", "yes, no", 0.75),
    "consent_measured": ("Measured", "yes, no", 0.85),
    "consent_individual_figures": ("Own figure", "yes, no", 0.75),
    "consent_shared_data": ("Shared data", "yes, no", 0.75),
    "guardian_consent": ("Guardian", "under 18", 0.8),
    "cleared": ("Cleared", "yes, no", 0.75),
    "level": ("Level", "last one", 0.8),
    "shuttle": ("Shuttles", "of that level", 0.8),
    "distance_m": ("Distance", "m", 1.0),
    "time_min": ("Time", "m:ss", 1.0),
    "speed_kmh": ("Speed", "km/h", 0.9),
    "throws": ("Throws", "in all", 0.8),
    "hr_after_bpm": ("HR at the end", "bpm", 0.8),
    "hr_1min_bpm": ("HR 1 min later", "bpm", 0.8),
}


def sheet_columns(names: Sequence[str]) -> tuple[SheetColumn, ...]:
    """Turn columns of the workbook into columns of a sheet, in the same order."""
    made = []
    for name in names:
        heading, unit, weight = WORDS.get(name, (name.replace("_", " ").capitalize(), "", 1.0))
        made.append(SheetColumn(name, heading, unit, weight))
    return tuple(made)
