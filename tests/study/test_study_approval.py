"""What a committee reads: its number before a plan is fixed, minors kept out, texts filled in."""

import datetime as dt

import pandas as pd
import pytest
from study_folders import SETTINGS, athletes, changed, make_folder, problem_at, rounds

from analysis.basics import KitError
from analysis.study import check_study, freeze_plan, load_study, new_study
from analysis.study.consent import approval_of, minors_among, unfilled_places

TODAY = dt.date(2026, 3, 1)


def planned(tmp_path, more=""):
    return make_folder(tmp_path, settings=SETTINGS + more, without=("rounds", "aerobic_tests"))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("[sampling]\nanalysers = 1\n", "blood sampling"),
        ('[fitness]\ntests = ["shuttle_run_20m"]\n', "a maximal test"),
        (
            '[[plan.hypotheses]]\nquestion = "rounds.lactate"\noutcome = "lactate_mmol_l"\ndirection = "rises"\n',
            "blood sampling",
        ),
        ('[[plan.hypotheses]]\nquestion = "fitness.heart_rate"\ndirection = "lower"\n', "a maximal test"),
    ],
)
def test_freeze_asks_for_the_number_or_the_exemption(tmp_path, more, words):
    folder = planned(tmp_path / "without", more)
    with pytest.raises(KitError, match=words) as refused:
        freeze_plan(load_study(folder), today=TODAY)
    assert not list(folder.glob("plan_*")) and "exemption" in str(refused.value)
    for said in ('approval = "2026-17"', 'exemption = "dean, 3 February 2026"'):
        folder = planned(tmp_path / said[:4], more + f"[ethics]\n{said}\n")
        text = freeze_plan(load_study(folder), today=TODAY).path.read_text(encoding="utf-8")
        assert "2026-17" in text or "dean, 3 February 2026" in text


def test_a_plan_on_heart_rate_alone_needs_no_number(tmp_path):
    easy = '[fitness]\ntests = ["jog_1_mile"]\n[[plan.hypotheses]]\nquestion = "rounds.heart_rate"\n'
    easy += 'outcome = "hr_mean_bpm"\ndirection = "rises"\n'
    assert freeze_plan(load_study(planned(tmp_path, easy)), today=TODAY).path.is_file()


FAULTS = {
    '[ethics]\naproval = "1"\n': ("aproval", "did you mean approval"),
    "[ethics]\napproval = 17\n": ("approval", "not a text"),
    '[ethics]\napproval = "1"\nminors_blood = "yes"\n': ("minors_blood", "neither true nor false"),
    "[ethics]\nminors_blood = true\n": ("minors_blood", "without the number of the approval"),
    '[ethics]\nexemption = "dean"\nminors_maximal = true\n': ("minors_maximal", "without the number of the approval"),
    '[fitness]\ntests = ["shuttle_run"]\n': ("tests", "no such aerobic test"),
    '[fitness]\nlevel_called = "middle"\n': ("level_called", "not one of the two"),
    '[fitness]\ntest = "run_12_min"\n': ("test", "did you mean tests"),
}


@pytest.mark.parametrize("text", FAULTS)
def test_settings_that_cannot_be_are_problems_with_their_line(tmp_path, text):
    column, words = FAULTS[text]
    found = problem_at(check_study(planned(tmp_path, text)).problems, file="study.toml", column=column)
    assert words in found["problem"] and found["row"] > 10 and found["remedy"]


def test_check_says_who_is_under_18_and_what_was_done_without_approval(tmp_path):
    young = changed(athletes(), 0, age_years=16, guardian_consent="yes")
    report = check_study(make_folder(tmp_path / "a", athletes=young))
    assert "kept out of blood sampling and maximal tests" in problem_at(report.remarks, column="age_years")["problem"]
    drawn = report.problems[report.problems["column"] == "lactate_mmol_l"]
    assert len(drawn) == 3 and drawn["problem"].str.contains("blood was sampled").all() and not report.passed
    said = SETTINGS + '[ethics]\napproval = "2026-17"\nminors_blood = true\nminors_maximal = true\n'
    assert check_study(make_folder(tmp_path / "b", athletes=young, settings=said)).passed
    clean = [row | ({"lactate_mmol_l": ""} if row["athlete"] == "A01" else {}) for row in rounds()]
    folder = make_folder(tmp_path / "c", athletes=young, rounds=clean, without=("aerobic_tests",))
    assert check_study(folder).passed


