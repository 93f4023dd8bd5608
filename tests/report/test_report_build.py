"""The whole report of the demo study: what is in it, whom it shows, that it repeats, and that it can be verified."""

import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from quick_report import made_here

from analysis.answers import Answers
from analysis.answers.walk import DEMO_FOLDER
from analysis.basics import KitError
from analysis.report import build_report
from analysis.report.build import collect_results
from analysis.report.notebook_pages import NOTEBOOKS, find_notebooks, run_notebooks
from analysis.report.output import output_checksums, verify_report
from analysis.report.results_json import harmless
from analysis.report.sharing import Codes

PARSERS = {"string": str, "number": float, "integer": int, "boolean": {"True": True, "False": False}.__getitem__}
"""Type of the open standard -> what reads a value of it, or raises."""


@pytest.fixture
def answers(demo_answers):
    return demo_answers


@pytest.fixture
def built(demo_report):
    return demo_report[0]


def _texts(folder, *, without=()):
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.name not in without:
            if path.suffix == ".docx":
                yield path, zipfile.ZipFile(path).read("word/document.xml").decode("utf-8")
            elif path.suffix in (".html", ".json", ".csv", ".md", ".txt", ".svg"):
                yield path, path.read_text(encoding="utf-8-sig")


def test_everything_promised_is_there(built, demo_report):
    for name in (
        "report.html", "manuscript.docx", "supplement.docx", "one_page.pdf",
        "contact_sheet.html", "tables/round_means.csv", "tables/contrasts.csv",
        "tables/capacity.csv", "tables/participants.csv", "tables/protocol.csv", "tables/set_aside.csv",
        "tables/deviations.csv", "data_package/datapackage.json", "data_package/codebook.csv",
    ):  # fmt: skip
        assert (built / "to_share" / name).stat().st_size > 50, name
    for name in ("results.json", "ledger.csv", "about.json", "READ_ME.txt"):
        assert (built / "for_you" / name).stat().st_size > 50, name
    assert sorted(p.name for p in built.iterdir()) == ["for_you", "to_share"]
    assert not (built / "for_you" / "individual_pages").exists()
    assert sorted(p.name for p in built.parent.iterdir()) == ["output"]
    assert any("Where the time went" in line for line in demo_report[1])


def test_every_notebook_is_kept_as_a_sound_page(built, check_page):
    pages = sorted((built / "for_you" / "notebooks").iterdir())
    assert [p.stem for p in pages] == [p.stem for p in find_notebooks()] and pages
    for page in pages:
        text = page.read_text(encoding="utf-8")
        check_page(text, closed=False)
        assert "Not for this table" not in text, f"{page.name}: the reader's own look shows nothing"


def test_pages_are_sound(built, check_page):
    check_page((built / "to_share" / "report.html").read_text(encoding="utf-8"))


def test_figures_come_in_every_format(built):
    built = built / "to_share"
    names = {p.name for p in (built / "figures").iterdir()}
    stems = {n.removesuffix(".svg") for n in names if n.endswith(".svg")}
    assert len(stems) >= 5
    assert names == {f"{s}{e}" for s in stems for e in (".svg", ".pdf", "_300dpi.png", "_600dpi.png")}
    sheet = (built / "contact_sheet.html").read_text(encoding="utf-8")
    assert all(f"figures/{n}" in sheet for n in names)
    for stem in stems:
        svg = (built / "figures" / f"{stem}.svg").read_text(encoding="utf-8")
        assert "<text" not in svg, "letters must be outlines"
        pdf = (built / "figures" / f"{stem}.pdf").read_bytes()
        assert b"/FontFile2" in pdf, "fonts must be embedded"


def test_no_code_of_an_athlete_is_passed_on(built, answers):
    codes = list(answers.study.athletes["athlete"])
    assert len(codes) > 10
    pattern = re.compile(rf"(?<![\w-])({'|'.join(map(re.escape, codes))})(?![\w-])")
    for path, text in _texts(built, without=("ledger.csv", "about.json", "answers.html", "report_complete.html")):
        if path.parent.name == "notebooks":
            continue  # for the team, as the ledger is
        text = re.sub(r"data:[^\"]+", "", text)
        assert not pattern.search(text), f"{path.name}: {pattern.search(text)}"
    own = re.sub(r"data:[^\"]+", "", (built / "for_you" / "answers.html").read_text(encoding="utf-8"))
    named = set(pattern.findall(own))
    assert named and named <= set(answers.study.athletes_with_figures()), "only who agreed to own figures"


