"""The answer of this room, or its refusal: everything about one outcome in one object."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from ..basics import NotYet, Result, left_out_table
from .results import CapacityFit, ErrorCorrection, Levels, Specifications


@dataclass(frozen=True)
class Refused(NotYet):
    """An analysis that would not answer the question, with the reason and what to do instead (falsy).

    Parameters
    ----------
    question : str
        The question, in plain words.
    needs : str
        What would allow an answer.
    why : str
        Why it is refused.
    guards : DataFrame
        guard, status, n_athletes, text.
    left_out : DataFrame
        Athletes and rows set aside before refusing.
    """

    why: str = ""
    guards: pd.DataFrame = field(default_factory=pd.DataFrame)
    left_out: pd.DataFrame = field(default_factory=left_out_table)

    def __str__(self) -> str:
        return f"Not analysed: {self.question}. {self.why} What to do: {self.needs}."


@dataclass(frozen=True)
class CapacityAnswer(Result):
    """Do fitter athletes respond less? Everything about one outcome.

    Parameters
    ----------
    outcome, capacity_unit, direction : str
        The outcome's column; the unit of capacity; the expected direction ("lower", "higher" or "differs").
    capacity_step, alpha : float
        The effect is the change of the outcome for `capacity_step` more capacity.
    effect, effect_ci_low, effect_ci_high : float
        The planned effect with its interval (1 - alpha).
    contrast_step, smallest_effect : float
        The verdict compares athletes who are `contrast_step` apart in capacity (a fit and a less fit athlete of one club)
        with the smallest effect that matters.
    contrast, contrast_ci_low, contrast_ci_high, contrast_ci90_low, contrast_ci90_high : float
        The difference between two such athletes, with its interval (1 - alpha) and that of the equivalence question
        (1 - 2 alpha).
    verdict : str
        "negligible", "supported", "opposite" or "too imprecise" (see `judge`).
    planned, unadjusted : CapacityFit
        The slope as planned, and with no covariate.
    adjusted_for : tuple of str
        Covariates of `planned`.
    adjustment_reason : str
        Why these: the plan, or the default rule and what it met.
    slopes : DataFrame
        Estimate columns by `analysis` ("planned", "unadjusted", "within sex", "within group") and `level`.
    correlations : DataFrame
        Estimate columns by `analysis`: Pearson with Fisher and BCa intervals, permutation p, Spearman, a robust one,
        partial; `bayes_factor` with its `prior`.
    correlations_agree : bool
        Same sign in all, and all intervals on the same side of (or across) zero.
    within : DataFrame
        Within athletes: heart rate with lactate and exertion; estimate columns by x, y and `level` (within, between).
    levels : dict of str to Levels
        Behind `within`, for the teaching picture: the other outcome -> between, within and pooled.
    drift : DataFrame
        Each athlete's own slope over the rounds, drift in a round, and recovery in the rests, regressed on capacity.
    influence : DataFrame
        Leave-one-out: the correlation of the adjusted points; planned_effect (for `capacity_step`) with its interval and
        the verdict without that athlete; Cook's distance and leverage.
    errors : DataFrame
        What the test's error does to r and slope; range restriction; corrected estimates with intervals.
    correction : ErrorCorrection or None
        The correction behind the first row of `errors`; None where the test gives no error.
    specifications : Specifications or None
        All reasonable analyses at once.
    activity : DataFrame
        Capacity with the activity rating, and the slope at equal activity; empty without ratings.
    delay : DataFrame
        Lactate only: capacity with the sampling delay, and the slope at equal delay.
    off_scale : DataFrame
        Lactate off the analyser's scale: the planned slope (per one unit) with these readings at the scale's end and
        elsewhere; empty without any. The contrast's intervals and the verdict hold for all lines.
    points : DataFrame
        One line per athlete: athlete, capacity, capacity_error, outcome (mean over rounds, balanced for missed rounds),
        outcome_adjusted, plain_mean, n_rounds, sex, group, age_years.
    line : DataFrame
        The planned line with its interval band, for the figure: capacity, estimate, ci_low, ci_high.
    guards : DataFrame
        guard, status ("passed", "warned", "applied"), n_athletes, text.
    cautions : tuple of str
        What limits the reading, always shown with the verdict.
    n_athletes, n_observations, method, left_out, warnings
        As everywhere.
    """

    outcome: str
    capacity_unit: str
    direction: str
    capacity_step: float
    alpha: float
    effect: float
    effect_ci_low: float
    effect_ci_high: float
    contrast_step: float
    smallest_effect: float
    contrast: float
    contrast_ci_low: float
    contrast_ci_high: float
    contrast_ci90_low: float
    contrast_ci90_high: float
    verdict: str
    planned: CapacityFit
    unadjusted: CapacityFit
    adjusted_for: tuple[str, ...]
    adjustment_reason: str
    slopes: pd.DataFrame
    correlations: pd.DataFrame
    correlations_agree: bool
    within: pd.DataFrame
    levels: dict[str, Levels]
    drift: pd.DataFrame
    influence: pd.DataFrame
    errors: pd.DataFrame
    correction: ErrorCorrection | None
    specifications: Specifications | None
    activity: pd.DataFrame
    delay: pd.DataFrame
    off_scale: pd.DataFrame
    points: pd.DataFrame
    line: pd.DataFrame
    guards: pd.DataFrame
    cautions: tuple[str, ...]
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()
