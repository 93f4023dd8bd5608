"""Checks of one row against itself and of safety: consent of minors, rounds sat out, body mass, the clock, intervals."""

from __future__ import annotations

import math
from itertools import pairwise

import pandas as pd

from .columns import lines_of, place
from .crosscheck import Tables, nearest_code
from .findings import Findings
from .protocol import Protocol
from .settings import SETTINGS_FILE
from .times import clock_seconds

MASS_LOSS_PERCENT = 2.0
"""Below usual body mass by more than this: not today (our proposal; fluid loss raises heart rate)."""


def check_rows(tables: Tables, protocol: Protocol, settings: dict, findings: Findings) -> None:
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


def _check_athletes(athletes: pd.DataFrame, findings: Findings) -> None:
    for line in lines_of(athletes):
        if line.age_years < 18 and line.guardian_consent != "yes":
            findings.problem(
                *place("athletes", line),
                "guardian_consent",
                line.guardian_consent,
                f"{line.athlete} is under 18 and has no consent of a parent or guardian",
                "get it in writing before anything is measured and write yes; local codes on minors apply",
            )
        if line.hr_rest_bpm >= line.hr_max_bpm:
            findings.problem(
                *place("athletes", line),
                "hr_rest_bpm",
                f"{line.hr_rest_bpm:g}",
                "the resting heart rate is not below the maximum",
                "look at the sheet; the two may be exchanged",
            )
        if not math.isnan(line.hr_max_bpm) and not line.hr_max_source:
            findings.remark(
                *place("athletes", line),
                "hr_max_source",
                "",
                "a maximal heart rate that does not say whether it was measured or predicted",
                "write measured or predicted",
            )
        if line.experience_years > line.age_years:
            findings.problem(
                *place("athletes", line),
                "experience_years",
                f"{line.experience_years:g}",
                "more years of training than of life",
                "look at the sheet; the two may be exchanged",
            )


def _check_attendance(attendance: pd.DataFrame, findings: Findings) -> None:
    for line in lines_of(attendance):
        if line.mass_kg < line.usual_mass_kg * (1 - MASS_LOSS_PERCENT / 100):
            findings.remark(
                *place("attendance", line),
                "mass_kg",
                f"{line.mass_kg:g}",
                f"more than {MASS_LOSS_PERCENT:g} % below the usual {line.usual_mass_kg:g} kg",
                "no sparring in a weight cut or short of fluid: another day; local codes apply",
            )


def _check_rounds(tables: Tables, protocol: Protocol, findings: Findings) -> None:
    athletes = {line.athlete: line for line in lines_of(tables["athletes"])}
    left_after = {
        (a.session, a.athlete): a.left_after for a in lines_of(tables["attendance"]) if a.left_after >= 0
    }
    for line in lines_of(tables["rounds"]):
        where = place("rounds", line)
        if line.took_part in ("sat_out", "left") and line.round_no > 0:
            busy = [c for c in ("exertion", "minutes_done", "hr_mean_typed_bpm") if getattr(line, c) > 0]
            if line.opponent not in ("", "none"):
                busy.append("opponent")
            if busy:
                words = line.took_part.replace("_", " ")
                findings.problem(
                    *where,
                    "took_part",
                    line.took_part,
                    f"{words}, but {' and '.join(busy)} {'is' if len(busy) == 1 else 'are'} filled in",
                    "write yes or part, or clear the rest",
                    keepable=True,
                )
        if line.hr_mean_typed_bpm > line.hr_peak_typed_bpm:
            findings.problem(
                *where,
                "hr_mean_typed_bpm",
                f"{line.hr_mean_typed_bpm:g}",
                f"the mean is above the peak ({line.hr_peak_typed_bpm:g})",
                "look at the sheet; the two may be exchanged",
            )
        known = athletes.get(line.athlete)
        work_s = protocol.for_group(known.group if known else "").work_s
        if line.round_no > left_after.get((line.session, line.athlete), math.inf) and line.took_part in (
            "yes",
            "part",
        ):
            problem = "took part after the round that attendance gives as the last before leaving"
            findings.remark(*where, "took_part", line.took_part, problem, "correct one of the two sheets")
        if 60 * line.minutes_done > work_s + 30:
            findings.remark(
                *where,
                "minutes_done",
                f"{line.minutes_done:g}",
                "longer than a round of the protocol",
                "look at the sheet",
            )
        if known and line.hr_peak_typed_bpm > known.hr_max_bpm:
            _peak_above_maximum(line, where, known, findings)


def _peak_above_maximum(line, where, known, findings: Findings) -> None:
    text = f"above the athlete's maximum of {known.hr_max_bpm:g} bpm"
    if known.hr_max_source == "measured":
        findings.problem(
            *where,
            "hr_peak_typed_bpm",
            f"{line.hr_peak_typed_bpm:g}",
            text,
            "raise hr_max_bpm in the athletes table if the peak is real, else set it aside",
            keepable=True,
        )
    else:
        findings.remark(
            *where,
            "hr_peak_typed_bpm",
            f"{line.hr_peak_typed_bpm:g}",
            text + ", which is no measured one",
            "look at both",
        )


