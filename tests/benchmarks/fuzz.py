"""Throw damaged files at the kit: each must be read, or refused in words, quickly.

    python tests/benchmarks/fuzz.py [--minutes 10] [--count 1000000] [--seed 1] [--only recordings 'gas files']

Recordings of every registered format and gas files go to their readers, settings and tables to theirs (two thousand a
second); besides, study.toml, the workbook and every table stand in a small study that is checked, loaded and asked about
pace and sessions. What is read of a recording must be sound as well. Starting points are the files made in the tests and the
demos. Prints what went wrong, by seed and number, so that it can be kept as a regression test.
"""

from __future__ import annotations

import argparse
import csv
import io
import sys
import tempfile
import time
import warnings
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[1] / "recordings"), str(HERE.parents[1] / "study")]

from mutate import mutate, seeds, sound  # noqa: E402
from study_folders import SETTINGS, aerobic_tests, athletes, csv_text, make_folder, rounds, sessions  # noqa: E402

from analysis.answers import Answers  # noqa: E402
from analysis.basics import KitError  # noqa: E402
from analysis.recordings import read_gas_exchange  # noqa: E402
from analysis.study import check_study, new_study  # noqa: E402
from analysis.study.aerobic import check_fitness, known_tests, more_columns  # noqa: E402
from analysis.study.columns import read_headings  # noqa: E402
from analysis.study.consent import check_ethics, check_sampling_pace  # noqa: E402
from analysis.study.convert import Context, convert_table  # noqa: E402
from analysis.study.new_folder import settings_text  # noqa: E402
from analysis.study.plan import read_plan  # noqa: E402
from analysis.study.problems import Findings  # noqa: E402
from analysis.study.settings import read_protocol, read_settings  # noqa: E402
from analysis.study.text_files import Unreadable, read_csv_grid  # noqa: E402
from analysis.study.training import read_training  # noqa: E402

DEMO = HERE.parents[2] / "data_demo"
SECONDS = 10.0
"""A file that takes longer than this is a failure too."""


def recording_files() -> dict[str, bytes]:
    return seeds()


def gas_files() -> dict[str, bytes]:
    return {p.name: p.read_bytes()[:20_000] for p in sorted((DEMO / "aerobic_files").iterdir())}


def settings_files() -> dict[str, bytes]:
    return {"study": SETTINGS.encode(), "survey": (DEMO / "survey" / "study.toml").read_bytes()}


def _some(path: Path, keep: str = "", blank: str = "") -> str:
    """The heading and some rows of a table of a demo: those of athletes that the small study knows."""
    table = pd.read_csv(path, dtype=str, keep_default_na=False, sep=None, engine="python", encoding="utf-8-sig")
    table = table[table["athlete"].isin(["A01", "A02"])] if keep else table
    return table.assign(**{blank: ""} if blank else {}).head(30).to_csv(index=False)


ADDED = {
    "pace": _some(DEMO / "pace.csv", keep="athlete"),
    "published": _some(DEMO / "published.csv"),
    "attendance": csv_text([{"session": 1, "athlete": "A01", "device": "strap", "weigh_in_mass_kg": 71.5}]),
    "clock": csv_text([{"session": 1, "round_no": 1, "start_time": "19:00:00", "end_time": "19:05:00"}]),
    "decisions": csv_text(
        [{"date": "2026-03-06", "decided_by": "lead", "table": "rounds", "session": 1, "athlete": "A01", "round_no": 1,
          "measure": "exertion", "action": "replace", "new_value": 13, "reason": "sheet"}]
    ),
}  # fmt: skip
"""Tables beside those of the small study."""


def all_settings() -> dict[str, bytes]:
    """Also the long ones: of the demos, and that of a new folder with every key."""
    longer = {"demo": DEMO / "study.toml", "trained": DEMO / "training" / "study.toml"}
    new = settings_text(
        rounds=4, work_s=300, rest_s=120, scale="6-20", survey=False, tests=["run_12_min"], training=True
    )
    return settings_files() | {name: path.read_bytes() for name, path in longer.items()} | {"new": new.encode()}


def table_files() -> dict[str, bytes]:
    own = {"athletes": athletes(), "rounds": rounds(), "sessions": sessions(), "aerobic_tests": aerobic_tests()}
    texts = {name: csv_text(rows) for name, rows in own.items()} | ADDED
    return {n: t.encode() for n, t in texts.items()} | {
        "survey": _some(DEMO / "survey" / "survey.csv", blank="file").encode()
    }


