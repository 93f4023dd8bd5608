"""Decisions that `check` proposes: one row for each value that a remedy or a question names, for a person to confirm.

A row without day and without name is a proposal: it waits, changes nothing, and is counted in `check`.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from ..basics import KitError
from .fixing import write_whole

COLUMNS = ("table", "session", "athlete", "round_no", "measure", "action", "new_value", "reason", "table_row")
"""Columns of the decisions table that a proposal fills in; date and decided_by are left to the person."""


def propose_decisions(found: Iterable, raws: dict) -> list[dict[str, str]]:
    """Return the rows to put into decisions for problems and questions whose answer is a value, or a row set aside."""
    by_file = {raw.file: raw for raw in raws.values()}
    rows: list[dict[str, str]] = []
    found = [f for f in found if f.file in by_file and f.row is not None and (f.offer or f.asks or f.aside)]
    wanted: dict[str, set[int]] = {}
    for one in found:
        wanted.setdefault(one.file, set()).add(one.row)
    indexed = {file: _index(by_file[file], some) for file, some in wanted.items()}
    for one in found:
        raw = by_file[one.file]
        where, alike = indexed[raw.file]
        places = where.get(one.row, [])
        places = [i for i in places if one.column in (raw.heading(c, i) for c in raw.columns)] or places[:1]
        if not places:
            continue
        index = places[0]
        own = {n: raw.cell(n, index) for n in ("session", "athlete", "round_no")}
        own["round_no"] = own["round_no"] or raw.cell("after_round", index)
        own["athlete"] = own["athlete"] or raw.cell("person", index)
        same = alike[_key(raw, index)]
        measure = next((c for c in raw.columns if raw.heading(c, index) == one.column), one.column)
        row = {
            "table": raw.table,
            **{n: "" if measure == n else text for n, text in own.items()},
            "measure": "" if one.aside else measure,
            "action": "set aside" if one.aside else "" if one.asks else "replace",
            "new_value": one.offer,
            "reason": one.problem.rstrip("?."),
            "table_row": str(one.row) if one.aside or same > 1 or raw.table == "survey" or measure in own else "",
        }  # fmt: skip
        if row not in rows:
            rows.append(row)
    return rows


def _key(raw, index: int) -> tuple[str, ...]:
    return tuple(raw.cell(n, index) for n in ("session", "athlete", "round_no"))


def _index(raw, rows: set[int]) -> tuple[dict[int, list[int]], Counter]:
    """Row of the spreadsheet -> places in the table, for some rows, and how often their keys occur."""
    where: dict[int, list[int]] = {}
    for i, row in enumerate(raw.rows):
        if row in rows:
            where.setdefault(row, []).append(i)
    keys = {_key(raw, i) for places in where.values() for i in places}
    return where, Counter(k for i in range(len(raw.rows)) if (k := _key(raw, i)) in keys)


def decision_lines(rows: Iterable[dict[str, str]]) -> list[str]:
    """Return proposed decisions as lines of decisions.csv, headings first."""
    out = io.StringIO()
    names = ("date", "decided_by", *COLUMNS)
    writer = csv.DictWriter(out, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().splitlines()


def is_proposal(cells: dict[str, str]) -> bool:
    """Return True for a row of decisions that nobody has confirmed: neither day nor name, but a table."""
    return not cells.get("date", "") and not cells.get("decided_by", "") and bool(cells.get("table", ""))


def write_decisions(folder: Path, rows: list[dict[str, str]], *, workbook: bool) -> tuple[Path, int]:
    """Put proposed rows at the end of the decisions table, whole or not at all; return where, and how many were new."""
    path = folder / ("study.xlsx" if workbook else "decisions.csv")
    return path, (_into_workbook if workbook else _into_csv)(path, rows)


def _already(row: dict[str, str], there: list[dict[str, str]]) -> bool:
    keys = ("table", "session", "athlete", "round_no", "measure", "table_row")
    return any(all(row.get(k, "") == old.get(k, "") for k in keys) for old in there)


def _into_csv(path: Path, rows: list[dict[str, str]]) -> int:
    try:
        content = path.read_bytes() if path.exists() else b""
        text = content.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise KitError("decisions.csv cannot be read as UTF-8: save it as CSV UTF-8. Nothing was changed.") from None
    first = text.splitlines()[0] if text.strip() else ""
    mark = max(";\t,", key=first.count) if first else ","
    lines = list(csv.reader(io.StringIO(text), delimiter=mark))
    names = [n.strip() for n in lines[0]] if lines else ["date", "decided_by", *COLUMNS]
    there = [dict(zip(names, cells, strict=False)) for cells in lines[1:]]
    new = [row for row in rows if not _already(row, there)]
    more = [n for n in COLUMNS if n not in names and any(row.get(n) for row in new)]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=mark, lineterminator="\n")
    if not lines or more:
        writer.writerow(names + more)
        writer.writerows([*cells, *[""] * (len(names) - len(cells)), *[""] * len(more)] for cells in lines[1:])
    else:
        out.write(text if text.endswith("\n") else text + "\n")
    writer.writerows([row.get(n, "") for n in names + more] for row in new)
    if new:
        marked = content.startswith(b"\xef\xbb\xbf") or not content
        try:
            write_whole(path, out.getvalue().encode("utf-8-sig" if marked else "utf-8"))
        except OSError as error:
            why = error.strerror or error
            raise KitError(f"{path.name} cannot be written ({why}). Nothing was changed.") from None
    return len(new)


def _into_workbook(path: Path, rows: list[dict[str, str]]) -> int:
    from openpyxl import load_workbook

    from .forms import FIRST_ROW, open_to_change, save_whole

    book = open_to_change(path, load_workbook)
    if "decisions" not in book.sheetnames:
        sheet = book.create_sheet("decisions")
        sheet.append(["date", "decided_by", *COLUMNS])
    sheet = book["decisions"]
    names = [str(c.value).strip() if c.value is not None else "" for c in sheet[1]]
    there = [
        dict(zip(names, ("" if v is None else str(v) for v in cells), strict=False))
        for cells in sheet.iter_rows(min_row=2, values_only=True)
    ]
    new = [row for row in rows if not _already(row, there)]
    for name in COLUMNS:
        if name not in names and any(row.get(name) for row in new):
            names.append(name)
            sheet.cell(1, len(names)).value = name
    last = max((i for i, cells in enumerate(there, start=2) if any(cells.values())), default=1)
    for r, row in enumerate(new, start=max(last + 1, FIRST_ROW if len(there) else 2)):
        for place, name in enumerate(names, start=1):
            cell = sheet.cell(r, place)
            cell.value, cell.number_format = row.get(name) or None, "@"
    if new:
        save_whole(path, book, changed=["decisions"])
    return len(new)
