"""Words that the sentences on rounds share: names and units of outcomes, sizes and intervals of a step."""

from __future__ import annotations

import math

from ...basics import format_ci, format_number, join_words, round_inward
from ...study import known_outcome
from ...study.outcomes import Outcome

BEATS = "beats"
"""What people say for beats per minute."""


def digits_of(known: Outcome) -> int:
    """Decimals of a difference: at least one."""
    return max(known.digits, 1)


def lower_first(label: str) -> str:
    """A label inside a sentence."""
    return label[:1].lower() + label[1:]


def matters_words(answer, *, plain: bool = False) -> str:
    """The smallest change that matters, with as many decimals as it was given."""
    effect = answer.smallest_effect
    digits = next((d for d in range(4) if math.isclose(round(effect, d), effect)), 4)
    return format_number(effect, digits, unit=unit_of(known_outcome(answer.outcome), effect, plain=plain))


def unit_of(known: Outcome, size: float = math.nan, *, plain: bool = False) -> str:
    """The unit beside a size: one point, two points; for the coach beats instead of bpm."""
    unit = BEATS if plain and known.unit == "bpm" else known.unit
    return unit.removesuffix("s") if size == 1 and unit in ("points", BEATS) else unit


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


def unit_after(known: Outcome) -> str:
    """The unit after a list of numbers."""
    return f"\N{NO-BREAK SPACE}{known.unit}" if known.unit else ""


def with_minus(contrast: str) -> str:
    """A contrast with a real minus sign."""
    return contrast.replace(" - ", " − ")


def shown_interval(answer, step) -> tuple[float, float]:
    """The one interval of a step that text, table and figure print.

    The wider of the model's and the robust interval, and over every place that readings off the analyser's scale may
    have: a claim needs both tests, so that the interval agrees with the claim.
    """
    if answer.bounds is not None and not is_censored(answer):
        line = answer.bounds.table.set_index("contrast").loc[step["contrast"]]
        return float(line["ci_low_min"]), float(line["ci_high_max"])
    lows = [v for v in (step["ci_low"], step["ci_low_cr2"]) if not math.isnan(v)]
    highs = [v for v in (step["ci_high"], step["ci_high_cr2"]) if not math.isnan(v)]
    return min(lows, default=math.nan), max(highs, default=math.nan)


def shown_p(step) -> float:
    """The one p of a step that is printed: of all its tests the largest, since a claim needs each of them."""
    names = ("p_adjusted", "p_adjusted_cr2", "p_ranks")
    return max((float(step[n]) for n in names if n in step and not math.isnan(step[n])), default=math.nan)


def rounds_words(labels, start: str) -> str:
    """The rounds from one on: "rounds 3 and 4", "rounds 2 to 5"."""
    stretch = list(labels)[list(labels).index(start) :]
    if len(stretch) == 1:
        return f"round {stretch[0]}"
    return f"rounds {stretch[0]} {'and' if len(stretch) == 2 else 'to'} {stretch[-1]}"


def reach_words(answer, high: float, low: float) -> str:
    """Up to where the readings off the analyser's scale may lie for a claim to hold: "if no HI reading was above ..."."""
    known, bounds, parts = known_outcome(answer.outcome), answer.bounds, []
    for side, word, far, count in (
        ("HI", "above", high, bounds.n_high),
        ("LO", "below", low, bounds.n_low),
    ):
        if math.isnan(far):
            continue
        which = f"the {side} reading was not" if count == 1 else f"no {side} reading was"
        nearest = round_inward(far, digits_of(known), up=side == "LO")
        parts.append(f"{which} {word} {format_number(nearest, digits_of(known), unit=known.unit)}")
    return f"if {join_words(parts)}"


def is_censored(answer) -> bool:
    """Whether readings off the scale entered the main analysis as censored, so that `bounds` are sensitivity alone."""
    return answer.comparison.allows_for == "values off the scale"
