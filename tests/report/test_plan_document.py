"""The plan fixed as Markdown and Word, with the justification of its size."""

import io
import re
import zipfile

import pandas as pd
import pytest
from quick_report import assure_quickly

from analysis.basics import KitError
from analysis.planning import answer_design, power_curves
from analysis.report.plan_document import as_document, blocks_of_size, freeze, published_correlation, size_answer
from analysis.study import Study, load_study, new_study
from analysis.study.deviations import plan_deviations
from analysis.study.fixed_plan import PlanDocument, load_fixed_plan
from analysis.telling.planning.sentences import table_sizes, write_up_size


def planned_study(folder):
    made = new_study(folder / "autumn club", rounds=3, work="4:00", rest="1:00")
    text = (made / "study.toml").read_text(encoding="utf-8")
    (made / "study.toml").write_text(text.replace('approval = ""', 'approval = "2026-17"'), encoding="utf-8")
    return made


@pytest.fixture
def folder(tmp_path):
    return planned_study(tmp_path)


@pytest.fixture(scope="module")
def frozen(tmp_path_factory):
    """A study whose plan was fixed for 14 athletes, and the files that were written."""
    folder = planned_study(tmp_path_factory.mktemp("frozen"))
    with pytest.MonkeyPatch.context() as patch:
        assure_quickly(patch)
        return folder, freeze(folder, athletes=14)


def words_of(path):
    text = zipfile.ZipFile(path).read("word/document.xml").decode("utf-8")
    return re.sub(r"<[^>]+>", " ", text)


def test_a_plan_is_written_once_with_its_size(frozen):
    folder, written = frozen
    assert {p.suffix for p in written} == {".md", ".json", ".docx"}
    fixed = load_fixed_plan(folder)
    assert fixed.intact
    assert fixed.plan.n_athletes == 14
    markdown = next(p for p in written if p.suffix == ".md").read_text(encoding="utf-8")
    word = words_of(next(p for p in written if p.suffix == ".docx"))
    answer = answer_design(fixed.protocol, fixed.plan, None, 14)
    for text in (markdown, word):
        assert fixed.checksum in text
        assert "14 athletes who complete 3 rounds" in text
        assert "will not read a result that is not significant as the absence of an effect" in text
    assert len(answer.questions) > 5
    for verdict in answer.questions["verdict"]:
        assert verdict in word
    before = {p: p.read_bytes() for p in written}
    with pytest.raises(KitError, match="not overwritten"):
        freeze(folder, athletes=15)
    assert {p: p.read_bytes() for p in written} == before


def test_a_number_of_athletes_given_at_fixing_alone_is_no_departure(frozen):
    """study.toml says none; a number that stands there and differs is one."""
    folder, _ = frozen
    assert load_study(folder).plan.n_athletes is None
    assert plan_deviations(load_study(folder)).empty
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    try:
        settings.write_text(text.replace("# n_athletes = 12 ", "n_athletes = 12 "), encoding="utf-8")
        departures = plan_deviations(load_study(folder))
        assert departures[["planned", "done"]].to_numpy().tolist() == [["14", "12"]]
    finally:
        settings.write_text(text, encoding="utf-8")


def test_the_word_file_has_numbered_tables_alt_text_and_prompts(frozen):
    from docx import Document as open_word

    word = next(p for p in frozen[1] if p.suffix == ".docx")
    document = open_word(io.BytesIO(word.read_bytes()))
    text = "\n".join(p.text for p in document.paragraphs)
    for heading in ("Questions and hypotheses", "Athletes and size", "Risks and how they are met"):
        assert heading in text
    assert "Ethics committee" in text
    assert len(document.tables) >= 4
    assert len(document.inline_shapes) == 1
    assert 'descr="With 14 athletes' in zipfile.ZipFile(word).read("word/document.xml").decode("utf-8")


def test_a_committee_that_is_named_is_not_asked_for_again(frozen):
    fixed = PlanDocument("A study", "2026-01-01", "abc")
    asked = [name for name, _ in as_document(fixed).fields]
    assert "Ethics committee" in asked
    assert [name for name, _ in as_document(fixed, approval=True).fields] == [
        n for n in asked if n != "Ethics committee"
    ]


def test_a_size_that_can_be_seen_is_one_number_in_table_and_text():
    """Rounded up in both: fewer than 80 of 100 studies would show the size rounded down."""
    answer = answer_design(5, n=12)
    text, table = " ".join(write_up_size(answer)), table_sizes(answer)["Seen in 80\N{NO-BREAK SPACE}% from"]
    assert (table != "none").any()
    for shown, row in zip(table, answer.questions.itertuples(), strict=True):
        if shown != "none":
            assert f"detectable: {shown}" in text
            assert float(shown.split()[0].split("\N{NO-BREAK SPACE}")[0]) >= row.detectable - 1e-9
            assert shown in row.words or row.verdict == "answerable"


def test_who_starts_is_who_is_asked_so_that_the_planned_number_stays():
    answer = answer_design(5, n=12)
    assert power_curves(answer.recruited, answer.assumptions).n_left == 12


def test_what_nobody_asks_has_no_primary_outcome_in_the_plan(folder, quick_assurance):
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    blocks = text.split("[[plan.hypotheses]]")
    kept = [b for b in blocks[:-1] if "exertion" not in b or b is blocks[0]]
    settings.write_text("[[plan.hypotheses]]".join([*kept, blocks[-1]]), encoding="utf-8")
    markdown = freeze(folder, athletes=9)[0].read_text(encoding="utf-8")
    assert "blood lactate" in markdown and "exertion over the rounds" not in markdown
    assert "heart rate over the rounds" in markdown


def test_nobody_said_how_many(folder):
    with pytest.raises(KitError, match="how many athletes"):
        freeze(folder)
    assert not list(folder.glob("plan_*"))


def test_two_numbers_are_one_too_many(folder, quick_assurance):
    settings = folder / "study.toml"
    settings.write_text(
        settings.read_text(encoding="utf-8").replace("[plan]", "[plan]\nn_athletes = 12", 1), encoding="utf-8"
    )
    with pytest.raises(KitError, match="one number"):
        freeze(folder, athletes=14)
    assert size_answer(load_study(folder)).n == 12
    freeze(folder)


def test_a_published_correlation_is_part_of_the_justification(folder):
    study = load_study(folder)
    table = pd.DataFrame({"statistic": ["mean", "r"], "value": [170.0, -0.62], "n_athletes": [9, 11]})
    assert published_correlation(table) == (-0.62, 11)
    assert published_correlation(table.iloc[:1]) is None
    assert published_correlation(study.published) is None


def test_no_number_is_missing_in_any_size():
    for n in (3, 12, 200):
        answer = answer_design(4, n=n)
        picture, table = blocks_of_size(answer)
        text = " ".join(table.shown.to_numpy().ravel())
        assert "nan" not in text
        assert str(n) in picture.caption


def test_a_document_without_a_size_still_reads():
    from pathlib import Path

    from analysis.study.fixed_plan import describe_plan

    plan = describe_plan(Study(folder=Path("nowhere"), title="Autumn"), date="2026-11-25", checksum="0" * 64)
    assert as_document(plan).sections[0].title == "About this plan"
