"""Words and tables that several topics share: units, sizes, intervals, minus signs, cells that may be empty."""

from __future__ import annotations

import functools
import math
import re
import textwrap

import pandas as pd

from ..basics import format_ci, format_number, format_p, format_percent
from ..study import OUTCOMES
from ..study.outcomes import Outcome, digits_of
from .document import Table

BEATS = "beats"
"""What people say for beats per minute."""


def with_minus(words: str) -> str:
    """Give "3 - 2" and "-1" inside words a real minus sign; a hyphen stays one."""
    return re.sub(r"(?<!\w)-(?=[\s\d])", "\N{MINUS SIGN}", words)


def in_unit(known: Outcome) -> str:
    """The unit in brackets, to end a label."""
    return f" ({known.unit})" if known.unit else ""


def unit_of(known: Outcome, size: float = math.nan, *, plain: bool = False) -> str:
    """The unit beside a size: one point, two points; for the coach beats instead of bpm."""
    unit = BEATS if plain and known.unit == "bpm" else known.unit
    return unit.removesuffix("s") if size == 1 and unit in ("points", BEATS) else unit


def size_words(value: float, known: Outcome, *, plain: bool = False) -> str:
    """A size that somebody chose, without decimals that were not chosen: "5 bpm"."""
    unit = unit_of(known, value, plain=plain)
    return format_number(value, 0 if float(value).is_integer() else digits_of(known), unit=unit)


def step_words(step: float, unit: str) -> str:
    """A step of capacity with its unit: "10 mL/kg/min"."""
    return format_number(step, 0 if float(step).is_integer() else 2, unit=unit)


def plain_digits(known: Outcome) -> int:
    """Decimals for the coach: whole beats, else as in the tables."""
    return 0 if known.unit == "bpm" else digits_of(known)


def plain_size(value: float, known: Outcome) -> str:
    """A size for the coach, without its sign: "8 beats"."""
    rounded = round(abs(value), plain_digits(known))
    return format_number(abs(value), plain_digits(known), unit=unit_of(known, rounded, plain=True))


def plain_span(low: float, high: float, known: Outcome, *, rising: bool = True) -> str:
    """An interval for the coach, turned so that it fits "rose" or "fell": "5 to 10"."""
    low, high = (low, high) if rising else (-high, -low)
    digits = plain_digits(known)
    while low * high > 0 and digits < 4 and round(min(abs(low), abs(high)), digits) == 0:
        digits += 1  # an interval without 0 is not to read as one that begins there
    return format_ci(low, high, digits)


def plain_side(value: float, known: Outcome, *, unit: bool = True) -> str:
    """One end of an interval for the coach: "15 beats lower"."""
    if not math.isfinite(value):
        return "without limit"
    if float(f"{abs(value):.{plain_digits(known)}f}") == 0:
        return "about the same"
    size = plain_size(value, known) if unit else format_number(abs(value), plain_digits(known))
    return f"{size} {'lower' if value < 0 else 'higher'}"


def fine_digits(low: float, high: float) -> int:
    """Decimals that keep a limit close to 0 from reading "0.00"."""
    return 2 if min(abs(low), abs(high)) >= 0.005 else 3


def percent_interval(level: float) -> str:
    """The name of an interval: "95 % interval"."""
    return f"{format_percent(level)} interval"


def two_lists(first: str, may: list[str], second: str, may_not: list[str]) -> str:
    """What may and what may not be said, as two lists in Markdown."""
    lists = ((first, may), (second, list(dict.fromkeys(may_not))))
    return "\n\n".join(f"**{title}**\n\n" + "\n".join(f"- {t}" for t in texts) for title, texts in lists)


def wrap_words(words: str, width: int = 38) -> str:
    """Words over several lines."""
    return "\n".join(textwrap.wrap(words, width))


def duration(seconds: float) -> str:
    """Seconds as a reader wants them: "45 s", "8 min 9 s", "9 h 10 min"."""
    whole = round(seconds)
    minutes, rest = divmod(whole, 60)
    hours, over = divmod(minutes, 60)
    if hours:
        return f"{hours}\N{NO-BREAK SPACE}h {over}\N{NO-BREAK SPACE}min"
    if minutes:
        return f"{minutes}\N{NO-BREAK SPACE}min" + (f" {rest}\N{NO-BREAK SPACE}s" if rest else "")
    return f"{rest}\N{NO-BREAK SPACE}s"


CI = "95\N{NO-BREAK SPACE}% interval"
CI90 = "90\N{NO-BREAK SPACE}% interval"
DASH = "\N{EN DASH}"
"""What stands in a cell that has nothing to say."""


def number_cell(value: float, digits: int, *, sign: bool = False, empty: str = DASH) -> str:
    """A number, or what stands where it is not known."""
    return empty if math.isnan(value) else format_number(value, digits, sign=sign)


def range_cell(low: float, high: float, digits: int, *, unit: str = "", empty: str = DASH) -> str:
    """An interval, or what stands where it is not known."""
    return empty if math.isnan(low) or math.isnan(high) else format_ci(low, high, digits, unit=unit)


def with_range(value: float, low: float, high: float, digits: int, *, sign: bool = False) -> str:
    """A number with its interval in brackets, where there is one."""
    text = format_number(value, digits, sign=sign)
    return text if math.isnan(low) else f"{text} ({format_ci(low, high, digits)})"


def p_cell(p: float, *, empty: str = DASH) -> str:
    """A p value, or what stands where there is none."""
    return empty if math.isnan(p) else format_p(p, equals=False)


def outcome_table(key: str, caption, *, note="", numbers=None):
    """Make of the function that gives the lines of one outcome the table of several below each other, or of one by itself."""
    # `caption` and `note` are words, or functions of the answers by outcome; `numbers` gives the unrounded
    # table of one answer. The name of an outcome stands in its first line; without any line there is no table.

    def of(lines_of):
        @functools.wraps(lines_of)
        def table(answers) -> Table | None:
            answers = answers if isinstance(answers, dict) else {answers.outcome: answers}
            lines = []
            for outcome, answer in answers.items():
                for i, line in enumerate(lines_of(answer, OUTCOMES[outcome])):
                    lines.append({"Outcome": OUTCOMES[outcome].axis_label if i == 0 else "", **line})
            if not lines:
                return None
            found = {o: numbers(a) for o, a in answers.items()} if numbers else {}
            frames = [f.assign(outcome=o) for o, f in found.items() if f is not None and len(f)]
            whole = pd.concat(frames, ignore_index=True) if frames else None
            said = (words(answers) if callable(words) else words for words in (caption, note))
            return Table(key, next(said), pd.DataFrame(lines), note=next(said), numbers=whole)

        return table

    return of
