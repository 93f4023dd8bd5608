"""What the fitness test's error and a narrow club do to the correlation and the slope that a study can find."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result
from .design import Assumptions, implied_covariance


def slope_factor(*, capacity_sd: float, retest_sd: float | None = None) -> float:
    """Share of the true slope that is left when capacity is measured with retest error."""
    if not capacity_sd > 0:
        raise KitError(f"capacity_sd is {capacity_sd}, but must be above 0.")
    if retest_sd is None:
        return 1.0
    if not 0 <= retest_sd < capacity_sd:
        raise KitError(
            f"retest_sd is {retest_sd}, but must be 0 or more and below the spread of the values ({capacity_sd}): "
            "a test whose error is as large as that spread cannot tell athletes apart."
        )
    return float(1 - (retest_sd / capacity_sd) ** 2)


@dataclass(frozen=True)
class FitnessSignal(Result):
    """What the assumptions imply for "do fitter athletes respond less?"."""

    r: float  # correlation of the test's capacity with the athletes' mean outcome over the rounds
    r_adjusted: float  # the same after the covariates of the design
    r_true: float  # correlation of *true* capacity with an athlete's own level, without covariates
    slope: float
    slope_adjusted: float
    capacity_sd_adjusted: float
    outcome_sd_adjusted: float
    outcome_sd: float  # SD between athletes of their mean over the rounds
    covariates: int  # how many covariates count (those that vary in this club)


def fitness_signal(
    truth: Assumptions, *, rounds: int, outcome: str = "heart_rate", adjust: tuple[str, ...] = ("hr_max",)
) -> FitnessSignal:
    """Work out the correlation and the slope that the assumptions imply, before and after adjustment."""
    # Covariance algebra: the mean over k rounds adds sd_within²/k (more under autocorrelation) to the
    # variance between athletes.
    from .design import athlete_loadings

    names, cov = implied_covariance(truth, outcome)
    size = truth.size(outcome)
    at = {name: i for i, name in enumerate(names)}
    cov[at["outcome"], at["outcome"]] += size.sd_within**2 * mean_noise_factor(rounds, truth.autocorrelation)
    adjust = tuple(name for name in adjust if cov[at[name], at[name]] > 0)
    keep = [at["capacity"], at["outcome"]]
    left = cov[np.ix_(keep, keep)]
    if adjust:
        given = [at[name] for name in adjust]
        cross = cov[np.ix_(keep, given)]
        left = left - cross @ np.linalg.pinv(cov[np.ix_(given, given)]) @ cross.T
    raw = cov[np.ix_(keep, keep)]
    loadings, noise = athlete_loadings(truth, outcome)
    true = np.array([loadings["true_capacity"], loadings["outcome"]])
    sources = np.concatenate([[cov[at["age"], at["age"]], cov[at["sex"], at["sex"]]], noise**2])
    return FitnessSignal(
        r=_correlation(raw),
        r_adjusted=_correlation(left),
        r_true=_correlation((true * sources) @ true.T),
        slope=float(raw[0, 1] / raw[0, 0]),
        slope_adjusted=float(left[0, 1] / left[0, 0]),
        capacity_sd_adjusted=float(np.sqrt(left[0, 0])),
        outcome_sd_adjusted=float(np.sqrt(left[1, 1])),
        outcome_sd=float(np.sqrt(raw[1, 1])),
        covariates=len(adjust),
    )


def mean_noise_factor(rounds: int, autocorrelation: float = 0.0) -> float:
    """Variance of a mean over rounds, in units of the variance of one round."""
    lag = np.abs(np.subtract.outer(np.arange(rounds), np.arange(rounds)))
    return float(np.mean(np.where(lag == 0, 1.0, float(autocorrelation) ** np.maximum(lag, 1))))


def _correlation(cov: np.ndarray) -> float:
    spread = float(np.sqrt(cov[0, 0] * cov[1, 1]))
    return float(cov[0, 1] / spread) if spread > 0 else 0.0
