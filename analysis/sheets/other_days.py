"""Sheets of other days than the evening: the fitness test, and the training study."""

from __future__ import annotations

from collections.abc import Sequence

from ..basics import KitError, NotYet, format_ci, format_number, join_words, upper_first
from ..physiology import attainable_minutes, known_aerobic_tests, target_band, training_protocols
from ..physiology.aerobic_tests import INPUTS, NUMBERS
from ..physiology.running import shuttle_stages
from ..study import Study
from ..study.consent import approval_of, fitness_tests, minors_among
from ..study.new_folder import sheet_columns as workbook_columns
from . import safety
from .content import EMERGENCY, TOP
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
    sheets = [_rules(bool(young), tests)]
    for test in tests or ("",):
        easy = test in known.index and not bool(known.loc[test, "maximal"])
        who = [c for c in (athletes or codes) if easy or c not in barred]
        if who:
            title = known.loc[test, "title"] if test in known.index else "fitness test"
            sheets.append(_scores(test, title, who, barred if not easy else ()))
    return sheets


def _rules(minors: bool, tests: Sequence[str]) -> Sheet:
    first, stop = (safety.fitness_words(texts, tests) for texts in (safety.FITNESS_FIRST, safety.FITNESS_STOP))
    texts = [safety.DEFER, *first, safety.familiarisation(), *stop, safety.AMBULANCE, safety.NOT_BREATHING]
    texts += [safety.ASTHMA, safety.HEAT, safety.NOT_TODAY] + ([safety.MINORS] if minors else [])
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
        SheetColumn("", "Stopped by", "runner, signal, watcher" if safety.on_signal([test]) else "runner, watcher", 1.2),
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
                 tuple(safety.fitness_words(safety.FITNESS_STOP[:1], [test])), wide=True, row_mm=11.0)  # fmt: skip


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
        "Two partners of about the same height and mass stand 6 m apart, the athlete between them; throws over 15, 30 and 30 s "
        "with 10 s of rest; one kind of throw for everybody, on mats, by people who can fall.",
        "Score: all throws. The index adds the heart rates at the end and a minute later: it is never held against "
        "heart rates of sparring.",
    ),
}  # fmt: skip
"""Test -> how it is done and scored, in a few words. Common practice, no source, where the equation's source says nothing."""


STOP_TRAINING = (
    "Stop at once, sit down and call somebody: pain or pressure in the chest, a racing or stumbling heart, fainting or near it, "
    "breathlessness that does not settle, a sharp pain, confusion. Dark urine afterwards: doctor, the same day. The session is "
    "over for that athlete; nothing is made up for."
)
NOT_TRAINED = (
    "Not today: fever or illness, a weight cut, heat beyond the local rules, an uncleared concussion, an injury, too little "
    "sleep to drive. After any illness the screening is repeated before the next hard session."
)
SUPERVISED = (
    "A first-aider and a defibrillator are at every session. Nobody does all-out work alone. The first session is done at "
    "70 to 80 % of full effort."
)
PAUSE_STUDY = (
    "Pause the study and tell the committee: any cardiac event, exertional collapse, dark urine, or two injuries needing care "
    "in one group (proposal of the kit). Local rules come first."
)
BOTH_GROUPS = "Both groups write here: what the control group trains decides what a difference means."
LOG_ROWS = 16
EVENT_ROWS = 8


def training_sheets(study: Study) -> list[Sheet] | NotYet:
    """Build the sheets of a training study.

    Parameters
    ----------
    study : Study
        With a section [training] in study.toml.

    Returns
    -------
    list of Sheet, or NotYet where the folder is no training study or lists nobody

    Examples
    --------
    >>> from pathlib import Path
    >>> bool(training_sheets(Study(folder=Path("."))))
    False
    """
    if study.training is None:
        return NotYet("the sheets of the training", "a section [training] in study.toml")
    groups = study.allocation
    trained = list(groups.loc[groups["arm"] == "trained", "athlete"]) or study_athletes(study)
    if not trained:
        codes = "codes in athletes.csv, or n_athletes in the part [plan] of study.toml"
        return NotYet("the sheets of the training", codes)
    return [_card(study, trained), _log(), _events()]


