"""Correlation and slope: exact power, size, the smallest that can be seen, and how narrow the interval will be."""

from __future__ import annotations

import numpy as np

from ..basics import KitError, check_choice, check_number
from .design import check_level, check_size

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
