"""Every planted mistake is named with file, row, column and remedy, all at once."""

import pytest
from study_folders import (
    SETTINGS,
    aerobic_tests,
    athletes,
    changed,
    csv_text,
    make_folder,
    problem_at,
    rounds,
    sessions,
)

from analysis.study import StudyError, check_study, load_study


def test_twelve_planted_mistakes_are_named_at_once(tmp_path):
    rows = rounds()  # rows 2-4: 007, 5-7: A01, 8-10: A02, 11-13: NA
    rows = changed(rows, 0, lactate_mmol_l=71)  # mg/dL in a mmol/L column
    rows = changed(rows, 3, exertion=4)  # another scale
    rows = changed(rows, 4, hr_mean_typed_bpm=1.61)  # decimal point slipped
    rows = changed(rows, 6, athlete="a2")  # unknown athlete
    rows = changed(rows, 8, round_no=4)  # a round that the protocol does not have
    rows.append(rows[9])  # the same row twice
    people = changed(athletes(), 0, age_years=16)  # a minor without a guardian's consent
    people = changed(people, 1, sex="femal")
    tests = changed(aerobic_tests(), 0, date="03/04/2026")  # unclear date
    tests = changed(tests, 1, test="run_12_mins")
    folder = make_folder(
        tmp_path,
        settings=SETTINGS.replace("rest_s = 120", "rest_s = 2"),  # harmless: 2 s of rest are possible
        rounds=csv_text(rows).replace("exertion", "exerton"),  # a heading
        athletes=people,
        aerobic_tests=tests,
        sessions=[{"session": 1, "date": "2126-03-05"}],
    )
    with pytest.raises(StudyError) as caught:
        load_study(folder)
    problems = caught.value.problems
    assert list(problems.columns) == ["file", "row", "column", "value", "problem", "remedy"]
    assert (problems["problem"] != "").all() and (problems["remedy"] != "").all()
    expected = {
        ("rounds.csv", 2, "lactate_mmol_l"): "mg/dL",
        ("rounds.csv", 6, "hr_mean_typed_bpm"): "161 with the decimal point slipped",
        ("rounds.csv", 8, "athlete"): "did you mean A02",
        ("rounds.csv", 10, "round_no"): "it has 3",
        ("rounds.csv", 14, "session, athlete, round_no"): "the same session",
        ("rounds.csv", 1, "exerton"): "did you mean exertion",
        ("rounds.csv", 5, "exertion"): "not on the scale 6-20",
        ("athletes.csv", 2, "guardian_consent"): "under 18",
        ("athletes.csv", 3, "sex"): "did you mean",
        ("aerobic_tests.csv", 2, "date"): "unclear",
        ("aerobic_tests.csv", 3, "test"): "did you mean run_12_min",
        ("sessions.csv", 2, "date"): "future",
    }
    for (file, row, column), words in expected.items():
        assert words in problem_at(problems, file=file, row=row, column=column)["problem"]
    assert not problems["problem"].str.contains("lists").any()  # what only follows from another mistake is not said
    text = str(caught.value)
    assert all(f"row {row}" in text for row in (2, 6, 8, 10, 14))


