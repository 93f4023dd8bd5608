"""The whole answer: on the invented survey with its known truth, and on surveys that lack this or that."""

import json
import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.answers import Answers, open_survey
from analysis.basics import KitError, NotYet
from analysis.physiology import hr_max_equations, predict_hr_max
from analysis.survey import answer_survey
from analysis.survey.against import compare_with_rounds

DEMO = Path(__file__).parents[2] / "data_demo"
TRUTH = json.loads((DEMO / "how_it_was_made" / "true_survey.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def demo():
    return Answers.from_folder(DEMO / "survey").survey()


def made_up(n=40, extra=20, *, age=True, seed=0):
    rng = np.random.default_rng(seed)
    ages = rng.integers(19, 45, n).astype(float)
    maximum = 211 - 0.64 * ages + rng.normal(0, 9, n)
    who = np.concatenate([np.arange(n), rng.integers(0, n, extra)])
    peak = np.minimum(rng.normal(0.91, 0.03, n)[who] + rng.normal(0, 0.01, len(who)), 1) * maximum[who]
    columns = {
        "person": [f"p{i}" for i in who],
        "age_years": ages[who] if age else np.nan,
        "hr_mean_bpm": (0.78 * peak).round(1),
        "hr_peak_bpm": peak.round(1),
        "minutes": rng.integers(40, 100, len(who)),
    }
    same = {"sex": "M", "device_kind": "chest_strap", "session_kind": "class", "file": ""}
    return pd.DataFrame(columns | same)


def test_the_demo_survey_gives_back_its_truth(demo):
    for measure, word in (("percent_mean", "mean"), ("percent_peak", "peak")):
        for threshold in (64.0, 77.0, 90.0, 96.0):
            at = demo.share(measure, threshold)
            true = TRUTH[f"share_{word}_at_least_{threshold:g}"]
            assert at["total_low"] - 0.03 <= true <= at["total_high"] + 0.03, (measure, threshold)


def test_every_planted_fault_of_the_demo_survey_is_found(demo):
    aside = demo.set_aside.set_index("reason")["n_sessions"]
    assert aside["the same recording was sent before"] == 1 and aside["the same session was sent before"] == 1
    assert aside["implausible value"] == 1 and aside["sensor at the wrist"] > 5 and aside["another kind of session"] > 5
    assert "mean above peak" not in aside.index  # settled by a decision
    assert demo.n_sessions + len(demo.left_out) == demo.n_sent == 143 and demo.n_people_sent == 90
    assert any("ages that contradict" in w for w in demo.warnings)


def test_recordings_of_the_demo_are_read(demo):
    assert demo.n_recordings > 15 and not any(w.startswith("Recording") for w in demo.warnings)
    assert demo.bands["time"].sum() == pytest.approx(1.0, abs=0.02)
    assert demo.bands["mean_share"].sum() == pytest.approx(1.0, abs=0.1)
    assert demo.agreement["share_sessions"].sum() == pytest.approx(1.0)


def test_every_equation_answers_for_those_it_is_made_for(demo):
    known = hr_max_equations().set_index("equation")
    assert set(demo.equations["equation"]) == set(known.index)
    women = demo.equations[demo.equations["equation"] == "gulati_2010"].iloc[0]
    both = demo.equations[demo.equations["equation"] == "tanaka_2001"].iloc[0]
    assert women["n_athletes"] < both["n_athletes"] == demo.n_with_age
    lower = demo.equations[demo.equations["measure"] == "percent_peak"].set_index("equation")["estimate"]
    assert lower["tanaka_2001"] > lower["nes_2013"]  # a lower maximum makes higher shares


def test_other_choices_change_what_they_should(demo):
    choices = demo.choices.set_index("choice")
    assert choices.loc["as analysed", "n_sessions"] == demo.n_sessions
    assert choices.loc["with sensors at the wrist", "n_sessions"] > demo.n_sessions
    assert (
        choices.loc["sparring sessions only", "percent_mean"]
        > choices.loc["with every kind of session", "percent_mean"]
    )


def test_the_survey_against_published_rounds(demo):
    line = demo.against.iloc[-1]
    assert line["published"] == 92 and line["n_published"] == 9 and line["work_s"] == 120
    expected = (line["session_mean"] - line["rest_low"]) / (92 - line["rest_low"])
    assert line["share_high"] == pytest.approx(expected)
    assert line["window_low"] < line["window_mean"] < line["window_high"] and line["n_windows"] > 10


def test_sessions_harder_than_the_rounds_do_not_fit():
    line = {"finding": "f", "outcome": "percent_hr_max", "round_no": 1.0, "mean": 75.0, "sd": 5.0, "n_athletes": 9}
    means = pd.DataFrame([line | {"source": "s"}])
    ours = pd.DataFrame([{"measure": m, "estimate": v, "ci_low": v - 1, "ci_high": v + 1, "n_athletes": 30}
                         for m, v in (("percent_mean", 84.0), ("percent_peak", 95.0))])  # fmt: skip
    assert compare_with_rounds(means, ours, {}, 190.0)["verdict"].item() == "harder than the rounds"
    easy = ours.assign(estimate=[50.0, 95.0])
    assert compare_with_rounds(means, easy, {}, 190.0)["verdict"].item() == "easier than expected"


def test_without_ages_there_is_a_range_and_no_guess():
    answer = answer_survey(made_up(age=False), n_simulations=50)
    assert answer.shares.empty and answer.curve.empty and answer.bands.empty and answer.equations.empty
    rows = answer.ages[(answer.ages["measure"] == "percent_peak") & (answer.ages["threshold"] == 90)].set_index(
        "age_years"
    )["share"]
    assert rows.is_monotonic_increasing and rows.index.min() == 18 and rows.index.max() == 55
    table = made_up(age=False)
    top = predict_hr_max(30, "nes_2013").value
    by_person = (table["hr_peak_bpm"] >= 0.9 * top).groupby(table["person"]).mean()
    assert rows[30.0] == pytest.approx(by_person.mean())
    assert answer.typical.set_index("measure").loc["hr_mean_bpm", "n_athletes"] == 40


def test_some_without_age_are_counted_apart():
    table = made_up()
    table.loc[table["person"].isin([f"p{i}" for i in range(10)]), "age_years"] = np.nan
    answer = answer_survey(table, n_simulations=50)
    assert answer.n_with_age == 30 and answer.n_athletes == 40 and (answer.ages["n_athletes"] == 10).all()
    assert any("gave no age" in w for w in answer.warnings)


@pytest.mark.parametrize(
    "change",
    [
        {"hr_peak_bpm": np.nan},
        {"hr_mean_bpm": np.nan},
        {"sex": ""},
        {"minutes": np.nan},
        {"device_kind": "", "session_kind": ""},
        {"age_years": 150.0},
    ],
)
def test_a_survey_that_lacks_a_column(change):
    answer = answer_survey(made_up().assign(**change), n_simulations=50)
    assert answer.n_sessions > 0 and isinstance(str(answer), str)
    few = answer_survey(made_up()[["person", "hr_mean_bpm"]], n_simulations=50)
    assert few.n_sessions == 60 and few.shares.empty


@pytest.mark.parametrize("rows", [1, 2, 3, 9])
def test_tiny_surveys(rows):
    answer = answer_survey(made_up().head(rows), n_simulations=50)
    assert answer.n_sessions == rows and len(answer.shares) == 8
    assert answer.learned is (rows >= 8)


def test_nothing_left_is_said_with_the_reasons():
    with pytest.raises(KitError, match=r"sensor at the wrist \(60\)"):
        answer_survey(made_up().assign(device_kind="wrist"))
    with pytest.raises(KitError, match="no session"):
        answer_survey(pd.DataFrame(columns=["person", "hr_mean_bpm"]))


def test_a_recording_decides_over_what_was_typed(tmp_path):
    (tmp_path / "recordings").mkdir()
    rates = 150 + 10 * np.sin(np.arange(1800) / 50)
    lines = ["seconds,heart_rate", *(f"{i},{v:.0f}" for i, v in enumerate(rates))]
    (tmp_path / "recordings" / "a.csv").write_text("\n".join(lines))
    table = pd.DataFrame({"person": ["a", "b"], "age_years": 30, "hr_mean_bpm": [120.0, 140.0], "hr_peak_bpm": [200.0, 180.0],
                          "minutes": [np.nan, 60], "file": ["a.csv", "gone.csv"]})  # fmt: skip
    answer = answer_survey(table, folder=tmp_path, n_simulations=50)
    first = answer.sessions[answer.sessions["person_no"] == 1].iloc[0]
    assert first["hr_mean_bpm"] == pytest.approx(rates.mean(), abs=0.5) and first["hr_peak_bpm"] < 162
    assert first["minutes"] == pytest.approx(30, abs=0.1)
    assert any("disagreed with the recording" in w for w in answer.warnings)
    assert any("gone.csv" in w for w in answer.warnings) and answer.n_recordings == 1


def test_shuffling_rows_and_renaming_people_changes_nothing():
    table = made_up()
    names = {p: f"q{i:03d}" for i, p in enumerate(sorted(table["person"].unique(), reverse=True))}
    moved = table.sample(frac=1, random_state=3).assign(person=lambda t: t["person"].map(names))
    one, two = (answer_survey(t, n_simulations=50) for t in (table, moved))
    assert one.typical["estimate"].tolist() == pytest.approx(two.typical["estimate"].tolist())
    assert one.shares["estimate"].tolist() == pytest.approx(two.shares["estimate"].tolist())


def test_the_walk_says_what_a_study_without_survey_needs():
    assert isinstance(Answers.from_folder(DEMO).survey(), NotYet)
    assert len(open_survey().study.survey) == 143


def test_a_large_survey_is_answered_with_a_sample_of_people():
    from analysis.survey import against as carry

    table = pd.concat(
        [made_up(seed=i).assign(person=lambda t, i=i: f"{i}_" + t["person"]) for i in range(60)], ignore_index=True
    )
    answer = answer_survey(table, n_simulations=200)
    assert answer.n_athletes == 2400 < carry.MOST_PEOPLE and answer.n_simulations == 200
    assert any("intervals are narrow" in w for w in answer.warnings)


def test_no_code_of_a_person_is_passed_on(demo):
    codes = set(pd.read_csv(DEMO / "survey" / "survey.csv")["person"])
    for name, value in vars(demo).items():
        if isinstance(value, pd.DataFrame):
            texts = {str(v) for column in value.select_dtypes(exclude="number") for v in value[column].unique()}
            assert not codes & texts, name
        elif isinstance(value, tuple):
            assert not any(code in str(v) for v in value for code in codes), name


def test_the_demo_survey_is_what_its_recipe_makes(tmp_path):
    recipe = runpy.run_path(str(DEMO / "how_it_was_made" / "make_survey.py"))
    recipe["main"](tmp_path / "survey", tmp_path / "true.json")
    for made in sorted(p for p in (tmp_path / "survey").rglob("*") if p.is_file()):
        assert made.read_bytes() == (DEMO / "survey" / made.relative_to(tmp_path / "survey")).read_bytes(), made.name
    assert json.loads((tmp_path / "true.json").read_text()) == TRUTH
    assert sum(p.stat().st_size for p in (DEMO / "survey").rglob("*")) < 600_000


def test_each_kind_of_session_by_itself_and_the_asked_one_first(demo):
    kinds = demo.kinds.set_index("session_kind")
    assert list(kinds.index) == ["sparring", "class"] and demo.asked()["session_kind"] == "sparring"
    table = Answers.from_folder(DEMO / "survey").study.survey
    alone = answer_survey(table[table["session_kind"] == "sparring"], session_kinds=("sparring",))
    found = alone.share("percent_peak", 90.0)
    assert kinds.loc["sparring", "n_athletes"] == 23 == alone.n_athletes
    # without recordings read, the typed heart rates of the same sessions
    assert abs(kinds.loc["sparring", "centre"] - found["centre"]) < 0.1
    few = made_up().assign(session_kind=["sparring"] * 4 + ["class"] * 56)
    assert answer_survey(few, n_simulations=40).asked() == {}


def test_one_share_has_one_number(demo):
    main = demo.share("percent_peak", 90.0)
    choices = demo.choices.set_index("choice")
    kinds = demo.kinds.set_index("session_kind")
    used = demo.equations[(demo.equations["equation"] == demo.equation) & (demo.equations["measure"] == "percent_peak")]
    for name in ("estimate", "centre", "low", "high"):
        assert choices.loc["as analysed", name] == main[name] == used.iloc[0][name]
        assert choices.loc["sparring sessions only", name] == kinds.loc["sparring", name]
