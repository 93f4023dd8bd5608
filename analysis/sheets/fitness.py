"""Sheets for the day of the fitness test: rules for the most dangerous hour of the study, and what to write down."""

from __future__ import annotations

from collections.abc import Sequence

from ..basics import KitError, NotYet, join_words, upper_first
from ..physiology import known_aerobic_tests
from ..physiology.aerobic_tests import INPUTS, NUMBERS
from ..physiology.running import shuttle_stages
from ..study import Study
from ..study.approval import approval_of, fitness_tests, minors_among
from ..study.new_folder import sheet_columns as workbook_columns
from . import safety
from .content import EMERGENCY
from .parts import Sheet, SheetColumn, sheet_columns
from .write import study_athletes

NOT_READ_OFF = ("vo2max_ml_kg_min", "vo2max_l_min", "hr_max_bpm", "hr_rest_bpm")
"""Inputs that a report or another table gives, or that have a column of their own; every other number is read off on the day."""


def fitness_sheets(study: Study, *, athletes: Sequence[str] | None = None) -> list[Sheet] | NotYet:
    """Build the sheets for the day of the fitness test.

    Parameters
    ----------
    study : Study
        Its tests: `tests` under [fitness] of study.toml, or those on the sheet of aerobic tests.
    athletes : sequence of str, optional
        Who is tested. Default everybody; nobody under 18 in a maximal test unless study.toml states the approval.

    Returns
    -------
    list of Sheet, or NotYet where there are no athletes

    Raises
    ------
    KitError
        Where somebody under 18 is put on the list of a maximal test without approval.

    Examples
    --------
    >>> from pathlib import Path
    >>> bool(fitness_sheets(Study(folder=Path("."))))
    False
    """
    codes = study_athletes(study)
    if not codes:
        return NotYet("printing the sheets", "codes in athletes.csv, or n_athletes in the part [plan] of study.toml")
    tests = fitness_tests(study)
    young = minors_among(study.athletes)
    barred = () if approval_of(study.settings).minors_maximal else young
    known = known_aerobic_tests().drop_duplicates("test").set_index("test")
    hard = [t for t in tests if t not in known.index or bool(known.loc[t, "maximal"])]
    if athletes is not None and hard:
        wrong = [a for a in athletes if a in barred]
        if wrong:
            raise KitError(
                f"Under 18 and on the list for a maximal test: {join_words(wrong)}. Take them off the list; only where "
                f"the ethics "
                'committee approved exactly that, write approval = "number" and minors_maximal = true under [ethics] '
                "in study.toml."
            )
    sheets = [_rules(bool(young))]
    for test in tests or ("",):
        easy = test in known.index and not bool(known.loc[test, "maximal"])
        who = [c for c in (athletes or codes) if easy or c not in barred]
        if who:
            title = known.loc[test, "title"] if test in known.index else "fitness test"
            sheets.append(_scores(test, title, who, barred if not easy else ()))
    return sheets


def _rules(minors: bool) -> Sheet:
    texts = [
        safety.DEFER,
        *safety.FITNESS_FIRST,
        safety.familiarisation(),
        *safety.FITNESS_STOP,
        safety.AMBULANCE,
        safety.NOT_BREATHING,
        safety.ASTHMA,
    ]
    texts += [safety.HEAT, safety.NOT_TODAY] + ([safety.MINORS] if minors else [])
    return Sheet("fitness_day", "Day of the fitness test", "the first-aider and whoever runs the test",
                 ("Date", "Place", *EMERGENCY),
                 tuple(texts), notes=False)  # fmt: skip


