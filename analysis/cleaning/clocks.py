"""Clocks: how far each device's is off, by the answer of its trace to rounds and rests, and what is done about it.

Also the traces and evenings without any clock, which are placed by the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..basics import format_number
from .find import GRID_S, SHAPES, Window, find_rounds, on_grid, shape_of_rounds, slide
from .flags import CleaningRules
from .placing import BY_EVENT, Evening, Trace

REACH_S = 300.0
"""Clocks are looked for up to this many seconds from where they should be."""
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
    confidence: float = 0.0


NO_LAG = Lag(float("nan"), float("nan"))


def find_lag(clock: np.ndarray, rates: np.ndarray, good: np.ndarray, starts, ends) -> Lag:
    """Find by how much a trace must be shifted so that it answers best to the rounds."""
    near = good & (clock >= starts[0] - 300 - REACH_S) & (clock <= ends[-1] + 180 + REACH_S)
    if near.sum() < 60 or np.ptp(clock[near]) < 120:
        return NO_LAG
    first, values, weights = on_grid(clock[near], rates[near], np.ones(int(near.sum()), dtype=bool))
    steps = int(REACH_S // GRID_S)
    lags = 2 * steps + 1
    times = first + GRID_S * (np.arange(len(values) + lags - 1) - steps)
    best = None
    for rise, fall in SHAPES:
        misfit, height, spread = slide(values, weights, shape_of_rounds(times, starts, ends, rise, fall), lags)
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
    return Lag(float(lag), uncertainty)


def _uncertainty(values, weights, shape, misfit: float, bend: float) -> float:
    """Half-width of the 95 % interval of a lag from the curvature of the misfit."""
    there = weights > 0
    design = np.column_stack([np.ones(there.sum()), shape[there]])
    left = values[there] - design @ np.linalg.lstsq(design, values[there])[0]
    near = float(left[1:] @ left[:-1]) / max(float(left @ left), 1e-12)
    near = min(max(near, 0.0), 0.98)
    variance = max(misfit, 0.0) / max(there.sum() - 3, 1) * (1 + near) / (1 - near)
    curvature = bend / GRID_S**2
    if curvature <= 0:
        return float("nan")
    return float(max(CALIBRATED * 1.96 * np.sqrt(2 * variance / curvature), LEAST_UNCERTAINTY_S))


AROUND_S = 150.0
"""Seconds before the first and after the last round that must fit too: rest, not a further round."""
WIDE_S = 1800.0
"""Clocks are looked for up to so far from where they should be, and about every half hour up to `MOST_S`."""
HALF_HOUR_S = 1800.0
MOST_S = 14 * 3600.0
"""No two zones lie further apart (14 h from the line of date to Greenwich)."""
LEAST_GAIN = 0.15
"""A clock far off must explain so much more of the trace than one near by (our proposal)."""
WEIGHTS = {"constant": 4.9, "explained": 2.75, "log_uncertainty": -1.95}
"""Logistic weights of the confidence: the share of such clocks that lie within 15 s of the truth, fitted to 1,500 simulated
evenings with gaps, late starts, wrong protocols and traces without rounds (tests/benchmarks/cleaning_rounds_found.py)."""


def find_clock(clock: np.ndarray, rates: np.ndarray, good: np.ndarray, starts, ends) -> Lag:
    """Find how far the device's clock is off: near by, within half an hour, or about a whole or half hour."""
    # The trace is compared with the athlete's own rounds at every start (see `scan_starts`); the best start
    # near by is taken unless one further off explains clearly more. The place is then refined as `find_lag`
    # does.
    starts, ends = np.asarray(starts, dtype=float), np.asarray(ends, dtype=float)
    if good.sum() < 60:
        return NO_LAG
    lags, explained = scan_starts(clock[good], rates[good], starts, ends)
    away = np.abs(lags - HALF_HOUR_S * np.round(lags / HALF_HOUR_S))
    near = np.abs(lags) <= REACH_S
    allowed = (np.abs(lags) <= WIDE_S) | ((away <= REACH_S) & (np.abs(lags) <= MOST_S + REACH_S))
    best_near = float(explained[near].max()) if near.any() else 0.0
    best = float(explained[allowed].max()) if allowed.any() else 0.0
    if best <= 0:
        return NO_LAG
    choice = near if best_near > 0 and best_near >= best - LEAST_GAIN else allowed
    centre = float(lags[choice][int(explained[choice].argmax())])
    share = float(explained[choice].max())
    for shift in (
        0.0 if abs(centre) <= REACH_S else centre,
        centre,
    ):  # at the ends of its reach `find_lag` tells nothing
        lag = find_lag(clock - shift, rates, good, starts, ends)
        if np.isfinite(lag.seconds):
            odds = WEIGHTS["constant"] + WEIGHTS["explained"] * share
            odds += WEIGHTS["log_uncertainty"] * np.log(lag.uncertainty_s) if np.isfinite(lag.uncertainty_s) else -10.0
            return replace(lag, seconds=lag.seconds + shift, confidence=float(1.0 / (1.0 + np.exp(-odds))))
    return NO_LAG


