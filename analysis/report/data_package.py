"""The data package: de-identified tables of those who agreed to sharing, with a codebook, in an open standard."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ..answers.training import CAPACITY, values_by_occasion
from ..basics import FEWEST_PEOPLE, join_words, plural
from ..physiology import capacity_step_to_share
from ..study import OUTCOMES, typed_outcomes
from ..study.privacy import by_lot, hide_in_crowd, not_by_subtraction, secret_labels
from .results_json import json_text, write_csv
from .sharing import step_of

PACKAGE_TABLES = {
    "athletes": "One row per person",
    "sessions": "One row per evening",
    "rounds": "One row per evening, person and round",
    "heart_rate": "Samples of heart rate inside rounds",
    "training": "One row per person and occasion of a training study",
    "training_log": "One row per hard session of a training study",
}
"""Tables of a data package, with their titles."""


@dataclass(frozen=True)
class PackageColumn:
    """One column of a shared table."""

    table: str
    name: str
    kind: str
    unit: str
    meaning: str


_ROWS = """
athletes|person|string||Label of the person, drawn for this package
athletes|age_years|string|years|Age, in bands
athletes|mass_kg|string|kg|Body mass, in bands
athletes|sex|string||F or M as the published equations use it, X where neither
athletes|group|string||Group with a protocol of its own
athletes|capacity|number|mL/kg/min unless the study says otherwise|Aerobic capacity, in steps of 1 or of 5
sessions|session|string||Evening, numbered in order
sessions|temperature_c|number|°C|Air temperature, rounded
sessions|humidity_percent|number|%|Relative humidity, rounded
sessions|phase|string||pre or post: before or after a training
sessions|occasion|integer||Which evening of the phase
sessions|sample_site|string||Where blood was taken
sessions|sample_kind|string||Kind of blood sample
rounds|session|string||Evening, as in sessions
rounds|person|string||As in athletes
rounds|round_no|integer||Round on the club's clock; 0 is before sparring
rounds|bout_no|integer||Rounds that the person had sparred, this one included
rounds|took_part|string||yes, part, sat_out, left
rounds|rest_before_s|number|s|Rest before the round
rounds|hr_mean_bpm
rounds|hr_late_bpm
rounds|hr_peak_bpm
rounds|hr_source|string||trace: from a recording; typed: read off a device
rounds|valid_s|number|s|Seconds with a heart rate that was not flagged
rounds|valid_share|number|0 to 1|The same as a share of the round
rounds|hr_recovery_60s_bpm|number|bpm|Fall of heart rate in the first 60 s after the round
rounds|hr_rest_end_bpm|number|bpm|Mean heart rate of the last 10 s before the next round
rounds|hr_drift_bpm_min|number|bpm/min|Slope of heart rate within the round
rounds|lactate_mmol_l
rounds|lactate_limit|string||high or low where the value was off the scale of the analyser
rounds|lactate_delay_s|number|s|Seconds from the end of the round to the sample
rounds|typed outcomes
rounds|activity_rating|number|points|Coach's rating of activity
heart_rate|session|string||Evening, as in sessions
heart_rate|person|string||As in athletes
heart_rate|round_no|integer||Round
heart_rate|second|number|s|Seconds from the start of the round
heart_rate|hr_bpm|number|bpm|Heart rate as recorded, in whole beats
heart_rate|flag|string||Why the sample was set aside; blank where good
training|person|string||As in athletes
training|arm|string||trained or control, as chance drew; blank where nobody was drawn
training|outcome|string||capacity, or a column of rounds
training|phase|string||pre or post: before or after the training
training|occasion|integer||Which test or evening of the phase
training|value|number|as the outcome|Capacity to the step of its test, heart rate to the beat
training_log|person|string||As in athletes
training_log|week|integer||Week, counted from the first session of the log
training_log|kind|string||Kind of session
training_log|protocol|string||Protocol of intervals
training_log|sets_done|number||Repetitions or sets completed
training_log|minutes|number|min|Length of the session
training_log|rating|number|points|How hard the whole session was, 0 to 10
"""


def _package_columns():
    """Columns in order; those of outcomes from their rows, further typed ones after the last of the kit's own."""
    named = {line.split("|")[1] for line in _ROWS.splitlines() if line.startswith("rounds|")}
    for line in _ROWS.strip().splitlines():
        table, name, *rest = line.split("|")
        names = [n for n in typed_outcomes() if n not in named] if name == "typed outcomes" else [name]
        for n in names:
            known = OUTCOMES.get(n)
            yield PackageColumn(table, n, *(rest or ("number", known.unit, known.meaning or known.label)))


