"""Running tests: the 20 m shuttle run with its stage tables, timed and distance runs, intermittent recovery tests."""

from __future__ import annotations

import pandas as pd

from ..basics import KitError, check_choice
from .aerobic_model import AerobicEquation, AerobicScore, between
from .units import COMPUTED, M_PER_MILE, MEMORY, READ, SECONDARY

STAGE_TABLES = ("from_8_0", "from_8_5")
SHUTTLE_M = 20


def stage_speed_km_h(level: int, *, stage_table: str = "from_8_0") -> float:
    """Tell the speed of a level of the shuttle run with stages of one minute."""
    check_choice(stage_table, STAGE_TABLES, name="stage_table")
    if level != int(level) or not 1 <= level <= 23:
        raise KitError(f"level is {level!r}: a whole number from 1 to 23 is needed")
    return 8.0 if level == 1 and stage_table == "from_8_0" else 8.0 + 0.5 * level


def shuttles_in_level(level: int, *, stage_table: str = "from_8_0") -> int:
    """Tell how many shuttles of 20 m a level has."""
    return round(10 * stage_speed_km_h(level, stage_table=stage_table)) // 12 + 1


def shuttle_stages(levels: int = 21, *, stage_table: str = "from_8_0") -> pd.DataFrame:
    """Lay out the stages of the shuttle run.

    Speeds and shuttles read in secondary pages; the rule for the shuttles reproduces all 21.
    """
    table = pd.DataFrame({"level": range(1, levels + 1)})
    table["speed_kmh"] = [stage_speed_km_h(n, stage_table=stage_table) for n in table["level"]]
    table["shuttles"] = [shuttles_in_level(n, stage_table=stage_table) for n in table["level"]]
    table["s_per_shuttle"] = SHUTTLE_M / (table["speed_kmh"] / 3.6)
    table["cum_shuttles"] = table["shuttles"].cumsum()
    table["cum_m"] = SHUTTLE_M * table["cum_shuttles"]
    return table


def shuttle_score(level: int, shuttle: int, *, stage_table: str = "from_8_0") -> tuple[float, int]:
    """Tell what ranks athletes of one club in the shuttle run: interpolated speed, and shuttles in all."""
    # The published equation gives one value to a whole level and steps to the next by as much as a training
    # effect. Speed interpolated in the last stage is common practice in graded tests (Kuipers 1985, from
    # memory). The equation was not made for it: VO2max stays with the speed of the last announced level.
    most = shuttles_in_level(level, stage_table=stage_table)
    if not 0 <= shuttle <= most:
        raise KitError(f"shuttle is {shuttle}, but level {level} has {most}")
    speed = stage_speed_km_h(level, stage_table=stage_table)
    before = stage_speed_km_h(level - 1, stage_table=stage_table) if level > 1 else speed - 0.5
    done = sum(shuttles_in_level(n, stage_table=stage_table) for n in range(1, level))
    return before + (speed - before) * shuttle / most, done + shuttle


def aerobic_speed_km_h(distance_m: float, time_min: float) -> float:
    """Tell the aerobic speed from a run over a set distance."""
    # A short run is faster than the speed at VO2max; at 2 km the two are the same. The equation is from
    # memory, its distances too; that the paper predicts aerobic speed from set distances was read.
    # Bellenger 2015, Eur J Appl Physiol 115:2593, doi 10.1007/s00421-015-3233-6.
    km = distance_m / 1000
    return km / (time_min / 60) * (0.766 + 0.117 * km)


def _prepare(inputs: dict) -> tuple[dict, list[str], list[str]]:
    """Fill speed, decimal level and half-stage from level and shuttle."""
    v, problems, remarks = dict(inputs), [], []
    table = v.get("stage_table", "from_8_0")
    if "level" not in v:
        return v, problems, remarks
    level, shuttle = v["level"], v.get("shuttle")
    if shuttle is None:
        return v, ["shuttle is missing: give level and shuttle as two whole numbers"], remarks
    if v.get("level_called") == "end":  # the level called last was over; the shuttles belong to the next one
        level += 1
        remarks.append(f"The recording calls a level at its end: read as level {level}.")
    if shuttle == 0:
        if level == 1:
            return v, ["level 1, shuttle 0: no shuttle was run"], remarks
        level, shuttle = level - 1, shuttles_in_level(level - 1, stage_table=table)
        remarks.append(f"Shuttle 0 of a level was read as the whole of level {level}.")
    most = shuttles_in_level(level, stage_table=table)
    if shuttle > most:
        problems.append(f"shuttle is {shuttle}, but level {level} has {most}")
    share = shuttle / most
    v["level"], v["shuttle"] = level, shuttle
    v.setdefault("speed_kmh", stage_speed_km_h(level, stage_table=table))
    v.setdefault("decimal_level", level + share)
    if not problems:
        v["interpolated_speed_kmh"], v["total_shuttles"] = shuttle_score(level, shuttle, stage_table=table)
    v.setdefault("half_stage", level - 1 + (1.0 if share >= 1 else 0.5 if share >= 0.5 else 0.0))
    return v, problems, remarks


