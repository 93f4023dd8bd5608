"""From the sheet of aerobic tests to one capacity per athlete, with its error, its kind of error and what it rests on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from ..basics import KitError, Result, join_words, left_out_table, plural, upper_first
from ..basics.errors import need_columns
from ..physiology.aerobic_tests import (
    LOWER_IS_FITTER,
    aerobic_test_inputs,
    aerobic_test_score,
    estimate_vo2max,
    known_aerobic_tests,
)
from ..study.outcomes import OUTCOMES
from .adjustment import (
    CIRCULAR_REMEDY,
    CIRCULAR_WHY,
    GUARD_COLUMNS,
    MINIMUM_RESIDUAL_DF,
    Adjustment,
    CircularTestError,
    exponent_of,
    guard_row,
    hr_max_source,
    is_heart_rate,
    is_yes,
    set_aside_circular,
    shared_test_warning,
    to_unit,
)
from .fit import MINIMUM_ATHLETES, Prepared, join_capacity
from .results import Refused
from .tables import left_out_rows, to_numbers, varies

WITHIN_DAYS = 42
"""Our proposal: a test counts for a session where at most six weeks lie between them."""


@dataclass(frozen=True)
class ChosenTests(Result):
    """Which test of each athlete counts."""

    # Rows of aerobic_tests in order of preference, with `days_before_session` (negative where the test came after it) and
    # `n_tests` of the athlete
    used: pd.DataFrame
    left_out: pd.DataFrame  # Tests outside the limit of days
    rule: str


def choose_tests(
    aerobic_tests: pd.DataFrame,
    *,
    sessions: pd.DataFrame | None = None,
    primary_session: str | None = None,
    within_days: int = WITHIN_DAYS,
) -> ChosenTests:
    """Choose which test of each athlete counts: the nearest before the primary session, within a limit of days.

    A test after the session counts only where no test before it does, within the same limit. Without a date of session or
    test the limit cannot be applied; then the latest row of the athlete comes first. Where tests carry a phase (pre, post), only
    those of the session's phase count: what training changed is no error of the test.
    """
    need_columns(aerobic_tests, ["athlete"], what="aerobic_tests")
    table = aerobic_tests.reset_index(drop=True).copy()
    table["athlete"] = table["athlete"].astype(str)
    table["n_tests"] = table.groupby("athlete")["athlete"].transform("size")
    table, others = _of_phase(table, sessions, primary_session)
    when = _session_date(sessions, primary_session)
    dates = pd.to_datetime(table["date"] if "date" in table else pd.Series(pd.NaT, index=table.index), errors="coerce")
    table["days_before_session"] = (when - dates).dt.total_seconds() / 86400 if when is not None else math.nan
    days = table["days_before_session"].astype(float)
    far = days.abs() > within_days
    for _, row in table[far].iterrows():
        away = plural(round(abs(row["days_before_session"])), "day")
        others.append(left_test(row, f"{away} from the session; at most {within_days} count"))
    ranked = table.assign(_after=(days < 0).astype(int), _far=days.abs().fillna(within_days + 1), _row=-table.index)
    used = ranked[~far].sort_values(["athlete", "_after", "_far", "_row"], kind="stable")
    rule = (
        f"the test nearest before the primary session, within {within_days} days (proposal of the kit)"
        if when is not None
        else "the date of the primary session is not known, so the latest test of each athlete was taken"
    )
    return ChosenTests(
        used.drop(columns=["_after", "_far", "_row"]).reset_index(drop=True), left_out_table(others), rule
    )


def left_test(row: pd.Series, reason: str) -> dict:
    """Describe a test that was not used."""
    known = {c: row[c] for c in ("row", "athlete") if c in row.index}
    return {"file": "aerobic_tests", **known, "measure": str(row.get("test", "")), "reason": reason}


def _of_phase(table: pd.DataFrame, sessions: pd.DataFrame | None, primary_session: str | None):
    """Keep the tests of the session's phase, where tests carry one; a familiarisation never counts."""
    if "phase" not in table or not table["phase"].astype("string").fillna("").ne("").any():
        return table, []
    phase, own = table["phase"].astype("string").fillna(""), "pre"
    if sessions is not None and "phase" in sessions:
        said = [p for p in _of_session(sessions, primary_session)["phase"].astype("string").fillna("") if p]
        own = said[0] if said else own
    fits = phase.isin(["", own])
    left = [
        left_test(row, f"a test of phase {row['phase']}; the primary session is of phase {own}")
        for _, row in table[~fits].iterrows()
    ]
    return table[fits].reset_index(drop=True), left


