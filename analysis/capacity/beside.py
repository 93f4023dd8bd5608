"""What stands beside the verdict: other units and bounds, without one athlete, and every combination of reasonable choices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd

from ..basics import KitError
from ..models.effect_sizes import BoundCurve, bound_curve
from ..study.outcomes import OUTCOMES
from .adjustment import (
    IN_BPM,
    MINIMUM_RESIDUAL_DF,
    PLANNED_RESIDUAL_DF,
    check_circular_columns,
    covariate_words,
    flat_within,
    hr_max_source,
    known_for,
    known_scalings,
    possible_sets,
    to_unit,
)
from .correlation import pearson_r, slope_of, t_test_of_r, z_interval
from .fit import FIT_COLUMNS, MINIMUM_ATHLETES, CapacityFit, Prepared, fit_prepared, prepare, with_covariates
from .results import NEGLIGIBLE, Specifications, judge, judge_difference
from .tables import athlete_table, numeric_design

SHARE = "percent_hr_max"
BESIDE_COLUMNS = (
    *("outcome", "planned", "adjusted_for", "contrast", "ci_low", "ci_high", "ci90_low", "ci90_high"),
    *("smallest_effect", "verdict", "n_athletes"),
)


def beside_table(
    data: pd.DataFrame, capacity: pd.DataFrame, fit: CapacityFit, *, apart: float, smallest_effect: float,
    smallest_effects: Mapping[str, float], direction: str, level: float,
) -> pd.DataFrame:  # fmt: skip
    """Answer the question of heart rate in bpm and in percent of the measured maximum; empty where one is not there."""
    outcome = fit.outcome
    if outcome not in IN_BPM and outcome != SHARE:
        return pd.DataFrame(columns=list(BESIDE_COLUMNS))
    lines = [_line(fit, apart, smallest_effect, direction, planned=True)]
    for other in (SHARE,) if outcome in IN_BPM else (IN_BPM[0],):
        others = tuple(c for c in fit.adjusted_for if c != "hr_max_bpm")
        covariates = others if other == SHARE else ("hr_max_bpm", *others)
        fitted = _fit(data, capacity, other, covariates, level)
        if fitted is not None:
            size = smallest_effects.get(other, OUTCOMES[other].smallest_effect)
            lines.append(_line(fitted, apart, size, direction, planned=False))
    return pd.DataFrame(lines if len(lines) > 1 else [], columns=list(BESIDE_COLUMNS))


def _fit(data, capacity, outcome: str, covariates: Sequence[str], level: float) -> CapacityFit | None:
    if outcome not in data.columns or not data[outcome].notna().any():
        return None
    rows = data
    if "hr_max_source" in data.columns:
        rows = data[known_for(data, ["hr_max_bpm"])]
    try:
        return fit_prepared(prepare(rows, capacity, outcome, covariates, least_df=PLANNED_RESIDUAL_DF), level=level)
    except KitError:
        return None


def _line(fit: CapacityFit, apart: float, smallest: float, direction: str, *, planned: bool) -> dict:
    ends = [apart * v for v in (fit.ci_low, fit.ci_high, fit.ci90_low, fit.ci90_high)]
    return {
        "outcome": fit.outcome,
        "planned": planned,
        "adjusted_for": fit.adjusted_for,
        "contrast": apart * fit.estimate,
        **dict(zip(("ci_low", "ci_high", "ci90_low", "ci90_high"), ends, strict=True)),
        "smallest_effect": float(smallest),
        "verdict": judge(*ends, smallest_effect=smallest, direction=direction),
        "n_athletes": fit.n_athletes,
    }


def fitness_by_bound(answer) -> BoundCurve:
    """Say what the verdict on fitness would be with any other smallest effect that matters."""
    ends = (answer.contrast_ci_low, answer.contrast_ci_high, answer.contrast_ci90_low, answer.contrast_ci90_high)
    true = (answer.true_contrast_ci90_low, answer.true_contrast_ci90_high)
    turn = max(abs(v) for v in (*ends[2:], *(v for v in true if v == v)))
    start = judge_difference(*ends[:2], direction=answer.direction)
    turns = [(turn, {"verdict": NEGLIGIBLE})] if turn == turn and abs(turn) != float("inf") else []
    return bound_curve(
        answer.outcome, turns, start={"verdict": start}, planned=answer.smallest_effect, alpha=answer.alpha
    )


INFLUENCE_COLUMNS = (
    "athlete", "estimate", "ci_low", "ci_high", "statistic", "df", "p", "slope", "cooks_distance", "leverage",
    "studentized_residual", "n_athletes", "method",
)  # fmt: skip


def influence(data: pd.DataFrame, x: str, y: str, *, level: float = 0.95) -> pd.DataFrame:
    """Leave each athlete out in turn and say how far that athlete pulls the result.

    Parameters
    ----------
    data : DataFrame
        One row per athlete, or several, which are averaged to one. Columns `athlete`, `x`, `y`.
    x, y : str
        Columns of numbers.
    level : float
        Of the intervals; default 0.95.

    Returns
    -------
    DataFrame
        One line per athlete: the Pearson correlation without that athlete (estimate, ci_low, ci_high, statistic, df, p)
        and the slope; and from the fit with everybody cooks_distance, leverage, studentized_residual (external). The
        range of the correlations stands in `.attrs["range"]`. Nobody is removed.

    Notes
    -----
    Cook's distance = e² h / (2 s² (1 − h)²) for the line of y on x.

    References
    ----------
    Cook RD (1977) Technometrics 19:15-18.

    Examples
    --------
    >>> d = pd.DataFrame({"athlete": list("ABCDEF"), "fit": [44, 47, 50, 52, 55, 58], "hr": [175, 171, 172, 168, 166, 167]})
    >>> table = influence(d, "fit", "hr")
    >>> table.loc[table["cooks_distance"].idxmax(), "athlete"]
    'F'
    """
    data, circular = check_circular_columns(data, x, y)
    table, _, _ = athlete_table(data, [x, y], left=circular)
    n = len(table)
    if n < 4:
        raise KitError(f"leaving one athlete out needs at least 4 athletes with {x} and {y}; there are {n}.")
    a, b = table[x].to_numpy(), table[y].to_numpy()
    leverage, cook, student = _line_diagnostics(a, b)
    lines = []
    for i in range(n):
        u, v = np.delete(a, i), np.delete(b, i)
        r = pearson_r(u, v)
        statistic, p = t_test_of_r(r, n - 3, "two-sided")
        low, high = z_interval(r, n - 4, level)
        lines.append((table["athlete"][i], r, low, high, statistic, float(n - 3), p, slope_of(u, v)))
    result = pd.DataFrame(lines, columns=list(INFLUENCE_COLUMNS[:8]))
    result = result.assign(
        cooks_distance=cook, leverage=leverage, studentized_residual=student, n_athletes=n - 1,
        method="Pearson correlation without this athlete",
    )  # fmt: skip
    result.attrs["range"] = (float(result["estimate"].min()), float(result["estimate"].max()))
    return result


def robust_correlation(x: np.ndarray, y: np.ndarray) -> float:
    """Return the percentage-bend correlation, in which the outer fifth of each value counts less."""
    # Wilcox RR (1994) Psychometrika 59:601-616.
    import pingouin

    try:
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    except (TypeError, ValueError):
        raise KitError("x and y must hold numbers, one per athlete.") from None
    if x.shape != y.shape or x.ndim != 1:
        raise KitError("x and y need one number per athlete each, in the same order.")
    both = np.isfinite(x) & np.isfinite(y)
    x, y = x[both], y[both]
    if len(x) < 5 or min(_middle_spread(x), _middle_spread(y)) <= 0:
        return float("nan")
    return float(pingouin.corr(x, y, method="percbend")["r"].iloc[0])


def _middle_spread(values: np.ndarray) -> float:
    """The distance from the median within which four fifths of the values lie."""
    distance = np.sort(np.abs(values - np.median(values)))
    return float(distance[int(0.8 * len(values)) - 1])


def _line_diagnostics(a: np.ndarray, b: np.ndarray):
    n = len(a)
    u = a - a.mean()
    if not u @ u > 0:
        nothing = np.full(n, np.nan)
        return nothing, nothing, nothing
    leverage = 1 / n + u * u / (u @ u)
    residual = b - b.mean() - (u @ b / (u @ u)) * u
    sse = residual @ residual
    variance = sse / (n - 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        cook = residual**2 * leverage / (2 * variance * (1 - leverage) ** 2)
        deleted = (sse - residual**2 / (1 - leverage)) / (n - 3)
        student = residual / np.sqrt(deleted * (1 - leverage))
    return leverage, cook, student


METHOD = "mixed model, athlete random, restricted maximum likelihood, Kenward-Roger"


def fit_many(parts: Sequence[Prepared], *, level: float = 0.95) -> pd.DataFrame:
    """Fit many prepared analyses of the same athletes; one that cannot be fitted is missing."""
    table = pd.DataFrame(np.nan, index=range(len(parts)), columns=list(FIT_COLUMNS[:-1])).assign(method=METHOD)
    shapes: dict[int, list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]] = {}
    slots: dict[tuple, int] = {}
    layouts: dict[tuple, _Layout] = {}  # many analyses share their rows
    counts = np.full((len(parts), 2), np.nan)
    for i, part in enumerate(parts):
        key = id(part.rows), part.outcome
        if key not in layouts:
            layouts[key] = _Layout(part)
        layout = layouts[key]
        if layout.keys is None:
            continue  # fitted alone below
        places = layout.places(slots)
        design = layout.design(part)
        shapes.setdefault(design.shape[1], []).append((i, places, layout.values, design))
        counts[i] = layout.n_athletes, len(places)
    table["n_athletes"], table["n_observations"] = counts.T
    athletes = np.array([athlete for athlete, _ in slots])
    for width, members in shapes.items():
        _fit_shape(table, members, width, athletes)
    for i in np.flatnonzero(table["estimate"].isna()):
        _fit_alone(table, i, parts[i], level)
    return _with_tests(table, level)


class _Layout:
    """What the analyses of the same rows and outcome share: where the rows stand, and their columns."""

    def __init__(self, part: Prepared):
        self.rows, self.cell = part.rows, part.cell
        self.keys = self._keys(part)
        self.values = part.rows[part.outcome].to_numpy(float)
        self.n_athletes = part.n_athletes
        self._columns: dict[str, np.ndarray] = {}
        self._places = None

    def _keys(self, part: Prepared) -> list[tuple] | None:
        """Athlete and round of every row; None where the batch cannot hold them: one value per athlete, a round twice."""
        rows = part.rows
        if rows["athlete"].is_unique or flat_within(part):
            return None
        cells = rows[part.cell].astype(str) if part.cell else rows.groupby("athlete").cumcount().astype(str)
        keys = list(zip(rows["athlete"], cells, strict=True))
        return keys if len(set(keys)) == len(keys) else None

    def places(self, slots: dict[tuple, int]) -> np.ndarray:
        """Number of every row's place among those of all analyses."""
        if self._places is None:
            self._places = np.array([slots.setdefault(key, len(slots)) for key in self.keys])
        return self._places

    def design(self, part: Prepared) -> np.ndarray:
        """Ones, capacity, covariates, rounds."""
        names = [part.capacity, *part.covariates, *([part.cell] if part.cell else [])]
        return np.column_stack([np.ones(len(self.rows)), *(self._column(name) for name in names)])

    def _column(self, name: str) -> np.ndarray:
        if name not in self._columns:
            table = self.rows
            if name == self.cell:
                table = table[[name]].astype(str)
            self._columns[name] = numeric_design(table, [name])[0]
        return self._columns[name]


