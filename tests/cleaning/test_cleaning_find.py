"""Rounds and clocks found from the trace: right within 10 s, honest about doubt."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from made_traces import make_trace

from analysis.basics import KitError
from analysis.cleaning import flag_artefacts
from analysis.cleaning.clocks import find_lag
from analysis.cleaning.find import find_rounds, shape_of_rounds
from analysis.study import Protocol

PROTOCOLS = [(4, 300, 120), (3, 360, 180), (5, 240, 90), (6, 180, 60), (2, 300, 60)]


def errors(trace, found):
    return found["start_s"].to_numpy() - trace.starts


@pytest.mark.parametrize("protocol", PROTOCOLS)
@pytest.mark.parametrize("seed", range(3))
def test_starts_within_ten_seconds(protocol, seed):
    rounds, work, rest = protocol
    trace = make_trace(np.random.default_rng(seed), rounds=rounds, work_s=work, rest_s=rest, bell_sd_s=6)
    found = find_rounds(trace.samples(), Protocol(rounds, float(work), float(rest)))
    assert list(found.columns) == ["round_no", "start_s", "end_s", "found_by", "confidence"]
    assert (np.abs(errors(trace, found)) <= 10).all() and (found["confidence"] > 0.5).all()
    assert (found["end_s"] - found["start_s"]).to_numpy() == pytest.approx(work)
    assert set(found["found_by"]) == {"trace"}


def test_gaps_and_flags_do_not_move_the_rounds():
    trace = make_trace(np.random.default_rng(1))
    rng = np.random.default_rng(2)
    for _ in range(8):
        a = int(rng.integers(0, len(trace.rates) - 60))
        trace.rates[a : a + 40] = [np.nan, 230][int(rng.integers(2))]
    found = find_rounds(flag_artefacts(trace.samples()), Protocol(4, 300.0, 120.0))
    assert (np.abs(errors(trace, found)) <= 10).all()


@pytest.mark.parametrize("late", [60, 150])
def test_a_recording_that_starts_in_round_one(late):
    trace = make_trace(np.random.default_rng(3))
    samples = trace.samples()
    samples = samples[samples["elapsed_s"] >= trace.starts[0] + late]
    found = find_rounds(samples, Protocol(4, 300.0, 120.0))
    assert (np.abs(errors(trace, found))[1:] <= 10).all()


def test_a_wrong_protocol_or_no_rounds_give_low_confidence():
    low = []
    for seed in range(6):
        trace = make_trace(np.random.default_rng(seed), rounds=4, work_s=300, rest_s=120)
        found = find_rounds(trace.samples(), Protocol(4, 240.0, 240.0))
        wrong = np.abs(errors(trace, found)) > 10
        low.append(found["confidence"][wrong].median() if wrong.any() else np.nan)
    assert np.isfinite(low).sum() >= 3 and np.nanmedian(low) < 0.3
    rng = np.random.default_rng(1)
    drifting = pd.DataFrame({"elapsed_s": range(2400), "hr_bpm": 130 + np.cumsum(rng.normal(0, 0.5, 2400))})
    found = find_rounds(drifting, Protocol(4, 300.0, 120.0))
    assert found.empty or found["confidence"].max() < 0.5


def test_by_simulation_and_another_seed():
    """A small run of tests/benchmarks/cleaning_rounds_found.py."""
    import sys
    from pathlib import Path

    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))
    try:
        from cleaning_rounds_found import simulate
    finally:
        sys.path.pop(0)
    table = simulate(40, 77)
    right = table[table["told"] == "right"]
    assert (right["error_s"].abs() <= 10).mean() >= 0.95
    wrong = table[table["error_s"].abs() > 10]
    assert wrong["confidence"].median() < 0.5 < right["confidence"].median()


def test_a_known_start_is_taken_as_it_is():
    trace = make_trace(np.random.default_rng(5))
    samples = trace.samples()
    first = trace.starts[0]
    by_seconds = find_rounds(samples, Protocol(4, 300.0, 120.0), start_clock=first)
    assert by_seconds["start_s"].tolist() == (first + np.arange(4) * 420).tolist()
    assert set(by_seconds["found_by"]) == {"clock"} and set(by_seconds["confidence"]) == {1.0}
    clocked = samples.assign(clock_s=samples["elapsed_s"] + 19 * 3600)
    hour, minute, second = 19 + int(first) // 3600, int(first) // 60 % 60, int(first) % 60
    by_clock = find_rounds(clocked, Protocol(4, 300.0, 120.0), start_clock=f"{hour}:{minute:02d}:{second:02d}")
    assert by_clock["start_s"].iloc[0] == pytest.approx(first)
    begin = pd.Timestamp("2026-03-01T18:00:00Z")
    dated = samples.assign(time=begin + pd.to_timedelta(samples["elapsed_s"], unit="s"))
    by_date = find_rounds(dated, Protocol(4, 300.0, 120.0), start_clock=begin + pd.Timedelta(seconds=first))
    assert by_date["start_s"].iloc[0] == pytest.approx(first)
    with pytest.raises(KitError, match="no clock_s"):
        find_rounds(samples, Protocol(4, 300.0, 120.0), start_clock="19:00:00")
    with pytest.raises(KitError, match="no time"):
        find_rounds(samples, Protocol(4, 300.0, 120.0), start_clock="2026-03-01T18:00:00Z")


@pytest.mark.parametrize("rates", [[], [120.0] * 10, [120.0] * 2000, [np.nan] * 2000])
def test_nothing_to_find_gives_an_empty_table(rates):
    samples = pd.DataFrame({"elapsed_s": np.arange(len(rates), dtype=float), "hr_bpm": rates})
    found = find_rounds(samples, Protocol(4, 300.0, 120.0))
    assert found.empty and list(found.columns) == ["round_no", "start_s", "end_s", "found_by", "confidence"]


def test_a_protocol_without_lengths_is_refused():
    with pytest.raises(KitError, match="protocol with rounds"):
        find_rounds(make_trace(np.random.default_rng(0)).samples(), Protocol(0))


def test_more_than_one_evening_is_refused():
    samples = make_trace(np.random.default_rng(0)).samples()
    with pytest.raises(KitError, match="one session"):
        find_rounds(
            pd.concat([samples, samples.assign(elapsed_s=samples["elapsed_s"] + 1e9)]), Protocol(4, 300.0, 120.0)
        )


def test_one_round_without_rest():
    trace = make_trace(np.random.default_rng(8), rounds=1, work_s=360, rest_s=0)
    found = find_rounds(trace.samples(), Protocol(1, 360.0, float("nan")))
    assert abs(errors(trace, found)[0]) <= 10


def test_shape_is_the_first_order_answer():
    """Against a step-by-step solution of the same equation."""
    times = np.arange(0.0, 900.0)
    shape = shape_of_rounds(times, [100.0, 400.0], [250.0, 600.0], 40.0, 60.0)
    level, solved = 0.0, []
    for t in times:
        solved.append(level)
        on = 100 <= t < 250 or 400 <= t < 600
        level += (1 - level) * (1 - np.exp(-1 / 40)) if on else -level * (1 - np.exp(-1 / 60))
    assert shape == pytest.approx(np.array(solved), abs=1e-9)


def test_lags_are_found_and_their_intervals_cover():
    inside, missed = [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        trace = make_trace(rng)
        late = rng.uniform(-150, 150)
        starts = trace.starts - late
        lag = find_lag(trace.elapsed, trace.rates, np.isfinite(trace.rates), starts, starts + 300)
        missed.append(abs(lag.seconds - late))
        inside.append(missed[-1] <= lag.uncertainty_s)
    assert np.median(missed) < 5 and np.mean(inside) >= 0.88


def test_no_lag_is_claimed_where_nothing_rises():
    flat = np.full(2000, 120.0) + np.random.default_rng(0).normal(0, 1, 2000)
    lag = find_lag(np.arange(2000.0), flat, np.ones(2000, dtype=bool), [500.0, 900.0], [800.0, 1200.0])
    assert np.isnan(lag.seconds)
