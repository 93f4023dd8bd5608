"""study.toml: faults with their line in our own words, times as m:ss or seconds, the protocol."""

import numpy as np
import pandas as pd
import pytest
from study_folders import SETTINGS, make_folder, problem_at

from analysis.study import StudyError, check_study, load_study
from analysis.study.problems import Findings
from analysis.study.settings import (
    Protocol,
    Settings,
    grades_of,
    protocol_values,
    rank_grades,
    read_protocol,
    read_seconds,
    read_settings,
)

FAULTS = {
    # line to add at the end of [protocol], which is line 10: (words in the problem, words in the remedy)
    "work_pause = 5:00": ("a time without quotation marks", 'write work_pause = "5:00"'),
    "note = 0,05": ("a decimal comma", "write 0.05"),
    "note = grappling": ("text without quotation marks", 'write note = "grappling"'),
    'note = "grappling': ("a quotation mark is missing", "two quotation marks"),
    "note = 6-20": ("text without quotation marks", 'write note = "6-20"'),
    "note": ("neither name = value nor [section]", "complete it"),
    "note: 5": ("a colon where an equals sign belongs", "name = value"),
    "note =": ("a value is missing", "write one"),
    "[plan": ("a bracket is missing", "[name]"),
    'note = ["a", "b"': ("a bracket is missing", "list"),
    "rounds = 3": ("stands twice", "keep one"),
    "note = “grappling”": ("curly quotation marks", "straight"),
}


@pytest.mark.parametrize("line", FAULTS)
def test_faults_are_named_by_line_in_our_own_words(tmp_path, line):
    problem, remedy = FAULTS[line]
    report = check_study(make_folder(tmp_path, settings=SETTINGS + line + "\n"))
    found = problem_at(
        report.problems[report.problems["problem"].str.contains(problem, regex=False)], file="study.toml"
    )
    assert found["row"] == 10 and remedy in found["remedy"]


def test_a_byte_order_mark_and_other_encodings_are_accepted(tmp_path):
    text = SETTINGS.replace("A small study", "Größe")
    for number, encoding in enumerate(("utf-8-sig", "cp1252", "utf-16")):
        folder = make_folder(tmp_path / str(number))
        (folder / "study.toml").write_bytes(text.encode(encoding))
        assert load_study(folder).title == "Größe"


@pytest.mark.parametrize(
    "written", ['work = "5:00"', "work_s = 300", 'work_s = "5:00"', "work_s = 300.0", 'work = "300"']
)
def test_times_may_be_written_either_way(tmp_path, written):
    study = load_study(make_folder(tmp_path, settings=SETTINGS.replace('work = "5:00"', written)))
    assert study.protocol.work_s == 300.0


PROTOCOLS = {
    "rounds = 0": ("rounds", "from 1 to 30"),
    "rounds = 3.5": ("rounds", "from 1 to 30"),
    'rounds = "3"': ("rounds", "from 1 to 30"),
    "work = 5": ("work", "seconds or minutes"),
    "work_s = 5": ("work_s", "minutes typed as seconds"),
    'work = "five"': ("work", "not a time"),
    'work = "5:00"\nwork_s = 310': ("work", "disagree"),
    "work_s = nan": ("work_s", "not a time"),
    "work_s = true": ("work_s", "not a time"),
    "work_s = [300]": ("work_s", "not a time"),
    "rest_s = -5": ("rest_s", "outside 0 to 7200"),
    'exertion_scale = "1-10"': ("exertion_scale", "not a scale"),
    "round = 3": ("round", "did you mean rounds"),
    '[protocol.novice]\nexertion_scale = "0-10"': ("exertion_scale", "two exertion scales"),
    "[protocol.novice]\nrounds = 99": ("rounds", "from 1 to 30"),
}


