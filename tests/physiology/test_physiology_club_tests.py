"""Tests that clubs use: ranking in the shuttle run, 30-15, track, treadmill time, throws; and a verification bout that stands."""

import math

import numpy as np
import pandas as pd
import pytest

import analysis.physiology as ph
from analysis.basics import KitError
from analysis.capacity import measure_capacity
from analysis.capacity.adjustment import CircularTestError, set_aside_circular
from analysis.capacity.correlation import correlate
from analysis.physiology.laboratory import process_gas_exchange
from analysis.physiology.published_values import reliability_values
from analysis.physiology.running import shuttle_stages


def shuttle(level, number, **more):
    return ph.aerobic_tests.aerobic_test_score("shuttle_run_20m", level=level, shuttle=number, **more)


# ---- shuttle run: the equation keeps its value, the score ranks
def test_one_value_for_a_whole_level_and_a_score_for_every_shuttle():
    vo2 = [ph.estimate_vo2max("shuttle_run_20m", level=9, shuttle=s, age_years=24).value for s in (1, 11)]
    assert vo2[0] == vo2[1] == pytest.approx(47.6, abs=0.05)
    assert ph.estimate_vo2max("shuttle_run_20m", level=10, shuttle=1, age_years=24).value == pytest.approx(
        50.6, abs=0.05
    )
    runs = [(n, s) for n in range(1, 22) for s in range(1, ph.running.shuttles_in_level(n) + 1)]
    speeds = [shuttle(n, s).value for n, s in runs]
    counts = [shuttle(n, s, score="total_shuttles").value for n, s in runs]
    assert np.all(np.diff(speeds) > 0) and counts == list(range(1, len(runs) + 1))
    for n in range(1, 22):  # a whole level ends at its own speed, as the table of stages has it
        assert shuttle(n, ph.running.shuttles_in_level(n)).value == pytest.approx(ph.running.stage_speed_km_h(n))
    assert counts[-1] == shuttle_stages(21)["cum_shuttles"].iloc[-1] == 247


def test_a_score_needs_no_age_and_carries_a_retest_error():
    got = shuttle(9, 1)
    assert (got.unit, got.error_kind, got.uses_heart_rate) == ("km/h", "retest", False)
    # limits of agreement of 5.0 mL/kg/min (Lamb & Rogers 2007, trials 2 and 3): SD of differences / sqrt 2, per 6 mL/kg/min
    assert got.standard_error == pytest.approx(5.0 / 1.96 / math.sqrt(2) / 6.0)
    assert "rank athletes" in " ".join(ph.estimate_vo2max("shuttle_run_20m", level=9, shuttle=1, age_years=24).warnings)
    with pytest.raises(KitError, match="level is missing"):
        ph.aerobic_tests.aerobic_test_score("shuttle_run_20m", speed_kmh=12)
    with pytest.raises(KitError, match="score of shuttle_run_20m"):
        shuttle(9, 1, score="metres")


def test_a_recording_that_calls_a_level_at_its_end_is_one_level_further():
    end = ph.estimate_vo2max("shuttle_run_20m", level=8, shuttle=4, age_years=24, level_called="end")
    start = ph.estimate_vo2max("shuttle_run_20m", level=9, shuttle=4, age_years=24, level_called="start")
    assert end.value == start.value and any("at its end" in w for w in end.warnings)
    assert shuttle(8, 4, level_called="end").value == shuttle(9, 4).value


def test_athletes_of_a_club_are_ranked_by_the_score_where_the_plan_says_so():
    tests = pd.DataFrame(
        {"athlete": ["A", "B", "C"], "test": "shuttle_run_20m", "level": [9, 9, 10], "shuttle": [1, 11, 1]}
    )
    club = pd.DataFrame({"athlete": ["A", "B", "C"]})
    speed = measure_capacity(tests, club, unit="score")
    assert speed["capacity"].round(2).tolist() == [12.05, 12.5, 12.55] and set(speed["unit"]) == {"km/h"}
    assert measure_capacity(tests, club, unit="score:total_shuttles")["capacity"].tolist() == [73, 83, 84]
    assert "no test" not in " ".join(speed["warnings"]) and set(speed["test"]) == {"shuttle_run_20m"}


