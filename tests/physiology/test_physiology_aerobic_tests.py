"""Aerobic tests: inputs by name, units at the border, warnings, and every problem at once."""

import datetime as dt
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import physiology as ph
from analysis.basics import KitError
from analysis.physiology.aerobic_tests import _EQUATIONS, INPUTS

TYPICAL = {
    "age_years": 25, "sex": "M", "mass_kg": 75, "level": 9, "shuttle": 5, "decimal_level": 9.5, "half_stage": 9.5,
    "speed_kmh": 12, "time_min": 13, "distance_m": 2400, "hr_bpm": 150, "recovery_hr_bpm": 150, "hr_max_bpm": 190,
    "hr_rest_bpm": 55, "power_w": 150, "power_low_w": 30, "power_high_w": 150, "hr_low_bpm": 95, "hr_high_bpm": 150,
    "steps_min": 30, "height_m": 0.3, "vo2max_ml_kg_min": 50, "vo2max_l_min": 4, "throws": 26, "hr_after_bpm": 182,
    "hr_1min_bpm": 154,
}  # fmt: skip
WITH_HEART_RATE = {
    "jog_1_mile",
    "step_queens_college",
    "walk_1_mile",
    "cycle_astrand_ryhming",
    "cycle_two_loads",
    "hr_ratio",
    "judo_throwing_test",
}


def typical(e, group):
    names = group + (("mass_kg",) if e.unit == "L/min" else ())
    own = {"distance_m": {"run_5_min": 1300, "track_run": 2000}, "time_min": {"track_run": 8}}
    return {n: own.get(n, {}).get(e.test, TYPICAL[n]) for n in names}


VO2MAX = [e for e in _EQUATIONS if e.test != "gas_exchange" and e.gives_vo2max]


@pytest.mark.parametrize("e", VO2MAX, ids=lambda e: e.equation)
def test_every_equation_gives_a_plausible_estimate_with_its_papers(e):
    for group in e.needs:
        got = ph.estimate_vo2max(e.test, equation=e.equation, **typical(e, group))
        assert 20 < got.value < 85 and got.unit == "mL/kg/min"
        assert got.equation == e.equation and e.source in got.source
        assert got.provenance in ph.PROVENANCES
        assert got.error_kind in ("prediction", "retest")
        assert got.standard_error > 0 or (
            math.isnan(got.standard_error) and any("error is not known" in w for w in got.warnings)
        )
        if got.provenance == ph.MEMORY:
            assert "memory" in got.source and any("memory" in w for w in got.warnings)


def test_the_table_of_tests_is_complete():
    known = ph.known_aerobic_tests()
    assert len(known) == len(_EQUATIONS) and known.groupby("test")["default"].sum().eq(1).all()
    for column in ("title", "formula", "inputs", "population", "standard_error", "source", "provenance", "validity"):
        assert known[column].ne("").sum() >= len(known) - 2, column
    assert set(known.loc[known["uses_heart_rate"], "test"]) == WITH_HEART_RATE
    names = {n for text in known["inputs"] for alternative in text.split(" or ") for n in alternative.split(", ")}
    assert names <= set(INPUTS)


def test_heart_rate_is_flagged_where_it_enters():
    assert ph.estimate_vo2max("hr_ratio", hr_max_bpm=190, hr_rest_bpm=55, hr_max_source="measured").uses_heart_rate
    assert not ph.estimate_vo2max("run_2_mile", time_min=13, sex="M").uses_heart_rate


@pytest.mark.parametrize(
    ("written", "minutes"),
    [("11:42", 11.7), (11.7, 11.7), ("11,7", 11.7), ("0:11:42", 11.7), (dt.timedelta(seconds=702), 11.7)],
)
def test_times_as_they_are_written(written, minutes):
    assert ph.units.minutes_from(written)[0] == pytest.approx(minutes)


def test_minutes_and_seconds_are_not_decimals():
    colon = ph.estimate_vo2max("run_2_mile", time_min="11:42", sex="M").value
    assert colon == pytest.approx(99.7 - 3.35 * 11.7)
    assert colon == ph.estimate_vo2max("run_2_mile", time_s=702, sex="M").value


@pytest.mark.parametrize("cell", ["11:42:00", dt.time(11, 42)])
def test_a_time_that_a_spreadsheet_took_for_a_time_of_day(cell):
    got = ph.estimate_vo2max("run_2_mile", time_min=cell, sex="M")
    assert dict(got.inputs)["time_min"] == pytest.approx(11.7)
    assert any("time of day" in w for w in got.warnings)


