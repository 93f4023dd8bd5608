"""Words and numbers that whatever tells of rounds shares: the interval and the p of a step, names of rounds, bounds."""

from __future__ import annotations

import math

from ...basics import format_number, join_words
from ...basics.words import round_inward
from ...study import known_outcome
from ...study.outcomes import digits_of
from ..words import unit_of


def matters_words(answer, *, plain: bool = False) -> str:
    """The smallest change that matters, with as many decimals as it was given."""
    effect = answer.smallest_effect
    digits = next((d for d in range(4) if math.isclose(round(effect, d), effect)), 4)
    return format_number(effect, digits, unit=unit_of(known_outcome(answer.outcome), effect, plain=plain))


def shown_interval(answer, step) -> tuple[float, float]:
    """The one interval of a step that text, table and figure print."""
    # The wider of the model's and the robust interval, and over every place that readings off the
    # analyser's scale may have: a claim needs both tests, so that the interval agrees with the claim.
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
