"""From aerobic tests to one capacity per athlete: which test counts, units, error, circularity, and what is missing."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.capacity import measure_capacity
from analysis.capacity.adjustment import default_step, known_scalings, to_unit
from analysis.capacity.measure import choose_tests

SESSIONS = pd.DataFrame({"session": ["1", "2"], "date": ["2026-05-01", "2026-06-01"]})
CLUB = pd.DataFrame(
    {"athlete": ["A01", "A02", "A03"], "age_years": [24, 31, 28], "sex": ["M", "F", "M"], "mass_kg": [82.0, 61.0, np.nan],
     "hr_rest_bpm": [55, 60, 58], "hr_max_bpm": [192, 188, 190], "hr_max_source": ["measured", "predicted", "measured"]}
)  # fmt: skip


def sheet(**columns):
    return pd.DataFrame({"athlete": ["A01", "A02", "A03"], "date": "2026-04-20", **columns})


def test_the_columns_that_others_count_on():
    table = measure_capacity(sheet(test="shuttle_run_20m", level=[9, 11, 10], shuttle=[4, 2, 0]), CLUB)
    assert list(table.columns[:8]) == [
        "athlete", "capacity", "unit", "standard_error", "error_kind", "test", "uses_heart_rate", "warnings"
    ]  # fmt: skip
    assert table["athlete"].tolist() == ["A01", "A02", "A03"]
    assert set(table["unit"]) == {"mL/kg/min"}
    assert not table["uses_heart_rate"].any()
    assert table["maximal"].all()


def test_a_ratio_of_heart_rates_is_marked_circular_and_takes_its_inputs_from_the_athlete():
    table = measure_capacity(sheet(test="hr_ratio"), CLUB).set_index("athlete")
    assert table["uses_heart_rate"].all()
    assert table.loc["A01", "capacity"] == pytest.approx(15.3 * 192 / 55)
    # Uth 2004: standard error of estimate 2.7 with a measured maximum, 4.7 with a predicted one
    assert table["standard_error"].tolist() == [2.7, 4.7, 2.7]


def test_laboratory_values_carry_retest_error_and_equations_prediction_error():
    table = measure_capacity(sheet(test="laboratory", vo2max_ml_kg_min=[52, 44, 60], averaging="seconds:30"), CLUB)
    assert set(table["error_kind"]) == {"retest"}
    assert table["standard_error"].tolist() == pytest.approx(np.exp(0.661 + 0.006 * np.array([52, 44, 60])).tolist())
    predicted = measure_capacity(sheet(test="run_12_min", distance_m=[2800, 2500, 3000]), CLUB)
    assert set(predicted["error_kind"]) == {"prediction"}
    assert predicted["capacity"][0] == pytest.approx((2800 - 504.9) / 44.73)


def test_other_units_need_a_mass_and_convert_the_error_too():
    tests = sheet(test="laboratory", vo2max_ml_kg_min=[52.5, 44, 60])
    litres = measure_capacity(tests, CLUB.assign(mass_kg=[80, 61, 70]), unit="L/min")
    assert litres["capacity"][0] == pytest.approx(4.2)
    assert litres["standard_error"][0] == pytest.approx(np.exp(0.661 + 0.006 * 52.5) * 80 / 1000)
    scaled = measure_capacity(tests, CLUB.assign(mass_kg=[80, 61, 70]), unit="mL/kg^0.67/min")
    assert scaled["capacity"][0] == pytest.approx(222.935381, abs=1e-5)
    missing = measure_capacity(tests, CLUB, unit="L/min").set_index("athlete")
    assert np.isnan(missing.loc["A03", "capacity"])
    assert "no body mass" in missing.loc["A03", "warnings"]
    evening = pd.DataFrame({"session": "1", "athlete": ["A03"], "mass_kg": [70.0]})
    filled = measure_capacity(tests, CLUB, unit="L/min", attendance=evening).set_index("athlete")
    assert filled.loc["A03", "capacity"] == pytest.approx(4.2)
    with pytest.raises(KitError, match="mL/kg\\^b/min"):
        measure_capacity(tests, CLUB, unit="ml/min")


def test_the_test_nearest_before_the_session_counts_within_42_days():
    tests = pd.DataFrame(
        {"athlete": ["A01"] * 4 + ["A02", "A03"], "test": "laboratory",
         "date": ["2026-01-05", "2026-03-25", "2026-04-24", "2026-05-03", "2026-05-08", "2025-11-01"],
         "vo2max_ml_kg_min": [40.0, 45, 50, 55, 47, 60], "row": range(2, 8)}
    )  # fmt: skip
    table = measure_capacity(tests, CLUB, sessions=SESSIONS, primary_session="1").set_index("athlete")
    assert table.loc["A01", "capacity"] == 50
    assert table.loc["A01", "days_before_session"] == 7
    assert table.loc["A01", "n_tests"] == 4
    assert table.loc["A02", "capacity"] == 47
    assert "7 days after the session" in table.loc["A02", "warnings"]
    assert np.isnan(table.loc["A03", "capacity"])
    assert "181 days from the session; at most 42 count" in table.loc["A03", "warnings"]
    left = measure_capacity(tests, CLUB, sessions=SESSIONS).attrs["left_out"]
    assert len(left) == len(tests) - 2
    assert set(left["row"]) == {2, 3, 5, 7}
    assert "42 days" in measure_capacity(tests, CLUB, sessions=SESSIONS).attrs["rule"]
    wider = measure_capacity(tests, CLUB, sessions=SESSIONS, within_days=400).set_index("athlete")
    assert wider.loc["A03", "capacity"] == 60


def test_without_dates_the_latest_row_counts_and_the_rule_says_so():
    tests = pd.DataFrame({"athlete": ["A01", "A01"], "test": "laboratory", "vo2max_ml_kg_min": [45.0, 50.0]})
    table = measure_capacity(tests, CLUB.head(1))
    assert table["capacity"].tolist() == [50]
    assert "not known" in table.attrs["rule"]
    assert choose_tests(tests.assign(date=""), sessions=SESSIONS).used["n_tests"].tolist() == [2, 2]


def test_an_unusable_test_gives_way_to_the_next_and_is_reported():
    tests = pd.DataFrame(
        {"athlete": ["A01", "A01", "A02"], "test": ["laboratory", "run_12_min", "run_12_min"],
         "vo2max_ml_kg_min": [50.0, np.nan, np.nan], "distance_m": [np.nan, np.nan, np.nan]}
    )  # fmt: skip
    table = measure_capacity(tests, CLUB.head(2)).set_index("athlete")
    assert table.loc["A01", "capacity"] == 50
    assert "distance_m is missing" in table.loc["A01", "warnings"]
    assert np.isnan(table.loc["A02", "capacity"])
    assert "distance_m is missing" in table.loc["A02", "warnings"]
    assert (
        measure_capacity(tests.head(1), CLUB.head(2)).set_index("athlete").loc["A02", "warnings"] == "no aerobic test"
    )


def test_intermittent_recovery_tests_compare_by_distance_where_asked():
    tests = sheet(test="intermittent_recovery_1", distance_m=[1200, 1600, 2000])
    score = measure_capacity(tests, CLUB, unit="score")
    assert (score["capacity"].tolist(), set(score["unit"]), set(score["error_kind"])) == (
        [1200, 1600, 2000],
        {"m"},
        {"retest"},
    )
    predicted = measure_capacity(tests, CLUB)
    assert predicted["capacity"][0] == pytest.approx(46.48)
    assert (predicted["warnings"] != "").all()
    assert np.isnan(default_step("m"))
    mixed = pd.concat([tests.head(1), sheet(test="laboratory", vo2max_ml_kg_min=50.0).tail(2)])
    with pytest.raises(KitError, match="different units"):
        measure_capacity(mixed, CLUB, unit="score")


def test_gas_exchange_is_processed_by_the_rule_in_the_sheet():
    seconds = np.arange(0, 600, 3.0)
    samples = pd.DataFrame({"elapsed_s": seconds, "vo2_ml_min": 1000 + 5 * seconds, "vco2_ml_min": 900 + 6 * seconds})
    tests = sheet(test="gas_exchange", file="ramp.csv", averaging="seconds:30").head(1)
    table = measure_capacity(tests, CLUB.head(1), gas_exchange={"ramp.csv": samples})
    assert table["capacity"][0] == pytest.approx((1000 + 5 * 582) / 82, rel=0.01)
    assert table["error_kind"][0] == "retest"
    lost = measure_capacity(tests, CLUB.head(1))
    assert np.isnan(lost["capacity"][0])
    assert "ramp.csv" in lost["warnings"][0]


def test_scalings_reorder_athletes_of_different_mass():
    table = pd.DataFrame(
        {"athlete": ["A", "B"], "capacity": [48.0, 55.0], "unit": "mL/kg/min", "mass_kg": [105.0, 65.0]}
    )
    table["vo2_l_min"] = table["capacity"] * table["mass_kg"] / 1000
    scaled = known_scalings(table)
    assert list(scaled) == ["mL/kg/min", "L/min", "mL/kg^0.67/min"]
    assert scaled["L/min"]["capacity"].idxmax() == 0
    assert scaled["mL/kg/min"]["capacity"].idxmax() == 1
    assert scaled["mL/kg^0.67/min"]["capacity"][0] == pytest.approx(to_unit(48.0, 105.0, "mL/kg^0.67/min"))
    assert list(known_scalings(table.assign(mass_kg=[105.0, np.nan]))) == ["mL/kg/min"]
