"""The slope of an outcome on capacity: mixed model over the rounds, small-sample interval, unit the athlete."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..basics import ESTIMATE_COLUMNS, KitError, format_ci, format_number, left_out_table, plural
from ..basics.errors import need_columns
from ..rounds.bounds import LIMIT_COLUMN, OffScale, find_limits
from ..study.outcomes import OUTCOMES, digits_of
from .adjustment import (
    MINIMUM_RESIDUAL_DF,
    balanced_means,
    check_residual_df,
    flat_within,
    guard_row,
    set_aside_circular,
)
from .results import CapacityFit
from .tables import is_text, left_out_rows, numeric_design, usable_rows, varies

MINIMUM_ATHLETES = 4
FIT_COLUMNS = tuple(c for c in ESTIMATE_COLUMNS if c not in ("df_num", "df_den", "p_adjusted"))
HC3 = "athletes' means, HC3, by another library"
NO_SPREAD = (
    "no variance between athletes was found beyond that of their rounds; degrees of freedom still count athletes"
)


def fit_capacity(
    data: pd.DataFrame,
    capacity: str | pd.DataFrame,
    outcome: str,
    *,
    covariates: Sequence[str] = (),
    level: float = 0.95,
) -> CapacityFit:
    """Fit the slope of an outcome on capacity between athletes.

    Parameters
    ----------
    data : DataFrame
        One row per athlete and round: `athlete`, `round_no`, the outcome, the covariates. Round 0 is left out.
    capacity : str or DataFrame
        A column of `data` with one value per athlete, or the table of `measure_capacity`.
    outcome : str
        A column of numbers.
    covariates : sequence of str
        Columns to hold equal: numbers, or words (sex, group). Default none.
    level : float
        Of the interval; default 0.95.

    Returns
    -------
    CapacityFit
        `estimate`: change of the outcome per one unit of capacity.

    Raises
    ------
    CircularTestError
        Where the outcome is heart rate and every capacity was estimated from heart rate.
    KitError
        Where covariates leave fewer than 8 residual degrees of freedom between athletes, or fewer than 4 athletes
        have both values.

    Notes
    -----
    outcome = round + slope · capacity + covariates + athlete + residual, by restricted maximum likelihood, athlete
    random; interval and p with the Kenward-Roger covariance and degrees of freedom. With balanced rounds the p value is
    that of the Pearson correlation of the athletes' means. With one row per athlete it is ordinary regression.

    References
    ----------
    Kenward MG, Roger JH (1997) Biometrics 53:983-997.

    Examples
    --------
    >>> d = pd.DataFrame({"athlete": list("AABBCCDDEE"), "round_no": [1, 2] * 5,
    ...                   "fit": np.repeat([44.0, 48, 51, 55, 58], 2),
    ...                   "hr": [172.0, 178, 173, 177, 168, 175, 166, 170, 164, 171]})
    >>> result = fit_capacity(d, "fit", "hr")
    >>> round(result.estimate, 2), round(result.df, 6)
    (-0.63, 3.0)
    """
    prepared = prepare(data, capacity, outcome, covariates)
    return fit_prepared(prepared, level=level)


@dataclass(frozen=True)
class Prepared:
    """Rows ready to be fitted: numbers, one capacity per athlete, covariates that vary, and what was left out."""

    rows: pd.DataFrame
    capacity: str
    outcome: str
    unit: str
    covariates: tuple[str, ...]
    cell: str
    residual_df: int
    left_out: pd.DataFrame
    warnings: tuple[str, ...]

    @property
    def n_athletes(self) -> int:
        """Athletes in the rows."""
        return int(self.rows["athlete"].nunique())


def prepare(
    data: pd.DataFrame,
    capacity: str | pd.DataFrame,
    outcome: str,
    covariates: Sequence[str] = (),
    *,
    least_df: int = MINIMUM_RESIDUAL_DF,
) -> Prepared:
    """Join, guard and count: what `fit_capacity` and everything beside it start from."""
    need_columns(data, ["athlete"])
    covariates = [covariates] if isinstance(covariates, str) else list(dict.fromkeys(covariates))
    data, capacity, unit = join_capacity(data, capacity)
    need_columns(data, [capacity, outcome, *covariates])
    data, left = set_aside_circular(data, capacity, outcome)
    texts = [c for c in covariates if is_text(data[c])]
    numbers = [c for c in covariates if c not in texts]
    rows, missing = usable_rows(data, [capacity, outcome, *numbers], texts)
    left += missing
    if "round_no" in rows.columns:
        blank = rows["round_no"].isna()
        if blank.any() and not blank.all():
            left += left_out_rows(rows, blank, "no round number")
            rows = rows[~blank].reset_index(drop=True)
    varying = rows.groupby("athlete")[capacity].agg(varies).astype(bool)
    if varying.any():
        raise KitError(
            f"athlete {varying.index[varying][0]!r} has more than one value of {capacity!r}; the unit is the athlete, so "
            "an athlete needs one capacity (see measure_capacity)."
        )
    n = rows["athlete"].nunique()
    if n < MINIMUM_ATHLETES:
        raise KitError(
            f"the slope of {outcome} on {capacity} needs at least {MINIMUM_ATHLETES} athletes with both values; "
            f"there {'is' if n == 1 else 'are'} {n}."
        )
    if not varies(rows[capacity]):
        raise KitError(f"{capacity} is the same for every athlete, so there is no slope to speak of.")
    kept = [c for c in covariates if varies(rows[c])]
    warnings = tuple(f"{c} is the same in every row, so it was not adjusted for" for c in covariates if c not in kept)
    width = numeric_design(rows.groupby("athlete")[kept].first(), kept)[0].shape[1] if kept else 0
    cell, note = _cells(rows)
    return Prepared(
        rows=rows, capacity=capacity, outcome=outcome, unit=unit, covariates=tuple(kept), cell=cell,
        residual_df=check_residual_df(n, width, kept, least=least_df), left_out=left_out_table(left),
        warnings=warnings + note,
    )  # fmt: skip


def with_covariates(
    prepared: Prepared, covariates: Sequence[str], *, least_df: int = MINIMUM_RESIDUAL_DF
) -> Prepared | None:
    """Return the same rows with other covariates; None where a covariate is unknown, does not vary or costs too much."""
    if not covariates:
        return prepared
    if not set(covariates) <= set(prepared.rows.columns):
        return None
    known = (prepared.rows[list(covariates)].notna() & (prepared.rows[list(covariates)] != "")).all(axis=1)
    rows = prepared.rows if known.all() else prepared.rows[known]
    if not all(varies(rows[c]) for c in covariates):
        return None
    athletes = rows.groupby("athlete")[list(covariates)].first()
    try:
        width = numeric_design(athletes, covariates)[0].shape[1]
        df = check_residual_df(len(athletes), width, covariates, least=least_df)
    except KitError:
        return None
    return replace(prepared, rows=rows, covariates=tuple(covariates), residual_df=df)


def join_capacity(data: pd.DataFrame, capacity: str | pd.DataFrame) -> tuple[pd.DataFrame, str, str]:
    """Put the table of `measure_capacity` beside the rows; return rows, the name of the column and its unit."""
    if isinstance(capacity, str):
        units = data["unit"].dropna().unique() if "unit" in data.columns and capacity == "capacity" else []
        return data, capacity, str(units[0]) if len(units) == 1 else ""
    need_columns(capacity, ["athlete", "capacity"], what="the table of capacity")
    doubled = capacity["athlete"].astype(str).duplicated()
    if doubled.any():
        raise KitError(f"athlete {capacity.loc[doubled, 'athlete'].iloc[0]!r} stands twice in the table of capacity.")
    columns = [c for c in ("capacity", "unit", "uses_heart_rate") if c in capacity.columns]
    rows = data.drop(columns=[c for c in columns if c in data.columns])
    rows = rows.assign(_athlete=rows["athlete"].astype(str))
    table = capacity[columns].assign(_athlete=capacity["athlete"].astype(str))
    joined = rows.merge(table, on="_athlete", how="left").drop(columns="_athlete")
    if "uses_heart_rate" in joined.columns:
        joined["uses_heart_rate"] = joined["uses_heart_rate"].astype(object)
    units = capacity["unit"].dropna().unique() if "unit" in capacity.columns else []
    if len(units) > 1:
        raise KitError(
            f"capacity stands in {plural(len(units), 'unit')} ({', '.join(map(str, units))}); one is needed."
        )
    return joined, "capacity", str(units[0]) if len(units) else ""


def second_opinion(prepared: Prepared, level: float) -> list[dict]:
    """The slope of the athletes' means by another library, as a row of slopes; nothing where they are too few for it."""
    from ..models import robust_slope

    rows, capacity, covariates = prepared.rows, prepared.capacity, list(prepared.covariates)
    means = balanced_means(rows, prepared.outcome, cell=prepared.cell).set_index("athlete")["mean"]
    people = rows.groupby("athlete")[[capacity, *covariates]]
    people = people.agg(lambda v: v.iloc[0] if is_text(v) else v.mean()).loc[means.index]
    design = np.column_stack([people[capacity], numeric_design(people, covariates)[0]])
    try:
        found = vars(robust_slope(means, design, level=level))
    except KitError:
        return []
    row = {name: found[name] for name in FIT_COLUMNS[:-1]}
    method = "ordinary least squares on the athletes' means, HC3, by statsmodels"
    return [{"analysis": HC3, "level": "", **row, "adjusted_for": ", ".join(covariates), "method": method}]


