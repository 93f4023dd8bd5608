"""Tables of submitted sessions, for the screen."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_percent, upper_first
from ..document import Table
from ..words import number_cell, range_cell

MEASURE_WORDS = {
    "hr_mean_bpm": ("mean heart rate", "bpm", 0),
    "hr_peak_bpm": ("peak heart rate", "bpm", 0),
    "percent_mean": ("mean, share of predicted maximum", "%", 1),
    "percent_peak": ("peak, share of predicted maximum", "%", 1),
    "minutes": ("length of the session", "min", 0),
}


def share_cell(share: float) -> str:
    """Return a share for a table; nothing where it is not known."""
    return "" if math.isnan(share) else format_percent(share)


def tabulate_typical(answer):
    """Give typical values over people, and how much people and sessions scatter."""
    lines = []
    for t in answer.typical.dropna(subset=["estimate"]).to_dict("records"):
        name, unit, digits = MEASURE_WORDS[t["measure"]]
        lines.append(
            {
                "measure": f"{name} ({unit})",
                "typical": number_cell(t["estimate"], digits),
                "95 % interval": range_cell(t["ci_low"], t["ci_high"], digits),
                "SD between people": number_cell(t["sd_people"], 1),
                "SD between sessions of a person": number_cell(t["sd_sessions"], 1),
                "two sessions of a person correlate": number_cell(t["correlation"], 2),
                "people": t["n_athletes"],
                "sessions": t["n_observations"],
            }
        )
    return pd.DataFrame(lines)


def tabulate_shares(answer):
    """Give the shares of people's sessions above thresholds, with both kinds of interval, where not all or none reach it."""
    if answer.shares.empty:
        return None
    rows = answer.shares.dropna(subset=["centre"])
    told = (rows[["estimate", "low", "high"]] * 100).round()
    rows = rows[~(told.eq(0).all(axis=1) | told.eq(100).all(axis=1))]
    return pd.DataFrame(
        {
            "sessions with": f"{'mean' if s['measure'] == 'percent_mean' else 'peak'} at or above {s['threshold']:g} %",
            "predicted maxima as exact": share_cell(s["estimate"]),
            "most likely": share_cell(s["centre"]),
            "with the error of the prediction": _span(s["low"], s["high"]),
            "and for people drawn anew": _span(s["total_low"], s["total_high"]),
        }
        for s in rows.to_dict("records")
    )


def _span(low: float, high: float) -> str:
    return range_cell(100 * low, 100 * high, 0, unit="%")


def tabulate_agreement(answer):
    """Show how the time was spent in sessions whose mean lies in one band."""
    if answer.agreement.empty:
        return None
    bands = [c for c in answer.bands["band"]]
    words = dict(zip(answer.bands["band"], answer.bands["words"], strict=True))
    rows = answer.agreement[answer.agreement["share_sessions"] >= 0.01]
    return pd.DataFrame(
        {
            "a mean in the band": a["words"],
            "recordings": share_cell(a["share_sessions"]),
            **{f"time {words[b]}": share_cell(a[b]) for b in bands},
            "time harder than the mean": share_cell(a["harder"]),
        }
        for a in rows.to_dict("records")
    )


def tabulate_against(answer):
    """Put sessions beside published round means."""
    if answer.against.empty:
        return None
    lines = []
    for a in answer.against.to_dict("records"):
        share = "cannot tell"
        if not math.isnan(a["share_low"]):
            share = range_cell(100 * max(a["share_low"], 0.0), 100 * min(a["share_high"], 1.0), 0, unit="%")
        about = f"SD {number_cell(a['published_sd'], 0)}, n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}{a['n_published']}"
        stretch = "no recording"
        if not math.isnan(a["window_mean"]):
            stretch = f"{number_cell(a['window_mean'], 0)} ({range_cell(a['window_low'], a['window_high'], 0)})"
        lines.append(
            {
                "finding": a["finding"],
                "round": number_cell(a["round_no"], 0),
                "published": f"{number_cell(a['published'], 0)} ({about})",
                "mean of our sessions": _with_range(a, "session_mean"),
                "peak of our sessions": _with_range(a, "session_peak"),
                "share of a session at the published rate": share,
                "verdict": a["verdict"],
                "hardest stretch as long as a round": stretch,
            }
        )
    return pd.DataFrame(lines)


def _with_range(line: dict, name: str) -> str:
    return f"{number_cell(line[name], 0)} ({range_cell(line[f'{name}_low'], line[f'{name}_high'], 0)})"


def tabulate_senders(answer):
    """Count who sent data."""
    table = answer.senders
    return pd.DataFrame(
        {
            "what": table["what"].where(~table["what"].duplicated(), ""),
            "group": table["group"],
            "people": table["n_athletes"],
            "of all people": [share_cell(v) for v in table["share_people"]],
            "sessions": table["n_sessions"],
            "of all sessions": [share_cell(v) for v in table["share_sessions"]],
        }
    )


def tabulate_set_aside(answer):
    """Count the sessions that are not in the main analysis, by reason."""
    if answer.set_aside.empty:
        return None
    return answer.set_aside.rename(columns={"n_sessions": "sessions"})


def tabulate_choices(answer):
    """Give the main numbers under other choices."""
    return pd.DataFrame(
        {
            "choice": c["choice"],
            "sessions": c["n_sessions"],
            "people": c["n_athletes"],
            "mean (% of predicted maximum)": number_cell(c["percent_mean"], 1),
            "peak (% of predicted maximum)": number_cell(c["percent_peak"], 1),
            "peaks at or above 90 %: most likely": share_cell(c["centre"]),
            "with the error of the prediction": _span(c["low"], c["high"]),
        }
        for c in answer.choices.to_dict("records")
    )


def survey_tables(answer) -> list[Table]:
    """The tables of a survey for the supplement of a write-up."""
    made = (
        ("survey_set_aside", "Sessions set aside, by reason.", tabulate_set_aside, answer.set_aside),
        ("survey_typical", "Typical sessions, over people.", tabulate_typical, answer.typical),
        ("survey_shares", "Shares of people's sessions above thresholds.", tabulate_shares, answer.shares),
        ("survey_choices", "The main numbers under other choices.", tabulate_choices, answer.choices),
    )
    found = []
    for key, caption, tabulate, numbers in made:
        table = tabulate(answer)
        if table is not None and len(table):
            shown = table.rename(columns=upper_first).astype(str)
            found.append(Table(key, caption, shown, numbers=numbers))
    return found
