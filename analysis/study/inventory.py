"""What is in a study folder: tables from CSV files or one workbook, and files that cannot be read or are not known."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

import numpy as np
import pandas as pd

from ..basics import did_you_mean
from ..recordings import ENDINGS
from .columns import TABLES, has_rows, lines_of, place
from .privacy import Mentions, file_name_trouble
from .problems import Findings, asked
from .settings import SETTINGS_FILE
from .text_files import CLUB_ROWS, MAX_ROWS, Grid, Unreadable, read_csv_grid

WORKBOOK = "study.xlsx"
TABLE_ENDINGS = (".csv", ".tsv")

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


_NOT_INPUT = frozenset({"output", "notebooks"})


def checksum(path: str | Path) -> str:
    """Return the SHA-256 of a file, or "cannot be read"."""
    try:
        with Path(path).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return "cannot be read"


def plain_name(path: str | Path) -> str:
    """Return a path with forward slashes as text that can be written: what is not UTF-8 becomes \\xe9 and the like."""
    return os.fsencode(PurePosixPath(*Path(path).parts)).decode("utf-8", "backslashreplace")


def input_checksums(folder: str | Path) -> dict[str, str]:
    """Return the checksum of every input file of a study folder; file names that look like a person's are not told."""
    folder, found = Path(folder), {}
    for path in sorted(folder.rglob("*")):
        inside = path.relative_to(folder)
        if not path.is_file() or inside.parts[0] in _NOT_INPUT:
            continue
        if any(p.startswith((".", "~$")) or p == "__pycache__" for p in inside.parts) or leaves(path, folder):
            continue
        told = not any(file_name_trouble(part.partition(".")[0]) for part in inside.parts)
        found |= _named(plain_name(inside) if told else "", checksum(path))
    return found


UNTOLD = "a file whose name is not told"


def _named(name: str, content: str) -> dict[str, str]:
    return {name or f"{UNTOLD}, {content[:12]}": content}


def untold(checksums: dict[str, str], codes: Iterable[str]) -> dict[str, str]:
    """Return checksums without the names of files that hold one of the codes: of people who are not in the study."""
    mentions = Mentions(codes)
    told: dict[str, str] = {}
    for name, content in checksums.items():
        told |= _named(name if mentions.replace(name, lambda code: "") == name else "", content)
    return told


def leaves(path: Path, folder: Path) -> bool:
    """Return True where a file is a link, or lies behind one, that leads out of the folder."""
    try:
        return not path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):
        return True


def take_inventory(folder: Path, findings: Findings) -> Inventory:
    """Read every table of the folder as texts, and list its recordings."""
    grids: dict[str, Grid] = {}
    misnamed: dict[str, Path] = {}
    try:
        there = sorted(p for p in folder.iterdir() if not is_temporary(p.name))
        names = [p.name for p in there if not _refused(p, folder, findings) and p.is_file()]
    except OSError as error:
        problem = f"the folder cannot be read ({error.strerror or type(error).__name__})"
        findings.problem_of(folder.name, problem, "check that you may read it")
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
    return Inventory(grids, _list_files(folder, "recordings", findings), _list_files(folder, "aerobic_files", findings))


def _refused(path: Path, folder: Path, findings: Findings) -> bool:
    """Name what has the name of an input and is none: a folder, a pipe, or a link that leads nowhere or out."""
    name = path.name
    table = path.suffix.casefold() in TABLE_ENDINGS and path.stem.casefold() in TABLES
    wanted = "folder" if name in ("recordings", "aerobic_files") else "file"
    if wanted == "folder":
        fits = path.is_dir()  # where it is a link, each of its files has a line of its own
    elif table or name.casefold() == WORKBOOK or (name == SETTINGS_FILE and path.is_file()):
        fits = path.is_file() and not (path.is_symlink() and leaves(path, folder))
    else:
        return False
    if not fits:
        problem, remedy = not_itself(path, folder)
        problem, remedy = problem or f"not a {wanted}", remedy or f"put a {wanted} of that name there"
        findings.problem_of(name, problem, remedy)
    return not fits


