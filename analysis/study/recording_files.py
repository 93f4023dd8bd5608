"""Which recording belongs to whom: rows of recordings.csv, else file names such as A07.fit and A07_s2_b.csv."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

import numpy as np
import pandas as pd

from ..basics import did_you_mean
from .columns import lines_of, place
from .findings import Findings
from .inventory import RECORDING_ENDINGS, Inventory, is_temporary

RECORDING_COLUMNS = ("session", "athlete", "path", "label", "clock_offset_s", "event_s", "device", "how")


def file_stem(name: str) -> str:
    """Return the name of a recording without folder and ending, .gz included."""
    bare = PurePosixPath(name).name
    if bare.casefold().endswith(".gz"):
        bare = bare[:-3]
    return PurePosixPath(bare).stem


def is_recording(name: str) -> bool:
    """Return True where a file name ends as recordings do."""
    bare = name.casefold().removesuffix(".gz")
    return bare.endswith(RECORDING_ENDINGS)


def read_file_name(name: str, codes: Iterable[str], *, session: str = "1") -> tuple[str, str] | None:
    """Return session and athlete of a file named CODE, CODE_s2 or CODE_s2_b; None where it is of another form."""
    stem = file_stem(name)
    for code in sorted(codes, key=len, reverse=True) or re.findall(r"^[A-Za-z]{0,3}\d{1,4}(?![^\W_])", stem):
        if stem[: len(code)].casefold() != code.casefold():
            continue
        rest = re.fullmatch(r"(?:[_\-]s(\w+?))?(?:[_\-](?:[a-z]|\d{1,2}))?", stem[len(code) :], re.IGNORECASE)
        if rest:
            return rest[1] or session, code
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
        if path.is_file():
            return path
    return None


def leads_out(name: str) -> bool:
    """Return True where a listed file name leads out of the study folder."""
    bare = name.replace("\\", "/")
    return (
        bare.startswith(("/", "~"))
        or ".." in bare.split("/")
        or re.match(r"[a-z]:", bare, re.IGNORECASE) is not None
    )


def check_files(
    folder: Path, tables: dict[str, pd.DataFrame], inventory: Inventory, findings: Findings
) -> None:
    """Check that the files that tables list are there."""
    present = {"recordings": inventory.recordings, "aerobic_files": inventory.aerobic_files}
    for table, subfolder in (
        ("recordings", "recordings"),
        ("aerobic_tests", "aerobic_files"),
        ("survey", "recordings"),
    ):
        known: dict[str, Path | None] = {}
        for line in lines_of(tables[table][tables[table]["file"] != ""]):
            if line.file not in known:
                known[line.file] = inside_folder(folder, line.file, subfolder)
            if known[line.file] is not None:
                continue
            where = place(table, line)
            if leads_out(line.file):
                remedy = f"copy the file into {subfolder}/ and write its name alone"
                findings.problem(
                    *where, "file", line.file, "a path that leads out of the study folder", remedy
                )
                continue
            near = did_you_mean(line.file, present[subfolder])
            hint = f"; did you mean {near}?" if near else ""
            remedy = f"write {near}" if near else f"put the file into {subfolder}/, or correct its name"
            findings.problem(
                *where, "file", line.file, f"there is no such file in {subfolder}/{hint}", remedy
            )


def check_unlisted(
    names: Iterable[str],
    recordings: pd.DataFrame,
    survey: pd.DataFrame,
    codes: list[str],
    gone: frozenset[str],
    session: str,
    findings: Findings,
) -> None:
    """Name the recordings that belong to nobody; those of people who withdrew are counted, not named."""
    listed = {
        f.replace("\\", "/").removeprefix("recordings/") for f in [*recordings["file"], *survey["file"]]
    }
    pairs = set(zip(recordings["session"], recordings["athlete"], strict=True))
    left_over, unsent = 0, 0
    for name in names:
        if not is_recording(name) or is_temporary(Path(name).name) or name in listed:
            continue
        if gone and read_file_name(name, gone):
            left_over += 1
            continue
        owner = read_file_name(name, codes, session=session)
        if len(survey) and not codes:
            unsent += 1
        elif owner is None and codes:
            findings.problem(
                "recordings/",
                None,
                "",
                name,
                "a recording that belongs to nobody: no table lists it and its name begins with no code",
                "name it by code and session, such as A07_s2.fit, list it in recordings.csv, or move it out",
            )
        elif owner in pairs:
            findings.remark(
                "recordings/",
                None,
                "",
                name,
                f"not read: recordings.csv lists other files of {owner[1]} in session {owner[0]}, but not this one",
                "add a row for it, or move it out",
            )
    if unsent:
        problem = (
            f"{unsent} {'file' if unsent == 1 else 'files'} that the survey table does not list; not read"
        )
        findings.remark("recordings/", None, "", "", problem, "write the file names in the column file")
    if left_over:
        findings.remark(
            "recordings/",
            None,
            "",
            "",
            f"{left_over} {'file' if left_over == 1 else 'files'} of people who withdrew; not read",
            "delete what the person asked you to delete",
        )


def find_recordings(study) -> pd.DataFrame:
    """Return the recordings of the athletes who are analysed."""
    lines = []
    for line in lines_of(study.recordings):
        path = inside_folder(study.folder, line.file, "recordings")
        if path is not None:
            device = line.device or _device(study, line.session, line.athlete)
            clock = (line.clock_offset_s, line.event_s)
            lines.append(
                (line.session, line.athlete, path, line.column_or_label, *clock, device, "recordings table")
            )
    # the ledger knows all rows of recordings.csv, also those that a decision set aside
    rows = study.ledger.table.query("table == 'recordings'")
    listed = set(zip(rows["session"], rows["athlete"], strict=True))
    inside = study.folder / "recordings"
    files = sorted(p for p in inside.rglob("*") if p.is_file()) if inside.is_dir() else []
    codes, session = _codes(study), usual_session(study.sessions)
    for path in files if codes is not None else ():
        if not is_recording(path.name) or is_temporary(path.name):
            continue
        owner = read_file_name(path.name, codes, session=session)
        if owner and owner not in listed:
            lines.append((*owner, path, "", np.nan, np.nan, _device(study, *owner), "file name"))
    table = pd.DataFrame(lines, columns=list(RECORDING_COLUMNS))
    for name in ("clock_offset_s", "event_s"):
        table[name] = table[name].astype("float64")
    return table.sort_values(["session", "athlete", "how"], kind="stable", ignore_index=True)


def _codes(study) -> list[str] | None:
    """Return the codes that file names may begin with; none but an empty list where no table names any."""
    if (study.ledger.table["table"] == "athletes").any():
        return list(study.athletes["athlete"]) or None  # all of them set aside: nobody's recordings
    return list(dict.fromkeys([*study.rounds["athlete"], *study.attendance["athlete"]]))


def _device(study, session: str, athlete: str) -> str:
    sheet = study.attendance
    found = sheet.loc[(sheet["session"] == session) & (sheet["athlete"] == athlete), "device"]
    return found.iloc[0] if len(found) else ""
