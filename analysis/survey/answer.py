"""`answer_survey`: from a table of submitted sessions to a `SurveyAnswer`."""

from __future__ import annotations

import pandas as pd

from ..basics import KitError
from .results import SurveyAnswer


def answer_survey(survey: pd.DataFrame, *, folder=None, published=None, seed: int = 0) -> SurveyAnswer:
    """Say what submitted sessions show, one person counted once.

    Parameters
    ----------
    survey : DataFrame
        One row per session: person, age_years, sex, minutes, hr_mean_bpm, hr_peak_bpm, device_kind, session_kind, file.
    folder : path, optional
        The survey folder, whose recordings/ holds the files. Without it no recording is read.
    published : DataFrame, optional
        Published round means, as in published.csv.
    seed : int
        Of the simulation.

    Returns
    -------
    SurveyAnswer
    """
    raise KitError("a survey cannot be analysed yet")
