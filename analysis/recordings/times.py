"""Texts of times to seconds: dates with and without zone, clock times, elapsed times, decimal commas."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

ISO = re.compile(r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d+)?)?\s*(Z|[+-]\d\d(:?\d\d)?|UTC)?$")
DAY_S = 86400.0


def parse_iso_times(texts: list[str]) -> tuple[np.ndarray, bool, list[str]]:
    """Read ISO dates with times."""
    fast = _fixed_iso(texts)
    if fast is not None:
        return fast[0], fast[1], []
    parsed = {t: _iso(t) for t in set(texts)}
    pairs = [parsed[t] for t in texts]
    seconds = np.array([p[0] for p in pairs], dtype=float)
    readable = [p[1] for p in pairs if not np.isnan(p[0])]
    zoned = bool(readable) and all(readable)
    remarks = []
    if readable and any(readable) and not zoned:
        remarks.append("Some times carry a zone and some do not; all were taken as UTC.")
        zoned = True
    return seconds, zoned, remarks


def _fixed_iso(texts: list[str]) -> tuple[np.ndarray, bool] | None:
    """All rows laid out alike ("2026-03-01T18:04:30Z", "... .000+01:00", or no zone): read as one block of digits."""
    layout = ISO.match(texts[0]) if texts else None
    if not layout or len(texts[0]) < 19 or texts[0][16:19].strip(":0123456789"):
        return None
    ending = re.fullmatch(r"([.,]\d{1,9})?(Z|[+-]\d\d:\d\d)?", texts[0][19:])
    block = digit_block(texts) if ending else None
    if block is None:
        return None
    digits, odd = block
    fraction = range(20, 19 + len(ending[1] or ""))
    at = [0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15, 17, 18, *fraction]
    if odd[:, at].any() or not same_marks(digits, at):
        return None
    d = digits.astype(np.int64)
    date = ((d[:, 0] * 10 + d[:, 1]) * 10 + d[:, 2]) * 10 + d[:, 3]
    date = (date * 100 + d[:, 5] * 10 + d[:, 6]) * 100 + d[:, 8] * 10 + d[:, 9]
    days, where = np.unique(date, return_inverse=True)
    try:
        starts = [
            np.datetime64(f"{v // 10000:04d}-{v // 100 % 100:02d}-{v % 100:02d}").astype(int) for v in days.tolist()
        ]
    except ValueError:
        return None
    hour, minute, second = (d[:, i] * 10 + d[:, i + 1] for i in (11, 14, 17))
    if (hour > 23).any() or (minute > 59).any() or (second > 60).any():
        return None
    seconds = np.array(starts, dtype=float)[where] * DAY_S + hour * 3600.0 + minute * 60.0 + second
    for place, i in enumerate(fraction, start=1):
        seconds = seconds + d[:, i] / 10.0**place
    zone = ending[2] or ""
    if zone[:1] in ("+", "-"):
        away = 3600.0 * int(zone[1:3]) + 60.0 * int(zone[4:6])
        seconds = seconds - away if zone[0] == "+" else seconds + away
    return seconds, bool(zone)


def digit_block(texts: list[str]) -> tuple[np.ndarray, np.ndarray] | None:
    """Texts of one length as a block of digits, and where they are none; None where they differ in length."""
    length = len(texts[0])
    joined = "".join(texts)
    if len(joined) != length * len(texts) or not joined.isascii() or set(map(len, texts)) != {length}:
        return None
    digits = np.frombuffer(joined.encode("ascii"), dtype=np.uint8).reshape(len(texts), length) - 48
    return digits, digits > 9


def same_marks(digits, at) -> bool:
    """Whether everything but the places `at` is alike in all rows."""
    marks = [i for i in range(digits.shape[1]) if i not in at]
    return bool((digits[:, marks] == digits[0, marks]).all())


def _iso(text: str) -> tuple[float, bool]:
    text = text.strip()[:40].replace(",", ".").replace("UTC", "Z").replace(" Z", "Z")
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return float("nan"), False
    zoned = moment.tzinfo is not None
    naive = moment.replace(tzinfo=None) - (moment.utcoffset() if zoned else (moment - moment))
    return (naive - datetime(1970, 1, 1)).total_seconds(), zoned


_OTHER_DATE = re.compile(r"^(\d{1,4})([./-])(\d{1,2})\2(\d{2,4})[T, ]+(\d.*)$")
_CLOCK = re.compile(r"^\d{1,3}:\d{1,2}(:\d{1,2}([.,]\d+)?)?\s*([AaPp]\.?[Mm]\.?)?$|^\d{1,2}:\d{1,2}[.,]\d+$")


@dataclass
class Times:
    """Seconds of each row, and what kind of clock they count on."""

    seconds: np.ndarray
    clock: str
    date: str = ""
    remarks: list = field(default_factory=list)


def parse_numbers(texts: list[str]) -> np.ndarray:
    """Numbers of a column: decimal point or comma; blanks and words are missing."""
    try:
        return np.array(list(map(float, texts)))
    except ValueError:
        known = {t: _number(t) for t in set(texts)}
        return np.array([known[t] for t in texts])


def _number(text: str) -> float:
    text = text.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")
    if len(text) > 40:
        return float("nan")
    try:
        return float(text)
    except ValueError:
        return float("nan")


def parse_times(texts: list[str], *, kind: str, unit: str = "") -> Times:
    """Read a column of times of any accepted kind."""
    texts = [t.strip() for t in texts]
    first = next((t for t in texts if t), "")
    if ISO.match(first):
        return _from_iso(texts)
    if _OTHER_DATE.match(first):
        return _from_dates(texts)
    if ":" in first:
        return _from_clock(texts, kind)
    return _from_numbers(parse_numbers(texts), kind, unit)


def _from_iso(texts: list[str]) -> Times:
    seconds, zoned, remarks = parse_iso_times(texts)
    if zoned:
        return Times(seconds, "utc", remarks=remarks)
    there = seconds[np.isfinite(seconds)]
    date = str(np.datetime64(int(there[0]), "s"))[:10] if len(there) else ""
    return Times(seconds, "local", date, [*remarks, "The times carry no zone and were taken as local time."])


def _from_dates(texts: list[str]) -> Times:
    """Dates written day first or month first: decided by the values, never guessed."""
    parts = [_OTHER_DATE.match(t) for t in texts]
    triples = sorted({(int(m[1]), m[2], int(m[3]), int(m[4])) for m in parts if m})
    order, remarks = _date_order(triples)
    days = {t: _days(t, order) for t in triples}
    clock = _from_clock([m[5] if m else "" for m in parts], "clock")
    known = [days[(int(m[1]), m[2], int(m[3]), int(m[4]))] if m else float("nan") for m in parts]
    day = np.array(known, dtype=float)
    remarks += [r for r in clock.remarks if "midnight" not in r]
    if order == "":
        remarks.append("The dates can be read as day first or month first; only the time of day was used.")
        return Times(clock.seconds, "local", "", remarks)
    if np.isfinite(day).any():
        seconds = clock.seconds % DAY_S + day * DAY_S
        date = str(np.datetime64(int(np.nanmin(day)), "D"))
        return Times(seconds, "local", date, [*remarks, "The times carry no zone and were taken as local time."])
    return Times(np.full(len(texts), np.nan), "local", "", remarks)


def _date_order(triples) -> tuple[str, list]:
    firsts, seconds = [t[0] for t in triples], [t[2] for t in triples]
    if any(f > 31 for f in firsts):
        return "ymd", []
    if any(f > 12 for f in firsts) or all(t[1] == "." for t in triples):
        return "dmy", []
    if any(s > 12 for s in seconds):
        return "mdy", []
    if all(f == s for f, s in zip(firsts, seconds, strict=True)):
        return "dmy", []
    return "", []


def _days(triple, order: str) -> float:
    a, _, b, c = triple
    year, month, day = (a, b, c) if order == "ymd" else (c, b, a) if order == "dmy" else (c, a, b)
    year += 2000 if year < 100 else 0
    try:
        return float((datetime(year, month, day) - datetime(1970, 1, 1)).days)
    except ValueError:
        return float("nan")


def _from_clock(texts: list[str], kind: str) -> Times:
    known: dict[str, float] = {}
    first = next((t for t in texts if t), "")
    two_parts = first.count(":") == 1 and "." not in first and "," not in first
    minutes_first = two_parts and kind == "clock"
    seconds = _fixed_clock(texts) if not minutes_first else None
    if seconds is None:
        for t in set(texts):
            known[t] = _clock(t, minutes_first)
        seconds = np.array([known[t] for t in texts])
    remarks = []
    there = seconds[np.isfinite(seconds)]
    elapsed = kind == "elapsed" or (kind == "time" and (two_parts or (len(there) > 0 and there[0] < 60)))
    if kind == "time" and elapsed and len(there):
        remarks.append("The times start near zero and were taken as time since the start, not as the time of day.")
    if elapsed:
        return Times(seconds, "none", remarks=remarks)
    midnights = _past_midnight(seconds)
    if midnights.any():
        seconds = seconds + midnights * DAY_S
        remarks.append("The clock passes midnight.")
    return Times(seconds, "local", remarks=remarks)


def _past_midnight(seconds: np.ndarray) -> np.ndarray:
    """How many midnights lie before each row: a fall of more than half a day is a new day."""
    there = np.isfinite(seconds)
    days = np.zeros(len(seconds))
    if there.sum() > 1:
        step = np.diff(seconds[there])
        days[there] = np.concatenate(([0], np.cumsum((step < -DAY_S / 2).astype(int) - (step > DAY_S / 2))))
    return days


def _fixed_clock(texts: list[str]) -> np.ndarray | None:
    """All rows like "19:04:30": read as one block of digits."""
    if not texts or not re.fullmatch(r"\d\d:\d\d:\d\d", texts[0]):
        return None
    block = digit_block(texts)
    if block is None:
        return None
    digits, odd = block
    at = [0, 1, 3, 4, 6, 7]
    if odd[:, at].any() or not same_marks(digits, at):
        return None
    hours, minutes, seconds = (digits[:, i] * 10.0 + digits[:, i + 1] for i in (0, 3, 6))
    if ((minutes > 59) & (hours > 0)).any() or (seconds > 60).any():
        return None  # no times of day: `_clock` says which
    return hours * 3600 + minutes * 60 + seconds


def _clock(text: str, minutes_first: bool) -> float:
    if not _CLOCK.match(text):
        return float("nan")
    half = re.search(r"([AaPp])\.?[Mm]", text)
    parts = [float(p.replace(",", ".")) for p in re.sub(r"[^0-9:.,]", "", text).rstrip(".").split(":")]
    if len(parts) == 2:
        parts = [*parts, 0.0] if minutes_first or half else [0.0, *parts]
    hours, minutes, seconds = parts
    if half:
        hours = hours % 12 + (12 if half[1] in "Pp" else 0)
    if (minutes >= 60 and hours > 0) or seconds >= 61:
        return float("nan")
    return hours * 3600 + minutes * 60 + seconds


def _from_numbers(values: np.ndarray, kind: str, unit: str) -> Times:
    there = values[np.isfinite(values)]
    if not len(there):
        return Times(values, "none")
    typical = float(np.median(there))
    step = float(np.median(np.abs(np.diff(there)))) if len(there) > 1 else 1.0
    if typical > 1e17:
        return Times(values / 1e9, "utc", remarks=["The times are nanoseconds since 1970 (UTC)."])
    if typical > 1e14:
        return Times(values / 1e6, "utc", remarks=["The times are microseconds since 1970 (UTC)."])
    if typical > 1e11:
        return Times(values / 1e3, "utc", remarks=["The times are milliseconds since 1970 (UTC)."])
    if typical > 3e8 and unit != "ms":
        return Times(values, "utc", remarks=["The times are seconds since 1970 (UTC)."])
    if unit == "min":
        return Times(values * 60.0, "none")
    if unit == "h":
        return Times(values * 3600.0, "none")
    if unit == "ms":
        return Times(values / 1000.0, "none")
    if unit != "s" and 25000 < typical < 80000 and 0 < step < 0.01:
        seconds = (values - 25569.0) * DAY_S
        date = str(np.datetime64(int(np.nanmin(seconds)), "s"))[:10]
        return Times(
            np.round(seconds, 3), "local", date, ["The times are spreadsheet dates and were taken as local time."]
        )
    if unit != "s" and there.min() >= 0 and there.max() < 2 and 0 < step < 0.001:
        said = "The times are fractions of a day, as a spreadsheet stores them."
        clock = "none" if kind == "elapsed" or there[0] < 1e-3 else "local"
        return Times(np.round(values * DAY_S, 3), clock, remarks=[said])
    if unit == "" and step >= 200 and there.max() >= 5000:
        return Times(values / 1000.0, "none", remarks=["The times step by hundreds and were taken as milliseconds."])
    return Times(values, "none")
