"""From raw times and rates to a tidy trace: in time order, repeats resolved, impossible times refused."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from ..basics import format_number, format_percent, plural
from .recording import (
    AT_CHANGES,
    COARSE_S,
    STEADILY,
    Judgement,
    Recording,
    RecordingError,
    gap_table,
    judge_steps,
    no_beats,
    no_stops,
    stopped_seconds,
)

MAX_CHANGE = 0.20
"""An interval that differs by more from the last accepted one is not normal (Malik et al. 1989)."""

SHORTEST_MS, LONGEST_MS = 250.0, 2500.0
"""Intervals outside are never normal: 240 and 24 beats a minute."""
FORGET_AFTER = 5
"""After this many refused intervals in a row the comparison starts anew."""


def correct_intervals(intervals_ms: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Edit beat-to-beat intervals by the 20 % rule."""
    # Source: Malik M, Farrell T, Cripps T, Camm AJ (1989). Eur Heart J 10:1060-1074 (the 20 % rule;
    # citation from memory). Task Force of the ESC and NASPE (1996). Circulation 93:1043-1065 (only
    # normal-to-normal intervals are used).
    given = np.asarray(intervals_ms, dtype=float)
    possible = np.isfinite(given) & (given >= SHORTEST_MS) & (given <= LONGEST_MS)
    normal = _accepted(given.tolist(), possible.tolist())
    beat = np.where(normal, "normal", "too long").astype("<U9")
    place = np.arange(len(given), dtype=float)
    if not normal.any():
        return np.full(len(given), np.nan), np.where(given < SHORTEST_MS, "too short", "too long")
    level = np.interp(place, place[normal], given[normal])
    beat[~normal & (given < level)] = "too short"
    corrected = np.where(normal, given, level)
    corrected[_in_long_runs(~normal)] = np.nan
    return corrected, beat


def _accepted(given: list, possible: list) -> np.ndarray:
    normal = np.zeros(len(given), dtype=bool)
    last, refused = None, 0
    for i, value in enumerate(given):
        if not possible[i]:
            refused += 1
            continue
        if last is None or refused > FORGET_AFTER:
            near = [given[k] for k in range(i, min(i + 5, len(given))) if possible[k]]
            last, refused = float(np.median(near)), 0
        if abs(value - last) <= MAX_CHANGE * last:
            normal[i], last, refused = True, value, 0
        else:
            refused += 1
    return normal


def _in_long_runs(wrong: np.ndarray) -> np.ndarray:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], wrong.astype(np.int8), [0]))))
    out = np.zeros(len(wrong), dtype=bool)
    for start, end in edges.reshape(-1, 2):
        out[start:end] = end - start > FORGET_AFTER
    return out


def rate_from_intervals(ends: np.ndarray, intervals_ms: np.ndarray):
    """Compute one heart rate a second from beat-to-beat intervals."""
    corrected, beat = correct_intervals(intervals_ms)
    ends = np.asarray(ends, dtype=float)
    given = np.asarray(intervals_ms, dtype=float)
    table = pd.DataFrame({"elapsed_s": ends, "interval_ms": given, "corrected_ms": corrected, "beat": beat})
    share = float((beat != "normal").mean()) if len(beat) else 0.0
    remarks = [f"Beat-to-beat intervals: {format_percent(share, 1)} not normal by the 20 % rule (Malik et al. 1989)."]
    usable = np.isfinite(ends)
    if not (usable & np.isfinite(corrected)).any():
        return np.empty(0), np.empty(0), table, remarks
    starts = ends - np.clip(np.where(np.isfinite(given), given, 0.0), 0.0, LONGEST_MS) / 1000.0
    first = float(starts[usable].min())
    count = int(np.floor(float(ends[usable].max()) - first))
    edges = first + np.arange(count + 1)
    # Two running sums, each linear inside an interval: beats so far, and usable seconds so far.
    keep = usable & np.isfinite(corrected) & (ends > starts)
    if not keep.any() or count < 1:
        return np.empty(0), np.empty(0), table, remarks
    order = np.argsort(starts[keep], kind="stable")
    a, b, c = starts[keep][order], ends[keep][order], corrected[keep][order]
    b = np.maximum(np.minimum(b, np.append(a[1:], np.inf)), a)
    time = np.stack([a, b], axis=1).ravel()
    seconds_so_far = np.cumsum(np.stack([np.zeros(len(a)), b - a], axis=1).ravel())
    beats_so_far = np.cumsum(np.stack([np.zeros(len(a)), (b - a) / c * 1000.0], axis=1).ravel())
    covered = np.diff(np.interp(edges, time, seconds_so_far))
    beats = np.diff(np.interp(edges, time, beats_so_far))
    rates = np.divide(60.0 * beats, covered, out=np.full(count, np.nan), where=covered >= 0.5)
    return edges[:-1] + 0.5, rates, table, remarks