@pytest.mark.parametrize("bad", ["11:75", "eleven", "1:62:30", "11.42.10"])
def test_a_time_that_cannot_be(bad):
    with pytest.raises(KitError, match="time_min"):
        ph.estimate_vo2max("run_2_mile", time_min=bad, sex="M")


def test_pounds_and_miles_become_kilograms_and_metres():
    pounds = ph.estimate_vo2max("run_1_5_mile", time_min=11, sex="F", mass_lb=132.2774)
    kilos = ph.estimate_vo2max("run_1_5_mile", time_min=11, sex="F", mass_kg=60)
    assert pounds.value == pytest.approx(kilos.value, abs=1e-4)
    assert ph.estimate_vo2max("run_12_min", distance_mi=1.5).value == pytest.approx((2414.016 - 504.9) / 44.73)


def test_work_rate_in_either_unit():
    common = {"hr_bpm": 140, "age_years": 30, "sex": "F", "mass_kg": 60}
    watts = ph.estimate_vo2max("cycle_astrand_ryhming", power_w=100, **common)
    assert watts.value == pytest.approx(
        ph.estimate_vo2max("cycle_astrand_ryhming", power_kgm_min=611.8, **common).value
    )


def test_every_problem_is_named_at_once():
    with pytest.raises(KitError) as caught:
        ph.estimate_vo2max("jog_1_mile", sex="man", mass_kg=7, time_min="9:75", speed=12)
    for part in ("sex", "mass_kg", "time_min", "speed is not an input", "hr_bpm is missing"):
        assert part in str(caught.value)


@pytest.mark.parametrize(
    ("level", "shuttle", "words"),
    [(9.1, 4, "whole numbers"), (9, 12, "has 11"), (30, 1, "possible are"), (1, 0, "no shuttle"), (9, None, "missing")],
)
def test_level_and_shuttle_are_two_whole_numbers(level, shuttle, words):
    with pytest.raises(KitError, match=words):
        ph.estimate_vo2max("shuttle_run_20m", level=level, shuttle=shuttle, age_years=20)


def test_shuttle_ten_is_not_a_tenth():
    low, high = (
        ph.estimate_vo2max("shuttle_run_20m", equation="ramsbottom_1988", level=9, shuttle=s).value for s in (1, 10)
    )
    assert high - low == pytest.approx(3.48 * 9 / 11)


def test_no_shuttle_of_a_level_is_the_whole_level_before():
    zero = ph.estimate_vo2max("shuttle_run_20m", level=9, shuttle=0, age_years=25)
    full = ph.estimate_vo2max("shuttle_run_20m", level=8, shuttle=11, age_years=25)
    assert zero.value == full.value and any("whole of level 8" in w for w in zero.warnings)


def test_distance_of_the_recovery_test_is_a_multiple_of_forty():
    with pytest.raises(KitError, match="multiple of 40"):
        ph.estimate_vo2max("intermittent_recovery_1", distance_m=1210)
    got = ph.estimate_vo2max("intermittent_recovery_1", distance_m=1200)
    assert any("Report the distance" in w for w in got.warnings)
    assert ph.aerobic_tests.aerobic_test_score("intermittent_recovery_2", distance_m=640).unit == "m"
    assert ph.aerobic_tests.aerobic_test_score("run_12_min", distance_m=2800).unit == "mL/kg/min"


@pytest.mark.parametrize(
    ("test", "inputs", "words"),
    [
        ("jog_1_mile", {"sex": "M", "mass_kg": 70, "time_min": 7, "hr_bpm": 165}, "8:00 or slower"),
        ("jog_1_mile", {"sex": "F", "mass_kg": 60, "time_min": 10, "hr_bpm": 188}, "up to 180"),
        ("run_1_5_mile", {"sex": "F", "mass_kg": 60, "time_min": 12, "age_years": 41}, "ages 18 to 29"),
        ("run_12_min", {"distance_m": 2600, "sex": "F"}, "men only"),
        ("hr_ratio", {"hr_max_bpm": 188, "hr_rest_bpm": 52, "age_years": 60}, "ages 21 to 51"),
        ("walk_1_mile", {**{k: TYPICAL[k] for k in ("age_years", "sex", "mass_kg", "hr_bpm")}, "time_min": 13}, "18 to 29"),
        ("cycle_astrand_ryhming", {**{k: TYPICAL[k] for k in ("age_years", "sex", "mass_kg", "power_w")}, "hr_bpm": 180},
         "125 to 170"),
        ("metabolic_run", {"speed_kmh": 6}, "134 m/min"),
        ("shuttle_run_20m", {"level": 6, "shuttle": 3, "age_years": 12, "sex": "M"}, "not valid"),
        ("laboratory", {"vo2max_ml_kg_min": 51}, "averaging rule"),
    ],
)  # fmt: skip
def test_outside_population_or_range_is_said(test, inputs, words):
    assert any(words in w for w in ph.estimate_vo2max(test, **inputs).warnings)


