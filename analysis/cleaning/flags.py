"""`flag_artefacts`: mark the samples that cannot be a heart rate of grappling; delete nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError
from .pieces import fit_pieces
from .rules import CleaningRules

FLAGS = (
    "",
    "no contact",
    "out of range",
    "flat line",
    "doubled or halved",
    "spike",
    "impossible change",
    "start lag",
    "straps mixed up",
    "set aside by hand",
)
"""The plain names of the flags; "" is good. A sample has one flag."""
CODE = {name: i for i, name in enumerate(FLAGS)}


LEAST_IN_FLAT = 8
"""Samples of a flat line at least: a file with a row every 5 s repeats a value by chance."""


def flag_artefacts(
    samples: pd.DataFrame, *, hr_max_bpm: float | None = None, rules: CleaningRules | None = None
) -> pd.DataFrame:
    """Return the samples with a `flag` column: "" where good, else the plain name of the artefact.

    Parameters
    ----------
    samples : DataFrame
        With `elapsed_s` (seconds, in time order) and `hr_bpm` (missing where there was no contact). Other columns
        pass through; nothing is deleted or changed.
    hr_max_bpm : float, optional
        The athlete's measured maximal heart rate: values more than 10 bpm above it are out of range.
    rules : CleaningRules, optional
        Default: `CleaningRules()`.

    Returns
    -------
    DataFrame
        The same rows, with `flag`: "no contact", "out of range", "flat line", "doubled or halved", "spike",
        "impossible change", "start lag" or "".

    Notes
    -----
    The trace is broken in pieces wherever heart rate changes faster than a heart can: over d seconds by more than
    120 * (1 - exp(-d / 15)) bpm, at least 10, or by more than 7 bpm/s for 3 s. Of all chains of pieces the one is kept
    that has most samples, less 30 samples times the square of (change / limit) for every change beyond the limit, at
    most 100 unless the level doubles or halves. What is not in it is flagged by its length and level. So one bad
    stretch does not condemn what follows it, and a fault need not be short. Every limit is a field of `CleaningRules`.

    Short faults that look like a heart rate (a few beats too many, a value repeated for 10 s) are not seen.

    Examples
    --------
    >>> samples = pd.DataFrame({"elapsed_s": range(40), "hr_bpm": [150.0, 151] * 20})
    >>> samples.loc[20:23, "hr_bpm"] = 75.0
    >>> flag_artefacts(samples)["flag"].value_counts().to_dict()
    {'': 36, 'doubled or halved': 4}
    """
    for column in ("elapsed_s", "hr_bpm"):
        if column not in samples:
            raise KitError(f"samples need the columns elapsed_s and hr_bpm; {column} is missing.")
    elapsed = samples["elapsed_s"].to_numpy(dtype=float)
    rates = samples["hr_bpm"].to_numpy(dtype=float)
    if len(elapsed) and (not np.isfinite(elapsed).all() or (np.diff(elapsed) < 0).any()):
        raise KitError("elapsed_s must be numbers in rising order; read_recording puts them so.")
    codes = flag_codes(elapsed, rates, hr_max_bpm=hr_max_bpm, rules=rules or CleaningRules())
    return samples.assign(flag=np.array(FLAGS, dtype=object)[codes]).astype({"flag": "str"})


def flag_codes(
    elapsed: np.ndarray, rates: np.ndarray, *, hr_max_bpm: float | None, rules: CleaningRules
) -> np.ndarray:
    """The flags of a trace as places in `FLAGS`."""
    codes = np.zeros(len(rates), dtype=np.int8)
    there = np.isfinite(rates) & (rates > 0)
    codes[~there] = CODE["no contact"]
    ceiling = rules.highest_bpm
    if hr_max_bpm is not None and np.isfinite(hr_max_bpm):
        ceiling = min(ceiling, hr_max_bpm + rules.above_max_bpm)
    with np.errstate(invalid="ignore"):
        codes[there & ((rates < rules.lowest_bpm) | (rates > ceiling))] = CODE["out of range"]
    codes[_flat(elapsed, rates, codes == 0, rules)] = CODE["flat line"]
    place = np.flatnonzero(there)
    if len(place):
        found = fit_pieces(elapsed[place], rates[place], codes[place] == 0, rules, CODE)
        codes[place[found > 0]] = found[found > 0]
        _mark_start_lag(elapsed, codes, rules)
    return codes


def _flat(elapsed: np.ndarray, rates: np.ndarray, good: np.ndarray, rules: CleaningRules) -> np.ndarray:
    """Samples in a run of one value that is too long for this trace; gaps in between do not end it."""
    out = np.zeros(len(rates), dtype=bool)
    place = np.flatnonzero(good)
    if len(place) < 3:
        return out
    values, times = rates[place], elapsed[place]
    change = np.flatnonzero(np.diff(values) != 0)
    first = np.concatenate(([0], change + 1))
    last = np.concatenate((change, [len(place) - 1]))
    length = times[last] - times[first]
    candidate = (length >= rules.flat_s - 1e-9) & (last - first + 1 >= LEAST_IN_FLAT)
    if not candidate.any():
        return out
    after = np.append(np.abs(np.diff(values))[change], 0.0)
    long = candidate & ((after >= 2.0) | (length >= rules.flat_usual * _usual_run(length, candidate)))
    for a, b in zip(first[long], last[long], strict=True):
        out[place[a : b + 1]] = True
    return out


def _usual_run(length: np.ndarray, candidate: np.ndarray) -> float:
    """The run of one value in which the middle second of the rest of the trace lies, in seconds."""
    runs = np.sort(length[~candidate]) + 1.0
    return float(runs[np.searchsorted(np.cumsum(runs), runs.sum() / 2)]) if len(runs) else 1.0


def _mark_start_lag(elapsed: np.ndarray, codes: np.ndarray, rules: CleaningRules) -> None:
    """Everything before contact has first been steady, if a fault lies at the beginning and steady contact follows it."""
    bad = np.flatnonzero((codes != 0) & (elapsed - elapsed[0] <= rules.start_lag_s + rules.steady_s))
    if not len(bad) or elapsed[bad[0]] - elapsed[0] >= rules.steady_s:
        return
    next_bad = np.append(elapsed[bad[1:]], elapsed[-1] if bad[-1] < len(codes) - 1 else elapsed[bad[-1]])
    steady = np.flatnonzero(next_bad - elapsed[bad] >= rules.steady_s)
    if not len(steady) or elapsed[bad[steady[0]]] - elapsed[0] > rules.start_lag_s:
        return
    before = np.arange(len(codes)) <= bad[steady[0]]
    codes[before & (codes != CODE["no contact"])] = CODE["start lag"]
