"""Text tables of heart rates: CSV of any dialect, long or wide, and beat-to-beat intervals; the words that tell a column.

To add a word, add it here in plain lower case without accents; nothing else needs to change.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice

import numpy as np

from .recording import RecordingError
from .tidy import MAX_ROWS, RawTrace
from .times import parse_numbers, parse_times

COLUMN_WORDS = {
    "rate": (
        "hr", "heart rate", "heartrate", "heart rate bpm", "bpm", "pulse", "pulse rate", "herzfrequenz", "hf", "puls",
        "fc", "frequence cardiaque", "frecuencia cardiaca", "frequencia cardiaca", "frequenza cardiaca",
        "hartslag", "hartfrequentie", "puls bpm", "syke", "tetno",
    ),
    "interval": (
        "rr", "rri", "ibi", "nn", "rr interval", "rr intervals", "r r", "r r interval", "interbeat interval",
        "inter beat interval", "beat to beat", "beat to beat interval", "beat interval", "rr intervall",
        "rr intervalle", "intervalle rr", "intervalo rr", "intervallo rr",
    ),
    "elapsed": (
        "elapsed", "elapsed time", "elapsed seconds", "seconds", "second", "secs", "sec", "s", "t", "duration",
        "minutes", "mins", "min", "milliseconds", "millis", "ms", "timer", "laufzeit", "dauer", "sekunden", "sekunde",
        "minuten", "temps ecoule", "secondes", "segundos", "tiempo transcurrido", "secondi", "seconden", "since start",
        "time since start", "relative time", "test time", "phase time",
    ),
    "clock": (
        "clock", "clock time", "time of day", "local time", "wall clock", "uhrzeit", "heure", "hora", "ora", "tijdstip",
    ),
    "time": (
        "time", "timestamp", "time stamp", "datetime", "date time", "zeit", "zeitstempel", "zeitpunkt", "temps",
        "tiempo", "tempo", "tijd", "utc", "time utc", "utc time", "unix", "unix time", "epoch", "date and time",
    ),
    "date": ("date", "datum", "fecha", "data", "jour", "day", "tag", "dia", "giorno"),
    "athlete": (
        "athlete", "athlete code", "athlete id", "code", "id", "label", "participant", "subject", "player", "person",
        "name", "athlet", "sportler", "teilnehmer", "athlete name", "atleta", "sujet", "device",
    ),
    "start": (
        "start", "start time", "started", "started at", "startzeit", "beginn", "begin", "inicio", "debut",
        "heure de debut",
    ),
    "position": ("lat", "latitude", "lon", "lng", "long", "longitude", "position lat", "position long", "gps lat", "gps lon"),
    "identity": (
        "name", "first name", "last name", "surname", "athlete name", "birth date", "birthday", "date of birth",
        "email", "e mail", "phone", "serial", "serial number", "device serial", "vorname", "nachname", "geburtsdatum",
    ),
    "other": (
        "speed", "pace", "cadence", "power", "watts", "altitude", "elevation", "distance", "temperature", "temp",
        "calories", "energy", "steps", "stride", "row", "index", "no", "nr", "lap", "round", "phase", "marker", "event",
        "contact", "battery", "activity", "geschwindigkeit", "hohe", "distanz", "leistung", "kadenz",
    ),
}  # fmt: skip
"""Kind of column -> the words for it."""

UNIT_WORDS = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "sekunden": "s", "sek": "s",
    "ms": "ms", "msec": "ms", "millisecond": "ms", "milliseconds": "ms", "millis": "ms",
    "min": "min", "mins": "min", "minute": "min", "minutes": "min", "minuten": "min",
    "bpm": "bpm", "beats": "bpm", "1": "bpm", "hh": "clock", "mm": "clock", "h": "h",
}  # fmt: skip
"""Words of units at the end of a header or in brackets -> the unit."""

_KINDS = {word: kind for kind in reversed(COLUMN_WORDS) for word in COLUMN_WORDS[kind]}


def plain_words(header: str) -> str:
    """Lower case, without accents, brackets and punctuation: "Heart-rate [bpm]" -> "heart rate bpm"."""
    text = unicodedata.normalize("NFKD", header[:200]).casefold()
    text = "".join(c for c in text if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^a-z0-9]+", " ", text).split())


@lru_cache
def kind_of_column(header: str) -> tuple[str, str]:
    """Tell the kind of a column and its unit from its header."""
    words = plain_words(header).split()
    if not words:
        return "", ""
    whole = " ".join(words)
    unit = UNIT_WORDS.get(words[-1], "") if not words[-1].isdecimal() else ""
    kind = _KINDS.get(whole, "")
    if not kind and len(words) > 1 and (unit or words[-2:] == ["min", "1"]):
        rest = [w for w in words if w not in UNIT_WORDS]
        kind = _KINDS.get(" ".join(rest), "")
    if kind == "time" and unit in ("s", "ms", "min", "h") and "utc" not in words and "unix" not in words:
        kind = "elapsed"
    return kind, unit


def athlete_in_header(header: str) -> str:
    """The athlete in the header of a heart-rate column: "A07_hr_bpm" -> "A07"; "" where there is none."""
    parts = re.split(r"[\s_()\[\]/:.-]+", header.strip())
    noise = {"hr", "heart", "rate", "heartrate", "bpm", "pulse", "puls", "fc", "hf", "herzfrequenz", "herz", "frequenz"}
    kept = [p for p in parts if p and plain_words(p) not in noise]
    return kept[0] if len(kept) == 1 and len(kept) < len([p for p in parts if p]) else ""


SEPARATORS = (";", "\t", ",", "|", " ")
MAX_LINE = 20_000
"""Characters of a line; a longer one is not a row of a table."""
LOOK_AHEAD = 80


@dataclass
class Layout:
    """Where things are in a text table."""

    separator: str
    header_at: int
    first_row: int
    headers: list
    kinds: list
    preamble: dict = field(default_factory=dict)
    remarks: list = field(default_factory=list)

    def columns(self, kind: str) -> list[int]:
        """Places of the columns of one kind."""
        return [i for i, (k, _) in enumerate(self.kinds) if k == kind]

    def unit(self, place: int) -> str:
        """The unit that the header states, or ""."""
        return self.kinds[place][1]


def decode(data: bytes, name: str) -> tuple[list[str], list[str]]:
    """Text lines of a file and remarks: byte-order mark, else UTF-8, else Windows-1252."""
    remarks = []
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = data.decode("utf-16", errors="replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
            remarks.append("The file is not UTF-8 and was read as Windows-1252.")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    longest = max(map(len, lines))
    if longest > MAX_LINE:
        raise RecordingError(
            f"{name}: a line of {longest:,} characters, which no table of samples has. A damaged copy? "
            "Copy the original from the device again."
        )
    return lines, remarks


def split_lines(lines: list[str], separator: str):
    """Rows of cells, one per line, quotes honoured."""
    if separator == " ":
        return (line.split() for line in lines)
    return csv.reader(lines, delimiter=separator, skipinitialspace=True)


def find_layout(lines: list[str], name: str) -> Layout:
    """Choose the separator and the header that recognise most; fall back on the values where no header is known."""
    head = lines[:LOOK_AHEAD]
    found = []
    for separator in SEPARATORS:
        rows = _head_rows(head, separator)
        found += [_score_header(rows, at, row, separator) for at, row in enumerate(rows)]
    best = max(filter(None, found), key=lambda scored: scored[0], default=(0, None))[1]
    best = best or _without_header(head) or _single_column(head)
    if best is None:
        raise RecordingError(
            f"{name}: no column of heart rates with times was recognised. The first line should name the columns, for "
            'example "elapsed_s,hr_bpm" or "time;heart rate", with one row per sample below.'
        )
    return best


def _head_rows(head: list[str], separator: str) -> list[list[str]]:
    try:
        return [[c.strip() for c in row] for row in split_lines(head, separator)]
    except csv.Error:
        return [[c.strip() for c in line.split(separator)] for line in head]


def _score_header(rows, at: int, row: list[str], separator: str) -> tuple[float, Layout] | None:
    """How convincing a row is as the header, by names known and rows below that fit, and the layout under it."""
    if not 2 <= len(row) <= 400 or all(not c or c[0].isdecimal() or c[0] in "-+." for c in row):
        return None
    kinds = [kind_of_column(c) for c in row]
    names = [k for k, _ in kinds]
    below = [r for r in rows[at + 1 : at + 31] if any(r)]
    units = _unit_rows(below, kinds)
    for r in below[:units]:
        kinds = [(k, u or kind_of_column(f"time {r[i]}" if i < len(r) else "")[1]) for i, (k, u) in enumerate(kinds)]
    below = below[units:]
    fitting = [r for r in below if abs(len(r) - len(row)) <= 1 and _has_value(r, kinds)]
    if not fitting or len(fitting) < 0.5 * len(below):
        return None
    known = sum(k in ("elapsed", "clock", "time", "rate", "interval", "date", "athlete") for k in names)
    others = sum(1 for i, k in enumerate(names) if not k and _numeric_share(fitting, i) > 0.5)
    if "rate" not in names and "interval" not in names and not others:
        return None
    first = [i for i, r in enumerate(rows) if i > at and any(r)][units]
    return known + 0.1 * min(others, 5) - 0.001 * at, Layout(separator, at, first, row, kinds, _preamble(rows[:at]))


def _unit_rows(below, kinds) -> int:
    """Rows of units right under the header: no number in any column of rates or times."""
    count = 0
    for row in below[:2]:
        if _has_value(row, kinds) or np.isfinite(parse_numbers(row)).any():
            break
        count += 1
    return count


def _has_value(row, kinds) -> bool:
    for i, (kind, _) in enumerate(kinds):
        if kind in ("elapsed", "clock", "time", "interval") and i < len(row) and row[i].lstrip("-+")[:1].isdecimal():
            return True
    return False


def _numeric_share(rows, place: int) -> float:
    cells = [r[place] for r in rows if place < len(r) and r[place]]
    return float(np.isfinite(parse_numbers(cells)).mean()) if cells else 0.0


def _single_column(head: list[str]) -> Layout | None:
    """One column of beat-to-beat intervals, with or without a header."""
    cells = [line.strip().strip('"') for line in head if line.strip()]
    if not cells:
        return None
    kind, unit = kind_of_column(cells[0])
    header = bool(kind) or not cells[0][:1].isdecimal()
    values = parse_numbers(cells[1:] if header else cells)
    there = values[np.isfinite(values)]
    if len(there) < 2 or len(there) < 0.8 * len(values) or (header and any(s in cells[0] for s in ",;\t|")):
        return None
    low, typical, high = np.quantile(there, [0.1, 0.5, 0.9])
    like = (250 <= typical <= 2500 or 0.25 <= typical <= 2.5) and high < 3 * low
    if kind != "interval" and (kind or not like):
        return None
    first = next(i for i, line in enumerate(head) if line.strip()) + int(header)
    said = [] if kind else ["A single column of values between beats was taken as beat-to-beat intervals."]
    return Layout(";", first - 1, first, ["interval"], [("interval", unit)], remarks=said)


def _without_header(head: list[str]) -> Layout | None:
    """Two columns without a header: the first runs forward in time, the second looks like heart rates."""
    for separator in SEPARATORS:
        rows = [r for r in _head_rows(head, separator) if any(r)]
        if len(rows) < 3 or {len(r) for r in rows} != {2}:
            continue
        times = parse_times([r[0] for r in rows], kind="time")
        rates = parse_numbers([r[1] for r in rows])
        step = np.diff(times.seconds)
        if np.isfinite(step).all() and (step >= 0).all() and step.max() > 0 and _like_rates(rates):
            said = "The file has no header: the first column was taken as time, the second as heart rate."
            first = next(i for i, line in enumerate(head) if line.strip())
            return Layout(separator, first, first, ["time", "rate"], [("time", ""), ("rate", "")], remarks=[said])
    return None


def _like_rates(values: np.ndarray) -> bool:
    there = values[np.isfinite(values) & (values > 0)]
    return len(there) > 0 and 30 <= float(np.median(there)) <= 230


def wide_columns(lines: list[str], layout: Layout, name: str) -> dict[str, int]:
    """The athletes of a table with one column each: label -> place."""
    rates = layout.columns("rate")
    if rates:
        headers = dict.fromkeys(layout.headers[i] for i in rates)
        return {h: _same_name(lines, layout, name, [i for i in rates if layout.headers[i] == h]) for h in headers}
    found: dict[str, int] = {}
    rows = list(islice(_rows(lines, layout, name), CHUNK))
    for i, (kind, _) in enumerate(layout.kinds):
        if kind:
            continue
        cells = [r[i] for r in rows if i < len(r) and r[i].strip()]
        if _like_rates(parse_numbers(cells)):
            label = athlete_in_header(layout.headers[i]) or layout.headers[i].strip()
            label = label or f"column {i + 1}"
            found[label] = _same_name(lines, layout, name, [found[label], i]) if label in found else i
    return found


def _same_name(lines: list[str], layout: Layout, name: str, places: list[int]) -> int:
    """Which of several columns of one name holds the trace: any where they say the same, else nobody can tell."""
    kept, *others = places
    for other in others:
        one, two = (parse_numbers(cells) for cells in _take_columns(lines, layout, name, [kept, other]))
        if np.isfinite(one).any() and np.isfinite(two).any() and not np.array_equal(one, two, equal_nan=True):
            raise RecordingError(
                f"{name}: columns {kept + 1} and {other + 1} are both called {layout.headers[other].strip()!r} and hold "
                "different values. Put a copy in the place of this file, with a name of its own above each (such as "
                "heart_rate_A07 and heart_rate_other), and write the athlete's in column_or_label of recordings.csv."
            )
        kept = kept if np.isfinite(one).any() else other
    return kept


def _preamble(rows: list[list[str]]) -> dict:
    """A start time or date stated above the header: "Start time;19:04:30", or as a row of names over a row of values."""
    found: dict[str, str] = {}
    for at, row in enumerate(rows):
        for i, cell in enumerate(row):
            kind = kind_of_column(cell.rstrip(":"))[0] if cell else ""
            if plain_words(cell) in ("time", "uhrzeit", "zeit"):
                kind = "start"
            beside = row[i + 1] if i + 1 < len(row) else ""
            below = rows[at + 1][i] if at + 1 < len(rows) and i < len(rows[at + 1]) else ""
            value = next((v for v in (beside, below) if v[:1].isdecimal()), "")
            if value:
                found.setdefault(kind, value)
    return found


CHUNK = 50_000


def read_table(data: bytes, name: str, *, label: str | None = None) -> RawTrace:
    """Read a text table; `label` picks a column or the rows of one athlete."""
    lines, layout, remarks = _open(data, name)
    rate, chosen, who = _choose(lines, layout, label, name)
    interval = _first(layout.columns("interval")) if rate is None else None
    time, date = _time_columns(layout)
    rates, intervals, times, dates, people = _take_columns(lines, layout, name, [rate, interval, time, date, who])
    if who is not None:
        known = _named(people)
        if label is None and len(known) > 1:
            raise RecordingError(
                f"{name}: holds {len(known)} traces ({_listed(known)}). Name the athlete in column_or_label."
            )
        chosen = chosen or next(iter(known), "")
        if chosen:
            keep = [i for i, p in enumerate(people) if p.strip().casefold() == chosen.casefold()]
            if not keep:
                raise RecordingError(f"{name}: nothing is called {chosen!r}; the file holds {_listed(known)}.")
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
        times = [f"{d} {t}" if t.strip() else "" for d, t in zip(dates, times, strict=True)]
    kind, unit = layout.kinds[time]
    read = parse_times(times, kind=kind, unit=unit)
    seconds, clock, local_date = _with_start(read, layout, remarks)
    remarks += read.remarks
    if clock == "none" and (seconds < 0).any():
        row = layout.first_row + int(np.nanargmin(seconds)) + 1
        raise RecordingError(
            f"{name}: a negative time near row {row}. Seconds count from the start of the recording and are not below zero."
        )
    return RawTrace(
        seconds=seconds, rates=parse_numbers(rates), clock=clock, kind="table", label=chosen, local_date=local_date,
        remarks=remarks,
    )  # fmt: skip


def list_table_labels(data: bytes, name: str) -> tuple[str, ...]:
    """The athletes of a table with several; empty where it holds one trace."""
    lines, layout, _ = _open(data, name)
    who = _first(layout.columns("athlete"))
    found = wide_columns(lines, layout, name)
    if who is not None and len(found) < 2:
        found = _named(_take_columns(lines, layout, name, [who])[0])
    return tuple(found) if len(found) > 1 else ()


def _named(people: list[str]) -> list[str]:
    """The athletes of a column of them; none where each stands once, since the rows are then numbered."""
    names = [p.strip() for p in people if p.strip()]
    known = list(dict.fromkeys(names))
    return [] if len(known) == len(names) > 1 else known


def _open(data: bytes, name: str) -> tuple[list[str], Layout, list[str]]:
    if max(data.count(b"\n"), data.count(b"\r")) > MAX_ROWS + 1000:
        raise RecordingError(f"{name}: more than {MAX_ROWS:,} rows, more than one evening can have.")
    lines, remarks = decode(data, name)
    return lines, find_layout(lines, name), remarks


def _rows(lines: list[str], layout: Layout, name: str):
    body = lines[layout.first_row :]
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
            return places[0], date if kind != "elapsed" else None
    return None, None


def _choose(lines, layout: Layout, label: str | None, name: str) -> tuple[int | None, str, int | None]:
    """Which column holds the rates, under which label, and the column of athletes where rows are to be picked."""
    who = _first(layout.columns("athlete"))
    if label is not None:
        return _choose_labelled(lines, layout, label.strip(), name, who)
    wide = wide_columns(lines, layout, name)
    if len(wide) > 1:
        raise RecordingError(
            f"{name}: holds {len(wide)} traces ({_listed(list(wide))}). Name the athlete's column in column_or_label."
        )
    rate = _first(list(wide.values()))
    if rate is not None or layout.columns("interval"):
        return rate, "", who
    raise RecordingError(
        f"{name}: no column of heart rates was recognised among {_listed(layout.headers)}. Name it hr_bpm, or give its "
        "name in column_or_label."
    )


def _choose_labelled(lines, layout, label, name, who):
    called = [i for i, header in enumerate(layout.headers) if header.strip().casefold() == label.casefold()]
    if called:
        return _same_name(lines, layout, name, called), label, None
    wide = wide_columns(lines, layout, name)
    for known, i in wide.items():
        if known.casefold() == label.casefold():
            return i, label, None
    rate = _first(list(wide.values()))
    if who is not None and len(wide) < 2 and (rate is not None or layout.columns("interval")):
        return rate, label, who
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
                    column += [row[place] if place < len(row) else "" for row in chunk]
    return out


def _with_start(read, layout: Layout, remarks: list) -> tuple[np.ndarray, str, str]:
    """Place elapsed times on the wall clock where a start stands above the header."""
    start, date = layout.preamble.get("start"), layout.preamble.get("date")
    if read.clock == "local" and not read.date and date:
        return read.seconds, "local", parse_times([f"{date} 00:00:00"], kind="time").date
    if read.clock != "none" or not start:
        return read.seconds, read.clock, read.date
    begin = parse_times([f"{date} {start}" if date and ":" not in date and " " not in start else start], kind="clock")
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
        seconds=np.empty(0), rates=np.empty(0), clock=clock, kind="intervals", label=label, local_date=date,
        interval_ends=ends[keep], intervals_ms=values[keep], remarks=remarks,
    )  # fmt: skip


def _follow(ends: np.ndarray, stamps: np.ndarray) -> np.ndarray:
    """Keep the running sum of intervals, moved to the stated times wherever the two part by more than 3 s."""
    shift, out = float(stamps[0] - ends[0]), np.empty(len(ends))
    for i, (end, stamp) in enumerate(zip(ends.tolist(), stamps.tolist(), strict=True)):
        if abs(end + shift - stamp) > 3.0:
            shift = stamp - end
        out[i] = end + shift
    return out
