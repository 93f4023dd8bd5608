"""The tables of the answer: correlations side by side, slopes side by side, what test error does, within athletes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..basics import KitError
from .adjustment import covariate_words
from .balance import balanced_means
from .correlation import correlate, partial_correlation, t_test_of_r, z_interval
from .fit import CapacityFit, Prepared, fit_prepared, prepare
from .leverage import robust_correlation
from .results import Levels
from .tables import is_text, numeric_design, varies
from .within import correlation_levels

PRIOR = "uniform over -1 to 1 (stretched beta, kappa 1; Ly, Verhagen and Wagenmakers 2016)"
NEAR = 0.2
WITHIN_PAIRS = {"hr": ("lactate_mmol_l", "exertion"), "lactate_mmol_l": ("hr_mean_bpm", "exertion"),
                "exertion": ("hr_mean_bpm", "lactate_mmol_l")}  # fmt: skip


def correlation_table(
    points: pd.DataFrame, *, covariates: Sequence[str], direction: str, alpha: float, seed: int
) -> tuple[pd.DataFrame, bool]:
    """Put every correlation of the athletes' means side by side, and say whether they agree."""
    from ..models import permutation_correlation

    level = 1 - alpha
    x, y = points["capacity"].to_numpy(dtype=float), points["outcome"].to_numpy(dtype=float)
    n, observations = len(points), int(points["n_rounds"].sum())
    pearson = correlate(points, "capacity", "outcome", level=level)
    bca = correlate(points, "capacity", "outcome", level=level, interval="bca", seed=seed)
    spearman = correlate(points, "capacity", "outcome", level=level, method="spearman")
    permuted = permutation_correlation(x, y, alternative="two-sided", seed=seed)
    robust = robust_correlation(x, y)
    statistic, p = t_test_of_r(robust, n - 2, "two-sided")
    low, high = z_interval(robust, n - 3, level)
    lines = [
        _row("Pearson", pearson, f"t; {pearson.interval} interval"),
        {**_row("Pearson, bootstrap", bca, bca.interval), "statistic": np.nan, "df": np.nan, "p": np.nan},
        {"analysis": "Pearson, permutation", "estimate": pearson.estimate, "p": permuted.p, "method": permuted.method},
        _row("Spearman", spearman, f"t approximation; {spearman.interval} interval"),
        {"analysis": "Percentage bend", "estimate": robust, "ci_low": low, "ci_high": high, "statistic": statistic,
         "df": float(n - 2), "p": p, "method": "robust: outer values count less (Wilcox 1994); Fisher interval"},
    ]  # fmt: skip
    main = pd.DataFrame(lines)
    if covariates:
        partial = _try_partial(points, covariates, level)
        if partial is not None:
            lines.append(_row("Partial", partial, f"at equal {covariate_words(covariates)}; Fisher interval"))
    for side in ["two-sided"] + (
        [{"lower": "less", "higher": "greater"}[direction]] if direction != "differs" else []
    ):
        lines.append(
            {"analysis": "Bayes factor" + ("" if side == "two-sided" else ", expected direction"), "estimate": pearson.estimate,
             "bayes_factor": bayes_factor(pearson.estimate, n, side), "prior": PRIOR if side == "two-sided" else
             PRIOR.replace("-1 to 1", "-1 to 0" if side == "less" else "0 to 1"),
             "method": "evidence for a correlation against none"}
        )  # fmt: skip
    table = pd.DataFrame(lines).assign(n_athletes=n, n_observations=observations)
    columns = ["analysis", "estimate", "ci_low", "ci_high", "statistic", "df", "p", "bayes_factor", "prior", "n_athletes",
               "n_observations", "method"]  # fmt: skip
    return table.reindex(columns=columns), _agree(main)


