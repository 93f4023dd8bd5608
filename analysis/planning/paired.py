"""Two rounds of the same athletes: power to show a change, to show that there is none that matters, and to find a plateau."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basics import KitError, check_choice, check_number
from ..models import legendre
from .correlation import ALTERNATIVES
from .design import check_level, check_size

NODES = 80
LARGEST_D = 100.0
"""Nothing measured on people differs by a hundred of its own SDs; scipy computes no power beyond some thousands."""


def paired_power(d_z: float, n: int, *, alpha: float = 0.05, alternative: str = "two-sided") -> float:
    """Exact power of the paired t test between two rounds.

    Parameters
    ----------
    d_z : float
        True mean difference (later minus earlier) divided by the SD *of the differences*.
    n : int
        Athletes, at least 2.
    alpha : float
        Level. Default 0.05.
    alternative : {"two-sided", "greater", "less"}
        Default "two-sided".

    Returns
    -------
    float

    Notes
    -----
    t is noncentral with n − 1 degrees of freedom and noncentrality d_z sqrt(n); both tails count.

    Examples
    --------
    >>> round(paired_power(0.8, 15), 3)
    0.821
    """
    from scipy.stats import nct
    from scipy.stats import t as student

    n = check_size(n, least=2)
    check_level(alpha)
    check_choice(alternative, ALTERNATIVES, name="alternative")
    check_number(d_z, name="d_z", low=-LARGEST_D, high=LARGEST_D, ends=True)
    if alternative != "two-sided":
        d_z = d_z if alternative == "greater" else -d_z
        return float(nct.sf(student.isf(alpha, n - 1), n - 1, d_z * np.sqrt(n)))
    return two_tailed_power(abs(d_z) * np.sqrt(n), n - 1, alpha)


def two_tailed_power(centre: float, df: float, alpha: float) -> float:
    """Power of a t test whose statistic is noncentral t around `centre`; both tails count."""
    from scipy.stats import nct
    from scipy.stats import t as student

    quantile = student.isf(alpha / 2, df)
    return float(min(1.0, nct.sf(quantile, df, centre) + nct.sf(quantile, df, -centre)))


def equivalence_power(
    *, low: float, high: float, difference: float, sd_difference: float, n: int, alpha: float = 0.05
) -> float:
    """Exact power of the two one-sided tests that a change lies between two limits.

    Parameters
    ----------
    low, high : float
        The limits, in the unit of the outcome: minus and plus the smallest change that matters.
    difference : float
        True mean difference, later minus earlier.
    sd_difference : float
        SD of the athletes' differences.
    n : int
        Athletes, at least 2.
    alpha : float
        Level of each one-sided test. Default 0.05 (a 90 % interval inside the limits).

    Returns
    -------
    float

    Notes
    -----
    Given the sample SD s, the chance that the mean lies far enough inside both limits is a difference of two normal
    probabilities; it is integrated over the distribution of s (one integral, no approximation).

    References
    ----------
    Schuirmann (1987) J Pharmacokinet Biopharm 15:657-680.

    Examples
    --------
    >>> round(equivalence_power(low=-4, high=4, difference=0, sd_difference=5, n=15), 2)
    0.81
    """
    check_number(sd_difference, name="sd_difference", low=0)
    for name, value in (("low", low), ("high", high), ("difference", difference)):
        check_number(value, name=name)
    if not high > low:
        raise KitError(f"The limits must be low < high, but are {low} and {high}.")
    n = check_size(n, least=2)
    check_number(alpha, name="alpha", low=0, high=0.5)
    from scipy.stats import norm
    from scipy.stats import t as student

    error = sd_difference / np.sqrt(n)
    quantile = student.isf(alpha, n - 1)
    largest = (high - low) / (2 * error * quantile)
    ratio, weight = _sd_nodes(n - 1, largest)
    inside = norm.cdf((high - difference) / error - quantile * ratio) - norm.cdf(
        (low - difference) / error + quantile * ratio
    )
    return float(np.clip(np.sum(np.maximum(inside, 0.0) * weight), 0.0, 1.0))


def plateau_power(
    *,
    n: int,
    rounds: int,
    bound: float,
    sd_within: float,
    from_round: int | None = None,
    profile: Sequence[float] | None = None,
    alpha: float = 0.05,
) -> float:
    """Power of the plateau rule: every pair of rounds from one round on is equivalent."""
    # Compound symmetry and complete data: all pairs are equivalent where the range of the round means, plus
    # the width of the 90 % interval, stays inside the bound. The range of normal means is integrated
    # exactly, then over the distribution of the pooled SD with (n − 1)(rounds − 1) degrees of freedom. The
    # kit claims a plateau only where the cluster-robust test agrees, so that its own power lies somewhat
    # below: `simulate_studies` gives it.
    from scipy.stats import norm
    from scipy.stats import t as student

    n = check_size(n, least=2)
    rounds = check_size(rounds, least=2, name="rounds")
    check_level(alpha)
    from_round = rounds - 1 if from_round is None else from_round
    if not 1 <= from_round < rounds:
        raise KitError(f"from_round is {from_round}, but a plateau starts at a round from 1 to {rounds - 1}.")
    if not (bound > 0 and sd_within > 0):
        raise KitError("bound and sd_within must be above 0.")
    means = np.zeros(rounds) if profile is None else np.asarray(profile, dtype=float)
    if means.shape != (rounds,) or not np.all(np.isfinite(means)):
        raise KitError(f"profile must give one true mean for each of the {rounds} rounds.")
    df = (n - 1) * (rounds - 1)
    error = sd_within / np.sqrt(n)
    centre = means[from_round - 1 :] / error
    quantile = student.isf(alpha, df) * np.sqrt(2)
    largest = bound / (error * quantile)
    ratio, weight = _sd_nodes(df, largest)
    widest = np.maximum(bound / error - quantile * ratio, 0.0)
    x, step = legendre(NODES)
    half = (np.ptp(centre) + 17.0) / 2
    x, step = x * half + (centre.max() + centre.min()) / 2, step * half
    inside = norm.cdf(x[:, None, None] + widest[None, :, None] - centre) - norm.cdf(x[:, None, None] - centre)
    inside = np.maximum(inside, 1e-300)
    product = np.prod(inside, axis=2, keepdims=True) / inside
    chance = np.einsum("x,xi,xsi->s", step, norm.pdf(x[:, None] - centre), product)
    return float(np.clip(np.sum(chance * weight), 0.0, 1.0))


def _sd_nodes(df: float, largest: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights for an integral over s/σ, the ratio of a sample SD to the true one, from 0 to `largest`."""
    from scipy.stats import chi

    scale = np.sqrt(df)
    low, high = chi.ppf(1e-15, df) / scale, min(chi.isf(1e-15, df) / scale, largest)
    if high <= low:
        return np.array([0.0]), np.array([0.0])
    x, step = legendre(NODES)
    ratio = (high - low) / 2 * x + (high + low) / 2
    return ratio, step * (high - low) / 2 * chi.pdf(ratio * scale, df) * scale
