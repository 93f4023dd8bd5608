"""Sheets for the evening: what stands on them, in which order, and that both papers print."""

import re
from functools import cache
from pathlib import Path

import pytest

from analysis.basics import KitError, NotYet
from analysis.planning import make_timetable, pair_athletes
from analysis.sheets import list_materials, plan_evening, preview_sheets, write_code_list, write_sheets, write_texts
from analysis.sheets.content import build_sheets
from analysis.sheets.html import sheets_html
from analysis.sheets.parts import Sheet
from analysis.sheets.pdf import arrange, room_on, texts_pdf
from analysis.sheets.write import study_sheets
from analysis.study import Protocol, Study, load_study, new_study
from analysis.study.columns import table_columns
from analysis.study.new_folder import make_codes

EVENING = Protocol(4, 300.0, 120.0, "6-20")
CODES = make_codes(7)


@pytest.fixture(scope="module")
def evening():
    pairing = pair_athletes(CODES, 4, guests=1)
    timetable = make_timetable(EVENING, athletes=pairing, start_clock="19:00")
    return pairing, timetable, build_sheets(EVENING, CODES, pairing=pairing, timetable=timetable)


@pytest.fixture(scope="module")
def demo():
    return plan_evening(load_study(Path(__file__).parents[2] / "data_demo"), start_clock="19:00")


@cache
def paired(n):
    return pair_athletes(make_codes(n), 4)


def named(sheets, key):
    return next(s for s in sheets if s.key == key)


def pages(path):
    return len(re.findall(rb"/Type /Page\b", Path(path).read_bytes()))


def test_every_sheet_of_the_evening_is_there(evening):
    keys = [s.key for s in evening[2]]
    wanted = ["safety", "timekeeper", "roll_call", "athletes", "round_0", "round_1_2", "round_3_4", "mat_1", "mat_4"]
    wanted += [*(f"athlete_{c}" for c in CODES), "incidents", "materials"]
    assert set(wanted) <= set(keys)
    assert len(keys) == len(set(keys))


def test_the_columns_stand_in_the_order_of_the_workbook(tmp_path):
    folder = new_study(tmp_path / "club", rounds=3)
    import openpyxl

    book = openpyxl.load_workbook(folder / "study.xlsx", read_only=True)
    sheets = study_sheets(load_study(folder), timetable=None)
    assert isinstance(sheets, NotYet)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(text.replace("[plan]", "[plan]\nn_athletes = 5"), encoding="utf-8")
    sheets = study_sheets(load_study(folder))
    told = {"session", "withdrawn", "club"}  # the evening stands in the title; the rest is no matter of this sheet
    kept = {"timekeeper": "clock", "roll_call": "attendance", "athletes": "athletes", "round_1_2": "rounds"}
    for key, tab in kept.items():
        head = [cell.value for cell in next(book[tab].iter_rows(max_row=1))]
        if key != "timekeeper":
            head = [name for name in head if name not in told]
        assert [c.name for c in named(sheets, key).columns] == head
    book.close()


def test_codes_rounds_and_opponents_are_filled_in(evening):
    pairing, _, sheets = evening
    seen = []
    for key in ("round_1_2", "round_3_4"):
        sheet = named(sheets, key)
        lines = zip(sheet.column("round_no"), sheet.column("athlete"), sheet.column("opponent"), strict=True)
        seen += [(int(round_no), code, opponent) for round_no, code, opponent in lines]
        assert set(sheet.column("exertion")) == {""}
    planned = pairing.opponents[pairing.opponents["athlete"].isin(CODES)]
    assert sorted(seen) == sorted(planned[["round_no", "athlete", "opponent"]].itertuples(index=False, name=None))
    assert named(sheets, "roll_call").column("athlete") == CODES


def test_the_coach_sees_all_pairs_and_what_to_decide():
    import pandas as pd

    heavy = pd.DataFrame({"athlete": CODES, "mass_kg": [50.0, 60, 70, 80, 90, 100, 140]})
    pairing = pair_athletes(heavy, 4)
    sheet = named(build_sheets(EVENING, CODES, pairing=pairing), "pairs")
    assert len(sheet.rows) == 4
    assert sheet.rows[-1][0] == "out"
    first = pairing.schedule.iloc[0]
    assert f"{first['athlete_1']} – {first['athlete_2']}" in sheet.rows[0]
    assert any("coach decides" in step for step in sheet.steps)


def test_who_is_sampled_stands_first_and_the_others_are_marked(evening):
    sheet = named(evening[2], "round_1_2")
    lactate = [v for v, r in zip(sheet.column("lactate_mmol_l"), sheet.column("round_no"), strict=True) if r == "1"]
    assert lactate[0] == ""
    assert set(lactate[1:]) == {"—"}
    none = build_sheets(EVENING, CODES, sampled=())
    without = named(none, "round_1_2")
    assert "Blood" not in " ".join(without.steps) and "Lactate" not in without.title
    assert not {"lactate_mmol_l", "lactate_delay_s"} & {c.name for c in without.columns}
    assert "not licensed" in " ".join(named(none, "safety").steps)
    assert "Lactate strips" not in " ".join(r[0] for r in named(none, "materials").rows)


