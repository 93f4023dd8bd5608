"""Beat-to-beat intervals: the 20 % rule and the heart rate that follows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.recordings.tidy import correct_intervals, rate_from_intervals


def test_the_rule_by_hand():
    given = np.array([400.0, 404, 480, 408, 800, 405, 200, 210, 402])
    corrected, beat = correct_intervals(given)
    # 480 is within 20 % of 404 (484.8); 408 within 20 % of 480; 800, 200, 210 are not within 20 % of the last accepted
    assert beat.tolist() == ["normal"] * 4 + ["too long", "normal", "too short", "too short", "normal"]
    assert corrected[4] == pytest.approx((408 + 405) / 2)
    assert corrected[6:8] == pytest.approx([404, 403])


def test_the_edge_of_the_rule_is_20_percent():
    for change, normal in ((0.2, True), (0.2001, False)):
        given = np.array([500.0] * 6 + [500 * (1 + change)] + [500.0] * 6)
        assert (correct_intervals(given)[1][6] == "normal") == normal


def test_a_rate_that_really_changed_is_accepted_after_five_refused():
    given = np.array([400.0] * 20 + [800.0] * 30)
    corrected, beat = correct_intervals(given)
    assert (beat[20:26] != "normal").all() and (beat[26:] == "normal").all()
    assert np.isnan(corrected[20:26]).all()


def test_a_bad_first_interval_does_not_condemn_the_rest():
    assert (correct_intervals(np.array([900.0, *[400.0] * 20]))[1][1:] == "normal").all()


def test_mean_rate_counts_beats_per_time():
    intervals = np.tile([400.0, 440.0], 300)
    ends = np.cumsum(intervals) / 1000
    _, rates, _, _ = rate_from_intervals(ends, intervals)
    assert np.nanmean(rates) == pytest.approx(60 * 2 / 0.84, rel=2e-3)


def test_a_missed_beat_does_not_halve_the_rate():
    intervals = np.full(200, 400.0)
    intervals = np.concatenate((intervals[:100], [800.0], intervals[100:]))
    ends = np.cumsum(intervals) / 1000
    seconds, rates, _, remarks = rate_from_intervals(ends, intervals)
    assert rates == pytest.approx(150.0) and np.all(np.diff(seconds) == 1.0)
    assert "Malik" in remarks[0]


def test_lost_contact_gives_missing_seconds():
    intervals = np.full(100, 500.0)
    ends = np.cumsum(intervals) / 1000
    ends[50:] += 30
    _, rates, _, _ = rate_from_intervals(ends, intervals)
    assert np.isnan(rates).sum() == pytest.approx(30, abs=1)


def test_an_interval_of_ages_at_the_start_leaves_nothing_and_breaks_nothing():
    """Found by fuzzing: a sum so large that the intervals after it have no length left."""
    given = np.array([4e22, *[400.0] * 40])
    assert len(rate_from_intervals(np.cumsum(given) / 1000, given)[0]) == 0


def test_nothing_usable():
    assert len(rate_from_intervals(np.array([1.0, 2.0]), np.array([np.nan, 9999.0]))[0]) == 0
    assert np.isnan(correct_intervals(np.array([1.0, 9000.0]))[0]).all()


@given(st.lists(st.one_of(st.floats(), st.floats(200, 2600)), min_size=1, max_size=60))
def test_any_intervals_give_plausible_or_missing_rates(values):
    given = np.array(values)
    corrected, beat = correct_intervals(given)
    assert len(corrected) == len(beat) == len(given)
    kept = corrected[np.isfinite(corrected)]
    assert ((kept >= 250) & (kept <= 2500)).all()
    ends = np.nancumsum(np.clip(np.nan_to_num(given, nan=0.0, posinf=0.0, neginf=0.0), 0, 3000)) / 1000
    _, rates, _, _ = rate_from_intervals(ends, given)
    there = rates[np.isfinite(rates)]
    assert ((there > 20) & (there < 260)).all()
