"""What spreadsheets do to sheets: typed cells, times and dates that they made, formulas, packed bombs."""

import datetime as dt
import zipfile

import pytest
from openpyxl import Workbook, load_workbook
from study_folders import athletes, make_folder, rounds

from analysis.study import StudyError, check_study, load_study, new_study
from analysis.study.text_files import Unreadable
from analysis.study.workbook import cell_text, read_workbook


def book_with(folder, **tabs):
    book = Workbook()
    book.remove(book.active)
    for name, rows in tabs.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(folder / "study.xlsx")
    return folder


def test_typed_cells_become_plain_texts():
    assert cell_text(7) == "7" and cell_text(7.5) == "7.5" and cell_text(True) == "yes"
    assert cell_text(0.1 + 0.2) == "0.3"
    assert cell_text(72.125) == "72.1250"  # never to be taken for a thousands sign
    assert cell_text(dt.time(19, 30)) == "19:30:00"
    assert cell_text(dt.datetime(2026, 11, 20, 19, 30)) == "2026-11-20 19:30:00"
    assert cell_text(dt.timedelta(hours=35, minutes=10)) == "35:10:00"
    assert cell_text(dt.datetime(1900, 1, 1, 11, 10)) == "59:10:00"
    assert cell_text("  A07 ") == "A07" and cell_text(None) == ""


def test_numbers_dates_and_times_typed_into_a_workbook_are_read(tmp_path):
    folder = make_folder(tmp_path, without=("sessions", "rounds", "aerobic_tests"))
    book_with(
        folder,
        sessions=[["session", "date", "utc_offset"], [1, dt.datetime(2026, 3, 5), 1]],
        clock=[["round_no", "start_clock", "end_clock"], [1, dt.time(19, 30), dt.time(19, 35)]],
        aerobic_tests=[["athlete", "date", "test", "distance_m"], ["A01", dt.date(2026, 3, 1), "run_12_min", 2450.0]],
    )
    study = load_study(folder)
    assert study.sessions.loc[0, ["session", "date", "utc_offset"]].tolist() == ["1", "2026-03-05", "+01:00"]
    assert study.clock.loc[0, ["start_clock", "end_clock"]].tolist() == ["19:30:00", "19:35:00"]
    assert study.aerobic_tests.loc[0, "distance_m"] == 2450


def test_the_traps_of_a_spreadsheet_are_told_apart(tmp_path):
    folder = make_folder(tmp_path, without=("aerobic_tests",))
    book_with(
        folder,
        aerobic_tests=[
            ["athlete", "date", "test", "level", "shuttle", "time_min"],
            ["A01", "2026-03-01", "shuttle_run_20m", 9.1, None, None],  # 9.10
            ["A02", "2026-03-01", "shuttle_run_20m", dt.datetime(2026, 4, 9), None, None],  # 9-4
            ["007", "2026-03-01", "run_1_5_mile", None, None, dt.time(12, 30)],  # 12:30
        ],
    )
    problems = check_study(folder).problems
    assert problems["row"].tolist() == [2, 3, 4]
    expected = ("9.10 becomes 9.1", "turned something like 9-4", "12:30 (minutes:seconds)")
    for words, problem in zip(expected, problems["problem"], strict=True):
        assert words in problem


def test_a_workbook_of_new_filled_with_decimal_commas(tmp_path):
    folder = new_study(tmp_path / "autumn", rounds=3, tests=["run_12_min"])
    book = load_workbook(folder / "study.xlsx")
    for name, rows in {"athletes": athletes(), "rounds": rounds()}.items():
        sheet = book[name]
        places = {cell.value: cell.column for cell in sheet[1]}
        for number, row in enumerate(rows, start=3):
            for column, value in row.items():
                sheet.cell(number, places[column], str(value).replace(".", ","))
    book.save(folder / "study.xlsx")
    study = load_study(folder)
    assert study.rounds["lactate_mmol_l"].tolist() == [row["lactate_mmol_l"] for row in rounds()]
    assert study.athletes["athlete"].tolist() == ["A01", "A02", "007", "NA"]
    assert study.rounds.loc[0, "row"] == 3


