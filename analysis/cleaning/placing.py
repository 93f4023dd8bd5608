"""Put every recording of an evening on the timekeeper's clock, and join the files of one athlete."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import format_number
from ..recordings import Recording, RecordingError, read_recording
from ..study.times import clock_seconds
from .find import GRID_S, SHAPES, Window, find_rounds, on_grid, shape_of_rounds, slide
from .rules import CleaningRules

DAY_S = 86400.0
BY_EVENT = "common event"
"""Where the offset of a device comes from, beside "log", "none needed", "not placed" and "lined up with the rounds"."""

USUAL_MIDDLE_S = 18 * 3600.0
"""The time of day about which recordings lie where nobody logged the clock."""


@dataclass
class Trace:
    """The heart rate of one athlete in one session."""

    session: str
    athlete: str
    clock: np.ndarray
    rates: np.ndarray
    codes: np.ndarray
    stops: list
    gap_limit: float
    placed: bool
    files: list = field(default_factory=list)


@dataclass
class Evening:
    """What of a session places its recordings.

    Parameters
    ----------
    session : str
    date : str
        YYYY-MM-DD, or "".
    utc_offset_s : float
        Local time minus UTC; NaN where not given.
    event_s : float
        The timekeeper's clock at the event that every recording shows, in seconds after midnight; NaN where there was none.
    """

    session: str
    date: str = ""
    utc_offset_s: float = float("nan")
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


def read_all(files: pd.DataFrame, rules: CleaningRules, remarks: list, warnings: list):
    """Yield (row of files, Recording or None, problem) for every file; a bad file never stops the rest."""
    for row in files.to_dict("records"):
        label = row.get("label") or None
        try:
            recording = read_recording(
                row["path"],
                label=label,
                gap_limit_s=rules.gap_limit_s or None,
                accept_unset_clock=rules.accept_unset_clock,
            )
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
        "session": row["session"],
        "athlete": row["athlete"],
        "file": recording.file,
        "device": row.get("device", "") or "",
        "device_clock": recording.clock,
        "offset_s": shift,
        "offset_source": "log" if logged else "none needed",
    }
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
        warnings.append(
            f"{apart} by its own date. The common event was believed: is this the file of that evening?"
        )
        return True
    warnings.append(
        f"{apart} and was set aside. A file of another evening, or a device with a wrong date? For a wrong date, give the "
        "common event: event_s in recordings.csv and event_clock in sessions.csv."
    )
    return False


def join_files(session: str, athlete: str, parts: list[Placed], remarks: list) -> Trace:
    """Join the files of one athlete; where two overlap, the one with more contact is kept."""
    parts = sorted(parts, key=lambda p: -np.isfinite(p.recording.samples["hr_bpm"].to_numpy()).sum())
    clock, rates, stops, taken = [], [], [], []
    for part in parts:
        own = part.recording.samples["hr_bpm"].to_numpy()
        free = np.ones(len(own), dtype=bool)
        for begin, end in taken:
            free &= (part.clock < begin) | (part.clock > end)
        if not free.all():
            remarks.append(
                f"{athlete}, session {session}: {part.recording.file} overlaps another file of the same athlete; "
                f"{int((~free).sum())} of its rows were left out."
            )
        if not free.any():
            continue
        clock.append(part.clock[free])
        rates.append(own[free])
        first = part.clock[0]
        known = part.recording.stops
        elapsed_0 = part.recording.samples["elapsed_s"].iloc[0]
        stops += [
            (first - elapsed_0 + a, first - elapsed_0 + b)
            for a, b in zip(known["from_s"], known["to_s"], strict=True)
        ]
        taken.append((part.clock[0], part.clock[-1]))
    time, value = np.concatenate(clock), np.concatenate(rates)
    if len(clock) > 1:
        order = np.argsort(time, kind="stable")
        time, value = time[order], value[order]
        remarks.append(f"{athlete}, session {session}: {len(clock)} files joined.")
    return Trace(
        session,
        athlete,
        time,
        value,
        np.zeros(len(time), dtype=np.int8),
        sorted(stops),
        max(p.recording.gap_limit_s for p in parts),
        parts[0].placed,
        [p.recording.file for p in parts],
    )


REACH_S = 300.0
"""Clocks are looked for up to so many seconds from where they should be."""
LEAST_HEIGHT_BPM = 15.0
LEAST_UNCERTAINTY_S = 5.0
"""Onset of effort and the smoothing of devices differ by some seconds between people: never surer than this."""
CALIBRATED = 0.45
"""The curvature overstates the error, since heart rate's own wobble is smooth; with this factor the intervals cover 95 %
of simulated clocks (tests/benchmarks/cleaning_rounds_found.py)."""


@dataclass(frozen=True)
class Lag:
    """How far a trace lies behind the rounds."""

    seconds: float
    uncertainty_s: float
    share_explained: float


NO_LAG = Lag(float("nan"), float("nan"), float("nan"))


def find_lag(
    clock: np.ndarray, rates: np.ndarray, good: np.ndarray, starts, ends, *, reach_s: float = REACH_S
) -> Lag:
    """Find by how much a trace must be shifted so that it answers best to the rounds."""
    starts, ends = np.asarray(starts, dtype=float), np.asarray(ends, dtype=float)
    near = good & (clock >= starts[0] - 300 - reach_s) & (clock <= ends[-1] + 180 + reach_s)
    if near.sum() < 60 or np.ptp(clock[near]) < 120:
        return NO_LAG
    first, values, weights = on_grid(clock[near], rates[near], np.ones(int(near.sum()), dtype=bool))
    steps = int(reach_s // GRID_S)
    lags = 2 * steps + 1
    times = first + GRID_S * (np.arange(len(values) + lags - 1) - steps)
    best = None
    for rise, fall in SHAPES:
        misfit, height, spread = slide(
            values, weights, shape_of_rounds(times, starts, ends, rise, fall), lags
        )
        misfit = np.where(height > 0, misfit, spread)
        j = int(misfit.argmin())
        if best is None or misfit[j] < best[0][best[1]]:
            best = (misfit, j, height, spread, rise, fall)
    misfit, j, height, spread, rise, fall = best
    if j in (0, lags - 1) or height[j] < LEAST_HEIGHT_BPM or spread <= 0:
        return NO_LAG
    bend = misfit[j - 1] - 2 * misfit[j] + misfit[j + 1]
    move = 0.5 * (misfit[j - 1] - misfit[j + 1]) / bend if bend > 0 else 0.0
    lag = (steps - j - move) * GRID_S
    shape = shape_of_rounds(times, starts, ends, rise, fall)[j : j + len(values)]
    uncertainty = _uncertainty(values, weights, shape, misfit[j], bend)
    return Lag(float(lag), uncertainty, float(1 - misfit[j] / spread))


def _uncertainty(values, weights, shape, misfit: float, bend: float) -> float:
    """Half-width of the 95 % interval of a lag from the curvature of the misfit."""
    there = weights > 0
    design = np.column_stack([np.ones(there.sum()), shape[there]])
    left = values[there] - design @ np.linalg.lstsq(design, values[there], rcond=None)[0]
    near = float(left[1:] @ left[:-1]) / max(float(left @ left), 1e-12)
    near = min(max(near, 0.0), 0.98)
    variance = misfit / max(there.sum() - 3, 1) * (1 + near) / (1 - near)
    curvature = bend / GRID_S**2
    if curvature <= 0:
        return float("nan")
    return float(max(CALIBRATED * 1.96 * np.sqrt(2 * variance / curvature), LEAST_UNCERTAINTY_S))


def check_clocks(session, rules: CleaningRules, warnings: list) -> None:
    """Line every placed trace up with the rounds that its athlete sparred; show where that disagrees with its clock."""
    for line in session.clocks:
        line.setdefault("found_offset_s", float("nan"))
        line.setdefault("found_uncertainty_s", float("nan"))
        line.setdefault("agrees", "")
    warnings += _two_offsets_in_one_file(session.clocks)
    for athlete, trace in session.traces.items():
        windows = [w for w in session.windows.get(athlete, {}).values() if w.found_by != "trace"]
        if not trace.placed or not windows:
            continue
        lag = find_lag(
            trace.clock, trace.rates, trace.codes == 0, [w.start for w in windows], [w.end for w in windows]
        )
        if np.isnan(lag.seconds):
            continue
        limit = max(rules.clock_disagreement_s, lag.uncertainty_s)
        for line in session.clocks:
            if (
                line["athlete"] == athlete
                and line["file"] in trace.files
                and line["offset_source"] != "another day"
            ):
                _say(line, lag, limit, warnings)


def _two_offsets_in_one_file(clocks: list) -> list[str]:
    """Sentences about files of several athletes whose rows give different offsets: a file has one clock."""
    offsets: dict[tuple, set] = {}
    for line in clocks:
        if np.isfinite(line["offset_s"]):
            offsets.setdefault((line["session"], line["file"]), set()).add(line["offset_s"])
    return [
        f"{file}, session {session}: recordings.csv gives different clock offsets for one file, which has one clock. Give all "
        "its rows the same clock_offset_s."
        for (session, file), found in offsets.items()
        if len(found) > 1
    ]


def _say(line: dict, lag: Lag, limit: float, warnings: list) -> None:
    given = (
        line["offset_s"] if np.isfinite(line["offset_s"]) else 0.0
    )  # a recording without a clock, put there by the event
    line["found_offset_s"] = given + lag.seconds
    line["found_uncertainty_s"] = lag.uncertainty_s
    agrees = abs(lag.seconds) <= limit
    line["agrees"] = "yes" if agrees else "no"
    if agrees:
        return
    used = format_number(given, 0, unit="s", sign=True)
    found = format_number(line["found_offset_s"], 0, unit="s", sign=True)
    said = {"log": "the log says", BY_EVENT: "the common event says"}
    remedy = "correct event_s" if line["offset_source"] == BY_EVENT else "write it as clock_offset_s"
    log = said.get(line["offset_source"], "nothing is logged, so it was taken as")
    warnings.append(
        f"{line['athlete']}, session {line['session']}: the clock of {line['file']} looks {found} off the timekeeper's (plus or "
        f"minus {format_number(lag.uncertainty_s, 0, unit='s')}, from rounds and rests in the trace); {log} {used}. "
        f"The found value was not used. If it is right, {remedy} in recordings.csv."
    )


def place_without_clock(
    trace: Trace, windows: dict[int, Window], protocol, clocks: list, who: str, warnings: list
) -> dict[int, Window]:
    """Put a trace without a clock on the session's clock by its rounds, or find its own rounds."""
    found = find_rounds(_samples(trace), protocol)
    lines = [c for c in clocks if c["file"] in trace.files and c["athlete"] == trace.athlete]
    if found.empty:
        warnings.append(f"{who}: the recording has no clock and no rounds could be found in it.")
        return {}
    sure = float(found["confidence"].min())
    own = {
        int(r.round_no): Window(
            int(r.round_no), float(r.start_s), float(r.end_s), "trace", float(r.confidence)
        )
        for r in found.itertuples(index=False)
    }
    for line in lines:
        line["offset_source"] = "lined up with the rounds"
    words = f"{who}: the recording has no clock; its rounds were found from the trace (confidence {format_number(sure, 2)})."
    shared = [k for k in own if k in windows]
    if not shared:
        warnings.append(words)
        return own
    shift = float(np.median([windows[k].start - own[k].start for k in shared]))
    trace.clock = trace.clock + shift
    trace.stops = [(a + shift, b + shift) for a, b in trace.stops]
    trace.placed = True
    warnings.append(words)
    return {k: Window(k, w.start, w.end, "trace", sure) for k, w in windows.items()}


