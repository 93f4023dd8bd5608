"""Sentences beside the comparison of rounds: other ways of analysing, missing rounds, opponents."""

from __future__ import annotations

import math

from ...basics import NotYet, format_ci, format_number, join_words, plural
from ...study.outcomes import OUTCOMES
from .rounds_words import known_outcome, lower_first

CI = "95\N{NO-BREAK SPACE}% interval"


def plain_sensitivity(answer) -> str:
    """Say whether the other ways of analysing lead to the same reading."""
    if isinstance(answer, NotYet):
        return str(answer)
    table = answer.sensitivity.iloc[1:]
    table = table[~table["analysis"].str.contains("tipping")]
    judged = table[table["agrees"].notna()]
    other = judged[~judged["agrees"].astype(bool)]
    if judged.empty:
        return "No other way of analysing could be tried."
    if other.empty:
        return "The other ways of analysing lead to the same reading of the change from the first to the last round."
    names = join_words([_way(n) for n in other["analysis"]])
    return f"The reading of the change from the first to the last round depends on the way of analysing: otherwise by {names}."


def plain_tipping(answer) -> str:
    """Say how different the missing rounds must have been to change the reading."""
    if isinstance(answer, NotYet):
        return str(answer)
    tipping, known = answer.tipping, known_outcome(answer)
    if tipping is None:
        return ""
    line = tipping.table.iloc[-1]
    count = tipping.n_missing
    start = f"{plural(count, 'round')} of these athletes {'is' if count == 1 else 'are'} missing, and perhaps not by chance:"
    reading = "the reading of the change from the first to the last round"
    moves = []
    for way, word in (("up", "higher"), ("down", "lower")):
        if math.isfinite(line[f"shift_{way}"]):
            shift = format_number(abs(line[f"shift_{way}"]), known.digits, unit=known.unit)
            moves.append(f"{shift} {word} than the model expects (then: {line[f'label_{way}']})")
    if moves:
        return f"{start} {reading} would change were they {join_words(moves, 'or')}."
    most = format_number(tipping.largest_shift, known.digits, unit=known.unit)
    return f"{start} {reading} holds even were they {most} higher or lower than the model expects."


def plain_opponents(answer) -> str:
    """Say what can be said of the spread between bouts."""
    if isinstance(answer, NotYet):
        return str(answer)
    spread = getattr(answer, "opponents", answer)
    if spread is None or not hasattr(spread, "verdict") or not hasattr(spread, "n_bouts"):
        return ""
    r, ci = spread.within_bout_correlation, (spread.within_bout_ci_low, spread.within_bout_ci_high)
    alike = ""
    if not math.isnan(r):
        alike = f" (correlation of the two in a bout {format_number(r, 2)}, {CI} {format_ci(*ci, 2)})"
    bouts = plural(spread.n_bouts, "bout")
    words = {
        "bouts differ": f"Who spars whom goes with the outcome: over {bouts} the two opponents of a bout were alike{alike}.",
        "bouts differ little": f"Over {bouts} the spread between bouts was shown to be small beside that within them{alike}.",
        "cannot tell": f"Whether who spars whom matters cannot be told from {bouts}{alike}.",
    }
    return words[spread.verdict]


def _way(analysis: str) -> str:
    return analysis if not analysis.startswith("as ") else f"the scale {_label(analysis[3:])}"


def _label(name: str) -> str:
    return lower_first(OUTCOMES[name].label) if name in OUTCOMES else name
