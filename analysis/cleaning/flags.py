"""`flag_artefacts` and its rules, one parameter each: what cannot be a heart rate of grappling is marked."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, make_dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import KitError, did_you_mean
from ..recordings.recording import GAP_LIMIT_S, join_steps, lost_steps

RULES_FILE = Path(__file__).with_name("rules.csv")
"""One row per rule: its parameter, default, limits, meaning, and where the default comes from."""

_READ = {"number": float, "whole": int, "word": str, "yes or no": "true".__eq__}
"""Kind of a parameter -> how its default is read."""


def _rules() -> list[tuple]:
    """The rules as fields of a dataclass."""
    with RULES_FILE.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    fields_of = []
    for row in rows:
        default = _READ[row["kind"]](row["default"])
        notes = {**row, "low": float(row["low"] or 0), "high": float(row["high"] or "inf")}
        fields_of.append((row["parameter"], type(default), field(default=default, metadata=notes)))
    return fields_of


class CleaningRules(make_dataclass("CleaningRules", _rules(), frozen=True)):
    """The values of the cleaning rules, read from [cleaning] in study.toml; each is a row of `rules.csv`.

    Heart rate can move over a gap by most_change_bpm * (1 - exp(-gap / change_time_s)). State trust_trace_above before the
    data: `freeze` fixes it with the plan.
    """

    @classmethod
    def from_settings(cls, settings: Mapping | None) -> CleaningRules:
        """Take the rules from the parsed study.toml (its [cleaning] part), or from that part itself.

        `settings`: none gives the defaults.

        Examples
        --------
        >>> CleaningRules.from_settings({"cleaning": {"flat_s": 30}}).flat_s
        30.0
        """
        given = dict(settings or {})
        given = dict(given.get("cleaning", {} if "protocol" in given or "title" in given else given) or {})
        known = {f.name: f for f in fields(cls)}
        faults, values = [], {}
        for name, value in given.items():
            if name not in known:
                near = did_you_mean(name, known)
                faults.append(f"{name} is not a rule of cleaning." + (f" Did you mean {near}?" if near else ""))
                continue
            fault, values[name] = _checked(known[name], value)
            faults += [fault] if fault else []
        if faults:
            raise KitError("[cleaning] in study.toml: " + " ".join(faults))
        return cls(**values)

    def change_over(self, gap_s):
        """The most that heart rate can move over a gap, in bpm (never less than `jump_bpm`)."""
        import numpy as np

        moved = self.most_change_bpm * (1.0 - np.exp(-np.asarray(gap_s) / self.change_time_s))
        return np.maximum(self.jump_bpm, moved)


CleaningRules.__doc__ = f"{CleaningRules.__doc__}\nParameters\n----------\n" + "".join(
    f"{f.name} : {f.type.__name__}\n    {f.metadata['meaning']} ({f.metadata['unit']}).\n"
    for f in fields(CleaningRules)
)


def _checked(known, value) -> tuple[str, object]:
    """Return what is wrong with a value ("" where nothing) and the value in its own type."""
    name, default, notes = known.name, known.default, known.metadata
    if isinstance(default, bool):
        return ("" if isinstance(value, bool) else f"{name} must be true or false."), value
    if isinstance(default, str):
        allowed = _allowed(name)
        if value in allowed:
            return "", value
        near = did_you_mean(str(value), allowed)
        return f"{name} is {value!r}, not one of {', '.join(allowed)}." + (
            f" Did you mean {near}?" if near else ""
        ), value
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return f"{name} must be a number ({notes['unit']}).", value
    if not notes["low"] <= value <= notes["high"]:
        return (
            f"{name} is {value:g}, but must lie between {notes['low']:g} and {notes['high']:g} {notes['unit']}.",
            value,
        )
    return "", type(default)(value)


def _allowed(name: str) -> list[str]:
    from ..physiology import hr_max_equations
    from ..physiology.intensity import _EDITIONS

    if name == "bands":
        return list(_EDITIONS)
    return hr_max_equations()["equation"].tolist()


def cleaning_rules(settings: Mapping | CleaningRules | None = None) -> pd.DataFrame:
    """Describe every cleaning rule."""
    rules = settings if isinstance(settings, CleaningRules) else CleaningRules.from_settings(settings)
    lines = []
    for f in fields(CleaningRules):
        value = getattr(rules, f.name)
        notes = f.metadata
        lines.append(
            (
                notes["rule"],
                f.name,
                value,
                notes["unit"],
                f.default,
                value != f.default,
                notes["source"],
                notes["meaning"],
            )
        )
    names = ["rule", "parameter", "value", "unit", "default", "changed", "source", "meaning"]
    return pd.DataFrame(lines, columns=names).astype({"value": object, "default": object})


LOOK_BACK = 80
"""Pieces before the present one that may precede it in a chain."""
ENDS = 5
"""The level at the ends of a piece is the median of this many samples, so that noise breaks no chain."""
BREAK_COST = 30.0
MOST_COST = 100.0
"""Samples that a chain must gain for a change just beyond the limit, for one twice as large four times as many, and the
most that it must gain: a stretch of some minutes at a plausible level is kept, however it begins. Doubling and halving
have no such bound."""


def fit_pieces(
    elapsed: np.ndarray, rates: np.ndarray, candidate: np.ndarray, rules: CleaningRules, code: dict
) -> np.ndarray:
    """Return a flag per sample: 0 in the kept chain of pieces, else by length and level of the piece."""
    codes = np.zeros(len(rates), dtype=np.int8)
    if len(rates) < 2 or not candidate.any():
        return codes
    jump = np.abs(np.diff(rates)) > rules.change_over(np.diff(elapsed))
    steep = _steep(elapsed, rates, jump, rules)
    broken = jump | (steep[1:] != steep[:-1]) | (candidate[1:] != candidate[:-1])
    first = np.flatnonzero(np.concatenate(([True], broken)))
    if len(first) == 1:
        return codes
    last = np.append(first[1:] - 1, len(rates) - 1)
    count = last - first + 1
    trusted = candidate[first] & ~steep[first]
    inner = np.ones(len(first), dtype=bool)
    inner[[0, -1]] = False
    trusted &= ~(inner & (count < rules.fewest_samples))
    chosen = np.flatnonzero(trusted)
    kept = np.zeros(len(first), dtype=bool)
    kept[chosen[_best_chain(elapsed, rates, first[chosen], last[chosen], rules)]] = True
    if kept.any():
        _name_pieces(codes, elapsed, rates, first, last, kept, candidate, rules, code)
    return codes


def _steep(elapsed, rates, jump, rules) -> np.ndarray:
    """Samples inside a change that is steep for `steep_s` without any single jump."""
    out = np.zeros(len(rates), dtype=bool)
    usual = float(np.median(np.diff(elapsed)))
    width = max(round(rules.steep_s / usual), 1) if usual > 0 else 0
    if width < 2 or len(rates) <= width:
        return out
    taken = elapsed[width:] - elapsed[:-width]
    moved = np.abs(rates[width:] - rates[:-width])
    jumps = np.concatenate(([0], np.cumsum(jump)))
    unbroken = jumps[width:] == jumps[:-width]
    for i in np.flatnonzero(unbroken & (moved > rules.steep_bpm_s * taken) & (taken <= 2 * rules.steep_s)):
        out[i + 1 : i + width] = True
    return out


def _best_chain(elapsed, rates, first, last, rules) -> list[int]:
    """Places of the pieces of the best chain: most samples, less what changes beyond the limit cost."""
    n = len(first)
    begin, finish = elapsed[first], elapsed[last]
    head, tail = np.empty((2, n)), np.empty((2, n))  # level at both ends: single samples, and medians
    head[0], tail[0] = rates[first], rates[last]
    for i, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        head[1, i] = np.median(rates[a : min(a + ENDS, b + 1)])
        tail[1, i] = np.median(rates[max(b - ENDS + 1, a) : b + 1])
    best, previous = (last - first + 1).astype(float), np.full(n, -1)
    for j in range(1, n):
        low = max(0, j - LOOK_BACK)
        moved = np.abs(head[:, j : j + 1] - tail[:, low:j]).min(axis=0)
        ratio = moved / rules.change_over(begin[j] - finish[low:j])
        cost = BREAK_COST * ratio**2
        cost = np.where(_near_double(head[1, j] / tail[1, low:j], rules), cost, np.minimum(cost, MOST_COST))
        score = best[low:j] - np.where(ratio > 1.0, cost, 0.0)
        k = int(score.argmax())
        if score[k] > 0:
            best[j] += score[k]
            previous[j] = low + k
    chain, j = [], int(best.argmax()) if n else -1
    while j >= 0:
        chain.append(j)
        j = int(previous[j])
    return chain


def _name_pieces(codes, elapsed, rates, first, last, kept, candidate, rules, code) -> None:
    """Flag what is not in the chain: "doubled or halved" by its level, else a "spike" or an "impossible change"."""
    inside = np.zeros(len(rates), dtype=bool)
    for a, b in zip(first[kept], last[kept], strict=True):
        inside[a : b + 1] = True
    good_times, good_rates = elapsed[inside], rates[inside]
    for a, b in np.flatnonzero(np.diff(np.concatenate(([0], (~kept).astype(np.int8), [0])))).reshape(-1, 2):
        low, high = _with_edges(rates, elapsed, first[a], last[b - 1])
        piece = slice(low, high + 1)
        ratio = rates[piece] / np.interp(elapsed[piece], good_times, good_rates)
        if _near_double(ratio, rules).mean() >= 0.5:
            name = "doubled or halved"
        elif elapsed[high] - elapsed[low] < rules.spike_s:
            name = "spike"
        else:
            name = "impossible change"
        codes[piece] = np.where(candidate[piece], code[name], 0)


def _near_double(ratio, rules: CleaningRules):
    """Whether a level is about twice or half another."""
    return np.minimum(np.abs(ratio - 2.0) / 2.0, np.abs(ratio - 0.5) / 0.5) <= rules.double_tolerance


def _with_edges(rates, elapsed, low: int, high: int) -> tuple[int, int]:
    """Take in up to two samples on either side that already move towards the fault."""
    for _ in range(2):
        if low > 1 and abs(rates[low - 1] - rates[low - 2]) > 6.0 * max(elapsed[low - 1] - elapsed[low - 2], 1.0):
            low -= 1
        if high < len(rates) - 2 and abs(rates[high + 1] - rates[high + 2]) > 6.0 * max(
            elapsed[high + 2] - elapsed[high + 1], 1.0
        ):
            high += 1
    return low, high


FLAGS = (
    "", "no contact", "out of range", "flat line", "doubled or halved", "spike", "impossible change", "start lag",
    "straps mixed up", "set aside by hand",
)  # fmt: skip
"""The plain names of the flags; "" is good. A sample has one flag."""
CODE = {name: i for i, name in enumerate(FLAGS)}


LEAST_IN_FLAT = 8
"""Samples of a flat line at least: a file with a row every 5 s repeats a value by chance."""


def flag_artefacts(
    samples: pd.DataFrame, *, hr_max_bpm: float | None = None, rules: CleaningRules | None = None
) -> pd.DataFrame:
    """Return the samples with a `flag` column: "" where good, else the plain name of the artefact.

    Parameters
    ----------
    samples : DataFrame
        With `elapsed_s` (seconds, in time order) and `hr_bpm` (missing where there was no contact). Other columns
        pass through; nothing is deleted or changed.
    hr_max_bpm : float, optional
        The athlete's measured maximal heart rate: values more than 10 bpm above it are out of range.
    rules : CleaningRules, optional
        Default: `CleaningRules()`.

    Returns
    -------
    DataFrame
        The same rows, with `flag`: "no contact", "out of range", "flat line", "doubled or halved", "spike",
        "impossible change", "start lag" or "".

    Notes
    -----
    The trace is broken in pieces wherever heart rate changes faster than is physiologically possible: over d seconds by more than
    120 * (1 - exp(-d / 15)) bpm, at least 10, or by more than 7 bpm/s for 3 s. Of all chains of pieces the one is kept
    that has most samples, less 30 samples times the square of (change / limit) for every change beyond the limit, at
    most 100 unless the level doubles or halves. What is not in it is flagged by its length and level. So one bad
    stretch does not condemn what follows it, and a fault need not be short. Every limit is a field of `CleaningRules`.

    Short faults that look like a heart rate (a few beats too many, a value repeated for 10 s) are not seen.

    Examples
    --------
    >>> samples = pd.DataFrame({"elapsed_s": range(40), "hr_bpm": [150.0, 151] * 20})
    >>> samples.loc[20:23, "hr_bpm"] = 75.0
    >>> flag_artefacts(samples)["flag"].value_counts().to_dict()
    {'': 36, 'doubled or halved': 4}
    """
    for column in ("elapsed_s", "hr_bpm"):
        if column not in samples:
            raise KitError(f"samples need the columns elapsed_s and hr_bpm; {column} is missing.")
    elapsed = samples["elapsed_s"].to_numpy(dtype=float)
    rates = samples["hr_bpm"].to_numpy(dtype=float)
    if len(elapsed) and (not np.isfinite(elapsed).all() or (np.diff(elapsed) < 0).any()):
        raise KitError("elapsed_s must be numbers in rising order; read_recording puts them so.")
    codes = flag_codes(elapsed, rates, hr_max_bpm=hr_max_bpm, rules=rules or CleaningRules())
    return samples.assign(flag=np.array(FLAGS, dtype=object)[codes]).astype({"flag": "str"})


def flag_codes(elapsed: np.ndarray, rates: np.ndarray, *, hr_max_bpm: float | None, rules: CleaningRules) -> np.ndarray:
    """The flags of a trace as places in `FLAGS`."""
    codes = np.zeros(len(rates), dtype=np.int8)
    there = np.isfinite(rates) & (rates > 0)
    codes[~there] = CODE["no contact"]
    ceiling = rules.highest_bpm
    if hr_max_bpm is not None and np.isfinite(hr_max_bpm):
        ceiling = min(ceiling, hr_max_bpm + rules.above_max_bpm)
    with np.errstate(invalid="ignore"):
        codes[there & ((rates < rules.lowest_bpm) | (rates > ceiling))] = CODE["out of range"]
    codes[_flat(elapsed, rates, codes == 0, rules)] = CODE["flat line"]
    place = np.flatnonzero(there)
    if len(place):
        found = fit_pieces(elapsed[place], rates[place], codes[place] == 0, rules, CODE)
        codes[place[found > 0]] = found[found > 0]
        _mark_start_lag(elapsed, codes, rules)
    return codes


def _flat(elapsed: np.ndarray, rates: np.ndarray, good: np.ndarray, rules: CleaningRules) -> np.ndarray:
    """Samples in a run of one value that is too long for this trace; gaps in between do not end it."""
    out = np.zeros(len(rates), dtype=bool)
    place = np.flatnonzero(good)
    if len(place) < 3:
        return out
    values, times = rates[place], elapsed[place]
    change = np.flatnonzero(np.diff(values) != 0)
    first = np.concatenate(([0], change + 1))
    last = np.concatenate((change, [len(place) - 1]))
    length = times[last] - times[first]
    candidate = (length >= rules.flat_s - 1e-9) & (last - first + 1 >= LEAST_IN_FLAT)
    if not candidate.any():
        return out
    after = np.append(np.abs(np.diff(values))[change], 0.0)
    long = candidate & ((after >= 2.0) | (length >= rules.flat_usual * _usual_run(length, candidate)))
    for a, b in zip(first[long], last[long], strict=True):
        out[place[a : b + 1]] = True
    return out


def _usual_run(length: np.ndarray, candidate: np.ndarray) -> float:
    """The run of one value in which the middle second of the rest of the trace lies, in seconds."""
    runs = np.sort(length[~candidate]) + 1.0
    return float(runs[np.searchsorted(np.cumsum(runs), runs.sum() / 2)]) if len(runs) else 1.0


def _mark_start_lag(elapsed: np.ndarray, codes: np.ndarray, rules: CleaningRules) -> None:
    """Everything before contact has first been steady, if a fault lies at the beginning and steady contact follows it."""
    bad = np.flatnonzero((codes != 0) & (elapsed - elapsed[0] <= rules.start_lag_s + rules.steady_s))
    if not len(bad) or elapsed[bad[0]] - elapsed[0] >= rules.steady_s:
        return
    next_bad = np.append(elapsed[bad[1:]], elapsed[-1] if bad[-1] < len(codes) - 1 else elapsed[bad[-1]])
    steady = np.flatnonzero(next_bad - elapsed[bad] >= rules.steady_s)
    if not len(steady) or elapsed[bad[steady[0]]] - elapsed[0] > rules.start_lag_s:
        return
    before = np.arange(len(codes)) <= bad[steady[0]]
    codes[before & (codes != CODE["no contact"])] = CODE["start lag"]


@dataclass(frozen=True)
class Spans:
    """The samples of a trace that have a heart rate, each with the time it stands for."""

    low: np.ndarray
    high: np.ndarray
    rates: np.ndarray
    codes: np.ndarray
    first: float
    last: float
    stops: tuple[tuple[float, float], ...] = ()
    bridge: tuple[np.ndarray, np.ndarray] = (np.empty(0), np.empty(0))

    def between(self, start: float, end: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Seconds, rates and flags of the samples inside a window."""
        part = slice(
            int(np.searchsorted(self.high, start, side="right")), int(np.searchsorted(self.low, end, side="left"))
        )
        seconds = np.minimum(self.high[part], end) - np.maximum(self.low[part], start)
        return np.maximum(seconds, 0.0), self.rates[part], self.codes[part]

    def mean(self, start: float, end: float) -> tuple[float, float]:
        """Mean of the good samples in a window, and the seconds it rests on."""
        seconds, rates, codes = self.between(start, end)
        seconds = np.where(codes == 0, seconds, 0.0)
        total = float(seconds.sum())
        return (float(seconds @ rates) / total if total > 0 else float("nan")), total

    def bridged_mean(self, start: float, end: float) -> float:
        """Mean of a window were its missing time bridged between good samples (`recordings.recording.join_steps`)."""
        times, rates = self.bridge
        if not len(times):
            return float("nan")
        first, last = np.searchsorted(times, [start, end])
        part = slice(max(first - 1, 0), last + 1)
        knots = np.concatenate(([start], np.clip(times[part], start, end), [end]))
        level = np.interp(knots, times[part], rates[part])
        return float(np.trapezoid(level, knots) / (end - start))

    def peak(self, start: float, end: float, window_s: float) -> float:
        """The highest mean over `window_s` seconds, of windows with at least 80 % good time."""
        seconds, rates, codes = self.between(start, end)
        good = (codes == 0) & (seconds > 0)
        if not good.any():
            return float("nan")
        at = int(np.searchsorted(self.high, start, side="right"))
        low = np.maximum(self.low[at : at + len(good)], start)[good]
        time = np.stack([low, low + seconds[good]], axis=1).ravel()
        valid = np.cumsum(np.stack([np.zeros(len(low)), seconds[good]], axis=1).ravel())
        beats = np.cumsum(np.stack([np.zeros(len(low)), seconds[good] * rates[good]], axis=1).ravel())
        begin = np.append(low[low + window_s <= end + 1e-9], end - window_s)
        begin = begin[begin >= start - 1e-9]
        if not len(begin):
            return float("nan")
        covered = np.interp(begin + window_s, time, valid) - np.interp(begin, time, valid)
        total = np.interp(begin + window_s, time, beats) - np.interp(begin, time, beats)
        enough = covered >= 0.8 * window_s
        return float((total[enough] / covered[enough]).max()) if enough.any() else float("nan")

    def slope_per_min(self, start: float, end: float) -> float:
        """Least-squares slope of the good samples in a window, in bpm per minute, weighted by time."""
        at = int(np.searchsorted(self.high, start, side="right"))
        seconds, rates, codes = self.between(start, end)
        middle = (self.low[at : at + len(codes)] + self.high[at : at + len(codes)]) / 2
        weight = np.where(codes == 0, seconds, 0.0)
        total = weight.sum()
        if total < 0.5 * (end - start) or (weight > 0).sum() < 3:
            return float("nan")
        x = middle - weight @ middle / total
        spread = weight @ (x * x)
        return float(60.0 * (weight @ (x * rates)) / spread) if spread > 0 else float("nan")

    def missing(self, start: float, end: float) -> dict[str, float]:
        """Seconds of a window for which there is no sample, by cause."""
        seconds, _, _ = self.between(start, end)
        lost = max(end - start - float(seconds.sum()), 0.0)
        before = min(max(min(self.first, end) - start, 0.0), lost)
        after = min(max(end - max(self.last, start), 0.0), lost - before)
        stopped = sum(max(min(b, end, self.last) - max(a, start, self.first), 0.0) for a, b in self.stops)
        stopped = min(stopped, lost - before - after)
        contact = lost - before - after - stopped
        causes = {
            "recording not yet started": before,
            "recording over": after,
            "timer stopped": stopped,
            "no contact": contact,
        }
        return {cause: s for cause, s in causes.items() if s > 1e-9}