def test_a_staggered_evening_lists_the_starts_in_the_order_of_the_clock():
    timetable = make_timetable(EVENING, athletes=CODES, start="staggered")
    sheet = named(build_sheets(EVENING, CODES, timetable=timetable), "timekeeper")
    assert sheet.column("group")[:4] == ["mat 1", "mat 2", "mat 3", "mat 4"]
    assert len(sheet.rows) == 4 * 4


def test_cautions_stand_where_people_act(evening):
    sheets = evening[2]
    safety = " ".join(named(sheets, "safety").steps).casefold()
    for word in (
        "anybody may stop", "chest", "faint", "concussion", "cover the puncture before gripping", "single-use lancet",
        "2\xa0% below the usual body mass", "heat", "local codes", "ethics committee", "licensed",
    ):  # fmt: skip
        assert word in safety
    assert "under 18" not in safety
    with_minors = build_sheets(EVENING, CODES, minors=CODES[:1])
    assert "guardian" in " ".join(named(with_minors, "safety").steps)
    assert any("Anybody may stop" in c for c in named(sheets, "timekeeper").cautions)
    for key in ("mat_1", "athlete_A01", "round_1_2"):
        assert any("ends the round" in c and "ambulance" in c for c in named(sheets, key).cautions)
    assert any("Cover the puncture" in c for c in named(sheets, "round_1_2").cautions)
    assert any("2\xa0% below" in c for c in named(sheets, "roll_call").cautions)


def test_no_scale_anchor_and_no_name_is_printed(evening):
    page = sheets_html(evening[2]).casefold()
    for anchor in ("very, very", "fairly light", "somewhat hard", "very hard", "maximal exertion", "no exertion"):
        assert anchor not in page
    assert "6-20 scale" in page


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_both_papers_print(evening, tmp_path, paper):
    pytest.importorskip("fpdf")
    page, pdf = write_sheets(evening[2], tmp_path, paper=paper)
    text = page.read_text(encoding="utf-8")
    assert f"size: {paper} landscape" in text
    assert "://" not in text
    assert all(f'<article id="{sheet.key}"' in text for sheet in evening[2])
    assert pages(pdf) == text.count("<section") < len(evening[2])
    again = write_sheets(evening[2], tmp_path / "again", paper=paper)[1]
    assert again.read_bytes() == pdf.read_bytes()


def test_a_large_club_runs_on_to_a_second_page(tmp_path):
    codes = make_codes(20)
    sheets = [s for s in build_sheets(EVENING, codes) if s.key == "round_1"]
    assert [len(p.sheets[0].rows) for p in arrange(sheets)] == [10, 10]
    assert arrange(sheets)[1].sheets[0].title.endswith("2 of 2")
    assert pages(write_sheets(sheets, tmp_path, kinds=("pdf",))[0]) == 2


