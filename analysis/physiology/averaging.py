"""Averaging of gas exchange: moving breaths, moving seconds, consecutive bins."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from ..basics import KitError

AVERAGES = {
    "breaths": "highest mean of {n} consecutive breaths",
    "seconds": "highest moving mean of {n} s, breaths interpolated to whole seconds",
    "bins": "highest mean of consecutive bins of {n} s, breaths interpolated to whole seconds",
}
"""Rule -> words, to be printed beside every VO2max."""
_LIMITS = {"breaths": (1, 60), "seconds": (5, 120), "bins": (5, 120)}
AVERAGED_FROM_S = 9.0
LONGEST_GAP_S = 15.0
"""Breaths further apart than this, or than three times the usual distance, are a gap; no window crosses it."""


def parse_average(average: str) -> tuple[str, int]:
    """Read an averaging rule such as "seconds:30"."""
    match = re.fullmatch(r"\s*(breaths|seconds|bins)\s*:\s*(\d+)\s*", str(average))
    if not match:
        raise KitError(f"average is {average!r}: write breaths:15, seconds:30 or bins:30")
    kind, size = match.group(1), int(match.group(2))
    low, high = _LIMITS[kind]
    if not low <= size <= high:
        raise KitError(f"average is {average!r}: {kind} from {low} to {high} are possible")
    return kind, size


def usual_distance_s(table: pd.DataFrame) -> float:
    """Return the median time between samples in seconds."""
    steps = np.diff(table["elapsed_s"].to_numpy())
    return float(np.median(steps[steps > 0])) if np.any(steps > 0) else float("nan")


def is_averaged(table: pd.DataFrame) -> bool:
    """Tell whether rows are averages already: no one in a hard test breathes once in 9 s."""
    return usual_distance_s(table) >= AVERAGED_FROM_S


def average_curve(table: pd.DataFrame, kind: str, size: int, *, column: str = "vo2_ml_min") -> pd.DataFrame:
    """Average a column of gas exchange by a rule."""
    table = table.dropna(subset=[column])
    step = usual_distance_s(table)
    if kind == "breaths" and is_averaged(table):
        raise KitError(
            f"the samples are {step:.0f} s apart, so they are averages and not breaths: use seconds:N or bins:N"
        )
    if kind != "breaths" and step > 1.1 * size:
        raise KitError(
            f"the samples are averages of about {step:.0f} s: a window of {size} s cannot be had from them"
        )
    if kind == "breaths":
        curve = _rows(table, size, column)
    elif is_averaged(table):
        rows = max(1, round(size / step))
        curve = _rows(table, rows, column).iloc[:: rows if kind == "bins" else 1]
    else:
        curve = _seconds(table, kind, size, column)
    curve = curve.dropna()
    if curve.empty:
        raise KitError(
            f"no whole window of {size} {'breaths' if kind == 'breaths' else 's'} lies in the samples"
        )
    return curve.reset_index(drop=True)


def _gap_limit(times: np.ndarray) -> float:
    steps = np.diff(times)
    steps = steps[steps > 0]
    return max(LONGEST_GAP_S, 3 * float(np.median(steps))) if len(steps) else LONGEST_GAP_S


def _moving_mean(values: np.ndarray, size: int) -> np.ndarray:
    if len(values) < size:
        return np.array([])
    return np.lib.stride_tricks.sliding_window_view(values, size).mean(axis=1)


def _rows(table: pd.DataFrame, size: int, column: str) -> pd.DataFrame:
    times, values = table["elapsed_s"].to_numpy(), table[column].to_numpy(dtype=float)
    means = _moving_mean(values, size)
    ends = times[size - 1 :] if len(means) else times[:0]
    crossing = np.r_[0, np.cumsum(np.diff(times) > _gap_limit(times))]
    if len(means):
        means = np.where(crossing[size - 1 :] == crossing[: len(means)], means, np.nan)
    return pd.DataFrame({"elapsed_s": ends, column: means})


def _seconds(table: pd.DataFrame, kind: str, size: int, column: str) -> pd.DataFrame:
    same_time = table.groupby("elapsed_s", sort=True)[column].mean()
    times, values = same_time.index.to_numpy(dtype=float), same_time.to_numpy(dtype=float)
    # whole seconds from 1; a recording that starts late keeps bins at multiples of their length
    first = 1 + size * int(max(times[0] - 1, 0) // size)
    grid = np.arange(first, np.floor(times[-1]) + 1)
    on_grid = np.interp(grid, times, values)
    limit = _gap_limit(times)
    for gap in np.flatnonzero(np.diff(times) > limit):
        on_grid[(grid > times[gap]) & (grid < times[gap + 1])] = np.nan
    if kind == "seconds":
        means = _moving_mean(on_grid, size)
        ends = grid[size - 1 :] if len(means) else grid[:0]
    else:
        padded = np.r_[on_grid, np.zeros(-len(on_grid) % size)].reshape(-1, size)
        means = padded.mean(axis=1)
        ends = np.minimum(grid[0] + size * np.arange(1, len(means) + 1) - 1, grid[-1] if len(grid) else 0)
    return pd.DataFrame({"elapsed_s": ends, column: means})