PACKAGE_COLUMNS = tuple(_package_columns())
"""Left out on purpose: what gives away age or sex (maximal and resting heart rate, shares of them, errors of tests), mass
(oxygen uptake in L/min), sex (training impulse), a person (opponents, notes, codes, devices) or a day (dates, clock times)."""

DIGITS = {"valid_s": 0, "valid_share": 2, "hr_recovery_60s_bpm": 0, "hr_drift_bpm_min": 1, "rest_before_s": 0,
          "lactate_delay_s": 0, **{name: known.digits for name, known in OUTCOMES.items()}}  # fmt: skip
"""Decimals of the table `rounds`: what is meant by the value, and no more by which outputs could be joined."""


@dataclass(frozen=True)
class DataPackage:
    """What may be shared."""

    tables: dict[str, pd.DataFrame]
    done: tuple[str, ...]
    n_shared: int
    n_athletes: int
    n_by_lot: int = 0
    n_values: int = 0


def make_data_package(answers) -> DataPackage:
    """Take out of a study what may be shared, so that nobody can be recognised by age, mass, sex and group.

    Parameters
    ----------
    answers : Answers

    Returns
    -------
    DataPackage

    Examples
    --------
    >>> from analysis.answers import Answers
    >>> from pathlib import Path
    >>> from analysis.study import Study
    >>> make_data_package(Answers(Study(folder=Path("nowhere")))).n_shared
    0
    """
    study = answers.study
    shared = [c for c in study.athletes_to_share() if c]
    size = len(study.athletes)
    inside = by_lot(study, shared, among=study.athletes["athlete"])
    if len(inside) < FEWEST_PEOPLE:
        return DataPackage({}, (), len(shared), size, len(shared) - len(inside))
    labels = secret_labels(study, inside, prefix="P", purpose="data package")
    people, done = _people(answers, labels)
    made, n_values = {"athletes": people}, 0
    if answers.cleaned:
        evenings = {s: str(n) for n, s in enumerate(sorted(answers.cleaned.rows["session"].unique()), start=1)}
        rows, silent = not_by_subtraction(answers.cleaned.rows, labels, session=study.plan.primary_session)
        n_values = len(silent)
        made["sessions"] = _evenings(study, evenings)
        made["rounds"] = _rounds(rows, labels, evenings)
        made["heart_rate"] = _heart_rate(answers.cleaned, labels, evenings, silent)
    made |= _training(answers, labels)
    tables = {}
    for name, table in made.items():
        columns = [c.name for c in PACKAGE_COLUMNS if c.table == name and c.name in table]
        kept = [c for c in columns if not _empty(table[c])]
        if len(table):
            whole = [c.name for c in PACKAGE_COLUMNS if c.table == name and c.name in kept and c.kind == "integer"]
            tables[name] = table[kept].astype(dict.fromkeys(whole, "Int64"))
    return DataPackage(tables, done, len(shared), size, len(shared) - len(inside), n_values)


def _empty(column: pd.Series) -> bool:
    return bool((column.isna() | (column.astype(str) == "")).all())


