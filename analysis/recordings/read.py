"""Bytes of a recording within limits, the format told from the content; and recordings once read, kept by their checksum.

What is kept lies in the hidden folder `.kept` of the study, for its owner alone, as plain arrays: nothing in it is ever run.
Only `check` uses it; every analysis reads the recordings themselves.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import Result, format_number
from .formats import tell_format
from .recording import Recording, RecordingError
from .tidy import tidy_recording

FOLDER = ".kept"
MANY_BYTES = 8 * 1024 * 1024
"""From this on reading is shared among the cores: below it, starting other processes costs more than it saves."""
_FIELDS = (
    "remarks", "file", "kind", "label", "hr_source", "clock", "local_start_s", "local_date", "gap_limit_s", "written",
    "usual_step_s",
)  # fmt: skip


def read_kept(
    folder: Path, path: Path, *, label: str | None, gap_limit_s: float | None, accept_unset_clock: bool
) -> Recording:
    """Read a recording, from what is kept in `folder` where its file, the options and this room are unchanged."""
    options = {"label": label, "gap_limit_s": gap_limit_s, "accept_unset_clock": accept_unset_clock}
    kept = _place(folder, path, options)
    if kept is not None and kept.is_file():
        try:
            return _load(kept)
        except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile):
            pass  # damaged: read the recording itself
    recording = read_recording(path, **options)
    if kept is not None:
        _save(kept, recording)
    return recording


def keep_all(folder: Path, jobs: Iterable[tuple[Path, dict]]) -> None:
    """Read what is not kept yet, on all cores where there is much of it, and forget what no file needs any more."""
    places = {(path, json.dumps(options)): _place(folder, path, options) for path, options in jobs}
    new = [(key, place) for key, place in places.items() if place is not None and not place.is_file()]
    sizes = {path: path.stat().st_size for (path, _), _ in new}
    cores = min(os.cpu_count() or 1, len(new))
    if cores > 1 and sum(sizes.values()) >= MANY_BYTES:
        import joblib

        work = (joblib.delayed(_keep_one)(folder, path, json.loads(options)) for (path, options), _ in new)
        joblib.Parallel(n_jobs=cores)(work)
    wanted = {place.name for place in places.values() if place is not None}
    if (folder / FOLDER).is_dir():
        for old in (folder / FOLDER).glob("*.npz"):
            if old.name not in wanted:
                old.unlink(missing_ok=True)


def _keep_one(folder: Path, path: Path, options: dict) -> None:
    try:
        read_kept(folder, path, **options)
    except RecordingError:
        return  # said where the recording is read in its turn


@cache
def _version() -> bytes:
    """A checksum of this room: what another version read is not used."""
    own = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        own.update(source.read_bytes())
    return own.digest()


def _place(folder: Path, path: Path, options: dict) -> Path | None:
    """Where a recording is kept; None where it cannot be read at all."""
    try:
        content = hashlib.sha256(path.read_bytes()).digest()
    except OSError:
        return None
    key = hashlib.sha256(_version() + content + json.dumps([path.name, options], sort_keys=True).encode())
    return folder / FOLDER / f"{key.hexdigest()[:40]}.npz"


def _save(place: Path, recording: Recording) -> None:
    """Write whole or not at all; a folder that cannot be written to keeps nothing."""
    samples, partial = recording.samples, place.with_suffix(f".{os.getpid()}.tmp")
    arrays = {
        "elapsed_s": samples["elapsed_s"].to_numpy(),
        "hr_bpm": samples["hr_bpm"].to_numpy(),
        "time": samples["time"].dt.tz_localize(None).to_numpy().astype("datetime64[us]").astype(np.int64),
        "about": np.array(json.dumps({name: getattr(recording, name) for name in _FIELDS})),
    }
    for name in ("stops", "beats", "gaps"):
        table = getattr(recording, name)
        for column in table:
            values = table[column].to_numpy()
            arrays[f"{name}:{column}"] = values if values.dtype.kind == "f" else values.astype("U")
    try:
        place.parent.mkdir(mode=0o700, exist_ok=True)
        with open(partial, "wb") as stream:
            np.savez_compressed(stream, **arrays)
        partial.replace(place)
    except OSError:
        partial.unlink(missing_ok=True)


def _load(place: Path) -> Recording:
    with open(place, "rb") as stream, np.load(stream, allow_pickle=False) as kept:
        arrays = {name: kept[name] for name in kept.files}
    time = pd.Series(arrays["time"].view("datetime64[us]")).dt.tz_localize("UTC")
    samples = pd.DataFrame({"time": time, "elapsed_s": arrays["elapsed_s"], "hr_bpm": arrays["hr_bpm"]})
    tables: dict[str, dict] = {"stops": {}, "beats": {}, "gaps": {}}
    for name, values in arrays.items():
        table, mark, column = name.partition(":")
        if mark:
            text = values.dtype.kind == "U"
            tables[table][column] = pd.Series(values.astype(object) if text else values, dtype="str" if text else None)
    about = json.loads(str(arrays["about"]))
    about["remarks"] = tuple(about["remarks"])
    return replace(Recording(samples, **{n: pd.DataFrame(t) for n, t in tables.items()}), **about)


MAX_BYTES = 64 * 1024 * 1024
"""A larger file (after opening gzip) is refused; an hour of TCX at 1 Hz is about 1 MB."""


MAX_MEMBERS = 16
"""Parts of one gzip file; devices write one."""


def read_bytes(path: str | Path, *, at_most: int | None = None) -> tuple[bytes, list[str]]:
    """Return the content of a file, opened where it is gzip, and remarks."""
    path = Path(path)
    remarks: list[str] = []
    try:
        if not path.is_file():
            what = "is a folder" if path.is_dir() else "does not exist" if not path.exists() else "is not a file"
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
    out, left, members = bytearray(), data, 0
    while left[:2] == b"\x1f\x8b" and len(out) <= limit:
        members += 1
        if members > MAX_MEMBERS:
            raise RecordingError(
                f"{path.name}: a gzip file of more than {MAX_MEMBERS} parts, which no device writes. Unpack it, and use what is "
                "inside."
            )
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


def read_recording(
    path: str | Path, *, label: str | None = None, gap_limit_s: float | None = None, accept_unset_clock: bool = False
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
        A longer time between two heart rates is missing time. Default: the file decides (see Notes).
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

    Notes
    -----
    A step up to 5 s, or twice the usual step of the file, is no gap. Many devices write a row only when something changes:
    in such a file a step up to 60 s counts where both ends agree or where steps as long are usual, and up to 150 s where a
    device that writes at changes wrote one such change. In a file written steadily, and wherever a row in between says that
    there was no heart rate or the timer stood, a longer step is missing time. The measured error stands in
    tests/references/recordings/sensitivity.md.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "A07.csv"
    >>> _ = path.write_text("elapsed_s;hr_bpm\\n0;120\\n1;122\\n2;0\\n3;124\\n")
    >>> recording = read_recording(path)
    >>> recording.mean_hr_bpm(), recording.remarks
    (122.33333333333333, ('1 of 4 rows without a heart rate. Nothing to do; next time moisten the strap.',))
    """
    path = Path(path)
    data, remarks = read_bytes(path)
    raw = tell_format(data, path.name).read(data, path.name, label)
    raw.remarks[:0] = remarks
    return tidy_recording(raw, path.name, gap_limit_s=gap_limit_s, accept_unset_clock=accept_unset_clock)


FIRST_LOOK = 4 * 1024 * 1024
"""Bytes looked at: enough for some hours of any format."""


@dataclass(frozen=True)
class Inspection(Result):
    """What a recording file is and carries."""

    file: str  # Name without folder
    kind: str  # "FIT", "TCX", "GPX", "table", "intervals", or "" where it is none of these
    size_bytes: int  # As it lies on the disk
    carries_position: bool  # Latitude and longitude are in the file
    carries_identity: bool  # A name, profile, note, or serial number of device or person is in the file
    problem: str = ""  # Why it cannot be a recording; "" where it can


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
        kind, position, identity = tell_format(data, path.name).inspect(data, path.name)
    except RecordingError as problem:
        return Inspection(path.name, "", size, False, False, str(problem))
    except OSError as problem:
        return Inspection(path.name, "", size, False, False, f"{path.name}: {problem.strerror or problem}")
    return Inspection(path.name, kind, size, position, identity)


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
    return tell_format(data, path.name).labels(data, path.name)
