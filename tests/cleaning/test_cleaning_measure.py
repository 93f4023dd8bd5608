"""Means, peaks, bands and seconds by hand, and as properties; straps mixed up; clocks and windows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_traces import make_trace

from analysis.cleaning import CleaningRules
from analysis.cleaning.evening import mark_crossed
from analysis.cleaning.find import logged_windows
from analysis.cleaning.flags import CODE, FLAGS, spans_of
from analysis.cleaning.measure import (
    AthleteFacts,
    band_cuts,
    bounds_of_round,
    costs_of_round,
    intensity_of_round,
    measure_round,
)
from analysis.cleaning.placing import Trace, offset_seconds
from analysis.study import Protocol

RULES = CleaningRules()


def spans(rates, codes=None, clock=None, gap=5.0, stops=()):
    rates = np.asarray(rates, dtype=float)
    clock = np.arange(len(rates), dtype=float) if clock is None else np.asarray(clock, dtype=float)
    codes = np.zeros(len(rates), dtype=np.int8) if codes is None else np.asarray(codes, dtype=np.int8)
    return spans_of(clock, rates, codes, gap, stops)


def test_uneven_steps_are_weighted_by_time():
    made = spans([100, 200, 100], clock=[0, 1, 5])
    mean, seconds = made.mean(0, 5)
    # trapezoid: (1 * 150 + 4 * 150) / 5
    assert (mean, seconds) == (150.0, 5.0)
    assert spans([100, 200, 200], clock=[0, 1, 5]).mean(0, 5)[0] == pytest.approx((1 * 150 + 4 * 200) / 5)


def test_a_gap_is_missing_and_its_neighbours_keep_their_half_second():
    made = spans([100] * 10 + [120] * 10, clock=[*range(10), *range(30, 40)])
    values, aside = measure_round(made, -0.5, 39.5, CleaningRules(least_valid_share=0.1, gap_shift_bpm=30), np.inf)
    assert aside == {"no contact": pytest.approx(20.0)}
    assert values["valid_s"] == pytest.approx(20.0) and values["hr_mean_bpm"] == pytest.approx(110, abs=0.6)


def test_stops_early_starts_and_late_ends_have_their_own_cause():
    made = spans([150.0] * 60, clock=np.arange(10, 70), stops=[(30, 40)])
    _, aside = measure_round(made, 0, 100, RULES, np.inf)
    assert aside["recording not yet started"] == pytest.approx(9.5)
    assert aside["recording over"] == pytest.approx(30.5)
    assert aside["timer stopped"] == pytest.approx(10, abs=1)


def test_the_peak_is_a_mean_over_five_seconds_not_one_sample():
    rates = np.full(100, 150.0)
    rates[50] = 200
    assert spans(rates).peak(0, 100, 5.0) == pytest.approx((4 * 150 + 200) / 5)
    rates[40:60] = 180
    assert spans(rates).peak(0, 100, 5.0) == 180
    bad = np.zeros(100, dtype=np.int8)
    bad[40:60] = CODE["spike"]
    assert spans(rates, bad).peak(0, 100, 5.0) == 150
    assert np.isnan(spans([150.0] * 3).peak(0, 3, 5.0))


def test_late_mean_drift_and_recovery_by_hand():
    t = np.arange(500.0)
    rates = np.where(t < 300, 120 + 0.1 * t, 150 - 0.5 * np.minimum(t - 300, 100))
    values, _ = measure_round(spans(rates), 0, 300, RULES, np.inf)
    assert values["hr_late_bpm"] == pytest.approx(120 + 0.1 * 210, abs=0.1)
    assert values["hr_drift_bpm_min"] == pytest.approx(6.0, abs=0.05)
    assert values["hr_recovery_60s_bpm"] == pytest.approx((120 + 0.1 * 297.5) - (150 - 0.5 * 60), abs=0.3)
    soon, _ = measure_round(spans(rates), 0, 300, RULES, 350.0)
    assert np.isnan(soon["hr_recovery_60s_bpm"])
    short, _ = measure_round(spans(rates), 0, 60, RULES, np.inf)
    assert short["hr_late_bpm"] == pytest.approx(120 + 0.1 * 45, abs=0.1)


def test_bands_are_half_open_and_impulse_is_summed_over_samples():
    """Edges of the position stand of 2011; Banister's impulse against the closed form (Morton 1990)."""
    facts = AthleteFacts(hr_max=200.0, hr_rest=50.0, sex="M")
    edges = [113, 114, 127, 128, 153, 154, 191, 192]  # 56.5, 57, 63.5, 64, 76.5, 77, 95.5, 96 %
    made = spans(np.repeat(edges, 10))
    out = intensity_of_round(made, -0.5, 79.5, float(np.mean(edges)), facts, band_cuts("position_stand_2011"))
    seconds = [out[c] for c in ("very_light_s", "light_s", "moderate_s", "vigorous_s", "near_maximal_s")]
    assert seconds == pytest.approx([10, 20, 20, 20, 10])
    x = (np.repeat(edges, 10) - 50) / 150
    assert out["training_impulse"] == pytest.approx((x * 0.64 * np.exp(1.92 * x)).sum() / 60)
    assert out["percent_hr_max"] == pytest.approx(np.mean(edges) / 2)
    assert out["percent_hr_reserve"] == pytest.approx(100 * (np.mean(edges) - 50) / 150)
    unknown = intensity_of_round(
        made, 0, 80, 150.0, AthleteFacts(hr_max_predicted=190.0), band_cuts("position_stand_2011")
    )
    assert unknown["percent_hr_max_predicted"] == pytest.approx(100 * 150 / 190)
    assert np.isnan([unknown["percent_hr_max"], unknown["vigorous_s"], unknown["training_impulse"]]).all()


