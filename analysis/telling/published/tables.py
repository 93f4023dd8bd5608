"""Tables of published findings: side by side with ours, evidence, round by round, protocols, what was left out."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_ci, format_number, format_p, format_percent
from ...study import known_outcome
from ...study.outcomes import OUTCOMES, digits_of
from ..document import Table, unbroken
from ..study.sentences import MIN, minutes
from ..words import DASH, p_cell, with_range
from .sentences import verdict_of

ONE_IN = 10_000
"""Bayes factors beyond this, or below one in this, are written as a bound."""


def comparison_table(answer) -> Table | None:
    """Published correlations beside ours."""
    if not answer.correlations:
        return None
    shown = pd.DataFrame(
        {
            "Finding": c.finding,
            "Outcome": known_outcome(c.outcome).label,
            "Published r (n)": f"{format_number(c.r, 2)} ({c.n})",
            "Our r (n)": f"{format_number(c.r_new, 2)} ({c.n_new})",
            "Expected of ours": format_ci(c.prediction_low, c.prediction_high, 2),
            "p of the difference": p_cell(c.p_difference),
            "Reading": verdict_of(c),
        }
        for c in answer.correlations
    )
    return Table(
        "comparison",
        "Published correlations of fitness with the response, and ours.",
        shown,
        note="Expected of ours: 95\N{NO-BREAK SPACE}% prediction interval of a study of our size, if the published one is right.",
        numbers=answer.table,
    )


def evidence_table(answer) -> Table | None:
    """How much each published correlation and ours differ, and what both show together."""
    if not answer.correlations:
        return None
    lines = [
        {
            "Finding": c.finding,
            "Cohen's q": with_range(c.q_cohen, c.q_ci_low, c.q_ci_high, 2, sign=True),
            "Q(1)": format_number(c.q_cochran, 2),
            "p": p_cell(c.p_difference),
            "I²": format_percent(c.i2),
            "Detectable r": DASH
            if math.isnan(c.smallest_detectable_r)
            else f"{format_number(c.smallest_detectable_r, 2)} (p {format_p(c.p_undetectable)})",
            "Bayes factor": bayes_words(c.bayes_factor),
            "Both together": with_range(c.combined, c.combined_low, c.combined_high, 2),
        }
        for c in answer.correlations
    ]
    return Table(
        "evidence",
        "Published correlations and ours: difference, detectability, evidence, and both together.",
        pd.DataFrame(lines),
        note="Cohen's q: difference on Fisher's z, with its 95\N{NO-BREAK SPACE}% interval. Detectable r: what the earlier study "
        "had 33\N{NO-BREAK SPACE}% power to detect; p that ours is smaller (Simonsohn, "
        "2015). Bayes factor: our data under the earlier study's "
        "posterior against no correlation. Both together: fixed effect.",
        numbers=answer.table,
    )


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


def profiles_table(answer) -> Table | None:
    """Published round means and ours."""
    lines = []
    for r in answer.profiles.to_dict("records"):
        known = known_outcome(r["outcome"])
        digits = digits_of(known)
        theirs, mine = (
            (f"SD {format_number(sd, digits)}, " if not math.isnan(sd) else "") + unbroken(f"n = {n}")
            for sd, n in ((r["published_sd"], r["n_athletes"]), (r["ours_sd"], r["n_athletes_ours"]))
        )
        lines.append(
            {
                "Finding": r["finding"],
                "Outcome": known.axis_label,
                "Round": f"{r['round_no']:g}",
                "Published": f"{format_number(r['published'], digits)} ({theirs})",
                "Ours": f"{format_number(r['ours'], digits)} ({mine})",
                "Ours minus published": _with_range(r, "estimate", "ci_low", "ci_high", digits),
                "Standardised (g)": _with_range(r, "standardised", "standardised_low", "standardised_high", 2),
            }
        )
    note = "Ours minus published with Welch's 95\N{NO-BREAK SPACE}% interval; g: Hedges' g."
    caption = "Published round means beside ours."
    return _named_once("published_rounds", caption, lines, note, answer.profiles)


def _with_range(line: dict, value: str, low: str, high: str, digits: int) -> str:
    return with_range(line[value], line[low], line[high], digits, sign=True)


def steps_table(answer) -> Table | None:
    """Published changes from round to round and ours."""
    lines = []
    for s in answer.steps.to_dict("records"):
        known = known_outcome(s["outcome"])
        digits = digits_of(known)
        lines.append(
            {
                "Finding": s["finding"],
                "Outcome": known.axis_label,
                "Change": s["contrast"].replace(" - ", " − "),
                "Published": _with_range(s, "published", "published_low", "published_high", digits),
                "Ours": _with_range(s, "estimate", "ci_low", "ci_high", digits),
                "Ours minus published": _with_range(s, "difference", "difference_low", "difference_high", digits),
            }
        )
    note = (
        "With 95\N{NO-BREAK SPACE}% intervals. For the published ones the correlation between rounds was taken from our "
        "athletes, since papers do not print it."
    )
    caption = "Published changes from round to round beside ours."
    return _named_once("published_steps", caption, lines, note, answer.steps)


def _named_once(key: str, caption: str, lines: list[dict], note: str, numbers) -> Table | None:
    """A table in which a finding and an outcome are named in their first line; None without lines."""
    if not lines:
        return None
    shown = pd.DataFrame(lines)
    repeated = (shown[["Finding", "Outcome"]] == shown[["Finding", "Outcome"]].shift()).all(axis=1)
    same = shown["Finding"] == shown["Finding"].shift()
    shown = shown.assign(Finding=shown["Finding"].where(~same, ""), Outcome=shown["Outcome"].where(~repeated, ""))
    return Table(key, caption, shown, note, numbers)


ASPECT_LABELS = {
    "sport": "sport",
    "sex": "sex",
    "rounds": "rounds",
    "work_s": "length of a round (min:s)",
    "rest_s": "rest between rounds (min:s)",
    "sample_site": "where blood was taken",
    "sample_delay_s": "delay of the sample (s)",
    "clothing": "clothing",
}


def protocols_table(answer) -> Table | None:
    """The protocols of the published findings beside ours, one row per aspect."""
    if answer.protocols.empty:
        return None
    table = answer.protocols
    shown = table.assign(
        cell=[_cell(*v) for v in zip(table["published"], table["aspect"], strict=True)],
        mine=[_cell(*v) for v in zip(table["ours"], table["aspect"], strict=True)],
    )
    shown["cell"] = shown["cell"].where(shown["same"] != "no", shown["cell"] + " (differs)")
    findings = list(dict.fromkeys(table["finding"]))
    wide = pd.DataFrame({f: shown[shown["finding"] == f].set_index("aspect")["cell"] for f in findings})
    mine = shown.drop_duplicates("aspect").set_index("aspect")["mine"]
    order = [a for a in ASPECT_LABELS if a in wide.index]
    wide = wide.loc[order].assign(Ours=mine.loc[order]).astype(str)
    wide.insert(0, "Aspect", [ASPECT_LABELS[a] for a in order])
    caption = "Protocols of the published findings beside ours."
    return Table("protocols", caption, wide.reset_index(drop=True), numbers=table)


def _cell(value, aspect: str) -> str:
    if value == "" or (isinstance(value, float) and math.isnan(value)):
        return "not stated"
    if aspect in ("work_s", "rest_s") and isinstance(value, (int, float)):
        return minutes(value).removesuffix(MIN)
    if aspect == "sex":
        return {"M": "men", "F": "women"}.get(value, str(value))
    if isinstance(value, (int, float)):
        return format_number(float(value), 0 if float(value).is_integer() else 1)
    return str(value).replace("_", " ")


def tabulate_left_out(answer):
    """List the published rows that could not be compared, with the reason."""
    if answer.left_out.empty:
        return "Every published row could be compared."
    return answer.left_out[["row", "measure", "round_no", "reason"]].drop_duplicates(ignore_index=True)


def tabulate_example(published):
    """Show published values that the kit can compare, in the columns of published.csv that they fill."""
    means = published["outcome"].isin(list(OUTCOMES)) & (published["spread_kind"] != "")
    rows = published[published["n_athletes"].notna() & (means | (published["statistic"] == "r"))]
    columns = ["finding", "outcome", "round_no", "statistic", "value", "spread", "spread_kind", "n_athletes"]
    columns += ["work_s", "rest_s", "source"]
    return pd.DataFrame({c: [_plain(v) for v in rows[c]] for c in columns})


def _plain(value) -> str:
    return "" if pd.isna(value) else f"{value:g}" if isinstance(value, float) else str(value)
