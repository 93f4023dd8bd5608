"""Words that the sentences and tables about fitness share: what a step is, what was held equal, sides of an interval."""

from __future__ import annotations

import math

from ...basics import format_number, join_words
from ...study.outcomes import Outcome, digits_of

COVARIATES = {
    "hr_max_bpm": "measured maximal heart rate",
    "age_years": "age",
    "mass_kg": "body mass",
    "experience_years": "years of training",
    "grade_rank": "grade",
}

SHUTTLE = "shuttle_run_20m"
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def yardstick_words(capacity, step: float) -> str:
    """Say what a step of capacity is in levels of the shuttle run, where most athletes ran it: "three"; else ""."""
    from ...physiology import estimate_vo2max

    tests = getattr(capacity, "get", lambda *_: None)("test")
    if tests is None or not len(tests) or tests.value_counts().idxmax() != SHUTTLE:
        return ""
    low, high = (estimate_vo2max(SHUTTLE, level=level, shuttle=1, age_years=30.0).value for level in (6, 10))
    count = round(4 * step / (high - low))
    return COUNTS[count] if 1 < count < len(COUNTS) else ""


def beside(answer) -> str:
    """Name what is held equal."""
    return join_words([COVARIATES.get(c, c.replace("_", " ")) for c in answer.adjusted_for])


def span(low: float, high: float, known: Outcome, *, joint: str = "to") -> str:
    """Write a range of changes in words: "7.6 bpm less to 0.9 bpm more"."""
    return f"{_side(low, known)} {joint} {_side(high, known)}"


def _side(value: float, known: Outcome) -> str:
    if value is None or not math.isfinite(value):
        return "no limit"
    digits = digits_of(known)
    size = format_number(abs(value), digits, unit=known.unit)
    if float(f"{abs(value):.{digits}f}") == 0:
        return size
    return f"{size} {'less' if value < 0 else 'more'}"
