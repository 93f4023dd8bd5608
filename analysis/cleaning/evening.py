"""One session: read its recordings, put them on one clock, cut the rounds, flag the samples."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
import pandas as pd

from ..basics import format_number, plural
from ..study.decisions import is_for_cleaning
from .clocks import TRUST_LOG, TRUST_TRACE, place_without_clock, settle_clocks, windows_from_traces
from .find import Window, logged_windows, own_windows
from .flags import CODE, CleaningRules, flag_codes
from .measure import AthleteFacts
from .placing import Evening, Placed, Trace, join_files, own_turn, place, read_all, right_day

LEAST_DIFFERENT = 5
"""A stretch with fewer different values can be alike by chance (a flat line is its own flag)."""
FEWEST_ALIKE = 6
"""Samples of a stretch at least: a device that writes at changes has no more in 45 s."""


def mark_crossed(traces: dict[str, Trace], rules: CleaningRules, shared: list | None = None) -> list[str]:
    """Flag stretches that are identical in two traces, at the same or at another time; `shared` takes the pairs."""
    width = int(rules.crossed_s)
    found: dict[tuple[str, str], np.ndarray] = {}
    grids = {a: _by_second(t) for a, t in traces.items()}
    athletes = [a for a, g in grids.items() if len(g[1]) > width]
    if len(athletes) < 2:
        return []
    keys, owners, places = [], [], []
    for i, athlete in enumerate(athletes):
        key, place = _fingerprints(grids[athlete][1], width)
        keys.append(key)
        places.append(place)
        owners.append(np.full(len(key), i))
    key, owner, place = np.concatenate(keys), np.concatenate(owners), np.concatenate(places)
    order = np.argsort(key)
    key, owner, place = key[order], owner[order], place[order]
    groups = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1])))
    sizes = np.diff(np.append(groups, len(key)))
    for start, size in zip(groups[sizes > 1].tolist(), sizes[sizes > 1].tolist(), strict=True):
        members = list(zip(owner[start : start + size].tolist(), place[start : start + size].tolist(), strict=True))
        for (i, p), (j, q) in combinations(members[:8], 2):
            if i != j and _same(grids[athletes[i]][1], grids[athletes[j]][1], p, q, width):
                for a, b, at in ((i, j, p), (j, i, q)):
                    mask = found.setdefault(
                        (athletes[a], athletes[b]), np.zeros(len(grids[athletes[a]][1]), dtype=bool)
                    )
                    mask[at : at + width] = True
    if shared is not None:
        shared += [pair for pair in found if pair[0] < pair[1]]
    return _mark(traces, grids, found)


def _by_second(trace: Trace) -> tuple[float, np.ndarray]:
    """The good rates second by second, whole numbers; -1 where there is none."""
    good = (trace.codes == 0) & np.isfinite(trace.rates)
    first = float(np.floor(trace.clock[0]))
    cell = (trace.clock[good] - first).astype(np.int64)
    out = np.full(int(trace.clock[-1] - first) + 1, -1, dtype=np.int64)
    out[cell] = np.round(trace.rates[good]).astype(np.int64)
    return first, out


def _fingerprints(values: np.ndarray, width: int) -> tuple[np.ndarray, np.ndarray]:
    """One number per stretch, for stretches that are filled well enough and not flat."""
    there = values >= 0
    filled = np.where(there, values, 0)
    # a rate that is missing here and there repeats the one before it, so that slower sampling does not matter
    last = np.maximum.accumulate(np.where(there, np.arange(len(values)), 0))
    filled = values[last] if there.any() else filled
    # sums of products stay far below 2**53, so that they are exact
    factors = np.random.default_rng(20).integers(1, 2**31, width).astype(float)
    ones = np.ones(width)
    key = np.correlate(filled.astype(float), factors, mode="valid")
    enough = np.correlate(there.astype(float), ones, mode="valid") >= FEWEST_ALIKE
    changes = np.correlate(np.append(0.0, np.diff(filled) != 0), ones, mode="valid")
    place = np.flatnonzero(enough & (changes >= LEAST_DIFFERENT))
    return key[place], place


def _same(one: np.ndarray, other: np.ndarray, p: int, q: int, width: int) -> bool:
    a, b = one[p : p + width], other[q : q + width]
    both = (a >= 0) & (b >= 0)
    return (
        both.sum() >= FEWEST_ALIKE and bool((a[both] == b[both]).all()) and len(np.unique(a[both])) >= LEAST_DIFFERENT
    )


def _mark(traces: dict[str, Trace], grids: dict, found: dict) -> list[str]:
    said, stretches = [], {}
    for (athlete, other), mask in found.items():
        trace = traces[athlete]
        cell = np.clip((trace.clock - grids[athlete][0]).astype(np.int64), 0, len(mask) - 1)
        hit = mask[cell] & np.isfinite(trace.rates) & np.isin(trace.codes, (0, CODE["straps mixed up"]))
        trace.codes[hit] = CODE["straps mixed up"]
        elapsed = trace.clock[hit] - trace.clock[0]
        stretches[athlete, other] = (
            (float(np.floor(elapsed.min())), float(np.ceil(elapsed.max()))) if hit.any() else (0, 0)
        )
    for (athlete, other), mask in found.items():
        if athlete < other and (other, athlete) in stretches:
            length = format_number(float(mask.sum()), 0, unit="s")
            rows = " or ".join(
                f"athlete {a}, from_s {x:.0f}, to_s {y:.0f}"
                for a, (x, y) in ((athlete, stretches[athlete, other]), (other, stretches[other, athlete]))
            )
            said.append(
                f"{athlete} and {other}, session {traces[athlete].session}: {length} of both traces are identical, so two straps "
                "or files were mixed up. Neither is used until somebody decides. Whose it is: type a row in decisions.csv, table "
                f"recordings, action keep, {rows}. One device worn in turn: write worn_from and worn_until of each in "
                "recordings.csv."
            )
    return said


OVERRIDE_COLUMNS = (
    "date", "decided_by", "session", "athlete", "round_no", "measure", "from_s", "to_s", "action", "new_value", "reason",
    "seconds", "file", "row",
)  # fmt: skip


def decisions_for_cleaning(study) -> list[dict]:
    """The decisions about recordings, in their order, each with a place to count what it changed."""
    rows = [r for r in study.decisions.itertuples(index=False) if is_for_cleaning(r)]
    return [{**r._asdict(), "seconds": 0.0, "fits": 0} for r in rows]


def fits(decision: dict, session: str, athlete: str) -> bool:
    """Whether a decision is about this athlete in this session; a blank fits all."""
    return decision["session"] in ("", session) and decision["athlete"] in ("", athlete)


def apply_to_trace(trace: Trace, windows: dict[int, Window], decisions: list[dict], seconds_of) -> dict[int, str]:
    """Set stretches aside, or keep what a rule flagged."""
    kept: dict[int, str] = {}
    for decision in decisions:
        if not fits(decision, trace.session, trace.athlete) or decision["action"] not in ("set aside", "keep"):
            continue
        inside = _stretch(trace, windows, decision)
        decision["fits"] += 1
        if inside is None:
            continue
        if decision["action"] == "set aside":
            hit = inside & np.isfinite(trace.rates) & (trace.codes != CODE["set aside by hand"])
            trace.codes[hit] = CODE["set aside by hand"]
        else:
            hit = inside & (trace.codes != 0) & np.isfinite(trace.rates)
            trace.codes[hit] = 0
            kept |= dict.fromkeys(np.flatnonzero(hit).tolist(), decision["decided_by"])
        decision["seconds"] += seconds_of(trace, hit)
    return kept


def good_by_hand(trace: Trace, windows: dict[int, Window], decisions: list[dict]) -> np.ndarray:
    """The good samples once the decisions about stretches have been applied; the trace and its decisions stay as they are."""
    copy = replace(trace, codes=trace.codes.copy())
    apply_to_trace(copy, windows, [dict(d) for d in decisions], _seconds)
    return (copy.codes == 0) & np.isfinite(copy.rates)


def trusted_clock(trace: Trace, decisions: list[dict]) -> tuple[str, str]:
    """The last decision about an athlete's clock and who took it; empty where there is none."""
    found = ("", "")
    for decision in decisions:
        if decision["action"] in (TRUST_TRACE, TRUST_LOG) and fits(decision, trace.session, trace.athlete):
            decision["fits"] += 1
            found = (decision["action"], decision["decided_by"])
    return found


