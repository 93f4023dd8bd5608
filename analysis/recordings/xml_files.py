"""TCX and GPX: heart rate and times by the names of elements, whatever their namespace; entities are refused."""

from __future__ import annotations

import io
import re

import numpy as np

from ..basics import plural
from .recording import RecordingError
from .tidy import MAX_ROWS, RawTrace
from .times import parse_iso_times

MAX_DEPTH = 60
"""Elements nested deeper than this are an attack or damage; real files stay under ten."""
MAX_TEXT = 200
"""Characters kept of one time or rate."""
MAX_ELEMENT = 1_000_000
"""Characters from one > to the next; a real file stays under some thousands."""
CHUNK = 1 << 20
RATES = ("heartratebpm", "hr", "heartrate")
DECLARES = "the file declares entities or a document type, which recordings never do. It was not opened."


class _Points:
    """Walk through the elements and keep one time and one rate per point."""

    def __init__(self, name: str, kind: str):
        self.name, self.kind = name, kind
        self.point = "trackpoint" if kind == "TCX" else "trkpt"
        self.times: list[str] = []
        self.rates: list[str] = []
        self.parts: list[int] = []
        self.names: list[str] = []
        self.depth = 0
        self.time = self.rate = ""
        self.inside = self.in_rate = False
        self.text: list[str] | None = None

    def refuse_more(self) -> None:
        raise RecordingError(f"{self.name}: more than {MAX_ROWS:,} points, more than one evening can have.")

    def refuse_depth(self) -> None:
        raise RecordingError(f"{self.name}: elements nested {MAX_DEPTH} deep. Not a recording, or damaged.")

    def start(self, tag: str, attributes) -> None:
        self.depth += 1
        if self.depth > MAX_DEPTH:
            self.refuse_depth()
        tag = tag.rpartition(":")[2].lower()
        self.names.append(tag)
        if tag == self.point:
            self.inside, self.time, self.rate = True, "", ""
        elif not self.inside:
            if tag in ("activity", "trk"):
                self.parts.append(len(self.times))
            return
        elif tag in RATES:
            self.in_rate, self.text = True, []
        elif tag == "time" or (tag == "value" and self.in_rate):
            self.text = []

    def characters(self, text: str) -> None:
        if self.text is not None and len(self.text) < 20:
            self.text.append(text[:MAX_TEXT])

    def end(self, tag: str) -> None:
        self.depth -= 1
        tag = self.names.pop() if self.names else ""
        if not self.inside:
            return
        if tag == self.point:
            self.times.append(self.time)
            self.rates.append(self.rate)
            self.inside = False
            if len(self.times) > MAX_ROWS:
                self.refuse_more()
        elif self.text is not None and tag in ("time", "value", *RATES):
            got = "".join(self.text).strip()
            if tag == "time":
                self.time = got
            elif got:
                self.rate = got
            self.text = None
        if tag in RATES:  # a value after it is another one
            self.in_rate = False


def read_xml(data: bytes, name: str, kind: str, *, label: str | None = None) -> RawTrace:
    """Read a TCX or GPX file; `label` picks one of several activities by its start as listed."""
    points = _Points(name, kind)
    remarks = []
    problem = _parse(data, points, name)
    if problem:
        if not points.times:
            raise RecordingError(f"{name}: the {kind} file is damaged ({problem}). Export it again.")
        remarks.append(f"The file is damaged or ends too early ({problem}); what came before it was used.")
    if not points.times:
        raise RecordingError(
            f"{name}: the {kind} file holds no points. Is it a course or a summary instead of a recording?"
        )
    seconds, zoned, said = parse_iso_times(points.times)
    remarks += said
    rates = _rates(points.rates)
    keep, chosen = _choose_part(points, seconds, label, name, remarks)
    clock = "utc" if zoned else "local"
    date = ""
    if not zoned and np.isfinite(seconds[keep]).any():
        date = str(np.datetime64(int(np.nanmin(seconds[keep])), "s"))[:10]
        remarks.append("The times carry no zone and were taken as local time.")
    return RawTrace(
        seconds=seconds[keep], rates=rates[keep], clock=clock, kind=kind, label=chosen, local_date=date, remarks=remarks
    )


def list_parts(data: bytes, name: str, kind: str) -> tuple[str, ...]:
    """The starts of the activities of a file that holds several; empty where it holds one."""
    points = _Points(name, kind)
    _parse(data, points, name)
    return tuple(text for _, _, text in _parts(points)) if len(_parts(points)) > 1 else ()


