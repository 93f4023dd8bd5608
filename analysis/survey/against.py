"""Submitted sessions beside published rounds: a session holds warm-up, drilling and rest as well."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from .files import LEAST_ERROR_BPM, Spread, error_given_rates, measure_spread

OUTCOME_MEASURES = {"percent_hr_max": ("percent_mean", "percent_peak"), "hr_mean_bpm": ("hr_mean_bpm", "hr_peak_bpm")}
"""Published outcome -> our mean and peak."""
REST_PERCENT = (55.0, 70.0)
"""Heart rate outside the rounds (warm-up, drilling, standing), per cent of maximum: our proposal, no source."""
POSSIBLE_SHARE = (0.1, 0.9)
"""A session is sparred for between a tenth and nine tenths of its time (our proposal)."""
WORDS = ("as expected", "harder than the rounds", "easier than expected", "cannot tell")
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
        rooms = [(rest * scale, row["mean"] - rest * scale) for rest in REST_PERCENT]
        needed = [(mean["estimate"] - rest) / room if room > 0 else math.nan for rest, room in rooms]
        low, high = min(needed), max(needed)
        window = windows.get((row["outcome"], row.get("work_s")))
        lines.append([
            row["finding"], row["outcome"], row["round_no"], row["mean"], row["sd"], row["n_athletes"],
            mean["estimate"], mean["ci_low"], mean["ci_high"], peak["estimate"], peak["ci_low"], peak["ci_high"],
            low, high, *REST_PERCENT, _verdict(low, high), row.get("work_s", math.nan), *_interval(window),
            int(mean["n_athletes"]), row["source"],
        ])  # fmt: skip
    return pd.DataFrame(lines, columns=COLUMNS)


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


TYPICAL_COLUMNS = [
    "measure", "estimate", "standard_error", "ci_low", "ci_high", "df", "sd_people", "sd_sessions", "correlation", "n_athletes",
    "n_observations", "method",
]  # fmt: skip
METHOD = "mean of people's means, t; variances from a one-way analysis of variance"


def typical_values(sessions: pd.DataFrame, measures: tuple[str, ...]) -> pd.DataFrame:
    """Estimate typical values over people."""
    # Variance between people: (MSB − MSW) / n0, n0 = (N − Σ nᵢ² / N) / (k − 1), never below 0 (Searle,
    # Casella & McCulloch 1992, Variance Components). The closed form serves a million rows; it equals the
    # mixed model's estimate where everyone sent as many sessions as everyone else.
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
    return [estimate, se, estimate - half, estimate + half, float(k - 1), people, within, together, k, n, METHOD]


GRID = np.arange(30.0, 130.5, 0.5)
"""Per cent of maximum at which the distribution is known."""
MEASURES = ("percent_mean", "percent_peak")
MOST_PEOPLE = 20_000
"""Of more people a random sample is simulated: the intervals are then a little wider than they would have to be."""


@dataclass(frozen=True)
class Carried:
    """Share of people's sessions at or above each point of GRID, per measure (rows: mean, peak)."""

    exact: np.ndarray
    centre: np.ndarray
    low: np.ndarray
    high: np.ndarray
    total_low: np.ndarray
    total_high: np.ndarray
    between: np.ndarray
    n_draws: int
    n_people: int
    learned: bool

    def at(self, measure: str, percent: float) -> dict:
        """Return the shares at one threshold, by name."""
        row, column = MEASURES.index(measure), int(np.flatnonzero(np.isclose(GRID, percent))[0])
        names = ("exact", "centre", "low", "high", "total_low", "total_high")
        return {name: float(getattr(self, name)[row, column]) for name in names}


@dataclass(frozen=True)
class People:
    """Sessions of people with a predicted maximum, ready to be simulated."""

    log_share: np.ndarray
    codes: np.ndarray
    error: np.ndarray
    least: float = 1.0

    @property
    def n(self) -> int:
        """Number of people."""
        return len(self.error)

    @property
    def counts(self) -> np.ndarray:
        """Sessions of each person."""
        return np.bincount(self.codes, minlength=self.n)

    def averages(self) -> np.ndarray:
        """Return the mean over each person's sessions of both measures."""
        out = np.full((self.n, 2), np.nan)
        for j in range(2):
            there = np.isfinite(self.log_share[:, j])
            counts = np.bincount(self.codes[there], minlength=self.n)
            sums = np.bincount(self.codes[there], self.log_share[there, j], self.n)
            out[counts > 0, j] = sums[counts > 0] / counts[counts > 0]
        return out

    def floor(self) -> np.ndarray:
        """Return the lowest possible error of each person's maximum: none lies below a heart rate that was reached."""
        highest = np.full(self.n, -np.inf)
        np.maximum.at(highest, self.codes, np.fmax(self.log_share[:, 0], self.log_share[:, 1]))
        return np.where(np.isfinite(highest), highest, -np.inf)

    def sample(self, most: int, rng: np.random.Generator) -> People:
        """Return a random sample of people with all their sessions."""
        if self.n <= most:
            return self
        chosen = np.zeros(self.n, dtype=bool)
        chosen[rng.choice(self.n, most, replace=False)] = True
        kept = chosen[self.codes]
        place = np.cumsum(chosen) - 1
        return People(self.log_share[kept], place[self.codes[kept]], self.error[chosen], self.least)


