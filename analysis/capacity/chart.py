"""All reasonable analyses at once: every combination of the choices that an honest analyst could have made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd

from ..basics import KitError
from ..study.outcomes import OUTCOMES
from .adjustment import covariate_words, possible_sets
from .fit import MINIMUM_ATHLETES, Prepared, prepare, with_covariates
from .guards import hr_max_source
from .many import fit_many
from .results import Specifications
from .scaling import known_scalings, to_unit

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
    """Fit the planned analysis and every other reasonable one.

    Parameters
    ----------
    rows : DataFrame
        One row per athlete and round.
    capacity : DataFrame
        From `measure_capacity`; other scalings are tried where it holds `vo2_l_min` and `mass_kg`.
    athletes : DataFrame
        athlete, and the covariates by name.
    outcome : str
        The planned outcome.
    smallest_effect : float
        The smallest effect that matters of the planned outcome.
    contrast_step : float
        How far apart in capacity two athletes are whose difference is judged, in the planned unit; other scalings take
        what that is at the athletes' mean mass.
    covariates : sequence of str
        Of the planned analysis.
    level : float
        Of the intervals; default 0.95.
    smallest_effects : mapping, optional
        Of the other outcomes; default the kit's proposals.
    alternative_rows : mapping, optional
        Name -> rows made in another way, for example with flagged samples kept.

    Returns
    -------
    Specifications

    Notes
    -----
    Outcomes (bpm, late in the round, peak, percent of measured maximum, percent of reserve), scalings of capacity, sets of
    covariates that leave 8 residual degrees of freedom, rounds of any validity or at least 80 % valid, all athletes or
    those with every round, every combination; and the planned analysis without each athlete. These analyses share their
    data: they show how far the answer depends on choices, and are no independent tests.

    References
    ----------
    Simonsohn U, Simmons JP, Nelson LD (2020) Nat Hum Behav 4:1208-1214.

    Examples
    --------
    >>> club = pd.DataFrame({"athlete": list("ABCDEF"), "capacity": [44.0, 47, 50, 52, 55, 58], "unit": "mL/kg/min"})
    >>> rows = pd.DataFrame({"athlete": np.repeat(list("ABCDEF"), 2), "round_no": [1, 2] * 6,
    ...                      "lactate_mmol_l": [6, 8, 5, 8, 5, 7, 5, 6, 4, 6, 4, 5.5]})
    >>> chart = specifications(rows, club, club[["athlete"]], "lactate_mmol_l", smallest_effect=1.0, contrast_step=10.0)
    >>> chart.n_specifications, chart.share_same_sign
    (1, 1.0)
    """
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
        s: contrast_step * (to_unit(1.0, mass, s) / to_unit(1.0, mass, own) if s != own else 1.0)
        for s in scalings
    }
    parts: list[tuple[Prepared, tuple, float, float]] = []
    planned = _try_prepare(data, capacity, outcome, covariates)
    if planned is None:
        raise KitError(
            f"the planned analysis of {outcome} cannot be fitted, so there is nothing to compare with."
        )
    for rows_name, table in row_sets.items():
        for chosen in _outcomes(outcome, table, athletes):
            bare = _try_prepare(table, capacity, chosen, ()) if chosen in sizes else None
            if bare is None or _same_values(table, data, chosen, rows_name):
                continue
            scaled = {f"capacity in {s}": _of_athletes(bare.rows, table) for s, table in scalings.items()}
            bare = replace(bare, rows=bare.rows.assign(**scaled))
            complete: dict[int, pd.DataFrame] = {}
            adjusted_sets = {
                adjusted: _athlete_sets(with_covariates(bare, adjusted), complete)
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
        raise KitError(
            f"the planned analysis of {outcome} cannot be fitted, so there is nothing to compare with."
        )
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


def _try_prepare(data, capacity, outcome, covariates) -> Prepared | None:
    try:
        prepared = prepare(data, capacity, outcome, covariates)
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
        if name == outcome or (
            len(with_value) >= MINIMUM_ATHLETES and (measured or not name.startswith("percent"))
        ):
            kept.append(name)
    return kept


def _sets(
    chosen: str, rows: pd.DataFrame, athletes: pd.DataFrame, planned, outcome: str
) -> list[tuple[str, ...]]:
    with_value = rows.loc[rows[chosen].notna(), "athlete"].astype(str).unique()
    club = athletes[athletes["athlete"].astype(str).isin(with_value)]
    sets = possible_sets(chosen, club, planned if chosen == outcome else ())
    if (
        chosen == "lactate_mmol_l"
        and "lactate_delay_s" in rows.columns
        and rows["lactate_delay_s"].notna().any()
    ):
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
            every = (
                rows.groupby("athlete")[prepared.cell].transform("nunique") == rows[prepared.cell].nunique()
            )
            complete[id(rows)] = rows[every]
        some = complete[id(rows)]
        n = some["athlete"].nunique()
        lost = prepared.n_athletes - n
        if lost and n >= MINIMUM_ATHLETES and (not prepared.covariates or prepared.residual_df - lost >= 8):
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
