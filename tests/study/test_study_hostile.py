"""Whatever stands in a folder: a study, or a StudyError that a coach understands, in bounded time and memory."""

import os
import re
import time
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_folders import SETTINGS, athletes, changed, csv_text, make_folder, rounds

from analysis.study import Study, StudyError, check_study, load_study
from analysis.study.columns import TABLES, column_rules
from analysis.study.inventory import input_checksums

QUICK = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def examine(folder: Path) -> StudyError | Study:
    try:
        return load_study(folder)
    except StudyError as error:
        problems = error.problems
        assert len(problems) and (problems["problem"] != "").all() and (problems["remedy"] != "").all()
        assert problems["value"].str.len().max() <= 60
        assert "Traceback" not in str(error) and "<class" not in str(error)
        return error


CELLS = st.one_of(
    st.sampled_from(
        ["", "-", "NA", "nan", "inf", "-1", "0", "1", "2", "1e308", "9" * 400, "1,5", "1.5", "1:30", "12:30:00", "9-4", "09-Apr",
         "=1+1", "A01", "A02", "007", "guest", "yes", "HI", ">25", "\u202e5", "é", "\x00", "\ud7ff", "2026-03-01", "03/04/2026",
         "١٢", "1_000", "0x1F", "#REF!", "<script>", "a\tb", "²", "½"]
    ),
    st.text(max_size=8),
    st.floats(width=32).map(str),
    st.integers().map(str),
)  # fmt: skip


@QUICK
@given(data=st.data())
def test_any_cells_under_the_right_headings(tmp_path_factory, data):
    table = data.draw(st.sampled_from(TABLES))
    names = data.draw(st.lists(st.sampled_from(list(column_rules()[table])), min_size=1, unique=True))
    rows = data.draw(st.lists(st.fixed_dictionaries({name: CELLS for name in names}), max_size=4))
    folder = make_folder(tmp_path_factory.mktemp("cells"))
    text = csv_text(rows, order=names) if rows else ",".join(names)
    (folder / f"{table}.csv").write_bytes(text.encode("utf-8", "surrogatepass"))
    examine(folder)


@QUICK
@given(content=st.one_of(st.binary(max_size=300), st.text(max_size=300).map(lambda t: t.encode("utf-8", "replace"))))
def test_any_bytes_as_a_table_or_as_settings(tmp_path_factory, content):
    folder = make_folder(tmp_path_factory.mktemp("bytes"), rounds=content)
    examine(folder)
    (folder / "study.toml").write_bytes(content)
    examine(folder)


@QUICK
@given(data=st.data())
def test_a_table_damaged_anywhere(tmp_path_factory, data):
    content = bytearray(csv_text(rounds()).encode())
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, len(content) - 1))
        content[place : place + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    examine(make_folder(tmp_path_factory.mktemp("damaged"), rounds=bytes(content)))


SCALARS = st.one_of(st.booleans(), st.integers(-5, 10**20), st.floats(), st.text(max_size=6), st.none())
NAMES = st.sampled_from(["value", "reason", "a.b", "hr_mean_bpm", "rounds.lactate", "question", "direction"])
VALUES = st.recursive(
    SCALARS, lambda v: st.one_of(st.lists(v, max_size=2), st.dictionaries(NAMES, v, max_size=2)), max_leaves=4
)
KEYS = (
    *("primary_session", "alpha", "hypotheses", "primary_outcomes", "smallest_effects", "smallest_effect_reasons"),
    *("covariates", "exclusions", "capacity_unit", "round_variable", "n_athletes", "rounds", "work_s", "rest_s"),
    *("rest", "work", "exertion_scale", "groups"),
)


def toml_value(value) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{k}" = {toml_value(v)}' for k, v in value.items() if v is not None) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(v) for v in value if v is not None) + "]"
    if isinstance(value, str):
        return '"' + "".join(c for c in value if c.isalnum() or c in " :-.") + '"'
    return "0" if value is None else repr(value)


@QUICK
@given(plan=st.dictionaries(st.sampled_from(KEYS), VALUES), protocol=st.dictionaries(st.sampled_from(KEYS), VALUES))
def test_any_values_in_the_settings(tmp_path_factory, plan, protocol):
    lines = ["[plan]", *(f"{k} = {toml_value(v)}" for k, v in plan.items() if v is not None)]
    lines += ["[protocol]", *(f"{k} = {toml_value(v)}" for k, v in protocol.items() if v is not None)]
    examine(make_folder(tmp_path_factory.mktemp("settings"), settings="\n".join(lines) + "\n"))


