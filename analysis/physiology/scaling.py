"""Oxygen uptake in litres, per kilogram, and per kilogram to a power: pre-specify one, show the others beside it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError
from .units import COMPUTED, MEMORY, READ

PROPOSED_EXPONENT = 0.67
"""The exponent of the first sensitivity analysis beside L/min and mL/kg/min (geometry)."""


def scale_vo2(vo2_l_min, mass_kg, *, exponent: float):
    """Scale an oxygen uptake by body mass to a power.

    Parameters
    ----------
    vo2_l_min : float or array
        Oxygen uptake in L/min, positive.
    mass_kg : float or array
        Body mass in kg, positive.
    exponent : float
        0 gives mL/min, 1 gives mL/kg/min, 0.67 and 0.75 are the exponents in general use.

    Returns
    -------
    float or array
        mL/kg^exponent/min.

    Notes
    -----
    1000 · V / m^b. In a club of mixed mass the choice changes who counts as fitter: fix one before the data.

    Examples
    --------
    >>> round(scale_vo2(4.2, 80, exponent=0.67), 3)
    222.935
    """
    vo2, mass = np.asarray(vo2_l_min, dtype=float), np.asarray(mass_kg, dtype=float)
    if np.any(vo2 <= 0) or np.any(mass <= 0):
        raise KitError("oxygen uptake (L/min) and mass (kg) must both be above 0 to be scaled")
    if np.any(vo2 > 15):
        raise KitError("an oxygen uptake above 15 L/min is no one's: is it in mL/min or mL/kg/min?")
    scaled = 1000 * vo2 / mass**exponent
    return float(scaled) if scaled.ndim == 0 else scaled


def vo2_l_min(vo2_ml_kg_min, mass_kg):
    """Convert mL/kg/min to L/min.

    Parameters
    ----------
    vo2_ml_kg_min : float or array
        Oxygen uptake per kilogram.
    mass_kg : float or array
        Body mass in kg.

    Returns
    -------
    float or array
        L/min.

    Examples
    --------
    >>> vo2_l_min(52.5, 80)
    4.2
    """
    return vo2_ml_kg_min * mass_kg / 1000


def vo2_ml_kg_min(vo2_l_min, mass_kg):
    """Convert L/min to mL/kg/min.

    Parameters
    ----------
    vo2_l_min : float or array
        Oxygen uptake in L/min.
    mass_kg : float or array
        Body mass in kg.

    Returns
    -------
    float or array
        mL/kg/min.

    Examples
    --------
    >>> vo2_ml_kg_min(4.2, 80)
    52.5
    """
    return 1000 * vo2_l_min / mass_kg


def scaling_exponents() -> pd.DataFrame:
    """List the published exponents of body mass, with how far each source was read.

    Returns
    -------
    pandas.DataFrame
        exponent, meaning, population, source, provenance.

    Examples
    --------
    >>> list(scaling_exponents()["exponent"])
    [0.0, 1.0, 0.67, 0.75, 0.65, 0.94, 0.7]
    """
    rows = [
        (0.0, "no scaling, L/min", "", "", COMPUTED),
        (1.0, "ratio, mL/kg/min; leaves heavy people low", "", "Lee & Zhang 2021: r = -0.42 with mass", READ),
        (0.67, "geometry", "", "dimensional theory", COMPUTED),
        (0.75, "widely used", "", "Bergh 1991", MEMORY),
        (0.65, "fitted, 95 % 0.59 to 0.71; 1.00 in the full model with intercept", "1314 men",
         "Batterham 1999 J Appl Physiol 87:1317", READ),
        (0.94, "fitted", "elite athletes", "Nevill 2003", READ),
        (0.70, "pooled over studies (about 0.90 for fat-free mass)", "over 6500 people",
         "Lolli 2017: meta-analysis; its existence was read, its values not", MEMORY),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["exponent", "meaning", "population", "source", "provenance"])
