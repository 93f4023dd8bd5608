"""Words that the sentences on published findings share."""

from __future__ import annotations

import math

from ...basics import format_ci, format_number
from .capacity_parts import known_outcome, lower_first

CI = "95\N{NO-BREAK SPACE}% interval"
ONE_IN = 10_000
"""Bayes factors beyond this, or below one in this, are written as a bound."""


def named(finding: str) -> str:
    """Return the name of a published finding in quotation marks."""
    return f"\N{LEFT DOUBLE QUOTATION MARK}{finding}\N{RIGHT DOUBLE QUOTATION MARK}"


def with_interval(
    value: float, low: float, high: float, digits: int, *, sign: bool = False, unit: str = ""
) -> str:
    """Write an estimate with its interval: "−0.4 bpm (95 % interval −1.0 to 0.2)"."""
    text = format_number(value, digits, sign=sign, unit=unit)
    return text if math.isnan(low) else f"{text} ({CI} {format_ci(low, high, digits)})"


def plain_bound(line: dict) -> str:
    """Say what a published p without a correlation means, and where ours lies."""
    what = lower_first(known_outcome(line["outcome"]).label)
    ours, size = format_number(line["r_new"], 2), format_number(line["r_low"], 2)
    people = f"with {line['n_athletes']} athletes"
    who = named(line["finding"])
    if line["how"] == "from a bound on p":
        where = "within that range" if line["inside"] else "below that"
        return (
            f"Of {what}, {who} tells only that p lies below a bound, which {people} means a correlation of {size} or more, in "
            f"either direction; ours ({ours}) is {where} in size."
        )
    return f"Of {what}, {who} gives only p, which {people} means a correlation of {size}, in either direction; ours is {ours}."


def bayes_words(value: float) -> str:
    """Write a Bayes factor; below 1 also as "1 in"."""
    bound = f"{ONE_IN:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    if value >= ONE_IN:
        return f"above {bound}"
    if value >= 1:
        return format_number(value, 1 if value >= 10 else 2)
    if value <= 1 / ONE_IN:
        return f"below 1 in {bound}"
    return f"{format_number(value, 3 if value < 0.1 else 2)} (1 in {format_number(1 / value, 1)})"