def _scores(test: str, title: str, codes: Sequence[str], barred: Sequence[str]) -> Sheet:
    inputs = [
        n for n in workbook_columns("aerobic_tests", [test] if test else ())
        if n in INPUTS and INPUTS[n].kind in NUMBERS and n not in NOT_READ_OFF
    ]  # fmt: skip
    columns = (
        *sheet_columns(["athlete"]), SheetColumn("", "Well today", "yes, no", 0.75),
        SheetColumn("", "Trial before", "date", 0.85),
        *(sheet_columns(inputs) if inputs and test else (SheetColumn("", "Result", "with its unit", 1.6),)),
        SheetColumn("hr_max_bpm", "Highest HR", "bpm, of 5 s", 0.9),
        SheetColumn("", "Stopped by", "runner, signal, watcher", 1.2),
        SheetColumn("", "Seen after", "first-aider", 0.9), SheetColumn("note", "Note", "", 1.6),
    )  # fmt: skip
    rows = tuple((code, *("",) * (len(columns) - 1)) for code in codes)
    blanks = ("Date", "Place", "Temperature, humidity", "Filled in by")
    steps = list(HOW.get(test, ("Write the result with its unit, and which test it was.",)))
    if test.startswith("shuttle_run_20m"):
        blanks += (
            "The recording calls a level at its: start / end (circle)",
            "First level at: 8.0 / 8.5 km/h (circle)",
        )
    if test == "shuttle_run_20m":
        counts = shuttle_stages(16)
        steps.append(f"Shuttles of the levels 1 to 16: {', '.join(map(str, counts['shuttles']))}.")
    steps.append(
        "Highest heart rate: strap on and recording from before the warm-up; the highest steady 5 seconds, from the file."
    )
    if barred:
        steps.append(f"Not on this list, under 18 and no approval stated: {join_words(list(barred))}.")
    return Sheet(f"fitness_{test or 'scores'}", upper_first(title), "the watchers", blanks, tuple(steps),
                 columns, rows,
                 (safety.FITNESS_STOP[0],), wide=True, row_mm=11.0)  # fmt: skip


HOW = {
    "shuttle_run_20m": (
        "Measure 20 m with a tape. Play the recording’s own check of its speed, or time one level: it must agree "
        "within half a second.",
        "Score: the last level and the shuttles of it that were finished on the signal. Two watchers write it down "
        "separately and compare.",
    ),
    "shuttle_run_20m_2min": (
        "Measure 20 m with a tape. Stages last two minutes in this version: another recording gives another test.",
        "Score: the speed of the last stage that was finished.",
    ),
    "intermittent_recovery_1": (
        "20 m out and 20 m back, then 10 s of walking in the 5 m behind the line.",
        "Score: metres finished on the signal, a multiple of 40; the second miss ends it.",
    ),
    "intermittent_recovery_2": (
        "20 m out and 20 m back, then 10 s of walking in the 5 m behind the line.",
        "Score: metres finished on the signal, a multiple of 40; the second miss ends it.",
    ),
    "intermittent_30_15": (
        "40 m, with lines at both ends and in the middle; 30 s of running, 15 s of walking on to the next line.",
        "Score: the speed of the last stage that was finished, in steps of 0.5 km/h; the third miss in a row ends it.",
    ),
    "run_12_min": ("A measured track, the lap counted by a second person. Score: metres after exactly 12 minutes.",),
    "run_5_min": ("A measured track, the lap counted by a second person. Score: metres after exactly 5 minutes.",),
    "track_run": ("A measured track, 1200 to 2200 m, everybody the same distance, as fast as possible at an even pace.",
                  "Score: the distance, and the time to the second, two watches."),
    "run_2_mile": ("A measured course. Score: the time to the second, two watches.",),
    "run_1_5_mile": ("A measured course. Score: the time to the second, two watches.",),
    "treadmill_bruce": ("Every stage lasts 3 minutes; nobody holds the rail, since that reads far too high. Score: the "
    "time to the second.",
                        "Somebody stands behind the treadmill, the safety clip is on, and the stop button is in reach."),
    "judo_throwing_test": (
        "Two partners of about the same height and mass stand 6 m apart, the athlete between them; throws over 15, 30 "
        "and 30 s with 10 s of "
        "rest; one kind of throw for everybody, on mats, by people who can fall.",
        "Score: all throws. The index adds the heart rates at the end and a minute later: it is never held against "
        "heart rates of sparring.",
    ),
}  # fmt: skip
"""Test -> how it is done and scored, in a few words. Common practice, no source, where the equation's source says nothing."""
