"""What the tables of all topics share: cells that may be empty, and one table of several outcomes below each other."""

from __future__ import annotations

import functools
import math

import pandas as pd

from ..basics import format_ci, format_number, format_p
from ..study import OUTCOMES
from .document import Table

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
