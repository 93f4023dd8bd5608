"""The training study of a folder: values by occasion, the draw and its record, adherence, harms, the answer."""

from __future__ import annotations

import datetime as dt
import hashlib
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import KitError, NotYet, join_words, plural
from ..basics.errors import expand_home
from ..cleaning import clean_study, flag_artefacts
from ..environment import python_name
from ..physiology import attainable_minutes, target_band, training_protocols
from ..recordings import RecordingError, read_recording
from ..study import load_study, outcome_named
from ..study.binding import CONFIRMATORY, EXPLORATORY
from ..study.fixing import write_whole
from ..study.inventory import inside_folder
from ..study.training import FILES, add_to_record, has_phases, read_record, write_record
from ..training import allocate, allocate_late
from ..training.adherence import describe_adherence, describe_harms
from ..training.allocation import RANDOMISED, Allocation, add_late_joiners
from ..training.answer import CANNOT_TELL, SMALL, TrainingAnswer, answer_training
from ..training.before_after import BeforeAfter, before_after, capacity_by_occasion, outcome_by_occasion
from . import inputs
from .inputs import Question

CAPACITY = "capacity"
QUESTION = "the training study"
WARMER_C, LATER_H, SAME_OPPONENTS = 3.0, 1.0, 0.8
"""Evenings that differ by more in temperature or time of day, or share fewer opponents, are named (our proposal)."""


def values_by_occasion(study, rows) -> dict[str, pd.DataFrame]:
    """Return capacity and the primary heart rate by athlete, phase and occasion; `rows` is None where nothing was sparred."""
    found = {}
    if set(study.aerobic_tests["phase"]) & {"pre", "post"}:
        options = {"unit": study.plan.capacity_unit, "gas_exchange": inputs.read_gas_files(study)}
        table = capacity_by_occasion(study.aerobic_tests, study.athletes, **options)
        if len(table):
            found[CAPACITY] = table
    outcome = study.plan.primary_outcomes.get("rounds.heart_rate", "hr_mean_bpm")
    if set(study.sessions["phase"]) & {"pre", "post"} and rows is not None:
        rows = inputs.sparred(rows)
        if outcome in rows and rows[outcome].notna().any():
            table = outcome_by_occasion(rows, study.sessions, outcome)
            if len(table):
                found[outcome] = table
    return found


def describe_outcomes(study, values: dict) -> dict[str, dict]:
    """Return label, unit, decimals, wanted direction and smallest worthwhile gain of each outcome."""
    design, described = study.training, {}
    for name, table in values.items():
        if name == CAPACITY:
            gain = design.smallest_capacity_gain if design else 2.0
            unit = str(table["unit"].iloc[0]) or study.plan.capacity_unit
            described[name] = {"label": "Aerobic capacity", "unit": unit, "digits": 1, "wanted": 1, "smallest": gain}
        else:
            known = outcome_named(name)
            described[name] = {
                "label": f"{known.label} in sparring",
                "unit": known.unit,
                "digits": 1,
                "wanted": -1,
                "smallest": study.plan.smallest_effects.get(name, known.smallest_effect),
            }
    return described


def training_answer(answers) -> TrainingAnswer | NotYet:
    """Answer the training study of a folder, or say what it still needs."""
    study = answers.study
    design = study.training
    if design is None and not has_phases({"aerobic_tests": study.aerobic_tests, "sessions": study.sessions}):
        return NotYet(QUESTION, "tests or evenings with phase pre and phase post (columns phase and occasion)")
    values = {
        name: table
        for name, table in values_by_occasion(study, answers.rows if answers.cleaned else None).items()
        if {"pre", "post"} <= set(table["phase"])
    }
    if not values:
        return NotYet(QUESTION, "tests or evenings of phase post, besides those of phase pre")
    described = describe_outcomes(study, values)
    chosen = design.design if design else "before_after"
    if chosen not in RANDOMISED:
        return _before_after(study, values, described)
    if not len(study.allocation):
        copy = "the groups: when the last baseline is closed, copy the sealed file into the folder as allocation.csv"
        return NotYet(QUESTION, copy)
    drawn = study.allocation.drop(columns=["file", "row", "note"], errors="ignore")
    people = drawn.merge(study.athletes[["athlete", "sex", "club", "group"]], on="athlete", how="left")
    reference, how, doubts, strata = _reference_set(study, people)
    adherence = _adherence(study, people)
    return answer_training(
        values,
        people,
        described=described,
        design=chosen,
        reference_set=reference,
        covariates=tuple(s for s in strata if len(set(people[s])) > 1),
        alpha=study.plan.alpha,
        known_errors=_known_errors(values),
        reasons=_reasons(study),
        adherence=adherence,
        harms=describe_harms(study.adverse_events, people) if len(study.adverse_events) else None,
        how_allocated=how,
        not_confirmatory=doubts,
        protocol=design.protocol,
        weeks=design.weeks,
        sessions_per_week=design.sessions_per_week,
        conditions=conditions_apart(study),
        seed=answers.seed,
    )


