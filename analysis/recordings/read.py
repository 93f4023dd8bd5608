"""Bytes of a recording within limits: gzip opened, sizes bounded, the format told from the content."""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from pathlib import Path

from ..basics import Result, format_number
from .fit import read_fit, walk_fields
from .recording import Recording, RecordingError
from .synonyms import COLUMN_WORDS, plain_words
from .table import LOOK_AHEAD, decode, find_layout, list_table_labels, read_table
from .tidy import RawTrace, tidy_recording
from .xml_files import list_parts, read_xml

MAX_BYTES = 64 * 1024 * 1024
"""A larger file (after opening gzip) is refused; an hour of TCX at 1 Hz is about 1 MB."""

_TEXT_CONTROLS = bytes(set(range(32)) - {9, 10, 11, 12, 13, 26, 27})


def read_bytes(path: str | Path, *, at_most: int | None = None) -> tuple[bytes, list[str]]:
    """Return the content of a file, opened where it is gzip, and remarks."""
    path = Path(path)
    remarks: list[str] = []
    try:
        if not path.is_file():
            what = (
                "is a folder" if path.is_dir() else "does not exist" if not path.exists() else "is not a file"
            )
            raise RecordingError(f"{path.name}: {what}.")
        size = path.stat().st_size
        if size > MAX_BYTES and at_most is None:
            raise RecordingError(
                f"{path.name}: {_megabytes(size)}, larger than the {_megabytes(MAX_BYTES)} that a recording of one evening "
                "can be."
            )
        with open(path, "rb") as stream:
            data = stream.read(min(at_most or MAX_BYTES, size + 1))
    except OSError as problem:
        raise RecordingError(f"{path.name}: cannot be opened ({problem.strerror or problem}).") from None
    if data[:2] == b"\x1f\x8b":
        data = _open_gzip(data, path, at_most, remarks)
    return data, remarks


def _open_gzip(data: bytes, path: Path, at_most: int | None, remarks: list) -> bytes:
    limit = at_most or MAX_BYTES
    out, left = bytearray(), data
    while left[:2] == b"\x1f\x8b" and len(out) <= limit:
        opener = zlib.decompressobj(wbits=31)
        try:
            out += opener.decompress(left, limit + 1 - len(out))
        except zlib.error:
            remarks.append("The gzip file is damaged; what could be opened was used.")
            break
        if not opener.eof:
            if not at_most and len(out) <= limit:
                remarks.append("The gzip file ends too early; what could be opened was used.")
            break
        left = opener.unused_data
    if len(out) > limit and not at_most:
        raise RecordingError(
            f"{path.name}: opens to more than {_megabytes(MAX_BYTES)}, larger than a recording of one evening can be."
        )
    if not out:
        raise RecordingError(f"{path.name}: the gzip file cannot be opened. Copy it from the device again.")
    return bytes(out[:limit])


def _megabytes(size: float) -> str:
    return format_number(size / 1024 / 1024, 0, unit="MB")


def tell_kind(data: bytes, name: str) -> str:
    """Tell "FIT", "TCX", "GPX" or "table" from the first bytes, or raise with the likely cause."""
    if not data.strip(b"\x00\r\n\t \xef\xbb\xbf"):
        raise RecordingError(f"{name}: the file is empty. Copy it from the device again.")
    if data[8:12] == b".FIT":
        return "FIT"
    if data[:4] == b"PK\x03\x04":
        raise RecordingError(
            f"{name}: a spreadsheet or zip archive. Save the sheet as CSV, or unpack the archive, and use that file."
        )
    if data[:5] == b"%PDF-":
        raise RecordingError(f"{name}: a PDF holds no samples. Export the recording as FIT, TCX, GPX or CSV.")
    start = _beginning(data)
    if start.startswith("<"):
        return _xml_kind(start, name)
    if start.startswith(("{", "[{")):
        raise RecordingError(f"{name}: JSON is not read. Export the recording as FIT, TCX, GPX or CSV.")
    if (
        data[:2] not in (b"\xff\xfe", b"\xfe\xff")
        and data[:4096].translate(None, _TEXT_CONTROLS) != data[:4096]
    ):
        raise RecordingError(
            f"{name}: neither text nor a format that is read (FIT, TCX, GPX, CSV). A damaged copy? "
            "Copy the original from the device again."
        )
    return "table"


