"""The folder of an output: built aside, nothing of a person's hand lost, and what it was made from, with checksums."""

from __future__ import annotations

import datetime as dt
import json
import os
import platform
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path, PurePosixPath

from .. import __version__
from ..basics import KitError, Result, join_words
from ..study.fixing import folder_aside
from ..study.inventory import checksum, input_checksums, plain_name
from ..study.load import examine_folder

PACKAGES = ("numpy", "pandas", "scipy", "statsmodels", "pingouin", "seaborn", "matplotlib", "python-docx")
"""Packages whose version can change a number or a picture."""


def versions() -> dict[str, str]:
    """Return the versions of the kit, Python and the packages that can change a number."""
    found = {"kit": __version__, "python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def output_checksums(folder: str | Path) -> dict[str, str]:
    """Return the checksum of every file that the kit wrote into an output, except about.json."""
    folder = Path(folder)
    names = {plain_name(p.relative_to(folder)): p for p in sorted(folder.rglob("*")) if p.is_file()}
    left_out = ("about.json", ABOUT)
    return {n: checksum(p) for n, p in names.items() if n not in left_out and not n.startswith((KEPT, "."))}


def describe_output(study, output_folder, *, seed: int, choices: dict) -> dict:
    """Return the content of about.json; the input is that which was read, not what stands in the folder by now."""
    return {
        "made_at": datetime.now().astimezone().isoformat(timespec="seconds"),
        "choices": choices,
        "seed": seed,
        "versions": versions(),
        "input": study.input,
        "output": output_checksums(output_folder),
    }


@dataclass(frozen=True)
class Verification(Result):
    """What `verify_report` found."""

    made_at: str
    input_changed: tuple[str, ...] = ()
    input_missing: tuple[str, ...] = ()
    input_new: tuple[str, ...] = ()
    output_changed: tuple[str, ...] = ()
    output_added: tuple[str, ...] = ()
    output_missing: tuple[str, ...] = ()
    other_versions: tuple[str, ...] = ()

    @property
    def valid(self) -> bool:
        """True where the input is the same and the output untouched."""
        return not any(names for _, names in self._differences())

    def _differences(self):
        return (
            ("changed in the input since", self.input_changed),
            ("gone from the input", self.input_missing),
            ("new in the input", self.input_new),
            ("changed in the output by hand", self.output_changed),
            ("added to the output by hand", self.output_added),
            ("gone from the output", self.output_missing),
        )

    def text(self) -> str:
        """Return the finding in a few lines."""
        lines = [f"The output of {self.made_at} "]
        same_input = not (self.input_changed or self.input_missing or self.input_new)
        if self.valid:
            lines[0] += "belongs to the input as it is now, and is as it was written."
        elif same_input:
            lines[0] += "belongs to the input as it is now, but is not as it was written:"
        else:
            lines[0] += "does not belong to the input as it is now:"
        for words, names in self._differences():
            if names:
                shown = list(names[:5]) + ([f"{len(names) - 5} more"] if len(names) > 5 else [])
                lines.append(f"  {words}: {join_words(shown)}")
        if self.other_versions:
            lines.append(f"  note: other versions than then: {join_words(self.other_versions)}")
        if not self.valid:
            kept = " What was changed or added by hand is then kept in a folder of its own."
            by_hand = self.output_changed or self.output_added
            lines.append(f"Run the report again to bring it up to date.{kept if by_hand else ''}")
        return "\n".join(lines)


def verify_report(folder: str | Path, output: str | Path | None = None) -> Verification:
    """Compare an output (default `output` in the study folder) with the study folder that it was made from."""
    folder = Path(folder)
    output = Path(output) if output else folder / "output"
    about_file = next((output / n for n in (ABOUT, "about.json") if (output / n).exists()), None)
    if about_file is None:
        raise KitError("There is no output yet: run the report first.")
    try:
        about = json.loads(about_file.read_text(encoding="utf-8"))
        then_in, made_at = dict(about["input"]), about["made_at"]
    except (OSError, ValueError, KeyError, TypeError):
        raise KitError(f"{about_file} cannot be read: run the report again.") from None
    now_in, now_versions, by_hand = _input_now(folder), versions(), find_by_hand(output)
    return Verification(
        made_at=made_at,
        input_changed=_changed(then_in, now_in),
        input_missing=tuple(sorted(set(then_in) - set(now_in))),
        input_new=tuple(sorted(set(now_in) - set(then_in))),
        output_changed=by_hand.changed,
        output_added=by_hand.added,
        output_missing=by_hand.missing,
        other_versions=tuple(
            f"{name} {now_versions[name]} (then {was})"
            for name, was in about.get("versions", {}).items()
            if now_versions.get(name, was) != was
        ),
    )


def _input_now(folder: Path) -> dict[str, str]:
    """The checksums of the folder as a report would take them now; names of people who left are not told."""
    try:
        return examine_folder(folder).study.input
    except KitError:  # there is no such folder any more
        return input_checksums(folder)


def _changed(then: dict, now: dict) -> tuple[str, ...]:
    return tuple(sorted(name for name in then if name in now and now[name] != then[name]))


TO_SHARE = "to_share"
FOR_YOU = "for_you"

FILES_TO_SHARE = ("report.html", "manuscript.docx", "supplement.docx", "one_page.pdf", "contact_sheet.html")
PASSED_ON = frozenset((*FILES_TO_SHARE, "figures", "tables", "data_package"))
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
    of_the_kit = any((folder / name).exists() for name in (ABOUT, "about.json"))  # the second: of an earlier kit
    if folder.is_dir() and any(folder.iterdir()) and not of_the_kit:
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
    """Compare an output with what the kit wrote into it; where about.json cannot be read, every file counts as added."""
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
    number, wanted = 1, f"{KEPT}{(today or dt.date.today()).isoformat()}"
    folder = wanted
    while os.path.lexists(output / folder):
        number += 1
        folder = f"{wanted}_{number}"
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


def _copy(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copy2(source, target, follow_symlinks=False)
