"""`CleanedStudy`: what cleaning leaves behind, and the columns of its tables."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from ..basics import Result
from .measure import BAND_COLUMNS

ROW_COLUMNS = (
    "session", "athlete", "round_no", "bout_no", "took_part", "rest_before_s", "opponent",
    "hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "hr_source",
    "percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve",
    *BAND_COLUMNS,
    "valid_s", "valid_share", "hr_recovery_60s_bpm", "hr_drift_bpm_min", "training_impulse",
    "lactate_mmol_l", "lactate_limit", "lactate_delay_s", "exertion", "activity_rating",
)  # fmt: skip
"""The columns of `CleanedStudy.rows`, in order."""

CLOCK_COLUMNS = (
    "session", "athlete", "file", "device", "device_clock", "offset_s", "offset_source", "found_offset_s",
    "found_uncertainty_s", "agrees",
)  # fmt: skip
BOUND_COLUMNS = (
    "session", "athlete", "round_no", "mean_bpm", "mean_kept_bpm", "mean_bridged_bpm", "mean_low_bpm", "mean_high_bpm",
    "aside_s", "aside_share",
)  # fmt: skip
COST_COLUMNS = ("flag", "seconds", "rounds", "mean_change_bpm", "largest_change_bpm", "rounds_regained")
FLAG_COLUMNS = ("session", "athlete", "flag", "seconds", "spans", "decided_by")


@dataclass(frozen=True)
class CleanedStudy(Result):
    """A study whose recordings are flagged, aligned, cut and summarised.

    Parameters
    ----------
    rows : DataFrame
        One row per session, athlete and round (`ROW_COLUMNS`).
    traces : dict of (session, athlete) -> DataFrame
        Samples on the timekeeper's clock: `clock_s` (seconds after midnight of the session), `elapsed_s`, `hr_bpm`,
        `flag` ("" where good), `round_no` (-1 outside rounds).
    windows : DataFrame
        session, athlete, round_no, start_s, end_s (on the same clock), found_by ("clock", "protocol", "trace"),
        confidence.
    clocks : DataFrame
        One row per recording: session, athlete, file, device, device_clock, offset_s used (device minus timekeeper),
        offset_source, found_offset_s and found_uncertainty_s (from lining the trace up with the rounds), agrees.
    flags_table : DataFrame
        session, athlete, flag, seconds, spans, decided_by.
    overrides : DataFrame
        The hand decisions on recordings, with the seconds that each changed.
    bounds : DataFrame
        Round means with bad samples set aside, kept, and replaced by the worst and best case.
    ledger : Ledger
        The study's ledger with the seconds of every trace and the values of every round added.
    costs : DataFrame
        What each rule costs: flag, seconds and rounds touched inside rounds, mean_change_bpm and largest_change_bpm of the
        round means were its samples kept, rounds_regained (rounds that would have enough valid time without it).
    rules : DataFrame
        The cleaning rules and the values used.
    may_show : tuple of str
        Athletes who agreed to a figure that shows them alone; other traces stay out of figures.
    remarks : tuple of str
        One sentence per thing repaired, assumed or lost.
    warnings : tuple of str
        What a person should resolve.
    """

    rows: pd.DataFrame
    traces: dict[tuple[str, str], pd.DataFrame]
    windows: pd.DataFrame
    clocks: pd.DataFrame
    flags_table: pd.DataFrame
    overrides: pd.DataFrame
    bounds: pd.DataFrame
    ledger: Any
    rules: pd.DataFrame
    costs: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(COST_COLUMNS)))
    may_show: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
