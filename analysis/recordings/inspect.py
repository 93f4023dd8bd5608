"""`inspect_recording`: what a file is and what it carries about a person, without reading the trace."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from ..basics import Result
from .fit import walk_fields
from .layout import LOOK_AHEAD, decode, find_layout
from .recording import RecordingError
from .sources import read_bytes, tell_kind
from .synonyms import COLUMN_WORDS, plain_words

FIRST_LOOK = 4 * 1024 * 1024
"""Bytes looked at: enough for some hours of any format."""

# possessive repeats (*+) keep these linear whatever the file holds
_POSITION = re.compile(rb"""LatitudeDegrees>\s*+-?0*+\.?0*+[1-9]|\blat\s*+=\s*+["']-?0*+\.?0*+[1-9]""", re.I)
_IDENTITY = re.compile(
    rb"<(?:\w{1,20}:)?(?:UnitId|email|author|Notes|AthleteName|FirstName|LastName)\b[^<>]*+>\s*+(?!0?\s*+<)"
    rb"|<author\b[^<>]*+>\s*+<name>\s*+[^<\s]",
    re.I,
)


@dataclass(frozen=True)
class Inspection(Result):
    """What a recording file is and carries.

    Parameters
    ----------
    file : str
        Name without folder.
    kind : str
        "FIT", "TCX", "GPX", "table", "intervals", or "" where it is none of these.
    size_bytes : int
        As it lies on the disk.
    carries_position : bool
        Latitude and longitude are in the file.
    carries_identity : bool
        A name, profile, note, or serial number of device or person is in the file.
    problem : str
        Why it cannot be a recording; "" where it can.
    """

    file: str
    kind: str
    size_bytes: int
    carries_position: bool
    carries_identity: bool
    problem: str = ""


def inspect_recording(path: str | Path) -> Inspection:
    """Say what a recording file is and whether it carries positions or identity.

    Parameters
    ----------
    path : path
        Any file. It never raises: what is wrong with a file stands in `problem`.

    Returns
    -------
    Inspection
        A few milliseconds a file; only the first 4 MB are looked at.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "A07.csv"
    >>> _ = path.write_text("time,hr,lat,lon\\n19:00:00,120,48.1,11.5\\n19:00:01,121,48.1,11.5\\n")
    >>> found = inspect_recording(path)
    >>> found.kind, found.carries_position, found.carries_identity
    ('table', True, False)
    """
    path = Path(path)
    size = 0
    try:
        size = path.stat().st_size if path.is_file() else 0
        data, _ = read_bytes(path, at_most=FIRST_LOOK)
        kind = tell_kind(data, path.name)
        if kind == "FIT":
            position, identity = _look_at_fit(data)
        elif kind in ("TCX", "GPX"):
            position, identity = bool(_POSITION.search(data)), bool(_IDENTITY.search(data))
        else:
            kind, position, identity = _look_at_table(data, path.name)
    except RecordingError as problem:
        return Inspection(path.name, "", size, False, False, str(problem))
    except OSError as problem:
        return Inspection(path.name, "", size, False, False, f"{path.name}: {problem.strerror or problem}")
    return Inspection(path.name, kind, size, position, identity)


def _look_at_fit(data: bytes) -> tuple[bool, bool]:
    """Position in records; serial numbers of file and devices, or a profile of the user."""
    position = identity = False
    for kind, number, value in walk_fields(data, {20: (0, 1), 0: (3,), 23: (3,), 3: (0, 1, 2, 3, 4)}):
        empty = (
            not value.strip(b"\x00")
            or not value.strip(b"\xff")
            or value in (b"\xff\xff\xff\x7f", b"\x7f\xff\xff\xff")
        )
        if empty:
            continue
        if kind == 20:
            position = True
        else:
            identity = True
        if position and identity and number >= 0:
            break
    return position, identity


def _look_at_table(data: bytes, name: str) -> tuple[str, bool, bool]:
    start = data[: 64 * 1024]
    cut = start.rfind(b"\n")
    lines, _ = decode(start if len(data) <= len(start) or cut < 0 else start[:cut], name)
    layout = find_layout(lines[: LOOK_AHEAD * 2], name)
    words = {plain_words(h) for h in layout.headers}
    above = {
        plain_words(cell)
        for line in lines[: max(layout.header_at, 0)]
        for cell in re.split(r"[;,\t:|]", line)
    }
    position = bool(words & set(COLUMN_WORDS["position"]))
    identity = bool((words | above) & set(COLUMN_WORDS["identity"]))
    kind = "intervals" if layout.columns("interval") and not layout.columns("rate") else "table"
    return kind, position, identity
