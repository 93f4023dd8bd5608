"""Whatever is killed, at whatever change of a file: what was there is whole, and the same command succeeds when run again."""

import datetime as dt
import json
import os
import shutil
from pathlib import Path

import pytest
from stopped import numbers_until_it_ends

from analysis.answers import training as training_answers
from analysis.basics import KitError
from analysis.pace import write_pace_page
from analysis.replication import pool
from analysis.report.notebook_pages import copy_notebooks
from analysis.report.output import build_aside, find_by_hand
from analysis.study import load_study, new_study
from analysis.study.decisions import write_decisions
from analysis.study.training import add_to_record, read_record, write_record

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX")


def names(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


def fresh(folder, *, make=True):
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True) if make else None
    return folder


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize("options", [{"workbook": False, "rounds": 2}, {"survey": True}], ids=str)
def test_a_new_folder(tmp_path, there, options):
    whole = names(new_study(tmp_path / "whole", **options))
    base = tmp_path / "base"
    folder = base / "autumn"

    def prepare():
        fresh(base)
        folder.mkdir() if there else None

    numbers = []
    for number in numbers_until_it_ends(base, prepare, lambda: new_study(folder, **options)):
        numbers.append(number)
        if there and (folder / "study.toml").exists() and not (folder / ".autumn.partial/.list.json").exists():
            with pytest.raises(KitError, match="is not empty"):  # it was finished already
                new_study(folder, **options)
        else:
            new_study(folder, **options)
        assert names(folder) == whole and os.listdir(base) == ["autumn"], number
    assert len(numbers) > 5 and names(folder) == whole


def test_a_file_of_a_person_in_a_half_made_folder_stays_and_is_named(tmp_path):
    folder = tmp_path / "autumn"

    def act():
        new_study(folder, workbook=False)

    halves = 0
    for number in numbers_until_it_ends(folder, lambda: fresh(folder), act):
        listed = folder / ".autumn.partial" / ".list.json"
        moved = [p for p in folder.iterdir() if p.name != ".autumn.partial"]
        if not listed.exists() or not moved:
            continue
        halves += 1
        (folder / "mine.txt").write_text("years of work")
        (folder / "README.md").write_text("my words")
        before = names(folder)
        with pytest.raises(KitError, match=r"README\.md and mine\.txt"):
            act()
        assert names(folder) == before, number
        (folder / "mine.txt").unlink()
        (folder / "README.md").unlink()
        act()  # the remedy, to the letter
        assert (folder / "study.toml").is_file() and not listed.parent.exists()
    assert halves > 5


def test_a_file_that_comes_while_a_folder_is_made_is_not_overwritten(tmp_path, monkeypatch):
    from analysis.study import new_folder

    folder = fresh(tmp_path / "autumn")
    write = new_folder.write_whole

    def meanwhile(path, content):
        write(path, content)
        (folder / "rounds.csv").write_text("mine")

    monkeypatch.setattr(new_folder, "write_whole", meanwhile)
    with pytest.raises(KitError, match="somebody else"):
        new_study(folder, workbook=False)
    assert names(folder) == ["rounds.csv"] and (folder / "rounds.csv").read_text() == "mine"


@pytest.mark.parametrize("workbook", [True, False])
def test_proposed_decisions(tmp_path, workbook):
    source = new_study(tmp_path / "source", workbook=workbook)
    folder = tmp_path / "study"
    row = {"table": "rounds", "athlete": "A01", "round_no": "1", "measure": "exertion", "action": "keep"}
    name = "study.xlsx" if workbook else "decisions.csv"

    def prepare():
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(source, folder)

    killed = 0
    for _ in numbers_until_it_ends(folder, prepare, lambda: write_decisions(folder, [row], workbook=workbook)):
        killed += 1
        load_study(folder)
        write_decisions(folder, [row], workbook=workbook)
        assert len(load_study(folder).decisions) <= 1 and names(folder) == names(source)
        assert (folder / name).stat().st_mode == (source / name).stat().st_mode
    assert killed >= 2


def test_the_page_for_raters_and_no_other_file_gives_way_to_it(tmp_path):
    study = load_study(new_study(tmp_path / "study"))
    out, codes = tmp_path / "pages" / "page.html", ["A01", "A04"]

    def prepare():
        fresh(out.parent)
        write_pace_page(study, out, athletes=["A01"])

    for _ in numbers_until_it_ends(out.parent, prepare, lambda: write_pace_page(study, out, athletes=codes)):
        assert out.read_text(encoding="utf-8").rstrip().endswith("</html>")
        assert "A04" in write_pace_page(study, out, athletes=codes).read_text(encoding="utf-8")
        assert names(out.parent) == ["page.html"]
    out.write_text("my own page")
    with pytest.raises(KitError, match="another name"):
        write_pace_page(study, out, athletes=codes)
    assert out.read_text() == "my own page"