def _stretch(trace: Trace, windows: dict[int, Window], decision: dict):
    start, end = decision["from_s"], decision["to_s"]
    if pd.isna(start) and pd.isna(end):
        window = None if pd.isna(decision["round_no"]) else windows.get(int(decision["round_no"]))
        if window is None:
            return None
        return (trace.clock >= window.start) & (trace.clock < window.end)
    elapsed = trace.clock - trace.clock[0]
    low = -np.inf if pd.isna(start) else start
    high = np.inf if pd.isna(end) else end
    return (elapsed >= low) & (elapsed <= high)


def replaced_values(decisions: list[dict], session: str, athlete: str, round_no: int) -> dict[str, tuple[float, str]]:
    """Values of a round that a person replaced: column -> (value, who)."""
    found = {}
    for d in decisions:
        same = not pd.isna(d["round_no"]) and int(d["round_no"]) == round_no
        if d["action"] != "replace" or not same or not fits(d, session, athlete):
            continue
        try:
            value = float(str(d["new_value"]).replace(",", "."))
        except ValueError:
            continue
        d["fits"] += 1
        name = d["measure"].casefold()
        found["hr_mean_bpm" if name in ("heart_rate", "hr_bpm") else name] = (value, d["decided_by"])
    return found


def overrides_table(decisions: list[dict]) -> pd.DataFrame:
    """Every decision about a recording, with the seconds that it changed."""
    return pd.DataFrame([[d.get(c, "") for c in OVERRIDE_COLUMNS] for d in decisions], columns=list(OVERRIDE_COLUMNS))


