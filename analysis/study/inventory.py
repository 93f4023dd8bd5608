"""What is in a study folder: tables from CSV files or one workbook, and files that cannot be read or are not known."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from ..basics import did_you_mean
from .columns import TABLES
from .findings import Findings
from .headings import has_rows
from .privacy import file_name_trouble
from .settings import SETTINGS_FILE
from .text_files import Grid, Unreadable, read_csv_grid

WORKBOOK = "study.xlsx"
TABLE_ENDINGS = (".csv", ".tsv")
RECORDING_ENDINGS = (".fit", ".tcx", ".gpx", ".csv", ".tsv", ".txt")
"""Endings of recordings; each may also be compressed (.gz)."""

_OTHER_SHEETS = (".xls", ".ods", ".xlsm", ".xlsb", ".numbers")


@dataclass(frozen=True)
class Inventory:
    """What a study folder holds."""

    grids: dict[str, Grid] = field(default_factory=dict)
    recordings: tuple[str, ...] = ()
    aerobic_files: tuple[str, ...] = ()


def is_temporary(name: str) -> bool:
    """Return True for files that an office program, an editor or the system leaves behind."""
    return (
        name.startswith(("~", ".", "_"))
        or name.casefold() in ("thumbs.db", "desktop.ini")
        or name.endswith((".tmp", "~"))
    )


def take_inventory(folder: Path, findings: Findings) -> Inventory:
    """Read every table of the folder as texts, and list its recordings."""
    grids: dict[str, Grid] = {}
    misnamed: dict[str, Path] = {}
    try:
        names = sorted(p.name for p in folder.iterdir() if p.is_file() and not is_temporary(p.name))
    except OSError as error:
        problem = f"the folder cannot be read ({error.strerror or type(error).__name__})"
        findings.problem(folder.name, None, "", "", problem, "check that you may read it")
        return Inventory()
    for name in names:
        path = folder / name
        table, ending = path.stem.casefold(), path.suffix.casefold()
        if name == SETTINGS_FILE or ending in (".md", ".txt", ".docx", ".pdf", ".html", ".json", ".cff"):
            continue
        if ending in TABLE_ENDINGS and table in TABLES:
            _put(grids, table, _read(path, name, findings), findings)
        elif name.casefold() == WORKBOOK:
            _read_workbook(path, grids, findings)
        else:
            near = _unknown_file(name, path.stem, ending, findings)
            if near:
                misnamed[near] = path
    # a misnamed file is read all the same, so that what is wrong in it is named at the same time
    for table, path in misnamed.items():
        if table not in grids:
            grids[table] = _read(path, path.name, findings)
    for name in names:
        trouble = file_name_trouble(Path(name).stem) if Path(name).stem.casefold() not in TABLES else ""
        if trouble:
            _personal_file(name, name, trouble, findings)
    return Inventory(
        grids, _list_files(folder, "recordings", findings), _list_files(folder, "aerobic_files", findings)
    )


def _read(path: Path, name: str, findings: Findings) -> Grid:
    try:
        grid = read_csv_grid(path, file=name)
    except Unreadable as error:
        findings.problem(name, error.row, "", "", error.problem, error.remedy)
        return Grid(name, [])
    for noticed, advice in grid.remarks:
        findings.remark(name, None, "", "", noticed, advice)
    return grid


def _put(grids: dict[str, Grid], table: str, grid: Grid, findings: Findings) -> None:
    other = grids.get(table)
    if other is None or not has_rows(other, table):
        grids[table] = grid
        return
    if not has_rows(grid, table):
        return  # a tab that was left blank, beside a CSV file that was filled in
    findings.problem(
        grid.file,
        None,
        "",
        "",
        f"the table {table} stands twice: in {other.file} and in {grid.file}",
        "keep one of them; move the other out of the folder",
    )


def _read_workbook(path: Path, grids: dict[str, Grid], findings: Findings) -> None:
    from .workbook import read_workbook  # openpyxl costs time: only where there is a workbook

    try:
        sheets = read_workbook(path)
    except Unreadable as error:
        findings.problem(path.name, error.row, "", "", error.problem, error.remedy)
        return
    for tab, grid in sheets.items():
        for noticed, advice in grid.remarks:
            findings.problem(grid.file, None, "", "", noticed, advice)
        table = tab.strip().casefold().replace(" ", "_")
        if table in TABLES:
            _put(grids, table, grid, findings)
        elif table in ("notes", "note", "readme", "how_to"):
            continue
        else:
            near = did_you_mean(table, TABLES)
            if near and grid.rows:
                findings.problem(
                    grid.file,
                    None,
                    "",
                    tab,
                    f"no such table; did you mean {near}?",
                    f"name the tab {near}, or notes",
                )
            elif grid.rows:
                findings.remark(
                    grid.file,
                    None,
                    "",
                    tab,
                    "a tab that the kit does not know; it is not read",
                    "nothing, if that is meant",
                )


def _unknown_file(name: str, stem: str, ending: str, findings: Findings) -> str:
    """Report a file that the kit does not read; return the table that it probably is, or ""."""
    near = did_you_mean(stem, TABLES) if ending in TABLE_ENDINGS else ""
    if ending in _OTHER_SHEETS:
        problem = f"a spreadsheet of the kind {ending} is not read"
        findings.problem(name, None, "", "", problem, f"save it as {WORKBOOK} or as CSV files")
    elif ending == ".xlsx":
        problem = f"a workbook of another name than {WORKBOOK}"
        findings.problem(name, None, "", "", problem, f"name it {WORKBOOK}, or move it elsewhere")
    elif near:
        problem = f"no such table; did you mean {near}.csv?"
        findings.problem(name, None, "", "", problem, f"name the file {near}.csv, or move it elsewhere")
    elif ending in TABLE_ENDINGS:
        unknown = "a file that the kit does not know; it is not read"
        findings.remark(name, None, "", "", unknown, "nothing, if that is meant")
    return near


def _list_files(folder: Path, name: str, findings: Findings) -> tuple[str, ...]:
    inside = folder / name
    if not inside.is_dir():
        return ()
    files = sorted(
        path.relative_to(inside).as_posix()
        for path in inside.rglob("*")
        if path.is_file() and not is_temporary(path.name)
    )
    for file in files:
        trouble = file_name_trouble(Path(file).name.partition(".")[0])
        if trouble:
            _personal_file(f"{name}/", file, trouble, findings)
    return tuple(files)


def _personal_file(place: str, name: str, trouble: str, findings: Findings) -> None:
    findings.problem(
        place,
        None,
        "",
        name,
        f"the file name looks like {trouble}; a study folder holds codes only",
        "rename the file with the athlete's code, such as A07.fit",
    )
