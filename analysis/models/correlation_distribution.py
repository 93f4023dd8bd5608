"""The exact distribution of a sample correlation of two normal variables, and intervals for it.

(1) the density f(r) of Hotelling (1953), written out at `correlation_log_likelihood`
(2) on Fisher's scale z = atanh r: f(tanh z) (1 - tanh^2 z), which has no end to run into
(3) tail = integral of (2) from z outwards, by Gauss-Legendre panels
"""

from __future__ import annotations

import math

import numpy as np

from ..basics import KitError, check_choice, check_number
from .effect_sizes import as_number, as_numbers, check_level

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)
_PANELS = 24
FARTHEST_Z = 18.0
"""Fisher's z of a correlation that a float cannot tell from 1."""


def correlation_log_likelihood(rho, r, n):
    """Give the logarithm of the density of a sample correlation, for example as a likelihood of rho.

    Parameters
    ----------
    rho : float or array
        True correlation, between -1 and 1.
    r : float or array
        Sample correlation.
    n : float
        Number of athletes, 3 or more.

    Returns
    -------
    float or ndarray

    Notes
    -----
    f(r) = (n - 2) G(n - 1) (1 - rho^2)^((n-1)/2) (1 - r^2)^((n-4)/2) / (sqrt(2 pi) G(n - 1/2) (1 - rho r)^(n-3/2))
    F(1/2, 1/2; n - 1/2; (1 + rho r) / 2), with G the gamma and F the hypergeometric function.

    References
    ----------
    Hotelling H (1953) New light on the correlation coefficient and its transforms. Journal of the Royal Statistical Society
    B 15:193-232.

    Examples
    --------
    >>> bool(correlation_log_likelihood(0.5, 0.5, 20) > correlation_log_likelihood(0.0, 0.5, 20))
    True
    """
    n = _need_three(n)
    rho, r = as_numbers(rho, "rho"), as_numbers(r, "r")
    with np.errstate(all="ignore"):
        out = _log_density(r, rho, n, np.log1p(-(r**2)), n - 4)
    return float(out) if out.ndim == 0 else out


def correlation_cdf(r: float, rho: float, n: float, *, upper: bool = False) -> float:
    """Give the probability that a sample correlation is at most r.

    Parameters
    ----------
    r : float
        Sample correlation.
    rho : float
        True correlation, between -1 and 1.
    n : float
        Number of athletes, 3 or more.
    upper : bool
        Give the probability above r instead, accurate also where it is small.

    Returns
    -------
    float

    Notes
    -----
    The density is integrated on Fisher's scale by Gauss-Legendre panels, over the tail that does not hold rho.

    References
    ----------
    Hotelling H (1953) Journal of the Royal Statistical Society B 15:193-232.

    Examples
    --------
    >>> round(correlation_cdf(0.3, 0.0, 20), 6)
    0.900621
    """
    from scipy.special import stdtr

    r, rho, n = as_number(r, "r"), _true_correlation(rho), _need_three(n)
    if math.isnan(r):
        return math.nan
    if abs(rho) == 1:
        below = float(r >= rho)
        return 1 - below if upper else below
    if abs(r) >= 1:
        return float((r >= 1) != upper)
    if rho == 0:
        t = r * math.sqrt((n - 2) / ((1 - r) * (1 + r)))
        return float(stdtr(n - 2, -t if upper else t))
    z, centre = math.atanh(r), math.atanh(rho)
    reach = 40 / (n - 2) + 9 / math.sqrt(n - 2)
    above = z > centre
    end = max(z, centre) + reach if above else min(z, centre) - reach
    edges = np.linspace(min(z, end), max(z, end), _PANELS + 1)
    middle, half = (edges[1:] + edges[:-1]) / 2, np.diff(edges) / 2
    points = (middle[:, None] + half[:, None] * _NODES).ravel()
    weights = (half[:, None] * _WEIGHTS).ravel()
    tail = float(weights @ _density_on_fisher_scale(points, rho, n))  # (3)
    return tail if above == upper else 1 - tail


def _density_on_fisher_scale(z, rho, n):
    # (2): 1 - tanh(z)^2 without cancellation; one more power of it, doubled, is dr / dz
    log_one_minus_r2 = -2 * (np.abs(z) + np.log1p(np.exp(-2 * np.abs(z))) - math.log(2))
    return np.exp(_log_density(np.tanh(z), rho, n, log_one_minus_r2, n - 2))


