"""What an output was made from: checksums of the input, versions, seed; and the checksums of what was written."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from .. import __version__
from ..basics import KitError, Result, join_words

PACKAGES = ("numpy", "pandas", "scipy", "statsmodels", "pingouin", "seaborn", "matplotlib", "python-docx")
"""Packages whose version can change a number or a picture."""

_NOT_INPUT = {"output", "notebooks", "__pycache__"}


def checksum(path: str | Path) -> str:
    """Return the SHA-256 of a file."""
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()


def input_checksums(folder: str | Path) -> dict[str, str]:
    """Return the checksum of every input file of a study folder."""
    folder = Path(folder)
    return {
        path.relative_to(folder).as_posix(): checksum(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file() and _is_input(path.relative_to(folder).parts)
    }


def _is_input(parts: tuple[str, ...]) -> bool:
    return not (parts[0] in _NOT_INPUT or any(p.startswith((".", "~$")) for p in parts))


def output_checksums(folder: str | Path, *, without: Iterable[str] = ("about.json",)) -> dict[str, str]:
    """Return the checksum of every file of an output folder."""
    folder, without = Path(folder), set(without)
    names = {p.relative_to(folder).as_posix(): p for p in sorted(folder.rglob("*")) if p.is_file()}
    return {name: checksum(path) for name, path in names.items() if name not in without}


def versions() -> dict[str, str]:
    """Return the versions of the kit, Python and the packages that can change a number."""
    import platform

    found = {"kit": __version__, "python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def describe_output(study_folder, output_folder, *, seed: int, choices: dict) -> dict:
    """Return the content of about.json."""
    return {
        "made_at": datetime.now().astimezone().isoformat(timespec="seconds"),
        "choices": choices,
        "seed": seed,
        "versions": versions(),
        "input": input_checksums(study_folder),
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
            ("gone from the output", self.output_missing),
        )

    def text(self) -> str:
        """Return the finding in a few lines."""
        lines = [f"The output of {self.made_at} "]
        lines[0] += (
            "belongs to the input as it is now."
            if self.valid
            else "does not belong to the input as it is now:"
        )
        for words, names in self._differences():
            if names:
                shown = list(names[:5]) + ([f"{len(names) - 5} more"] if len(names) > 5 else [])
                lines.append(f"  {words}: {join_words(shown)}")
        if self.other_versions:
            lines.append(f"  note: other versions than then: {join_words(self.other_versions)}")
        if not self.valid:
            lines.append("Run the report again to bring it up to date.")
        return "\n".join(lines)


def verify_report(folder: str | Path, output: str | Path | None = None) -> Verification:
    """Compare an output with the study folder that it was made from.

    Parameters
    ----------
    folder : path
        The study folder.
    output : path, optional
        Default: `output` in the study folder.

    Returns
    -------
    Verification

    Raises
    ------
    KitError
        Where there is no output.

    Examples
    --------
    >>> import tempfile
    >>> verify_report(tempfile.mkdtemp())
    Traceback (most recent call last):
    ...
    analysis.basics.errors.KitError: There is no output yet: run the report first.
    """
    folder = Path(folder)
    output = Path(output) if output else folder / "output"
    try:
        about = json.loads((output / "about.json").read_text(encoding="utf-8"))
        then_in, then_out, made_at = about["input"], about["output"], about["made_at"]
    except FileNotFoundError:
        raise KitError("There is no output yet: run the report first.") from None
    except (ValueError, KeyError, TypeError):
        raise KitError(f"{output / 'about.json'} cannot be read: run the report again.") from None
    now_in, now_out, now_versions = input_checksums(folder), output_checksums(output), versions()
    return Verification(
        made_at=made_at,
        input_changed=_changed(then_in, now_in),
        input_missing=tuple(sorted(set(then_in) - set(now_in))),
        input_new=tuple(sorted(set(now_in) - set(then_in))),
        output_changed=_changed(then_out, now_out),
        output_missing=tuple(sorted(set(then_out) - set(now_out))),
        other_versions=tuple(
            f"{name} {now_versions[name]} (then {was})"
            for name, was in about.get("versions", {}).items()
            if now_versions.get(name, was) != was
        ),
    )


def _changed(then: dict, now: dict) -> tuple[str, ...]:
    return tuple(sorted(name for name in then if name in now and now[name] != then[name]))
