"""Step, walk and cycle tests, the heart-rate ratio and rowing."""

from __future__ import annotations

import math

import numpy as np

from ..basics import KitError, check_choice
from .aerobic_model import LITRES, AerobicEquation, between
from .units import KG_PER_LB, MEMORY, READ, SECONDARY, Estimate, cite, kgm_min_from_watts

ASTRAND_AGES = (15, 25, 35, 40, 45, 50, 55, 60, 65)
ASTRAND_FACTORS = (1.10, 1.00, 0.87, 0.83, 0.78, 0.75, 0.71, 0.68, 0.65)


def age_factor(age_years: float) -> float:
    """Tell the age factor of the Åstrand-Ryhming cycle test, interpolated."""
    # Åstrand I 1960, Acta Physiol Scand 49 Suppl 169 (values from memory).
    return float(np.interp(age_years, ASTRAND_AGES, ASTRAND_FACTORS))


def _prepare_step(v: dict) -> tuple[dict, list[str], list[str]]:
    if "recovery_hr_bpm" in v:
        return v, [], []
    return ({**v, "recovery_hr_bpm": v["hr_bpm"]}, [], ["hr_bpm was read as the pulse from 5 to 20 s after stepping."])


def _kline(start: float, lb: float, age: float, male: float, minutes: float, hr: float):
    """Make an equation of the mile walk from its numbers."""

    def compute(v: dict) -> float:
        pounds, is_male = v["mass_kg"] / KG_PER_LB, int(v["sex"] == "M")
        return start + lb * pounds + age * v["age_years"] + male * is_male + minutes * v["time_min"] + hr * v["hr_bpm"]

    return compute


def _check_walk(v: dict, value: float) -> list[str]:
    said = []
    if v["time_min"] < 9:
        said.append("Outside the validity range: a mile walked in under 9 min was probably run.")
    if v["age_years"] < 30:
        said.append("In fit people of 18 to 29 the walk reads low (50.1 against 53.3 mL/kg/min in one study).")
    return said


def _astrand(v: dict) -> float:
    work = kgm_min_from_watts(v["power_w"])
    if v["sex"] == "M":
        raw = 100 * (0.00212 * work + 0.299) / (0.769 * v["hr_bpm"] - 48.5)
    else:
        raw = 100 * (0.00193 * work + 0.326) / (0.769 * v["hr_bpm"] - 56.1)
    return raw * age_factor(v["age_years"])


def _prepare_astrand(v: dict) -> tuple[dict, list[str], list[str]]:
    if v["hr_bpm"] < 100:
        return v, [f"hr_bpm is {v['hr_bpm']:g}: the test needs a steady heart rate of 125 to 170 bpm"], []
    return v, [], []


def _check_astrand(v: dict, value: float) -> list[str]:
    said = []
    if not 125 <= v["hr_bpm"] <= 170:
        said.append("Outside the validity range: steady heart rate of 125 to 170 bpm.")
    if not 15 <= v["age_years"] <= 65:
        said.append("Outside the range of the age factor, 15 to 65 years.")
    return said


def _two_loads(v: dict) -> float:
    rise_hr, rise_w = v["hr_high_bpm"] - v["hr_low_bpm"], v["power_high_w"] - v["power_low_w"]
    a, b, c, d, e = (
        (2.04900, 0.00858, 0.90742, 0.00178, 0.00290)
        if v["sex"] == "M"
        else (1.84390, 0.00673, 0.62578, 0.00175, 0.00471)
    )
    return math.exp(a - b * v["age_years"] - c * rise_hr / rise_w + d * rise_w - e * v["hr_low_bpm"])


def _prepare_two_loads(v: dict) -> tuple[dict, list[str], list[str]]:
    problems = []
    if v["power_high_w"] <= v["power_low_w"]:
        problems.append("power_high_w must be above power_low_w")
    if v["hr_high_bpm"] <= v["hr_low_bpm"]:
        problems.append("hr_high_bpm must be above hr_low_bpm")
    return v, problems, []


def _prepare_ratio(v: dict) -> tuple[dict, list[str], list[str]]:
    if v["hr_max_bpm"] <= v["hr_rest_bpm"]:
        return v, ["hr_max_bpm must be above hr_rest_bpm: are the two swapped?"], []
    if "hr_max_source" not in v:
        remark = "hr_max_source was not given: taken as predicted, with the larger error."
        return {**v, "hr_max_source": "predicted"}, [], [remark]
    return v, [], []


