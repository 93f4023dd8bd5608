"""Checks of one row against itself and of safety: consent of minors, rounds sat out, body mass, the clock, intervals."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from itertools import pairwise

import pandas as pd

from ..basics import did_you_mean, join_words
from .columns import KEYS, column_rules, lines_of, place
from .convert import KEEP, is_usual
from .outcomes import ALSO_TYPED, typed_outcomes
from .plan import Plan
from .problems import Findings, asked
from .settings import SETTINGS_FILE, Protocol
from .slips import check_codes, nearest_code, who_lists
from .stand_out import ask_what_stands_out
from .times import clock_seconds

Tables = dict[str, pd.DataFrame]

MEASURES = (*typed_outcomes(), *ALSO_TYPED)
"""Columns of rounds that hold something measured."""

HEART_RATES = ("hr_mean_typed_bpm", "hr_peak_typed_bpm")

FEWEST_ATHLETES = 3
"""With fewer athletes in a session nothing is compared."""


def check_tables(
    tables: Tables, protocol: Protocol, today: dt.date, findings: Findings, *, aside: frozenset[tuple] = frozenset(),
    doubtful: Callable = lambda: frozenset(),
) -> None:  # fmt: skip
    """Check everything that needs several rows or several tables; `doubtful` names the athletes with an unfit row."""
    _check_duplicates(tables, findings)
    check_codes(tables, findings)
    _check_sessions(tables, findings)
    _check_round_numbers(tables, protocol, findings)
    _check_opponents(tables, aside, doubtful, findings)
    _check_events(tables, findings)
    _check_dates(tables, today, findings)


def _check_duplicates(tables: Tables, findings: Findings) -> None:
    for name, keys in KEYS.items():
        first: dict[tuple, object] = {}
        for line in lines_of(tables[name]):
            key = tuple("" if value != value else value for value in (getattr(line, k) for k in keys))
            if "athlete" in keys and not line.athlete:
                continue  # a blank code is a problem already
            before = first.setdefault(key, line)
            if before is line:
                continue
            (file, row), (old_file, old_row) = place(name, line), place(name, before)
            problem = f"the same {join_words(keys)} as row {old_row}{'' if old_file == file else f' of {old_file}'}"
            problem += ", and everything else alike" if _alike(line, before, name) else ""
            second = "number second readings in the column replicate" if name == "lactate" else "correct the wrong one"
            remedy = f"{second}, or set this row aside in decisions with table_row {row}"
            shown = " ".join(str(k) for k in key if k != "")
            findings.problem(file, row, ", ".join(keys[:3]), shown, problem, remedy, aside=True)


def _alike(line, before, name: str) -> bool:
    names = column_rules()[name]
    return all(str(getattr(line, n)) == str(getattr(before, n)) for n in names if hasattr(line, n))


def _check_sessions(tables: Tables, findings: Findings) -> None:
    known = list(dict.fromkeys(tables["sessions"]["session"]))
    if not known:
        return
    for name, table in tables.items():
        if "session" not in table or name in ("sessions", "decisions"):
            continue
        unknown = ~table["session"].isin([*known, ""])
        for session, group in table[unknown].groupby("session", sort=False) if unknown.any() else ():
            line, hint = next(iter(lines_of(group))), asked(did_you_mean(session, known))
            problem = f"not in the sessions table{hint}" + (f" ({len(group)} rows)" if len(group) > 1 else "")
            remedy = "add the session to the sessions table, or correct it"
            findings.problem(*place(name, line), "session", session, problem, remedy)


def _check_events(tables: Tables, findings: Findings) -> None:
    sessions = tables["sessions"]
    timed = set(sessions.loc[sessions["event_clock"].ne(""), "session"])
    for line in lines_of(tables["recordings"]):
        if line.event_s == line.event_s and line.session not in timed:
            problem = f"session {line.session} has no time of a common event"
            remedy = "write the timekeeper's time of it as event_clock in the sessions table, or clear event_s"
            findings.problem(*place("recordings", line), "event_s", f"{line.event_s:g}", problem, remedy)


def _check_round_numbers(tables: Tables, protocol: Protocol, findings: Findings) -> None:
    if not protocol.rounds:
        return
    athletes = tables["athletes"].drop_duplicates("athlete")
    groups = dict(zip(athletes["athlete"], athletes["group"], strict=True))
    places = {"rounds": "round_no", "clock": "round_no", "lactate": "after_round", "attendance": "left_after"}
    for name, column in places.items():
        for line in lines_of(tables[name]):
            group = line.group if name == "clock" else groups.get(line.athlete, "")
            most = protocol.for_group(group).rounds
            value = getattr(line, column)
            if value > most:
                problem = f"a round that the protocol does not have: it has {most}"
                remedy = "correct the round, or rounds in study.toml"
                findings.problem(*place(name, line), column, f"{value:g}", problem, remedy)


def _check_opponents(tables: Tables, aside: frozenset[tuple], doubtful: Callable, findings: Findings) -> None:
    known = set(tables["athletes"]["athlete"]) or set(tables["rounds"]["athlete"])
    lines: dict[tuple, object] = {}
    for line in lines_of(tables["rounds"]):
        lines.setdefault((line.session, line.round_no, line.athlete), line)
    # a row whose own code is unknown is a problem already: its opponent is not blamed a second time
    mistyped = {(s, r, line.opponent) for (s, r, athlete), line in lines.items() if athlete not in known}
    people = tables["athletes"]
    unmeasured = set(people.loc[people["consent_measured"].eq("no") | people["cleared"].eq("no"), "athlete"])
    told = set()
    unfit, people_unfit = findings.unfit, doubtful()
    for (session, round_no, athlete), line in lines.items():
        other = line.opponent
        if other in ("", "guest", "none") or (line.row in unfit.get(line.file, ()) and other != athlete):
            continue
        if other == athlete:
            met = who_lists(tables["rounds"], line)
            remedy = f"write {met}, the opponent who lists {athlete}" if met else "write the opponent's code"
            findings.problem(*place("rounds", line), "opponent", other, "the athlete's own code", remedy, offer=met)
            continue
        back = lines.get((session, round_no, other))
        pair = (session, round_no, frozenset((athlete, other)))
        mirrored = back is not None and back.opponent == athlete
        blamed = pair in told or (session, round_no, other) in aside
        if back is None:  # a row that is wrong itself is named already
            blamed = blamed or other in unmeasured or (session, round_no, athlete) in mistyped or other in people_unfit
        else:
            blamed = blamed or back.row in unfit.get(back.file, ())
        if mirrored or blamed or not {athlete, other} <= known:
            continue
        told.add(pair)
        where = f"session {session}, round {round_no}"
        if back is None:
            problem = f"{athlete} lists {other} in {where}, but {other} has no row there"
        else:
            listed = f"lists {back.opponent}" if back.opponent else "lists nobody"
            problem = f"{athlete} lists {other} in {where}, but {other} {listed} (row {place('rounds', back)[1]})"
        remedy = f"correct one of the two rows; write guest where {other} is outside the study"
        findings.problem(*place("rounds", line), "opponent", other, problem, remedy, keepable=True)


def _check_dates(tables: Tables, today: dt.date, findings: Findings) -> None:
    filled = {"1"} if not len(tables["sessions"]) else set()
    rounds = tables["rounds"]
    if len(rounds):
        filled |= set(rounds.loc[rounds[list(MEASURES)].notna().any(axis=1), "session"])
    filled |= set(tables["lactate"]["session"])
    for name, table in tables.items():
        for column in (c.name for c in column_rules()[name].values() if c.kind == "date"):
            for line in lines_of(table, table[column] != ""):
                date = dt.date.fromisoformat(getattr(line, column))
                where = (*place(name, line), column, date)
                if date.year < 1990:
                    findings.problem(*where, "more than a generation ago", "correct the year")
                elif date > today and name == "sessions" and line.session not in filled:
                    findings.remark(*where, "a session that is still to come", "nothing, if that is meant")
                elif date > today:
                    findings.problem(*where, "a date in the future", "type the date on which it was")


def remark_on_primary_session(plan: Plan, rounds: pd.DataFrame, line: int | None, findings: Findings) -> None:
    """Remark where the primary session holds next to nobody although others sparred."""
    sparred = rounds[rounds["round_no"] > 0]
    everyone = sparred["athlete"].nunique()
    here = sparred.loc[sparred["session"] == plan.primary_session, "athlete"].nunique()
    if here < FEWEST_ATHLETES <= everyone:
        problem = f"the main analyses take this session alone, and only {here} of {everyone} athletes sparred in it"
        remedy = "write the session that is to be analysed, or give all athletes of one evening the same session"
        findings.remark(SETTINGS_FILE, line, "primary_session", plan.primary_session, problem, remedy)


MASS_LOSS_PERCENT = 2.0
"""Below usual body mass by more than this: not today (our proposal; fluid loss raises heart rate)."""


def check_rows(tables: Tables, protocol: Protocol, settings: dict, findings: Findings, *, wide: bool = False) -> None:
    """Check what the columns of one row say about one another."""
    _check_athletes(tables["athletes"], findings)
    _check_attendance(tables["attendance"], findings)
    _check_rounds(tables, protocol, findings)
    _check_lactate(tables, settings, findings)
    _check_clock(tables["clock"], protocol, findings)
    _check_recordings(tables["recordings"], findings)
    _check_published(tables["published"], findings)
    _check_survey(tables["survey"], findings)
    _check_groups(tables["athletes"], protocol, settings, findings)
    ask_what_stands_out(tables, protocol, settings, findings, wide=wide)


def _check_athletes(athletes: pd.DataFrame, findings: Findings) -> None:
    for line in lines_of(athletes):
        if line.age_years < 18 and line.guardian_consent != "yes":
            problem = f"{line.athlete} is under 18 and has no consent of a parent or guardian"
            remedy = "get it in writing before anything is measured and write yes; local codes on minors apply"
            findings.problem(*place("athletes", line), "guardian_consent", line.guardian_consent, problem, remedy)
        if line.hr_rest_bpm >= line.hr_max_bpm:
            rules = column_rules()["athletes"]
            if is_usual(line.hr_max_bpm, rules["hr_rest_bpm"]) and is_usual(line.hr_rest_bpm, rules["hr_max_bpm"]):
                findings.forget(*place("athletes", line), "hr_rest_bpm", "hr_max_bpm")
            elif findings.doubts(*place("athletes", line), "hr_rest_bpm", "hr_max_bpm"):
                continue
            problem = f"the resting heart rate is not below the maximum ({line.hr_max_bpm:g}); were the two exchanged?"
            remedy = "exchange the two if the sheet says so, else look at both"
            findings.problem(*place("athletes", line), "hr_rest_bpm", f"{line.hr_rest_bpm:g}", problem, remedy)
        if not math.isnan(line.hr_max_bpm) and not line.hr_max_source:
            problem = "a maximal heart rate that does not say whether it was measured or predicted"
            remedy = "write measured or predicted"
            findings.remark(*place("athletes", line), "hr_max_source", "", problem, remedy)
        if line.experience_years > line.age_years:
            problem = "more years of training than of life"
            remedy = "look at the sheet; the two may be exchanged"
            shown = f"{line.experience_years:g}"
            findings.problem(*place("athletes", line), "experience_years", shown, problem, remedy)


def _check_attendance(attendance: pd.DataFrame, findings: Findings) -> None:
    for line in lines_of(attendance):
        if line.mass_kg < line.usual_mass_kg * (1 - MASS_LOSS_PERCENT / 100):
            problem = f"more than {MASS_LOSS_PERCENT:g} % below the usual {line.usual_mass_kg:g} kg"
            remedy = "no sparring in a weight cut or short of fluid: another day; local codes apply"
            findings.remark(*place("attendance", line), "mass_kg", f"{line.mass_kg:g}", problem, remedy)


def _check_rounds(tables: Tables, protocol: Protocol, findings: Findings) -> None:
    athletes = {line.athlete: line for line in lines_of(tables["athletes"])}
    left_after = {(a.session, a.athlete): a.left_after for a in lines_of(tables["attendance"]) if a.left_after >= 0}
    for line in lines_of(tables["rounds"]):
        where = place("rounds", line)
        if line.took_part in ("sat_out", "left") and line.round_no > 0:
            busy = [c for c in ("exertion", "minutes_done", "hr_mean_typed_bpm") if getattr(line, c) > 0]
            if line.opponent not in ("", "none"):
                busy.append("opponent")
            if busy:
                words = line.took_part.replace("_", " ")
                problem = f"{words}, but {' and '.join(busy)} {'is' if len(busy) == 1 else 'are'} filled in"
                remedy = "write yes or part, or clear the rest"
                findings.problem(*where, "took_part", line.took_part, problem, remedy, keepable=True)
        lost = line.hr_peak_typed_bpm + 100  # a first 1 that was lost, as in 91 for 191
        both = line.hr_mean_typed_bpm > line.hr_peak_typed_bpm and not findings.doubts(*where, *HEART_RATES)
        if both and line.hr_mean_typed_bpm <= lost < 220:
            findings.forget(*where, "hr_peak_typed_bpm")
            shown, peak = f"{line.hr_peak_typed_bpm:g}", "hr_peak_typed_bpm"
            problem = f"the mean ({line.hr_mean_typed_bpm:g}) is above the peak; {lost:g} with the first 1 lost?"
            findings.problem(*where, peak, shown, problem, f"type {lost:g} if that was measured", offer=f"{lost:g}")
        elif both:
            problem = f"the mean is above the peak ({line.hr_peak_typed_bpm:g}); were the two exchanged?"
            remedy = "exchange the two if the sheet says so, else look at both"
            findings.problem(*where, "hr_mean_typed_bpm", f"{line.hr_mean_typed_bpm:g}", problem, remedy)
        known = athletes.get(line.athlete)
        work_s = protocol.for_group(known.group if known else "").work_s
        if line.round_no > left_after.get((line.session, line.athlete), math.inf) and line.took_part in ("yes", "part"):
            problem = "took part after the round that attendance gives as the last before leaving"
            findings.remark(*where, "took_part", line.took_part, problem, "correct one of the two sheets")
        if 60 * line.minutes_done > work_s + 30:
            tenth = f"{line.minutes_done / 10:g}" if 6 * line.minutes_done <= work_s + 30 else ""
            findings.forget(*where, "minutes_done")
            problem = f"longer than a round of the protocol ({work_s / 60:g} min)"
            problem += f"; {tenth} with the decimal point slipped?" if tenth else ""
            remedy = f"write {tenth} if the sheet says so, else keep it in decisions" if tenth else KEEP
            findings.question(*where, "minutes_done", f"{line.minutes_done:g}", problem, remedy, offer=tenth)
        if (
            known
            and line.hr_peak_typed_bpm > known.hr_max_bpm
            and not findings.doubts(*place("athletes", known), "hr_max_bpm", "hr_rest_bpm")
        ):
            _peak_above_maximum(line, where, known, findings)


def _peak_above_maximum(line, where, known, findings: Findings) -> None:
    text, peak = f"above the athlete's maximum of {known.hr_max_bpm:g} bpm", f"{line.hr_peak_typed_bpm:g}"
    if known.hr_max_source == "measured":
        remedy = (
            f"raise hr_max_bpm of {line.athlete or 'this athlete'} in the athletes table to {peak} if the peak is real, else "
            "set the peak aside in decisions"
        )
        findings.problem(*where, "hr_peak_typed_bpm", peak, text, remedy, keepable=True)
    else:
        findings.remark(*where, "hr_peak_typed_bpm", peak, f"{text}, which is no measured one", "look at both")


def _check_lactate(tables: Tables, settings: dict, findings: Findings) -> None:
    low, high = (settings.get(f"lactate_analyser_{end}_mmol_l") for end in ("low", "high"))
    low, high = (v if isinstance(v, int | float) and not isinstance(v, bool) else None for v in (low, high))
    in_rounds = {}
    for name, after in (("rounds", "round_no"), ("lactate", "after_round")):
        for line in lines_of(tables[name]):
            where, value = place(name, line), line.lactate_mmol_l
            if line.lactate_limit and not math.isnan(value):
                problem = "a number and off the scale at once"
                sign = ">" if line.lactate_limit == "high" else "<"
                remedy = f"clear one of the two, or write {sign} {value:g} in lactate_mmol_l where that is the limit"
                findings.problem(*where, "lactate_limit", line.lactate_limit, problem, remedy)
            elif line.lactate_limit == "high" and high is None and math.isnan(line.lactate_bound_mmol_l):
                problem = "above the analyser's scale, whose end study.toml does not say"
                remedy = (
                    "write the end of its scale at the top of study.toml, such as lactate_analyser_high_mmol_l = 25"
                )
                findings.remark(*where, "lactate_mmol_l", "HI", problem, remedy)
            elif (high is not None and value > high) or (low is not None and value < low):
                problem = "beyond the analyser's scale in study.toml"
                findings.remark(*where, "lactate_mmol_l", f"{value:g}", problem, "look at the sheet and at study.toml")
            key = (line.session, line.athlete, getattr(line, after))
            if name == "rounds":
                in_rounds[key] = (value, where[1])
                continue
            other, row = in_rounds.get(key, (math.nan, None))
            if abs(value - other) > 0:
                problem = f"the rounds table has another value ({other:g}, row {row})"
                findings.remark(*where, "lactate_mmol_l", f"{value:g}", problem, "keep the sample in one table")


def _check_clock(clock: pd.DataFrame, protocol: Protocol, findings: Findings) -> None:
    for line in lines_of(clock):
        length = (clock_seconds(line.end_clock) - clock_seconds(line.start_clock)) % 86400
        if math.isnan(length):
            continue
        work_s = protocol.for_group(line.group).work_s
        where = (*place("clock", line), "end_clock", f"{line.start_clock} to {line.end_clock}")
        if length > 4 * 3600 or length == 0:
            findings.problem(*where, "the round ends before it begins", "correct the times")
        elif abs(length - work_s) > max(60.0, 0.25 * work_s) and line.round_no > 0:
            problem = f"the round lasted {length:g} s, the protocol says {work_s:g} s"
            findings.remark(*where, problem, "look at the timekeeper's sheet")
    ordered = clock[(clock["start_clock"] != "") & (clock["round_no"] > 0)].sort_values("round_no")
    for _, group in ordered.groupby(["session", "group"], sort=False):
        lines = list(lines_of(group))
        for before, after in pairwise(lines):
            gap = (clock_seconds(after.start_clock) - clock_seconds(before.start_clock)) % 86400
            if gap > 12 * 3600 or gap == 0:
                problem = f"round {after.round_no} starts before round {before.round_no}"
                remedy = "correct the times, or the rounds"
                findings.problem(*place("clock", after), "start_clock", after.start_clock, problem, remedy)


def _check_recordings(recordings: pd.DataFrame, findings: Findings) -> None:
    if not len(recordings):
        return
    whole = (recordings["column_or_label"] == "") & (recordings["worn_from"] == "") & (recordings["worn_until"] == "")
    shared = recordings.groupby(["session", "file"])["athlete"].transform("nunique") > 1
    shared |= recordings.groupby("file")["athlete"].transform("nunique") > 1
    for line in lines_of(recordings, shared & whole):
        problem = f"{line.file} is listed for several athletes, but not which part of it is {line.athlete}"
        remedy = (
            "write the heading or label of this athlete inside the file; or, where several wore one device in turn, the "
            "timekeeper's time in worn_from and worn_until"
        )
        findings.problem(*place("recordings", line), "column_or_label", "", problem, remedy)
    for _, rows in recordings[shared & ~whole].groupby(["session", "file", "column_or_label"], sort=False):
        _check_turns(lines_of(rows), findings)


def _check_turns(lines, findings: Findings) -> None:
    """Name the turns at one device that overlap, or end before they begin."""
    turns = []
    for line in lines:
        begin, end = clock_seconds(line.worn_from), clock_seconds(line.worn_until)
        turns.append((0.0 if math.isnan(begin) else begin, math.inf if math.isnan(end) else end, line))
    turns.sort(key=lambda turn: turn[:2])
    for (_, end, one), (begin, _, other) in pairwise(turns):
        if one.athlete != other.athlete and begin < end:
            problem = (
                f"{one.athlete} wears the device of {one.file} at the same time ({one.worn_from or 'the start'} to "
                f"{one.worn_until or 'the end'})"
            )
            remedy = (
                f"write when {one.athlete} took it off in worn_until and when {other.athlete} put it on in worn_from"
            )
            findings.problem(*place("recordings", other), "worn_from", other.worn_from, problem, remedy)


def _check_published(published: pd.DataFrame, findings: Findings) -> None:
    for line in lines_of(published):
        where = place("published", line)
        if line.ci_low > line.ci_high:
            problem = "the interval ends before it begins"
            findings.problem(*where, "ci_low", f"{line.ci_low:g}", problem, "exchange the limits")
        if line.statistic.casefold() in ("r", "rho", "pearson", "spearman", "correlation") and abs(line.value) > 1:
            findings.problem(*where, "value", f"{line.value:g}", "a correlation beyond 1", "look at the paper")
        if not math.isnan(line.spread) and not line.spread_kind:
            problem = "a spread that does not say what it is"
            findings.remark(*where, "spread_kind", "", problem, "write sd, sem, iqr or ci")


def _check_survey(survey: pd.DataFrame, findings: Findings) -> None:
    crossed = survey[survey["hr_mean_bpm"] > survey["hr_peak_bpm"]]
    for line in lines_of(crossed):
        problem = f"the mean is above the peak ({line.hr_peak_bpm:g})"
        remedy = "look at the submission; the two may be exchanged"
        findings.problem(*place("survey", line), "hr_mean_bpm", f"{line.hr_mean_bpm:g}", problem, remedy, keepable=True)
    young = survey[survey["age_years"] < 18]
    if len(young):
        problem = f"{young['person'].nunique()} of the people are under 18"
        remedy = "make sure that a parent or guardian has agreed; local codes on minors apply"
        findings.remark_of(young.iloc[0]["source_file"], problem, remedy, column="age_years")


def _check_groups(athletes: pd.DataFrame, protocol: Protocol, settings, findings: Findings) -> None:
    groups = {g for g in athletes["group"] if g}
    for name in protocol.groups:
        if groups and name not in groups:
            problem = f"a group of the protocol that no athlete is in{asked(nearest_code(name, sorted(groups)))}"
            remedy = "compare with the column group of the athletes table"
            settings.say(findings.remark, ("protocol", name), "", problem, remedy)