@pytest.mark.parametrize("change", PROTOCOLS)
def test_a_protocol_that_cannot_be_is_a_problem_on_its_line(tmp_path, change):
    column, words = PROTOCOLS[change]
    name = change.split(" ")[0].removesuffix("_s")
    kept = [line for line in SETTINGS.splitlines() if not line.startswith((f"{name} ", f"{name}_s "))]
    report = check_study(make_folder(tmp_path, settings="\n".join([*kept, change]) + "\n", without=("rounds",)))
    found = report.problems[(report.problems["column"] == column)]
    assert found["problem"].str.contains(words).any(), report.text()
    assert found["row"].notna().all()


def test_a_missing_protocol_says_what_to_write(tmp_path):
    with pytest.raises(StudyError, match=r"\[protocol\]"):
        load_study(make_folder(tmp_path, settings='title = "x"\n'))
    report = check_study(make_folder(tmp_path / "part", settings="[protocol]\nrounds = 3\n"))
    assert sorted(report.problems["column"]) == ["rest_s", "work_s"]


def test_misspelt_settings_are_named_and_unknown_ones_remarked_on(tmp_path):
    report = check_study(make_folder(tmp_path, settings='titel = "x"\nweather = "warm"\n' + SETTINGS))
    assert problem_at(report.problems, column="titel")["problem"] == "no such setting; did you mean title?"
    assert "weather" in report.remarks["column"].tolist()


def test_the_scale_may_stand_at_the_top_and_analyser_limits_with_the_sampling(tmp_path):
    text = 'exertion_scale = "0-10"\n[protocol]\nrounds = 3\nwork_s = 240\nrest_s = 90\n'
    text += "[sampling]\nlactate_analyser_high_mmol_l = 22\n"
    study = load_study(make_folder(tmp_path, settings=text, without=("rounds",)))
    assert study.protocol.exertion_scale == "0-10"
    assert study.settings["lactate_analyser_high_mmol_l"] == 22


def test_groups_inherit_what_they_do_not_change(tmp_path):
    make_folder(tmp_path, settings=SETTINGS + '[protocol.novice]\nwork = "3:00"\n')
    findings = Findings()
    settings = read_settings(tmp_path, findings)
    protocol = read_protocol(settings, findings)
    assert not findings.problems
    assert (protocol.for_group("novice").work_s, protocol.for_group("novice").rest_s) == (180.0, 120.0)
    assert protocol.for_group("others") is protocol and protocol.most_rounds == 3
    assert read_seconds(settings, ("protocol", "novice"), "work_s", findings) == 180.0
    assert settings.line_of("protocol", "novice", "work") == 11


def test_brackets_without_end_do_no_harm(tmp_path):
    report = check_study(make_folder(tmp_path, settings=SETTINGS + "x = " + "[" * 100_000))
    assert not report.passed and report.problems["file"].eq("study.toml").all()


def problems_of(tmp_path, text):
    """Settings and protocol of a text alone, and the problems: column -> (row, problem, remedy)."""
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    findings = Findings()
    settings = read_settings(tmp_path, findings)
    protocol = read_protocol(settings, findings)
    found = findings.problems
    return settings, protocol, {p.column: (p.row, p.problem, p.remedy) for p in found}


WHOLE = "[protocol]\nrounds = 4\nwork_s = 300\nrest_s = 60\n"


def test_rounds_and_times_are_taken_at_the_ends_of_what_can_be(tmp_path):
    for old, new in (
        ("rounds = 4", "rounds = 1"),
        ("rounds = 4", "rounds = 30"),
        ("300", "10"),
        ("300", "3600"),
        ("60", "0"),
        ("60", "7200"),
    ):
        assert not problems_of(tmp_path, WHOLE.replace(old, new))[2], new
    for old, new, column in (
        ("rounds = 4", "rounds = 31", "rounds"),
        ("300", "9.9", "work_s"),
        ("300", "3601", "work_s"),
        ("60", "7201", "rest_s"),
    ):
        assert list(problems_of(tmp_path, WHOLE.replace(old, new))[2]) == [column], new


