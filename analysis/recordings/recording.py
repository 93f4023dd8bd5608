"""`Recording`: one tidy heart-rate trace, and the error raised where a file cannot give one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice
from .gaps import GAP_LIMIT_S, STEADILY, lost_steps

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
        {"from_s": np.empty(0), "to_s": np.empty(0), "cause": pd.Series([], dtype="str")},
        columns=list(STOP_COLUMNS),
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
        The longer steps that are missing time: `from_s`, `to_s` (see `recordings.gaps.judge_steps`). None where nobody
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
