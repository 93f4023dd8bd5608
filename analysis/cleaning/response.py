"""How heart rate answers to rounds and rests, first order: the shape that traces are lined up with."""

from __future__ import annotations

import numpy as np

GRID_S = 5.0
"""Traces are averaged over so many seconds before they are lined up."""
SHAPES = ((25.0, 45.0), (25.0, 80.0), (45.0, 45.0), (45.0, 80.0))
"""Time constants (rise, fall) in seconds that are tried; 20 to 60 s and 50 to 90 s are usual (from memory)."""


def on_grid(clock: np.ndarray, rates: np.ndarray, good: np.ndarray, step: float = GRID_S):
    """Average the good samples over a grid."""
    since = clock - clock[0]
    cell = np.floor(since / step).astype(int)
    size = int(cell[-1]) + 1
    count = np.bincount(cell[good], minlength=size)
    total = np.bincount(cell[good], weights=rates[good], minlength=size)
    weights = (count > 0).astype(float)
    middle = float((since[good] - step * cell[good]).mean()) if good.any() else step / 2
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
