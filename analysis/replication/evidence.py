"""What ours says about an earlier correlation: could the earlier study have seen it, and which does it speak for?

The exact parts use the density of r under the bivariate normal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result, check_number
from ..models import legendre
from .correlations import normal_quantile, to_z, variance_of_z


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
    return Detectability(
        smallest_detectable_r=smallest,
        power=power,
        p=float(correlation_cdf(same, smallest, n_new)),
        p_fisher=float(norm.cdf((to_z(same) - math.atanh(smallest)) / math.sqrt(variance_of_z(n_new)))),
        undetectable=bool(correlation_cdf(same, smallest, n_new) < 0.05),
        ci90_high=math.tanh(to_z(same) + normal_quantile(0.90) * math.sqrt(variance_of_z(n_new))),
        r_same_direction=same,
        method="smallest effect the earlier study had the stated power for, exact distribution of r",
    )


def smallest_detectable(n: int, *, power: float = 1 / 3, alpha: float = 0.05) -> float:
    """Return the correlation for which a study of n athletes has the given power (two-sided, exact)."""
    from scipy.optimize import brentq

    from ..models import correlation_cdf, critical_correlation

    variance_of_z(n)
    check_number(alpha, name="alpha", low=0, high=1)
    check_number(power, name="power", low=alpha, high=1)  # no effect is found less often than none
    critical = critical_correlation(n, alpha=alpha)

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
    inside = np.abs(rho) < 1
    log = log_prior[inside] + sum(
        correlation_log_likelihood(rho[inside], r, n) - correlation_log_likelihood(0.0, r, n) for r, n in studies
    )
    top = float(log.max())
    return top + math.log(half * float(parts[inside] @ np.exp(log - top)))
