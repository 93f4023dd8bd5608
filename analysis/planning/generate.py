"""Invented studies in numbers only: many at once, each with its own athletes, rounds, losses and errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import Result
from .design import OWN_TOPICS, Assumptions, Design, athlete_loadings, round_profile


@dataclass(frozen=True)
class StudyBatch(Result):
    """Many simulated studies of one design; missing values are NaN."""

    heart_rate: np.ndarray
    lactate: np.ndarray
    exertion: np.ndarray
    capacity: np.ndarray
    hr_max: np.ndarray
    age: np.ndarray
    sex: np.ndarray


def generate_studies(design: Design, truth: Assumptions, n_studies: int, rng) -> StudyBatch:
    """Draw studies from the assumptions."""
    # An athlete's level is a sum of what age, sex, true capacity, maximal heart rate and everything else
    # contribute; a round adds the common change over rounds, what the two opponents of a bout share, and a
    # scatter of its own. A round that is sat out and all rounds after leaving are missing for every
    # outcome, a lost trace for heart rate only.
    s, n, k = n_studies, design.n, design.rounds
    age = rng.uniform(truth.age_low, truth.age_high, (s, n))
    sex = (rng.random((s, n)) < truth.share_women).astype(float)
    shared = rng.standard_normal((4, s, n))
    centred = [age - (truth.age_low + truth.age_high) / 2, sex - truth.share_women]
    present = _present(truth, s, n, k, rng)
    outcomes = {}
    for outcome in OWN_TOPICS:
        loadings, noise = athlete_loadings(truth, outcome)
        sources = [*centred, *(shared * noise[:4, None, None]), noise[4] * rng.standard_normal((s, n))]
        values = _rounds_of(truth, outcome, _weigh(loadings["outcome"], sources), k, rng)
        outcomes[outcome] = np.where(present, values, np.nan)
    outcomes["heart_rate"][rng.random((s, n, k)) < truth.strap_loss] = np.nan
    outcomes["exertion"] = np.round(outcomes["exertion"])
    return StudyBatch(
        **outcomes,
        capacity=truth.capacity_mean + _weigh(loadings["capacity"], sources),
        hr_max=190.0 + _weigh(loadings["hr_max"], sources),
        age=age,
        sex=sex,
    )


def bout_numbers(n: int, rounds: int) -> np.ndarray:
    """Number the bouts of a round robin, so that the two opponents of a bout share a number; an odd one is alone."""
    seats = list(range(n)) + ([n] if n % 2 else [])
    size, numbers = len(seats), np.empty((n, rounds), dtype=int)
    for r in range(rounds):
        for bout in range(size // 2):
            for athlete in (seats[bout], seats[size - 1 - bout]):
                if athlete < n:
                    numbers[athlete, r] = bout
        seats = [seats[0], seats[-1], *seats[1:-1]]
    return numbers


def _weigh(weights: np.ndarray, sources: list[np.ndarray]) -> np.ndarray:
    total = np.zeros_like(sources[0])
    for weight, source in zip(weights, sources, strict=True):
        if weight:
            total += weight * source
    return total


def _present(truth: Assumptions, s: int, n: int, k: int, rng) -> np.ndarray:
    leaves = rng.random((s, n, k)) < truth.leave
    leaves[..., 0] = False
    gone = np.logical_or.accumulate(leaves, axis=2)
    return ~gone & (rng.random((s, n, k)) >= truth.missing_round)


def _rounds_of(truth: Assumptions, outcome: str, level: np.ndarray, k: int, rng) -> np.ndarray:
    size = getattr(truth, outcome)
    s, n = level.shape
    own = rng.standard_normal((s, n, k))
    if truth.autocorrelation:
        rho = truth.autocorrelation
        for r in range(1, k):
            own[..., r] = rho * own[..., r - 1] + np.sqrt(1 - rho**2) * own[..., r]
    bouts = bout_numbers(n, k)
    common = rng.standard_normal((s, k, bouts.max() + 1))
    shared = np.stack([common[:, r, bouts[:, r]] for r in range(k)], axis=2)
    scatter = np.sqrt(1 - truth.bout_share) * own + np.sqrt(truth.bout_share) * shared
    values = size.mean + round_profile(k, size.rise, truth.shape) + level[..., None] + size.sd_within * scatter
    if outcome == "lactate" and truth.lactate_per_delay_s:
        late = truth.delay_sd_s * rng.standard_normal((s, n, k)) + truth.delay_drift_s * np.arange(k)
        values = values + truth.lactate_per_delay_s * late
    return values


def share_interval(hits, tries):
    """Wilson interval of a share that was counted in simulated studies."""
    # Source: Wilson (1927) J Am Stat Assoc 22:209-212.
    from statsmodels.stats.proportion import proportion_confint

    with np.errstate(divide="ignore", invalid="ignore"):
        return proportion_confint(np.asarray(hits, dtype=float), np.asarray(tries, dtype=float), method="wilson")


def with_intervals(table: pd.DataFrame, tries) -> pd.DataFrame:
    """Add `ci_low` and `ci_high`, the Monte-Carlo interval of a column of shares."""
    low, high = share_interval(table["power"] * tries, tries)
    return table.assign(ci_low=low, ci_high=high)
