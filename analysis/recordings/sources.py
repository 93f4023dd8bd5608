"""Bytes of a recording within limits: gzip opened, sizes bounded, the format told from the content."""

from __future__ import annotations

import zlib
from pathlib import Path

from ..basics import format_number
from .recording import RecordingError

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
