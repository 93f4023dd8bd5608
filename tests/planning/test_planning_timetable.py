"""When mats start and who can be sampled inside the window."""

from pathlib import Path

import numpy as np
import pytest

from analysis.basics import KitError
from analysis.planning import make_timetable, pair_athletes
from analysis.planning.timetable import Sampling, clock_text, sampling_of
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
    timetable = make_timetable(EVENING, athletes=8, sampling={"tolerance_s": 60.0, "seconds_per_sample": 20.0})
    assert (timetable.slots["sample_s"] >= timetable.slots["round_end_s"]).all()
    assert timetable.measured == 7


def test_a_pairing_is_followed_and_uneven_rests_are_named():
    pairing = pair_athletes([f"A{i:02d}" for i in range(1, 13)], 4)
    common = make_timetable(EVENING, athletes=pairing, start_clock="19:00")
    assert (common.rests["shortest_s"] == 120).all()
    assert common.mats.loc[0, "start_clock"] == "19:00:00"
    for row in common.mats.itertuples():
        now = pairing.schedule[(pairing.schedule["round_no"] == row.round_no) & (pairing.schedule["mat"] == row.mat)]
        assert now[["athlete_1", "athlete_2"]].to_numpy().tolist() == [[row.athlete_1, row.athlete_2]]
    staggered = make_timetable(EVENING, athletes=pairing, start="staggered")
    assert any("would rest between" in w for w in staggered.warnings)


def test_guests_and_sat_out_rounds_are_not_sampled():
    pairing = pair_athletes([f"A{i}" for i in range(1, 6)], 3, guests=1, unavailable={"A1": [2]})
    slots = make_timetable(Protocol(3, 300.0, 120.0), athletes=pairing).slots
    assert "guest" not in set(slots["athlete"])
    assert slots.loc[slots["athlete"] == "A1", "round_no"].tolist() == [1, 3]


KINDS_OF_EVENING = [(EVENING, 1, 0), (Protocol(5, 240.0, 90.0), 2, 1)]
"""Protocol, stations, guests."""

BUILT = [(n, *KINDS_OF_EVENING[n % 2]) for n in range(6, 25)]
BUILT += [(n, *KINDS_OF_EVENING[(n + 1) % 2]) for n in (6, 7, 8, 9, 16, 17, 24)]
"""Every size in one kind of evening, odd and even ones of small, middle and large clubs in both."""


@pytest.mark.parametrize(("n", "protocol", "stations", "guests"), BUILT)
def test_what_the_options_promise_is_what_comes_out_when_it_is_built(n, protocol, stations, guests):
    codes = [f"A{i:02d}" for i in range(1, n + 1)]
    pairs = pair_athletes(codes, protocol.rounds, guests=guests)
    kept = pair_athletes(codes, protocol.rounds, guests=guests, keep=True)
    sampling = Sampling(stations, stations)
    timetable = make_timetable(protocol, athletes=pairs, sampling=sampling, kept=kept)
    promised = timetable.options.set_index("option")
    built = {"common start": (pairs, "common"), "staggered starts": (kept, "staggered")}
    for option, (met, start) in built.items():
        evening = make_timetable(protocol, athletes=met, sampling=sampling, start=start)
        never_two_at_once(evening)
        assert evening.measured == promised.loc[option, "measured"]
        assert not [w for w in evening.warnings if "would rest between" in w]
        done, evenings = set(), 0
        spar = set(evening.slots["athlete"]) | set(evening.rests["athlete"])
        while not spar <= done and evenings < 2 * n:
            evenings += 1
            once = make_timetable(protocol, athletes=met, sampling=sampling, start=start, unsampled=sorted(done))
            inside = once.slots.groupby("athlete")["in_window"].all()
            done |= set(inside.index[inside])
        assert evenings == promised.loc[option, "evenings"]
    assert promised.loc["fixed subset", "measured"] == timetable.measured
    # who sits a round out is sampled only where everyone who spars all of them is
    inside = timetable.slots.groupby("athlete")["in_window"].all()
    out = set(pairs.sat_out["athlete"])
    if set(inside.index[inside]) & out:
        assert set(codes) - out <= set(inside.index[inside])


def test_the_sentence_about_staggered_starts_says_what_an_evening_with_them_gives():
    from analysis.sheets import plan_evening
    from analysis.study import load_study
    from analysis.telling.planning.sentences import plain_timetable

    study = load_study(Path(__file__).parents[2] / "data_demo")
    said = plain_timetable(plan_evening(study).timetable)
    evening = plan_evening(study, start="staggered")
    assert f"one opponent all evening it would be {evening.timetable.measured}." in said
    assert evening.pairing.opponents.groupby("athlete")["opponent"].nunique().max() == 1
    assert (evening.timetable.rests["longest_s"] == evening.timetable.rests["planned_s"]).all()


def test_an_evening_without_blood_does_not_speak_of_samples():
    from analysis.telling.planning.figures import draw_timetable
    from analysis.telling.planning.sentences import plain_timetable

    codes = [f"A{i:02d}" for i in range(1, 12)]
    pairs = pair_athletes(codes, 4)
    timetable = make_timetable(EVENING, athletes=pairs, sampling={"seconds_per_sample": 20}, unsampled=codes)
    figure = draw_timetable(timetable)
    told = [
        plain_timetable(timetable),
        *timetable.warnings,
        *timetable.options["words"],
        timetable.method,
        str(figure.alt_text),
    ]
    assert not [text for text in told if "sampl" in text or "blood" in text or "window" in text]
    assert plain_timetable(timetable) == "5 mats start together; 4 rounds with their rests take 26\u00a0min."


def test_mats_without_blood_start_last():
    codes = [f"A{i:02d}" for i in range(1, 9)]
    timetable = make_timetable(EVENING, athletes=codes, start="staggered", unsampled=codes[:4])
    first = timetable.mats[timetable.mats["round_no"] == 1].sort_values("start_s")
    assert first["mat"].tolist() == [3, 4, 1, 2]


def test_one_opponent_all_evening_and_what_an_absence_leaves():
    kept = pair_athletes(["A1", "A2", "A3", "A4", "A5"], 3, guests=1, unavailable={"A1": [2]}, keep=True)
    met = kept.opponents.query("opponent != 'none'").groupby("athlete")
    assert set(kept.opponents.query("athlete == 'A1'")["opponent"]) <= {"none", *kept.opponents["athlete"], "guest"}
    assert (met["mat"].nunique() == 1).all()
    alone = pair_athletes(["A1", "A2", "A3"], 3, keep=True)
    idle = alone.sat_out["athlete"].unique()
    assert len(idle) == 1 and any(f"{idle[0]} would not spar at all" in w for w in alone.warnings)


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