def test_costs_and_bounds_by_hand():
    codes = np.zeros(100, dtype=np.int8)
    codes[:20] = CODE["spike"]
    rates = np.where(np.arange(100) < 20, 200.0, 150.0)
    made = spans(rates, codes)
    ((flag, seconds, change, regained),) = costs_of_round(made, -0.5, 99.5, RULES)
    assert (flag, seconds, change, regained) == ("spike", 20.0, pytest.approx(10.0), False)
    assert costs_of_round(made, -0.5, 99.5, CleaningRules(least_valid_share=0.9))[0][3]
    found = bounds_of_round(made, -0.5, 99.5, 100.0, 190.0)
    assert found["mean_bpm"] == 150 and found["mean_kept_bpm"] == 160
    assert found["mean_low_bpm"] == 140 and found["mean_high_bpm"] == 158


values = st.lists(st.one_of(st.none(), st.integers(60, 190)), min_size=1, max_size=80)


@settings(max_examples=80, deadline=None)
@given(values, st.data())
def test_seconds_are_conserved_in_every_window(rates, data):
    """Valid seconds and those set aside add up to the window, whatever the trace, the gaps, the flags and the stops."""
    n = len(rates)
    steps = data.draw(st.lists(st.floats(0.3, 20), min_size=n, max_size=n))
    clock = np.cumsum(steps)
    codes = np.array(data.draw(st.lists(st.integers(0, len(FLAGS) - 1), min_size=n, max_size=n)), dtype=np.int8)
    start = data.draw(st.floats(-20, float(clock[-1]) + 20))
    length = data.draw(st.floats(1, 200))
    begin = data.draw(st.floats(-5, float(clock[-1])))
    stops = [(begin, begin + data.draw(st.floats(0, 30)))] if data.draw(st.booleans()) else []
    there = np.array([np.nan if r is None else float(r) for r in rates])
    made = spans_of(clock, there, codes, data.draw(st.floats(1, 10)), stops)
    assert (made.high >= made.low - 1e-9).all() and (made.low[1:] >= made.high[:-1] - 1e-9).all()
    found, aside = measure_round(made, start, start + length, RULES, np.inf)
    assert found["valid_s"] + sum(aside.values()) == pytest.approx(length)
    assert all(s >= 0 for s in aside.values()) and 0 <= found["valid_share"] <= 1 + 1e-9
    mean = found["hr_mean_bpm"]
    assert np.isnan(mean) or np.nanmin(there) - 1e-6 <= mean <= np.nanmax(there) + 1e-6
    limits = bounds_of_round(made, start, start + length, 50.0, 200.0)
    if np.isfinite(limits["mean_bpm"]):
        assert limits["mean_low_bpm"] - 1e-6 <= limits["mean_bpm"] <= limits["mean_high_bpm"] + 1e-6


def trace_of(athlete, rates, begin=0.0):
    n = len(rates)
    return Trace(
        "1",
        athlete,
        begin + np.arange(n, dtype=float),
        np.asarray(rates, float),
        np.zeros(n, np.int8),
        [],
        5.0,
        True,
        [],
    )


@pytest.mark.parametrize("lag", [0, 7, -33])
def test_identical_stretches_are_found_at_any_lag_and_by_chance_never(lag):
    one, two = (make_trace(np.random.default_rng(s), before_s=600, after_s=200).rates for s in (1, 2))
    two = two.copy()
    two[500 + lag : 620 + lag] = one[500:620]
    traces = {"A01": trace_of("A01", one, 100.0), "A02": trace_of("A02", two, 100.0)}
    said = mark_crossed(traces, RULES)
    assert len(said) == 1 and "A01 and A02" in said[0]
    marked = [np.flatnonzero(t.codes == CODE["straps mixed up"]) for t in traces.values()]
    assert set(range(502, 618)) <= set(marked[0]) and len(marked[0]) <= 124
    assert set(range(502 + lag, 618 + lag)) <= set(marked[1])
    rates = [make_trace(np.random.default_rng(s), noise_bpm=0.5).rates for s in range(8)]
    assert mark_crossed({f"A{i}": trace_of(f"A{i}", r) for i, r in enumerate(rates)}, RULES) == []


def test_flat_stretches_are_not_called_mixed_up():
    flat = {a: trace_of(a, np.full(600, 120.0)) for a in ("A01", "A02")}
    assert mark_crossed(flat, RULES) == []


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("+02:00", 7200), ("-03:30", -12600), ("1", 3600), (5.5, 19800), ("", None), (None, None), ("x", None)],
)
def test_offsets_from_utc(text, seconds):
    got = offset_seconds(text)
    assert np.isnan(got) if seconds is None else got == seconds


def test_windows_over_midnight_and_by_group():
    clock = pd.DataFrame(
        {
            "session": ["1"] * 5,
            "group": ["", "", "", "late", "late"],
            "round_no": [1, 2, 3, 1, 2],
            "start_clock": ["23:50:00", "23:57:00", "00:04:00", "23:51:00", ""],
            "end_clock": ["23:55:00", "", "00:09:00", "", "00:03:00"],
        }
    )
    remarks = []
    found = logged_windows(clock, "1", "", Protocol(3, 300.0, 120.0), remarks)
    assert [w.start for w in found.values()] == [85800, 86220, 86640] and found[2].end == 86520
    late = logged_windows(clock, "1", "late", Protocol(3, 300.0, 120.0), remarks)
    assert [w.start for w in late.values()] == [85860, 86280, 86700] and late[3].found_by == "protocol"
    assert len(remarks) == 1
    assert logged_windows(clock, "2", "", Protocol(3, 300.0, 120.0), remarks) == {}
