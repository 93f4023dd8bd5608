"""Fisher's z: the scale on which correlations are compared, with the checks of its input."""

from __future__ import annotations

import math

from ..basics import KitError, check_number


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