# ---- 30-15: formula as printed on three secondary pages; steps, sex and age as it says
def test_the_30_15_test():
    man = ph.estimate_vo2max("intermittent_30_15", speed_kmh=19, sex="M", age_years=20, mass_kg=75)
    assert man.value == pytest.approx(28.3 - 2.15 - 14.82 - 2.6775 + 22.268 + 19.57)
    woman = ph.estimate_vo2max("intermittent_30_15", speed_kmh=19, sex="F", age_years=20, mass_kg=75)
    assert man.value - woman.value == pytest.approx(2.15)
    score = ph.aerobic_tests.aerobic_test_score("intermittent_30_15", speed_kmh=18.5)
    assert (score.value, score.unit) == (18.5, "km/h") and 0.015 <= score.standard_error / 18.5 <= 0.06
    with pytest.raises(KitError, match="half a km/h"):
        ph.aerobic_tests.aerobic_test_score("intermittent_30_15", speed_kmh=18.3)


# ---- track: Berthon 1997 (Arch Physiol Biochem 105:633-639, abstract): 19.5 km/h went with 67.8, 15.9 with 54.8 mL/kg/min
@pytest.mark.parametrize(("speed", "printed"), [(19.5, 67.8), (15.9, 54.8)])
def test_the_five_minute_run_reads_as_its_authors_did(speed, printed):
    got = ph.estimate_vo2max("run_5_min", distance_m=speed * 1000 / 12)
    assert got.value == pytest.approx(printed, rel=0.02)
    assert ph.aerobic_tests.aerobic_test_score("run_5_min", distance_m=speed * 1000 / 12).value == pytest.approx(speed)
    assert any("Compare athletes by the aerobic speed" in w for w in got.warnings)


def test_a_track_run_of_two_kilometres_is_run_at_aerobic_speed_and_a_shorter_one_faster():
    assert ph.running.aerobic_speed_km_h(2000, 8) == pytest.approx(15.0)
    assert ph.running.aerobic_speed_km_h(1200, 4.8) < 15.0  # the same mean speed over 1200 m says less
    assert ph.aerobic_tests.aerobic_test_score("track_run", distance_m=1500, time_min="6:00").unit == "km/h"
    said = ph.estimate_vo2max("track_run", distance_m=3000, time_min=12).warnings
    assert any("1200 to 2200 m" in w for w in said)


# ---- treadmill: worked values of two secondary pages (13:00, a man: 46.7), and Pollock's line
def test_treadmill_time():
    assert ph.estimate_vo2max("treadmill_bruce", time_min="13:00", sex="M").value == pytest.approx(46.7, abs=0.1)
    assert ph.estimate_vo2max("treadmill_bruce", time_min=10, sex="F").value == pytest.approx(39.9)
    got = ph.estimate_vo2max("treadmill_bruce", time_min=12, sex="M")
    assert got.provenance == ph.SECONDARY and any("rail" in w for w in got.warnings)


# ---- judo: a score only, and no circle
JUDO = pd.DataFrame(
    {"athlete": [f"A{i:02d}" for i in range(1, 9)], "test": "judo_throwing_test", "throws": [22, 24, 25, 26, 27, 28, 29, 30],
     "hr_after_bpm": [188, 185, 184, 182, 180, 181, 178, 176], "hr_1min_bpm": [164, 160, 158, 154, 150, 151, 149, 145]}
)  # fmt: skip


def test_throws_are_a_score_and_no_vo2max():
    got = ph.aerobic_tests.aerobic_test_score("judo_throwing_test", throws=26)
    assert (got.value, got.unit, got.uses_heart_rate) == (26, "throws", False)
    assert got.standard_error == pytest.approx(0.051 * 26)  # Štefanovský 2021: measurement error 5.1 %
    with pytest.raises(KitError, match="gives no VO2max"):
        ph.estimate_vo2max("judo_throwing_test", throws=26)
    index = ph.aerobic_tests.aerobic_test_score(
        "judo_throwing_test", equation="index", throws=26, hr_after_bpm=182, hr_1min_bpm=154
    )
    assert index.value == pytest.approx(ph.judo.judo_throw_index(26, 182, 154)) == pytest.approx(12.923, abs=1e-3)
    assert index.uses_heart_rate
    assert measure_capacity(JUDO, JUDO[["athlete"]])["warnings"].str.contains("gives no VO2max").all()


def test_the_index_is_never_set_against_heart_rate():
    club = JUDO[["athlete"]]
    throws = measure_capacity(JUDO, club, unit="score")
    index = measure_capacity(JUDO.assign(equation="index"), club, unit="score")
    assert not throws["uses_heart_rate"].any() and index["uses_heart_rate"].all()
    assert (np.diff(index["capacity"]) > 0).all() and index["capacity"].max() < 0  # the sign is turned: more is fitter
    assert set(index["unit"]) == {"bpm per throw, sign turned"}
    data = index[["athlete", "capacity", "uses_heart_rate"]].assign(
        hr_mean_bpm=np.linspace(175, 160, 8), lactate_mmol_l=8.0
    )
    with pytest.raises(CircularTestError, match="lactate"):
        set_aside_circular(data, "capacity", "hr_mean_bpm")
    with pytest.raises(CircularTestError):
        correlate(data, "capacity", "hr_mean_bpm")
    assert len(set_aside_circular(data, "capacity", "lactate_mmol_l")[0]) == 8
    free = throws[["athlete", "capacity", "uses_heart_rate"]].assign(hr_mean_bpm=np.linspace(175, 160, 8))
    assert correlate(free, "capacity", "hr_mean_bpm").n_athletes == 8


