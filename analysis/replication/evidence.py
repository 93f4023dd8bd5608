"""What ours says about an earlier correlation: could the earlier study have seen it, and which does it speak for?

The exact parts use the density of r under the bivariate normal.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..basics import KitError, check_number
from ..models import legendre
from .correlations import to_z, variance_of_z


class Detectability(NamedTuple):
    """Is ours smaller than anything that the earlier study could have seen?"""

    smallest_detectable_r: float  # Without sign: what the earlier study had a chance of one third to show
    p: float  # Of a correlation as small as ours, in the direction of the earlier one, if that were the truth (exact)


def detectability(r: float, n: int, r_new: float, n_new: int) -> Detectability:
    """Ask whether ours is smaller than anything that the earlier study could have seen.

    About 2.5 times the earlier number of athletes are needed for 80 % power of this test.

    Simonsohn 2015, Psychological Science 26:559.
    """
    from ..models import correlation_cdf

    to_z(r), to_z(r_new), variance_of_z(n_new)
    if r == 0:
        raise KitError("r is 0, so that the earlier study has no direction to test in.")
    same = math.copysign(1.0, r) * r_new
    smallest = smallest_detectable(n)
    return Detectability(smallest, float(correlation_cdf(same, smallest, n_new)))


def smallest_detectable(n: int, *, power: float = 1 / 3) -> float:
    """Return the correlation for which a study of n athletes has the given power (two-sided .05, exact)."""
    from scipy.optimize import brentq

    from ..models import correlation_cdf, critical_correlation

    variance_of_z(n)
    check_number(power, name="power", low=0.05, high=1)  # no effect is found less often than none
    critical = critical_correlation(n, alpha=0.05)

    def missing(rho):
        return 1 - correlation_cdf(critical, rho, n) + correlation_cdf(-critical, rho, n) - power

    if missing(1e-6) >= 0:
        return 1e-6
    return float(brentq(missing, 1e-6, 1 - 1e-9, xtol=1e-13))


def bayes_factor(r: float, n: int, r_new: float, n_new: int) -> float:
    """Weigh the evidence in our data for the earlier effect against none.

    Prior of the earlier study: rho uniform on (−1, 1); its posterior is the prior for ours. Equals BF(both) / BF(earlier).

    Ly, Etz, Marsman & Wagenmakers 2019, Behavior Research Methods 51:2498.
    """
    earlier, both = (_log_evidence(studies) for studies in ([(r, n)], [(r, n), (r_new, n_new)]))
    with np.errstate(over="ignore", under="ignore"):
        return float(np.exp(both - earlier))


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
        correlation_log_likelihood(rho[inside], r, n) - correlation_log_likelihood(0.0, r, n)
        for r, n in studies
    )
    top = float(log.max())
    return top + math.log(half * float(parts[inside] @ np.exp(log - top)))
