"""Text of a file whatever its encoding, and CSV of any common dialect, within bounded size."""

from __future__ import annotations

import codecs
import csv
import math
import re
from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import repeat, zip_longest
from pathlib import Path

BLANKS = frozenset({"", "-", "–", "—", "--", ".", "n/a", "n.a.", "na", "nil", "missing"})
"""Texts that mean "nothing was recorded" (compared without case); a code of an athlete may still be NA."""

NOT_A_NUMBER = frozenset({"nan", "inf", "+inf", "-inf", "infinity", "-infinity", "+infinity"})

_PLAIN = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?", re.ASCII | re.IGNORECASE)
_CLEAR = re.compile(r"^[+-]?(?:\d*([.,])(?:\d{1,2}|\d{4,})|0([.,])\d+)$", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+\.\d+|[+-]?\d{1,3}(\.\d{3})+,\d+", re.ASCII)
_LINE_ENDS = re.compile(r"\r\n|\r|\n")
TIME = re.compile(r"(\d{1,3}):(\d{2})(?::(\d{2})(?:[.,](\d{1,6}))?)?", re.ASCII)
_MADE_DATE = re.compile(
    r"\d{4}-\d{2}-\d{2}( 00:00(:00)?)?|\d{1,2}-[a-z]{3}(-\d{2,4})?|[a-z]{3}-\d{1,2}|\d{1,2}[./-]\d{1,2}[./-]\d{2,4}",
    re.ASCII | re.IGNORECASE,
)


class Slip(ValueError):
    """A text that is not what its column holds: what is wrong, and the remedy."""

    def __init__(self, problem: str, remedy: str, offer: str = ""):
        super().__init__(problem)
        self.problem = problem
        self.remedy = remedy
        self.offer = offer


def is_blank(text: str) -> bool:
    """Return True where a text means that nothing was recorded."""
    return text.casefold() in BLANKS


def is_made_date(text: str) -> bool:
    """Return True where a text looks like a date that a spreadsheet made of something else, such as 9-4."""
    return bool(_MADE_DATE.fullmatch(text))


def read_number(text: str, *, decimal_comma: bool | None = False, unit: str = "") -> float:
    """Read a number with decimal point or comma."""
    bare = text.replace("\N{MINUS SIGN}", "-").replace("\N{NO-BREAK SPACE}", " ").strip()
    if unit and bare.casefold().endswith(unit.casefold()):
        bare = bare[: -len(unit)].strip()
    if bare.startswith("#"):
        raise Slip("an error of the spreadsheet, not a value", "mend the formula, or type the value itself")
    if bare.casefold() in NOT_A_NUMBER:
        raise Slip("not a number", "leave the cell blank where nothing was recorded")
    if is_made_date(bare):
        raise Slip(
            "a date where a number belongs: the spreadsheet may have turned something like 9-4 or 9.4 into a date",
            "format the column as text and type the value again",
        )
    if TIME.fullmatch(bare):
        raise Slip("a time where a plain number belongs", "type a number; format the column as text")
    bare = re.sub(r"(?<=\d) (?=\d{3}\b)", "", bare)
    if _THOUSANDS.fullmatch(bare):
        mark = "," if bare.rfind(",") < bare.rfind(".") else "."
        bare = bare.replace(mark, "")
    elif not _PLAIN.fullmatch(bare):
        meant = _mistyped(bare)
        if meant:
            raise Slip(f"not a number; was {meant} meant?", f"type {meant} if the sheet says so", meant)
        raise Slip("not a number", "type a number alone, or leave the cell blank where nothing was measured")
    elif re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", bare) and ("," in bare) is not decimal_comma:
        raise Slip(
            f"unclear: {bare} could be {bare.replace(',', '.')} or {bare.replace(',', '').replace('.', '')}",
            "type it without a thousands sign, or with another number of decimals",
        )
    value = float(bare.replace(",", "."))
    if not math.isfinite(value):
        raise Slip("not a finite number", "type the value that was measured")
    return value


_LOOKALIKE = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "|": "1", "S": "5", "B": "8"})


