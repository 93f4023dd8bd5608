"""Codes and names stay out of everything that is passed on: whatever the codes look like, whoever withdrew or refused."""

import json
import re
import zipfile
from pathlib import Path

import matplotlib.pyplot as plt
import pandas as pd
import pytest
from careless_study import LETTERS, REFUSED, WITHDREW, digits_or_letters, renamed

from analysis.answers.walk import DEMO_FOLDER
from analysis.report.output import verify_report
from analysis.report.sharing import Codes
from analysis.study import Study, load_study
from analysis.study.privacy import Mentions, personal_parts
from analysis.telling.document import Document, Picture, Section


def texts(folder):
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        if path.suffix == ".docx":
            with zipfile.ZipFile(path) as file:
                for name in file.namelist():
                    if name.endswith((".xml", ".rels")):
                        yield f"{path.name}/{name}", file.read(name).decode("utf-8")
        elif path.suffix in (".html", ".json", ".csv", ".md", ".txt"):
            yield path.name, re.sub(r"data:[^\"]+", "", path.read_text(encoding="utf-8-sig"))


@pytest.fixture(scope="module")
def careless(careless_answers):
    return Path(careless_answers.study.folder)


def test_people_who_withdrew_or_refused_are_seen_nowhere(careless):
    for name, text in texts(careless / "output"):
        gone = re.search(rf"(?<![^\W_]){WITHDREW}(?![^\W_])", text)
        assert not gone, f"{name}: {text[max(0, gone.start() - 60) : gone.end() + 20]}"
        if name != "ledger.csv":  # the owner's account says who refused
            refused = re.search(rf"(?<![^\W_]){REFUSED}(?![^\W_])", text)
            assert not refused, f"{name}: {text[max(0, refused.start() - 60) : refused.end() + 20]}"


def test_free_texts_are_screened_wherever_they_leave(careless):
    told = list(texts(careless / "output" / "to_share"))
    assert {"report.html", "datapackage.json"} <= {name for name, _ in told}
    assert any(name.endswith("docProps/core.xml") for name, _ in told)
    for name, text in [*told, *texts(careless / "output" / "for_you")]:
        for part in ("Beispiel", "kim@club", "20 7946", "1998-02-11"):
            assert part not in text, f"{part} in {name}"
        if name != "ledger.csv":
            assert "Anna" not in text, name


def test_names_of_files_that_are_not_told_are_certified_all_the_same(careless):
    about = json.loads((careless / "output" / "for_you" / "about.json").read_text(encoding="utf-8"))
    assert any("not told" in name for name in about["input"])
    assert verify_report(careless).valid
    (careless / "consent" / "Kim_Beispiel_1998-02-11.pdf").write_text("another")
    found = verify_report(careless)
    assert not found.valid and "Beispiel" not in found.text()
    (careless / "consent" / "Kim_Beispiel_1998-02-11.pdf").write_text("signed")


