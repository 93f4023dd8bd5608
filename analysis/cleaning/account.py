"""Ledger entries of cleaning: every second of every round, every file and every heart rate, used or set aside."""

from __future__ import annotations

import numpy as np
import pandas as pd

BY_HAND = "set aside by hand"
TOO_LITTLE = "too little valid time"
CHANGING = "a gap where heart rate changed"


def seconds_entries(
    key: tuple, valid: float, aside: dict[str, float], unusable: str, kept: dict, hands: str, file: str
):
    """The seconds of one round: used, and set aside by cause."""
    base = {"table": "recordings", "file": file, "session": key[0], "athlete": key[1], "round_no": key[2],
            "measure": "round seconds", "unit": "s"}  # fmt: skip
    by_hand = min(sum(kept.values()), valid) if not unusable else 0.0
    entries = []
    if valid - by_hand > 0:
        cause = {"used": False, "cause": unusable} if unusable else {}
        entries.append({**base, "amount": valid - by_hand, **cause})
    if by_hand:
        scale = by_hand / sum(kept.values())
        entries += [
            {**base, "amount": s * scale, "cause": "flagged, kept by hand", "decided_by": who}
            for who, s in kept.items()
        ]
    for cause, lost in aside.items():
        who = hands if cause == BY_HAND and hands else "rule"
        entries.append({**base, "amount": lost, "used": False, "cause": cause, "decided_by": who})
    return entries


def outside_entries(key: tuple, recorded: float, inside: float, file: str) -> list[dict]:
    """The recorded seconds of one athlete: inside rounds, and before, between and after them."""
    base = {"table": "recordings", "file": file, "session": key[0], "athlete": key[1], "measure": "recorded seconds",
            "unit": "s"}  # fmt: skip
    entries = [{**base, "amount": inside}] if inside > 0 else []
    if recorded - inside > 1e-9:
        entries.append(
            {**base, "amount": recorded - inside, "used": False, "cause": "outside the rounds sparred"}
        )
    return entries


def file_entry(row: dict, problem: str) -> dict:
    """One recording file: used, or set aside with its problem."""
    return {
        "table": "recordings",
        "file": row["path"].name,
        "session": row["session"],
        "athlete": row["athlete"],
        "measure": "files",
        "used": not problem,
        "cause": problem,
    }


def value_entries(rows: pd.DataFrame, why: dict[tuple, str]) -> list[dict]:
    """One entry per row of rounds (round 0 apart): whether it has a mean heart rate, and why not."""
    entries = []
    files = rows["file"] if "file" in rows else [""] * len(rows)
    for session, athlete, k, took, mean, file in zip(
        rows["session"],
        rows["athlete"],
        rows["round_no"],
        rows["took_part"],
        rows["hr_mean_bpm"],
        files,
        strict=True,
    ):
        if k < 1:
            continue
        entry = {"table": "rounds", "file": file, "session": session, "athlete": athlete, "round_no": k,
                 "measure": "hr_mean_bpm", "unit": "values"}  # fmt: skip
        if np.isnan(mean):
            words = {"sat_out": "sat the round out", "left": "had left"}
            cause = words.get(took) or why.get((session, athlete, k), "no recording and no typed mean")
            entry |= {"used": False, "cause": cause}
        entries.append(entry)
    return entries
