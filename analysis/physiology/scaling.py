"""Oxygen uptake in litres, per kilogram, and per kilogram to a power: pre-specify one, show the others beside it."""

from __future__ import annotations

import numpy as np

from ..basics import KitError

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
    """Convert mL/kg/min to L/min."""
    return vo2_ml_kg_min * mass_kg / 1000


def vo2_ml_kg_min(vo2_l_min, mass_kg):
    """Convert L/min to mL/kg/min."""
    return 1000 * vo2_l_min / mass_kg
