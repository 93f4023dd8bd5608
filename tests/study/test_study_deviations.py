"""The edges of a departure from the plan: what counts as one, what does not yet, and how it is worded."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from study_folders import SETTINGS, make_folder

from analysis.study import OUTCOMES, Study, load_study
from analysis.study import deviations as dv
from analysis.study.check import list_departures
from analysis.study.fixed_plan import FixedPlan, protocol_values
from analysis.study.plan import Hypothesis
from analysis.study.settings import Protocol


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return load_study(make_folder(tmp_path_factory.mktemp("deviations"), settings=SETTINGS))


def plan_of(study, *, protocol=None, n_athletes=4, date="2026-03-01", **fixed):
    plan = replace(study.plan, n_athletes=n_athletes, primary_session="1")
    return FixedPlan(date, "", True, plan, protocol or study.protocol, fixed, "plan.md")


def with_rounds(study, **values):
    return replace(study, rounds=study.rounds.assign(**values))


def clock_of(study, *lines):
    table = pd.DataFrame(lines, columns=["group", "round_no", "start_clock", "end_clock"])
    return replace(study, clock=table.assign(session="1", file="clock.csv", row=range(2, len(table) + 2)))


def test_what_the_kit_proposed_and_nobody_wrote_departs_from_nothing():
    assert list_departures(Study(folder=Path("nowhere"))) == ()


@pytest.mark.parametrize(
    ("end", "said"), [("19:05:10", None), ("19:04:50", None), ("19:05:11", "311 s"), ("19:04:49", "289 s")]
)
def test_a_round_may_be_ten_seconds_off(study, end, said):
    found = dv._clock(clock_of(study, ("", 1, "19:00:00", end)), plan_of(study))
    assert [line[2] for line in found] == ([] if said is None else [f"1 round of 1: {said}"])


def test_clocks_run_over_midnight_and_each_group_has_its_own_times(study):
    protocol = replace(study.protocol, groups={"novice": Protocol(3, 180, 60, "6-20")})
    lines = [
        ("", 0, "23:40:00", "23:40:00"),
        ("", 1, "23:50:00", "23:55:00"),
        ("", 2, "23:57:00", "00:02:00"),
        ("", 3, "00:04:00", "00:09:00"),
        ("novice", 1, "23:50:00", "23:53:00"),
        ("novice", 2, "23:54:00", "23:57:00"),
    ]
    assert dv._clock(clock_of(study, *lines), plan_of(study, protocol=protocol)) == []
    lines[-1] = ("novice", 2, "23:56:00", "00:00:00")
    found = dv._clock(clock_of(study, *lines), plan_of(study, protocol=protocol))
    assert [line[:3] for line in found] == [
        ("length of a round", "180 s", "1 round of 5: 240 s"),
        ("length of a rest", "60 s", "1 rest of 3: 180 s"),
    ]
    assert {line[3] for line in found} == {"clock.csv"}


def test_of_many_lengths_six_are_shown(study):
    lines = [("", k, f"1{k}:00:00", f"1{k}:0{5 + k // 2}:{30 * (k % 2):02d}") for k in range(1, 9)]
    found = dv._clock(clock_of(study, *lines), plan_of(study))[0]
    assert found[2].startswith("8 rounds of 8: 330 s") and found[2].count(" s") == 6


def test_a_session_on_the_day_of_the_plan_comes_after_it(study):
    day = study.sessions["date"].iloc[0]
    assert dv._dates(study, plan_of(study, date=day)) == []
    late = dv._dates(study, plan_of(study, date="2026-03-06"))
    assert late[0][1:3] == ("fixed before session 1", f"session on {day}, plan on 2026-03-06")
    empty = replace(study, rounds=study.rounds.head(0))
    assert dv._dates(empty, plan_of(study, date="2026-03-06")) == []
    rows = dv._dates(study, plan_of(study, rows_of_rounds_already_there=1))
    assert rows == [("plan before the data", "no data", "1 row of rounds were there", "plan_fixed.json")]
    assert dv._dates(study, plan_of(study, session_dates=[day])) == []
    moved = dv._dates(study, plan_of(study, session_dates=["2026-03-04"]))
    assert moved == [("dates of the sessions", "2026-03-04", day, "sessions")]
    undated = replace(study, sessions=study.sessions.assign(date=""))
    assert dv._dates(undated, plan_of(study, session_dates=["2026-03-04"]))[0][2] == "none"


def test_athletes_count_where_they_sparred_in_the_primary_session(study):
    assert dv._athletes(study, plan_of(study)) == []
    assert dv._athletes(study, plan_of(study, n_athletes=None)) == []
    assert dv._athletes(study, plan_of(study, n_athletes=5))[0][1:3] == ("5 athletes", "4 athletes")
    out = study.rounds["took_part"].mask(study.rounds["athlete"] == "A01", "sat_out")
    assert dv._athletes(with_rounds(study, took_part=out), plan_of(study))[0][2] == "3 athletes"
    warm_up = study.rounds["round_no"].mask(study.rounds["athlete"] == "A01", 0)
    assert dv._athletes(with_rounds(study, round_no=warm_up), plan_of(study))[0][2] == "3 athletes"
    other = dv._athletes(with_rounds(study, session="2"), plan_of(study))
    assert other == [("primary session", "1", "no rounds of that session", "rounds")]
    assert dv._athletes(replace(study, rounds=study.rounds.head(0)), plan_of(study)) == []


def test_rounds_of_each_athlete_are_held_against_the_plan_of_the_group(study):
    assert dv._rounds_done(study, plan_of(study)) == []
    short = replace(study.protocol, rounds=2)
    assert dv._rounds_done(study, plan_of(study, protocol=short))[0][1:3] == ("2 rounds", "4 athletes did more")
    long = replace(study.protocol, rounds=4)
    assert dv._rounds_done(study, plan_of(study, protocol=long))[0][1:3] == ("4 rounds", "4 athletes did fewer")
    grouped = replace(study, athletes=study.athletes.assign(group=["novice", "", "", ""]))
    own = replace(study.protocol, groups={"novice": replace(study.protocol, rounds=2)})
    found = dv._rounds_done(grouped, plan_of(study, protocol=own))
    assert [line[1:3] for line in found] == [("2 rounds", "1 athlete did more")]
    partly = study.rounds["took_part"].where(study.rounds["round_no"] != 2, "part")
    found = dv._rounds_done(with_rounds(study, took_part=partly), plan_of(study))
    assert found == [("whole rounds", "whole rounds", "4 rounds done in part", "rounds")]


def test_an_odd_number_makes_one_sit_out_and_that_is_no_departure(study):
    """Three athletes: one sits out each round; two who sit out, or one of an even number, are another matter."""
    rows = study.rounds[study.rounds["athlete"] != "NA"]
    out = [("A01", 1), ("A02", 2), ("007", 3)]
    sits = [pair in out for pair in zip(rows["athlete"], rows["round_no"], strict=True)]
    odd = replace(study, rounds=rows.assign(took_part=np.where(sits, "sat_out", "yes")))
    assert dv._left_over(odd.rounds) == {"A01": 1, "A02": 1, "007": 1}
    assert dv._rounds_done(odd, plan_of(study)) == []
    both = [k == 1 and a in ("A01", "A02") for a, k in zip(rows["athlete"], rows["round_no"], strict=True)]
    assert dv._left_over(rows.assign(took_part=np.where(both, "sat_out", "yes"))) == {}
    even = study.rounds.assign(
        took_part=np.where((study.rounds["athlete"] == "A01") & (study.rounds["round_no"] == 1), "sat_out", "yes")
    )
    assert dv._left_over(even) == {}
    assert (
        dv._rounds_done(with_rounds(study, took_part=even["took_part"]), plan_of(study))[0][2] == "1 athlete did fewer"
    )
    gone = even["took_part"].mask((even["athlete"] == "NA") & (even["round_no"] == 1), "left")
    assert dv._left_over(even.assign(took_part=gone)) == {"A01": 1}
    twice = odd.rounds.assign(took_part=np.where(odd.rounds["athlete"] == "A01", "sat_out", "yes"))
    assert dv._left_over(twice) == {"A01": 3}


def test_a_sample_is_late_beyond_the_tolerance_and_not_at_it(study):
    late = study.rounds["lactate_delay_s"].copy()
    late.iloc[:3] = [75.0, 45.0, 75.5]
    plan = plan_of(study, settings={"sampling": {"target_delay_s": 60, "tolerance_s": 15}})
    found = dv._sampling(with_rounds(study, lactate_delay_s=late), plan)
    assert found[0][1:3] == ("60 s, give or take 15 s", "1 sample of 3 outside: 75.5 to 75.5 s")
    late.iloc[2] = 60.0
    assert dv._sampling(with_rounds(study, lactate_delay_s=late), plan) == []
    strict = plan_of(study, settings={"sampling": {"target_delay_s": 60}})
    assert dv._sampling(with_rounds(study, lactate_delay_s=late), strict)[0][1:3] == (
        "60 s, give or take 0 s", "2 samples of 3 outside: 45 to 75 s")  # fmt: skip
    assert dv._sampling(with_rounds(study, lactate_delay_s=late), plan_of(study)) == []
    early = with_rounds(study, lactate_delay_s=late, round_no=0)
    assert dv._sampling(early, strict) == []


def test_clothing_departs_where_it_was_planned_and_known(study):
    def worn(what, planned):
        there = replace(study, sessions=study.sessions.assign(clothing=what))
        return dv._clothing(there, plan_of(study, protocol=replace(study.protocol, clothing=planned)))

    assert worn("shirt", "jacket")[0][:3] == ("clothing", "jacket", "shirt in session 1")
    assert worn("jacket", "jacket") == worn("", "jacket") == worn("shirt", "") == []


def test_what_was_planned_and_not_measured(study):
    def missing(data, **asked):
        plan = replace(study.plan, hypotheses=(Hypothesis(**asked),))
        return [line[1:] for line in dv.unmeasured(data, plan)]

    lactate = {"question": "rounds.lactate", "outcome": "lactate_mmol_l", "direction": "rises", "text": ""}
    heart = {"question": "rounds.heart_rate", "outcome": "hr_mean_bpm", "direction": "rises", "text": ""}
    fit = {"question": "fitness.lactate", "outcome": "lactate_mmol_l", "direction": "lower", "text": ""}
    bare = with_rounds(study, lactate_mmol_l=np.nan, lactate_limit="", hr_mean_typed_bpm=np.nan)
    assert missing(study, **lactate) == missing(study, **heart) == missing(study, **fit) == []
    assert missing(bare, **lactate) == [("Blood lactate", "not measured", "rounds")]
    assert missing(bare, **heart) == [("Mean heart rate", "not measured", "rounds")]
    off = with_rounds(bare, lactate_limit=["high", *[""] * (len(bare.rounds) - 1)])
    assert missing(off, **lactate) == []  # beyond the scale is a measurement
    beside = replace(bare, lactate=pd.DataFrame({"lactate_mmol_l": [8.1]}))
    assert missing(beside, **lactate) == []
    untested = replace(study, aerobic_tests=study.aerobic_tests.head(0))
    assert missing(untested, **fit) == [("an aerobic test", "no aerobic test", "aerobic_tests")]
    assert missing(untested, **lactate) == []
    nothing = replace(bare, rounds=bare.rounds.head(0))
    assert missing(nothing, **lactate) == []  # before the evening nothing is missing


def test_rows_that_hold_only_who_meets_whom_are_no_data(study, monkeypatch):
    plan = plan_of(study, n_athletes=5, protocol=replace(study.protocol, rounds=4))
    fixed = replace(
        plan, fixed={"title": study.title, "sport": study.sport, "protocol": protocol_values(plan.protocol)}
    )
    monkeypatch.setattr(dv, "load_fixed_plan", lambda folder: fixed)
    parts = {"protocol: rounds", "number of athletes", "rounds per athlete"}
    assert parts <= set(dv.plan_deviations(study)["part"])
    known = ["session", "athlete", "round_no", "opponent", "file", "row"]
    bare = study.rounds.assign(
        **{c: study.rounds[c].iloc[:0].reindex(study.rounds.index) for c in study.rounds if c not in known}
    )
    ahead = replace(
        study, rounds=bare.fillna({c: "" for c in bare if bare[c].dtype == "str"}), aerobic_tests=study.aerobic_tests
    )
    assert parts & set(dv.plan_deviations(ahead)["part"]) == {"protocol: rounds"}


def test_values_are_said_as_a_reader_takes_them():
    assert [dv._say(v) for v in (None, "", [], {}, 0, False, 2.0, 0.125)] == [
        "none", "none", "none", "none", "0", "False", "2", "0.125"]  # fmt: skip
    assert dv._say({"work_s": 180, "groups": {}, "rest_s": None}) == "work 180; rest none"
    assert dv._say(["lactate_mmol_l", "age_years"]) == "blood lactate; age_years"
    assert list(dv._differences({"a": {"b": 1}}, {"a": {"b": 1}}, ())) == []
    found = list(dv._differences({"a": {"work_s": 1}, "c": 2}, {"a": {"work_s": 3}, "d": 4}, ()))
    assert [line[:3] for line in found] == [("a: work", "1", "3"), ("c", "2", "none"), ("d", "none", "4")]


def test_hypotheses_that_were_changed_left_out_or_added():
    one = {"question": "rounds.lactate", "outcome": "lactate_mmol_l", "direction": "rises", "text": "A."}
    other = {"question": "rounds.exertion", "outcome": "exertion", "direction": "rises", "text": "B."}
    part = "hypothesis: lactate over the rounds"
    assert list(dv._changed_hypotheses([one], [one])) == []
    said = [line[:3] for line in dv._changed_hypotheses([one], [{**one, "direction": "falls"}])]
    assert said == [(part, "blood lactate rises: A.", "blood lactate falls: A.")]
    assert [line[:3] for line in dv._changed_hypotheses([one], [])] == [(part, "blood lactate rises: A.", "left out")]
    said = [line[:3] for line in dv._changed_hypotheses([one], [one, other])]
    assert said == [("hypothesis: exertion over the rounds", "none", f"{OUTCOMES['exertion'].label.lower()} rises: B.")]


def test_decisions_of_people_are_counted_by_what_they_set_aside(study):
    columns = ["table", "cause", "decided_by", "amount", "measure"]
    ledger = pd.DataFrame(
        [
            ("rounds", "misread", "coach", 1, "exertion"),
            ("rounds", "misread", "coach", 2, "exertion"),
            ("rounds", "hurt", "coach", 0, ""),
            ("rounds", "too short", "rule", 4, "hr_mean_bpm"),
            ("rounds", "", "coach", 1, "exertion"),
        ],
        columns=columns,
    )
    decisions = pd.DataFrame(
        {"from_s": [10.0, np.nan, np.nan], "to_s": [np.nan, 40.0, np.nan], "reason": ["strap", "arm", "none"]}
    )
    people = replace(study, ledger=replace(study.ledger, table=ledger), decisions=decisions)
    assert [line[2] for line in dv._set_aside_by_people(people)] == [
        "3 values of rounds: misread",
        "1 row of rounds: hurt",
        "1 stretch of recordings: strap",
        "1 stretch of recordings: arm",
    ]
