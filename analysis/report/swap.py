"""Building a folder aside and putting it in place at the end, so that an interruption harms nothing."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from ..basics import KitError

MARK = "about.json"
"""The file by which an earlier output of the kit is known; nothing else is ever replaced."""


def build_aside(folder: str | Path, fill: Callable[[Path], None]) -> Path:
    """Let `fill` write a new folder beside `folder`, then put it in its place."""
    folder = Path(folder)
    _refuse_foreign(folder)
    previous = folder.with_name(f".{folder.name}.previous")
    if previous.exists() and not folder.exists():
        previous.rename(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _remove_leftovers(folder)
        aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.partial-{os.getpid()}-", dir=folder.parent))
        aside.chmod(0o755)
    except OSError as error:
        raise KitError(f"Cannot write into {folder.parent}: {error.strerror or error}.") from error
    try:
        fill(aside)
        _exchange(aside, folder, previous)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return folder


def _refuse_foreign(folder: Path) -> None:
    if folder.is_dir() and any(folder.iterdir()) and not (folder / MARK).exists():
        raise KitError(
            f"{folder} holds files that the kit did not write, so it is not replaced. "
            "Move them elsewhere, or choose another place for the output."
        )
    if folder.exists() and not folder.is_dir():
        raise KitError(f"{folder} is a file; the output needs a folder of that name.")


def _exchange(aside: Path, folder: Path, previous: Path) -> None:
    shutil.rmtree(previous, ignore_errors=True)
    if folder.exists():
        try:
            folder.rename(previous)
        except OSError as error:
            raise KitError(_held_open(folder, error)) from error
    try:
        aside.rename(folder)
    except BaseException:
        if previous.exists():
            previous.rename(folder)
        raise
    shutil.rmtree(previous, ignore_errors=True)


def _held_open(folder: Path, error: OSError) -> str:
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        try:
            path.rename(path)
            with path.open("r+b"):
                continue
        except OSError:
            where = path.relative_to(folder.parent)
            return (
                f"{where} is open in another program. Close it and run the report again; "
                "the earlier output is unchanged."
            )
    reason = error.strerror or error
    return f"{folder} could not be replaced ({reason}). The earlier output is unchanged."


def _remove_leftovers(folder: Path) -> None:
    for left in folder.parent.glob(f".{folder.name}.partial-*"):
        if not _in_use(left):
            shutil.rmtree(left, ignore_errors=True)


def _in_use(partial: Path) -> bool:
    """Say whether a folder of an earlier run belongs to a run that still goes on."""
    number = partial.name.split(".partial-")[1].split("-")[0]
    if os.name == "posix" and number.isdigit():
        try:
            os.kill(int(number), 0)
        except ProcessLookupError:
            return False
        except PermissionError:
            return True
        return True
    return time.time() - partial.stat().st_mtime < 3600