def _of_session(table: pd.DataFrame, session: str | None) -> pd.DataFrame:
    """The rows of a session; all where none is named, or the table tells none."""
    if session is None or "session" not in table.columns:
        return table
    return table[table["session"].astype(str) == str(session)]


def _session_date(sessions: pd.DataFrame | None, primary_session: str | None):
    if sessions is None or not len(sessions) or "date" not in sessions.columns:
        return None
    dates = pd.to_datetime(_of_session(sessions, primary_session)["date"], errors="coerce").dropna()
    return dates.iloc[0] if len(dates) else None


SCORE = "score"
CAPACITY_COLUMNS = (
    "athlete", "capacity", "unit", "standard_error", "error_kind", "test", "uses_heart_rate", "warnings", "equation",
    "source", "label", "maximal", "date", "days_before_session", "n_tests", "mass_kg", "vo2_l_min", "hr_max_bpm",
)  # fmt: skip


def measure_capacity(
    aerobic_tests: pd.DataFrame, athletes: pd.DataFrame, *, sessions: pd.DataFrame | None = None,
    primary_session: str | None = None, unit: str = "mL/kg/min", within_days: int = WITHIN_DAYS,
    attendance: pd.DataFrame | None = None, gas_exchange: Mapping[str, pd.DataFrame] | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Turn aerobic tests into one capacity per athlete.

    Parameters
    ----------
    aerobic_tests : DataFrame
        athlete, test, date, file, and the inputs of each test by name.
    athletes : DataFrame
        athlete, age_years, sex, mass_kg, hr_rest_bpm, hr_max_bpm, hr_max_source: used where the test's own row is blank.
    sessions : DataFrame, optional
        session and date, to find the test nearest before the primary session.
    primary_session : str, optional
        Default the first session.
    unit : str
        "mL/kg/min" (default), "L/min", "mL/kg^b/min" with a number for b: one, fixed before the data; or "score" for the
        number that the test itself gives (metres of an intermittent recovery test, interpolated speed of a shuttle run),
        "score:total_shuttles" for another of its scores. Where a lower score is the fitter one its sign is turned.
    within_days : int
        Most days between test and session; default 42, our proposal.
    attendance : DataFrame, optional
        mass_kg on the evening, used where neither test nor athlete has a mass.
    gas_exchange : mapping, optional
        Name in column `file` -> table of gas exchange, read.

    Returns
    -------
    DataFrame
        One row per athlete: athlete, capacity, unit, standard_error, error_kind ("retest" or "prediction"), test,
        uses_heart_rate, warnings, and equation, source, label, maximal, date, days_before_session, n_tests, mass_kg,
        vo2_l_min, hr_max_bpm. Capacity is not-a-number where an athlete has no usable test; `warnings` says why.
        Tests not used stand in `.attrs["left_out"]`, the rule in `.attrs["rule"]`.

    Notes
    -----
    The choice of unit changes who counts as fitter in a club of mixed mass; the others are shown as sensitivity by
    `specifications`. An error is converted with the athlete's mass as known.

    Examples
    --------
    >>> tests = pd.DataFrame({"athlete": ["A01", "A02"], "test": "shuttle_run_20m", "level": [9, 11], "shuttle": [4, 2]})
    >>> club = pd.DataFrame({"athlete": ["A01", "A02"], "age_years": [24, 31], "sex": ["M", "F"], "mass_kg": [82, 61]})
    >>> table = measure_capacity(tests, club)
    >>> table["capacity"].round(1).tolist(), table["error_kind"].tolist()
    ([47.6, 53.6], ['prediction', 'prediction'])
    """
    need_columns(aerobic_tests, ["athlete", "test"], what="aerobic_tests")
    need_columns(athletes, ["athlete"], what="athletes")
    if not _is_score(unit):
        exponent_of(unit)
    chosen = choose_tests(aerobic_tests, sessions=sessions, primary_session=primary_session, within_days=within_days)
    people = athletes.assign(athlete=athletes["athlete"].astype(str)).drop_duplicates("athlete").set_index("athlete")
    evening = _evening_mass(attendance, primary_session)
    lines, unusable = [], []
    order = [*people.index, *(a for a in chosen.used["athlete"].unique() if a not in people.index)]
    groups = dict(list(chosen.used.groupby("athlete", sort=False)))
    for athlete in order:
        own = people.loc[athlete] if athlete in people.index else pd.Series(dtype=object)
        line, problems = None, []
        for _, test in groups.get(athlete, pd.DataFrame()).iterrows():
            if line is not None:
                unusable.append(left_test(test, "another test of this athlete was nearer before the session"))
                continue
            try:
                line = _measure_one(athlete, test, own, evening.get(athlete), unit, gas_exchange or {})
                line["warnings"] = "; ".join([*problems, *line["warnings"]])
            except KitError as error:
                problems.append(str(error))
                unusable.append(left_test(test, str(error)))
        if line is None:
            why = "; ".join(problems) or _why_none(athlete, chosen.left_out)
            own_unit = "" if _is_score(unit) else unit
            line = {"athlete": athlete, "unit": own_unit, "uses_heart_rate": False, "warnings": why}
        lines.append(line)
    table = _one_unit(pd.DataFrame(lines, columns=list(CAPACITY_COLUMNS)))
    for column in ("unit", "error_kind", "test", "warnings", "equation", "source", "label", "date"):
        table[column] = table[column].astype(object).fillna("").astype(str)
    for column in ("uses_heart_rate", "maximal"):
        table[column] = is_yes(table[column])
    table.attrs["left_out"] = pd.concat([chosen.left_out, left_out_table(unusable)], ignore_index=True)
    table.attrs["rule"] = chosen.rule
    return table


def describe_tests(capacity: pd.DataFrame) -> pd.DataFrame:
    """Describe how capacity was measured: one line per test, without athletes' codes."""
    known = known_aerobic_tests()
    lines = []
    for (test, equation), part in capacity[capacity["capacity"].notna()].groupby(["test", "equation"], sort=False):
        title = known.loc[known["equation"] == equation, "title"]
        lines.append(
            {
                "title": str(title.iloc[0]) if len(title) else test,
                "test": test,
                "n_athletes": len(part),
                "mean": part["capacity"].mean(),
                "sd": part["capacity"].std(),
                "standard_error": float((part["standard_error"] ** 2).mean() ** 0.5),
                "unit": part["unit"].iloc[0],
                "error_kind": part["error_kind"].iloc[0],
                "uses_heart_rate": bool(part["uses_heart_rate"].any()),
                "source": part["source"].iloc[0],
            }
        )
    return pd.DataFrame(lines)


def _measure_one(athlete, test, own, evening_mass, unit, gas_exchange) -> dict:
    name, equation = str(test["test"]), _text(test.get("equation"))
    accepted = aerobic_test_inputs(name, equation=equation or None)
    inputs = {n: test[n] for n in accepted if n in test.index and not _blank(test[n])}
    for column in ("age_years", "sex", "mass_kg", "hr_max_bpm", "hr_rest_bpm", "hr_max_source"):
        given = column in inputs or (column == "mass_kg" and "mass_lb" in inputs)
        if column in accepted and not given and not _blank(own.get(column)):
            inputs[column] = own[column]
    if "mass_kg" in accepted and not {"mass_kg", "mass_lb"} & set(inputs) and evening_mass is not None:
        inputs["mass_kg"] = evening_mass
    if str(inputs.get("sex", "F")).strip().upper() not in ("F", "M"):
        inputs.pop("sex")
    if equation:
        inputs["equation"] = equation
    file = _text(test.get("file"))
    if "samples" in accepted:
        if file not in gas_exchange:
            raise KitError(f"{name} needs a gas-exchange file in column `file`; {file or 'none'} could be read")
        inputs["samples"] = gas_exchange[file]
        bout = _text(test.get("verification_file"))
        if bout and bout not in gas_exchange:
            raise KitError(f"{name} names a verification file, {bout}, that could not be read")
        if bout:
            inputs["verification"] = gas_exchange[bout]
        if "average" not in inputs and not _blank(test.get("averaging")):
            inputs["average"] = test["averaging"]
    if _is_score(unit):
        found = aerobic_test_score(name, score=unit.partition(":")[2] or None, **inputs)
    else:
        found = estimate_vo2max(name, **inputs)
    warnings = [w.rstrip(".") for w in found.warnings]
    mass = dict(found.inputs).get("mass_kg", inputs.get("mass_kg"))
    mass = float(mass) if mass is not None else math.nan
    value, error, own_unit = found.value, found.standard_error, found.unit
    if LOWER_IS_FITTER in found.warnings:  # more of it is fitter from here on
        value, own_unit = -value, f"{own_unit}, sign turned"
    if not _is_score(unit) and unit != own_unit:
        if not mass > 0:
            raise KitError(f"{athlete} has no body mass, so capacity cannot be given in {unit}")
        value, error, own_unit = to_unit(value, mass, unit), to_unit(error, mass, unit), unit
    days = test.get("days_before_session", math.nan)
    if days < 0:
        warnings.append(f"tested {plural(round(-days), 'day')} after the session")
    known = known_aerobic_tests()
    line = known[known["equation"] == found.equation]
    return {
        "athlete": athlete, "capacity": value, "unit": own_unit, "standard_error": error,
        "error_kind": found.error_kind, "test": name, "uses_heart_rate": found.uses_heart_rate, "warnings": warnings,
        "equation": found.equation, "source": found.source, "label": found.label,
        "maximal": bool(line["maximal"].iloc[0]) if len(line) else True, "date": _text(test.get("date")),
        "days_before_session": days, "n_tests": int(test["n_tests"]), "mass_kg": mass,
        "vo2_l_min": found.value * mass / 1000 if found.unit == "mL/kg/min" else math.nan,
        "hr_max_bpm": _number(test.get("hr_max_bpm")),
    }  # fmt: skip


def _is_score(unit: str) -> bool:
    return unit == SCORE or unit.startswith(f"{SCORE}:")


def _one_unit(table: pd.DataFrame) -> pd.DataFrame:
    units = sorted({u for u in table.loc[table["capacity"].notna(), "unit"] if u})
    if len(units) > 1:
        raise KitError(
            f"the tests give scores in different units ({', '.join(units)}), which cannot be compared between athletes; ask "
            "for one unit of VO2max (mL/kg/min)."
        )
    if units:
        table["unit"] = units[0]
    numbers = ["capacity", "standard_error", "days_before_session", "mass_kg", "vo2_l_min", "hr_max_bpm", "n_tests"]
    return table.astype(dict.fromkeys(numbers, "float64"))


def _why_none(athlete: str, left_out: pd.DataFrame) -> str:
    reasons = left_out.loc[left_out["athlete"] == athlete, "reason"].tolist()
    return f"no test that counts: {'; '.join(reasons)}" if reasons else "no aerobic test"


def _evening_mass(attendance: pd.DataFrame | None, primary_session: str | None) -> dict[str, float]:
    if attendance is None or not {"athlete", "mass_kg"} <= set(attendance.columns):
        return {}
    table = _of_session(attendance.dropna(subset=["mass_kg"]), primary_session)
    return dict(zip(table["athlete"].astype(str), table["mass_kg"].astype(float), strict=True))


def _blank(value) -> bool:
    return not value.strip() if isinstance(value, str) else pd.isna(value)


def _text(value) -> str:
    return "" if _blank(value) else str(value).strip()


def _number(value) -> float:
    return math.nan if _blank(value) else float(pd.to_numeric(value, errors="coerce"))


def set_aside(data: pd.DataFrame, capacity: pd.DataFrame, outcome: str):
    """Set aside what must not enter, guard by guard; refuse where fewer than 4 athletes remain."""
    data[outcome] = to_numbers(data, outcome)
    aside: list[dict] = []
    guards: list[dict] = []
    for guard in (_limited_heart_rate, _mixed_maxima):
        data = guard(data, outcome, aside, guards)
    joined, name, _ = join_capacity(data, capacity)
    try:
        kept, circular = set_aside_circular(joined, name, outcome)
    except CircularTestError:
        guards.append(guard_row("circular test", "refused", joined["athlete"].nunique(), CIRCULAR_WHY))
        return refuse(outcome, CIRCULAR_WHY, CIRCULAR_REMEDY, guards, aside), aside, guards
    guards.append(_circular_guard(joined, kept, outcome))
    aside += circular
    used = kept[outcome].notna() & kept[name].notna()
    n_used = kept.loc[used, "athlete"].nunique()
    if n_used < MINIMUM_ATHLETES:
        label = OUTCOMES[outcome].label.casefold() if outcome in OUTCOMES else outcome
        have = f"Only {plural(n_used, 'athlete')} with both a fitness test and {label} remain"
        have = have if n_used else f"No athlete has both a fitness test and {label}"
        why = f"{have}; at least {MINIMUM_ATHLETES} are needed."
        return refuse(outcome, why, "aerobic tests and rounds of more athletes", guards, aside), aside, guards
    rows = kept.drop(columns=[c for c in ("capacity", "unit", "uses_heart_rate") if c in kept.columns])
    return rows.assign(_used=used), aside, guards


def _limited_heart_rate(data, outcome, aside, guards):
    if not is_heart_rate(outcome) or "hr_limited" not in data.columns:
        return data
    limited = is_yes(data["hr_limited"])
    n = data.loc[limited, "athlete"].nunique()
    aside += left_out_rows(data, limited, "a medicine or a condition holds the heart rate down (hr_limited)", outcome)
    words = "whose heart rate is held down by a medicine or a condition"
    text = f"{plural(n, 'athlete')} {words} set aside" if n else f"no athlete {words}"
    guards.append(guard_row("limited heart rate", "applied" if n else "passed", n, text))
    return data[~limited]


def _mixed_maxima(data, outcome, aside, guards):
    """In shares of maximal heart rate, measured and predicted maxima are never mixed: the measured ones stay."""
    if outcome not in ("percent_hr_max", "percent_hr_reserve") or "hr_max_source" not in data.columns:
        return data
    measured = data["hr_max_source"].astype("string").fillna("").str.strip().str.casefold() == "measured"
    predicted = ~measured.astype(bool) & data[outcome].notna()
    n = data.loc[predicted, "athlete"].nunique()
    if not n:
        return data
    if not (measured & data[outcome].notna()).any():
        text = (
            "every maximal heart rate is predicted from age, about 10 bpm wrong either way, and age enters both sides"
        )
        guards.append(guard_row("predicted maximum", "warned", n, text))
        return data
    aside += left_out_rows(
        data, predicted, "maximal heart rate predicted, that of others measured: never mixed", outcome
    )
    text = f"{plural(n, 'athlete')} with a predicted maximal heart rate set aside, since that of others is measured"
    guards.append(guard_row("predicted maximum", "applied", n, text))
    return data[~predicted]


def _circular_guard(joined, kept, outcome) -> dict:
    n = joined["athlete"].nunique() - kept["athlete"].nunique()
    if n:
        text = f"{plural(n, 'athlete')} set aside whose capacity was estimated from heart rate"
        return guard_row("circular test", "applied", n, text)
    reads = joined[is_yes(joined["uses_heart_rate"])] if "uses_heart_rate" in joined.columns else joined[:0]
    if len(reads) and not is_heart_rate(outcome):
        text = "capacity was estimated from heart rate, which is no circle for this outcome, but a rough estimate"
        return guard_row("circular test", "warned", reads["athlete"].nunique(), text)
    return guard_row("circular test", "passed", 0, "capacity does not come from heart rate")


def refuse(outcome: str, why: str, needs: str, guards: list[dict], aside: list[dict]) -> Refused:
    label = OUTCOMES[outcome].label.lower() if outcome in OUTCOMES else outcome
    return Refused(
        question=f"whether fitter athletes have a lower {label}",
        needs=needs,
        why=why if why.split(" ")[0].count("_") else upper_first(why),
        guards=pd.DataFrame(guards, columns=list(GUARD_COLUMNS)),
        left_out=left_out_table(aside),
    )


def judge_guards(outcome, capacity, club, planned: Prepared, adjustment: Adjustment) -> list[dict]:
    used = capacity[capacity["athlete"].astype(str).isin(planned.rows["athlete"])]
    guards = []
    if is_heart_rate(outcome):
        source = hr_max_source(club)
        text = {
            "measured": "every maximal heart rate is measured",
            "predicted": "every maximal heart rate is predicted from age, so none is adjusted for",
            "mixed": "measured and predicted maximal heart rates are never mixed: only measured ones are held equal",
            "incomplete": "not every athlete has a maximal heart rate: only measured ones are held equal",
            "none": "no maximal heart rates",
        }[source]
        guards.append(guard_row("maximal heart rate", "passed" if source == "measured" else "warned", len(club), text))
        shared, n = shared_test_warning(outcome, used, club)
        if shared:
            guards.append(guard_row("one test for both", "warned", n, shared))
    n = planned.n_athletes
    text = f"{planned.residual_df} residual degrees of freedom between athletes; at least {MINIMUM_RESIDUAL_DF} with covariates"
    guards.append(guard_row("covariates", "warned" if adjustment.given_up else "passed", n, text))
    if "test" in used.columns and varies(used["test"]):
        tests = join_words(sorted(_title(t) for t in used["test"].unique()))
        text = f"capacity comes from different tests ({tests}): differences between tests are mixed with those between athletes"
        guards.append(guard_row("one kind of test", "warned", len(used), text))
    text = "the athlete: rounds of one athlete are never counted as athletes"
    return [*guards, guard_row("unit of analysis", "passed", n, text)]


def _title(test: str) -> str:
    known = known_aerobic_tests()
    found = known.loc[known["test"] == test, "title"]
    return str(found.iloc[0]) if len(found) else str(test).replace("_", " ")