HUGE = {
    "a line of megabytes": b"athlete,round_no\n" + b"A" * 8_000_000,
    "a quotation without end": b'athlete,round_no\n"' + b"A,1\n" * 400_000,
    "commas without end": b"athlete,round_no\n" + b"," * 2_000_000,
    "many headings": b",".join(b"x%d" % i for i in range(5_000)),
    "many blank lines": b"athlete,round_no,exertion\n" + b"\n" * 300_000 + b"A01,1,12\n",
    "zero bytes": bytes(3_000_000),
    "many wrong rows": b"athlete,round_no,exertion\n" + b"A01,1,99\n" * 4_000,
    "a million wrong rows": b"athlete,round_no,exertion\n"
    + b"".join(b"B%d,1,x%d\n" % (i, i) for i in range(1_000_000)),
    "wrong rows of a whole season": b"athlete,round_no,exertion\n"
    + b"".join(b"B%d,9,x%d\n" % (i, i) for i in range(9_000)),
}


@pytest.mark.parametrize("kind", HUGE)
def test_huge_and_endless_files_stay_within_bounds(tmp_path, kind):
    folder = make_folder(tmp_path, rounds=HUGE[kind])
    tracemalloc.start()
    start = time.process_time()
    report = check_study(folder)
    spent, (_, peak) = time.process_time() - start, tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert spent < 5 and peak < 300e6
    assert len(report.text()) < 200_000
    assert report.passed == (kind == "many blank lines")


@pytest.mark.parametrize("rows", [150_000, 1_200_000])
def test_a_long_survey_under_a_wrong_heading_is_answered_in_seconds(tmp_path, rows):
    """Each cell of the column is a word that is not among the choices, and the cause of each was looked for."""
    content = b"session_kind,rounds\n" + b"".join(b"w%d,3\n" % i for i in range(rows))
    folder = make_folder(tmp_path, without=("athletes", "rounds", "sessions", "aerobic_tests"), survey=content)
    start = time.process_time()
    report = check_study(folder)
    assert time.process_time() - start < 10
    assert not report.passed and len(report.text()) < 200_000
    assert report.problems["problem"].str.contains("more than 1,000,001 rows").any() == (rows > 1_000_001)


HUGE_SETTINGS = {
    "an integer of 5,000 digits": "[plan]\nn_athletes = " + "9" * 5_000,
    "an integer beyond all floats": "[fitness]\nstage_s = " + "9" * 400,
    "60,000 keys": "".join(f"k{i} = 1\n" for i in range(60_000)),
    "60,000 keys in one line": "[plan]\nx = {" + ", ".join(f"k{i} = 1" for i in range(60_000)) + "}",
}


@pytest.mark.parametrize("kind", HUGE_SETTINGS)
def test_endless_settings_are_answered_in_one_sentence(tmp_path, kind):
    start = time.process_time()
    report = check_study(make_folder(tmp_path, settings=HUGE_SETTINGS[kind] + "\n" + SETTINGS))
    assert time.process_time() - start < 5
    assert not report.passed and len(report.problems[report.problems["file"] == "study.toml"]) <= 5


def test_a_word_of_thousands_of_letters_is_not_said_again(tmp_path):
    report = check_study(make_folder(tmp_path, settings=SETTINGS + "note = " + "x" * 9_000))
    assert report.problems["problem"].tolist() == ["text without quotation marks"]
    assert len(report.problems["remedy"].iloc[0]) < 200


@pytest.mark.parametrize("value", ["0", "1e308", "-1e308"])
def test_a_number_that_cannot_be_is_told_wherever_it_stands(tmp_path, value):
    """Found by fuzzing: a mass of 0 divided, a heart rate of 1e308 and a delay of 1e308 overflowed."""
    rows = rounds()
    for row in rows[:5]:
        row |= {"hr_mean_typed_bpm": value, "lactate_delay_s": value.replace("0", "1", 1), "hr_peak_typed_bpm": value}
    weighed = [
        {"session": 1, "athlete": "A01", "mass_kg": value, "usual_mass_kg": 70},
        {"athlete": "A02", "mass_kg": value},
    ]
    report = check_study(make_folder(tmp_path, rounds=rows, attendance=weighed))
    told = set(report.problems["column"])
    assert {"hr_mean_typed_bpm", "hr_peak_typed_bpm", "mass_kg"} <= told


def test_a_file_name_that_no_disk_can_hold_is_named(tmp_path):
    listed = [{"athlete": "A01", "file": "x" * 1_900}, {"athlete": "A02", "file": "a/" * 900 + "b.fit"}]
    report = check_study(make_folder(tmp_path, recordings=listed))
    assert report.problems["problem"].str.contains("no such file").sum() == 2


def test_long_lists_of_one_fault_are_counted_not_listed(tmp_path):
    rows = [{"athlete": "A01", "round_no": 1, "exertion": 99} for _ in range(900)]
    report = check_study(make_folder(tmp_path, rounds=rows))
    assert len(report.problems) < 500
    assert report.problems["problem"].str.contains("more of this kind").any()


