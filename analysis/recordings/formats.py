"""The accepted formats, one row each: how a file of it is told, read, listed and looked into, and a small example of it.

A new format is one more row of `FORMATS` (and its reader): `check`, the look into files, the list of labels, the endings that
count as recordings and the fuzz command take it from there.
"""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Callable
from dataclasses import dataclass

from .fit import read_fit, walk_fields
from .recording import RecordingError
from .table import COLUMN_WORDS, LOOK_AHEAD, decode, find_layout, list_table_labels, plain_words, read_table
from .tidy import RawTrace
from .xml_files import list_parts, read_xml


@dataclass(frozen=True)
class Format:
    """One accepted format."""

    kind: str  # As `Recording.kind` says it
    endings: tuple[str, ...]  # Usual endings of file names; only a hint, since the content decides
    # (first 4,096 bytes, their text without leading blanks) -> bool. Asked in the order of `FORMATS`.
    tell: Callable[[bytes, str], bool]
    # (bytes, name, label or None) -> RawTrace, or RecordingError
    read: Callable[[bytes, str, str | None], RawTrace]
    # (bytes, name) -> the traces that a file of several athletes or activities holds
    labels: Callable[[bytes, str], tuple[str, ...]]
    # (bytes, name) -> kind, whether positions are inside, whether identity is
    inspect: Callable[[bytes, str], tuple[str, bool, bool]]
    seed: Callable[[], bytes]  # () -> a small sound file, from which the fuzz command makes damaged ones


def tell_format(data: bytes, name: str) -> Format:
    """Tell the format of a file from its first bytes, or raise with the likely cause."""
    if not data.strip(b"\x00\r\n\t \xef\xbb\xbf"):
        raise RecordingError(f"{name}: the file is empty. Copy it from the device again.")
    head = data[:4096]
    start = _beginning(head)
    found = next((f for f in FORMATS if f.tell(head, start)), None)
    if found is None:
        raise RecordingError(f"{name}: {_why_none(head, start)}")
    return found


def _beginning(head: bytes) -> str:
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return head.decode("utf-16", errors="ignore").lstrip("\ufeff \r\n\t")
    return head.decode("utf-8-sig", errors="ignore").lstrip("\ufeff \r\n\t")


_EXPORT = "Export the recording as FIT, TCX, GPX or CSV."


def _why_none(head: bytes, start: str) -> str:
    """What a file is that no format knows, and what to do."""
    if head[:4] == b"PK\x03\x04":
        return "a spreadsheet or zip archive. Save the sheet as CSV, or unpack the archive, and use that file."
    if head[:5] == b"%PDF-":
        return f"a PDF holds no samples. {_EXPORT}"
    if start.startswith("<"):
        if _root(start) == "html":
            return "a web page, not a recording. Was the sign-in page saved instead of the file?"
        return f"XML, but neither TCX nor GPX. {_EXPORT}"
    if start.startswith(("{", "[{")):
        return f"JSON is not read. {_EXPORT}"
    return (
        "neither text nor a format that is read (FIT, TCX, GPX, CSV). A damaged copy? "
        "Copy the original from the device again."
    )


def _root(start: str) -> str:
    """The name of the outermost element, in lower case and without namespace."""
    found = re.search(r"<(?![?!])(?:[\w.-]+:)?([\w.-]+)", start)
    return found.group(1).lower() if found else ""


_TEXT_CONTROLS = bytes(set(range(32)) - {9, 10, 11, 12, 13, 26, 27})


def _is_text(head: bytes, start: str) -> bool:
    if head[:4] == b"PK\x03\x04" or head[:5] == b"%PDF-" or start.startswith(("<", "{", "[{")):
        return False
    return head[:2] in (b"\xff\xfe", b"\xfe\xff") or head.translate(None, _TEXT_CONTROLS) == head


def _is_fit(head: bytes, start: str) -> bool:
    return head[8:12] == b".FIT"


def _is_tcx(head: bytes, start: str) -> bool:
    """Also a file that declares a document type or entities: the reader refuses it with its own sentence."""
    if not start.startswith("<"):
        return False
    root = _root(start)
    declares = ("<!DOCTYPE" in start or "<!ENTITY" in start) and root not in ("gpx", "html")
    return root.startswith("trainingcenter") or declares


def _is_gpx(head: bytes, start: str) -> bool:
    return start.startswith("<") and _root(start) == "gpx"


# possessive repeats (*+) keep these linear whatever the file holds
_POSITION = re.compile(rb"""LatitudeDegrees>\s*+-?0*+\.?0*+[1-9]|\blat\s*+=\s*+["']-?0*+\.?0*+[1-9]""", re.I)
_IDENTITY = re.compile(
    rb"<(?:\w{1,20}:)?(?:UnitId|email|author|Notes|AthleteName|FirstName|LastName)\b[^<>]*+>\s*+(?!0?\s*+<)"
    rb"|<author\b[^<>]*+>\s*+<name>\s*+[^<\s]",
    re.I,
)


