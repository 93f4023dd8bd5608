"""A new folder: passes the check, holds only what is needed, and is refused where it must not lie."""

import csv

import pytest
from openpyxl import load_workbook

from analysis.basics import KitError
from analysis.study import check_study, describe_columns, load_study, new_study
from analysis.study.aerobic import known_tests, needed_inputs
from analysis.study.columns import TABLES, column_rules
from analysis.study.new_folder import sheet_columns

TEXTS = {"texts/incident_log.md", "texts/information_and_consent.md", "texts/screening.md"}
OPTIONS = [
    {},
    {"workbook": False},
    {"survey": True},
    {"survey": True, "workbook": False},
    {"tests": ["shuttle_run_20m", "laboratory"], "rounds": 6, "work": "6:00", "rest": 90, "scale": "0-10"},
]


@pytest.mark.parametrize("options", OPTIONS, ids=str)
def test_a_new_folder_passes_the_check_with_nothing_filled_in(tmp_path, options):
    folder = new_study(tmp_path / "a folder with ümlaut", **options)
    report = check_study(folder)
    assert report.passed and not report.filled, report.text()
    assert set(report.remarks["file"]) == (set() if options.get("survey") else TEXTS)  # the brackets to fill in
    assert "Nothing filled in yet" in report.text()
    assert (folder / "README.md").is_file() and (folder / "recordings").is_dir()


def test_the_protocol_and_the_plan_stand_in_the_settings(tmp_path):
    study = load_study(new_study(tmp_path / "x", rounds=6, work="6:30", rest="1:15", scale="0-100"))
    assert (study.protocol.rounds, study.protocol.work_s, study.protocol.rest_s) == (6, 390.0, 75.0)
    assert study.protocol.exertion_scale == "0-100"
    assert len(study.plan.hypotheses) == 5


def test_the_workbook_has_the_columns_of_the_printed_sheets_as_text(tmp_path):
    book = load_workbook(new_study(tmp_path / "x", tests=["run_12_min"]) / "study.xlsx")
    assert book.sheetnames[-1] == "notes" and set(book.sheetnames) - {"notes"} <= set(TABLES)
    for name in set(book.sheetnames) - {"notes"}:
        heads = [cell.value for cell in book[name][1]]
        assert tuple(heads) == sheet_columns(name, ["run_12_min"])
        units = dict(zip(heads, (cell.value for cell in book[name][2]), strict=True))
        assert all(units.values())
        for cell in book[name][1]:
            assert book[name].column_dimensions[cell.column_letter].number_format == "@"
    assert [c.value for c in book["aerobic_tests"][1]] == ["athlete", "date", "test", "distance_m", "note"]
    assert dict(zip(sheet_columns("rounds"), (c.value for c in book["rounds"][2]), strict=True))["exertion"] == "6-20"


def test_csv_files_open_in_a_spreadsheet(tmp_path):
    folder = new_study(tmp_path / "x", workbook=False)
    content = (folder / "rounds.csv").read_bytes()
    assert content.startswith(b"\xef\xbb\xbf")
    rows = list(csv.reader(content.decode("utf-8-sig").splitlines()))
    assert tuple(rows[0]) == sheet_columns("rounds") and len(rows) == 2


@pytest.mark.parametrize("test", known_tests())
def test_every_aerobic_test_has_a_sheet_with_its_inputs(test):
    columns = sheet_columns("aerobic_tests", [test])
    from_athletes = {"age_years", "sex", "mass_kg"}
    needs = {"file" if n == "samples" else n for n in needed_inputs(test)[0]} - from_athletes
    assert needs <= set(columns)


def test_texts_carry_their_cautions_and_defer(tmp_path):
    folder = new_study(tmp_path / "x") / "texts"
    texts = {path.name: path.read_text(encoding="utf-8").lower() for path in folder.glob("*.md")}
    assert set(texts) == {"athlete_page.md", "incident_log.md", "information_and_consent.md", "screening.md"}
    consent, screening = texts["information_and_consent.md"], texts["screening.md"]
    for words in ("ethics", "withdraw", "guardian", "lancet", "licence", "without giving a reason", "blow to the head"):
        assert words in consent, words
    for words in (
        "chest",
        "faint",
        "concussion",
        "clearance",
        "doctor",
        "2 %",
        "no medical examination",
        "skin infection",
    ):
        assert words in screening, words


def test_folders_where_health_data_must_not_lie_are_refused(tmp_path):
    (tmp_path / ".git").mkdir()
    with pytest.raises(KitError, match="git work tree"):
        new_study(tmp_path / "deep" / "inside")
    assert not (tmp_path / "deep").exists()


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes.txt").write_text("mine")
    with pytest.raises(KitError, match="not empty"):
        new_study(tmp_path / "full")
    (tmp_path / "file").write_text("mine")
    with pytest.raises(KitError, match="is a file"):
        new_study(tmp_path / "file")
    assert (tmp_path / "full" / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"tests": ["run_12_mins"]}, "Did you mean run_12_min?"),
        ({"rounds": 0}, "from 1 to 30"),
        ({"work": "five"}, "is no time"),
        ({"work": "5"}, "Did you mean 5:00"),
        ({"rest": -1}, "outside 0 to 7200"),
        ({"scale": "1-10"}, "must be one of"),
    ],
)
def test_options_that_make_no_sense_write_nothing(tmp_path, options, words):
    with pytest.raises(KitError, match=words.replace("?", r"\?")):
        new_study(tmp_path / "x", **options)
    assert not (tmp_path / "x").exists()


def test_the_reference_is_computed_from_the_rules():
    table = describe_columns()
    assert list(table.columns) == ["table", "column", "unit", "meaning", "allowed", "required"]
    assert len(table) == sum(len(columns) for columns in column_rules().values())
    assert (table[["meaning", "allowed", "required"]] != "").all().all()
    assert set(describe_columns("lactate")["table"]) == {"lactate"}
    lactate = describe_columns("rounds").set_index("column").loc["lactate_mmol_l"]
    assert lactate["allowed"] == "number, HI, LO, 0.3 to 30" and lactate["unit"] == "mmol/L"