def test_inside_population_and_range_nothing_of_the_kind_is_said():
    got = ph.estimate_vo2max("jog_1_mile", sex="M", mass_kg=80, time_min=9, hr_bpm=160, age_years=22)
    assert not any("Outside" in w for w in got.warnings)


def test_error_depends_on_whether_the_maximum_was_measured():
    common = {"hr_max_bpm": 190, "hr_rest_bpm": 55}
    assert ph.estimate_vo2max("hr_ratio", hr_max_source="measured", **common).standard_error == 2.7
    unsaid = ph.estimate_vo2max("hr_ratio", **common)
    assert unsaid.standard_error == 4.7 and any("taken as predicted" in w for w in unsaid.warnings)


def test_a_laboratory_report():
    litres = ph.estimate_vo2max("laboratory", vo2max_l_min=4.0, mass_kg=80, averaging="seconds:30", verdict="VO2peak")
    assert litres.value == pytest.approx(50) and litres.error_kind == "retest" and litres.label == "VO2peak"
    assert litres.standard_error == pytest.approx(math.exp(0.661 + 0.3))


def test_blank_cells_and_context_are_passed_over():
    got = ph.estimate_vo2max(
        "run_2_mile", time_min="12:36", sex="M", mass_kg="", level=float("nan"), note="windy", file=None
    )
    assert got.value == pytest.approx(57.49)
    with_sex_x = ph.estimate_vo2max("run_12_min", distance_m=2800, sex="X")
    assert with_sex_x.value == pytest.approx(51.310083)
    with pytest.raises(KitError, match="sex is missing"):
        ph.estimate_vo2max("run_2_mile", time_min=12, sex="X")


def test_a_result_that_no_one_has_is_refused():
    with pytest.raises(KitError, match="no athlete has"):
        ph.estimate_vo2max("run_12_min", distance_m=400)


def test_unknown_names_get_a_suggestion():
    with pytest.raises(KitError, match="shuttle_run_20m"):
        ph.estimate_vo2max("shuttle_run_20", level=9, shuttle=4)
    with pytest.raises(KitError, match="leger_1988"):
        ph.estimate_vo2max("shuttle_run_20m", equation="leger_1998", level=9, shuttle=4)
    assert ph.estimate_vo2max("Run 12 min", distance_m=2800).equation == "cooper_1968"
    assert "pulse_15s" in ph.aerobic_tests.aerobic_test_inputs("step_queens_college")


def test_published_points_of_the_metabolic_equations():
    walk = ph.submaximal.metabolic_cost("walk", speed_m_min=ph.m_min_from_mph(3.5), grade=0.10)
    assert walk.value == pytest.approx(29.76, abs=0.05)  # printed with 26.8 m/min to the mile an hour
    with pytest.raises(KitError, match=r"0\.05"):
        ph.submaximal.metabolic_cost("run", speed_m_min=200, grade=5)
    with pytest.raises(KitError, match="mass_kg is missing; height_m is not"):
        ph.submaximal.metabolic_cost("leg_cycle", power_kgm_min=450, height_m=0.3)


@settings(max_examples=60, deadline=None)
@given(level=st.integers(2, 20), shuttle=st.integers(1, 9), age=st.floats(18, 47))
def test_more_shuttles_never_give_less(level, shuttle, age):
    for equation in ("leger_1988", "leger_gadoury_1989", "stickland_2003", "ramsbottom_1988", "flouris_2005"):
        now, later = (
            ph.estimate_vo2max("shuttle_run_20m", equation=equation, level=n, shuttle=s, age_years=age, sex="F").value
            for n, s in ((level, min(shuttle, 8)), (level + 1, 1))
        )
        assert later >= now - 1e-9


def test_cycle_power_in_watts_takes_the_form_of_the_handbook():
    """Handbook of the American College of Sports Medicine, leg cycling: 10.8 W / kg + 7; 150 W at 75 kg gives 28.6."""
    assert ph.submaximal.metabolic_cost("leg_cycle", power_w=150, mass_kg=75).value == pytest.approx(28.6)
    assert ph.submaximal.metabolic_cost("arm_cycle", power_w=50, mass_kg=75).value == pytest.approx(15.5)
    level = ph.submaximal.metabolic_cost("leg_cycle", power_kgm_min=ph.units.kgm_min_from_watts(150), mass_kg=75).value
    assert 0.2 < level - 28.6 < 0.6  # the two forms of the handbook are not the exact conversion