def _parts(points: _Points) -> list[tuple[int, int, str]]:
    starts = points.parts or [0]
    ends = [*starts[1:], len(points.times)]
    return [(a, b, next((t for t in points.times[a:b] if t), "")) for a, b in zip(starts, ends, strict=True) if b > a]


def _choose_part(points, seconds, label, name, remarks) -> tuple[slice, str]:
    parts = _parts(points)
    if label:
        for a, b, text in parts:
            if text == label:
                return slice(a, b), label
        known = ", ".join(text for _, _, text in parts)
        raise RecordingError(f"{name}: holds no activity that starts at {label!r}, only {known}.")
    if len(parts) < 2:
        return slice(None), ""
    finite = seconds[np.isfinite(seconds)]
    if len(finite) and np.ptp(finite) > 12 * 3600:
        known = ", ".join(text for _, _, text in parts)
        raise RecordingError(
            f"{name}: {len(parts)} activities hours apart. Name the one of the session in column_or_label by its start: {known}."
        )
    remarks.append(f"{plural(len(parts), 'activity', 'activities')} in one file were joined in time order.")
    return slice(None), ""


def _rates(texts: list[str]) -> np.ndarray:
    known = {t: _rate(t) for t in set(texts)}
    return np.array([known[t] for t in texts])


def _rate(text: str) -> float:
    try:
        return float(text.replace(",", ".")) if len(text) < 30 else float("nan")
    except ValueError:
        return float("nan")


def _parse(data: bytes, points: _Points, name: str) -> str:
    """Collect the points; return what stopped the reading, or ""."""
    # The whole file is first walked by the parser alone, which refuses declarations and finds where the
    # file stops making sense. Where it then holds nothing but plain elements, the points are taken by
    # patterns, some three times as fast as by calls for every element; anything else goes through those
    # calls.
    data = data.lstrip(b" \r\n\t")
    _refuse_endless(data, points, name)
    problem, end, hidden = _walk_whole(data, name)
    if not hidden and _is_plain(data) and _take_by_pattern(data[:end], points):
        return problem
    return _take_by_calls(data, points, name)


def _refuse_endless(data: bytes, points: _Points, name: str) -> None:
    """Refuse what costs a parser time that grows with its square, or without end, before it sees it."""
    # An element or a text of megabytes, elements nested without end, and more points than one evening can
    # have.
    if data.lower().count(points.point.encode()) > 2 * MAX_ROWS:
        points.refuse_more()
    longest = since = depth = 0
    for at in range(0, len(data), CHUNK):
        part = np.frombuffer(data, dtype=np.uint8, count=min(CHUNK + 1, len(data) - at), offset=at)
        here, following = part[:-1] if len(part) > CHUNK else part, part[1:]
        following = np.append(following, 0)[: len(here)].astype(np.uint8)
        opened = (here == ord("<")) & (((following | 32) >= ord("a")) & ((following | 32) <= ord("z")))
        closed = ((here == ord("<")) & (following == ord("/"))) | ((here == ord("/")) & (following == ord(">")))
        level = np.cumsum(opened.astype(np.int8) - closed.astype(np.int8), dtype=np.int32) + depth
        if level.max() > MAX_DEPTH:
            points.refuse_depth()
        depth = int(level[-1])
        ends = np.flatnonzero(here == ord(">"))
        if len(ends):
            longest = max(longest, since + int(ends[0]), int(np.diff(ends).max(initial=0)))
            since = len(here) - int(ends[-1])
        else:
            since += len(here)
    longest = max(longest, since)
    if longest > MAX_ELEMENT:
        raise RecordingError(
            f"{name}: an element of {longest:,} characters, which no recording has. A damaged copy? Copy the original from "
            "the device again."
        )


def _walk_whole(data: bytes, name: str) -> tuple[str, int, bool]:
    """Run the parser without looking at any element: what stopped it, where, and whether there are comments and the like."""
    from xml.parsers import expat

    def refuse(*_):
        raise RecordingError(f"{name}: {DECLARES}")

    hidden: set[bool] = set()
    parser = expat.ParserCreate()
    for sight in ("CommentHandler", "StartCdataSectionHandler", "ProcessingInstructionHandler"):
        setattr(parser, sight, lambda *_: hidden.add(True))
    for guard in (
        "StartDoctypeDeclHandler",
        "EntityDeclHandler",
        "ExternalEntityRefHandler",
        "UnparsedEntityDeclHandler",
    ):
        setattr(parser, guard, refuse)
    try:
        for at in range(0, len(data), CHUNK):
            parser.Parse(data[at : at + CHUNK], at + CHUNK >= len(data))
    except expat.ExpatError as fault:
        words = expat.ErrorString(fault.code)
        return f"line {fault.lineno}: {words}", max(parser.ErrorByteIndex, 0), bool(hidden)
    except (UnicodeError, ValueError, LookupError) as fault:
        if isinstance(fault, RecordingError):
            raise
        return str(fault), len(data), True
    return "", len(data), bool(hidden)