MAX_ROWS = 1_000_000
"""More rows than this are not one evening: refused (24 hours at ten a second are 864,000)."""
HIGHEST_BPM = 1000.0
"""A higher number is no heart rate at all; what no person reaches is flagged by cleaning."""

MAX_SPAN_S = 36 * 3600.0
"""Rows further apart than this are not one evening: refused."""
MOST_NEAR = 0.9
"""Where this many rows lie within one evening, the others have damaged times and are left out."""
FIRST_YEAR = 2000
"""Dates before this year come from a clock that was never set."""


@dataclass
class RawTrace:
    """What a reader of one format hands over; everything that the formats share is done after it."""

    seconds: np.ndarray
    rates: np.ndarray
    clock: str = "none"
    kind: str = ""
    label: str = ""
    local_date: str = ""
    stops: list = field(default_factory=list)
    interval_ends: np.ndarray = field(default_factory=lambda: np.empty(0))
    intervals_ms: np.ndarray = field(default_factory=lambda: np.empty(0))
    remarks: list = field(default_factory=list)


def tidy_recording(raw: RawTrace, file: str, *, gap_limit_s: float | None, accept_unset_clock: bool) -> Recording:
    """Turn what a reader found into a `Recording`, or say why that is impossible."""
    remarks = list(raw.remarks)
    source = "device"
    beats, table = _beats(raw, file, remarks)
    if not _has_rate(raw.rates) and beats is not None:
        raw.seconds, raw.rates, source = beats[0], beats[1], "intervals"
        remarks.append(
            "Heart rate was computed from beat-to-beat intervals; it is quicker than a rate smoothed by a device."
        )
    elif beats is not None:
        remarks.append(
            f"{plural(len(table), 'beat-to-beat interval')} kept beside the heart rate of the device, not mixed in."
        )
    if len(raw.seconds) > MAX_ROWS:
        raise RecordingError(
            f"{file}: {len(raw.seconds):,} rows, more than the {MAX_ROWS:,} that one evening can have. "
            "Cut the file to the session."
        )
    if not _has_rate(raw.rates):
        raise RecordingError(f"{file}: no row has a heart rate. Was the strap connected to the device that recorded?")
    seconds, rates, zero = _in_order(raw, file, remarks)
    start = float(seconds[0])
    clock = _plausible_clock(raw.clock, seconds, file, accept_unset_clock, remarks)
    elapsed = seconds - start
    there = ~np.isnan(rates)
    stops = _stops(raw.stops, start, elapsed[-1])
    times = elapsed[there]
    judged = judge_steps(
        times, rates[there], broken=_broken(there, zero), standing_s=stopped_seconds(times[:-1], times[1:], stops),
        given=gap_limit_s,
    )  # fmt: skip
    _remark_on_contact(there, stops, remarks)
    _remark_on_gaps(times, judged, gap_limit_s, remarks)
    return Recording(
        samples=_samples(elapsed, rates, start if clock == "utc" else None), stops=stops,
        beats=table.assign(elapsed_s=table["elapsed_s"] - start) if beats is not None else table,
        remarks=tuple(remarks), file=file, kind=raw.kind, label=raw.label, hr_source=source, clock=clock,
        local_start_s=start % 86400.0 if clock == "local" else float("nan"),
        local_date=raw.local_date if clock == "local" else "", gap_limit_s=judged.limit_s,
        gaps=gap_table(times, judged.joined), written=judged.written, usual_step_s=judged.usual_step_s,
    )  # fmt: skip


def _has_rate(rates: np.ndarray) -> bool:
    return bool(len(rates)) and bool((np.isfinite(rates) & (rates > 0)).any())


def _beats(raw: RawTrace, file: str, remarks: list):
    if not len(raw.intervals_ms):
        return None, no_beats()
    if len(raw.intervals_ms) > MAX_ROWS or not np.ptp(raw.interval_ends) <= MAX_SPAN_S:
        raise RecordingError(
            f"{file}: the beat-to-beat intervals span more than one evening. Cut the file to the session."
        )
    ends, rates, table, said = rate_from_intervals(raw.interval_ends, raw.intervals_ms)
    remarks += said
    return (ends, rates), table


