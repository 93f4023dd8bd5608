"""`freeze` on a disk that is full or may not be written: one sentence, nothing half-written, and it can be run again."""

import datetime as dt
import errno
import os
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.basics import KitError
from analysis.study import freeze_plan, load_study, new_study

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
    from analysis.report import plan_document

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    folder = Path(study.folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace('approval = ""', 'approval = "2026-17"', 1)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    before = files(study)
    monkeypatch.setattr(plan_document, "write_word", full)
    with pytest.raises(KitError, match="Nothing was fixed"):
        plan_document.freeze(folder, athletes=12)
    assert files(study) == before
