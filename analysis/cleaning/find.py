"""`find_rounds`: where the rounds are in a trace when nobody logged the clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, format_number
from ..study.times import clock_seconds

GRID_S = 5.0
"""Traces are averaged over this many seconds before they are lined up."""
SHAPES = ((25.0, 45.0), (25.0, 80.0), (45.0, 45.0), (45.0, 80.0))
"""Time constants (rise, fall) in seconds that are tried; 20 to 60 s and 50 to 90 s are usual (from memory)."""


def on_grid(clock: np.ndarray, rates: np.ndarray, good: np.ndarray):
    """Average the good samples over a grid."""
    since = clock - clock[0]
    cell = np.floor(since / GRID_S).astype(int)
    size = int(cell[-1]) + 1
    count = np.bincount(cell[good], minlength=size)
    total = np.bincount(cell[good], weights=rates[good], minlength=size)
    weights = (count > 0).astype(float)
    middle = float((since[good] - GRID_S * cell[good]).mean()) if good.any() else GRID_S / 2
    return float(clock[0]) + middle, np.divide(total, count, out=np.zeros(size), where=count > 0), weights


def shape_of_rounds(times: np.ndarray, starts, ends, rise_s: float, fall_s: float) -> np.ndarray:
    """The first-order answer to rounds: towards 1 while a round lasts, towards 0 between."""
    out = np.zeros(len(times))
    level, last_end = 0.0, None
    upto = [*starts[1:], np.inf]
    for start, end, next_start in zip(starts, ends, upto, strict=True):
        if last_end is not None:
            level *= np.exp(-max(start - last_end, 0.0) / fall_s)
        a, b, c = np.searchsorted(times, [start, end, next_start])
        out[a:b] = 1.0 - (1.0 - level) * np.exp(-(times[a:b] - start) / rise_s)
        level = 1.0 - (1.0 - level) * np.exp(-(end - start) / rise_s)
        out[b:c] = level * np.exp(-(times[b:c] - end) / fall_s)
        last_end = end
    return out


def slide(values: np.ndarray, weights: np.ndarray, shape: np.ndarray, lags: int):
    """Fit level + height * shape to a trace at every lag at once, by weighted least squares."""
    total = weights.sum()
    mean = (weights @ values) / total
    centred = weights * (values - mean)
    spread = float(centred @ (values - mean))
    first = np.correlate(shape, weights, mode="valid")
    second = np.correlate(shape * shape, weights, mode="valid") - first * first / total
    cross = np.correlate(shape, centred, mode="valid")
    height = np.divide(cross, second, out=np.zeros(lags), where=second > 1e-9)
    return spread - height * cross, height, spread


REACH_S = 45
STEP_S = 1.0
BELL_SD_S = 15.0
"""How far bells usually lie from the protocol (our proposal): further moves need a better fit."""


def refine_starts(clock, rates, starts, work: float, rest: float, rise: float, fall: float) -> np.ndarray:
    """Refine the starts of the rounds one by one."""
    out = np.array(starts, dtype=float)
    moves = np.arange(-REACH_S, REACH_S + STEP_S, STEP_S)
    drift = 0.0
    for k, start in enumerate(starts):
        expected = start + drift
        cost = np.zeros(len(moves))
        seen = 0
        for edge, after, tau in ((0.0, min(work, 120.0), rise), (work, min(rest if rest > 0 else 90.0, 90.0), fall)):
            found = _edge_cost(clock, rates, expected + edge, moves, min(60.0, rest or 60.0), after, tau)
            if found is not None:
                cost += found
                seen += 1
        if not seen:
            out[k] = expected
            continue
        cost += (moves / BELL_SD_S) ** 2
        move = float(moves[int(cost.argmin())])
        out[k] = expected + move
        drift += move
    return out


def _edge_cost(clock, rates, at: float, moves, before: float, after: float, tau: float):
    """Misfit of a change of level at `at + move`, for every move, in units of its own least variance."""
    low, high = at - before - REACH_S / 2, at + after + REACH_S / 2
    inside = (clock >= low) & (clock <= high)
    if inside.sum() < 20 or clock[inside][0] > at - 10 or clock[inside][-1] < at + 30:
        return None
    t, y = clock[inside], rates[inside]
    stride = max(len(t) // 120, 1)
    t, y = t[::stride], y[::stride]
    since = t[None, :] - (at + moves)[:, None]
    best = None
    for scale in (0.6, 1.0, 1.6):
        answer = np.where(since > 0, 1.0 - np.exp(-np.maximum(since, 0.0) / (tau * scale)), 0.0)
        misfit = _misfit(y, t - t[0], answer)
        best = misfit if best is None else np.minimum(best, misfit)
    count = len(t)
    spacing = max(float(np.median(np.diff(t))), 1e-6)
    independent = max(count * spacing / 10.0, 4.0)
    return independent * np.log(np.maximum(best, 1e-9) / max(float(best.min()), 1e-9))


def _misfit(y: np.ndarray, t: np.ndarray, answers: np.ndarray) -> np.ndarray:
    """Residual sum of squares of y on 1, a decaying start and each answer in turn."""
    base = np.column_stack([np.ones(len(t)), np.exp(-t / 60.0)])
    q, _ = np.linalg.qr(base)
    left = y - q @ (q.T @ y)
    other = answers - (answers @ q) @ q.T
    size = (other * other).sum(axis=1)
    part = other @ left
    gain = np.divide(part * part, size, out=np.zeros(len(size)), where=size > 1e-9)
    return float(left @ left) - gain


WEIGHTS = {"constant": -2.4, "explained": 5.5, "effort_outside": -1.4, "moved": -2.5, "rise": 7.1, "rival": -3.5}
"""Logistic weights of the confidence, fitted to 600 simulated evenings with gaps, late starts and wrong protocols and
checked on others (tests/benchmarks/cleaning_rounds_found.py)."""


def confidence_of(clock, rates, starts, work: float, rough: dict) -> np.ndarray:
    """Confidence of each start: about the share of such starts that lie within 10 s of the bell."""
    ends = starts + work
    shape = shape_of_rounds(clock, starts, ends, rough["rise"], rough["fall"])
    near = (clock >= starts[0] - 150) & (clock <= ends[-1] + 150)
    design = np.column_stack([np.ones(near.sum()), shape[near]])
    level = np.linalg.lstsq(design, rates[near], rcond=None)[0]
    left = rates[near] - design @ level
    spread = float(((rates[near] - rates[near].mean()) ** 2).sum())
    height = max(float(level[1]), 1.0)
    seconds = np.minimum(np.diff(clock, append=clock[-1]), 5.0)
    outside = (clock < starts[0] - 20) | (clock > ends[-1] + 100)
    effort = float(seconds[outside & (rates > level[0] + 0.6 * height)].sum()) / work
    moved = starts - rough["starts"]
    parts = (
        WEIGHTS["constant"]
        + WEIGHTS["explained"] * min(max(1.0 - float(left @ left) / max(spread, 1e-9), 0.0), 1.0)
        + WEIGHTS["effort_outside"] * min(effort, 1.0)
        + WEIGHTS["moved"] * min(float(np.abs(moved - np.median(moved)).max()) / REACH_S, 1.0)
        + WEIGHTS["rival"] * min(rough["rival"] / max(rough["score"], 1e-9), 1.0)
    )
    rises = np.array([_rise(clock, rates, s) for s in starts]) / height
    rises = np.clip(np.where(np.isfinite(rises), rises, 0.4), -0.2, 0.8)
    return 1.0 / (1.0 + np.exp(-(parts + WEIGHTS["rise"] * rises)))


def _rise(clock, rates, start: float) -> float:
    """How far heart rate rises from just before a bell to 40 to 80 s after it."""
    before = (clock >= start - 20) & (clock < start)
    after = (clock >= start + 40) & (clock < start + 80)
    if not before.any() or not after.any():
        return float("nan")
    return float(rates[after].mean() - rates[before].mean())


FOUND_COLUMNS = ("round_no", "start_s", "end_s", "found_by", "confidence")
AROUND_S = 150.0
"""Seconds before the first and after the last round that must fit too: rest, not a further round."""
LEAST_HEIGHT_BPM = 12.0
MOST_S = 36 * 3600.0


def find_rounds(samples: pd.DataFrame, protocol, *, start_clock=None) -> pd.DataFrame:
    """Place the rounds of a protocol in a trace.

    Parameters
    ----------
    samples : DataFrame
        `elapsed_s` and `hr_bpm`, in time order; samples with a `flag` other than "" are left out; `time` (UTC) or
        `clock_s` is needed for a `start_clock` that is a time of day or a date.
    protocol : Protocol
        With `rounds`, `work_s`, `rest_s`.
    start_clock : float, str or Timestamp, optional
        The start of round 1 where it is known: elapsed seconds, a time of day such as "19:30:00" (on `clock_s`), or a
        date with time (on `time`). Otherwise it is found from the trace.

    Returns
    -------
    DataFrame
        round_no, start_s, end_s (elapsed seconds), found_by ("clock" or "trace"), confidence (0 to 1: about the share of
        such starts that lie within 10 s of the bell, from simulated evenings; see the tests). Empty where no rounds
        stand out.

    When to use
    -----------
    Where the timekeeper's sheet is missing. A logged start is better: a warm-up bout of the same length, or a protocol
    other than the stated one, cannot always be told from the trace. Look at the picture before using it.

    Notes
    -----
    The trace is compared at every lag with the first-order answer to the protocol (four pairs of time constants of rise
    and fall); then each bell is moved on its own, by up to 45 s, to where the rise after it and the fall after the round
    fit best.

    Examples
    --------
    >>> from analysis.study import Protocol
    >>> t = np.arange(0, 1500.0)
    >>> shape = shape_of_rounds(t, [300.0, 720.0], [600.0, 1020.0], 40.0, 60.0)
    >>> samples = pd.DataFrame({"elapsed_s": t, "hr_bpm": np.round(100 + 70 * shape)})
    >>> found = find_rounds(samples, Protocol(2, 300.0, 120.0))
    >>> [abs(s - t) < 10 for s, t in zip(found["start_s"], (300, 720))]
    [True, True]
    """
    rounds, work, rest = int(protocol.rounds), float(protocol.work_s), float(protocol.rest_s)
    if rounds < 1 or not work > 0 or not (rest >= 0 or rounds == 1):
        raise KitError("find_rounds needs a protocol with rounds, work_s and rest_s.")
    rest = rest if rest >= 0 else 0.0
    if start_clock is not None:
        begin = _start_in_elapsed(samples, start_clock)
        starts = begin + np.arange(rounds) * (work + rest)
        return _table(starts, work, "clock", np.ones(rounds))
    clock, rates = _good(samples)
    if len(clock) < 30 or np.ptp(clock) < 0.5 * work:
        return _table(np.empty(0), work, "trace", np.empty(0))
    if np.ptp(clock) > MOST_S:
        raise KitError("The samples span more than a day and a half; find_rounds needs the recording of one session.")
    rough = _best_start(clock, rates, rounds, work, rest)
    if rough is None:
        return _table(np.empty(0), work, "trace", np.empty(0))
    starts = refine_starts(clock, rates, rough["starts"], work, rest, rough["rise"], rough["fall"])
    return _table(starts, work, "trace", confidence_of(clock, rates, starts, work, rough))


def _table(starts, work: float, how: str, confidence) -> pd.DataFrame:
    table = pd.DataFrame({"round_no": np.arange(1, len(starts) + 1, dtype="int64"), "start_s": starts})
    table["end_s"] = table["start_s"] + work
    table["found_by"] = pd.Series([how] * len(starts), dtype="str")
    table["confidence"] = np.asarray(confidence, dtype=float)
    return table[list(FOUND_COLUMNS)]


def _good(samples: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    for column in ("elapsed_s", "hr_bpm"):
        if column not in samples:
            raise KitError(f"samples need the columns elapsed_s and hr_bpm; {column} is missing.")
    clock, rates = samples["elapsed_s"].to_numpy(dtype=float), samples["hr_bpm"].to_numpy(dtype=float)
    good = np.isfinite(rates) & (rates > 0) & np.isfinite(clock)
    if "flag" in samples:
        good &= samples["flag"].eq("").to_numpy()
    return clock[good], rates[good]


def _start_in_elapsed(samples: pd.DataFrame, start) -> float:
    if isinstance(start, int | float | np.number):
        return float(start)
    text = str(start)
    if isinstance(start, str) and ":" in text and "-" not in text:
        if "clock_s" not in samples:
            raise KitError(
                "start_clock is a time of day, but the samples have no clock_s; give elapsed seconds instead."
            )
        parts = [float(p) for p in text.split(":")] + [0.0, 0.0]
        seconds = parts[0] * 3600 + parts[1] * 60 + parts[2]
        return float(seconds - samples["clock_s"].iloc[0] + samples["elapsed_s"].iloc[0])
    moment = pd.Timestamp(start)
    if "time" not in samples or samples["time"].isna().all():
        raise KitError("start_clock is a date, but the samples have no time; give elapsed seconds instead.")
    moment = moment.tz_localize("UTC") if moment.tzinfo is None else moment
    known = samples.dropna(subset=["time"]).iloc[0]
    return float((moment - known["time"]).total_seconds() + known["elapsed_s"])


def _best_start(clock, rates, rounds: int, work: float, rest: float) -> dict | None:
    """The best start of round 1 on the grid, and how much better it is than the best start elsewhere."""
    first, values, weights = on_grid(clock, rates, np.ones(len(clock), dtype=bool))
    best = None
    for rise, fall in SHAPES:
        score, height, offsets = _scores(values, weights, rounds, work, rest, rise, fall)
        j = int(score.argmax())
        if best is None or score[j] > best["score"]:
            far = np.abs(offsets - offsets[j]) > max(30.0, work / 5)
            best = {
                "score": float(score[j]), "height": float(height[j]), "start": first + float(offsets[j]), "rise": rise,
                "fall": fall, "rival": float(score[far].max()) if far.any() else 0.0,
            }  # fmt: skip
    if best["height"] < LEAST_HEIGHT_BPM or best["score"] <= 0:
        return None
    best["starts"] = best["start"] + np.arange(rounds) * (work + rest)
    return best


def _scores(values, weights, rounds, work, rest, rise, fall):
    """Share of variance explained around the protocol at every start, less where part of it lies outside the trace."""
    around = int(AROUND_S / GRID_S)
    period, length = work + rest, rounds * work + (rounds - 1) * rest
    cells = int(np.ceil(length / GRID_S)) + 2 * around
    times = (np.arange(cells) - around + 0.5) * GRID_S
    shape = shape_of_rounds(times, np.arange(rounds) * period, np.arange(rounds) * period + work, rise, fall)
    pad = cells - around
    padded = np.concatenate((np.zeros(pad), values, np.zeros(pad)))
    counted = np.concatenate((np.zeros(pad), weights, np.zeros(pad)))
    view = np.lib.stride_tricks.sliding_window_view
    seen, heard = view(counted, cells), view(counted * padded, cells)
    total = seen.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_y, mean_x = heard.sum(axis=1) / total, seen @ shape / total
        yy = view(counted * padded * padded, cells).sum(axis=1) - total * mean_y**2
        xx = seen @ (shape * shape) - total * mean_x**2
        xy = heard @ shape - total * mean_x * mean_y
        height = np.where(xx > 1e-6, xy / xx, 0.0)
        explained = np.where((yy > 1e-6) & (height > 0), xy * height / yy, 0.0)
    core = np.zeros(cells)
    core[around : cells - around] = 1.0
    covered = seen @ core / core.sum()
    offsets = (np.arange(len(total)) + around - pad - 0.5) * GRID_S
    explained = np.where(covered >= 0.5, explained * np.sqrt(covered), 0.0)
    return np.nan_to_num(explained), np.nan_to_num(height), offsets


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


def logged_windows(clock: pd.DataFrame, session: str, group: str, protocol, remarks: list) -> dict[int, Window]:
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
        remarks.append(f"Session {session}: clock.csv names only {named[0]}; its times were taken for {whose} as well.")
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


def own_windows(windows: dict[int, Window], rounds: pd.DataFrame, who: str, remarks: list) -> dict[int, Window]:
    """The rounds that one athlete sparred."""
    own = dict(windows)
    for k, took_part, minutes in zip(rounds["round_no"], rounds["took_part"], rounds["minutes_done"], strict=True):
        if took_part in ("sat_out", "left"):
            own.pop(k, None)
        elif took_part == "part" and k in own:
            window = own[k]
            if 0 < 60.0 * minutes < window.end - window.start:
                own[k] = Window(k, window.start, window.start + 60.0 * minutes, window.found_by, window.confidence)
                done = format_number(minutes, 1, unit="min")
                remarks.append(f"{who}, round {k}: {done} sparred; taken from the start of the round.")
    return own
