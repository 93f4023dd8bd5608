"""Submitted sessions beside published rounds: a session holds warm-up, drilling and rest as well."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd

OUTCOME_MEASURES = {
    "percent_hr_max": ("percent_mean", "percent_peak"),
    "hr_mean_bpm": ("hr_mean_bpm", "hr_peak_bpm"),
}
"""Published outcome -> our mean and peak."""
REST_PERCENT = (55.0, 70.0)
"""Heart rate outside the rounds (warm-up, drilling, standing), per cent of maximum: our proposal, no source."""
POSSIBLE_SHARE = (0.1, 0.9)
"""A session is sparred for between a tenth and nine tenths of its time (our proposal)."""
WORDS = ("as expected", "harder than the rounds", "easier than expected", "cannot be told")
COLUMNS = [
    "finding", "outcome", "round_no", "published", "published_sd", "n_published", "session_mean", "session_mean_low",
    "session_mean_high", "session_peak", "session_peak_low", "session_peak_high", "share_low", "share_high", "rest_low",
    "rest_high", "verdict", "work_s", "window_mean", "window_low", "window_high", "n_windows", "n_athletes", "source",
]  # fmt: skip


def window_lengths(published) -> tuple[float, ...]:
    """Return the lengths of published rounds (s), each once."""
    if published is None or "work_s" not in published:
        return ()
    given = pd.to_numeric(published["work_s"], errors="coerce").dropna()
    return tuple(sorted(float(v) for v in given.unique() if v > 0))


def compare_with_rounds(
    means: pd.DataFrame, typical: pd.DataFrame, windows: Mapping, hr_max_bpm: float
) -> pd.DataFrame:
    """Say whether sessions are what published rounds would predict."""
    lines = []
    ours = typical.set_index("measure") if len(typical) else typical
    for row in means.to_dict("records"):
        if row["outcome"] not in OUTCOME_MEASURES:
            continue
        mean, peak = (ours.loc[m] for m in OUTCOME_MEASURES[row["outcome"]])
        scale = 1.0 if row["outcome"] == "percent_hr_max" else hr_max_bpm / 100
        low, high = _shares_needed(mean["estimate"], row["mean"], scale)
        window = windows.get((row["outcome"], row.get("work_s")))
        lines.append([
            row["finding"], row["outcome"], row["round_no"], row["mean"], row["sd"], row["n_athletes"],
            mean["estimate"], mean["ci_low"], mean["ci_high"], peak["estimate"], peak["ci_low"], peak["ci_high"],
            low, high, *REST_PERCENT, _verdict(low, high), row.get("work_s", math.nan), *_interval(window),
            int(mean["n_athletes"]), row["source"],
        ])  # fmt: skip
    return pd.DataFrame(lines, columns=COLUMNS)


def _shares_needed(mean: float, published: float, scale: float) -> tuple[float, float]:
    shares = []
    for rest in REST_PERCENT:
        room = published - rest * scale
        shares.append((mean - rest * scale) / room if room > 0 else math.nan)
    return min(shares), max(shares)


def _verdict(low: float, high: float) -> str:
    if not (math.isfinite(low) and math.isfinite(high)):
        return WORDS[3]
    if low > POSSIBLE_SHARE[1]:
        return WORDS[1]
    return WORDS[2] if high < POSSIBLE_SHARE[0] else WORDS[0]


def _interval(values) -> list:
    from scipy.stats import t as student

    values = np.asarray([] if values is None else values, dtype=float)
    values = values[np.isfinite(values)]
    n = len(values)
    if n < 2:
        return [float(values.mean()) if n else math.nan, math.nan, math.nan, n]
    half = float(student.ppf(0.975, n - 1)) * float(values.std(ddof=1)) / math.sqrt(n)
    return [float(values.mean()), float(values.mean()) - half, float(values.mean()) + half, n]
