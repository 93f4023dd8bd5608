"""The three layers as a reader gets them: read from the finished page and the Word files, one number and one unit in all."""

import json
import re
import zipfile

import pytest
from docx import Document as open_word
from report_rules import answers_sentences, answers_words, faults_of_length, faults_of_references, reading_ease

from analysis.basics import format_ci, format_number
from analysis.report import build_document
from analysis.study import OUTCOMES
from analysis.study.outcomes import digits_of
from analysis.telling.document import LAYERS, Picture, Table
from analysis.telling.words import plain_size, plain_span

SPACES = str.maketrans({"\N{NO-BREAK SPACE}": " ", "\N{FIGURE SPACE}": " "})


@pytest.fixture(scope="module")
def shared(demo_report):
    return demo_report[0] / "to_share"


@pytest.fixture(scope="module")
def page(shared):
    """The text of each layer of the finished page, without tags."""
    text = (shared / "report.html").read_text(encoding="utf-8")
    found = {}
    for name in LAYERS:
        start = text.index(f'<section id="{name}"')
        later = [text.index(f'<section id="{n}"') for n in LAYERS if text.index(f'<section id="{n}"') > start]
        part = re.sub(r"</?span[^>]*>", "", text[start : min(later, default=len(text))])  # halves of a number
        part = re.sub(r"<[^>]+>", " ", part)
        found[name] = re.sub(r"\s+", " ", part.translate(SPACES).replace("&lt;", "<").replace("&gt;", ">"))
    return found


@pytest.fixture(scope="module")
def words(shared):
    """The text of the Word files, tables included."""
    found = {}
    for name in ("manuscript", "supplement"):
        word = open_word(str(shared / f"{name}.docx"))
        cells = [c.text for t in word.tables for row in t.rows for c in row.cells]
        found[name] = re.sub(r"\s+", " ", " ".join([p.text for p in word.paragraphs] + cells).translate(SPACES))
    return found


def spoken(text):
    return re.sub(r"\s+", " ", text.translate(SPACES))


def test_the_change_over_the_rounds_is_one_number_in_page_word_tables_and_results(demo_answers, page, words, shared):
    results = json.loads((shared.parent / "for_you" / "results.json").read_text(encoding="utf-8"))
    for outcome in demo_answers.primary_outcomes:
        answer, known = demo_answers.rounds(outcome), OUTCOMES[outcome]
        step, digits = answer.steps.iloc[-1], digits_of(known)
        kept = results["rounds"][outcome]["steps"][-1]
        low = min(kept["ci_low"], kept["ci_low_cr2"])
        high = max(kept["ci_high"], kept["ci_high_cr2"])
        size, span = (spoken(format_number(kept["estimate"], digits, unit=known.unit)), format_ci(low, high, digits))
        assert step["label"] == "changed" and kept["estimate"] > 0
        for text in (page["paper"], words["manuscript"]):
            assert f"{size} (95 % interval {span}" in text or f"{size} ({span}" in text, (outcome, size, span)
            assert text.count(span) >= 2, "in the text and in the table of steps"
        first = f"{spoken(plain_size(kept['estimate'], known))} "
        assert first in page["answers"] and spoken(plain_span(low, high, known)) in page["answers"]


def test_the_difference_by_fitness_is_one_number_in_page_word_tables_and_results(demo_answers, page, words, shared):
    results = json.loads((shared.parent / "for_you" / "results.json").read_text(encoding="utf-8"))
    for outcome in ("hr_mean_bpm", "lactate_mmol_l"):
        kept, known = results["fitness"][outcome], OUTCOMES[outcome]
        digits = digits_of(known)
        span = format_ci(kept["contrast_ci_low"], kept["contrast_ci_high"], digits)
        size = format_number(kept["contrast"], digits, sign=True)
        step = f"{kept['contrast_step']:g} {kept['capacity_unit']}"
        for text in (page["paper"], words["manuscript"]):
            assert text.count(span) >= 3 and text.count(size) >= 3 and step in text
        assert span in page["supplement"] and span in words["supplement"]
        assert step in page["answers"] or outcome != "hr_mean_bpm"


def test_counts_are_the_same_wherever_they_stand(demo_answers, page):
    for outcome in ("hr_mean_bpm", "lactate_mmol_l"):
        count = demo_answers.fitness(outcome).specifications.n_specifications
        assert f"Of {count} other analyses" in page["paper"]
        assert f"Reasonable analyses {count} " in page["supplement"]
    samples = demo_answers.description.conditions.delay["n_observations"]
    assert f"{samples} samples" in page["paper"]
    assert not re.search(rf"samples of (?!{samples}\b)\d+ outside", page["supplement"])


def test_no_p_and_no_number_breaks_and_no_value_is_missing(shared):
    text = (shared / "report.html").read_text(encoding="utf-8")
    assert not re.search(r"\bp [=<>] ?\.\d", text) and "p\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}." in text
    assert not re.search(r">\s*(nan|None)\s*<", text)


def test_layers_keep_to_their_length(demo_answers):
    document = build_document(demo_answers, own=True)
    assert faults_of_length(document) == [] and faults_of_references(document) == []
    assert len(answers_words(document)) <= 250 and reading_ease(answers_sentences(document)) >= 60
    count = len(document.text("paper").split())
    for table in document.blocks(Table, layer="paper"):
        cells = [*table.shown.columns, *map(str, table.shown.to_numpy().ravel()), table.note]
        count += sum(len(c.split()) for c in cells)
    assert count <= 3455  # the page adds the numbers of tables and figures: 3,500 words are the most
    assert len(list(document.blocks(Picture, layer="answers"))) >= 4


def test_word_files_as_an_editor_expects(shared):
    for name, numbered in (("manuscript", True), ("supplement", False)):
        archive = zipfile.ZipFile(shared / f"{name}.docx")
        xml = archive.read("word/document.xml").decode("utf-8")
        assert ("w:lnNumType" in xml) == numbered
        styles = archive.read("word/styles.xml").decode("utf-8")
        assert set(re.findall(r'<w:lang w:val="([^"]+)"', styles)) == {"en-GB"}
        for caption in re.findall(r"<w:p>(?:(?!</w:p>).)*SEQ (?:(?!</w:p>).)*</w:p>", xml):
            field = caption[: caption.index('fldCharType="end"')]
            assert field.count("<w:b/>") >= 4, "every run of a caption number is bold"


def test_the_one_page_is_one_page(shared):
    assert (shared / "one_page.pdf").read_bytes().count(b"/Type /Page\n") == 1
