"""Loading: canonical tables, dialects, half-filled folders, the same study from CSV and workbook."""

import time
import tracemalloc

import pandas as pd
import pytest
from openpyxl import Workbook
from pandas.testing import assert_frame_equal
from study_folders import CODES, SETTINGS, aerobic_tests, athletes, changed, csv_text, make_folder, rounds, sessions

from analysis.study import TABLES, Study, StudyError, check_study, load_study, new_study
from analysis.study.columns import empty_table
from analysis.study.text_files import BLOCK, Rows, Texts

TABLES_OF_SMALL = {"athletes": athletes, "rounds": rounds, "sessions": sessions, "aerobic_tests": aerobic_tests}


def same_tables(one: Study, other: Study, *, but=("file", "row", "source_file")):
    for name in TABLES:
        left, right = (getattr(s, name).drop(columns=list(but), errors="ignore") for s in (one, other))
        assert_frame_equal(left, right)
    assert one.protocol == other.protocol


def test_a_small_study_loads_with_canonical_columns_and_types(tmp_path):
    study = load_study(make_folder(tmp_path))
    assert (study.protocol.rounds, study.protocol.work_s, study.protocol.rest_s) == (3, 300.0, 120.0)
    for name in TABLES:
        table, empty = getattr(study, name), empty_table(name)
        assert list(table.columns[: len(empty.columns)]) == list(empty.columns)
        assert (table.dtypes[empty.columns] == empty.dtypes).all(), name
    assert sorted(study.athletes["athlete"]) == sorted(CODES)  # 007 and NA stay text
    assert set(study.rounds["took_part"]) == {"yes"}
    assert set(study.rounds["session"]) == {"1"}
    assert study.rounds.loc[0, ["file", "row"]].tolist() == ["rounds.csv", 2]
    assert study.sessions.loc[0, "date"] == "2026-03-05"


def test_loading_is_quick_and_leaves_the_folder_alone(tmp_path):
    make_folder(tmp_path)
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in tmp_path.rglob("*")}
    load_study(tmp_path)
    start = time.process_time()
    load_study(tmp_path)
    assert time.process_time() - start < 0.25
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in tmp_path.rglob("*")} == before


@pytest.mark.parametrize(
    ("encoding", "delimiter", "decimal_comma"),
    [
        ("utf-8", ",", False),
        ("utf-8-sig", ";", True),
        ("cp1252", ";", True),
        ("utf-16", "\t", True),
        ("utf-16-le", ";", False),
        ("utf-8", "\t", False),
        ("utf-8-sig", ",", True),
    ],
)
def test_every_common_dialect_gives_the_same_study(tmp_path, encoding, delimiter, decimal_comma):
    noted = {"sessions": [{**sessions()[0], "note": "Größe der Matte: 8 × 8 m"}]}
    plain = load_study(make_folder(tmp_path / "plain", **noted))
    tables = {
        name: csv_text(noted.get(name) or make(), delimiter=delimiter, decimal_comma=decimal_comma).encode(encoding)
        for name, make in TABLES_OF_SMALL.items()
    }
    same_tables(plain, load_study(make_folder(tmp_path / "dialect", **tables)))


def test_line_ends_and_a_stated_separator_do_not_matter(tmp_path):
    plain = load_study(make_folder(tmp_path / "plain"))
    windows = ("sep=;\n" + csv_text(rounds(), delimiter=";")).replace("\n", "\r\n")
    other = load_study(make_folder(tmp_path / "windows", rounds=windows))
    same_tables(plain, other)
    assert other.rounds.loc[0, "row"] == 3


def test_rounds_side_by_side_are_the_same_as_rounds_in_rows(tmp_path):
    wide = {}
    for row in rounds():
        line = wide.setdefault(row["athlete"], {"athlete": row["athlete"]})
        line |= {f"{k}_{row['round_no']}": v for k, v in row.items() if k not in ("athlete", "round_no")}
    study = load_study(make_folder(tmp_path / "wide", rounds=list(wide.values())))
    same_tables(load_study(make_folder(tmp_path / "long")), study)
    assert study.rounds["row"].tolist() == [2, 2, 2, 3, 3, 3, 4, 4, 4, 5, 5, 5]


def test_a_blank_round_in_a_wide_sheet_is_no_row_and_a_fault_is_named_by_its_heading(tmp_path):
    text = "athlete,exertion_1,exertion_2,exertion_3\nA01,12,,14\nA02,13,31,15\n"
    with pytest.raises(StudyError) as caught:
        load_study(make_folder(tmp_path, rounds=text))
    assert caught.value.problems[["row", "column", "value"]].to_numpy().tolist() == [[3, "exertion_2", "31"]]
    study = load_study(make_folder(tmp_path, rounds=text.replace("31", "14")))
    assert study.rounds.query("athlete == 'A01'")["round_no"].tolist() == [1, 3]