def test_a_formula_without_a_value_is_named(tmp_path):
    folder = make_folder(tmp_path, without=("rounds",))
    book_with(folder, rounds=[["athlete", "round_no", "exertion"], ["A01", 1, "=10+3"]])
    problems = check_study(folder).problems
    assert "formulas without a worked-out value: C2" in problems["problem"].iloc[0]


def test_blank_formatted_rows_and_hidden_columns_do_no_harm(tmp_path):
    folder = make_folder(tmp_path, without=("rounds",))
    book_with(folder, rounds=[["athlete", "round_no", "exertion", None], ["A01", 1, 13], [], [None], ["A01", 2, 14]])
    book = load_workbook(folder / "study.xlsx")
    book["rounds"].cell(1_048_576, 1).number_format = "@"  # formatting that reaches the last row
    book.save(folder / "study.xlsx")
    assert load_study(folder).rounds["row"].tolist() == [2, 5]


def zip_bomb(path):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", bytes(61_000_000))


def entity_bomb(path):
    book = Workbook()
    book.active.title = "rounds"
    book.active.append(["athlete"])
    book.save(path)
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    levels = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 9))
    bomb = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY l0 "lol">{levels}]>'.encode()
    sheet = members["xl/worksheets/sheet1.xml"]
    members["xl/worksheets/sheet1.xml"] = bomb + sheet.replace(b"<t>", b"<t>&l8;").replace(b"<v>", b"<v>&l8;")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)


BROKEN = {
    "zip bomb": zip_bomb,
    "entity bomb": entity_bomb,
    "no workbook": lambda path: path.write_bytes(b"PK\x03\x04 not really"),
    "empty file": lambda path: path.write_bytes(b""),
    "old format or password": lambda path: path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)),
    "text": lambda path: path.write_text("athlete,round_no\n"),
    "other archive": lambda path: zipfile.ZipFile(path, "w").writestr("a.txt", "b"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_broken_workbooks_are_refused_in_words(tmp_path, kind):
    folder = make_folder(tmp_path)
    BROKEN[kind](folder / "study.xlsx")
    with pytest.raises(StudyError) as caught:
        load_study(folder)
    found = caught.value.problems.iloc[0]
    assert found["file"] == "study.xlsx" and "Error" not in found["remedy"] and "workbook" in found["problem"]


@pytest.mark.parametrize(
    ("part", "content", "words"),
    [
        ("xl/styles.xml", b"<styleSheet>" + b"<xf/>" * 800_001, "styles.xml in the workbook is larger than 4 MB"),
        ("xl/worksheets/sheet1.xml", b"<sheetData><row>" + b"<c/>" * 100_001 + b"</row>", "cells without end"),
        ("xl/worksheets/sheet1.xml", b"<sheetData><row>" + b"<c/>" * 99_000 + b"</row><row><c/></row>", "damaged"),
        ("xl/worksheets/sheet1.xml", b"<x:row>" + b"<x:c/>" * 100_001 + b"</x:row>", "cells without end"),
    ],
    ids=["styles", "one row", "a row within bounds", "with a prefix"],
)
def test_parts_that_would_fill_the_memory_are_refused_before_they_are_read(tmp_path, part, content, words):
    """A workbook of 40 MB took 24 s and 1.8 GB."""
    whole, path = tmp_path / "whole.xlsx", tmp_path / "study.xlsx"
    Workbook().save(whole)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, content if name == part else old.read(name))
    with pytest.raises(Unreadable) as fault:
        read_workbook(path)
    assert words in fault.value.problem and fault.value.remedy


def test_a_workbook_cut_short_anywhere_is_refused(tmp_path):
    folder = make_folder(tmp_path, without=("rounds",))
    book_with(folder, rounds=[["athlete", "round_no", "exertion"], ["A01", 1, 13]])
    whole = (folder / "study.xlsx").read_bytes()
    for share in (0.2, 0.5, 0.9, 0.99):
        (folder / "study.xlsx").write_bytes(whole[: int(share * len(whole))])
        assert not check_study(folder).passed
