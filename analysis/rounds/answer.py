"""Everything about one outcome over the rounds, in one result: what changed, where it stopped, how sure we are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from ..basics import Result
from .anova import RoundsAnova
from .bounds import LimitBounds
from .compare import RoundsComparison
from .opponents import OpponentSpread
from .plateau import Plateau
from .ranks import RoundsRanks
from .tipping import TippingPoint


@dataclass(frozen=True)
class RoundsAnswer(Result):
    """The answer for one outcome: does it change over the rounds, and where does it stop changing?

    Parameters
    ----------
    outcome : str
        The column that was analysed.
    smallest_effect : float
        The smallest change that matters, in the outcome's unit; equivalence is tested against plus and minus this.
    alpha : float
        Level of every test.
    ordinal : bool
        True for ratings: the exact rank tests must agree too before anything is claimed.
    role : str
        "primary", "secondary" or "exploratory", from the plan.
    labels : tuple of str
        The rounds that were tested, in order.
    rows : DataFrame
        The rows used: athlete, round_no (ordered), value, tested (False for what came before sparring).
    comparison : RoundsComparison
        The main analysis: mixed model with Kenward-Roger and cluster-robust tests.
    anova : RoundsAnova or None
        Repeated-measures analysis of variance of the complete cases; None where it cannot be computed.
    ranks : RoundsRanks or None
        Friedman test and exact signed-rank contrasts; None where they cannot be computed.
    effect_sizes : DataFrame
        Raw differences first, then d_z, d_av and their Hedges-corrected forms, one line per contrast.
    equivalence : DataFrame
        Two one-sided tests of every pair of rounds.
    steps : DataFrame
        One line per step from a round to the next and for first to last: estimate, intervals, p of each method, `label`.
    plateau : Plateau
        Where it stops changing, and every candidate that was tried.
    tipping : TippingPoint or None
        How different the missing rounds would have to be to change a label; None where nothing is missing.
    bounds : LimitBounds or None
        For values off the analyser's scale: the range of every estimate; None where there are none.
    opponents : OpponentSpread or None
        Spread between bouts; None where opponents were not noted.
    sensitivity : DataFrame
        One line per way of analysing: change from first to last, interval, p, plateau, whether it agrees.
    residuals : DataFrame
        For the assumption checks: athlete, round_no, fitted, residual, standardized.
    athlete_effects : DataFrame
        For the assumption checks: athlete, effect (predicted random intercept).
    spread : DataFrame
        SD per round and SD of each step's differences, with the number of athletes.
    rests : DataFrame
        Rounds sat out, and rounds whose rest before was changed by one: athlete, round_no, took_part, rest_before_s.
    changed : bool or None
        True where a change over the rounds is claimed (round test by Kenward-Roger and by its sphericity-corrected form).
    verdict : str
        "changed", "changed but smaller than matters", "equivalent" or "not shown", for the rounds as a whole.
    last_minus_first : float
        Estimated change from the first to the last round, in the outcome's unit.
    plateau_from : str
        Label of the round from which no meaningful change is shown; "" where none.
    n_athletes, n_observations : int
        Of the main analysis.
    method : str
        The main analysis in words.
    left_out : DataFrame
        Every row that was not used, with its reason.
    warnings : tuple of str
        What the reader should know.
    """

    outcome: str
    smallest_effect: float
    alpha: float
    ordinal: bool
    role: str
    labels: tuple[str, ...]
    rows: pd.DataFrame
    comparison: RoundsComparison
    anova: RoundsAnova | None
    ranks: RoundsRanks | None
    effect_sizes: pd.DataFrame
    equivalence: pd.DataFrame
    steps: pd.DataFrame
    plateau: Plateau
    tipping: TippingPoint | None
    bounds: LimitBounds | None
    opponents: OpponentSpread | None
    sensitivity: pd.DataFrame
    residuals: pd.DataFrame
    athlete_effects: pd.DataFrame
    spread: pd.DataFrame
    rests: pd.DataFrame
    changed: bool | None
    verdict: str
    last_minus_first: float
    plateau_from: str
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def answer_rounds(
    data: pd.DataFrame,
    outcome: str,
    *,
    smallest_effect: float,
    alpha: float = 0.05,
    limit: tuple[float, float] | None = None,
    covariates: Sequence[str] = (),
    role: str = "primary",
    ordinal: bool = False,
    flagged_kept: pd.DataFrame | None = None,
    other_outcomes: Mapping[str, float] | None = None,
    round_variable: str = "round_no",
    seed: int = 0,
) -> RoundsAnswer:
    """Answer for one outcome: does it change over the rounds, and where does it stop changing?

    Parameters
    ----------
    data : DataFrame
        One row per athlete and round of one session: `athlete`, `round_no`, the outcome; used where present:
        `took_part`, `rest_before_s`, `opponent`, `bout_no`, `lactate_limit`.
    outcome : str
        A numeric column of `data`.
    smallest_effect : float
        The smallest change that matters, above 0, in the outcome's unit.
    alpha : float
        Level of every test, between 0 and 1. Default 0.05.
    limit : (float, float), optional
        Lower and upper end of the lactate analyser's scale in mmol/L; values marked "low" or "high" in the
        column `lactate_limit` lie beyond. Default: the smallest and largest value that was read.
    covariates : sequence of str
        Numeric or two-valued athlete-level columns to adjust for. Default none.
    role : {"primary", "secondary", "exploratory"}
        What the plan says of this outcome.
    ordinal : bool
        True for ratings. Default False.
    flagged_kept : DataFrame, optional
        The same table computed with flagged samples kept, for the sensitivity table.
    other_outcomes : mapping of str to float, optional
        Further columns of `data` that measure the same thing, with their smallest effect, for the sensitivity table.
    round_variable : {"round_no", "bout_no"}
        Which number orders the rounds, from the plan.
    seed : int
        Of the imputations of the tipping point. Default 0.

    Returns
    -------
    RoundsAnswer
    """
    raise NotImplementedError


def adjust_outcomes(answers: Mapping[str, RoundsAnswer], *, primary: str | None = None) -> pd.DataFrame:
    """Adjust the round tests of several outcomes of one question: the primary one at alpha, Holm for the rest.

    Parameters
    ----------
    answers : mapping of str to RoundsAnswer
        Outcome to answer, all of one question.
    primary : str, optional
        The primary outcome of the question. Default: the one whose role is "primary".

    Returns
    -------
    DataFrame
        outcome, role, statistic, df_num, df_den, p, p_adjusted (empty for exploratory outcomes), verdict, method.
    """
    raise NotImplementedError