def workbook_files() -> dict[str, bytes]:
    folder = Path(tempfile.mkdtemp()) / "study"
    new_study(folder, rounds=3, work="5:00", rest="1:30")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    for name, text in table_files().items():
        if name in book.sheetnames and name != "survey":
            sheet = book[name]
            sheet.delete_rows(1, sheet.max_row)
            for row in csv.reader(io.StringIO(text.decode())):
                sheet.append(row)
    book.save(folder / "study.xlsx")
    return {"study.xlsx": (folder / "study.xlsx").read_bytes()}


def read_the_gas(path: Path) -> bool:
    try:
        read_gas_exchange(path)
    except KitError:
        return False
    return True


def read_the_settings(path: Path) -> bool:
    """Every reader of study.toml that needs no table."""
    findings = Findings()
    settings = read_settings(path.parent, findings)
    for reader in (read_protocol, read_plan, read_training, check_ethics, check_fitness, check_sampling_pace):
        reader(settings, findings)
    return in_words(findings)


CONTEXT = Context(tests=known_tests(), more=more_columns())


def read_the_table(path: Path) -> bool:
    """Text to cells, headings to columns, cells to values."""
    findings = Findings()
    try:
        grid = read_csv_grid(path, file=path.name)
    except Unreadable:
        return False
    raw = read_headings(grid, path.stem, findings)
    if raw.columns:
        convert_table(raw, CONTEXT, findings)
    return in_words(findings)


def in_words(findings: Findings) -> bool:
    """True where there is no problem; each must be short enough to be read."""
    assert all(len(str(p)) < 2_000 for p in findings.problems)
    return not findings.problems


def examine(folder: Path) -> bool:
    """Check, load and ask."""
    report = check_study(folder)
    assert len(report.text()) < 200_000
    try:
        answers = Answers.from_folder(folder)
        _ = answers.cleaned, answers.capacity, answers.pace(), answers.survey(), answers.published()
    except KitError:
        return False
    return report.passed


CELLS = ("", "-", "0", "-0", "-1", "1", "2", "3", "7", "250", "1e308", "1e-300", "inf", "nan", "9" * 400, "1,5", "1.5", "1:30",
         "12:30:00", "2026-03-01", "31.02.2026", "=1+1", "A01", "A02", "007", "NA", "guest", "yes", "no", "HI", ">25", "F",
         "\u202e5", "é", "x" * 2_000, "<script>", "a\tb", "measured", "left", "sat_out", "shuttle_run_20m")  # fmt: skip


def damage_table(rng: np.random.Generator, data: bytes) -> bytes:
    """Bytes anywhere; or one to three cells, so that what is wrong is told later than by the reader of texts."""
    if rng.random() < 0.4:
        return mutate(rng, data)
    rows = list(csv.reader(io.StringIO(data.decode())))
    for _ in range(int(rng.integers(1, 4))):
        row = rows[int(rng.integers(len(rows)))]
        row[int(rng.integers(len(row)))] = CELLS[int(rng.integers(len(CELLS)))]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


def damage_settings(rng: np.random.Generator, data: bytes) -> bytes:
    """Bytes anywhere; or one value."""
    if rng.random() < 0.4:
        return mutate(rng, data)
    lines = data.decode().splitlines()
    at = int(rng.choice([i for i, line in enumerate(lines) if "=" in line]))
    value = CELLS[int(rng.integers(len(CELLS)))]
    lines[at] = f"{lines[at].split('=')[0]}= {value if rng.random() < 0.5 else chr(34) + value + chr(34)}"
    return "\n".join(lines).encode()


def damage_workbook(rng: np.random.Generator, data: bytes) -> bytes:
    """Bytes of the file, or of one of the texts packed in it."""
    if rng.random() < 0.3:
        return mutate(rng, data)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        chosen = names[int(rng.integers(len(names)))]
        for name in names:
            new.writestr(name, mutate(rng, old.read(name)) if name == chosen else old.read(name))
    return out.getvalue()


KINDS = {
    "recordings": (recording_files, mutate, 0.5),
    "gas files": (gas_files, mutate, 0.05),
    "settings alone": (all_settings, damage_settings, 0.05),
    "tables alone": (table_files, damage_table, 0.1),
    "study.toml": (settings_files, damage_settings, 0.05),
    "tables": (table_files, damage_table, 0.15),
    "workbook": (workbook_files, damage_workbook, 0.1),
}
"""Kind -> its files, how they are damaged, its share of the time."""


