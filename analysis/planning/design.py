"""What a researcher chooses (`Design`), and what the fitness question then looks like in standardised form."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..basics import KitError, Result, check_choice, check_number, format_number
from .assumptions import Assumptions

ADJUSTMENTS = ("hr_max", "age", "sex")

HR_MAX_PER_YEAR = -0.7
"""bpm of maximal heart rate per year of age (Tanaka 2001 J Am Coll Cardiol 37:153-156)."""


@dataclass(frozen=True)
class Design(Result):
    """The choices of a study.

    Parameters
    ----------
    n : int
        Athletes who start.
    rounds : int
        Rounds. Default 4.
    alpha : float
        Two-sided level of every test. Default 0.05.
    heart_rate_smallest, lactate_smallest, exertion_smallest : float
        The smallest change that matters: 5 bpm, 1 mmol/L, 1 point (our proposal).
    capacity_step : float
        How far apart in capacity (mL/kg/min) two athletes are whose difference matters: a fit and a less fit one, as in the
        verdict of the fitness question. Default 10.
    adjust, adjust_lactate : tuple of {"hr_max", "age", "sex"}
        What the fitness slope of heart rate and of lactate is adjusted for. Default ("hr_max",) and ("age",).
    """

    n: int
    rounds: int = 4
    alpha: float = 0.05
    heart_rate_smallest: float = 5.0
    lactate_smallest: float = 1.0
    exertion_smallest: float = 1.0
    capacity_step: float = 10.0
    adjust: tuple[str, ...] = ("hr_max",)
    adjust_lactate: tuple[str, ...] = ("age",)

    def __post_init__(self):
        for field in ("adjust", "adjust_lactate"):
            given = getattr(self, field)
            given = (given,) if isinstance(given, str) and given else tuple(given)
            object.__setattr__(self, field, given)
            for name in given:
                check_choice(name, ADJUSTMENTS, name=field)
        check_size(self.n, least=3)
        if self.rounds != int(self.rounds) or self.rounds < 2:
            raise KitError(f"rounds is {self.rounds}, but comparing rounds needs a whole number from 2 on.")
        check_level(self.alpha)
        for name in ("heart_rate_smallest", "lactate_smallest", "exertion_smallest", "capacity_step"):
            if not getattr(self, name) > 0:
                raise KitError(f"{name} is {getattr(self, name)}, but must be above 0.")

    def adjustment(self, outcome: str, truth: Assumptions) -> tuple[str, ...]:
        """What the slope of an outcome is adjusted for in this club: covariates that vary, as many as n affords.

        Covariates are given up from the end until 8 residual degrees of freedom are left between athletes, as in capacity.
        """
        from ..capacity.guards import MINIMUM_RESIDUAL_DF

        wanted = {"heart_rate": self.adjust, "lactate": self.adjust_lactate}.get(outcome, ())
        varies = {
            "hr_max": truth.hr_max_sd > 0 or truth.age_high > truth.age_low,
            "age": truth.age_high > truth.age_low,
            "sex": 0 < truth.share_women < 1,
        }
        kept = tuple(name for name in wanted if varies[name])
        return kept[: max(self.n - 2 - MINIMUM_RESIDUAL_DF, 0)]


def check_size(n, *, least: int = 3, name: str = "n") -> int:
    """Return n as an int, or say why it cannot be a number of athletes."""
    try:
        whole = int(n)
    except (TypeError, ValueError, OverflowError) as problem:
        raise KitError(f"{name} is {n!r}, but must be a whole number of athletes.") from problem
    if whole != n or whole < least:
        raise KitError(f"{name} is {n}, but this question needs a whole number of athletes from {least} on.")
    return whole


def check_level(value: float, *, name: str = "alpha") -> float:
    """Return a level or a power that lies strictly between 0 and 1, or say so."""
    return check_number(value, name=name, low=0, high=1)


def as_design(design) -> Design:
    """Take a `Design`, or a mapping of its fields."""
    return _as(Design, design, "design")


def as_assumptions(truth) -> Assumptions:
    """Take `Assumptions`, a mapping of the fields to change, or None for the kit's own."""
    if truth is None or isinstance(truth, Assumptions):
        return truth or Assumptions()
    return Assumptions().but(**dict(truth))