def test_a_file_that_may_not_be_read_is_named(tmp_path):
    folder = make_folder(tmp_path)
    (folder / "athletes.csv").unlink()
    (folder / "athletes.csv").mkdir()
    (folder / "clock.csv").symlink_to(folder / "nowhere.csv")  # neither is a table, so nobody has consented
    found = check_study(folder).problems.set_index("file")["problem"]
    assert found["athletes.csv"] == "not a file" and "leads nowhere" in found["clock.csv"]
    assert found.str.contains("no consent on record").sum() == 1
    assert "study.toml" not in [p.name for p in (folder / "athletes.csv").iterdir()]
    assert SETTINGS in (folder / "study.toml").read_text() and athletes()


@pytest.mark.parametrize("kind", ["a file", "a folder", "a way round"])
@pytest.mark.parametrize("inside", ["recordings", "aerobic_files"])
def test_a_link_that_leaves_the_folder_is_refused_and_its_target_never_read(tmp_path, kind, inside):
    study = make_folder(tmp_path / "study")
    secret = tmp_path / "elsewhere" / "A01_s1.csv"
    secret.parent.mkdir()
    secret.write_text("elapsed_s,hr\n" + "".join(f"{s},171\n" for s in range(900)))
    (study / inside).mkdir(exist_ok=True)
    link = study / inside / ("A01_s1.csv" if kind == "a file" else "more")
    target = {"a file": secret, "a folder": secret.parent, "a way round": Path("..", "..", "elsewhere")}[kind]
    link.symlink_to(target)
    report = check_study(study)
    said, expected = report.text(), "leads out" if kind == "a file" else "not followed"
    assert not report.passed and report.problems["problem"].str.contains(expected).tolist() == [True]
    assert "171" not in said and str(secret.parent) not in said
    assert not any(str(path).startswith(str(secret.parent)) for path in input_checksums(study))
    link.unlink()
    own = study / inside / "own.csv"
    own.write_text("elapsed_s,hr\n0,120\n")
    (study / inside / "A01_s1.csv").symlink_to("own.csv")  # a link that stays inside is a file like others
    assert "link" not in check_study(study).text()


def test_what_python_leaves_behind_is_no_input(tmp_path):
    study = make_folder(tmp_path)
    before = input_checksums(study)
    left = study / "how_it_was_made" / "__pycache__"
    left.mkdir(parents=True)
    (left / "make.pyc").write_bytes(b"made by Python")
    assert input_checksums(study) == before != {}


def test_a_round_beyond_all_numbers_is_a_problem_of_its_own(tmp_path):
    rows = [*rounds(), {"athlete": "A01", "round_no": 9223372036854775296, "exertion": 12}]
    report = check_study(make_folder(tmp_path, rounds=rows))
    assert report.problems["column"].tolist() == ["round_no"] and "outside 0 to 30" in report.text()


@pytest.mark.parametrize(
    ("lines", "column"),
    [
        ('[plan.primary_outcomes]\n"rounds.lactate" = []', "primary_outcomes"),
        ('[[plan.hypotheses]]\nquestion = ["rounds.lactate"]', "hypotheses"),
        ('[[plan.hypotheses]]\nquestion = "rounds.lactate"\noutcome = {}', "hypotheses"),
        ('[[plan.hypotheses]]\nquestion = "rounds.lactate"\ndirection = []', "direction"),
    ],
)
def test_a_list_where_a_name_belongs_is_named(tmp_path, lines, column):
    settings = f"[protocol]\nrounds = 3\nwork_s = 300\nrest_s = 60\n{lines}\n"
    found = examine(make_folder(tmp_path, settings=settings))
    assert isinstance(found, StudyError) and f", {column} " in str(found)


def test_many_files_without_a_row_in_a_linked_folder_are_each_named(tmp_path):
    folder, elsewhere = make_folder(tmp_path), tmp_path / "elsewhere"
    elsewhere.mkdir()
    for number in range(12):
        (elsewhere / f"{number}.csv").write_text("seconds,heart_rate\n0,120\n")
    (folder / "recordings").symlink_to(elsewhere, target_is_directory=True)
    with pytest.raises(StudyError) as found:
        load_study(folder)
    assert all(f"'{number}.csv'" in str(found.value) for number in range(12))  # each by its name, none folded away


def test_a_raised_digit_in_a_heading_is_no_number_of_a_round(tmp_path):
    folder = make_folder(tmp_path, rounds=[{"athlete": "A01", "exertion_²": "13", "exertion_1": "12"}])
    assert "exertion_²" in check_study(folder).text()


