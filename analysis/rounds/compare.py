"""The main analysis: a mixed model over the rounds, Kenward-Roger and cluster-robust tests side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_number
from .anova import RoundsAnova, anova_of
from .opponents import FEWEST_BOUTS, bouts_of
from .prepare import LIMIT_COLUMN, RoundRows, covariate_tests, pairs_of, prepare_rounds, with_covariates

COLUMNS = ["contrast", "later", "earlier", "measure", "estimate", "ci_low", "ci_high", "n_athletes", "method"]


def paired_effects(data: pd.DataFrame, outcome: str, *, kind: str = "successive") -> pd.DataFrame:
    """Give the effect sizes of the steps from paired values, raw differences first.

    When to use: to report beside the raw difference, or to compare with a paper that printed a standardised one. When
    not: to decide whether a change matters; that is judged in beats, mmol/L or points.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    kind : {"successive", "first", "pairwise"}
        Which contrasts. Default "successive".

    Returns
    -------
    DataFrame
        contrast, later, earlier, measure ("difference", "d_z", "g_z", "d_av", "g_av", "d_av_mean_sd", "g_av_mean_sd",
        "d_rm"), estimate, ci_low, ci_high, n_athletes (those with both rounds), method.

    Notes
    -----
    d_z divides the mean difference by the SD of the differences, d_av by the root mean square of the two SDs
    (d_av_mean_sd: by their mean), d_rm is d_z sqrt(2 (1 - r)). g_z and g_av carry Hedges' exact gamma factor with n - 1
    degrees of freedom. d_z: noncentral-t interval; d_av: Algina and Keselman.

    References
    ----------
    Cumming 2012, Understanding the New Statistics; Algina & Keselman 2003, Educational and Psychological Measurement 63:537;
    Hedges 1981, Journal of Educational Statistics 6:107; Lakens 2013, Frontiers in Psychology 4:863.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AABBCC"), "round_no": [1, 2] * 3, "hr_mean_bpm": [160.0, 166, 150, 159, 171, 174]})
    >>> table = paired_effects(data, "hr_mean_bpm")
    >>> table["measure"].tolist()[:3], table["estimate"].round(2).tolist()[:3]
    (['difference', 'd_z', 'g_z'], [6.0, 2.0, 1.13])
    """
    return effects_of(prepare_rounds(data, outcome), kind=kind)


def effects_of(rows: RoundRows, *, kind: str = "successive", level: float = 0.95) -> pd.DataFrame:
    """Compute `paired_effects` from prepared rows."""
    from ..models import paired_effect_sizes

    lines = []
    for later, earlier in pairs_of(rows.labels, kind):
        names = rows.labels[later], rows.labels[earlier]
        both = rows.wide[list(names)].dropna().to_numpy()
        found = paired_effect_sizes(both[:, 0], both[:, 1], level=level)
        raw = {
            "measure": "difference", "estimate": found.mean_difference, "ci_low": found.ci_low,
            "ci_high": found.ci_high, "method": "mean paired difference in the outcome's unit, t interval",
        }  # fmt: skip
        where = {"contrast": f"{names[0]} - {names[1]}", "later": names[0], "earlier": names[1]}
        for line in (raw, *found.table.to_dict("records")):
            lines.append({**where, **line, "n_athletes": found.n_athletes})
    return pd.DataFrame(lines)[COLUMNS]


def effects_of_steps(rows: RoundRows) -> pd.DataFrame:
    """Give the effect sizes of every step, and of last minus first."""
    steps = effects_of(rows)
    if len(rows.labels) == 2:
        return steps
    whole = effects_of(rows, kind="first")
    return pd.concat([steps, whole[whole["later"] == rows.labels[-1]]], ignore_index=True)


METHODS = {"kenward-roger": "", "cr2": "_cr2"}
"""The two tests that must agree before anything is claimed, and the ending of their columns."""


@dataclass(frozen=True)
class RoundTest(Result):
    """The test of all rounds together."""

    statistic: float  # F test of the mixed model with Kenward-Roger degrees of freedom: the main one
    df_num: float
    df_den: float
    p: float
    # The same F with both degrees of freedom times `epsilon`: allows unequal spread and unequal correlations
    p_epsilon: float
    # Greenhouse-Geisser epsilon of the complete cases; its lower bound where fewer than three athletes are complete
    epsilon: float
    p_gg: float  # Greenhouse-Geisser p of the complete-case analysis of variance, to stand beside
    p_cr2: float  # Cluster-robust (CR2) test of the rounds together
    method: str

    def __getitem__(self, name: str):
        """Read a field by name, as from a row of a table."""
        return getattr(self, name)


@dataclass(frozen=True)
class RoundsComparison(Result):
    """Mixed-model comparison of the rounds, with all athletes, also those with a missing round."""

    outcome: str
    labels: tuple[str, ...]  # Rounds in order
    overall: RoundTest
    # round_no, estimate (model), standard_error, df, ci_low, ci_high, observed_mean, observed_sd, n_athletes, tested (False
    # for what came before sparring: observed only, with a t interval)
    means: pd.DataFrame
    # Each round against the one before: contrast, later, earlier, kind, estimate, standard_error, df, statistic, p,
    # p_adjusted (Holm within the kind), ci_low, ci_high, ci_low_bonferroni, ci_high_bonferroni (Kenward-Roger), the same
    # ending in `_cr2` (cluster-robust), changed (both adjusted p below alpha), agree (both say the same)
    contrasts: pd.DataFrame
    pairwise: pd.DataFrame  # The same columns for all pairs, and for each round against the first
    versus_first: pd.DataFrame
    effect_sizes: pd.DataFrame  # Of every step and of last minus first; see `paired_effects`
    # Type III tests of the covariates: term, estimate (slope of a numeric one), standard_error, ci_low, ci_high, statistic
    # (F), df_num, df_den, p; empty where there are none
    covariates: pd.DataFrame
    # Complete-case analysis of variance; None where fewer than two athletes are complete
    anova: RoundsAnova | None
    variances: dict  # "athlete" and "residual" variance
    fit: object
    # The same without what `allows_for` names: values off the scale at its end, bouts as if independent
    plain_fit: object
    # "" for the plain model; "values off the scale" where they enter as censored; "bouts" where the two of a bout may be
    # alike or opposed
    allows_for: str
    n_athletes: int  # In the model
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def compare_rounds(
    data: pd.DataFrame,
    outcome: str,
    *,
    covariates: Sequence[str] = (),
    alpha: float = 0.05,
    round_variable: str = "round_no",
) -> RoundsComparison:
    """Compare the rounds by a mixed model with a random intercept per athlete.

    When to use: the main analysis of a measured outcome, also with missing rounds. When not: to claim that nothing changed;
    that takes `equivalence` or `find_plateau`.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome; one row per athlete and round of one session.
    outcome : str
        A numeric column.
    covariates : sequence of str
        Numeric or text columns to adjust for. Default none.
    alpha : float
        Level for `changed` and `agree`. Default 0.05.
    round_variable : str
        The column that orders the rounds. Default "round_no".

    Returns
    -------
    RoundsComparison
        overall, means, contrasts, pairwise, versus_first, effect_sizes, anova, left_out.

    Raises
    ------
    KitError
        Where a column is missing, or fewer than two rounds or athletes hold values.

    Notes
    -----
    outcome ~ round + (1 | athlete), REML. Kenward-Roger tests assume one residual spread for all rounds; CR2 tests do not, and
    equal the paired t test on complete data. They stand side by side, and a change is claimed only where both agree.

    References
    ----------
    Kenward & Roger 1997, Biometrics 53:983; Bell & McCaffrey 2002, Survey Methodology 28:169; Pustejovsky & Tipton
    2018, Journal of Business & Economic Statistics 36:672; Holm 1979, Scandinavian Journal of Statistics 6:65.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AAABBBCCCDD"), "round_no": [1, 2, 3] * 3 + [1, 2],
    ...     "hr_mean_bpm": [160.0, 168, 171, 150, 161, 160, 171, 176, 180, 158, 163]})
    >>> result = compare_rounds(data, "hr_mean_bpm")
    >>> list(result.contrasts["contrast"]), result.n_athletes
    (['2 - 1', '3 - 2'], 4)
    """
    rows = prepare_rounds(data, outcome, keep=tuple(covariates), round_variable=round_variable)
    return compare_of(rows, covariates=covariates, alpha=alpha)


def compare_of(rows: RoundRows, *, covariates: Sequence[str] = (), alpha: float = 0.05) -> RoundsComparison:
    """Compute `compare_rounds` from prepared rows."""
    alpha = check_number(alpha, name="alpha", low=0, high=1)
    rows, terms = with_covariates(rows, covariates)
    plain = fit_rounds(rows, terms)
    fit, allows_for, remarks = allowing(rows, plain)
    anova = anova_of(rows) if len(rows.complete()) >= 2 else None
    warnings = [*rows.warnings, *getattr(fit, "warnings", ()), *remarks]
    contrasts = contrast_table(fit, kind="successive", alpha=alpha)
    disagree = contrasts.loc[~contrasts["agree"], "contrast"]
    for name in disagree:
        warnings.append(
            f"For {name} the model with one spread for all rounds and the robust test disagree; no change is claimed."
        )
    return RoundsComparison(
        outcome=rows.outcome, labels=rows.labels, overall=_overall(fit, anova, len(rows.labels)),
        means=_means(fit, rows), contrasts=contrasts, pairwise=contrast_table(fit, kind="pairwise", alpha=alpha),
        versus_first=contrast_table(fit, kind="first", alpha=alpha), effect_sizes=effects_of_steps(rows),
        covariates=covariate_tests(fit, terms), anova=anova,
        variances={"athlete": float(fit.variances.group), "residual": float(fit.variances.residual)}, fit=fit,
        plain_fit=plain, allows_for=allows_for, n_athletes=rows.n_athletes, n_observations=rows.n_observations,
        method=METHOD_OF_MODEL[allows_for], left_out=rows.left_out, warnings=tuple(dict.fromkeys(warnings)),
    )  # fmt: skip


CENSORED, BOUTS = "values off the scale", "bouts"
BOUTS_IGNORED = "The two of a bout were taken as independent: the model that allows for bouts could not be fitted."
METHOD_OF_MODEL = {
    "": "linear mixed model with a random intercept per athlete, REML; Kenward-Roger and cluster-robust (CR2) tests",
    CENSORED: "mixed model with a random intercept per athlete and values off the scale as censored; its own and "
    "leave-one-athlete-out tests",
    BOUTS: "linear mixed model with a random intercept per athlete and a correlation between the two of a bout, REML; "
    "Kenward-Roger (no more degrees of freedom than athletes less one) and cluster-robust (CR2) tests",
}


def allowing(rows: RoundRows, plain) -> tuple:
    """The model that allows for values off the scale or for bouts, what it allows for, and remarks."""
    from ..models import refit_censored, refit_pairs

    if LIMIT_COLUMN in rows.table:
        side = rows.table[LIMIT_COLUMN].map({"high": 1, "low": -1}).fillna(0).to_numpy()
        if side.any():
            try:
                return refit_censored(plain, side), CENSORED, []
            except KitError as problem:
                return plain, "", [str(problem)]
    if "opponent" in rows.table:
        bouts, n_pairs = bouts_of(rows)
        if n_pairs >= FEWEST_BOUTS:
            try:
                return refit_pairs(plain, bouts), BOUTS, []
            except KitError:  # too few values to tell bouts from athletes, or too many bouts
                return plain, "", [BOUTS_IGNORED]
    return plain, "", []


def fit_rounds(rows: RoundRows, terms: dict[str, str] | None = None):
    """Fit the random-intercept model to prepared rows."""
    from ..models import fit_mixed

    values = rows.table["value"].to_numpy()
    if np.ptp(values) <= 1e-12 * max(float(np.abs(values).max()), 1e-300):
        raise KitError(
            f"Every value of {rows.outcome} is the same ({values[0]:g}), so there is nothing to compare. Check whether a "
            "default was typed in or a device was stuck."
        )
    formula = " + ".join(["value ~ C(round_no)", *(terms or {})])
    try:
        return fit_mixed(rows.table, formula, group="athlete")
    except KitError as problem:
        said = str(problem)
        for term, name in (terms or {}).items():  # the formula's own names tell nobody which column is meant
            said = said.replace(term.removeprefix("C(").removesuffix(")"), str(name))
        raise KitError(said) from None


def contrast_table(fit, *, kind: str, alpha: float = 0.05) -> pd.DataFrame:
    """Put Kenward-Roger and cluster-robust contrasts side by side."""
    tables = {end: fit.contrasts("round_no", kind=kind, ddf=ddf) for ddf, end in METHODS.items()}
    table = tables[""].copy()
    table["later"], table["earlier"] = table["later"].astype(str), table["earlier"].astype(str)
    robust = tables["_cr2"].set_index(table.index)
    for name in robust:
        if name not in ("contrast", "later", "earlier", "estimate"):
            table[f"{name}_cr2"] = robust[name]
    table.insert(3, "kind", kind)
    below = [table[f"p_adjusted{end}"] < alpha for end in METHODS.values()]
    table["changed"] = below[0] & below[1]
    table["agree"] = below[0] == below[1]
    return table.reset_index(drop=True)


def _overall(fit, anova, k: int) -> RoundTest:
    from scipy import stats

    test, robust = fit.test("C(round_no)"), fit.test("C(round_no)", ddf="cr2")
    trusted = anova is not None and anova.n_athletes >= 3 and np.isfinite(anova.epsilon_gg)
    epsilon = anova.epsilon_gg if trusted else 1 / (k - 1)
    f, df1, df2 = test.statistic, test.df_num, test.df_den
    return RoundTest(
        statistic=f, df_num=df1, df_den=df2, p=test.p,
        p_epsilon=float(stats.f.sf(f, df1 * epsilon, df2 * epsilon)) if np.isfinite(test.p) else np.nan,
        epsilon=epsilon, p_gg=anova.p_gg if anova is not None else np.nan, p_cr2=robust.p,
        method="F test of the mixed model, Kenward-Roger",
    )  # fmt: skip


def _means(fit, rows: RoundRows) -> pd.DataFrame:
    table = fit.means("round_no").rename(columns={"n_athletes": "n"})
    table["round_no"] = table["round_no"].astype(str)
    wide = rows.wide[list(table["round_no"])]
    table = table[["round_no", "estimate", "standard_error", "df", "ci_low", "ci_high"]].assign(
        observed_mean=wide.mean().to_numpy(),
        observed_sd=wide.std().to_numpy(),
        n_athletes=wide.notna().sum().to_numpy(),
        tested=True,
    )
    if len(rows.before):
        table = pd.concat([_before_line(rows.before["value"].to_numpy()), table], ignore_index=True)
    return table


def _before_line(values: np.ndarray) -> pd.DataFrame:
    from scipy import stats

    n, mean = len(values), float(values.mean())
    sd = float(values.std(ddof=1)) if n > 1 else np.nan
    error = sd / np.sqrt(n)
    half = float(stats.t.ppf(0.975, n - 1)) * error if n > 1 else np.nan
    return pd.DataFrame(
        {
            "round_no": ["0"],
            "estimate": mean,
            "standard_error": error,
            "df": n - 1.0,
            "ci_low": mean - half,
            "ci_high": mean + half,
            "observed_mean": mean,
            "observed_sd": sd,
            "n_athletes": n,
            "tested": False,
        }
    )
