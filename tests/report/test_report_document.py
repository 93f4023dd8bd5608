"""The page and the Word file of one small document: numbering, references, structure, repeating bytes."""

import io
import re
import shutil
import subprocess
import zipfile

import pandas as pd
import pytest
from docx import Document as open_word
from docx.oxml.ns import qn

from analysis.report.html_page import render_html
from analysis.report.word import write_word
from analysis.telling.document import Bullets, Document, Paragraph, Picture, Section, Table, number_columns
from analysis.telling.style import finish, new_axes


def small_document():
    figure, ax = new_axes()
    ax.plot([1, 2, 3], [150, 160, 165], marker="o")
    ax.set_xlabel("Round")
    finish(figure, 'A line that rises; "quoted" & <marked>.')
    table = pd.DataFrame({"Outcome": ["Heart rate (bpm)", "Lactate"], "Mean": ["160", "−0.4"], "Note": ["late", ""]})
    return Document(
        "Rounds & <rests>",
        (("Authors", "all authors"), ("Funding", "who paid")),
        (
            Section("In plain words", (Paragraph("To do.", "note"), Paragraph("It rose.", "plain"))),
            Section("Results"),
            Section(
                "Heart rate",
                (
                    Paragraph("See {figure:rise}, {table:means} and {table:absent}; 3 < 4 & so on."),
                    Table("means", "Means.", table, note="Plain."),
                    Picture("rise", lambda: figure, "It rises."),
                    Bullets(("one", "two <three>")),
                ),
                2,
            ),
        ),
    )


def test_page_is_one_sound_file(check_page):
    text = render_html(small_document())
    checker = check_page(text)
    assert {"figure-rise", "table-means", "heart-rate", "main"} <= set(checker.ids)
    assert '<a href="#figure-rise">Figure 1</a>, <a href="#table-means">Table 1</a>; 3 &lt;\xa04 &amp;' in text
    assert "two &lt;three&gt;" in text and "Rounds &amp; &lt;rests&gt;" in text
    assert '<th scope="col" class=n>Mean</th>' in text and '<th scope="row">Lactate</th>' in text
    assert "@media print" in text and 'lang="en"' in text and 'name="viewport"' in text


def test_page_repeats():
    assert render_html(small_document()) == render_html(small_document())


def test_number_columns():
    table = pd.DataFrame({"1": ["1"], "2": ["< .001"], "3": ["160 (9.1)"], "4": ["−0.4 to 3.2"], "5": ["A07"]})
    assert number_columns(table) == [False, True, True, True, False]


@pytest.fixture(scope="module")
def word_path(tmp_path_factory):
    return write_word(small_document(), tmp_path_factory.mktemp("word") / "report.docx")


def test_word_opens_and_holds_everything(word_path):
    word = open_word(str(word_path))
    texts = [p.text for p in word.paragraphs]
    assert texts[0] == "Rounds & <rests>"
    assert "Table 1. Means." in texts and "Figure 1. It rises." in texts
    assert any(t.startswith("See Figure 1, Table 1; 3 <\N{NO-BREAK SPACE}4") for t in texts)
    styles = {p.style.name for p in word.paragraphs}
    assert {"Title", "Heading 1", "Heading 2", "Body Text", "Caption", "Table note", "List Bullet", "To do"} <= styles
    table = word.tables[0]
    assert table.style.name == "Three-line table"
    assert [c.text for c in table.rows[2].cells] == ["Lactate", "\N{FIGURE SPACE}−0.4", ""]
    assert table.rows[0]._tr.trPr.find(qn("w:tblHeader")) is not None
    assert word.core_properties.title == "Rounds & <rests>"


