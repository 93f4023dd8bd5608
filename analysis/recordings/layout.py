"""How a text table is laid out: its encoding, its separator, the row of its header, and what each column is."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field

import numpy as np

from .recording import RecordingError
from .synonyms import athlete_in_header, kind_of_column, plain_words
from .times import parse_numbers, parse_times

SEPARATORS = (";", "\t", ",", "|", " ")
MAX_LINE = 20_000
"""Characters of a line; a longer one is not a row of a table."""
LOOK_AHEAD = 80


@dataclass
class Layout:
    """Where things are in a text table."""

    separator: str
    header_at: int
    first_row: int
    headers: list
    kinds: list
    preamble: dict = field(default_factory=dict)
    remarks: list = field(default_factory=list)

    def columns(self, kind: str) -> list[int]:
        """Places of the columns of one kind."""
        return [i for i, (k, _) in enumerate(self.kinds) if k == kind]

    def unit(self, place: int) -> str:
        """The unit that the header states, or ""."""
        return self.kinds[place][1]


def decode(data: bytes, name: str) -> tuple[list[str], list[str]]:
    """Text lines of a file and remarks: byte-order mark, else UTF-8, else Windows-1252."""
    remarks = []
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = data.decode("utf-16", errors="replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
            remarks.append("The file is not UTF-8 and was read as Windows-1252.")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    longest = max(map(len, lines))
    if longest > MAX_LINE:
        raise RecordingError(
            f"{name}: a line of {longest:,} characters, which no table of samples has. A damaged copy? "
            "Copy the original from the device again."
        )
    return lines, remarks


def split_lines(lines: list[str], separator: str):
    """Rows of cells, one per line, quotes honoured."""
    if separator == " ":
        return (line.split() for line in lines)
    return csv.reader(lines, delimiter=separator, skipinitialspace=True)


def find_layout(lines: list[str], name: str) -> Layout:
    """Choose the separator and the header that recognise most; fall back on the values where no header is known."""
    head = lines[:LOOK_AHEAD]
    best, best_score = None, 0.0
    for separator in SEPARATORS:
        if separator != " " and not any(separator in line for line in head):
            continue
        rows = _head_rows(head, separator)
        for at, row in enumerate(rows):
            layout, score = _score_header(rows, at, row, separator)
            if score > best_score + 1e-9:
                best, best_score = layout, score
    if best is None:
        best = _without_header(head) or _single_column(head)
    if best is None:
        raise RecordingError(
            f"{name}: no column of heart rates with times was recognised. The first line should name the columns, for "
            'example "elapsed_s,hr_bpm" or "time;heart rate", with one row per sample below.'
        )
    if best.separator != "\n":
        best.preamble = _preamble(_head_rows(head, best.separator)[: max(best.header_at, 0)])
    return best


def _head_rows(head: list[str], separator: str) -> list[list[str]]:
    try:
        return [[c.strip() for c in row] for row in split_lines(head, separator)]
    except csv.Error:
        return [[c.strip() for c in line.split(separator)] for line in head]


def _score_header(rows, at: int, row: list[str], separator: str) -> tuple[Layout | None, float]:
    """How convincing a row is as the header: names known, and rows below that fit."""
    if not 2 <= len(row) <= 400 or all(not c or c[0].isdigit() or c[0] in "-+." for c in row):
        return None, 0.0
    kinds = [kind_of_column(c) for c in row]
    names = [k for k, _ in kinds]
    timed = any(k in ("elapsed", "clock", "time") for k in names)
    if not timed and "interval" not in names:
        return None, 0.0
    below = [r for r in rows[at + 1 : at + 31] if any(r)]
    units = _unit_rows(below, kinds)
    for r in below[:units]:
        kinds = [
            (k, u or kind_of_column(f"time {r[i]}" if i < len(r) else "")[1])
            for i, (k, u) in enumerate(kinds)
        ]
    below = below[units:]
    fitting = [r for r in below if abs(len(r) - len(row)) <= 1 and _has_value(r, kinds)]
    if not fitting or len(fitting) < 0.5 * len(below):
        return None, 0.0
    known = sum(k in ("elapsed", "clock", "time", "rate", "interval", "date", "athlete") for k in names)
    others = sum(1 for i, k in enumerate(names) if not k and _numeric_share(fitting, i) > 0.5)
    if "rate" not in names and "interval" not in names and not others:
        return None, 0.0
    filled = [i for i, r in enumerate(rows) if any(r)]
    after = [i for i in filled if i > at]
    first = after[units] if len(after) > units else at + 1
    return Layout(separator, at, first, row, kinds), known + 0.1 * min(others, 5) - 0.001 * at


def _unit_rows(below, kinds) -> int:
    """Rows of units right under the header: no number in any column of rates or times."""
    count = 0
    for row in below[:2]:
        if _has_value(row, kinds) or any(c[:1].isdigit() for c in row):
            break
        count += 1
    return count


def _has_value(row, kinds) -> bool:
    for i, (kind, _) in enumerate(kinds):
        if (
            kind in ("elapsed", "clock", "time", "interval")
            and i < len(row)
            and row[i].lstrip("-+")[:1].isdigit()
        ):
            return True
    return False


def _numeric_share(rows, place: int) -> float:
    cells = [r[place] for r in rows if place < len(r) and r[place]]
    return float(np.isfinite(parse_numbers(cells)).mean()) if cells else 0.0


def _single_column(head: list[str]) -> Layout | None:
    """One column of beat-to-beat intervals, with or without a header."""
    cells = [line.strip().strip('"') for line in head if line.strip()]
    if not cells:
        return None
    kind, unit = kind_of_column(cells[0])
    header = bool(kind) or not cells[0][:1].isdigit()
    values = parse_numbers(cells[1:] if header else cells)
    there = values[np.isfinite(values)]
    if len(there) < 2 or len(there) < 0.8 * len(values) or (header and any(s in cells[0] for s in ",;\t|")):
        return None
    low, typical, high = np.quantile(there, [0.1, 0.5, 0.9])
    like = (250 <= typical <= 2500 or 0.25 <= typical <= 2.5) and high < 3 * low
    if kind != "interval" and (kind or not like):
        return None
    first = next(i for i, line in enumerate(head) if line.strip()) + int(header)
    said = [] if kind else ["A single column of values between beats was taken as beat-to-beat intervals."]
    return Layout("\n", first - 1, first, ["interval"], [("interval", unit)], remarks=said)


def _without_header(head: list[str]) -> Layout | None:
    """Two columns without a header: the first runs forward in time, the second looks like heart rates."""
    for separator in SEPARATORS:
        rows = [r for r in _head_rows(head, separator) if any(r)]
        if len(rows) < 3 or {len(r) for r in rows} != {2}:
            continue
        times = parse_times([r[0] for r in rows], kind="time")
        rates = parse_numbers([r[1] for r in rows])
        step = np.diff(times.seconds)
        if np.isfinite(step).all() and (step >= 0).all() and step.max() > 0 and _like_rates(rates):
            said = "The file has no header: the first column was taken as time, the second as heart rate."
            first = next(i for i, line in enumerate(head) if line.strip())
            return Layout(
                separator, -1, first, ["time", "rate"], [("time", ""), ("rate", "")], remarks=[said]
            )
    return None


def _like_rates(values: np.ndarray) -> bool:
    there = values[np.isfinite(values) & (values > 0)]
    return len(there) > 0 and 30 <= float(np.median(there)) <= 230


def wide_columns(layout: Layout, rows: list[list[str]]) -> dict[str, int]:
    """The athletes of a table with one column each: label -> place."""
    found = {}
    for i in layout.columns("rate"):
        found[athlete_in_header(layout.headers[i]) or layout.headers[i]] = i
    if len(found) > 1:
        return found
    if found:
        return {}
    for i, (kind, _) in enumerate(layout.kinds):
        if kind:
            continue
        cells = [r[i] for r in rows if i < len(r) and r[i].strip()]
        if cells and _like_rates(parse_numbers(cells)):
            label = athlete_in_header(layout.headers[i]) or layout.headers[i].strip()
            found[label or f"column {i + 1}"] = i
    return found


def _preamble(rows: list[list[str]]) -> dict:
    """A start time or date stated above the header: "Start time;19:04:30", or as a row of names over a row of values."""
    found: dict[str, str] = {}
    for at, row in enumerate(rows):
        for i, cell in enumerate(row):
            kind = kind_of_column(cell.rstrip(":"))[0] if cell else ""
            if plain_words(cell) in ("time", "uhrzeit", "zeit"):
                kind = "start"
            if kind not in ("start", "date") or kind in found:
                continue
            beside = row[i + 1] if i + 1 < len(row) else ""
            below = rows[at + 1][i] if at + 1 < len(rows) and i < len(rows[at + 1]) else ""
            value = next((v for v in (beside, below) if v[:1].isdigit()), "")
            if value:
                found[kind] = value
    return found
