"""`answer_capacity`: the whole answer to "do fitter athletes respond less?" for one outcome."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from ..basics import KitError, check_choice, left_out_table
from ..basics.errors import need_columns
from .adjustment import (
    GUARD_COLUMNS,
    PLANNED_RESIDUAL_DF,
    balanced_means,
    choose_covariates,
    covariate_words,
    default_step,
    guard_row,
    is_heart_rate,
    measured_only,
)
from .beside import beside_table, influence, join_athletes, robust_correlation, specifications
from .correlation import correlate, correlation_levels, partial_correlation, t_test_of_r, z_interval
from .error import error_table, true_contrast, within_bound
from .fit import (
    FIT_COLUMNS,
    CapacityFit,
    Prepared,
    fit_prepared,
    join_capacity,
    off_scale_guard,
    off_scale_slopes,
    place_off_scale,
    prepare,
    second_opinion,
    t_limits,
    widest,
)
from .measure import judge_guards, refuse, set_aside
from .related import drift_and_recovery
from .results import DIRECTIONS, NEGLIGIBLE, CapacityAnswer, Levels, Refused, judge, judge_difference
from .tables import by_bout, is_text, numeric_design, varies

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
    for side in ["two-sided"] + ([{"lower": "less", "higher": "greater"}[direction]] if direction != "differs" else []):
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

    Ly A, Verhagen J, Wagenmakers EJ (2016) J Math Psychol 72:19-32.
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
    lines += second_opinion(planned, level)
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
            lines.append(_level_row(f"within {column}", "all, held equal", known, planned, (*others, column), level))
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
                {"x": other, "y": outcome, "level": name, **_row("", result, f"{result.method}; {result.interval}")}
            )
    return pd.DataFrame(lines).drop(columns="analysis", errors="ignore"), levels


def confounder_table(data, capacity, planned: Prepared, column: str, words: str, level: float) -> pd.DataFrame:
    """Ask whether fitter athletes differ in a column that also moves the outcome, and give the slope at equal values of it."""
    if column not in data.columns or not data[column].notna().any():
        return pd.DataFrame()
    lines = []
    try:
        other = prepare(data, capacity, column)
        means = balanced_means(other.rows, column, cell=other.cell)
        means["capacity"] = other.rows.groupby("athlete", sort=False)["capacity"].first().to_numpy()
        found = correlate(means.rename(columns={"mean": "value"}), "capacity", "value", method="spearman", level=level)
        lines.append(
            {
                **_row(f"capacity with {words}", found, f"{found.method}; {found.interval} interval"),
                "unit": "correlation",
            }
        )
    except KitError:
        pass
    try:
        fit = fit_prepared(prepare(data, capacity, planned.outcome, (*planned.covariates, column)), level=level)
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
        errors = capacity.assign(athlete=capacity["athlete"].astype(str)).set_index("athlete")["standard_error"]
        points["capacity_error"] = points["athlete"].map(errors).astype(float)
    else:
        points["capacity_error"] = np.nan
    if "error_kind" in capacity.columns:
        kinds = capacity.assign(athlete=capacity["athlete"].astype(str)).set_index("athlete")["error_kind"]
        points["error_kind"] = points["athlete"].map(kinds)
    own = data.groupby("athlete").first()
    for column in ("sex", "group", "age_years"):
        if column not in points.columns:
            points[column] = points["athlete"].map(own[column]) if column in own.columns else np.nan
    return points


def line_table(points: pd.DataFrame, fit: CapacityFit) -> pd.DataFrame:
    """Return the planned line with its interval band over the range of capacity, at mean covariates."""
    from scipy.special import stdtrit

    x, y = points["capacity"].to_numpy(dtype=float), points["outcome_adjusted"].to_numpy(dtype=float)
    grid = np.linspace(x.min(), x.max(), 61)
    residual = y - y.mean() - fit.estimate * (x - x.mean())
    centre = np.sqrt(residual @ residual / max(fit.residual_df, 1) / len(x))
    middle = y.mean() + fit.estimate * (grid - x.mean())
    half = stdtrit(fit.df, (1 + fit.level) / 2) * np.hypot(centre, (grid - x.mean()) * fit.standard_error)
    return pd.DataFrame({"capacity": grid, "estimate": middle, "ci_low": middle - half, "ci_high": middle + half})


def _row(analysis: str, result, method: str) -> dict:
    names = ("estimate", "ci_low", "ci_high", "statistic", "df", "p", "n_athletes", "n_observations")
    return {"analysis": analysis, **{k: getattr(result, k) for k in names}, "method": method}


def _slope_row(analysis: str, level: str, fit: CapacityFit) -> dict:
    values = {k: getattr(fit, k) for k in FIT_COLUMNS[:-1]}
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
                analysis, value, fit_prepared(prepare(part, planned.capacity, planned.outcome, chosen), level=level)
            )
        except KitError as error:
            reason = str(error)
    n = part.loc[part[planned.outcome].notna() & part[planned.capacity].notna(), "athlete"].nunique()
    return {
        "analysis": analysis, "level": value, "n_athletes": n, "adjusted_for": "", "method": f"not fitted: {reason}",
    }  # fmt: skip


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


CAUTION_HEART_RATE = (
    "heart rate in grappling overstates oxygen uptake: isometric holds, heat, arousal and dehydration raise it without "
    "more aerobic work"
)
CAUTION_CAUSE = (
    "athletes were compared as they are: a difference between fitter and less fit athletes is no proof that training "
    "would change an athlete's response"
)
NOT_NEGLIGIBLE = (
    "the fitness test's error shrinks the slope: between athletes who are truly so far apart the difference was not shown to "
    "be too small to matter"
)
CAUTION_WORK = "fitter athletes may do more work in a round, which can hide or reverse a lower response"


def answer_capacity(
    rows: pd.DataFrame, capacity: pd.DataFrame, athletes: pd.DataFrame, outcome: str, *, smallest_effect: float,
    capacity_step: float | None = None, contrast_step: float | None = None, direction: str = "lower",
    alpha: float = 0.05, covariates: Sequence[str] | None = None, covariates_why: str = "as planned", seed: int = 0,
    smallest_effects: Mapping[str, float] | None = None, alternative_rows: Mapping[str, pd.DataFrame] | None = None,
    limit: tuple[float, float] | None = None, round_variable: str = "round_no", chart: bool = True,
) -> CapacityAnswer | Refused:  # fmt: skip
    """Answer whether fitter athletes respond less, for one outcome.

    Parameters
    ----------
    rows : DataFrame
        One row per athlete and round (of the primary session): athlete, round_no, the outcome, and what else there is.
    capacity : DataFrame
        From `measure_capacity`.
    athletes : DataFrame
        athlete, sex, age_years, hr_max_bpm, hr_max_source, hr_limited, group ...
    outcome : str
        For example "hr_mean_bpm".
    smallest_effect : float
        The smallest effect that matters, in the unit of the outcome, between athletes who are `contrast_step` apart.
    capacity_step : float, optional
        The step that the effect is stated for; default 5 mL/kg/min, or what that is at 80 kg in another unit.
    contrast_step : float, optional
        How far apart in capacity two athletes are whose difference the verdict judges: a fit and a less fit athlete of
        one club. Default two steps (10 mL/kg/min, about two SD of trained grapplers; proposal of the kit).
    direction : {"lower", "higher", "differs"}
        Expected of fitter athletes; default "lower".
    alpha : float
        Default 0.05: intervals of 95 %, equivalence by the 90 % interval.
    covariates : sequence of str, optional
        The plan's, empty for none; default the rule of `choose_covariates`.
    covariates_why : str
        Who says so, for the reason. Default "as planned".
    seed : int
        Of bootstrap and permutation; default 0.
    smallest_effects, alternative_rows : mapping, optional
        For the chart of all analyses: see `specifications`.
    limit : (float, float), optional
        Lower and upper end of the lactate analyser's scale, mmol/L; default the smallest and largest value read.
        Readings off the scale (column lactate_limit) stand at its end, and the verdict holds wherever they lie.
    round_variable : str
        "round_no" or "bout_no": which number orders the rounds, from the plan.
    chart : bool
        False leaves the chart of all analyses out (it takes most of the time).

    Returns
    -------
    CapacityAnswer or Refused
        Refused (falsy) says why and what to do: a circular test, fewer than 4 athletes, capacity that does not vary.

    Examples
    --------
    >>> club = pd.DataFrame({"athlete": list("ABCDEF"), "capacity": [44.0, 47, 50, 52, 55, 58], "unit": "mL/kg/min"})
    >>> rows = pd.DataFrame({"athlete": np.repeat(list("ABCDEF"), 2), "round_no": [1, 2] * 6,
    ...                      "lactate_mmol_l": [6, 8, 5, 8, 5, 7, 5, 6, 4, 6, 4, 5.5]})
    >>> answer_capacity(rows, club, club[["athlete"]], "lactate_mmol_l", smallest_effect=1.0, chart=False).verdict
    'supported'
    """
    check_choice(direction, DIRECTIONS, name="direction")
    rows = by_bout(rows, round_variable)
    alternative_rows = {name: by_bout(table, round_variable) for name, table in (alternative_rows or {}).items()}
    need_columns(rows, ["athlete", outcome], what="the table of rounds")
    need_columns(athletes, ["athlete"], what="the table of athletes")
    need_columns(capacity, ["athlete", "capacity"], what="the table of capacity")
    if not 0 < alpha < 0.5:
        raise KitError(f"alpha is {alpha!r}, but must lie between 0 and 0.5.")
    unit = str(capacity["unit"].iloc[0]) if "unit" in capacity.columns and len(capacity) else ""
    data, off = place_off_scale(join_athletes(rows, athletes), outcome, limit)
    data, aside, guards = set_aside(data, capacity, outcome)
    if isinstance(data, Refused):
        return data
    step = default_step(unit) if capacity_step is None else float(capacity_step)
    if not step > 0:
        raise KitError(
            f"capacity is in {unit or 'no known unit'}: say with capacity_step what step an effect is stated for."
        )
    club = athletes[athletes["athlete"].astype(str).isin(data.loc[data["_used"], "athlete"].unique())]
    sources = club
    data, club = measured_only(data.drop(columns="_used")), measured_only(club)
    counted = _with_row_covariates(club, data, covariates)
    adjustment = choose_covariates(outcome, counted, covariates, why=covariates_why)
    level = 1 - alpha
    apart = 2 * step if contrast_step is None else float(contrast_step)
    if not apart > 0:
        raise KitError(f"contrast_step is {contrast_step!r}, but must be above 0.")
    try:
        bare = prepare(data, capacity, outcome)
        planned = prepare(data, capacity, outcome, adjustment.covariates, least_df=PLANNED_RESIDUAL_DF)
        planned = replace(planned, left_out=_in_words(planned.left_out))
        fit, unadjusted = fit_prepared(planned, level=level), fit_prepared(bare, level=level)
    except KitError as error:
        return refuse(outcome, str(error), "more athletes, or values that differ between athletes", guards, aside)
    guards += judge_guards(outcome, capacity, sources, planned, adjustment)
    points = point_table(planned, data, capacity)
    limits = [apart * v for v in (fit.ci_low, fit.ci_high, fit.ci90_low, fit.ci90_high)]
    elsewhere = off_scale_slopes(planned, off, level=level)
    if len(elsewhere):
        limits = [apart * v for v in widest(elsewhere)]
        guards.append(off_scale_guard(planned, off, elsewhere, step=step))
    verdict = judge(*limits, smallest_effect=smallest_effect, direction=direction)
    beside = beside_table(
        data, capacity, fit, apart=apart, smallest_effect=smallest_effect, smallest_effects=smallest_effects or {},
        direction=direction, level=level,
    )  # fmt: skip
    correlations, agree = correlation_table(
        points, covariates=planned.covariates, direction=direction, alpha=alpha, seed=seed
    )
    errors, correction, notes = error_table(points, capacity, planned, fit, unit=unit, step=step, seed=seed)
    true = true_contrast(errors, fit, apart / step)
    if verdict == NEGLIGIBLE and not within_bound(true, smallest_effect):
        verdict = judge_difference(*limits[:2], direction=direction)
        guards.append(guard_row("test error", "warned", fit.n_athletes, NOT_NEGLIGIBLE))
    within, levels = within_table(data, outcome, level)
    joined = join_capacity(data, capacity)[0]
    choices = _chart(
        chart, data, capacity, club, planned, smallest_effect, apart, level, smallest_effects, alternative_rows
    )
    return CapacityAnswer(
        outcome=outcome,
        capacity_unit=unit,
        direction=direction,
        capacity_step=step,
        alpha=alpha,
        effect=step * fit.estimate,
        effect_ci_low=step * fit.ci_low,
        effect_ci_high=step * fit.ci_high,
        contrast_step=apart,
        smallest_effect=float(smallest_effect),
        contrast=apart * fit.estimate,
        contrast_ci_low=limits[0],
        contrast_ci_high=limits[1],
        contrast_ci90_low=limits[2],
        contrast_ci90_high=limits[3],
        true_contrast=true[0],
        true_contrast_ci_low=true[1],
        true_contrast_ci_high=true[2],
        true_contrast_ci90_low=true[3],
        true_contrast_ci90_high=true[4],
        verdict=verdict,
        planned=fit,
        unadjusted=unadjusted,
        adjusted_for=planned.covariates,
        adjustment_reason=adjustment.reason,
        departs=adjustment.departs,
        beside=beside,
        slopes=slope_table(planned, fit, unadjusted, joined, level),
        correlations=correlations,
        correlations_agree=agree,
        within=within,
        levels=levels,
        drift=drift_and_recovery(data, capacity, outcome, level=level),
        influence=_influence(points, choices, step, smallest_effect, direction, alpha),
        errors=errors,
        correction=correction,
        specifications=choices,
        activity=confounder_table(data, capacity, planned, "activity_rating", "activity rating", level),
        delay=confounder_table(data, capacity, planned, "lactate_delay_s", "sampling delay", level)
        if outcome == "lactate_mmol_l"
        else pd.DataFrame(),
        off_scale=elsewhere,
        points=points,
        line=line_table(points, fit),
        guards=pd.DataFrame(guards, columns=list(GUARD_COLUMNS)),
        cautions=((CAUTION_HEART_RATE,) if is_heart_rate(outcome) else ()) + (CAUTION_CAUSE, CAUTION_WORK),
        n_athletes=fit.n_athletes,
        n_observations=fit.n_observations,
        method=fit.method,
        left_out=pd.concat([left_out_table(aside), planned.left_out], ignore_index=True),
        warnings=tuple(dict.fromkeys([*adjustment.warnings, *fit.warnings, *notes])),
    )


def _in_words(left_out: pd.DataFrame) -> pd.DataFrame:
    """Say of a missing maximum that it is a measured one that is missing."""
    words = {"no value of hr_max_bpm": "no measured maximal heart rate, which is held equal"}
    return left_out.assign(reason=left_out["reason"].replace(words)) if len(left_out) else left_out


def _with_row_covariates(club: pd.DataFrame, data: pd.DataFrame, covariates) -> pd.DataFrame:
    """Give planned covariates that vary from round to round an athlete's mean, so that they can be counted."""
    club = club.assign(athlete=club["athlete"].astype(str))
    for column in covariates or ():
        if column in data.columns and column not in club.columns and pd.api.types.is_numeric_dtype(data[column]):
            club[column] = club["athlete"].map(data.groupby("athlete")[column].mean())
    return club