def test_a_units_row_is_read_over_and_a_wrong_unit_is_a_problem(tmp_path):
    lines = csv_text(rounds()).splitlines()
    units = "code,number,code,mmol/L,6-20,beats/min"
    plain = load_study(make_folder(tmp_path / "plain"))
    with_units = make_folder(tmp_path / "units", rounds="\n".join([lines[0], units, *lines[1:]]))
    same_tables(plain, load_study(with_units))
    wrong = "\n".join([lines[0], units.replace("mmol/L", "mg/dL"), *lines[1:]])
    report = check_study(make_folder(tmp_path / "wrong", rounds=wrong))
    assert report.problems.iloc[0][["row", "column", "value"]].tolist() == [2, "lactate_mmol_l", "mg/dL"]


def test_a_units_row_that_was_typed_over_is_told_cell_by_cell_and_its_remedy_works(tmp_path):
    folder = new_study(tmp_path / "club", workbook=False)
    path = folder / "decisions.csv"
    heads, units = path.read_text(encoding="utf-8-sig").splitlines()[:2]
    over = ["2026-03-06", "study lead", *units.split(",")[2:]]
    path.write_text("\n".join([heads, ",".join(over)]) + "\n", encoding="utf-8")
    problems = check_study(folder).problems
    mine = problems[problems["file"] == "decisions.csv"]
    assert mine[["row", "column", "value"]].to_numpy().tolist() == [
        [2, "date", "2026-03-06"], [2, "decided_by", "study lead"],
    ]  # fmt: skip
    assert mine["remedy"].str.contains("empty this cell").all()
    path.write_text("\n".join([heads, ",".join(["", "", *over[2:]])]) + "\n", encoding="utf-8")
    assert "decisions.csv" not in check_study(folder).problems["file"].tolist()


def test_headings_may_be_written_freely_with_their_unit(tmp_path):
    text = csv_text(rounds()).replace("lactate_mmol_l", "Lactate_mmol_L (mmol/L)").replace("round_no", "Round No")
    same_tables(load_study(make_folder(tmp_path / "a")), load_study(make_folder(tmp_path / "b", rounds=text)))


def make_workbook(path, tables):
    book = Workbook()
    book.remove(book.active)
    for name, rows in tables.items():
        sheet = book.create_sheet(name)
        names = list(dict.fromkeys(n for row in rows for n in row))
        sheet.append(names)
        for row in rows:
            sheet.append([row.get(n) for n in names])
    book.create_sheet("notes").append(["anything at all"])
    book.save(path)


def test_a_workbook_and_csv_files_give_the_same_study(tmp_path):
    folder = make_folder(tmp_path / "book", without=tuple(TABLES_OF_SMALL))
    make_workbook(folder / "study.xlsx", {name: make() for name, make in TABLES_OF_SMALL.items()})
    (folder / "~$study.xlsx").write_bytes(b"left behind by an open spreadsheet")
    study = load_study(folder)
    same_tables(load_study(make_folder(tmp_path / "csv")), study)
    assert study.rounds.loc[0, "file"] == "study.xlsx, tab rounds"


def test_the_same_table_in_both_is_a_problem(tmp_path):
    folder = make_folder(tmp_path)
    make_workbook(folder / "study.xlsx", {"rounds": rounds()})
    with pytest.raises(StudyError, match="stands twice"):
        load_study(folder)


def test_a_blank_tab_beside_a_filled_csv_file_is_no_choice(tmp_path):
    folder = new_study(tmp_path / "x", rounds=3)
    same_tables(load_study(make_folder(tmp_path / "csv")), load_study(make_folder(folder)))


HALF_FILLED = {
    "planning only": {"without": ("rounds", "aerobic_tests", "sessions", "athletes")},
    "heart rate only": {
        "without": ("aerobic_tests",),
        "rounds": [{k: r[k] for k in ("athlete", "round_no", "hr_mean_typed_bpm")} for r in rounds()],
    },
    "no aerobic tests": {"without": ("aerobic_tests",)},
    "athletes and rounds alone": {"without": ("sessions", "aerobic_tests")},
    "headings alone": {"rounds": "athlete,round_no,exertion\n", "athletes": "athlete\n", "without": ("aerobic_tests",)},
    "blank files": {"rounds": "", "athletes": "\n\n", "without": ("aerobic_tests",)},
}


