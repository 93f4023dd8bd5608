"""Dates, times of day, durations and offsets from the texts of cells; what could be two things is refused."""

from __future__ import annotations

import datetime as dt
import math
import re

from .text_files import TIME, Slip

MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar jänner janvier enero janeiro gennaio stycznia styczeń januari",
            "feb february februar février febrero fevereiro febbraio lutego luty februari",
            "mar march märz mars marzo março marca marzec",
            "apr april avril abril aprile kwietnia kwiecień",
            "may mai mayo maio maggio maja maj",
            "jun june juni juin junio junho giugno czerwca czerwiec",
            "jul july juli juillet julio julho luglio lipca lipiec",
            "aug august août agosto sierpnia sierpień augusti",
            "sep sept september septembre septiembre setembro settembre września wrzesień",
            "oct october oktober octobre octubre outubro ottobre października październik",
            "nov november novembre noviembre novembro listopada listopad",
            "dec december dezember décembre diciembre dezembro dicembre grudnia grudzień",
        ),
        start=1,
    )
    for name in names.split()
}

_ISO_DATE = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[t ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?", re.ASCII)
_PART_DATE = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)
_WORD_DATE = re.compile(r"(\d{1,2})\.?[ -]*(?:de |di )?([^\W\d_]{3,12})\.?,?[ -]+(?:de |del )?(\d{4})")
_SIGN_DATE = re.compile(r"(\d{4})年(\d{1,2})月(\d{1,2})日")
_DOTTED_CLOCK = re.compile(r"(\d{1,2})[.,h](\d{2})(?:[.:](\d{2}))?", re.ASCII | re.IGNORECASE)
_WORD_FIRST = re.compile(r"([a-z]{3,9})\.? (\d{1,2}),? (\d{4})", re.ASCII)


def read_duration(text: str) -> tuple[float, bool]:
    """Read m:ss or h:mm:ss."""
    match = TIME.fullmatch(text.strip())
    if not match or int(match[2]) > 59 or int(match[3] or 0) > 59:
        raise Slip("not a time", "type minutes and seconds as 12:30")
    first, second = int(match[1]), int(match[2])
    fraction = float(f"0.{match[4]}") if match[4] else 0.0
    if match[3] is None:
        return 60.0 * first + second, False
    return 3600.0 * first + 60.0 * second + int(match[3]) + fraction, True


