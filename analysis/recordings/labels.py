"""`list_labels`: whose traces a file with several athletes holds."""

from __future__ import annotations

from pathlib import Path


def list_labels(path: str | Path) -> tuple[str, ...]:
    """List the athletes (columns or names) that a file holds; empty where it holds one trace."""
    raise NotImplementedError
