"""One row per session, athlete and round, from the sheets: who took part, blood, ratings, bouts; cleaning adds heart rate."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol as Shape

import numpy as np
import pandas as pd

from .outcomes import typed_outcomes
from .times import clock_seconds


class Span(Shape):
    """When a round was: seconds of the day."""

    start: float
    end: float


Windows = Mapping[tuple[str, str], Mapping[int, Span]]
"""(session, athlete) -> round -> when it was."""

FROM_SHEET = (
    *("opponent", *typed_outcomes(), "lactate_limit", "lactate_bound_mmol_l", "lactate_delay_s"),
    "activity_rating",
)
TYPED = ("hr_mean_typed_bpm", "hr_peak_typed_bpm")
_TEXT = ("opponent", "lactate_limit", "took_part")


def sheet_rows(study, recorded: list[tuple[str, str]], groups: dict[str, str], remarks: list) -> pd.DataFrame:
    """One row per session, athlete and round: those of rounds.csv, and those that only a recording knows."""
    columns = ["session", "athlete", "round_no", "took_part", "minutes_done", *FROM_SHEET, *TYPED]
    rows = study.rounds[columns].copy()
    here = set(zip(rows["session"], rows["athlete"], strict=True))
    left = {
        (r.session, r.athlete): r.left_after
        for r in study.attendance.itertuples(index=False)
        if not pd.isna(r.left_after)
    }
    extra = []
    for session, athlete in recorded:
        if (session, athlete) in here:
            continue
        for k in range(1, study.protocol.for_group(groups.get(athlete, "")).rounds + 1):
            took = "left" if k > left.get((session, athlete), np.inf) else "yes"
            extra.append({"session": session, "athlete": athlete, "round_no": k, "took_part": took})
    if extra:
        who = sorted({e["athlete"] for e in extra})
        remarks.append(
            f"{len(who)} recorded without rows in rounds.csv: every round of the protocol was taken as sparred."
        )
        more = pd.DataFrame(extra).reindex(columns=columns)
        for text in _TEXT:
            more[text] = more[text].astype("object").fillna("").astype("str")
        rows = (
            pd.concat([rows, more.astype({c: rows[c].dtype for c in columns})], ignore_index=True)
            if len(rows)
            else more
        )
    blank = rows["took_part"].eq("") & rows["round_no"].gt(0)
    keys = list(zip(rows["session"], rows["athlete"], strict=True))
    after = np.array([k > left.get(key, np.inf) for key, k in zip(keys, rows["round_no"], strict=True)], dtype=bool)
    something = rows[[*typed_outcomes(), *TYPED]].notna().any(axis=1).to_numpy()
    rows.loc[blank.to_numpy() & after & ~something, "took_part"] = "left"
    have = set(recorded)
    known = np.array([key in have for key in keys], dtype=bool)
    rows.loc[blank.to_numpy() & ~after & known, "took_part"] = "yes"
    rows["round_no"] = rows["round_no"].astype("int64")
    return rows.sort_values(["session", "athlete", "round_no"], kind="stable", ignore_index=True)


def sparred(rows: pd.DataFrame) -> np.ndarray:
    """Which rows are rounds that the athlete sparred."""
    return (rows["round_no"] > 0).to_numpy() & rows["took_part"].isin(["yes", "part"]).to_numpy()


def number_bouts(rows: pd.DataFrame, windows: Windows) -> pd.DataFrame:
    """Add bout_no (1 for the first round that the athlete sparred) and rest_before_s (since the end of the last one)."""
    bout = np.full(len(rows), np.nan)
    rest = np.full(len(rows), np.nan)
    took = sparred(rows)
    count: dict[tuple, int] = {}
    ended: dict[tuple, float] = {}
    for i, (session, athlete, k) in enumerate(zip(rows["session"], rows["athlete"], rows["round_no"], strict=True)):
        if not took[i]:
            continue
        key = (session, athlete)
        count[key] = count.get(key, 0) + 1
        bout[i] = count[key]
        window = windows.get(key, {}).get(k)
        if window is not None:
            if key in ended:
                rest[i] = window.start - ended[key]
            ended[key] = window.end
        else:
            ended.pop(key, None)
    return rows.assign(bout_no=bout, rest_before_s=rest)


def add_lactate(rows: pd.DataFrame, study, windows: Windows, remarks: list) -> tuple[pd.DataFrame, list[dict]]:
    """Merge lactate.csv into the rows; replicates are averaged, delays worked out from the clock where it is blank."""
    if study.lactate.empty:
        return rows, []
    rows, entries = rows.copy(), []
    place = {key: i for i, key in enumerate(zip(rows["session"], rows["athlete"], rows["round_no"], strict=True))}
    names = ("lactate_mmol_l", "lactate_limit", "lactate_delay_s", "lactate_bound_mmol_l")
    columns = [rows.columns.get_loc(c) for c in names]
    extra = []
    for key, group in study.lactate.groupby(["session", "athlete", "after_round"], sort=False):
        i = place.get(key)
        base = [{"table": "lactate", "file": r.file, "row": r.row, "session": key[0], "athlete": key[1], "round_no": key[2],
                 "measure": "lactate_mmol_l", "unit": "values"} for r in group.itertuples(index=False)]  # fmt: skip
        limit = next((t for t in group["lactate_limit"] if t), "")
        value = float("nan") if limit else float(group["lactate_mmol_l"].mean())
        bound = float(group.loc[group["lactate_limit"].eq(limit), "lactate_bound_mmol_l"].mean()) if limit else np.nan
        if i is not None and (not np.isnan(rows.iloc[i, columns[0]]) or rows.iloc[i, columns[1]]):
            cause = "rounds.csv has a value of the same sample"
            entries += [{**b, "used": False, "cause": cause} for b in base]
            remarks.append(
                f"{key[1]}, session {key[0]}, round {key[2]}: lactate stands in both tables; rounds.csv was used."
            )
            continue
        delay = group["delay_s"].mean()
        window = windows.get(key[:2], {}).get(key[2])
        if np.isnan(delay) and window is not None:
            taken = [clock_seconds(t) for t in group["sample_clock"] if t]
            delay = float(np.mean(taken)) - window.end if taken else np.nan
        if i is None:
            extra.append({"session": key[0], "athlete": key[1], "round_no": key[2], "took_part": "yes" if key[2] else "",
                          "lactate_mmol_l": value, "lactate_limit": limit, "lactate_delay_s": delay,
                          "lactate_bound_mmol_l": bound})  # fmt: skip
        else:
            for c, new in zip(columns, (value, limit, delay, bound), strict=True):
                rows.iloc[i, c] = new
        readable = group["lactate_mmol_l"].notna().to_numpy() | bool(limit)
        entries += [
            b if ok else {**b, "used": False, "cause": "no value"} for b, ok in zip(base, readable, strict=True)
        ]
    if extra:
        more = pd.DataFrame(extra).reindex(columns=rows.columns)
        for text in _TEXT:
            more[text] = more[text].astype("object").fillna("").astype("str")
        rows = pd.concat([rows, more.astype({c: rows[c].dtype for c in rows})], ignore_index=True)
        rows = rows.sort_values(["session", "athlete", "round_no"], kind="stable", ignore_index=True)
    return rows, entries
