"""`SurveyAnswer`: what sessions sent in by other people show, per person, with the error of predicted maxima carried along."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result, left_out_table


@dataclass(frozen=True)
class SurveyAnswer(Result):
    """What submitted sessions show. Shares run from 0 to 1, percentages from 0 to 100; people count once each.

    Parameters
    ----------
    n_sent, n_people_sent : int
        Sessions in the table, and the people behind them.
    n_sessions, n_athletes : int
        Sessions and people in the main analysis.
    n_with_age : int
        People of the main analysis whose age is known, so that a maximum can be predicted.
    n_recordings : int
        Sessions of the main analysis with a whole recording that could be read.
    equation, equation_label : str
        The published equation of maximal heart rate in the main analysis: its name, and author with year.
    prediction_error_bpm : float
        Its standard error for one person.
    least_error_bpm : float
        The least published error of such equations: in each draw the size of the error lies between the two.
    hr_max_bpm : float
        Mean of the predicted maxima.
    n_simulations : int
        Draws of the simulation that carries the errors.
    learned : bool
        Whether a person's heart rates told something about that person's own maximum in the simulation.
    sessions : DataFrame
        One row per session of the main analysis: person_no (a number instead of the code), minutes, hr_mean_bpm,
        hr_peak_bpm, age_years, sex, device_kind,
        session_kind, has_file, hr_max_bpm (predicted), percent_mean and percent_peak of it; and with the likely error of
        the prediction percent_mean_likely, percent_peak_likely, each with _low and _high.
    typical : DataFrame
        Typical values over people: measure (hr_mean_bpm, hr_peak_bpm, percent_mean, percent_peak, minutes), estimate with
        its interval, sd_people, sd_sessions (within a person), correlation (of two sessions of one person).
    shares : DataFrame
        Share of people's sessions at or above a threshold: measure, threshold, estimate (predicted maxima taken as
        exact), centre, low, high (with the error of the prediction), total_low, total_high (and for people drawn anew).
    curve : DataFrame
        The same over the whole scale: measure, percent, estimate, centre, low, high, total_low, total_high.
    equations : DataFrame
        Under each published equation: equation, label, formula, prediction_error_bpm, provenance, sex ("any" or who the
        equation is for), and columns as in `shares`.
    ages : DataFrame
        People without a known age: share at or above a threshold if all had one plausible age: measure, threshold,
        age_years, share, n_athletes, n_sessions.
    bands : DataFrame
        Bands of the position stand in its words: time of recordings, and sessions by mean and by peak, with limits.
    agreement : DataFrame
        Sessions with a recording: the band that the mean suggests, against the time spent in each band.
    against : DataFrame
        Session means and peaks beside published round means.
    senders : DataFrame
        Who sends data: what, group, n_athletes, n_sessions, share_people, share_sessions.
    choices : DataFrame
        The main numbers under other choices: choice, n_sessions, n_athletes, percent_mean, percent_peak, estimate,
        centre, low, high (peaks at or above 90 % of maximum).
    set_aside : DataFrame
        reason, n_sessions: why sessions are not in the main analysis.
    bands_source : str
        Which bands.
    plausible_ages : tuple of float
        The range of `ages`.
    method : str
    left_out : DataFrame
        Sessions that are not in the main analysis, each with its reason.
    warnings : tuple of str
    """

    n_sent: int
    n_people_sent: int
    n_sessions: int
    n_athletes: int
    n_with_age: int
    n_recordings: int
    equation: str
    equation_label: str
    prediction_error_bpm: float
    least_error_bpm: float
    hr_max_bpm: float
    n_simulations: int
    learned: bool
    sessions: pd.DataFrame
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
    set_aside: pd.DataFrame
    bands_source: str
    plausible_ages: tuple[float, float]
    method: str
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()

    def share(self, measure: str, threshold: float) -> dict:
        """Return one line of `shares` by measure ("percent_mean", "percent_peak") and threshold (%); empty where none."""
        lines = self.shares[(self.shares["measure"] == measure) & (self.shares["threshold"] == threshold)]
        known = lines.dropna(subset=["centre"]) if len(lines) else lines
        return known.iloc[0].to_dict() if len(known) else {}

    def headline(self) -> dict:
        """Return the share that is told first: peaks at or above 90 %, else means at or above 77 %; empty where neither."""
        return self.share("percent_peak", 90.0) or self.share("percent_mean", 77.0)

    def headline_equations(self, *, only_for_all: bool = True) -> pd.DataFrame:
        """Return the lines of `equations` on the headline, by size; default only equations for both sexes."""
        measured = self.equations["measure"] == self.headline().get("measure", "")
        rows = self.equations[measured & ((self.equations["sex"] == "any") | (not only_for_all))]
        return rows.sort_values("centre", ignore_index=True)
