"""`Recording`: one tidy heart-rate trace, which of its time is missing, and the error raised where a file cannot give one.

Many devices write a row only when something changes. Their long steps hold nothing that was lost; the long steps of a
device that writes steadily do. The file itself tells the two apart: see `judge_steps`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice

GAP_LIMIT_S = 5.0
"""A step up to this is never a gap (our proposal)."""
LONGEST_JOINED_S = 60.0
"""A longer step is missing time also in a file written on events (our proposal)."""
LONGEST_UNCHANGED_S = 150.0
"""The same for a file written at changes, where both ends differ by one such change only (our proposal)."""
STEADY_SHARE = 0.85
"""Share of steps of the usual length from which a file counts as written steadily (our proposal)."""
FEWEST_STEPS = 20
"""Fewer steps tell nothing about how a device writes."""
MOST_USUAL_LIMIT_S = 150.0
TIMER_STEPS = 3
"""So many long steps alike to the second are the timer of a device, not lost contact."""
AGREE_BPM = 3.0
LONE_TIMES, LEAST_LONE_S = 4.0, 15.0
SEEN_BEFORE = 0.75
COARSE_S = 30.0
"""A longer usual step gives no mean of a round: ten heart rates in five minutes are the least (our proposal)."""
STEADILY, ON_EVENTS, AT_CHANGES = "steadily", "on events", "at changes"


@dataclass(frozen=True)
class Judgement:
    """How a file was written, and which of its steps from one heart rate to the next count (`bridged`: by rules 3 and 4)."""

    joined: np.ndarray
    bridged: np.ndarray
    written: str
    usual_step_s: float
    limit_s: float


def judge_steps(
    times: np.ndarray,
    rates: np.ndarray,
    *,
    broken: np.ndarray | None = None,
    standing_s: np.ndarray | None = None,
    given: float | None = None,
) -> Judgement:
    """Say of every step between two heart rates whether it counts (True) or is missing time.

    `broken` marks steps with a row in between that says itself that there was no heart rate; `standing_s` is the time in
    each step in which the timer stood; `given` is a limit set by hand, which then decides alone.

    1. A step up to 5 s, or up to twice the usual step of the file (at most 150 s), counts.
    2. A longer one is missing where the timer stood or where a row in between says that there was no heart rate.
    3. A file is written steadily where 85 % of its steps have the usual length: a longer step is missing, unless three or
       more, and most of the long ones, are alike to the second: the timer of the device.
    4. In every other file a step up to 60 s counts where another step is about as long, or where its ends agree (within the
       usual change from row to row) and it is not far longer than the others (four times); and one up to 150 s where the file
       is written at changes and the ends differ by one.
    """
    step = np.diff(times)
    standing = np.zeros(len(step)) if standing_s is None else standing_s
    broken = np.zeros(len(step), dtype=bool) if broken is None else broken
    usual = float(np.median(step)) if len(step) >= 2 else 1.0
    limit = max(GAP_LIMIT_S, min(2 * usual, MOST_USUAL_LIMIT_S)) if given is None else float(given)
    joined = step - standing <= limit + 1e-9
    if given is not None or len(step) < 2:
        return Judgement(joined, np.zeros(len(step), dtype=bool), STEADILY, usual, limit)
    change = np.abs(np.diff(rates))
    whole, bridged = np.round(step), np.zeros(len(step), dtype=bool)
    alike = float((np.abs(step - usual) <= max(0.5, 0.1 * usual)).mean())
    steady = alike >= STEADY_SHARE or len(step) < FEWEST_STEPS
    written, least = (STEADILY, 0.0) if steady else _written(change[joined], change)
    place = np.flatnonzero(~joined & ~broken & (standing == 0))
    length = step[place]
    if len(place):
        same = np.array([(np.abs(whole[place] - w) < 1.5).sum() for w in whole[place]])
        counts = (same >= TIMER_STEPS) & (same > 0.5 * len(place))
        if not steady:
            # The steps to compare with: also those that rule 1 lets count, since a step of 30 s is nothing new among 20 s.
            seen = np.array([(step >= SEEN_BEFORE * s).sum() >= 2 for s in length])
            near = max(AGREE_BPM, float(np.quantile(change[joined], 0.95)) + 1.0) if joined.any() else AGREE_BPM
            lone = max(LEAST_LONE_S, LONE_TIMES * float(np.quantile(step[joined], 0.99))) if joined.any() else 0.0
            agree = (change[place] <= near) & ((length <= lone) | (written == AT_CHANGES))
            counts |= seen | agree
        counts &= length <= LONGEST_JOINED_S
        if written == AT_CHANGES:
            counts |= (length <= LONGEST_UNCHANGED_S) & (change[place] <= least + 1.0)
        bridged[place[counts]] = True
    return Judgement(joined | bridged, bridged, written, usual, limit)


def _written(short: np.ndarray, change: np.ndarray) -> tuple[str, float]:
    """Written at changes where hardly a row repeats the rate before it; the change is the smallest one usually seen."""
    least = float(np.quantile(change, 0.1))
    if least >= 1.0 and len(short):
        return AT_CHANGES, least
    return ON_EVENTS, 0.0


def gap_table(times: np.ndarray, joined: np.ndarray) -> pd.DataFrame:
    """The steps that are missing time: from_s, to_s."""
    lost = np.flatnonzero(~joined)
    return pd.DataFrame({"from_s": times[lost].astype(float), "to_s": times[lost + 1].astype(float)})


def lost_steps(times: np.ndarray, gaps) -> np.ndarray:
    """Which steps between `times` touch a missing span of `gaps` (pairs of from and to)."""
    out = np.zeros(max(len(times) - 1, 0), dtype=bool)
    for begin, finish in gaps:
        low = int(np.searchsorted(times, begin + 1e-6)) - 1
        high = int(np.searchsorted(times, finish - 1e-6))
        out[max(low, 0) : high] = True
    return out


RISE_S = 35.0
"""Time constant of the curve by which a heart rate that rose over a long step is joined (20 to 60 s are usual)."""
FAR_BPM = 8.0
HELD_SHARE = 0.4


def join_steps(times: np.ndarray, rates: np.ndarray, long: np.ndarray, bells=(), *, at_changes: bool = False):
    """Fill long steps with points about a second apart, for means over rounds; returns times, rates and their step's place."""
    # A small change is joined by a straight line (where the file is written at changes, 0.4 held and 0.6
    # line: the rate stood until the device wrote the next one, but it drifted within one change). A large
    # rise is joined along the first-order curve of heart rate, from the bell where a round began within the
    # step; a large fall begins at the bell where a round ended.
    where, points, values = [], [], []
    share = 1.0 - HELD_SHARE if at_changes else 1.0
    for i in np.flatnonzero(long).tolist():
        t0, t1, y0, y1 = times[i], times[i + 1], rates[i], rates[i + 1]
        inner = t0 + np.arange(1, max(int(np.ceil(t1 - t0)), 2)) * (t1 - t0) / max(np.ceil(t1 - t0), 2)
        begin = t0
        if abs(y1 - y0) < FAR_BPM:
            part = share * (inner - t0) / (t1 - t0)
        elif y1 > y0:
            begin = max((a for a, _ in bells if t0 < a < t1), default=t0)
            since = np.maximum(inner - begin, 0.0)
            part = (1.0 - np.exp(-since / RISE_S)) / (1.0 - np.exp(-(t1 - begin) / RISE_S))
        else:
            begin = max((b for _, b in bells if t0 < b < t1), default=t0)
            part = np.maximum(inner - begin, 0.0) / (t1 - begin)
        points.append(inner)
        values.append(y0 + part * (y1 - y0))
        where.append(np.full(len(inner), i))
    if not points:
        return np.empty(0), np.empty(0), np.empty(0, dtype=int)
    return np.concatenate(points), np.concatenate(values), np.concatenate(where)