def test_a_number_without_a_unit_is_asked_back_in_both(tmp_path):
    """Minutes are offered only where they could be meant: 300 minutes of work could not."""
    for typed, remedy in (
        ("work = 5", 'write work_s = 300 or work = "5:00"'),
        ("work = 60", 'write work = "60:00" for minutes, or work_s = 60 for seconds'),
        ("work = 300", "write work_s = 300 for seconds"),
        ("work = 5.5", 'write work_s = 300 or work = "5:00"'),
        ("work = 9", 'write work_s = 300 or work = "5:00"'),
        ("work = 61", "write work_s = 61 for seconds"),
        ("work = 3600", "write work_s = 3600 for seconds"),
        ('work = "4.59"', 'write work = "4:59"'),
        ('work = "4.60"', 'write work = "5:00" or work_s = 300'),
        ("work = 10", 'write work = "10:00" for minutes, or work_s = 10 for seconds'),
        ('work = "4.30"', 'write work = "4:30"'),
        ('work = "soon"', 'write work = "5:00" or work_s = 300'),
    ):
        _, protocol, found = problems_of(tmp_path, WHOLE.replace("work_s = 300", typed))
        assert list(found) == ["work"] and (found["work"][0], found["work"][2]) == (3, remedy), typed
        assert np.isnan(protocol.work_s)


def test_what_is_missing_alone_is_named_alone(tmp_path):
    _, _, found = problems_of(tmp_path, WHOLE.replace("rounds = 4\n", ""))
    assert found == {"rounds": (None, "the number of rounds is missing", "write rounds = 4 under [protocol]")}
    _, _, found = problems_of(tmp_path, WHOLE.replace("rounds", "round"))
    assert list(found) == ["round"] and found["round"][0] == 2


def test_a_thousand_lines_are_settings_and_one_more_is_none(tmp_path):
    full = WHOLE + "#\n" * (1000 - WHOLE.count("\n"))
    assert not problems_of(tmp_path, full)[2] and len(full.splitlines()) == 1000
    assert "1,001 lines" in str(problems_of(tmp_path, full + "#\n")[2])


@pytest.mark.parametrize(
    "giant", ["x = [1, 99999999999999999]", "x = {a = 99999999999999999}", "x = 99999999999999999"]
)
def test_a_number_that_nobody_means_is_named_wherever_it_stands(giant, tmp_path):
    found = problems_of(tmp_path, WHOLE + giant + "\n")[2]
    assert found[""][:2] == (5, "a number of great length")
    for number, much in ((10**15, False), (10**15 + 1, True), (-(10**15) - 1, True)):
        assert ("" in problems_of(tmp_path, f"grades = []\n{WHOLE}rest_min = {number}\n")[2]) is much


def test_lines_of_sections_and_keys(tmp_path):
    settings = problems_of(tmp_path, 'title = "x"\n' + WHOLE + "[protocol.novice]  # two\nrounds = 3\n")[0]
    assert [settings.line_of(*p) for p in (("title",), ("protocol",), ("protocol", "rounds"))] == [1, 2, 3]
    assert settings.line_of("protocol", "novice", "rounds") == 7 and settings.line_of("protocol", "novice") == 6
    assert settings.line_of("rounds") is None


def test_a_line_that_is_nothing_is_said_to_be_so(tmp_path):
    found = problems_of(tmp_path, WHOLE + "note = 5 5\n")[2]["note"]
    assert found[:2] == (5, "a line that cannot be read")


def test_grades_are_ranked_as_listed_and_what_does_not_fit_is_named():
    people = pd.DataFrame({"grade": [" Third ", "first", "", "fourt"], "grade_rank": [3.0, 2.0, 5.0, np.nan]})
    table, wrong = rank_grades(people, ("first", "second", "third", "fourth"))
    assert table["grade_rank"].tolist()[:3] == [3.0, 1.0, 5.0] and np.isnan(table["grade_rank"][3])
    assert [(index, column) for index, column, _, _ in wrong] == [(3, "grade"), (1, "grade_rank")]
    assert "did you mean fourth" in wrong[0][2] and "first has rank 1" in wrong[1][2]
    unlisted = rank_grades(people, ())
    assert [w[1] for w in unlisted[1]] == ["grades"] and unlisted[0]["grade_rank"].equals(people["grade_rank"])
    assert not rank_grades(people.assign(grade=""), ())[1]


