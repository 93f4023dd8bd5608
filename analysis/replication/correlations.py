"""Two correlations, the earlier and ours, on Fisher's z: where would ours lie, and do they differ?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

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
        raise KitError(
            f"n is {n}, but a correlation needs at least 4 athletes to have an interval."
        ) from None


def normal_quantile(level: float) -> float:
    """Return how many standard errors an interval of this level reaches to each side."""
    from scipy.stats import norm

    check_number(level, name="level", low=0, high=1)
    return float(norm.ppf(0.5 + level / 2))


def fisher_limits(r: float, n: int, level: float) -> tuple[float, float]:
    """Return the limits of the Fisher interval of a correlation."""
    half = normal_quantile(level) * math.sqrt(variance_of_z(n))
    return math.tanh(to_z(r) - half), math.tanh(to_z(r) + half)


class Interval(NamedTuple):
    """An interval."""

    low: float
    high: float


@dataclass(frozen=True)
class Consistency(Result):
    """Do two correlations differ?"""

    q_cohen: float  # Ours minus the earlier one, on Fisher's z (Cohen's q)
    ci_low: float  # Its 95 % interval
    ci_high: float
    p: float  # Two-sided
    q_cochran: float  # Heterogeneity; the square of z for two studies
    i2: float  # Share of the variation beyond chance, max(0, (Q - df) / Q)


def prediction_interval(r: float, n: int, n_new: int) -> Interval:
    """Say where the correlation of a new study would lie, if both study the same truth (95 %).

    tanh(atanh r ± z √(1/(n − 3) + 1/(m − 3))). A form that combines the limits of two intervals (Spence & Stanley 2016,
    PLoS ONE 11:e0162874) leaves [−1, 1] at club size.

    Patil, Peng & Leek 2016, Perspectives on Psychological Science 11:539.
    """
    z, se = to_z(r), math.sqrt(variance_of_z(n) + variance_of_z(n_new))
    half = normal_quantile(0.95) * se
    return Interval(math.tanh(z - half), math.tanh(z + half))


def consistency(r: float, n: int, r_new: float, n_new: int) -> Consistency:
    """Test whether our correlation differs from the earlier one.

    z = (z₂ − z₁) / √(1/(n − 3) + 1/(m − 3)). A large p is not agreement: see the interval of the difference.

    Fisher 1921; Cohen 1988 (q); Cochran 1954 (Q).
    """
    from scipy.stats import norm

    q = to_z(r_new) - to_z(r)
    se = math.sqrt(variance_of_z(n) + variance_of_z(n_new))
    cochran = (q / se) ** 2
    half = normal_quantile(0.95) * se
    return Consistency(
        q_cohen=q,
        ci_low=q - half,
        ci_high=q + half,
        p=float(2 * norm.sf(abs(q / se))),
        q_cochran=cochran,
        i2=max(0.0, (cochran - 1) / cochran) if cochran > 0 else 0.0,
    )