def _in_order(raw: RawTrace, file: str, remarks: list) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times and rates in order, one row per time, and which rows say by a zero that there was no contact."""
    seconds = np.asarray(raw.seconds, dtype=float)
    rates = np.asarray(raw.rates, dtype=float)
    odd = ~np.isnan(rates) & ((rates < 0) | (rates > HIGHEST_BPM))
    if odd.any():
        remarks.append(
            f"{plural(int(odd.sum()), 'value')} that cannot be a heart rate (negative, or above {HIGHEST_BPM:g} bpm) taken as "
            "missing; nothing to do."
        )
    zero = rates == 0
    rates = np.where(odd | zero, np.nan, rates)
    timed = np.isfinite(seconds)
    if not timed.all():
        remarks.append(
            f"{plural(int((~timed).sum()), 'row')} without a readable time left out; where there are many, export the file again."
        )
        seconds, rates, zero = seconds[timed], rates[timed], zero[timed]
    if not _has_rate(rates):
        raise RecordingError(
            f"{file}: no row has both a time and a heart rate, so nothing can be placed in time. "
            "Export the recording again with a time for each row."
        )
    if np.ptp(seconds) > MAX_SPAN_S:
        near = np.abs(seconds - np.median(seconds)) <= MAX_SPAN_S / 2
        if near.mean() >= MOST_NEAR:
            remarks.append(
                f"{plural(int((~near).sum()), 'row')} with a time far from the rest left out; export the file again."
            )
            seconds, rates, zero = seconds[near], rates[near], zero[near]
    step = np.diff(seconds)
    if (step < 0).any():
        back = format_number(float(-step.min()), 0, unit="s")
        remarks.append(
            f"Time ran backward {plural(int((step < 0).sum()), 'time')} (by up to {back}); rows were put in time order. "
            "Look at the picture of the trace; set the stretch aside in decisions.csv (from_s, to_s) where it looks wrong."
        )
        order = np.argsort(seconds, kind="stable")
        seconds, rates, zero = seconds[order], rates[order], zero[order]
        step = np.diff(seconds)
    if (step == 0).any():
        seconds, rates, zero = _resolve_repeats(seconds, rates, zero, step, remarks)
    span = float(seconds[-1] - seconds[0])
    if span > MAX_SPAN_S:
        raise RecordingError(
            f"{file}: the rows span {format_number(span / 3600, 0)} hours, so they are not one evening. "
            "Several sessions in one file, or a device whose clock was set while it recorded? Export one session."
        )
    return seconds, rates, zero & np.isnan(rates)


def _resolve_repeats(seconds, rates, zero, step, remarks):
    """One row per time: the mean of the heart rates that share it."""
    first = np.concatenate(([True], step > 0))
    group = np.cumsum(first) - 1
    there = ~np.isnan(rates)
    count = np.bincount(group, weights=there)
    total = np.bincount(group, weights=np.where(there, rates, 0.0))
    remarks.append(
        f"{plural(len(seconds) - int(first.sum()), 'row')} with a repeated time merged into one by the mean; nothing to do."
    )
    merged = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)
    return seconds[first], merged, np.bincount(group, weights=zero) > 0


def _plausible_clock(clock: str, seconds, file: str, accept_unset: bool, remarks: list) -> str:
    if clock != "utc":
        return clock
    latest = datetime.now(UTC).year + 1
    years = [_year(float(s)) for s in (seconds[0], seconds[-1])]
    wrong = [y for y in years if not FIRST_YEAR <= y <= latest]
    if not wrong:
        return clock
    if accept_unset:
        remarks.append(f"The dates lie in {wrong[0]}: the clock was not set, only elapsed seconds were used.")
        return "none"
    raise RecordingError(
        f"{file}: the dates lie in {wrong[0]}, so the clock of the device was not set. To use the trace by its elapsed "
        "seconds all the same, write accept_unset_clock = true under [cleaning] in study.toml."
    )


def _year(seconds: float) -> int:
    if not -6.2e10 < seconds < 2.5e11:
        return 9999 if seconds > 0 else 1
    return int(np.datetime64(int(seconds), "s").astype("datetime64[Y]").astype(int)) + 1970


def _samples(elapsed: np.ndarray, rates: np.ndarray, start: float | None) -> pd.DataFrame:
    if start is None:
        time = pd.Series(np.full(len(elapsed), np.datetime64("NaT", "us"))).dt.tz_localize("UTC")
    else:
        micro = np.round((start + elapsed) * 1e6).astype("int64")
        time = pd.Series(micro.view("datetime64[us]")).dt.tz_localize("UTC")
    return pd.DataFrame({"time": time, "elapsed_s": elapsed, "hr_bpm": rates})


def _stops(stops: list, start: float, end: float) -> pd.DataFrame:
    inside = [(max(a - start, 0.0), min(b - start, end), cause) for a, b, cause in stops]
    inside = [s for s in inside if s[1] > s[0]]
    if not inside:
        return no_stops()
    return pd.DataFrame(inside, columns=["from_s", "to_s", "cause"])


def _broken(there: np.ndarray, zero: np.ndarray) -> np.ndarray:
    """Steps between two heart rates with a row in between that says that there was none."""
    # A zero always says so; a blank does where blanks are rare. A table that writes the rate only in some
    # of its rows (every fifth, or where it changed) has blanks in most steps, and they say nothing.
    place = np.flatnonzero(there)
    blanks = np.diff(place) - 1
    zeros = np.diff(np.concatenate(([0], np.cumsum(zero)))[place])
    seldom = len(blanks) == 0 or float(np.median(blanks)) < 1
    return (zeros > 0) | ((blanks > 0) & seldom)


def _remark_on_contact(there: np.ndarray, stops: pd.DataFrame, remarks: list) -> None:
    missing = int((~there).sum())
    if missing:
        remarks.append(
            f"{missing} of {plural(len(there), 'row')} without a heart rate. Nothing to do; next time moisten the strap."
        )
    if len(stops):
        lost = format_number(float((stops["to_s"] - stops["from_s"]).sum()), 0, unit="s")
        remarks.append(
            f"The timer stood {plural(len(stops), 'time')}, {lost} in all: missing time. No setting brings it back."
        )


def _remark_on_gaps(times: np.ndarray, judged: Judgement, given, remarks: list) -> None:
    """Say what was joined and what is missing, by which rule, and what would change it."""
    step = np.diff(times)
    lost = step[~judged.joined]
    joined = step[judged.bridged]
    allowed = format_number(judged.limit_s, 0, unit="s")
    longest_usual = format_number(float(np.quantile(step, 0.99)), 0, unit="s") if len(step) else ""
    if judged.written != STEADILY and len(joined):
        how = "where the heart rate had changed" if judged.written == AT_CHANGES else "when something changed"
        were = "was" if len(joined) == 1 else "were"
        remarks.append(
            f"The device wrote a row only {how} (99 % of its steps are up to {longest_usual}): "
            f"{plural(len(joined), 'step')} over {allowed}, {format_number(float(joined.sum()), 0, unit='s')} in all, held "
            f"nothing that was lost and {were} joined. To take them as missing time, write "
            f"gap_limit_s = {allowed.split()[0]} under [cleaning] in study.toml."
        )
    elif len(joined):
        remarks.append(
            f"{plural(len(joined), 'step')} over {allowed} are alike to the second, so they are the timer of the device, "
            f"{format_number(float(joined.sum()), 0, unit='s')} in all: joined. To take them as missing time, write "
            f"gap_limit_s = {allowed.split()[0]} under [cleaning] in study.toml."
        )
    if len(lost):
        total, longest = (format_number(float(v), 0, unit="s") for v in (lost.sum(), lost.max()))
        words = f"{plural(len(lost), 'gap')} over {allowed} (the longest {longest}, {total} in all): missing time."
        if given is None:
            words += (
                " Where you know that nothing was lost, a higher gap_limit_s under [cleaning] in study.toml (at most 60) "
                "counts such steps, in every recording of the study."
            )
        remarks.append(words)
    if given is None and judged.limit_s > 5:
        usual = format_number(judged.usual_step_s, 0, unit="s")
        remarks.append(f"The usual step of this file is {usual}, so the limit of a gap is {allowed}.")
    if judged.usual_step_s > COARSE_S:
        usual = format_number(judged.usual_step_s, 0, unit="s")
        remarks.append(
            f"One heart rate every {usual}: enough for the mean of a whole session, too coarse for rounds. Set the device to "
            "record every second next time."
        )
