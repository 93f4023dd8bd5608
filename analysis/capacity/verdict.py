"""The verdict: one rule, its questions asked in one order."""

from __future__ import annotations

import math

from ..basics import KitError, check_choice
from .results import IMPRECISE, NEGLIGIBLE, OPPOSITE, SUPPORTED

DIRECTIONS = ("lower", "higher", "differs")


def judge(
    ci_low: float,
    ci_high: float,
    ci90_low: float,
    ci90_high: float,
    *,
    smallest_effect: float,
    direction: str = "lower",
) -> str:
    """Judge an effect by its two intervals.

    Parameters
    ----------
    ci_low, ci_high : float
        The 95 % interval (1 − alpha) of the effect, in the unit of the outcome.
    ci90_low, ci90_high : float
        The 90 % interval (1 − 2 alpha).
    smallest_effect : float
        The smallest effect that matters, above 0, in the same unit.
    direction : {"lower", "higher", "differs"}
        What was expected of fitter athletes. With "differs" either side supports.

    Returns
    -------
    str
        "negligible" where the 90 % interval lies inside ± the smallest effect; else "supported" where the 95 %
        interval excludes 0 in the expected direction; else "opposite" where it excludes 0 the other way; else
        "too imprecise".

    Notes
    -----
    The first question is an equivalence test (two one-sided tests at alpha); it comes first, so that an effect too
    small to matter is called negligible even where it differs from 0.

    References
    ----------
    Schuirmann DJ (1987) J Pharmacokinet Biopharm 15:657-680. Lakens D (2017) Soc Psychol Personal Sci 8:355-362.

    Examples
    --------
    >>> judge(-6.0, -1.0, -5.5, -1.5, smallest_effect=5.0)
    'supported'
    >>> judge(-3.0, -1.0, -2.8, -1.2, smallest_effect=5.0)
    'negligible'
    """
    check_choice(direction, DIRECTIONS, name="direction")
    if not smallest_effect > 0 or math.isinf(smallest_effect):
        raise KitError(
            f"smallest_effect is {smallest_effect!r}, but must be a number above 0 in the unit of the outcome."
        )
    if any(math.isnan(v) for v in (ci_low, ci_high, ci90_low, ci90_high)):
        return IMPRECISE
    if -smallest_effect < ci90_low and ci90_high < smallest_effect:
        return NEGLIGIBLE
    below, above = ci_high < 0, ci_low > 0
    if not (below or above):
        return IMPRECISE
    if direction == "differs" or below == (direction == "lower"):
        return SUPPORTED
    return OPPOSITE