def _leger_1988(v: dict) -> float:
    age = min(v["age_years"], 18.0)
    return 31.025 + 3.238 * v["speed_kmh"] - 3.248 * age + 0.1536 * age * v["speed_kmh"]


def _check_leger_1988(v: dict, value: float) -> list[str]:
    said = []
    if v["age_years"] < 8:
        said.append("Outside the population: children from 8 years.")
    if 11 <= v["age_years"] < 15 and v.get("sex", "M") == "M":
        said.append("In boys of 11 to 14 the test was found not valid for VO2max.")
    return said


_AGREEMENT = (
    "The published equations and tables for one shuttle result differ by 5 to 6 mL/kg/min: compare athletes by one "
    "equation only, and name it."
)
_WHOLE_LEVELS = (
    " It gives one value to a whole level and 3 mL/kg/min more to the next: to rank athletes within a club take the score "
    "(interpolated speed or total shuttles)."
)
_HALVES = "half_stage is not a multiple of 0.5: the equation is made for the last half-stage completed."
_SHARES = "decimal_level is the level plus the share of its shuttles, not level.shuttle (9.10 is not level 9, 10)."
_TITLE = "20 m shuttle run, stages of one minute"
_PLACE = ("stage_table", "level_called")


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


def _in_steps(name: str, step: float, words: str):
    """Make the check that an input is a multiple of the step of its test."""

    def prepare(v: dict) -> tuple[dict, list[str], list[str]]:
        off = v[name] / step - round(v[name] / step)
        return v, [f"{name} is {v[name]:g}: {words}"] if abs(off) > 1e-6 else [], []

    return prepare


def _30_15(v: dict) -> float:
    sex = 1 if v["sex"] == "M" else 2
    speed, age = v["speed_kmh"], v["age_years"]
    return 28.3 - 2.15 * sex - 0.741 * age - 0.0357 * v["mass_kg"] + 0.0586 * age * speed + 1.03 * speed


_POOR = (
    "Report the distance as the score. VO2max from it is poor for one person: in women footballers the formula was 17.8 % "
    "low (limits of agreement -31.8 to -3.8 %); in ten men it explained 28 %, and the authors advise against it."
)
_POOR_ERROR = (
    "computed from the limits of agreement in women footballers (-31.8 to -3.8 %): 7.1 % of the value, besides the bias"
)
_SPEED_ONLY = (
    "Compare athletes by the aerobic speed. VO2max from a track run read 5 % too high in 48 men, and in 41 athletes the "
    "authors found that such a run cannot evaluate VO2max with reasonable accuracy (Berthon 1997, two papers)."
)
_STUDENTS = "students of 18 to 29"
_PAIRS = _in_steps("distance_m", 40, "the test is run in pairs of 20 m, so a multiple of 40 m")
_MINUTES = "decimal minutes (11:42 is 11.7)"