def fit_prepared(prepared: Prepared, *, level: float = 0.95) -> CapacityFit:
    """Fit prepared rows: the mixed model, or ordinary regression where every athlete has one row."""
    rows = prepared.rows
    words = [prepared.cell] if prepared.cell else []
    words += [c for c in prepared.covariates if is_text(rows[c])]
    numbers = [prepared.capacity, *(c for c in prepared.covariates if not is_text(rows[c]))]
    if rows["athlete"].is_unique or flat_within(prepared):
        coefficients, variances, method = _ordinary(prepared, level)
        notes: tuple[str, ...] = ()
    else:
        coefficients, variances, notes = _mixed(prepared, numbers, words, level)
        method = "mixed model, athlete random, restricted maximum likelihood, Kenward-Roger"
    line = coefficients.set_index("term").loc[prepared.capacity]
    low90, high90 = t_limits(line["estimate"], line["standard_error"], line["df"], 2 * level - 1)
    return CapacityFit(
        estimate=float(line["estimate"]), standard_error=float(line["standard_error"]), ci_low=float(line["ci_low"]),
        ci_high=float(line["ci_high"]), ci90_low=low90, ci90_high=high90, statistic=float(line["statistic"]),
        df=float(line["df"]), p=float(line["p"]), outcome=prepared.outcome, capacity=prepared.capacity,
        unit=prepared.unit, adjusted_for=prepared.covariates, residual_df=prepared.residual_df,
        coefficients=coefficients, variances=variances, n_athletes=prepared.n_athletes, n_observations=len(rows),
        method=method, level=level, left_out=prepared.left_out, warnings=prepared.warnings + notes,
    )  # fmt: skip


