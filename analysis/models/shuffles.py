"""Ratings compared by their order alone: exact tests that shuffle each athlete's own values, athletes with gaps included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result
from .intervals import as_numbers
from .ranks import rank_sum_distribution, tie_decimals

SHUFFLES = 20_000
CELLS = 4_000_000
"""Random numbers drawn at once."""


@dataclass(frozen=True)
class Shuffles(Result):
    """Permutation test of several conditions within athletes.

    Parameters
    ----------
    statistic, df_num, df_den : float
        F of the common ranks after athletes and conditions, and its degrees of freedom.
    p : float
        Share of the shuffles that reach it, the one observed counted in; exact with two conditions.
    p_approximate : float
        Of the F distribution.
    mean_ranks : ndarray
        Of each condition, athletes adjusted for: 0 where an athlete's values lie on average, in shares of all values.
    n_athletes : int
        With two values or more.
    n_shuffles : int
        0 where every shuffle was counted.
    method : str
    """

    statistic: float
    df_num: float
    df_den: float
    p: float
    p_approximate: float
    mean_ranks: np.ndarray
    n_athletes: int
    n_shuffles: int
    method: str


def shuffle_within(values, *, n_shuffles: int = SHUFFLES, seed: int = 0) -> Shuffles:
    """Test whether conditions differ, by shuffling each athlete's values among the conditions that the athlete has.

    When to use: ratings, where only the order of the values means something, also with values missing. When not: for how much
    a value changes.

    Parameters
    ----------
    values : array of float
        Athletes x conditions, missing (NaN) where there is none.
    n_shuffles : int
        Default 20,000; with two conditions all are counted.
    seed : int
        Default 0.

    Returns
    -------
    Shuffles

    Notes
    -----
    All values are ranked together, ties by mid-ranks, so that only their order enters. The statistic is the F of conditions
    after athletes; what is fixed under shuffling makes its p exact whatever the spread of the ratings or the number of
    values of an athlete.

    References
    ----------
    Fisher RA (1935) The Design of Experiments. Conover WJ, Iman RL (1981) The American Statistician 35:124-129 (ranks of all
    values). Phipson B, Smyth GK (2010) Statistical Applications in Genetics and Molecular Biology 9:39 (the observed one
    counts).

    Examples
    --------
    >>> found = shuffle_within([[12, 14, 15], [11, 14, 14], [13, 15, float("nan")], [12, 13, 15]])
    >>> bool(found.p < 0.05), found.n_athletes
    (True, 4)
    """
    values = as_numbers(values, "values")
    if values.ndim != 2 or values.shape[1] < 2:
        raise KitError("values needs one row per athlete and at least two conditions.")
    values = values[np.isfinite(values).sum(axis=1) >= 2]
    nothing = Shuffles(
        np.nan, values.shape[1] - 1.0, np.nan, np.nan, np.nan, np.full(values.shape[1], np.nan),
        len(values), 0, "no athlete has two values",
    )  # fmt: skip
    if not len(values):
        return nothing
    centred, here = centred_ranks(values[None])
    if not np.abs(centred).max() > 0:
        return nothing
    found = {name: float(v[0]) for name, v in f_of_ranks(centred, here).items()}
    adjusted, _ = _effects(centred.sum(axis=1), here)
    common = {
        "statistic": found["F"], "df_num": found["df_num"], "df_den": found["df_den"],
        "p_approximate": found["p"], "mean_ranks": adjusted[0], "n_athletes": len(values),
    }  # fmt: skip
    if values.shape[1] == 2:
        return Shuffles(
            **common,
            p=flip_p(values),
            n_shuffles=0,
            method="exact permutation test within athletes, common ranks",
        )
    sums = _shuffled_sums(centred[0], here[0], n_shuffles, np.random.default_rng(seed))
    _, size = _effects(sums, np.broadcast_to(here, (1, *here.shape[1:])))
    _, observed = _effects(centred.sum(axis=1), here)
    reached = int((size >= observed[0] * (1 - 1e-9)).sum())
    return Shuffles(
        **common,
        p=(reached + 1) / (n_shuffles + 1),
        n_shuffles=n_shuffles,
        method="permutation test within athletes, common ranks",
    )


def flip_p(values) -> float:
    """Exact two-sided p of two conditions by exchanging the two values of each athlete.

    Parameters
    ----------
    values : array of float
        Athletes x 2; further columns only lend their values to the common ranking. Athletes without both are left out.

    Returns
    -------
    float

    Examples
    --------
    >>> flip_p([[12, 14], [11, 14], [13, 15], [12, 13], [12, 15], [11, 12]])
    0.03125
    """
    values = as_numbers(values, "values")
    ranks = _common_ranks(values[None])[0]
    difference = np.rint(2 * (ranks[:, 1] - ranks[:, 0]))
    difference = difference[np.isfinite(difference) & (difference != 0)].astype(int)
    if not len(difference):
        return float("nan") if not np.isfinite(values[:, :2]).all(axis=1).any() else 1.0
    distribution = rank_sum_distribution(np.abs(difference))
    up = int(difference[difference > 0].sum())
    tails = float(distribution[: up + 1].sum()), float(distribution[up:].sum())
    return min(1.0, 2 * min(tails))


def centred_ranks(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rank all values of each study together and take off each athlete's mean.

    Parameters
    ----------
    values : ndarray, studies x athletes x conditions

    Returns
    -------
    centred : ndarray
        As shares of the number of values, 0 where there is none.
    here : ndarray of bool
        Which cells count: those of athletes with at least two values.

    Examples
    --------
    >>> centred_ranks(np.array([[[12.0, 14.0], [11.0, 15.0]]]))[0].round(3).tolist()
    [[[-0.125, 0.125], [-0.375, 0.375]]]
    """
    here = np.isfinite(values) & (np.isfinite(values).sum(axis=2, keepdims=True) >= 2)
    ranks = _common_ranks(np.where(here, values, np.nan))
    count = here.sum(axis=2, keepdims=True)
    filled = np.where(here, ranks, 0.0)
    mean = filled.sum(axis=2, keepdims=True) / np.maximum(count, 1)
    total = np.maximum(here.sum(axis=(1, 2)), 1)[:, None, None]
    return np.where(here, filled - mean, 0.0) / total, here


