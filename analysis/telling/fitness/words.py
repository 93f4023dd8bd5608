"""Words that the sentences and tables about fitness share: steps, sizes, sides, what was held equal."""

from __future__ import annotations

import math

from ...basics import format_number, format_percent, join_words
from ...study import known_outcome
from ...study.outcomes import Outcome
from ..rounds.words import digits_of, lower_first, plain_digits, plain_size, unit_of

__all__ = [
    "COVARIATES",
    "beside",
    "digits_of",
    "fine_digits",
    "known_outcome",
    "lower_first",
    "percent_interval",
    "plain_side",
    "size_words",
    "span",
    "step_words",
    "with_minus",
    "yardstick_words",
]

COVARIATES = {
    "hr_max_bpm": "measured maximal heart rate",
    "age_years": "age",
    "mass_kg": "body mass",
    "experience_years": "years of training",
    "grade_rank": "grade",
}

SHUTTLE = "shuttle_run_20m"
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def step_words(step: float, unit: str) -> str:
    """Write a step of capacity with its unit: "10 mL/kg/min"."""
    return format_number(step, 0 if float(step).is_integer() else 2, unit=unit)


def yardstick_words(capacity, step: float) -> str:
    """Say what a step of capacity is in levels of the shuttle run, where most athletes ran it: "three"; else ""."""
    from ...physiology import estimate_vo2max

    tests = getattr(capacity, "get", lambda *_: None)("test")
    if tests is None or not len(tests) or tests.value_counts().idxmax() != SHUTTLE:
        return ""
    low, high = (estimate_vo2max(SHUTTLE, level=level, shuttle=1, age_years=30.0).value for level in (6, 10))
    count = round(4 * step / (high - low))
    return COUNTS[count] if 1 < count < len(COUNTS) else ""


def size_words(value: float, known: Outcome, *, plain: bool = False) -> str:
    """Write a size that somebody chose, without decimals that were not chosen: "5 bpm"."""
    unit = unit_of(known, value, plain=plain)
    return format_number(value, 0 if float(value).is_integer() else digits_of(known), unit=unit)


def with_minus(words: str) -> str:
    """Give "-1" inside words a real minus sign."""
    return words.replace("-1", "\N{MINUS SIGN}1")


def fine_digits(low: float, high: float) -> int:
    """Decimals that keep a limit close to 0 from reading "0.00"."""
    return 2 if min(abs(low), abs(high)) >= 0.005 else 3


def percent_interval(level: float) -> str:
    """Write the name of an interval: "95 % interval"."""
    return f"{format_percent(level)} interval"


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


def plain_side(value: float, known: Outcome, *, unit: bool = True) -> str:
    """One end of an interval for the coach: "15 beats lower"."""
    if not math.isfinite(value):
        return "without limit"
    if float(f"{abs(value):.{plain_digits(known)}f}") == 0:
        return "about the same"
    size = plain_size(value, known) if unit else format_number(abs(value), plain_digits(known))
    return f"{size} {'lower' if value < 0 else 'higher'}"