def read_clock(text: str) -> str:
    """Read a local time of day; a date before it is dropped."""
    bare = re.sub(r"^\d{4}-\d{2}-\d{2}[T ]", "", text.strip())
    half = re.fullmatch(r"(.*?)\s*([ap])\.?m\.?", bare, re.IGNORECASE)
    plain = half[1] if half else bare
    if not re.fullmatch(r"0[.,]\d+", plain) and (dotted := _DOTTED_CLOCK.fullmatch(plain)):
        plain = ":".join(part for part in dotted.groups() if part)  # 19.05 and 19h05 are times in many countries
    match = TIME.fullmatch(plain)
    if not match:
        example = "type the time as 19:30 or 19:30:15, in a column formatted as text"
        if re.fullmatch(r"0[.,]\d+", bare):
            seconds = round(float(bare.replace(",", ".")) * 86400)
            shown = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}"
            raise Slip(
                f"the spreadsheet has turned a time into a number (perhaps {shown})",
                f"type {shown} in a column formatted as text",
                shown,
            )
        if lost := re.fullmatch(r"(\d{1,2})[.,](\d)", bare):
            raise Slip(
                f"unclear: could be {lost[1]}:0{lost[2]}, or {lost[1]}:{lost[2]}0 whose last 0 was lost",
                f"type {lost[1]}:0{lost[2]} or {lost[1]}:{lost[2]}0, whichever it was, in a column formatted as text",
            )
        raise Slip("not a time of day", example)
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if half:
        if not 1 <= hour <= 12:
            raise Slip("not a time of day", "type the time as 19:30")
        hour = hour % 12 + (12 if half[2].lower() == "p" else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise Slip("not a time of day", "hours run from 0 to 23, minutes and seconds to 59")
    fraction = f".{match[4]}" if match[4] else ""
    return f"{hour:02d}:{minute:02d}:{second:02d}{fraction}"


def clock_seconds(clock: str) -> float:
    """Return seconds since midnight of a clock time as loaded tables hold it; missing where blank."""
    if not clock:
        return math.nan
    hour, minute, second = clock.split(":")
    return 3600.0 * int(hour) + 60.0 * int(minute) + float(second)


def read_offset(text: str) -> str:
    """Read local time minus UTC."""
    bare = re.sub(r"^(utc|gmt)", "", text.strip().replace("\N{MINUS SIGN}", "-"), flags=re.IGNORECASE)
    bare = "0" if bare.casefold() in {"", "z"} else bare.strip()
    match = re.fullmatch(r"([+-]?)(\d{1,2})(?::?(\d{2})(?::00)?|[.,](\d+))?", bare, re.ASCII)
    if match:
        minutes = 60 * int(match[2]) + int(match[3] or 0) + round(60 * float(f"0.{match[4] or 0}"))
        minutes = -minutes if match[1] == "-" else minutes
        if -12 * 60 <= minutes <= 14 * 60:
            sign = "-" if minutes < 0 else "+"
            return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
    raise Slip("not an offset from UTC", "type local time minus UTC, such as +01:00")


def offset_seconds(offset: str) -> float:
    """Return local time minus UTC in seconds, from an offset as loaded tables hold it; missing where blank."""
    if not offset:
        return math.nan
    size = 3600.0 * int(offset[1:3]) + 60.0 * int(offset[4:6])
    return -size if offset[0] == "-" else size


def read_date(text: str, *, order: str = "") -> str:
    """Read a date; one that could be two days is refused."""
    bare = text.strip().casefold()
    if match := _ISO_DATE.fullmatch(bare):
        return _make_date(int(match[1]), int(match[2]), int(match[3]))
    if match := _SIGN_DATE.fullmatch(bare):
        return _make_date(int(match[1]), int(match[2]), int(match[3]))
    if match := _WORD_DATE.fullmatch(bare):
        return _make_date(int(match[3]), _month(match[2]), int(match[1]))
    if match := _WORD_FIRST.fullmatch(bare):
        return _make_date(int(match[3]), _month(match[1]), int(match[2]))
    if match := _PART_DATE.fullmatch(re.sub(r"[t ]00:00(:00)?$", "", bare)):
        return _read_part_date(match, order)
    if re.fullmatch(r"[34]\d{4}", bare):
        day = dt.date(1899, 12, 30) + dt.timedelta(days=int(bare))
        raise Slip(
            f"the spreadsheet has turned a date into a number of days (perhaps {day.isoformat()})",
            f"format the column as text and type {day.isoformat()}",
            day.isoformat(),
        )
    raise Slip("not a date", "type year-month-day, such as 2026-11-25")


def _read_part_date(match: re.Match, order: str) -> str:
    first, sign, second, year = int(match[1]), match[2], int(match[3]), match[4]
    if len(year) == 2:
        if sign != ".":
            raise Slip("unclear: the year has two digits", "type year-month-day, such as 2026-11-25")
        day = _make_date(2000 + int(year), second, first)
        raise Slip(f"unclear: the year has two digits (perhaps {day})", f"type {day} if that is the day", day)
    # a point between the parts means day.month.year wherever it is used: common practice, no source
    if sign == "." or order == "day first" or (first > 12 >= second and not order):
        return _make_date(int(year), second, first)
    if order == "month first" or second > 12 >= first:
        return _make_date(int(year), first, second)
    if first == second:
        return _make_date(int(year), first, second)
    one, other = (_make_date(int(year), month, day) for month, day in ((second, first), (first, second)))
    raise Slip(
        f"unclear: this could be {one} or {other}",
        f'type {one} or {other}, whichever it was, or write date_order = "day first" at the top of study.toml',
    )


def _month(word: str) -> int:
    if word not in MONTHS:
        raise Slip("not the name of a month", "type year-month-day in figures, such as 2026-11-25")
    return MONTHS[word]


def _make_date(year: int, month: int, day: int) -> str:
    try:
        return dt.date(year, month, day).isoformat()
    except ValueError:
        raise Slip("no such day", "type year-month-day, such as 2026-11-25") from None
