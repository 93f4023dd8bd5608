"""Rounds: power to show that an outcome changes, that there is no change that matters, and where it stops."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, check_number
from ..models import legendre
from .correlation import ALTERNATIVES
from .design import Assumptions, Design, as_assumptions, as_design, check_level, check_size, round_profile

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
    *, n: int, rounds: int, bound: float, sd_within: float, from_round: int | None = None,
    profile: Sequence[float] | None = None, alpha: float = 0.05,
) -> float:  # fmt: skip
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


def rounds_power(
    *, n: int, rounds: int, effect_f: float, correlation: float, epsilon: float = 1.0, alpha: float = 0.05
) -> float:
    """Power of the repeated-measures F test over the rounds.

    Parameters
    ----------
    n : int
        Athletes, at least 2.
    rounds : int
        Rounds, at least 2.
    effect_f : float
        SD of the true round means (divided by the number of rounds) ÷ SD between athletes within a round.
    correlation : float
        Of two rounds of one athlete, below 1.
    epsilon : float
        Departure from sphericity, 1/(rounds − 1) to 1. Default 1.
    alpha : float
        Default 0.05.

    Returns
    -------
    float

    Notes
    -----
    Noncentral F with λ = ε n k f² / (1 − ρ) and ε(k − 1), ε(k − 1)(n − 1) degrees of freedom: exact for ε = 1
    (compound symmetry). For ε < 1 it is an approximation that **overstates** the power of the Greenhouse-Geisser test
    at club size (.559 where simulation gives .510): use `simulate_rounds_power` for the final answer.

    References
    ----------
    Muller & Barton (1989) J Am Stat Assoc 84:549-555.

    Examples
    --------
    >>> round(rounds_power(n=12, rounds=4, effect_f=0.3, correlation=0.7), 2)
    0.86
    """
    from scipy.stats import f as fisher
    from scipy.stats import ncf

    n = check_size(n, least=2)
    rounds = check_size(rounds, least=2, name="rounds")
    check_level(alpha)
    check_number(effect_f, name="effect_f", low=0, ends=True)
    check_number(correlation, name="correlation"), check_number(epsilon, name="epsilon")
    if not -1 / (rounds - 1) < correlation < 1:
        raise KitError(
            f"correlation is {correlation}, but {rounds} rounds of one athlete correlate between "
            f"{-1 / (rounds - 1):.2f} and 1."
        )
    if not 1 / (rounds - 1) - 1e-12 <= epsilon <= 1:
        raise KitError(f"epsilon is {epsilon}, but with {rounds} rounds it lies between 1/{rounds - 1} and 1.")
    df_num, df_den = epsilon * (rounds - 1), epsilon * (rounds - 1) * (n - 1)
    noncentrality = epsilon * n * rounds * effect_f**2 / (1 - correlation)
    if noncentrality == 0:
        return float(alpha)
    power = float(ncf.sf(fisher.isf(alpha, df_num, df_den), df_num, df_den, noncentrality))
    return 1.0 if np.isnan(power) else power


def effect_f_of(means: Sequence[float], sd_within_round: float) -> float:
    """Turn round means and a spread into the standardised size that `rounds_power` takes."""
    if not sd_within_round > 0:
        raise KitError(f"sd_within_round is {sd_within_round}, but must be above 0.")
    return float(np.std(np.asarray(means, dtype=float)) / sd_within_round)


COVARIANCES = ("compound", "autoregressive", "growing")
COVARIANCE_WORDS = {
    "compound": "all rounds alike",
    "autoregressive": "neighbouring rounds resemble each other",
    "growing": "the scatter grows from round to round",
}


@dataclass(frozen=True)
class CovariancePower(Result):
    """Simulated power over the rounds under several covariances of an athlete's rounds."""

    table: pd.DataFrame  # covariance, words, test, power, ci_low, ci_high (95 % Monte-Carlo), formula
    outcome: str
    effect: float  # Last minus first, in the unit of the outcome
    design: Design
    n_studies: int
    method: str = "complete simulated studies; noncentral F scaled by epsilon as the formula"