def _ratio(v: dict) -> float:
    return v["hr_max_bpm"] / v["hr_rest_bpm"]


def _prepare_row(v: dict) -> tuple[dict, list[str], list[str]]:
    if "power_w" in v or "time_min" not in v:
        return v, [], []
    power = 2.80 * (2000 / (60 * v["time_min"])) ** 3
    remark = "Mean power from the time by 2.80 · speed³ (speed in m/s), from memory: better type the watts shown."
    return {**v, "power_w": power}, [], [remark]


_HR = {"uses_heart_rate": True, "maximal": False}
_BELOW_MAX = "A submaximal prediction: heart rate enters it, so it must not be set against sparring heart rate."
_RATIO_TITLE = "ratio of maximal to resting heart rate"
_RATIO_NEEDS = (("hr_max_bpm", "hr_rest_bpm"),)
_WALK_TITLE = "1-mile walk, as fast as possible"
_WALK_NEEDS = (("time_min", "hr_bpm", "age_years", "sex", "mass_kg"),)

EQUATIONS = (
    AerobicEquation(
        "step_queens_college", "mcardle_1972", "Queens College step test (41.3 cm, 3 min)",
        "McArdle 1972 Med Sci Sports 4:182-186", SECONDARY,
        "men 111.33 - 0.42 HR, women 65.81 - 0.1847 HR; HR 4 x the pulse from 5 to 20 s after; 24 ascents a minute for "
        "men, 22 for women",
        lambda v: (111.33 - 0.42 * v["recovery_hr_bpm"] if v["sex"] == "M" else 65.81 - 0.1847 * v["recovery_hr_bpm"]),
        (("recovery_hr_bpm", "sex"), ("hr_bpm", "sex")), "college students",
        error=lambda v, y: 2.9 if v["sex"] == "F" else float("nan"),
        error_note="women about 2.9 mL/kg/min, from memory; for men none was read (16 % is quoted, from memory, without "
        "saying of what)", error_provenance=MEMORY, ages=(17, 30), validity="recovery pulse of 100 to 190 (our proposal)",
        prepare=_prepare_step,
        check=between("recovery_hr_bpm", 100, 190, "recovery pulse of 100 to 190 bpm (our proposal)"), warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "walk_1_mile", "kline_1987_l_min", _WALK_TITLE, "Kline 1987 Med Sci Sports Exerc 19:253-259 (pages from memory)",
        READ, "6.9652 + 0.0091 lb - 0.0257 age + 0.5955 male - 0.2240 min - 0.0115 HR (L/min); HR of the last quarter-mile",
        _kline(6.9652, 0.0091, -0.0257, 0.5955, -0.2240, -0.0115), _WALK_NEEDS,
        "343 people of 30 to 69; r = .93, cross-validation .92", unit=LITRES, error=0.355,
        error_note="cross-validation 0.355 L/min (0.325 in the validation sample)", error_provenance=READ, ages=(30, 69),
        validity="walked, not run", check=_check_walk, warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "walk_1_mile", "kline_1987_relative", _WALK_TITLE, "Kline 1987", MEMORY,
        "132.853 - 0.0769 lb - 0.3877 age + 6.315 male - 3.2649 min - 0.1565 HR; HR of the last quarter-mile",
        _kline(132.853, -0.0769, -0.3877, 6.315, -3.2649, -0.1565), _WALK_NEEDS,
        "343 people of 30 to 69", error=5.0, error_note="about 5.0 mL/kg/min, from memory",
        error_provenance=MEMORY, ages=(30, 69), validity="walked, not run", check=_check_walk, default=False,
        warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "cycle_astrand_ryhming", "astrand_ryhming_1954", "single-stage cycle test of 6 min",
        "Åstrand & Ryhming 1954, algebraic form; age factor Åstrand 1960", MEMORY,
        "men 100 (0.00212 W + 0.299) / (0.769 HR - 48.5), women 100 (0.00193 W + 0.326) / (0.769 HR - 56.1), times the age "
        "factor (L/min); W in kg·m/min", _astrand, (("power_w", "hr_bpm", "age_years", "sex"),),
        "healthy adults; error from a modern sample", unit=LITRES, error=0.48,
        error_note="0.48 L/min, CV 18.1 %, in a modern sample", error_provenance=READ,
        validity="steady heart rate of 125 to 170 bpm, differing by less than 5 bpm in the last two minutes",
        check=_check_astrand, prepare=_prepare_astrand, warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "cycle_two_loads", "ekblom_bak_2016", "cycle test at two loads (30 W, then hard), 4 min each",
        "Björkman 2016 Eur J Appl Physiol 116:1627-1638 (Ekblom-Bak test)", MEMORY,
        "men ln V = 2.04900 - 0.00858 age - 0.90742 dHR/dW + 0.00178 dW - 0.00290 HRlow; women 1.84390, 0.00673, 0.62578, "
        "0.00175, 0.00471 (L/min); heart rate the mean of 3:15, 3:30, 3:45 and 4:00 of each stage", _two_loads,
        (("power_low_w", "power_high_w", "hr_low_bpm", "hr_high_bpm", "age_years", "sex"),), "adults of 20 to 86",
        unit=LITRES, error=0.28, error_note="0.28 L/min, CV 8.7 %", error_provenance=READ, ages=(20, 86),
        validity="lower stage about 30 W; higher stage at an exertion near 14 (6-20)",
        check=between("power_low_w", 25, 35, "the lower stage is ridden at about 30 W"),
        prepare=_prepare_two_loads, warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "hr_ratio", "uth_2004", _RATIO_TITLE, "Uth 2004 Eur J Appl Physiol 91:111-115", READ, "15.3 HRmax / HRrest",
        lambda v: 15.3 * _ratio(v), _RATIO_NEEDS, "46 well-trained men of 21 to 51", ("hr_max_source",),
        error=lambda v, y: 2.7 if v["hr_max_source"] == "measured" else 4.7,
        error_note="2.7 mL/kg/min with a measured maximum, 4.7 with a predicted one",
        error_provenance=READ, ages=(21, 51), sexes="M", validity="true resting and maximal heart rate",
        prepare=_prepare_ratio, warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "hr_ratio", "voutilainen_ratio", _RATIO_TITLE, "Voutilainen", SECONDARY, "12.11 HRmax / HRrest",
        lambda v: 12.11 * _ratio(v), _RATIO_NEEDS, "middle-aged men", ("hr_max_source",), sexes="M", ages=(42, 61),
        validity="ages 42 to 61 are from memory", prepare=_prepare_ratio, default=False, warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "hr_ratio", "voutilainen_linear", _RATIO_TITLE, "Voutilainen", SECONDARY, "8.43 HRmax / HRrest + 10.46",
        lambda v: 8.43 * _ratio(v) + 10.46, _RATIO_NEEDS, "middle-aged men", ("hr_max_source",), sexes="M",
        ages=(42, 61), validity="ages 42 to 61 are from memory", prepare=_prepare_ratio, default=False,
        warning=_BELOW_MAX, **_HR,
    ),
    AerobicEquation(
        "row_2000_m", "jensen_2021", "2000 m rowing, all out", "Jensen 2021 Int J Sports Physiol Perform 16:382", READ,
        "10.96 W + 1168 (mL/min); W mean watts", lambda v: (10.96 * v["power_w"] + 1168) / 1000,
        (("power_w",), ("time_min",)), "34 male club rowers, r = .93", unit=LITRES, error=0.157,
        error_note="0.157 L/min (the abstract prints mL/min, evidently L/min); typical error 3.6 %", error_provenance=READ,
        sexes="M", validity="trained rowers", prepare=_prepare_row,
        warning="Made from rowers: who does not row well reads low.",
    ),
    AerobicEquation(
        "row_2000_m", "klusiewicz_2003", "2000 m rowing, all out", "Klusiewicz & Faff 2003 Biol Sport", READ,
        "men 1.682 + 0.0097 W, women 1.631 + 0.0088 W (L/min); W mean watts",
        lambda v: 1.682 + 0.0097 * v["power_w"] if v["sex"] == "M" else 1.631 + 0.0088 * v["power_w"],
        (("power_w", "sex"), ("time_min", "sex")), "elite rowers", unit=LITRES, default=False, validity="elite rowers",
        prepare=_prepare_row, warning="Made from elite rowers: others are outside the population.",
    ),
    AerobicEquation(
        "row_step", "jensen_2021_step", "rowing step test to exhaustion", "Jensen 2021 Int J Sports Physiol Perform 16:382",
        READ, "11.49 W + 810 (mL/min); W highest mean power of a step", lambda v: (11.49 * v["power_w"] + 810) / 1000,
        (("power_w",),), "34 male club rowers, r = .96", unit=LITRES, error=0.136,
        error_note="0.136 L/min (the abstract prints mL/min, evidently L/min); typical error 3.1 %", error_provenance=READ,
        sexes="M", validity="trained rowers", warning="Made from rowers: who does not row well reads low.",
    ),
)  # fmt: skip


