"""Blood lactate: units, plausible values, whole blood against plasma. Individual values are never converted."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError, check_choice
from .units import READ, Estimate, cite

MG_DL_PER_MMOL_L = 9.008
"""From the molar mass of lactic acid, 90.08 g/mol (the lactate ion, 89.07, would give 8.907)."""
HIGHEST_PUBLISHED_MMOL_L = 20.7
"""Highest single value read in combat sports: mixed martial arts, Amtmann 2008 J Strength Cond Res 22:645 (read at source)."""


def lactate_to_mg_dl(lactate_mmol_l):
    """Convert lactate from mmol/L to mg/dL (lactic acid, 90.08 g/mol).

    Parameters
    ----------
    lactate_mmol_l : float or array
        Concentration in mmol/L.

    Returns
    -------
    float or array
        mg/dL.

    Examples
    --------
    >>> round(lactate_to_mg_dl(10), 2)
    90.08
    """
    return lactate_mmol_l * MG_DL_PER_MMOL_L


def lactate_from_mg_dl(lactate_mg_dl):
    """Convert lactate from mg/dL to mmol/L (lactic acid, 90.08 g/mol).

    Parameters
    ----------
    lactate_mg_dl : float or array
        Concentration in mg/dL.

    Returns
    -------
    float or array
        mmol/L.

    Examples
    --------
    >>> round(lactate_from_mg_dl(90.08), 6)
    10.0
    """
    return lactate_mg_dl / MG_DL_PER_MMOL_L


def whole_blood_from_plasma(plasma_mmol_l: float) -> Estimate:
    """Tell what a whole-blood analyser reads on average where plasma holds a given lactate.

    Parameters
    ----------
    plasma_mmol_l : float
        Lactate in plasma, mmol/L.

    Returns
    -------
    Estimate
        mmol/L in whole blood, for comparing group means of two studies only.

    References
    ----------
    Goodwin 2007, J Diabetes Sci Technol 1:558-569.

    Examples
    --------
    >>> round(whole_blood_from_plasma(14.0).value, 1)
    9.8
    """
    return Estimate(
        value=0.70 * plasma_mmol_l, standard_error=float("nan"), unit="mmol/L",
        source=cite("Goodwin 2007 J Diabetes Sci Technol 1:558-569", READ), provenance=READ,
        label="lactate, whole blood", warnings=("An average over people: do not convert individual values with it.",),
    )  # fmt: skip


EXERTION_SCALES = {"6-20": (6.0, 20.0), "0-10": (0.0, 11.0), "0-100": (0.0, 120.0)}
"""Scale -> lowest and highest value that may be typed: the 0-10 and 0-100 scales have room above their last mark."""
NO_CONVERSION = (
    "There is no agreed conversion between exertion scales: the 6-20 scale grows in line with heart rate in steady "
    "work, the 0-10 scale faster at the top. Compare ranks or standardised values, or use the scale of the original."
)


def check_exertion(values, scale: str) -> pd.DataFrame:
    """List the ratings that the stated scale does not allow."""
    # The highest values of the 0-10 (11) and 0-100 (120) scales are from memory.
    low, high = EXERTION_SCALES[check_choice(scale, EXERTION_SCALES, name="scale")]
    rows = []
    for position, value in enumerate(np.asarray(list(values), dtype=float)):
        if np.isnan(value):
            continue
        if not low <= value <= high:
            rows.append((position, value, f"outside the {scale} scale", _likely_cause(value, scale)))
        elif scale == "6-20" and value % 1:
            rows.append((position, value, "not a whole number", "check the sheet; the form has no value between"))
    return pd.DataFrame(rows, columns=["position", "value", "problem", "remedy"])


def require_one_scale(values, scale: str) -> None:
    """Stop where a column of ratings mixes two scales."""
    outside = check_exertion(values, scale)
    outside = outside[outside["problem"].str.startswith("outside")]
    if len(outside):
        seen = ", ".join(f"{v:g}" for v in outside["value"].unique()[:6])
        raise KitError(f"exertion holds {seen}, which the {scale} scale does not have. {NO_CONVERSION}")


def _likely_cause(value: float, scale: str) -> str:
    if scale == "6-20" and 0 <= value < 6:
        return "a rating below 6 is from another scale: was it the 0-10 form?"
    if scale == "0-10" and 11 < value <= 20:
        return "a rating of 12 to 20 is from another scale: was it the 6-20 form?"
    if value > 20 and scale != "0-100":
        return "was it the 0-100 form, or are two digits missing a comma?"
    return "check the sheet"
