"""Orders alone: the signed-rank test, exact also with ties and zeros, and exact tests that shuffle each athlete's own values."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result, check_choice
from .effect_sizes import as_numbers, check_level

LARGEST_WEIGHT = 1_000_000
"""The distribution of a rank sum has one place for each value that it can take."""


@dataclass(frozen=True)
class SignedRank(Result):
    """Exact signed-rank test of paired differences."""

    statistic: float  # Sum of the ranks of the positive differences
    p: float  # Exact, over all flips of sign of the ranks at hand
    # Median of all Walsh averages (Hodges-Lehmann), with a distribution-free interval of at least `level`
    pseudomedian: float
    ci_low: float
    ci_high: float
    median: float  # Plain median of the differences
    rank_biserial: float  # Matched pairs: (positive - negative rank sum) / total, from -1 to 1
    n_athletes: int  # Differences used
    n_nonzero: int  # Those that enter the ranks
    n_zero: int
    n_left_out: int  # Missing ones
    has_ties: bool  # Whether ranks are shared
    level: float
    method: str


def signed_rank(
    differences,
    *,
    zeros: str = "drop",
    alternative: str = "two-sided",
    level: float = 0.95,
    decimals: int | None = None,
) -> SignedRank:
    """Test whether paired differences lie around zero, by their exact signed ranks.

    Parameters
    ----------
    differences : array of float
        Later minus earlier, one per athlete; missing ones are left out.
    zeros : {"drop", "pratt"}
        Leave zero differences out before ranking (Wilcoxon), or rank them and leave their ranks out (Pratt).
    alternative : {"two-sided", "greater", "less"}
        "greater" asks whether values rise.
    level : float
        Of the interval, default 0.95.
    decimals : int, optional
        Differences are rounded to a given number of decimals first, so that equal decimal numbers tie; default `tie_decimals` of
        the differences, which is 9 in all usual units.

    Returns
    -------
    SignedRank

    Notes
    -----
    With mid-ranks r_i of the sizes of the m differences that are not zero:

    (1) R+ = sum of r_i over positive differences;  both as whole numbers 2 r_i, since mid-ranks end in .5
    (2) P_k(s) = [P_(k-1)(s) + P_(k-1)(s - 2 r_k)] / 2: the distribution of 2 R+ over all 2^m flips of sign, rank by rank
    (3) p = twice the smaller tail of (2) from R+ on, at most 1; one-sided, the tail itself
    (4) rank-biserial correlation = (R+ - R-) / (R+ + R-)
    (5) pseudomedian = median of the Walsh averages (d_i + d_j) / 2, i <= j, zeros included
    (6) interval = the c-th smallest to the c-th largest of (5), c - 1 the largest rank sum without ties whose lower tail is at
        most (1 - level) / 2; without limit where there is none

    References
    ----------
    The numbers are those of this page. (1), (3): Wilcoxon F (1945) Biometrics Bulletin 1:80-83; zeros ranked: Pratt JW (1959)
    Journal of the American Statistical Association 54:655-667. (4): Kerby DS (2014) Comprehensive Psychology 3:11 (from
    memory). (5), (6): Hollander M, Wolfe DA, Chicken E (2014) Nonparametric Statistical Methods, 3rd ed., sections 3.2 and 3.3
    (sections from memory).

    Examples
    --------
    >>> signed_rank([1, 2, 1, 3, 0, 2, 1.0]).p
    0.03125
    """
    from scipy.stats import rankdata

    check_choice(zeros, ("drop", "pratt"), name="zeros")
    check_choice(alternative, ("two-sided", "greater", "less"), name="alternative")
    check_level(level)
    given = as_numbers(differences, "differences")
    if given.ndim != 1:
        raise KitError("differences needs one number per athlete, in one list.")
    d = given[np.isfinite(given)]
    d = np.round(d, tie_decimals(d) if decimals is None else decimals)
    nonzero = d != 0
    ranks = rankdata(np.abs(d[nonzero])) if zeros == "drop" else rankdata(np.abs(d))[nonzero]
    signs = np.sign(d[nonzero])
    doubled = np.rint(2 * ranks).astype(int)
    positive = int(doubled[signs > 0].sum())  # (1)
    total = int(doubled.sum())
    distribution = rank_sum_distribution(doubled)
    low, high = float(distribution[: positive + 1].sum()), float(distribution[positive:].sum())  # (3)
    p = {"two-sided": min(1.0, 2 * min(low, high)), "greater": min(1.0, high), "less": min(1.0, low)}[alternative]
    ci_low, pseudomedian, ci_high = _walsh(d, level)
    return SignedRank(
        statistic=positive / 2,
        p=p if len(d) else math.nan,
        pseudomedian=pseudomedian,
        ci_low=ci_low,
        ci_high=ci_high,
        median=float(np.median(d)) if len(d) else math.nan,
        rank_biserial=(2 * positive - total) / total if total else math.nan,  # (4)
        n_athletes=len(d),
        n_nonzero=int(nonzero.sum()),
        n_zero=int((~nonzero).sum()),
        n_left_out=int(len(given) - len(d)),
        has_ties=len(np.unique(np.abs(d[nonzero]))) < int(nonzero.sum()),
        level=level,
        method=f"exact signed-rank test with mid-ranks, {alternative}, zeros "
        + ("dropped" if zeros == "drop" else "ranked (Pratt)"),
    )


def tie_decimals(values) -> int:
    """Give the decimals to which numbers are rounded before ranking, so that decimal numbers that are equal tie.

    Parameters
    ----------
    values : array of float
        The numbers, or those whose differences are ranked.

    Returns
    -------
    int
        9; more where every value is below 0.001 in size, fewer where one is 100,000 or more.

    Examples
    --------
    >>> tie_decimals([171.3, 168.2]), tie_decimals([2e-7]), tie_decimals([3e9])
    (9, 13, 4)
    """
    largest = float(np.max(np.abs(values), initial=0.0, where=np.isfinite(values)))
    if largest == 0:
        return 9
    exponent = math.floor(math.log10(largest))
    return 9 - min(0, exponent + 3) - max(0, exponent - 4)


def rank_sum_distribution(weights) -> np.ndarray:
    """Give the probability of each sum of a random half of integer weights."""
    weights = as_numbers(weights, "weights")
    if weights.ndim != 1 or not np.all((weights >= 0) & (weights <= LARGEST_WEIGHT) & (weights == np.floor(weights))):
        raise KitError(f"weights must be whole numbers from 0 to {LARGEST_WEIGHT}, in one list.")
    # (2) of `signed_rank`: each rank takes part or not with one chance in two
    out = np.ones(1)
    for weight in weights.astype(int):
        wider = np.zeros(len(out) + weight)
        wider[: len(out)] += out / 2
        wider[weight:] += out / 2
        out = wider
    return out


def _walsh(d, level):
    n = len(d)
    if n == 0:
        return math.nan, math.nan, math.nan
    i, j = np.triu_indices(n)
    averages = np.sort((d[i] + d[j]) / 2)  # (5) of `signed_rank`
    cumulative = np.cumsum(rank_sum_distribution(np.arange(1, n + 1)))
    cut = int(np.searchsorted(cumulative, (1 - level) / 2, side="right"))  # (6): c, the number of sums in the tail
    if cut == 0:
        return -math.inf, float(np.median(averages)), math.inf
    return float(averages[cut - 1]), float(np.median(averages)), float(averages[-cut])


SHUFFLES = 20_000
CELLS = 4_000_000
"""Random numbers drawn at once."""


@dataclass(frozen=True)
class Shuffles(Result):
    """Permutation test of several conditions within athletes."""

    statistic: float  # F of the common ranks after athletes and conditions
    df_num: float
    df_den: float
    p: float  # Share of the shuffles that reach it, the one observed counted in; exact with two conditions
    p_approximate: float  # Of the F distribution
    # Of each condition, athletes adjusted for: 0 where an athlete's values lie on average, in shares of all values
    mean_ranks: np.ndarray
    n_athletes: int  # With two values or more
    n_shuffles: int  # 0 where every shuffle was counted
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
            **common, p=flip_p(values), n_shuffles=0, method="exact permutation test within athletes, common ranks"
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