_SOURCE = "American College of Sports Medicine, Guidelines for Exercise Testing and Prescription"
ERROR_SHARE = 0.07
"""Standard error of estimate as a share of the value, from memory."""

_ACTIVITIES = {
    "walk": (("speed_m_min", "grade"), READ, "50 to 100 m/min"),
    "run": (("speed_m_min", "grade"), READ, "above 134 m/min, or slower where truly running"),
    "leg_cycle": (("power_kgm_min", "mass_kg"), READ, "50 to 200 W"),
    "arm_cycle": (("power_kgm_min", "mass_kg"), MEMORY, "not read"),
    "step": (("steps_min", "height_m"), READ, "not read"),
}


def metabolic_cost(activity: str, **inputs: float) -> Estimate:
    """Estimate the oxygen uptake of steady submaximal work."""
    # S speed, G grade, W work rate, M mass, f steps a minute, h height. Walk 3.5 + 0.1 S + 1.8 S G; run 3.5
    # + 0.2 S + 0.9 S G; legs 7 + 1.8 W / M; arms 3.5 + 3 W / M; step 3.5 + 0.2 f + 1.33 · 1.8 f h. With
    # power in watts the handbook has a form of its own, which is not the exact conversion: legs 7 + 10.8 P
    # / M, arms 3.5 + 18 P / M (from memory). Steady submaximal work only.
    needed, provenance, validity = _ACTIVITIES[check_choice(activity, _ACTIVITIES, name="activity")]
    if activity.endswith("_cycle") and "power_w" in inputs:
        needed = ("power_w", "mass_kg")
    problems = [f"{name} is missing" for name in needed if name not in inputs and name != "grade"]
    problems += [f"{name} is not an input of {activity}" for name in inputs if name not in needed]
    values = {"grade": 0.0, **{k: float(v) for k, v in inputs.items() if k in needed}}
    limits = {"speed_m_min": (10, 450), "grade": (-0.2, 0.5), "power_kgm_min": (0, 4000), "power_w": (0, 650),
              "mass_kg": (20, 250), "steps_min": (5, 80), "height_m": (0.02, 0.8)}  # fmt: skip
    for name in needed:
        low, high = limits[name]
        if name in values and not low <= values[name] <= high:
            unit = " (a fraction: 5 % is 0.05)" if name == "grade" else ""
            problems.append(f"{name} is {values[name]:g}, must lie between {low} and {high}{unit}")
    if problems:
        raise KitError("; ".join(problems))
    v = values
    if activity in ("walk", "run"):
        flat, slope = (0.1, 1.8) if activity == "walk" else (0.2, 0.9)
        cost = 3.5 + flat * v["speed_m_min"] + slope * v["speed_m_min"] * v["grade"]
    elif activity == "step":
        cost = 3.5 + 0.2 * v["steps_min"] + 1.33 * 1.8 * v["steps_min"] * v["height_m"]
    else:
        rest, slope, per_watt = (7.0, 1.8, 10.8) if activity == "leg_cycle" else (3.5, 3.0, 18.0)
        work = per_watt * v["power_w"] if "power_w" in v else slope * v["power_kgm_min"]
        cost = rest + work / v["mass_kg"]
    warnings = ["Steady submaximal work only: at a maximal stage the equation reads too high."]
    warnings += _outside(activity, v)
    return Estimate(
        value=float(cost), standard_error=float(ERROR_SHARE * cost), unit="mL/kg/min", source=cite(_SOURCE, provenance),
        error_kind="prediction", equation=activity, population=f"adults in steady work; {validity}",
        provenance=provenance, error_provenance=MEMORY, error_note="about 7 % of the value, from memory", label="VO2",
        inputs=tuple((name, v[name]) for name in needed), warnings=tuple(warnings),
    )  # fmt: skip


def _outside(activity: str, v: dict) -> list[str]:
    outside = False
    if activity == "walk":
        outside = not 50 <= v["speed_m_min"] <= 100
    elif activity == "run":
        outside = v["speed_m_min"] <= 134
    elif activity == "leg_cycle":
        outside = not (50 <= v["power_w"] <= 200 if "power_w" in v else 300 <= v["power_kgm_min"] <= 1224)
    return [f"Outside the validity range: {_ACTIVITIES[activity][2]}."] if outside else []
