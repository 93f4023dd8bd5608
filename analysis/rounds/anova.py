"""The repeated-measures analysis of variance of the complete cases, with its corrections always shown."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, plural
from .prepare import RoundRows, prepare_rounds

LEVEL_ETA2 = 0.90
"""Level of the intervals of eta squared: a one-sided test at .05 corresponds to a two-sided 90 % interval."""


@dataclass(frozen=True)
class RoundsAnova(Result):
    """Repeated-measures analysis of variance, complete cases only."""

    statistic: float  # F, its degrees of freedom and the uncorrected p
    df_num: float
    df_den: float
    p: float
    epsilon_gg: float  # Greenhouse-Geisser epsilon and p
    p_gg: float
    epsilon_hf: float  # Huynh-Feldt epsilon, capped at 1, and p
    p_hf: float
    mauchly_w: float  # Mauchly's test; not available with two rounds or too few athletes
    mauchly_p: float
    eta2_partial: float  # Partial eta squared and its 90 % interval (noncentral F)
    eta2_partial_ci_low: float
    eta2_partial_ci_high: float
    # Generalised eta squared; its interval carries the limits of the noncentrality over
    eta2_generalized: float
    eta2_generalized_ci_low: float
    eta2_generalized_ci_high: float
    n_athletes: int  # Complete cases
    n_observations: int
    method: str
    left_out: pd.DataFrame  # Also the athletes dropped because a round is missing
    warnings: tuple[str, ...] = ()


def anova_rounds(data: pd.DataFrame, outcome: str) -> RoundsAnova:
    """Compare the rounds by repeated-measures analysis of variance, complete cases only.

    When to use: beside the mixed model, as the analysis that most readers know. When not: as the main analysis where
    rounds are missing, since it drops every athlete with a missing round (`left_out` says whom).

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.

    Returns
    -------
    RoundsAnova
        F, degrees of freedom, p, both epsilons with their p, Mauchly's test, eta squared with intervals, `left_out`.

    Raises
    ------
    KitError
        Where fewer than two athletes have every round.

    Notes
    -----
    p_gg and p_hf are the upper tail of F with both degrees of freedom times epsilon. Interval of partial eta squared:
    limits lambda of the noncentrality that put F at the 95th and 5th percentile; eta squared = lambda / (lambda + df_den).
    Generalised eta squared adds the spread between athletes to the denominator.

    References
    ----------
    Greenhouse & Geisser 1959, Psychometrika 24:95; Huynh & Feldt 1976, Journal of Educational Statistics 1:69;
    Olejnik & Algina 2003, Psychological Methods 8:434; Steiger 2004, Psychological Methods 9:164.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AAABBBCCC"), "round_no": [1, 2, 3] * 3,
    ...     "lactate_mmol_l": [4.0, 7, 9, 3, 5, 9, 5, 8, 8]})
    >>> result = anova_rounds(data, "lactate_mmol_l")
    >>> result.n_athletes, round(result.statistic, 2), round(result.epsilon_gg, 3)
    (3, 14.8, 0.524)
    """
    return anova_of(prepare_rounds(data, outcome))


def anova_of(rows: RoundRows) -> RoundsAnova:
    """Compute `anova_rounds` from prepared rows."""
    wide = rows.complete()
    n, k = wide.shape
    if n < 2:
        raise KitError(
            f"A repeated-measures analysis of variance needs at least two athletes with every round; "
            f"here {plural(n, 'athlete')} of {rows.n_athletes} {'has' if n == 1 else 'have'} all {k}. "
            "compare_rounds() uses every athlete."
        )
    warnings = list(rows.warnings)
    dropped = rows.n_athletes - n
    if dropped:
        warnings.append(
            f"{plural(dropped, 'athlete')} of {rows.n_athletes} {'is' if dropped == 1 else 'are'} not in the analysis of "
            "variance because a round is missing."
        )
    values = wide.to_numpy()
    athlete_ss = k * float(((values.mean(axis=1) - values.mean()) ** 2).sum())
    if no_residual_spread(values):
        warnings.append(
            "Every athlete changes by exactly the same amount, or not at all, from round to round: without any spread "
            "there is no test. Check whether values were copied or a device was stuck."
        )
        found = dict.fromkeys(_NUMBERS, np.nan) | {"df_num": k - 1.0, "df_den": (k - 1.0) * (n - 1)}
    else:
        found = _tests(wide, athlete_ss)
    if np.isnan(found["mauchly_w"]) and k > 2 and n <= k:
        warnings.append(f"Mauchly's test needs more athletes ({n}) than rounds ({k}).")
    return RoundsAnova(
        **found, n_athletes=n, n_observations=n * k, method="repeated-measures analysis of variance, complete cases",
        left_out=rows.without_incomplete(), warnings=tuple(warnings),
    )  # fmt: skip


_TESTED = ("statistic", "df_num", "df_den", "p", "epsilon_gg", "p_gg", "epsilon_hf", "p_hf", "mauchly_w", "mauchly_p")
_NUMBERS = (
    *_TESTED,
    *(f"eta2_{kind}{end}" for kind in ("partial", "generalized") for end in ("", "_ci_low", "_ci_high")),
)


def _tests(wide, athlete_ss: float) -> dict:
    from scipy import stats

    from ..models import noncentral_f_interval

    n, k = wide.shape
    wide = wide - wide.to_numpy()[0, 0]  # exact, and keeps sums of squares exact for large values with little spread
    long = wide.rename_axis(columns="round_no").melt(ignore_index=False, value_name="value").reset_index()
    long["round_no"] = pd.Categorical(long["round_no"], categories=list(wide.columns), ordered=True)
    found = rm_anova(long)
    ss_round, ss_error = found.pop("ss_round"), found.pop("ss_error")
    f, df1, df2 = found["statistic"], found["df_num"], found["df_den"]
    for name in ("gg", "hf"):
        epsilon = found[f"epsilon_{name}"]
        found[f"p_{name}"] = float(stats.f.sf(f, df1 * epsilon, df2 * epsilon))
    if n <= k:
        found["mauchly_w"] = found["mauchly_p"] = np.nan
    low, high = noncentral_f_interval(f, df1, df2, level=LEVEL_ETA2)
    share = athlete_ss / ss_error
    return found | {
        "eta2_partial": ss_round / (ss_round + ss_error),
        "eta2_partial_ci_low": low / (low + df2),
        "eta2_partial_ci_high": high / (high + df2),
        "eta2_generalized_ci_low": (low / df2) / (low / df2 + 1 + share),
        "eta2_generalized_ci_high": (high / df2) / (high / df2 + 1 + share),
    }


def no_residual_spread(values: np.ndarray) -> bool:
    """Tell whether nothing is left after athlete and round, apart from rounding noise."""
    moved = values - values[0, 0]
    residual = moved - moved.mean(axis=0) - moved.mean(axis=1, keepdims=True) + moved.mean()
    noise = max(1e-10 * np.abs(moved).max(), 8 * np.finfo(float).eps * np.abs(values).max())
    return bool(np.abs(residual).max() <= noise)


def rm_anova(long: pd.DataFrame) -> dict:
    """Return F, degrees of freedom, p, epsilons, Mauchly's test and generalised eta squared of complete data."""
    import pingouin as pg

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            table = pg.rm_anova(
                data=long, dv="value", within="round_no", subject="athlete", correction=True, detailed=True,
                effsize="ng2",
            )  # fmt: skip
        except ZeroDivisionError:  # its Mauchly test, of two or three athletes and some numbers of rounds
            table = _few_athletes(long)
        effect, error = table.iloc[0], table.iloc[1]
        wide = long.pivot_table(index="athlete", columns="round_no", values="value", observed=True)
        k = wide.shape[1]
        hf = float(pg.epsilon(wide, correction="hf")) if k > 2 else 1.0
    return {
        "statistic": float(effect["F"]), "df_num": float(effect["DF"]), "df_den": float(error["DF"]),
        "p": float(effect["p_unc"]), "epsilon_gg": float(effect["eps"]),
        "epsilon_hf": min(1.0, hf) if hf > 0 else np.nan,
        "mauchly_w": float(effect["W_spher"]) if "W_spher" in table else np.nan,
        "mauchly_p": float(effect["p_spher"]) if "p_spher" in table else np.nan,
        "eta2_generalized": float(effect["ng2"]), "ss_round": float(effect["SS"]), "ss_error": float(error["SS"]),
    }  # fmt: skip