def test_individuals_are_those_who_agreed(answers, demo_athlete_pages, check_page):
    agreed = set(answers.study.athletes_with_figures())
    asked = set(answers.study.athletes["athlete"])
    assert agreed and agreed < asked
    pages = demo_athlete_pages
    assert {p.stem for p in pages} <= agreed and len(pages) >= len(agreed) - 1
    for path in pages:
        text = path.read_text(encoding="utf-8")
        check_page(text)
        words = re.sub(r"data:[^\"]+", "", text)
        others = asked - {path.stem}
        assert path.stem in words
        assert not re.search(rf"(?<![\w-])({'|'.join(others)})(?![\w-])", words)
        assert not re.search(r"\b(rank|score|percentile|place \d|best|worst)\b", words, re.I)
    shown = Codes(answers.study, individuals=True).hide(collect_results(answers))
    codes = {row["athlete"] for row in shown["cleaning"]["rows"]}
    assert agreed & codes and not (asked - agreed) & codes


def test_results_hold_the_estimates_unrounded(built, answers):
    results = json.loads((built / "for_you" / "results.json").read_text(encoding="utf-8"))
    heart_rate = answers.rounds("hr_mean_bpm")
    kept = results["rounds"]["hr_mean_bpm"]
    assert kept["comparison"]["overall"]["p"] == heart_rate.comparison.overall.p
    assert [s["estimate"] for s in kept["steps"]] == heart_rate.steps["estimate"].tolist()
    fitness = answers.fitness("hr_mean_bpm")
    assert results["fitness"]["hr_mean_bpm"]["effect"] == fitness.effect
    assert results["study"]["protocol"]["rounds"] == answers.study.protocol.rounds
    table = pd.read_csv(built / "to_share" / "tables" / "contrasts.csv")
    assert table["estimate"].iloc[0] == float(f"{heart_rate.steps['estimate'].iloc[0]:.4g}")


def test_every_csv_is_harmless(built):
    for path in built.rglob("*.csv"):
        for line in pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig").itertuples(index=False):
            assert all(harmless(cell) == cell or cell.startswith("'") for cell in line), path.name


def test_data_package_hides_everybody_and_describes_itself(built, answers):
    folder = built / "to_share" / "data_package"
    shared = set(answers.study.athletes_to_share())
    people = pd.read_csv(folder / "athletes.csv", dtype=str, keep_default_na=False)
    assert 5 <= len(people) <= len(shared) < len(answers.study.athletes)
    telling = [c for c in ("age_years", "mass_kg", "sex", "group") if c in people]
    assert people.groupby(telling).size().min() >= 2
    described = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert described["profile"] == "tabular-data-package"
    codebook = pd.read_csv(folder / "codebook.csv")
    for resource in described["resources"]:
        table = pd.read_csv(folder / resource["path"])
        names = [f["name"] for f in resource["schema"]["fields"]]
        assert list(table.columns) == names
        texts = pd.read_csv(folder / resource["path"], dtype=str, keep_default_na=False)
        for field in resource["schema"]["fields"]:
            for text in set(texts[field["name"]]) - {""}:
                PARSERS[field["type"]](text)
        assert names == codebook.loc[codebook["table"] == resource["name"], "column"].tolist()
        assert set(table.get("person", people["person"])) <= set(people["person"])
    everything = " ".join(text for _, text in _texts(folder))
    for date in answers.study.sessions["date"]:
        assert date not in everything
    assert not re.search(r"\b\d\d:\d\d(:\d\d)?\b", everything), "a clock time"
    rounds = pd.read_csv(folder / "rounds.csv")
    assert not {"opponent", "percent_hr_max_predicted", "training_impulse", "athlete"} & set(rounds.columns)
    heart_rate = pd.read_csv(folder / "heart_rate.csv")
    assert heart_rate["second"].between(-1, answers.study.protocol.work_s + 120).all()


