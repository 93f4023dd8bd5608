"""study.xlsx: the workbook that people type into, and its tables as texts.

Nothing in it needs a particular program: validation lists, fills, frozen panes and texts alone.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import zipfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ..basics import KitError, join_words
from .columns import Column
from .text_files import MAX_CELL, MAX_COLUMNS, Grid, Unreadable, writes_decimal_comma

MAX_UNPACKED = 60_000_000
"""Largest size of a workbook when unpacked; a typical one needs less than 1 MB."""

MAX_PARTS = {"sharedStrings.xml": 20_000_000, "styles.xml": 4_000_000, "workbook.xml": 4_000_000, ".rels": 4_000_000}
"""Ending of a part -> its largest size unpacked: the parts that the library reads whole before any row."""

MAX_MARKS = 100_000
"""Most marks of XML in one row, which the library reads whole: 400 cells need a few thousand."""

MAX_MEMBERS = 2_000
MAX_ROWS = 50_000
_EPOCH = dt.datetime(1899, 12, 30)
_PLEASE_SAVE = "open it in the spreadsheet and save it again as .xlsx, or save each table as CSV"


def read_workbook(path: Path) -> dict[str, Grid]:
    """Read every visible or hidden tab of a workbook as texts."""
    formulas = _check_archive(path)
    import openpyxl

    # opened here, since openpyxl leaves open, and on Windows locked, what it cannot read
    with path.open("rb") as file:
        try:
            book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
            missing = _formulas_without_value(path, openpyxl) if formulas else {}
            return {sheet.title: _read_tab(sheet, path.name, missing.get(sheet.title, [])) for sheet in book.worksheets}
        except Unreadable:
            raise
        except Exception as error:  # a damaged workbook raises whatever its parts raise, tabs only when read
            raise Unreadable(f"the workbook is damaged ({type(error).__name__})", _PLEASE_SAVE) from None


def _check_archive(path: Path) -> bool:
    """Refuse what is no bounded workbook; return True where it holds formulas."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            if len(members) > MAX_MEMBERS or sum(m.file_size for m in members) > MAX_UNPACKED:
                raise Unreadable(
                    f"unpacked, the workbook is larger than {MAX_UNPACKED // 1_000_000} MB, which is no club study",
                    "copy the tables into a fresh workbook",
                )
            for ending, most in MAX_PARTS.items():
                if sum(m.file_size for m in members if m.filename.endswith(ending)) > most:
                    raise Unreadable(
                        f"{ending} in the workbook is larger than {most // 1_000_000} MB, which no club study needs",
                        "copy the tables into a fresh workbook",
                    )
            sheets = [m for m in members if re.search(r"worksheets/[^/]*\.xml$", m.filename)]
            return any([_holds_formulas(archive.read(m)) for m in sheets])
    except zipfile.BadZipFile:
        with path.open("rb") as file:
            protected = file.read(8).startswith(b"\xd0\xcf\x11\xe0")
        if protected:
            raise Unreadable(
                "the workbook has a password, or is of an old format", "save it without a password as .xlsx"
            ) from None
        raise Unreadable("this is no workbook (.xlsx), or it is damaged", _PLEASE_SAVE) from None
    except (OSError, RuntimeError, EOFError, zipfile.LargeZipFile) as error:
        raise Unreadable(
            f"the workbook cannot be opened ({type(error).__name__})",
            "close it in other programs; save it without a password",
        ) from None
    except Exception as error:
        if isinstance(error, Unreadable):
            raise
        raise Unreadable(f"the workbook is damaged ({type(error).__name__})", _PLEASE_SAVE) from None


def _holds_formulas(sheet: bytes) -> bool:
    """True where a cell is worked out; a row without end is refused before the library takes it into memory."""
    rows = [found.start() for found in re.finditer(rb"<(?:\w+:)?row[ />]", sheet)]
    for start, end in zip(rows, [*rows[1:], len(sheet)], strict=True):
        if end - start > MAX_MARKS and sheet.count(b"<", start, end) > MAX_MARKS:
            raise Unreadable("one row of the workbook has cells without end", "copy the tables into a fresh workbook")
    return bool(re.search(rb"<(\w+:)?f[ />]", sheet))


