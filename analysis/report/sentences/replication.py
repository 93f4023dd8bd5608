"""Sentences about our results beside published ones: one for the coach, paragraphs for the write-up."""

from __future__ import annotations

import math

from ...basics import NotYet, format_ci, format_number, join_words, plural
from .capacity_parts import digits_of, known_outcome, lower_first
from .replication_parts import named, plain_bound
from .replication_pool import plain_pool, write_up_pool
from .replication_tables import (
    tabulate_correlations,
    tabulate_example,
    tabulate_left_out,
    tabulate_profiles,
    tabulate_protocols,
    tabulate_steps,
)
from .replication_written import write_up_replication

__all__ = [
    "may_say_replication",
    "plain_correlations",
    "plain_pool",
    "plain_profiles",
    "plain_protocols",
    "plain_replication",
    "tabulate_correlations",
    "tabulate_example",
    "tabulate_left_out",
    "tabulate_profiles",
    "tabulate_protocols",
    "tabulate_steps",
    "write_up_pool",
    "write_up_replication",
]

VERDICTS = {
    "consistent": "is consistent with",
    "smaller": "is smaller, by more than chance explains, than",
    "larger": "is larger, by more than chance explains, than",
    "opposite": "points the other way, by more than chance explains, from",
}
ASPECTS = {
    "sport": "sport",
    "sex": "sex of the athletes",
    "rounds": "number of rounds",
    "work_s": "length of a round",
    "rest_s": "rest between rounds",
    "sample_site": "where blood was taken",
    "sample_delay_s": "delay of the blood sample",
}


def plain_replication(answer) -> str:
    """Say in plain words whether our results agree with the published ones, and how much that says."""
    if isinstance(answer, NotYet):
        return str(answer)
    means = [plain_profiles(answer)] if len(answer.profiles) else []
    said = " ".join([*_one_by_one(answer), *means])
    return (
        said
        or "None of the published numbers could be compared with ours; the list of what was left out says why."
    )


def _one_by_one(answer) -> list[str]:
    said = [_plain_correlation(c) for c in answer.correlations]
    said += [plain_bound(line) for line in answer.p_only.to_dict("records")]
    return said + [_plain_slope(line) for line in answer.slopes.to_dict("records")]


def plain_correlations(answer) -> str:
    """Say in plain words, one published relation after the other, how ours lies beside it."""
    if isinstance(answer, NotYet):
        return str(answer)
    return "\n\n".join(_one_by_one(answer)) or "No published relation with fitness could be set beside ours."


def _plain_correlation(c) -> str:
    what = lower_first(known_outcome(c.outcome).label)
    ours, theirs = format_number(c.r_new, 2), format_number(c.r, 2)
    people = plural(c.n_new, "athlete")
    text = (
        f"Our correlation of fitness with {what} ({ours}, {people}) {VERDICTS[c.verdict]} the published {theirs} of "
        f"{named(c.finding)} ({c.n} athletes)"
    )
    if c.verdict == "consistent" and c.says_little:
        text += (
            f", which says little: with {people} almost anything between {format_number(c.prediction_low, 2)} and "
            f"{format_number(c.prediction_high, 2)} would have been consistent"
        )
    else:
        low, high = format_number(c.prediction_low, 2), format_number(c.prediction_high, 2)
        text += f": between {low} and {high} was to be expected"
    return f"{text}. {_signal(c)}"


def _signal(c) -> str:
    if c.r == 0:
        return "The published value has no direction to confirm."
    if c.signal:
        return "Our own data show a relation in the published direction."
    if _open(c):
        return (
            "Our own data alone do not show a relation in the published direction, and do not rule one out."
        )
    return "Our own data show a relation, but in the other direction."


def _open(c) -> bool:
    return c.ci_low_new <= 0 <= c.ci_high_new


def _plain_slope(line: dict) -> str:
    known = known_outcome(line["outcome"])
    per = f"{known.unit} per {line['unit']}"
    shown = line["difference_low"] > 0 or line["difference_high"] < 0
    differ = "differ by more than chance explains" if shown else "were not shown to differ"
    return (
        f"For {lower_first(known.label)}, our slope ({format_number(line['estimate'], 2)} {per}) and the published "
        f"{format_number(line['published'], 2)} of {named(line['finding'])} {differ} (difference "
        f"{format_ci(line['difference_low'], line['difference_high'], 2)})."
    )


