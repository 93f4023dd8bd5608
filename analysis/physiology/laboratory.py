"""Laboratory reports, gas exchange, treadmill time, and the metabolic equations used at the last stage of a graded test."""

from __future__ import annotations

import pandas as pd

from .aerobic_model import AVERAGING_NOTE, SEM_PROVENANCE, SEM_SOURCE, AerobicEquation, laboratory_sem
from .submaximal import ERROR_SHARE, metabolic_cost
from .units import COMPUTED, MEMORY, SECONDARY, m_min_from_km_h


def _report_check(v: dict, value: float) -> list[str]:
    said = []
    if "averaging" not in v:
        said.append(f"The averaging rule was not given: {AVERAGING_NOTE}.")
    if v.get("verdict") == "VO2peak":
        said.append("The report calls it VO2peak: the true maximum may be higher.")
    return said


def _prepare_report(v: dict) -> tuple[dict, list[str], list[str]]:
    if "vo2max_ml_kg_min" in v or "mass_kg" not in v:
        return v, [], []
    return {**v, "vo2max_ml_kg_min": 1000 * v["vo2max_l_min"] / v["mass_kg"]}, [], []


def _at_last_stage(activity: str):
    def compute(v: dict) -> float:
        if activity in ("walk", "run"):
            speed = m_min_from_km_h(v["speed_kmh"])
            return metabolic_cost(activity, speed_m_min=speed, grade=v.get("grade", 0.0)).value
        if activity == "step":
            return metabolic_cost(activity, steps_min=v["steps_min"], height_m=v["height_m"]).value
        return metabolic_cost(activity, power_w=v["power_w"], mass_kg=v["mass_kg"]).value

    return compute


def _range_check(activity: str):
    def check(v: dict, value: float) -> list[str]:
        if activity == "walk" and not 50 <= m_min_from_km_h(v["speed_kmh"]) <= 100:
            return ["Outside the validity range: 50 to 100 m/min (3 to 6 km/h)."]
        if activity == "run" and m_min_from_km_h(v["speed_kmh"]) <= 134:
            return ["Outside the validity range: above 134 m/min (8 km/h), or slower where truly running."]
        if activity == "leg_cycle" and not 50 <= v["power_w"] <= 200:
            return ["Outside the validity range: 50 to 200 W."]
        return []

    return check


_COST = {
    "walk": ("last walked stage", "3.5 + 0.1 S + 1.8 S G; S m/min, G fraction", ("speed_kmh",), ("grade",), "50 to 100 m/min"),
    "run": ("last run stage", "3.5 + 0.2 S + 0.9 S G; S m/min, G fraction", ("speed_kmh",), ("grade",), "above 134 m/min"),
    "leg_cycle": ("last stage on the cycle", "7 + 10.8 P / M; P W", ("power_w", "mass_kg"), (), "50 to 200 W"),
    "arm_cycle": ("last stage of arm cranking", "3.5 + 18 P / M; P W", ("power_w", "mass_kg"), (), ""),
    "step": ("last stage of stepping", "3.5 + 0.2 f + 1.33 · 1.8 f h", ("steps_min", "height_m"), (), ""),
}  # fmt: skip


def _cost_equation(activity: str) -> AerobicEquation:
    title, formula, needs, optional, validity = _COST[activity]
    known = metabolic_cost(activity, **_EXAMPLE[activity])
    return AerobicEquation(
        test=f"metabolic_{activity}",
        equation=f"acsm_{activity}",
        title=f"{title}, by the metabolic equation",
        source=known.source.rsplit(" (", 1)[0],
        provenance=known.provenance,
        formula=formula,
        compute=_at_last_stage(activity),
        needs=(needs,),
        optional=optional,
        population="adults in steady submaximal work",
        error=lambda v, y: ERROR_SHARE * y,
        error_note=known.error_note + ", for steady work",
        error_provenance=MEMORY,
        validity=validity,
        check=_range_check(activity),
        warning="Steady submaximal work only: taken at a maximal stage the equation reads too high.",
    )


