"""The tables of study.xlsx as texts: what a spreadsheet stores as number, date or time is written out plainly."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path

from .text_files import MAX_CELL, MAX_COLUMNS, Grid, Unreadable, writes_decimal_comma

MAX_UNPACKED = 60_000_000
"""Largest size of a workbook when unpacked; a typical one needs less than 1 MB."""

MAX_PARTS = {
    "sharedStrings.xml": 20_000_000,
    "styles.xml": 4_000_000,
    "workbook.xml": 4_000_000,
    ".rels": 4_000_000,
}
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
                sheet.iter_rows(max_row=MAX_ROWS),
                with_values[sheet.title].iter_rows(max_row=MAX_ROWS),
                strict=False,
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
                f"the tab {sheet.title} has a cell with more than {MAX_CELL:,} characters",
                "shorten the text",
                number,
            )
        if texts:
            rows.append((number, [keep.setdefault(t, t) for t in texts]))
    remarks = ()
    if missing:
        some = ", ".join(missing[:5]) + (" ..." if len(missing) > 5 else "")
        remarks = (
            (
                f"formulas without a worked-out value: {some}",
                "open the workbook in the spreadsheet and save it",
            ),
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