def _mistyped(text: str) -> str:
    """The number that a text with letters for digits, or a sign too many, was probably meant to be, or ""."""
    bare = re.sub(r"\s+(?=[.,])|(?<=[.,])\s+", "", text).strip("'`´\"")
    bare = re.sub(r"([.,])[.,]+", r"\1", bare.translate(_LOOKALIKE)).rstrip(".,")
    return bare if any(c.isdecimal() for c in text) and re.fullmatch(r"\d+([.,]\d+)?", bare) else ""


def writes_decimal_comma(texts: Iterable[str], *, otherwise: bool) -> bool | None:
    """Tell from clear numbers such as 5,2 or 5.2 whether a file writes decimal commas."""
    clear = {sign for text in texts for pair in _CLEAR.findall(text) for sign in pair if sign}
    if len(clear) == 2:
        return None
    return clear == {","} if clear else otherwise


MAX_FILE_BYTES = 150_000_000
"""Largest table that is read: a survey of a million sessions fits, a mistaken file does not."""

MAX_CELL = 2_000
"""Longest text in one cell."""

MAX_COLUMNS = 400
MAX_ROWS = 1_000_001
"""Rows of a survey of sessions: a million and the headings."""

CLUB_ROWS = 50_000
"""Rows of any other table: as many as of a tab of the workbook."""
DELIMITERS = (";", "\t", ",")


UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
"""Signs that no page and no Word file can hold, or that turn the direction of what follows."""

CANNOT_BE_PRINTED = "holds signs that cannot be printed or that turn the direction of writing"
TYPE_ANEW = "type it anew, since it was probably copied from elsewhere"


class Unreadable(ValueError):
    """A file that cannot be read as a table; carries what is wrong and the remedy."""

    def __init__(self, problem: str, remedy: str, row: int | None = None):
        super().__init__(problem)
        self.problem = problem
        self.remedy = remedy
        self.row = row


BLOCK = 2_048
"""Cells of a column that are held as one text."""

_BETWEEN = "\0"
"""What stands between them: no text of a table holds it, else its block stays a list."""