def training_questions(answers) -> tuple[Question, ...]:
    """The primary questions of a training study, each confirmatory or not, with the reason."""
    answer, found = answers.training(), []
    for name, one in answer.outcomes.items() if answer else ():
        alone = isinstance(one, BeforeAfter)
        why = NOBODY_WITHOUT if alone else join_words(one.why_not)
        question = Question(
            id="training.capacity" if name == CAPACITY else "training.heart_rate",
            outcome=name,
            status=EXPLORATORY if why else CONFIRMATORY,
            why=why,
            role="primary",
            direction="higher" if name == CAPACITY else "lower",
            hypothesis="",
        )
        if not alone:
            claimed = not why and one.verdict not in (CANNOT_TELL, SMALL)
            question = replace(question, verdict=one.verdict, p=one.p_claim, p_adjusted=one.p_adjusted, claimed=claimed)
        found.append(question)
    names = tuple(q.id for q in found)
    return tuple(replace(q, family=names) for q in found)


NOBODY_WITHOUT = "nobody went without the training"


def _before_after(study, values, described) -> TrainingAnswer:
    errors, found, warnings = _known_errors(values), {}, []
    for name, table in values.items():
        try:
            one = {k: v for k, v in described[name].items() if k != "wanted"}
            found[name] = before_after(table, outcome=name, **one, known_error=errors.get(name))
        except KitError as error:
            warnings.append(str(error))
    people = pd.DataFrame({"athlete": study.athletes["athlete"], "arm": "all"})
    return TrainingAnswer(
        design="before_after",
        outcomes=found,
        harms=describe_harms(study.adverse_events, people) if len(study.adverse_events) else None,
        protocol=study.training.protocol if study.training else "",
        weeks=study.training.weeks if study.training else float("nan"),
        conditions=conditions_apart(study),
        warnings=tuple(warnings),
    )


def _known_errors(values) -> dict[str, float]:
    table = values.get(CAPACITY)
    if table is None:
        return {}
    retest = table.loc[table["error_kind"] == "retest", "standard_error"].dropna()
    return {CAPACITY: float(retest.mean())} if len(retest) else {}


def _reasons(study) -> dict[str, str]:
    """Why somebody has no follow-up: the last reason that the training log gives, else an adverse event."""
    log = study.training_log[study.training_log["reason"] != ""]
    events = study.adverse_events.assign(reason=study.adverse_events["kind"].str.replace("_", " "))
    both = pd.concat([events[["athlete", "reason"]], log[["athlete", "reason"]]])
    return dict(zip(both["athlete"], both["reason"], strict=True))


