"""`read_gas_exchange`: a table of breaths or averages from a metabolic cart, in one set of units."""

from __future__ import annotations

import re
from itertools import islice
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import join_words, plural
from .formats import tell_format
from .read import read_bytes
from .recording import RecordingError
from .table import COLUMN_WORDS, SEPARATORS, decode, plain_words, split_lines
from .times import DAY_S, parse_numbers, parse_times

GAS_COLUMNS = {
    "vo2_ml_min": ("vo2", "v o2", "o2 uptake", "oxygen uptake", "oxygen consumption", "sauerstoffaufnahme"),
    "vco2_ml_min": ("vco2", "v co2", "co2 output", "carbon dioxide output", "kohlendioxidabgabe"),
    "ve_l_min": ("ve", "v e", "ve btps", "minute ventilation", "ventilation"),
    "rer": ("rer", "rq", "r", "respiratory exchange ratio"),
    "hr_bpm": COLUMN_WORDS["rate"],
    "breathing_rate_1_min": ("bf", "rf", "fr", "breathing rate", "respiratory rate", "breathing frequency"),
    "speed_km_h": ("speed", "velocity", "geschwindigkeit"),
    "power_w": ("power", "load", "watt", "watts", "work rate", "leistung"),
    "grade_percent": ("grade", "incline", "inclination", "slope"),
    "mass_kg": ("mass", "body mass", "weight"),
}
"""Column of the result -> the words for it in the file (besides time)."""

_UNITS = (
    "ml kg min", "ml min kg", "l min", "ml min", "l per min", "ml per min", "bpm", "km h", "m s", "w", "percent", "kg",
)  # fmt: skip
_ML = {"l min": 1000.0, "l per min": 1000.0, "ml min": 1.0, "ml per min": 1.0}


MOST_ROWS = 100_000
"""Half a day with two breaths a second."""


def read_gas_exchange(path: str | Path) -> pd.DataFrame:
    """Read the samples of a gas-exchange test.

    Parameters
    ----------
    path : path
        A text table (CSV of any dialect, also as .gz) with a column of times and one of oxygen uptake. Units are
        taken from the header or from the row under it: L/min or mL/min.

    Returns
    -------
    DataFrame
        elapsed_s, vo2_ml_min, vco2_ml_min (missing where the file has none) and, where present, ve_l_min, rer, hr_bpm,
        breathing_rate_1_min, speed_km_h, power_w, grade_percent. `.attrs["remarks"]` is a tuple of sentences: what
        was assumed or left out. Rows are in time order; repeated times are kept, since several breaths can end in
        one second.

    Raises
    ------
    RecordingError
        Where no oxygen uptake or no time is found, or the unit is unknown.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "A07.csv"
    >>> _ = path.write_text("t (s);VO2 (L/min)\\n0;0,41\\n3;0,43\\n7;0,46\\n")
    >>> read_gas_exchange(path)["vo2_ml_min"].tolist()
    [410.0, 430.0, 460.0]
    """
    path = Path(path)
    data, remarks = read_bytes(path)
    if tell_format(data, path.name).kind != "table":
        raise RecordingError(f"{path.name}: not a text table. Export the test from the cart as CSV.")
    if max(data.count(b"\n"), data.count(b"\r")) > MOST_ROWS:
        raise RecordingError(f"{path.name}: more than {MOST_ROWS:,} rows, more than one test can have.")
    lines, said = decode(data, path.name)
    remarks += said
    separator, at, headers = _find_header(lines, path.name)
    rows = [[c.strip() for c in row] for row in split_lines(lines[at + 1 :], separator) if any(c.strip() for c in row)]
    units, body = _take_units(headers, rows)
    places = _places(headers)
    table = pd.DataFrame({name: _column(body, i) for name, i in places.items() if name != "time"})
    elapsed = _elapsed(body, places["time"], units[places["time"]], remarks)
    table.insert(0, "elapsed_s", elapsed)
    _to_ml(table, units, places, path.name, remarks)
    return _finished(table, path.name, remarks)


def _find_header(lines: list[str], name: str) -> tuple[str, int, list[str]]:
    best = (0, "", 0, [])
    for separator in SEPARATORS:
        for at, row in enumerate(islice(split_lines(lines[:200], separator), 200)):
            headers = [c.strip() for c in row]
            known = _places(headers)
            if "vo2_ml_min" in known and "time" in known and len(known) > best[0]:
                best = (len(known), separator, at, headers)
    if not best[0]:
        raise RecordingError(
            f"{name}: no line names both a time and an oxygen uptake. The header should hold, for example, "
            '"elapsed_s" and "vo2_ml_min", or "t (s)" and "VO2 (L/min)".'
        )
    return best[1], best[2], best[3]


