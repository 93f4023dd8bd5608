"""`Recording`: one tidy heart-rate trace, and the error raised where a file cannot give one."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from ..basics import KitError, Result

SAMPLE_COLUMNS = ("time", "elapsed_s", "hr_bpm")
STOP_COLUMNS = ("from_s", "to_s", "cause")
BEAT_COLUMNS = ("elapsed_s", "interval_ms", "corrected_ms", "beat")


class RecordingError(KitError):
    """A recording that gives no usable trace: which file, what is wrong, and the remedy."""


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
        recorded, `corrected_ms` by the published rule, `beat` ("normal" or what was corrected). Empty otherwise.
    remarks : tuple of str
        What was repaired, lost or assumed, one sentence each.
    file : str
        Name of the file, without its folder.
    kind : str
        "FIT", "TCX", "GPX", "table" or "intervals".
    label : str
        The column or name read from a file with several athletes; "" otherwise.
    hr_source : str
        "device" where the device computed the rate, "intervals" where it was computed from beat-to-beat intervals.
    clock : str
        "utc" where `time` is known, "local" where only the wall clock is known (`local_start_s`), "none".
    local_start_s : float
        Seconds after local midnight of the first row where `clock` is "local"; not-a-number otherwise.
    local_date : str
        The local date (YYYY-MM-DD) where the file states one with a local clock; "" otherwise.
    gap_limit_s : float
        A longer time between two rows is missing time.
    """

    samples: pd.DataFrame
    stops: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(STOP_COLUMNS)))
    beats: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(BEAT_COLUMNS)))
    remarks: tuple[str, ...] = ()
    file: str = ""
    kind: str = ""
    label: str = ""
    hr_source: str = "device"
    clock: str = "none"
    local_start_s: float = float("nan")
    local_date: str = ""
    gap_limit_s: float = 5.0

    @property
    def duration_s(self) -> float:
        """Seconds from the first to the last row."""
        raise NotImplementedError

    @property
    def valid_s(self) -> float:
        """Seconds with a heart rate: gaps over the limit and timer stops are not in it."""
        raise NotImplementedError

    def mean_hr_bpm(self, *, max_gap_s: float | None = None) -> float:
        """Mean heart rate weighted by time (trapezoidal); gaps over the limit and stops carry no weight."""
        raise NotImplementedError