LONE_MISTAKES = {
    # name: (tables, column, words in the problem, words in the remedy)
    "decimal slip": ({"athletes": changed(athletes(), 0, hr_max_bpm=1.76)}, "hr_max_bpm", "176", "type 176"),
    "mL/min": (
        {"aerobic_tests": [{"athlete": "A01", "test": "laboratory", "vo2max_ml_kg_min": 3650}]},
        "vo2max_ml_kg_min",
        "mL/min",
        "divide by the body mass",
    ),
    "L/min": (
        {"aerobic_tests": [{"athlete": "A01", "test": "laboratory", "vo2max_ml_kg_min": 0.05}]},
        "vo2max_ml_kg_min",
        "L/min",
        "type 50",
    ),
    "year of birth": (
        {"athletes": changed(athletes(), 0, age_years=1999)},
        "age_years",
        "year of birth",
        "birth dates",
    ),
    "scale": ({"rounds": changed(rounds(), 0, exertion=4)}, "exertion", "was the scale 0-10", "one scale"),
    "half points": ({"rounds": changed(rounds(), 0, exertion=12.5)}, "exertion", "whole numbers", "whole number"),
    "dropped zeros": ({"rounds": changed(rounds(), 0, athlete="7")}, "athlete", "dropped zeros of 007", "write 007"),
    "own opponent": ({"rounds": changed(rounds(), 3, opponent="A01")}, "opponent", "own code", "opponent"),
    "unknown opponent": ({"rounds": changed(rounds(), 3, opponent="A99")}, "opponent", "not in the athletes", "guest"),
    "mirror": ({"rounds": changed(rounds(), 3, opponent="NA")}, "opponent", "lists", "correct one"),
    "future test": ({"aerobic_tests": changed(aerobic_tests(), 0, date="2126-01-01")}, "date", "future", "date"),
    "day number": ({"aerobic_tests": changed(aerobic_tests(), 0, date="46082")}, "date", "2026-03-01", "as text"),
    "two-digit year": ({"aerobic_tests": changed(aerobic_tests(), 0, date="1.3.26")}, "date", "two digits", "2026"),
    "no such day": ({"aerobic_tests": changed(aerobic_tests(), 0, date="2026-02-30")}, "date", "no such day", "2026"),
    "number word": (
        {"rounds": changed(rounds(), 0, lactate_mmol_l="five")},
        "lactate_mmol_l",
        "not a number",
        "number",
    ),
    "unclear comma": ({"athletes": changed(athletes(), 0, mass_kg="72,125")}, "mass_kg", "unclear", "thousands"),
    "not a number": ({"rounds": changed(rounds(), 0, lactate_mmol_l="nan")}, "lactate_mmol_l", "not a number", "blank"),
    "infinite": ({"rounds": changed(rounds(), 0, lactate_mmol_l="-inf")}, "lactate_mmol_l", "not a number", "blank"),
    "spreadsheet error": (
        {"rounds": changed(rounds(), 0, lactate_mmol_l="#REF!")},
        "lactate_mmol_l",
        "error",
        "formula",
    ),
    "sat out but rated": (
        {"rounds": changed(rounds(), 0, took_part="sat_out")},
        "took_part",
        "sat out, but",
        "write yes or part",
    ),
    "rest above max": (
        {"athletes": changed(athletes(), 0, hr_rest_bpm=120, hr_max_bpm=120)},
        "hr_rest_bpm",
        "not below",
        "",
    ),
    "level and shuttle": (
        {"aerobic_tests": [{"athlete": "A01", "test": "shuttle_run_20m", "level": "9.1"}]},
        "level",
        "dropped (9.10 becomes 9.1)",
        "level and shuttle",
    ),
    "level as date": (
        {"aerobic_tests": [{"athlete": "A01", "test": "shuttle_run_20m", "level": "09-Apr"}]},
        "level",
        "date",
        "as text",
    ),
    "minutes as hours": (
        {"aerobic_tests": [{"athlete": "A01", "test": "run_1_5_mile", "time_min": "12:30:00"}]},
        "time_min",
        "12:30 (minutes:seconds)",
        "type 12:30",
    ),
    "clock as number": (
        {"clock": [{"round_no": 1, "start_clock": "0.8125", "end_clock": "19:35"}]},
        "start_clock",
        "19:30",
        "19:30",
    ),
    "round ends first": (
        {"clock": [{"round_no": 1, "start_clock": "19:35", "end_clock": "19:30"}]},
        "end_clock",
        "before it begins",
        "correct",
    ),
    "rounds out of order": (
        {
            "clock": [
                {"round_no": 1, "start_clock": "19:40", "end_clock": "19:45"},
                {"round_no": 2, "start_clock": "19:30", "end_clock": "19:35"},
            ]
        },
        "start_clock",
        "starts before round 1",
        "correct",
    ),
    "unknown session": (
        {"rounds": [{**row, "session": 2} for row in rounds()]},
        "session",
        "not in the sessions table",
        "add the session",
    ),
    "missing column": ({"rounds": "athlete,exertion\nA01,12\n"}, "round_no", "missing", "add it"),
    "blank key": ({"rounds": changed(rounds(), 0, athlete="-", opponent="guest")}, "athlete", "blank", "fill it in"),
    "doubled heading": (
        {"athletes": csv_text(athletes()).replace("age_years", "mass_kg", 1)},
        "mass_kg",
        "two columns",
        "",
    ),
    "missing recording": (
        {"recordings": [{"athlete": "A01", "file": "A01.fit"}]},
        "file",
        "no such file in recordings/",
        "put the file",
    ),
    "path that leads out": (
        {"recordings": [{"athlete": "A01", "file": "../../other/A01.fit"}]},
        "file",
        "leads out",
        "copy the file",
    ),
    "number and bound": (
        {"rounds": changed(rounds(), 0, lactate_limit="high")},
        "lactate_limit",
        "at once",
        "clear one",
    ),
    "peak above maximum": (
        {"rounds": changed(rounds(), 0, hr_peak_typed_bpm=199)},
        "hr_peak_typed_bpm",
        "above the athlete's maximum",
        "raise hr_max_bpm",
    ),
    "no source": (
        {"published": [{"finding": "x", "statistic": "r", "value": -0.5, "source": ""}]},
        "source",
        "blank",
        "",
    ),
    "impossible correlation": (
        {"published": [{"finding": "x", "statistic": "r", "value": -5, "source": "a paper"}]},
        "value",
        "beyond 1",
        "paper",
    ),
    "extra cells": (
        {"rounds": csv_text(rounds()) + "A01,3,NA,5,2,14,160\n"},
        "",
        "more cells than headings",
        "semicolons",
    ),
}


