"""How many athletes a repeat of a published correlation needs, and what it could then say."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .correlation import correlation_power, correlation_sample_size, smallest_detectable_r, smallest_size
from .design import check_level, check_size

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
    from scipy.stats import norm

    if not -1 < r < 1:
        raise KitError(f"r is {r}, but a correlation to plan for lies between −1 and 1, both excluded.")
    n = check_size(n, least=4)
    limit = np.tanh(np.arctanh(abs(r)) - norm.isf((1 - SHRINK_LEVEL) / 2) / np.sqrt(n - 3))
    return float(np.sign(r) * max(limit, 0.0))


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
    r: float,
    n: int,
    *,
    n_new: int | None = None,
    power: float = 0.8,
    fraction: float = 0.5,
    alpha: float = 0.05,
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
        (
            "shrunk",
            shrunk,
            f"limit nearer to zero of the {SHRINK_LEVEL:.0%} interval of the published estimate",
        ),
        ("fraction", r * fraction, f"{fraction:.0%} of the published estimate"),
    ):
        rows.append(
            {
                "target": target,
                "r": size,
                "power": np.nan if n_new is None else correlation_power(size, n_new, alpha=alpha),
                "n_needed": _needed(size, power, alpha),
                "method": method,
            }
        )
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
        r=float(r),
        n=n,
        n_new=n_new,
        power=power,
        targets=pd.DataFrame(rows).astype({"n_needed": "Int64"}),
        smallest_detectable_r=limit,
        n_detectability=n_detect,
        power_detectability=float(chance),
        prediction_low=float(low),
        prediction_high=float(high),
        warnings=tuple(warnings),
    )


def _needed(r: float, power: float, alpha: float) -> int | None:
    try:
        return correlation_sample_size(r, power=power, alpha=alpha)
    except KitError:
        return None