def _fit_shape(table: pd.DataFrame, members: list, width: int, athletes: np.ndarray) -> None:
    from ..models import fit_mixed_batch

    outcomes = np.full((len(members), len(athletes)), np.nan)
    design = np.zeros((len(members), len(athletes), width))
    design[:, :, 0] = 1
    for k, (_, places, values, columns) in enumerate(members):
        outcomes[k, places] = values
        design[k, places] = columns
    fit = fit_mixed_batch(outcomes, design, athletes, tests={"capacity": [1]})["capacity"]
    where = [i for i, *_ in members]
    for column, found in (("estimate", fit.estimate), ("standard_error", fit.standard_error), ("df", fit.df_den)):
        table.loc[where, column] = np.asarray(found, dtype=float).reshape(len(members), -1)[:, 0]


def _fit_alone(table: pd.DataFrame, i: int, part: Prepared, level: float) -> None:
    try:
        fit = fit_prepared(part, level=level)
    except KitError:
        return
    for column in FIT_COLUMNS:
        table.loc[i, column] = getattr(fit, column)


def _with_tests(table: pd.DataFrame, level: float) -> pd.DataFrame:
    from scipy.special import stdtr, stdtrit

    half = stdtrit(table["df"].to_numpy(), (1 + level) / 2) * table["standard_error"]
    statistic = table["estimate"] / table["standard_error"]
    return table.assign(
        ci_low=table["estimate"] - half,
        ci_high=table["estimate"] + half,
        statistic=statistic,
        p=2 * stdtr(table["df"].to_numpy(), -np.abs(statistic.to_numpy())),
    )


