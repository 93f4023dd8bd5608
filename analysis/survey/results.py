"""`SurveyAnswer`: what sessions sent in by other people show, per person, with the error of predicted maxima carried along."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result, left_out_table


@dataclass(frozen=True)
class SurveyAnswer(Result):
    """What submitted sessions show. Shares and percentages are of 0 to 1 and of 0 to 100; people count once each.

    Parameters
    ----------
    n_sent, n_sessions, n_athletes : int
        Sessions in the table, sessions in the main analysis, people in the main analysis.
    n_recordings : int
        Sessions of the main analysis with a whole recording.
    equation, equation_label : str
        The published equation of maximal heart rate in the main analysis: its name, and author with year.
    prediction_error_bpm : float
        Its standard error for one person.
    n_simulations : int
        Draws of the simulation that carries the errors.
    sessions : DataFrame
        One row per session of the main analysis: person, session_no, minutes, hr_mean_bpm, hr_peak_bpm, age_years, sex,
        device_kind, session_kind, has_file, hr_max_bpm (predicted), percent_mean, percent_peak, and the limits of each
        with the error of the prediction: percent_mean_low, percent_mean_high, percent_peak_low, percent_peak_high.
    people : DataFrame
        One row per person: person, n_sessions, hr_mean_bpm, hr_peak_bpm, percent_mean, percent_peak, hr_max_bpm.
    typical : DataFrame
        Person-level estimates with the columns of estimates: measure ("hr_mean_bpm", "hr_peak_bpm", "percent_mean",
        "percent_peak"), sd_people, sd_sessions (within a person), correlation (between sessions of one person).
    shares : DataFrame
        Share of people whose sessions typically lie above a threshold: measure, threshold, estimate (prediction taken
        as exact), centre, low, high (error of the prediction), total_low, total_high (and of drawing these people).
    curve : DataFrame
        Distribution over people: measure, percent, share, low, high, total_low, total_high.
    equations : DataFrame
        `shares` under each published equation: equation, label, year, prediction_error_bpm, provenance.
    ages : DataFrame
        Sessions without an age: share above the thresholds if all were of each plausible age: measure, threshold, age_years, share.
    bands : DataFrame
        Time in the bands of the position stand from recordings, and what mean and peak alone would have said.
    agreement : DataFrame
        Sessions with a recording: the bands that mean and peak alone suggest, against the time truly spent.
    against : DataFrame
        Session means and peaks beside published round means.
    senders : DataFrame
        Who sends data: what, group, n_athletes, n_sessions, share_people, share_sessions.
    choices : DataFrame
        The main numbers under other choices (with wrist sensors, with all kinds of session, with duplicates ...).
    recordings : DataFrame
        One row per recording that could be read.
    bands_edition, bands_source : str
        Which bands.
    method : str
    left_out : DataFrame
        Sessions that are not in the main analysis, each with its reason.
    warnings : tuple of str
    """

    n_sent: int
    n_sessions: int
    n_athletes: int
    n_recordings: int
    equation: str
    equation_label: str
    prediction_error_bpm: float
    n_simulations: int
    sessions: pd.DataFrame
    people: pd.DataFrame
    typical: pd.DataFrame
    shares: pd.DataFrame
    curve: pd.DataFrame
    equations: pd.DataFrame
    ages: pd.DataFrame
    bands: pd.DataFrame
    agreement: pd.DataFrame
    against: pd.DataFrame
    senders: pd.DataFrame
    choices: pd.DataFrame
    recordings: pd.DataFrame
    bands_edition: str
    bands_source: str
    method: str
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()