# ---- a verification bout that reads higher stands
def ramp(peak_ml_min, seconds=600):
    t = np.arange(2, seconds + 2, 2)
    return pd.DataFrame(
        {"elapsed_s": t, "vo2_ml_min": np.minimum(1000 + (peak_ml_min - 900) * t / seconds, peak_ml_min)}
    )


def bout(level_ml_min):
    t = np.arange(2, 182, 2)
    return pd.DataFrame({"elapsed_s": t, "vo2_ml_min": level_ml_min - 1500 * np.exp(-t / 25)})


def test_a_higher_verification_bout_stands():
    test, higher = ramp(54.5 * 75), bout(59.7 * 75)
    alone = process_gas_exchange(test, 75.0)
    both = process_gas_exchange(test, 75.0, verification=higher)
    assert both.verification == "higher" and both.value == pytest.approx(59.7, abs=0.2)
    assert both.value == both.verification_ml_kg_min and both.test_ml_kg_min == pytest.approx(alone.value)
    assert both.vo2_l_min == pytest.approx(both.value * 75 / 1000) and both.label == "VO2peak"
    assert both.estimate.value == both.value and both.standard_error == ph.aerobic_model.laboratory_sem(both.value)
    assert any("its value stands" in w for w in both.warnings)


def test_a_bout_within_three_per_cent_confirms_and_a_lower_one_changes_nothing():
    test = ramp(54.5 * 75)
    alone = process_gas_exchange(test, 75.0).value
    near = process_gas_exchange(test, 75.0, verification=bout(55.2 * 75))
    assert near.verification == "confirmed" and near.value == pytest.approx(alone) and near.label == "VO2max"
    low = process_gas_exchange(test, 75.0, verification=bout(48 * 75))
    assert low.verification == "lower" and low.value == pytest.approx(alone)


def test_files_of_aerobic_tests_may_carry_a_bout():
    test, higher = ramp(54.5 * 75), bout(59.7 * 75)
    own = pd.DataFrame(
        {"athlete": ["A"], "test": "gas_exchange", "file": "a.csv", "verification_file": "a_bout.csv", "mass_kg": 75.0}
    )
    club = pd.DataFrame({"athlete": ["A"]})
    files = {"a.csv": test, "a_bout.csv": higher}
    apart = measure_capacity(own, club, gas_exchange=files)
    assert apart["capacity"][0] == pytest.approx(59.7, abs=0.2)
    rest = pd.DataFrame({"elapsed_s": np.arange(602, 900, 2), "vo2_ml_min": 900.0})
    one_file = pd.concat([test, rest, higher.assign(elapsed_s=higher["elapsed_s"] + 900)])
    together = own.assign(verification_file="", verification_from_s=900.0)
    found = measure_capacity(together, club, gas_exchange={"a.csv": one_file})
    assert found["capacity"][0] == pytest.approx(apart["capacity"][0], abs=0.05)
    lost = measure_capacity(own, club, gas_exchange={"a.csv": test})
    assert np.isnan(lost["capacity"][0]) and "a_bout.csv" in lost["warnings"][0]


# ---- the table of reliabilities
def test_every_row_of_reliability_names_its_paper_or_says_memory():
    table = reliability_values()
    assert not table["source"].str.contains("as read").any()
    read = table[table["provenance"].eq(ph.READ) & table["value"].notna()]
    assert read["source"].str.contains(r"\b(?:19|20)\d\d\b|Vickers").all()
    assert (table.loc[table["source"].str.contains("not found again"), "provenance"] == ph.MEMORY).all()


def test_the_shuttle_retest_is_of_forty_men():
    table = reliability_values()
    men = table[table["source"].str.contains("Metsios")]
    assert set(men.loc[men["source"].str.contains("40 men"), "value"]) == {0.72, 6.8}
    assert men.loc[men["source"].str.contains("74 men"), "value"].tolist() == [4.2]
    assert "4.2 ± 7.3" in men["note"].str.cat()
    assert 0.95 in set(table.loc[table["statistic"] == "retest r", "value"])
