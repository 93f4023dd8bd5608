"""`clean_study`: the walk from a study and its recordings to one row per session, athlete and round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from ..basics import Result

if TYPE_CHECKING:
    from ..study import Study

ROW_COLUMNS = (
    "session", "athlete", "round_no", "bout_no", "took_part", "rest_before_s", "opponent",
    "hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "hr_source",
    "percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve",
    "very_light_s", "light_s", "moderate_s", "vigorous_s", "near_maximal_s",
    "valid_s", "valid_share", "hr_recovery_60s_bpm", "hr_drift_bpm_min", "training_impulse",
    "lactate_mmol_l", "lactate_limit", "lactate_delay_s", "exertion", "activity_rating",
)  # fmt: skip
"""The columns of `CleanedStudy.rows`, in order."""


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
        session, athlete, round_no, start_s, end_s (on the same clock), found_by, confidence.
    clocks : DataFrame
        One row per recording: session, athlete, file, device, offset_s used, offset_source, found_offset_s,
        found_uncertainty_s, agrees.
    flags_table : DataFrame
        session, athlete, flag, seconds, spans, decided_by.
    overrides : DataFrame
        The hand decisions on spans of traces that were applied.
    bounds : DataFrame
        Round means with flagged samples set aside, kept, and bounded by worst and best case.
    ledger : Ledger
        The study's ledger with the seconds of every trace and the rows of every table added.
    rules : DataFrame
        The cleaning rules and the values used.
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
    remarks: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def clean_study(study: Study) -> CleanedStudy:
    """Read, flag, align, cut and summarise every recording of a study."""
    raise NotImplementedError


def summarise_rounds(study: Study) -> pd.DataFrame:
    """Return one row per session, athlete and round: `clean_study(study).rows`."""
    return clean_study(study).rows
