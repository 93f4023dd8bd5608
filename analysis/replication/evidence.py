"""Two correlations, the earlier and ours: where would ours lie, do they differ, and for which does ours speak?

The exact parts use the density of r under the bivariate normal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result, check_number
from ..models import legendre


def to_z(r: float) -> float:
    """Return Fisher's z of a correlation."""
    try:
        return math.atanh(check_number(r, name="r", low=-1, high=1))
    except KitError:
        raise KitError(
            f"A correlation of {r} cannot be used here; it must lie between -1 and 1, both excluded."
        ) from None


def variance_of_z(n: int) -> float:
    """Return the variance of Fisher's z with n athletes."""
    try:
        return 1 / (check_number(n, name="n", low=4, ends=True) - 3)
    except KitError:
        raise KitError(f"n is {n}, but a correlation needs at least 4 athletes to have an interval.") from None


def normal_quantile(level: float) -> float:
    """Return how many standard errors an interval of this level reaches to each side."""
    from scipy.stats import norm

    check_number(level, name="level", low=0, high=1)
    return float(norm.ppf(0.5 + level / 2))


def fisher_limits(r: float, n: int, level: float) -> tuple[float, float]:
    """Return the limits of the Fisher interval of a correlation."""
    half = normal_quantile(level) * math.sqrt(variance_of_z(n))
    return math.tanh(to_z(r) - half), math.tanh(to_z(r) + half)


@dataclass(frozen=True)
class Interval(Result):
    """An interval with what it is."""

    low: float
    high: float
    level: float
    method: str

    def __iter__(self):
        return iter((self.low, self.high))


@dataclass(frozen=True)
class Consistency(Result):
    """Do two correlations differ?"""

    difference: float  # Ours minus the earlier one, as correlations
    q_cohen: float  # The same as a difference of Fisher z (Cohen's q)
    standard_error: float  # Of q_cohen
    statistic: float  # z and its two-sided p
    p: float
    # Cochran's Q of heterogeneity (the square of z for two studies), its degrees of freedom and p
    q_cochran: float
    df: int
    p_cochran: float
    i2: float  # Share of the variation beyond chance, max(0, (Q - df) / Q)
    ci_low: float  # 95 % interval of q_cohen
    ci_high: float
    n_athletes: int  # Of both studies
    method: str


def prediction_interval(r: float, n: int, n_new: int, *, level: float = 0.95) -> Interval:
    """Say where the correlation of a new study would lie, if both study the same truth.

    Parameters
    ----------
    r : float
        Published correlation.
    n, n_new : int
        Athletes of the earlier and of the new study; at least 4 each.
    level : float
        Default 0.95.

    Returns
    -------
    Interval
        low, high, level, method.

    Notes
    -----
    tanh(atanh r ± z √(1/(n − 3) + 1/(m − 3))). When to use: always at club size. The other published form combines the
    limits of two intervals and leaves [−1, 1] in small samples (`prediction_interval_from_limits`).

    References
    ----------
    Patil, Peng & Leek 2016, Perspectives on Psychological Science 11:539.

    Examples
    --------
    >>> interval = prediction_interval(-0.6, 12, 16)
    >>> round(interval.low, 2), round(interval.high, 2)
    (-0.91, 0.16)
    """
    z, se = to_z(r), math.sqrt(variance_of_z(n) + variance_of_z(n_new))
    half = normal_quantile(level) * se
    return Interval(math.tanh(z - half), math.tanh(z + half), level, "prediction interval on Fisher's z")


def prediction_interval_from_limits(r: float, n: int, n_new: int) -> Interval:
    """Combine the limits of two intervals; impossible at club size, where it leaves -1 to 1 (kept for a note)."""
    # Spence & Stanley 2016, PLoS ONE 11:e0162874.
    (low_a, high_a), (low_b, high_b) = (fisher_limits(r, m, 0.95) for m in (n, n_new))
    low = r - math.hypot(r - low_a, high_b - r)
    high = r + math.hypot(high_a - r, r - low_b)
    return Interval(low, high, 0.95, "limits of two intervals combined")