def _chart(chart, data, capacity, club, planned, smallest_effect, apart, level, smallest_effects, alternative_rows):
    if not chart:
        return None
    return specifications(
        data, capacity, club, planned.outcome, smallest_effect=smallest_effect, contrast_step=apart,
        covariates=planned.covariates, level=level, smallest_effects=smallest_effects, alternative_rows=alternative_rows,
    )  # fmt: skip


def _influence(points, choices, step, smallest_effect, direction, alpha) -> pd.DataFrame:
    table = influence(points, "capacity", "outcome_adjusted", level=1 - alpha)
    without = ["planned_effect", "planned_ci_low", "planned_ci_high", "verdict"]
    if choices is None:
        return table.assign(**dict.fromkeys(without[:3], np.nan), verdict="")
    lines = choices.table[choices.table["left_out_athlete"] != ""].set_index("left_out_athlete")
    lines = lines.reindex(table["athlete"])
    verdicts = []
    for _, line in lines.iterrows():
        low, high = t_limits(line["estimate"], line["standard_error"], line["df"], 1 - 2 * alpha)
        ends = [line["step"] * v for v in (line["ci_low"], line["ci_high"], low, high)]
        verdicts.append(judge(*ends, smallest_effect=smallest_effect, direction=direction))
    return table.assign(
        planned_effect=step * lines["estimate"].to_numpy(),
        planned_ci_low=step * lines["ci_low"].to_numpy(),
        planned_ci_high=step * lines["ci_high"].to_numpy(),
        verdict=verdicts,
    )
