"""Timed and distance runs, and the intermittent recovery tests."""

from __future__ import annotations

from .aerobic_model import AerobicEquation
from .estimates import MEMORY, READ, SECONDARY
from .units import M_PER_MILE


def _male(v: dict) -> int:
    return int(v["sex"] == "M")


def _jog(v: dict) -> float:
    return 100.5 + 8.344 * _male(v) - 0.1636 * v["mass_kg"] - 1.438 * v["time_min"] - 0.1928 * v["hr_bpm"]


def _check_jog(v: dict, value: float) -> list[str]:
    said = []
    least = 8.0 if v["sex"] == "M" else 9.0
    if v["time_min"] < least:
        said.append(f"Outside the validity range: a jog of {least:g}:00 or slower for the mile.")
    if v["hr_bpm"] > 180:
        said.append("Outside the validity range: heart rate up to 180 bpm at the end.")
    return said


def _between(name: str, low: float, high: float, words: str):
    def check(v: dict, value: float) -> list[str]:
        return [] if low <= v[name] <= high else [f"Outside the validity range: {words}."]

    return check


def _prepare_distance(v: dict) -> tuple[dict, list[str], list[str]]:
    off = v["distance_m"] / 40 - round(v["distance_m"] / 40)
    if abs(off) > 1e-6:
        return (
            v,
            [f"distance_m is {v['distance_m']:g}: the test is run in pairs of 20 m, so a multiple of 40 m"],
            [],
        )
    return v, [], []


_POOR = (
    "Report the distance as the score. VO2max from it is poor for one person: in women footballers the formula was 17.8 % "
    "low (limits of agreement -31.8 to -3.8 %); in ten men it explained 28 %, and the authors advise against it."
)
_POOR_ERROR = "computed from the limits of agreement in women footballers (-31.8 to -3.8 %): 7.1 % of the value, besides the bias"
_STUDENTS = "students of 18 to 29"
_MINUTES = "decimal minutes (11:42 is 11.7)"