def test_the_widest_protocol_and_what_stays_of_it_as_plain_values():
    own = {"a": Protocol(5, 60.0, 30.0, "0-10"), "b": Protocol(2, clothing="no jacket")}
    assert Protocol(3, groups=own).most_rounds == 5 and Protocol(6, groups=own).most_rounds == 6
    plain = protocol_values(Protocol(3, 300.0, 120.0, groups=own, clothing="jacket"))
    assert list(plain) == ["rounds", "work_s", "rest_s", "exertion_scale", "groups", "clothing"]
    assert plain["clothing"] == "jacket" and plain["groups"]["b"]["clothing"] == "no jacket"
    assert plain["groups"]["a"] == {"rounds": 5, "work_s": 60.0, "rest_s": 30.0, "exertion_scale": "0-10", "groups": {}}


def test_clothing_is_one_of_two_and_passed_on_to_groups(tmp_path):
    for given in ("jacket", "no jacket"):
        text = f'{WHOLE}clothing = "{given}"\n[protocol.novice]\nrounds = 2\n'
        _, protocol, found = problems_of(tmp_path, text)
        assert not found and protocol.clothing == protocol.for_group("novice").clothing == given
    _, protocol, found = problems_of(tmp_path, WHOLE + 'clothing = "coat"\n')
    assert found["clothing"][0] == 5 and "not a clothing" in found["clothing"][1] and protocol.clothing == ""
    assert problems_of(tmp_path, WHOLE)[1].clothing == ""


def test_a_group_takes_over_the_scale_of_all(tmp_path):
    text = WHOLE + 'exertion_scale = "0-10"\n[protocol.novice]\nrounds = 2\n'
    _, protocol, found = problems_of(tmp_path, text)
    assert not found and protocol.for_group("novice").exertion_scale == "0-10"
    wrong = problems_of(tmp_path, WHOLE + 'exertion_scale = "1-5"\n')
    assert wrong[1].exertion_scale == "6-20" and list(wrong[2]) == ["exertion_scale"]


def test_rounds_that_cannot_be_are_none(tmp_path):
    for typed in ("true", "31", "2.0", '"4"'):
        _, protocol, found = problems_of(tmp_path, WHOLE.replace("rounds = 4", f"rounds = {typed}"))
        assert list(found) == ["rounds"] and protocol.rounds == 0, typed


def test_times_outside_what_can_be_are_asked_as_minutes_where_they_could_be(tmp_path):
    """Work of 10 to 3600 s: 5 may be minutes; 0.1 and 3601 may not. Rest of 0 to 7200 s."""
    for typed, said, remedy in (
        ("work_s = 5", "outside 10 to 3600 s: minutes typed as seconds?", "write work_s = 300"),
        ('work = "9"', "outside 10 to 3600 s: minutes typed as seconds?", "write work_s = 540"),
        ("work_s = 0.1", "outside 10 to 3600 s", "write the time in seconds, or as m:ss in quotation marks"),
        ("work_s = 3601", "outside 10 to 3600 s", "write the time in seconds, or as m:ss in quotation marks"),
    ):
        found = problems_of(tmp_path, WHOLE.replace("work_s = 300", typed))[2]
        assert found == {typed.split(" ")[0]: (3, said, remedy)}, typed


def test_both_names_of_a_time_may_stand_where_they_agree(tmp_path):
    for typed, problems in (("5:00", []), ("5:01", ["work"])):
        text = WHOLE.replace("rest_s", f'work = "{typed}"\nrest_s')
        _, protocol, found = problems_of(tmp_path, text)
        assert list(found) == problems and protocol.work_s == 300.0
    assert found["work"] == (4, "work_s and work disagree", "keep one of them")
    _, _, found = problems_of(tmp_path, WHOLE.replace("work_s = 300\n", ""))
    assert found["work_s"][1:] == ("work_s is missing", 'write work_s = 300, or work = "5:00"')