def _reference_set(study, people):
    """Draw again from the record; return the reference set, how it was made, doubts, and the strata that were kept."""
    doubts = []
    if not study.plan.frozen:
        doubts.append("no plan was fixed before the data")
    elif not study.plan.frozen.get("intact", True):
        doubts.append("the fixed plan was changed afterwards")
    record = read_record(study.folder)
    if record is None:
        doubts.append("the kit did not draw the groups, so nobody can check that chance did")
        return None, "The groups were typed in; the kit did not draw them.", doubts, ()
    drawn = _draw_again(record)
    if study.plan.frozen and record["plan_sha256"] != study.plan.frozen["checksum"]:
        doubts.append("the groups were drawn for another plan")
    after = study.aerobic_tests.loc[study.aerobic_tests["phase"] == "post", "date"]
    if len(after[(after != "") & (after < record["date"])]):
        doubts.append("some tests after the training are older than the draw")
    late = record.get("late", [])
    expected = _arms(record, drawn)
    now = dict(zip(people["athlete"], people["arm"], strict=True))
    other = [a for a, arm in now.items() if expected.get(a) != arm]
    how = (
        f"On {record['date']} chance drew allocation {drawn.drawn} of {drawn.n_kept} ({drawn.how}). The seed was made of the "
        f"fixed plan and the number {record['public_number']} ({record.get('public_number_named') or 'not named beforehand'})."
    )
    if not record.get("public_number_named"):
        doubts.append("the plan did not name the public number before it existed")
    if other:
        doubts.append(f"{plural(len(other), 'athlete')} stand in another group than the one drawn")
        return None, how, doubts, drawn.strata
    reference = drawn.reference_set
    if late:
        everybody = pd.DataFrame([*record["baselines"], *late])
        codes = [one["athlete"] for one in late]
        again = add_late_joiners(reference, everybody, codes, factors=list(drawn.strata))
        mine = pd.DataFrame([{a: int(expected[a] == "trained") for a in again.columns}])
        reference = pd.concat([mine, again], ignore_index=True)
        how += f" {plural(len(late), 'athlete')} joined later, by minimisation; the test runs that procedure again."
    return reference, how, doubts, drawn.strata


def _arms(record, drawn) -> dict[str, str]:
    """Who is in which group: the draw, and the late joiners one after the other."""
    strata = pd.DataFrame(record["baselines"])[["athlete", *drawn.strata]]
    table = drawn.allocation[["athlete", "arm"]].merge(strata, on="athlete")
    for one in record.get("late", []):
        arm = allocate_late(table, one, factors=list(drawn.strata), public_number=record["public_number"],
                            plan_sha256=record["plan_sha256"])  # fmt: skip
        table = pd.concat([table, pd.DataFrame([{**one, "arm": arm}])[list(table.columns)]], ignore_index=True)
    return dict(zip(table["athlete"], table["arm"], strict=True))


def _draw_again(record) -> Allocation:
    given = {name: record[name] for name in ("strata", "public_number", "plan_sha256", "design")}
    return allocate(pd.DataFrame(record["baselines"]), **given)


def _adherence(study, people):
    design = study.training
    if not len(study.training_log) or np.isnan([design.weeks, design.sessions_per_week]).any():
        return None
    known = training_protocols().set_index("protocol")
    band = design.protocol in known.index and known.loc[design.protocol, "guide"] == "heart rate"
    return describe_adherence(
        study.training_log,
        people,
        weeks=design.weeks,
        sessions_per_week=design.sessions_per_week,
        minutes_in_target=minutes_in_target(study) if band else None,
        attainable_minutes=attainable_minutes(design.protocol) if band else None,
    )


def minutes_in_target(study) -> pd.DataFrame:
    """Return the mean minutes in the target band of each athlete's recorded sessions; only with a measured maximum."""
    people = study.athletes.set_index("athlete")
    lines = []
    for line in study.training_log[study.training_log["recording"] != ""].itertuples():
        if line.athlete not in people.index:
            continue
        own = people.loc[line.athlete]
        band = target_band(study.training.protocol, hr_max_bpm=own["hr_max_bpm"], hr_max_source=own["hr_max_source"])
        path = inside_folder(study.folder, line.recording, FILES)
        if band.why_none or path is None:
            continue
        try:
            samples = read_recording(path).samples
        except RecordingError:
            continue
        good = flag_artefacts(samples, hr_max_bpm=own["hr_max_bpm"])
        step = np.diff(good["elapsed_s"], append=np.nan)
        step = np.where(np.isfinite(step) & (step <= 15), step, 0.0)
        inside = (good["flag"] == "") & (good["hr_bpm"] >= band.low_bpm)
        lines.append({"athlete": line.athlete, "minutes": float(step[inside.to_numpy()].sum() / 60)})
    table = pd.DataFrame(lines, columns=["athlete", "minutes"]).groupby("athlete")["minutes"].agg(["mean", "size"])
    return table.reset_index().rename(columns={"mean": "minutes_in_target", "size": "n_recordings"})


