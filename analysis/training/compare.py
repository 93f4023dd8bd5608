"""The effect of training: follow-up on group and baseline, everyone as allocated; the same from printed summaries."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, check_number, left_out_table
from .linear import METHOD_WORDS, METHODS, one_fit, prepare


@dataclass(frozen=True)
class GroupComparison(Result):
    """Trained minus reference at follow-up, for athletes who started equal."""

    estimate: float
    standard_error: float
    df: float
    statistic: float
    p: float
    ci_low: float
    ci_high: float
    ci90_low: float  # of two one-sided tests
    ci90_high: float
    slope: float  # follow-up per unit of baseline
    trained: str
    reference: str
    n_athletes: int
    n_trained: int
    n_reference: int
    followup_alone: float  # the same without the baseline: shown, never the result
    change_alone: float  # the same of the changes: likewise
    baseline_difference: float  # trained minus reference before training
    method: str
    level: float = 0.95
    coefficients: pd.DataFrame = field(default_factory=pd.DataFrame)  # term, estimate
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


def compare_groups(
    table, *, outcome, baseline, group, reference, covariates=(), method="hc2", level=0.95
) -> GroupComparison:
    """Compare a trained group with a reference group at follow-up, given the baseline.

    Parameters
    ----------
    table : DataFrame
        One row per athlete; a column `athlete` where there are codes.
    outcome : str
        Column of the follow-up.
    baseline : str or sequence of str
        Column of the baseline, or several, whose mean counts.
    group : str
        Column of the group as allocated.
    reference : str
        The group that did not add the training.
    covariates : sequence of str
        Further columns, numbers or categories. Default none.
    method : str
        "hc2" (default), "ols" or "hc3".
    level : float
        Of the interval. Default 0.95.

    Returns
    -------
    GroupComparison
        estimate, standard_error, df, p, ci_low, ci_high, n_athletes, left_out and what else a reader needs.

    Raises
    ------
    KitError
        Where a column, a group or athletes are missing.

    When to use
    -----------
    Two groups of which chance decided who is in which, and one baseline value each. Not for before and after in one group,
    and not for groups that chose themselves: the baseline does not take away why they chose.

    Notes
    -----
    follow-up = a + b group + c baseline + covariates + error. HC2 divides each squared residual by 1 - h, its own pull on the
    fit; the degrees of freedom are those of Bell and McCaffrey under equal spread, (tr G)² / tr G².

    References
    ----------
    Vickers & Altman (2001) BMJ 323:1123; Bell & McCaffrey (2002) Survey Methodology 28:169; MacKinnon & White (1985) Journal
    of Econometrics 29:305 (HC2, HC3).

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"pre": [44, 47, 50, 45, 46, 51], "post": [49, 50, 55, 46, 45, 53],
    ...                       "arm": ["trained"] * 3 + ["control"] * 3})
    >>> result = compare_groups(table, outcome="post", baseline="pre", group="arm", reference="control")
    >>> round(result.estimate, 2), result.n_athletes
    (3.72, 6)
    """
    from scipy import stats

    check_choice(method, METHODS, name="method")
    level = check_number(level, name="level", low=0, high=1)
    data = prepare(table, outcome=outcome, baseline=baseline, group=group, reference=reference, covariates=covariates)
    beta, error, df = one_fit(data.group, data.y, data.rest, method=method)
    warnings = list(data.warnings)
    if not error > 1e-12 * max(1.0, float(np.abs(data.y).max())):
        warnings.append("The athletes lie on two lines without any scatter: no standard error. Were values copied?")
        error, df = float("nan"), float("nan")
    estimate = float(beta[-1])
    statistic = estimate / error
    half = stats.t.ppf(0.5 + level / 2, df) * error
    half90 = stats.t.ppf(0.95, df) * error
    is_trained = data.group == 1

    def apart(values):
        return float(values[is_trained].mean() - values[~is_trained].mean())

    return GroupComparison(
        estimate=estimate,
        standard_error=error,
        df=df,
        statistic=float(statistic),
        p=float(2 * stats.t.sf(abs(statistic), df)),
        ci_low=float(estimate - half),
        ci_high=float(estimate + half),
        ci90_low=float(estimate - half90),
        ci90_high=float(estimate + half90),
        slope=float(beta[1]) if "baseline" in data.terms else float("nan"),
        trained=data.trained,
        reference=str(reference),
        n_athletes=len(data.y),
        n_trained=int(is_trained.sum()),
        n_reference=int((~is_trained).sum()),
        followup_alone=apart(data.y),
        change_alone=apart(data.y - data.baseline),
        baseline_difference=apart(data.baseline),
        method=METHOD_WORDS[method],
        level=level,
        coefficients=pd.DataFrame({"term": [*data.terms, data.trained], "estimate": beta}),
        left_out=data.left_out,
        warnings=tuple(warnings),
    )


@dataclass(frozen=True)
class SummaryEffect(Result):
    """An effect from the means and standard deviations that a paper prints."""

    estimate: float
    standard_error: float
    df: float
    statistic: float
    p: float
    ci_low: float
    ci_high: float
    slope: float  # follow-up per unit of baseline, pooled within groups
    followup_alone: float
    change_alone: float
    n_athletes: int
    method: str
    level: float = 0.95


def effect_from_summaries(
    *, n, baseline_mean, baseline_sd, followup_mean, followup_sd, change_sd=None, correlation=None, level=0.95
) -> SummaryEffect:
    """Compute the analysis of covariance of two groups from printed means and standard deviations.

    Parameters
    ----------
    n, baseline_mean, baseline_sd, followup_mean, followup_sd : pair of float
        Of the reference group and of the trained group, in this order.
    change_sd : pair of float, optional
        Standard deviations of the changes; or
    correlation : float or pair of float, optional
        of baseline and follow-up within the groups. One of the two is needed.
    level : float
        Of the interval. Default 0.95.

    Returns
    -------
    SummaryEffect
        estimate, standard_error, df, p, ci_low, ci_high, slope, followup_alone, change_alone.

    When to use
    -----------
    To compare your result with a paper that prints a table of means and SDs. The ordinary analysis of covariance is what
    summaries allow; it takes both groups to have one slope and one residual spread.

    Notes
    -----
    Correlation within a group from the SD of the changes: (SD0² + SD1² - SDchange²) / (2 SD0 SD1).

    References
    ----------
    Vickers & Altman (2001) BMJ 323:1123.

    Examples
    --------
    >>> result = effect_from_summaries(n=(27, 25), baseline_mean=(53.9, 60.4), baseline_sd=(14, 12.3),
    ...     followup_mean=(62.3, 79.6), followup_sd=(17.9, 17.1), change_sd=(14.6, 16.1))
    >>> round(result.estimate, 2), round(result.slope, 4)
    (12.71, 0.7054)
    """
    from scipy import stats

    n = _pair(n, "n", low=2)
    m0, s0 = _pair(baseline_mean, "baseline_mean", low=None), _pair(baseline_sd, "baseline_sd", low=0)
    m1, s1 = _pair(followup_mean, "followup_mean", low=None), _pair(followup_sd, "followup_sd", low=0)
    if (change_sd is None) == (correlation is None):
        raise KitError("Give the SDs of the changes (change_sd) or the correlation, and not both.")
    if change_sd is not None:
        r = (s0**2 + s1**2 - _pair(change_sd, "change_sd", low=0) ** 2) / (2 * s0 * s1)
    else:
        r = _pair((correlation, correlation) if np.isscalar(correlation) else correlation, "correlation", low=None)
    if np.any(np.abs(r) > 1):
        given = ", ".join(f"{v:.2f}" for v in r)
        raise KitError(
            f"These SDs give a correlation of {given} of baseline and follow-up, which no data have: one SD is misread, or is a "
            "standard error."
        )
    inside = n - 1
    within_x = float(np.sum(inside * s0**2))
    slope = float(np.sum(inside * r * s0 * s1)) / within_x
    df = float(n.sum() - 3)
    residual = (float(np.sum(inside * s1**2)) - slope**2 * within_x) / df
    gap = float(m0[1] - m0[0])
    estimate = float(m1[1] - m1[0]) - slope * gap
    error = float(np.sqrt(max(residual, 0) * (1 / n[0] + 1 / n[1] + gap**2 / within_x)))
    half = float(stats.t.ppf(0.5 + level / 2, df)) * error
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = float(np.divide(estimate, error))
    return SummaryEffect(
        estimate=estimate,
        standard_error=error,
        df=df,
        statistic=statistic,
        p=float(2 * stats.t.sf(abs(statistic), df)),
        ci_low=estimate - half,
        ci_high=estimate + half,
        slope=slope,
        followup_alone=float(m1[1] - m1[0]),
        change_alone=float(m1[1] - m1[0]) - gap,
        n_athletes=int(n.sum()),
        method=METHOD_WORDS["ols"] + ", from printed summaries",
        level=level,
    )


def _pair(values, name, *, low):
    try:
        found = np.array([float(v) for v in values])
    except (TypeError, ValueError):
        found = np.array([])
    if found.shape != (2,) or not np.isfinite(found).all() or (low is not None and (found <= low).any()):
        above = "" if low is None else f", each above {low:g}"
        raise KitError(f"{name} must be two numbers, reference group first{above}, but is {values!r}.")
    return found