_NAME = rb"(?:[\w.-]{1,40}:)?"
_POINT = re.compile(rb"<(" + _NAME + rb"(?:trackpoint|trkpt))[\s>]", re.I)
_PART = re.compile(rb"<" + _NAME + rb"(?:activity|trk)(?=[\s>])", re.I)
_TIME = re.compile(rb"<" + _NAME + rb"time>", re.I)
_RATE = re.compile(
    rb"<" + _NAME + rb"(?:heartratebpm(?:\s[^<>]*+)?>\s*+<" + _NAME + rb"value>|(?:hr|heartrate)>)", re.I
)


def _is_plain(data: bytes) -> bool:
    """Whether patterns see what a parser sees: eight-bit text, nothing hidden, nothing referred to."""
    if b"\x00" in data[:200]:  # sixteen bits a letter
        return False
    head = data[:200].lower()
    if b"encoding" in head and not any(e in head for e in (b"utf-8", b"us-ascii", b"iso-8859-1", b"windows-1252")):
        return False
    return b"&" not in data


def _take_by_pattern(data: bytes, points: _Points) -> bool:
    """Take the points of a file whose points are all written alike; False where one is not, and nothing was taken."""
    first = _POINT.search(data)
    if first is None or first[1].lower().rpartition(b":")[2] != points.point.encode():
        return False
    sample = data[first.start() :]
    time, rate = _TIME.search(sample), _RATE.search(sample)
    time_tag = (time[0] if time else b"<time>").decode("latin-1")
    rate_tag = (rate[0] if rate else b"<hr>").decode("latin-1")
    begin, close = "<" + first[1].decode("latin-1"), "</" + first[1].decode("latin-1")
    pieces = data.decode("latin-1").split(begin)
    if len(pieces) - 1 > MAX_ROWS:
        points.refuse_more()
    if data.lower().count(points.point.encode()) != len(pieces) - 1 + data.count(b"</" + first[1]):
        return False
    times, rates, parts = [], [], [0] * len(_PART.findall(pieces[0].encode("latin-1")))
    long_time, long_rate, last = len(time_tag), len(rate_tag), len(pieces) - 2
    for number, piece in enumerate(pieces[1:]):
        end = piece.find(close)
        if end < 0 or piece.find(">", end) < 0:
            if number == last:
                break  # the last point of a file that ends too early
            return False
        inside = piece[:end]
        at = inside.find(time_tag)
        if at >= 0:
            at += long_time
            times.append(piece[at : piece.find("<", at)])
        elif "ime" in inside:
            return False
        else:
            times.append("")
        at = inside.find(rate_tag)
        if at >= 0:
            at += long_rate
            rates.append(piece[at : piece.find("<", at)])
        elif _RATE.search(inside.encode("latin-1")):
            return False
        else:
            rates.append("")
        parts += [len(times)] * len(_PART.findall(piece[end:].encode("latin-1")))
    points.times, points.rates = [t[:MAX_TEXT].strip() for t in times], [r[:MAX_TEXT].strip() for r in rates]
    points.parts = parts
    return bool(times)


def _take_by_calls(data: bytes, points: _Points, name: str) -> str:
    """Run the guarded parser with a call for every element; return what stopped it, or ""."""
    from xml.sax import SAXException, SAXParseException
    from xml.sax.handler import ContentHandler

    from defusedxml import DefusedXmlException
    from defusedxml.expatreader import create_parser

    handler = ContentHandler()
    handler.startElement = points.start
    handler.endElement = points.end
    handler.characters = points.characters
    parser = create_parser(forbid_dtd=True)
    parser.setContentHandler(handler)
    try:
        parser.parse(io.BytesIO(data))
    except DefusedXmlException:
        raise RecordingError(f"{name}: {DECLARES}") from None
    except SAXParseException as fault:
        return f"line {fault.getLineNumber()}: {fault.getMessage()}"
    except (SAXException, UnicodeError, ValueError, LookupError) as fault:
        if isinstance(fault, RecordingError):
            raise
        return str(fault)
    return ""