def conditions_apart(study) -> tuple[str, ...]:
    """Name what differs between the evenings before and after: temperature, time of day, clothing, opponents."""
    evenings, found = study.sessions, []
    groups = {p: evenings[evenings["phase"] == p] for p in ("pre", "post")}
    if not all(len(g) for g in groups.values()):
        return ()
    warm = {p: g["temperature_c"].mean() for p, g in groups.items()}
    if abs(warm["post"] - warm["pre"]) > WARMER_C:
        found.append(f"the evenings after the training were {abs(warm['post'] - warm['pre']):.0f} °C "
                     f"{'warmer' if warm['post'] > warm['pre'] else 'cooler'}")  # fmt: skip
    starts = study.clock[(study.clock["round_no"] == 1) & (study.clock["start_clock"] != "")]
    began = starts.assign(hour=pd.to_timedelta(starts["start_clock"]).dt.total_seconds() / 3600)
    before, after = (began.loc[began["session"].isin(g["session"]), "hour"].mean() for g in groups.values())
    if abs(after - before) > LATER_H:
        found.append(f"they began {abs(after - before):.1f} h {'later' if after > before else 'earlier'}")
    worn = [set(g["clothing"].replace("", study.protocol.clothing)) - {""} for g in groups.values()]
    if all(worn) and worn[0] != worn[1]:
        before, after = (join_words(sorted(w), "or") for w in worn)
        found.append(f"what was worn changed ({before} before, {after} after)")
    rows = study.rounds[~study.rounds["opponent"].isin(["", "none", "guest"])]
    of_phase = (rows[rows["session"].isin(g["session"])] for g in groups.values())
    met = [set(zip(own["athlete"], own["round_no"], own["opponent"], strict=True)) for own in of_phase]
    shared = {key[:2] for key in met[0]} & {key[:2] for key in met[1]}
    kept = {key for key in met[0] & met[1] if key[:2] in shared}
    if shared and len({key[:2] for key in kept}) < SAME_OPPONENTS * len(shared):
        found.append("opponents or their order were not the same")
    return tuple(found)


def allocate_study(folder: str | Path, sealed: str | Path, *, late: str = "", today: dt.date | None = None) -> str:
    """Draw, once, who trains; the groups go into a sealed file outside the study folder, the record into the folder."""
    study = load_study(folder)
    sealed = _outside(study.folder, expand_home(sealed).resolve())
    design = study.training
    if design is None:
        raise KitError(
            "study.toml has no section [training]. Start a training study with: "
            f"{python_name()} -m analysis new FOLDER --training"
        )
    if design.design not in RANDOMISED:
        raise KitError(f"The design is {design.design}: nobody is allocated in it.")
    record = read_record(study.folder)
    if late:
        return _allocate_late(study, record, late, sealed, today or dt.date.today())
    if record is not None or len(study.allocation):
        raise KitError(
            "Athletes were allocated in this study before; a second draw would let somebody choose. For an athlete who joined "
            "later: --late CODE."
        )
    problems = _not_ready(study, design)
    sparred = not (study.rounds.empty and study.recordings.empty and not len(study.recording_files()))
    values = values_by_occasion(study, clean_study(study).rows if sparred else None)
    table, missing = _baselines(study, values, design)
    problems += missing
    if problems:
        raise KitError("Nobody was allocated yet:\n" + "\n".join(f"  - {p}" for p in problems))
    drawn = allocate(
        table,
        strata=design.strata,
        public_number=design.public_number,
        plan_sha256=study.plan.frozen["checksum"],
        design=design.design,
    )
    text = drawn.allocation.to_csv(index=False, lineterminator="\n")
    with _sealed_file(sealed, text):
        write_record(
            study.folder,
            {
                "about": "The record of the draw, without the groups. Do not change this file: the draw is repeated from it.",
                "date": (today or dt.date.today()).isoformat(),
                "design": design.design,
                "strata": list(design.strata),
                "plan_sha256": study.plan.frozen["checksum"],
                "public_number": design.public_number,
                "public_number_named": design.public_number_named,
                "baselines": table.to_dict("records"),
                "sealed_sha256": hashlib.sha256(text.encode("utf-8")).hexdigest(),
                "n_balanced": drawn.n_balanced,
                "n_kept": drawn.n_kept,
                "tolerance_sd": drawn.tolerance_sd if np.isfinite(drawn.tolerance_sd) else "none",
                "warnings": list(drawn.warnings),
                "late": [],
            },
        )
    lines = [
        f"Drawn: one of {drawn.n_kept} allocations of {len(table)} athletes"
        f"{' with like baselines' if np.isfinite(drawn.tolerance_sd) else ''} ({drawn.how}).",
        *drawn.warnings,
        f"The groups stand in {sealed} alone. Whoever tests, times or rates does not open it; the coach who trains the group "
        "does, when the last baseline is closed.",
        "Then copy it into the study folder as allocation.csv.",
    ]
    return "\n".join(lines)


