"""A reader who follows every printed remedy to the letter: each way that a remedy offers, on a copy of the tables."""

from __future__ import annotations

import re
from pathlib import Path

from typed_clubs import FIRST_ROW, Book

LOOK = re.compile(r"look at|type what|type the|correct the|type a|leave the cell|type year|type it|else set the peak")
"""A remedy that sends the reader to the paper sheet: what stands there is typed."""


class Followed:
    """What a reader does with one finding."""

    def __init__(self, book: Book, finding, truth: dict, kind: str):
        self.book, self.finding, self.truth, self.kind = book, finding, truth, kind
        file = finding.file
        self.table = file.rpartition("tab ")[2] if "tab " in file else Path(file).stem
        self.index = None if finding.row is None else finding.row - FIRST_ROW

    def ways(self) -> list[tuple[str, Book]]:
        """Every way that the remedy offers, each with the tables as they stand afterwards."""
        remedy = self.finding.remedy
        found = []
        for action in (self._setting, self._heading, self._exchange, self._row, self._cells, self._column, self._write):
            found = action(remedy)
            if found:
                return found
        if LOOK.search(remedy) or self.truth:
            return [("as the sheet says", self._typed(self.truth))] if self.truth else []
        raise AssertionError(f"nobody could follow this remedy: {remedy!r}")

    # ---- what can be done

    def _copy(self) -> Book:
        return self.book.copy()

    def _typed(self, values: dict) -> Book:
        book = self._copy()
        rows = [self.index] if self.index is not None and self.index >= 0 else range(len(book.tables[self.table]))
        for i in rows:
            book.tables[self.table][i] |= values
        return book

    def _setting(self, remedy: str) -> list[tuple[str, Book]]:
        if self.table != "study" and "study.toml" not in remedy:
            return []
        ways = []
        for key, value in re.findall(r"(\"[\w.]+\"|\w+) = (\"[^\"]*\"|[\w.]+)", remedy):
            book = self._copy()
            book.settings = [*book.settings, ("", f"{key} = {value}", self.finding, remedy)]
            ways.append((f"{key} = {value}", book))
        if not ways and self.table == "study" and (m := re.match(r"write ([\w.-]+)", remedy)):
            book = self._copy()
            word = m[1] if m[1] != "one" else re.search(r"one of '?([\w.-]+)'?", remedy)[1]
            word = next(iter(self.truth.values()), word) if m[1] == "one" else word
            book.settings = [*book.settings, ("", word, self.finding, remedy)]
            ways.append((word, book))
        if self.table == "study" and not ways and remedy.startswith(("nothing", "delete it")):
            return [("nothing", self._copy())]
        return ways

    def _heading(self, remedy: str) -> list[tuple[str, Book]]:
        m = re.search(r"write the heading as (\S+)|write (\S+) as the heading of", remedy)
        if not m:
            return []
        book, name = self._copy(), m[1] or m[2]
        book.heads[self.table] = {c: (name if c == name else h) for c, h in book.heads.get(self.table, {}).items()}
        return [(name, book)]

    def _exchange(self, remedy: str) -> list[tuple[str, Book]]:
        m = re.search(r"exchange the two headings (\w+) and (\w+)", remedy)
        one = m[1] if m else "hr_mean_typed_bpm" if self.finding.column.startswith("hr_mean") else "hr_rest_bpm"
        other = m[2] if m else "hr_peak_typed_bpm" if one.startswith("hr_mean") else "hr_max_bpm"
        if not remedy.startswith("exchange"):
            return []
        book = self._copy()
        rows = book.tables[self.table]
        for row in rows if m else [rows[self.index]]:
            row[one], row[other] = row.get(other, ""), row.get(one, "")
        return [("exchanged", book)]

    def _row(self, remedy: str) -> list[tuple[str, Book]]:
        ways = []
        if m := re.search(r"set this row aside in decisions with table_row (\d+)", remedy):
            ways.append(("set aside", self._decided({"table": self.table, "action": "set aside", "table_row": m[1]})))
            book = self._copy()
            del book.tables[self.table][self.index]
            ways.append(("the wrong one corrected", book))
        if m := re.search(r"delete row (\d+) or row (\d+)", remedy):
            for row in m.groups():
                book = self._copy()
                del book.tables[self.table][int(row) - FIRST_ROW]
                ways.append((f"row {row} deleted", book))
        if m := re.search(r"write the row that is meant in table_row, such as (\d+)", remedy):
            ways.append(("table_row", self._typed({"table_row": m[1]})))
        if "delete the decision" in remedy:
            book = self._copy()
            del book.tables["decisions"][self.index]
            ways.append(("deleted", book))
        if m := re.search(r"add (\S+) to the athletes table", remedy):
            book = self._copy()
            book.tables["athletes"].append({"athlete": m[1], "sex": "F", "consent_measured": "yes", "cleared": "yes"})
            ways.append(("added", book))
            if self.truth:
                ways.append(("corrected", self._typed(self.truth)))
        if remedy.startswith("correct it where") and "write guest" in remedy:
            ways.append(("guest", self._typed({"opponent": "guest"})))
        if "add the session to the sessions table" in remedy:
            book = self._copy()
            book.tables["sessions"].append({"session": self.finding.value, "date": "2026-03-12"})
            ways += [("added", book), ("corrected", self._typed(self.truth))]
        if "list every code in the athletes table" in remedy:
            book = self._copy()
            codes = dict.fromkeys(r["athlete"] for r in book.tables["rounds"])
            book.tables["athletes"] = [{"athlete": c, "consent_measured": "yes", "cleared": "yes"} for c in codes]
            ways.append(("listed", book))
        return ways

    def _cells(self, remedy: str) -> list[tuple[str, Book]]:
        if m := re.search(r"in the columns level and shuttle: (\d+) and (\d+)", remedy):
            return [("two cells", self._typed({"level": m[1], "shuttle": m[2]}))]
        if m := re.search(r"move (\S+) to the column (\w+)", remedy):
            return [("moved", self._typed({self.finding.column: "", m[2]: m[1]}))]
        if m := re.search(r"raise hr_max_bpm of (\w+) in the athletes table to (\d+)", remedy):
            book = self._copy()
            book.put("athletes", {"athlete": m[1]}, hr_max_bpm=m[2])
            return [("raised", book), ("set aside", self._decide("set aside"))]
        if m := re.search(r"write yes in (\w+)", remedy):
            return [("yes", self._typed({m[1]: "yes"}))]
        if "write yes or part, or clear the rest" in remedy:
            clear = {c: "" for c in ("exertion", "minutes_done", "hr_mean_typed_bpm", "opponent")}
            return [("yes", self._typed({"took_part": "yes"})), ("cleared", self._typed(clear))]
        if "clear one of the two" in remedy:
            return [("cleared", self._typed({"lactate_limit": ""}))]
        return []

    def _column(self, remedy: str) -> list[tuple[str, Book]]:
        m = re.search(r"(divide|multiply) by ([\d.]+) every value", remedy)
        if m:
            book, column = self._copy(), self.finding.column
            for row in book.tables[self.table]:
                factor = float(m[2]) if m[1] == "divide" else 1 / float(m[2])
                row[column] = f"{float(row[column]) / factor:.1f}" if row.get(column) else ""
            return [(m[0], book)]
        if m := re.match(r"convert the values to (\S+)", remedy):
            column = self.finding.column
            book = self._copy()
            book.heads[self.table][column] = f"{column} ({m[1]})"
            return [("converted", book)]
        return []

    def _write(self, remedy: str) -> list[tuple[str, Book]]:
        ways = []
        column = self.finding.column
        for text in re.findall(
            r"(?:write|type) (\d[\d.,:-]*|[A-Z]\d+|[a-z_0-9]+(?:_[a-z0-9]+)+|F|M|X)(?![\w.])", remedy
        ):
            ways.append((text, self._typed({column: text})))
        if "whichever" in remedy:
            ways = [("whichever the sheet says", self._typed(self.truth))]
        if m := re.match(r"write ([a-z_]+) or ([a-z_]+)$", remedy):
            ways = [(w, self._typed({column: w})) for w in m.groups()]
        if m := re.match(r"write one of ([\w, -]+)$", remedy):
            ways = [(w, self._typed({column: w})) for w in m[1].split(", ")]
        if "keep it in decisions" in remedy:
            ways.append(("kept", self._decide("keep")))
        if remedy.startswith("nothing"):
            ways.append(("nothing", self._copy()))
        if re.search(r"else look at|or leave the cell blank|look at the sheet and type", remedy) and self.truth:
            ways.append(("as the sheet says", self._typed(self.truth)))
        if "leave the cell blank" in remedy:
            ways.append(("blank", self._typed({column: ""})))
        return ways

    # ---- by a decision

    def _decided(self, row: dict) -> Book:
        book = self._copy()
        signed = {"date": "2026-03-06", "decided_by": "study lead", "reason": "seen on the sheet"}
        book.tables["decisions"].append({**signed, **row})
        return book

    def _decide(self, action: str, new_value: str = "") -> Book:
        row = self.book.tables[self.table][self.index]
        keys = {k: row.get(k, "") for k in ("session", "athlete", "round_no")}
        return self._decided(
            {"table": self.table, **keys, "measure": self.finding.column, "action": action, "new_value": new_value}
        )
