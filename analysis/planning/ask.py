"""Invented studies in numbers only, many at once, and questions about rounds asked of them as the kit asks a real one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..basics import Result
from .correlation import fitness_signal
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
    leaves = rng.random((s, n, k)) < truth.leave
    leaves[..., 0] = False
    gone = np.logical_or.accumulate(leaves, axis=2)
    present = ~gone & (rng.random((s, n, k)) >= truth.missing_round)
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


@dataclass(frozen=True)
class Asked:
    """What one question gave in every study."""

    question: str
    part: str
    found: np.ndarray
    usable: np.ndarray
    estimate: np.ndarray | None = None
    half_width: np.ndarray | None = None
    truth: float = float("nan")
    mistaken: np.ndarray | None = None
    small: np.ndarray | None = None
    """Shown to be too small to matter: with `found`, a clear answer."""


def below(p, alpha) -> np.ndarray:
    """Tell where p lies below alpha; a missing p does not."""
    with np.errstate(invalid="ignore"):
        return p < alpha


def round_steps(rounds: int) -> tuple[np.ndarray, dict[tuple[int, int], np.ndarray]]:
    """Columns that code the steps from round to round, and the contrast of every pair of rounds in that coding."""
    columns = np.column_stack([np.ones(rounds), np.tril(np.ones((rounds, rounds)), -1)[:, : rounds - 1]])
    return columns, {(i, j): columns[i] - columns[j] for i in range(rounds) for j in range(i)}


def ask_rounds(y: np.ndarray, outcome: str, smallest: float, design: Design, truth: Assumptions) -> list[Asked]:
    """Does it change, between which rounds, and where does it stop?"""
    from scipy.special import stdtr, stdtrit

    from ..models import fit_mixed_batch

    studies, n, k = y.shape
    columns, pairs = round_steps(k)
    tests = {"round": list(range(1, k)), **{f"{i} {j}": row[None] for (i, j), row in pairs.items()}}
    fit = fit_mixed_batch(y.reshape(studies, -1), np.tile(columns, (n, 1)), np.repeat(np.arange(n), k), tests=tests)
    profile = round_profile(k, truth.size(outcome).rise, truth.shape)
    question = f"rounds.{outcome}"
    whole = fit["round"]
    usable = np.isfinite(whole.p)
    last = fit[f"{k - 1} 0"]
    reach = stdtrit(last.df_den, 1 - design.alpha / 2) * last.standard_error
    asked = [Asked(question, "change", below(whole.p, design.alpha), usable, last.estimate, reach, float(profile[-1]))]
    paired = {pair: _paired(y, *pair) for pair in pairs}
    steps = [(r, r - 1) for r in range(1, k)]
    tested = steps + ([(k - 1, 0)] if k > 2 else [])
    p_model = np.array([fit[f"{i} {j}"].p for i, j in tested]).T
    p_paired = np.array([2 * stdtr(df, -np.abs(t)) for _, _, df, t in (paired[s] for s in tested)]).T
    most = max(k - 2, 1)
    claimed = (holm_rows(p_model, most) < design.alpha) & (holm_rows(p_paired, most) < design.alpha)
    claimed &= below(whole.p, design.alpha)[:, None]
    for at, (i, j) in enumerate(steps):
        test = fit[f"{i} {j}"]
        reach = stdtrit(test.df_den, 1 - design.alpha / 2) * test.standard_error
        asked.append(
            Asked(
                question,
                f"step {i + 1} - {j + 1}",
                claimed[:, at],
                usable & np.isfinite(p_paired[:, at]),
                test.estimate,
                reach,
                float(profile[i] - profile[j]),
            )
        )
    equal = {}
    for pair in pairs:
        test = fit[f"{pair[0]} {pair[1]}"]
        mean, error, df, _ = paired[pair]
        equal[pair] = _inside(test.estimate, test.standard_error, test.df_den, smallest, design.alpha)
        equal[pair] &= _inside(mean, error, df, smallest, design.alpha)
    start = plateau_start(equal, k)
    asked[0] = replace(asked[0], small=(start == 0) & usable)
    # first round from which no two true means differ by what matters; the last round where none is
    level = next(r for r in range(len(profile)) if np.ptp(profile[r:]) < smallest)
    asked.append(
        Asked(question, "plateau", (start < k - 1) & (start >= level), usable, mistaken=(start < min(level, k - 1)))
    )
    return asked


def plateau_start(equal: dict[tuple[int, int], np.ndarray], rounds: int) -> np.ndarray:
    """First round (from 0) from which every pair is equivalent, tried from the end; the last round where none is."""
    some = next(iter(equal.values()))
    start, holds = np.full(len(some), rounds - 1), np.ones(len(some), dtype=bool)
    for first in range(rounds - 2, -1, -1):
        for later in range(first + 1, rounds):
            holds = holds & equal[(later, first)]
        start[holds] = first
    return start


def ask_ranks(y: np.ndarray, design: Design) -> Asked:
    """Does exertion change over the rounds: F of common ranks within athletes, athletes with missing rounds kept."""
    # The analysis takes the p of this statistic from shuffles; its F distribution, taken here, agrees to
    # about half a per cent.
    from ..models import centred_ranks, f_of_ranks

    p = f_of_ranks(*centred_ranks(y))["p"]
    return Asked("rounds.exertion", "change", below(p, design.alpha), np.isfinite(p))


def holm_rows(p: np.ndarray, most_true: int | None = None) -> np.ndarray:
    """Holm-adjust each row of p values (see `models.holm`); missing ones stay missing."""
    order = np.argsort(p, axis=1)
    tests = np.isfinite(p).sum(axis=1, keepdims=True)
    factor = np.maximum(tests - np.arange(p.shape[1]), 1)
    factor = factor if most_true is None else np.minimum(factor, most_true)
    ranked = np.take_along_axis(p, order, axis=1) * factor
    ranked = np.minimum(np.maximum.accumulate(ranked, axis=1), 1.0)
    adjusted = np.empty_like(ranked)
    np.put_along_axis(adjusted, order, ranked, axis=1)
    return np.where(np.isfinite(p), adjusted, np.nan)


def _paired(y: np.ndarray, later: int, earlier: int):
    """Mean difference, its error, df and t, over the athletes who have both rounds."""
    difference = y[..., later] - y[..., earlier]
    here = np.isfinite(difference)
    n = here.sum(axis=1)
    value = np.where(here, difference, 0.0)
    with np.errstate(all="ignore"):
        mean = np.where(n > 1, value.sum(axis=1) / n, np.nan)
        square = np.where(here, (difference - mean[:, None]) ** 2, 0.0).sum(axis=1)
        error = np.sqrt(square / (n - 1) / n)
        return mean, error, n - 1.0, mean / error


def _inside(estimate, error, df, smallest, alpha):
    from scipy.special import stdtrit

    with np.errstate(all="ignore"):
        return np.abs(estimate) + stdtrit(np.maximum(df, 1e-9), 1 - alpha) * error < smallest


def ask_all(batch: StudyBatch, design: Design, truth: Assumptions) -> list[Asked]:
    """Ask every planned question of every study of a batch."""
    asked = ask_rounds(batch.heart_rate, "heart_rate", design.smallest_of("heart_rate"), design, truth)
    asked += ask_fitness(batch, "heart_rate", design, truth)
    asked += ask_rounds(batch.lactate, "lactate", design.smallest_of("lactate"), design, truth)
    asked += ask_fitness(batch, "lactate", design, truth)
    asked.append(ask_ranks(batch.exertion, design))
    return asked


def ask_fitness(batch: StudyBatch, outcome: str, design: Design, truth: Assumptions) -> list[Asked]:
    """Do fitter athletes respond less: slope and correlation."""
    from scipy.special import stdtr, stdtrit

    y = getattr(batch, outcome)
    question, true = f"fitness.{outcome}", truth.size(outcome).slope
    estimate, error, df, p = _slopes(y, batch, design.adjustment(outcome, truth))
    reach = stdtrit(df, 1 - design.alpha / 2) * error
    step, smallest = design.capacity_step, design.smallest_of(outcome)
    # the error of the test shrinks the slope: only what is small without it is too small to matter
    grown = truth.capacity_sd**2 / truth.true_capacity_sd() ** 2 if truth.test_error_kind == "retest" else 1.0
    asked = [
        Asked(
            question,
            "slope",
            below(p, design.alpha),
            np.isfinite(p),
            step * estimate,
            step * reach,
            step * true,
            small=_inside(step * grown * estimate, step * grown * error, df, smallest, design.alpha),
        )
    ]
    seen = np.isfinite(y)
    count = seen.sum(axis=2)
    here = count > 0
    mean = np.where(here, np.where(seen, y, 0.0).sum(axis=2) / np.maximum(count, 1), 0.0)
    x, v = (_centre(values, here) for values in (batch.capacity, mean))
    with np.errstate(all="ignore"):
        r = np.sum(x * v, axis=1) / np.sqrt(np.sum(x**2, axis=1) * np.sum(v**2, axis=1))
        n = here.sum(axis=1)
        p = 2 * stdtr(n - 2.0, -np.abs(r) * np.sqrt((n - 2) / (1 - r**2)))
        width = np.tanh(np.arctanh(r) + 1.96 / np.sqrt(n - 3)) - np.tanh(np.arctanh(r) - 1.96 / np.sqrt(n - 3))
    usable = np.isfinite(p) & (n > 3)
    expected = fitness_signal(truth, rounds=design.rounds, outcome=outcome, adjust=()).r_true
    asked.append(Asked(question, "correlation", below(p, design.alpha), usable, r, width / 2, expected))
    return asked


def _slopes(y, batch: StudyBatch, adjust):
    """Slope on capacity, its error, df and p; a covariate that does not vary in a study is left out of that study."""
    from ..models import fit_mixed_batch

    studies, n, k = y.shape
    out = np.full((4, studies), np.nan)
    varies = {a: np.ptp(getattr(batch, a), axis=1) > 0 for a in adjust}
    patterns = np.array([varies[a] for a in adjust]).T if adjust else np.ones((studies, 0), dtype=bool)
    columns = round_steps(k)[0]
    for pattern in np.unique(patterns, axis=0):
        picked = np.flatnonzero((patterns == pattern).all(axis=1))
        names = ["capacity", *(a for a, on in zip(adjust, pattern, strict=True) if on)]
        values = [getattr(batch, name)[picked] for name in names]
        fixed = np.broadcast_to(np.tile(columns, (n, 1)), (len(picked), n * k, k))
        own = np.stack([np.repeat(v - v.mean(axis=1, keepdims=True), k, axis=1) for v in values], axis=2)
        fit = fit_mixed_batch(
            y[picked].reshape(len(picked), -1),
            np.concatenate([fixed, own], axis=2),
            np.repeat(np.arange(n), k),
            tests={"capacity": [k]},
        )["capacity"]
        out[:, picked] = fit.estimate, fit.standard_error, fit.df_den, fit.p
    return out


def _centre(values, here):
    n = np.maximum(here.sum(axis=1, keepdims=True), 1)
    return np.where(here, values - np.where(here, values, 0.0).sum(axis=1, keepdims=True) / n, 0.0)
