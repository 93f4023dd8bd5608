"""Two correlations, the earlier and ours, on Fisher's z: where would ours lie, and do they differ?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..basics import KitError, Result, check_number


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
