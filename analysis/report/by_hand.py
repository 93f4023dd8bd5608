"""Nothing of a person's hand is overwritten: what was changed or added in an output moves aside and is named."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from .about import checksum, plain_name
from .folders import ABOUT

KEPT = "kept_"
"""How a folder of kept files begins; the date follows."""

_LITTER = frozenset({"thumbs.db", "desktop.ini", ".ds_store"})


@dataclass(frozen=True)
class ByHand:
    """What a person did to an output.

    Parameters
    ----------
    changed, added : tuple of str
        Files of the kit that are no longer as written, and files that the kit did not write.
    kept_earlier : tuple of str
        Files that an earlier report moved aside.
    missing : tuple of str
        Files of the kit that are gone.
    """

    changed: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    kept_earlier: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def find_by_hand(output: str | Path) -> ByHand:
    """Compare an output with what the kit wrote into it.

    Parameters
    ----------
    output : path
        An output with its about.json; where that cannot be read, every file counts as added.

    Returns
    -------
    ByHand

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
    """Copy what a person changed or added in an output into the output that will replace it.

    Parameters
    ----------
    output : path
        What will be replaced. Not changed.
    new : path
        What will replace it; gets a folder `kept_<date>`, and those of earlier reports.
    today : datetime.date, optional

    Returns
    -------
    tuple of str
        A sentence per file that was moved aside now.

    Examples
    --------
    >>> import tempfile
    >>> keep_by_hand(tempfile.mkdtemp(), tempfile.mkdtemp())
    ()
    """
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
