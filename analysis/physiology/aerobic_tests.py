"""Aerobic tests: from the inputs of a test by name to VO2max with its error, its source and its warnings."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from ..basics import KitError, check_choice, did_you_mean, join_words
from . import judo, laboratory, running, submaximal
from .aerobic_model import LITRES, ML, AerobicEquation, laboratory_sem
from .units import (
    KG_PER_LB,
    KGM_PER_MIN_PER_WATT,
    M_PER_MILE,
    M_PER_MIN_PER_MPH,
    Estimate,
    cite,
    is_blank,
    minutes_from,
)


@dataclass(frozen=True)
class AerobicInput:
    """One input of an aerobic test."""

    name: str
    unit: str
    meaning: str
    low: float = float("-inf")
    high: float = float("inf")
    kind: str = "number"
    choices: tuple[str, ...] = ()
    becomes: str = ""
    factor: float = 1.0


INPUTS = {
    i.name: i
    for i in (
        AerobicInput("age_years", "years", "age on the day of the test", 5, 100),
        AerobicInput("sex", "", "F or M, as the equation was made", kind="choice", choices=("F", "M")),
        AerobicInput("mass_kg", "kg", "body mass on the day", 20, 250),
        AerobicInput("mass_lb", "lb", "body mass in pounds", 44, 551, becomes="mass_kg", factor=KG_PER_LB),
        AerobicInput("level", "level", "shuttle run: level reached, a whole number", 1, 23, "integer"),
        AerobicInput("shuttle", "shuttle", "shuttle run: shuttles done in that level, a whole number", 0, 17, "integer"),
        AerobicInput("decimal_level", "level", "level plus the share of its shuttles done (12.5 is half of level 12 "
                     "done); not level.shuttle", 1, 23.99),
        AerobicInput("half_stage", "stage", "shuttle run: last half-stage completed", 0.5, 23),
        AerobicInput("stage_table", "", "shuttle run: first stage at 8.0 or at 8.5 km/h", kind="choice",
                     choices=("from_8_0", "from_8_5")),
        AerobicInput("level_called", "", "shuttle run: whether the recording calls a level at its start or at its end",
                     kind="choice", choices=("start", "end")),
        AerobicInput("speed_kmh", "km/h", "speed of the last announced stage, or steady speed", 1, 27),
        AerobicInput("speed_mph", "mph", "the same in miles an hour", 0.6, 16.8, becomes="speed_kmh",
                     factor=M_PER_MIN_PER_MPH * 60 / 1000),
        AerobicInput("time_min", "min", "time as minutes:seconds (11:42) or decimal minutes", 2, 60, "time"),
        AerobicInput("time_s", "s", "time in seconds", 120, 3600, becomes="time_min", factor=1 / 60),
        AerobicInput("distance_m", "m", "distance covered", 40, 6000),
        AerobicInput("distance_mi", "mi", "distance in miles", 0.03, 3.73, becomes="distance_m", factor=M_PER_MILE),
        AerobicInput("hr_bpm", "bpm", "heart rate at the stated moment of the test", 40, 230),
        AerobicInput("recovery_hr_bpm", "bpm", "pulse from 5 to 20 s after stepping, times 4", 40, 230),
        AerobicInput("pulse_15s", "beats", "beats counted from 5 to 20 s after stepping", 10, 58,
                     becomes="recovery_hr_bpm", factor=4),
        AerobicInput("hr_max_bpm", "bpm", "maximal heart rate", 100, 230),
        AerobicInput("hr_rest_bpm", "bpm", "resting heart rate", 28, 120),
        AerobicInput("hr_max_source", "", "measured or predicted", kind="choice", choices=("measured", "predicted")),
        AerobicInput("power_w", "W", "steady or mean power", 10, 800),
        AerobicInput("power_kgm_min", "kg·m/min", "work rate", 61, 4900, becomes="power_w",
                     factor=1 / KGM_PER_MIN_PER_WATT),
        AerobicInput("power_low_w", "W", "power of the lower stage", 10, 100),
        AerobicInput("power_high_w", "W", "power of the higher stage", 30, 500),
        AerobicInput("hr_low_bpm", "bpm", "heart rate at the lower stage", 40, 200),
        AerobicInput("hr_high_bpm", "bpm", "heart rate at the higher stage", 50, 220),
        AerobicInput("grade", "fraction", "slope as a fraction: 5 % is 0.05", -0.2, 0.5),
        AerobicInput("steps_min", "1/min", "steps a minute", 5, 80),
        AerobicInput("height_m", "m", "height of the step", 0.02, 0.8),
        AerobicInput("vo2max_ml_kg_min", "mL/kg/min", "VO2max of a laboratory report", 10, 100),
        AerobicInput("vo2max_l_min", "L/min", "VO2max of a laboratory report", 0.5, 9),
        AerobicInput("averaging", "", "averaging rule of the report, such as seconds:30", kind="text"),
        AerobicInput("ergometer", "", "treadmill, cycle, rowing, arm", kind="text"),
        AerobicInput("verdict", "", "VO2max or VO2peak, as the report says", kind="choice",
                     choices=("VO2max", "VO2peak")),
        AerobicInput("samples", "", "gas-exchange samples", kind="table"),
        AerobicInput("verification", "", "gas-exchange samples of a verification bout", kind="table"),
        AerobicInput("verification_from_s", "s", "where the verification bout begins, if it is in the same file", 60, 7200),
        AerobicInput("throws", "throws", "judo-specific throwing test: all throws of the three bouts", 5, 60, "integer"),
        AerobicInput("hr_after_bpm", "bpm", "heart rate at the end of the throwing test", 80, 230),
        AerobicInput("hr_1min_bpm", "bpm", "heart rate one minute after its end", 60, 230),
        AerobicInput("average", "", "averaging rule for the samples, such as seconds:30", kind="text"),
    )
}  # fmt: skip

NUMBERS = ("number", "integer", "time")
"""Kinds of input that are a number."""

CONTEXT = ("age_years", "sex", "mass_kg", "mass_lb")
"""Accepted by every test: where the equation does not use them, they only tell whether the athlete is outside it."""


def accepted_names(names) -> tuple[str, ...]:
    """Return canonical names with those that convert to them, and the context."""
    wanted = set(names) | set(CONTEXT)
    return tuple(i.name for i in INPUTS.values() if i.name in wanted or i.becomes in wanted)


def read_inputs(test: str, given: dict, accepted: tuple[str, ...]) -> tuple[dict, list[str], list[str]]:
    """Convert what was given to canonical inputs."""
    values, problems, remarks = {}, [], []
    for name, raw in given.items():
        spec = INPUTS.get(name)
        if spec is not None and spec.kind == "table" and raw is not None and name in accepted:
            values[name] = raw
            continue
        if is_blank(raw) or (name == "sex" and str(raw).strip().upper() == "X"):
            continue
        if name not in accepted:
            near = did_you_mean(name, accepted)
            problems.append(f"{name} is not an input of {test}" + (f"; did you mean {near}?" if near else ""))
            continue
        try:
            value, remark = _read_one(spec, raw)
        except KitError as problem:
            problems.append(str(problem))
            continue
        remarks += [remark] if remark else []
        target = spec.becomes or name
        if target in values and abs(values[target] - value) > 0.01 * abs(value):
            problems.append(f"{name} and another input of the same meaning disagree ({target}): give one")
        values[target] = value
    return values, problems, remarks


def _read_one(spec: AerobicInput, raw):
    if spec.kind == "text":
        return str(raw).strip(), ""
    if spec.kind == "choice":
        found = {c.casefold(): c for c in spec.choices}.get(str(raw).strip().casefold())
        if found is None:
            raise KitError(f"{spec.name} is {raw!r}: write {' or '.join(spec.choices)}")
        return found, ""
    remark = ""
    if spec.kind == "time":
        value, remark = minutes_from(raw, name=spec.name)
    else:
        try:
            value = float(str(raw).strip().replace(",", "."))
        except ValueError:
            raise KitError(f"{spec.name} is {raw!r}: a number in {spec.unit or 'its unit'} is needed") from None
    if not spec.low <= value <= spec.high:
        hint = " (seconds instead of minutes?)" if spec.kind == "time" and value > spec.high else ""
        raise KitError(
            f"{spec.name} is {value:g} {spec.unit}, possible are {spec.low:g} to {spec.high:g}{hint}".replace("  ", " ")
        )
    if spec.kind == "integer":
        if value != int(value):
            raise KitError(
                f"{spec.name} is {raw!r}: level and shuttle are two whole numbers (level 9, shuttle 10), never 9.10"
            )
        return int(value), remark
    return value * spec.factor, remark


_EQUATIONS: tuple[AerobicEquation, ...] = (
    *running.EQUATIONS,
    *submaximal.EQUATIONS,
    *laboratory.EQUATIONS,
    *judo.EQUATIONS,
)
_BY_TEST: dict[str, dict[str, AerobicEquation]] = {}
for _e in _EQUATIONS:
    _BY_TEST.setdefault(_e.test, {})[_e.equation] = _e

_SCORES = {**running.SCORES, **judo.SCORES}

LOWEST, HIGHEST = 10.0, 100.0
"""mL/kg/min: outside these an input is wrong. Between 20 and 85 no question is asked."""
_NOT_INPUTS = ("date", "file", "note", "athlete", "row", "test")


def known_aerobic_tests() -> pd.DataFrame:
    """List every aerobic test and published equation that the kit knows.

    Returns
    -------
    pandas.DataFrame
        One row per test and equation: test, equation, default (used where none is named), title, formula, inputs
        (alternatives joined by " or "), optional_inputs, input_units, validity, population, standard_error (as a
        sentence), error_kind ("prediction" or "retest"), uses_heart_rate, maximal, score (what to compare athletes
        by), source, provenance (of the coefficients), error_provenance, warning.

    Examples
    --------
    >>> tests = known_aerobic_tests()
    >>> sorted(tests.loc[tests["uses_heart_rate"], "test"].unique())[:3]
    ['cycle_astrand_ryhming', 'cycle_two_loads', 'hr_ratio']
    """
    rows = []
    for e in _EQUATIONS:
        names = e.input_names()
        rows.append(
            {
                "test": e.test,
                "equation": e.equation,
                "default": e.default,
                "title": e.title,
                "formula": e.formula,
                "inputs": " or ".join(", ".join(_with_mass(e, group)) for group in e.needs),
                "optional_inputs": ", ".join(e.optional),
                "input_units": ", ".join(f"{n} ({INPUTS[n].unit})" for n in names if INPUTS[n].unit),
                "validity": e.validity,
                "population": e.population,
                "standard_error": e.error_note,
                "error_kind": e.error_kind,
                "uses_heart_rate": e.uses_heart_rate,
                "maximal": e.maximal,
                "score": e.score,
                "source": e.source,
                "provenance": e.provenance,
                "error_provenance": "see standard_error" if callable(e.error_provenance) else e.error_provenance,
                "warning": e.warning,
            }
        )
    return pd.DataFrame(rows)


def aerobic_test_inputs(test: str, *, equation: str | None = None) -> tuple[str, ...]:
    """List every input name that a test accepts, converted ones and context included."""
    found = _find(test, equation)
    every = _BY_TEST[found.test].values() if is_blank(equation) else (found,)
    return accepted_names({n for e in every for n in e.input_names()})


def estimate_vo2max(test: str, **inputs) -> Estimate:
    """Estimate VO2max from an aerobic test by a published equation, with its error and its source.

    Parameters
    ----------
    test : str
        A test of known_aerobic_tests(), for example "shuttle_run_20m".
    **inputs
        The inputs of that test by name, with the unit in the name; blanks are passed over. `equation` chooses among
        the published equations of the test. A time is decimal minutes or "11:42" in time_min, or time_s; mass_lb,
        distance_mi, speed_mph and power_kgm_min are converted. age_years, sex and mass_kg are accepted by every
        test. `hr_max_source` says whether a maximal heart rate was measured or predicted.

    Returns
    -------
    Estimate
        mL/kg/min, with standard_error (not-a-number where none was published or read), error_kind ("prediction": the
        truth scatters around the equation; "retest": the measured value scatters around the truth), source and
        provenance, uses_heart_rate, and warnings (outside the population or the validity range).

    Raises
    ------
    KitError
        Naming every missing, unknown and impossible input at once.

    Notes
    -----
    An estimate that uses heart rate must not be set against sparring heart rate: the two share the same numbers.
    Maximal tests are for cleared, symptom-free people, with trained help at hand.

    References
    ----------
    Of each equation, in `source`; see known_aerobic_tests().

    Examples
    --------
    >>> shuttle = estimate_vo2max("shuttle_run_20m", level=9, shuttle=4, age_years=24)
    >>> round(shuttle.value, 1), shuttle.standard_error
    (47.6, 4.4)
    >>> round(estimate_vo2max("run_2_mile", time_min="12:36", sex="M").value, 2)
    57.49
    """
    e, values, said = _prepared(test, inputs)
    if not e.gives_vo2max:
        raise KitError(
            f'{e.test} gives no VO2max: compare athletes by its score (capacity_unit = "score" under [plan])'
        )
    native = e.compute(values)
    factor = 1000 / values["mass_kg"] if e.unit == LITRES else 1.0
    value = native * factor
    if not LOWEST <= value <= HIGHEST:
        raise KitError(
            f"{test} gives {value:.1f} mL/kg/min, which no athlete has: an input is wrong "
            f"({join_words([f'{k} {v}' for k, v in values.items() if not _is_table(v)])})"
        )
    error = e.error_of(values, native) * factor
    shown = [(k, v) for k, v in values.items() if not _is_table(v)]
    if e.unit == LITRES:
        shown.append(("vo2max_l_min", native))
    return Estimate(
        value=float(value), standard_error=float(error), unit=ML, source=cite(e.source, e.provenance),
        error_kind=e.error_kind, equation=e.equation, population=e.population, provenance=e.provenance,
        error_provenance="" if math.isnan(error) else _error_provenance(e, values), error_note=e.error_note,
        uses_heart_rate=e.uses_heart_rate, label="VO2peak" if values.get("verdict") == "VO2peak" else "VO2max",
        inputs=tuple(shown), warnings=tuple(dict.fromkeys([*said, *_warnings(e, values, value, error)])),
    )  # fmt: skip


def aerobic_test_score(test: str, *, score: str | None = None, **inputs) -> Estimate:
    """Give the number by which a test compares athletes within a club, where that is not VO2max."""
    e = _find(test, inputs.get("equation"))
    if e.score == "vo2max" and score is None:
        return estimate_vo2max(test, **inputs)
    name = check_choice(score or e.score, [n for t, n in _SCORES if t == e.test], name=f"score of {e.test}")
    known = _SCORES[e.test, name]
    e, values, said = _prepared(test, inputs, needs=(known.needs,))
    value = known.compute(values)
    error = float(known.error(value))
    return Estimate(
        value=float(value), standard_error=error, unit=known.unit, source=cite(e.source, e.provenance),
        error_kind="retest", equation=e.equation, population=e.population, provenance=e.provenance,
        error_provenance="" if math.isnan(error) else known.provenance, error_note=known.note,
        uses_heart_rate=e.uses_heart_rate, label=e.title,
        inputs=tuple((k, v) for k, v in values.items() if not _is_table(v)),
        warnings=(*said, *((LOWER_IS_FITTER,) if known.lower_is_fitter else ())),
    )  # fmt: skip


LOWER_IS_FITTER = "A lower score is the fitter one."
"""Among the warnings of a score where it is so."""


def _find(test: str, equation: str | None = None) -> AerobicEquation:
    name = "_".join(str(test).casefold().replace("-", " ").replace("_", " ").split())
    if name not in _BY_TEST:
        by_equation = [e for e in _EQUATIONS if e.equation == name]
        if by_equation and is_blank(equation):
            return by_equation[0]
        check_choice(name, _BY_TEST, name="test")
    of_test = _BY_TEST[name]
    if is_blank(equation):
        return next(e for e in of_test.values() if e.default)
    return of_test[check_choice(str(equation).strip(), of_test, name=f"equation of {name}")]


def _prepared(test: str, inputs: dict, *, needs=None) -> tuple[AerobicEquation, dict, list[str]]:
    """Resolve the equation, convert the inputs, and raise one KitError with every problem; a score may need less."""
    given = {k: v for k, v in inputs.items() if k not in _NOT_INPUTS}
    e = _find(test, given.pop("equation", None))
    # inputs of the sister equations of the same test are passed over, not refused: one sheet serves all
    sisters = accepted_names({n for s in _BY_TEST[e.test].values() for n in s.input_names()})
    values, problems, remarks = read_inputs(e.test, given, sisters)
    missing = _missing(e, values, needs or e.needs, refused={p.split(" ")[0] for p in problems})
    problems += [f"{name} is missing{_explain(name)}" for name in missing]
    if not problems:
        values, more, said = e.prepare(values)
        problems += more
        remarks += said
    if problems:
        raise KitError(f"{e.test}: " + "; ".join(problems))
    wanted = set(e.input_names()) | set(CONTEXT) | set(values) - set(given)
    return e, {k: v for k, v in values.items() if k in wanted}, remarks


def _missing(e: AerobicEquation, values: dict, needs, refused: set[str]) -> list[str]:
    """Return what lacks to the alternative that needs least; an input refused already is not called missing too."""
    lacking = []
    for group in needs:
        names = _with_mass(e, group) if needs is e.needs else group
        gone = [n for n in names if n not in values and not ({n, *_twins(n)} & refused)]
        touched = any(n in values or {n, *_twins(n)} & refused for n in group)
        lacking.append((len(gone), not touched, gone))
    return min(lacking, key=lambda one: one[:2])[2]


def _with_mass(e: AerobicEquation, group: tuple[str, ...]) -> tuple[str, ...]:
    return group + (("mass_kg",) if e.unit == LITRES and "mass_kg" not in group else ())


def _twins(name: str) -> list[str]:
    return [i.name for i in INPUTS.values() if i.becomes == name]


def _explain(name: str) -> str:
    also = _twins(name)
    words = INPUTS[name].meaning + (f"; or {join_words(also, 'or')}" if also else "")
    return f" ({words})"


def _warnings(e: AerobicEquation, values: dict, value: float, error: float) -> list[str]:
    said = list(e.check(values, value))
    age, sex = values.get("age_years"), values.get("sex")
    if e.ages and age is not None and not e.ages[0] <= age <= e.ages[1]:
        said.append(f"Outside the population: ages {e.ages[0]:g} to {e.ages[1]:g}, here {age:g}.")
    if sex is not None and sex not in e.sexes:
        said.append(f"Outside the population: made from {'men' if e.sexes == 'M' else 'women'} only.")
    if not 20 <= value <= 85:
        said.append("An unusual value: check the inputs.")
    if math.isnan(error):
        said.append(f"Its error is not known: {e.error_note}.")
    if e.provenance not in ("read at source", "computed"):
        said.append(f"The coefficients are {_HOW_READ[e.provenance]}.")
    return said + ([e.warning] if e.warning else [])


def _error_provenance(e: AerobicEquation, values: dict) -> str:
    return e.error_provenance(values) if callable(e.error_provenance) else e.error_provenance


_HOW_READ = {
    "from memory": "from memory, not confirmed at the source",
    "secondary page": "read in a secondary page only, not at the source",
}


def _is_table(value) -> bool:
    return isinstance(value, pd.DataFrame | list | dict)


FINE_STEP, COARSE_STEP = 1.0, 5.0
"""Steps to which a capacity is rounded (mL/kg/min): ours. Five is more than a shuttle stage or two years of age change it by."""


def capacity_step_to_share(tests: Collection[str], *, equations: Collection[str] = ()) -> float:
    """Return the step to which capacities are rounded before they are passed on.

    Parameters
    ----------
    tests : collection of str
        The tests behind them, by the names of `known_aerobic_tests`.
    equations : collection of str
        The equations that were used, by the same names. Default: any of those of the tests.

    Returns
    -------
    float
        Infinite, that is not at all, where a published equation of one of the tests takes sex or body mass: the highest and
        lowest values have one sex whatever the step, and loads of 25 watts lie further apart than steps. 5 where one takes
        the age, or where a test is not known; else 1. A capacity measured in a laboratory is no equation of mass: without
        litres a minute it gives none.

    Notes
    -----
    The 20 m shuttle run of children, 31.025 + 3.238 v - 3.248 a + 0.1536 v a (speed v in km/h, age a in years), changes by
    about 2.5 from one stage to the next at 12 years, and stages are few: an exact capacity has one pair of stage and age.

    References
    ----------
    Leger LA, et al. (1988) J Sports Sci 6:93-101 (equation as in `known_aerobic_tests`).

    Examples
    --------
    >>> capacity_step_to_share({"run_12_min"}), capacity_step_to_share({"run_12_min", "walk_1_mile"})
    (1.0, inf)
    """
    known = known_aerobic_tests()
    step = FINE_STEP
    for test in tests:
        rows = known[(known["test"] == test) & known["error_kind"].ne("retest")]
        if test not in set(known["test"]):
            step = max(step, COARSE_STEP)
        if len(equations):
            rows = rows[rows["equation"].isin(equations)]
        for row in rows.to_dict("records"):
            taken = set(f"{row['inputs']}, {row['optional_inputs']}".replace(" or ", ", ").split(", "))
            if taken & {"sex", "mass_kg"}:
                return math.inf
            if "age_years" in taken:
                step = max(step, COARSE_STEP)
    return step


def typical_test_error(test: str) -> tuple[float, str]:
    """Tell by how much a test errs in an athlete of usual capacity (47 mL/kg/min) and mass (75 kg), for planning."""
    vo2max, mass_kg = 47.0, 75.0
    e = next(e for e in _BY_TEST[check_choice(test, sorted(_BY_TEST), name="test")].values() if e.default)
    if not e.gives_vo2max:
        return math.nan, e.error_kind
    if e.error_kind == "retest":
        return laboratory_sem(vo2max), "retest"
    usual = {"sex": "M", "mass_kg": mass_kg, "age_years": 25.0, "hr_max_source": "measured"}
    factor = 1000 / mass_kg if e.unit == LITRES else 1.0
    try:
        error = e.error_of(usual, vo2max / factor) * factor
    except (KeyError, TypeError):
        error = math.nan
    return float(error), e.error_kind
