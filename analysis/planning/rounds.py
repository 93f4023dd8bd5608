"""Power of the test that an outcome changes over the rounds: the formula, each step after Holm, and by simulation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..basics import KitError, check_number
from .correlation import smallest_size
from .design import check_level, check_size


def rounds_power(
    *,
    n: int,
    rounds: int,
    effect_f: float,
    correlation: float,
    epsilon: float = 1.0,
    alpha: float = 0.05,
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
        raise KitError(
            f"epsilon is {epsilon}, but with {rounds} rounds it lies between 1/{rounds - 1} and 1."
        )
    df_num, df_den = epsilon * (rounds - 1), epsilon * (rounds - 1) * (n - 1)
    noncentrality = epsilon * n * rounds * effect_f**2 / (1 - correlation)
    if noncentrality == 0:
        return float(alpha)
    power = float(ncf.sf(fisher.isf(alpha, df_num, df_den), df_num, df_den, noncentrality))
    return 1.0 if np.isnan(power) else power


def rounds_sample_size(
    *,
    rounds: int,
    effect_f: float,
    correlation: float,
    power: float = 0.8,
    epsilon: float = 1.0,
    alpha: float = 0.05,
) -> int:
    """Find the smallest number of athletes that reaches a power for the test over the rounds.

    Parameters
    ----------
    rounds, effect_f, correlation, epsilon, alpha
        As in `rounds_power`; effect_f above 0.
    power : float
        Default 0.8.

    Returns
    -------
    int

    Examples
    --------
    >>> rounds_sample_size(rounds=4, effect_f=0.338, correlation=0.6)
    11
    """
    check_level(power, name="power")
    if not effect_f > 0:
        raise KitError(f"effect_f is {effect_f}: no number of athletes shows an effect of 0.")
    return smallest_size(
        lambda n: rounds_power(
            n=n, rounds=rounds, effect_f=effect_f, correlation=correlation, epsilon=epsilon, alpha=alpha
        ),
        power,
        guess=10 * (1 - correlation) / (rounds * effect_f**2) + 2,
        least=2,
    )


def effect_f_of(means: Sequence[float], sd_within_round: float) -> float:
    """Turn round means and a spread into the standardised size that `rounds_power` takes.

    Parameters
    ----------
    means : sequence of float
        True mean of every round.
    sd_within_round : float
        SD between athletes within one round: sqrt(sd_between² + sd_within²).

    Returns
    -------
    float

    Examples
    --------
    >>> round(effect_f_of([164, 168, 169.5], 8.0), 4)
    0.2902
    """
    if not sd_within_round > 0:
        raise KitError(f"sd_within_round is {sd_within_round}, but must be above 0.")
    return float(np.std(np.asarray(means, dtype=float)) / sd_within_round)


def steps_power(
    *,
    n: int,
    profile: Sequence[float],
    sd_within: float,
    alpha: float = 0.05,
    n_studies: int = 20_000,
    seed: int = 0,
) -> pd.DataFrame:
    """Power of each step from one round to the next, after Holm's adjustment for the number of steps.

    Parameters
    ----------
    n : int
        Athletes, at least 2.
    profile : sequence of float
        True mean of every round.
    sd_within : float
        SD of an athlete's rounds around his or her own level.
    alpha : float
        Default 0.05.
    n_studies : int
        Draws of the round means and of the pooled SD. Default 20,000.
    seed : int
        Default 0.

    Returns
    -------
    DataFrame
        contrast ("2 - 1" ...), true_step, power, ci_low, ci_high (95 % Monte-Carlo interval).

    Notes
    -----
    Complete data and compound symmetry: round means and pooled SD, with (n − 1)(k − 1) degrees of freedom, are drawn
    from their exact distributions; only Holm's rule needs the drawing.

    Examples
    --------
    >>> steps_power(n=12, profile=[0, 6, 9, 9], sd_within=4.5)["power"].round(1).tolist()
    [0.8, 0.2, 0.0]
    """
    from scipy.stats import t as student

    from .montecarlo import with_intervals

    n = check_size(n, least=2)
    means = np.asarray(profile, dtype=float)
    k = check_size(len(means), least=2, name="the number of rounds in profile")
    if not sd_within > 0:
        raise KitError(f"sd_within is {sd_within}, but must be above 0.")
    rng = np.random.default_rng(seed)
    df = (n - 1) * (k - 1)
    drawn = means + rng.standard_normal((n_studies, k)) * sd_within / np.sqrt(n)
    spread = sd_within * np.sqrt(rng.chisquare(df, n_studies) / df)
    t = np.diff(drawn, axis=1) / (spread * np.sqrt(2 / n))[:, None]
    critical = student.isf(alpha / (2 * np.arange(k - 1, 0, -1)), df)
    table = pd.DataFrame(
        {
            "contrast": [f"{i + 2} - {i + 1}" for i in range(k - 1)],
            "true_step": np.diff(means),
            "power": holm_rejects(np.abs(t), critical).mean(axis=0),
        }
    )
    return with_intervals(table, n_studies)


def holm_rejects(size: np.ndarray, critical: np.ndarray) -> np.ndarray:
    """Tell which of several tests Holm's rule rejects, study by study."""
    order = np.argsort(-size, axis=1)
    passed = np.logical_and.accumulate(np.take_along_axis(size, order, axis=1) > critical, axis=1)
    rejects = np.empty_like(passed)
    np.put_along_axis(rejects, order, passed, axis=1)
    return rejects
