"""Sentences about several clubs pooled."""

from __future__ import annotations

import math

from ...basics import format_ci, format_df, format_number, format_p, join_words, plural
from .capacity_parts import digits_of, known_outcome, lower_first
from .closing import covariate_words

CI = "95\N{NO-BREAK SPACE}% interval"


def plain_pool(answer) -> str:
    """Say in plain words what several clubs show together."""
    if not answer.n_clubs:
        return "No two clubs share a protocol with enough athletes who agreed to sharing, so that nothing was pooled."
    said = [f"{plural(answer.n_clubs, 'club')} with {plural(answer.n_athletes, 'athlete')} were pooled."]
    together = answer.table[
        (answer.table["club"] == "all") & (answer.table["stage"] == "all athletes together")
    ]
    asked = together[together["question"] == "fitness"]
    asked = asked.assign(asked=[known_outcome(name).question or name for name in asked["outcome"]])
    several = asked["protocol"].nunique() > 1 if len(asked) else False
    # one outcome for each question; the others stand in the paragraphs for the write-up
    for line in asked.drop_duplicates(["protocol", "asked"]).to_dict("records"):
        known = known_outcome(line["outcome"])
        way = "lower" if line["ci_high"] < 0 else "higher" if line["ci_low"] > 0 else ""
        what = lower_first(known.label) + (f" ({line['protocol']})" if several else "")
        if way:
            size = format_number(abs(line["estimate"]), 2, unit=known.unit)
            span = format_ci(*sorted(abs(line[c]) for c in ("ci_low", "ci_high")), 2, unit=known.unit)
            said.append(
                f"Fitter athletes had a {way} {what}: by {size} for each mL/kg/min (anything from {span} fits the data)."
            )
        else:
            less, more = (format_number(abs(line[c]), 2, unit=known.unit) for c in ("ci_low", "ci_high"))
            said.append(
                f"Whether fitness and {what} go together cannot be told yet: anything from {less} less to {more} more for "
                "each mL/kg/min fits the data."
            )
    return " ".join(said)


def write_up_pool(answer) -> list[str]:
    """Write the pooled results for a journal."""
    paragraphs = [plain_pool(answer)]
    if not answer.n_clubs:
        return paragraphs
    whole = answer.table[answer.table["club"] == "all"]
    for (protocol, outcome, question), lines in whole.groupby(
        ["protocol", "outcome", "question"], sort=False
    ):
        known = known_outcome(outcome)
        told = "; ".join(_pair(part, known, question) for _, part in lines.groupby("contrast", sort=False))
        about = (
            "change from round to round" if question == "rounds" else "change for each mL/kg/min of capacity"
        )
        paragraphs.append(f"{known.label} ({protocol}), {about}: {told}.")
    return paragraphs


def _pair(lines, known, question: str) -> str:
    digits = digits_of(known) + (question == "fitness")
    by_stage = {line["stage"]: line for line in lines.to_dict("records")}
    together, each = by_stage["all athletes together"], by_stage.get("club by club")
    text = f"{_words(together['contrast'])}one mixed model of {together['n_athletes']} athletes with club, "
    text += _numbers(together, known, digits)
    adjusted = [w for w in together["adjusted_for"].split(", ") if w not in ("", "club")]
    if adjusted:
        text += f", adjusted for {join_words([covariate_words(a) for a in adjusted])}"
    if each and not math.isnan(each["estimate"]):
        text += f"; club by club, {_numbers(each, known, digits)}"
    if not math.isnan(together["p_heterogeneity"]):
        text += f"; clubs differ: p {format_p(together['p_heterogeneity'])}"
    return text


def _words(contrast: str) -> str:
    later, dash, earlier = contrast.partition(" - ")
    return f"round {later} minus {earlier}, " if dash else ""


def _numbers(line: dict, known, digits: int) -> str:
    df = "" if math.isnan(line["df"]) else f"; df = {format_df(line['df'])}"
    return (
        f"{format_number(line['estimate'], digits, sign=True, unit=known.unit)} ({CI} "
        f"{format_ci(line['ci_low'], line['ci_high'], digits)}{df}; p {format_p(line['p'])})"
    )
