"""`inspect_recording`: what a file is and what it carries, without reading the trace."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ..basics import Result


@dataclass(frozen=True)
class Inspection(Result):
    """What a recording file is and carries.

    Parameters
    ----------
    file : str
    kind : str
        "FIT", "TCX", "GPX", "table", "intervals", or "" where it is none of these.
    size_bytes : int
    carries_position : bool
        Latitude and longitude are in the file.
    carries_identity : bool
        A name, profile or serial number of device or person is in the file.
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
    """Say what a recording file is and whether it carries positions or identity; never raises for a bad file."""
    raise NotImplementedError