def _places(headers: list[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    for i, header in enumerate(headers):
        words = plain_words(header)
        bare = _without_unit(words)
        if words.startswith(("vo2 ", "v o2 ")) and ("kg" in words.split()):
            continue
        for name, known in GAS_COLUMNS.items():
            if name not in found and (bare in known or words in known):
                found[name] = i
        if "time" not in found and _is_time(words):
            found["time"] = i
    return found


def _is_time(words: str) -> bool:
    kinds = (*COLUMN_WORDS["elapsed"], *COLUMN_WORDS["time"], *COLUMN_WORDS["clock"])
    bare = re.sub(r" (s|sec|seconds|min|ms|hh mm ss|mm ss)$", "", words)
    return words in kinds or bare in kinds


def _without_unit(words: str) -> str:
    for unit in _UNITS:
        if words.endswith(" " + unit):
            return words[: -len(unit) - 1]
    return words


def _take_units(headers: list[str], rows: list[list[str]]) -> tuple[list[str], list[list[str]]]:
    """The unit of each column, from its header or from a row of units under it."""
    units = [next((u for u in _UNITS if plain_words(h).endswith(" " + u)), "") for h in headers]
    for i, header in enumerate(headers):
        tail = re.search(r" (s|sec|seconds|min|ms)$", plain_words(header))
        if not units[i] and tail:
            units[i] = tail[1]
    if rows and not any(c[:1].isdecimal() for c in rows[0]):
        below = [plain_words(c) for c in rows[0]] + [""] * len(headers)
        units = [u or below[i] for i, u in enumerate(units)]
        rows = rows[1:]
    return units, rows


def _column(rows: list[list[str]], place: int) -> np.ndarray:
    return parse_numbers([row[place] if place < len(row) else "" for row in rows])


def _elapsed(rows, place: int, unit: str, remarks: list) -> np.ndarray:
    texts = [row[place] if place < len(row) else "" for row in rows]
    known = "s" if unit in ("s", "sec", "seconds") else unit if unit in ("min", "ms") else ""
    read = parse_times(texts, kind="elapsed", unit=known)
    remarks += read.remarks
    seconds = read.seconds
    finite = seconds[np.isfinite(seconds)]
    if read.clock != "none" and len(finite):
        seconds = seconds - finite[0]
        remarks.append("The times are clock times; seconds count from the first row.")
    if len(finite) > 1 and np.ptp(finite) > DAY_S / 2:
        raise RecordingError("The times of the gas-exchange file span more than half a day, so they are not one test.")
    return seconds


def _to_ml(table: pd.DataFrame, units: list[str], places: dict, name: str, remarks: list) -> None:
    for column in ("vo2_ml_min", "vco2_ml_min"):
        if column not in table:
            continue
        unit = units[places[column]]
        factor = _ML.get(unit)
        if factor is None:
            top = float(np.nanquantile(table[column], 0.98)) if table[column].notna().any() else float("nan")
            if 0.3 <= top <= 9:
                factor, word = 1000.0, "L/min"
            elif 250 <= top <= 9000:
                factor, word = 1.0, "mL/min"
            else:
                raise RecordingError(
                    f"{name}: the unit of {column[:-7].upper()} is not stated and cannot be separated from the values. "
                    'Write it in the header, for example "VO2 (mL/min)".'
                )
            remarks.append(f"The unit of {column[:-7].upper()} is not stated; its values look like {word}.")
        table[column] = table[column] * factor
    if "ve_l_min" in table and units[places["ve_l_min"]] in ("ml min", "ml per min"):
        table["ve_l_min"] = table["ve_l_min"] / 1000.0
    if "speed_km_h" in table and units[places["speed_km_h"]] == "m s":
        table["speed_km_h"] = table["speed_km_h"] * 3.6


def _finished(table: pd.DataFrame, name: str, remarks: list) -> pd.DataFrame:
    numbers = table.drop(columns="elapsed_s")
    table.loc[:, numbers.columns] = numbers.where(np.isfinite(numbers))
    if "vco2_ml_min" not in table:
        table.insert(2, "vco2_ml_min", np.nan)
        remarks.append("The file has no carbon dioxide output.")
    usable = np.isfinite(table["elapsed_s"]) & (table["vo2_ml_min"] > 0)
    lost = int((~usable).sum())
    if lost:
        remarks.append(f"{plural(lost, 'row')} without a time or an oxygen uptake above zero left out.")
    table = table[usable]
    if table.empty:
        raise RecordingError(f"{name}: no row has both a time and an oxygen uptake.")
    if (table["elapsed_s"].diff() < 0).any():
        remarks.append("Rows were put in time order.")
        table = table.sort_values("elapsed_s", kind="stable")
    first = ["elapsed_s", "vo2_ml_min", "vco2_ml_min"]
    table = table[first + [c for c in table.columns if c not in first]].reset_index(drop=True)
    extra = [c for c in table.columns if c not in first]
    if extra:
        remarks.append(f"Also read: {join_words(extra)}.")
    table.attrs["remarks"] = tuple(remarks)
    return table
