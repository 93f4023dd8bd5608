"""The inputs of aerobic tests by name: units, possible range, and conversion of pounds, miles and minutes:seconds."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import KitError, did_you_mean
from .estimates import is_blank
from .units import (
    KG_PER_LB,
    KGM_PER_MIN_PER_WATT,
    M_PER_MILE,
    M_PER_MIN_PER_MPH,
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
        AerobicInput("average", "", "averaging rule for the samples, such as seconds:30", kind="text"),
    )
}  # fmt: skip

CONTEXT = ("age_years", "sex", "mass_kg", "mass_lb")
"""Accepted by every test: where the equation does not use them, they only tell whether the athlete is outside it."""


def aerobic_inputs() -> pd.DataFrame:
    """List every input that an aerobic test may have, with unit and possible range.

    Returns
    -------
    pandas.DataFrame
        input, unit, meaning, low, high, kind, choices, converted_to.

    Examples
    --------
    >>> "time_min" in set(aerobic_inputs()["input"])
    True
    """
    return pd.DataFrame(
        {
            "input": i.name,
            "unit": i.unit,
            "meaning": i.meaning,
            "low": i.low,
            "high": i.high,
            "kind": i.kind,
            "choices": ", ".join(i.choices),
            "converted_to": i.becomes,
        }
        for i in INPUTS.values()
    )


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
            raise KitError(
                f"{spec.name} is {raw!r}: a number in {spec.unit or 'its unit'} is needed"
            ) from None
    if not spec.low <= value <= spec.high:
        hint = " (seconds instead of minutes?)" if spec.kind == "time" and value > spec.high else ""
        raise KitError(
            f"{spec.name} is {value:g} {spec.unit}, possible are {spec.low:g} to {spec.high:g}{hint}".replace(
                "  ", " "
            )
        )
    if spec.kind == "integer":
        if value != int(value):
            raise KitError(
                f"{spec.name} is {raw!r}: level and shuttle are two whole numbers (level 9, shuttle 10), never 9.10"
            )
        return int(value), remark
    return value * spec.factor, remark
