"""Small study folders for the tests of this room: four invented athletes, three rounds, all of it correct."""

from __future__ import annotations

import csv
import io
from pathlib import Path

SETTINGS = """\
title = "A small study"
sport = "grappling"
lactate_analyser_high_mmol_l = 25

[protocol]
rounds = 3
work = "5:00"
rest_s = 120
exertion_scale = "6-20"
"""

CODES = ("A01", "A02", "007", "NA")
PAIRS = {1: ("A01", "A02", "007", "NA"), 2: ("A01", "007", "A02", "NA"), 3: ("A01", "NA", "A02", "007")}


def athletes() -> list[dict]:
    return [
        {
            "athlete": code,
            "age_years": 21 + 3 * i,
            "sex": "FM"[i % 2],
            "mass_kg": 60.5 + 7 * i,
            "hr_rest_bpm": 52 + i,
            "hr_max_bpm": 190 - i,
            "hr_max_source": "measured",
            "consent_measured": "yes",
            "consent_individual_figures": "yes" if i else "no",
            "consent_shared_data": "yes",
            "cleared": "yes",
        }
        for i, code in enumerate(CODES)
    ]


def rounds() -> list[dict]:
    rows = []
    for round_no, (a, b, c, d) in PAIRS.items():
        for one, other in ((a, b), (b, a), (c, d), (d, c)):
            i = CODES.index(one)
            rows.append(
                {
                    "athlete": one,
                    "round_no": round_no,
                    "opponent": other,
                    "lactate_mmol_l": round(5.2 + 0.5 * i + 1.3 * round_no, 1),
                    "exertion": 11 + i + round_no,
                    "hr_mean_typed_bpm": 150 + 4 * i + 3 * round_no,
                }
            )
    return sorted(rows, key=lambda row: (row["athlete"], row["round_no"]))


def sessions() -> list[dict]:
    return [{"session": 1, "date": "2026-03-05", "utc_offset": "+01:00", "place": "mat room"}]


def aerobic_tests() -> list[dict]:
    return [
        {"athlete": code, "date": "2026-03-01", "test": "run_12_min", "distance_m": 2300 + 150 * i}
        for i, code in enumerate(CODES)
    ]


def csv_text(
    rows: list[dict], *, delimiter: str = ",", decimal_comma: bool = False, order: list[str] | None = None
) -> str:
    names = order or list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    writer.writerow(names)
    for row in rows:
        cells = ["" if row.get(n) is None else str(row.get(n, "")) for n in names]
        if decimal_comma:
            cells = [c.replace(".", ",") if c.replace(".", "").replace("-", "").isdigit() else c for c in cells]
        writer.writerow(cells)
    return out.getvalue()


def make_folder(folder: Path, *, settings: str = SETTINGS, without: tuple[str, ...] = (), **tables) -> Path:
    """Write a correct small study; tables given as rows, text or bytes replace or add to its own."""
    folder.mkdir(parents=True, exist_ok=True)
    if settings:
        (folder / "study.toml").write_text(settings, encoding="utf-8")
    own = {"athletes": athletes(), "rounds": rounds(), "sessions": sessions(), "aerobic_tests": aerobic_tests()}
    for name, rows in (own | tables).items():
        if name in without or rows is None:
            continue
        content = rows if isinstance(rows, bytes) else (rows if isinstance(rows, str) else csv_text(rows)).encode()
        (folder / f"{name}.csv").write_bytes(content)
    return folder


def changed(rows: list[dict], index: int, **values) -> list[dict]:
    """Return rows with one of them changed."""
    return [{**row, **values} if i == index else row for i, row in enumerate(rows)]


def problem_at(problems, *, column: str = "", file: str = "", row: int | None = None):
    """Return the one problem at a place."""
    found = problems
    if file:
        found = found[found["file"] == file]
    if column:
        found = found[found["column"] == column]
    if row is not None:
        found = found[found["row"].eq(row).fillna(False)]
    assert len(found) == 1, problems.to_string()
    return found.iloc[0]