def test_the_remedy_set_aside_works(tmp_path):
    young = changed(athletes(), 0, age_years=16, guardian_consent="yes")
    aside = [
        {"date": "2026-03-06", "decided_by": "study lead", "table": "rounds", "athlete": "A01", "measure": "lactate_mmol_l",
         "action": "set aside", "reason": "sampled without approval, committee told"}
    ]  # fmt: skip
    folder = make_folder(tmp_path, athletes=young, decisions=aside, without=("aerobic_tests",))
    report = check_study(folder)
    assert report.passed and report.settled["problem"].str.contains("under 18").any()
    assert load_study(folder).rounds.query("athlete == 'A01'")["lactate_mmol_l"].isna().all()


def test_eighteen_is_no_minor_and_a_guardians_word_speaks_for_a_missing_age():
    import pandas as pd

    table = pd.DataFrame(
        {"athlete": list("abcd"), "age_years": [17.99, 18, None, None], "guardian_consent": ["yes", "", "yes", ""]}
    )
    assert minors_among(table) == ("a", "c")
    assert approval_of({"ethics": "2026-17"}).stated is False


def test_places_in_brackets_are_found_and_boxes_and_links_are_not():
    text = "# T\n\nAsk [who,\nwhere]. [ ] [x] [a](b.md) [date]"
    assert unfilled_places(text) == [(3, "who, where"), (4, "date")]


def test_check_lists_texts_with_unfilled_brackets_until_they_are_filled(tmp_path):
    folder = new_study(tmp_path / "club")
    found = problem_at(check_study(folder).remarks, file="texts/screening.md")
    assert "not filled in" in found["problem"] and "mark across every page" in found["remedy"]
    for path in (folder / "texts").glob("*.md"):
        text = path.read_text(encoding="utf-8")
        for _ in range(60):
            places = unfilled_places(text)
            if not places:
                break
            import re

            text = re.sub(r"\[(?![ xX]?\])([^\[\]]{1,600})\](?!\()", "told", text)
        path.write_text(text, encoding="utf-8")
    assert check_study(folder).remarks.empty


def test_the_recording_of_a_shuttle_run_is_asked_about(tmp_path):
    run = [{"athlete": "A01", "test": "shuttle_run_20m", "level": 8, "shuttle": 11}]
    asked = check_study(make_folder(tmp_path / "a", aerobic_tests=run))
    assert "at its start or at its end" in problem_at(asked.remarks, column="level_called")["problem"]
    said = SETTINGS + '[fitness]\nlevel_called = "end"\n'
    study = load_study(make_folder(tmp_path / "b", aerobic_tests=run, settings=said))
    assert study.aerobic_tests["level_called"].tolist() == ["end"]
    assert not len(study.remarks.query("column == 'level_called'"))


def test_hurried_samples_are_remarked_on_and_the_remedy_works(tmp_path):
    folder = new_study(tmp_path / "club", rounds=3)
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace("seconds_per_sample = 60", "seconds_per_sample = 25"), encoding="utf-8")
    told = check_study(folder).remarks.query("column == 'seconds_per_sample'")
    assert len(told) == 1 and "no time for new gloves" in told["problem"].iloc[0]
    remedy = told["remedy"].iloc[0].partition("write ")[2].partition(",")[0]
    settings.write_text(text.replace("seconds_per_sample = 60", remedy), encoding="utf-8")
    assert check_study(folder).remarks.query("column == 'seconds_per_sample'").empty


def test_a_test_that_a_new_folder_only_lists_was_not_done(tmp_path):
    folder = new_study(tmp_path / "club", rounds=3, tests=["run_12_min"], athletes=4, workbook=False)
    people = pd.read_csv(folder / "athletes.csv", dtype=str, keep_default_na=False)
    listed = people["athlete"].str.startswith("A")
    people.loc[listed, ["consent_measured", "cleared", "guardian_consent"]] = "yes"
    people.loc[listed, "age_years"] = "16"
    people.to_csv(folder / "athletes.csv", index=False)
    assert check_study(folder).passed
    tests = pd.read_csv(folder / "aerobic_tests.csv", dtype=str, keep_default_na=False)
    tests.loc[tests["athlete"] == "A02", "distance_m"] = "2400"
    tests.to_csv(folder / "aerobic_tests.csv", index=False)
    found = check_study(folder).problems
    assert len(found) == 1 and "a maximal test was done" in found["problem"].iloc[0]
