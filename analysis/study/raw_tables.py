"""A sheet with canonical headings whose cells are still texts, and rounds that stand side by side in it."""

from __future__ import annotations

from dataclasses import dataclass, field

from .columns import column_rules
from .findings import Findings


@dataclass
class RawTable:
    """A table with canonical headings, its cells still texts."""

    table: str
    file: str
    rows: list[int] = field(default_factory=list)
    columns: dict[str, list[str]] = field(default_factory=dict)
    decimal_comma: bool | None = False
    wide: bool = False

    def heading(self, column: str, index: int) -> str:
        """Return the heading under which a cell stands."""
        if self.wide and column not in ("session", "athlete", "round_no", "note"):
            return f"{column}_{self.columns['round_no'][index]}"
        return column

    def key(self, index: int) -> tuple[int, str]:
        """Return what tells one row from all others, also after other rows have left: row, and round where wide."""
        return self.rows[index], self.columns["round_no"][index] if self.wide else ""

    def cell(self, column: str, index: int) -> str:
        """Return the text of a cell, "" where the table has no such column."""
        return self.columns[column][index] if column in self.columns else ""

    def select(self, stay: list[int]) -> RawTable:
        """Return a table with these rows alone, whose cells may be changed without changing this one."""
        columns = {name: [texts[i] for i in stay] for name, texts in self.columns.items()}
        return RawTable(
            self.table, self.file, [self.rows[i] for i in stay], columns, self.decimal_comma, self.wide
        )

    def copy(self) -> RawTable:
        """Return a table whose cells may be changed without changing this one."""
        return self.select(list(range(len(self.rows))))


def lay_out_rounds(raw: RawTable, findings: Findings) -> RawTable:
    """Lay rounds that stand side by side (exertion_1, exertion_2 ...) under one another."""
    measures: dict[int, dict[str, str]] = {}
    for name in raw.columns:
        base, _, round_no = name.rpartition("_")
        if round_no.isdigit() and name not in column_rules()["rounds"]:
            measures.setdefault(int(round_no), {})[base] = name
    if not measures:
        return raw
    shared = ("session", "athlete", "note")
    lone = [n for n in raw.columns if n in column_rules()["rounds"] and n not in shared]
    for name in lone:
        findings.problem(
            raw.file,
            1,
            name,
            "",
            "a heading without its round beside headings with one",
            f"write {name}_1, {name}_2 ... or give every round a row of its own",
        )
    names = [
        "session",
        "athlete",
        "round_no",
        *dict.fromkeys(b for m in measures.values() for b in m),
        "note",
    ]
    long = RawTable(raw.table, raw.file, decimal_comma=raw.decimal_comma, wide=True)
    long.columns = {n: [] for n in dict.fromkeys(names) if n in raw.columns or n not in shared}
    for index, row in enumerate(raw.rows):
        for round_no in sorted(measures):
            cells = {base: raw.columns[name][index] for base, name in measures[round_no].items()}
            if not any(cells.values()):
                continue
            long.rows.append(row)
            for name, texts in long.columns.items():
                text = cells[name] if name in cells else raw.columns[name][index] if name in shared else ""
                texts.append(str(round_no) if name == "round_no" else text)
    return long