def people_of(hr_mean, hr_peak, codes, hr_max, standard_error: float) -> People:
    """Gather sessions of people whose maximum could be predicted."""
    hr = np.column_stack([np.asarray(hr_mean, dtype=float), np.asarray(hr_peak, dtype=float)])
    maximum = np.asarray(hr_max, dtype=float)
    known = np.isfinite(maximum) & np.isfinite(hr).any(axis=1)
    found, place = np.unique(np.asarray(codes)[known], return_inverse=True)
    top = np.zeros(len(found))
    top[place] = maximum[known]
    least = min(1.0, LEAST_ERROR_BPM / standard_error)
    return People(np.log(hr[known] / maximum[known, None]), place, standard_error / top, least)


def carry_error(
    people: People,
    *,
    n_draws: int = 1000,
    seed: int = 0,
    most: int = MOST_PEOPLE,
    learn: bool = True,
    edges: tuple[float, ...] = (),
) -> Carried:
    """Carry the error of the predicted maxima to the distribution of sessions, people counted once each."""
    rng = np.random.default_rng(seed)
    exact = _Counting(people).shares(np.zeros(people.n))[0]
    some = people.sample(most, rng)
    spread = spread_of(some) if learn else None
    counting, equal = _Counting(some), np.full(some.n, 1 / some.n)
    here, anew = np.empty((n_draws, *exact.shape)), np.empty((n_draws, *exact.shape))
    for i, error in enumerate(draw_errors(some, spread, n_draws, rng)):
        here[i], anew[i] = counting.shares(error, rng.multinomial(some.n, equal))
    low, centre, high = np.quantile(here, [0.025, 0.5, 0.975], axis=0)
    total_low, total_high = np.quantile(anew, [0.025, 0.975], axis=0)
    between = np.quantile(between_edges(here, edges), [0.5, 0.025, 0.975], axis=0)
    return Carried(exact, centre, low, high, total_low, total_high, between, n_draws, some.n, spread is not None)


def spread_of(people: People) -> Spread | None:
    """Return how people and sessions scatter; None with too few people."""
    return measure_spread(people.log_share, people.codes, people.error)


def draw_errors(people: People, spread: Spread | None, n_draws: int, rng: np.random.Generator) -> Iterator[np.ndarray]:
    """Yield, per draw, one error of the predicted maximum for each person (logarithm of true over predicted)."""
    averages, counts, floor = people.averages(), people.counts, people.floor()
    middle = np.zeros(people.n)
    for _ in range(n_draws):
        size = rng.uniform(people.least, 1.0)
        width = size * people.error
        if spread is not None:
            centre, between = spread.draw(size, rng)
            middle, width = error_given_rates(averages, counts, width, centre, between, spread.sessions)
        yield _truncated_normal(middle, width, floor, rng.random(people.n))


def between_edges(shares: np.ndarray, edges: tuple[float, ...]) -> np.ndarray:
    """Return the shares between edges from shares at or above each point of GRID (last axis)."""
    if not edges:
        return np.empty((*shares.shape[:-1], 0))
    places = [int(np.flatnonzero(np.isclose(GRID, e))[0]) for e in edges]
    above = shares[..., places]
    whole = np.ones((*shares.shape[:-1], 1))
    inside = np.concatenate([whole, above], axis=-1) - np.concatenate([above, 0 * whole], axis=-1)
    return np.where(np.abs(inside) < 1e-12, 0.0, inside)


def _truncated_normal(mean, sd, floor, uniform) -> np.ndarray:
    from scipy.special import ndtr, ndtri

    safe = np.maximum(sd, 1e-9)
    lowest = (floor - mean) / safe
    below = np.minimum(ndtr(lowest), 1 - 1e-12)
    return np.maximum(mean + safe * ndtri(below + uniform * (1 - below)), floor)


class _Counting:
    """Counts, per measure, the share of sessions at or above each point of GRID; people weighted equally or as given."""

    def __init__(self, people: People):
        self._parts = []
        for j in range(2):
            there = np.isfinite(people.log_share[:, j])
            codes = people.codes[there]
            each = 1 / np.bincount(codes, minlength=people.n)[codes]
            self._parts.append((100 * np.exp(people.log_share[there, j]), codes, each))

    def shares(self, error: np.ndarray, *weightings: np.ndarray) -> list[np.ndarray]:
        """Return one array (measures by GRID) with equal weights, and one for each weighting of the people."""
        lower, step = np.exp(-error), GRID[1] - GRID[0]
        out = [np.full((2, len(GRID)), np.nan) for _ in range(1 + len(weightings))]
        for j, (percent, codes, each) in enumerate(self._parts):
            if not len(codes):
                continue
            place = np.floor((percent * lower[codes] - GRID[0]) / step + 1e-9).astype(int)
            place = np.clip(place, -1, len(GRID) - 1) + 1
            for shares, weights in zip(out, (None, *weightings), strict=True):
                heap = np.bincount(place, each if weights is None else each * weights[codes], len(GRID) + 1)
                if heap.sum() > 0:
                    shares[j] = heap[::-1].cumsum()[::-1][1:] / heap.sum()
        return out


def likely_errors(people: People) -> dict[str, np.ndarray]:
    """Return each person's likely error of the maximum with its 95 % limits, as factors on the predicted maximum."""
    spread = spread_of(people)
    size = (people.least + 1) / 2
    middle, width = np.zeros(people.n), size * people.error
    if spread is not None:
        between = spread.people(size)
        middle, width = error_given_rates(
            people.averages(), people.counts, width, spread.centre, between, spread.sessions
        )
    floor = people.floor()
    at = {"low": 0.025, "middle": 0.5, "high": 0.975}
    return {name: np.exp(_truncated_normal(middle, width, floor, np.full(people.n, q))) for name, q in at.items()}
