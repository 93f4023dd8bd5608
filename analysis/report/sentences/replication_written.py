"""The comparison with published findings for a journal: one paragraph per finding."""

from __future__ import annotations

import math

from ...basics import NotYet, format_ci, format_df, format_number, format_p, format_percent
from .capacity_parts import digits_of, known_outcome, lower_first
from .replication_parts import bayes_words, named, plain_bound, with_interval


def write_up_replication(answer) -> list[str]:
    """Write the comparison with published findings for a journal."""
    if isinstance(answer, NotYet):
        return []
    from .replication import plain_protocols

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
