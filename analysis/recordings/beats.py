"""Beat-to-beat intervals: edited by a published rule, and the heart rate that follows from them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import format_percent

RULE = (
    "an interval that differs by more than 20 % from the last accepted one is not normal (Malik et al. 1989)"
)
MAX_CHANGE = 0.20
SHORTEST_MS, LONGEST_MS = 250.0, 2500.0
"""Intervals outside are never normal: 240 and 24 beats a minute."""
FORGET_AFTER = 5
"""After so many refused intervals in a row the comparison starts anew."""


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
    remarks = [
        f"Beat-to-beat intervals: {format_percent(share, 1)} not normal by the 20 % rule (Malik et al. 1989)."
    ]
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
