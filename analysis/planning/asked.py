"""What one question gave in every simulated study."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Asked:
    """What one question gave in every study.

    Parameters
    ----------
    question, part : str
        As in `DesignAnswer.questions`; steps are "step 2 - 1" and so on.
    found : ndarray of bool
        The study claims it.
    usable : ndarray of bool
        The question could be asked.
    estimate, half_width : ndarray or None
        In the unit of the question.
    truth : float
        What the estimate should be; missing where there is none.
    mistaken : ndarray of bool or None
        For a plateau: claimed to start before the rounds are truly level.
    """

    question: str
    part: str
    found: np.ndarray
    usable: np.ndarray
    estimate: np.ndarray | None = None
    half_width: np.ndarray | None = None
    truth: float = float("nan")
    mistaken: np.ndarray | None = None


def below(p, alpha) -> np.ndarray:
    """Tell where p lies below alpha; a missing p does not.

    Parameters
    ----------
    p : ndarray
    alpha : float

    Returns
    -------
    ndarray of bool

    Examples
    --------
    >>> below(np.array([0.01, np.nan]), 0.05).tolist()
    [True, False]
    """
    with np.errstate(invalid="ignore"):
        return p < alpha
