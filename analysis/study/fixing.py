"""Files written whole or not at all, those of a fixed plan all or none; and its amendments, each version with its checksum."""

from __future__ import annotations

import datetime as dt
import errno
import glob
import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from ..basics import KitError, plural

FIXED_FILE = "plan_fixed.json"
WAITING = f".{FIXED_FILE}.partial"
"""The plan until everything else is written; who finds it knows that the fixing was interrupted."""


def write_plan(
    folder: Path, content: dict, text: str, *, kept: str = "", beside: Callable[[Path], object] | None = None
) -> None:
    """Write the document, what `beside` writes into a path with another ending, the version `kept`, and last the plan."""
    document = folder / content["document"]
    try:
        plan = json.dumps(content, indent=2, ensure_ascii=False, sort_keys=True)
        _write(folder / WAITING, f"{plan}\n".encode())
        _write(_aside(document), text.encode())
        _aside(document).rename(document)
        if beside is not None:
            word = document.with_suffix(".docx")
            beside(_aside(word))
            _aside(word).rename(word)
        if kept:
            _write(_aside(folder / kept), (folder / FIXED_FILE).read_bytes())
            _aside(folder / kept).rename(folder / kept)
        (folder / WAITING).replace(folder / FIXED_FILE)  # now it is fixed
    except BaseException as error:
        take_back(folder)
        if isinstance(error, OSError):
            why = error.strerror or error
            raise KitError(f"The plan could not be written ({why}). Nothing was fixed: run freeze again.") from error
        raise


def take_back(folder: Path) -> None:
    """Remove what an interrupted fixing left behind; a document that was changed since is a person's and stays."""
    waiting = folder / WAITING
    if not waiting.is_file():
        return
    try:
        content = json.loads(waiting.read_text(encoding="utf-8"))
        document, earlier = folder / content["document"], content["fixed"].get("amendments", ())
        kept = folder / earlier[-1]["file"] if earlier else None
        known = content["document_sha256"]
    except (OSError, ValueError, KeyError, TypeError):  # it was written first: nothing else was
        waiting.unlink(missing_ok=True)
        return
    for path in (document, document.with_suffix(".docx"), *([kept] if kept else [])):
        _aside(path).unlink(missing_ok=True)
    if document.is_file() and hashlib.sha256(document.read_bytes()).hexdigest() == known:
        document.with_suffix(".docx").unlink(missing_ok=True)
        document.unlink()
    if kept and kept.is_file() and kept.read_bytes() == (folder / FIXED_FILE).read_bytes():
        kept.unlink()
    waiting.unlink()


def write_whole(path: Path, content: bytes, *, over: bool = True) -> None:
    """Write a file aside and put it in place, so that whoever stops it leaves what was there; `over`: also over a file."""
    path = path.resolve() if path.is_symlink() and path.exists() else path
    if not over and os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, "it is there already and is not overwritten", str(path))
    partial = _aside(path)
    try:
        partial.unlink(missing_ok=True)  # of a run that was stopped
        _write(partial, content)
        if path.exists():
            partial.chmod(path.stat().st_mode & 0o777)
        partial.replace(path)
    finally:
        with suppress(OSError):
            partial.unlink()


def folder_aside(folder: Path) -> Path:
    """Make a folder of its owner alone beside another, to fill and then to put in its place; what stopped runs left goes."""
    for left in folder.parent.glob(f".{glob.escape(folder.name)}.partial-*"):
        if not _in_use(left):
            shutil.rmtree(left, ignore_errors=True)
    return Path(tempfile.mkdtemp(prefix=f".{folder.name}.partial-{os.getpid()}-", dir=folder.parent))


def _in_use(partial: Path) -> bool:
    """Say whether a folder of an earlier run belongs to a run that still goes on."""
    number = partial.name.rpartition(".partial-")[2].split("-")[0]
    if time.time() - partial.stat().st_mtime > 86_400:  # the number may be another program's by now
        return False
    if os.name == "posix" and number.isdecimal():
        try:
            os.kill(int(number), 0)
        except ProcessLookupError:
            return False
        except PermissionError:
            return True
        return True
    return time.time() - partial.stat().st_mtime < 3600


