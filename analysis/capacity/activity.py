"""Fitness beside what athletes did: activity as an outcome of its own, and as a way from fitness to heart rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .correlation import Correlation, correlate
from .fit import CapacityFit, fit_capacity

SMALLEST_SHARE = 0.10
"""The smallest difference in the share of a round that matters: 10 percentage points (our proposal)."""
READINGS = ("higher", "lower", "the same", "cannot tell")


@dataclass(frozen=True)
class ActivityAnswer(Result):
    """Do fitter athletes do more, and does their heart rate differ at what they do?"""

    outcome: str  # The outcome beside activity, for example "hr_mean_bpm"
    activity: CapacityFit  # Slope of the active share of a round on capacity
    correlation: Correlation  # Capacity and active share, means of the athletes
    total: CapacityFit  # Slope of the outcome on capacity: the planned question, on the rated rounds
    # The same with activity held equal; None where too few athletes are left for it. It answers another question and is never
    # the main answer: activity may be how fitness acts.
    at_equal_activity: CapacityFit | None
    activity_reading: str  # One of `READINGS`: what athletes a step fitter do, and what their outcome is
    outcome_reading: str
    contrast_step: float  # How far apart in capacity two athletes are who are compared
    smallest_effect: float  # What matters, in the unit of the outcome, and as a share of a round
    smallest_share: float
    table: pd.DataFrame  # athlete, capacity, active_share, outcome, n_rounds: means of the rated rounds
    n_athletes: int
    n_rounds: int


def fitness_and_activity(
    rounds: pd.DataFrame,
    capacity: pd.DataFrame,
    *,
    outcome: str = "hr_mean_bpm",
    smallest_effect: float = 5.0,
    smallest_share: float = SMALLEST_SHARE,
    contrast_step: float = 10.0,
    seed: int = 0,
) -> ActivityAnswer:
    """Ask whether fitter athletes do more, beside whether their heart rate is lower.

    Parameters
    ----------
    rounds : DataFrame
        One row per athlete and rated round: athlete, round_no, active_share (0 to 1) and the outcome.
    capacity : DataFrame
        The table of `measure_capacity`.
    outcome : str
        Default "hr_mean_bpm".
    smallest_effect : float
        Smallest difference of the outcome that matters, between athletes `contrast_step` apart. Default 5.
    smallest_share : float
        The same for the active share. Default 0.10.
    contrast_step : float
        Default 10 (mL/kg/min).
    seed : int
        Default 0.

    Returns
    -------
    ActivityAnswer

    Raises
    ------
    KitError
        Where fewer than 4 athletes have capacity and rated rounds, or where the fitness test shares heart rate with the outcome.

    Notes
    -----
    A direction is read where the 95 % interval leaves out 0; "the same" where the 90 % interval lies within the smallest effect
    (two one-sided tests); else nobody can tell. Activity is a co-outcome and a possible mediator: the slope at equal activity
    is a controlled direct effect only if nothing else moves both activity and heart rate.

    References
    ----------
    VanderWeele TJ (2016) Annual Review of Public Health 37:17 (mediation). Schuirmann DJ (1987) Journal of Pharmacokinetics and
    Biopharmaceutics 15:657 (two one-sided tests).

    Examples
    --------
    >>> rounds = pd.DataFrame({"athlete": list("AABBCCDDEEFF"), "round_no": [1, 2] * 6,
    ...     "active_share": [.3, .34, .36, .4, .42, .41, .47, .5, .52, .55, .6, .58],
    ...     "hr_mean_bpm": [170.0, 172, 171, 171, 170, 172, 170, 171, 172, 171, 170, 171]})
    >>> fit = pd.DataFrame({"athlete": list("ABCDEF"), "capacity": [40.0, 44, 47, 51, 55, 58]})
    >>> fitness_and_activity(rounds, fit).activity_reading
    'higher'
    """
    both = rounds.dropna(subset=["active_share", outcome]).merge(
        capacity[["athlete", "capacity"]].dropna(), on="athlete", how="inner"
    )
    both = both[both["round_no"] > 0].reset_index(drop=True)
    if both["athlete"].nunique() < 4:
        raise KitError(
            f"{both['athlete'].nunique()} athletes have a capacity, rated rounds and {outcome}: at least 4 are needed."
        )
    source = capacity if "uses_heart_rate" in capacity else "capacity"
    data = both if isinstance(source, str) else both.drop(columns="capacity")
    total = fit_capacity(data, source, outcome)
    narrow = fit_capacity(data, source, outcome, level=0.90)
    activity = fit_capacity(data, source, "active_share")
    activity_narrow = fit_capacity(data, source, "active_share", level=0.90)
    try:
        direct = fit_capacity(data, source, outcome, covariates=("active_share",))
    except KitError:
        direct = None
    means = both.groupby("athlete", as_index=False).agg(
        capacity=("capacity", "first"), active_share=("active_share", "mean"), outcome=(outcome, "mean"),
        n_rounds=("round_no", "size"),
    )  # fmt: skip
    return ActivityAnswer(
        outcome=outcome,
        activity=activity,
        correlation=correlate(means, "capacity", "active_share", seed=seed),
        total=total,
        at_equal_activity=direct,
        activity_reading=_read(activity, activity_narrow, contrast_step, smallest_share),
        outcome_reading=_read(total, narrow, contrast_step, smallest_effect),
        contrast_step=contrast_step,
        smallest_effect=smallest_effect,
        smallest_share=smallest_share,
        table=means,
        n_athletes=len(means),
        n_rounds=len(both),
    )


def _read(fit: CapacityFit, narrow: CapacityFit, step: float, smallest: float) -> str:
    """What an athlete a step fitter shows: same first, since a small difference can be sure and still not matter."""
    if np.isfinite(narrow.ci_low) and max(abs(narrow.ci_low), abs(narrow.ci_high)) * step < smallest:
        return READINGS[2]
    if fit.ci_low > 0:
        return READINGS[0]
    if fit.ci_high < 0:
        return READINGS[1]
    return READINGS[3]