def spans_of(
    clock: np.ndarray, rates: np.ndarray, codes: np.ndarray, gap_limit: float, stops: Sequence = (), *,
    lost: Sequence | None = None, bells: Sequence = (), at_changes: bool = False,
) -> Spans:  # fmt: skip
    """Give each sample with a heart rate the time it stands for, half-way to its neighbours."""
    there = np.isfinite(rates)
    time, rates, codes = clock[there], rates[there], codes[there]
    kept = tuple((float(a), float(b)) for a, b in stops)
    if not len(time):
        return Spans(time, time, rates, codes, np.inf, -np.inf, kept)
    step = np.diff(time)
    half = min(float(np.median(step)) if len(step) else 1.0, gap_limit) / 2
    missing = step > gap_limit if lost is None else lost_steps(time, lost)
    good = codes == 0
    bridge = _bridged(time[good], rates[good], bells, at_changes)
    standing = lost_steps(time, kept) if kept else np.zeros(len(step), dtype=bool)
    long = (step > GAP_LIMIT_S) & ~missing & ~standing & good[1:] & good[:-1]
    if long.any():
        points, values, _ = join_steps(time, rates, long, bells, at_changes=at_changes)
        order = np.argsort(np.concatenate((time, points)), kind="stable")
        time = np.concatenate((time, points))[order]
        rates = np.concatenate((rates, values))[order]
        codes = np.concatenate((codes, np.zeros(len(points), dtype=codes.dtype)))[order]
        of_step = np.concatenate((np.append(missing, False), np.zeros(len(points), dtype=bool)))[order]
        step, missing = np.diff(time), of_step[:-1]
    reach = np.where(missing, half, step / 2)
    low = time - np.concatenate(([half], reach))
    high = time + np.concatenate((reach, [half]))
    for begin, end in kept:
        inside = (time > begin) & (time < end)
        before, after = time <= begin, time >= end
        high[before] = np.minimum(high[before], begin)
        low[after] = np.maximum(low[after], end)
        low[inside] = high[inside] = time[inside]
    return Spans(low, high, rates, codes, float(clock[0]) - half, float(clock[-1]) + half, kept, bridge)


def _bridged(time: np.ndarray, rates: np.ndarray, bells: Sequence, at_changes: bool) -> tuple[np.ndarray, np.ndarray]:
    """Good samples with every long step between them joined: only to judge how far missing time could move a mean."""
    points, values, _ = join_steps(time, rates, np.diff(time) > GAP_LIMIT_S, bells, at_changes=at_changes)
    order = np.argsort(np.concatenate((time, points)), kind="stable")
    return np.concatenate((time, points))[order], np.concatenate((rates, values))[order]
