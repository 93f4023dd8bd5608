"""When each athlete sparred: the timekeeper's clock, the protocol where the clock has blanks, and who took part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import format_number
from ..study.times import clock_seconds

DAY_S = 86400.0
WINDOW_COLUMNS = ("session", "athlete", "round_no", "start_s", "end_s", "found_by", "confidence")


@dataclass
class Window:
    """One round on the timekeeper's clock."""

    round_no: int
    start: float
    end: float
    found_by: str = "clock"
    confidence: float = 1.0


def logged_windows(
    clock: pd.DataFrame, session: str, group: str, protocol, remarks: list
) -> dict[int, Window]:
    """The rounds of a group in a session by the timekeeper's sheet; blanks are filled by the protocol and said."""
    rows = clock[clock["session"] == session]
    own = rows[rows["group"] == group] if group else rows[rows["group"] == ""]
    rows = own if len(own) else _other_rows(rows, session, group, remarks)
    starts, ends = {}, {}
    for row in rows[rows["round_no"] > 0].sort_values("round_no", kind="stable").itertuples(index=False):
        starts[row.round_no] = clock_seconds(row.start_clock)
        ends[row.round_no] = clock_seconds(row.end_clock)
    if not any(np.isfinite(v) for v in (*starts.values(), *ends.values())):
        return {}
    _over_midnight(starts, ends)
    wanted = sorted(set(starts) | set(range(1, protocol.rounds + 1)))
    found = {}
    for k in wanted:
        start, end = starts.get(k, np.nan), ends.get(k, np.nan)
        if np.isnan(start) and np.isfinite(end):
            start = end - protocol.work_s
        if np.isfinite(start):
            found[k] = Window(k, start, end if end > start else start + protocol.work_s)
    period = protocol.work_s + protocol.rest_s
    for k in wanted:
        if k not in found and np.isfinite(period):
            near = min(found, key=lambda j: abs(j - k))
            start = found[near].start + (k - near) * period
            found[k] = Window(k, start, start + protocol.work_s, "protocol", 0.5)
            remarks.append(
                f"Session {session}: the clock of round {k} was not written down; it was worked out from round {near}."
            )
    return dict(sorted(found.items()))


def _other_rows(rows: pd.DataFrame, session: str, group: str, remarks: list) -> pd.DataFrame:
    """The rows for a group that the sheet does not name: those without a group, else those of the only group there is."""
    common = rows[rows["group"] == ""]
    named = list(dict.fromkeys(rows["group"])) if common.empty else []
    if not named:
        return common
    whose = f"group {group}" if group else "athletes without a group"
    if len(named) == 1:
        remarks.append(
            f"Session {session}: clock.csv names only {named[0]}; its times were taken for {whose} as well."
        )
        return rows
    remarks.append(
        f"Session {session}: clock.csv has times for {', '.join(named)}, but none for {whose}. Write the same words in the "
        "column group of athletes.csv, so that the kit knows whose rounds these are."
    )
    return common


def _over_midnight(starts: dict, ends: dict) -> None:
    """Times of day that fall back by more than half a day are of the next day."""
    last = -np.inf
    for k in sorted(starts):
        for side in (starts, ends):
            value = side.get(k, np.nan)
            if np.isfinite(value):
                while value < last - DAY_S / 2:
                    value += DAY_S
                side[k] = last = value


def own_windows(
    windows: dict[int, Window], rounds: pd.DataFrame, who: str, remarks: list
) -> dict[int, Window]:
    """The rounds that one athlete sparred."""
    own = dict(windows)
    for k, took_part, minutes in zip(
        rounds["round_no"], rounds["took_part"], rounds["minutes_done"], strict=True
    ):
        if took_part in ("sat_out", "left"):
            own.pop(k, None)
        elif took_part == "part" and k in own:
            window = own[k]
            if 0 < 60.0 * minutes < window.end - window.start:
                own[k] = Window(
                    k, window.start, window.start + 60.0 * minutes, window.found_by, window.confidence
                )
                done = format_number(minutes, 1, unit="min")
                remarks.append(f"{who}, round {k}: {done} sparred; taken from the start of the round.")
    return own
