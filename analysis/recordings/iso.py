"""ISO dates with times, the form that devices write: read as one block where all rows are laid out alike."""

from __future__ import annotations

import re
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
            np.datetime64(f"{v // 10000:04d}-{v // 100 % 100:02d}-{v % 100:02d}").astype(int)
            for v in days.tolist()
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
    if re.fullmatch(r".*[+-]\d\d", text) and "T" in text.replace(" ", "T"):
        text += ":00" if re.fullmatch(r".*\d:\d\d(:\d\d(\.\d+)?)?[+-]\d\d", text) else ""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return float("nan"), False
    zoned = moment.tzinfo is not None
    naive = moment.replace(tzinfo=None) - (moment.utcoffset() if zoned else (moment - moment))
    return (naive - datetime(1970, 1, 1)).total_seconds(), zoned
