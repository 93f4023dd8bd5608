"""`new`: an empty study folder to fill in, as one workbook or as CSV files."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from string import Template

from ..basics import KitError, check_choice, did_you_mean, join_words
from ..basics.errors import expand_home
from ..environment import python_name
from .aerobic import known_tests, more_columns, needed_inputs
from .columns import Column, column_rules, describe_columns
from .fixing import write_whole
from .inventory import WORKBOOK, checksum, plain_name
from .outcomes import OUTCOMES, proposed_directions, proposed_outcomes
from .plan import MOST_ATHLETES, PROPOSED_REASON, propose_hypothesis
from .settings import SCALES, SETTINGS_FILE
from .text_files import Slip
from .times import read_duration
from .training import FILES as TRAINING_FILES
from .workbook import Tab, write_forms

FOLDER = Path(__file__).with_name("templates")
REPORT_TEXTS = Path(__file__).parents[1] / "report" / "texts"
"""Templates of pages that the write-up fills in; a new folder gets a copy to rewrite."""

STUDY_SHEETS = (
    *("sessions", "clock", "athletes", "attendance", "rounds", "aerobic_tests", "recordings", "published", "decisions"),
)
SURVEY_SHEETS = ("survey", "decisions")
TRAINING_SHEETS = ("allocation", "training_log", "adverse_events")
_USUAL_INPUTS = ("vo2max_ml_kg_min", "level", "shuttle", "distance_m", "time_min")
_UNITS = {
    "code": "code", "yes_no": "yes/no", "date": "date", "clock": "hh:mm", "file": "file name", "whole": "number",
    "round": "number", "opponent": "code, guest, none", "minutes": "m:ss",
}  # fmt: skip


def sheet_columns(table: str, tests: Iterable[str] = (), *, training: bool = False) -> tuple[str, ...]:
    """Return the columns of a sheet, in the order of the printed sheet and of the workbook."""
    if table != "aerobic_tests":
        # a limit is typed as HI, LO or < 2 where the value would stand
        hidden = {
            "rounds": ("lactate_limit", "lactate_bound_mmol_l"),
            "lactate": ("lactate_limit", "lactate_bound_mmol_l"),
            "athletes": ("grade_rank",),  # follows from grade
            "sessions": () if training else ("phase", "occasion"),
        }.get(table, ())
        return tuple(name for name in column_rules()[table] if name not in hidden)
    known = {"mass_kg", "age_years", "sex"}  # these stand in the athletes table
    inputs: dict[str, None] = {}
    for test in tests:
        for needs in needed_inputs(test)[:1]:
            inputs |= dict.fromkeys("file" if n == "samples" else n for n in needs if n not in known)
        if test in ("laboratory", "gas_exchange"):
            inputs |= {"averaging": None}
        if test == "gas_exchange":
            inputs |= {"verification_file": None}
        if test == "judo_throwing_test":  # for its index
            inputs |= {"hr_after_bpm": None, "hr_1min_bpm": None}
    names = inputs or dict.fromkeys(("file", *_USUAL_INPUTS))
    when = ("phase", "occasion") if training else ()
    return ("athlete", "date", *when, "test", *names, "note")


def sheet_column(table: str, name: str) -> Column:
    """Return the rule of a column of a sheet."""
    return column_rules()[table].get(name) or more_columns()[name]


def unit_words(column: Column) -> str:
    """Return what the units row of a sheet says about a column."""
    if column.choices:
        return "/".join(column.choices)
    return _UNITS.get(column.kind) or column.unit or ("text" if column.is_text else "number")


def settings_text(
    *, rounds: int, work_s: float, rest_s: float, scale: str, survey: bool, tests: Iterable[str] = (),
    training: bool = False, athletes: int = 0,
) -> str:  # fmt: skip
    """Return study.toml of a new folder."""
    if survey:
        return read_template("survey.toml")
    asked = [propose_hypothesis(q, proposed_outcomes()[q], d) for q, d in proposed_directions().items()]
    blocks = (
        f'[[plan.hypotheses]]\nquestion = "{h.question}"\noutcome = "{h.outcome}"\ndirection = "{h.direction}"\n'
        f'text = "{h.text}"\n'
        for h in asked
    )
    primary = dict.fromkeys(proposed_outcomes().values())
    text = Template(read_template("study.toml")).substitute(
        date_order='# date_order = "day first"  # only where dates are typed as 03/04/2026\n',
        rounds=rounds,
        work=minutes_text(work_s),
        rest=minutes_text(rest_s),
        scale=scale,
        planned=f"{f'n_athletes = {athletes}' if athletes else '# n_athletes = 12':30}",
        tests=", ".join(f'"{test}"' for test in tests),
        hypotheses="\n".join(blocks),
        effects="\n".join(f"{o} = {OUTCOMES[o].smallest_effect:g}" for o in primary),
        reasons="\n".join(f'{o} = "{PROPOSED_REASON}"' for o in primary),
    )
    return text + (read_template("training.toml") if training else "")


def minutes_text(seconds: float) -> str:
    """Return seconds as m:ss."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def read_template(name: str) -> str:
    """Return the text of a template, with the command as it is typed here."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    return text.replace("python3 -m analysis", f"{python_name()} -m analysis")


def readme_text(*, survey: bool, training: bool = False) -> str:
    """Return README.md of a new folder."""
    if survey:
        parts = (
            "A survey of sessions",
            "Tell the senders in writing what you ask, what becomes of it and how to take it back, and have that text seen by "
            "your\n   ethics committee.",
            "the tab `survey` of `study.xlsx` (or `survey.csv`); recordings that came with a session go into `recordings/`",
            "5. Then notebook 08.",
        )
    else:
        steps = (
            read_template("training_steps.md")
            if training
            else f"5. Fix the plan before the first measurement: `{python_name()} -m analysis freeze FOLDER`.\n"
        )
        steps += "" if training else f"6. Write everything up: `{python_name()} -m analysis report FOLDER`."
        parts = (
            "A sparring study",
            "Rewrite the files in `texts/` in your own words and language, and have them seen by your ethics committee.",
            "the tabs of `study.xlsx` (or the CSV files). Recordings go into `recordings/`, gas-exchange files into\n"
            "   `aerobic_files/`",
            steps,
        )
    return Template(read_template("README.md")).substitute(
        dict(zip(("kind", "texts", "tables", "steps"), parts, strict=True))
    )


def texts_to_rewrite(*, training: bool = False) -> dict[str, str]:
    """Return the texts that a club rewrites: file name -> text."""
    files = [*sorted((FOLDER / "texts").glob("*.md")), *sorted(REPORT_TEXTS.glob("*.md"))]
    files = [path for path in files if training or not path.name.startswith("training_")]
    return {path.name: path.read_text(encoding="utf-8") for path in files}


def new_study(
    folder: str | Path, *, tests: Iterable[str] = (), rounds: int = 4, work: str | float = "5:00",
    rest: str | float = "2:00", scale: str = "6-20", survey: bool = False, training: bool = False,
    workbook: bool = True, athletes: int = 0,
) -> Path:  # fmt: skip
    """Make an empty study folder.

    Parameters
    ----------
    folder : path
        Must not exist, or be empty (what a stopped `new` left in it is taken back first), and must not lie inside a git work
        tree: it will hold health data.
    tests : iterable of str
        Aerobic tests that the club uses; their sheet has the inputs of these tests alone.
    rounds : int
        Rounds of the protocol, 1 to 30. Default 4.
    work, rest : str or float
        Length of a round and of the rest, as m:ss or in seconds. Default 5:00 and 2:00.
    scale : str
        Exertion scale: "6-20" (default), "0-10" or "0-100".
    survey : bool
        For sessions that other people send in, instead of rounds.
    training : bool
        For a study that assigns training: adds [training], the tables of the groups, the training and adverse events, and
        phases. Default False.
    workbook : bool
        One study.xlsx (default), or CSV files.
    athletes : int
        How many will come: the tables then hold their codes and rounds already, and study.toml plans for them. Default 0: none.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    KitError
        Where the folder may not be used or an option makes no sense; nothing is written then.

    Examples
    --------
    >>> import tempfile
    >>> made = new_study(Path(tempfile.mkdtemp()) / "autumn", tests=["run_12_min"], rest="1:30", workbook=False)
    >>> sorted(p.name for p in made.iterdir())[:3]
    ['README.md', 'aerobic_files', 'aerobic_tests.csv']
    """
    folder = expand_home(folder)
    tests = tuple(dict.fromkeys(tests))
    _check_options(tests, rounds, scale)
    work_s, rest_s = _seconds(work, "work", 10, 3600), _seconds(rest, "rest", 0, 7200)
    _check_folder(folder)
    if survey and training:
        raise KitError("A survey of sessions assigns no training: give --survey or --training, not both.")
    settings = settings_text(
        rounds=rounds, work_s=work_s, rest_s=rest_s, scale=scale, survey=survey, tests=tests, training=training,
        athletes=athletes,
    )  # fmt: skip
    if athletes > MOST_ATHLETES:
        raise KitError(f"{athletes} athletes: a study of this kit has at most {MOST_ATHLETES}.")
    known = known_rows(make_codes(athletes), rounds, tests=tests) if athletes and not survey else {}
    sheets = SURVEY_SHEETS if survey else STUDY_SHEETS + (TRAINING_SHEETS if training else ())
    folders = ["recordings"]
    texts: dict[str, str] = {}
    if not survey:
        folders += ["aerobic_files", "texts", *([TRAINING_FILES] if training else [])]
        texts = texts_to_rewrite(training=training)
    aside = _aside_of(folder)
    try:
        aside.mkdir(parents=True)
        _write(aside / SETTINGS_FILE, settings)
        _write(aside / "README.md", readme_text(survey=survey, training=training))
        for name in folders:
            (aside / name).mkdir()
        for name, text in texts.items():
            _write(aside / "texts" / name, text)
        if workbook:
            _write_workbook(aside / WORKBOOK, sheets, tests, scale, survey, training, known)
        else:
            for table in sheets:
                heads = _heads(table, tests, scale, training)
                _write_csv(aside / f"{table}.csv", *heads, known.get(table, ()))
        if aside.parent == folder:  # which is there and holds nothing else
            _move_in(aside, folder)
        else:
            aside.rename(folder)
    except OSError as error:
        why = error.strerror or error
        raise KitError(f"{folder} cannot be written: {why}. Choose another place.") from None
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return folder


def _aside_of(folder: Path) -> Path:
    """Where a folder is made, so that one half made never has the name asked for."""
    return (folder if folder.is_dir() else folder.parent) / f".{folder.name or 'study'}.partial"


_LIST = ".list.json"
"""The list of what is moved into a folder that was there: who finds it knows what a stopped run left."""


def _move_in(aside: Path, folder: Path) -> None:
    """Move what was made into its folder, all of it or nothing; the settings, by which a study folder is known, last."""
    moving = sorted(aside.iterdir(), key=lambda p: p.name == SETTINGS_FILE)
    write_whole(aside / _LIST, json.dumps(_files_in(aside)).encode())
    moved: list[Path] = []
    try:
        for path in moving:
            if os.path.lexists(folder / path.name):
                raise KitError(f"{path.name} was just put into {folder} by somebody else: nothing was made.")
            moved.append(path.rename(folder / path.name))
    except BaseException:
        for path in moved:
            path.rename(aside / path.name)
        raise


def _files_in(folder: Path, *, but: Path | None = None) -> dict[str, str]:
    """Every file below a folder with its checksum, and every folder."""
    found = (p for p in folder.rglob("*") if but is None or not p.is_relative_to(but))
    return {
        plain_name(p.relative_to(folder)): "link" if p.is_symlink() else "" if p.is_dir() else checksum(p)
        for p in found
    }


def _take_back(folder: Path) -> None:
    """Remove what a stopped run left; where a person has added or changed something since, nothing is touched."""
    aside = _aside_of(folder)
    try:
        listed = dict(json.loads((aside / _LIST).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):  # it stopped before anything was moved
        listed = {}
    if listed:
        others = sorted(n for n, mark in _files_in(folder, but=aside).items() if listed.get(n) != mark)
        if others:
            raise KitError(
                f"{folder} is not empty: a `new` was stopped in it, and {join_words(others[:5])} is not as it was made. Move "
                "that elsewhere and run this again, or give the name of a new folder; nothing is ever overwritten."
            )
        for path in [p for p in folder.iterdir() if p != aside]:
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    shutil.rmtree(aside, ignore_errors=True)


def _check_options(tests: tuple[str, ...], rounds: int, scale: str) -> None:
    for test in tests:
        if test not in known_tests():
            near = did_you_mean(test, known_tests())
            hint = f" Did you mean {near}?" if near else ""
            raise KitError(f"There is no aerobic test {test!r}.{hint} Known: {', '.join(known_tests())}.")
    if isinstance(rounds, bool) or not isinstance(rounds, int) or not 1 <= rounds <= 30:
        raise KitError(f"{rounds!r} is not a number of rounds from 1 to 30.")
    check_choice(scale, SCALES, name="scale")


def _seconds(value: str | float, name: str, low: float, high: float) -> float:
    try:
        dotted = re.fullmatch(r"(\d{1,2})[.,](\d{2})", value.strip()) if isinstance(value, str) else None
        if dotted:
            raise KitError(f"{name} is {value!r}: write it as {dotted[1]}:{dotted[2]}, or in seconds.")
        seconds = read_duration(value)[0] if isinstance(value, str) and ":" in value else float(value)
    except KitError:
        raise
    except (Slip, ValueError, TypeError):
        raise KitError(f"{name} is {value!r}, which is no time; write it as 5:00 or in seconds.") from None
    if not low <= seconds <= high:
        short = isinstance(value, str) and ":" not in value and low <= 60 * seconds <= high
        hint = f" Did you mean {value}:00?" if short else ""
        raise KitError(f"{name} is {value}, outside {low} to {high} seconds.{hint}")
    return seconds


def _check_folder(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise KitError(f"{folder} is a file. Give the name of a new folder.")
    _take_back(folder)
    if folder.is_dir() and any(folder.iterdir()):
        raise KitError(f"{folder} is not empty. Give the name of a new folder; nothing is ever overwritten.")
    for above in (folder.resolve(), *folder.resolve().parents):
        if (above / ".git").exists():
            raise KitError(
                f"{folder} lies inside the git work tree {above}. A study folder holds health data, which a commit would "
                "publish with its history: choose a folder outside, and outside synced or shared folders."
            )


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _heads(table: str, tests: tuple[str, ...], scale: str, training: bool = False) -> tuple[list[str], list[str]]:
    names = list(sheet_columns(table, tests, training=training))
    units = [unit_words(sheet_column(table, name)) for name in names]
    return names, [scale if name == "exertion" else unit for name, unit in zip(names, units, strict=True)]


def _write_csv(path: Path, names: list[str], units: list[str], rows: Sequence[Mapping[str, str]] = ()) -> None:
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file).writerows([names, units, *([row.get(n, "") for n in names] for row in rows)])


def _write_workbook(
    path: Path, sheets: tuple[str, ...], tests: tuple[str, ...], scale: str, survey: bool, training: bool,
    known: dict[str, list[dict[str, str]]],
) -> None:  # fmt: skip
    tabs, described = [], []
    for table in sheets:
        names, units = _heads(table, tests, scale, training)
        columns = tuple(sheet_column(table, name) for name in names)
        tabs.append(Tab(table, columns, tuple(units), tuple(known.get(table, ()))))
        described += [
            [line.table, line.column, line.unit, line.meaning, line.allowed]
            for line in describe_columns(table).itertuples(index=False)
            if line.column in names
        ]
    notes = tomllib.loads(read_template("notes.toml"))
    notes = [[line] for line in notes["survey" if survey else "study"].strip().splitlines()]
    notes += [[""], ["table", "column", "unit", "what it means", "what may be written"], *described]
    write_forms(path, tabs, notes, tests=tests)


def make_codes(n: int) -> list[str]:
    """Make codes for athletes who have none yet: A01, A02 and so on."""
    if n != int(n) or n < 1:
        raise KitError(f"n is {n}, but must be a whole number from 1 on.")
    return [f"A{i:0{max(2, len(str(int(n))))}d}" for i in range(1, int(n) + 1)]


def known_rows(
    codes: Sequence[str], rounds: int, *, session: str = "1", tests: Sequence[str] = (),
    opponents: Mapping[tuple[str, int], str] | None = None, order: Mapping[int, Sequence[str]] | None = None,
) -> dict[str, list[dict[str, str]]]:  # fmt: skip
    """Return the keys that are known before the evening, for each table: what the printed sheets say as well."""
    opponents, order = opponents or {}, order or {}
    rows = [
        {"session": session, "athlete": code, "round_no": str(k), "opponent": opponents.get((code, k), "")}
        for k in range(rounds + 1)
        for code in order.get(k, codes)
    ]
    return {
        "sessions": [{"session": session}],
        "clock": [{"session": session, "round_no": str(k)} for k in range(1, rounds + 1)],
        "athletes": [{"athlete": code} for code in codes],
        "attendance": [{"session": session, "athlete": code} for code in codes],
        "rounds": rows,
        "aerobic_tests": [{"athlete": code, "test": test} for test in tests for code in codes],
    }