STOP_COLUMNS = ("from_s", "to_s", "cause")
BEAT_COLUMNS = ("elapsed_s", "interval_ms", "corrected_ms", "beat")


class RecordingError(KitError):
    """A recording that gives no usable trace: which file, what is wrong, and the remedy.

    Parameters
    ----------
    message : str
        The sentence shown to the reader.
    """


def no_stops() -> pd.DataFrame:
    """An empty table of stops."""
    return pd.DataFrame(
        {"from_s": np.empty(0), "to_s": np.empty(0), "cause": pd.Series([], dtype="str")}, columns=list(STOP_COLUMNS)
    )


def no_beats() -> pd.DataFrame:
    """An empty table of beats."""
    return pd.DataFrame(
        {
            "elapsed_s": np.empty(0),
            "interval_ms": np.empty(0),
            "corrected_ms": np.empty(0),
            "beat": pd.Series([], dtype="str"),
        },
        columns=list(BEAT_COLUMNS),
    )


@dataclass(frozen=True)
class Recording(Result):
    """One heart-rate trace in time order.

    Parameters
    ----------
    samples : DataFrame
        `time` (UTC, missing where the file has no date and zone), `elapsed_s` (seconds since the first row),
        `hr_bpm` (zeros and blanks are missing). Times are distinct and increase.
    stops : DataFrame
        Spans that the device did not record: `from_s`, `to_s`, `cause` ("timer stopped" and the like).
        They are missing time, whatever the limit of gaps.
    beats : DataFrame
        Where the file carries beat-to-beat intervals: `elapsed_s` of the end of the interval, `interval_ms` as
        recorded, `corrected_ms` by the published rule (missing where nothing can be said), `beat` ("normal" or
        what was corrected). Empty otherwise.
    remarks : tuple of str
        What was repaired, lost or assumed, one sentence each.
    file : str
        Name of the file, without its folder.
    kind : str
        "FIT", "TCX", "GPX", "table" or "intervals".
    label : str
        The column or name read from a file with several athletes; "" otherwise.
    hr_source : str
        "device" where the device computed the rate, "intervals" where it was computed here from beat-to-beat
        intervals. The two are never mixed in one trace.
    clock : str
        "utc" where `time` is known, "local" where only the wall clock is known (`local_start_s`), "none".
    local_start_s : float
        Seconds after local midnight of the first row where `clock` is "local"; not-a-number otherwise.
    local_date : str
        The local date (YYYY-MM-DD) where the file states one with a local clock; "" otherwise.
    gap_limit_s : float
        A step between two heart rates up to this is never missing time.
    gaps : DataFrame or None
        The longer steps that are missing time: `from_s`, `to_s` (see `recordings.recording.judge_steps`). None where nobody
        judged them: then every step over `gap_limit_s` is.
    written : str
        "steadily", "on events" or "at changes": how the device wrote its rows.
    usual_step_s : float
        Seconds from one heart rate to the next, in the middle.
    """

    samples: pd.DataFrame
    stops: pd.DataFrame = field(default_factory=no_stops)
    beats: pd.DataFrame = field(default_factory=no_beats)
    remarks: tuple[str, ...] = ()
    file: str = ""
    kind: str = ""
    label: str = ""
    hr_source: str = "device"
    clock: str = "none"
    local_start_s: float = float("nan")
    local_date: str = ""
    gap_limit_s: float = GAP_LIMIT_S
    gaps: pd.DataFrame | None = None
    written: str = STEADILY
    usual_step_s: float = 1.0

    def _repr_html_(self) -> str:
        """The facts and the beginning of the tables, since a recording has thousands of rows."""
        brief = {name: table.head(5) for name, table in self._tables().items()}
        return Result._repr_html_(replace(self, **brief))

    @property
    def duration_s(self) -> float:
        """Seconds from the first to the last row."""
        elapsed = self.samples["elapsed_s"].to_numpy()
        return float(elapsed[-1] - elapsed[0]) if len(elapsed) else 0.0

    @property
    def valid_s(self) -> float:
        """Seconds between rows with a heart rate, without gaps over the limit and timer stops."""
        return float(self._steps(None, skip_stops=True)[1].sum())

    def mean_hr_bpm(self, *, max_gap_s: float | None = None, over: str = "running") -> float:
        """Return the mean heart rate weighted by time.

        `max_gap_s`: longer steps between two heart rates carry no weight. Default: those in `gaps` carry none. `over`:
        "running" leaves out the time in which the timer stood; "all" counts every second between the first and the last
        heart rate, gaps and stops included, as the plain trapezoidal rule does.

        Gives in bpm; not-a-number where no two heart rates are close enough in time.

        Trapezoidal rule: sum of (h[i] + h[i+1]) / 2 * step[i] over the counted steps, divided by their sum.

        Examples
        --------
        >>> import pandas as pd
        >>> samples = pd.DataFrame({"time": pd.NaT, "elapsed_s": [0.0, 1.0, 4.0], "hr_bpm": [100.0, 120.0, 140.0]})
        >>> Recording(samples).mean_hr_bpm()
        125.0
        """
        check_choice(over, ("running", "all"), name="over")
        running = over == "running"
        limit = max_gap_s if running or max_gap_s is not None else np.inf
        rates, steps = self._steps(limit, skip_stops=running)
        total = steps.sum()
        if not total > 0:
            return float("nan")
        return float(((rates[1:] / 2 + rates[:-1] / 2) * steps).sum() / total)

    def _steps(self, limit: float | None, *, skip_stops: bool) -> tuple[np.ndarray, np.ndarray]:
        """Return the heart rates that are there and the seconds that count between each two; no limit: as judged."""
        rates = self.samples["hr_bpm"].to_numpy()
        there = np.isfinite(rates)
        elapsed = self.samples["elapsed_s"].to_numpy()[there]
        if len(elapsed) < 2:
            return rates[there], np.empty(0)
        steps = np.diff(elapsed)
        if skip_stops:
            steps = steps - stopped_seconds(elapsed[:-1], elapsed[1:], self.stops)
        if limit is None and self.gaps is not None:
            lost = lost_steps(elapsed, zip(self.gaps["from_s"], self.gaps["to_s"], strict=True))
        else:
            lost = steps > (self.gap_limit_s if limit is None else limit)
        return rates[there], np.where(lost, 0.0, steps)


def stopped_seconds(starts: np.ndarray, ends: np.ndarray, stops: pd.DataFrame) -> np.ndarray:
    """Seconds of each span [start, end) in which the timer stood."""
    lost = np.zeros(len(starts))
    for begin, finish in zip(stops["from_s"].to_numpy(), stops["to_s"].to_numpy(), strict=True):
        lost += np.clip(np.minimum(ends, finish) - np.maximum(starts, begin), 0.0, None)
    return np.minimum(lost, ends - starts)
