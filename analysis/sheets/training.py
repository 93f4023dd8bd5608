"""The sheets of a training study: session card with stop rules, training log, adverse events."""

from __future__ import annotations

from collections.abc import Sequence

from ..basics import NotYet, format_ci, format_number
from ..physiology import attainable_minutes, target_band, training_protocols
from ..study import Study
from ..study.new_folder import sheet_columns
from . import safety
from .content import EMERGENCY, TOP
from .parts import Sheet, SheetColumn
from .parts import sheet_columns as headed
from .write import study_athletes

STOP_TRAINING = (
    "Stop at once, sit down and call somebody: pain or pressure in the chest, a racing or stumbling heart, fainting or near it, "
    "breathlessness that does not settle, a sharp pain, confusion. Dark urine afterwards: doctor, the same day. "
    "The session is over "
    "for that athlete; nothing is made up for."
)
NOT_TRAINED = (
    "Not today: fever or illness, a weight cut, heat beyond the local rules, an uncleared concussion, an injury, "
    "too little sleep "
    "to drive. After any illness the screening is repeated before the next hard session."
)
SUPERVISED = (
    "A first-aider and a defibrillator are at every session. Nobody does all-out work alone. The first session is done at "
    "70 to 80 % of full effort."
)
PAUSE_STUDY = (
    "Pause the study and tell the committee: any cardiac event, exertional collapse, dark urine, or two injuries "
    "needing care in one "
    "group (proposal of the kit). Local rules come first."
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
        return NotYet(
            "the sheets of the training",
            "codes in athletes.csv, or n_athletes in the part [plan] of study.toml",
        )
    return [_card(study, trained), _log(), _events()]


def _card(study: Study, trained: Sequence[str]) -> Sheet:
    design = study.training
    known = training_protocols().set_index("protocol")
    steps, line = [], known.loc[design.protocol] if design.protocol in known.index else None
    if line is None:
        steps.append(f"The training: {design.protocol or 'as the coach and the committee agreed'}.")
    else:
        steps += [
            _work(line),
            f"Source: {line['source']} ({line['provenance']}). What was published is no prescription.",
        ]
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
    cautions = (STOP_TRAINING, NOT_TRAINED, SUPERVISED, safety.DEFER)
    blanks = (*TOP[:2], *EMERGENCY[:2])
    return Sheet(
        "training_card",
        "Session card",
        "whoever leads the intervals",
        blanks,
        tuple(steps),
        columns,
        rows,
        cautions,
    )


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
    columns = headed([c for c in sheet_columns("training_log") if c != "recording"])
    steps = (
        BOTH_GROUPS,
        "One line for every hard session: intervals, sparring, drilling, running, strength, competition.",
        "How hard the whole session was, 0 to 10, asked half an hour after it, alone.",
        "A session that was missed or stopped: one line with the reason.",
    )
    return Sheet("training_log", "Training log", "every athlete of both groups", TOP[:1], steps, columns,
                 (("",) * len(columns),) * LOG_ROWS, (STOP_TRAINING,), wide=True)  # fmt: skip


def _events() -> Sheet:
    columns = headed(sheet_columns("adverse_events"))
    steps = (
        "Every injury, illness and complaint of both groups, whatever it came from. Codes only, no names.",
        "First help the athlete; then write; then tell whoever is responsible for the study, the same day.",
    )
    return Sheet("adverse_events", "Adverse events", "whoever hears of it first", TOP[:1], steps, columns,
                 (("",) * len(columns),) * EVENT_ROWS, (PAUSE_STUDY, safety.HEAD, safety.DEFER), wide=True)  # fmt: skip