def _check_lactate(tables: Tables, settings: dict, findings: Findings) -> None:
    low, high = (settings.get(f"lactate_analyser_{end}_mmol_l") for end in ("low", "high"))
    low, high = (v if isinstance(v, int | float) and not isinstance(v, bool) else None for v in (low, high))
    in_rounds = {}
    for name, after in (("rounds", "round_no"), ("lactate", "after_round")):
        for line in lines_of(tables[name]):
            where, value = place(name, line), line.lactate_mmol_l
            if line.lactate_limit and not math.isnan(value):
                problem = "a number and off the scale at once"
                findings.problem(*where, "lactate_limit", line.lactate_limit, problem, "clear one of the two")
            elif line.lactate_limit == "high" and high is None:
                problem = "above the analyser's scale, whose end study.toml does not say"
                remedy = "write lactate_analyser_high_mmol_l in study.toml"
                findings.remark(*where, "lactate_mmol_l", "HI", problem, remedy)
            elif (high is not None and value > high) or (low is not None and value < low):
                problem = "beyond the analyser's scale in study.toml"
                findings.remark(
                    *where, "lactate_mmol_l", f"{value:g}", problem, "look at the sheet and at study.toml"
                )
            key = (line.session, line.athlete, getattr(line, after))
            if name == "rounds":
                in_rounds[key] = (value, where[1])
                continue
            other, row = in_rounds.get(key, (math.nan, None))
            if abs(value - other) > 0:
                problem = f"the rounds table has another value ({other:g}, row {row})"
                findings.remark(
                    *where, "lactate_mmol_l", f"{value:g}", problem, "keep the sample in one table"
                )


def _check_clock(clock: pd.DataFrame, protocol: Protocol, findings: Findings) -> None:
    for line in lines_of(clock):
        length = (clock_seconds(line.end_clock) - clock_seconds(line.start_clock)) % 86400
        if math.isnan(length):
            continue
        work_s = protocol.for_group(line.group).work_s
        shown = f"{line.start_clock} to {line.end_clock}"
        if length > 4 * 3600 or length == 0:
            findings.problem(
                *place("clock", line),
                "end_clock",
                shown,
                "the round ends before it begins",
                "correct the times",
            )
        elif abs(length - work_s) > max(60.0, 0.25 * work_s) and line.round_no > 0:
            findings.remark(
                *place("clock", line),
                "end_clock",
                shown,
                f"the round lasted {length:g} s, the protocol says {work_s:g} s",
                "look at the timekeeper's sheet",
            )
    ordered = clock[(clock["start_clock"] != "") & (clock["round_no"] > 0)].sort_values("round_no")
    for _, group in ordered.groupby(["session", "group"], sort=False):
        lines = list(lines_of(group))
        for before, after in pairwise(lines):
            gap = (clock_seconds(after.start_clock) - clock_seconds(before.start_clock)) % 86400
            if gap > 12 * 3600 or gap == 0:
                findings.problem(
                    *place("clock", after),
                    "start_clock",
                    after.start_clock,
                    f"round {after.round_no} starts before round {before.round_no}",
                    "correct the times, or the rounds",
                )


def _check_recordings(recordings: pd.DataFrame, findings: Findings) -> None:
    shared = recordings.groupby("file")["athlete"].transform("nunique") > 1
    for line in lines_of(recordings[shared & (recordings["column_or_label"] == "")]):
        findings.problem(
            *place("recordings", line),
            "column_or_label",
            "",
            f"{line.file} is listed for several athletes, but not which part of it is {line.athlete}",
            "write the heading or label of this athlete inside the file",
        )


def _check_published(published: pd.DataFrame, findings: Findings) -> None:
    for line in lines_of(published):
        where = place("published", line)
        if line.ci_low > line.ci_high:
            findings.problem(
                *where,
                "ci_low",
                f"{line.ci_low:g}",
                "the interval ends before it begins",
                "exchange the limits",
            )
        if (
            line.statistic.casefold() in ("r", "rho", "pearson", "spearman", "correlation")
            and abs(line.value) > 1
        ):
            findings.problem(
                *where, "value", f"{line.value:g}", "a correlation beyond 1", "look at the paper"
            )
        if not math.isnan(line.spread) and not line.spread_kind:
            findings.remark(
                *where, "spread_kind", "", "a spread that does not say what it is", "write sd, sem, iqr or ci"
            )


def _check_survey(survey: pd.DataFrame, findings: Findings) -> None:
    crossed = survey[survey["hr_mean_bpm"] > survey["hr_peak_bpm"]]
    for line in lines_of(crossed):
        findings.problem(
            *place("survey", line),
            "hr_mean_bpm",
            f"{line.hr_mean_bpm:g}",
            f"the mean is above the peak ({line.hr_peak_bpm:g})",
            "look at the submission; the two may be exchanged",
            keepable=True,
        )
    young = survey[survey["age_years"] < 18]
    if len(young):
        findings.remark(
            young.iloc[0]["source_file"],
            None,
            "age_years",
            "",
            f"{young['person'].nunique()} of the people are under 18",
            "make sure that a parent or guardian has agreed; local codes on minors apply",
        )


def _check_groups(athletes: pd.DataFrame, protocol: Protocol, settings, findings: Findings) -> None:
    groups = {g for g in athletes["group"] if g}
    for name in protocol.groups:
        if groups and name not in groups:
            near = nearest_code(name, sorted(groups))
            findings.remark(
                SETTINGS_FILE,
                settings.line_of("protocol", name) if hasattr(settings, "line_of") else None,
                name,
                "",
                "a group of the protocol that no athlete is in" + (f"; did you mean {near}?" if near else ""),
                "compare with the column group of the athletes table",
            )
