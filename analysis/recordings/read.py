"""`read_recording`: tell the format from the content, read it, and tidy the trace."""

from __future__ import annotations

from pathlib import Path

from .recording import Recording


def read_recording(
    path: str | Path, *, label: str | None = None, gap_limit_s: float | None = None
) -> Recording:
    """Read a heart-rate recording of any accepted format (FIT, TCX, GPX, tables, intervals; each also as .gz).

    Parameters
    ----------
    path : path
        The file.
    label : str, optional
        The column or the name of one athlete, where the file holds several.
    gap_limit_s : float, optional
        Longer times between two rows are missing time. Default: 5 s, or twice the usual step where that is longer.

    Returns
    -------
    Recording
    """
    raise NotImplementedError
