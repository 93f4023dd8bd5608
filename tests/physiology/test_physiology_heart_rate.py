"""Maximal heart rate, intensity and load."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import physiology as ph
from analysis.basics import KitError
from analysis.physiology.hr_max import choose_measured_hr_max
from analysis.physiology.intensity import percent_hr_max, percent_hr_reserve


def test_every_equation_has_an_error_and_a_source():
    table = ph.hr_max_equations()
    assert table["standard_error"].between(5, 15).all() and table["source"].ne("").all()
    assert {"Nes", "Fox", "Gulati"} <= set(table["author"]) and table["year"].between(1970, 2020).all()
    for name in table["equation"]:
        got = ph.predict_hr_max(45, name, sex="F")
        assert 160 < got.value < 190 and got.unit == "bpm" and got.error_kind == "prediction"
        assert any("Predicted" in w for w in got.warnings)


def test_men_and_women_where_the_equation_tells_them_apart():
    assert ph.predict_hr_max(50, "sydo_2014", sex="M").value == pytest.approx(172.5)
    assert ph.predict_hr_max(50, "sydo_2014", sex="F").value == pytest.approx(170.5)
    with pytest.raises(KitError, match="give sex"):
        ph.predict_hr_max(50, "sydo_2014")
    with pytest.raises(KitError, match="women only"):
        ph.predict_hr_max(50, "gulati_2010", sex="M")


def test_prediction_refuses_and_warns():
    with pytest.raises(KitError, match="nes_2013"):
        ph.predict_hr_max(25, "nes_2031")
    with pytest.raises(KitError, match=r"age_years.*sex"):
        ph.predict_hr_max(-3, "nes_2013", sex="man")
    with pytest.raises(KitError, match="age_years"):
        ph.predict_hr_max("young", "nes_2013")
    assert any("Outside" in w for w in ph.predict_hr_max(25, "sydo_2014", sex="F").warnings)
    assert any("Under 18" in w for w in ph.predict_hr_max(15, "nes_2013").warnings)
    assert ph.predict_hr_max(30, "Tanaka 2001").value == ph.predict_hr_max(30, "tanaka").value == 187


def efforts(*rows):
    return pd.DataFrame(rows, columns=["effort", "hr_peak_bpm", "sustained_s", "artefact_free"])


def test_the_highest_effort_that_counts():
    got = choose_measured_hr_max(
        efforts(
            ("graded_run", 188, 10, True),
            ("sparring", 193, 5, True),
            ("sparring", 221, 5, False),
            ("sparring", 200, 1, True),
        )
    )
    assert got.value == 193 and got.n_efforts == 2 and len(got.left_out) == 2
    assert any("Sparring went above" in w for w in got.warnings)
    assert got.efforts["counts"].tolist() == [True, True, False, False]


def test_measured_maximum_says_where_it_is_weak():
    assert any("cycling" in w for w in choose_measured_hr_max(efforts(("graded_cycle", 184, 10, True))).warnings)
    assert any("sparring" in w for w in choose_measured_hr_max(efforts(("sparring", 184, 10, True))).warnings)
    with pytest.raises(KitError, match="no effort counts"):
        choose_measured_hr_max(efforts(("graded_run", 190, 1, True), ("walk", 150, 10, True)))
    with pytest.raises(KitError, match="sustained_s"):
        choose_measured_hr_max([{"effort": "graded_run", "hr_peak_bpm": 190}])
    with pytest.raises(KitError):
        choose_measured_hr_max([])


def test_more_than_the_maximum_is_an_error_not_a_result():
    with pytest.raises(KitError, match="Update"):
        percent_hr_max([180, 197], 190)
    kept = percent_hr_max(np.array([180.0, 197.0, np.nan]), 190, above="missing")
    assert kept[0] == pytest.approx(94.7368, abs=1e-3) and np.isnan(kept[1:]).all()
    assert percent_hr_max(190, 190) == 100
    with pytest.raises(KitError, match="swapped"):
        percent_hr_reserve(150, 55, 190)


def test_bands_are_half_open_and_complete():
    table = ph.intensity_bands()
    for what in ("percent_hr_max", "percent_hr_reserve", "percent_vo2max", "exertion"):
        assert (table[f"{what}_high"].iloc[:-1].to_numpy() == table[f"{what}_low"].iloc[1:].to_numpy()).all()
    edges = ph.seconds_per_band([56.999, 57, 63.999, 64, 76.999, 77, 95.999, 96, 100]).table
    assert edges["seconds"].tolist() == [1, 2, 2, 2, 2]
    tenths = ph.seconds_per_band([49.9, 50, 59.9, 60, 100], edition="tenths")
    assert tenths.below_s == 1 and tenths.table["seconds"].tolist() == [2, 1, 0, 0, 1]


def test_time_in_bands_balances_and_says_what_is_missing():
    got = ph.seconds_per_band([60, np.nan, 101, 30], [2, 3, 4, 5])
    assert got.table["seconds"].sum() == got.valid_s == 11 and got.missing_s == 3
    assert got.above_100_s == 4 and got.warnings and got.table["share"].sum() == pytest.approx(1)
    empty = ph.seconds_per_band([np.nan])
    assert empty.valid_s == 0 and empty.table["share"].isna().all()


def test_no_bands_from_a_predicted_maximum():
    with pytest.raises(KitError, match="predicted"):
        ph.seconds_per_band([80], hr_max_source="predicted")
    with pytest.raises(KitError, match="no bands in percent_hr_reserve"):
        ph.seconds_per_band([80], edition="tenths", reference="percent_hr_reserve")


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(60, 190), min_size=2, max_size=30))
def test_sum_over_samples_is_never_below_the_mean_value(rates):
    common = {"hr_max_bpm": 195, "hr_rest_bpm": 60, "sex": "M"}
    summed = ph.banister_impulse(rates, 60, **common).value
    of_mean = ph.banister_impulse(float(np.mean(rates)), 60 * len(rates), **common)
    assert summed >= of_mean.value - 1e-6 and any("underestimated" in w for w in of_mean.warnings)


def test_impulses_skip_missing_seconds_and_say_so():
    got = ph.banister_impulse([150, np.nan, 150], 60, hr_max_bpm=190, hr_rest_bpm=60, sex="f")
    assert got.valid_s == 120 and got.missing_s == 60 and any("add nothing" in w for w in got.warnings)
    assert math.isnan(ph.banister_impulse([np.nan], 1, hr_max_bpm=190, hr_rest_bpm=60, sex="F").value)
    below_rest = ph.banister_impulse([50, 55], 60, hr_max_bpm=190, hr_rest_bpm=60, sex="M")
    assert below_rest.value == 0
    with pytest.raises(KitError, match="more than 100"):
        ph.stagno_impulse([195, 180], 1, hr_max_bpm=190, hr_rest_bpm=60)


def test_edwards_from_samples_is_edwards_from_minutes():
    rates = [99, 100, 119, 120, 140, 160, 180, 200]
    assert ph.edwards_impulse(rates, 60, hr_max_bpm=200).value == ph.edwards_from_minutes([2, 1, 1, 1, 2]).value == 21
    with pytest.raises(KitError, match="5 numbers"):
        ph.edwards_from_minutes([1, 2])


def test_session_rating_needs_its_scale():
    assert ph.lucia_impulse(10, 10, 10).value == 60
    with pytest.raises(KitError, match="no agreed conversion"):
        ph.session_rating_load(15, 60)
    assert any("not converted" in w for w in ph.session_rating_load(15, 60, scale="6-20").warnings)
