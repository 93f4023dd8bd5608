"""Made clubs as a person would type them: drawn, written as CSV files or as the workbook, and remedies followed.

Everything here is invented. A club is drawn from the spread that small studies of grappling report (heart rate about
10 bpm between and 5 bpm within athletes, lactate about 2.5 and 1.3 mmol/L; common practice, no source).
"""

from __future__ import annotations

import atexit
import copy
import csv
import re
import shutil
import tempfile
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import openpyxl

from analysis.study import new_study

FIRST_ROW = 3
"""The row of the first line: headings and units stand above."""

KINDS = ("csv", "semicolons", "workbook")
"""How a club may be written: CSV with points, CSV with semicolons and decimal commas, the workbook."""


@dataclass
class Book:
    """The tables of a folder as they were typed: table -> headings as they stand, and rows of texts."""

    rounds: int = 4
    scale: str = "0-10"
    tables: dict[str, list[dict[str, str]]] = field(default_factory=dict)
    heads: dict[str, dict[str, str]] = field(default_factory=dict)
    """Table -> column -> heading that is typed instead."""
    settings: list[tuple[str, str]] = field(default_factory=list)
    """Texts of study.toml that are replaced by others."""
    more: str = ""
    """What stands at the top of study.toml beside what `new` writes."""
    tests: tuple[str, ...] = ("shuttle_run_20m",)

    def copy(self) -> Book:
        return copy.deepcopy(self)

    def row_of(self, table: str, **keys) -> int:
        """The index of the row with these keys."""
        for i, row in enumerate(self.tables[table]):
            if all(row.get(k, "") == str(v) for k, v in keys.items()):
                return i
        raise KeyError((table, keys))

    def put(self, table: str, keys: dict, **values) -> int:
        """Change cells of one row; return its number in the spreadsheet."""
        i = self.row_of(table, **keys)
        self.tables[table][i] |= {k: str(v) for k, v in values.items()}
        return i + FIRST_ROW

    def every(self, table: str, **values) -> None:
        for row in self.tables[table]:
            row |= {k: str(v) for k, v in values.items()}


def pairs(codes: list[str], rounds: int, rng) -> list[dict[str, str]]:
    """Round -> code -> opponent: everybody moves one place on."""
    ring, made = list(codes), []
    for _ in range(rounds):
        half = len(ring) // 2
        couples = zip(ring[:half], reversed(ring[half:]), strict=True)
        made.append({c: o for one, other in couples for c, o in ((one, other), (other, one))})
        ring = [ring[0], ring[-1], *ring[1:-1]]
    return made


def clean_club(seed: int, *, n: int = 10, rounds: int = 4, scale: str = "0-10", rough: float = 1.0) -> Book:
    """Draw a club that typed everything right; `rough` multiplies the scatter within athletes."""
    rng = np.random.default_rng(seed)
    codes = [f"A{i:02d}" for i in range(1, n + 1)]
    book = Book(rounds=rounds, scale=scale)
    low, high = {"6-20": (6, 20), "0-10": (0, 10), "0-100": (0, 100)}[scale]
    who = pairs(codes, rounds, rng)
    rises = np.cumsum([0, *rng.uniform(0, 8, rounds - 1)])
    athletes, attendance, tests, typed = [], [], [], []
    for code in codes:
        age = int(np.clip(rng.normal(26, 6), 18, 45))
        top = round(float(np.clip(rng.normal(208 - 0.7 * age, 8), 165, 215)))
        mass = round(float(np.clip(rng.normal(75, 11), 50, 110)), 1)
        level = float(np.clip(rng.normal(0.86, 0.035), 0.76, 0.94)) * top
        blood, effort = np.clip(rng.normal(7.5, 2.5), 3, 14), np.clip(rng.normal(0.55, 0.12), 0.3, 0.8)
        athletes.append(
            {"athlete": code, "club": "home", "age_years": str(age), "sex": str(rng.choice(["F", "M"])),
             "mass_kg": f"{mass}", "experience_years": str(round(float(rng.uniform(0.5, 12)), 1)),
             "hr_rest_bpm": str(round(float(np.clip(rng.normal(58, 7), 42, 78)))), "hr_max_bpm": str(top),
             "hr_max_source": "measured", "consent_measured": "yes", "consent_individual_figures": "no",
             "consent_shared_data": "yes", "cleared": "yes"}
        )  # fmt: skip
        usual = mass + float(rng.normal(0, 0.4))
        attendance.append(
            {"session": "1", "athlete": code, "device": str(len(attendance) + 1),
             "mass_kg": f"{mass:.1f}", "usual_mass_kg": f"{max(usual, mass * 0.99):.1f}", "arrived": "19:05"}
        )  # fmt: skip
        tests.append(
            {"athlete": code, "date": "2026-03-01", "test": "shuttle_run_20m",
             "level": str(int(np.clip(rng.normal(9, 1.6), 5, 13))), "shuttle": str(int(rng.integers(0, 8)))}
        )  # fmt: skip
        for k in range(1, rounds + 1):
            mean = min(level + rises[k - 1] + rng.normal(0, 4.5 * rough), top - 4)
            peak = min(mean + abs(rng.normal(13, 4 * rough)) + 2, top)
            lactate = float(np.clip(blood * (0.75 + 0.11 * k) + rng.normal(0, 1.2 * rough), 1.5, 22))
            rated = effort + 0.07 * (k - 1) + rng.normal(0, 0.06 * rough)
            typed.append(
                {"session": "1", "athlete": code, "round_no": str(k), "took_part": "yes",
                 "minutes_done": "5", "opponent": who[k - 1][code], "lactate_mmol_l": f"{lactate:.1f}",
                 "lactate_delay_s": str(int(np.clip(rng.normal(65, 12), 40, 110))),
                 "exertion": str(round(float(np.clip(low + rated * (high - low), low, high)))),
                 "hr_mean_typed_bpm": str(round(mean)), "hr_peak_typed_bpm": str(round(peak))}
            )  # fmt: skip
    step = 7
    book.tables = {
        "sessions": [{"session": "1", "date": "2026-03-05", "utc_offset": "+01:00", "place": "mat room",
                      "analyser": "hand-held, whole blood", "sample_site": "ear_lobe"}],
        "clock": [
            {"session": "1", "round_no": str(k), "start_clock": _clock(30 + step * (k - 1)),
             "end_clock": _clock(35 + step * (k - 1))}
            for k in range(1, rounds + 1)
        ],
        "athletes": athletes,
        "attendance": attendance,
        "aerobic_tests": tests,
        "rounds": typed,
        "decisions": [],
    }  # fmt: skip
    return book


