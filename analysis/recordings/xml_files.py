"""TCX and GPX: heart rate and times by the names of elements, whatever their namespace; entities are refused."""

from __future__ import annotations

import io

import numpy as np

from ..basics import plural
from .recording import RecordingError
from .tidy import MAX_ROWS, RawTrace
from .times import parse_iso_times

MAX_DEPTH = 60
"""Elements nested deeper than this are an attack or damage; real files stay under ten."""
MAX_TEXT = 200
"""Characters kept of one time or rate."""


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

    def start(self, tag: str, attributes) -> None:
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise RecordingError(
                f"{self.name}: elements nested {MAX_DEPTH} deep. Not a recording, or damaged."
            )
        tag = tag.rpartition(":")[2].lower()
        self.names.append(tag)
        if tag == self.point:
            self.inside, self.time, self.rate = True, "", ""
        elif not self.inside:
            if tag in ("activity", "trk"):
                self.parts.append(len(self.times))
            return
        elif tag in ("heartratebpm", "hr", "heartrate"):
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
                raise RecordingError(
                    f"{self.name}: more than {MAX_ROWS:,} points, more than one evening can have."
                )
        elif self.text is not None and tag in ("time", "value", "hr", "heartrate", "heartratebpm"):
            got = "".join(self.text).strip()
            if tag == "time":
                self.time = got
            elif got:
                self.rate = got
            if tag != "value":
                self.in_rate = False
            self.text = None


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
        seconds=seconds[keep],
        rates=rates[keep],
        clock=clock,
        kind=kind,
        label=chosen,
        local_date=date,
        remarks=remarks,
    )


def list_parts(data: bytes, name: str, kind: str) -> tuple[str, ...]:
    """The starts of the activities of a file that holds several; empty where it holds one."""
    points = _Points(name, kind)
    _parse(data, points, name)
    return tuple(text for _, _, text in _parts(points)) if len(_parts(points)) > 1 else ()


def _parts(points: _Points) -> list[tuple[int, int, str]]:
    starts = points.parts or [0]
    ends = [*starts[1:], len(points.times)]
    return [
        (a, b, next((t for t in points.times[a:b] if t), ""))
        for a, b in zip(starts, ends, strict=True)
        if b > a
    ]


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
    return np.array([known[t] for t in texts], dtype=float)


def _rate(text: str) -> float:
    try:
        return float(text.replace(",", ".")) if len(text) < 30 else float("nan")
    except ValueError:
        return float("nan")


def _parse(data: bytes, points: _Points, name: str) -> str:
    """Run the parser; return what stopped it, or ""."""
    from xml.sax import SAXException, SAXParseException
    from xml.sax.handler import ContentHandler, feature_external_ges

    from defusedxml import DefusedXmlException
    from defusedxml.expatreader import create_parser

    handler = ContentHandler()
    handler.startElement = points.start
    handler.endElement = points.end
    handler.characters = points.characters
    parser = create_parser(forbid_dtd=True)
    parser.setFeature(feature_external_ges, False)
    parser.setContentHandler(handler)
    try:
        parser.parse(io.BytesIO(data.lstrip(b" \r\n\t")))
    except DefusedXmlException:
        raise RecordingError(
            f"{name}: the file declares entities or a document type, which recordings never do. It was not opened."
        ) from None
    except SAXParseException as fault:
        return f"line {fault.getLineNumber()}: {fault.getMessage()}"
    except (SAXException, UnicodeError, ValueError, LookupError) as fault:
        if isinstance(fault, RecordingError):
            raise
        return str(fault)
    return ""