def consistency(r: float, n: int, r_new: float, n_new: int) -> Consistency:
    """Test whether our correlation differs from the earlier one.

    Parameters
    ----------
    r, r_new : float
        The earlier correlation and ours.
    n, n_new : int
        Athletes of each; at least 4.

    Returns
    -------
    Consistency
        difference, q_cohen, statistic, p, q_cochran, i2 and more.

    Notes
    -----
    z = (z₂ − z₁) / √(1/(n − 3) + 1/(m − 3)). A large p is not agreement: see the interval of the difference.

    References
    ----------
    Fisher 1921; Cohen 1988 (q); Cochran 1954 (Q).

    Examples
    --------
    >>> round(consistency(-0.69, 14, -0.42, 16).q_cohen, 3)
    0.4
    """
    from scipy.stats import chi2, norm

    q = to_z(r_new) - to_z(r)
    se = math.sqrt(variance_of_z(n) + variance_of_z(n_new))
    statistic = q / se
    cochran = statistic**2
    half = normal_quantile(0.95) * se
    return Consistency(
        difference=r_new - r,
        q_cohen=q,
        standard_error=se,
        statistic=statistic,
        p=float(2 * norm.sf(abs(statistic))),
        q_cochran=cochran,
        df=1,
        p_cochran=float(chi2.sf(cochran, 1)),
        i2=max(0.0, (cochran - 1) / cochran) if cochran > 0 else 0.0,
        ci_low=q - half,
        ci_high=q + half,
        n_athletes=int(n + n_new),
        method="difference of two independent correlations on Fisher's z",
    )


@dataclass(frozen=True)
class Detectability(Result):
    """Is ours smaller than anything that the earlier study could have seen?

    Parameters
    ----------
    smallest_detectable_r : float
        The correlation (without sign) for which the earlier study had the stated power.
    power : float
        That power, 1/3 by convention.
    p : float
        One-sided, exact: of a correlation as small as ours or smaller, if the truth were smallest_detectable_r,
        in the direction of the earlier finding. Small means "smaller than the earlier study could have seen".
    p_fisher : float
        The same by Fisher's z.
    undetectable : bool
        p below .05.
    ci90_high : float
        Upper limit of our 90 % interval in the direction of the earlier finding.
    r_same_direction : float
        Ours, positive where it points as the earlier one did.
    method : str
    """

    smallest_detectable_r: float
    power: float
    p: float
    p_fisher: float
    undetectable: bool
    ci90_high: float
    r_same_direction: float
    method: str


@dataclass(frozen=True)
class ReplicationBayes(Result):
    """Evidence in our data for the earlier effect against none.

    Parameters
    ----------
    replication : float
        Replication Bayes factor: the earlier study's posterior as the prior of ours, against rho = 0.
    earlier, ours, both : float
        Bayes factors with a uniform prior on rho, against rho = 0.
    method : str
    """

    replication: float
    earlier: float
    ours: float
    both: float
    method: str

    @property
    def estimate(self) -> float:
        """The replication Bayes factor."""
        return self.replication

    def __float__(self) -> float:
        return self.replication


