"""Gas exchange: averaging, plateau, criteria, verification, and bad input."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.physiology import estimate_vo2max
from analysis.physiology.laboratory import average_curve, parse_average, process_gas_exchange


def ramp(*, minutes=10.0, top=3600.0, plateau=True, step=2.0, recovery=False, rer=1.15):
    seconds = np.arange(step, 60 * minutes + 0.1, step)
    knee = 60 * minutes - 100 if plateau else 60 * minutes
    vo2 = np.minimum(1000 + (top - 1000) * seconds / knee, top)
    if recovery:
        after = np.arange(step, 181, step)
        seconds = np.r_[seconds, seconds[-1] + after]
        vo2 = np.r_[vo2, top * np.exp(-after / 60)]
    return pd.DataFrame({"elapsed_s": seconds, "vo2_ml_min": vo2, "vco2_ml_min": rer * vo2})


@pytest.mark.parametrize("rule", ["breaths:15", "seconds:30", "bins:30"])
def test_a_flat_end_is_a_plateau(rule):
    got = process_gas_exchange(ramp(), 72, average=rule)
    assert got.value == pytest.approx(50) and got.plateau is True and got.label == "VO2max"
    assert got.vo2_l_min == pytest.approx(3.6)


def test_a_rising_end_is_a_peak():
    got = process_gas_exchange(ramp(plateau=False), 72, average="seconds:30")
    assert got.plateau is False and got.label == "VO2peak"
    assert any("VO2peak" in w for w in got.warnings)


def test_too_short_to_tell():
    got = process_gas_exchange(ramp(minutes=3, plateau=False), 72, average="seconds:15")
    assert got.plateau is None and got.label == "VO2peak" and got.plateau_table["met"].isna().all()


@pytest.mark.parametrize(
    ("share", "verdict", "label"),
    [(1.0, "confirmed", "VO2max"), (1.08, "higher", "VO2peak"), (0.9, "lower", "VO2peak")],
)
def test_verification_bout(share, verdict, label):
    bout = ramp(minutes=3, top=3600 * share)
    got = process_gas_exchange(ramp(plateau=False), 72, average="seconds:30", verification=bout)
    assert (got.verification, got.label) == (verdict, label)
    assert got.verification_ml_kg_min == pytest.approx(50 * share, rel=0.02)


def test_recovery_does_not_make_a_plateau():
    got = process_gas_exchange(ramp(plateau=False, recovery=True), 72, average="seconds:30")
    assert any("recovery" in w for w in got.warnings) and got.plateau is False
    assert got.duration_s == pytest.approx(600, abs=20)
    without = process_gas_exchange(ramp(plateau=False), 72, average="seconds:30")
    assert without.value == pytest.approx(got.value, rel=0.002)
    assert not any("recovery" in w for w in without.warnings)


def test_a_fall_before_the_end_is_no_plateau():
    table = ramp(plateau=False)
    table.loc[table["elapsed_s"] > 565, "vo2_ml_min"] = 3100.0
    got = process_gas_exchange(table, 72, average="seconds:30")
    assert got.plateau is None and got.label == "VO2peak" and any("cannot tell" in w for w in got.warnings)


def test_averaged_input_is_used_by_whole_rows():
    seconds = np.arange(30, 601, 30.0)
    table = pd.DataFrame({"elapsed_s": seconds, "vo2_ml_min": 1000 + 4.5 * seconds})
    got = process_gas_exchange(table, 70, average="seconds:30")
    assert got.value == pytest.approx((1000 + 4.5 * 600) / 70) and any("averages already" in w for w in got.warnings)
    assert process_gas_exchange(table, 70, average="seconds:60").value == pytest.approx((1000 + 4.5 * 585) / 70)
    with pytest.raises(KitError, match="not breaths"):
        process_gas_exchange(table, 70, average="breaths:15")
    with pytest.raises(KitError, match="window of 15 s"):
        process_gas_exchange(table, 70, average="seconds:15")


def test_no_window_crosses_a_gap():
    table = ramp(plateau=False)
    holed = table[~table["elapsed_s"].between(560, 590)]
    for rule in ("breaths:15", "seconds:30"):
        assert process_gas_exchange(holed, 72, average=rule).time_of_peak_s < 561
    assert process_gas_exchange(holed, 72, average="bins:30").time_of_peak_s < 561


def test_a_cut_last_bin_cannot_win_by_being_short():
    table = pd.DataFrame({"elapsed_s": np.arange(1, 101.0), "vo2_ml_min": 1000.0})
    table.loc[90:, "vo2_ml_min"] = 2000.0
    assert average_curve(table, "bins", 30)["vo2_ml_min"].iloc[-1] == pytest.approx(2000 * 10 / 30)


def test_unusable_rows_are_counted():
    table = ramp()
    table.loc[5, "vo2_ml_min"] = np.nan
    table.loc[9, "vo2_ml_min"] = -40
    got = process_gas_exchange(table, 72, average="seconds:30")
    assert got.n_left_out == 2 and got.n_samples == len(table) - 2 and got.value == pytest.approx(50)


@pytest.mark.parametrize(
    ("change", "mass", "words"),
    [
        ({"vo2_ml_min": 0.001}, 72, "L/min"),
        ({"vo2_ml_min": 1 / 72}, 72, "mL/kg/min"),
        ({"elapsed_s": 1 / 60}, 72, "in minutes"),
        ({}, 7.2, "mass_kg"),
        ({}, "heavy", "mass_kg"),
    ],
)
def test_wrong_units_are_named(change, mass, words):
    table = ramp()
    for column, factor in change.items():
        table[column] *= factor
    with pytest.raises(KitError, match=words):
        process_gas_exchange(table, mass, average="seconds:30")


def test_missing_columns_and_too_few_rows():
    with pytest.raises(KitError, match="vo2_ml_min is missing"):
        process_gas_exchange(pd.DataFrame({"elapsed_s": [1, 2]}), 72, average="seconds:30")
    with pytest.raises(KitError, match="usable samples"):
        process_gas_exchange(ramp().iloc[:3], 72, average="seconds:30")


@pytest.mark.parametrize("rule", ["30 s", "seconds", "breaths:0", "bins:900", "", None])
def test_rules_that_are_none(rule):
    with pytest.raises(KitError, match="average"):
        parse_average(rule)


def test_through_the_list_of_tests():
    got = estimate_vo2max("gas_exchange", samples=ramp(plateau=False), mass_kg=72, average="breaths:15")
    assert got.label == "VO2peak" and got.error_kind == "retest" and not got.uses_heart_rate
    with pytest.raises(KitError, match="mass_kg is missing"):
        estimate_vo2max("gas_exchange", samples=ramp())
