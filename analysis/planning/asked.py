"""What one question gave in every simulated study."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Asked:
    """What one question gave in every study."""

    question: str
    part: str
    found: np.ndarray
    usable: np.ndarray
    estimate: np.ndarray | None = None
    half_width: np.ndarray | None = None
    truth: float = float("nan")
    mistaken: np.ndarray | None = None


def below(p, alpha) -> np.ndarray:
    """Tell where p lies below alpha; a missing p does not."""
    with np.errstate(invalid="ignore"):
        return p < alpha
