"""What `new` writes: settings, texts, and the columns of each sheet in the order in which they are printed."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from pathlib import Path
from string import Template

from .aerobic import more_columns, needed_inputs
from .columns import Column, column_rules
from .outcomes import OUTCOMES
from .plan_reading import PROPOSED_DIRECTIONS, PROPOSED_OUTCOMES, PROPOSED_REASON, propose_hypothesis

FOLDER = Path(__file__).with_name("templates")
REPORT_TEXTS = Path(__file__).parents[1] / "report" / "texts"
"""Templates of pages that the write-up fills in; a new folder gets a copy to rewrite."""

STUDY_SHEETS = (
    *(
        "sessions",
        "clock",
        "athletes",
        "attendance",
        "rounds",
        "aerobic_tests",
        "recordings",
        "published",
        "decisions",
    ),
)
SURVEY_SHEETS = ("survey", "decisions")
_USUAL_INPUTS = ("vo2max_ml_kg_min", "level", "shuttle", "distance_m", "time_min")
_UNITS = {
    "code": "code",
    "yes_no": "yes/no",
    "date": "date",
    "clock": "hh:mm",
    "file": "file name",
    "whole": "number",
    "round": "number",
    "opponent": "code, guest, none",
    "minutes": "m:ss",
}


def sheet_columns(table: str, tests: Iterable[str] = ()) -> tuple[str, ...]:
    """Return the columns of a sheet, in the order of the printed sheet and of the workbook.

    Parameters
    ----------
    table : str
        One of TABLES.
    tests : iterable of str
        Aerobic tests that the club uses: their sheet has the inputs of these tests alone.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> sheet_columns("aerobic_tests", ["run_12_min"])
    ('athlete', 'date', 'test', 'distance_m', 'note')
    """
    if table != "aerobic_tests":
        # a bound is typed as HI or LO; the row of a table is only asked for where a decision fits several
        hidden = {
            "decisions": ("table_row",),
            "rounds": ("lactate_limit",),
            "lactate": ("lactate_limit",),
        }.get(table, ())
        return tuple(name for name in column_rules()[table] if name not in hidden)
    known = {"mass_kg", "age_years", "sex"}  # these stand in the athletes table
    inputs: dict[str, None] = {}
    for test in tests:
        for needs in needed_inputs(test)[:1]:
            inputs |= dict.fromkeys("file" if n == "samples" else n for n in needs if n not in known)
        if test in ("laboratory", "gas_exchange"):
            inputs |= {"averaging": None}
    names = inputs or dict.fromkeys(("file", *_USUAL_INPUTS))
    return ("athlete", "date", "test", *names, "note")


def sheet_column(table: str, name: str) -> Column:
    """Return the rule of a column of a sheet."""
    return column_rules()[table].get(name) or more_columns()[name]


def unit_words(column: Column) -> str:
    """Return what the units row of a sheet says about a column."""
    if column.choices:
        return "/".join(column.choices)
    return _UNITS.get(column.kind) or column.unit or ("text" if column.is_text else "number")


def settings_text(*, rounds: int, work_s: float, rest_s: float, scale: str, survey: bool) -> str:
    """Return study.toml of a new folder."""
    if survey:
        return read_template("survey.toml")
    asked = [propose_hypothesis(q, PROPOSED_OUTCOMES[q], d) for q, d in PROPOSED_DIRECTIONS.items()]
    blocks = (
        f'[[plan.hypotheses]]\nquestion = "{h.question}"\noutcome = "{h.outcome}"\ndirection = "{h.direction}"\n'
        f'text = "{h.text}"\n'
        for h in asked
    )
    primary = dict.fromkeys(PROPOSED_OUTCOMES.values())
    return Template(read_template("study.toml")).substitute(
        date_order='# date_order = "day first"  # only where dates are typed as 03/04/2026\n',
        rounds=rounds,
        work=minutes_text(work_s),
        rest=minutes_text(rest_s),
        scale=scale,
        hypotheses="\n".join(blocks),
        effects="\n".join(f"{o} = {OUTCOMES[o].smallest_effect:g}" for o in primary),
        reasons="\n".join(f'{o} = "{PROPOSED_REASON}"' for o in primary),
    )


def minutes_text(seconds: float) -> str:
    """Return seconds as m:ss."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def read_template(name: str) -> str:
    """Return the text of a template."""
    return (FOLDER / name).read_text(encoding="utf-8")


def readme_text(*, survey: bool) -> str:
    """Return README.md of a new folder."""
    if survey:
        parts = (
            "A survey of sessions",
            "the tab `survey` of `study.xlsx` (or `survey.csv`)",
            "5. Then notebook 08.",
        )
    else:
        steps = "5. Fix the plan before the first measurement: `python -m analysis freeze FOLDER`.\n"
        steps += "6. Write everything up: `python -m analysis report FOLDER`."
        parts = ("A sparring study", "the tabs of `study.xlsx` (or the CSV files)", steps)
    return Template(read_template("README.md")).substitute(kind=parts[0], tables=parts[1], steps=parts[2])


def notes_lines(*, survey: bool) -> list[str]:
    """Return the lines of the notes of a new folder."""
    notes = tomllib.loads(read_template("notes.toml"))
    return notes["survey" if survey else "study"].strip().splitlines()


def texts_to_rewrite() -> dict[str, str]:
    """Return the texts that a club rewrites: file name -> text."""
    files = [*sorted((FOLDER / "texts").glob("*.md")), *sorted(REPORT_TEXTS.glob("*.md"))]
    return {path.name: path.read_text(encoding="utf-8") for path in files}
