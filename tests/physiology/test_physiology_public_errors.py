"""Errors met in public sources: none of them is ours."""

import math

import pytest

from analysis import physiology as ph
from analysis.basics import KitError
from analysis.physiology.load import BANISTER

SHUTTLE = {"level": 6, "shuttle": 10}


def test_01_the_one_mile_jog_is_not_the_run_and_takes_heart_rate_not_age():
    jog = {"sex": "M", "mass_kg": 80, "time_min": 9.0, "age_years": 24}
    with pytest.raises(KitError, match="hr_bpm is missing"):
        ph.estimate_vo2max("jog_1_mile", **jog)
    with pytest.raises(KitError, match="hr_bpm is not an input of run_1_5_mile"):
        ph.estimate_vo2max("run_1_5_mile", **jog, hr_bpm=160)
    low, high = (ph.estimate_vo2max("jog_1_mile", **{**jog, "age_years": a}, hr_bpm=160).value for a in (19, 29))
    assert low == high == pytest.approx(51.966)


def test_02_sex_coefficient_of_the_walk():
    walk = {"mass_kg": 70, "age_years": 40, "time_min": 14, "hr_bpm": 140}
    man, woman = (dict(ph.estimate_vo2max("walk_1_mile", sex=s, **walk).inputs)["vo2max_l_min"] for s in "MF")
    assert man - woman == pytest.approx(0.5955, abs=1e-9)


def test_03_constants_of_the_training_impulse_for_women():
    assert BANISTER == {"M": (0.64, 1.92), "F": (0.86, 1.67)}
    at_top = ph.banister_impulse([190, 190], 30, hr_max_bpm=190, hr_rest_bpm=60, sex="F")
    assert at_top.value == pytest.approx(0.86 * math.exp(1.67))
    assert at_top.provenance == ph.MEMORY and "memory" in at_top.source


def test_04_two_minute_stages_have_a_test_of_their_own():
    known = ph.known_aerobic_tests()
    of_minute = set(known.loc[known["test"] == "shuttle_run_20m", "equation"])
    assert "leger_lambert_1982" not in of_minute
    with pytest.raises(KitError):
        ph.estimate_vo2max("shuttle_run_20m", equation="leger_lambert_1982", speed_kmh=11)
    with pytest.raises(KitError, match="level is not an input"):
        ph.estimate_vo2max("shuttle_run_20m_2min", **SHUTTLE)
    said = ph.estimate_vo2max("shuttle_run_20m_2min", speed_kmh=11).warnings
    assert any("two minutes" in w for w in said)


def test_05_age_terms_are_kept_and_adults_are_eighteen():
    at = {"speed_kmh": 10.5}
    adult = ph.estimate_vo2max("shuttle_run_20m", age_years=30, **at).value
    assert adult == pytest.approx(31.025 + 3.238 * 10.5 - 3.248 * 18 + 0.1536 * 18 * 10.5)
    assert adult < 40  # with age 0 it would be about 65
    with pytest.raises(KitError, match="age_years is missing"):
        ph.estimate_vo2max("shuttle_run_20m", **at)
    with pytest.raises(KitError, match="age_years"):
        ph.estimate_vo2max("shuttle_run_20m", age_years=0, **at)


def test_05_speed_is_eight_plus_half_the_level():
    assert [ph.running.stage_speed_km_h(n) for n in (2, 5, 9, 21)] == [9.0, 10.5, 12.5, 18.5]
    assert ph.running.stage_speed_km_h(1, stage_table="from_8_5") == 8.5
    assert ph.running.stage_speed_km_h(1) == 8.0


def test_06_a_citation_with_another_formula_says_so():
    flouris = ph.estimate_vo2max("shuttle_run_20m", equation="flouris_2005", speed_kmh=12)
    assert flouris.value == pytest.approx((6.65 * 12 - 35.8) * 0.95 + 0.182)
    assert flouris.provenance == ph.MEMORY
    assert any("Another formula circulates" in w for w in flouris.warnings)


def test_07_a_standard_error_of_the_mean_is_not_an_sd():
    values = ph.published_combat_values()
    judo = values[values["source"].str.contains("Degoutte")].iloc[0]
    thai = values[values["source"].str.contains("Crisafulli")].iloc[0]
    assert judo["spread_kind"] == thai["spread_kind"] == "sem"
    assert judo["spread_sd"] == pytest.approx(1.8 * 4) and thai["spread_sd"] == pytest.approx(1.38 * math.sqrt(10))


def test_08_equations_for_one_shuttle_result_are_named_and_their_disagreement_said():
    each = {
        name: ph.estimate_vo2max("shuttle_run_20m", equation=name, age_years=25, sex="M", level=9, shuttle=9)
        for name in ("leger_1988", "leger_gadoury_1989", "stickland_2003", "ramsbottom_1988", "flouris_2005")
    }
    values = [e.value for e in each.values()]
    assert max(values) - min(values) > 5
    for name, estimate in each.items():
        assert estimate.equation == name
        assert any("5 to 6 mL/kg/min" in w for w in estimate.warnings)


def test_09_bands_carry_their_edition_and_editions_differ():
    new, old = ph.intensity_bands("position_stand_2011"), ph.intensity_bands("position_stand_2000")

    def band(table, percent):
        inside = (table["percent_hr_max_low"] <= percent) & (percent < table["percent_hr_max_high"])
        return table.loc[inside, "band"].item()

    assert band(new, 75) == "moderate" and band(old, 75) == "hard"
    assert set(new["year"]) == {2011} and set(old["year"]) == {2000}
    assert "2011" in ph.seconds_per_band([75.0], edition="position_stand_2011").edition


def test_10_contact_energy_and_beat_intervals():
    silent = ph.read_heart_rate_message("0050")
    assert silent.contact_detected is None and silent.contact_supported is False
    lost = ph.read_heart_rate_message("0450")
    assert lost.contact_supported is True and lost.contact_detected is False
    full = ph.read_heart_rate_message(bytes([0x1F, 0x8C, 0x00, 0x64, 0x00, 0xB7, 0x01, 0xC0, 0x01, 0xAA, 0x01]))
    assert (full.hr_bpm, full.energy_kj, full.rr_raw) == (140, 100, (439, 448, 426))


def test_11_error_of_the_rowing_equations_is_in_litres():
    row = ph.estimate_vo2max("row_2000_m", power_w=300, mass_kg=80, sex="M")
    step = ph.estimate_vo2max("row_step", power_w=350, mass_kg=80, sex="M")
    assert row.standard_error == pytest.approx(157 / 80) and step.standard_error == pytest.approx(136 / 80)
    assert "evidently L/min" in row.error_note


def test_12_a_prediction_interval_of_a_correlation_stays_inside_its_range():
    from analysis.replication.evidence import prediction_interval

    interval = prediction_interval(-0.6, 12, 16)
    assert interval.low == pytest.approx(-0.9126, abs=5e-4) and interval.high == pytest.approx(0.1555, abs=5e-4)
    assert prediction_interval(-0.95, 5, 5).low >= -1
