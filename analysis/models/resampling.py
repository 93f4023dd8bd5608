"""Bootstrap and permutation with given or seeded resamples."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from ..basics import KitError, Result, check_choice, check_number
from .effect_sizes import as_numbers, check_level

MOST_RESAMPLES = 1_000_000
"""Already far more than an interval of a dozen athletes deserves."""
EXACT_UP_TO = 8
"""Athletes up to which every permutation is looked at (8! = 40,320)."""


@dataclass(frozen=True)
class BootstrapInterval(Result):
    """Bias-corrected and accelerated bootstrap interval."""

    estimate: float
    ci_low: float
    ci_high: float
    standard_error: float  # Standard deviation of the replicates
    bias_correction: float  # z0 of the method
    acceleration: float  # a of the method
    n_resamples: int  # Replicates
    n_failed: int  # Those that had no value (all athletes alike)
    level: float
    method: str = "bias-corrected and accelerated bootstrap"


@dataclass(frozen=True)
class Permutation(Result):
    """Permutation test of a correlation."""

    statistic: float  # Pearson's r
    p: float  # Its share of permutations at least as extreme
    n_permutations: int  # Looked at
    exact: bool  # Whether these were all
    alternative: str
    method: str


def check_resamples(n_resamples) -> int:
    """Return a number of resamples, or raise a KitError where it is none that a computer can hold."""
    return check_number(n_resamples, name="n_resamples", low=1, high=MOST_RESAMPLES, ends=True, whole=True)


def check_seed(seed) -> int:
    """Return a seed, or raise a KitError where it is not a whole number from 0."""
    return check_number(seed, name="seed", low=0, high=2**63, ends=True, whole=True)


def resample_indices(n: int, n_resamples: int = 5000, *, seed: int = 0) -> np.ndarray:
    """Draw rows with replacement.

    Parameters
    ----------
    n : int
        Number of athletes.
    n_resamples : int
        Default 5000.
    seed : int
        Default 0.

    Returns
    -------
    ndarray of int
        n_resamples x n, counted from 0.

    Examples
    --------
    >>> resample_indices(5, 3).shape
    (3, 5)
    """
    n = check_number(n, name="n", low=1, high=MOST_RESAMPLES, ends=True, whole=True)
    n_resamples = check_resamples(n_resamples)
    return np.random.default_rng(check_seed(seed)).integers(0, n, size=(n_resamples, n))


def bca_interval(replicates, estimate: float, leave_one_out, *, level: float = 0.95) -> BootstrapInterval:
    """Give the bias-corrected and accelerated interval from replicates that are already there.

    Parameters
    ----------
    replicates : array of float
        The statistic on every resample; those without a value are left out and counted.
    estimate : float
        On the data.
    leave_one_out : array of float
        On the data without each athlete in turn.
    level : float
        Default 0.95.

    Returns
    -------
    BootstrapInterval

    Notes
    -----
    z0 is the normal quantile of the share of replicates below the estimate, a the skewness of the leave-one-out values
    over 6; the limits are quantiles of the replicates (linear interpolation) at the probabilities that these give.

    References
    ----------
    Efron B (1987) Better bootstrap confidence intervals. Journal of the American Statistical Association 82:171-185.

    Examples
    --------
    >>> found = bca_interval([0.1, 0.2, 0.3, 0.4], 0.25, [0.2, 0.25, 0.3])
    >>> found.ci_low < 0.25 < found.ci_high
    True
    """
    from scipy.special import ndtr, ndtri

    check_level(level)
    all_replicates, leave_one_out = (
        as_numbers(v, name) for v, name in ((replicates, "replicates"), (leave_one_out, "leave_one_out"))
    )
    t = all_replicates[np.isfinite(all_replicates)]
    failed = len(all_replicates) - len(t)
    if len(t) < 2 or not math.isfinite(estimate):
        nan = math.nan
        return BootstrapInterval(float(estimate), nan, nan, nan, nan, nan, len(all_replicates), failed, level)
    edge = 0.5 / len(t)
    z0 = float(ndtri(np.clip(np.mean(t < estimate), edge, 1 - edge)))
    pulls = np.mean(leave_one_out) - leave_one_out
    size = float(np.sum(pulls**2))
    a = float(np.sum(pulls**3) / (6 * size**1.5)) if size > 0 else 0.0
    limits = []
    for tail in ((1 - level) / 2, (1 + level) / 2):
        shifted = z0 + ndtri(tail)
        limits.append(float(np.quantile(t, ndtr(z0 + shifted / (1 - a * shifted)))))
    return BootstrapInterval(
        float(estimate), limits[0], limits[1], float(np.std(t, ddof=1)), z0, a, len(all_replicates), failed, level
    )


def pearson_rows(x, y) -> np.ndarray:
    """Correlate the rows of two matrices, one by one.

    Parameters
    ----------
    x, y : array of float
        Of the same shape, or one row against many.

    Returns
    -------
    ndarray
        One correlation per row; missing where a row does not vary.

    Examples
    --------
    >>> pearson_rows([[1, 2, 3.0]], [[3, 2, 1.0]]).tolist()
    [-1.0]
    """
    x, y = np.atleast_2d(as_numbers(x, "x")), np.atleast_2d(as_numbers(y, "y"))
    varies = (np.ptp(x, axis=1) > 0) & (np.ptp(y, axis=1) > 0)  # exactly: a mean may be off by rounding
    with np.errstate(all="ignore"):
        x = x - x.mean(axis=1, keepdims=True)
        y = y - y.mean(axis=1, keepdims=True)
        xx, yy = np.sum(x * x, axis=1), np.sum(y * y, axis=1)
        r = np.sum(x * y, axis=1) / np.sqrt(xx * yy)
    return np.where(varies & (xx > 0) & (yy > 0), np.clip(r, -1, 1), np.nan)


def permutation_correlation(
    x, y, *, alternative: str = "two-sided", n_resamples: int = 10_000, seed: int = 0
) -> Permutation:
    """Test a correlation by permuting one variable against the other.

    Parameters
    ----------
    x, y : array of float
        One value per athlete each, none missing. Give ranks for a test of Spearman's correlation.
    alternative : {"two-sided", "greater", "less"}
        Default "two-sided", by the size of r.
    n_resamples, seed : int
        Random permutations where there are more than 8 athletes; default 10,000 and 0.

    Returns
    -------
    Permutation

    Notes
    -----
    Up to 8 athletes every permutation is looked at; else p = (b + 1) / (m + 1) with b of m random ones as extreme.

    References
    ----------
    Phipson B, Smyth GK (2010) Statistical Applications in Genetics and Molecular Biology 9:39.

    Examples
    --------
    >>> permutation_correlation([1, 2, 3, 4.0], [1, 2, 3, 4.0], alternative="greater").p
    0.041666666666666664
    """
    check_choice(alternative, ("two-sided", "greater", "less"), name="alternative")
    check_resamples(n_resamples), check_seed(seed)
    x, y = as_numbers(x, "x"), as_numbers(y, "y")
    if x.shape != y.shape or x.ndim != 1 or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise KitError("x and y need one value per athlete each, none missing.")
    order = np.lexsort((y, x))  # a seed gives the same answer in whatever order the athletes come
    x, y = x[order], y[order]
    n = len(x)
    observed = float(pearson_rows(x, y)[0]) if n > 1 else math.nan
    exact = n <= EXACT_UP_TO
    if exact:
        order = np.array(list(permutations(range(n))))
    else:
        order = np.random.default_rng(seed).permuted(np.tile(np.arange(n), (n_resamples, 1)), axis=1)
    words = "all permutations" if exact else f"{n_resamples} random permutations, seed {seed}"
    if not math.isfinite(observed):
        return Permutation(observed, math.nan, len(order), exact, alternative, words)
    r = pearson_rows(x, y[order])
    extreme = {
        "two-sided": np.abs(r) >= abs(observed) - 1e-12,
        "greater": r >= observed - 1e-12,
        "less": r <= observed + 1e-12,
    }[alternative]
    count = int(extreme.sum())
    p = count / len(order) if exact else (count + 1) / (len(order) + 1)
    return Permutation(observed, p, len(order), exact, alternative, words)
