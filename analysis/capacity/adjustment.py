"""What the slope is adjusted for, and the guards: what would make it circular or mixed is set aside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, join_words, plural
from ..study.plan import propose_adjustment
from .tables import HEART_RATE_OUTCOMES, is_text, left_out_rows, numeric_design, varies

MINIMUM_RESIDUAL_DF = 8
"""Fewest residual degrees of freedom between athletes with which covariates are accepted."""

CIRCULAR_WHY = (
    "The fitness test estimates capacity from heart rate, so the same heart rates stand on both sides: the two would "
    "be related even if fitness had nothing to do with sparring."
)
CIRCULAR_REMEDY = (
    "use a test that does not read heart rate (a shuttle run, a timed run, an intermittent recovery test or a "
    "laboratory test), or ask the question of lactate instead"
)
SHARE_OUTCOMES = ("percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve")
GUARD_COLUMNS = ("guard", "status", "n_athletes", "text")


class CircularTestError(KitError):
    """Heart rate held against a capacity that was estimated from heart rate."""


def guard_row(guard: str, status: str, n_athletes: int, text: str) -> dict:
    """Describe one guard: status "passed", "applied" (athletes set aside), "warned" or "refused"."""
    return {"guard": guard, "status": status, "n_athletes": n_athletes, "text": text}


def is_yes(values: pd.Series) -> pd.Series:
    """Read a yes/no column, typed as words, numbers or truth values; blank is no."""
    if pd.api.types.is_bool_dtype(values):
        return values.fillna(False).astype(bool)
    text = values.astype("string").fillna("").str.strip().str.casefold()
    return text.isin(["yes", "y", "true", "1", "1.0", "x"]).astype(bool)


def is_heart_rate(outcome: str) -> bool:
    """Tell whether an outcome is made from heart rate."""
    return outcome in HEART_RATE_OUTCOMES


def set_aside_circular(data: pd.DataFrame, capacity: str, outcome: str) -> tuple[pd.DataFrame, list[dict]]:
    """Set athletes aside whose capacity was estimated from heart rate, where the outcome is heart rate too."""
    if "uses_heart_rate" not in data.columns or not is_heart_rate(outcome):
        return data, []
    has_value = data[capacity].notna() if capacity in data.columns else pd.Series(True, index=data.index)
    circular = is_yes(data["uses_heart_rate"]) & has_value
    if not circular.any():
        return data, []
    if not (~circular & has_value).any():
        raise CircularTestError(f"{CIRCULAR_WHY} What to do: {CIRCULAR_REMEDY}.")
    reason = "capacity was estimated from heart rate, and the outcome is heart rate"
    return data[~circular], left_out_rows(data, circular, reason, capacity)


def check_circular_columns(data: pd.DataFrame, x: str, y: str) -> tuple[pd.DataFrame, list[dict]]:
    """Apply `set_aside_circular` where one of two columns is a capacity and the other is made from heart rate."""
    if not isinstance(data, pd.DataFrame):
        return data, []
    for capacity, outcome in ((x, y), (y, x)):
        if is_heart_rate(outcome) and not is_heart_rate(capacity):
            return set_aside_circular(data, capacity, outcome)
    return data, []


def check_residual_df(
    n_athletes: int, n_covariate_columns: int, covariates: Sequence[str] = (), *, least: int = MINIMUM_RESIDUAL_DF
) -> int:
    """Return the residual degrees of freedom between athletes; refuse covariates that leave fewer than 8."""
    df = n_athletes - 2 - n_covariate_columns
    if n_covariate_columns and df < least:
        needed = least + 2 + n_covariate_columns
        raise KitError(
            f"adjusting {n_athletes} athletes for {', '.join(covariates) or plural(n_covariate_columns, 'covariate')} "
            f"leaves {df} residual degrees of freedom between athletes; at least {least} are needed "
            f"({plural(needed, 'athlete')} for these covariates). Use fewer covariates, or an outcome that needs none "
            "(percent of a measured maximal heart rate)."
        )
    return df


def hr_max_source(athletes: pd.DataFrame) -> str:
    """Tell where the maximal heart rates of these athletes come from."""
    if "hr_max_bpm" not in athletes.columns or not len(athletes):
        return "none"
    has = pd.to_numeric(athletes["hr_max_bpm"], errors="coerce").notna()
    if not has.any():
        return "none"
    if not has.all():
        return "incomplete"
    if "hr_max_source" not in athletes.columns:
        return "predicted"
    measured = athletes["hr_max_source"].astype("string").fillna("").str.strip().str.casefold() == "measured"
    return "measured" if measured.all() else "mixed" if measured.any() else "predicted"


def shared_test_warning(outcome: str, capacity: pd.DataFrame, athletes: pd.DataFrame) -> tuple[str, int]:
    """Warn where a share of maximal heart rate and capacity may come from one and the same test."""
    if outcome not in SHARE_OUTCOMES or "maximal" not in capacity.columns:
        return "", 0
    maximal = capacity[is_yes(capacity["maximal"])]
    if not len(maximal):
        return "", 0
    known = 0
    if "hr_max_bpm" in maximal.columns and "hr_max_bpm" in athletes.columns:
        both = maximal[["athlete", "hr_max_bpm"]].merge(
            athletes[["athlete", "hr_max_bpm"]], on="athlete", suffixes=("_test", "")
        )
        test, own = (pd.to_numeric(both[c], errors="coerce") for c in ("hr_max_bpm_test", "hr_max_bpm"))
        known = int((test.notna() & (test == own)).sum())
    text = (
        "an athlete who stops a maximal test early gets both a lower capacity and a lower maximal heart rate, which "
        "by itself makes fitter athletes look lower in percent of maximum; "
    )
    if known:
        return (text + f"capacity and maximal heart rate come from one test in {plural(known, 'athlete')}", known)
    return text + "take the maximal heart rate from another effort where it came from the fitness test", len(maximal)


PLANNED_RESIDUAL_DF = 3
"""Fewest residual degrees of freedom between athletes with which the planned adjustment is kept (our proposal)."""
BY_RULE = "by the kit's rule"
IN_BPM = ("hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm")
COVARIATE_WORDS = {
    "hr_max_bpm": "measured maximal heart rate",
    "age_years": "age",
    "sex": "sex",
    "mass_kg": "body mass",
    "group": "group",
    "experience_years": "years of training",
    "grade_rank": "grade",
    "lactate_delay_s": "sampling delay",
    "activity_rating": "activity rating",
}


@dataclass(frozen=True)
class Adjustment:
    """What the slope is adjusted for, and why."""

    covariates: tuple[str, ...]  # Columns held equal
    reason: str  # In words: planned or by the default rule
    given_up: tuple[str, ...] = ()  # Wanted, but too many for the number of athletes
    warnings: tuple[str, ...] = ()
    departs: str = ""  # Why this is not the adjustment that was asked for; "" where it is


def covariate_words(covariates: Sequence[str]) -> str:
    """Name covariates in words: "measured maximal heart rate and sex"."""
    return join_words([COVARIATE_WORDS.get(c, c.replace("_", " ")) for c in covariates])


def choose_covariates(
    outcome: str, athletes: pd.DataFrame, planned: Sequence[str] | None = None, *, why: str = "as planned"
) -> Adjustment:
    """Choose what to adjust for.

    The set depends on the outcome alone, never on who came: heart rate in bpm, measured maximal heart rate and sex; percent of
    a measured maximum or of reserve, sex, since the maximum is in the outcome already; lactate and exertion, age and sex. Age
    lowers both maximal heart rate and capacity, and women are lower in capacity and higher in bpm, so that leaving them out
    hides or fakes a relation between athletes. Athletes without a value are left out: with a maximum missing for some, this
    kept 95 % coverage and lost least power of the ways that did (tests/references/capacity/missing_maximum.md). A covariate
    is given up only where fewer than 3 residual degrees of freedom would be left; then `departs` says so.
    """
    by_plan = planned is not None
    wanted = list(dict.fromkeys(planned if by_plan else propose_adjustment(outcome)))
    missing = [c for c in wanted if c not in athletes.columns]
    if missing and by_plan:
        raise KitError(
            f"the plan adjusts for {join_words(missing)}, but there is no such column; known columns of athletes: "
            f"{join_words(sorted(map(str, athletes.columns)))}."
        )
    kept, given_up = _afforded(athletes, [c for c in wanted if c not in missing])
    given_up += missing
    warnings, departs = [], ""
    if given_up:
        instead = []
        if "hr_max_bpm" in given_up and "age_years" not in wanted and "age_years" in athletes.columns:
            instead = [c for c in _afforded(athletes, [*kept, "age_years"])[0] if c not in kept]
            kept += instead
        lost = covariate_words(given_up)
        warnings.append(
            f"not adjusted for {lost}{' but for age' if instead else ''}: too few of {plural(len(athletes), 'athlete')} have "
            f"what it takes ({PLANNED_RESIDUAL_DF} residual degrees of freedom between athletes), so {lost} may hide or fake a "
            "relation"
        )
        departs = f"the slope could not be adjusted for {lost}"
    some = known_for(athletes, kept)
    if not some.all():
        warnings.append(
            f"{plural(int((~some).sum()), 'athlete')} without {covariate_words(kept)} left out: the question is asked at equal "
            f"{covariate_words(kept)}"
        )
    if kept:
        reason = f"adjusted for {covariate_words(kept)}, {why if by_plan else BY_RULE}"
    elif given_up:
        reason = f"not adjusted, since {plural(len(athletes), 'athlete')} are too few for it"
    elif wanted:
        reason = f"not adjusted, since {covariate_words(wanted)} {'does' if len(wanted) == 1 else 'do'} not vary"
    else:
        reason = f"not adjusted, {why if by_plan else BY_RULE}"
    return Adjustment(tuple(kept), reason, tuple(given_up), tuple(warnings), departs)


def known_for(athletes: pd.DataFrame, covariates: Sequence[str]) -> pd.Series:
    """Tell which athletes have a value of every covariate; a maximal heart rate counts where it was measured."""
    known = pd.Series(True, index=athletes.index)
    for covariate in covariates:
        known &= _has(athletes, covariate)
    return known


def measured_only(table: pd.DataFrame) -> pd.DataFrame:
    """Blank every maximal heart rate that was not measured: it is never mixed with measured ones as a covariate."""
    if "hr_max_bpm" not in table.columns:
        return table
    return table.assign(hr_max_bpm=table["hr_max_bpm"].where(_has(table, "hr_max_bpm")))


def _has(table: pd.DataFrame, column: str) -> pd.Series:
    values = table[column]
    if is_text(values):
        return ~(values.isna() | (values.astype("string").fillna("") == "")).astype(bool)
    known = values.notna()
    if column == "hr_max_bpm":
        if "hr_max_source" not in table.columns:
            return known & False
        source = table["hr_max_source"].astype("string").fillna("").str.strip().str.casefold()
        known &= (source == "measured").astype(bool)
    return known


def _afforded(athletes: pd.DataFrame, wanted: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return what can be held equal, in the order wanted, and what cannot; what does not vary is in neither."""
    kept: list[str] = []
    given_up: list[str] = []
    for covariate in wanted:
        known = athletes[known_for(athletes, [*kept, covariate])]
        if len(known) and not varies(known[covariate]):
            continue
        width = numeric_design(known, [*kept, covariate])[0].shape[1] if len(known) else 1
        (kept if len(known) - 2 - width >= PLANNED_RESIDUAL_DF else given_up).append(covariate)
    return kept, given_up