def _outside(folder: Path, sealed: Path) -> Path:
    if folder.resolve() in (sealed, *sealed.parents):
        raise KitError(
            f"{sealed} lies in the study folder. Give a place outside it, where nobody looks who tests the athletes."
        )
    if sealed.is_dir():
        raise KitError(f"{sealed} is a folder. Give the name of a file in it, such as groups.csv.")
    if not sealed.parent.is_dir():
        raise KitError(f"There is no folder {sealed.parent}.")
    return sealed


def _not_ready(study, design) -> list[str]:
    problems = []
    if not study.plan.frozen:
        problems.append(f"the plan is not fixed: {python_name()} -m analysis freeze FOLDER")
    if not design.public_number_named and not study.plan.frozen:
        problems.append("name the public number in [training] public_number_named before the plan is fixed")
    if not design.public_number:
        problems.append('the public number is not there: write public_number = "..." under [allocation] in study.toml')
    rows = study.ledger.table.query("table == 'athletes' and unit == 'rows' and not used")
    for line in rows[rows["athlete"] != ""].itertuples():
        problems.append(f"{line.athlete}: {line.cause} (complete it in athletes, or write withdrawn = yes)")
    post = set(study.aerobic_tests["phase"]) | set(study.sessions["phase"])
    if "post" in post:
        problems.append("there are already tests or evenings of phase post")
    return problems


def _baselines(study, values, design):
    """One row per athlete with the mean of the baselines of each outcome, and what is missing."""
    table = study.athletes[["athlete", *design.strata]].copy()
    missing = []
    if CAPACITY not in values:
        missing.append("no aerobic test has phase pre: the baseline of each athlete is needed")
    for name, long in values.items():
        means = long[long["phase"] == "pre"].groupby("athlete")["value"].mean()
        table[name] = table["athlete"].map(means).astype(float)
        gone = list(table.loc[table[name].isna(), "athlete"])
        label = "aerobic test" if name == CAPACITY else outcome_named(name).label.lower()
        missing += [f"{join_words(gone)}: no {label} of phase pre (measure, or write withdrawn = yes)"] if gone else []
    for column in design.strata:
        gone = list(table.loc[table[column] == "", "athlete"])
        missing += [f"{join_words(gone)}: no {column} in athletes"] if gone else []
    if len(table) < 4:
        missing.append(f"{plural(len(table), 'athlete')} cannot make two groups")
    return table.reset_index(drop=True), missing


@contextmanager
def _sealed_file(path: Path, text: str):
    """Write the groups, once, for as long as what follows succeeds; a file of the same groups is of a run that was stopped."""
    try:
        if not (path.is_file() and path.read_bytes() == text.encode()):
            write_whole(path, text.encode(), over=False)
    except FileExistsError:
        raise KitError(f"{path} exists already and is not overwritten.") from None
    except OSError as error:
        raise KitError(f"{path} cannot be written: {error.strerror or error}.") from None
    try:
        yield
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def _allocate_late(study, record, code, sealed, today) -> str:
    if record is None:
        raise KitError("Nobody was allocated yet, so nobody can join late: leave out --late.")
    known = {one["athlete"] for one in record["baselines"]} | {one["athlete"] for one in record.get("late", [])}
    if code in known:
        raise KitError(f"{code} was allocated before.")
    people = study.athletes.set_index("athlete")
    if code not in people.index:
        raise KitError(f"{code} is not in the athletes table, or has no consent or clearance.")
    drawn = _draw_again(record)
    factors = list(drawn.strata)
    joiner = {"athlete": code, **{f: str(people.loc[code, f]) for f in factors}, "date": today.isoformat()}
    arm = _arms({**record, "late": [*record.get("late", []), joiner]}, drawn)[code]
    with _sealed_file(sealed, f"athlete,arm,stratum,pair,joined\n{code},{arm},,,late\n"):
        add_to_record(study.folder, joiner)
    return f"{code} joined late, by minimisation. The group stands in {sealed}: add its row to allocation."