@pytest.mark.parametrize("name", LONE_MISTAKES)
def test_each_mistake_has_its_likely_cause_and_remedy(tmp_path, name):
    tables, column, cause, remedy = LONE_MISTAKES[name]
    report = check_study(make_folder(tmp_path, **tables))
    assert not report.passed
    found = report.problems[report.problems["column"] == column]
    assert found["problem"].str.contains(cause, regex=False).any(), report.problems.to_string()
    assert found["remedy"].str.contains(remedy, regex=False).any(), report.problems.to_string()


SETTLED_ELSEWHERE = {
    "a stated order of dates": {
        "settings": 'date_order = "day first"\n' + SETTINGS,
        "aerobic_tests": changed(aerobic_tests(), 0, date="03/02/2026"),
    },
    "a scale from 0 to 10": {
        "settings": SETTINGS.replace("6-20", "0-10"),
        "rounds": [{**row, "exertion": 3.5} for row in rounds()],
    },
    "a high but possible lactate": {"rounds": changed(rounds(), 0, lactate_mmol_l=21.4)},
    "a guest": {"rounds": [{**row, "opponent": "Guest"} for row in rounds()]},
    "before sparring": {"rounds": [*rounds(), {"athlete": "A01", "round_no": 0, "lactate_mmol_l": 1.4}]},
    "an own column": {"athletes": [{**row, "belt_colour": "blue"} for row in athletes()]},
}


@pytest.mark.parametrize("name", SETTLED_ELSEWHERE)
def test_what_is_only_unusual_does_not_stop(tmp_path, name):
    report = check_study(make_folder(tmp_path, **SETTLED_ELSEWHERE[name]))
    assert report.passed, report.text()


def test_unusual_values_are_remarked_on(tmp_path):
    rows = changed(rounds(), 0, lactate_mmol_l=21.4)
    people = [{**row, "belt_colour": "blue"} for row in changed(athletes(), 0, hr_max_source="")]
    mass = [{"athlete": "A01", "mass_kg": 66.0, "usual_mass_kg": 70.0}]
    report = check_study(make_folder(tmp_path, rounds=rows, athletes=people, attendance=mass))
    assert report.passed
    assert report.questions["problem"].str.startswith("unusual").tolist() == [True]
    for words in ("does not know", "measured or predicted", "below the usual 70 kg"):
        assert report.remarks["problem"].str.contains(words).any(), words


