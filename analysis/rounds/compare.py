"""The main analysis: a mixed model over the rounds, Kenward-Roger and cluster-robust tests side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from ..basics import Result
from .anova import RoundsAnova


@dataclass(frozen=True)
class RoundTest(Result):
    """The test of all rounds together.

    Parameters
    ----------
    statistic, df_num, df_den, p : float
        F test of the mixed model with Kenward-Roger degrees of freedom.
    p_epsilon : float
        The same F with both degrees of freedom times the Greenhouse-Geisser epsilon.
    epsilon : float
        That epsilon, from the complete cases.
    p_gg : float
        Greenhouse-Geisser p of the complete-case analysis of variance, to stand beside.
    p_cr2 : float
        Cluster-robust (CR2) test of the rounds together.
    method : str
    """

    statistic: float
    df_num: float
    df_den: float
    p: float
    p_epsilon: float
    epsilon: float
    p_gg: float
    p_cr2: float
    method: str

    def __getitem__(self, name: str):
        """Read a field by name, as from a row of a table."""
        return getattr(self, name)


@dataclass(frozen=True)
class RoundsComparison(Result):
    """Mixed-model comparison of the rounds, all athletes, also those with a missing round.

    Parameters
    ----------
    outcome : str
    labels : tuple of str
        Rounds in order.
    overall : RoundTest
        The test of all rounds together.
    means : DataFrame
        round_no, estimate (model), standard_error, df, ci_low, ci_high, observed_mean, observed_sd, n_athletes, tested.
    contrasts : DataFrame
        contrast, later, earlier, kind, estimate, standard_error, df, statistic, p, p_adjusted (Holm within the kind), ci_low, ci_high
        (Kenward-Roger), ci_low_bonferroni, ci_high_bonferroni, then the same with `_cr2` (cluster-robust), agree (both at alpha .05 after Holm).
    pairwise, versus_first : DataFrame
        The same columns for all pairs, and for each round against the first.
    effect_sizes : DataFrame
        See `paired_effects`.
    covariates : DataFrame
        Tests of the covariates; empty where none.
    anova : RoundsAnova or None
        Complete-case analysis of variance.
    variances : dict
        athlete and residual variance.
    fit : object
        The fitted model of the room `models`, for diagnostics.
    n_athletes, n_observations : int
    method : str
    left_out : DataFrame
    warnings : tuple of str
    """

    outcome: str
    labels: tuple[str, ...]
    overall: RoundTest
    means: pd.DataFrame
    contrasts: pd.DataFrame
    pairwise: pd.DataFrame
    versus_first: pd.DataFrame
    effect_sizes: pd.DataFrame
    covariates: pd.DataFrame
    anova: RoundsAnova | None
    variances: dict
    fit: object
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def compare_rounds(data: pd.DataFrame, outcome: str, *, covariates: Sequence[str] = ()) -> RoundsComparison:
    """Compare the rounds by a mixed model with a random intercept per athlete.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    covariates : sequence of str
        Athlete-level columns to adjust for.

    Returns
    -------
    RoundsComparison
    """
    raise NotImplementedError