def not_itself(path: Path, folder: Path) -> tuple[str, str]:
    """Problem and remedy of a link that leads nowhere or out of the study folder; blank for anything else."""
    if not path.is_symlink():
        return "", ""
    if not path.exists():
        return "a link that leads nowhere", "put the file itself there, or take the link away"
    if leaves(path, folder):
        return "a link that leads out of the study folder", "put the file itself there"
    return "", ""


def _read(path: Path, name: str, findings: Findings) -> Grid:
    try:
        most = MAX_ROWS if path.stem.casefold() == "survey" else CLUB_ROWS
        grid = read_csv_grid(path, file=name, most_rows=most)
    except Unreadable as error:
        findings.problem(name, error.row, "", "", error.problem, error.remedy)
        return Grid(name, [])
    for noticed, advice in grid.remarks:
        findings.remark_of(name, noticed, advice)
    return grid


def _put(grids: dict[str, Grid], table: str, grid: Grid, findings: Findings) -> None:
    other = grids.get(table)
    if other is None or not has_rows(other, table):
        grids[table] = grid
        return
    if not has_rows(grid, table):
        return  # a tab that was left blank, beside a CSV file that was filled in
    problem = f"the table {table} stands twice: in {other.file} and in {grid.file}"
    remedy = "keep one of them; move the other out of the folder"
    findings.problem_of(grid.file, problem, remedy)


def _read_workbook(path: Path, grids: dict[str, Grid], findings: Findings) -> None:
    from .workbook import read_workbook

    try:
        sheets = read_workbook(path)
    except Unreadable as error:
        findings.problem(path.name, error.row, "", "", error.problem, error.remedy)
        return
    for tab, grid in sheets.items():
        for noticed, advice in grid.remarks:
            findings.problem_of(grid.file, noticed, advice)
        table = tab.strip().casefold().replace(" ", "_")
        if table in TABLES:
            _put(grids, table, grid, findings)
        elif table in ("notes", "note", "readme", "how_to"):
            continue
        else:
            near = did_you_mean(table, TABLES)
            if near and grid.rows:
                findings.problem_of(
                    grid.file, f"no such table; did you mean {near}?", f"name the tab {near}, or notes", value=tab
                )
            elif grid.rows:
                problem = "a tab that the kit does not know; it is not read"
                remedy = "nothing, if that is meant"
                findings.remark_of(grid.file, problem, remedy, value=tab)


def _unknown_file(name: str, stem: str, ending: str, findings: Findings) -> str:
    """Report a file that the kit does not read; return the table that it probably is, or ""."""
    near = did_you_mean(stem, TABLES) if ending in TABLE_ENDINGS else ""
    if ending in _OTHER_SHEETS:
        problem = f"a spreadsheet of the kind {ending} is not read"
        findings.problem_of(name, problem, f"save it as {WORKBOOK} or as CSV files")
    elif ending == ".xlsx":
        problem = f"a workbook of another name than {WORKBOOK}"
        findings.problem_of(name, problem, f"name it {WORKBOOK}, or move it elsewhere")
    elif near:
        problem = f"no such table; did you mean {near}.csv?"
        findings.problem_of(name, problem, f"name the file {near}.csv, or move it elsewhere")
    elif ending in TABLE_ENDINGS:
        unknown = "a file that the kit does not know; it is not read"
        findings.remark_of(name, unknown, "nothing, if that is meant")
    return near


def _list_files(folder: Path, name: str, findings: Findings) -> tuple[str, ...]:
    inside = folder / name
    if not inside.is_dir():
        return ()
    files = []
    for path in sorted(inside.rglob("*")):
        to_folder = path.is_symlink() and path.is_dir()  # whose files nobody would see
        if (path.is_dir() and not to_folder) or is_temporary(path.name):
            continue
        file = path.relative_to(inside).as_posix()
        problem, remedy = not_itself(path, folder)
        if to_folder:
            problem, remedy = "a link to a folder, which is not followed", "put the files themselves there"
        elif problem:
            file = plain_name(file)
        elif not path.is_file():
            problem, remedy = "not a file", "put a file of that name there, or take this away"
        elif leaves(path, folder):
            problem, remedy = "a link that leads out of the study folder", "put the file itself there"
        elif plain_name(file) != file:
            problem = "the file name holds signs that this computer cannot write"
            file, remedy = plain_name(file), "rename it with the athlete's code, such as A07.fit"
        if problem:
            findings.problem_of(f"{name}/", problem, remedy, value=file)
        else:
            files.append(file)
    for file in files:
        trouble = file_name_trouble(Path(file).name.partition(".")[0])
        if trouble:
            _personal_file(f"{name}/", file, trouble, findings)
    return tuple(files)


