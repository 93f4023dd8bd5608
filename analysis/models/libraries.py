"""What other libraries answer: agreement of raters, and the same question by least squares and a marginal model."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, plural
from .effect_sizes import check_level

SHORT_TYPES = {"ICC(A,1)": "ICC(2,1)", "ICC(C,1)": "ICC(3,1)", "ICC(A,k)": "ICC(2,k)", "ICC(C,k)": "ICC(3,k)"}
"""pingouin's names -> those of Shrout and Fleiss."""


@dataclass(frozen=True)
class Kappa(Result):
    """Agreement of two raters beyond chance."""

    estimate: float  # Cohen's kappa; missing where both raters used one word only
    standard_error: float  # For independent subjects
    ci_low: float  # 95 %, normal
    ci_high: float
    percent_same: float  # Share of subjects on which they agree, per cent
    n: int  # Subjects


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
        estimate=float(found.kappa), standard_error=float(found.std_kappa), ci_low=float(found.kappa_low),
        ci_high=float(found.kappa_upp), percent_same=same, n=len(one),
    )  # fmt: skip


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


NO_SPARE = 1e-9
"""A row that alone decides a coefficient has no residual, so that HC3 is not defined."""


@dataclass(frozen=True)
class SecondOpinion(Result):
    """An estimate by another library, with its t interval."""

    estimate: float
    standard_error: float
    df: float
    statistic: float
    p: float
    ci_low: float
    ci_high: float
    p_all: float  # Of all conditions together, by the F form of the robust Wald test; missing for a slope
    n_athletes: int
    n_observations: int


def robust_slope(outcome: Sequence[float], design: np.ndarray, *, level: float = 0.95) -> SecondOpinion:
    """Fit ordinary least squares to one value per athlete, with HC3 standard errors.

    Parameters
    ----------
    outcome : sequence of float
        One value per athlete.
    design : array (athletes, columns)
        The quantity of interest first, then what is held equal; without a constant.
    level : float
        Of the interval; default 0.95.

    Returns
    -------
    SecondOpinion
        Slope on the first column, with t on athletes minus coefficients.

    Raises
    ------
    KitError
        Where no athlete is left over, or one athlete alone decides a coefficient.

    Notes
    -----
    Covariance (X'X)⁻¹ X' diag(e²/(1 − h)²) X (X'X)⁻¹, as statsmodels computes it: the spread of the athletes may depend on the
    design.

    References
    ----------
    MacKinnon JG, White H (1985) Journal of Econometrics 29:305-325.

    Examples
    --------
    >>> import numpy as np
    >>> found = robust_slope([171.0, 174, 168, 169, 163], np.array([[44.0], [48], [51], [55], [58]]))
    >>> round(found.estimate, 3), found.df
    (-0.578, 3.0)
    """
    from statsmodels.regression.linear_model import OLS

    check_level(level)
    y = np.asarray(outcome, dtype=float)
    x = np.column_stack([np.asarray(design, dtype=float), np.ones(len(y))])
    if len(y) <= x.shape[1] or np.linalg.matrix_rank(x) < x.shape[1]:
        raise KitError(f"{plural(len(y), 'athlete')} are too few for {x.shape[1]} coefficients that can be separated.")
    leverage = np.square(np.linalg.qr(x)[0]).sum(axis=1)
    if leverage.max() > 1 - NO_SPARE:
        raise KitError("one athlete alone decides a coefficient, so HC3 is not defined.")
    fit = OLS(y, x).fit(cov_type="HC3", use_t=True)
    low, high = fit.conf_int(alpha=1 - level)[0]
    return SecondOpinion(
        estimate=float(fit.params[0]), standard_error=float(fit.bse[0]), df=float(fit.df_resid),
        statistic=float(fit.tvalues[0]), p=float(fit.pvalues[0]), ci_low=float(low), ci_high=float(high),
        p_all=float("nan"), n_athletes=len(y), n_observations=len(y),
    )  # fmt: skip


def marginal_change(
    outcome: Sequence[float], condition: Sequence, athlete: Sequence, *, labels: Sequence, level: float = 0.95
) -> SecondOpinion:
    """Fit a marginal model of repeated conditions: generalised estimating equations, every two rows of an athlete alike.

    Parameters
    ----------
    outcome, condition, athlete : sequences of equal length
        One row per athlete and condition; athletes may lack conditions.
    labels : sequence
        The conditions in order; the change is the last minus the first.
    level : float
        Of the interval; default 0.95.

    Returns
    -------
    SecondOpinion
        Change, with t on athletes minus conditions, and the test of all conditions.

    Raises
    ------
    KitError
        Where there are no more athletes than conditions, or the equations have no solution.

    Notes
    -----
    Normal family, identity link, exchangeable working correlation, and the covariance of Mancl and DeRouen, which takes the
    small number of athletes into account (statsmodels: "bias_reduced"). t in place of z, with athletes minus coefficients,
    is common practice, no source. With complete rounds the standard error of the change is SD(change) / √(n − 1).

    References
    ----------
    Liang KY, Zeger SL (1986) Biometrika 73:13-22; Mancl LA, DeRouen TA (2001) Biometrics 57:126-134.

    Examples
    --------
    >>> found = marginal_change([160.0, 171, 150, 160, 171, 180], [1, 2] * 3, list("AABBCC"), labels=[1, 2])
    >>> round(found.estimate, 6), round(found.standard_error, 4)
    (10.0, 0.7071)
    """
    from scipy import stats
    from statsmodels.genmod.cov_struct import Exchangeable
    from statsmodels.genmod.generalized_estimating_equations import GEE

    check_level(level)
    condition = np.asarray(condition)
    names, group = np.unique(np.asarray(athlete, dtype=str), return_inverse=True)
    design = np.column_stack([np.ones(len(condition)), *(condition == label for label in labels[1:])]).astype(float)
    df = len(names) - len(labels)
    if df < 1:
        raise KitError(f"{plural(len(names), 'athlete')} are too few for a marginal model of {len(labels)} conditions.")
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")  # what does not converge is not finite, and refused below
        try:
            model = GEE(np.asarray(outcome, dtype=float), design, groups=group, cov_struct=Exchangeable())
            fit = model.fit(cov_type="bias_reduced")
            beta, covariance = np.asarray(fit.params)[1:], np.asarray(fit.cov_params())[1:, 1:]
            wald = float(beta @ np.linalg.solve(covariance, beta)) / len(beta)
        except (np.linalg.LinAlgError, ValueError):
            wald = float("nan")
        if not (np.isfinite(wald) and covariance[-1, -1] > 0):
            raise KitError("the marginal model has no solution for these rounds.") from None
    estimate, error = float(beta[-1]), float(np.sqrt(covariance[-1, -1]))
    half = float(stats.t.isf((1 - level) / 2, df)) * error
    return SecondOpinion(
        estimate=estimate, standard_error=error, df=float(df), statistic=estimate / error,
        p=float(2 * stats.t.sf(abs(estimate / error), df)), ci_low=estimate - half, ci_high=estimate + half,
        p_all=float(stats.f.sf(wald, len(beta), df)), n_athletes=len(names), n_observations=len(condition),
    )  # fmt: skip
