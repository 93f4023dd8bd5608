"""From marks to seconds, agreement against published examples, and activity beside heart rate."""

import shutil

import numpy as np
import pandas as pd
import pytest

from analysis.answers.walk import DEMO_FOLDER
from analysis.basics import KitError
from analysis.capacity import fitness_and_activity
from analysis.models import cohen_kappa, intraclass
from analysis.pace import answer_pace, list_pace_problems, pace_words
from analysis.pace.marks import second_by_second
from analysis.study import Study, check_study
from analysis.study.load import examine_folder

STATES = ("active", "standing grip", "ground control", "apart")


def at(second):
    second = round(second % 86400, 1)
    return f"{int(second // 3600):02d}:{int(second // 60 % 60):02d}:{second % 60:04.1f}"


def windows(athletes, rounds=(1, 2), start=68400.0, work=120.0, rest=60.0):
    return pd.DataFrame(
        [
            {"session": "1", "athlete": a, "round_no": k, "start_s": start + (k - 1) * (work + rest),
             "end_s": start + (k - 1) * (work + rest) + work}
            for a in athletes for k in rounds
        ]
    )  # fmt: skip


def rate(truth, here, rater, *, shift=0.0, lag=0.0, blind="yes", seed=0):
    """Rows as the page writes them, of a rater whose clock is ahead and who is late by some tenths."""
    draw = np.random.default_rng(seed)
    rows = []
    for w in here.itertuples(index=False):
        spans = truth[w.athlete, w.round_no]
        late = [0.0, *np.abs(draw.normal(lag, lag / 2 + 1e-9, len(spans) - 1)), 0.0]
        for i, (state, begin, end) in enumerate(spans):
            rows.append(
                {"session": "1", "rater": rater, "blind": blind, "athlete": w.athlete, "round_no": w.round_no, "state": state,
                 "start_clock": at(w.start_s + begin + late[i] + shift), "end_clock": at(w.start_s + end + late[i + 1] + shift)}
            )  # fmt: skip
    return pd.DataFrame(rows)


def a_truth(here, share, seed=1):
    draw = np.random.default_rng(seed)
    out = {}
    for w in here.itertuples(index=False):
        spans, t = [], 0.0
        while t < 120:
            state = "active" if draw.random() < share[w.athlete] else STATES[1 + draw.integers(3)]
            end = min(120.0, t + draw.uniform(4, 12))
            spans.append((state, t, end))
            t = end
        out[w.athlete, w.round_no] = spans
    return out


@pytest.fixture
def club():
    athletes = [f"P{i}" for i in range(1, 9)]
    here = windows(athletes)
    share = {a: 0.25 + 0.06 * i for i, a in enumerate(athletes)}
    return here, a_truth(here, share), share


def test_every_second_has_the_state_that_was_marked(club):
    here, truth, _ = club
    seconds, left, remarks = second_by_second(rate(truth, here, "R1"), here, states=STATES)
    assert not left and not remarks and len(seconds) == 8 * 2 * 120
    one = seconds[(seconds["athlete"] == "P3") & (seconds["round_no"] == 2)]
    for state, begin, end in truth["P3", 2]:
        inside = one[(one["second"] + 0.5 >= round(begin, 1)) & (one["second"] + 0.5 < round(end, 1))]
        assert set(inside["state"]) <= {state}


def test_a_raters_clock_is_set_right_and_said(club):
    here, truth, _ = club
    seconds, left, remarks = second_by_second(rate(truth, here, "R1", shift=43.0), here, states=STATES)
    plain, _, _ = second_by_second(rate(truth, here, "R1"), here, states=STATES)
    assert (seconds["state"] == plain["state"]).mean() > 0.99 and not left
    assert "43 s ahead" in remarks[0]


def test_a_wrong_round_or_state_is_left_out_with_its_reason(club):
    here, truth, _ = club
    pace = rate(truth, here, "R1")
    wrong = pace.copy()
    wrong.loc[(wrong["athlete"] == "P1") & (wrong["round_no"] == 2), "round_no"] = 7
    wrong.loc[0, "state"] = "sleeping"
    _, left, _ = second_by_second(wrong, here, states=STATES)
    reasons = " ".join(entry["reason"] for entry in left)
    assert "no such round" in reasons and "none of active" in reasons
    swapped = pace.copy()
    swapped["round_no"] = np.where(swapped["athlete"] == "P1", 3 - swapped["round_no"], swapped["round_no"])
    _, left, _ = second_by_second(swapped, here, states=STATES)
    assert any("is the round number right?" in entry["reason"] for entry in left)