@cache
def _fresh(tests: tuple[str, ...], rounds: int, scale: str, workbook: bool) -> Path:
    """A folder from `new`, made once; removed when Python ends."""
    place = Path(tempfile.mkdtemp(prefix="fresh_study_"))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return new_study(place / "study", tests=tests, rounds=rounds, scale=scale, workbook=workbook)


def _clock(minutes: int) -> str:
    """Minutes after seven in the evening."""
    return f"{19 + minutes // 60}:{minutes % 60:02d}"


def write_book(book: Book, folder: Path, kind: str = "csv") -> Path:
    """Write a club into a fresh folder made with `new`."""
    shutil.copytree(_fresh(book.tests, book.rounds, book.scale, kind == "workbook"), folder)
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    for old, fresh in book.settings:
        assert old in text, f"study.toml of a new folder holds no {old!r}"
        text = text.replace(old, fresh)
    path.write_text(book.more + text, encoding="utf-8")
    if kind == "workbook":
        _fill_workbook(book, folder / "study.xlsx")
    else:
        for table, rows in book.tables.items():
            _fill_csv(book, table, rows, folder / f"{table}.csv", comma=kind == "semicolons")
    return folder


def _columns(heads: list[str], rows: list[dict]) -> list[str]:
    return heads + [n for n in dict.fromkeys(n for row in rows for n in row) if n not in heads]


def plain(heading: str) -> str:
    """A heading without the unit that may stand behind it in brackets."""
    return re.sub(r"\s*\(.*\)$", "", heading)


def _fill_csv(book: Book, table: str, rows: list[dict], path: Path, *, comma: bool) -> None:
    heads, units = [], []
    if path.exists():
        with path.open(encoding="utf-8-sig", newline="") as file:
            heads, units = list(csv.reader(file))[:2]
    shown = {plain(h): h for h in heads}
    names = _columns([plain(h) for h in heads], rows)
    units += [""] * (len(names) - len(units))
    typed = book.heads.get(table, {})
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        out = csv.writer(file, delimiter=";" if comma else ",")
        out.writerow([typed.get(n, shown.get(n, n)) for n in names])
        out.writerow(["text" if not u and n in typed else u for n, u in zip(names, units, strict=True)])
        for row in rows:
            cells = [row.get(n, "") for n in names]
            out.writerow([with_comma(c) if comma else c for c in cells])


def with_comma(text: str) -> str:
    """A number as it is typed where decimals stand behind a comma."""
    return text.replace(".", ",") if re.fullmatch(r"[<>]? ?-?\d+\.\d+", text) else text


def _fill_workbook(book: Book, path: Path) -> None:
    workbook = openpyxl.load_workbook(path)
    for table, rows in book.tables.items():
        sheet = workbook[table] if table in workbook.sheetnames else workbook.create_sheet(table)
        heads = [str(c.value) for c in sheet[1] if c.value is not None]
        names = _columns([plain(h) for h in heads], rows)
        typed = book.heads.get(table, {})
        for place, name in enumerate(names, start=1):
            if name in typed or place > len(heads):
                sheet.cell(1, place).value = typed.get(name, name)
        for r in range(FIRST_ROW, max(sheet.max_row, FIRST_ROW + len(rows)) + 1):
            row = rows[r - FIRST_ROW] if r - FIRST_ROW < len(rows) else {}
            for place, name in enumerate(names, start=1):
                text = row.get(name, "")
                cell = sheet.cell(r, place)
                cell.value = _as_spreadsheet(text)
    workbook.save(path)


def _as_spreadsheet(text: str):
    """What a spreadsheet stores of a typed text, in a cell that is not formatted as text."""
    if re.fullmatch(r"-?[1-9]\d*|0", text) and len(text) < 12:
        return int(text)
    if re.fullmatch(r"-?\d+\.\d+", text):
        return float(text)
    return text or None
