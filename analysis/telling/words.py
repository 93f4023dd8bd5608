"""Words that the sentences, tables and figures of several topics share: units, sizes, intervals, minus signs."""

from __future__ import annotations

import math
import re
import textwrap

from ..basics import format_ci, format_number, format_percent
from ..study.outcomes import Outcome, digits_of

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
    return format_ci(low, high, plain_digits(known))


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
