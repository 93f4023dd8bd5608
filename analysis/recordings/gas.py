"""`read_gas_exchange`: a table of breaths or averages from a metabolic cart, in one set of units."""

from __future__ import annotations

from pathlib import Path

import pandas as pd


def read_gas_exchange(path: str | Path) -> pd.DataFrame:
    """Read gas exchange: elapsed_s, vo2_ml_min, vco2_ml_min, and where present ve_l_min, rer, hr_bpm, ...

    The units found in the header are converted (L/min to mL/min); `.attrs["remarks"]` says what was assumed.
    """
    raise NotImplementedError
