"""Put every recording of an evening on the timekeeper's clock, and join the files of one athlete."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import pandas as pd

from ..basics import format_number
from ..recordings import Recording, RecordingError, read_recording
from ..recordings.read import read_kept
from ..recordings.recording import STEADILY
from ..study.times import clock_seconds
from .flags import CleaningRules

DAY_S = 86400.0
BY_EVENT = "common event"
"""Where the offset of a device comes from, beside "log", "none needed", "not placed" and "lined up with the rounds"."""

USUAL_MIDDLE_S = 18 * 3600.0
"""The time of day about which recordings lie where nobody logged the clock."""


@dataclass
class Trace:
    """The heart rate of one athlete in one session; `lost` are the spans that are missing time, `held` why it is held back."""

    session: str
    athlete: str
    clock: np.ndarray
    rates: np.ndarray
    codes: np.ndarray
    stops: list
    gap_limit: float
    placed: bool
    files: list = field(default_factory=list)
    lost: list | None = None
    written: str = STEADILY
    usual_step: float = 1.0
    held: str = ""

    def shift(self, seconds: float) -> None:
        """Move the whole trace on the clock."""
        self.clock = self.clock + seconds
        self.stops = [(a + seconds, b + seconds) for a, b in self.stops]
        self.lost = None if self.lost is None else [(a + seconds, b + seconds) for a, b in self.lost]


@dataclass
class Evening:
    """What of a session places its recordings."""

    session: str
    date: str = ""  # YYYY-MM-DD, or ""
    utc_offset_s: float = float("nan")  # local time minus UTC; NaN where not given
    event_s: float = float("nan")


def evenings_of(sessions: pd.DataFrame) -> dict[str, Evening]:
    """Session -> Evening."""
    found = {}
    for row in sessions.to_dict("records"):
        date = row.get("date", "")
        text = "" if date is None or pd.isna(date) else str(date)[:10]
        event = clock_seconds(row.get("event_clock", ""))
        found[str(row["session"])] = Evening(
            str(row["session"]), text, offset_seconds(row.get("utc_offset", "")), event
        )
    return found


def offset_seconds(text) -> float:
    """Local time minus UTC in seconds, from "+02:00", "-3:30" or hours as a number; NaN where blank."""
    if text is None or (isinstance(text, float) and np.isnan(text)) or not str(text).strip():
        return float("nan")
    bare = str(text).strip()
    try:
        if ":" in bare:
            hours, minutes = bare.lstrip("+-").split(":")[:2]
            return (-1.0 if bare.startswith("-") else 1.0) * (3600.0 * int(hours) + 60.0 * int(minutes))
        return 3600.0 * float(bare)
    except ValueError:
        return float("nan")


@dataclass
class Placed:
    """One file on the clock, and the line about it in the table of clocks."""

    recording: Recording
    clock: np.ndarray
    placed: bool
    line: dict


def reading_options(row: dict, rules: CleaningRules) -> dict:
    """How a file is read: which of its traces, and by which rules."""
    return {
        "label": row.get("label") or None,
        "gap_limit_s": rules.gap_limit_s or None,
        "accept_unset_clock": rules.accept_unset_clock,
    }


def read_all(files: pd.DataFrame, rules: CleaningRules, remarks: list, warnings: list, keep_in=None):
    """Yield (row of files, Recording or None, problem) for every file; a bad file never stops the rest."""
    for row in files.to_dict("records"):
        options = reading_options(row, rules)
        try:
            kept = {} if keep_in is None else {"folder": keep_in}
            recording = (read_kept if kept else read_recording)(path=row["path"], **kept, **options)
        except RecordingError as problem:
            warnings.append(f"{_who(row)}: {problem}")
            yield row, None, str(problem)
            continue
        remarks += [f"{_who(row)}, {recording.file}: {r}" for r in recording.remarks]
        yield row, recording, ""


def _who(row) -> str:
    return f"{row['athlete']}, session {row['session']}"


def place(row: dict, recording: Recording, evening: Evening, rules: CleaningRules, warnings: list) -> Placed:
    """Put one recording on the timekeeper's clock, as far as the log, a common event and its own clock allow."""
    elapsed = recording.samples["elapsed_s"].to_numpy()
    offset = row.get("clock_offset_s")
    logged = offset is not None and not pd.isna(offset)
    shift = float(offset) if logged else 0.0
    event = evening.event_s - row.get("event_s", np.nan) + elapsed  # NaN where there was no event
    line = {
        "session": row["session"], "athlete": row["athlete"], "file": recording.file,
        "device": row.get("device", "") or "", "device_clock": recording.clock, "offset_s": shift,
        "offset_source": "log" if logged else "none needed", "written": recording.written,
    }  # fmt: skip
    if recording.clock == "none":
        by_event = bool(np.isfinite(event[0]))
        line.update(offset_s=float("nan"), offset_source=BY_EVENT if by_event else "not placed")
        return Placed(recording, event if by_event else elapsed, by_event, line)
    day = _days(evening.date)
    if recording.clock == "utc":
        offset_s = evening.utc_offset_s
        if np.isnan(offset_s):
            offset_s = 0.0
            warnings.append(
                f"{_who(row)}: {recording.file} is in UTC, but sessions.csv gives no utc_offset, so UTC was taken as local time."
            )
        start = recording.samples["time"].iloc[0].timestamp() + offset_s
        day = np.floor(start / DAY_S) if np.isnan(day) else day
        first = start - day * DAY_S
    else:
        dated = _days(recording.local_date)
        apart = 0.0 if np.isnan(dated) or np.isnan(day) else dated - day
        first = recording.local_start_s + apart * DAY_S
    if np.isfinite(event[0]):
        between = float((first + elapsed - event)[0] + DAY_S / 2) % DAY_S - DAY_S / 2
        if not logged:
            line.update(offset_s=between, offset_source=BY_EVENT)
            shift = between
        elif abs(between - shift) > rules.clock_disagreement_s:
            warnings.append(
                f"{_who(row)}: the common event puts the clock of {recording.file} "
                f"{format_number(between, 0, unit='s', sign=True)} off the timekeeper's, clock_offset_s "
                f"{format_number(shift, 0, unit='s', sign=True)}. The latter was used; clear the wrong one in recordings.csv."
            )
    return Placed(recording, first + elapsed - shift, True, line)


