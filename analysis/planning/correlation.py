"""Correlation and slope: exact power and size, what the test's error does to them, and a repeat of a published correlation."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, check_number
from .design import Assumptions, check_level, check_size, implied_covariance


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
        r=_correlation(raw), r_adjusted=_correlation(left), r_true=_correlation((true * sources) @ true.T),
        slope=float(raw[0, 1] / raw[0, 0]), slope_adjusted=float(left[0, 1] / left[0, 0]),
        capacity_sd_adjusted=float(np.sqrt(left[0, 0])), outcome_sd_adjusted=float(np.sqrt(left[1, 1])),
        outcome_sd=float(np.sqrt(raw[1, 1])), covariates=len(adjust),
    )  # fmt: skip


def mean_noise_factor(rounds: int, autocorrelation: float = 0.0) -> float:
    """Variance of a mean over rounds, in units of the variance of one round."""
    lag = np.abs(np.subtract.outer(np.arange(rounds), np.arange(rounds)))
    return float(np.mean(np.where(lag == 0, 1.0, float(autocorrelation) ** np.maximum(lag, 1))))


def _correlation(cov: np.ndarray) -> float:
    spread = float(np.sqrt(cov[0, 0] * cov[1, 1]))
    return float(cov[0, 1] / spread) if spread > 0 else 0.0


ALTERNATIVES = ("two-sided", "greater", "less")
LARGEST_CLUB = 100_000


def correlation_power(r: float, n: int, *, alpha: float = 0.05, alternative: str = "two-sided") -> float:
    """Exact power of the test of a correlation.

    Parameters
    ----------
    r : float
        The true correlation, above −1 and below 1.
    n : int
        Athletes, at least 3.
    alpha : float
        Level, 0 to 1. Default 0.05.
    alternative : {"two-sided", "greater", "less"}
        Default "two-sided". With "greater" a negative r has next to no power: the sign counts.

    Returns
    -------
    float
        Chance that p falls below alpha.

    Notes
    -----
    r is significant where |r| > t / sqrt(n − 2 + t²); the chance of that is taken from the exact distribution of r
    under the bivariate normal, not from Fisher's approximation. For n = 8 and r = .8 it is .755, where the usual
    approximation gives .731.

    References
    ----------
    Hotelling (1953) J R Stat Soc B 15:193-232.

    Examples
    --------
    >>> round(correlation_power(0.5, 29), 3)
    0.814
    """
    from scipy.stats import t as student

    from ..models import correlation_cdf

    _check_r(r)
    n = check_size(n, least=3)
    check_level(alpha)
    check_choice(alternative, ALTERNATIVES, name="alternative")
    quantile = student.isf(alpha / 2 if alternative == "two-sided" else alpha, n - 2)
    critical = quantile / np.sqrt(n - 2 + quantile**2)
    power = 0.0
    if alternative != "less":
        power += float(correlation_cdf(-critical, -r, n))
    if alternative != "greater":
        power += float(correlation_cdf(-critical, r, n))
    return min(max(power, 0.0), 1.0)


def correlation_sample_size(
    r: float, *, power: float = 0.8, alpha: float = 0.05, alternative: str = "two-sided"
) -> int:
    """Find the smallest number of athletes that reaches a power for a correlation.

    Parameters
    ----------
    r : float
        The true correlation, not 0; with a one-sided alternative, of its sign.
    power : float
        Wished chance of a significant result. Default 0.8.
    alpha, alternative
        As in `correlation_power`.

    Returns
    -------
    int
        Athletes, at least 4.

    Notes
    -----
    The exact power is increased athlete by athlete from where the Fisher formula starts.

    Examples
    --------
    >>> correlation_sample_size(-0.6, power=0.8)
    19
    """
    from scipy.stats import norm

    _check_r(r)
    check_level(power, name="power")
    check_level(alpha)
    check_choice(alternative, ALTERNATIVES, name="alternative")
    if r == 0 or (alternative == "greater" and r < 0) or (alternative == "less" and r > 0):
        raise KitError(
            f"No number of athletes gives power for r = {r} with the alternative {alternative!r}: "
            "give a correlation that is not 0 and lies on the side that is tested."
        )
    tail = alpha / 2 if alternative == "two-sided" else alpha
    guess = ((norm.isf(tail) + norm.isf(1 - power)) / np.arctanh(abs(r))) ** 2 + 3
    return smallest_size(
        lambda n: correlation_power(r, n, alpha=alpha, alternative=alternative), power, guess=guess, least=4
    )


def smallest_detectable_r(n: int, *, power: float = 0.8, alpha: float = 0.05, alternative: str = "two-sided") -> float:
    """Find the smallest true correlation that the athletes one has would show."""
    from scipy.optimize import brentq

    check_choice(alternative, ALTERNATIVES, name="alternative")
    check_level(power, name="power")
    n = check_size(n, least=4)
    side = "two-sided" if alternative == "two-sided" else "greater"
    if power <= alpha:
        return 0.0
    return float(brentq(lambda r: correlation_power(r, n, alpha=alpha, alternative=side) - power, 0.0, 1 - 1e-9))


def correlation_precision(r: float, n: int, *, level: float = 0.95) -> float:
    """Half the width of the interval to expect around a correlation.

    Parameters
    ----------
    r : float
        The correlation that one expects to find.
    n : int
        Athletes, at least 4.
    level : float
        Confidence level. Default 0.95.

    Returns
    -------
    float
        (upper − lower) / 2 of the Fisher interval around r. The limits: `correlation_interval`.

    Examples
    --------
    >>> round(correlation_precision(0.5, 12), 2)
    0.47
    """
    low, high = correlation_interval(r, n, level=level)
    return (high - low) / 2


def correlation_interval(r: float, n: int, *, level: float = 0.95) -> tuple[float, float]:
    """Limits of the Fisher interval that a correlation of r would have with n athletes."""
    # tanh(artanh r ± z / sqrt(n − 3)).
    from scipy.stats import norm

    _check_r(r)
    n = check_size(n, least=4)
    check_level(level, name="level")
    reach = norm.isf((1 - level) / 2) / np.sqrt(n - 3)
    return float(np.tanh(np.arctanh(r) - reach)), float(np.tanh(np.arctanh(r) + reach))


def smallest_size(power_of, wished: float, *, guess: float, least: int) -> int:
    """Find the smallest n with power_of(n) ≥ wished, where power_of rises with n."""
    high = max(int(min(guess, LARGEST_CLUB)), least)
    while power_of(high) < wished:
        if high >= LARGEST_CLUB:
            raise KitError(
                f"More than {LARGEST_CLUB} athletes would be needed: the effect is too small, or the wish too strict."
            )
        high = min(2 * high, LARGEST_CLUB)
    low = least - 1
    step = max(2, high // 20)
    while high - step > low and power_of(high - step) >= wished:
        high -= step
        step *= 2
    low = max(low, high - step)
    while high - low > 1:
        middle = (low + high) // 2
        if power_of(middle) >= wished:
            high = middle
        else:
            low = middle
    return high


def _check_r(r) -> None:
    try:
        check_number(r, name="r", low=-1, high=1)
    except KitError:
        raise KitError(f"r is {r}, but a correlation to plan for lies between −1 and 1, both excluded.") from None


SHRINK_LEVEL = 0.60
"""Level of the interval whose limit nearer to zero stands for the published effect shrunk for the winner's curse."""