def _personal_file(place: str, name: str, trouble: str, findings: Findings) -> None:
    problem = f"the file name looks like {trouble}; a study folder holds codes only"
    remedy = "rename the file with the athlete's code, such as A07.fit"
    findings.problem_of(place, problem, remedy, value=name)


RECORDING_COLUMNS = (
    "session", "athlete", "path", "label", "clock_offset_s", "event_s", "worn_from", "worn_until", "device", "how",
)  # fmt: skip


def file_stem(name: str) -> str:
    """Return the name of a recording without folder and ending, .gz included."""
    bare = PurePosixPath(name).name
    if bare.casefold().endswith(".gz"):
        bare = bare[:-3]
    return PurePosixPath(bare).stem


def is_recording(name: str) -> bool:
    """Return True where a file name ends as recordings do."""
    bare = name.casefold().removesuffix(".gz")
    return bare.endswith(ENDINGS)


def read_file_name(
    name: str, codes: Iterable[str], *, session: str = "1", sessions: Iterable[str] = ()
) -> tuple[str, str] | None:
    """Return session and athlete of a file whose name begins with a code; None where it begins with none."""
    # What follows the code may name the session after an s, as in CODE_s2 or CODE_s2_b; anything else says
    # nothing.
    stem = file_stem(name)
    known = {s.casefold(): s for s in sessions}
    for code in sorted(codes, key=len, reverse=True) or re.findall(r"^[A-Za-z]{0,3}\d{1,4}(?![^\W_])", stem):
        rest = stem[len(code) :]
        if stem[: len(code)].casefold() != code.casefold() or re.match(r"[^\W_]", rest):
            continue
        for word in re.findall(r"(?<=[_\-\s])s(\w+?)(?![^\W_])", rest, re.IGNORECASE):
            if word.casefold() in known or re.fullmatch(r"\d+[a-z]?", word, re.IGNORECASE):
                return known.get(word.casefold(), word), code
        return session, code
    return None


def usual_session(sessions: pd.DataFrame) -> str:
    """Return the session of a file whose name says none: the only one that there is, else 1."""
    known = list(dict.fromkeys(sessions["session"]))
    return known[0] if len(known) == 1 else "1"


def inside_folder(folder: Path, name: str, subfolder: str) -> Path | None:
    """Return the path of a listed file inside the study folder, or None where there is none or it leads out."""
    if leads_out(name):
        return None
    relative = PurePosixPath(name.replace("\\", "/"))
    for path in (folder / subfolder / relative, folder / relative):
        try:
            if path.is_file() and not leaves(path, folder):
                return path
        except OSError:  # a name longer than any file system allows
            return None
    return None


def leads_out(name: str) -> bool:
    """Return True where a listed file name leads out of the study folder."""
    bare = name.replace("\\", "/")
    return (
        bare.startswith(("/", "~")) or ".." in bare.split("/") or re.match(r"[a-z]:", bare, re.IGNORECASE) is not None
    )


def check_files(folder: Path, tables: dict[str, pd.DataFrame], inventory: Inventory, findings: Findings) -> None:
    """Check that the files that tables list are there."""
    present = {"recordings": inventory.recordings, "aerobic_files": inventory.aerobic_files}
    for table, column, subfolder in (
        ("recordings", "file", "recordings"),
        ("aerobic_tests", "file", "aerobic_files"),
        ("aerobic_tests", "verification_file", "aerobic_files"),
        ("survey", "file", "recordings"),
    ):
        known: dict[str, Path | None] = {}
        for line in lines_of(tables[table], tables[table][column] != ""):
            file = getattr(line, column)
            if file not in known:
                known[file] = inside_folder(folder, file, subfolder)
            if known[file] is not None:
                continue
            where = place(table, line)
            if leads_out(file):
                remedy = f"copy the file into {subfolder}/ and write its name alone"
                findings.problem(*where, column, file, "a path that leads out of the study folder", remedy)
                continue
            near = did_you_mean(file, present[subfolder])
            remedy = f"write {near}" if near else f"put the file into {subfolder}/, or correct its name"
            findings.problem(*where, column, file, f"there is no such file in {subfolder}/{asked(near)}", remedy)