_EXAMPLE = {
    "walk": {"speed_m_min": 90.0},
    "run": {"speed_m_min": 200.0},
    "leg_cycle": {"power_kgm_min": 600.0, "mass_kg": 70.0},
    "arm_cycle": {"power_kgm_min": 300.0, "mass_kg": 70.0},
    "step": {"steps_min": 24.0, "height_m": 0.3},
}

_SEM_NOTE = f"retest error of laboratory tests, {SEM_SOURCE}"

EQUATIONS = (
    *(_cost_equation(activity) for activity in _COST),
    AerobicEquation(
        "laboratory", "laboratory_report", "VO2max of a laboratory report", "the laboratory's report", COMPUTED,
        "as reported", lambda v: v["vo2max_ml_kg_min"], (("vo2max_ml_kg_min",), ("vo2max_l_min", "mass_kg")),
        "the athlete", ("averaging", "ergometer", "verdict"), error=lambda v, y: laboratory_sem(y), error_kind="retest",
        error_note=_SEM_NOTE, error_provenance=SEM_PROVENANCE, validity="10 to 100 mL/kg/min", check=_report_check,
        prepare=_prepare_report,
    ),
    AerobicEquation(
        "gas_exchange", "gas_exchange", "gas-exchange samples of a maximal test", "the athlete's own gas exchange", COMPUTED,
        "highest average by the stated rule", lambda v: v["vo2max_ml_kg_min"], (("samples", "mass_kg"),), "the athlete",
        ("average", "verification", "verification_from_s"), error=lambda v, y: laboratory_sem(y), error_kind="retest",
        error_note=_SEM_NOTE, error_provenance=SEM_PROVENANCE, validity="a maximal test", prepare=lambda v: _from_samples(v),
    ),
    AerobicEquation(
        "treadmill_bruce", "foster_1984_pollock_1982", "treadmill time, Bruce protocol (3 min a stage, speed and slope rise)",
        "men Foster 1984 Am Heart J 107:1229-1234, women Pollock 1982 Am Heart J 103:363-373", SECONDARY,
        "men 14.8 - 1.379 t + 0.451 t² - 0.012 t³, women 4.38 t - 3.9; t decimal minutes (11:42 is 11.7)",
        lambda v: _bruce(v),
        (("time_min", "sex"),), "not read", error=lambda v, y: 3.35 if v["sex"] == "M" else 2.7,
        error_note="men 3.35, women 2.7 mL/kg/min, from memory", error_provenance=MEMORY, validity="6 to 21 min (our proposal)",
        check=lambda v, y: [] if 6 <= v["time_min"] <= 21 else ["Outside the validity range: 6 to 21 min (our proposal)."],
        warning="Nobody holds the rail: it lengthens the time. In 41 patients the men's equation read 4.0 mL/kg/min low.",
    ),
)  # fmt: skip


def _bruce(v: dict) -> float:
    t = v["time_min"]
    return 14.8 - 1.379 * t + 0.451 * t**2 - 0.012 * t**3 if v["sex"] == "M" else 4.38 * t - 3.9


def _from_samples(v: dict) -> tuple[dict, list[str], list[str]]:
    from .gas_exchange import process_gas_exchange

    samples, bout = v["samples"], v.get("verification")
    if bout is None and "verification_from_s" in v:  # test and bout in one file
        later = pd.DataFrame(samples)["elapsed_s"] >= v["verification_from_s"]
        samples, bout = pd.DataFrame(samples)[~later], pd.DataFrame(samples)[later]
        bout = bout.assign(elapsed_s=bout["elapsed_s"] - v["verification_from_s"])
    average = v.get("average", "seconds:30")
    result = process_gas_exchange(samples, v["mass_kg"], average=average, verification=bout)
    return {**v, "vo2max_ml_kg_min": result.value, "verdict": result.label}, [], list(result.warnings)