def _days(date: str) -> float:
    try:
        return float(np.datetime64(date, "D").astype(int)) if date else float("nan")
    except ValueError:
        return float("nan")


def own_turn(placed: Placed, row: dict, warnings: list) -> Placed | None:
    """The part of a recording in which this athlete wore the device; None where nothing of it can be told."""
    begin, end = (clock_seconds(row.get(name) or "") for name in ("worn_from", "worn_until"))
    if np.isnan(begin) and np.isnan(end):
        return placed
    file = placed.recording.file
    if not placed.placed:
        warnings.append(
            f"{_who(row)}: {file} has no clock, so worn_from and worn_until cannot be found in it, and it was set aside. Give "
            "the common event (event_s in recordings.csv, event_clock in sessions.csv)."
        )
        return None
    begin, end = (t + DAY_S if t < placed.clock[0] - DAY_S / 2 else t for t in (begin, end))
    mine = np.ones(len(placed.clock), dtype=bool)
    if np.isfinite(begin):
        mine &= placed.clock >= begin
    if np.isfinite(end):
        mine &= placed.clock < end
    if not np.isfinite(placed.recording.samples["hr_bpm"].to_numpy()[mine]).any():
        warnings.append(
            f"{_who(row)}: {file} holds no heart rate from {row['worn_from'] or 'its start'} to "
            f"{row['worn_until'] or 'its end'}, and was set aside. Compare worn_from and worn_until with the timekeeper's sheet."
        )
        return None
    kept = replace(placed.recording, samples=placed.recording.samples[mine].reset_index(drop=True))
    return Placed(kept, placed.clock[mine], True, placed.line)