def plain_profiles(answer) -> str:
    """Say in plain words where our round means lie beside published ones."""
    if isinstance(answer, NotYet):
        return str(answer)
    if answer.profiles.empty:
        return "No published round mean could be set beside ours."
    said = []
    for (finding, outcome), rows in answer.profiles.groupby(["finding", "outcome"], sort=False):
        said.append(_plain_profile(finding, known_outcome(outcome), rows))
    return " ".join(said)


def _plain_profile(finding: str, known, rows) -> str:
    digits, what = digits_of(known), lower_first(known.label)
    apart = [r for r in rows.to_dict("records") if r["ci_low"] > 0 or r["ci_high"] < 0]
    if apart:
        parts = [
            f"round {r['round_no']:g} ({'above' if r['estimate'] > 0 else 'below'} by "
            f"{format_number(abs(r['estimate']), digits, unit=known.unit)})"
            for r in apart
        ]
        text = f"Our {what} differed from that of {named(finding)} in {join_words(parts)}"
        rest = len(rows) - len(apart)
        if rest:
            text += f", and was not shown to differ in {plural(rest, 'other round')}"
        return text + "."
    low, high = rows["ci_low"].min(), rows["ci_high"].max()
    if math.isnan(low):
        return f"{named(finding)} gives no spread of {what}, so that ours cannot be tested against it."
    rounds, span = plural(len(rows), "round"), format_ci(low, high, digits, unit=known.unit)
    return (
        f"Our {what} was not shown to differ from that of {named(finding)} in any of {rounds}; differences anywhere from "
        f"{span} fit the data."
    )


def plain_protocols(answer) -> str:
    """Say in plain words in what the published studies differ from ours."""
    if isinstance(answer, NotYet):
        return str(answer)
    said = []
    for finding, rows in answer.protocols.groupby("finding", sort=False):
        names = {
            same: [ASPECTS[a] for a in rows.loc[rows["same"] == same, "aspect"]]
            for same in ("no", "not stated")
        }
        parts = []
        if names["no"]:
            parts.append(f"differs from ours in {join_words(names['no'])}")
        if names["not stated"]:
            parts.append(
                f"cannot be compared in {join_words(names['not stated'])}, which one of the two does not state"
            )
        said.append(
            f"{named(finding)} {join_words(parts)}."
            if parts
            else f"{named(finding)} states the same protocol as ours."
        )
    if (answer.protocols["same"] == "no").any():
        said.append(
            "Another length of rounds or rest makes another study: a difference in results may come from that alone."
        )
    return " ".join(said)


def may_say_replication(answer) -> str:
    """List what may and what may not be concluded from the comparison."""
    if isinstance(answer, NotYet):
        return str(answer)
    may, may_not = [], ["That the earlier study was right or wrong: two small studies cannot settle that."]
    if answer.correlations:
        may_not.append("That both studies measured the same fitness: look at how the paper measured it.")
    for c in answer.correlations:
        what = f"{named(c.finding)}, {lower_first(known_outcome(c.outcome).label)}"
        may.append(f"{what}: ours {VERDICTS[c.verdict]} the published correlation.")
        if c.verdict == "consistent" and c.says_little:
            may_not.append(f"That we confirmed it ({what}): almost any result would have been consistent.")
        if not c.signal and _open(c):
            may_not.append(
                f"That fitness counts for nothing in our club ({what}): our interval holds zero and much else."
            )
    if len(answer.profiles):
        may_not.append(
            "That a difference in round means comes from the athletes: protocols, samples and analysers differ too."
        )
    may = may or ["How our round means lie beside the published ones, with their intervals."]
    lists = (("May be said", may), ("May not be said", list(dict.fromkeys(may_not))))
    return "\n\n".join(f"**{title}**\n\n" + "\n".join(f"- {t}" for t in texts) for title, texts in lists)