def _log_density(r, rho, n, log_one_minus_r2, power):
    from scipy.special import gammaln, hyp2f1

    return (  # (1)
        math.log(n - 2)
        + gammaln(n - 1)
        - gammaln(n - 0.5)
        - 0.5 * math.log(2 * math.pi)
        + 0.5 * (n - 1) * np.log1p(-(rho**2))
        + 0.5 * power * log_one_minus_r2
        - (n - 1.5) * np.log1p(-rho * r)
        + np.log(hyp2f1(0.5, 0.5, n - 0.5, 0.5 * (1 + rho * r)))
    )


def _need_three(n) -> float:
    number = as_number(n, "n")
    if not (number >= 3 and math.isfinite(number)):
        raise KitError(f"The distribution of a correlation needs three athletes or more, not {n}.")
    return number


def _true_correlation(rho) -> float:
    number = as_number(rho, "rho")
    if not -1 <= number <= 1:
        raise KitError(f"rho is {rho}, but must lie between -1 and 1.")
    return number


def correlation_quantile(probability: float, rho: float, n: float) -> float:
    """Give the sample correlation below which a share of samples lies.

    Parameters
    ----------
    probability : float
        Between 0 and 1.
    rho : float
        True correlation.
    n : float
        Number of athletes, 3 or more.

    Returns
    -------
    float

    References
    ----------
    Hotelling H (1953) Journal of the Royal Statistical Society B 15:193-232.

    Examples
    --------
    >>> round(correlation_quantile(0.975, 0.0, 14), 4)
    0.5324
    """
    from scipy.optimize import brentq

    probability = check_number(probability, name="probability", low=0, high=1)
    rho, n = _true_correlation(rho), _need_three(n)
    if abs(rho) == 1:
        return rho
    centre, width = math.atanh(rho), 10 / math.sqrt(n - 2) + 20 / (n - 2)

    def gap(z):
        return correlation_cdf(math.tanh(z), rho, n) - probability

    low, high = max(centre - width, -FARTHEST_Z), min(centre + width, FARTHEST_Z)
    while gap(low) > 0 and low > -FARTHEST_Z:
        low = max(low - width, -FARTHEST_Z)
    while gap(high) < 0 and high < FARTHEST_Z:
        high = min(high + width, FARTHEST_Z)
    if gap(low) >= 0 or gap(high) <= 0:  # nearer to -1 or 1 than a float can say
        return math.tanh(low if gap(low) >= 0 else high)
    return math.tanh(brentq(gap, low, high, xtol=1e-13))


def critical_correlation(n: float, *, alpha: float = 0.05, alternative: str = "two-sided") -> float:
    """Give the size of a sample correlation from which it is significant.

    Parameters
    ----------
    n : float
        Number of athletes, 3 or more.
    alpha : float
        Default 0.05.
    alternative : {"two-sided", "greater", "less"}
        For "less" the value is negative.

    Returns
    -------
    float

    Notes
    -----
    r = t / sqrt(n - 2 + t^2), with t the quantile of Student's distribution with n - 2 degrees of freedom.

    Examples
    --------
    >>> round(critical_correlation(14), 4)
    0.5324
    """
    from scipy.special import stdtrit

    check_choice(alternative, ("two-sided", "greater", "less"), name="alternative")
    n, alpha = _need_three(n), check_number(alpha, name="alpha", low=0, high=1)
    t = float(stdtrit(n - 2, 1 - (alpha / 2 if alternative == "two-sided" else alpha)))
    r = t / math.sqrt(n - 2 + t * t)
    return -r if alternative == "less" else r


def fisher_interval(r: float, n: float, *, level: float = 0.95, variance_factor: float = 1.0) -> tuple[float, float]:
    """Give the interval of a correlation on Fisher's scale.

    Parameters
    ----------
    r : float
        Sample correlation.
    n : float
        Number of athletes (or effective number).
    level : float
        Default 0.95.
    variance_factor : float
        Multiplies the variance 1 / (n - 3); 1 + r^2 / 2 gives the interval of Bonett and Wright for Spearman's.

    Returns
    -------
    low, high : float
        -1 and 1 where n is 3 or fewer; missing where r is -1 or 1.

    References
    ----------
    Fisher RA (1921) Metron 1:3-32. Bonett DG, Wright TA (2000) Psychometrika 65:23-28.

    Examples
    --------
    >>> [round(v, 3) for v in fisher_interval(-0.46, 14)]
    [-0.796, 0.093]
    """
    from scipy.special import ndtri

    check_level(level)
    r, n = as_number(r, "r"), as_number(n, "n")
    if not abs(r) < 1 or math.isnan(n):
        return math.nan, math.nan
    if n <= 3:
        return -1.0, 1.0
    half = float(ndtri(0.5 + level / 2)) * math.sqrt(variance_factor / (n - 3))
    return math.tanh(math.atanh(r) - half), math.tanh(math.atanh(r) + half)