def test_activity_is_the_mean_of_raters_and_near_the_truth(club):
    here, truth, _ = club
    pace = pd.concat([rate(truth, here, "R1", lag=0.4), rate(truth, here, "R2", lag=0.6, seed=4, blind="no")])
    rows = here.assign(hr_mean_bpm=160.0)
    answer = answer_pace(pace, here, rows, n_boot=200)
    true = {k: sum(e - b for s, b, e in spans if s == "active") for k, spans in truth.items()}
    for line in answer.rounds.itertuples(index=False):
        assert line.active_s == pytest.approx(true[line.athlete, line.round_no], abs=6)
        beats = 160.0 / line.active_share if line.active_s >= 10 else float("nan")
        assert line.beats_per_active_min == pytest.approx(beats, nan_ok=True)
    agreed = answer.agreement.iloc[0]
    assert agreed["kappa"] > 0.8 and agreed["ci_low"] < agreed["kappa"] < agreed["ci_high"]
    assert agreed["icc"] > 0.9 and agreed["blind"] == "one"
    assert answer.states.groupby("round_no")["share"].sum().to_numpy() == pytest.approx([1.0, 1.0])


def test_rounds_of_which_too_little_was_rated_do_not_count(club):
    here, truth, _ = club
    pace = rate(truth, here, "R1")
    short = pace[
        ~((pace["athlete"] == "P1") & (pace["round_no"] == 1)) | (pace.groupby(["athlete", "round_no"]).cumcount() < 3)
    ]
    answer = answer_pace(short, here, here.assign(hr_mean_bpm=160.0), n_boot=50)
    assert not ((answer.rounds["athlete"] == "P1") & (answer.rounds["round_no"] == 1)).any()
    assert any("only" in r and "P1" in r for r in answer.remarks)
    with pytest.raises(KitError, match="can be placed"):
        answer_pace(pace.assign(round_no=99), here, here.assign(hr_mean_bpm=1.0))


def test_kappa_of_a_printed_table():
    """Fleiss, Levin & Paik (2003) Statistical Methods for Rates and Proportions, table 18.1 (from memory): kappa 0.68."""
    counts = {("p", "p"): 75, ("p", "n"): 1, ("p", "o"): 4, ("n", "p"): 5, ("n", "n"): 4, ("n", "o"): 1, ("o", "o"): 10}
    one = [a for (a, _), n in counts.items() for _ in range(n)]
    other = [b for (_, b), n in counts.items() for _ in range(n)]
    found = cohen_kappa(one, other)
    assert round(found.estimate, 3) == 0.676 and found.percent_same == 89.0
    # by Cohen's definition, from the margins .80 .10 .10 and .80 .05 .15
    assert found.estimate == pytest.approx((0.89 - 0.66) / (1 - 0.66))
    assert cohen_kappa(["a", "b"], ["b", "a"]).estimate == -1.0
    assert np.isnan(cohen_kappa(["a", "a"], ["a", "a"]).estimate)


def test_intraclass_correlations_of_the_printed_example():
    """Shrout & Fleiss (1979) Psychological Bulletin 86:420, table 2 and 4: six targets, four judges; .29 and .71, .62 and .91."""
    values = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
    found = {k: round(intraclass(values, kind=k)[0], 2) for k in ("ICC(A,1)", "ICC(C,1)", "ICC(A,k)", "ICC(C,k)")}
    assert found == {"ICC(A,1)": 0.29, "ICC(C,1)": 0.71, "ICC(A,k)": 0.62, "ICC(C,k)": 0.91}


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"pace": {"states": ["one"]}}, "two to six"),
        ({"pace": {"states": ["a", "b"], "active": ["c"]}}, "which of the states"),
        ({"pace": {"keys": ["a", "a", "b", "c"]}}, "twice"),
        ({"pace": {"colour": "red"}}, "colour"),
        ({"pace": "fast"}, "section"),
        ({"pace": {"states": "active"}}, "list of words"),
    ],
)
def test_words_that_do_not_go_together_are_named(settings, said):
    with pytest.raises(KitError, match=said):
        pace_words(settings)


def simulated(effect, heart, n=16, seed=0, step=6.0):
    draw = np.random.default_rng(seed)
    capacity = draw.normal(48, step, n)
    people = [f"P{i}" for i in range(n)]
    lines = [
        {
            "athlete": a,
            "round_no": k,
            "active_share": np.clip(0.45 + effect * (c - 48) + draw.normal(0, 0.03), 0.02, 0.98),
            "hr_mean_bpm": 168 + heart * (c - 48) + draw.normal(0, 1.5),
        }
        for a, c in zip(people, capacity, strict=True)
        for k in (1, 2, 3, 4)
    ]
    return pd.DataFrame(lines), pd.DataFrame({"athlete": people, "capacity": capacity})


def test_a_club_whose_fitter_athletes_do_more_at_the_same_heart_rate():
    rounds, fit = simulated(0.015, 0.0)
    answer = fitness_and_activity(rounds, fit)
    assert answer.activity_reading == "higher" and answer.outcome_reading == "the same"
    assert 0.10 < answer.activity.estimate * 10 < 0.20
    assert answer.at_equal_activity is not None and answer.correlation.estimate > 0.7


def test_what_cannot_be_told_is_not_called_the_same():
    rounds, fit = simulated(0.0, 0.0, n=5, seed=3, step=2.0)
    assert fitness_and_activity(rounds, fit, smallest_effect=2.0).outcome_reading == "cannot tell"
    with pytest.raises(KitError, match="at least 4"):
        fitness_and_activity(rounds[rounds["athlete"].isin(["P0", "P1"])], fit)