def _people(answers, labels: dict[str, str]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    athletes = answers.study.athletes
    athletes = athletes[athletes["athlete"].isin(labels)].reset_index(drop=True)
    people = pd.DataFrame(
        {
            "person": athletes["athlete"].map(labels),
            **{c: athletes[c] for c in ("age_years", "mass_kg", "sex", "group")},
        }
    )
    capacity = answers.capacity
    if isinstance(capacity, pd.DataFrame) and len(capacity):
        step = step_of(capacity)
        coarse = (capacity["capacity"] / step).round() * step if step < float("inf") else float("nan")
        told = capacity.assign(person=capacity["athlete"].map(labels), capacity=coarse)
        people = people.merge(told[["person", "capacity"]].dropna(subset=["person"]), on="person", how="left")
    people, done = hide_in_crowd(people)
    return people.sort_values("person", ignore_index=True), done


def _training(answers, labels: dict[str, str]) -> dict[str, pd.DataFrame]:
    """Values by occasion with the groups, and the log by weeks, of a training study; without dates and reasons."""
    study = answers.study
    values = values_by_occasion(study, answers.rows if answers.cleaned else None)
    arms = dict(zip(study.allocation["athlete"], study.allocation["arm"], strict=True))
    steps = {CAPACITY: capacity_step_to_share(set(study.aerobic_tests["test"]))}
    parts = []
    for name, table in values.items():
        table = table[table["athlete"].isin(labels)]
        step = steps.get(name, 1.0)
        value = (table["value"] / step).round() * step
        parts.append(table[["athlete", "phase", "occasion"]].assign(outcome=name, value=value))
    made = {}
    if parts:
        table = pd.concat(parts, ignore_index=True)
        made["training"] = table.assign(
            person=table["athlete"].map(labels), arm=table["athlete"].map(arms).fillna("")
        ).sort_values(["person", "outcome", "phase", "occasion"], ignore_index=True)
    log = study.training_log[study.training_log["athlete"].isin(labels)]
    if len(log):
        dates = pd.to_datetime(log["date"].replace("", None))
        made["training_log"] = log.assign(
            person=log["athlete"].map(labels), week=(dates - dates.min()).dt.days // 7 + 1
        ).sort_values(["person", "week", "kind"], ignore_index=True)
    return made


def _evenings(study, evenings: dict[str, str]) -> pd.DataFrame:
    known = study.sessions[study.sessions["session"].isin(evenings)].copy()
    known["session"] = known["session"].map(evenings)
    for column in ("temperature_c", "humidity_percent"):
        known[column] = known[column].round(0)
    return known.sort_values("session", ignore_index=True)


def _rounds(rows: pd.DataFrame, labels: dict[str, str], evenings: dict[str, str]) -> pd.DataFrame:
    rows = rows[rows["athlete"].isin(labels)].copy()
    rows["person"], rows["session"] = rows["athlete"].map(labels), rows["session"].map(evenings)
    rows = rows.assign(**{c: rows[c].round(n) for c, n in DIGITS.items() if c in rows})
    return rows.sort_values(["session", "person", "round_no"], ignore_index=True)


def _heart_rate(cleaned, labels: dict[str, str], evenings: dict[str, str], silent: set[tuple]) -> pd.DataFrame:
    """Return the samples inside rounds, timed from the start of the round."""
    parts = []
    starts = cleaned.windows.set_index(["session", "athlete", "round_no"])["start_s"]
    for (session, athlete), trace in cleaned.traces.items():
        if athlete not in labels:
            continue
        inside = trace[trace["round_no"] > 0]
        for round_no, samples in inside.groupby("round_no"):
            if (session, athlete, round_no) not in starts.index:
                continue
            if ("hr_mean_bpm", session, athlete, round_no) in silent:
                continue
            start = float(starts.loc[[(session, athlete, round_no)]].iloc[0])
            parts.append(
                pd.DataFrame(
                    {
                        "session": evenings[session],
                        "person": labels[athlete],
                        "round_no": int(round_no),
                        "second": (samples["clock_s"].to_numpy() - start).round(1),
                        "hr_bpm": samples["hr_bpm"].to_numpy().round(0),
                        "flag": samples["flag"].to_numpy(),
                    }
                )
            )
    if not parts:
        return pd.DataFrame(columns=["session", "person", "round_no", "second", "hr_bpm", "flag"])
    return pd.concat(parts).sort_values(["session", "person", "round_no", "second"], ignore_index=True)


def write_data_package(
    answers, folder: str | Path, *, title: str = "", hide: Callable[[str], str] = str
) -> DataPackage:
    """Write the data package with its description and codebook."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    package = make_data_package(answers)
    for name, table in package.tables.items():
        typed = [c for c in ("group", "protocol") if c in table]
        table = table.assign(**{c: [hide(v) if isinstance(v, str) else v for v in table[c]] for c in typed})
        write_csv(table, folder / f"{name}.csv", mark=False)
    columns = [c for c in PACKAGE_COLUMNS if c.table in package.tables and c.name in package.tables[c.table]]
    if package.tables:
        codebook = pd.DataFrame(
            {"table": c.table, "column": c.name, "type": c.kind, "unit": c.unit, "meaning": c.meaning} for c in columns
        )
        write_csv(codebook, folder / "codebook.csv", mark=False)
        description = _describe(title, package, columns)
        (folder / "datapackage.json").write_text(json_text(description), encoding="utf-8", newline="\n")
    (folder / "README.md").write_text(_read_me(package), encoding="utf-8", newline="\n")
    return package


def _describe(title: str, package: DataPackage, columns: list[PackageColumn]) -> dict:
    return {
        "profile": "tabular-data-package",
        "name": "sparring-study",
        "title": title or "A sparring study",
        "description": "De-identified tables of the athletes who agreed to sharing; see README.md and codebook.csv.",
        "resources": [
            {
                "name": name,
                "path": f"{name}.csv",
                "profile": "tabular-data-resource",
                "title": PACKAGE_TABLES[name],
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "schema": {
                    "fields": [
                        {"name": c.name, "type": c.kind, "description": c.meaning}
                        | ({"unit": c.unit} if c.unit else {})
                        for c in columns
                        if c.table == name
                    ],
                    "missingValues": [""],
                },
            }
            for name in package.tables
        ],
    }


def _read_me(package: DataPackage) -> str:
    who = f"{package.n_shared} of {plural(package.n_athletes, 'athlete')} agreed that de-identified data are shared."
    if package.n_by_lot:
        who += (
            f" {package.n_by_lot} of them {'is' if package.n_by_lot == 1 else 'are'} left out by lot: the means of everybody, "
            f"minus these tables, would otherwise tell about the {package.n_athletes - package.n_shared} who did not agree."
        )
    if not package.tables:
        return (
            f"# Data package\n\n{who} With fewer than {FEWEST_PEOPLE} people nobody can be hidden among others: no table was "
            "written.\n"
        )
    done = f"To that end, {join_words(package.done)}." if package.done else "Nothing had to be coarsened for that."
    blanked = (
        f"\n* {plural(package.n_values, 'value')} of rounds {'is' if package.n_values == 1 else 'are'} blank, so that the means "
        f"of everybody, minus these tables, tell about no fewer than {FEWEST_PEOPLE} people."
        if package.n_values
        else ""
    )
    return f"""# Data package

{who} Only their data are here.

* `datapackage.json` describes the tables in the open Frictionless standard; `codebook.csv` lists every column.
* The labels in `person` were drawn for this package; no other output of the study uses them.
* No combination of age, mass, sex and group belongs to one person alone. {done}
* Times are seconds from the start of a round; dates, places, opponents, notes and device files are left out.
* What a published equation would turn back into age, body mass or sex is left out (maximal and resting heart rate, shares
  of them, errors of tests, aerobic capacity from an equation that takes mass or sex) or coarse (aerobic capacity, in
  steps of 5 where its equation takes the age). Other values are rounded to what they mean.{blanked}
* Somebody who was there may still recognise a person by the rounds that he or she missed. Check that the consent form
  and the ethics approval name this sharing, and choose a licence, before you pass the folder on.
"""