def test_what_has_the_name_of_an_input_and_is_none_is_named(tmp_path):
    folder, elsewhere = make_folder(tmp_path / "study"), tmp_path / "rounds.csv"
    elsewhere.write_bytes((folder / "rounds.csv").read_bytes())
    (folder / "rounds.csv").unlink()
    (folder / "rounds.csv").symlink_to(elsewhere)  # its content would be in no checksum
    (folder / "study.xlsx").symlink_to("gone.xlsx")
    (folder / "aerobic_files").write_text("a file")
    (folder / "recordings").mkdir()
    (folder / "recordings" / "A01.fit").symlink_to("gone.fit")
    os.mkfifo(folder / "recordings" / "A02.fit")
    (folder / "recordings" / "loop.csv").symlink_to("loop.csv")
    found = check_study(folder).problems
    told = dict(zip(found["file"] + found["value"], found["problem"], strict=True))
    nowhere = "a link that leads nowhere"
    expected = {
        "rounds.csv": "a link that leads out of the study folder",
        "study.xlsx": nowhere,
        "aerobic_files": "not a folder",
        "recordings/A01.fit": nowhere,
        "recordings/A02.fit": "not a file",
        "recordings/loop.csv": nowhere,
    }
    assert {k: told.get(k) for k in expected} == expected


def test_a_tilde_that_names_nobody_is_a_name_like_others():
    assert "no such folder" in check_study("~nobody_of_this_name/x").text()


def test_a_text_that_cannot_be_read_is_named(tmp_path):
    folder = make_folder(tmp_path / "study")
    (folder / "texts").mkdir()
    (tmp_path / "secret.md").write_text("a secret")
    (folder / "texts" / "athlete_page.md").symlink_to(tmp_path / "secret.md")
    (folder / "texts" / "screening.md").write_bytes("Prüfung".encode("latin-1"))
    (folder / "texts" / "folder.md").mkdir()
    os.mkfifo(folder / "texts" / "pipe.md")
    found = check_study(folder).problems
    assert dict(zip(found["file"], found["problem"], strict=True)) == {
        "texts/athlete_page.md": "a link that leads out of the study folder",
        "texts/screening.md": "not saved as UTF-8",
        "texts/folder.md": "not a file",
        "texts/pipe.md": "not a file",
    }


def test_long_codes_take_no_pattern_of_them_all():
    """A table of 45 MB of them took a pattern of 900 MB."""
    from analysis.study.privacy import Mentions

    codes = [f"c{i}{'x' * 99}" for i in range(9_000)]
    tracemalloc.start()
    found = Mentions(codes).replace(f"{codes[3]}.csv", lambda code: "X")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert found == "X.csv" and peak < 5e6


def test_many_codes_are_hidden_as_few_are():
    from analysis.study.privacy import Mentions

    codes = [f"K{i:05d}" for i in range(9_000)] + ["412", "Ann"]
    text = "K00017 met 412 before K0001 left; Ann-3 saw athlete 412, K08999."
    few = Mentions([c for c in codes if c in text]).replace(text, lambda code: "X", typed=True)
    assert Mentions(codes).replace(text, lambda code: "X", typed=True) == few
    assert "K00017" not in few and "K0001 " in few and "412" not in few


def test_a_text_to_print_is_no_book(tmp_path):
    folder = make_folder(tmp_path)
    (folder / "texts").mkdir(exist_ok=True)
    (folder / "texts" / "consent.md").write_text("[name]\n" * 60_000)
    start = time.process_time()
    report = check_study(folder)
    assert time.process_time() - start < 5 and "59980 more" in report.text()
    (folder / "texts" / "consent.md").write_text("word [name]\n" * 60_000)
    assert "larger than a text of a hundred pages" in check_study(folder).text()


@pytest.mark.parametrize("sign", ["\x07", "\x1b", "\u202e", "\u2066", "\ufffe"])
def test_signs_that_cannot_be_printed_are_named_and_not_carried_into_a_write_up(tmp_path, sign):
    """The Word file ended in a traceback, and a page would have turned round what follows."""
    rows = changed(rounds(), 0, note=f"fine{sign}here")
    escaped = f"\\u{ord(sign):04x}"
    settings = f'sport = "wrestling{escaped}"\n' + re.sub(r"(?m)^sport.*\n", "", SETTINGS)
    found = check_study(make_folder(tmp_path, rounds=rows, settings=settings)).problems
    told = found[found["problem"].str.contains("cannot be printed")]
    assert {("rounds.csv", "note"), ("study.toml", "sport")} <= set(zip(told["file"], told["column"], strict=True))
    assert not told["value"].str.contains(sign, regex=False).any()


def test_a_line_break_in_a_note_is_printed(tmp_path):
    rows = changed(rounds(), 0, note="first line\nsecond\tline \u200f")
    assert not check_study(make_folder(tmp_path, rounds=rows)).text().count("cannot be printed")