ALONE = {
    "recordings": (sound, "{name}"),
    "gas files": (read_the_gas, "{name}"),
    "settings alone": (read_the_settings, "study.toml"),
    "tables alone": (read_the_table, "{name}.csv"),
}
"""Kind -> its reader and where the file lies, for what is read without a study."""


def try_one(kind: str, name: str, content: bytes, folder: Path) -> bool:
    """Put a damaged file in its place and read it: True where it was read, False where refused in words."""
    if kind in ALONE:
        reader, at = ALONE[kind]
        path = folder / at.format(name=name)
        path.write_bytes(content)
        return reader(path)
    study = folder / "study"
    survey = name == "survey"
    if kind == "workbook" or survey:
        settings = (DEMO / "survey" / "study.toml").read_text(encoding="utf-8") if survey else SETTINGS
        own = {"survey": table_files()["survey"]} if survey else {}
        make_folder(study, settings=settings, without=("athletes", "rounds", "sessions", "aerobic_tests"), **own)
    else:
        make_folder(study, **ADDED)
    at = {"study.toml": "study.toml", "tables": f"{name}.csv", "workbook": "study.xlsx"}[kind]
    (study / at).write_bytes(content)
    try:
        return examine(study)
    finally:
        for path in [*study.glob("*.csv"), *study.glob("*.xlsx")]:
            path.unlink()


def main(minutes: float, count: int | None, seed: int, only: list[str]) -> int:
    """Run until the time or the count is reached; return the number of failures."""
    kinds = {k: v for k, v in KINDS.items() if k in only}
    files = {kind: makes() for kind, (makes, _, _) in kinds.items()}
    share = {kind: v[2] / sum(v[2] for v in kinds.values()) for kind, v in kinds.items()}
    spent, counts = dict.fromkeys(kinds, 0.0), {kind: [0, 0, 0] for kind in kinds}  # read, refused, failed
    slowest = dict.fromkeys(kinds, 0.0)
    for kind, own in files.items():
        for name, content in own.items():
            with tempfile.TemporaryDirectory() as whole:
                if not try_one(kind, name, content, Path(whole)):
                    print(f"{kind}, {name}: refused before it was damaged")
    folder, number, start = Path(tempfile.mkdtemp()), 0, time.monotonic()
    told = start
    while time.monotonic() < start + 60 * minutes and (count is None or number < count):
        kind = min(kinds, key=lambda k: spent[k] / share[k])
        number += 1
        rng = np.random.default_rng([seed, number])
        name = list(files[kind])[int(rng.integers(len(files[kind])))]
        content = kinds[kind][1](rng, files[kind][name])
        begin = time.process_time()
        try:
            counts[kind][0 if try_one(kind, name, content, folder) else 1] += 1
        except Exception as fault:
            counts[kind][2] += 1
            kept = folder / f"failed_{number}_{name}"
            kept.write_bytes(content)
            what = f"{type(fault).__name__}: {str(fault)[:200]} ({kept})"
            print(f"seed {seed}, number {number}, {kind}, {name}: {what}", flush=True)
        taken = time.process_time() - begin
        spent[kind] += taken
        slowest[kind] = max(slowest[kind], taken)
        if taken > SECONDS:
            print(f"seed {seed}, number {number}, {kind}, {name}: {taken:.0f} s")
        if time.monotonic() > told + 600:
            told = time.monotonic()
            print(table(counts, slowest), flush=True)
    print(table(counts, slowest))
    return sum(failed for *_, failed in counts.values())


def table(counts: dict, slowest: dict) -> str:
    """What was damaged so far; the slowest in seconds of the processor."""
    lines = [
        "| kind | damaged files | read | refused in words | failed | slowest (s) |",
        "|---|---:|---:|---:|---:|---:|",
    ]
    for kind, (read, refused, failed) in counts.items():
        total = read + refused + failed
        lines.append(f"| {kind} | {total:,} | {read:,} | {refused:,} | {failed:,} | {slowest[kind]:.2f} |")
    return "\n".join(lines)


if __name__ == "__main__":
    warnings.simplefilter("error")
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--count", type=int, help="stop after so many damaged files")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="+", choices=list(KINDS), default=list(KINDS))
    given = parser.parse_args()
    sys.exit(min(main(given.minutes, given.count, given.seed, given.only), 1))
