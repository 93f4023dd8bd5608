"""Sentences on how well an outcome repeats: between evenings, or within one."""

from __future__ import annotations

import math

from ...basics import NotYet, format_ci, format_number, join_words, plural
from .rounds_words import digits_of, known_outcome

CI = "95\N{NO-BREAK SPACE}% interval"


def plain_reliability(result) -> str:
    """Say in a sentence how well an outcome repeats."""
    if isinstance(result, NotYet):
        return str(result)
    known = known_outcome(result)
    unit, digits = known.unit, digits_of(known)
    error = format_number(result.typical_error, digits, unit=unit)
    if result.kind.startswith("reliability"):
        change = format_number(result.smallest_detectable_change, digits, unit=unit)
        return (
            f"{known.label}: from evening to evening one athlete typically varies by {error}; only a change of more than "
            f"{change} in one athlete exceeds that."
        )
    return (
        f"{known.label}: from round to round of this one evening an athlete typically varies by {error} around the club's "
        "course; that is consistency within an evening, not reliability, which takes a second evening."
    )


def write_up_reliability(result) -> list[str]:
    """Write the paragraph on reliability, or on consistency within one evening."""
    if isinstance(result, NotYet):
        return [str(result)]
    known = known_outcome(result)
    unit, digits = known.unit, digits_of(known)
    icc = result.icc.set_index("type")
    values = []
    for name in ("ICC(2,1)", "ICC(3,1)"):
        line = icc.loc[name]
        span = format_ci(line["ci_low"], line["ci_high"], 2)
        values.append(f"{name} = {format_number(line['estimate'], 2)} ({CI} {span})")
    word = (
        "evenings"
        if result.kind.startswith("reliability")
        else "rounds of one evening (consistency, not reliability)"
    )
    people, error = (
        plural(result.n_athletes, "athlete"),
        format_number(result.typical_error, digits, unit=unit),
    )
    text = f"{known.label} over {result.n_trials} {word} of {people}: {join_words(values)}; typical error {error} "
    text += f"({CI} {format_ci(result.typical_error_ci_low, result.typical_error_ci_high, digits)})"
    if not math.isnan(result.cv_percent):
        text += f", coefficient of variation from logarithms {format_number(result.cv_percent, 1, unit='%')}"
    if result.kind.startswith("reliability"):
        text += f"; smallest detectable change {format_number(result.smallest_detectable_change, digits, unit=unit)}"
    return [f"{text}."]