EQUATIONS = (
    AerobicEquation(
        "shuttle_run_20m", "leger_1988", _TITLE, "Léger 1988 J Sports Sci 6:93-101", READ,
        "31.025 + 3.238 X - 3.248 A + 0.1536 A X; X km/h of the last announced stage, A age, 18 for adults", _leger_1988,
        (("level", "shuttle", "age_years"), ("speed_kmh", "age_years")),
        "188 children of 8 to 19 (r = 0.71); 77 adults (r = 0.90) with A = 18", _PLACE,
        error=lambda v, y: 5.9 if v["age_years"] < 18 else 4.4,
        error_note="adults 4.4 mL/kg/min against the treadmill (Léger & Gadoury 1989, read); children 5.9, from memory",
        error_provenance=lambda v: MEMORY if v["age_years"] < 18 else READ, validity="level 1 to 21",
        ages=(8, 47), check=_check_leger_1988, prepare=_prepare, warning=_AGREEMENT + _WHOLE_LEVELS,
        score="interpolated_speed_kmh",
    ),
    AerobicEquation(
        "shuttle_run_20m", "leger_gadoury_1989", _TITLE, "Léger & Gadoury 1989 Can J Sport Sci 14:21-26", READ,
        "-27.4 + 6.0 X; X km/h of the last announced stage", lambda v: -27.4 + 6.0 * v["speed_kmh"],
        (("level", "shuttle"), ("speed_kmh",)), "77 adults of 19 to 47, r = 0.90", _PLACE, error=4.4,
        error_note="4.4 mL/kg/min against the treadmill, 4.7 in the other comparison", error_provenance=READ,
        validity="level 1 to 21", ages=(19, 47), prepare=_prepare, default=False, warning=_AGREEMENT + _WHOLE_LEVELS,
        score="interpolated_speed_kmh",
    ),
    AerobicEquation(
        "shuttle_run_20m", "stickland_2003", _TITLE, "Stickland 2003 Can J Appl Physiol 28:272-282", READ,
        "men 2.75 X + 28.8, women 2.85 X + 25.1; X last half-stage completed",
        lambda v: 2.75 * v["half_stage"] + 28.8 if v["sex"] == "M" else 2.85 * v["half_stage"] + 25.1,
        (("level", "shuttle", "sex"), ("half_stage", "sex")), "60 men, r2 = .77; 62 women, r2 = .66", _PLACE,
        error=lambda v, y: 4.07 if v["sex"] == "M" else 3.64, error_note="men 4.07, women 3.64 mL/kg/min",
        error_provenance=READ, validity="half-stages; half of a level's shuttles count as half a stage (our reading)",
        check=lambda v, y: [_HALVES] if abs(2 * v["half_stage"] - round(2 * v["half_stage"])) > 1e-9 else [],
        prepare=_prepare, default=False, score="interpolated_speed_kmh", warning=_AGREEMENT,
    ),
    AerobicEquation(
        "shuttle_run_20m", "ramsbottom_1988", _TITLE, "Ramsbottom 1988 Br J Sports Med 22:141-144", MEMORY,
        "14.4 + 3.48 L; L level plus the share of its shuttles done", lambda v: 14.4 + 3.48 * v["decimal_level"],
        (("level", "shuttle"), ("decimal_level",)), "36 men and 38 women, r = 0.92 (sample read at source)", _PLACE,
        error=3.5, error_note="3.5 mL/kg/min, from memory", error_provenance=MEMORY, validity="level 1 to 21",
        check=lambda v, y: [] if "level" in v else [_SHARES],
        prepare=_prepare, default=False, score="interpolated_speed_kmh", warning=_AGREEMENT,
    ),
    AerobicEquation(
        "shuttle_run_20m", "flouris_2005", _TITLE, "Flouris 2005", MEMORY,
        "(6.65 S - 35.8) 0.95 + 0.182; S highest speed reached, km/h",
        lambda v: (6.65 * v["speed_kmh"] - 35.8) * 0.95 + 0.182, (("level", "shuttle"), ("speed_kmh",)), "110 men",
        _PLACE, validity="level 1 to 21", sexes="M", prepare=_prepare, default=False,
        score="interpolated_speed_kmh", warning=_AGREEMENT + " Another formula circulates under this citation.",
    ),
    AerobicEquation(
        "shuttle_run_20m_2min", "leger_lambert_1982", "20 m shuttle run, stages of two minutes (1982 version)",
        "Léger & Lambert 1982 Eur J Appl Physiol 49:1-12", READ, "5.857 X - 19.458; X km/h, stages of two minutes only",
        lambda v: 5.857 * v["speed_kmh"] - 19.458, (("speed_kmh",),), "91 adults, r = 0.84", error=5.4,
        error_note="5.4 mL/kg/min", error_provenance=READ, validity="stages of two minutes", ages=(18, 60),
        warning="Only for stages of two minutes: with stages of one minute it reads too high.",
    ),
    AerobicEquation(
        "run_12_min", "cooper_1968", "12-minute run", "Cooper 1968 JAMA 203:201-204", MEMORY,
        f"(m - 504.9) / 44.73; metres in 12 minutes (in miles 35.97 mi - 11.29; 1 mile = {M_PER_MILE:g} m)",
        lambda v: (v["distance_m"] - 504.9) / 44.73, (("distance_m",),),
        "115 men of the US Air Force, r = 0.897 (read at source)", sexes="M",
        validity="about 1500 to 4000 m (our proposal)",
        check=between("distance_m", 1500, 4000, "about 1500 to 4000 m in 12 minutes (our proposal)"),
    ),
    AerobicEquation(
        "run_12_min", "cooper_1968_miles", "12-minute run", "Cooper 1968 JAMA 203:201-204, imperial form", MEMORY,
        "35.97 mi - 11.29; miles in 12 minutes", lambda v: 35.97 * v["distance_m"] / M_PER_MILE - 11.29,
        (("distance_m",),), "115 men of the US Air Force, r = 0.897 (read at source)", sexes="M", default=False,
        validity="about 1500 to 4000 m (our proposal)",
        check=between("distance_m", 1500, 4000, "about 1500 to 4000 m in 12 minutes (our proposal)"),
    ),
    AerobicEquation(
        "run_1_5_mile", "george_1993", "1.5-mile run, all out", "George 1993 Med Sci Sports Exerc 25:401-406", MEMORY,
        f"88.02 + 3.716 male - 0.1656 kg - 2.767 min; {_MINUTES}",
        lambda v: 88.02 + 3.716 * _male(v) - 0.1656 * v["mass_kg"] - 2.767 * v["time_min"],
        (("time_min", "sex", "mass_kg"),), f"{_STUDENTS}; validation r = .90, cross-validation r = .82", error=3.9,
        error_note="cross-validation 3.9 mL/kg/min (2.8 in the validation sample)", error_provenance=READ, ages=(18, 29),
        validity="7 to 20 min (our proposal)", check=between("time_min", 7, 20, "7 to 20 min (our proposal)"),
    ),
    AerobicEquation(
        "run_1_5_mile", "acsm_run_1_5", "1.5-mile run, all out",
        "American College of Sports Medicine texts, 1.5-mile run", MEMORY, f"3.5 + 483 / min; {_MINUTES}",
        lambda v: 3.5 + 483 / v["time_min"], (("time_min",),), "not read", default=False,
        validity="7 to 20 min (our proposal)", check=between("time_min", 7, 20, "7 to 20 min (our proposal)"),
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
        validity="10 to 26 min (our proposal)", check=between("time_min", 10, 26, "10 to 26 min (our proposal)"),
    ),
    AerobicEquation(
        "intermittent_recovery_1", "bangsbo_2008_level_1", "intermittent recovery test, level 1 (from 10 km/h)",
        "Bangsbo, Iaia & Krustrup 2008 Sports Med 38:37-51", SECONDARY, "36.4 + 0.0084 m; metres in pairs of 20 m",
        lambda v: 36.4 + 0.0084 * v["distance_m"], (("distance_m",),), "not read", prepare=_PAIRS,
        error=lambda v, y: 0.0714 * y, error_note=_POOR_ERROR, error_provenance=READ,
        validity="a multiple of 40 m", score="distance_m", warning=_POOR,
    ),
    AerobicEquation(
        "intermittent_recovery_2", "bangsbo_2008_level_2", "intermittent recovery test, level 2 (from 13 km/h)",
        "Bangsbo, Iaia & Krustrup 2008 Sports Med 38:37-51", SECONDARY, "45.3 + 0.0136 m; metres in pairs of 20 m",
        lambda v: 45.3 + 0.0136 * v["distance_m"], (("distance_m",),), "not read", prepare=_PAIRS,
        error=lambda v, y: 0.0714 * y, error_note=_POOR_ERROR + "; taken over from level 1", error_provenance=READ,
        validity="a multiple of 40 m", score="distance_m", warning=_POOR,
    ),
    AerobicEquation(
        "intermittent_30_15", "buchheit_2008", "30-15 intermittent test (30 s of running, 15 s of walking)",
        "Buchheit 2008 J Strength Cond Res 22:365-374", SECONDARY,
        "28.3 - 2.15 G - 0.741 A - 0.0357 W + 0.0586 A V + 1.03 V; G 1 for men, 2 for women, W kg, V km/h of the last stage",
        _30_15, (("speed_kmh", "sex", "age_years", "mass_kg"),), "young players of team sports",
        prepare=_in_steps("speed_kmh", 0.5, "the stages of the test are half a km/h apart"),
        validity="8 to 24 km/h, in steps of 0.5 (our proposal)", score="final_speed_kmh",
        check=between("speed_kmh", 8, 24, "8 to 24 km/h (our proposal)"),
        warning="Compare athletes by the speed of the last stage; VO2max from it leans on age and mass.",
    ),
    AerobicEquation(
        "track_run", "bellenger_2015", "track run over a set distance, for aerobic speed",
        "Bellenger 2015 Eur J Appl Physiol 115:2593; Léger & Mercier 1984 Sports Med 1:270", MEMORY,
        f"3.5 S; S aerobic speed in km/h = mean speed (0.766 + 0.117 km); {_MINUTES}",
        lambda v: 3.5 * v["aerobic_speed_kmh"], (("distance_m", "time_min"),), "trained runners and players",
        prepare=lambda v: ({**v, "aerobic_speed_kmh": aerobic_speed_km_h(v["distance_m"], v["time_min"])}, [], []),
        validity="1200 to 2200 m", score="aerobic_speed_kmh",
        check=between("distance_m", 1200, 2200, "1200 to 2200 m"), warning=_SPEED_ONLY,
    ),
    AerobicEquation(
        "run_5_min", "berthon_1997", "5-minute track run, for aerobic speed",
        "Berthon 1997 Eur J Appl Physiol 75:233-238; Léger & Mercier 1984 Sports Med 1:270", MEMORY,
        "3.5 S; S aerobic speed in km/h = metres in 5 minutes · 12 / 1000", lambda v: 3.5 * v["aerobic_speed_kmh"],
        (("distance_m",),), "48 men: 17.1 km/h on the track, 16.9 at the end of a treadmill test, r = .94 (read at source)",
        prepare=lambda v: ({**v, "aerobic_speed_kmh": v["distance_m"] / 1000 * 12}, [], []),
        validity="about 800 to 2000 m (our proposal)", score="aerobic_speed_kmh", sexes="M",
        check=between("distance_m", 800, 2000, "about 800 to 2000 m in 5 minutes (our proposal)"), warning=_SPEED_ONLY,
    ),
)  # fmt: skip

