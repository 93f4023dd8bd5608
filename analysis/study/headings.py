"""Headings of a sheet to canonical columns: "did you mean", units in the heading or below it, rounds side by side."""

from __future__ import annotations

import difflib
import re

from .columns import Column, column_rules
from .findings import Findings
from .privacy import is_personal_heading
from .raw_tables import RawTable, lay_out_rounds
from .text_files import Grid
from .words import KIND_WORDS, OTHER_HEADINGS, canonical_unit, squeeze


def plain_heading(text: str) -> tuple[str, str]:
    """Return a heading in the form of a column name, and the unit in brackets behind it."""
    match = re.fullmatch(r"(.*?)\s*[\[(]([^\[\]()]*(?:\([^()]*\))?[^\[\]()]*)[\])]", text.strip())
    name, unit = (match[1], match[2]) if match else (text, "")
    return re.sub(r"[\s\-]+", "_", name.strip()).casefold(), unit


def suggest_column(name: str, allowed: dict[str, Column]) -> str:
    """Return the column that a heading probably means, or ""."""
    if OTHER_HEADINGS.get(name) in allowed:
        return OTHER_HEADINGS[name]
    close = difflib.get_close_matches(name, allowed, n=1, cutoff=0.75)
    if close:
        return close[0]
    starts = [c for c in allowed if len(name) > 3 and (c.startswith(name) or name.startswith(c))]
    return starts[0] if starts else ""


def read_headings(
    grid: Grid, table: str, findings: Findings, *, more: frozenset[str] = frozenset()
) -> RawTable:
    """Give the columns of a sheet their canonical names and lay rounds that stand side by side under one another."""
    raw = RawTable(table, grid.file, decimal_comma=grid.decimal_comma)
    if not grid.rows:
        return raw
    rules = column_rules()[table]
    first = _heading_row(grid, rules)
    number, heads = grid.rows[first]
    body = grid.rows[first + 1 :]
    if first:
        skipped = " | ".join(filter(None, grid.rows[0][1]))
        findings.remark(
            grid.file,
            grid.rows[0][0],
            "",
            skipped,
            f"the headings are taken from row {number}",
            "nothing, if that is right",
        )
    places = _name_columns(grid, number, heads, body, rules, more, findings)
    if body and _is_units_row(body[0][1], rules):
        units = {p: text for p, text in enumerate(body[0][1]) if text}
        _check_units(grid.file, body[0][0], units, places, rules, findings)
        body = body[1:]
    for row, cells in body:
        if any(cells[len(heads) :]):
            extra = " | ".join(filter(None, cells[len(heads) :]))
            findings.problem(
                grid.file,
                row,
                "",
                extra,
                "more cells than headings: a comma inside a number or a text may have split a cell",
                "put the text in quotation marks, or save the file with semicolons or tabs between cells",
            )
    raw.rows = [row for row, _ in body]
    for place, name in places.items():
        raw.columns[name] = [cells[place] if place < len(cells) else "" for _, cells in body]
    if table == "rounds":
        raw = lay_out_rounds(raw, findings)
    for column in rules.values():
        if column.need in ("key", "required") and column.name not in raw.columns and raw.rows:
            findings.problem(
                grid.file,
                number,
                column.name,
                "",
                f"the column {column.name} is missing",
                f"add it: {column.meaning[0].lower()}{column.meaning[1:]}",
            )
    return raw


def has_rows(grid: Grid, table: str) -> bool:
    """Return True where a sheet holds more than its headings and units."""
    body = grid.rows[1:]
    return len(body) > 1 or bool(body and not _is_units_row(body[0][1], column_rules()[table]))


def _heading_row(grid: Grid, rules: dict[str, Column]) -> int:
    """Return the index of the row with headings: the first, unless only a row shortly below holds any."""
    known = [sum(_is_known(plain_heading(c)[0], rules) for c in cells) for _, cells in grid.rows[:6]]
    return 0 if known[0] or max(known) < 2 else known.index(max(known))


def _is_known(name: str, rules: dict[str, Column]) -> bool:
    base, _, round_no = name.rpartition("_")
    return name in rules or (round_no.isdigit() and base in rules)


def _name_columns(grid, number, heads, body, rules, more, findings) -> dict[int, str]:
    places: dict[int, str] = {}
    for place, head in enumerate(heads):
        if not head:
            if any(place < len(cells) and cells[place] for _, cells in body):
                findings.problem(
                    grid.file,
                    number,
                    "",
                    "",
                    f"column {place + 1} has values but no heading",
                    "write its heading, or clear the column",
                )
            continue
        name, unit = plain_heading(head)
        base, _, round_no = name.rpartition("_")
        is_wide = "round_no" in rules and round_no.isdigit() and base in rules
        if name in rules or name in more or is_wide:
            if name in places.values():
                findings.problem(
                    grid.file, number, name, head, "two columns have this heading", "keep one of them"
                )
                continue
            places[place] = name
            if unit:
                _check_units(
                    grid.file, number, {place: unit}, {place: base if is_wide else name}, rules, findings
                )
        else:
            suggestion = _unknown_heading(grid.file, number, head, name, rules, findings)
            # read under the suggested name, so that what is wrong in its cells is named at the same time
            if suggestion and suggestion not in {plain_heading(h)[0] for h in heads} | set(places.values()):
                places[place] = suggestion
    return places


def _unknown_heading(file: str, row: int, head: str, name: str, rules: dict, findings: Findings) -> str:
    """Report a heading that is none of the columns; return the column that it probably means, or ""."""
    if is_personal_heading(name):
        findings.problem(
            file,
            row,
            name,
            head,
            "a column for personal data; a study folder holds codes only",
            "delete the column here and keep the list of codes elsewhere, under lock",
        )
        return ""
    base, _, round_no = name.rpartition("_")
    is_wide = "round_no" in rules and round_no.isdigit()
    suggestion = suggest_column(base if is_wide else name, rules)
    if not suggestion:
        unknown = "a column that the kit does not know; it is not read"
        findings.remark(file, row, name, head, unknown, "nothing, if that is meant")
        return ""
    suggestion += f"_{round_no}" if is_wide else ""
    problem = f"no such column; did you mean {suggestion}?"
    findings.problem(file, row, name, head, problem, f"write the heading as {suggestion}")
    return suggestion


def _is_units_row(cells: list[str], rules: dict[str, Column]) -> bool:
    texts = {squeeze(c) for c in cells if c}
    words = KIND_WORDS | {squeeze("/".join(c.choices)) for c in rules.values() if c.choices}
    units = {t for t in texts if canonical_unit(t)}
    return bool(texts) and texts <= units | words


def _check_units(file, row, units: dict[int, str], places: dict[int, str], rules, findings) -> None:
    for place, text in units.items():
        name = places.get(place, "")
        column = rules.get(name) or rules.get(name.rpartition("_")[0])
        found = canonical_unit(text)
        if not column or not column.unit or not found:
            continue
        if found != canonical_unit(column.unit):
            findings.problem(
                file,
                row,
                name,
                text,
                f"the unit is given as {text}, but this column is in {column.unit}",
                f"convert the values to {column.unit}",
            )