def possible_sets(outcome: str, athletes: pd.DataFrame, planned: Sequence[str]) -> list[tuple[str, ...]]:
    """List the sets of covariates that a reasonable analyst might take, within what the club's size allows."""
    usable = {c for c in ("age_years", "sex", "mass_kg", "experience_years", "group") if _complete(athletes, c)}
    if outcome in IN_BPM and "hr_max_bpm" in athletes.columns and varies(measured_only(athletes)["hr_max_bpm"]):
        usable.add("hr_max_bpm")
    sets: list[tuple[str, ...]] = [tuple(planned), ()]
    singles = ["hr_max_bpm", "age_years"] if outcome in IN_BPM else ["age_years"]
    for first in [*singles, None]:
        for second in (None, "sex", "mass_kg"):
            chosen = tuple(c for c in (first, second) if c)
            if chosen and set(chosen) <= usable:
                sets.append(chosen)
    if "sex" in usable:
        sets += [(s, "sex", "mass_kg") for s in singles if {s, "sex", "mass_kg"} <= usable]
    seen, kept = set(), []
    for chosen in sets:
        inside = set(chosen) <= set(athletes.columns)
        some = athletes[known_for(athletes, chosen)] if inside else athletes
        width = numeric_design(some, chosen)[0].shape[1] if inside and len(some) else len(chosen)
        least = PLANNED_RESIDUAL_DF if set(chosen) == set(planned) else MINIMUM_RESIDUAL_DF
        small = width and len(some) - 2 - width < least
        if frozenset(chosen) not in seen and not small:
            seen.add(frozenset(chosen))
            kept.append(chosen)
    return kept


