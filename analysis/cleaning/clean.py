"""`clean_study`: the walk from a study and its recordings to one row per session, athlete and round."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from ..basics import Result
from ..recordings.read import keep_all
from ..recordings.recording import AT_CHANGES, COARSE_S, STEADILY, lost_steps
from ..study import Study, typed_outcomes
from ..study.model import add_lactate, number_bouts, sheet_rows, sparred
from ..study.privacy import secret_labels
from .clocks import HELD
from .evening import Session, clean_evening, decisions_for_cleaning, overrides_table, replaced_values, unused_decisions
from .find import WINDOW_COLUMNS
from .flags import FLAGS, CleaningRules, Spans, cleaning_rules, spans_of
from .measure import (
    BAND_COLUMNS,
    AthleteFacts,
    band_cuts,
    bounds_of_round,
    costs_of_round,
    disputed_maxima,
    facts_of,
    intensity_of_round,
    maxima_of_tests,
    measure_round,
    resolve_peaks,
    unstated_maximum,
)
from .placing import Evening, Trace, evenings_of, reading_options

ROW_COLUMNS = (
    "session", "athlete", "round_no", "bout_no", "took_part", "rest_before_s", "opponent",
    "hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "hr_source",
    "percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve",
    *BAND_COLUMNS,
    "valid_s", "valid_share", "hr_recovery_60s_bpm", "hr_rest_end_bpm", "hr_drift_bpm_min", "training_impulse",
    *typed_outcomes(), "lactate_limit", "lactate_bound_mmol_l", "lactate_delay_s", "activity_rating",
)  # fmt: skip
"""The columns of `CleanedStudy.rows`, in order."""

CLOCK_COLUMNS = (
    "session", "athlete", "file", "device", "device_clock", "offset_s", "offset_source", "found_offset_s",
    "found_uncertainty_s", "found_confidence", "agrees", "settled", "written",
)  # fmt: skip
BOUND_COLUMNS = (
    "session", "athlete", "round_no", "mean_bpm", "mean_kept_bpm", "mean_bridged_bpm", "mean_low_bpm", "mean_high_bpm",
    "aside_s", "aside_share",
)  # fmt: skip
COST_COLUMNS = ("flag", "seconds", "rounds", "mean_change_bpm", "largest_change_bpm", "rounds_regained")
MISSING_COLUMNS = ("session", "athlete", "round_no", "cause", "shared_with")
FLAG_COLUMNS = ("session", "athlete", "flag", "seconds", "spans", "decided_by")


@dataclass(frozen=True)
class CleanedStudy(Result):
    """A study whose recordings are flagged, aligned, cut and summarised."""

    rows: pd.DataFrame  # One row per session, athlete and round (`ROW_COLUMNS`)
    # (session, athlete) -> samples on the timekeeper's clock: `clock_s` (seconds after midnight of the session), `elapsed_s`,
    # `hr_bpm`, `flag` ("" where good), `round_no` (-1 outside rounds), `gap_after` (the time to the next heart rate is missing)
    traces: dict[tuple[str, str], pd.DataFrame]
    # session, athlete, round_no, start_s, end_s (on the same clock), found_by ("clock", "protocol", "trace"), confidence
    windows: pd.DataFrame
    # One row per recording: session, athlete, file, device, device_clock, offset_s used (device minus timekeeper),
    # offset_source, found_offset_s, found_uncertainty_s and found_confidence (from lining the trace up with the rounds), agrees
    # ("yes", "no", or "" where it is unknown), settled ("held back", or by whom a disagreement was settled), written (how the
    # device wrote: "steadily", "on events", "at changes")
    clocks: pd.DataFrame
    flags_table: pd.DataFrame  # session, athlete, flag, seconds, spans, decided_by
    overrides: pd.DataFrame  # The hand decisions on recordings, with the seconds that each changed
    bounds: pd.DataFrame  # Round means with bad samples set aside, kept, and replaced by the worst and best case
    ledger: Any  # The study's ledger with the seconds of every trace and the values of every round added
    rules: pd.DataFrame  # The cleaning rules and the values used
    # The rounds sparred without a mean heart rate: session, athlete, round_no, cause (two words: "clock", "shared strap", "lost
    # contact", "no recording" ...), shared_with
    missing: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(MISSING_COLUMNS)))
    # What each rule costs: flag, seconds and rounds touched inside rounds, mean_change_bpm and largest_change_bpm of the round
    # means were its samples kept, rounds_regained (rounds that would have enough valid time without it)
    costs: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(COST_COLUMNS)))
    # Code -> the one secret label of that person in whatever is passed on
    labels: dict[str, str] = field(default_factory=dict)
    # Athletes who agreed to a figure that shows them alone; other traces stay out of figures
    may_show: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()  # One sentence per thing repaired, assumed or lost
    warnings: tuple[str, ...] = ()  # What a person should resolve


BY_HAND = "set aside by hand"
TOO_LITTLE = "too little valid time"
CHANGING = "a gap where heart rate changed"
COARSE = "too few heart rates in a round"
FEWEST_RATES = 10
"""Heart rates in a round at least, where a device writes steadily (our proposal)."""

UNUSED_FILES = {"of another day": "another day", "not worn then": "not worn then"}
"""Problem of a file -> its two words; every other problem is one of reading."""

SHORT_CAUSES = {
    HELD: "clock",
    COARSE: "too coarse",
    "straps mixed up": "shared strap",
    "no contact": "lost contact",
    "recording not yet started": "started late",
    "recording over": "ended early",
}
"""Why a round has no mean, in two words; other causes stand as the ledger names them."""


def _short_cause(reason: str, aside: dict[str, float]) -> str:
    """The cause of a round without a mean: the largest part of what was set aside, unless the whole device was."""
    if reason in (HELD, COARSE) or not aside:
        return SHORT_CAUSES.get(reason, reason)
    largest = max(aside, key=lambda cause: aside[cause])
    return SHORT_CAUSES.get(largest, largest)


def seconds_entries(
    key: tuple, valid: float, aside: dict[str, float], unusable: str, kept: dict, hands: str, file: str
):
    """The seconds of one round: used, and set aside by cause."""
    base = {"table": "recordings", "file": file, "session": key[0], "athlete": key[1], "round_no": key[2],
            "measure": "round seconds", "unit": "s"}  # fmt: skip
    by_hand = min(sum(kept.values()), valid) if not unusable else 0.0
    entries = []
    if valid - by_hand > 0:
        cause = {"used": False, "cause": unusable} if unusable else {}
        entries.append({**base, "amount": valid - by_hand, **cause})
    if by_hand:
        scale = by_hand / sum(kept.values())
        entries += [
            {**base, "amount": s * scale, "cause": "flagged, kept by hand", "decided_by": who}
            for who, s in kept.items()
        ]
    for cause, lost in aside.items():
        who = hands if cause == BY_HAND and hands else "rule"
        entries.append({**base, "amount": lost, "used": False, "cause": cause, "decided_by": who})
    return entries


def outside_entries(key: tuple, recorded: float, inside: float, file: str) -> list[dict]:
    """The recorded seconds of one athlete: inside rounds, and before, between and after them."""
    base = {"table": "recordings", "file": file, "session": key[0], "athlete": key[1], "measure": "recorded seconds",
            "unit": "s"}  # fmt: skip
    entries = [{**base, "amount": inside}] if inside > 0 else []
    if recorded - inside > 1e-9:
        entries.append({**base, "amount": recorded - inside, "used": False, "cause": "outside the rounds sparred"})
    return entries


def file_entry(row: dict, problem: str) -> dict:
    """One recording file: used, or set aside with its problem."""
    return {
        "table": "recordings", "file": row["path"].name, "session": row["session"], "athlete": row["athlete"],
        "measure": "files", "used": not problem, "cause": problem,
    }  # fmt: skip


def value_entries(rows: pd.DataFrame, why: dict[tuple, str]) -> list[dict]:
    """One entry per row of rounds (without round 0): whether it has a mean heart rate, and why not."""
    entries = []
    files = rows["file"] if "file" in rows else [""] * len(rows)
    for session, athlete, k, took, mean, file in zip(
        rows["session"], rows["athlete"], rows["round_no"], rows["took_part"], rows["hr_mean_bpm"], files, strict=True
    ):
        if k < 1:
            continue
        entry = {"table": "rounds", "file": file, "session": session, "athlete": athlete, "round_no": k,
                 "measure": "hr_mean_bpm", "unit": "values"}  # fmt: skip
        if np.isnan(mean):
            words = {"sat_out": "sat the round out", "left": "had left"}
            cause = words.get(took) or why.get((session, athlete, k), "no recording and no typed mean")
            entry |= {"used": False, "cause": cause}
        entries.append(entry)
    return entries


MEASURED = (
    "hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "valid_s", "valid_share", "hr_recovery_60s_bpm", "hr_rest_end_bpm",
    "hr_drift_bpm_min", "percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve", *BAND_COLUMNS, "training_impulse",
)  # fmt: skip


def clean_study(study: Study, *, keep_traces: bool = True, keep_read: bool = False) -> CleanedStudy:
    """Read, flag, align, cut and summarise every recording of a study.

    Parameters
    ----------
    study : Study
        A loaded study; its rules stand in study.toml under [cleaning].
    keep_traces : bool
        Keep the flagged samples for figures (default). Without them memory does not grow with the number of recordings.

    keep_read : bool
        Keep what was read in the hidden folder `.kept` of the study and read unchanged recordings from there, as `check`
        does. Default False: read the recordings themselves.

    Returns
    -------
    CleanedStudy

    Notes
    -----
    Every second of every round sparred with a recording is in the ledger as used or set aside, and every row of rounds
    as one with or without a mean heart rate.

    Examples
    --------
    >>> from pathlib import Path
    >>> from analysis.study import Study
    >>> cleaned = clean_study(Study(folder=Path("nowhere")))  # a folder as `Study.load` returns it
    >>> len(cleaned.rows), cleaned.traces
    (0, {})
    """
    return _Walk(study, keep_traces, keep_read).run()


def summarise_rounds(study: Study) -> pd.DataFrame:
    """Return one row per session, athlete and round.

    Parameters
    ----------
    study : Study

    Returns
    -------
    DataFrame
        `clean_study(study).rows`: keys, who took part and when, heart rate (mean, late mean, peak, shares, seconds per
        band, valid time), lactate and exertion. A heart rate is missing where too little of the round is valid.

    Examples
    --------
    >>> from pathlib import Path
    >>> from analysis.study import Study
    >>> summarise_rounds(Study(folder=Path("nowhere"))).columns[:4].tolist()
    ['session', 'athlete', 'round_no', 'bout_no']
    """
    return clean_study(study, keep_traces=False).rows


class _Walk:
    """Collects what each session gives."""

    def __init__(self, study: Study, keep_traces: bool, keep_read: bool):
        self.study, self.keep_traces = study, keep_traces
        self.keep_in = study.folder if keep_read else None
        self.rules = CleaningRules.from_settings(study.settings)
        self.cuts = band_cuts(self.rules.bands)
        tests, places = maxima_of_tests(study)
        self.facts = facts_of(study.athletes, self.rules, tests)
        self.groups = dict(zip(study.athletes["athlete"], study.athletes["group"], strict=True))
        self.decisions = decisions_for_cleaning(study)
        self.hands = ", ".join(dict.fromkeys(d["decided_by"] for d in self.decisions if d["action"] == "set aside"))
        self.measured: dict[tuple, dict] = {}
        self.why: dict[tuple, str] = {}
        self.cause: dict[tuple, str] = {}
        self.no_file: dict[tuple, str] = {}
        self.shared: dict[tuple, set] = {}
        self.windows: dict[tuple, dict] = {}
        self.traces: dict[tuple, pd.DataFrame] = {}
        self.clocks, self.flags, self.bounds, self.entries, self.costs = [], [], [], [], []
        disputed, self.remarks = disputed_maxima(study.athletes, self.rules, tests, places)
        self.warnings: list[str] = [*disputed, *unstated_maximum(study.athletes)]

    def run(self) -> CleanedStudy:
        files = self.study.recording_files()
        if self.keep_in is not None:
            keep_all(self.keep_in, [(r["path"], reading_options(r, self.rules)) for r in files.to_dict("records")])
        recorded = list(dict.fromkeys(zip(files["session"], files["athlete"], strict=True)))
        rows = sheet_rows(self.study, recorded, self.groups, self.remarks)
        evenings = evenings_of(self.study.sessions)
        for session in dict.fromkeys([*evenings, *rows["session"], *files["session"]]):
            self._take(evenings.get(session, Evening(session)), files, rows)
        self.warnings += unused_decisions(self.decisions)
        rows = self._finish(rows)
        ledger = self.study.ledger.add(self.entries)
        lines = [
            (*key, k, w.start, w.end, w.found_by, w.confidence)
            for key, windows in self.windows.items()
            for k, w in windows.items()
        ]
        return CleanedStudy(
            rows=rows,
            traces=self.traces,
            windows=pd.DataFrame(lines, columns=list(WINDOW_COLUMNS)),
            clocks=pd.DataFrame(self.clocks).reindex(columns=list(CLOCK_COLUMNS)),
            flags_table=pd.DataFrame(self.flags, columns=list(FLAG_COLUMNS)),
            overrides=overrides_table(self.decisions),
            bounds=pd.DataFrame(self.bounds, columns=list(BOUND_COLUMNS)),
            ledger=ledger,
            costs=self._costs_table(),
            rules=cleaning_rules(self.rules),
            missing=self._missing(rows),
            labels=secret_labels(self.study, self.study.athletes["athlete"], prefix="person-", purpose="results"),
            may_show=self.study.athletes_with_figures(),
            remarks=tuple(self.remarks),
            warnings=tuple(dict.fromkeys(self.warnings)),
        )

    def _take(self, evening: Evening, files: pd.DataFrame, rows: pd.DataFrame) -> None:
        session = clean_evening(
            self.study, evening, files[files["session"] == evening.session], rows[rows["session"] == evening.session],
            groups=self.groups, facts=self.facts, rules=self.rules, decisions=self.decisions, keep_in=self.keep_in,
            remarks=self.remarks, warnings=self.warnings,
        )  # fmt: skip
        self.clocks += session.clocks
        self.entries += [file_entry(row, problem) for row, problem in session.files]
        for row, problem in session.files:
            if problem:
                self.no_file[row["session"], row["athlete"]] = UNUSED_FILES.get(problem, "unreadable")
        for one, other in session.shared:
            for a, b in ((one, other), (other, one)):
                self.shared.setdefault((evening.session, a), set()).add(b)
        for athlete, windows in session.windows.items():
            self.windows[evening.session, athlete] = windows
        for athlete, trace in session.traces.items():
            self._measure(session, athlete, trace)

    def _measure(self, session: Session, athlete: str, trace: Trace) -> None:
        key = (trace.session, athlete)
        windows = session.windows[athlete]
        spans = spans_of(
            trace.clock, trace.rates, trace.codes, trace.gap_limit, trace.stops, lost=trace.lost,
            bells=[(w.start, w.end) for w in windows.values()], at_changes=trace.written == AT_CHANGES,
        )  # fmt: skip
        facts = self.facts.get(athlete, AthleteFacts())
        file = ", ".join(trace.files)
        starts = sorted(w.start for w in windows.values())
        peaks, inside = [], 0.0
        for k, window in windows.items():
            later = next((s for s in starts if s > window.start), np.inf)
            values, aside = measure_round(spans, window.start, window.end, self.rules, later)
            unusable = trace.held or self._too_coarse(trace, window)
            if unusable:
                valid = values["valid_s"]
                values = dict.fromkeys(values, np.nan) | {"valid_s": valid, "valid_share": values["valid_share"]}
            reason = unusable or ("" if np.isfinite(values["hr_mean_bpm"]) else self._reason(values))
            self._replace(key, k, values)
            values |= intensity_of_round(spans, window.start, window.end, values["hr_mean_bpm"], facts, self.cuts)
            self.measured[(*key, k)] = values
            self.why[(*key, k)] = reason
            if reason:
                self.cause[(*key, k)] = _short_cause(reason, aside)
            kept = self._kept_seconds(session, athlete, trace, window)
            self.entries += seconds_entries((*key, k), values["valid_s"], aside, reason, kept, self.hands, file)
            if aside and not trace.held:
                self.costs += costs_of_round(spans, window.start, window.end, self.rules)
            peaks.append(values["hr_peak_bpm"])
            inside += max(min(window.end, spans.last) - max(window.start, spans.first), 0.0)
        if not trace.held:
            self._bounds(key, spans, windows, facts, peaks)
        if np.isfinite(spans.first):
            self.entries += outside_entries(key, spans.last - spans.first, inside, file)
        self._note_flags(key, spans, session.kept.get(athlete, {}), trace)
        if self.keep_traces:
            self.traces[key] = _trace_table(trace, windows)

    def _replace(self, key: tuple, k: int, values: dict) -> None:
        for name, (value, who) in replaced_values(self.decisions, *key, k).items():
            if name in values:
                self.remarks.append(f"{key[1]}, session {key[0]}, round {k}: {name} replaced by hand ({who}).")
                values[name] = value

    @staticmethod
    def _too_coarse(trace: Trace, window) -> str:
        """Why a round of a device that wrote too seldom has no mean; "" where it wrote often enough."""
        least = min(COARSE_S, (window.end - window.start) / FEWEST_RATES)
        seldom = trace.usual_step > (least if trace.written == STEADILY else COARSE_S)
        return COARSE if seldom else ""

    def _reason(self, values: dict) -> str:
        """Why a round has no mean, from its valid time."""
        if values["valid_s"] <= 0:
            return "no valid heart rate in the recording"
        return TOO_LITTLE if values["valid_share"] < self.rules.least_valid_share else CHANGING

    @staticmethod
    def _kept_seconds(session: Session, athlete: str, trace: Trace, window) -> dict[str, float]:
        kept: dict[str, float] = {}
        for i, who in session.kept.get(athlete, {}).items():
            if window.start <= trace.clock[i] < window.end:
                step = trace.clock[min(i + 1, len(trace.clock) - 1)] - trace.clock[max(i - 1, 0)]
                kept[who] = kept.get(who, 0.0) + min(step / 2, trace.gap_limit)
        return kept

    def _bounds(self, key: tuple, spans: Spans, windows: dict, facts: AthleteFacts, peaks: list) -> None:
        if not windows:
            return
        highest = (
            facts.hr_ceiling
            if np.isfinite(facts.hr_ceiling)
            else max([p for p in peaks if np.isfinite(p)], default=-np.inf)
        )
        _, rates, codes = spans.between(min(w.start for w in windows.values()), max(w.end for w in windows.values()))
        lowest = float(rates[codes == 0].min()) if (codes == 0).any() else np.inf
        for k, window in windows.items():
            found = bounds_of_round(spans, window.start, window.end, lowest, highest)
            self.bounds.append((*key, k, *(found[c] for c in BOUND_COLUMNS[3:])))

    def _note_flags(self, key: tuple, spans: Spans, kept: dict, trace: Trace) -> None:
        lengths = spans.high - spans.low
        for code in np.unique(spans.codes[spans.codes > 0]).tolist():
            mine = spans.codes == code
            count = int((np.diff(np.concatenate(([0], mine.astype(np.int8)))) == 1).sum())
            who = self.hands if FLAGS[code] == "set aside by hand" else "rule"
            self.flags.append((*key, FLAGS[code], float(lengths[mine].sum()), count, who))
        lost = spans.missing(spans.first, spans.last).get("no contact", 0.0) if len(lengths) else 0.0
        if lost > 0:
            gaps = int((np.diff(np.concatenate(([0], (~np.isfinite(trace.rates)).astype(np.int8)))) == 1).sum())
            wide = int((spans.low[1:] - spans.high[:-1] > 1e-6).sum())
            self.flags.append((*key, "no contact", lost, max(wide, min(gaps, 1)), "rule"))

    def _costs_table(self) -> pd.DataFrame:
        table = pd.DataFrame(self.costs, columns=["flag", "seconds", "change_bpm", "regained"])
        lines = []
        for flag, rows in table.groupby("flag", sort=False):
            change = rows["change_bpm"].abs()
            regained = int(rows["regained"].sum())
            lines.append((flag, rows["seconds"].sum(), len(rows), change.mean(), change.max(), regained))
        found = pd.DataFrame(lines, columns=list(COST_COLUMNS))
        return found.sort_values("seconds", ascending=False, kind="stable", ignore_index=True)

    def _missing(self, rows: pd.DataFrame) -> pd.DataFrame:
        """The rounds sparred that have no mean heart rate, each with its cause in two words."""
        lost = rows[sparred(rows) & rows["hr_mean_bpm"].isna().to_numpy()]
        lines = []
        for s, a, k in zip(lost["session"], lost["athlete"], lost["round_no"], strict=True):
            cause = self.cause.get((s, a, k)) or self.no_file.get((s, a), "no recording")
            shared = ", ".join(sorted(self.shared.get((s, a), ()))) if cause == "shared strap" else ""
            lines.append((s, a, k, cause, shared))
        return pd.DataFrame(lines, columns=list(MISSING_COLUMNS))

    def _finish(self, rows: pd.DataFrame) -> pd.DataFrame:
        rows, entries = add_lactate(rows, self.study, self.windows, self.remarks)
        rows = number_bouts(rows, self.windows)
        keys = list(zip(rows["session"], rows["athlete"], rows["round_no"], strict=True))
        empty: dict = {}
        for name in MEASURED:
            rows[name] = np.array([self.measured.get(k, empty).get(name, np.nan) for k in keys], dtype=float)
        rows["hr_source"] = np.where(rows["hr_mean_bpm"].notna(), "trace", "")
        self._use_typed(rows, keys)
        rows, problems = resolve_peaks(rows, self.facts, self.rules)
        self.warnings += problems
        self.entries += entries + value_entries(rows, self.why)
        rows["hr_source"] = rows["hr_source"].astype("str")
        return rows[list(ROW_COLUMNS)].reset_index(drop=True)

    def _use_typed(self, rows: pd.DataFrame, keys: list) -> None:
        """Means read off a device stand in where there is no recording of the round at all; they cannot be checked."""
        unseen = np.array([k not in self.measured for k in keys], dtype=bool)
        typed = unseen & sparred(rows) & rows["hr_mean_typed_bpm"].notna().to_numpy()
        if not typed.any():
            return
        mean = rows["hr_mean_typed_bpm"].to_numpy()[typed]
        rows.loc[typed, "hr_mean_bpm"] = mean
        rows.loc[typed, "hr_peak_bpm"] = rows["hr_peak_typed_bpm"].to_numpy()[typed]
        rows.loc[typed, "hr_source"] = "typed"
        facts = [self.facts.get(a, AthleteFacts()) for a in rows["athlete"].to_numpy()[typed]]
        top, predicted, rest = (
            np.array([getattr(f, n) for f in facts]) for n in ("hr_max", "hr_max_predicted", "hr_rest")
        )
        rows.loc[typed, "percent_hr_max"] = 100.0 * mean / top
        rows.loc[typed, "percent_hr_max_predicted"] = 100.0 * mean / predicted
        rows.loc[typed, "percent_hr_reserve"] = 100.0 * (mean - rest) / np.where(rest < top, top - rest, np.nan)
        who = rows.loc[typed, "athlete"].nunique()
        self.remarks.append(
            f"{int(typed.sum())} round means of {who} {'athlete' if who == 1 else 'athletes'} were typed from a device: "
            "used, marked typed, and not open to any check."
        )


def _trace_table(trace: Trace, windows: dict) -> pd.DataFrame:
    round_no = np.full(len(trace.clock), -1, dtype=np.int64)
    for k, window in windows.items():
        round_no[(trace.clock >= window.start) & (trace.clock < window.end)] = k
    gap_after = np.zeros(len(trace.clock), dtype=bool)  # where time is missing up to the next heart rate
    place = np.flatnonzero(np.isfinite(trace.rates))
    times = trace.clock[place]
    gap_after[place[:-1]] = np.diff(times) > trace.gap_limit if trace.lost is None else lost_steps(times, trace.lost)
    return pd.DataFrame(
        {
            "clock_s": trace.clock,
            "elapsed_s": trace.clock - trace.clock[0],
            "hr_bpm": trace.rates,
            "flag": pd.Series(np.array(FLAGS, dtype=object)[trace.codes], dtype="str"),
            "round_no": round_no,
            "gap_after": gap_after,
        }
    )