def bayes_factor(r: float, n: int, alternative: str = "two-sided") -> float:
    """Return the Bayes factor for a correlation against none, prior uniform over the side that `alternative` names.

    Parameters
    ----------
    r : float
    n : int
        Athletes.
    alternative : {"two-sided", "less", "greater"}

    Returns
    -------
    float
        Above 1 speaks for a correlation; not-a-number where r is not defined.

    References
    ----------
    Ly A, Verhagen J, Wagenmakers EJ (2016) J Math Psychol 72:19-32.

    Examples
    --------
    >>> round(bayes_factor(-0.45, 14), 3)
    1.083
    """
    import pingouin

    if not np.isfinite(r) or n < 3:
        return float("nan")
    if abs(r) >= 1:
        return float("inf")
    return float(pingouin.bayesfactor_pearson(r, n, alternative=alternative, method="ly", kappa=1.0))


def slope_table(
    planned: Prepared, fit: CapacityFit, unadjusted: CapacityFit, data: pd.DataFrame, level: float
) -> pd.DataFrame:
    """Put the planned slope, the unadjusted one and those within sexes and groups side by side."""
    lines = [_slope_row("planned", "", fit), _slope_row("unadjusted", "", unadjusted)]
    for column in ("sex", "group"):
        if column not in planned.rows.columns and column not in data.columns:
            continue
        known = data[
            data["athlete"].isin(planned.rows["athlete"].unique())
            & data[column].notna()
            & (data[column].astype(str) != "")
        ]
        if known.groupby("athlete")[column].first().nunique() < 2:
            continue
        others = tuple(c for c in planned.covariates if c != column)
        for value in sorted(known[column].astype(str).unique()):
            part = known[known[column].astype(str) == value]
            lines.append(_level_row(f"within {column}", value, part, planned, others, level))
        if column not in planned.covariates:
            lines.append(
                _level_row(f"within {column}", "all, held equal", known, planned, (*others, column), level)
            )
    return pd.DataFrame(lines)


def within_table(data: pd.DataFrame, outcome: str, level: float) -> tuple[pd.DataFrame, dict[str, Levels]]:
    """Give the correlations within athletes of the outcome with the others, the one between athletes beside each."""
    partners = WITHIN_PAIRS.get(outcome, WITHIN_PAIRS["hr"])
    lines, levels = [], {}
    for other in partners:
        if other not in data.columns or not data[other].notna().any():
            continue
        try:
            found = correlation_levels(data, other, outcome, level=level)
        except KitError:
            continue
        levels[other] = found
        for name, result in (("within athletes", found.within), ("between athletes", found.between)):
            lines.append(
                {
                    "x": other,
                    "y": outcome,
                    "level": name,
                    **_row("", result, f"{result.method}; {result.interval}"),
                }
            )
    return pd.DataFrame(lines).drop(columns="analysis", errors="ignore"), levels


def confounder_table(
    data, capacity, planned: Prepared, column: str, words: str, level: float
) -> pd.DataFrame:
    """Ask whether fitter athletes differ in a column that also moves the outcome, and give the slope at equal values of it."""
    if column not in data.columns or not data[column].notna().any():
        return pd.DataFrame()
    lines = []
    try:
        other = prepare(data, capacity, column)
        means = balanced_means(other.rows, column, cell=other.cell)
        means["capacity"] = other.rows.groupby("athlete", sort=False)["capacity"].first().to_numpy()
        found = correlate(
            means.rename(columns={"mean": "value"}), "capacity", "value", method="spearman", level=level
        )
        lines.append(
            {
                **_row(f"capacity with {words}", found, f"{found.method}; {found.interval} interval"),
                "unit": "correlation",
            }
        )
    except KitError:
        pass
    try:
        fit = fit_prepared(
            prepare(data, capacity, planned.outcome, (*planned.covariates, column)), level=level
        )
        lines.append({**_slope_row(f"slope at equal {words}", "", fit), "unit": f"per {fit.unit}"})
    except KitError:
        pass
    return pd.DataFrame(lines).drop(columns="level", errors="ignore")


