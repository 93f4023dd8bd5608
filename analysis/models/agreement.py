"""How far two raters, or repeated trials, agree: Cohen's kappa (statsmodels) and intraclass correlations (pingouin)."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice

SHORT_TYPES = {"ICC(A,1)": "ICC(2,1)", "ICC(C,1)": "ICC(3,1)", "ICC(A,k)": "ICC(2,k)", "ICC(C,k)": "ICC(3,k)"}
"""pingouin's names -> those of Shrout and Fleiss."""


@dataclass(frozen=True)
class Kappa(Result):
    """Agreement of two raters beyond chance.

    Parameters
    ----------
    estimate : float
        Cohen's kappa; missing where both raters used one word only.
    standard_error : float
        For independent subjects.
    ci_low, ci_high : float
        95 %, normal.
    percent_same : float
        Share of subjects on which they agree, per cent.
    n : int
        Subjects.
    """

    estimate: float
    standard_error: float
    ci_low: float
    ci_high: float
    percent_same: float
    n: int


def cohen_kappa(one: Sequence, other: Sequence) -> Kappa:
    """Compute Cohen's kappa of two raters who put the same subjects into classes.

    Parameters
    ----------
    one, other : sequence
        The class that each rater gave, subject by subject, without blanks.

    Returns
    -------
    Kappa
        Its interval takes subjects as independent; for seconds of the same athletes resample the athletes instead.

    References
    ----------
    Cohen J (1960) Educational and Psychological Measurement 20:37; Fleiss JL, Cohen J, Everitt BS (1969) Psychological Bulletin
    72:323 (standard error), as statsmodels computes them.

    Examples
    --------
    >>> round(cohen_kappa(list("aabbab"), list("aabbbb")).estimate, 3)
    0.667
    """
    from statsmodels.stats.inter_rater import cohens_kappa

    one, other = np.asarray(list(one), dtype=object), np.asarray(list(other), dtype=object)
    if len(one) != len(other) or not len(one):
        raise KitError("Kappa needs the same subjects from both raters, at least one.")
    words = sorted({*one, *other}, key=str)
    place = {w: i for i, w in enumerate(words)}
    table = np.zeros((len(words), len(words)))
    np.add.at(table, ([place[w] for w in one], [place[w] for w in other]), 1.0)
    same = 100.0 * float(np.trace(table)) / len(one)
    if len(words) < 2:
        return Kappa(float("nan"), float("nan"), float("nan"), float("nan"), same, len(one))
    with np.errstate(all="ignore"):
        found = cohens_kappa(table)
    return Kappa(
        estimate=float(found.kappa),
        standard_error=float(found.std_kappa),
        ci_low=float(found.kappa_low),
        ci_high=float(found.kappa_upp),
        percent_same=same,
        n=len(one),
    )


def intraclass(values: np.ndarray, *, kind: str = "ICC(A,1)") -> tuple[float, float, float]:
    """Give one intraclass correlation with its 95 % interval.

    Parameters
    ----------
    values : ndarray, subjects × raters
        Complete.
    kind : {"ICC(A,1)", "ICC(C,1)", "ICC(A,k)", "ICC(C,k)"}
        A for absolute agreement, C for consistency; 1 for a single rater, k for their mean.

    Returns
    -------
    estimate, ci_low, ci_high : float

    References
    ----------
    Shrout PE, Fleiss JL (1979) Psychological Bulletin 86:420.

    Examples
    --------
    >>> round(intraclass(np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]))[0], 2)
    0.29
    """
    check_choice(kind, SHORT_TYPES, name="kind")
    values = np.asarray(values, dtype=float)
    n, k = values.shape
    long = pd.DataFrame(
        {"athlete": np.repeat(np.arange(n), k), "trial": np.tile(np.arange(k), n), "value": values.ravel()}
    )
    line = intraclass_table(long).set_index("type").loc[SHORT_TYPES[kind]]
    return float(line["estimate"]), float(line["ci_low"]), float(line["ci_high"])


def intraclass_table(long: pd.DataFrame) -> pd.DataFrame:
    """Give the intraclass correlations of complete data, unrounded.

    Parameters
    ----------
    long : DataFrame
        athlete, trial, value.

    Returns
    -------
    DataFrame
        type, estimate, ci_low, ci_high, statistic, df_num, df_den, p.

    Examples
    --------
    >>> long = pd.DataFrame({"athlete": [1, 1, 2, 2, 3, 3, 4, 4, 5, 5], "trial": [1, 2] * 5,
    ...     "value": [50.0, 51, 44, 46, 55, 54, 48, 49, 61, 60]})
    >>> intraclass_table(long)["type"].tolist()
    ['ICC(2,1)', 'ICC(3,1)', 'ICC(2,k)', 'ICC(3,k)']
    """
    import pingouin as pg

    kept = {option: pg.options[option] for option in ("round", "round.column.CI95")}
    try:
        pg.options.update({"round": None, "round.column.CI95": None})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            table = pg.intraclass_corr(data=long, targets="athlete", raters="trial", ratings="value")
    finally:
        pg.options.update(kept)
    table = table.set_index("Type").loc[list(SHORT_TYPES)]
    limits = np.array([np.asarray(c, dtype=float) for c in table["CI95"]])
    return pd.DataFrame(
        {
            "type": list(SHORT_TYPES.values()),
            "estimate": table["ICC"].to_numpy(dtype=float),
            "ci_low": limits[:, 0],
            "ci_high": limits[:, 1],
            "statistic": table["F"].to_numpy(dtype=float),
            "df_num": table["df1"].to_numpy(dtype=float),
            "df_den": table["df2"].to_numpy(dtype=float),
            "p": table["pval"].to_numpy(dtype=float),
        }
    )
