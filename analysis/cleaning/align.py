"""Line traces up with the rounds: to check clocks, and to place recordings or rounds where there is no clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import format_number
from .find import find_rounds
from .placing import BY_EVENT, Evening, Trace
from .response import GRID_S, SHAPES, on_grid, shape_of_rounds, slide
from .rules import CleaningRules
from .windows import Window

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
