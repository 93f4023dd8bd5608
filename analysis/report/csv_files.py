"""Tables as CSV that a spreadsheet opens without running anything that a cell may hold."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd

_FORMULA = re.compile(r"^\s*[=+\-@\t\r]")
_PLAIN_NUMBER = re.compile(r"^\s*[+\-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+\-]?\d+)?\s*$")


def write_csv(table: pd.DataFrame, path: str | Path, *, mark: bool = True) -> Path:
    """Write a table as UTF-8 CSV, numbers unrounded, formulas made harmless."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    safe = table.copy()
    for column in safe.columns:
        if not pd.api.types.is_numeric_dtype(safe[column]):
            safe[column] = [harmless(v) for v in safe[column]]
    safe.columns = [harmless(str(c)) for c in safe.columns]
    safe.to_csv(path, index=False, encoding="utf-8-sig" if mark else "utf-8", lineterminator="\n")
    return path


def harmless(value):
    """Put an apostrophe before a text that a spreadsheet would take for a formula."""
    if isinstance(value, str) and _FORMULA.match(value) and not _PLAIN_NUMBER.match(value):
        return "'" + value
    return value
