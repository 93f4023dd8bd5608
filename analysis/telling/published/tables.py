"""Tables of the comparison with published findings, for the screen."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import (
    format_ci,
    format_df,
    format_level,
    format_number,
    format_p,
    if_answered,
    join_words,
    lower_first,
    plural,
)
from ...study import known_outcome
from ...study.outcomes import OUTCOMES, digits_of
from ..study.sentences import MIN, covariate_words, minutes
from ..tables import CI, p_cell, with_range

ASPECT_LABELS = {
    "sport": "sport",
    "sex": "sex",
    "rounds": "rounds",
    "work_s": "length of a round (min:s)",
    "rest_s": "rest between rounds (min:s)",
    "sample_site": "where blood was taken",
    "sample_delay_s": "delay of the sample (s)",
}


def _size(n: int) -> str:
    return f"n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}{n}"


@if_answered("no table")
def tabulate_correlations(answer):
    """Put published correlations and ours side by side, with the verdict of two fields."""
    if not answer.correlations:
        return None
    return pd.DataFrame(
        {
            "finding": c.finding,
            "outcome": known_outcome(c.outcome).label,
            "published": f"{format_number(c.r, 2)} ({format_ci(c.ci_low, c.ci_high, 2)}), {_size(c.n)}",
            "ours": f"{format_number(c.r_new, 2)} ({format_ci(c.ci_low_new, c.ci_high_new, 2)}), {_size(c.n_new)}",
            "to be expected of ours": format_ci(c.prediction_low, c.prediction_high, 2),
            "a relation in ours": "shown" if c.signal else "not shown",
            "with the published": c.verdict
            + (", but says little" if c.says_little and c.verdict == "consistent" else ""),
            "p of the difference": p_cell(c.p_difference),
        }
        for c in answer.correlations
    )


@if_answered("no table")
def tabulate_profiles(answer):
    """Put published round means and ours side by side."""
    if answer.profiles.empty:
        return None
    lines = []
    for r in answer.profiles.to_dict("records"):
        known = known_outcome(r["outcome"])
        digits = digits_of(known)
        theirs, mine = (
            (f"SD {format_number(sd, digits)}, " if not math.isnan(sd) else "") + _size(n)
            for sd, n in ((r["published_sd"], r["n_athletes"]), (r["ours_sd"], r["n_athletes_ours"]))
        )
        lines.append(
            {
                "finding": r["finding"],
                "outcome": known.axis_label,
                "round": f"{r['round_no']:g}",
                "published": f"{format_number(r['published'], digits)} ({theirs})",
                "ours": f"{format_number(r['ours'], digits)} ({mine})",
                "ours minus published": _with_range(r, "estimate", "ci_low", "ci_high", digits),
                "standardised (g)": _with_range(
                    r, "standardised", "standardised_low", "standardised_high", 2
                ),
            }
        )
    return pd.DataFrame(lines)


def _with_range(line: dict, value: str, low: str, high: str, digits: int) -> str:
    return with_range(line[value], line[low], line[high], digits, sign=True)


@if_answered("no table")
def tabulate_steps(answer):
    """Put published changes from round to round and ours side by side."""
    if answer.steps.empty:
        return None
    lines = []
    for s in answer.steps.to_dict("records"):
        known = known_outcome(s["outcome"])
        digits = digits_of(known)
        lines.append(
            {
                "finding": s["finding"],
                "outcome": known.axis_label,
                "change": s["contrast"].replace(" - ", " − "),
                "published": _with_range(s, "published", "published_low", "published_high", digits),
                "ours": _with_range(s, "estimate", "ci_low", "ci_high", digits),
                "ours minus published": _with_range(
                    s, "difference", "difference_low", "difference_high", digits
                ),
            }
        )
    return pd.DataFrame(lines)


@if_answered("no table")
def tabulate_protocols(answer):
    """Put the protocols side by side, one row per aspect."""
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
    wide = wide.loc[order].assign(ours=mine.loc[order])
    wide.insert(0, "aspect", [ASPECT_LABELS[a] for a in order])
    return wide.reset_index(drop=True)


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


@if_answered("no table")
def tabulate_left_out(answer):
    """List the published rows that could not be compared, with the reason."""
    if answer.left_out.empty:
        return "Every published row could be compared."
    return answer.left_out[["row", "measure", "round_no", "reason"]].drop_duplicates(ignore_index=True)


def tabulate_example(published):
    """Show published values that the kit can compare, in the columns of published.csv that they fill."""
    fitting = (
        published["outcome"].isin(list(OUTCOMES))
        & published["n_athletes"].notna()
        & (published["spread_kind"] != "")
    )
    fitting |= (published["statistic"] == "r") & published["n_athletes"].notna()
    rows = published[fitting]
    columns = [
        "finding",
        "outcome",
        "round_no",
        "statistic",
        "value",
        "spread",
        "spread_kind",
        "n_athletes",
        "work_s",
        "rest_s",
        "source",
    ]
    return pd.DataFrame({c: [_plain(v) for v in rows[c]] for c in columns})


def _plain(value) -> str:
    return "" if pd.isna(value) else f"{value:g}" if isinstance(value, float) else str(value)


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
    several = len(set(asked["protocol"])) > 1
    # one outcome for each question; the others stand in the paragraphs for the write-up
    for line in asked.drop_duplicates(["protocol", "asked"]).to_dict("records"):
        known, fits = known_outcome(line["outcome"]), f"fits the data at {format_level(0.95)}"
        way = "lower" if line["ci_high"] < 0 else "higher" if line["ci_low"] > 0 else ""
        what = lower_first(known.label) + (f" ({line['protocol']})" if several else "")
        if way:
            size = format_number(abs(line["estimate"]), 2, unit=known.unit)
            span = format_ci(*sorted(abs(line[c]) for c in ("ci_low", "ci_high")), 2, unit=known.unit)
            said.append(
                f"Fitter athletes had a {way} {what}: by {size} for each mL/kg/min (anything from {span} {fits})."
            )
        else:
            less, more = (format_number(abs(line[c]), 2, unit=known.unit) for c in ("ci_low", "ci_high"))
            said.append(
                f"We cannot tell yet whether fitness and {what} go together: anything from {less} less to {more} more for "
                f"each mL/kg/min {fits}."
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
