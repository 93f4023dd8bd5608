"""`flag_artefacts`: mark the samples that cannot be a heart rate of grappling; delete nothing."""

from __future__ import annotations

import pandas as pd


def flag_artefacts(samples: pd.DataFrame, *, hr_max_bpm: float | None = None, rules=None) -> pd.DataFrame:
    """Return the samples with a `flag` column: "" where good, else the plain name of the artefact."""
    raise NotImplementedError
