"""`read_recording`: tell the format from the content, read it, and tidy the trace."""

from __future__ import annotations

from pathlib import Path

from .fit import read_fit
from .recording import Recording
from .sources import read_bytes, tell_kind
from .table import read_table
from .tidy import RawTrace, tidy_recording
from .xml_files import read_xml


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