class Texts(Sequence):
    """The cells of a long column: blocks of them as one text each, which takes a tenth of what a million texts take."""

    def __init__(self, texts: Iterable[str] = ()):
        self._blocks: list[str | list[str]] = []
        self.tail: list[str] = []  # the last ones, not yet packed
        self._span = (0, None)
        self._open: tuple[int, list[str]] = (-1, [])
        for text in texts:
            self.tail.append(text)
            self.pack()

    def pack(self) -> None:
        """Pack the last cells where they fill a block."""
        if len(self.tail) >= BLOCK:
            joined = _BETWEEN.join(self.tail)
            self._blocks.append(joined if joined.count(_BETWEEN) == len(self.tail) - 1 else list(self.tail))
            self.tail.clear()

    def between(self, start: int, stop: int) -> Sequence[str]:
        """Return some of the cells, without copying them where they are many."""
        part = Texts()
        part._blocks, part.tail, part._span = self._blocks, self.tail, (start, stop)
        return part if stop - start > BLOCK else list(part)

    def _cells(self, number: int) -> list[str]:
        """Unpack a block; it stays open until another is asked for."""
        if number == len(self._blocks):
            return self.tail
        if self._open[0] != number:
            block = self._blocks[number]
            self._open = (number, block.split(_BETWEEN) if isinstance(block, str) else block)
        return self._open[1]

    def _places(self) -> range:
        return range(*slice(*self._span).indices(len(self._blocks) * BLOCK + len(self.tail)))

    def __len__(self) -> int:
        return len(self._places())

    def __getitem__(self, index):
        here = self._places()[index]
        if isinstance(here, range):
            return [self._cells(i // BLOCK)[i % BLOCK] for i in here]
        return self._cells(here // BLOCK)[here % BLOCK]

    def __setitem__(self, index: int, text: str) -> None:
        here = self._places()[index]
        cells = self._cells(here // BLOCK)
        cells[here % BLOCK] = text
        if cells is not self.tail:
            self._blocks[here // BLOCK] = cells

    def __iter__(self) -> Iterator[str]:
        here = self._places()
        for number in range(here.start // BLOCK, -(-here.stop // BLOCK)):
            first = number * BLOCK
            yield from self._cells(number)[max(here.start - first, 0) : here.stop - first]


class Rows(Sequence):
    """Rows of texts, each with its number in the file; held as columns, so that a million rows stay small."""

    def __init__(self, rows: Iterable[tuple[int, Sequence[str]]] = ()):
        self._numbers, self._lengths = array("l"), array("H")
        self._columns: list[Texts] = []
        self._tails: list[list[str]] = []
        self._span = (0, None)
        for number, cells in rows:
            self.add(number, cells)

    def add(self, number: int, cells: Sequence[str]) -> None:
        """Put a row at the end."""
        while len(self._columns) < len(cells):
            self._columns.append(Texts(repeat("", len(self._numbers))))
            self._tails.append(self._columns[-1].tail)
        for tail, text in zip_longest(self._tails, cells, fillvalue=""):
            tail.append(text)
        self._numbers.append(number)
        self._lengths.append(len(cells))
        if not len(self._numbers) % BLOCK:
            for column in self._columns:
                column.pack()

    def __len__(self) -> int:
        return len(range(*slice(*self._span).indices(len(self._numbers))))

    def __getitem__(self, index):
        here = range(*slice(*self._span).indices(len(self._numbers)))[index]
        if isinstance(here, range):
            part = Rows()
            part._numbers, part._lengths, part._columns = self._numbers, self._lengths, self._columns
            part._span = (here.start, here.stop)
            return part
        return self._numbers[here], [column[here] for column in self._columns[: self._lengths[here]]]

    def __eq__(self, other) -> bool:
        return isinstance(other, Rows) and list(self) == list(other)

    __hash__ = None

    @property
    def width(self) -> int:
        """Cells of the longest row."""
        return len(self._columns)

    def numbers(self) -> Sequence[int]:
        """Return the numbers of the rows in the file."""
        return list(self._numbers[slice(*self._span)])

    def column(self, place: int) -> Sequence[str]:
        """Return the cells of one column, "" where a row is shorter."""
        here = range(*slice(*self._span).indices(len(self._numbers)))
        return self._columns[place].between(here.start, here.stop) if place < self.width else [""] * len(self)


@dataclass(frozen=True)
class Grid:
    """A table as it stands in a file: texts without interpretation."""

    file: str
    rows: Rows
    decimal_comma: bool | None = False
    remarks: tuple[tuple[str, str], ...] = ()

    def __post_init__(self):
        if not isinstance(self.rows, Rows):
            object.__setattr__(self, "rows", Rows(self.rows))


def read_bytes(path: Path, *, limit: int = MAX_FILE_BYTES) -> bytes:
    """Return the content of a file that is not too large."""
    try:
        with path.open("rb") as file:
            content = file.read(limit + 1)
    except OSError as error:
        raise Unreadable(
            f"the file cannot be opened ({error.strerror or type(error).__name__})",
            "close it in other programs and check that you may read it",
        ) from None
    if len(content) > limit:
        raise Unreadable(
            f"the file is larger than {limit // 1_000_000} MB, which is no table of a club study",
            "put the right file here; recordings belong in recordings/",
        )
    return content


def decode_text(content: bytes) -> tuple[str, str]:
    """Return text and the name of its encoding: byte-order mark, then UTF-8, then cp1252."""
    marks = (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    )
    candidates = [name for mark, name in marks if content.startswith(mark)][:1]
    if not candidates:
        head = content[:4_000]
        if head.count(0) > len(head) // 4:  # UTF-16 without a mark: every other byte of plain letters is 0
            candidates = ["utf-16-le" if head[1:2] == b"\0" else "utf-16-be"]
        else:
            candidates = ["utf-8", "cp1252"]
    for name in candidates:
        try:
            text = content.decode(name)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, name.removesuffix("-sig")
    raise Unreadable("this is not a text file, or is damaged", "save it again from the spreadsheet as CSV (UTF-8)")


def _choose_delimiter(lines: list[str]) -> str:
    """Return the delimiter that the heading uses most; on a tie, the one that the rows below use most."""
    heading = _outside_quotes(lines[0])
    body = _outside_quotes("\n".join(lines[1:20]))
    return max(DELIMITERS, key=lambda d: (heading.count(d), body.count(d)))


def _outside_quotes(text: str) -> str:
    return "".join(text.split('"')[::2])


def read_csv_grid(path: Path, *, file: str, most_rows: int = MAX_ROWS) -> Grid:
    """Read a CSV file as texts: encoding, delimiter and decimal sign found, nothing converted."""
    text, encoding = decode_text(read_bytes(path))
    skipped = 0
    end = text.find("\n")
    first = text[:end].strip() if 0 <= end < 100 else ""
    stated = ""
    if first.strip('"').lower().startswith("sep=") and len(first) <= 7:
        stated = first.strip('"')[4:5]
        text, skipped = text[end + 1 :], 1
    sample = [line for line in text[:100_000].splitlines() if line.strip()]
    if not sample:
        return Grid(file, [])
    delimiter = stated if stated in DELIMITERS else _choose_delimiter(sample)
    rows, cells = _parse(text, delimiter, skipped, most_rows)
    remarks: tuple[tuple[str, str], ...] = ()
    if encoding == "cp1252" and not text.isascii():
        noticed = "read as Windows text (cp1252), since it is not UTF-8"
        remarks = ((noticed, "look at letters with accents; save as CSV UTF-8 if they are wrong"),)
    comma = writes_decimal_comma(cells, otherwise=delimiter == ";")
    return Grid(file, rows, comma, remarks)


MOST_KEPT = 200_000
"""Distinct cells of a table beyond which another costs more to find again than to hold twice."""


def _lines(text: str) -> Iterator[str]:
    """The lines of a text with their ends, one at a time: a file object would hold the text once more, four bytes a letter."""
    start = 0
    for end in _LINE_ENDS.finditer(text):
        yield text[start : end.end()]
        start = end.end()
    if start < len(text):
        yield text[start:]


def _parse(text: str, delimiter: str, skipped: int, most_rows: int) -> tuple[Rows, Iterable[str]]:
    """Return the rows that are not blank, and their distinct cells."""
    odd = ('"', "\n\n", "\r", f"\n{delimiter}", "\n ")  # cells over several lines, blank rows
    if text.count("\n") > most_rows + 1 and not any(sign in text for sign in odd):
        raise Unreadable(f"more than {most_rows:,} rows", "put the right file here", most_rows + skipped + 1)
    distinct: set[str] = set()
    rows, held = Rows(), 0
    number = skipped
    previous = csv.field_size_limit(MAX_CELL * 50)
    try:
        reader = csv.reader(_lines(text), delimiter=delimiter)
        for number, cells in enumerate(reader, start=1 + skipped):
            if not cells:
                continue
            if len(cells) > MAX_COLUMNS:
                raise Unreadable(f"{len(cells)} cells in one row", "check the delimiter and the line ends of the file")
            if held >= most_rows:
                raise Unreadable(f"more than {most_rows:,} rows", "put the right file here")
            kept = [cell.strip() for cell in cells]
            if max(map(len, kept)) > MAX_CELL:
                raise Unreadable(
                    f"a cell with more than {MAX_CELL:,} characters",
                    "a quotation mark may be missing its partner; shorten the text or mend the row",
                )
            if len(distinct) < MOST_KEPT:
                distinct.update(kept)
            if any(kept):
                rows.add(number, kept)
                held += 1
    except Unreadable as error:
        error.row = number
        raise
    except csv.Error:
        raise Unreadable(
            "a cell of great length or a broken quotation",
            "a quotation mark may be missing its partner; mend the file in the spreadsheet and save it again",
            number + 1,
        ) from None
    finally:
        csv.field_size_limit(previous)
    return rows, distinct
