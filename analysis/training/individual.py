"""Do athletes respond differently to training, and what can be told about one athlete?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..basics import Result, check_number

ENOUGH = 20
"""Athletes a group below which nothing is said about individual response (our proposal, from the width of the intervals)."""


@dataclass(frozen=True)
class IndividualResponse(Result):
    """How much of the spread of the changes training itself could have made; negative values keep their sign."""

    sd_ir: float  # sqrt(SD²trained - SD²control), with the sign of the difference
    mover_low: float  # from the chi-square limits of each variance
    mover_high: float
    normal_low: float  # from normal theory
    normal_high: float
    sd_trained: float  # of the changes
    sd_control: float
    n_trained: int
    n_control: int
    can_be_told: bool  # whether both groups are large enough for a sentence about it
    level: float = 0.95


def individual_response(*, sd_trained, n_trained, sd_control, n_control, level=0.95) -> IndividualResponse:
    """Estimate the standard deviation of individual responses with two intervals.

    Parameters
    ----------
    sd_trained, sd_control : float
        SDs of the changes in the two groups, in the unit of the outcome.
    n_trained, n_control : int
        Athletes in the groups.
    level : float
        Of the intervals. Default 0.95.

    Returns
    -------
    IndividualResponse
        sd_ir, mover_low, mover_high, normal_low, normal_high, can_be_told.

    When to use
    -----------
    In a randomised study with a group that did not add the training. Below twenty athletes a group the interval is wider than any
    answer. It never says who responds.

    Notes
    -----
    The variance of the control group's changes is error and daily life; what the trained group has beyond it may be response.
    MOVER: with l and u the chi-square limits of a variance, low = d - sqrt((v1 - l1)² + (u2 - v2)²), high alike.

    References
    ----------
    Hopkins (2015) J Appl Physiol 118:1444; Zou & Donner (2008) Stat Med 27:1693 (MOVER); Williamson, Atkinson & Batterham (2017)
    Sports Medicine 47:1501.

    Examples
    --------
    >>> result = individual_response(sd_trained=3, n_trained=20, sd_control=2, n_control=20)
    >>> round(result.sd_ir, 2), round(result.mover_low, 2), round(result.mover_high, 2)
    (2.24, -0.95, 3.92)
    """
    from scipy import stats

    check_number(sd_trained, name="sd_trained", low=0, ends=True)
    check_number(sd_control, name="sd_control", low=0, ends=True)
    n1 = check_number(n_trained, name="n_trained", low=2, ends=True, whole=True)
    n0 = check_number(n_control, name="n_control", low=2, ends=True, whole=True)
    level = check_number(level, name="level", low=0, high=1)
    v1, v0 = sd_trained**2, sd_control**2
    tails = [0.5 + level / 2, 0.5 - level / 2]
    l1, u1 = v1 * (n1 - 1) / stats.chi2.ppf(tails, n1 - 1)
    l0, u0 = v0 * (n0 - 1) / stats.chi2.ppf(tails, n0 - 1)
    gap = v1 - v0
    error = math.sqrt(2 * (v1**2 / (n1 - 1) + v0**2 / (n0 - 1)))
    z = float(stats.norm.ppf(0.5 + level / 2))
    return IndividualResponse(
        sd_ir=_signed_root(gap),
        mover_low=_signed_root(gap - math.hypot(v1 - l1, u0 - v0)),
        mover_high=_signed_root(gap + math.hypot(u1 - v1, v0 - l0)),
        normal_low=_signed_root(gap - z * error),
        normal_high=_signed_root(gap + z * error),
        sd_trained=float(sd_trained),
        sd_control=float(sd_control),
        n_trained=n1,
        n_control=n0,
        can_be_told=min(n1, n0) >= ENOUGH,
        level=level,
    )


def unknown_response(known: IndividualResponse) -> IndividualResponse:
    """The same without numbers, for groups so small that their spread would describe single people."""
    names = ("sd_ir", "mover_low", "mover_high", "normal_low", "normal_high", "sd_trained", "sd_control")
    return replace(known, can_be_told=False, **dict.fromkeys(names, float("nan")))


def _signed_root(variance: float) -> float:
    return math.copysign(math.sqrt(abs(variance)), variance)


def detectable_change(typical_error: float) -> float:
    """Compute the smallest change of one athlete that the error of the test alone seldom makes."""
    from scipy import stats

    check_number(typical_error, name="typical_error", low=0, ends=True)
    return float(stats.norm.ppf(0.5 + 0.95 / 2)) * math.sqrt(2) * typical_error