@pytest.mark.parametrize("n", [6, 12, 16, 20])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_rows_are_high_enough_for_a_gloved_hand_and_pages_are_full(n, paper):
    sheets = build_sheets(EVENING, make_codes(n), pairing=paired(n))
    laid_out = arrange(sheets, paper=paper)
    assert {s.key for page in laid_out for s in page.sheets} == {s.key for s in sheets}
    assert sum(len(s.rows) for page in laid_out for s in page.sheets) == sum(len(s.rows) for s in sheets)
    for page in laid_out:
        high = {s.key: row for s, row in zip(page.sheets, page.row_mm, strict=True)}
        assert all(row >= 10.0 for key, row in high.items() if key.startswith("round"))
        used = sum(page.heights) if page.kind != "card" else page.heights[0] * -(-len(page.sheets) // 2)
        room = room_on(paper, wide=page.wide)
        assert used <= room + 4
        ruled = len(page.sheets) == 1 and page.sheets[0].notes
        assert ruled or used >= 0.55 * room, (page.sheets[0].key, used, room)
    most = {6: 12, 12: 17, 16: 20, 20: 28}[n]
    assert len(laid_out) <= most


def test_what_looks_like_markup_is_printed_as_it_stands():
    page = sheets_html([Sheet("a", "<b>A&B</b>", steps=("<script>",))])
    assert "<script>" not in page
    assert "&lt;b&gt;A&amp;B&lt;/b&gt;" in page


def test_the_code_list_stays_out_of_studies_and_work_trees(tmp_path):
    study = tmp_path / "study"
    (study / "sub").mkdir(parents=True)
    (study / "study.toml").write_text("")
    for place in (study, study / "sub"):
        with pytest.raises(KitError, match="belongs to a study folder"):
            write_code_list(CODES, place)
    with pytest.raises(KitError, match="belongs to a study folder"):
        write_code_list(CODES, tmp_path, study_folder=tmp_path)
    tree = tmp_path / "tree"
    (tree / ".git").mkdir(parents=True)
    with pytest.raises(KitError, match="work tree"):
        write_code_list(CODES, tree)
    drawer = tmp_path / "drawer"
    drawer.mkdir()
    path = write_code_list(CODES, drawer, study_folder=study, kind="html")
    assert "A07" in path.read_text(encoding="utf-8")
    with pytest.raises(KitError, match="not overwritten"):
        write_code_list(CODES, drawer, kind="html")


def test_texts_are_printed_as_the_club_wrote_them(tmp_path):
    texts = tmp_path / "texts"
    texts.mkdir()
    (texts / "einwilligung.md").write_text(
        "# Einwilligung\n\nIch bin dabei: ______\n\n- ja\n- nein\n", encoding="utf-8"
    )
    (texts / "athlete_page.md").write_text("{trace}", encoding="utf-8")
    written = write_texts(Study(folder=tmp_path), tmp_path / "out", paper="Letter")
    assert [p.name for p in written] == ["einwilligung_Letter.pdf"]
    (texts / "broken.md").write_bytes(b"\xff\xfe\x00\xd8")
    with pytest.raises(KitError, match="broken"):
        write_texts(Study(folder=tmp_path), tmp_path / "out2")


def test_any_markdown_prints(tmp_path):
    hostile = "\n\n".join(
        ["# " + "long " * 60, "______ **bold** __x__ --- ** _", "> a quote", "```\ncode **x**\n```", "1. a\n   - b\n     - c",
         "<script>alert(1)</script>", "---", "| a | b |\n|---|---|\n| 1 | " + "w" * 200 + " |", "żółw Ж ελ 漢 🤼", "word" * 80]
    )  # fmt: skip
    assert texts_pdf(hostile, tmp_path / "a.pdf").stat().st_size > 3000
    assert texts_pdf("", tmp_path / "b.pdf").is_file()


def test_the_kits_own_templates_print(tmp_path):
    from analysis.study.new_folder import texts_to_rewrite

    for name, text in texts_to_rewrite().items():
        assert texts_pdf(text, tmp_path / f"{name}.pdf").stat().st_size > 5000


def test_materials_grow_with_the_club():
    few, many = (list_materials(n, 4, n_sampled=n).set_index("item") for n in (6, 20))
    assert few.loc["Lactate strips, one lot", "needed"] == 6 * 4 + 3
    assert many.loc["Lactate strips, one lot", "needed"] == 20 * 4 + 8
    assert (many["needed"] >= few["needed"]).all()
    assert (many["spare"] >= few["spare"]).all()


def test_previews_and_missing_parts(evening):
    assert "Roll call" in preview_sheets(evening[2], keys=("roll_call",)).data
    missing = study_sheets(Study(folder=Path("nowhere")))
    assert isinstance(missing, NotYet)
    assert preview_sheets(missing) is missing
    with pytest.raises(KitError, match="Not yet"):
        write_sheets(missing, "nowhere")
    with pytest.raises(KitError, match="no athletes"):
        build_sheets(EVENING, [])
    with pytest.raises(KitError, match="paper"):
        write_sheets(evening[2], "nowhere", paper="A5")
    with pytest.raises(KitError, match="whole number"):
        make_codes(0)


def test_an_evening_of_the_demo_is_planned_as_a_whole():
    study = load_study(Path(__file__).parents[2] / "data_demo")
    evening = plan_evening(study, start_clock="19:00", guests=1, unavailable={study.athletes["athlete"].iloc[0]: "all"})
    assert set(evening.codes) == set(study.athletes["athlete"])
    assert evening.pairing.repeats.empty
    assert evening.timetable.mats["start_clock"].iloc[0] == "19:00:00"
    assert {"safety", "timekeeper", "incidents"} <= {s.key for s in evening.sheets}
    heart_rate_only = plan_evening(study, sampled=())
    assert not any("Blood" in step for s in heart_rate_only.sheets if s.key.startswith("round") for step in s.steps)
    assert isinstance(plan_evening(Study(folder=Path("nowhere"), protocol=EVENING)), NotYet)


def test_default_columns_are_columns_of_the_study():
    from analysis.sheets.content import DEFAULT_COLUMNS

    for table, names in DEFAULT_COLUMNS.items():
        assert set(names) <= set(table_columns(table))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_round_of_sixteen_athletes_fits_on_one_page_with_its_cautions(demo, paper):
    assert len(demo.codes) == 16
    laid_out = arrange([s for s in demo.sheets if s.key.startswith("round")], paper=paper)
    assert len(laid_out) == 5 and len(arrange(demo.sheets, paper=paper)) <= 20
