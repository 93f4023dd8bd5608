"""How much time each sample stands for, and the means, peaks and slopes that follow from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Spans:
    """The samples of a trace that have a heart rate, each with the time it stands for."""

    low: np.ndarray
    high: np.ndarray
    rates: np.ndarray
    codes: np.ndarray
    first: float
    last: float
    stops: tuple[tuple[float, float], ...] = ()

    def between(self, start: float, end: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Seconds, rates and flags of the samples inside a window."""
        part = slice(
            int(np.searchsorted(self.high, start, side="right")),
            int(np.searchsorted(self.low, end, side="left")),
        )
        seconds = np.minimum(self.high[part], end) - np.maximum(self.low[part], start)
        return np.maximum(seconds, 0.0), self.rates[part], self.codes[part]

    def mean(self, start: float, end: float) -> tuple[float, float]:
        """Mean of the good samples in a window, and the seconds it rests on."""
        seconds, rates, codes = self.between(start, end)
        seconds = np.where(codes == 0, seconds, 0.0)
        total = float(seconds.sum())
        return (float(seconds @ rates) / total if total > 0 else float("nan")), total

    def bridged_mean(self, start: float, end: float) -> float:
        """Mean of a window were its missing time bridged by straight lines between good samples."""
        good = np.flatnonzero(self.codes == 0)
        if not len(good):
            return float("nan")
        middle = (self.low[good] + self.high[good]) / 2
        first, last = np.searchsorted(middle, [start, end])
        part = slice(max(first - 1, 0), last + 1)
        knots = np.concatenate(([start], np.clip(middle[part], start, end), [end]))
        level = np.interp(knots, middle[part], self.rates[good][part])
        return float(np.trapezoid(level, knots) / (end - start))

    def peak(self, start: float, end: float, window_s: float) -> float:
        """The highest mean over `window_s` seconds, of windows with at least 80 % good time."""
        seconds, rates, codes = self.between(start, end)
        good = (codes == 0) & (seconds > 0)
        if not good.any():
            return float("nan")
        at = int(np.searchsorted(self.high, start, side="right"))
        low = np.maximum(self.low[at : at + len(good)], start)[good]
        time = np.stack([low, low + seconds[good]], axis=1).ravel()
        valid = np.cumsum(np.stack([np.zeros(len(low)), seconds[good]], axis=1).ravel())
        beats = np.cumsum(np.stack([np.zeros(len(low)), seconds[good] * rates[good]], axis=1).ravel())
        begin = np.append(low[low + window_s <= end + 1e-9], end - window_s)
        begin = begin[begin >= start - 1e-9]
        if not len(begin):
            return float("nan")
        covered = np.interp(begin + window_s, time, valid) - np.interp(begin, time, valid)
        total = np.interp(begin + window_s, time, beats) - np.interp(begin, time, beats)
        enough = covered >= 0.8 * window_s
        return float((total[enough] / covered[enough]).max()) if enough.any() else float("nan")

    def slope_per_min(self, start: float, end: float) -> float:
        """Least-squares slope of the good samples in a window, in bpm per minute, weighted by time."""
        at = int(np.searchsorted(self.high, start, side="right"))
        seconds, rates, codes = self.between(start, end)
        middle = (self.low[at : at + len(codes)] + self.high[at : at + len(codes)]) / 2
        weight = np.where(codes == 0, seconds, 0.0)
        total = weight.sum()
        if total < 0.5 * (end - start) or (weight > 0).sum() < 3:
            return float("nan")
        x = middle - weight @ middle / total
        spread = weight @ (x * x)
        return float(60.0 * (weight @ (x * rates)) / spread) if spread > 0 else float("nan")

    def missing(self, start: float, end: float) -> dict[str, float]:
        """Seconds of a window for which there is no sample, by cause."""
        seconds, _, _ = self.between(start, end)
        lost = max(end - start - float(seconds.sum()), 0.0)
        before = min(max(min(self.first, end) - start, 0.0), lost)
        after = min(max(end - max(self.last, start), 0.0), lost - before)
        stopped = sum(max(min(b, end, self.last) - max(a, start, self.first), 0.0) for a, b in self.stops)
        stopped = min(stopped, lost - before - after)
        contact = lost - before - after - stopped
        causes = {
            "recording not yet started": before,
            "recording over": after,
            "timer stopped": stopped,
            "no contact": contact,
        }
        return {cause: s for cause, s in causes.items() if s > 1e-9}


def spans_of(
    clock: np.ndarray, rates: np.ndarray, codes: np.ndarray, gap_limit: float, stops: Sequence = ()
) -> Spans:
    """Give each sample with a heart rate the time it stands for."""
    there = np.isfinite(rates)
    time = clock[there]
    kept = tuple((float(a), float(b)) for a, b in stops)
    if not len(time):
        return Spans(time, time, rates[there], codes[there], np.inf, -np.inf, kept)
    step = np.diff(time)
    half = min(float(np.median(step)) if len(step) else 1.0, gap_limit) / 2
    reach = np.where(step <= gap_limit, step / 2, half)
    low = time - np.concatenate(([half], reach))
    high = time + np.concatenate((reach, [half]))
    for begin, end in kept:
        inside = (time > begin) & (time < end)
        before, after = time <= begin, time >= end
        high[before] = np.minimum(high[before], begin)
        low[after] = np.maximum(low[after], end)
        low[inside] = high[inside] = time[inside]
    return Spans(low, high, rates[there], codes[there], float(clock[0]) - half, float(clock[-1]) + half, kept)
