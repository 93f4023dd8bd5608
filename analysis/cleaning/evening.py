"""One session: read its recordings, put them on one clock, cut the rounds, flag the samples."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import format_number, plural
from ..recordings import Recording
from .align import check_clocks, place_without_clock, windows_from_traces
from .crossed import mark_crossed
from .facts import AthleteFacts
from .flags import flag_codes
from .hand import apply_to_trace
from .placing import Evening, Placed, Trace, join_files, place, read_all, right_day
from .rules import CleaningRules
from .windows import Window, logged_windows, own_windows


@dataclass
class Session:
    """A session after cleaning."""

    traces: dict[str, Trace] = field(default_factory=dict)
    windows: dict[str, dict[int, Window]] = field(default_factory=dict)
    clocks: list[dict] = field(default_factory=list)
    files: list[tuple[dict, str]] = field(default_factory=list)
    kept: dict[str, dict[int, str]] = field(default_factory=dict)


def clean_evening(
    study,
    evening: Evening,
    files: pd.DataFrame,
    rows: pd.DataFrame,
    *,
    groups: dict[str, str],
    facts: dict[str, AthleteFacts],
    rules: CleaningRules,
    decisions: list[dict],
    remarks: list,
    warnings: list,
) -> Session:
    """Read, place, cut and flag the recordings of one session."""
    out = Session()
    everyone = list(dict.fromkeys([*rows["athlete"], *files["athlete"]]))
    logged = {
        g: logged_windows(study.clock, evening.session, g, study.protocol.for_group(g), remarks)
        for g in dict.fromkeys(groups.get(a, "") for a in everyone)
    }
    by_athlete = {a: r for a, r in rows.groupby("athlete", sort=False)}
    parts = _read(files, evening, logged, groups, rules, out, remarks, warnings)
    for athlete, placed in parts.items():
        joined = _one_clock(placed, evening, out, warnings)
        trace = join_files(evening.session, athlete, joined, remarks)
        hr_max = facts.get(athlete, AthleteFacts()).hr_max
        trace.codes = flag_codes(trace.clock, trace.rates, hr_max_bpm=hr_max, rules=rules)
        out.traces[athlete] = trace
    for group, windows in logged.items():
        if not windows:
            members = [t for a, t in out.traces.items() if groups.get(a, "") == group and t.placed]
            logged[group] = windows_from_traces(members, study.protocol.for_group(group), evening, warnings)
    for athlete in everyone:
        group = groups.get(athlete, "")
        protocol = study.protocol.for_group(group)
        mine = by_athlete.get(athlete, rows.iloc[:0])
        who = f"{athlete}, session {evening.session}"
        windows = logged[group]
        trace = out.traces.get(athlete)
        if trace is not None and not trace.placed:
            windows = place_without_clock(trace, windows, protocol, out.clocks, who, warnings)
        out.windows[athlete] = own_windows(windows, mine, who, remarks)
        if trace is not None:
            out.kept[athlete] = apply_to_trace(trace, out.windows[athlete], decisions, _seconds)
    check_clocks(out, rules, warnings)
    remarks += _moved_from_utc(out, evening)
    warnings += mark_crossed(out.traces, rules)
    return out


def _moved_from_utc(out: Session, evening: Evening) -> list[str]:
    """One sentence per session about recordings in UTC."""
    count = sum(line["device_clock"] == "utc" for line in out.clocks)
    if not count or np.isnan(evening.utc_offset_s):
        return []
    hours = evening.utc_offset_s / 3600
    moved = format_number(hours, 0 if hours.is_integer() else 1, sign=True, unit="h")
    words = f"{plural(count, 'recording')} in UTC {'was' if count == 1 else 'were'} moved by {moved} to local time"
    return [f"Session {evening.session}: {words} (sessions.csv)."]


def _seconds(trace: Trace, hit: np.ndarray) -> float:
    """Seconds that some samples of a trace stand for."""
    step = np.diff(trace.clock)
    usual = float(np.median(step)) if len(step) else 1.0
    around = np.minimum(np.concatenate((step, [usual])), max(trace.gap_limit, usual))
    return float(around[hit].sum())


def _read(files, evening, logged, groups, rules, out: Session, remarks, warnings) -> dict[str, list[Placed]]:
    parts: dict[str, list[Placed]] = {}
    recording: Recording | None
    for row, recording, problem in read_all(files, rules, remarks, warnings):
        if recording is None:
            out.files.append((row, problem))
            continue
        placed = place(row, recording, evening, rules, warnings)
        windows = logged.get(groups.get(row["athlete"], ""), {})
        middle = np.mean([w.start for w in windows.values()]) if windows else np.nan
        out.clocks.append(placed.line)
        if not right_day(placed, float(middle), evening, warnings):
            placed.line.update(offset_source="another day")
            out.files.append((row, "of another day"))
            continue
        out.files.append((row, ""))
        parts.setdefault(row["athlete"], []).append(placed)
    return parts


def _one_clock(placed: list[Placed], evening: Evening, out: Session, warnings: list) -> list[Placed]:
    """The files of an athlete that can be joined: those with a clock, else one alone; the others are set aside."""
    kept = [p for p in placed if p.placed] or placed[:1]
    for extra in (p for p in placed if not any(p is k for k in kept)):
        athlete, file = extra.line["athlete"], extra.recording.file
        cause = "no clock beside another file of the same athlete"
        warnings.append(f"{athlete}, session {evening.session}: {file} has {cause}; it was set aside.")
        for i, (row, _) in enumerate(out.files):
            if row["athlete"] == athlete and row["path"].name == file:
                out.files[i] = (row, cause)
    return kept
