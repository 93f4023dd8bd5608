"""The words by which a column is recognised: one small table, in the languages of club exports.

To add a word, add it here in plain lower case without accents; nothing else needs to change.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

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


@lru_cache(maxsize=4096)
def kind_of_column(header: str) -> tuple[str, str]:
    """Tell the kind of a column and its unit from its header."""
    words = plain_words(header).split()
    if not words:
        return "", ""
    whole = " ".join(words)
    unit = UNIT_WORDS.get(words[-1], "") if not words[-1].isdecimal() else ""
    kind = _KINDS.get(whole, "")
    if not kind and len(words) > 1 and (unit or words[-1] in ("min", "1")):
        rest = [w for w in words if w not in UNIT_WORDS]
        kind = _KINDS.get(" ".join(rest), "")
    if (
        kind == "time"
        and unit in ("s", "ms", "min", "h")
        and len(words) > 1
        and "utc" not in words
        and "unix" not in words
    ):
        kind = "elapsed"
    if kind == "rate" and "bpm" in words:
        unit = "bpm"
    return kind, unit


def athlete_in_header(header: str) -> str:
    """The athlete in the header of a heart-rate column: "A07_hr_bpm" -> "A07"; "" where there is none."""
    parts = re.split(r"[\s_()\[\]/:.-]+", header.strip())
    noise = {
        "hr",
        "heart",
        "rate",
        "heartrate",
        "bpm",
        "pulse",
        "puls",
        "fc",
        "hf",
        "herzfrequenz",
        "herz",
        "frequenz",
    }
    kept = [p for p in parts if p and plain_words(p) not in noise]
    return kept[0] if len(kept) == 1 and len(kept) < len([p for p in parts if p]) else ""