def scan_starts(clock: np.ndarray, rates: np.ndarray, starts, ends) -> tuple[np.ndarray, np.ndarray]:
    """Share of the trace around the rounds that they explain, at every place of the first bell."""
    # Returns the lags (place of the first bell less where the clock says it was) and the shares, less where
    # part of the work lies outside the trace. The sums over all places are correlations, so that an evening
    # takes milliseconds.
    first, values, weights = on_grid(clock, rates, np.ones(len(clock), dtype=bool))
    begin, finish = starts - starts[0], ends - starts[0]
    around = int(AROUND_S / GRID_S)
    cells = int(np.ceil(finish[-1] / GRID_S)) + 2 * around
    times = (np.arange(cells) - around + 0.5) * GRID_S
    pad = np.zeros(cells - around)
    seen, heard = (np.concatenate((pad, v, pad)) for v in (weights, weights * values))
    squared = np.concatenate((pad, weights * values * values, pad))
    ones, work = np.ones(cells), np.zeros(cells)
    for a, b in zip(begin, finish, strict=True):
        work[(times >= a) & (times < b)] = 1.0

    def over(trace, shape):
        return np.correlate(trace, shape, mode="valid")

    total, level = over(seen, ones), over(heard, ones)
    covered = over(seen, work) / work.sum()
    explained = np.zeros(len(total))
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_y = level / total
        yy = over(squared, ones) - total * mean_y**2
        for rise, fall in SHAPES:
            shape = shape_of_rounds(times, begin, finish, rise, fall)
            mean_x = over(seen, shape) / total
            xx = over(seen, shape * shape) - total * mean_x**2
            xy = over(heard, shape) - total * mean_x * mean_y
            height = np.where(xx > 1e-6, xy / xx, 0.0)
            share = np.where((height > LEAST_HEIGHT_BPM) & (covered >= 0.5), xy * height / yy, 0.0)
            explained = np.maximum(explained, np.nan_to_num(share))
    explained *= np.sqrt(np.minimum(covered, 1.0))
    places = (np.arange(len(total)) + around - len(pad) - 0.5) * GRID_S + first
    return places - starts[0], explained


def clock_in_words(seconds: float) -> str:
    """How far a clock is off in words: "3 min fast", "1 h slow"."""
    size = abs(seconds)
    way = "fast" if seconds > 0 else "slow"
    half_hours = round(size / HALF_HOUR_S)
    if half_hours and abs(size - half_hours * HALF_HOUR_S) <= 60:
        hours = half_hours / 2
        return f"{hours:.0f} h {way}" if hours.is_integer() else f"{hours:.1f} h {way}"
    if size >= 90:
        return f"{size / 60:.0f} min {way}"
    return f"{size:.0f} s {way}"


LEAST_CONFIDENCE = 0.5
"""A found clock less sure than this is a remark, not a reason to hold a device back (our proposal)."""
HELD = "its clock is not settled"
TRUST_TRACE, TRUST_LOG = "trust the trace", "trust the log"
BY_RULE, BY_DECISION = "trace, by the plan's rule", "trace, by decision"
LAGS_S = (8.0, 45.0)
"""So far behind, a trace may lag by its sensor as well as by its clock."""
ALIKE_S = 30.0