def _formulas_without_value(path: Path, openpyxl) -> dict[str, list[str]]:
    """Return, per tab, the cells whose formula no spreadsheet has worked out yet."""
    with path.open("rb") as one, path.open("rb") as other:
        with_formulas = openpyxl.load_workbook(one, read_only=True, keep_links=False)
        with_values = openpyxl.load_workbook(other, read_only=True, data_only=True, keep_links=False)
        found: dict[str, list[str]] = {}
        for sheet in with_formulas.worksheets:
            rows = zip(
                sheet.iter_rows(max_row=MAX_ROWS), with_values[sheet.title].iter_rows(max_row=MAX_ROWS), strict=False
            )
            for formula_row, value_row in rows:
                for formula, value in zip(formula_row, value_row, strict=False):
                    if formula.data_type == "f" and value.value is None:
                        found.setdefault(sheet.title, []).append(formula.coordinate)
        return found


def _read_tab(sheet, name: str, missing: list[str]) -> Grid:
    file = f"{name}, tab {sheet.title}"
    keep: dict[str, str] = {}
    rows = []
    sheet.reset_dimensions()
    for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
        if not any(c is not None for c in cells):
            if number > MAX_ROWS:
                break  # formatting that reaches down to the last row of the sheet
            continue
        if number > MAX_ROWS:
            raise Unreadable(
                f"the tab {sheet.title} has more than {MAX_ROWS:,} rows", "put the right table here", number
            )
        texts = [cell_text(c) for c in cells]
        while texts and not texts[-1]:
            texts.pop()
        if len(texts) > MAX_COLUMNS:
            raise Unreadable(
                f"the tab {sheet.title} has {len(texts)} cells in one row", "put the right table here", number
            )
        if max(map(len, texts), default=0) > MAX_CELL:
            raise Unreadable(
                f"the tab {sheet.title} has a cell with more than {MAX_CELL:,} characters", "shorten the text", number
            )
        if texts:
            rows.append((number, [keep.setdefault(t, t) for t in texts]))
    remarks = ()
    if missing:
        some = ", ".join(missing[:5]) + (" ..." if len(missing) > 5 else "")
        remarks = (
            (f"formulas without a worked-out value: {some}", "open the workbook in the spreadsheet and save it"),
        )
    comma = writes_decimal_comma({t for _, row in rows for t in row}, otherwise=False)
    return Grid(file, rows, comma, remarks)


def cell_text(value) -> str:
    """Return what a cell of a workbook holds, as text that the readers of CSV cells understand."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _float_text(value)
    if isinstance(value, dt.datetime):
        if value.year < 1901:  # more than 24 hours: a spreadsheet counts on from its first day
            return _hours(value - _EPOCH)
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ", "seconds")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return value.isoformat("seconds")
    if isinstance(value, dt.timedelta):
        return _hours(value)
    return str(value).strip()


def _float_text(value: float) -> str:
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    text = f"{value:.12g}"
    if re.fullmatch(r"-?[1-9]\d{0,2}\.\d{3}", text):
        return text + "0"  # a stored number is never a thousands sign: 1.234 is said as 1.2340
    return text


def _hours(span: dt.timedelta) -> str:
    seconds = round(span.total_seconds())
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


TYPE_HERE = "FFF6D5"
"""Fill of the cells that are to be typed into; the rest is white or grey."""

HEAD = "E4E4E4"
KNOWN = "F4F4F4"
FIRST_ROW = 3
"""Headings stand in the first row, units in the second."""

LAST_ROW = 500
"""Lists to choose from reach down to this row."""

EMPTY_ROWS = 12
"""Rows that are coloured in a tab without known keys."""

Row = Mapping[str, str]


@dataclass(frozen=True)
class Tab:
    """One tab: its table, the columns in the order of the printed sheet, their units, and the rows whose keys are known."""

    table: str
    columns: tuple[Column, ...]
    units: tuple[str, ...]
    rows: tuple[Row, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The headings."""
        return tuple(c.name for c in self.columns)


