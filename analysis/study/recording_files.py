"""Which recording belongs to whom: rows of recordings.csv, else file names such as A07.fit and A07_s2_b.csv."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

import pandas as pd

from ..basics import did_you_mean
from .columns import lines_of
from .crosscheck import place
from .findings import Findings
from .inventory import RECORDING_ENDINGS, Inventory, is_temporary

RECORDING_COLUMNS = ("session", "athlete", "path", "label", "clock_offset_s", "device", "how")


def file_stem(name: str) -> str:
    """Return the name of a recording without folder and ending, .gz included.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> file_stem("evening_1/A07_s2_b.csv.gz")
    'A07_s2_b'
    """
    bare = PurePosixPath(name).name
    if bare.casefold().endswith(".gz"):
        bare = bare[:-3]
    return PurePosixPath(bare).stem


def is_recording(name: str) -> bool:
    """Return True where a file name ends as recordings do.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool

    Examples
    --------
    >>> is_recording("A07.fit.gz"), is_recording("photo.jpg")
    (True, False)
    """
    bare = name.casefold().removesuffix(".gz")
    return bare.endswith(RECORDING_ENDINGS)


def read_file_name(name: str, codes: Iterable[str]) -> tuple[str, str] | None:
    """Return session and athlete of a file named CODE, CODE_s2 or CODE_s2_b; None where it is of another form.

    Parameters
    ----------
    name : str
    codes : iterable of str
        Codes of the athletes.

    Returns
    -------
    tuple of str or None

    Examples
    --------
    >>> read_file_name("A07_s2_b.csv", ["A07"]), read_file_name("A07.fit", ["A07"])
    (('2', 'A07'), ('1', 'A07'))
    """
    stem = file_stem(name)
    for code in sorted(codes, key=len, reverse=True):
        if stem[: len(code)].casefold() != code.casefold():
            continue
        rest = re.fullmatch(r"(?:[_\-]s(\w+?))?(?:[_\-](?:[a-z]|\d{1,2}))?", stem[len(code) :], re.IGNORECASE)
        if rest:
            return rest[1] or "1", code
    return None


def inside_folder(folder: Path, name: str, subfolder: str) -> Path | None:
    """Return the path of a listed file inside the study folder, or None where there is none or it leads out.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder.
    name : str
        As the table lists it.
    subfolder : str
        Where such files lie.

    Returns
    -------
    pathlib.Path or None
    """
    if leads_out(name):
        return None
    relative = PurePosixPath(name.replace("\\", "/"))
    for path in (folder / subfolder / relative, folder / relative):
        if path.is_file():
            return path
    return None


def leads_out(name: str) -> bool:
    """Return True where a listed file name leads out of the study folder.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool

    Examples
    --------
    >>> leads_out("../other/A07.fit"), leads_out("evening_1/A07.fit")
    (True, False)
    """
    bare = name.replace("\\", "/")
    return (
        bare.startswith(("/", "~"))
        or ".." in bare.split("/")
        or re.match(r"[a-z]:", bare, re.IGNORECASE) is not None
    )


def check_files(
    folder: Path, tables: dict[str, pd.DataFrame], inventory: Inventory, findings: Findings
) -> None:
    """Check that the files that tables list are there.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder.
    tables : dict of str to DataFrame
        Converted tables.
    inventory : Inventory
        The files that there are.
    findings : Findings
        Takes the problems.
    """
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
    findings: Findings,
) -> None:
    """Name the recordings that belong to nobody; those of people who withdrew are counted, not named.

    Parameters
    ----------
    names : iterable of str
        Files in recordings/.
    recordings, survey : DataFrame
        The tables that list files.
    codes : list of str
        Codes of the athletes; empty where there is no athletes table.
    gone : frozenset of str
        Codes of people who withdrew.
    findings : Findings
        Takes the problems.
    """
    listed = {
        f.replace("\\", "/").removeprefix("recordings/") for f in [*recordings["file"], *survey["file"]]
    }
    left_over = 0
    for name in names:
        if not is_recording(name) or is_temporary(Path(name).name):
            continue
        if gone and read_file_name(name, gone):
            left_over += 1
        elif name not in listed and codes and read_file_name(name, codes) is None:
            findings.problem(
                "recordings/",
                None,
                "",
                name,
                "a recording that belongs to nobody: no table lists it and its name begins with no code",
                "name it by code and session, such as A07_s2.fit, list it in recordings.csv, or move it out",
            )
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
    """Return the recordings of the athletes who are analysed.

    Parameters
    ----------
    study : Study

    Returns
    -------
    pandas.DataFrame
        session, athlete, path (absolute), label, clock_offset_s, device, how.
    """
    lines = []
    listed: set[Path] = set()
    for line in lines_of(study.recordings):
        path = inside_folder(study.folder, line.file, "recordings")
        if path is None:
            continue
        listed.add(path.resolve())
        lines.append(
            (
                line.session,
                line.athlete,
                path,
                line.column_or_label,
                line.clock_offset_s,
                line.device,
                "recordings table",
            )
        )
    inside = study.folder / "recordings"
    if inside.is_dir():
        codes = list(study.athletes["athlete"]) or list(dict.fromkeys(study.rounds["athlete"]))
        for path in sorted(p for p in inside.rglob("*") if p.is_file()):
            if path.resolve() in listed or is_temporary(path.name):
                continue
            found = read_file_name(path.name, codes) if is_recording(path.name) else None
            if found:
                lines.append((*found, path, "", float("nan"), _device(study, *found), "file name"))
    table = pd.DataFrame(lines, columns=list(RECORDING_COLUMNS))
    table["clock_offset_s"] = table["clock_offset_s"].astype("float64")
    return table.sort_values(["session", "athlete", "how"], kind="stable", ignore_index=True)


def _device(study, session: str, athlete: str) -> str:
    sheet = study.attendance
    found = sheet.loc[(sheet["session"] == session) & (sheet["athlete"] == athlete), "device"]
    return found.iloc[0] if len(found) else ""