def test_same_input_same_bytes(tmp_path):
    """A club of five with its recordings, alone and with a worker, with another order of sets and of dictionaries of texts."""
    folder = club_of_five(tmp_path / "study")
    code = (
        "import os, sys; os.cpu_count = lambda: int(sys.argv[3]); from analysis.basics.parallel import be_quick; be_quick(); "
        "from analysis.report import build_report, pictures; from analysis.telling import document; "
        "pictures.FORMATS = document.FORMATS = ('svg', 'pdf', 'png300'); "
        "build_report(sys.argv[1], sys.argv[2], notebooks=False, progress=lambda line: None)"
    )
    outs = [tmp_path / "one", tmp_path / "other"]
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(folder), str(out), cores], env={**os.environ, "PYTHONHASHSEED": seed}
        )
        for out, seed, cores in zip(outs, ("1", "4711"), "12", strict=True)
    ]
    assert [process.wait(timeout=240) for process in running] == [0, 0]
    first, second = map(output_checksums, outs)
    assert len(first) > 60 and [n for n in first if first[n] != second.get(n)] == []
    assert set(first) == set(second)
    about, again = (json.loads((f / "for_you" / "about.json").read_text(encoding="utf-8")) for f in outs)
    assert about.keys() == again.keys() and {k for k in about if about[k] != again[k]} <= {"made_at"}


def club_of_five(folder):
    """Five athletes of the demo with watches of their own, without aerobic tests; whom they met besides are guests."""
    five = ["A08", "A09", "A10", "A11", "A12"]
    left_out = (
        "output",
        "survey",
        "training",
        "plan_*",
        "how_*",
        "receiver_evening_1.csv",
        "aerobic_*",
        "published.csv",
        "pace.csv",
        *(f"A{n}*" for n in ("07", 13, 14, 15)),
    )
    shutil.copytree(DEMO_FOLDER, folder, ignore=shutil.ignore_patterns(*left_out))
    for path in folder.glob("*.csv"):
        table = pd.read_csv(path, dtype=str, keep_default_na=False, sep=None, engine="python")
        if "athlete" in table:
            table = table[table["athlete"].isin(five)].copy()
            if "opponent" in table:
                table["opponent"] = table["opponent"].where(table["opponent"].isin(["", "none", *five]), "guest")
            table.to_csv(path, index=False, sep=";" if ";" in path.read_text("utf-8-sig") else ",")
    return folder


def test_a_notebook_that_computes_itself_shows_what_the_report_gave_it(built):
    name = "06_compare_with_published"
    (run,) = run_notebooks(DEMO_FOLDER, [NOTEBOOKS / f"{name}.ipynb"])
    assert run.page == (built / "for_you" / "notebooks" / f"{name}.html").read_text(encoding="utf-8")


def test_verify_says_whether_output_and_input_belong_together(built, tmp_path):
    folder = tmp_path / "study"
    shutil.copytree(DEMO_FOLDER, folder, ignore=shutil.ignore_patterns("output", "notebooks"))
    shutil.copytree(built, folder / "output")
    assert verify_report(folder).valid and "belongs to the input" in verify_report(folder).text()
    (folder / "rounds.csv").write_text((folder / "rounds.csv").read_text(encoding="utf-8") + "\n", encoding="utf-8")
    (folder / "extra.csv").write_text("a\n")
    (folder / "output" / "to_share" / "report.html").write_text("changed")
    (folder / "output" / "to_share" / "my_notes.txt").write_text("mine")
    (folder / "output" / "for_you" / "ledger.csv").unlink()
    found = verify_report(folder)
    assert not found.valid
    assert (found.input_changed, found.input_new) == (("rounds.csv",), ("extra.csv",))
    assert (found.output_changed, found.output_missing) == (("to_share/report.html",), ("for_you/ledger.csv",))
    assert found.output_added == ("to_share/my_notes.txt",) and "my_notes.txt" in found.text()
    assert "rounds.csv" in found.text() and "report.html" in found.text()


def test_output_cannot_be_the_study_folder_itself(answers):
    with pytest.raises(KitError, match="a folder of its own"):
        build_report(answers, Path(DEMO_FOLDER), progress=lambda line: None)


def test_interrupted_report_keeps_the_old_output(tmp_path, monkeypatch):
    """A survey of sessions, whose report is the quickest, stopped when all but the Word files is written."""
    answers = Answers.from_folder(DEMO_FOLDER / "survey")
    out = tmp_path / "output"
    out.mkdir()
    (out / "about.json").write_text("old")  # an output of an earlier kit
    monkeypatch.setattr("analysis.report.word.write_word", lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
    with made_here("svg"), pytest.raises(KeyboardInterrupt):
        build_report(answers, out, notebooks=False, progress=lambda line: None)
    assert [p.name for p in out.iterdir()] == ["about.json"] and (out / "about.json").read_text() == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["output"]
