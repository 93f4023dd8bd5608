"""`freeze` on a disk that is full or may not be written: one sentence, nothing half-written, and it can be run again."""

import datetime as dt
import errno
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.basics import KitError
from analysis.study import fixing, freeze_plan, load_study, new_study
from analysis.study.fixed_plan import load_fixed_plan

TODAY = dt.date(2026, 11, 25)


@pytest.fixture
def study(tmp_path):
    found = load_study(new_study(tmp_path / "autumn"))
    return replace(found, settings={**found.settings, "ethics": {"approval": "2026-17"}})


def files(study):
    return sorted(p.name for p in Path(study.folder).rglob("*") if p.is_file())


@pytest.mark.parametrize("at", [1, 2])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS, errno.EDQUOT])
def test_nothing_is_left_and_it_can_be_run_again(study, monkeypatch, at, code):
    before, calls = files(study), []
    real = os.fsync

    def full(number):
        calls.append(number)
        if len(calls) == at:
            raise OSError(code, os.strerror(code))
        return real(number)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(KitError, match="could not be written"):
        freeze_plan(study, justification="As many as the club has.", today=TODAY)
    assert files(study) == before
    monkeypatch.setattr(os, "fsync", real)
    made = freeze_plan(study, justification="As many as the club has.", today=TODAY)
    assert all(p.stat().st_size > 100 for p in made.files)
    assert not [name for name in files(study) if "partial" in name]


def test_the_word_file_belongs_to_it(study, monkeypatch, quick_assurance):
    from analysis.report import plan_document, word

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    folder = Path(study.folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace('approval = ""', 'approval = "2026-17"', 1)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    before = files(study)
    monkeypatch.setattr(word, "write_word", full)
    with pytest.raises(KitError, match="Nothing was fixed"):
        plan_document.freeze(folder, athletes=12)
    assert files(study) == before


@pytest.mark.parametrize("amended", [False, True])
def test_it_can_be_run_again_wherever_the_computer_stopped(study, monkeypatch, amended):
    folder = Path(study.folder)
    calls = {"write": os.fsync, "rename": Path.rename, "replace": Path.replace}

    def fix(reason=None):
        return freeze_plan(study, today=TODAY, amendment=reason, beside=lambda _, path: path.write_text("for Word"))

    def stop_at(number):  # nothing is tidied up, as after a loss of power
        left = [number]

        def counted(call):
            def stops(*a, **k):
                left[0] -= 1
                if not left[0]:
                    raise KeyboardInterrupt
                return call(*a, **k)

            return stops

        monkeypatch.setattr(os, "fsync", counted(calls["write"]))
        monkeypatch.setattr(Path, "rename", counted(calls["rename"]))
        monkeypatch.setattr(Path, "replace", counted(calls["replace"]))
        monkeypatch.setattr(fixing, "take_back", lambda folder: None)

    if amended:
        fix()
    before, reason = files(study), "one more evening" if amended else None
    number, stopped = 1, True
    while stopped:
        stop_at(number)
        try:
            fix(reason)
            stopped = False
        except KeyboardInterrupt:
            number += 1
        monkeypatch.undo()
        if stopped:
            fixing.take_back(folder)
            assert files(study) == before, number
    assert number > 5 and load_fixed_plan(folder).intact
    assert len(files(study)) == len(before) + 3


def test_a_document_that_a_person_changed_in_between_stays(study):
    folder = Path(study.folder)
    content = {"document": "plan_2026-11-25.md", "document_sha256": "another", "fixed": {}}
    (folder / fixing.WAITING).write_text(json.dumps(content), encoding="utf-8")
    (folder / "plan_2026-11-25.md").write_text("my own words", encoding="utf-8")
    with pytest.raises(KitError, match="fixed in this folder before"):
        freeze_plan(study, today=TODAY)
    assert (folder / "plan_2026-11-25.md").read_text(encoding="utf-8") == "my own words"