def _as(kind, value, name):
    if isinstance(value, kind):
        return value
    try:
        given = dict(value)
    except (TypeError, ValueError) as problem:
        raise KitError(f"{name} must be a {kind.__name__} or a mapping of its fields.") from problem
    for key in given:
        check_choice(key, [f.name for f in fields(kind)], name=name)
    if "n" not in given:
        raise KitError(f"{name} needs n, the number of athletes.")
    return kind(**given)


def implied_covariance(truth: Assumptions, outcome: str = "heart_rate") -> tuple[list[str], np.ndarray]:
    """Covariance of what differs between athletes, as the assumptions imply it."""
    names = ["capacity", "hr_max", "age", "sex", "outcome"]
    loading, noise = athlete_loadings(truth, outcome)
    source_variance = np.concatenate([[_age_variance(truth), _sex_variance(truth)], np.square(noise)])
    rows = np.array([loading[name] for name in names])
    return names, (rows * source_variance) @ rows.T


def athlete_loadings(truth: Assumptions, outcome: str) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Write every athlete-level quantity as a sum of independent sources."""
    size = getattr(truth, check_choice(outcome, ("heart_rate", "lactate", "exertion"), name="outcome"))
    base = np.array([truth.capacity_per_year, truth.women_capacity, 1.0, 0.0, 0.0, 0.0, 0.0])
    error = np.array([0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0])
    kind = truth.test_error_kind
    loadings = {
        "true_capacity": base + error if kind == "prediction" else base,
        "capacity": base + error if kind == "retest" else base,
        "true_hr_max": np.array([HR_MAX_PER_YEAR, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0]),
        "hr_max": np.array([HR_MAX_PER_YEAR, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0]),
        "age": np.array([1.0, 0, 0, 0, 0, 0, 0]),
        "sex": np.array([0.0, 1.0, 0, 0, 0, 0, 0]),
    }
    test_error = 0.0 if kind == "none" else truth.test_error
    spread = truth.true_capacity_sd() ** 2 if kind == "retest" else truth.capacity_sd**2
    explained = truth.capacity_per_year**2 * _age_variance(truth) + truth.women_capacity**2 * _sex_variance(
        truth
    )
    if explained > spread:
        raise KitError(
            f"Age and sex alone would spread capacity by {format_number(np.sqrt(explained))} mL/kg/min, more than the "
            f"{format_number(np.sqrt(spread))} assumed for the whole club: raise capacity_sd or narrow the ages."
        )
    level = size.slope * loadings["true_capacity"]
    if outcome == "heart_rate":
        level = level + truth.heart_rate_per_hr_max * loadings["true_hr_max"]
        level[1] += truth.women_heart_rate
    noise = np.array([np.sqrt(spread - explained), test_error, truth.hr_max_sd, truth.hr_max_error, 0.0])
    variance = np.concatenate([[_age_variance(truth), _sex_variance(truth)], noise**2])
    known = float(np.sum(level**2 * variance))
    if known > size.sd_between**2 * (1 + 1e-12):
        raise KitError(
            f"{outcome}: capacity, maximal heart rate and sex alone would spread the athletes by "
            f"{format_number(np.sqrt(known))}, more than the sd_between of {size.sd_between} assumed for all causes together: "
            "raise sd_between, or lower the slope, hr_max_sd or the range of ages."
        )
    noise[4] = np.sqrt(max(size.sd_between**2 - known, 0.0))
    level[6] = 1.0
    return {**loadings, "outcome": level}, noise


def _age_variance(truth: Assumptions) -> float:
    return (truth.age_high - truth.age_low) ** 2 / 12


def _sex_variance(truth: Assumptions) -> float:
    return truth.share_women * (1 - truth.share_women)
