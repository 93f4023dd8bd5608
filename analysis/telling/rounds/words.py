"""Words that the sentences on rounds share: names and units of outcomes, sizes and intervals of a step."""

from __future__ import annotations

import math

from ...basics import format_ci, format_level, format_number, join_words, round_inward
from ...study import known_outcome
from ...study.outcomes import Outcome


def digits_of(known: Outcome) -> int:
    """Decimals of a difference: at least one."""
    return max(known.digits, 1)


def lower_first(label: str) -> str:
    """A label inside a sentence."""
    return label[:1].lower() + label[1:]


def matters_words(answer) -> str:
    """The smallest change that matters, with as many decimals as it was given."""
    effect = answer.smallest_effect
    digits = next((d for d in range(4) if math.isclose(round(effect, d), effect)), 4)
    unit = known_outcome(answer.outcome).unit
    return format_number(
        effect, digits, unit=unit.removesuffix("s") if effect == 1 and unit == "points" else unit
    )


def fits_words(answer) -> str:
    """What the data are compatible with, by the level of the interval: "fits the data at 95 % confidence"."""
    return f"fits the data at {format_level(1 - answer.alpha)}"


def unit_after(known: Outcome) -> str:
    """The unit after a list of numbers."""
    return f"\N{NO-BREAK SPACE}{known.unit}" if known.unit else ""


def with_minus(contrast: str) -> str:
    """A contrast with a real minus sign."""
    return contrast.replace(" - ", " − ")


def size_words(answer, step) -> str:
    """How large the change is, without its sign; a range where values off the scale leave one."""
    known = known_outcome(answer.outcome)
    low, high = _off_scale(answer, step, "estimate_min", "estimate_max") or (step["estimate"],) * 2
    small, large = sorted(format_number(abs(v), digits_of(known), unit=known.unit) for v in (low, high))
    if small == large or low * high < 0:
        return format_number(abs(step["estimate"]), digits_of(known), unit=known.unit)
    return format_ci(*sorted((abs(low), abs(high))), digits_of(known), unit=known.unit)


def widest_words(answer, step) -> str:
    """The widest of the intervals, also over the values off the scale."""
    known = known_outcome(answer.outcome)
    low, high = min(step["ci_low"], step["ci_low_cr2"]), max(step["ci_high"], step["ci_high_cr2"])
    low, high = _off_scale(answer, step, "ci_low_min", "ci_high_max") or (low, high)
    return format_ci(low, high, digits_of(known), unit=known.unit)


def reach_words(answer, high: float, low: float) -> str:
    """Up to where the values off the analyser's scale may lie for a reading to hold: "as long as ..."."""
    known, bounds, parts = known_outcome(answer.outcome), answer.bounds, []
    for side, word, far, count in (
        ("above", "higher", high, bounds.n_high),
        ("below", "lower", low, bounds.n_low),
    ):
        if math.isnan(far):
            continue
        which = f"the value {side}" if count == 1 else f"none of the {count} values {side}"
        verb = "was not" if count == 1 else "was"
        nearest = round_inward(far, digits_of(known), up=side == "below")
        size = format_number(nearest, digits_of(known), unit=known.unit)
        parts.append(f"{which} the analyser's scale {verb} {word} than {size}")
    return f"as long as {join_words(parts)}"


def is_censored(answer) -> bool:
    """Whether values off the scale entered the main analysis as censored, so that `bounds` are sensitivity alone."""
    return answer.comparison.allows_for == "values off the scale"


def _off_scale(answer, step, low: str, high: str) -> tuple[float, float] | None:
    if answer.bounds is None or is_censored(answer):
        return None
    line = answer.bounds.table.set_index("contrast").loc[step["contrast"]]
    return float(line[low]), float(line[high])
