"""`Answers`: ask a study everything it can answer, once, in the order of the notebooks."""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path

import pandas as pd

from ..basics import NotYet
from ..study import Study
from ..study.outcomes import OUTCOMES, outcome_named

DEMO_FOLDER = Path(__file__).resolve().parents[2] / "data_demo"


def open_answers(folder: str | Path | None = None) -> Answers:
    """Open the study that a notebook is about.

    Parameters
    ----------
    folder : path, optional
        The study folder. Default: the environment variable STUDY_FOLDER, else the demo study.

    Returns
    -------
    Answers

    Raises
    ------
    StudyError
        With every problem of the folder at once.

    Examples
    --------
    >>> open_answers().study.protocol.rounds > 1
    True
    """
    return Answers.from_folder(folder or os.environ.get("STUDY_FOLDER") or DEMO_FOLDER)


class Answers:
    """Every answer of one study, each computed when first asked for and kept.

    Parameters
    ----------
    study : Study
        A loaded, validated study.
    seed : int
        Of everything random (bootstrap, permutation, simulation). Default 0.

    Attributes
    ----------
    cleaned : CleanedStudy or NotYet
        Flagged traces, rounds, ledger.
    rows : DataFrame or NotYet
        One row per session, athlete and round.
    capacity : DataFrame or NotYet
        One row per athlete.
    """

    def __init__(self, study: Study, *, seed: int = 0):
        self.study = study
        self.seed = seed
        self._kept: dict = {}

    @classmethod
    def from_folder(cls, folder: str | Path, *, seed: int = 0) -> Answers:
        """Load the folder and return its Answers."""
        return cls(Study.load(folder), seed=seed)

    def _once(self, key, compute):
        if key not in self._kept:
            self._kept[key] = compute()
        return self._kept[key]