@pytest.mark.parametrize("kind", HALF_FILLED)
def test_half_filled_folders_are_normal(tmp_path, kind):
    folder = make_folder(tmp_path, **HALF_FILLED[kind])
    study = load_study(folder)
    assert study.published.empty and list(study.published.columns) == list(empty_table("published").columns)
    report = check_study(folder)
    needs = dict(zip(report.notebooks["notebook"], report.notebooks["needs"], strict=True))
    assert report.passed and needs["01_design_the_study"] == ""
    assert "published" in needs["06_compare_with_published"]
    assert report.filled == bool(len(study.rounds) or len(study.athletes) or len(study.sessions))


def test_a_folder_without_settings_or_that_is_none_says_what_to_do(tmp_path):
    with pytest.raises(StudyError, match=r"no study\.toml.*analysis new"):
        load_study(make_folder(tmp_path, settings=""))
    with pytest.raises(StudyError, match="no such folder"):
        load_study(tmp_path / "nowhere")
    with pytest.raises(StudyError, match="a file, not a folder"):
        load_study(tmp_path / "rounds.csv")


def test_the_order_of_rows_and_columns_changes_nothing(tmp_path):
    mixed = csv_text(
        rounds()[::-1], order=["exertion", "opponent", "round_no", "lactate_mmol_l", "athlete", "hr_mean_typed_bpm"]
    )
    one, other = (load_study(make_folder(tmp_path / n, rounds=r)) for n, r in (("a", rounds()), ("b", mixed)))
    keys = ["athlete", "round_no"]
    assert_frame_equal(
        one.rounds.sort_values(keys, ignore_index=True).drop(columns="row"),
        other.rounds.sort_values(keys, ignore_index=True).drop(columns="row"),
    )


def test_off_scale_lactate_is_a_bound_not_a_number(tmp_path):
    rows = rounds()
    for i, text in enumerate(("HI", "lo", ">25", "<0.5")):
        rows = changed(rows, i, lactate_mmol_l=text)
    study = load_study(make_folder(tmp_path, rounds=rows))
    assert study.rounds["lactate_limit"].tolist()[:5] == ["high", "low", "high", "low", ""]
    assert study.rounds["lactate_mmol_l"].isna().tolist()[:5] == [True] * 4 + [False]


def test_blank_words_are_missing_and_codes_are_not(tmp_path):
    rows = rounds()
    for i, text in enumerate(("-", "n/a", "NA", "–", "")):
        rows = changed(rows, i, lactate_mmol_l=text)
    study = load_study(make_folder(tmp_path, rounds=rows))
    assert study.rounds["lactate_mmol_l"].isna().sum() == 5
    assert study.rounds["athlete"].eq("NA").sum() == 3


def test_groups_have_rounds_of_their_own(tmp_path):
    settings = SETTINGS + "\n[protocol.novice]\nrounds = 2\n"
    grouped = [{**row, "group": "novice" if row["athlete"] == "A02" else ""} for row in athletes()]
    report = check_study(make_folder(tmp_path, settings=settings, athletes=grouped))
    assert report.problems[["column", "value"]].to_numpy().tolist() == [["round_no", "3"]]
    assert "it has 2" in report.problems.loc[0, "problem"]


def test_a_study_that_sat_out_and_left_keeps_its_words(tmp_path):
    rows = changed(rounds(), 0, took_part="sat out", opponent="none", exertion=None, hr_mean_typed_bpm=None)
    rows = [{**r, "opponent": "guest"} if i != 0 else r for i, r in enumerate(rows)]
    study = load_study(make_folder(tmp_path, rounds=rows))
    assert study.rounds["took_part"].value_counts().to_dict() == {"yes": 11, "sat_out": 1}


def test_formulas_in_texts_break_nothing(tmp_path):
    notes = ("=1+1", "+41", "-2", "@cmd", '=HYPERLINK("x")')
    rows = [{**r, "note": notes[i % 5]} for i, r in enumerate(rounds())]
    study = load_study(make_folder(tmp_path, rounds=rows))
    assert study.rounds["note"].tolist()[:5] == list(notes)


def test_a_date_still_to_come_is_a_plan_and_not_a_fault(tmp_path):
    ahead = [{"session": 1, "date": "2126-03-05"}]
    folder = make_folder(tmp_path, sessions=ahead, without=("rounds", "aerobic_tests"))
    assert "still to come" in load_study(folder).remarks["problem"].str.cat()
    assert check_study(make_folder(tmp_path, sessions=ahead)).problems.loc[0, "problem"] == "a date in the future"