def settle_clocks(session, rules: CleaningRules, trusted, good_of, warnings: list, remarks: list) -> None:
    """Line every placed trace up with its athlete's rounds, and settle what disagrees: used as decided, or held back."""
    for line in session.clocks:
        for name in ("found_offset_s", "found_uncertainty_s", "found_confidence"):
            line.setdefault(name, float("nan"))
        line.setdefault("agrees", "")
        line.setdefault("settled", "")
    warnings += _two_offsets_in_one_file(session.clocks)
    held: list[tuple[Lag, str]] = []
    for athlete, trace in session.traces.items():
        decision, who = trusted(trace)
        windows = [w for w in session.windows.get(athlete, {}).values() if w.found_by != "trace"]
        lines = [
            c for c in session.clocks
            if c["athlete"] == athlete and c["file"] in trace.files and c["offset_source"] != "another day"
        ]  # fmt: skip
        if not trace.placed or not windows or not lines:
            continue
        starts, ends = [w.start for w in windows], [w.end for w in windows]
        good = good_of(trace)
        lag = find_clock(trace.clock, trace.rates, good, starts, ends)
        if np.isnan(lag.seconds):
            continue
        agrees = abs(lag.seconds) <= max(rules.clock_disagreement_s, lag.uncertainty_s)
        for line in lines:
            given = line["offset_s"] if np.isfinite(line["offset_s"]) else 0.0  # put there by an event
            line.update(
                found_offset_s=given + lag.seconds,
                found_uncertainty_s=lag.uncertainty_s,
                found_confidence=lag.confidence,
                agrees="yes" if agrees else "no" if lag.confidence >= LEAST_CONFIDENCE else "",
            )
        if agrees:
            continue
        said = _look(lines[0], lag)
        if lag.confidence < LEAST_CONFIDENCE:
            remarks.append(
                f"{said}, but that is not sure, so its clock was used. Look at the picture of the trace; if the clock is wrong, "
                "write clock_offset_s in recordings.csv."
            )
            continue
        moved = _change_of_means(trace, good, windows, lag.seconds)
        if decision == TRUST_LOG:
            _mark(lines, settled=f"{TRUST_LOG} ({who})")
            remarks.append(f"{said}; its clock was used all the same by decision ({who}).")
        elif decision == TRUST_TRACE or lag.confidence >= rules.trust_trace_above:
            trace.shift(-lag.seconds)
            source = BY_DECISION if decision else BY_RULE
            _mark(lines, settled=f"{TRUST_TRACE} ({who or 'rule'})", offset_source=source)
            for line in lines:
                line["offset_s"] = line["found_offset_s"]
            why = f"decision ({who})" if decision else "the rule trust_trace_above"
            remarks.append(f"{said}; the clock of the trace was used by {why}, which moved its round means by {moved}.")
        else:
            trace.held = HELD
            _mark(lines, settled="held back")
            held.append((lag, f"{said}: held back until somebody decides. {_remedy(lines[0], trace, moved)}"))
    warnings[:0] = [*_one_for_all(session, held), *(words for _, words in held)]


def _mark(lines: list[dict], **values) -> None:
    for line in lines:
        line.update(values)


def _look(line: dict, lag: Lag) -> str:
    """Whose device looks how wrong, with its uncertainty; a short lag is named as one."""
    sure = (
        f"(plus or minus {format_number(lag.uncertainty_s, 0, unit='s')}, confidence {format_number(lag.confidence, 2)}, from "
        "rounds and rests in the trace)"
    )
    who = f"{line['athlete']}, session {line['session']}: "
    if LAGS_S[0] <= lag.seconds <= LAGS_S[1]:
        behind = format_number(lag.seconds, 0, unit="s")
        cause = (
            "a sensor on the wrist lags so"
            if _on_wrist(line)
            else "the lag of a sensor on the wrist, or a clock that is fast"
        )
        return f"{who}{line['file']} runs {behind} behind the rounds {sure}: {cause}"
    return f"{who}the clock of {line['file']} looks {clock_in_words(lag.seconds)} {sure}"


