"""Recordings once read, kept by the checksum of their file, so that `check` opens an unchanged evening in no time.

What is kept lies in the hidden folder `.kept` of the study, for its owner alone, as plain arrays: nothing in it is ever run.
Only `check` uses it; every analysis reads the recordings themselves.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from .read import read_recording
from .recording import Recording, RecordingError

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
