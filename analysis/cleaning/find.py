"""`find_rounds`: where the rounds are in a trace when nobody logged the clock."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError
from .onset import confidence_of, refine_starts
from .response import GRID_S, SHAPES, on_grid, shape_of_rounds

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
        raise KitError(
            "The samples span more than a day and a half; find_rounds needs the recording of one session."
        )
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
    period, length = work + rest, rounds * work + (rounds - 1) * rest
    best = None
    for rise, fall in SHAPES:
        score, height, offsets = _scores(values, weights, rounds, work, rest, rise, fall)
        j = int(score.argmax())
        if best is None or score[j] > best["score"]:
            far = np.abs(offsets - offsets[j]) > max(30.0, work / 5)
            best = {
                "score": float(score[j]),
                "height": float(height[j]),
                "start": first + float(offsets[j]),
                "rise": rise,
                "fall": fall,
                "rival": float(score[far].max()) if far.any() else 0.0,
            }
    if best["height"] < LEAST_HEIGHT_BPM or best["score"] <= 0:
        return None
    best["starts"] = best["start"] + np.arange(rounds) * period
    best["inside"] = float(min(clock[-1], best["start"] + length) - max(clock[0], best["start"])) / length
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