def test_settings_that_no_code_reads_are_named_in_their_section(tmp_path):
    text = f"sampling = 5\n{WHOLE}pause = 3\nweather = 1\n[survey]\nequations = 2\nmoon = 3\n"
    _, _, found = problems_of(tmp_path, text)
    every = "rounds, work_s, work, rest_s, rest, exertion_scale, clothing"
    assert found["weather"] == (7, "no such setting of the protocol", f"write one of {every}")
    assert found["equations"] == (9, "no such setting of [survey]; did you mean equation?", "write equation")
    assert "moon" not in found  # a remark


def test_limits_of_the_analyser_at_the_top_stand_before_those_of_the_sampling(tmp_path):
    low, high = "lactate_analyser_low_mmol_l", "lactate_analyser_high_mmol_l"
    settings = problems_of(tmp_path, f"{high} = 25\n{WHOLE}[sampling]\n{high} = 22\n{low} = 0.5\n")[0]
    assert (settings[low], settings[high]) == (0.5, 25)


def test_a_title_is_a_text(tmp_path):
    settings, _, found = problems_of(tmp_path, f'title = 7\nsport = "judo"\n{WHOLE}')
    assert found == {"title": (1, "not a text", "put it in quotation marks")} and settings["title"] == "7"


def test_a_value_of_many_letters_is_not_written_out_in_the_remedy(tmp_path):
    for letters, whole in ((195, True), (196, False)):  # and four of the name: 199 and 200
        remedy = problems_of(tmp_path, f"{WHOLE}note = {'x' * letters}\n")[2]["note"][2]
        assert remedy == (f'write note = "{"x" * letters}"' if whole else "put it between two quotation marks")


def test_what_cannot_be_read_keeps_its_lines(tmp_path):
    deep = WHOLE + "x = " + "[" * 100_000
    for text in (deep, WHOLE + "x = 99999999999999999\n", WHOLE + "x\n"):
        settings = problems_of(tmp_path, text)[0]
        assert not settings and settings.line_of("protocol", "work_s") == 3


def test_lines_of_blocks_are_counted_by_their_own_name():
    text = """[plan]
outcome = 1
[[plan.looks]]
outcome = 2
[[plan.tests]]
  outcome = 3
note = 4
[[ plan.tests ]]
note = 5
[sampling]
outcome = 6"""
    settings = Settings({}, text.splitlines())
    where = [(1, "outcome"), (1, "note"), (2, "note"), (2, "outcome"), (3, "note"), (1, "out")]
    assert [settings.line_of_block("plan.tests", *w) for w in where] == [6, 7, 9, 8, None, 5]
    assert settings.line_of_block("plan.looks", 1, "note") == 3  # it stands in the next block only
    assert settings.line_of("plan", "tests", "note") == 7 and settings.line_of("plan", "tests") == 5
    assert settings.line_of("plan", "outcome") == 2 and settings.line_of("sampling", "outcome") == 11


def test_grades_are_texts_in_a_list():
    assert grades_of({"grades": [" white ", 3, "black"]}) == ("white", "black")
    assert grades_of({"grades": "white"}) == grades_of({}) == ()


def test_texts_that_cannot_be_printed_are_named_wherever_they_stand(tmp_path):
    for line, column in (('note = "a\\u0007"', "note"), ('grades = ["a", "b\\u0007"]', "grades")):
        found = problems_of(tmp_path, f"{line}\n{WHOLE}")[2]
        assert found[column][0] == 1 and len(found) == 1, line
    inner = problems_of(tmp_path, f'{WHOLE}[survey]\nequation = "\\u0007"\n')[2]
    assert list(inner) == ["equation"] and inner["equation"][0] == 6