def point_table(planned: Prepared, data: pd.DataFrame, capacity: pd.DataFrame) -> pd.DataFrame:
    """One line per athlete of the planned analysis: capacity with its error, the outcome, and the outcome adjusted."""
    rows = planned.rows
    means = balanced_means(rows, planned.outcome, cell=planned.cell).rename(columns={"mean": "outcome"})
    first = rows.groupby("athlete", sort=False).first().reset_index()
    points = means.merge(first[["athlete", planned.capacity, *planned.covariates]], on="athlete")
    numeric = [c for c in planned.covariates if not is_text(rows[c])]
    if numeric:
        points[numeric] = rows.groupby("athlete", sort=False)[numeric].mean().to_numpy()
    design, _ = numeric_design(points, planned.covariates)
    full = np.column_stack([np.ones(len(points)), points[planned.capacity], design])
    beta = np.linalg.lstsq(full, points["outcome"].to_numpy(), rcond=None)[0]
    points["outcome_adjusted"] = points["outcome"] - (design - design.mean(axis=0)) @ beta[2:]
    if "standard_error" in capacity.columns:
        errors = capacity.assign(athlete=capacity["athlete"].astype(str)).set_index("athlete")[
            "standard_error"
        ]
        points["capacity_error"] = points["athlete"].map(errors).astype(float)
    else:
        points["capacity_error"] = np.nan
    own = data.groupby("athlete").first()
    for column in ("sex", "group", "age_years"):
        if column not in points.columns:
            points[column] = points["athlete"].map(own[column]) if column in own.columns else np.nan
    return points


def line_table(points: pd.DataFrame, fit: CapacityFit, n_points: int = 61) -> pd.DataFrame:
    """Return the planned line with its interval band over the range of capacity, at mean covariates."""
    from scipy.special import stdtrit

    x, y = points["capacity"].to_numpy(dtype=float), points["outcome_adjusted"].to_numpy(dtype=float)
    grid = np.linspace(x.min(), x.max(), n_points)
    residual = y - y.mean() - fit.estimate * (x - x.mean())
    centre = np.sqrt(residual @ residual / max(fit.residual_df, 1) / len(x))
    middle = y.mean() + fit.estimate * (grid - x.mean())
    half = stdtrit(fit.df, (1 + fit.level) / 2) * np.hypot(centre, (grid - x.mean()) * fit.standard_error)
    return pd.DataFrame(
        {"capacity": grid, "estimate": middle, "ci_low": middle - half, "ci_high": middle + half}
    )


def _row(analysis: str, result, method: str) -> dict:
    names = ("estimate", "ci_low", "ci_high", "statistic", "df", "p", "n_athletes", "n_observations")
    return {"analysis": analysis, **{k: getattr(result, k) for k in names}, "method": method}


def _slope_row(analysis: str, level: str, fit: CapacityFit) -> dict:
    names = (
        "estimate",
        "standard_error",
        "ci_low",
        "ci_high",
        "statistic",
        "df",
        "p",
        "n_athletes",
        "n_observations",
    )
    values = {k: getattr(fit, k) for k in names}
    return {
        "analysis": analysis,
        "level": level,
        **values,
        "adjusted_for": ", ".join(fit.adjusted_for),
        "method": fit.method,
    }


def _level_row(analysis, value, part, planned: Prepared, covariates, level) -> dict:
    for chosen in (covariates, ()):
        try:
            return _slope_row(
                analysis,
                value,
                fit_prepared(prepare(part, planned.capacity, planned.outcome, chosen), level=level),
            )
        except KitError as error:
            reason = str(error)
    n = part.loc[part[planned.outcome].notna() & part[planned.capacity].notna(), "athlete"].nunique()
    return {
        "analysis": analysis,
        "level": value,
        "n_athletes": n,
        "adjusted_for": "",
        "method": f"not fitted: {reason}",
    }


def _try_partial(points, covariates, level):
    try:
        return partial_correlation(points, "capacity", "outcome", covariates=covariates, level=level)
    except KitError:
        return None


def _agree(main: pd.DataFrame) -> bool:
    """One sign (or so near 0 that signs mean nothing), and the main intervals alike about zero."""
    found = main["estimate"].dropna()
    one_way = not varies(np.sign(found)) or np.ptp(found) < NEAR
    both = main[main["ci_low"].notna() & (main["analysis"] != "Percentage bend")]
    excluding = ((both["ci_low"] > 0) | (both["ci_high"] < 0)).tolist()
    return bool(len(found) and one_way and len(set(excluding)) == 1)