@dataclass(frozen=True)
class ReplicationSizes(Result):
    """What a repeat of a published correlation needs."""

    r: float  # The published correlation and its athletes
    n: int
    n_new: int | None  # The athletes one has
    power: float  # Wished chance
    # target ("as published", "shrunk", "fraction"), r, power (with n_new), n_needed (missing where the shrunk effect reaches
    # zero), method
    targets: pd.DataFrame
    # What the published study could have detected with a chance of one third, without sign
    smallest_detectable_r: float
    # Athletes for `power` to show, if the truth is none, that the effect is smaller than that
    n_detectability: int
    power_detectability: float = float("nan")  # The same chance with n_new
    # 95 % interval for the correlation that n_new athletes would find, if both studies share one truth
    prediction_low: float = float("nan")
    prediction_high: float = float("nan")
    warnings: tuple[str, ...] = field(default=())


def shrunk_correlation(r: float, n: int) -> float:
    """Shrink a published correlation for the winner's curse: the limit of its interval that lies nearer to zero."""
    # Perugini, Gallucci & Costantini (2014) Perspect Psychol Sci 9:319-332 (from memory).
    _check_r(r)
    return float(np.sign(r) * max(correlation_interval(abs(r), n, level=SHRINK_LEVEL)[0], 0.0))