def _look_at_xml(kind: str):
    return lambda data, name: (kind, bool(_POSITION.search(data)), bool(_IDENTITY.search(data)))


def _look_at_fit(data: bytes, name: str) -> tuple[str, bool, bool]:
    """Position in records; serial numbers of file and devices, or a profile of the user."""
    position = identity = False
    for kind, _, value in walk_fields(data, {20: (0, 1), 0: (3,), 23: (3,), 3: (0, 1, 2, 3, 4)}):
        empty = (
            not value.strip(b"\x00") or not value.strip(b"\xff") or value in (b"\xff\xff\xff\x7f", b"\x7f\xff\xff\xff")
        )
        if empty:
            continue
        if kind == 20:
            position = True
        else:
            identity = True
        if position and identity:
            break
    return "FIT", position, identity


def _look_at_table(data: bytes, name: str) -> tuple[str, bool, bool]:
    start = data[: 64 * 1024]
    cut = start.rfind(b"\n")
    lines, _ = decode(start if len(data) <= len(start) or cut < 0 else start[:cut], name)
    layout = find_layout(lines[: LOOK_AHEAD * 2], name)
    words = {plain_words(h) for h in layout.headers}
    above = {plain_words(cell) for line in lines[: max(layout.header_at, 0)] for cell in re.split(r"[;,\t:|]", line)}
    position = bool(words & set(COLUMN_WORDS["position"]))
    identity = bool((words | above) & set(COLUMN_WORDS["identity"]))
    kind = "intervals" if layout.columns("interval") and not layout.columns("rate") else "table"
    return kind, position, identity


_FIT_SEED = (
    "eNpdjLtOAlEURfe5M8pTQF6KgvJQ6fgGHgkJFFaU/AI9itXEWPMf/pSVoZLEUErkzirnFjs3WWetQnuZXpk0mM4W+/lQqsodw4/A3EiqKfB/mT"
    "NzY+lZpuz7JL4xfyB9bkdrmd8XOb+vCvxuFPp901lMLV6F7mBf9s/bRTrHSGGkMTIYWXo5aB56AS1Ai/SKyd5vpBLGJUYZo4JRpVeD1qFX0Gto"
    "g14j2fuLdINxi9HEaGHc0buHtqEdaBfao9dL9r4jPWA8Yjxh9GPjp3kCd1yGeA=="
)
"""Forty records with timer events, beat-to-beat intervals and compressed time stamps, packed."""


def _fit_seed() -> bytes:
    return zlib.decompress(base64.b64decode(_FIT_SEED))


def _tcx_seed() -> bytes:
    points = "".join(
        f"<Trackpoint><Time>2026-03-01T18:00:{s:02d}Z</Time><HeartRateBpm><Value>{120 + s % 7}</Value>"
        "</HeartRateBpm></Trackpoint>"
        for s in range(30)
    )
    return f"<TrainingCenterDatabase><Activity>{points}</Activity></TrainingCenterDatabase>".encode()


def _gpx_seed() -> bytes:
    points = "".join(
        f'<trkpt lat="0" lon="0"><time>2026-03-01T18:00:{s:02d}Z</time><extensions><hr>{120 + s % 7}</hr></extensions></trkpt>'
        for s in range(30)
    )
    return f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>".encode()


def _table_seed() -> bytes:
    return b"time;A01;A02\n" + b"".join(b"19:00:%02d;%d;%d\n" % (s, 120 + s % 7, 130 + s % 5) for s in range(40))


FORMATS = (
    Format(
        "FIT", (".fit",), _is_fit, lambda data, name, label: read_fit(data, name), lambda data, name: (), _look_at_fit,
        _fit_seed,
    ),
    Format(
        "TCX", (".tcx",), _is_tcx, lambda data, name, label: read_xml(data, name, "TCX", label=label),
        lambda data, name: list_parts(data, name, "TCX"), _look_at_xml("TCX"), _tcx_seed,
    ),
    Format(
        "GPX", (".gpx",), _is_gpx, lambda data, name, label: read_xml(data, name, "GPX", label=label),
        lambda data, name: list_parts(data, name, "GPX"), _look_at_xml("GPX"), _gpx_seed,
    ),
    Format(
        "table", (".csv", ".tsv", ".txt"), _is_text, lambda data, name, label: read_table(data, name, label=label),
        list_table_labels, _look_at_table, _table_seed,
    ),
)  # fmt: skip
"""In the order in which they are asked; beat-to-beat intervals are a table."""

ENDINGS = tuple(ending for row in FORMATS for ending in row.endings)
"""Endings of recordings; each may also be compressed (.gz)."""