def test_the_survey_table_needs_no_protocol(tmp_path):
    heads = "person,age_years,sex,minutes,hr_mean_bpm,hr_peak_bpm,device_kind,session_kind,file"
    text = f"{heads}\nP1,30,f,62:30,141,178,chest strap,class,\n"
    folder = make_folder(tmp_path, settings='kind = "survey"\n', without=tuple(TABLES_OF_SMALL), survey=text)
    study = load_study(folder)
    assert study.survey.loc[0, ["sex", "minutes", "device_kind"]].tolist() == ["F", 62.5, "chest_strap"]
    assert study.protocol.rounds == 0
    assert check_study(folder).notebooks["notebook"].tolist() == ["08_survey_of_sessions"]


def test_minutes_and_seconds_may_be_typed_as_times(tmp_path):
    tests = [{"athlete": "A01", "date": "1 March 2026", "test": "run_1_5_mile", "time_min": "10:45", "equation": ""}]
    rows = changed(rounds(), 0, lactate_delay_s="1:15", minutes_done="4:30", took_part="part")
    study = load_study(make_folder(tmp_path, aerobic_tests=tests, rounds=rows))
    assert study.aerobic_tests.loc[0, ["date", "time_min"]].tolist() == ["2026-03-01", 10.75]
    assert study.rounds.loc[0, ["lactate_delay_s", "minutes_done"]].tolist() == [75.0, 4.5]
    assert isinstance(study.remarks, pd.DataFrame)


def test_rows_of_any_length_read_as_they_stand():
    from analysis.study.text_files import Grid

    lines = [(1, ["a", "b"]), (3, ["1"]), (4, ["2", "3", "4"]), (7, ["", "5"])]
    rows = Rows(lines)
    assert list(rows) == lines and len(rows) == 4 and rows.width == 3
    body = Grid("t.csv", lines).rows[1:]
    assert list(body) == lines[1:] and list(body[1:]) == lines[2:] and body[-1] == lines[-1]
    assert body.numbers() == [3, 4, 7] and body.column(1) == ["", "3", "5"] and body[1:].column(9) == ["", ""]
    assert not Rows() and list(Rows()[1:]) == []


@pytest.mark.parametrize("n", [0, 5, BLOCK - 1, BLOCK, BLOCK + 1, 2 * BLOCK, 3 * BLOCK + 7])
def test_a_long_column_is_held_as_blocks_and_reads_like_a_list(n):
    texts = [("" if i % 7 == 0 else "a\0b" if i == BLOCK + 3 else f"ä{i}") for i in range(n)]
    rows = Rows((i + 1, [f"r{i}", text]) for i, text in enumerate(texts))
    for found, wanted in ((Texts(texts), texts), (rows.column(1), texts), (rows[3:-2].column(1), texts[3:-2])):
        assert len(found) == len(wanted) and list(found) == wanted and list(found[1:9]) == wanted[1:9]
        assert [found[i] for i in range(0, len(wanted), 97)] == wanted[::97] and list(found[-3:]) == wanted[-3:]
    changed = Texts(texts)
    for i in range(0, n, 1_000):
        changed[i] = texts[i] = "new"
    assert list(changed) == texts and list(rows.column(1)[:1]) == [""][:n]
    with pytest.raises(IndexError):
        Texts(texts)[n]


def test_a_column_that_begins_late_is_blank_before():
    rows = Rows((i, ["a"] if i < BLOCK + 5 else ["a", "late"]) for i in range(2 * BLOCK))
    assert list(rows.column(1)) == [""] * (BLOCK + 5) + ["late"] * (BLOCK - 5)
    assert rows[BLOCK] == (BLOCK, ["a"]) and rows[-1] == (2 * BLOCK - 1, ["a", "late"])


def test_half_a_million_different_cells_take_little_more_than_their_letters():
    tracemalloc.start()
    rows = Rows((i, [f"{k}{i}" for k in "abcdefgh"]) for i in range(60_000))
    held, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert held < 8e6 and rows[59_999][1][7] == "h59999"  # as lists of texts: 30 million bytes


def test_line_ends_of_every_kind_and_inside_quotes(tmp_path):
    from analysis.study.text_files import read_csv_grid

    path = tmp_path / "t.csv"
    path.write_bytes(b'sep=;\r\na;b\r"x\ny";2\n\n3;4')
    grid = read_csv_grid(path, file="t.csv")
    assert [cells for _, cells in grid.rows] == [["a", "b"], ["x\ny", "2"], ["3", "4"]]