def f_of_ranks(centred: np.ndarray, here: np.ndarray) -> dict[str, np.ndarray]:
    """F of conditions after athletes, for many studies: F, df_num, df_den, p.

    Parameters
    ----------
    centred, here
        From `centred_ranks`.

    Returns
    -------
    dict of ndarray

    Examples
    --------
    >>> f_of_ranks(*centred_ranks(np.array([[[12.0, 14.0], [11.0, 15.0], [12.0, 13.0]]])))["df_den"].tolist()
    [2.0]
    """
    from scipy.special import fdtrc

    _, between = _effects(centred.sum(axis=1), here)
    within = (centred**2).sum(axis=(1, 2))
    seen = here.any(axis=1).sum(axis=1)
    df_num = np.maximum(seen - 1.0, 0.0)
    df_den = np.maximum(here.sum(axis=2) - 1, 0).sum(axis=1) - df_num
    with np.errstate(all="ignore"):
        rest = np.maximum(within - between, 0.0)
        F = (between / df_num) / (rest / df_den)
        F = np.where((df_num > 0) & (df_den > 0) & (within > 0), F, np.nan)
        p = np.where(np.isfinite(F), fdtrc(df_num, df_den, np.where(np.isfinite(F), F, 0.0)), np.nan)
        p = np.where(np.isinf(F), 0.0, p)
    return {"F": F, "df_num": df_num, "df_den": df_den, "p": p}


def _common_ranks(values: np.ndarray) -> np.ndarray:
    """Mid-ranks of all values of each study (first axis); missing stays missing."""
    from scipy.stats import rankdata

    flat = values.reshape(len(values), -1)
    rounded = np.round(flat, tie_decimals(flat))
    ranks = rankdata(np.where(np.isfinite(rounded), rounded, np.inf), axis=1)
    return np.where(np.isfinite(flat), ranks, np.nan).reshape(values.shape)


def _effects(sums: np.ndarray, here: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Effects of conditions after athletes from their centred sums, and the sum of squares that they explain."""
    present = here.astype(float)
    count = np.maximum(present.sum(axis=2), 1.0)
    inner = np.einsum("sij,jl->sjl", present, np.eye(present.shape[2]))
    inner = inner - np.einsum("sij,si,sil->sjl", present, 1 / count, present)
    inverse = np.linalg.pinv(inner, rcond=1e-10, hermitian=True)
    effects = np.einsum("sjl,sl->sj", np.broadcast_to(inverse, (len(sums), *inverse.shape[1:])), sums)
    return effects, np.einsum("sj,sj->s", effects, sums)


def _shuffled_sums(centred: np.ndarray, here: np.ndarray, n_shuffles: int, rng) -> np.ndarray:
    """Sums by condition with each athlete's values in random order among the athlete's own conditions."""
    n, k = centred.shape
    order = np.argsort(~here, axis=1, kind="stable")  # own conditions first
    own = np.take_along_axis(centred, order, axis=1)
    block = max(1, CELLS // (n * k))
    out = np.empty((n_shuffles, k))
    lacking = np.take_along_axis(~here, order, axis=1)
    for start in range(0, n_shuffles, block):
        size = min(block, n_shuffles - start)
        keys = rng.random((size, n, k))
        keys[:, lacking] = np.inf  # stays where it is
        shuffled = np.take_along_axis(np.broadcast_to(own, keys.shape), np.argsort(keys, axis=2), axis=2)
        placed = np.zeros(keys.shape)
        np.put_along_axis(placed, np.broadcast_to(order, keys.shape), shuffled, axis=2)
        out[start : start + size] = placed.sum(axis=1)
    return out
