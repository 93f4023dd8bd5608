"""What an output was made from: checksums of the input, versions, seed; and the checksums of what was written."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from .. import __version__

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