def _few_athletes(long: pd.DataFrame) -> pd.DataFrame:
    """The same table without Mauchly's test, from the sums of squares."""
    import pingouin as pg
    from scipy import stats

    wide = long.pivot_table(index="athlete", columns="round_no", values="value", observed=True)
    values, (n, k) = wide.to_numpy(), wide.shape
    grand = values.mean()
    ss_round = n * ((values.mean(axis=0) - grand) ** 2).sum()
    ss_athlete = k * ((values.mean(axis=1) - grand) ** 2).sum()
    ss_error = ((values - grand) ** 2).sum() - ss_round - ss_athlete
    df, df_error = k - 1, (k - 1) * (n - 1)
    statistic = (ss_round / df) / (ss_error / df_error)
    return pd.DataFrame(
        {
            "F": [statistic, np.nan],
            "DF": [df, df_error],
            "SS": [ss_round, ss_error],
            "p_unc": [stats.f.sf(statistic, df, df_error), np.nan],
            "eps": [pg.epsilon(wide, correction="gg"), np.nan],
            "ng2": [ss_round / (ss_round + ss_error + ss_athlete), np.nan],
        }
    )


def friedman(wide: pd.DataFrame) -> dict:
    """Return Friedman's chi-square corrected for ties, with Kendall's W."""
    import pingouin as pg

    long = (
        wide.reset_index(drop=True)
        .rename_axis(index="athlete")
        .melt(ignore_index=False, var_name="round_no")
        .reset_index()
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        line = pg.friedman(data=long, dv="value", within="round_no", subject="athlete").iloc[0]
    return {
        "statistic": float(line["Q"]),
        "df": float(line["ddof1"]),
        "p": float(line["p_unc"]),
        "kendall_w": float(line["W"]),
    }
