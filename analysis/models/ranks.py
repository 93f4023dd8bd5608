"""The signed-rank test, exact also with ties and zeros."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result, check_choice
from .intervals import as_numbers, check_level

LARGEST_WEIGHT = 1_000_000
"""The distribution of a rank sum has one place for each value that it can take."""


@dataclass(frozen=True)
class SignedRank(Result):
    """Exact signed-rank test of paired differences.

    Parameters
    ----------
    statistic : float
        Sum of the ranks of the positive differences.
    p : float
        Exact, over all flips of sign of the ranks at hand.
    pseudomedian, ci_low, ci_high : float
        Median of all Walsh averages (Hodges-Lehmann), with a distribution-free interval of at least `level`.
    median : float
        Plain median of the differences.
    rank_biserial : float
        Matched pairs: (positive - negative rank sum) / total, from -1 to 1.
    n_athletes, n_nonzero, n_zero, n_left_out : int
        Differences used, those that enter the ranks, zeros, and missing ones.
    has_ties : bool
        Whether ranks are shared.
    level : float
    """

    statistic: float
    p: float
    pseudomedian: float
    ci_low: float
    ci_high: float
    median: float
    rank_biserial: float
    n_athletes: int
    n_nonzero: int
    n_zero: int
    n_left_out: int
    has_ties: bool
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