def detectability(r: float, n: int, r_new: float, n_new: int, *, power: float = 1 / 3) -> Detectability:
    """Ask whether ours is smaller than anything that the earlier study could have seen.

    Parameters
    ----------
    r, r_new : float
        The earlier correlation and ours.
    n, n_new : int
        Athletes of each.
    power : float
        The power that counts as "could hardly have seen it". Default one third.

    Returns
    -------
    Detectability
        smallest_detectable_r and the p of "smaller than that", in the direction of r.

    Notes
    -----
    smallest_detectable_r solves exact two-sided power(rho, n) = `power` at alpha .05. About 2.5 times the earlier number
    of athletes are needed for 80 % power of this test.

    References
    ----------
    Simonsohn 2015, Psychological Science 26:559.

    Examples
    --------
    >>> round(detectability(-0.69, 14, 0.15, 20).smallest_detectable_r, 3)
    0.421
    """
    from scipy.stats import norm

    from ..models import correlation_cdf

    to_z(r), to_z(r_new), variance_of_z(n_new)
    if r == 0:
        raise KitError("r is 0, so that the earlier study has no direction to test in.")
    same = math.copysign(1.0, r) * r_new
    smallest = smallest_detectable(n, power=power)
    p = float(correlation_cdf(same, smallest, n_new))
    return Detectability(
        smallest_detectable_r=smallest,
        power=power,
        p=p,
        p_fisher=float(norm.cdf((to_z(same) - math.atanh(smallest)) / math.sqrt(variance_of_z(n_new)))),
        undetectable=p < 0.05,
        ci90_high=math.tanh(to_z(same) + normal_quantile(0.90) * math.sqrt(variance_of_z(n_new))),
        r_same_direction=same,
        method="smallest effect the earlier study had the stated power for, exact distribution of r",
    )


def smallest_detectable(n: int, *, power: float = 1 / 3) -> float:
    """Return the correlation for which a study of n athletes has the given power (two-sided at 0.05, exact)."""
    from scipy.optimize import brentq

    from ..models import correlation_cdf, critical_correlation

    variance_of_z(n)
    check_number(power, name="power", low=0.05, high=1)  # no effect is found less often than none
    critical = critical_correlation(n)

    def missing(rho):
        return 1 - correlation_cdf(critical, rho, n) + correlation_cdf(-critical, rho, n) - power

    if missing(1e-6) >= 0:
        return 1e-6
    return float(brentq(missing, 1e-6, 1 - 1e-9, xtol=1e-13))


def bayes_factor(r: float, n: int, r_new: float, n_new: int) -> ReplicationBayes:
    """Weigh the evidence in our data for the earlier effect against none.

    Parameters
    ----------
    r, r_new : float
        The earlier correlation and ours.
    n, n_new : int
        Athletes of each; at least 4.

    Returns
    -------
    ReplicationBayes
        Above 1 speaks for the earlier effect, below 1 for none.

    Notes
    -----
    Prior of the earlier study: rho uniform on (−1, 1); its posterior is the prior for ours. Equals BF(both) / BF(earlier).

    References
    ----------
    Ly, Etz, Marsman & Wagenmakers 2019, Behavior Research Methods 51:2498.

    Examples
    --------
    >>> round(bayes_factor(-0.69, 14, 0.15, 20).replication, 4)
    0.0458
    """
    earlier, ours, both = (_log_evidence(studies) for studies in ([(r, n)], [(r_new, n_new)], [(r, n), (r_new, n_new)]))
    with np.errstate(over="ignore", under="ignore"):
        return ReplicationBayes(
            *(float(np.exp(log)) for log in (both - earlier, earlier, ours, both)),
            "exact likelihood of r, uniform prior on rho",
        )


def _log_evidence(studies) -> float:
    """Return the logarithm of the Bayes factor of rho uniform on (-1, 1) against rho = 0, for the product of likelihoods."""
    from ..models import correlation_log_likelihood

    weights = np.array([1 / variance_of_z(n) for _, n in studies])
    centre = float(weights @ [to_z(r) for r, _ in studies] / weights.sum())
    half = 12 / math.sqrt(weights.sum())
    nodes, parts = legendre(400)
    z = centre + half * nodes
    rho = np.tanh(z)
    log_prior = -2 * (np.abs(z) + np.log1p(np.exp(-2 * np.abs(z))) - math.log(2)) - math.log(2)
    log = log_prior + sum(
        correlation_log_likelihood(rho, r, n) - correlation_log_likelihood(0.0, r, n) for r, n in studies
    )
    top = float(log.max())
    return top + math.log(half * float(parts @ np.exp(log - top)))