def _aside(path: Path) -> Path:
    return path.with_name(f".{path.name}.partial")


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def plain_values(value):
    """Return a value in the types of JSON, so that it reads back as it was written."""
    if isinstance(value, Mapping):
        return {str(k): plain_values(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain_values(v) for v in value]
    if value is None or isinstance(value, bool | str):
        return value
    if hasattr(value, "item"):  # a number of numpy
        value = value.item()
    if isinstance(value, float):
        return value if value == value and abs(value) != float("inf") else str(value)
    return value if isinstance(value, int) else str(value)


def checksum_of(fixed: Mapping) -> str:
    """Return the SHA-256 of what a plan fixes, whatever the order of its keys."""
    text = json.dumps(fixed, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def amend(study, fixed, reason: str, date: str) -> tuple[dict, ...]:
    """Return the amendments of the new version, the last of them this one; refuse where it is too late for one."""
    if fixed is None:
        raise KitError("No plan has been fixed in this folder: leave --amend out, and fix it first.")
    if not reason.strip():
        raise KitError('An amendment needs its reason: --amend "why the plan is changed".')
    if not fixed.intact:
        raise KitError(f"{FIXED_FILE}, or its document, was changed after it was fixed: put the original back first.")
    measured = measurements(study)
    if measured:
        raise KitError(
            f"It is too late to amend the plan: {measured}. What you do otherwise is listed as a departure, and what rests on "
            "it is exploratory."
        )
    earlier = tuple(fixed.fixed.get("amendments", ()))
    kept = f"plan_fixed_{len(earlier) + 1}.json"
    one = {"date": date, "reason": reason.strip(), "amends": fixed.checksum, "fixed_on": fixed.date}
    return (*earlier, {**one, "file": kept, "document": fixed.document_name})


def measurements(study) -> str:
    """Say what was measured already; "" where nothing was."""
    later = study.entered_rounds().query("round_no > 0")
    for words, count in (
        ("of rounds", len(later)),
        ("of blood samples", len(study.lactate)),
        ("of recordings", len(study.recordings)),
    ):
        if count:
            return f"{plural(count, 'row')} {words} {'is' if count == 1 else 'are'} entered"
    files = len(study.recording_files())
    return f"{plural(files, 'recording')} {'is' if files == 1 else 'are'} in the folder" if files else ""


def document_name(folder: Path, date: str) -> str:
    """Name the document of a version: by its date, numbered where there was one on that day."""
    name, number = f"plan_{date}.md", 2
    while any((folder / name).with_suffix(ending).exists() for ending in (".md", ".docx")):
        name, number = f"plan_{date}_{number}.md", number + 1
    return name


def versions_intact(folder: Path, amendments) -> bool:
    """Tell whether every earlier version is still there as it was fixed."""
    for entry in amendments:
        try:
            content = json.loads((folder / Path(str(entry["file"])).name).read_text(encoding="utf-8"))
            document = (folder / Path(str(entry["document"])).name).read_bytes()
            same = checksum_of(content["fixed"]) == content["checksum"] == entry["amends"]
            if not same or hashlib.sha256(document).hexdigest() != content["document_sha256"]:
                return False
        except (OSError, ValueError, KeyError, TypeError):
            return False
    return True


def about_amendments(amendments) -> tuple[str, ...]:
    """Say what was amended when, and why."""
    return tuple(
        f"Amended on {entry['date']}, before the first measurement: {entry['reason'].rstrip('.')}. The version of "
        f"{entry['fixed_on']} stands in {entry['document']} (checksum {entry['amends']})."
        for entry in amendments
    )


def today_iso(today: dt.date | None) -> str:
    """Return a day as 2026-11-25; default today."""
    return (today or dt.date.today()).isoformat()