HEART_RATE_CHOICES = ("hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "percent_hr_max", "percent_hr_reserve")
MINIMUM_VALID_SHARE = 0.8
ALL_ROUNDS = "all"
VALID_ROUNDS = "at least 80 % valid"
ALL_ATHLETES = "all"
COMPLETE_ATHLETES = "those with every round"
CHOICES = ("outcome", "scaling", "covariates", "rows", "athletes", "left_out_athlete")


def specifications(
    rows: pd.DataFrame, capacity: pd.DataFrame, athletes: pd.DataFrame, outcome: str, *, smallest_effect: float,
    contrast_step: float, covariates: Sequence[str] = (), level: float = 0.95,
    smallest_effects: Mapping[str, float] | None = None, alternative_rows: Mapping[str, pd.DataFrame] | None = None,
) -> Specifications:  # fmt: skip
    """Fit the planned analysis and every other reasonable one."""
    # Outcomes (bpm, late in the round, peak, percent of measured maximum, percent of reserve), scalings of
    # capacity, sets of covariates that leave 8 residual degrees of freedom, rounds of any validity or at
    # least 80 % valid, all athletes or those with every round, every combination; and the planned analysis
    # without each athlete. These analyses share their data: they show how far the answer depends on
    # choices, and are no independent tests.
    # Simonsohn U, Simmons JP, Nelson LD (2020) Nat Hum Behav 4:1208-1214.
    sizes = {name: o.smallest_effect for name, o in OUTCOMES.items()} | dict(smallest_effects or {})
    sizes[outcome] = smallest_effect
    data = join_athletes(rows, athletes)
    row_sets = {ALL_ROUNDS: data}
    if outcome in HEART_RATE_CHOICES:
        who = set(data["athlete"])
        row_sets |= _valid_rows(data)
        row_sets |= {
            name: join_athletes(table[table["athlete"].astype(str).isin(who)], athletes)
            for name, table in (alternative_rows or {}).items()
        }
    scalings = known_scalings(capacity)
    own = next(iter(scalings))
    mass = _mean_mass(data, capacity, outcome)
    steps = {
        s: contrast_step * (to_unit(1.0, mass, s) / to_unit(1.0, mass, own) if s != own else 1.0) for s in scalings
    }
    parts: list[tuple[Prepared, tuple, float, float]] = []
    planned = _try_prepare(data, capacity, outcome, covariates, least_df=PLANNED_RESIDUAL_DF)
    if planned is None:
        raise KitError(f"the planned analysis of {outcome} cannot be fitted, so there is nothing to compare with.")
    for rows_name, table in row_sets.items():
        for chosen in _outcomes(outcome, table, athletes):
            bare = _try_prepare(table, capacity, chosen, ()) if chosen in sizes else None
            if bare is None or _same_values(table, data, chosen, rows_name):
                continue
            scaled = {f"capacity in {s}": _of_athletes(bare.rows, table) for s, table in scalings.items()}
            bare = replace(bare, rows=bare.rows.assign(**scaled))
            complete: dict[int, pd.DataFrame] = {}
            adjusted_sets = {
                adjusted: _athlete_sets(
                    with_covariates(bare, adjusted, least_df=_least(adjusted, covariates)), complete
                )
                for adjusted in _sets(chosen, table, athletes, covariates, outcome)
            }
            for (scaling, column), (adjusted, sets) in product(
                zip(scalings, scaled, strict=True), adjusted_sets.items()
            ):
                for who, part in sets.items():
                    choice = (chosen, scaling, covariate_words(adjusted) or "none", rows_name, who, "")
                    part = replace(part, capacity=column, unit=scaling)
                    parts.append((part, choice, steps[scaling], sizes[chosen]))
    first = (outcome, own, covariate_words(covariates) or "none", ALL_ROUNDS, ALL_ATHLETES)
    for athlete in planned.rows["athlete"].unique():
        part = replace(planned, rows=planned.rows[planned.rows["athlete"] != athlete].copy())
        parts.append((part, (*first, athlete), contrast_step, smallest_effect))
    table = _fit_parts(parts, level)
    table["planned"] = (table[list(CHOICES)] == [*first, ""]).all(axis=1)
    return _summarise(table, outcome, contrast_step)


def join_athletes(rows: pd.DataFrame, athletes: pd.DataFrame) -> pd.DataFrame:
    """Put the columns of athletes beside the rows (those that the rows do not have already)."""
    new = ["athlete", *(c for c in athletes.columns if c not in rows.columns and c not in ("file", "row"))]
    left, right = rows.reset_index(drop=True), athletes[new].reset_index(drop=True)
    left["athlete"], right["athlete"] = left["athlete"].astype(str), right["athlete"].astype(str)
    return left.merge(right.drop_duplicates("athlete"), on="athlete", how="left")


def _fit_parts(parts: list[tuple[Prepared, tuple, float, float]], level: float) -> pd.DataFrame:
    fits = fit_many([part for part, *_ in parts], level=level)
    table = pd.DataFrame([choice for _, choice, *_ in parts], columns=list(CHOICES))
    steps, sizes = (np.array([p[i] for p in parts]) for i in (2, 3))
    table["step"], table["effect"] = steps, steps * fits["estimate"]
    for name, column in (("multiple", "estimate"), ("multiple_low", "ci_low"), ("multiple_high", "ci_high")):
        table[name] = steps * fits[column] / sizes
    return pd.concat([table, fits], axis=1)[np.isfinite(fits["estimate"])].reset_index(drop=True)


def _summarise(table: pd.DataFrame, outcome: str, contrast_step: float) -> Specifications:
    table = table.sort_values("multiple", kind="stable").reset_index(drop=True)
    table.insert(0, "order", np.arange(1, len(table) + 1))
    choices = table[table["left_out_athlete"] == ""]
    if not choices["planned"].any():
        raise KitError(f"the planned analysis of {outcome} cannot be fitted, so there is nothing to compare with.")
    sign = float(np.sign(choices.loc[choices["planned"], "multiple"].iloc[0]))
    same = np.sign(choices["multiple"]) == sign
    side = np.where(sign < 0, choices["multiple_high"] < 0, choices["multiple_low"] > 0)
    other = np.where(sign < 0, choices["multiple_low"] > 0, choices["multiple_high"] < 0)
    return Specifications(
        table=table,
        n_specifications=len(choices),
        share_same_sign=float(same.mean()),
        share_excluding_zero=float(side.mean()),
        share_opposite=float(other.mean()),
        smallest=float(choices["multiple"].min()),
        median=float(choices["multiple"].median()),
        largest=float(choices["multiple"].max()),
        outcome=outcome,
        contrast_step=contrast_step,
        method="each analysis: mixed model, Kenward-Roger; in multiples of the outcome's smallest effect that matters",
        warnings=("these analyses share their data, so their number is no evidence of its own",),
    )


def _least(adjusted, planned) -> int:
    return PLANNED_RESIDUAL_DF if set(adjusted) == set(planned) else MINIMUM_RESIDUAL_DF


def _try_prepare(data, capacity, outcome, covariates, *, least_df: int = MINIMUM_RESIDUAL_DF) -> Prepared | None:
    try:
        prepared = prepare(data, capacity, outcome, covariates, least_df=least_df)
    except KitError:
        return None
    return prepared if set(prepared.covariates) == set(covariates) else None


def _outcomes(outcome: str, rows: pd.DataFrame, athletes: pd.DataFrame) -> list[str]:
    if outcome not in HEART_RATE_CHOICES:
        return [outcome]
    names = [outcome, *(c for c in HEART_RATE_CHOICES if c != outcome and c in rows.columns)]
    kept = []
    for name in names:
        with_value = rows.loc[rows[name].notna(), "athlete"].unique()
        measured = hr_max_source(athletes[athletes["athlete"].astype(str).isin(with_value)]) == "measured"
        if name == outcome or (len(with_value) >= MINIMUM_ATHLETES and (measured or not name.startswith("percent"))):
            kept.append(name)
    return kept


def _sets(chosen: str, rows: pd.DataFrame, athletes: pd.DataFrame, planned, outcome: str) -> list[tuple[str, ...]]:
    with_value = rows.loc[rows[chosen].notna(), "athlete"].astype(str).unique()
    club = athletes[athletes["athlete"].astype(str).isin(with_value)]
    sets = possible_sets(chosen, club, planned if chosen == outcome else ())
    if chosen == "lactate_mmol_l" and "lactate_delay_s" in rows.columns and rows["lactate_delay_s"].notna().any():
        sets.append(tuple(dict.fromkeys((*planned, "lactate_delay_s"))))
    if "activity_rating" in rows.columns and rows["activity_rating"].notna().any():
        sets.append(tuple(dict.fromkeys((*(planned if chosen == outcome else ()), "activity_rating"))))
    return list(dict.fromkeys(sets))


def _of_athletes(rows: pd.DataFrame, scaled: pd.DataFrame) -> pd.Series:
    return rows["athlete"].map(scaled.set_index(scaled["athlete"].astype(str))["capacity"])


def _athlete_sets(prepared: Prepared | None, complete: dict[int, pd.DataFrame]) -> dict[str, Prepared]:
    """All athletes, and those with every round; `complete` keeps the rows of the latter for other covariates."""
    if prepared is None:
        return {}
    rows = prepared.rows
    sets = {ALL_ATHLETES: prepared}
    if prepared.cell:
        if id(rows) not in complete:
            every = rows.groupby("athlete")[prepared.cell].transform("nunique") == rows[prepared.cell].nunique()
            complete[id(rows)] = rows[every]
        some = complete[id(rows)]
        n = some["athlete"].nunique()
        lost = prepared.n_athletes - n
        enough = not prepared.covariates or prepared.residual_df - lost >= MINIMUM_RESIDUAL_DF
        if lost and n >= MINIMUM_ATHLETES and enough:
            sets[COMPLETE_ATHLETES] = replace(prepared, rows=some)
    return sets


def _same_values(table: pd.DataFrame, data: pd.DataFrame, outcome: str, name: str) -> bool:
    """Tell whether rows made in another way hold the very same values of this outcome."""
    if name == ALL_ROUNDS or len(table) != len(data):
        return False
    return bool(np.array_equal(table[outcome].to_numpy(float), data[outcome].to_numpy(float), equal_nan=True))


def _valid_rows(data: pd.DataFrame) -> dict[str, pd.DataFrame]:
    if "valid_share" not in data.columns:
        return {}
    low = data["valid_share"] < MINIMUM_VALID_SHARE
    return {VALID_ROUNDS: data[~low]} if low.any() else {}


def _mean_mass(data: pd.DataFrame, capacity: pd.DataFrame, outcome: str) -> float:
    if "mass_kg" not in capacity.columns:
        return float("nan")
    who = data.loc[data[outcome].notna(), "athlete"].astype(str).unique()
    return float(capacity.loc[capacity["athlete"].astype(str).isin(who), "mass_kg"].mean())
