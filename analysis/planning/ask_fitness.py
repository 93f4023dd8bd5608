"""Questions about fitness, and all questions together, asked of many simulated studies at once."""

from __future__ import annotations

import numpy as np

from .ask_rounds import ask_ranks, ask_rounds, round_steps
from .asked import Asked, below
from .assumptions import Assumptions
from .attenuation import fitness_signal
from .design import Design
from .generate import StudyBatch


def ask_all(batch: StudyBatch, design: Design, truth: Assumptions) -> list[Asked]:
    """Ask every planned question of every study of a batch."""
    asked = ask_rounds(batch.heart_rate, "heart_rate", design.heart_rate_smallest, design, truth)
    asked += ask_fitness(batch, "heart_rate", design, truth)
    asked += ask_rounds(batch.lactate, "lactate", design.lactate_smallest, design, truth)
    asked += ask_fitness(batch, "lactate", design, truth)
    asked.append(ask_ranks(batch.exertion, design))
    return asked


def ask_fitness(batch: StudyBatch, outcome: str, design: Design, truth: Assumptions) -> list[Asked]:
    """Do fitter athletes respond less: slope and correlation."""
    from scipy.special import stdtr, stdtrit

    y = getattr(batch, outcome)
    question, true = f"fitness.{outcome}", getattr(truth, outcome).slope
    estimate, error, df, p = _slopes(y, batch, design.adjustment(outcome, truth))
    reach = stdtrit(df, 1 - design.alpha / 2) * error
    step = design.capacity_step
    asked = [
        Asked(
            question,
            "slope",
            below(p, design.alpha),
            np.isfinite(p),
            step * estimate,
            step * reach,
            step * true,
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
        width = np.tanh(np.arctanh(r) + 1.96 / np.sqrt(n - 3)) - np.tanh(
            np.arctanh(r) - 1.96 / np.sqrt(n - 3)
        )
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