def test_codes_of_digits_or_letters_alone_are_hidden(careless):
    folder = careless
    codes = [digits_or_letters(n) for n in range(1, 17)]
    letters = "|".join(c for c in codes if c.isalpha())
    results = json.loads((folder / "output" / "for_you" / "results.json").read_text(encoding="utf-8"))

    def strings(value):
        if isinstance(value, dict):
            for key, inner in value.items():
                yield key
                yield from strings(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from strings(inner)
        elif isinstance(value, str):
            yield value

    whole = re.compile(rf"(?<![\w.])({'|'.join(codes)})(?![\w])")
    assert [s for s in strings(results) if whole.search(s)] == []
    for name, text in texts(folder / "output" / "to_share"):
        assert not re.search(rf"(?<![\w.])({letters})(?![\w])", text), name
        # numbers stand in tables: where a person is meant they are gone
        assert not re.search(rf"(athlete|person|file|opponent)s? ({'|'.join(codes)})\b", text), name


def test_codes_that_look_like_initials_are_remarked(tmp_path):
    folder = renamed(tmp_path / "study", lambda n: f"{LETTERS[n - 1]}B")
    remarks = load_study(folder).remarks
    assert remarks["problem"].str.contains("initials").sum() == 1
    assert not load_study(DEMO_FOLDER).remarks["problem"].str.contains("initials").any()


@pytest.mark.parametrize(
    ("text", "hidden"),
    [
        ("athletes 7, 12 and 30 left", "athletes X, X and 30 left"),
        ("7 bpm above 12 others", "7 bpm above 12 others"),
        ("recordings/12.csv: read", "recordings/X.csv: read"),
        ("AB and A-7 left; ABC stayed", "X and A-X left; ABC stayed"),
    ],
)
def test_a_number_is_a_code_only_where_it_names_somebody(text, hidden):
    found = Mentions(["7", "12", "AB"]).replace(text, lambda code: "X")
    assert found == hidden.replace("A-X", "A-7")


@pytest.mark.parametrize(
    ("text", "single", "found"),
    [
        ("An autumn sparring evening of a university submission-wrestling club", False, ()),
        ("An Autumn Sparring Evening", False, ()),
        ("Study with Kim Beispiel, born 1998-02-11", False, ("1998-02-11", "Kim Beispiel")),
        ("ring +44 20 7946 0958, or a.b@club.example", False, ("a.b@club.example", "+44 20 7946 0958")),
        ("strap slipped, Anna saw it", True, ("Anna",)),
        ("strap slipped, Anna saw it", False, ()),
        ("decimal point forgotten; the paper sheet agrees", True, ()),
        ("rounds with less than 80 % of valid seconds", True, ()),
        ("Anna saw the strap slip", True, ("Anna",)),
        ("strap slipped. Jürgen held it", True, ("Jürgen",)),
        ("Strap slipped; Decimal point forgotten. Nobody knows why", True, ()),
        ("Quillon's watch stopped", True, ("Quillon",)),
        ("Quillon and Tevka swapped straps", True, ("Quillon", "Tevka")),
        ("Analyser, strap and watch were changed", True, ()),
        ("Strap slipped, and Anna-Lena's watch too. It's fine, that's all", True, ("Anna-Lena",)),
        ("Anna-Lena came late. Watch's battery was low", True, ("Anna-Lena",)),
        ("Lactate and Heart rate were typed late", True, ()),
        ("Quorvin says it hurt. Headgear was loose", True, ("Quorvin",)),
        ("Bleeding was stopped; Towel fell; Somebody said so; Strips ran out", True, ()),
        ("Quorvin and rain", True, ()),  # what no rule tells is listed for a person to read
        ("born 11.02.1998 or 7/8/1999", False, ("11.02.1998", "7/8/1999")),
        ("born 3 May 1998, or May 3rd, 1998, or 3. Mai 1998", False, ("3 May 1998", "May 3rd, 1998", "3. Mai 1998")),
        ("tested on 3 May 2026, with a watch of 2016", False, ()),
    ],
)
def test_what_looks_personal_in_running_text(text, single, found):
    assert personal_parts(text, single=single) == found


def test_labels_of_results_and_of_the_package_cannot_be_joined(demo_answers):
    study = demo_answers.study
    labels = Codes(study).labels
    assert set(labels) == set(study.athletes["athlete"])
    nobody = Codes(Study(folder=Path("nowhere")))
    assert nobody.hide({"athlete": "A07"}) == {"athlete": "A07"}


@pytest.mark.parametrize(
    ("text", "hidden"),
    [
        ("the drop of 412 was read after 17 left", "the drop of X was read after X left"),
        ("17; 412; 007.", "17; 412; 007."),  # without a word it is a row of numbers
        ("he saw 412, 17 and 007.", "he saw X, X and X."),
        ("17 min late in round 17; 17 % valid, 17 rounds, 17:30, 0.17", None),
    ],
)
def test_in_what_people_typed_a_number_is_a_code_unless_it_counts(text, hidden):
    found = Mentions(["412", "17", "007"]).replace(text, lambda code: "X", typed=True)
    assert found == (text if hidden is None else hidden)


def test_names_are_hidden_in_figures_headings_and_however_a_line_breaks():
    athletes = pd.DataFrame({"athlete": ["412"]})
    published = pd.DataFrame({"finding": ["report of Tevka Quillon"], "source": ["a paper"]})
    sessions = pd.DataFrame({"place": ["hall of Tevka Quillon, opened by 412"]})
    study = Study(
        folder=Path("nowhere"), athletes=athletes, published=published, sessions=sessions, known_codes={"412": ""}
    )
    codes = Codes(study)
    assert codes.hide_in_text("tevka\nQuillon") == "(left out)"
    assert codes.hide_in_text("In hall of Tevka Quillon, opened by 412; 412 bpm") == (
        "In hall of (left out), opened by person-1; 412 bpm"
    )
    table = codes.hide_in_table(pd.DataFrame({"report of Tevka Quillon": ["x"]}))
    assert list(table) == ["report of (left out)"]

    def draw():
        figure, axes = plt.subplots()
        axes.set_yticks([0], labels=["report of\nTevka Quillon"])
        axes.text(0, 0, "Tevka Quillon")
        figure.alt_text = "A dot for the report of Tevka Quillon."
        return figure

    section = Section("Data", (Picture("one", draw, "By Tevka Quillon."),), 1, "paper")
    picture = codes.hide_in_document(Document("An evening", sections=(section,))).sections[0].blocks[0]
    figure = picture.draw()
    figure.canvas.draw()
    told = [figure.alt_text, picture.caption, *(t.get_text() for t in figure.findobj(plt.Text))]
    plt.close(figure)
    assert not any("Quillon" in t for t in told) and sum("(left out)" in t for t in told) > 3
