"""All reasonable analyses at once: every combination of the choices that an honest analyst could have made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd

from ..basics import KitError
from ..study.outcomes import OUTCOMES
from .adjustment import (
    PLANNED_RESIDUAL_DF,
    covariate_words,
    flat_within,
    known_scalings,
    possible_sets,
    to_unit,
)
from .fit import FIT_COLUMNS, MINIMUM_ATHLETES, Prepared, fit_prepared, prepare, with_covariates
from .guards import MINIMUM_RESIDUAL_DF, hr_max_source
from .results import Specifications
from .tables import numeric_design

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
    for column, found in (
        ("estimate", fit.estimate),
        ("standard_error", fit.standard_error),
        ("df", fit.df_den),
    ):
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
    rows: pd.DataFrame,
    capacity: pd.DataFrame,
    athletes: pd.DataFrame,
    outcome: str,
    *,
    smallest_effect: float,
    contrast_step: float,
    covariates: Sequence[str] = (),
    level: float = 0.95,
    smallest_effects: Mapping[str, float] | None = None,
    alternative_rows: Mapping[str, pd.DataFrame] | None = None,
) -> Specifications:
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
