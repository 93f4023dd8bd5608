"""FIT files: only the messages that hold heart rate and its times are decoded, everything else is stepped over.

The walk follows the public description of the format (FIT protocol: file header, definition and data messages,
compressed time stamps, chained files). It reads a file some twenty times faster than a general decoder, stops where
bytes no longer make sense, and is checked against the general decoder `fitdecode` in the tests.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

import numpy as np

from .recording import RecordingError
from .tidy import MAX_ROWS, RawTrace

EPOCH_S = 631065600
"""Seconds from 1970 to the start of FIT time, 31 December 1989."""
FIRST_DATE = 0x10000000
"""Smaller time stamps are seconds since power-on, not dates."""

EVENT, RECORD, INTERVALS, RATES = 21, 20, 78, 132
MAX_MESSAGES = 1_500_000
"""More messages than this are damage or an attack; a day at one a second has some 200,000."""
_WANTED = {RECORD, EVENT, INTERVALS, RATES}
_TIMESTAMP = 253
_TIMER, _TIMER_STARTS, _TIMER_STOPS = 0, {0}, {1, 4, 8, 9}


@dataclass
class _Walk:
    """What has been collected so far."""

    times: list = field(default_factory=list)
    rates: list = field(default_factory=list)
    timer: list = field(default_factory=list)
    beats: list = field(default_factory=list)
    rate_times: list = field(default_factory=list)
    rate_values: list = field(default_factory=list)
    anchor: tuple | None = None
    last_event: int = 0
    remarks: list = field(default_factory=list)


def read_fit(data: bytes, name: str) -> RawTrace:
    """Read the heart rate of a FIT file, chained files included."""
    walk = _Walk()
    start, parts = 0, 0
    while start < len(data):
        header = data[start]
        if header not in (12, 14) or data[start + 8 : start + 12] != b".FIT":
            if parts == 0:
                raise RecordingError(
                    f"{name}: the beginning of the FIT file is damaged. Copy it from the device again."
                )
            if data[start:].strip(b"\x00"):
                walk.remarks.append("Bytes after the end of the FIT file were ignored.")
            break
        size = int.from_bytes(data[start + 4 : start + 8], "little")
        end = start + header + size if size else len(data)
        if size == 0:
            walk.remarks.append("The device did not close this file; what it had written was used.")
        if end > len(data):
            walk.remarks.append("The end of the file is missing; what came before it was used.")
            end = len(data)
        elif size and _checksum(data[start : end + 2]) not in (0, None):
            walk.remarks.append("The checksum does not agree: some bytes of this file changed after recording.")
        try:
            damaged_at = _walk_messages(data, start + header, end, walk)
        except RecordingError as problem:
            raise RecordingError(f"{name}: {problem}") from None
        if damaged_at >= 0 and end < len(data):
            walk.remarks.append(f"The file is damaged at byte {damaged_at}; what came before it was used.")
        elif damaged_at >= 0 and not any("end of the file" in r for r in walk.remarks):
            walk.remarks.append("The end of the file is missing; what came before it was used.")
        parts += 1
        start = end + 2
    if parts > 1:
        walk.remarks.append(f"{parts} recordings chained in one file were joined in time order.")
    return _as_trace(walk, name)


def _walk_messages(data: bytes, pos: int, end: int, walk: _Walk) -> int:
    """Step through the messages of one file; return the byte where it stops making sense, or -1."""
    known: list = [None] * 16
    last = None
    times, rates = walk.times, walk.rates
    for _ in range(MAX_MESSAGES):
        if pos >= end:
            return -1
        head = data[pos]
        if head & 0xC0 == 0x40:
            pos = _define(data, pos, end, known)
            if pos < 0:
                return -pos
            continue
        stamp = None
        if head & 0x80:
            message = known[(head >> 5) & 3]
            if last is not None:
                stamp = last = (last & ~0x1F) + (head & 0x1F) + (0x20 if (head & 0x1F) < (last & 0x1F) else 0)
        else:
            message = known[head & 0x0F]
        if message is None or pos + 1 + message.size > end:
            return pos
        body = pos + 1
        pos = body + message.size
        if message.time is not None:
            value = message.time.unpack_from(data, body + message.time_at)[0]
            if value != 0xFFFFFFFF:
                stamp = last = value
        if message.kind == RECORD:
            rate = data[body + message.rate_at] if message.rate_at >= 0 else 0xFF
            times.append(stamp)
            rates.append(rate)
        elif message.kind in _WANTED:
            _take(data, body, message, stamp, last, walk)
            if len(walk.beats) > MAX_ROWS or len(walk.rate_times) > MAX_ROWS:
                raise RecordingError(
                    f"more than {MAX_ROWS:,} beats, more than one evening can have. Cut the file to the session."
                )
    return pos


def walk_fields(data: bytes, wanted: dict[int, tuple[int, ...]]):
    """Yield (message, field, raw bytes) of some fields, for a look at what a file carries."""
    start = 0
    while data[start + 8 : start + 12] == b".FIT":
        size = int.from_bytes(data[start + 4 : start + 8], "little")
        end = min(start + data[start] + size, len(data)) if size else len(data)
        yield from _fields_of_part(data, start + data[start], end, wanted)
        start = end + 2


def _fields_of_part(data: bytes, pos: int, end: int, wanted: dict[int, tuple[int, ...]]):
    known: list = [None] * 16
    for _ in range(MAX_MESSAGES // 10):
        if not 0 <= pos < end:
            return
        head = data[pos]
        if head & 0xC0 == 0x40:
            pos = _define(data, pos, end, known)
            continue
        message = known[(head >> 5) & 3 if head & 0x80 else head & 0x0F]
        if message is None or pos + 1 + message.size > end:
            return
        for number in wanted.get(message.kind, ()):
            at, width = message.fields.get(number, (0, 0))
            if width:
                yield message.kind, number, data[pos + 1 + at : pos + 1 + at + width]
        pos += 1 + message.size


@dataclass(frozen=True)
class _Message:
    kind: int
    size: int
    little: bool
    time: struct.Struct | None
    time_at: int
    rate_at: int
    fields: dict


def _define(data: bytes, pos: int, end: int, known: list) -> int:
    """Read a definition message; return the place after it, or minus its place where it is cut off."""
    start, head = pos, data[pos]
    if pos + 6 > end:
        return -start
    little = data[pos + 2] == 0
    kind = int.from_bytes(data[pos + 3 : pos + 5], "little" if little else "big")
    count = data[pos + 5]
    pos += 6
    if pos + 3 * count > end or data[start + 2] > 1:
        return -start
    fields, size = {}, 0
    for i in range(count):
        number, width = data[pos + 3 * i], data[pos + 3 * i + 1]
        fields[number] = (size, width)
        size += width
    pos += 3 * count
    if head & 0x20:
        if pos >= end or pos + 1 + 3 * data[pos] > end:
            return -start
        developer = data[pos]
        size += sum(data[pos + 2 + 3 * i] for i in range(developer))
        pos += 1 + 3 * developer
    time_at, width = fields.get(_TIMESTAMP, (0, 0))
    time = struct.Struct("<I" if little else ">I") if width == 4 else None
    rate_at = fields[3][0] if kind == RECORD and fields.get(3, (0, 0))[1] == 1 else -1
    known[head & 0x0F] = _Message(kind, size, little, time, time_at, rate_at, fields)
    return pos


def _numbers(data: bytes, body: int, message: _Message, number: int, width: int) -> list[int]:
    at, size = message.fields.get(number, (0, 0))
    order = "little" if message.little else "big"
    return [int.from_bytes(data[i : i + width], order) for i in range(body + at, body + at + size - width + 1, width)]


def _take(data: bytes, body: int, message: _Message, stamp, last, walk: _Walk) -> None:
    if message.kind == EVENT:
        event, kind = (_numbers(data, body, message, n, 1) for n in (0, 1))
        if event == [_TIMER] and kind and stamp is not None:
            walk.timer.append((stamp, kind[0]))
    elif message.kind == INTERVALS:
        walk.beats += [(last, v) for v in _numbers(data, body, message, 0, 2) if v != 0xFFFF]
    else:
        _take_rates(data, body, message, stamp, walk)


def _take_rates(data: bytes, body: int, message: _Message, stamp, walk: _Walk) -> None:
    """A message with several rates: times count 1/1024 s, in full or as the last 12 bits of the count."""
    values = _numbers(data, body, message, 6, 1)
    full = _numbers(data, body, message, 9, 4)
    if full:
        counts = full
        if stamp is not None:
            part = _numbers(data, body, message, 0, 2)
            part256 = [v for v in _numbers(data, body, message, 1, 1) if v != 0xFF]
            fraction = part[0] / 32768 if part else part256[0] / 256 if part256 else 0.0
            walk.anchor = (stamp + (fraction if fraction < 1 else 0.0), full[0])
    else:
        counts = []
        packed = _numbers(data, body, message, 10, 1)
        for a, b, c in zip(packed[0::3], packed[1::3], packed[2::3], strict=False):
            for low in (a | (b & 0x0F) << 8, b >> 4 | c << 4):
                walk.last_event += (low - walk.last_event) & 0xFFF
                counts.append(walk.last_event)
    if counts:
        walk.last_event = counts[-1]
    if walk.anchor is None:
        return
    for count, value in zip(counts, values, strict=False):
        walk.rate_times.append(walk.anchor[0] + ((count - walk.anchor[1]) & 0xFFFFFFFF) / 1024.0)
        walk.rate_values.append(value)


def _as_trace(walk: _Walk, name: str) -> RawTrace:
    if not (walk.times or walk.rate_times or walk.beats):
        raise RecordingError(
            f"{name}: the FIT file holds no samples. Is it a workout plan or a course instead of a recording?"
        )
    times = np.array([np.nan if t is None else t for t in walk.times], dtype=float)
    rates = np.array(walk.rates, dtype=float)
    rates[rates == 0xFF] = np.nan
    if not (rates > 0).any() and walk.rate_times:
        times, rates = np.array(walk.rate_times), np.array(walk.rate_values, dtype=float)
        rates[rates == 0xFF] = np.nan
        walk.remarks.append("Heart rate was taken from the messages that the strap sent after the session.")
    seen = np.concatenate((times[np.isfinite(times)], np.array([t for t, _ in walk.timer], dtype=float)))
    dated = bool(len(seen)) and float(np.median(seen)) >= FIRST_DATE
    if len(seen) and not dated:
        walk.remarks.append("Times count from when the device was switched on: no date and no time of day in the file.")
    shift = EPOCH_S if dated else 0
    ends, intervals = _place_beats(walk.beats)
    return RawTrace(
        seconds=times + shift, rates=rates, clock="utc" if dated else "none", kind="FIT",
        stops=[(a + shift, b + shift, "timer stopped") for a, b in _timer_stops(walk.timer)],
        interval_ends=ends + shift, intervals_ms=intervals, remarks=walk.remarks,
    )  # fmt: skip


def _timer_stops(timer: list) -> list[tuple[float, float]]:
    stops, stopped = [], None
    for stamp, kind in sorted(timer, key=lambda e: e[0]):
        if kind in _TIMER_STOPS and stopped is None:
            stopped = stamp
        elif kind in _TIMER_STARTS and stopped is not None:
            stops.append((float(stopped), float(stamp)))
            stopped = None
    if stopped is not None:
        stops.append((float(stopped), float("inf")))
    return stops


def _place_beats(beats: list) -> tuple[np.ndarray, np.ndarray]:
    """Give each interval the time of its end: a running sum, set anew where it leaves the time stamps by 3 s."""
    ends, clock = [], None
    for last, interval in beats:
        clock = (clock if clock is not None else float(last or 0)) + interval / 1000.0
        if last is not None and abs(clock - last) > 3.0:
            clock = float(last)
        ends.append(clock)
    return np.array(ends, dtype=float), np.array([i for _, i in beats], dtype=float)


_TABLE = [0] * 256
for _byte in range(256):
    _value = _byte
    for _ in range(8):
        _value = (_value >> 1) ^ 0xA001 if _value & 1 else _value >> 1
    _TABLE[_byte] = _value


def _checksum(data: bytes) -> int | None:
    """CRC-16 of a file with its stored checksum: 0 where they agree; None where the file is too long to bother."""
    if len(data) > 2_000_000:
        return None
    crc = 0
    table = _TABLE
    for byte in data:
        crc = (crc >> 8) ^ table[(crc ^ byte) & 0xFF]
    return crc
