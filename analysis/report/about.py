"""What an output was made from: checksums of the input, versions, seed; and the checksums of what was written."""

from __future__ import annotations

import json
import platform
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from .. import __version__
from ..basics import KitError, Result, join_words
from ..study.inventory import checksum, input_checksums, plain_name
from ..study.load import examine_folder
from .output import ABOUT, KEPT, find_by_hand

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
