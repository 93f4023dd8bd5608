"""Dated amendments of a fixed plan, before the first measurement: both versions kept, each with its checksum."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from ..basics import KitError, plural
from .fixing import FIXED_FILE
from .model import Study


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


def amend(study: Study, fixed, reason: str, date: str) -> tuple[dict, ...]:
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


def measurements(study: Study) -> str:
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