def t_limits(estimate: float, standard_error: float, df: float, level: float) -> tuple[float, float]:
    """Return the two-sided t interval of an estimate."""
    from scipy.special import stdtrit

    if not df > 0:
        return float("nan"), float("nan")
    half = float(stdtrit(df, (1 + level) / 2)) * float(standard_error)
    return float(estimate) - half, float(estimate) + half


def _cells(rows: pd.DataFrame) -> tuple[str, tuple[str, ...]]:
    """Name the column of rounds (with the session, where there are several); the rows get it where it is new."""
    if "round_no" not in rows.columns:
        return "", ()
    if "session" in rows.columns and varies(rows["session"]):
        rows["session_round"] = rows["session"].astype(str) + " / " + rows["round_no"].astype(str)
        n = rows["session"].nunique()
        return "session_round", (f"rows of {n} sessions: every round of every session has a level of its own",)
    return ("round_no" if varies(rows["round_no"]) else ""), ()


def _mixed(prepared: Prepared, numbers: list[str], words: list[str], level: float):
    from ..models import fit_mixed

    names = {c: f"v{i}" for i, c in enumerate([prepared.outcome, *numbers, *words])}
    table = prepared.rows[["athlete", *names]].rename(columns=names)
    terms = [*(names[c] for c in numbers), *(f"C({names[c]})" for c in words)]
    try:
        fit = fit_mixed(table, f"v0 ~ {' + '.join(terms)}", group="athlete")
    except KitError as error:
        raise KitError(_readable(str(error), names)) from error
    coefficients = fit.coefficients(ddf="kenward-roger", level=level)
    coefficients = coefficients.assign(term=[_readable(t, names) for t in coefficients["term"]])
    variances = pd.DataFrame(
        {"part": ["between athletes", "within an athlete"], "variance": [fit.variances.group, fit.variances.residual]}
    )
    return coefficients, variances, (NO_SPREAD,) if fit.variances.group == 0 else tuple(fit.warnings)


def _readable(text: str, names: dict[str, str]) -> str:
    """Put the columns' own names back into a term or a message of the model."""
    own = {short: column for column, short in names.items()}
    return re.sub(r"\bv\d+\b", lambda found: own.get(found[0], found[0]), text)