def write_forms(path: Path, tabs: Sequence[Tab], notes: Sequence[Sequence[str]], *, tests: Sequence[str] = ()) -> None:
    """Write the workbook of a new folder; `notes` are the rows of its last tab, the first of a single cell each."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for tab in tabs:
        sheet = book.create_sheet(tab.table)
        sheet.append(list(tab.names))
        sheet.append(list(tab.units))
        _dress(sheet, tab, tests, with_codes="athletes" in {t.table for t in tabs})
        _put_rows(sheet, tab.names, tab.rows)
    _write_notes(book, notes)
    _save(book, path)


def _save(book, path: Path) -> None:
    """Write a workbook in one piece: in many, Python tries again at its end where a disk is full, and says so once more."""
    made = io.BytesIO()
    book.save(made)
    path.write_bytes(made.getvalue())


def _dress(sheet, tab: Tab, tests: Sequence[str], *, with_codes: bool) -> None:
    """Give a tab its widths, frozen headings, colours and lists."""
    from openpyxl.styles import Border, Font, PatternFill, Side
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    grey = PatternFill("solid", fgColor=HEAD)
    line = Border(bottom=Side(style="thin", color="808080"))
    keys = sum(c.need in ("key", "default 1") for c in tab.columns)
    sheet.freeze_panes = f"{get_column_letter(max(2, keys + 1))}{FIRST_ROW}"
    for place, column in enumerate(tab.columns, start=1):
        letter = get_column_letter(place)
        sheet.column_dimensions[letter].width = max(12, len(column.name) + 2)
        sheet.column_dimensions[letter].number_format = "@"
        for row, font in ((1, Font(bold=True)), (2, Font(italic=True))):
            cell = sheet.cell(row, place)
            cell.font, cell.fill, cell.number_format, cell.border = font, grey, "@", line
        formula, strict = _choices(column, tab.table, tests, with_codes)
        if formula:
            choice = DataValidation(type="list", formula1=formula, allow_blank=True)
            choice.errorStyle = "stop" if strict else "warning"
            choice.add(f"{letter}{FIRST_ROW}:{letter}{LAST_ROW}")
            sheet.add_data_validation(choice)


def _choices(column: Column, table: str, tests: Sequence[str], with_codes: bool) -> tuple[str, bool]:
    """Return the list that a column offers, as a formula, and whether nothing else may be typed."""
    words = column.choices or (("yes", "no") if column.kind == "yes_no" else ())
    if column.kind == "test" and tests:
        words = tuple(tests)
    if words and len(",".join(words)) < 250:
        return f'"{",".join(words)}"', bool(column.choices)
    if with_codes and table != "athletes" and (column.name == "athlete" or column.kind == "opponent"):
        return f"athletes!$A${FIRST_ROW}:$A${LAST_ROW}", False  # guest and none may be typed as well
    return "", False


def _put_rows(sheet, names: Sequence[str], rows: Sequence[Row]) -> None:
    """Write known keys and colour what is to be typed beside them."""
    from openpyxl.styles import PatternFill

    here, known = PatternFill("solid", fgColor=TYPE_HERE), PatternFill("solid", fgColor=KNOWN)
    for r in range(FIRST_ROW, FIRST_ROW + max(len(rows), EMPTY_ROWS if not rows else 0)):
        row = rows[r - FIRST_ROW] if rows else {}
        for place, name in enumerate(names, start=1):
            cell = sheet.cell(r, place)
            cell.value = row.get(name) or None
            cell.fill, cell.number_format = (known if cell.value else here), "@"


def _write_notes(book, notes: Sequence[Sequence[str]]) -> None:
    from openpyxl.styles import Font, PatternFill

    sheet = book.create_sheet("notes")
    sheet.append(
        ["Type here: cells of this colour. Grey cells are known already; correct them where it turned out otherwise."]
    )
    sheet["A1"].fill = PatternFill("solid", fgColor=TYPE_HERE)
    for line in notes:
        sheet.append(list(line))
        if len(line) > 1 and line[0] == "table":
            for cell in sheet[sheet.max_row]:
                cell.font = Font(bold=True)
    for letter, width in zip("ABCDE", (16, 28, 12, 70, 44), strict=True):
        sheet.column_dimensions[letter].width = width


def fill_workbook(path: Path, rows: Mapping[str, Sequence[Row]]) -> tuple[list[str], list[str]]:
    """Write known keys into the tabs of a workbook that hold nothing yet; return the tabs filled, and those left alone."""
    # A tab with a row in it is never touched. The workbook is written beside the old one, read again,
    # compared tab by tab and only then put in its place.
    from openpyxl import load_workbook

    book = open_to_change(path, load_workbook)
    filled, left = [], []
    for table, known in rows.items():
        if table not in book.sheetnames or not known:
            continue
        sheet = book[table]
        names = [str(c.value).strip() if c.value is not None else "" for c in sheet[1]]
        lacking = {name for row in known for name in row} - set(names)
        if lacking or _is_filled(sheet, names):
            left.append(table)
            continue
        for row in sheet.iter_rows(min_row=FIRST_ROW):
            for cell in row:
                cell.value = None
        _put_rows(sheet, names, known)
        filled.append(table)
    if filled:
        save_whole(path, book, changed=filled)
    return filled, left


KEYS_ALONE = ("session", "athlete", "round_no", "test")
"""Columns that a new folder may have filled in; a tab with nothing beside them holds nothing typed."""


def _is_filled(sheet, names: Sequence[str]) -> bool:
    typed = [i for i, name in enumerate(names) if name not in KEYS_ALONE]
    rows = sheet.iter_rows(min_row=FIRST_ROW, values_only=True)
    return any(row[i] is not None for row in rows for i in typed if i < len(row))


def open_to_change(path: Path, load_workbook):
    """Open a workbook that will be written again; formulas would lose their values, so they are refused."""
    try:
        with path.open("rb") as file:
            book = load_workbook(file)
    except OSError as error:
        raise KitError(f"{path.name} cannot be opened ({error.strerror}): close it in other programs.") from None
    except Exception as error:  # whatever a damaged workbook raises
        raise KitError(
            f"{path.name} is damaged ({type(error).__name__}): open it in the spreadsheet and save it again."
        ) from None
    sums = [s.title for s in book.worksheets if any(c.data_type == "f" for row in s.iter_rows() for c in row)]
    if sums:
        raise KitError(
            f"{path.name} holds formulas (tab {join_words(sums)}), whose results would be lost: nothing was written. "
            "Paste the values over them first."
        )
    return book


def save_whole(path: Path, book, *, changed: Sequence[str]) -> None:
    """Put a changed workbook in the place of the old one, whole or not at all; every other tab must read as before."""
    before = read_workbook(path)
    new = path.with_name(f".{path.stem}.partial.xlsx")
    try:
        new.unlink(missing_ok=True)  # of a run that was stopped
        _save(book, new)
        after = read_workbook(new)
        other = [t for t in before if t not in changed and (t not in after or before[t].rows != after[t].rows)]
        if other:
            raise KitError(f"The tab {join_words(other)} would not stay as it is: {path.name} was left alone.")
        os.chmod(new, path.stat().st_mode & 0o777)
        os.replace(new, path)
    except (OSError, Unreadable) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise KitError(
            f"{path.name} cannot be written ({why}): close it in other programs. Nothing was changed."
        ) from None
    finally:
        with suppress(OSError):
            new.unlink()