def test_the_draw_and_its_record(tmp_path):
    """Groups first, then the record: whoever stops in between runs the draw again, which gives the same groups."""
    base = tmp_path / "base"
    content = {
        "date": "2026-04-01", "plan_sha256": "a", "public_number": "7", "design": "parallel", "strata": [],
        "baselines": [{"athlete": "K1"}], "sealed_sha256": "b",
    }  # fmt: skip

    def draw():
        with training_answers._sealed_file(base / "groups.csv", "athlete,arm\nK1,trained\n"):
            write_record(base, content)

    def join():
        with training_answers._sealed_file(base / "late.csv", "athlete,arm\nK2,control\n"):
            add_to_record(base, {"athlete": "K2"})

    for _ in numbers_until_it_ends(base, lambda: fresh(base), draw):
        assert (base / "groups.csv").exists() or not (base / "allocation_record.json").exists()
        if read_record(base) is None:
            draw()
        assert names(base) == ["allocation_record.json", "groups.csv"] and read_record(base) == content
    with pytest.raises(KitError, match="allocated before"):
        draw()

    def drawn():
        fresh(base)
        draw()

    for _ in numbers_until_it_ends(base, drawn, join):
        assert read_record(base)["baselines"] == content["baselines"], "the draw can still be repeated"
        if not read_record(base).get("late"):
            join()
        assert read_record(base)["late"] == [{"athlete": "K2"}]
        assert names(base) == ["allocation_record.json", "groups.csv", "late.csv"]


def test_groups_of_another_draw_are_not_overwritten(tmp_path):
    (tmp_path / "groups.csv").write_text("mine")
    with pytest.raises(KitError, match="not overwritten"), training_answers._sealed_file(tmp_path / "groups.csv", "a"):
        pass
    assert (tmp_path / "groups.csv").read_text() == "mine"


def test_pooled_studies(tmp_path, monkeypatch):
    base = tmp_path / "base"
    monkeypatch.setattr(pool, "join_studies", lambda folders: type("Joined", (), {"rows": [1]}))
    monkeypatch.setattr(pool, "answer_pooled", lambda joined: None)

    def write(folder, *_):
        for name in ("rows.csv", "README.md"):
            (folder / name).write_text("whole")

    monkeypatch.setattr(pool, "_write", write)
    for _ in numbers_until_it_ends(base, lambda: fresh(base), lambda: pool.pool_studies([], base / "out")):
        if not (base / "out").exists():
            pool.pool_studies([], base / "out")
        assert names(base) == ["out", "out/README.md", "out/rows.csv"], "no hidden rest of a killed run"


def test_copied_notebooks(tmp_path):
    folder = tmp_path / "study"
    whole = copy_notebooks(fresh(folder))[0]
    sizes = {p.name: p.stat().st_size for p in whole.iterdir()}
    for number in numbers_until_it_ends(folder, lambda: fresh(folder), lambda: copy_notebooks(folder)):
        if number % 5:  # all take the same way
            continue
        assert not copy_notebooks(folder)[1], "none is taken for a person's"
        assert {p.name: p.stat().st_size for p in (folder / "notebooks").iterdir()} == sizes


def test_an_output_with_files_of_a_persons_hand(tmp_path):
    base = tmp_path / "base"
    out = base / "output"

    def fill(folder):
        from analysis.report.output import output_checksums

        (folder / "page.html").write_text("new")
        (folder / "for_you").mkdir()
        (folder / "for_you" / "about.json").write_text(json.dumps({"output": output_checksums(folder)}))

    def prepare():
        fresh(base)
        build_aside(out, fill)
        (out / "thesis.docx").write_text("years of work")

    for number in numbers_until_it_ends(base, prepare, lambda: build_aside(out, fill)):
        build_aside(out, fill)
        kept = [p for p in Path(out).rglob("thesis.docx")]
        assert len(kept) == 1 and kept[0].read_text() == "years of work", number
        assert os.listdir(base) == ["output"] and not find_by_hand(out).added
        assert kept[0].parent.name.startswith(f"kept_{dt.date.today().year}")