def windows_from_traces(traces: list[Trace], protocol, evening: Evening, warnings: list) -> dict[int, Window]:
    """Find the rounds of a group from its traces together, where nobody logged the clock."""
    if not traces or protocol.rounds < 1 or not protocol.work_s > 0:
        return {}
    found = find_rounds(_together(traces), protocol)
    if found.empty:
        warnings.append(
            f"Session {evening.session}: nobody logged the clock and no rounds could be found in the traces."
        )
        return {}
    sure = format_number(float(found["confidence"].min()), 2)
    warnings.append(
        f"Session {evening.session}: nobody logged the clock; the rounds were found from the traces (confidence {sure}). Write "
        "start_clock in clock.csv where it is known."
    )
    return {
        int(r.round_no): Window(
            int(r.round_no), float(r.start_s), float(r.end_s), "trace", float(r.confidence)
        )
        for r in found.itertuples(index=False)
    }


def _samples(trace: Trace) -> pd.DataFrame:
    good = trace.codes == 0
    return pd.DataFrame({"elapsed_s": trace.clock[good], "hr_bpm": trace.rates[good]})


def _together(traces: list[Trace]) -> pd.DataFrame:
    """The mean of several traces second by second, each less its own mean: what the group did together."""
    first = min(t.clock[0] for t in traces)
    size = int(max(t.clock[-1] for t in traces) - first) + 1
    total, count = np.zeros(size), np.zeros(size)
    for trace in traces:
        good = trace.codes == 0
        if not good.any():
            continue
        cell = np.clip((trace.clock[good] - first).astype(int), 0, size - 1)
        total += np.bincount(cell, weights=trace.rates[good] - trace.rates[good].mean(), minlength=size)
        count += np.bincount(cell, minlength=size)
    there = count > 0
    return pd.DataFrame(
        {
            "elapsed_s": first + np.flatnonzero(there).astype(float),
            "hr_bpm": 120.0 + total[there] / count[there],
        }
    )
