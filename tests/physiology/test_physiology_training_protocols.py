"""The catalogue of interval protocols: sources, target band, attainable minutes."""

import pytest

from analysis.basics import KitError
from analysis.physiology import PROVENANCES, attainable_minutes, predict_hr_max, target_band, training_protocols
from analysis.physiology.training_protocols import predicted_band_error, seconds_to_target, training_values


def test_every_protocol_and_value_has_a_source_and_a_mark():
    for table in (training_protocols(), training_values()):
        assert (table["source"].str.len() > 0).all()
        assert set(table["provenance"]) <= set(PROVENANCES)
    assert len(training_protocols()) == 7


def test_check_value_4_a_paper_whose_percentages_disagree_with_its_means():
    """Helgerud 2007 [R]: 55.5 to 60.4 is 8.8 % (printed 7.2), 60.5 to 64.4 is 6.4 % (printed 5.5)."""
    table = training_values().set_index("protocol")
    assert table.loc["four_by_four", "percent"] == pytest.approx(8.8, abs=0.05)
    assert table.loc["fifteen_fifteen", "percent"] == pytest.approx(6.4, abs=0.05)
    assert table["disagrees"].sum() == 2


def test_check_value_6_meta_analyses():
    table = training_values().set_index("study")
    assert table.loc["Milanović 2015", "effect"] == 5.5
    assert (table.loc["Bacon 2013", "ci_low"], table.loc["Bacon 2013", "ci_high"]) == (0.43, 0.60)
    assert table.loc["Milanović 2015", "provenance"] == "from memory"


def test_a_band_only_from_a_measured_maximum():
    band = target_band("four_by_four", hr_max_bpm=190, hr_max_source="measured")
    assert (band.low_bpm, band.high_bpm) == (171.0, 180.5)
    for given in ({"hr_max_bpm": 195, "hr_max_source": "predicted"}, {}, {"hr_max_bpm": float("nan")}):
        none = target_band("four_by_four", **given)
        assert none.low_bpm != none.low_bpm
        assert none.guide == "exertion"
        assert "predicted" in none.why_none


@pytest.mark.parametrize("protocol", ["fifteen_fifteen", "twenty_ten_judo", "sprints_35_m"])
def test_short_work_has_no_heart_rate_target(protocol):
    band = target_band(protocol, hr_max_bpm=190, hr_max_source="measured")
    assert band.low_bpm != band.low_bpm
    assert "before heart rate has arrived" in band.why_none
    with pytest.raises(KitError, match="not by heart rate"):
        attainable_minutes(protocol)


def test_what_a_predicted_maximum_does_at_25_years():
    """195 bpm, SE 10.8 (Nes 2013): inside 37, too low 31, too high 32, above the maximum 18 of 100 [C]."""
    predicted = predict_hr_max(25, "nes_2013")
    assert (predicted.value, predicted.standard_error) == (195, 10.8)
    error = predicted_band_error(predicted_bpm=195, standard_error_bpm=10.8)
    shares = (error.inside, error.too_low, error.too_high, error.above_maximum)
    assert [round(100 * s) for s in shares] == [37, 31, 32, 18]
    assert round(error.middle_bpm) == 180


def test_a_perfect_session_shows_less_than_its_work():
    """From 70 %, time constant 40 s, 90 % after 64 to 81 s: 10.6 to 11.7 of 16 min; constants 30 to 60 s: 8 to 13 [C]."""
    assert (seconds_to_target(95, 90, 40), seconds_to_target(93, 90, 40)) == pytest.approx((64.4, 81.5), abs=0.1)
    assert attainable_minutes("four_by_four") == pytest.approx((10.6, 11.7), abs=0.05)
    fast, slow = (attainable_minutes("four_by_four", time_constant_s=t) for t in (30, 60))
    assert round(fast[1]) == 13
    assert round(slow[0]) == 8