EQUATIONS = (
    AerobicEquation(
        "run_12_min", "cooper_1968", "12-minute run", "Cooper 1968 JAMA 203:201-204", MEMORY,
        f"(m - 504.9) / 44.73; metres in 12 minutes (in miles 35.97 mi - 11.29; 1 mile = {M_PER_MILE:g} m)",
        lambda v: (v["distance_m"] - 504.9) / 44.73, (("distance_m",),),
        "115 men of the US Air Force, r = 0.897 (read at source)", sexes="M",
        validity="about 1500 to 4000 m (our proposal)",
        check=_between("distance_m", 1500, 4000, "about 1500 to 4000 m in 12 minutes (our proposal)"),
    ),
    AerobicEquation(
        "run_12_min", "cooper_1968_miles", "12-minute run", "Cooper 1968 JAMA 203:201-204, imperial form", MEMORY,
        "35.97 mi - 11.29; miles in 12 minutes", lambda v: 35.97 * v["distance_m"] / M_PER_MILE - 11.29,
        (("distance_m",),), "115 men of the US Air Force, r = 0.897 (read at source)", sexes="M", default=False,
        validity="about 1500 to 4000 m (our proposal)",
        check=_between("distance_m", 1500, 4000, "about 1500 to 4000 m in 12 minutes (our proposal)"),
    ),
    AerobicEquation(
        "run_1_5_mile", "george_1993", "1.5-mile run, all out", "George 1993 Med Sci Sports Exerc 25:401-406", MEMORY,
        f"88.02 + 3.716 male - 0.1656 kg - 2.767 min; {_MINUTES}",
        lambda v: 88.02 + 3.716 * _male(v) - 0.1656 * v["mass_kg"] - 2.767 * v["time_min"],
        (("time_min", "sex", "mass_kg"),), f"{_STUDENTS}; validation r = .90, cross-validation r = .82", error=3.9,
        error_note="cross-validation 3.9 mL/kg/min (2.8 in the validation sample)", error_provenance=READ, ages=(18, 29),
        validity="7 to 20 min (our proposal)", check=_between("time_min", 7, 20, "7 to 20 min (our proposal)"),
    ),
    AerobicEquation(
        "run_1_5_mile", "acsm_run_1_5", "1.5-mile run, all out",
        "American College of Sports Medicine texts, 1.5-mile run", MEMORY, f"3.5 + 483 / min; {_MINUTES}",
        lambda v: 3.5 + 483 / v["time_min"], (("time_min",),), "not read", default=False,
        validity="7 to 20 min (our proposal)", check=_between("time_min", 7, 20, "7 to 20 min (our proposal)"),
    ),
    AerobicEquation(
        "jog_1_mile", "george_1993_jog", "1-mile jog at an even, submaximal pace",
        "George 1993 Med Sci Sports Exerc 25:401-406", READ,
        f"100.5 + 8.344 male - 0.1636 kg - 1.438 min - 0.1928 HR; {_MINUTES}, HR in bpm at the end", _jog,
        (("time_min", "sex", "mass_kg", "hr_bpm"),), f"{_STUDENTS}; r = .87, cross-validation .84", error=3.1,
        error_note="cross-validation 3.1 mL/kg/min (3.0 in the validation sample)", error_provenance=READ, ages=(18, 29),
        validity="men 8:00 and women 9:00 or slower, heart rate up to 180 bpm", check=_check_jog, uses_heart_rate=True,
        maximal=False, warning="Not the 1.5-mile run, and heart rate, not age, enters it: both mistakes are in print.",
    ),
    AerobicEquation(
        "run_2_mile", "mello_1984", "2-mile run, all out",
        "Mello, Murphy & Vogel 1984 technical report; US Army FM 21-20 App F", READ,
        f"men 99.7 - 3.35 min, women 72.9 - 1.77 min; {_MINUTES}",
        lambda v: 99.7 - 3.35 * v["time_min"] if v["sex"] == "M" else 72.9 - 1.77 * v["time_min"],
        (("time_min", "sex"),), "44 men (r = -.91) and 17 women (r = -.89)",
        error=lambda v, y: 3.31 if v["sex"] == "M" else float("nan"),
        error_note="men 3.31 mL/kg/min; none was read for women", error_provenance=READ,
        validity="10 to 26 min (our proposal)", check=_between("time_min", 10, 26, "10 to 26 min (our proposal)"),
    ),
    AerobicEquation(
        "intermittent_recovery_1", "bangsbo_2008_level_1", "intermittent recovery test, level 1 (from 10 km/h)",
        "Bangsbo, Iaia & Krustrup 2008 Sports Med 38:37-51", SECONDARY, "36.4 + 0.0084 m; metres in pairs of 20 m",
        lambda v: 36.4 + 0.0084 * v["distance_m"], (("distance_m",),), "not read", prepare=_prepare_distance,
        error=lambda v, y: 0.0714 * y, error_note=_POOR_ERROR, error_provenance=READ,
        validity="a multiple of 40 m", score="distance_m", warning=_POOR,
    ),
    AerobicEquation(
        "intermittent_recovery_2", "bangsbo_2008_level_2", "intermittent recovery test, level 2 (from 13 km/h)",
        "Bangsbo, Iaia & Krustrup 2008 Sports Med 38:37-51", SECONDARY, "45.3 + 0.0136 m; metres in pairs of 20 m",
        lambda v: 45.3 + 0.0136 * v["distance_m"], (("distance_m",),), "not read", prepare=_prepare_distance,
        error=lambda v, y: 0.0714 * y, error_note=_POOR_ERROR + "; taken over from level 1", error_provenance=READ,
        validity="a multiple of 40 m", score="distance_m", warning=_POOR,
    ),
)  # fmt: skip

SCORE_ERRORS = {
    "intermittent_recovery_1": (0.0459, READ, "CV 4.59 % of the distance (ten men)"),
    "intermittent_recovery_2": (0.10, MEMORY, "CV about 10 % of the distance, from memory"),
}
"""Test -> retest error of its score as a share of it, how far that was read, and in words."""