def unused_decisions(decisions: list[dict]) -> list[str]:
    """Sentences about decisions that fit no recording."""
    return [
        f"decisions.csv, row {d['row']}: no recording of {d['athlete'] or 'any athlete'} in session "
        f"{d['session'] or 'any'} fits this decision."
        for d in decisions
        if not d["fits"]
    ]


@dataclass
class Session:
    """A session after cleaning."""

    traces: dict[str, Trace] = field(default_factory=dict)
    windows: dict[str, dict[int, Window]] = field(default_factory=dict)
    clocks: list[dict] = field(default_factory=list)
    files: list[tuple[dict, str]] = field(default_factory=list)
    kept: dict[str, dict[int, str]] = field(default_factory=dict)
    shared: list[tuple[str, str]] = field(default_factory=list)


def clean_evening(
    study, evening: Evening, files: pd.DataFrame, rows: pd.DataFrame, *, groups: dict[str, str],
    facts: dict[str, AthleteFacts], rules: CleaningRules, decisions: list[dict], keep_in, remarks: list, warnings: list,
) -> Session:  # fmt: skip
    """Read, place, cut and flag the recordings of one session."""
    out = Session()
    everyone = list(dict.fromkeys([*rows["athlete"], *files["athlete"]]))
    logged = {
        g: logged_windows(study.clock, evening.session, g, study.protocol.for_group(g), remarks)
        for g in dict.fromkeys(groups.get(a, "") for a in everyone)
    }
    by_athlete = {a: r for a, r in rows.groupby("athlete", sort=False)}
    read = read_all(files, rules, remarks, warnings, keep_in)
    parts = _read(read, evening, logged, groups, rules, out, warnings)
    for athlete, placed in parts.items():
        joined = _one_clock(placed, evening, out, warnings)
        trace = join_files(evening.session, athlete, joined, remarks)
        hr_max = facts.get(athlete, AthleteFacts()).hr_ceiling
        trace.codes = flag_codes(trace.clock, trace.rates, hr_max_bpm=hr_max, rules=rules)
        out.traces[athlete] = trace
    warnings += mark_crossed(out.traces, rules, out.shared)
    for group, windows in logged.items():
        if not windows:
            members = [t for a, t in out.traces.items() if groups.get(a, "") == group and t.placed]
            logged[group] = windows_from_traces(members, study.protocol.for_group(group), evening, warnings)
    for athlete in everyone:
        group = groups.get(athlete, "")
        protocol = study.protocol.for_group(group)
        mine = by_athlete.get(athlete, rows.iloc[:0])
        who = f"{athlete}, session {evening.session}"
        windows = logged[group]
        trace = out.traces.get(athlete)
        if trace is not None and not trace.placed:
            windows = place_without_clock(trace, windows, protocol, out.clocks, who, warnings)
        out.windows[athlete] = own_windows(windows, mine, who, remarks)
    settle_clocks(
        out, rules, lambda trace: trusted_clock(trace, decisions),
        lambda trace: good_by_hand(trace, out.windows[trace.athlete], decisions), warnings, remarks,
    )  # fmt: skip
    for athlete, trace in out.traces.items():
        out.kept[athlete] = apply_to_trace(trace, out.windows[athlete], decisions, _seconds)
        warnings += _odd_length(trace, list(out.windows[athlete].values()))
    remarks += _moved_from_utc(out, evening)
    return out


