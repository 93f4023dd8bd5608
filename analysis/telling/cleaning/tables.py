"""Tables and lists about cleaning, without codes unless they are asked for."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from ...basics import format_number, format_percent, if_answered
from ...study.privacy import Mentions
from ..words import duration

NO_BREAK = "\N{NO-BREAK SPACE}"

CAUSES = {
    "a gap where heart rate changed": "gaps at moments when heart rate was changing",
    "too little valid time": "rounds with too little valid time",
    "no contact": "lost contact",
    "recording not yet started": "recordings that started late",
    "recording over": "recordings that ended early",
    "timer stopped": "a stopped timer",
    "flat line": "flat lines",
    "out of range": "values out of range",
    "doubled or halved": "doubled or halved values",
    "spike": "spikes",
    "impossible change": "impossible changes",
    "start lag": "the start, before contact was steady",
    "straps mixed up": "straps that were mixed up",
    "set aside by hand": "decisions by hand",
    "its clock is not settled": "clocks that are not settled yet",
    "too few heart rates in a round": "devices that wrote too seldom for rounds",
}
"""Cause of setting aside -> words inside a sentence."""


def cause_in_words(cause: str) -> str:
    """The words for a cause of setting aside inside a sentence."""
    return CAUSES.get(cause, cause)


def share_in_words(share: float) -> str:
    """A share as a percentage; a tiny one reads as under 0.1 %."""
    return f"under 0.1{NO_BREAK}%" if 0 < share < 0.0005 else format_percent(share, 1)


def sparred_rows(cleaned) -> pd.DataFrame:
    """The rows of rounds that were sparred."""
    rows = cleaned.rows
    return rows[(rows["round_no"] > 0) & rows["took_part"].isin(["yes", "part"])]


@if_answered()
def list_warnings(cleaned, *, show_codes: bool = False) -> str:
    """List what a person should resolve, as Markdown."""
    return _listed(cleaned, cleaned.warnings, show_codes) or "Nothing is left to resolve."


@if_answered()
def list_remarks(cleaned, *, show_codes: bool = False) -> str:
    """List what was repaired, assumed or lost while reading, as Markdown."""
    return _listed(cleaned, cleaned.remarks, show_codes) or "Nothing had to be repaired or assumed."


def _listed(cleaned, sentences, show_codes: bool) -> str:
    text = "\n".join(f"- {s}" for s in sentences)
    return text if show_codes else without_codes(cleaned, text)


def without_codes(cleaned, text: str) -> str:
    """Replace the athletes' codes in a text by the one label that each person has in all that is passed on."""
    codes = {*cleaned.rows["athlete"], *cleaned.clocks["athlete"], *(a for _, a in cleaned.traces)}
    spare = {code: f"athlete {n}" for n, code in enumerate(sorted(codes - set(cleaned.labels)), start=1)}
    labels = spare | cleaned.labels
    return Mentions(codes).replace(text, lambda code: labels[code])


def tabulate_ledger(cleaned) -> pd.DataFrame:
    """Tabulate the balance of the ledger: what came in, what was used, what was set aside and why."""
    balance = cleaned.ledger.balance()
    timed = balance["unit"] == "s"
    for column in ("rows_in", "used", "set_aside"):
        balance[column] = [
            duration(v) if t else format_number(v, 0 if float(v).is_integer() else 1)
            for v, t in zip(balance[column], timed, strict=True)
        ]
    balance["causes"] = [
        re.sub(r"(?<=: )[\d.]+", lambda m: duration(float(m[0])), c) if t else c
        for c, t in zip(balance["causes"], timed, strict=True)
    ]
    balance["unit"] = balance["unit"].where(~timed, "time")
    words = {"round seconds": "rounds", "recorded seconds": "whole recordings", "hr_mean_bpm": "round means"}
    balance["measure"] = balance["measure"].replace(words)
    names = {"measure": "of which", "rows_in": "in", "set_aside": "set aside", "causes": "causes of setting aside"}
    return balance.rename(columns=names)


def tabulate_costs(cleaned) -> pd.DataFrame:
    """Tabulate what each rule costs inside rounds."""
    table = cleaned.costs
    change = [("" if np.isnan(v) else format_number(v, 1)) for v in table["largest_change_bpm"]]
    return pd.DataFrame(
        {
            "flag": table["flag"],
            "seconds in rounds": [format_number(v, 0) for v in table["seconds"]],
            "rounds touched": table["rounds"],
            "largest change of a round mean if they were kept (bpm)": change,
            "rounds with enough valid time only with them": table["rounds_regained"],
        }
    )


def tabulate_clocks(cleaned, *, show_codes: bool = False) -> pd.DataFrame:
    """Tabulate the clocks of recordings whose offset was logged, found, or does not agree with the trace."""
    clocks = cleaned.clocks
    shown = clocks[(clocks["offset_source"] != "none needed") | (clocks["agrees"] == "no")]
    used, found, sure = (shown[c].astype(float) for c in ("offset_s", "found_offset_s", "found_uncertainty_s"))
    table = pd.DataFrame(
        {
            "session": shown["session"].to_numpy(),
            "file": shown["file"].to_numpy(),
            "offset used (s)": ["" if np.isnan(v) else format_number(v, 0, sign=True) for v in used],
            "from": shown["offset_source"].to_numpy(),
            "found in the trace (s)": [
                "" if np.isnan(v) else f"{format_number(v, 0, sign=True)} (± {format_number(u, 0)})"
                for v, u in zip(found, sure, strict=True)
            ],
            "agrees": shown["agrees"].to_numpy(),
            "confidence": ["" if np.isnan(v) else format_number(v, 2) for v in shown["found_confidence"].astype(float)],
            "settled": shown["settled"].to_numpy(),
        }
    )
    return table if show_codes else table.drop(columns="file")


def tabulate_overrides(cleaned, *, show_codes: bool = False) -> pd.DataFrame | None:
    """Tabulate the decisions by hand about recordings; None where there is none."""
    table = cleaned.overrides
    if table.empty:
        return None
    who = ["athlete"] if show_codes else []
    columns = ["date", "decided_by", "session", *who, "round_no", "action", "seconds", "reason"]
    return table[[c for c in columns if c in table]]


def tabulate_rules(cleaned) -> pd.DataFrame:
    """Tabulate the rules with their values, and where the defaults come from."""
    table = cleaned.rules
    truth = {True: "yes", False: "no"}
    values = [truth[v] if isinstance(v, bool) else f"{v:g}" if isinstance(v, float) else str(v) for v in table["value"]]
    return table.assign(value=values)[["rule", "parameter", "value", "unit", "meaning", "source"]]


def round_seconds(cleaned) -> pd.DataFrame:
    """Tabulate the seconds of all rounds with a recording by what became of them."""
    ledger = cleaned.ledger.table
    rows = ledger[(ledger["measure"] == "round seconds") & (ledger["unit"] == "s")]
    words = np.where(rows["used"], np.where(rows["cause"] == "", "used", "used: " + rows["cause"]), rows["cause"])
    grouped = rows["amount"].groupby([~rows["used"].to_numpy(), words], sort=True).sum()
    table = pd.DataFrame(
        {
            "cause": [cause for _, cause in grouped.index],
            "seconds": grouped.to_numpy(),
            "used": [not aside for aside, _ in grouped.index],
        }
    )
    return table.sort_values(["used", "seconds"], ascending=False, kind="stable", ignore_index=True)