def check_unlisted(
    names: Iterable[str], recordings: pd.DataFrame, survey: pd.DataFrame, codes: list[str], gone: frozenset[str],
    sessions: pd.DataFrame, findings: Findings,
) -> None:  # fmt: skip
    """Name the recordings that belong to nobody; those of people who withdrew are counted, not named."""
    listed = {f.replace("\\", "/").removeprefix("recordings/") for f in [*recordings["file"], *survey["file"]]}
    pairs = set(zip(recordings["session"], recordings["athlete"], strict=True))
    session = usual_session(sessions)
    left_over, unsent = 0, 0
    for name in names:
        if not is_recording(name) or is_temporary(Path(name).name) or name in listed:
            continue
        if gone and read_file_name(name, gone):
            left_over += 1
            continue
        owner = read_file_name(name, codes, session=session, sessions=sessions["session"])
        if len(survey) and not codes:
            unsent += 1
        elif owner is None and codes:
            problem = "a recording that belongs to nobody: no table lists it and its name begins with no code"
            remedy = "name it by code and session, such as A07_s2.fit, list it in recordings.csv, or move it out"
            findings.problem_of("recordings/", problem, remedy, value=name)
        elif owner in pairs:
            problem = (
                f"not read: recordings.csv lists other files of {owner[1]} in session {owner[0]}, but not this one"
            )
            remedy = "add a row for it, or move it out"
            findings.remark_of("recordings/", problem, remedy, value=name)
    if unsent:
        problem = f"{unsent} {'file' if unsent == 1 else 'files'} that the survey table does not list; not read"
        findings.remark_of("recordings/", problem, "write the file names in the column file")
    if left_over:
        problem = f"{left_over} {'file' if left_over == 1 else 'files'} of people who withdrew; not read"
        remedy = "delete what the person asked you to delete"
        findings.remark_of("recordings/", problem, remedy)


def find_recordings(study) -> pd.DataFrame:
    """Return the recordings of the athletes who are analysed."""
    lines = []
    for line in lines_of(study.recordings):
        path = inside_folder(study.folder, line.file, "recordings")
        if path is not None:
            device = line.device or _device(study, line.session, line.athlete)
            clock = (line.clock_offset_s, line.event_s, line.worn_from, line.worn_until)
            lines.append((line.session, line.athlete, path, line.column_or_label, *clock, device, "recordings table"))
    # the ledger knows all rows of recordings.csv, also those that a decision set aside
    rows = study.ledger.table.query("table == 'recordings'")
    listed = set(zip(rows["session"], rows["athlete"], strict=True))
    inside = study.folder / "recordings"
    files = sorted(p for p in inside.rglob("*") if p.is_file()) if inside.is_dir() else []
    codes, session = _codes(study), usual_session(study.sessions)
    for path in files if codes is not None else ():
        if not is_recording(path.name) or is_temporary(path.name) or leaves(path, study.folder):
            continue
        owner = read_file_name(path.name, codes, session=session, sessions=study.sessions["session"])
        if owner and owner not in listed:
            lines.append((*owner, path, "", np.nan, np.nan, "", "", _device(study, *owner), "file name"))
    table = pd.DataFrame(lines, columns=list(RECORDING_COLUMNS))
    for name in ("clock_offset_s", "event_s"):
        table[name] = table[name].astype("float64")
    return table.sort_values(["session", "athlete", "how"], kind="stable", ignore_index=True)


def _codes(study) -> list[str] | None:
    """Return the codes that file names may begin with: those of the athletes who may be analysed, or None."""
    return list(study.athletes["athlete"]) or None


def _device(study, session: str, athlete: str) -> str:
    sheet = study.attendance
    found = sheet.loc[(sheet["session"] == session) & (sheet["athlete"] == athlete), "device"]
    return found.iloc[0] if len(found) else ""
