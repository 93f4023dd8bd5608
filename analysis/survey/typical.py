"""Typical values of people who sent one or more sessions each: a person counts once, however many sessions there are."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

TYPICAL_COLUMNS = [
    "measure", "estimate", "standard_error", "ci_low", "ci_high", "df", "sd_people", "sd_sessions", "correlation", "n_athletes",
    "n_observations", "method",
]  # fmt: skip
METHOD = "mean of people's means, t; variances from a one-way analysis of variance"


def typical_values(sessions: pd.DataFrame, measures: tuple[str, ...]) -> pd.DataFrame:
    """Estimate typical values over people.

    Parameters
    ----------
    sessions : DataFrame
        With `code` (number of the person) and the measures.
    measures : tuple of str
        Columns.

    Returns
    -------
    DataFrame
        Per measure: estimate with its 95 % interval; SD between people, SD between sessions of one person, and the
        correlation of two sessions of one person (missing where nobody sent two).

    Notes
    -----
    Variance between people: (MSB − MSW) / n0, n0 = (N − Σ nᵢ² / N) / (k − 1), never below 0 (Searle, Casella &
    McCulloch 1992, Variance Components). The closed form serves a million rows; it equals the mixed model's estimate
    where everyone sent as many sessions as everyone else.

    Examples
    --------
    >>> table = pd.DataFrame({"code": [0, 0, 1, 2], "hr_mean_bpm": [140.0, 142.0, 150.0, 160.0]})
    >>> round(typical_values(table, ("hr_mean_bpm",))["estimate"].item(), 2)
    150.33
    """
    lines = [[m, *_typical(sessions["code"].to_numpy(), sessions[m].to_numpy(dtype=float))] for m in measures]
    return pd.DataFrame(lines, columns=TYPICAL_COLUMNS)


def _typical(codes: np.ndarray, values: np.ndarray) -> list:
    from scipy.stats import t as student

    there = np.isfinite(values)
    _, who = np.unique(codes[there], return_inverse=True)
    y = values[there]
    counts = np.bincount(who) if len(y) else np.zeros(0, dtype=int)
    k, n = len(counts), len(y)
    nan = math.nan
    if k < 2:
        mean = float(y.mean()) if n else nan
        return [mean, nan, nan, nan, nan, nan, nan, nan, k, n, METHOD]
    means = np.bincount(who, y) / counts
    estimate, sd = float(means.mean()), float(means.std(ddof=1))
    se = sd / math.sqrt(k)
    half = float(student.ppf(0.975, k - 1)) * se
    people, within, together = sd, nan, nan
    if n > k:
        msw = float(((y - means[who]) ** 2).sum() / (n - k))
        msb = float((counts * (means - y.mean()) ** 2).sum() / (k - 1))
        between = max(0.0, (msb - msw) / ((n - (counts.astype(float) ** 2).sum() / n) / (k - 1)))
        people, within = math.sqrt(between), math.sqrt(msw)
        together = between / (between + msw) if between + msw > 0 else nan
    return [
        estimate,
        se,
        estimate - half,
        estimate + half,
        float(k - 1),
        people,
        within,
        together,
        k,
        n,
        METHOD,
    ]