def _ordinary(prepared: Prepared, level: float) -> tuple[pd.DataFrame, pd.DataFrame, str]:
    from scipy.special import stdtr, stdtrit

    rows = prepared.rows
    if not rows["athlete"].is_unique:
        means = balanced_means(rows, prepared.outcome, cell=prepared.cell).set_index("athlete")["mean"]
        rows = rows.groupby("athlete", sort=False).first().reset_index()
        rows[prepared.outcome] = rows["athlete"].map(means)
    design, names = numeric_design(rows, [prepared.capacity, *prepared.covariates])
    design = np.column_stack([np.ones(len(rows)), design])
    y = rows[prepared.outcome].to_numpy()
    df = len(rows) - np.linalg.matrix_rank(design)
    if df < 1 or np.linalg.matrix_rank(design) < design.shape[1]:
        raise KitError(
            "the slope cannot be separated from the other terms of the model: too few athletes, or a covariate that repeats "
            "another."
        )
    beta = np.linalg.lstsq(design, y, rcond=None)[0]
    residual = y - design @ beta
    if np.sqrt(np.mean(residual**2)) <= 1e-11 * max(float(np.abs(y).max()), 1e-300):
        raise KitError(
            "the outcome does not vary beyond the terms of the model, so there is nothing to estimate an uncertainty from."
        )
    variance = float(residual @ residual) / df
    errors = np.sqrt(variance * np.diag(np.linalg.inv(design.T @ design)))
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = beta / errors
    half = stdtrit(df, (1 + level) / 2) * errors
    table = pd.DataFrame(
        {
            "term": ["Intercept", *names],
            "estimate": beta,
            "standard_error": errors,
            "df": float(df),
            "statistic": statistic,
            "p": 2 * stdtr(df, -np.abs(statistic)),
            "ci_low": beta - half,
            "ci_high": beta + half,
        }
    )
    variances = pd.DataFrame({"part": ["between athletes (one value each)"], "variance": [variance]})
    return table, variances, "ordinary regression, one value per athlete"


AT_END = "at the end of the scale"
OFF_SCALE_COLUMNS = (
    "placement", "estimate", "standard_error", "ci_low", "ci_high", "ci90_low", "ci90_high", "df", "p",
)  # fmt: skip


def place_off_scale(data: pd.DataFrame, outcome: str, limit) -> tuple[pd.DataFrame, OffScale | None]:
    """Put readings off the scale at its end, as in the comparison of rounds; None where there are none."""
    if outcome != "lactate_mmol_l" or not {LIMIT_COLUMN, "round_no"} <= set(data.columns):
        return data, None
    off = find_limits(data, outcome, limit=limit)
    return (data, None) if off is None else (off.placed(data, outcome), off)


def off_scale_slopes(planned: Prepared, off: OffScale | None, *, level: float) -> pd.DataFrame:
    """Fit the planned slope with the readings off the scale elsewhere than at its end."""
    rows = planned.rows
    marks = rows[LIMIT_COLUMN] if off is not None else pd.Series("", index=rows.index)
    if not (marks != "").any():
        return pd.DataFrame(columns=list(OFF_SCALE_COLUMNS))
    far = rows[planned.outcome].mask(marks == "high", off.high_range[1]).mask(marks == "low", off.low_range[1])
    fitter = rows[planned.capacity] > rows.groupby("athlete")[planned.capacity].first().mean()
    placings = {
        AT_END: rows[planned.outcome],
        "as far beyond it as is plausible": far,
        "far beyond it for the fitter half alone": rows[planned.outcome].where(~fitter, far),
        "far beyond it for the less fit half alone": rows[planned.outcome].where(fitter, far),
    }
    lines = []
    for placement, values in placings.items():
        fit = fit_prepared(replace(planned, rows=rows.assign(**{planned.outcome: values})), level=level)
        lines.append((placement, *(getattr(fit, name) for name in OFF_SCALE_COLUMNS[1:])))
    return pd.DataFrame(lines, columns=list(OFF_SCALE_COLUMNS))


def widest(slopes: pd.DataFrame) -> tuple[float, float, float, float]:
    """The ends of the two intervals of the slope that hold wherever the readings lie: as `judge` takes them."""
    low, high = slopes[["ci_low", "ci90_low"]].min(), slopes[["ci_high", "ci90_high"]].max()
    return low["ci_low"], high["ci_high"], low["ci90_low"], high["ci90_high"]


def off_scale_guard(planned: Prepared, off: OffScale, slopes: pd.DataFrame, *, step: float) -> dict:
    """Say where the readings stand and between what the effect of a step lies."""
    known = OUTCOMES[planned.outcome]
    marks = planned.rows[LIMIT_COLUMN]
    ranges = {"high": ("up to", off.high_range[1]), "low": ("down to", off.low_range[1])}
    ends = [
        f"{way} {format_number(end, 0, unit=known.unit)}" for mark, (way, end) in ranges.items() if mark in set(marks)
    ]
    count = int((marks != "").sum())
    stand, lie = ("stands", "it lies") if count == 1 else ("stand", "they lie")
    effects = step * slopes["estimate"]
    effect = format_ci(effects.min(), effects.max(), digits_of(known), unit=known.unit)
    text = (
        f"{plural(count, 'reading')} beyond the analyser's scale {stand} at its end; wherever {' or '.join(ends)} {lie}, the "
        f"effect is {effect}, and the interval that the reading rests on holds for all of these"
    )
    return guard_row("analyser's scale", "warned", planned.rows.loc[marks != "", "athlete"].nunique(), text)