def detectability_power(r_limit: float, n: int, *, alpha: float = 0.05) -> float:
    """Chance to show, one-sided, that a correlation is smaller than what an earlier study could have detected."""
    # Exact distribution of r: the new r must fall below the alpha quantile that it has where the truth is
    # r_limit.
    # Simonsohn (2015) Psychol Sci 26:559-569.
    from ..models import correlation_cdf, correlation_quantile

    n = check_size(n, least=4)
    check_level(alpha)
    if not 0 < r_limit < 1:
        raise KitError(f"r_limit is {r_limit}, but must lie between 0 and 1.")
    return float(correlation_cdf(correlation_quantile(alpha, r_limit, n), 0.0, n))


def replication_sizes(
    r: float, n: int, *, n_new: int | None = None, power: float = 0.8, fraction: float = 0.5, alpha: float = 0.05
) -> ReplicationSizes:
    """Work out how many athletes a repeat of a published correlation needs.

    Parameters
    ----------
    r : float
        Published correlation, not 0.
    n : int
        Its athletes, at least 4.
    n_new : int, optional
        The athletes one has.
    power : float
        Wished chance. Default 0.8.
    fraction : float
        A share of the published effect that would still matter, above 0 up to 1. Default 0.5.
    alpha : float
        Two-sided. Default 0.05.

    Returns
    -------
    ReplicationSizes

    Notes
    -----
    Published effects of small studies are too large on average, since only large estimates become significant: the
    effect as published is the least careful target.

    Examples
    --------
    >>> answer = replication_sizes(-0.6, 12, n_new=16)
    >>> answer.n_detectability
    28
    """
    from scipy.stats import norm

    n = check_size(n, least=4)
    check_level(power, name="power")
    if not 0 < fraction <= 1:
        raise KitError(f"fraction is {fraction}, but must lie above 0 and up to 1.")
    if r == 0:
        raise KitError("A published correlation of 0 gives no size to plan for.")
    n_new = None if n_new is None else check_size(n_new, least=4, name="n_new")
    shrunk = shrunk_correlation(r, n)
    rows, warnings = [], []
    for target, size, method in (
        ("as published", r, "the published estimate taken for the truth"),
        ("shrunk", shrunk, f"limit nearer to zero of the {SHRINK_LEVEL:.0%} interval of the published estimate"),
        ("fraction", r * fraction, f"{fraction:.0%} of the published estimate"),
    ):
        shown = np.nan if n_new is None else correlation_power(size, n_new, alpha=alpha)
        rows.append((target, size, shown, _needed(size, power, alpha), method))
    targets = pd.DataFrame(rows, columns=["target", "r", "power", "n_needed", "method"]).astype({"n_needed": "Int64"})
    if shrunk == 0:
        warnings.append(
            "The published study is so small that its effect, shrunk for the winner's curse, reaches zero: "
            "no size can be justified from it."
        )
    limit = smallest_detectable_r(n, power=1 / 3, alpha=alpha)
    n_detect = smallest_size(lambda size: detectability_power(limit, size, alpha=alpha), power, guess=2.5 * n, least=4)
    low = high = chance = float("nan")
    if n_new is not None:
        chance = detectability_power(limit, n_new, alpha=alpha)
        reach = norm.isf(0.025) * np.sqrt(1 / (n - 3) + 1 / (n_new - 3))
        low, high = np.tanh(np.arctanh(r) - reach), np.tanh(np.arctanh(r) + reach)
    return ReplicationSizes(
        r=float(r), n=n, n_new=n_new, power=power, targets=targets,
        smallest_detectable_r=limit, n_detectability=n_detect, power_detectability=float(chance),
        prediction_low=float(low), prediction_high=float(high), warnings=tuple(warnings),
    )  # fmt: skip


def _needed(r: float, power: float, alpha: float) -> int | None:
    try:
        return correlation_sample_size(r, power=power, alpha=alpha)
    except KitError:
        return None
