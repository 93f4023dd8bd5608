"""Every result as plain JSON: a walk over result objects that keeps every field under its name, unrounded."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd


def to_plain(value):
    """Turn results, tables, arrays and numbers into what JSON knows."""
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return _number(float(value))
    if value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, date | datetime | pd.Timestamp):
        return value.isoformat()
    if isinstance(value, pd.Timedelta):
        return value.total_seconds()
    if isinstance(value, pd.DataFrame):
        return _table(value)
    if isinstance(value, pd.Series):
        return {str(k): to_plain(v) for k, v in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        shown = {f.name: getattr(value, f.name) for f in fields(value) if not f.name.startswith("_")}
        return {"result": type(value).__name__, **_mapping(shown)}
    if isinstance(value, Mapping):
        return _mapping(value)
    if isinstance(value, np.ndarray):
        return [to_plain(v) for v in value.tolist()]
    if isinstance(value, list | tuple | set | frozenset):
        ordered = sorted(value, key=str) if isinstance(value, set | frozenset) else value
        return [to_plain(v) for v in ordered]
    if isinstance(value, Path):
        return value.name
    return _NO_PLAIN_FORM


_NO_PLAIN_FORM = object()


def _mapping(pairs: Mapping) -> dict:
    plain = {_key(k): to_plain(v) for k, v in pairs.items()}
    return {k: v for k, v in plain.items() if v is not _NO_PLAIN_FORM}


def _key(key) -> str:
    return " ".join(map(str, key)) if isinstance(key, tuple) else str(key)


def _table(table: pd.DataFrame) -> list[dict]:
    if table.index.name or isinstance(table.index, pd.MultiIndex):
        table = table.reset_index()
    names = [_key(c) for c in table.columns]
    return [
        {name: plain for name, v in zip(names, row, strict=True) if (plain := to_plain(v)) is not _NO_PLAIN_FORM}
        for row in table.itertuples(index=False, name=None)
    ]


def _number(value: float):
    if math.isnan(value):
        return None
    if math.isinf(value):
        return "unbounded" if value > 0 else "-unbounded"
    return value


def json_text(value) -> str:
    """Return the text of a JSON file: sorted nowhere, indented, the same each time."""
    return json.dumps(to_plain(value), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


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