def _card(study: Study, trained: Sequence[str]) -> Sheet:
    design = study.training
    known = training_protocols().set_index("protocol")
    steps, line = [], known.loc[design.protocol] if design.protocol in known.index else None
    if line is None:
        steps.append(f"The training: {design.protocol or 'as the coach and the committee agreed'}.")
    else:
        steps.append(_work(line))
        steps.append(f"Source: {line['source']} ({line['provenance']}). What was published is no prescription.")
        if line["guide"] == "heart rate":
            low, high = attainable_minutes(design.protocol)
            steps.append(
                f"Heart rate needs about a minute to arrive: a perfect session shows {format_number(low, 1)} to "
                f"{format_number(high, 1)} min in the band, not "
                f"{format_number(line['work_s'] * line['repetitions'] / 60, 0)}. Do not "
                "chase it with a sprint at the start."
            )
    people = study.athletes.set_index("athlete")
    rows = tuple((code, _target(design, people, code), "", "", "", "") for code in trained)
    steps.append(
        "No band beside a code: no measured maximal heart rate. Exertion guides; a predicted maximum misleads most people."
    )
    columns = (
        SheetColumn("athlete", "Athlete", "code", 0.8), SheetColumn("", "Heart rate to aim at", "bpm", 1.6),
        SheetColumn("sets_done", "Sets done", "", 0.8), SheetColumn("minutes", "Whole session", "min", 0.9),
        SheetColumn("rating", "How hard", "0 to 10", 0.8), SheetColumn("reason", "Stopped early? why", "", 2.0),
    )  # fmt: skip
    cautions, who = (STOP_TRAINING, NOT_TRAINED, SUPERVISED, safety.DEFER), "whoever leads the intervals"
    blanks = (*TOP[:2], *EMERGENCY[:2])
    return Sheet("training_card", "Session card", who, blanks, tuple(steps), columns, rows, cautions)


def _work(line) -> str:
    times = line["title"]
    if line["work_s"] == line["work_s"]:
        times = f"{format_number(line['repetitions'], 0)} × {_span(line['work_s'])}"
    sets = f", {format_number(line['sets'], 0)} sets" if line["sets"] > 1 else ""
    rest = f", {_span(line['rest_s'])} between" if line["rest_s"] == line["rest_s"] else ""
    name = "" if times.startswith(line["title"]) else f"{line['title']}: "
    said = f"{name}{times}{sets}{rest}. {line['note']}"
    return said.strip().rstrip(".") + "."


def _span(seconds: float) -> str:
    if seconds >= 60 and seconds % 60 == 0:
        return f"{format_number(seconds / 60, 0)} min"
    return f"{format_number(seconds, 0)} s"


def _target(design, people, code) -> str:
    if design.protocol not in set(training_protocols()["protocol"]):
        return ""
    own = people.loc[code] if code in people.index else {"hr_max_bpm": None, "hr_max_source": ""}
    band = target_band(design.protocol, hr_max_bpm=own["hr_max_bpm"], hr_max_source=own["hr_max_source"])
    return f"by {band.guide}" if band.why_none else format_ci(band.low_bpm, band.high_bpm, 0)


def _log() -> Sheet:
    columns = sheet_columns([c for c in workbook_columns("training_log") if c != "recording"])
    steps = (
        BOTH_GROUPS,
        "One line for every hard session: intervals, sparring, drilling, running, strength, competition.",
        "How hard the whole session was, 0 to 10, asked half an hour after it, alone.",
        "A session that was missed or stopped: one line with the reason.",
    )
    return Sheet("training_log", "Training log", "every athlete of both groups", TOP[:1], steps, columns,
                 (("",) * len(columns),) * LOG_ROWS, (STOP_TRAINING,), wide=True)  # fmt: skip


def _events() -> Sheet:
    columns = sheet_columns(workbook_columns("adverse_events"))
    steps = (
        "Every injury, illness and complaint of both groups, whatever it came from. Codes only, no names.",
        "First help the athlete; then write; then tell whoever is responsible for the study, the same day.",
    )
    return Sheet("adverse_events", "Adverse events", "whoever hears of it first", TOP[:1], steps, columns,
                 (("",) * len(columns),) * EVENT_ROWS, (PAUSE_STUDY, safety.HEAD, safety.DEFER), wide=True)  # fmt: skip