def _on_wrist(line: dict) -> bool:
    words = str(line.get("device", "")).casefold()
    return any(w in words for w in ("wrist", "watch", "optical", "arm band", "armband"))


def _remedy(line: dict, trace: Trace, moved: str) -> str:
    """What to type, and what it would change."""
    offset = f"{line['found_offset_s']:.0f}"
    if line["offset_source"] == BY_EVENT:
        type_it = "Correct event_s in its row of recordings.csv"
    else:
        type_it = f"Write clock_offset_s = {offset} in its row of recordings.csv (add one where there is none)"
    hours = abs(line["found_offset_s"]) > 900 and line["device_clock"] == "utc"
    zone = " If all recordings look so, correct utc_offset in sessions.csv instead." if hours else ""
    return (
        f"{type_it}, or type a row in decisions.csv: table recordings, session {trace.session}, athlete {trace.athlete}, action "
        f'"{TRUST_TRACE}" (moves its round means by {moved}) or "{TRUST_LOG}" (uses the clock as it stands).{zone}'
    )


def _change_of_means(trace: Trace, good: np.ndarray, windows: list[Window], lag: float) -> str:
    """By how much the round means move when the trace is moved by its lag, in words."""
    clock, rates = trace.clock[good], trace.rates[good]
    change = []
    for w in windows:
        if clock[0] <= min(w.start, w.start + lag) and max(w.end, w.end + lag) <= clock[-1]:
            seconds = np.arange(w.start, w.end)
            there, then = (np.interp(seconds + d, clock, rates).mean() for d in (0.0, lag))
            change.append(then - there)
    if not change:
        return "so much that no round fits as it stands"
    return format_number(float(np.mean(change)), 1, unit="bpm", sign=True) + " on average"


def _one_for_all(session, held: list[tuple[Lag, str]]) -> list[str]:
    """One sentence where most devices of an evening look wrong alike: then the timekeeper's clock is."""
    if len(held) < 3:
        return []
    middle = float(np.median([lag.seconds for lag, _ in held]))
    alike = sum(abs(lag.seconds - middle) <= ALIKE_S for lag, _ in held)
    if alike <= len(session.traces) / 2:
        return []
    name = next(iter(session.traces.values())).session
    return [
        f"Session {name}: {alike} of {len(session.traces)} recordings look {clock_in_words(middle)} alike. Then the timekeeper's "
        "clock is the wrong one: correct start_clock in clock.csv, or utc_offset in sessions.csv where the recordings are in UTC."
    ]


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
        int(r.round_no): Window(int(r.round_no), float(r.start_s), float(r.end_s), "trace", float(r.confidence))
        for r in found.itertuples()
    }
    for line in lines:
        line["offset_source"] = "lined up with the rounds"
    words = f"{who}: the recording has no clock; its rounds were found from the trace (confidence {format_number(sure, 2)})."
    shared = [k for k in own if k in windows]
    if not shared:
        warnings.append(words)
        return own
    shift = float(np.median([windows[k].start - own[k].start for k in shared]))
    trace.shift(shift)
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
        int(r.round_no): Window(int(r.round_no), float(r.start_s), float(r.end_s), "trace", float(r.confidence))
        for r in found.itertuples()
    }


def _samples(trace: Trace) -> pd.DataFrame:
    good = trace.codes == 0
    return pd.DataFrame({"elapsed_s": trace.clock[good], "hr_bpm": trace.rates[good]})


def _together(traces: list[Trace]) -> pd.DataFrame:
    """The mean of several traces second by second, each less its own mean: what the group did together."""
    first = min(t.clock[0] for t in traces)
    parts = []
    for trace in traces:
        good = trace.codes == 0
        part = pd.Series(trace.rates[good], index=first + np.floor(trace.clock[good] - first))
        parts.append(part - part.mean())
    together = 120.0 + pd.concat(parts).groupby(level=0).mean()
    return pd.DataFrame({"elapsed_s": together.index, "hr_bpm": together.to_numpy()})