def _complete(athletes: pd.DataFrame, column: str) -> bool:
    return column in athletes.columns and bool(_has(athletes, column).all()) and varies(athletes[column])


def balanced_means(rows: pd.DataFrame, outcome: str, *, cell: str = "") -> pd.DataFrame:
    """Return each athlete's mean of an outcome, balanced for the rounds that the athlete missed."""
    effects = round_effects(rows, outcome, cell)
    level = rows[outcome] - effects
    grouped = rows.groupby("athlete", sort=False)
    table = pd.DataFrame(
        {
            "mean": level.groupby(rows["athlete"], sort=False).mean(),
            "plain_mean": grouped[outcome].mean(),
            "n_rounds": grouped.size(),
        }
    )
    return table.rename_axis("athlete").reset_index()


def round_effects(rows: pd.DataFrame, outcome: str, cell: str) -> pd.Series:
    """Return the effect of each row's round in the additive table athlete + round; 0 where it is unknown."""
    none = pd.Series(0.0, index=rows.index)
    if not cell or rows[cell].nunique() < 2:
        return none
    who, when = pd.Categorical(rows["athlete"]), pd.Categorical(rows[cell])
    n_athletes, n_cells = len(who.categories), len(when.categories)
    place = when.codes.astype(int)  # pandas counts in bytes, which end at 127
    design = np.zeros((len(rows), n_athletes + n_cells))
    design[np.arange(len(rows)), who.codes] = 1
    design[np.arange(len(rows)), n_athletes + place] = 1
    solution, _, rank, _ = np.linalg.lstsq(design, rows[outcome].to_numpy(dtype=float), rcond=None)
    if rank < n_athletes + n_cells - 1:
        return none
    effects = solution[n_athletes:] - solution[n_athletes:].mean()
    return pd.Series(effects[place], index=rows.index)