def test_readings_hold_their_rates_where_fitness_does_nothing():
    """Of 200 clubs of 10 without any relation at most 5 % (and three standard errors) read "higher" or "lower" activity."""
    false = 0
    for seed in range(200):
        draw = np.random.default_rng(seed)
        capacity = pd.DataFrame({"athlete": [f"P{i}" for i in range(10)], "capacity": draw.normal(48, 5, 10)})
        level = draw.normal(0.45, 0.12, 10)
        rounds = pd.DataFrame(
            {"athlete": np.repeat(capacity["athlete"], 2), "round_no": [1, 2] * 10,
             "active_share": np.repeat(level, 2) + draw.normal(0, 0.04, 20), "hr_mean_bpm": draw.normal(165, 5, 20)}
        )  # fmt: skip
        false += fitness_and_activity(rounds, capacity).activity_reading in ("higher", "lower")
    assert false / 200 <= 0.05 + 3 * (0.05 * 0.95 / 200) ** 0.5


def test_check_names_what_it_cannot_use_of_pace_with_row_column_value_and_a_remedy_that_works(tmp_path):
    folder = tmp_path / "club"
    shutil.copytree(DEMO_FOLDER, folder, ignore=shutil.ignore_patterns("output", "training"))
    path = folder / "pace.csv"
    whole = pd.read_csv(path, dtype=str)
    spoiled = whole.copy()
    spoiled.loc[0, "state"] = spoiled.loc[9, "state"] = "activ"
    spoiled.loc[3, "round_no"] = "9"
    spoiled.loc[4, "end_clock"] = "18:00:00"
    spoiled.loc[7, "end_clock"] = ""
    spoiled.to_csv(path, index=False)

    def look():
        found = check_study(folder, judge=list_pace_problems).problems
        return found[found["file"] == "pace.csv"].set_index("row")[["column", "value"]].to_dict("index")

    assert look() == {
        2: {"column": "state", "value": "activ"},  # once for each word
        5: {"column": "round_no", "value": "9"},
        6: {"column": "end_clock", "value": "18:00:00"},
        9: {"column": "end_clock", "value": ""},
    }
    settings = folder / "study.toml"
    given = settings.read_text(encoding="utf-8")
    words = '["active", "activ", "standing grip", "ground control", "apart"]'
    settings.write_text(f"{given}\n[pace]\nstates = {words}\n", encoding="utf-8")
    assert set(look()) == {5, 6, 9}  # the word was added to [pace]
    settings.write_text(given, encoding="utf-8")
    whole.drop(index=[4, 7]).to_csv(path, index=False)  # corrected, or the row deleted
    assert look() == {}


def test_many_rows_of_one_kind_are_counted_not_listed(tmp_path):
    times = ["19:30:00"] * 40
    pace = pd.DataFrame(
        {"session": "1", "rater": "R1", "athlete": "A01", "round_no": 1, "state": "active", "start_clock": times,
         "end_clock": "", "file": "pace.csv", "row": range(2, 42)}
    )  # fmt: skip
    found = list_pace_problems(Study(folder=tmp_path, pace=pace))
    assert len(found) == 5 and "(35 further rows alike)" in found[-1].problem


NASTY = (
    "",
    " ",
    "0",
    "-1",
    "999",
    "1e9",
    "19:30",
    "25:00:00",
    "19:30:15,5",
    "=1+1",
    "Ä",
    "active ",
    "ACTIVE",
    "yes;no",
    "2026-10-14",
)


@pytest.mark.parametrize(
    "column", ["session", "rater", "blind", "athlete", "round_no", "state", "start_clock", "end_clock"]
)
def test_whatever_stands_in_a_cell_is_used_or_named_never_both_lost_and_silent(tmp_path, column):
    """One row per nasty value: the marks of that row count for its round, or its row is named by `check`."""
    folder = tmp_path / "club"
    shutil.copytree(
        DEMO_FOLDER, folder, ignore=shutil.ignore_patterns("output", "training", "recordings", "aerobic_files")
    )
    path = folder / "pace.csv"
    table = pd.read_csv(path, dtype=str, keep_default_na=False)
    places = range(3, 3 + 7 * len(NASTY), 7)
    for place, value in zip(places, NASTY, strict=True):
        table.loc[place, column] = value
    table.to_csv(path, index=False)
    found = check_study(folder, judge=list_pace_problems)
    told = {
        int(r)
        for t in (found.problems, found.remarks, found.questions)
        for r in t.loc[t["file"] == "pace.csv", "row"].dropna()
    }
    kept = examine_folder(folder).study.pace.set_index("row")
    for place, value in zip(places, NASTY, strict=True):
        row = place + 2
        if row in told or (column == "state" and value in set(kept["state"]) - {""}):
            continue
        assert row in kept.index, f"{column} {value!r}: row {row} is gone and nobody says so"
        now = kept.loc[row]
        if column == "state":
            alike = kept.loc[kept.index.isin(told), "state"].tolist()
            assert now["state"] in STATES or now["state"] in alike, f"state {value!r} is read as {now['state']!r}"