def test_word_fields_point_to_bookmarks_that_exist(word_path):
    xml = zipfile.ZipFile(word_path).read("word/document.xml").decode("utf-8")
    marks = set(re.findall(r'w:bookmarkStart[^>]*w:name="([^"]+)"', xml))
    references = set(re.findall(r" REF (\S+) \\h ", xml))
    whole = {"_Ref_figure_rise", "_Ref_table_means"}
    assert references == whole and marks == whole | {"_Nr_figure_rise", "_Nr_table_means"}
    assert re.findall(r" SEQ (\w+) ", xml) == ["Table", "Figure"]
    kinds = re.findall(r'fldCharType="(\w+)"', xml)
    assert kinds == ["begin", "separate", "end"] * (len(kinds) // 3)
    ids = re.findall(r'w:bookmarkStart w:id="(\d+)"', xml)
    assert len(ids) == len(set(ids))
    assert 'descr="A line that rises; &quot;quoted&quot; &amp; &lt;marked&gt;."' in xml
    assert xml.count("<w:sdt>") + xml.count("<w:sdt ") == 2
    assert "PAGE" in zipfile.ZipFile(word_path).read("word/footer1.xml").decode("utf-8")


def test_word_parts_follow_the_order_of_the_standard(word_path):
    """Word offers a repair where elements of a row, style or picture stand in the wrong order."""
    word = open_word(str(word_path))
    for row in word.tables[0].rows:
        names = [child.tag.split("}")[1] for child in row._tr.trPr]
        assert names == [n for n in ("cantSplit", "tblHeader") if n in names]
    order = ["name", "basedOn", "next", "link", "uiPriority", "semiHidden", "unhideWhenUsed", "qFormat", "rsid",
             "pPr", "rPr", "tblPr", "trPr", "tcPr", "tblStylePr"]  # fmt: skip
    for style in word.styles.element.findall(qn("w:style")):
        names = [child.tag.split("}")[1] for child in style]
        known = [n for n in names if n in order]
        assert known == sorted(known, key=order.index), style.get(qn("w:styleId"))
    ids = [e.get("id") for e in word.element.body.iter() if e.tag.endswith("}docPr")]
    assert len(ids) == len(set(ids))


def test_word_repeats_byte_for_byte(word_path, tmp_path):
    again = write_word(small_document(), tmp_path / "again.docx").read_bytes()
    assert again == word_path.read_bytes()
    dates = {entry.date_time for entry in zipfile.ZipFile(io.BytesIO(again)).infolist()}
    assert dates == {(1980, 1, 1, 0, 0, 0)}


@pytest.mark.skipif(not shutil.which("soffice"), reason="LibreOffice is not installed")
def test_libreoffice_opens_the_word_file(word_path, tmp_path):
    command = ["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", "pdf"]
    subprocess.run([*command, "--outdir", str(tmp_path), str(word_path)], check=True, capture_output=True, timeout=120)
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")


def test_a_session_with_too_few_athletes_says_why_nothing_was_compared():
    import dataclasses

    from analysis.answers import Answers, open_answers
    from analysis.report.build import build_document

    study = open_answers().study
    few = study.rounds[study.rounds["athlete"].isin(study.rounds["athlete"].unique()[:2])]
    text = build_document(Answers(dataclasses.replace(study, rounds=few, recordings=study.recordings.iloc[:0]))).text()
    assert "at least three athletes in two rounds or more of session 1, the primary session" in text


def test_an_athlete_page_says_nothing_of_a_trace_that_is_not_there_and_hides_the_values_of_few(tmp_path):
    import dataclasses

    from analysis.answers import Answers, open_answers
    from analysis.report.athlete_pages import own_numbers, write_athlete_pages

    study = open_answers().study
    typed = study.rounds.assign(hr_mean_typed_bpm=160.0)
    few = typed[typed["athlete"].isin(sorted(typed["athlete"].unique())[:4])].assign(lactate_mmol_l=float("nan"))
    for rounds, spans in ((typed, True), (few, False)):
        answers = Answers(
            dataclasses.replace(
                study,
                rounds=rounds,
                recordings=study.recordings.iloc[:0],
                aerobic_tests=study.aerobic_tests.iloc[:0],
                folder=tmp_path,
            )
        )
        page = write_athlete_pages(answers, tmp_path / f"pages_{spans}")[0].read_text(encoding="utf-8")
        assert "The line is your heart rate" not in page and "nobody may ask you to" in page
        assert ("too few to show" in page) is not spans
        assert ("Lactate depends on when" in page) is spans and "{lactate}" not in page and "Sleep, warmth" in page
        numbers = own_numbers(answers, sorted(few["athlete"])[0])
        assert numbers["low"].notna().any() == spans
        assert (numbers.loc[numbers["name"] == "exertion", "digits"] == 0).all()


def test_references_one_after_the_other_are_one():
    tables = tuple(Table(f"t{i}", "A table.", pd.DataFrame({"a": ["1"]})) for i in range(5))
    document = Document("A study", sections=(Section("All", tables, layer="supplement"),))

    def said(text):
        return "".join(words for _, _, words in document.pieces(text))

    assert said("See {table:t0}, {table:t1}, {table:t2}.") == "See Tables S1 to S3."
    assert said("{table:t0} and {table:t1} show") == "Tables S1 and S2 show"
    assert said("{table:t0}, {table:t3} and {table:t4} show") == "Tables S1, S4 and S5 show"
    assert said("See ({table:not_there}, {table:t4}).") == "See (Table S5)."


def test_the_note_of_a_table_never_stands_alone_on_the_next_page(tmp_path):
    shown = pd.DataFrame({"Outcome": [f"row {i}" for i in range(20)], "p": [".010"] * 20})
    blocks = (Table("with", "Some numbers.", shown, note="What they mean."), Table("without", "Others.", shown))
    path = write_word(Document("A title", (), (Section("Results", blocks),)), tmp_path / "made.docx")
    noted, plain = open_word(path).tables
    assert noted.rows[-1].cells[0].paragraphs[0].paragraph_format.keep_with_next
    assert not plain.rows[-1].cells[0].paragraphs[0].paragraph_format.keep_with_next
