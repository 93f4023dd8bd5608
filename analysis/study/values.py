"""Texts of cells to values: numbers, dates, times and words, with the slips that spreadsheets make."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

BLANKS = frozenset({"", "-", "–", "—", "--", ".", "n/a", "n.a.", "na", "nil", "missing"})
"""Texts that mean "nothing was recorded" (compared without case); a code of an athlete may still be NA."""

NOT_A_NUMBER = frozenset({"nan", "inf", "+inf", "-inf", "infinity", "-infinity", "+infinity"})

_PLAIN = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?", re.ASCII | re.IGNORECASE)
_CLEAR = re.compile(r"^[+-]?(?:\d*([.,])(?:\d{1,2}|\d{4,})|0([.,])\d+)$", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+\.\d+|[+-]?\d{1,3}(\.\d{3})+,\d+", re.ASCII)
TIME = re.compile(r"(\d{1,3}):(\d{2})(?::(\d{2})(?:[.,](\d{1,6}))?)?", re.ASCII)
_MADE_DATE = re.compile(
    r"\d{4}-\d{2}-\d{2}( 00:00(:00)?)?|\d{1,2}-[a-z]{3}(-\d{2,4})?|[a-z]{3}-\d{1,2}|\d{1,2}[./-]\d{1,2}[./-]\d{2,4}",
    re.ASCII | re.IGNORECASE,
)


class Slip(ValueError):
    """A text that is not what its column holds: what is wrong, and the remedy."""

    def __init__(self, problem: str, remedy: str):
        super().__init__(problem)
        self.problem = problem
        self.remedy = remedy


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
        raise Slip("not a number", "type a number alone, without words or signs")
    elif re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", bare) and ("," in bare) is not decimal_comma:
        raise Slip(
            f"unclear: {bare} could be {bare.replace(',', '.')} or {bare.replace(',', '').replace('.', '')}",
            "type it without a thousands sign, or with another number of decimals",
        )
    value = float(bare.replace(",", "."))
    if not math.isfinite(value):
        raise Slip("not a finite number", "type the value that was measured")
    return value


def writes_decimal_comma(texts: Iterable[str], *, otherwise: bool) -> bool | None:
    """Tell from clear numbers such as 5,2 or 5.2 whether a file writes decimal commas."""
    clear = {sign for text in set(texts) for pair in _CLEAR.findall(text) for sign in pair if sign}
    if len(clear) == 2:
        return None
    return clear == {","} if clear else otherwise