def compare_covariances(
    design: Design | dict, truth: Assumptions | dict | None = None, *, outcome: str = "heart_rate",
    effect: float | None = None, n_studies: int = 5000, seed: int = 0,
) -> CovariancePower:  # fmt: skip
    """Simulate the tests over rounds under three covariances, beside the formula.

    Parameters
    ----------
    design : Design or mapping of its fields
    truth : Assumptions or mapping of changes, optional
    outcome : {"heart_rate", "lactate", "exertion"}
        Default "heart_rate".
    effect : float, optional
        Last minus first. Default: the smallest effect that matters.
    n_studies : int
        Per covariance. Default 5,000.
    seed : int
        Default 0.

    Returns
    -------
    CovariancePower

    Examples
    --------
    >>> compare_covariances({"n": 12}, n_studies=200).table["covariance"].nunique()
    3
    """
    design, truth = as_design(design), as_assumptions(truth)
    size = truth.size(outcome)
    effect = design.smallest_of(outcome) if effect is None else effect
    means = round_profile(design.rounds, effect, "levels" if truth.shape == "steady" else truth.shape)
    parts = []
    for kind in COVARIANCES:
        covariance = round_covariance(design.rounds, sd_between=size.sd_between, sd_within=size.sd_within, kind=kind)
        part = simulate_rounds_power(
            n=design.n, means=means, covariance=covariance, alpha=design.alpha, n_studies=n_studies, seed=seed
        )
        part.insert(0, "covariance", kind)
        part.insert(1, "words", COVARIANCE_WORDS[kind])
        parts.append(part)
    return CovariancePower(pd.concat(parts, ignore_index=True), outcome, float(effect), design, n_studies)


def round_covariance(rounds: int, *, sd_between: float, sd_within: float, kind: str = "compound") -> np.ndarray:
    """Covariance of the rounds of one athlete."""
    check_choice(kind, COVARIANCES, name="kind")
    lag = np.abs(np.subtract.outer(np.arange(rounds), np.arange(rounds))).astype(float)
    within = np.eye(rounds) * sd_within**2
    if kind == "autoregressive":
        within = sd_within**2 * 0.5**lag
    elif kind == "growing":
        scale = np.linspace(2 / 3, 4 / 3, rounds)
        within = np.diag((sd_within * scale) ** 2)
    return within + sd_between**2


def simulate_rounds_power(
    *, n: int, means: Sequence[float], covariance: np.ndarray, alpha: float = 0.05, n_studies: int = 10_000,
    seed: int = 0,
) -> pd.DataFrame:  # fmt: skip
    """Simulated power of the tests over rounds, under any covariance of an athlete's rounds."""
    # Complete data. Then the mixed model's Kenward-Roger test is the repeated-measures F wherever the
    # athletes' variance is estimated above 0, and the cluster-robust CR2 test is Hotelling's T² on n − 1
    # degrees of freedom.
    from scipy.stats import f as fisher

    from .ask import with_intervals

    n = check_size(n, least=3)
    means = np.asarray(means, dtype=float)
    covariance = np.asarray(covariance, dtype=float)
    k = len(means)
    if k < 2 or covariance.shape != (k, k):
        raise KitError(f"means gives {k} rounds, but covariance has the shape {covariance.shape}.")
    contrast = np.linalg.qr(np.column_stack([np.ones(k), np.eye(k)[:, 1:]]))[0][:, 1:]
    q = k - 1
    reduced = contrast.T @ covariance @ contrast
    if not np.linalg.eigvalsh(reduced)[0] > 1e-12 * np.abs(covariance).max():
        raise KitError("covariance must be positive definite: rounds that never differ have nothing to test.")
    factor = np.linalg.cholesky(reduced)
    rng = np.random.default_rng(seed)
    y = rng.standard_normal((n_studies, n, q)) @ factor.T + means @ contrast
    centre = y.mean(axis=1)
    deviation = y - centre[:, None, :]
    spread = np.einsum("sni,snj->sij", deviation, deviation) / (n - 1)
    trace = np.trace(spread, axis1=1, axis2=2)
    f = n * np.sum(centre**2, axis=1) / trace
    epsilon = trace**2 / (q * np.sum(spread**2, axis=(1, 2)))
    pooled = fisher.sf(f, q, q * (n - 1))
    corrected = fisher.sf(f, q * epsilon, q * epsilon * (n - 1))
    rejected = {"mixed model": pooled < alpha, "Greenhouse-Geisser": corrected < alpha}
    if n > q:
        t2 = n * np.einsum("si,si->s", centre, np.linalg.solve(spread, centre[..., None])[..., 0])
        rejected["cluster-robust"] = fisher.sf(t2 * (n - q) / (q * (n - 1)), q, n - q) < alpha
    variance = float(np.mean(np.diag(covariance)))
    between = float(covariance[np.tril_indices(k, -1)].mean()) / variance
    table = pd.DataFrame({"test": list(rejected), "power": [float(np.mean(hits)) for hits in rejected.values()]})
    table = with_intervals(table, n_studies)
    table["formula"] = rounds_power(
        n=n, rounds=k, effect_f=effect_f_of(means, np.sqrt(variance)), correlation=between,
        epsilon=min(float(np.trace(reduced) ** 2 / (q * np.sum(reduced**2))), 1.0), alpha=alpha,
    )  # fmt: skip
    return table
