"""Recordings that came with sessions: read in parallel, one small summary each, never the whole trace kept."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import KitError
from ..cleaning import flag_artefacts
from ..recordings import Recording, read_recording

LOWEST_BPM, HIGHEST_BPM = 30, 250
PEAK_WINDOW_S = 5.0
"""The peak is the highest mean over this time."""
LEAST_VALID = 0.8
"""A window, or a recording, with less of its time valid gives no value (our proposal, as for rounds)."""
PARALLEL_FROM = 400
"""Fewer files are read one after the other: starting workers would take longer."""


@dataclass(frozen=True)
class FileSummary:
    """What the survey keeps of one recording."""

    file: str
    digest: str = ""
    valid_s: float = 0.0
    missing_s: float = 0.0
    hr_mean_bpm: float = float("nan")
    hr_peak_bpm: float = float("nan")
    windows: dict | None = None
    seconds: np.ndarray | None = None
    problem: str = ""


def summarise_files(
    folder: str | Path, names: Iterable[str], *, windows: tuple[float, ...] = (), n_jobs: int | None = None
):
    """Read recordings and yield one small summary each, in the order of the names."""
    import joblib

    names = list(names)
    jobs = n_jobs or (1 if len(names) < PARALLEL_FROM else -1)
    if jobs == 1:
        yield from (summarise_file(folder, name, windows) for name in names)
        return
    work = (joblib.delayed(summarise_file)(folder, name, windows) for name in names)
    yield from joblib.Parallel(n_jobs=jobs, return_as="generator")(work)


def summarise_file(folder: str | Path, name: str, windows: tuple[float, ...] = ()) -> FileSummary:
    """Read one recording and keep what the survey needs."""
    path = Path(folder) / "recordings" / name.replace("\\", "/").removeprefix("recordings/")
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        return FileSummary(name, problem=f"cannot be opened ({error.strerror or error})")
    try:
        return _summarise(name, digest, read_recording(path), windows)
    except KitError as error:
        return FileSummary(name, digest, problem=str(error))


def _summarise(name: str, digest: str, recording: Recording, windows) -> FileSummary:
    samples = flag_artefacts(recording.samples)
    good = samples[(samples["flag"] == "") & samples["hr_bpm"].notna()]
    elapsed, rates = good["elapsed_s"].to_numpy(dtype=float), good["hr_bpm"].to_numpy(dtype=float)
    if len(elapsed) < 2:
        return FileSummary(name, digest, problem="holds no usable heart rate")
    steps = np.diff(elapsed)
    steps = np.where(steps <= recording.gap_limit_s, steps, 0.0) * ~_stopped(elapsed, recording.stops)
    middle = (rates[1:] + rates[:-1]) / 2
    valid = float(steps.sum())
    if valid <= 0:
        return FileSummary(name, digest, problem="holds no usable heart rate")
    beats = np.clip(np.floor(middle).astype(int), LOWEST_BPM, HIGHEST_BPM) - LOWEST_BPM
    highest = {w: _highest_mean(elapsed, middle, steps, w) for w in (PEAK_WINDOW_S, *windows)}
    return FileSummary(
        file=name,
        digest=digest,
        valid_s=valid,
        missing_s=max(0.0, recording.duration_s - valid),
        hr_mean_bpm=float((middle * steps).sum() / valid),
        hr_peak_bpm=highest[PEAK_WINDOW_S],
        windows={w: highest[w] for w in windows},
        seconds=np.bincount(beats, steps, HIGHEST_BPM - LOWEST_BPM + 1),
    )


def _stopped(elapsed: np.ndarray, stops: pd.DataFrame) -> np.ndarray:
    """Mark steps during which the timer stood."""
    out = np.zeros(len(elapsed) - 1, dtype=bool)
    for begin, end in zip(stops["from_s"], stops["to_s"], strict=True):
        out |= (elapsed[:-1] < end) & (elapsed[1:] > begin)
    return out


def _highest_mean(elapsed, middle, steps, window_s: float) -> float:
    """Return the highest mean over a window that is valid for most of its time; not-a-number where none is."""
    time = np.concatenate(([0.0], steps.cumsum()))
    beats = np.concatenate(([0.0], (middle * steps).cumsum()))
    start = elapsed - window_s
    inside = start >= elapsed[0] - 1e-9
    if not inside.any():
        return float("nan")
    covered = time - np.interp(start, elapsed, time)
    summed = beats - np.interp(start, elapsed, beats)
    usable = inside & (covered >= LEAST_VALID * window_s)
    return float((summed[usable] / covered[usable]).max()) if usable.any() else float("nan")
