"""Tables of the comparison with published findings, for the screen."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import NotYet, format_ci, format_number, format_p
from ...study.outcomes import OUTCOMES
from .capacity_parts import digits_of, known_outcome

ASPECT_LABELS = {
    "sport": "sport",
    "sex": "sex",
    "rounds": "rounds",
    "work_s": "length of a round (s)",
    "rest_s": "rest between rounds (s)",
    "sample_site": "where blood was taken",
    "sample_delay_s": "delay of the sample (s)",
}


def _size(n: int) -> str:
    return f"n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}{n}"


def tabulate_correlations(answer):
    """Put published correlations and ours side by side, with the verdict of two fields."""
    if isinstance(answer, NotYet) or not answer.correlations:
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
            "p of the difference": format_p(c.p_difference, equals=False),
        }
        for c in answer.correlations
    )


def tabulate_profiles(answer):
    """Put published round means and ours side by side."""
    if isinstance(answer, NotYet) or answer.profiles.empty:
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
    text = format_number(line[value], digits, sign=True)
    return text if math.isnan(line[low]) else f"{text} ({format_ci(line[low], line[high], digits)})"


def tabulate_steps(answer):
    """Put published changes from round to round and ours side by side."""
    if isinstance(answer, NotYet) or answer.steps.empty:
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


def tabulate_protocols(answer):
    """Put the protocols side by side, one row per aspect."""
    if isinstance(answer, NotYet) or answer.protocols.empty:
        return None
    table = answer.protocols
    shown = table.assign(cell=[_cell(v) for v in table["published"]], mine=[_cell(v) for v in table["ours"]])
    shown["cell"] = shown["cell"].where(shown["same"] != "no", shown["cell"] + " (differs)")
    findings = list(dict.fromkeys(table["finding"]))
    wide = pd.DataFrame({f: shown[shown["finding"] == f].set_index("aspect")["cell"] for f in findings})
    mine = shown.drop_duplicates("aspect").set_index("aspect")["mine"]
    order = [a for a in ASPECT_LABELS if a in wide.index]
    wide = wide.loc[order].assign(ours=mine.loc[order])
    wide.insert(0, "aspect", [ASPECT_LABELS[a] for a in order])
    return wide.reset_index(drop=True)


def _cell(value) -> str:
    if value == "" or (isinstance(value, float) and math.isnan(value)):
        return "not stated"
    if isinstance(value, (int, float)):
        return format_number(float(value), 0 if float(value).is_integer() else 1)
    return str(value).replace("_", " ")


def tabulate_left_out(answer):
    """List the published rows that could not be compared, with the reason."""
    if isinstance(answer, NotYet):
        return None
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