def _beginning(data: bytes) -> str:
    head = data[:4096]
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return head.decode("utf-16", errors="ignore").lstrip("\ufeff \r\n\t")
    return head.decode("utf-8-sig", errors="ignore").lstrip("\ufeff \r\n\t")


def _xml_kind(start: str, name: str) -> str:
    import re

    root = re.search(r"<(?![?!])(?:[\w.-]+:)?([\w.-]+)", start)
    root_name = root.group(1).lower() if root else ""
    if root_name == "gpx":
        return "GPX"
    if root_name.startswith("trainingcenter"):
        return "TCX"
    if root_name == "html":
        raise RecordingError(
            f"{name}: a web page, not a recording. Was the sign-in page saved instead of the file?"
        )
    if "<!DOCTYPE" in start or "<!ENTITY" in start:
        return "TCX"  # the reader refuses the declaration with its own sentence
    raise RecordingError(
        f"{name}: XML, but neither TCX nor GPX. Export the recording as FIT, TCX, GPX or CSV."
    )


def read_recording(
    path: str | Path,
    *,
    label: str | None = None,
    gap_limit_s: float | None = None,
    accept_unset_clock: bool = False,
) -> Recording:
    """Read a heart-rate recording of any accepted format.

    Parameters
    ----------
    path : path
        A FIT, TCX or GPX file, a text table (CSV of any dialect, one athlete or many), or beat-to-beat intervals;
        each also as .gz. The format is told from the content, not from the name.
    label : str, optional
        The column, or the name or code of one athlete, where the file holds several; the start of one activity
        where a TCX or GPX file holds several.
    gap_limit_s : float, optional
        A longer time between two heart rates is missing time. Default: 5 s, or twice the usual step of the file
        where that is longer (at most 30 s).
    accept_unset_clock : bool
        Use the elapsed seconds of a file whose dates cannot be right. Default False: refuse it.

    Returns
    -------
    Recording
        Samples in time order, and in sentences what was repaired, lost or assumed. Positions, names and serials in
        the file are not read.

    Raises
    ------
    RecordingError
        Where the file gives no trace: what is wrong and the likely remedy.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "A07.csv"
    >>> _ = path.write_text("elapsed_s;hr_bpm\\n0;120\\n1;122\\n2;0\\n3;124\\n")
    >>> recording = read_recording(path)
    >>> recording.mean_hr_bpm(), recording.remarks
    (122.33333333333333, ('1 of 4 rows without a heart rate.',))
    """
    path = Path(path)
    data, remarks = read_bytes(path)
    raw = _read(data, path.name, label)
    raw.remarks[:0] = remarks
    return tidy_recording(raw, path.name, gap_limit_s=gap_limit_s, accept_unset_clock=accept_unset_clock)


def _read(data: bytes, name: str, label: str | None) -> RawTrace:
    kind = tell_kind(data, name)
    if kind == "FIT":
        return read_fit(data, name)
    if kind in ("TCX", "GPX"):
        return read_xml(data, name, kind, label=label)
    return read_table(data, name, label=label)


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


def list_labels(path: str | Path) -> tuple[str, ...]:
    """List the traces that a file holds, as `read_recording` takes them by `label`.

    Parameters
    ----------
    path : path
        A recording of any accepted format.

    Returns
    -------
    tuple of str
        Columns or codes of athletes (tables), or starts of activities (TCX, GPX); empty where the file holds one.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "group.csv"
    >>> _ = path.write_text("time,A01,A02\\n19:00:00,120,131\\n19:00:01,121,130\\n")
    >>> list_labels(path)
    ('A01', 'A02')
    """
    path = Path(path)
    data, _ = read_bytes(path)
    kind = tell_kind(data, path.name)
    if kind == "FIT":
        return ()
    return list_parts(data, path.name, kind) if kind in ("TCX", "GPX") else list_table_labels(data, path.name)