def test_misnamed_files_and_lone_spreadsheets_are_named(tmp_path):
    folder = make_folder(tmp_path, sessions=sessions())
    (folder / "roundss.csv").write_text("athlete\n")
    (folder / "other.xlsx").write_bytes(b"")
    (folder / "old.ods").write_bytes(b"")
    (folder / "readme.txt").write_text("nothing")
    report = check_study(folder)
    assert sorted(report.problems["file"]) == ["old.ods", "other.xlsx", "roundss.csv"]
    assert "did you mean rounds.csv" in problem_at(report.problems, file="roundss.csv")["problem"]


def test_the_report_reads_as_sentences(tmp_path):
    report = check_study(make_folder(tmp_path, rounds=changed(rounds(), 0, lactate_mmol_l=71)))
    text = report.text()
    assert "1 problem to put right" in text and "rounds.csv, row 2, lactate_mmol_l '71'" in text
    assert ".." not in text and "?." not in text
    assert "Remedy: type 7.1 if that was measured, or type 7.88 if 71 was in mg/dL." in text


def test_what_two_sheets_say_differently_is_remarked_on(tmp_path):
    folder = make_folder(
        tmp_path,
        rounds=changed(rounds(), 0, lactate_mmol_l=25.5),
        lactate=[{"athlete": "A01", "after_round": 1, "lactate_mmol_l": 9.9}],
        attendance=[{"athlete": "A02", "left_after": 2}],
        recordings=[],
    )
    report = check_study(folder)
    assert report.passed, report.text()
    for words in (
        "beyond the analyser's scale",
        "the rounds table has another value (6.5, row 5)",
        "the last before leaving",
    ):
        assert report.remarks["problem"].str.contains(words, regex=False).any(), report.text()


def test_a_title_above_the_headings_is_read_over(tmp_path):
    report = check_study(make_folder(tmp_path, rounds="Sparring in spring,,,\n\n" + csv_text(rounds())))
    assert report.passed and "headings are taken from row 3" in report.text()


def test_problems_stand_in_the_order_of_the_sheets(tmp_path):
    rows = changed(changed(rounds(), 9, exertion=2), 1, lactate_mmol_l=71)
    report = check_study(make_folder(tmp_path, rounds=changed(rows, 4, opponent="A99")))
    listed = report.problems[report.problems["file"] == "rounds.csv"]["row"].tolist()
    assert listed == sorted(listed) and len(listed) >= 3


def test_the_same_slip_in_several_rows_is_said_once_with_all_rows(tmp_path):
    rows = [{**row, "took_part": "jein"} if n < 3 else row for n, row in enumerate(rounds())]
    report = check_study(make_folder(tmp_path, rounds=rows))
    assert len(report.problems) == 3 and "3 problems to put right" in report.text()
    assert report.text().count("'jein'") == 1 and "rounds.csv, rows 2 to 4, took_part 'jein'" in report.text()


def test_words_for_yes_are_read_in_the_round_sheet(tmp_path):
    rows = [{**row, "took_part": word} for row, word in zip(rounds(), ["ja", "Y", "x", "yes"] * 3, strict=True)]
    assert check_study(make_folder(tmp_path, rounds=rows)).passed


def test_a_level_has_only_so_many_shuttles(tmp_path):
    rows = changed(aerobic_tests(), 0, test="shuttle_run_20m", level=9, shuttle=15)
    problem = problem_at(check_study(make_folder(tmp_path, aerobic_tests=rows)).problems, column="shuttle")
    assert problem["problem"] == "level 9 has 11 shuttles" and problem["value"] == "15"


def test_of_several_ways_the_usual_one_is_asked_for(tmp_path):
    rows = changed(aerobic_tests(), 0, test="shuttle_run_20m", level=None, shuttle=None, vo2max_ml_kg_min=None)
    remark = problem_at(check_study(make_folder(tmp_path, aerobic_tests=rows)).remarks, file="aerobic_tests.csv")
    assert "still needs level and shuttle" in remark["problem"]
