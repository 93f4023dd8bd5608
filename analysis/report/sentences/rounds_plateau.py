"""Sentences about where an outcome stops changing: for the coach and for the write-up."""

from __future__ import annotations

from ...basics import NotYet, format_p
from .rounds_words import matters_words, reach_words, size_words, with_minus


def plain_plateau(answer) -> str:
    """Say in one plain sentence where the outcome stopped changing."""
    if isinstance(answer, NotYet):
        return str(answer)
    matters, condition = matters_words(answer), plateau_condition(answer)
    if condition:
        start = answer.bounds.plateau_at_scale_end
        level = f"every average difference between those rounds was shown to be smaller than {matters}"
        sure = f"only from round {answer.plateau_from} on" if answer.plateau_from else "not shown"
        return f"From round {start} on it was level ({level}) {condition}; beyond that, where it stops changing was {sure}."
    if answer.plateau_from == answer.labels[0]:
        return f"It was level from the first round on: every average difference was shown to be smaller than {matters}."
    if answer.plateau_from:
        level = f"From round {answer.plateau_from} on it {_level_words(answer)}"
        return (
            f"{level}: every average difference between those rounds was shown to be smaller than {matters}."
        )
    before, last = answer.labels[-2:]
    step = _last_step(answer)
    if step is not None and len(answer.labels) > 2:
        way = "rose" if step["estimate"] > 0 else "fell"
        still = f"from round {before} to round {last} it still {way} by about {size_words(answer, step)}"
        return f"It had not stopped changing by the last round: {still}."
    if len(answer.labels) == 2:
        return f"Where it stops changing cannot be told, since it was measured in two rounds only ({before} and {last})."
    unclear = f"even between rounds {before} and {last} an average difference of {matters} or more cannot be ruled out"
    return f"Where it stops changing was not shown: {unclear}."


def write_up_plateau(answer) -> str:
    """Write from which round on every pair was shown to be too close to matter."""
    plateau, condition = answer.plateau, plateau_condition(answer)
    opening = f"Against a smallest change that matters of {matters_words(answer)}, tested from the last rounds backwards"
    if not plateau.found:
        text = f"{opening}, no stretch of rounds was shown to be level ({_worst(plateau.candidates.iloc[0])})"
        still = "a change was shown even in the last step" if _last_step(answer) is not None else ""
        return f"{text}; {still or 'that is not evidence that it went on changing'}."
    held = plateau.candidates[plateau.candidates["from_round"] == plateau.starts_at].iloc[0]
    text = f"{opening}, every pair of rounds from round {plateau.starts_at} on was equivalent"
    if condition:
        text += f" {condition}"
    text += f" (the least clear pair: {_worst(held)})"
    if condition:
        sure = (
            f"only from round {answer.plateau_from} on" if answer.plateau_from else "for no stretch of rounds"
        )
        text += f"; farther beyond the scale this was shown {sure}"
    failed = plateau.candidates[~plateau.candidates["holds"] & plateau.candidates["tested"]]
    if len(failed):
        stopped = failed.iloc[0]
        text += f"; from round {stopped['from_round']} on this was not shown ({_worst(stopped)})"
    return f"{text}."


def _worst(candidate) -> str:
    return f"rounds {with_minus(candidate['worst_contrast'])}, equivalence p {format_p(candidate['p'])}"


def _last_step(answer):
    """The step to the last round where a change was shown in it, else None."""
    steps = answer.steps[answer.steps["kind"] != "last to first"]
    last = steps.iloc[-1] if len(steps) else None
    return last if last is not None and last["label"] == "changed" else None


def _level_words(answer) -> str:
    """A change that was shown is not called level, however small it is."""
    start = list(answer.labels).index(answer.plateau_from)
    later = answer.steps[
        answer.steps["earlier"].isin(answer.labels[start:]) & (answer.steps["kind"] != "last to first")
    ]
    small = (later["label"] == "changed but smaller than matters").any()
    return "changed too little to matter" if small else "was level"


def plateau_condition(answer) -> str:
    """Up to where values off the scale may lie for the plateau at the scale's end; "" where that is not the question."""
    bounds = answer.bounds
    if bounds is None or bounds.plateau_at_scale_end == answer.plateau_from:
        return ""
    return reach_words(answer, bounds.plateau_holds_to_high, bounds.plateau_holds_to_low)
