"""When mats start and who can be sampled inside the window."""

import numpy as np
import pytest

from analysis.basics import KitError
from analysis.planning import Sampling, make_timetable, pair_athletes, sampling_of
from analysis.planning.timetable import clock_text
from analysis.study import Protocol

EVENING = Protocol(4, 300.0, 120.0)


def never_two_at_once(timetable):
    s = timetable.sampling.seconds_per_sample
    for _, here in timetable.slots.groupby("station"):
        at = np.sort(here["sample_s"].to_numpy())
        assert (np.diff(at) >= s - 1e-6).all()


def test_one_analyser_and_a_common_start_fit_about_one_athlete():
    timetable = make_timetable(EVENING, athletes=14)
    assert timetable.measured == 1
    never_two_at_once(timetable)
    assert any("looks like an effect" in w for w in timetable.warnings)


def test_one_analyser_and_staggered_starts_fit_about_seven():
    timetable = make_timetable(EVENING, athletes=14, start="staggered")
    assert timetable.measured == 7
    never_two_at_once(timetable)
    inside = timetable.slots[timetable.slots["in_window"]]
    assert (np.abs(inside["delay_s"] - 60) <= 15).all()
    options = timetable.options.set_index("option")
    assert options.loc["common start", "measured"] == 1
    assert options.loc["staggered starts", "measured"] == 7
    assert options.loc["further evenings", "evenings"] == 2


@pytest.mark.parametrize("stations", [1, 2, 3])
@pytest.mark.parametrize("start", ["common", "staggered"])
@pytest.mark.parametrize("tolerance", [15.0, 30.0, 45.0])
def test_delays_stay_the_same_all_evening_and_stations_serve_one_at_a_time(stations, start, tolerance):
    sampling = Sampling(stations, stations, 45.0, 60.0, tolerance)
    timetable = make_timetable(EVENING, athletes=17, sampling=sampling, start=start)
    never_two_at_once(timetable)
    assert (timetable.slots.groupby("athlete")["delay_s"].agg(np.ptp) < 1e-6).all()
    assert timetable.slots["station"].max() <= stations
    assert timetable.measured >= min(17, sampling.in_window)
    assert set(timetable.slots["athlete"]) <= {f"athlete {i}" for i in range(1, 18)}
    assert (timetable.slots["delay_s"] < 420).all()


def test_samplers_and_analysers_both_limit():
    assert make_timetable(EVENING, athletes=12, sampling={"analysers": 3, "samplers": 1}).measured == 1
    assert make_timetable(EVENING, athletes=12, sampling={"analysers": 3, "samplers": 3}).measured == 3


def test_a_common_start_samples_nobody_before_the_round_ends():
    timetable = make_timetable(
        EVENING, athletes=8, sampling={"tolerance_s": 60.0, "seconds_per_sample": 20.0}
    )
    assert (timetable.slots["sample_s"] >= timetable.slots["round_end_s"]).all()
    assert timetable.measured == 7


def test_a_pairing_is_followed_and_uneven_rests_are_named():
    pairing = pair_athletes([f"A{i:02d}" for i in range(1, 13)], 4)
    common = make_timetable(EVENING, athletes=pairing, start_clock="19:00")
    assert (common.rests["shortest_s"] == 120).all()
    assert common.mats.loc[0, "start_clock"] == "19:00:00"
    for row in common.mats.itertuples():
        now = pairing.schedule[
            (pairing.schedule["round_no"] == row.round_no) & (pairing.schedule["mat"] == row.mat)
        ]
        assert now[["athlete_1", "athlete_2"]].to_numpy().tolist() == [[row.athlete_1, row.athlete_2]]
    staggered = make_timetable(EVENING, athletes=pairing, start="staggered")
    assert any("would rest between" in w for w in staggered.warnings)


def test_guests_and_sat_out_rounds_are_not_sampled():
    pairing = pair_athletes([f"A{i}" for i in range(1, 6)], 3, guests=1, unavailable={"A1": [2]})
    slots = make_timetable(Protocol(3, 300.0, 120.0), athletes=pairing).slots
    assert "guest" not in set(slots["athlete"])
    assert slots.loc[slots["athlete"] == "A1", "round_no"].tolist() == [1, 3]


def test_a_rest_shorter_than_the_sample_is_named():
    timetable = make_timetable(Protocol(3, 180.0, 60.0), athletes=4)
    assert any("next round would start late" in w for w in timetable.warnings)


def test_settings_are_read_and_other_keys_left_alone():
    assert sampling_of({"sampling": {"analysers": 2, "samplers": 2, "note": "x"}, "title": "t"}).stations == 2
    assert sampling_of(None) == Sampling()


def test_clock_times_run_past_midnight():
    assert clock_text("23:59:30", 45) == "00:00:15"
    assert clock_text("", 45) == ""


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (lambda: make_timetable(EVENING, athletes=0), "from 1 on"),
        (lambda: make_timetable(EVENING, athletes=["A1", "A1"]), "differ"),
        (lambda: make_timetable(EVENING, athletes=4, start="waves"), "start"),
        (lambda: make_timetable(EVENING, athletes=4, start_clock="7pm"), "clock time"),
        (lambda: make_timetable(Protocol(), athletes=4), "rounds"),
        (lambda: make_timetable(Protocol(3, float("nan"), 60.0), athletes=4), "work_s"),
        (lambda: make_timetable(EVENING, athletes=4, sampling={"tolerance_s": 90}), "before the round ends"),
        (lambda: make_timetable(EVENING, athletes=4, sampling={"analysers": 0}), "analysers"),
        (lambda: make_timetable(EVENING, athletes=4, sampling={"seconds_per_sample": "x"}), "not a number"),
        (lambda: make_timetable(EVENING, athletes=pair_athletes(["A1", "A2"], 2)), "all 4 rounds"),
    ],
)
def test_impossible_evenings_say_what_to_do(call, hint):
    with pytest.raises(KitError, match=hint):
        call()
