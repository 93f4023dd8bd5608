"""What was done otherwise than the fixed plan says."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import pandas as pd

from ..basics import join_words, plural
from .columns import source_columns
from .fixed_plan import FIXED_FILE, FIXED_SETTINGS, FixedPlan, load_fixed_plan, plain_values, protocol_values
from .model import Study
from .outcomes import OUTCOMES, QUESTIONS, short_question
from .plan import Plan
from .settings import SETTINGS_FILE
from .times import clock_seconds

DEVIATION_COLUMNS = ("part", "planned", "done", "where")
CLOCK_TOLERANCE_S = 10.0
"""A round or rest that differs by more from the plan is a deviation (our proposal)."""


def plan_deviations(study: Study) -> pd.DataFrame:
    """List everything that was done otherwise than the fixed plan says."""
    fixed = load_fixed_plan(study.folder)
    study = replace(study, rounds=study.entered_rounds())  # what is known before the evening is no data
    lines = []
    if fixed is not None:
        if not fixed.intact:
            changed = ("the fixed plan itself", "unchanged since it was fixed", "its checksum no longer fits")
            lines.append((*changed, FIXED_FILE))
        lines += _changed_settings(study, fixed)
        lines += _dates(study, fixed)
        lines += _athletes(study, fixed)
        lines += unmeasured(study, fixed.plan)
        lines += _rounds_done(study, fixed)
        lines += _clock(study, fixed)
        lines += _clothing(study, fixed)
        lines += _sampling(study, fixed)
        lines += _set_aside_by_people(study)
    return pd.DataFrame(lines, columns=list(DEVIATION_COLUMNS), dtype="str")


def _changed_settings(study: Study, fixed: FixedPlan) -> list[tuple]:
    now = {
        "title": study.title,
        "sport": study.sport,
        "protocol": protocol_values(study.protocol),
        "plan": _plan_values(study.plan),
        **{name: study.settings.get(name, {}) for name in FIXED_SETTINGS},
    }
    then = {
        "title": fixed.fixed.get("title", ""),
        "sport": fixed.fixed.get("sport", ""),
        "protocol": fixed.fixed["protocol"],
        "plan": plain_values(_plan_values(fixed.plan)),
        **{name: fixed.fixed.get("settings", {}).get(name, {}) for name in FIXED_SETTINGS},
    }
    if study.plan.n_athletes is None:  # not in study.toml, but given when the plan was fixed
        now["plan"]["n_athletes"] = then["plan"]["n_athletes"]
    return list(_differences(then, plain_values(now), ()))


def _plan_values(plan) -> dict:
    return {k: v for k, v in asdict(plan).items() if k not in ("frozen", "proposed")}


def _differences(then, now, path: tuple):
    if isinstance(then, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*then, *now]):
            yield from _differences(then.get(key), now.get(key), (*path, key))
    elif path[-1:] == ("hypotheses",):
        yield from _changed_hypotheses(then or [], now or [])
    elif then != now:
        yield (": ".join(_words(part) for part in path), _say(then), _say(now), SETTINGS_FILE)


def _words(name: str) -> str:
    if name in OUTCOMES:
        return OUTCOMES[name].label.lower()
    return short_question(name) if name in QUESTIONS else name.removesuffix("_s").replace("_", " ")


def _changed_hypotheses(then: list, now: list):
    left = {(h["question"], h["outcome"]): h for h in now}
    for h in then:
        other = left.pop((h["question"], h["outcome"]), None)
        if other != h:
            part = f"hypothesis: {_words(h['question'])}"
            yield (part, _say_hypothesis(h), _say_hypothesis(other), SETTINGS_FILE)
    for h in left.values():
        yield (f"hypothesis: {_words(h['question'])}", "none", _say_hypothesis(h), SETTINGS_FILE)


def _say_hypothesis(h: dict | None) -> str:
    return f"{_words(h['outcome'])} {h['direction']}: {h['text']}" if h else "left out"


def _say(value) -> str:
    if value is None or value == "" or value == [] or value == {}:
        return "none"
    if isinstance(value, dict):
        return "; ".join(f"{_words(k)} {_say(v)}" for k, v in value.items() if v != {})
    if isinstance(value, list):
        return "; ".join(map(_say, value))
    if isinstance(value, float):
        return f"{value:g}"
    return _words(value) if isinstance(value, str) and value in OUTCOMES else str(value)


def _dates(study: Study, fixed: FixedPlan) -> list[tuple]:
    lines = []
    entered = set(study.rounds["session"]) | set(study.lactate["session"]) | set(study.recordings["session"])
    for line in study.sessions[study.sessions["date"] != ""].itertuples(index=False):
        if line.session in entered and line.date < fixed.date:
            done = f"session on {line.date}, plan on {fixed.date}"
            lines.append(("plan before the data", f"fixed before session {line.session}", done, line.file))
    already = fixed.fixed.get("rows_of_rounds_already_there", 0)
    if already:
        lines.append(("plan before the data", "no data", f"{plural(already, 'row')} of rounds were there", FIXED_FILE))
    planned, known = fixed.fixed.get("session_dates", []), sorted(d for d in study.sessions["date"] if d)
    if planned and planned != known:
        lines.append(("dates of the sessions", join_words(planned), join_words(known) or "none", "sessions"))
    return lines


def _in_primary(study: Study, fixed: FixedPlan) -> pd.DataFrame:
    rounds = study.rounds
    return rounds[(rounds["session"] == fixed.plan.primary_session) & (rounds["round_no"] > 0)]


def _athletes(study: Study, fixed: FixedPlan) -> list[tuple]:
    rounds = _in_primary(study, fixed)
    done = rounds.loc[rounds["took_part"].isin(["yes", "part", ""]), "athlete"].nunique()
    if len(study.rounds) and not len(rounds):
        return [("primary session", fixed.plan.primary_session, "no rounds of that session", "rounds")]
    planned = fixed.plan.n_athletes
    if planned and len(rounds) and done != planned:
        return [("number of athletes", plural(planned, "athlete"), plural(done, "athlete"), "rounds")]
    return []


def unmeasured(study: Study, plan: Plan) -> list[tuple]:
    """What a plan asks for and the study has no value of, once the evening was entered."""
    if not len(study.entered_rounds()) and not len(study.lactate):
        return []
    lines = []
    typed = study.rounds["lactate_mmol_l"].notna() | study.rounds["lactate_limit"].ne("")
    lactate = study.lactate["lactate_mmol_l"].notna().any() or typed.any()
    heart = study.rounds["hr_mean_typed_bpm"].notna().any() or len(study.recording_files()) > 0
    measured = {"lactate": lactate, "exertion": study.rounds["exertion"].notna().any(), "heart_rate": heart}
    for hypothesis in plan.hypotheses:
        part, outcome = f"hypothesis: {short_question(hypothesis.question)}", OUTCOMES[hypothesis.outcome]
        if not measured[outcome.question]:
            lines.append((part, outcome.label, "not measured", "rounds"))
        if hypothesis.question.startswith("fitness") and not len(study.aerobic_tests):
            lines.append((part, "an aerobic test", "no aerobic test", "aerobic_tests"))
    return lines


def _rounds_done(study: Study, fixed: FixedPlan) -> list[tuple]:
    rounds = _in_primary(study, fixed)
    if not len(rounds):
        return []
    groups = dict(zip(study.athletes["athlete"], study.athletes["group"], strict=True))
    sparred = rounds[rounds["took_part"].isin(["yes", "part", ""])].groupby("athlete")["round_no"].nunique()
    lines = []
    planned = {a: fixed.protocol.for_group(groups.get(a, "")).rounds for a in dict.fromkeys(rounds["athlete"])}
    spare = _left_over(rounds)
    fewer = [a for a, n in planned.items() if sparred.get(a, 0) + spare.get(a, 0) < n]
    more = [a for a, n in planned.items() if sparred.get(a, 0) > n]
    for who, word in ((fewer, "fewer"), (more, "more")):
        if who:
            counts = join_words(sorted({str(planned[a]) for a in who}), "or")
            done = f"{plural(len(who), 'athlete')} did {word}"
            lines.append(("rounds per athlete", f"{counts} rounds", done, "rounds"))
    partly = int((rounds["took_part"] == "part").sum())
    if partly:
        lines.append(("whole rounds", "whole rounds", f"{plural(partly, 'round')} done in part", "rounds"))
    return lines


def _clock(study: Study, fixed: FixedPlan) -> list[tuple]:
    lines = []
    clock = study.clock[study.clock["round_no"] > 0].sort_values(["session", "group", "round_no"])
    start, end = (clock[c].map(clock_seconds) for c in ("start_clock", "end_clock"))
    before = clock.assign(end=end).groupby(["session", "group"])["end"].shift()
    planned = {g: fixed.protocol.for_group(g) for g in dict.fromkeys(clock["group"])}
    for name, seconds in (("work_s", (end - start) % 86400), ("rest_s", (start - before) % 86400)):
        aim = clock["group"].map(lambda g, name=name: getattr(planned[g], name)).astype("float64")
        off = (seconds - aim).abs() > CLOCK_TOLERANCE_S
        if off.any():
            word = "round" if name == "work_s" else "rest"
            plan = join_words([f"{v:g} s" for v in sorted(set(aim[off]))], "or")
            shown = join_words([f"{v:g} s" for v in sorted(set(seconds[off]))][:6])
            done = f"{plural(int(off.sum()), word)} of {int(seconds.notna().sum())}: {shown}"
            where = ", ".join(dict.fromkeys(clock.loc[off, source_columns("clock")[0]]))
            lines.append((f"length of a {word}", plan, done, where))
    return lines


def _clothing(study: Study, fixed: FixedPlan) -> list[tuple]:
    planned, sessions = fixed.protocol.clothing, study.sessions
    other = sessions[~sessions["clothing"].isin(["", planned])]
    if not planned or not len(other):
        return []
    worn = f"{join_words(sorted(set(other['clothing'])))} in session {join_words(list(other['session']))}"
    return [("clothing", planned, worn, join_words(sorted(set(other[source_columns("sessions")[0]]))))]


def _sampling(study: Study, fixed: FixedPlan) -> list[tuple]:
    sampling = fixed.fixed.get("settings", {}).get("sampling", {})
    target, tolerance = (sampling.get(name) for name in ("target_delay_s", "tolerance_s"))
    if not isinstance(target, int | float):
        return []
    tolerance = tolerance if isinstance(tolerance, int | float) else 0.0
    later = study.rounds[study.rounds["round_no"] > 0]
    delays = np.concatenate([later["lactate_delay_s"].dropna(), study.lactate["delay_s"].dropna()])
    off = delays[np.abs(delays - target) > tolerance]
    if not len(off):
        return []
    plan = f"{target:g} s, give or take {tolerance:g} s"
    done = f"{plural(len(off), 'sample')} of {len(delays)} outside: {off.min():g} to {off.max():g} s"
    return [("delay of the blood sample", plan, done, "rounds, lactate")]


def _set_aside_by_people(study: Study) -> list[tuple]:
    table = study.ledger.table
    people = table[(table["decided_by"] != "rule") & (table["cause"] != "")]
    lines = []
    for (name, cause), group in people.groupby(["table", "cause"], sort=False):
        word = "value" if (group["measure"] != "").all() else "row"
        amount = plural(max(int(group["amount"].sum()), len(group)), word)
        lines.append(("decision by a person", "as recorded", f"{amount} of {name}: {cause}", "decisions"))
    spans = study.decisions[study.decisions[["from_s", "to_s"]].notna().any(axis=1)]
    for reason, group in spans.groupby("reason", sort=False):
        done = f"{plural(len(group), 'stretch', 'stretches')} of recordings: {reason}"
        lines.append(("decision by a person", "by rule", done, "decisions"))
    return lines


def _left_over(rounds: pd.DataFrame) -> dict[str, int]:
    """Rounds that an athlete sat out since the number of athletes was odd: one athlete a round, which the plan allows."""
    present = rounds[~rounds["took_part"].isin(["left", "absent"])]
    counts: dict[str, int] = {}
    for _, here in present.groupby("round_no"):
        out = here.loc[here["took_part"] == "sat_out", "athlete"]
        if here["athlete"].nunique() % 2 and len(out) == 1:
            counts[out.iloc[0]] = counts.get(out.iloc[0], 0) + 1
    return counts
