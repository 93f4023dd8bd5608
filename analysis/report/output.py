"""The folder of an output: what is passed on apart from what is not, built aside, nothing of a person's hand lost."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from ..basics import KitError
from ..study.fixing import folder_aside
from ..study.inventory import checksum, plain_name

TO_SHARE = "to_share"
FOR_YOU = "for_you"

PASSED_ON = frozenset(
    {
        "report.html",
        "manuscript.docx",
        "supplement.docx",
        "one_page.pdf",
        "contact_sheet.html",
        "figures",
        "tables",
        "data_package",
    }
)
"""What may leave the club. Whatever is not named here is for the owner of the study alone."""

ABOUT = f"{FOR_YOU}/about.json"
"""The file by which an output of the kit is known."""


class Folders:
    """The two folders of an output."""

    def __init__(self, out: str | Path, *, may_share: bool = True):
        self.out, self.may_share = Path(out), may_share

    def place(self, name: str) -> Path:
        """Return where a file or folder of this name (with forward slashes) belongs."""
        shared = self.may_share and PurePosixPath(name).parts[0] in PASSED_ON
        return self.out / (TO_SHARE if shared else FOR_YOU) / name


def build_aside(
    folder: str | Path, fill: Callable[[Path], None], *, say: Callable[[str], object] = lambda line: None
) -> Path:
    """Let `fill` write a new folder beside `folder`, then put it in its place; `say` is told what was kept of the old one."""
    folder = _where_it_is(Path(folder))
    _refuse_foreign(folder)
    previous = folder.with_name(f".{folder.name}.previous")
    if previous.exists() and not folder.exists():
        previous.rename(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        aside = folder_aside(folder)
    except OSError as error:
        raise KitError(f"Cannot write into {folder.parent}: {error.strerror or error}.") from error
    try:
        fill(aside)
        kept = keep_by_hand(folder, aside)
        aside.chmod(0o755)  # until now it was open to its owner alone
        _exchange(aside, folder, previous)
    except OSError as error:
        raise KitError(
            f"The output could not be written ({error.strerror or error}). The earlier output, if any, is unchanged."
        ) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    for line in kept:
        say(line)
    return folder


def _where_it_is(folder: Path) -> Path:
    """Follow a link to the folder that it means, so that the link stays and the output lies where it points."""
    try:
        return folder.resolve() if folder.is_symlink() else folder
    except (OSError, RuntimeError) as error:
        raise KitError(f"{folder} is a link that leads nowhere: remove it, or choose another place.") from error


def _refuse_foreign(folder: Path) -> None:
    if folder.is_dir() and any(folder.iterdir()) and not _is_output(folder):
        raise KitError(
            f"{folder} holds files that the kit did not write, so it is not replaced. "
            "Move them elsewhere, or choose another place for the output."
        )
    if folder.exists() and not folder.is_dir():
        raise KitError(f"{folder} is a file; the output needs a folder of that name.")


def _is_output(folder: Path) -> bool:
    return (folder / ABOUT).exists() or (folder / "about.json").exists()  # the second: of an earlier kit


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


KEPT = "kept_"
"""How a folder of kept files begins; the date follows."""

_LITTER = frozenset({"thumbs.db", "desktop.ini", ".ds_store"})


@dataclass(frozen=True)
class ByHand:
    """What a person did to an output."""

    changed: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    kept_earlier: tuple[str, ...] = ()  # files that an earlier report moved aside
    missing: tuple[str, ...] = ()  # files of the kit that are gone


def find_by_hand(output: str | Path) -> ByHand:
    """Compare an output with what the kit wrote into it.

    `output`: an output with its about.json; where that cannot be read, every file counts as added.

    Examples
    --------
    >>> import tempfile
    >>> find_by_hand(tempfile.mkdtemp())
    ByHand(changed=(), added=(), kept_earlier=(), missing=())
    """
    output = Path(output)
    written = written_files(output)
    changed, added, kept, found = [], [], [], set()
    for path in sorted(p for p in output.rglob("*") if p.is_symlink() or p.is_file()):
        name = plain_name(path.relative_to(output))
        found.add(name)
        if path.name.casefold() in _LITTER or path.name.startswith(("~$", ".~lock.")):
            continue
        if name.startswith(KEPT):
            kept.append(name)
        elif name in written:
            if path.is_symlink() or checksum(path) != written[name]:
                changed.append(name)
        elif name not in ("about.json", ABOUT):
            added.append(name)
    return ByHand(tuple(changed), tuple(added), tuple(kept), tuple(sorted(set(written) - found)))


def written_files(output: Path) -> dict[str, str]:
    """Return the checksums of what the kit wrote into an output; empty where they cannot be read."""
    for name in (ABOUT, "about.json"):  # an output of an earlier kit has it at the top
        try:
            written = json.loads((output / name).read_text(encoding="utf-8"))["output"]
        except (OSError, ValueError, KeyError, TypeError):
            continue
        if isinstance(written, dict):
            return written
    return {}


def keep_by_hand(output: str | Path, new: str | Path, *, today: dt.date | None = None) -> tuple[str, ...]:
    """Copy what a person changed or added in an output into the output that will replace it."""
    output, new = Path(output), Path(new)
    if not output.is_dir():
        return ()
    found = find_by_hand(output)
    fresh = {*found.changed, *found.added}
    folder = _unused(output, f"{KEPT}{(today or dt.date.today()).isoformat()}")
    said = []
    for path in sorted(p for p in output.rglob("*") if p.is_symlink() or p.is_file()):
        inside = path.relative_to(output)
        name = plain_name(inside)
        if name in found.kept_earlier:
            _copy(path, new / inside)
        elif name in fresh:
            _copy(path, new / folder / inside)
            what = "was changed by hand" if name in found.changed else "was added by hand"
            said.append(f"{name} {what}: it is kept as {folder}/{name}")
    return tuple(said)


def _unused(output: Path, name: str) -> str:
    number, wanted = 1, name
    while os.path.lexists(output / wanted):
        number += 1
        wanted = f"{name}_{number}"
    return wanted


def _copy(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copy2(source, target, follow_symlinks=False)
