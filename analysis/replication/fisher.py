"""Fisher's z: the scale on which correlations are compared, with the checks of its input."""

from __future__ import annotations

import math

from ..basics import KitError


def to_z(r: float) -> float:
    """Return Fisher's z of a correlation."""
    if not -1 < r < 1:
        raise KitError(
            f"A correlation of {r} cannot be used here; it must lie between -1 and 1, both excluded."
        )
    return math.atanh(r)


def variance_of_z(n: int) -> float:
    """Return the variance of Fisher's z with n athletes."""
    if not n >= 4:
        raise KitError(f"n is {n}, but a correlation needs at least 4 athletes to have an interval.")
    return 1 / (n - 3)


def normal_quantile(level: float) -> float:
    """Return how many standard errors an interval of this level reaches to each side."""
    from scipy.stats import norm

    if not 0 < level < 1:
        raise KitError(f"level is {level}, but must lie between 0 and 1.")
    return float(norm.ppf(0.5 + level / 2))


def fisher_limits(r: float, n: int, level: float) -> tuple[float, float]:
    """Return the limits of the Fisher interval of a correlation."""
    half = normal_quantile(level) * math.sqrt(variance_of_z(n))
    return math.tanh(to_z(r) - half), math.tanh(to_z(r) + half)
