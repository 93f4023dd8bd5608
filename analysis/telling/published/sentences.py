"""Sentences about our results beside published ones: one for the coach, paragraphs for the write-up."""

from __future__ import annotations

import math

from ...basics import (
    NotYet,
    format_ci,
    format_df,
    format_number,
    format_p,
    format_percent,
    join_words,
    plural,
)
from ...study import known_outcome
from ..fitness.words import digits_of, lower_first
from .tables import (
    plain_pool,
    tabulate_correlations,
    tabulate_example,
    tabulate_left_out,
    tabulate_profiles,
    tabulate_protocols,
    tabulate_steps,
    write_up_pool,
)

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


def write_up_replication(answer) -> list[str]:
    """Write the comparison with published findings for a journal."""
    if isinstance(answer, NotYet):
        return []

    paragraphs = [_correlation(c) for c in answer.correlations]
    paragraphs += [_combined(o, c) for o, c in answer.combined.items() if c.n_studies > 2]
    paragraphs += [plain_bound(line) for line in answer.p_only.to_dict("records")]
    paragraphs += [_slope(line) for line in answer.slopes.to_dict("records")]
    for (finding, outcome), rows in answer.profiles.groupby(["finding", "outcome"], sort=False):
        steps = answer.steps[(answer.steps["finding"] == finding) & (answer.steps["outcome"] == outcome)]
        paragraphs.append(_profile(finding, known_outcome(outcome), rows, steps))
    if paragraphs:
        paragraphs.append(plain_protocols(answer))
    return paragraphs + list(answer.warnings)


def _correlation(c) -> str:
    what = lower_first(known_outcome(c.outcome).label)
    kind = "Spearman's correlation" if "Spearman" in c.note else "a correlation"
    theirs = with_interval(c.r, c.ci_low, c.ci_high, 2)
    ours = with_interval(c.r_new, c.ci_low_new, c.ci_high_new, 2)
    inside = "inside" if c.verdict == "consistent" else "outside"
    expected = format_ci(c.prediction_low, c.prediction_high, 2)
    parts = [
        f"{named(c.finding)} ({c.source}) reported {kind} of fitness with {what} of {theirs}, n = {c.n}.",
        f"Ours was {ours}, p {format_p(c.p_new)}, n = {c.n_new}: {inside} the 95\N{NO-BREAK SPACE}% prediction interval for a "
        f"study of our size ({expected}, Fisher's z).",
        f"The difference on Fisher's z (Cohen's q) was {with_interval(c.q_cohen, c.q_ci_low, c.q_ci_high, 2, sign=True)}; "
        f"heterogeneity Q(1) = {format_number(c.q_cochran, 2)}, p {format_p(c.p_difference)}, I² = {format_percent(c.i2)}.",
    ]
    if not math.isnan(c.smallest_detectable_r):
        small = "smaller than" if c.p_undetectable < 0.05 else "not shown to be smaller than"
        parts.append(
            f"With its {c.n} athletes the earlier study had one third of power for a correlation of "
            f"{format_number(c.smallest_detectable_r, 2)} in size; ours, in the published direction, was {small} that (exact "
            f"one-sided p {format_p(c.p_undetectable)})."
        )
    both = with_interval(c.combined, c.combined_low, c.combined_high, 2)
    parts.append(
        "The replication Bayes factor, our data under the earlier study's posterior against no correlation, was "
        f"{bayes_words(c.bayes_factor)}. Both together, fixed effect: {both}."
    )
    if c.impossible_form:
        parts.append(
            "The other published form of the prediction interval, made from two confidence intervals, would give "
            f"{format_ci(c.other_form_low, c.other_form_high, 2)}, beyond what a correlation can be; it is not used."
        )
    return " ".join(parts) + (f" Note: {c.note}." if c.note else "")


def _combined(outcome: str, c) -> str:
    what = lower_first(known_outcome(outcome).label)
    text = (
        f"The {c.n_studies} correlations of fitness with {what}, ours included, combine to "
        f"{with_interval(c.estimate, c.ci_low, c.ci_high, 2)} ({c.model}; variance between studies on Fisher's z after Paule "
        f"and Mandel {format_number(c.tau2, 3)}; Q({c.n_studies - 1}) = {format_number(c.q_cochran, 2)}, p "
        f"{format_p(c.p_cochran)}, I² = {format_percent(c.i2)}; {c.n_athletes} athletes)"
    )
    if not math.isnan(c.prediction_low):
        text += f"; the true value of another such study would lie from {format_ci(c.prediction_low, c.prediction_high, 2)}"
    return text + "."


def _slope(line: dict) -> str:
    known = known_outcome(line["outcome"])
    per = f"{known.unit} per {line['unit']}"
    theirs = with_interval(line["published"], line["published_low"], line["published_high"], 2)
    ours = with_interval(line["estimate"], line["ci_low"], line["ci_high"], 2)
    apart = with_interval(line["difference"], line["difference_low"], line["difference_high"], 2, sign=True)
    return (
        f"{named(line['finding'])} ({line['source']}) reported a slope of {lower_first(known.label)}, in {per}, of "
        f"{theirs}; ours was {ours}; difference {apart}, t({format_df(line['df'])}), p {format_p(line['p'])}."
    )


def _profile(finding: str, known, rows, steps) -> str:
    digits, unit = digits_of(known), known.unit
    first = rows.iloc[0]
    who = f"{named(finding)} ({first['source']}; n = {first['n_athletes']})"
    parts = []
    for r in rows.to_dict("records"):
        apart = with_interval(r["estimate"], r["ci_low"], r["ci_high"], digits, sign=True, unit=unit)
        about = (
            "no spread published" if math.isnan(r["ci_low"]) else f"g = {format_number(r['standardised'], 2)}"
        )
        parts.append(f"round {r['round_no']:g}, {apart}, {about}")
    text = (
        f"{who} reported {lower_first(known.label)} by round; ours minus theirs, with Welch's interval and Hedges' g: "
        f"{'; '.join(parts)}."
    )
    shown = [s for s in steps.to_dict("records") if not math.isnan(s["difference_low"])]
    if not shown:
        return text
    changes = [
        f"{step_words(s['contrast'])}, {format_number(s['estimate'], digits, sign=True, unit=unit)} against "
        f"{format_number(s['published'], digits, sign=True, unit=unit)}, difference "
        f"{with_interval(s['difference'], s['difference_low'], s['difference_high'], digits, sign=True)}"
        for s in shown
    ]
    return (
        f"{text} Changes from round to round, ours against theirs: {'; '.join(changes)}. For the published intervals the "
        "correlation between rounds was taken from our athletes, since papers do not print it."
    )


def step_words(contrast: str) -> str:
    """Return "2 - 1" as "round 2 minus round 1"."""
    later, _, earlier = contrast.partition(" - ")
    return f"round {later} minus round {earlier}"


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
