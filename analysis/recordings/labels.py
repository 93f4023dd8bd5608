"""`list_labels`: whose traces a file with several athletes holds."""

from __future__ import annotations

from pathlib import Path

from .sources import read_bytes, tell_kind
from .table import list_table_labels
from .xml_files import list_parts


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
