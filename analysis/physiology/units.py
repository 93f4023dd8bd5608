"""Conversions at the border, and oxygen uptake in litres, per kilogram, and per kilogram to a power."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result

KG_PER_LB = 0.45359237
M_PER_MILE = 1609.344
M_PER_MIN_PER_MPH = 26.8224
KGM_PER_MIN_PER_WATT = 6.118
"""1 W = 6.118 kg·m/min; the metabolic equations round it to 6, so that 10.8 and 11.0 both stand in print."""
ML_KG_MIN_PER_MET = 3.5

_CLOCK = re.compile(r"^\s*(?:(\d{1,2}):)?(\d{1,3}):(\d{1,2}(?:[.,]\d+)?)\s*$")


def m_min_from_mph(speed_mph: float) -> float:
    """Convert miles an hour to metres a minute (1 mph = 26.8224 m/min).

    Parameters
    ----------
    speed_mph : float
        Speed in miles an hour.

    Returns
    -------
    float
        Speed in metres a minute.

    Examples
    --------
    >>> m_min_from_mph(1)
    26.8224
    """
    return speed_mph * M_PER_MIN_PER_MPH


def m_min_from_km_h(speed_kmh: float) -> float:
    """Convert kilometres an hour to metres a minute."""
    return speed_kmh * 1000 / 60


def kgm_min_from_watts(power_w: float) -> float:
    """Convert watts to kilogram-metres a minute."""
    return power_w * KGM_PER_MIN_PER_WATT


def mets_from_vo2(vo2_ml_kg_min: float) -> float:
    """Convert mL/kg/min to metabolic equivalents (1 MET = 3.5 mL/kg/min, by convention).

    Parameters
    ----------
    vo2_ml_kg_min : float
        Oxygen uptake.

    Returns
    -------
    float
        Metabolic equivalents.

    Examples
    --------
    >>> mets_from_vo2(52.5)
    15.0
    """
    return vo2_ml_kg_min / ML_KG_MIN_PER_MET


def minutes_from(time, *, name: str = "time_min") -> tuple[float, str]:
    """Read a time as decimal minutes: a number, "11:42", "1:02:30" or a time of day from a spreadsheet."""
    if isinstance(time, dt.datetime | dt.time):
        time = f"{time.hour}:{time.minute:02d}:{time.second:02d}"
    if isinstance(time, dt.timedelta):
        return time.total_seconds() / 60, ""
    match = _CLOCK.match(str(time))
    if not match:
        try:
            return float(str(time).strip().replace(",", ".")), ""
        except ValueError:
            raise KitError(
                f"{name} is {time!r}: write minutes:seconds such as 11:42, or decimal minutes such as 11.7"
            ) from None
    hours, minutes, seconds = (float((g or "0").replace(",", ".")) for g in match.groups())
    if seconds >= 60 or (match.group(1) and minutes >= 60):
        raise KitError(f"{name} is {time!r}: a minute has 60 seconds; write minutes:seconds such as 11:42")
    if match.group(1) and hours >= 3 and seconds == 0:
        remark = f"read as {hours:.0f} min {minutes:.0f} s: a spreadsheet turns {hours:.0f}:{minutes:02.0f}"
        return hours + minutes / 60, f"{name} {time} was {remark} into a time of day"
    return hours * 60 + minutes + seconds / 60, ""


READ = "read at source"
SECONDARY = "secondary page"
MEMORY = "from memory"
COMPUTED = "computed"
CONVENTION = "common practice, no source"
PROVENANCES = (READ, SECONDARY, MEMORY, COMPUTED, CONVENTION)
"""How far a number was checked: in the paper's abstract or an official page, in a secondary page only, not at all."""


@dataclass(frozen=True)
class Estimate(Result):
    """A number with its unit, error, source and warnings."""

    value: float  # The estimate, never rounded
    # One standard error in the same unit; not-a-number where none was published with the equation
    standard_error: float
    unit: str  # "bpm", "mL/kg/min", "m"
    source: str  # Author, year and journal, with the provenance of the coefficients in brackets
    # "prediction" (the truth scatters around what an equation says), "retest" (the measured value scatters around the truth)
    # or "" where the value carries no error of its own
    error_kind: str = ""
    equation: str = ""  # The name of the equation, as in the table of equations or tests
    population: str = ""  # Who the equation was made from
    provenance: str = ""  # One of PROVENANCES, of the coefficients
    error_provenance: str = ""  # One of PROVENANCES, of the standard error, or "" where there is none
    error_note: str = ""  # Where the standard error is from, in words
    # True where heart rate enters the estimate, so that it must not be set against heart rate
    uses_heart_rate: bool = False
    label: str = ""  # "VO2max", "VO2peak", "HRmax"
    inputs: tuple = ()  # What went in, after conversion of units
    # Outside the population, outside the validity range, and what else a reader must know
    warnings: tuple[str, ...] = ()


def cite(source: str, provenance: str) -> str:
    """Write a source with how far it was read: "Nes 2013 ... (read at source)"."""
    words = {
        READ: "read at source",
        SECONDARY: "read in a secondary page only",
        MEMORY: "coefficients from memory, not confirmed",
        COMPUTED: "computed from the formula",
        CONVENTION: "common practice, no source",
    }[provenance]
    return f"{source} ({words})"


def is_blank(value) -> bool:
    """Tell whether a cell holds nothing: None, an empty text or not-a-number."""
    if value is None:
        return True
    if isinstance(value, str):
        return value.strip() == ""
    try:
        return math.isnan(value)
    except TypeError:
        return False


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
