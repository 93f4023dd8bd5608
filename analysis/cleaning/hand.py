"""Decisions by hand about stretches of a recording or the heart rate of a round: applied, counted and listed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..study.decide import is_for_cleaning
from .flags import CODE
from .placing import Trace
from .windows import Window

OVERRIDE_COLUMNS = (
    "date", "decided_by", "session", "athlete", "round_no", "measure", "from_s", "to_s", "action", "new_value", "reason",
    "seconds", "file", "row",
)  # fmt: skip


def decisions_for_cleaning(study) -> list[dict]:
    """The decisions about recordings, in their order, each with a place to count what it changed."""
    rows = [r for r in study.decisions.itertuples(index=False) if is_for_cleaning(r)]
    return [{**r._asdict(), "seconds": 0.0, "fits": 0} for r in rows]


def fits(decision: dict, session: str, athlete: str) -> bool:
    """Whether a decision is about this athlete in this session; a blank fits all."""
    return decision["session"] in ("", session) and decision["athlete"] in ("", athlete)


def apply_to_trace(
    trace: Trace, windows: dict[int, Window], decisions: list[dict], seconds_of
) -> dict[int, str]:
    """Set stretches aside, or keep what a rule flagged."""
    kept: dict[int, str] = {}
    for decision in decisions:
        if not fits(decision, trace.session, trace.athlete) or decision["action"] == "replace":
            continue
        inside = _stretch(trace, windows, decision)
        decision["fits"] += 1
        if inside is None:
            continue
        if decision["action"] == "set aside":
            hit = inside & np.isfinite(trace.rates) & (trace.codes != CODE["set aside by hand"])
            trace.codes[hit] = CODE["set aside by hand"]
        else:
            hit = inside & (trace.codes != 0) & np.isfinite(trace.rates)
            trace.codes[hit] = 0
            kept |= dict.fromkeys(np.flatnonzero(hit).tolist(), decision["decided_by"])
        decision["seconds"] += seconds_of(trace, hit)
    return kept


def _stretch(trace: Trace, windows: dict[int, Window], decision: dict):
    start, end = decision["from_s"], decision["to_s"]
    if pd.isna(start) and pd.isna(end):
        window = None if pd.isna(decision["round_no"]) else windows.get(int(decision["round_no"]))
        if window is None:
            return None
        return (trace.clock >= window.start) & (trace.clock < window.end)
    elapsed = trace.clock - trace.clock[0]
    low = -np.inf if pd.isna(start) else start
    high = np.inf if pd.isna(end) else end
    return (elapsed >= low) & (elapsed <= high)


def replaced_values(
    decisions: list[dict], session: str, athlete: str, round_no: int
) -> dict[str, tuple[float, str]]:
    """Values of a round that a person replaced: column -> (value, who)."""
    found = {}
    for d in decisions:
        same = not pd.isna(d["round_no"]) and int(d["round_no"]) == round_no
        if d["action"] != "replace" or not same or not fits(d, session, athlete):
            continue
        try:
            value = float(str(d["new_value"]).replace(",", "."))
        except ValueError:
            continue
        d["fits"] += 1
        name = d["measure"].casefold()
        found["hr_mean_bpm" if name in ("heart_rate", "hr_bpm") else name] = (value, d["decided_by"])
    return found


def overrides_table(decisions: list[dict]) -> pd.DataFrame:
    """Every decision about a recording, with the seconds that it changed."""
    return pd.DataFrame(
        [[d.get(c, "") for c in OVERRIDE_COLUMNS] for d in decisions], columns=list(OVERRIDE_COLUMNS)
    )


def unused_decisions(decisions: list[dict]) -> list[str]:
    """Sentences about decisions that fit no recording."""
    return [
        f"decisions.csv, row {d['row']}: no recording of {d['athlete'] or 'any athlete'} in session "
        f"{d['session'] or 'any'} fits this decision."
        for d in decisions
        if not d["fits"]
    ]
