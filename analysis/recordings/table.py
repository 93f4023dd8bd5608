"""Text tables of heart rates: CSV of any dialect, one athlete or many, long or wide, and beat-to-beat intervals."""

from __future__ import annotations

import csv
from itertools import islice

import numpy as np

from .layout import Layout, decode, find_layout, split_lines, wide_columns
from .recording import RecordingError
from .tidy import MAX_ROWS, RawTrace
from .times import parse_numbers, parse_times

CHUNK = 50_000


def read_table(data: bytes, name: str, *, label: str | None = None) -> RawTrace:
    """Read a text table; `label` picks a column or the rows of one athlete."""
    lines, layout, remarks = _open(data, name)
    head = [row for row in islice(_rows(lines, layout, name), 200) if any(row)]
    rate, chosen, who = _choose(layout, head, label, name)
    interval = _first(layout.columns("interval")) if rate is None else None
    time, date = _time_columns(layout)
    columns = _take_columns(lines, layout, name, [rate, interval, time, date, who])
    rates, intervals, times, dates, people = columns
    if who is not None:
        known = dict.fromkeys(p.strip() for p in people if p.strip())
        if label is None and len(known) > 1:
            raise RecordingError(
                f"{name}: holds {len(known)} traces ({_listed(list(known))}). Name the athlete in column_or_label."
            )
        chosen = chosen or next(iter(known), "")
        if chosen.casefold() not in {k.casefold() for k in known}:
            raise RecordingError(
                f"{name}: nothing is called {chosen!r}; the file holds {_listed(list(known))}."
            )
        keep = [i for i, p in enumerate(people) if p.strip().casefold() == chosen.casefold()]
        rates, intervals, times, dates = (
            [c[i] for i in keep] if c else c for c in (rates, intervals, times, dates)
        )
    remarks += layout.remarks
    if interval is not None:
        return _intervals(intervals, times, layout, interval, time, remarks, chosen, name)
    if time is None:
        raise RecordingError(
            f"{name}: no column of times was recognised among {_listed(layout.headers)}. Add a column elapsed_s "
            "(seconds since the start) or time (19:04:30)."
        )
    if dates:
        times = [f"{d} {t}" if d.strip() else t for d, t in zip(dates, times, strict=True)]
    kind, unit = layout.kinds[time]
    if dates and kind == "elapsed":
        kind = "time"
    read = parse_times(times, kind=kind, unit=unit)
    seconds, clock, local_date = _with_start(read, layout, remarks)
    remarks += read.remarks
    if np.isfinite(seconds).any() and clock == "none" and float(np.nanmin(seconds)) < 0:
        row = layout.first_row + int(np.nanargmin(seconds)) + 1
        raise RecordingError(
            f"{name}: a negative time near row {row}. Seconds count from the start of the recording and are not below zero."
        )
    return RawTrace(
        seconds=seconds,
        rates=parse_numbers(rates),
        clock=clock,
        kind="table",
        label=chosen,
        local_date=local_date,
        remarks=remarks,
    )


def list_table_labels(data: bytes, name: str) -> tuple[str, ...]:
    """The athletes of a table with several; empty where it holds one trace."""
    lines, layout, _ = _open(data, name)
    who = _first(layout.columns("athlete"))
    if who is not None and layout.columns("rate"):
        people = _take_columns(lines, layout, name, [who])[0]
        seen = dict.fromkeys(p.strip() for p in people if p.strip())
        return tuple(seen) if len(seen) > 1 else ()
    found = wide_columns(layout, [row for row in islice(_rows(lines, layout, name), 200) if any(row)])
    return tuple(found) if len(found) > 1 else ()


def _open(data: bytes, name: str) -> tuple[list[str], Layout, list[str]]:
    if data.count(b"\n") > MAX_ROWS + 1000:
        raise RecordingError(f"{name}: more than {MAX_ROWS:,} rows, more than one evening can have.")
    lines, remarks = decode(data, name)
    return lines, find_layout(lines, name), remarks


def _rows(lines: list[str], layout: Layout, name: str):
    body = lines[layout.first_row :]
    if layout.separator == "\n":
        return ([line.strip().strip('"').strip(";,")] for line in body if line.strip())
    return _guarded(split_lines(body, layout.separator), name)


def _guarded(rows, name: str):
    try:
        yield from rows
    except csv.Error as fault:
        raise RecordingError(f"{name}: the table cannot be split into columns ({fault}).") from None


def _first(places: list[int]) -> int | None:
    return places[0] if places else None


def _time_columns(layout: Layout) -> tuple[int | None, int | None]:
    """The column of times (a date beside it where there is one): clock before elapsed, since it places the trace."""
    date = _first(layout.columns("date"))
    for kind in ("clock", "time", "elapsed"):
        places = layout.columns(kind)
        if places:
            return places[0], date if kind != "elapsed" and date is not None else None
    return None, None


