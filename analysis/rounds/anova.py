"""The repeated-measures analysis of variance of the complete cases, with its corrections always shown."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class RoundsAnova(Result):
    """Repeated-measures analysis of variance, complete cases only.

    Parameters
    ----------
    statistic, df_num, df_den, p : float
        F, its degrees of freedom and the uncorrected p.
    epsilon_gg, p_gg : float
        Greenhouse-Geisser epsilon and p.
    epsilon_hf, p_hf : float
        Huynh-Feldt epsilon, capped at 1, and p.
    mauchly_w, mauchly_p : float
        Mauchly's test; not available with two rounds or too few athletes.
    eta2_partial, eta2_partial_ci_low, eta2_partial_ci_high : float
        Partial eta squared and its 90 % interval (noncentral F).
    eta2_generalized, eta2_generalized_ci_low, eta2_generalized_ci_high : float
        Generalised eta squared; its interval carries the limits of the noncentrality over.
    n_athletes, n_observations : int
        Complete cases.
    method : str
        In words.
    left_out : DataFrame
        Also the athletes dropped because a round is missing.
    warnings : tuple of str
    """

    statistic: float
    df_num: float
    df_den: float
    p: float
    epsilon_gg: float
    p_gg: float
    epsilon_hf: float
    p_hf: float
    mauchly_w: float
    mauchly_p: float
    eta2_partial: float
    eta2_partial_ci_low: float
    eta2_partial_ci_high: float
    eta2_generalized: float
    eta2_generalized_ci_low: float
    eta2_generalized_ci_high: float
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def anova_rounds(data: pd.DataFrame, outcome: str) -> RoundsAnova:
    """Compare the rounds by repeated-measures analysis of variance, complete cases only.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.

    Returns
    -------
    RoundsAnova
    """
    raise NotImplementedError
