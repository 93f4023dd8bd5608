"""Nothing of a person's hand is lost or certified: edits, added files, links, names of other systems, full disks."""

import datetime as dt
import errno
import json
import os
import shutil

import pytest

from analysis.basics import KitError
from analysis.report.output import build_aside, keep_by_hand, output_checksums, verify_report

TODAY = dt.date(2026, 11, 25)


def made(text="first"):
    def fill(folder):
        for name in ("to_share/manuscript.docx", "to_share/tables/means.csv", "for_you/ledger.csv"):
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(f"{name} {text}")
        about = {"input": {}, "output": output_checksums(folder), "made_at": "then", "versions": {}}
        (folder / "for_you" / "about.json").write_text(json.dumps(about))

    return fill


def kept_files(out):
    return {
        name: p.read_text()
        for p in out.rglob("*")
        if p.is_file() and (name := p.relative_to(out).as_posix()).startswith("kept_")
    }


def test_what_was_changed_or_added_moves_aside_and_is_named(tmp_path):
    out, said = tmp_path / "output", []
    build_aside(out, made())
    (out / "to_share" / "manuscript.docx").write_text("with an introduction of our own")
    (out / "to_share" / "letter.txt").write_text("dear editor")
    (out / "notes").mkdir()
    (out / "notes" / "todo.txt").write_text("ask the club")
    build_aside(out, made("second"), say=said.append)
    kept = kept_files(out)
    assert sorted(kept.values()) == ["ask the club", "dear editor", "with an introduction of our own"]
    assert (out / "to_share" / "manuscript.docx").read_text() == "to_share/manuscript.docx second"
    assert len(said) == 3 and any("manuscript.docx was changed by hand" in s for s in said)
    assert all(any(name in s for s in said) for name in kept)


def test_what_was_kept_stays_over_later_reports_and_is_not_kept_again(tmp_path):
    out = tmp_path / "output"
    build_aside(out, made())
    for edit in ("one", "two", "three"):
        (out / "to_share" / "manuscript.docx").write_text(edit)
        build_aside(out, made())
    said = []
    build_aside(out, made(), say=said.append)
    assert sorted(kept_files(out).values()) == ["one", "three", "two"] and said == []
    assert len([p for p in out.iterdir() if p.name.startswith("kept_")]) == 3
    assert verify_report(_empty_study(tmp_path), out).output_added == ()


def _empty_study(tmp_path):
    folder = tmp_path / "study"
    folder.mkdir(exist_ok=True)
    return folder


def test_edits_of_an_output_whose_record_is_broken_are_kept_all_the_same(tmp_path):
    out = tmp_path / "output"
    build_aside(out, made())
    (out / "for_you" / "about.json").write_text("{")
    build_aside(out, made("second"))
    assert "to_share/manuscript.docx first" in kept_files(out).values()


def test_what_programs_leave_behind_is_not_taken_for_an_edit(tmp_path):
    out, said = tmp_path / "output", []
    build_aside(out, made())
    for name in (".DS_Store", "Thumbs.db", "~$report.docx"):
        (out / "to_share" / name).write_text("x")
    build_aside(out, made(), say=said.append)
    assert said == [] and kept_files(out) == {}


def test_verify_names_what_was_added(tmp_path):
    study = _empty_study(tmp_path)
    build_aside(study / "output", made())
    assert verify_report(study).valid
    (study / "output" / "to_share" / "extra.xlsx").write_text("x")
    found = verify_report(study)
    assert found.output_added == ("to_share/extra.xlsx",) and not found.valid
    assert "extra.xlsx" in found.text() and "belongs to the input as it is now, but" in found.text()


def test_an_output_that_is_a_link_stays_one(tmp_path):
    elsewhere, out = tmp_path / "disk" / "results", tmp_path / "output"
    elsewhere.mkdir(parents=True)
    out.symlink_to(elsewhere)
    for text in ("first", "second", "third"):
        build_aside(out, made(text))
        assert out.is_symlink() and (elsewhere / "for_you" / "ledger.csv").read_text().endswith(text)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["disk", "output"]
    assert sorted(p.name for p in (tmp_path / "disk").iterdir()) == ["results"]


def test_a_link_to_nowhere_and_one_in_a_circle(tmp_path):
    out = tmp_path / "output"
    out.symlink_to(tmp_path / "gone" / "results")
    build_aside(out, made())
    assert (tmp_path / "gone" / "results" / "for_you").is_dir()
    circle = tmp_path / "circle"
    circle.symlink_to(circle)
    with pytest.raises(KitError, match=r"link|circle"):
        build_aside(circle, made())


@pytest.mark.skipif(os.name != "posix", reason="names of files are bytes on POSIX")
def test_a_name_that_is_not_utf8_is_kept_and_written_down(tmp_path):
    study = _empty_study(tmp_path)
    build_aside(study / "output", made())
    strange = os.fsencode(study / "output" / "to_share") + b"/M\xfcller.txt"
    with open(strange, "w") as file:
        file.write("from an archive")
    said = []
    assert verify_report(study).output_added == ("to_share/M\\xfcller.txt",)
    build_aside(study / "output", made(), say=said.append)
    assert len(said) == 1 and said[0].encode("utf-8")
    assert "from an archive" in kept_files(study / "output").values()


def test_a_full_disk_is_said_in_one_sentence_and_leaves_nothing(tmp_path):
    out = tmp_path / "output"
    build_aside(out, made())

    def full(folder):
        (folder / "half.csv").write_text("half")
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(KitError, match=r"could not be written \(No space left on device\)"):
        build_aside(out, full)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["output"]
    assert (out / "for_you" / "ledger.csv").read_text().endswith("first")


def test_no_room_for_what_was_changed_keeps_it_where_it_is(tmp_path, monkeypatch):
    out = tmp_path / "output"
    build_aside(out, made())
    (out / "to_share" / "manuscript.docx").write_text("mine")

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(shutil, "copy2", full)
    with pytest.raises(KitError, match="unchanged"):
        build_aside(out, made("second"))
    assert (out / "to_share" / "manuscript.docx").read_text() == "mine"


def test_while_it_is_made_an_output_is_open_to_its_owner_alone(tmp_path):
    seen = []

    def fill(folder):
        seen.append(folder.stat().st_mode & 0o777)
        made()(folder)

    build_aside(tmp_path / "output", fill)
    assert seen == [0o700] or os.name != "posix"


def test_two_kept_folders_of_one_day_have_two_names(tmp_path):
    old, new = tmp_path / "old", tmp_path / "new"
    made()(old)
    (old / f"kept_{TODAY.isoformat()}").mkdir()
    (old / f"kept_{TODAY.isoformat()}" / "earlier.txt").write_text("earlier")
    (old / "added.txt").write_text("added")
    keep_by_hand(old, new, today=TODAY)
    names = sorted(p.relative_to(new).as_posix() for p in new.rglob("*.txt"))
    assert names == [f"kept_{TODAY.isoformat()}/earlier.txt", f"kept_{TODAY.isoformat()}_2/added.txt"]