_SHUTTLE_SPEED_SEM = 5.0 / 1.96 / 2**0.5 / 6.0
"""km/h: limits of agreement of 5.0 mL/kg/min between trials 2 and 3 (Lamb & Rogers 2007), at 6.0 mL/kg/min for 1 km/h."""

SCORES = {
    ("shuttle_run_20m", "interpolated_speed_kmh"): AerobicScore(
        "km/h", "interpolated speed of the shuttle run", ("level", "shuttle"), lambda v: v["interpolated_speed_kmh"],
        lambda score: _SHUTTLE_SPEED_SEM, "computed from limits of agreement of 5.0 mL/kg/min between trials 2 and 3 "
        "(35 players), 6.0 mL/kg/min for 1 km/h", COMPUTED,
    ),
    ("shuttle_run_20m", "total_shuttles"): AerobicScore(
        "shuttles", "shuttles in all", ("level", "shuttle"), lambda v: float(v["total_shuttles"]),
        lambda score: _SHUTTLE_SPEED_SEM / 0.5 * 11, "computed as for the interpolated speed, 11 shuttles for 0.5 km/h", COMPUTED,
    ),
    ("intermittent_recovery_1", "distance_m"): AerobicScore(
        "m", "distance", ("distance_m",), lambda v: v["distance_m"], lambda score: 0.0459 * score,
        "CV 4.59 % of the distance (ten men)", READ,
    ),
    ("intermittent_recovery_2", "distance_m"): AerobicScore(
        "m", "distance", ("distance_m",), lambda v: v["distance_m"], lambda score: 0.10 * score,
        "CV about 10 % of the distance, from memory", MEMORY,
    ),
    ("intermittent_30_15", "final_speed_kmh"): AerobicScore(
        "km/h", "speed of the last stage", ("speed_kmh",), lambda v: v["speed_kmh"], lambda score: 0.0375 * score,
        "CV 3.75 % of the speed, the middle of 1.5 to 6.0 % in ten groups (Grgic 2021)", COMPUTED,
    ),
    ("track_run", "aerobic_speed_kmh"): AerobicScore(
        "km/h", "aerobic speed", ("distance_m", "time_min"), lambda v: v["aerobic_speed_kmh"]
    ),
    ("run_5_min", "aerobic_speed_kmh"): AerobicScore(
        "km/h", "aerobic speed", ("distance_m",), lambda v: v["aerobic_speed_kmh"]
    ),
}  # fmt: skip
"""Test and name of a score -> the number by which it compares athletes."""