def right_day(placed: Placed, middle: float, evening: Evening, warnings: list) -> bool:
    """Whether a recording is of the session's day; a clock without a date is moved over midnight where needed."""
    if not np.isfinite(middle):
        middle = USUAL_MIDDLE_S if evening.date else np.nan
    if not placed.placed or not np.isfinite(middle):
        return True
    away = (placed.clock[0] + placed.clock[-1]) / 2 - middle
    days = round(away / DAY_S)
    if days == 0:
        return True
    recording = placed.recording
    if recording.clock == "none" or (recording.clock == "local" and not recording.local_date):
        placed.clock = placed.clock - days * DAY_S
        return True
    apart = (
        f"{placed.line['athlete']}, session {evening.session}: {recording.file} lies {format_number(abs(days), 0)} "
        f"{'day' if abs(days) == 1 else 'days'} {'after' if days > 0 else 'before'} the session"
    )
    if placed.line["offset_source"] == BY_EVENT:  # somebody found the event of this evening in this file
        placed.clock = placed.clock - days * DAY_S
        placed.line["offset_s"] += days * DAY_S
        warnings.append(f"{apart} by its own date. The common event was believed: is this the file of that evening?")
        return True
    warnings.append(
        f"{apart} and was set aside. A file of another evening, or a device with a wrong date? For a wrong date, give the "
        "common event: event_s in recordings.csv and event_clock in sessions.csv."
    )
    return False


def join_files(session: str, athlete: str, parts: list[Placed], remarks: list) -> Trace:
    """Join the files of one athlete; where two overlap, the one with more contact is kept."""
    parts = sorted(parts, key=lambda p: -np.isfinite(p.recording.samples["hr_bpm"].to_numpy()).sum())
    clock, rates, stops, lost, taken = [], [], [], [], []
    for part in parts:
        own = part.recording.samples["hr_bpm"].to_numpy()
        free = np.ones(len(own), dtype=bool)
        for begin, end in taken:
            free &= (part.clock < begin) | (part.clock > end)
        if not free.all():
            remarks.append(
                f"{athlete}, session {session}: {part.recording.file} overlaps another file of the same athlete; "
                f"{int((~free).sum())} of its rows were left out. To use them, list this file alone in recordings.csv."
            )
        if not free.any():
            continue
        clock.append(part.clock[free])
        rates.append(own[free])
        zero = part.clock[0] - part.recording.samples["elapsed_s"].iloc[0]
        stops += _spans(part.recording.stops, zero)
        lost += _spans(part.recording.gaps, zero)
        taken.append((part.clock[0], part.clock[-1]))
    time, value = np.concatenate(clock), np.concatenate(rates)
    if len(clock) > 1:
        order = np.argsort(time, kind="stable")
        time, value = time[order], value[order]
        remarks.append(f"{athlete}, session {session}: {len(clock)} files joined.")
        lost += _between(taken, max(p.recording.gap_limit_s for p in parts))
    return Trace(
        session, athlete, time, value, np.zeros(len(time), dtype=np.int8), sorted(stops),
        max(p.recording.gap_limit_s for p in parts), parts[0].placed, [p.recording.file for p in parts], sorted(lost),
        parts[0].recording.written, max(p.recording.usual_step_s for p in parts),
    )  # fmt: skip


def _spans(table: pd.DataFrame | None, zero: float) -> list[tuple[float, float]]:
    """Spans of a recording on the clock."""
    return [] if table is None else [(zero + a, zero + b) for a, b in zip(table["from_s"], table["to_s"], strict=True)]


def _between(taken: list[tuple[float, float]], limit: float) -> list[tuple[float, float]]:
    """The time between the files of one athlete, where it is longer than a gap may be."""
    taken = sorted(taken)
    return [(a, b) for (_, a), (b, _) in pairwise(taken) if b - a > limit]
