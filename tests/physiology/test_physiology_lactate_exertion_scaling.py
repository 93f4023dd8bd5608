"""Lactate, exertion, scaling, units and the published tables."""

import numpy as np
import pytest

from analysis import physiology as ph
from analysis.basics import KitError
from analysis.physiology.published_values import dehydration_hr_rise, reliability_values


def test_lactate_units_there_and_back():
    values = np.array([0.8, 7.4, 19.6])
    np.testing.assert_allclose(ph.lactate_from_mg_dl(ph.lactate_to_mg_dl(values)), values)


def test_individual_values_are_not_converted_between_blood_and_plasma():
    assert any("do not convert" in w for w in ph.whole_blood_from_plasma(14).warnings)


def test_ratings_of_each_scale():
    assert ph.lactate.check_exertion([6, 20, 13, float("nan")], "6-20").empty
    assert list(ph.lactate.check_exertion([5, 21, 12.5], "6-20")["position"]) == [0, 1, 2]
    assert ph.lactate.check_exertion([0, 0.5, 2.5, 10, 11], "0-10").empty
    assert "6-20" in ph.lactate.check_exertion([13], "0-10").loc[0, "remedy"]
    assert ph.lactate.check_exertion([0, 100], "0-100").empty


def test_two_scales_in_one_column_stop_and_nothing_converts():
    with pytest.raises(KitError, match="no agreed conversion"):
        ph.lactate.require_one_scale([13, 15, 4], "6-20")
    with pytest.raises(KitError, match="scale"):
        ph.lactate.check_exertion([13], "borg")
    assert not [n for n in ph.__all__ if "exertion" in n.lower() and "convert" in n.lower()]


def test_scaling():
    assert ph.scale_vo2(4.2, 80, exponent=1) == pytest.approx(ph.units.vo2_ml_kg_min(4.2, 80)) == pytest.approx(52.5)
    np.testing.assert_allclose(ph.scale_vo2([3.0, 4.0], [60, 100], exponent=0), [3000, 4000])
    heavy_gains = ph.scale_vo2([3.3, 5.0], [60, 100], exponent=0.67)
    assert ph.units.vo2_ml_kg_min(3.3, 60) > ph.units.vo2_ml_kg_min(5.0, 100) and heavy_gains[1] > heavy_gains[0]
    with pytest.raises(KitError, match="above 0"):
        ph.scale_vo2(4.2, 0, exponent=0.67)
    with pytest.raises(KitError, match="mL/min"):
        ph.scale_vo2(4200, 80, exponent=0.67)


def test_the_example_of_published_values_holds_only_what_was_read():
    everything, example = ph.published_combat_values(), ph.published_example()
    assert set(everything["provenance"]) <= set(ph.PROVENANCES)
    unread = everything.loc[everything["provenance"].ne(ph.READ), ["source", "outcome", "value"]]
    shown = set(map(tuple, example[["source", "outcome", "value"]].to_numpy()))
    assert not shown & set(map(tuple, unread.to_numpy()))
    assert set(example["statistic"]) == {"mean", "r"} and set(example["spread_kind"]) <= {"", "sd", "sem"}
    assert example["source"].ne("").all()


def test_published_values_of_a_round_rise_as_the_papers_say():
    values = ph.published_combat_values()
    wrestling = values[values["source"].str.contains("Chino") & values["outcome"].eq("percent_hr_max")]
    assert wrestling["value"].tolist() == [81, 88, 92]
    with pytest.raises(KitError):
        ph.published_values.sd_from_sem(1.8, 1)


def test_reliability_says_what_was_never_published():
    reliability = reliability_values()
    gap = reliability[reliability["measure"].str.contains("free sparring")]
    assert gap["value"].isna().all() and "no published value" in gap["note"].item()


@pytest.mark.parametrize("message", ["", "16", "168C", "16ZZ", "168CB7"])
def test_a_cut_message_is_refused(message):
    if message == "168C":  # a message may carry no interval
        assert ph.read_heart_rate_message(message).rr_raw == ()
        return
    with pytest.raises(KitError):
        ph.read_heart_rate_message(message)


def test_an_interval_must_be_positive():
    with pytest.raises(KitError):
        ph.bpm_from_interval(0)
    with pytest.raises(KitError):
        dehydration_hr_rise(25)
