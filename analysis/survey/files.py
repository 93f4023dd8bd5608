"""Recordings that came with sessions: read in parallel, one small summary each, never the whole trace kept."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import KitError
from ..cleaning import flag_artefacts
from ..physiology import hr_max_equations, predict_hr_max
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
    steps = np.where(steps <= recording.gap_limit_s, steps, 0.0)
    for begin, end in zip(recording.stops["from_s"], recording.stops["to_s"], strict=True):
        steps[(elapsed[:-1] < end) & (elapsed[1:] > begin)] = 0.0  # the timer stood
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


MAIN_EQUATION = "nes_2013"
"""Read at its source, made from more than three thousand healthy people of both sexes, error published with it."""
FEWEST_PEOPLE = 8
"""With fewer people their spread cannot be separated from the error of the prediction: heart rates then say nothing about it."""
LEAST_ERROR_BPM = 7.0
"""Published errors of such equations run from 7 bpm (Robergs & Landwehr 2002, JEPonline 5(2):1-10) to the equation's own."""
RIDGE = 1e-6


def predict_maxima(age_years, sex, equation: str) -> np.ndarray:
    """Predict the maximal heart rate of many people; not-a-number where age or a needed sex is not known."""
    age = np.round(np.asarray(age_years, dtype=float), 2)
    who = np.asarray(sex, dtype=object)
    number = np.select([who == "F", who == "M"], [1, 2], 0)
    known = np.isfinite(age)
    key = np.where(known, np.round(100 * np.nan_to_num(age)) * 3 + number, -1)
    found, place = np.unique(key, return_inverse=True)
    values = np.full(len(found), np.nan)
    for i, one in enumerate(found[found >= 0], start=int((found < 0).sum())):
        with contextlib.suppress(KitError):
            values[i] = predict_hr_max(one // 3 / 100, equation, sex=(None, "F", "M")[int(one % 3)]).value
    return values[place]


def for_whom(equation: str) -> str:
    """Return which sex an equation is for: "any", "F", or "given" where it needs the sex."""
    known = hr_max_equations().set_index("equation")
    return str(known.loc[equation, "sex"])


@dataclass(frozen=True)
class Spread:
    """How the logarithms of heart rate over predicted maximum scatter: people, sessions, error of the prediction."""

    centre: np.ndarray
    observed: np.ndarray
    sessions: np.ndarray
    scatter: np.ndarray
    error2: float
    n_people: int

    def people(self, size: float, observed: np.ndarray | None = None) -> np.ndarray:
        """Return the covariance of true intensity between people, never below zero, at a size of the error (1: full)."""
        left = (self.observed if observed is None else observed) - self.scatter - size**2 * self.error2
        values, vectors = np.linalg.eigh(left)
        return (vectors * np.clip(values, 0.0, None)) @ vectors.T

    def draw(self, size: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Draw a centre and a covariance between people, as uncertain as this many people leave them."""
        k = self.n_people
        centre = rng.multivariate_normal(self.centre, self.observed / k, method="cholesky")
        lower = np.linalg.cholesky(self.observed)
        bartlett = np.array([[np.sqrt(rng.chisquare(k - 1)), 0.0], [rng.normal(), np.sqrt(rng.chisquare(k - 2))]])
        root = lower @ bartlett
        return centre, self.people(size, root @ root.T / (k - 1))


def measure_spread(log_share: np.ndarray, codes: np.ndarray, error: np.ndarray) -> Spread | None:
    """Measure the spread of people and sessions; None with too few people."""
    whole = np.isfinite(log_share).all(axis=1)
    values, who = log_share[whole], codes[whole]
    counts = np.bincount(who, minlength=len(error))
    people = counts > 0
    if people.sum() < FEWEST_PEOPLE:
        return None
    means = np.column_stack([np.bincount(who, v, len(error)) for v in values.T])[people] / counts[people, None]
    place = np.cumsum(people) - 1
    apart = values - means[place[who]]
    spare = len(values) - people.sum()
    sessions = apart.T @ apart / spare if spare > 0 else np.zeros((2, 2))
    scatter = sessions * np.mean(1 / counts[people])
    observed = np.cov(means.T, ddof=1) + RIDGE * np.eye(2)
    error2 = float(np.mean(error[people] ** 2))
    return Spread(means.mean(axis=0), observed, sessions, scatter, error2, int(people.sum()))


def error_given_rates(person_log_share, counts, error, centre, people, sessions) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and SD of the error of each person's predicted maximum, given that person's heart rates."""
    s2 = error**2
    once = 1 / np.maximum(counts, 1)
    a, b, d = (people[i, j] + sessions[i, j] * once + s2 for i, j in ((0, 0), (0, 1), (1, 1)))
    a, d = a + RIDGE, d + RIDGE
    det = a * d - b * b
    first, second = (d - b) / det, (a - b) / det
    y_mean, y_peak = (person_log_share - centre).T
    no_mean, no_peak = np.isnan(y_mean), np.isnan(y_peak)
    if no_mean.any() or no_peak.any():
        first = np.where(no_mean, 0.0, np.where(no_peak, 1 / a, first))
        second = np.where(no_peak, 0.0, np.where(no_mean, 1 / d, second))
        y_mean, y_peak = np.nan_to_num(y_mean), np.nan_to_num(y_peak)
    mean = s2 * (first * y_mean + second * y_peak)
    variance = s2 * (1 - s2 * (first + second))
    return mean, np.sqrt(np.clip(variance, 0.0, None))


COLUMNS = ["what", "group", "n_athletes", "n_sessions", "share_people", "share_sessions"]
AGE_EDGES = (0, 18, 25, 35, 45, 55, 200)
AGE_NAMES = ("under 18", "18 to 24", "25 to 34", "35 to 44", "45 to 54", "55 and over")
NOT_SAID = "not said"


def describe_senders(sessions: pd.DataFrame) -> pd.DataFrame:
    """Count people and sessions by sex, age, sensor, kind of session, sessions sent and recording."""
    codes = sessions["code"].to_numpy()
    n_people = int(codes.max()) + 1 if len(codes) else 0
    sent = np.bincount(codes, minlength=n_people)[codes] if len(codes) else codes
    age = pd.cut(sessions["age_years"], AGE_EDGES, right=False, labels=list(AGE_NAMES))
    several = np.select([sent == 1, sent <= 3], ["1", "2 or 3"], "4 or more")
    groups = {
        "sex": _named(sessions["sex"], {"F": "women", "M": "men", "X": "other"}),
        "age": age.astype(object).where(age.notna(), NOT_SAID),
        "sensor": _named(sessions["device_kind"], {"unknown": NOT_SAID}),
        "kind of session": _named(sessions["session_kind"], {"unknown": NOT_SAID}),
        "sessions of one person": pd.Series(several, index=sessions.index),
        "recording": pd.Series(np.where(sessions["file"] != "", "sent", "not sent")),
    }
    lines = []
    for what, group in groups.items():
        number, names = pd.factorize(group.to_numpy(), sort=False)
        places = {name: AGE_NAMES.index(name) if name in AGE_NAMES else -1 for name in names}
        order = sorted(range(len(names)), key=lambda i, n=names, p=places: (n[i] == NOT_SAID, p[n[i]], n[i]))
        people = pd.DataFrame({"g": number, "c": codes}).drop_duplicates()["g"].to_numpy()
        for i in order:
            n, k = int((number == i).sum()), int((people == i).sum())
            lines.append([what, str(names[i]), k, n, k / n_people, n / len(codes)])
    return pd.DataFrame(lines, columns=COLUMNS)


def _named(values: pd.Series, words: dict[str, str]) -> pd.Series:
    plain = {c: words.get(c, str(c).replace("_", " ")) or NOT_SAID for c in values.cat.categories}
    return values.astype(object).map(plain).fillna(NOT_SAID)
