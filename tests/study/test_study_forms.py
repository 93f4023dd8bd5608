"""The workbook comes filled with what is known, and other spreadsheet programs leave it readable."""

import shutil
import subprocess

import openpyxl
import pytest
from typed_clubs import clean_club, write_book

from analysis.answers import open_answers
from analysis.basics import KitError
from analysis.sheets import fill_tables, plan_evening
from analysis.study import check_study, load_study, new_study
from analysis.study.workbook import FIRST_ROW, TYPE_HERE, fill_workbook, read_workbook

SOFFICE = shutil.which("soffice")


def fresh(tmp_path, **options):
    return new_study(tmp_path / "club", athletes=8, rounds=4, tests=["shuttle_run_20m"], **options)


def test_a_new_workbook_holds_codes_and_rounds_and_says_where_to_type(tmp_path):
    folder = fresh(tmp_path)
    book = openpyxl.load_workbook(folder / "study.xlsx")
    rounds = book["rounds"]
    keys = [(r[1], r[2]) for r in rounds.iter_rows(min_row=FIRST_ROW, values_only=True)]
    assert len(keys) == 8 * 5 and keys[0] == ("A01", "0") and keys[-1] == ("A08", "4")  # round 0 is before sparring
    assert rounds.freeze_panes.endswith(str(FIRST_ROW))
    heads = [c.value for c in rounds[1]]
    typed = rounds.cell(FIRST_ROW, heads.index("exertion") + 1)
    assert typed.fill.fgColor.rgb.endswith(TYPE_HERE) and not rounds.cell(FIRST_ROW, 2).fill.fgColor.rgb.endswith(
        TYPE_HERE
    )
    lists = {v.formula1 for v in rounds.data_validations.dataValidation}
    assert '"yes,part,sat_out,left"' in lists and any("athletes!" in f for f in lists)
    report = check_study(folder)
    assert report.passed and "8 athletes have no consent on record" in report.text()


def test_csv_files_come_filled_too(tmp_path):
    assert len(load_study(fresh(tmp_path, workbook=False)).ledger.table.query("table == 'rounds'")) == 40


def test_the_evening_is_written_into_the_workbook_once_and_never_over_what_is_typed(tmp_path):
    folder = fresh(tmp_path)
    study = open_answers(folder).study
    evening = plan_evening(study, start_clock="19:00")
    assert "rounds" in fill_tables(evening, study).partition(".")[0]
    rounds = load_study(folder)  # nobody has consented yet, so nothing is analysed
    assert rounds.rounds.empty
    sheet = openpyxl.load_workbook(folder / "study.xlsx")["rounds"]
    heads = [c.value for c in sheet[1]]
    rows = [dict(zip(heads, r, strict=False)) for r in sheet.iter_rows(min_row=FIRST_ROW, values_only=True)]
    met = {(r["athlete"], int(r["round_no"])): r["opponent"] for r in rows if r["round_no"] != "0"}
    planned = {(r.athlete, r.round_no): r.opponent for r in evening.pairing.opponents.itertuples()}
    assert met == planned
    assert (
        "Left alone" in fill_tables(evening, study)
        and "rounds" in fill_tables(evening, study).partition("Left alone")[2]
    )


def test_a_workbook_with_formulas_is_left_alone(tmp_path):
    folder = fresh(tmp_path)
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["athletes"]["D3"] = "=20+3"
    book.save(folder / "study.xlsx")
    before = (folder / "study.xlsx").read_bytes()
    with pytest.raises(KitError, match="formulas"):
        fill_workbook(folder / "study.xlsx", {"clock": [{"session": "1", "round_no": "1"}]})
    assert (folder / "study.xlsx").read_bytes() == before


@pytest.mark.skipif(SOFFICE is None, reason="no LibreOffice here")
def test_a_round_trip_through_another_spreadsheet_program_changes_nothing(tmp_path):
    folder = write_book(clean_club(5), tmp_path / "club", "workbook")
    out = tmp_path / "out"
    profile = f"-env:UserInstallation=file://{tmp_path / 'profile'}"
    subprocess.run(
        [SOFFICE, profile, "--headless", "--convert-to", "ods", "--outdir", str(out), str(folder / "study.xlsx")],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    subprocess.run(
        [SOFFICE, profile, "--headless", "--convert-to", "xlsx", "--outdir", str(out), str(out / "study.ods")],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    before, after = read_workbook(folder / "study.xlsx"), read_workbook(out / "study.xlsx")
    assert {t: g.rows for t, g in before.items()} == {t: g.rows for t, g in after.items()}
    book = openpyxl.load_workbook(out / "study.xlsx")
    assert book["rounds"].data_validations.dataValidation