def flat_within(prepared) -> bool:
    """Tell whether nothing varies within athletes beyond the rounds, so that an athlete's rows are one value."""
    rows = prepared.rows
    level = rows[prepared.outcome] - round_effects(rows, prepared.outcome, prepared.cell)
    rest = level - level.groupby(rows["athlete"]).transform("mean")
    return bool(rest.abs().max() <= 1e-9 * max(float(rows[prepared.outcome].abs().max()), 1e-300))


RELATIVE = "mL/kg/min"
ABSOLUTE = "L/min"
PROPOSED_EXPONENT = 0.67
STEP = 5.0
STEP_MASS_KG = 80.0


def exponent_of(unit: str) -> float:
    """Return the exponent of body mass in a unit of capacity."""
    if unit == RELATIVE:
        return 1.0
    if unit == ABSOLUTE:
        return 0.0
    found = re.fullmatch(r"mL/kg\^([0-9]*\.?[0-9]+)/min", str(unit).strip())
    if not found:
        raise KitError(
            f"the unit of capacity is {unit!r}, but must be 'mL/kg/min', 'L/min' or 'mL/kg^b/min' with a number for b, for "
            "example 'mL/kg^0.67/min'."
        )
    return float(found[1])


def to_unit(vo2_ml_kg_min: float, mass_kg: float, unit: str) -> float:
    """Convert mL/kg/min to another unit of capacity."""
    if unit == RELATIVE:
        return vo2_ml_kg_min
    if unit == ABSOLUTE:
        return vo2_ml_kg_min * mass_kg / 1000
    return vo2_ml_kg_min * mass_kg ** (1 - exponent_of(unit))


def default_step(unit: str) -> float:
    """Return the step of capacity that an effect is stated for: 5 mL/kg/min, or what that is at 80 kg."""
    try:
        return to_unit(STEP, STEP_MASS_KG, unit)
    except KitError:
        return float("nan")


def known_scalings(capacity: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Give the table of capacity in each unit that it can be given in, the planned one first."""
    own = str(capacity["unit"].iloc[0]) if "unit" in capacity.columns and len(capacity) else ""
    tables = {own: capacity}
    if not {"vo2_l_min", "mass_kg"} <= set(capacity.columns):
        return tables
    known = capacity[capacity["capacity"].notna()]
    if not np.isfinite(known[["vo2_l_min", "mass_kg"]].to_numpy(dtype=float)).all():
        return tables
    for unit in (RELATIVE, ABSOLUTE, f"mL/kg^{PROPOSED_EXPONENT}/min"):
        if unit not in tables:
            value = to_unit(1000 * capacity["vo2_l_min"] / capacity["mass_kg"], capacity["mass_kg"], unit)
            tables[unit] = capacity.assign(capacity=value, unit=unit)
    return tables