LEAST_COVERED = 0.5
MOST_LONGER, LONG_S = 4.0, 3 * 3600.0
"""A recording that holds less than half of its rounds, or is four times as long as the evening (and over 3 h), is remarked."""


def _odd_length(trace: Trace, windows: list[Window]) -> list[str]:
    """A sentence about a recording much shorter or longer than the rounds of its athlete."""
    if not trace.placed or trace.held or not windows:
        return []
    first, last = trace.clock[0], trace.clock[-1]
    work = sum(w.end - w.start for w in windows)
    held = sum(max(min(w.end, last) - max(w.start, first), 0.0) for w in windows)
    file = " and ".join(trace.files)
    if held < LEAST_COVERED * work:
        covered, whole = (format_number(v / 60, 0, unit="min") for v in (held, work))
        return [
            f"{trace.athlete}, session {trace.session}: {file} holds {covered} of {whole} of rounds. Is there a second file "
            "(list both in recordings.csv), is it the file of another session, or was one device worn in turn (worn_from)?"
        ]
    evening = max(w.end for w in windows) - min(w.start for w in windows)
    if last - first > max(MOST_LONGER * evening, LONG_S):
        return [
            f"{trace.athlete}, session {trace.session}: {file} is {format_number((last - first) / 3600, 1, unit='h')} long, the "
            f"rounds took {format_number(evening / 60, 0, unit='min')}. Only the rounds are used; nothing to do where it is the "
            "right file, otherwise put the right one in its place."
        ]
    return []


def _moved_from_utc(out: Session, evening: Evening) -> list[str]:
    """One sentence per session about recordings in UTC."""
    count = sum(line["device_clock"] == "utc" for line in out.clocks)
    if not count or np.isnan(evening.utc_offset_s):
        return []
    hours = evening.utc_offset_s / 3600
    moved = format_number(hours, 0 if hours.is_integer() else 1, sign=True, unit="h")
    words = f"{plural(count, 'recording')} in UTC {'was' if count == 1 else 'were'} moved by {moved} to local time"
    return [f"Session {evening.session}: {words} (sessions.csv)."]


def _seconds(trace: Trace, hit: np.ndarray) -> float:
    """Seconds that some samples of a trace stand for."""
    step = np.diff(trace.clock)
    usual = float(np.median(step)) if len(step) else 1.0
    around = np.minimum(np.concatenate((step, [usual])), max(trace.gap_limit, usual))
    return float(around[hit].sum())


def _read(read, evening, logged, groups, rules, out: Session, warnings) -> dict[str, list[Placed]]:
    parts: dict[str, list[Placed]] = {}
    for row, recording, problem in read:
        if recording is None:
            out.files.append((row, problem))
            continue
        placed = place(row, recording, evening, rules, warnings)
        windows = logged.get(groups.get(row["athlete"], ""), {})
        middle = np.mean([w.start for w in windows.values()]) if windows else np.nan
        out.clocks.append(placed.line)
        if not right_day(placed, float(middle), evening, warnings):
            placed.line.update(offset_source="another day")
            out.files.append((row, "of another day"))
            continue
        turn = own_turn(placed, row, warnings)
        if turn is None:
            placed.line.update(offset_source="not worn")
            out.files.append((row, "not worn then"))
            continue
        out.files.append((row, ""))
        parts.setdefault(row["athlete"], []).append(turn)
    return parts


def _one_clock(placed: list[Placed], evening: Evening, out: Session, warnings: list) -> list[Placed]:
    """The files of an athlete that can be joined: those with a clock, else one alone; the others are set aside."""
    kept = [p for p in placed if p.placed] or placed[:1]
    for extra in (p for p in placed if not any(p is k for k in kept)):
        athlete, file = extra.line["athlete"], extra.recording.file
        cause = "no clock beside another file of the same athlete"
        warnings.append(f"{athlete}, session {evening.session}: {file} has {cause}; it was set aside.")
        for i, (row, _) in enumerate(out.files):
            if row["athlete"] == athlete and row["path"].name == file:
                out.files[i] = (row, cause)
    return kept