def _choose(layout: Layout, head, label: str | None, name: str) -> tuple[int | None, str, int | None]:
    """Which column holds the rates, under which label, and the column of athletes where rows are to be picked."""
    rates = layout.columns("rate")
    who = _first(layout.columns("athlete"))
    if label is not None:
        return _choose_labelled(layout, head, label.strip(), name, rates, who)
    wide = wide_columns(layout, head)
    if len(wide) > 1:
        raise RecordingError(
            f"{name}: holds {len(wide)} traces ({_listed(list(wide))}). Name the athlete's column in column_or_label."
        )
    if who is not None and rates:
        return rates[0], "", who if any(who < len(row) and row[who].strip() for row in head) else None
    if len(wide) == 1:
        return next(iter(wide.values())), "", None
    if rates or layout.columns("interval"):
        return _first(rates), "", None
    raise RecordingError(
        f"{name}: no column of heart rates was recognised among {_listed(layout.headers)}. Name it hr_bpm, or give its "
        "name in column_or_label."
    )


def _choose_labelled(layout, head, label, name, rates, who):
    for i, header in enumerate(layout.headers):
        if header.strip().casefold() == label.casefold():
            return i, label, None
    wide = wide_columns(layout, head)
    for known, i in wide.items():
        if known.casefold() == label.casefold():
            return i, label, None
    if who is not None and rates:
        return rates[0], label, who
    known = list(wide) or layout.headers
    raise RecordingError(f"{name}: nothing is called {label!r}; the file holds {_listed(known)}.")


def _listed(names: list[str]) -> str:
    shown = [repr(n[:40]) for n in names[:20]]
    return ", ".join(shown) + (" and more" if len(names) > 20 else "")


def _take_columns(lines, layout, name, places) -> list[list[str]]:
    """The cells of some columns; short rows give blanks."""
    out: list[list[str]] = [[] for _ in places]
    rows = _rows(lines, layout, name)
    while chunk := list(islice(rows, CHUNK)):
        chunk = [row for row in chunk if row]
        for column, place in zip(out, places, strict=True):
            if place is not None:
                try:
                    column += [row[place] for row in chunk]
                except IndexError:
                    del column[len(out[0]) :]
                    column += [row[place] if place < len(row) else "" for row in chunk]
    return out


def _with_start(read, layout: Layout, remarks: list) -> tuple[np.ndarray, str, str]:
    """Place elapsed times on the wall clock where a start stands above the header."""
    start, date = layout.preamble.get("start"), layout.preamble.get("date")
    if read.clock == "local" and not read.date and date:
        day = parse_times([f"{date} 00:00:00"], kind="time")
        if day.date:
            return read.seconds, "local", day.date
    if read.clock != "none" or not start:
        return read.seconds, read.clock, read.date
    begin = parse_times(
        [f"{date} {start}" if date and ":" not in date and " " not in start else start], kind="clock"
    )
    if begin.clock == "none" or not np.isfinite(begin.seconds[0]):
        return read.seconds, read.clock, read.date
    remarks.append("The start stated above the header was used for the time of day.")
    return read.seconds + begin.seconds[0], begin.clock, begin.date


def _intervals(texts, times, layout, place, time, remarks, label, name) -> RawTrace:
    values = parse_numbers(texts)
    there = values[np.isfinite(values) & (values > 0)]
    if not len(there):
        raise RecordingError(f"{name}: the column of beat-to-beat intervals holds no numbers.")
    unit = layout.unit(place)
    if unit == "s" or (unit != "ms" and float(np.median(there)) < 10):
        values = values * 1000.0
        remarks.append("The beat-to-beat intervals are in seconds.")
    values = np.where(np.isfinite(values) & (values > 0), values, np.nan)
    clock, date = "none", ""
    ends = np.nancumsum(values) / 1000.0
    if time is not None:
        read = parse_times(times, kind=layout.kinds[time][0], unit=layout.unit(time))
        if np.isfinite(read.seconds).all():
            clock, date = read.clock, read.date
            ends = _follow(ends, read.seconds)
            remarks += read.remarks
    keep = np.isfinite(values)
    return RawTrace(
        seconds=np.empty(0),
        rates=np.empty(0),
        clock=clock,
        kind="intervals",
        label=label,
        local_date=date,
        interval_ends=ends[keep],
        intervals_ms=values[keep],
        remarks=remarks,
    )


def _follow(ends: np.ndarray, stamps: np.ndarray) -> np.ndarray:
    """Keep the running sum of intervals, moved to the stated times wherever the two part by more than 3 s."""
    shift, out = float(stamps[0] - ends[0]), np.empty(len(ends))
    for i, (end, stamp) in enumerate(zip(ends.tolist(), stamps.tolist(), strict=True)):
        if abs(end + shift - stamp) > 3.0:
            shift = stamp - end
        out[i] = end + shift
    return out
