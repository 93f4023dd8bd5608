"""One estimate of the trade: a number with its unit, its error, its source and how far that source was read."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..basics import Result

READ = "read at source"
SECONDARY = "secondary page"
MEMORY = "from memory"
COMPUTED = "computed"
CONVENTION = "common practice, no source"
PROVENANCES = (READ, SECONDARY, MEMORY, COMPUTED, CONVENTION)
"""How far a number was checked: in the paper's abstract or an official page, in a secondary page only, not at all."""


@dataclass(frozen=True)
class Estimate(Result):
    """A number with its unit, error, source and warnings.

    Parameters
    ----------
    value : float
        The estimate, never rounded.
    standard_error : float
        One standard error in the same unit; not-a-number where none was published with the equation.
    unit : str
        "bpm", "mL/kg/min", "m" ...
    source : str
        Author, year and journal, with the provenance of the coefficients in brackets.
    error_kind : str
        "prediction" (the truth scatters around what an equation says), "retest" (the measured value scatters
        around the truth) or "" where the value carries no error of its own.
    equation : str
        The name of the equation, as in the table of equations or tests.
    population : str
        Who the equation was made from.
    provenance : str
        One of PROVENANCES, of the coefficients.
    error_provenance : str
        One of PROVENANCES, of the standard error, or "" where there is none.
    error_note : str
        Where the standard error is from, in words.
    uses_heart_rate : bool
        True where heart rate enters the estimate, so that it must not be set against heart rate.
    label : str
        "VO2max", "VO2peak", "HRmax" ...
    inputs : tuple of (str, object)
        What went in, after conversion of units.
    warnings : tuple of str
        Outside the population, outside the validity range, and what else a reader must know.
    """

    value: float
    standard_error: float
    unit: str
    source: str
    error_kind: str = ""
    equation: str = ""
    population: str = ""
    provenance: str = ""
    error_provenance: str = ""
    error_note: str = ""
    uses_heart_rate: bool = False
    label: str = ""
    inputs: tuple = ()
    warnings: tuple[str, ...] = ()


def cite(source: str, provenance: str) -> str:
    """Write a source with how far it was read: "Nes 2013 ... (read at source)".

    Parameters
    ----------
    source : str
        Author, year, journal.
    provenance : str
        One of PROVENANCES.

    Returns
    -------
    str

    Examples
    --------
    >>> cite("Gulati 2010 Circulation 122:130-137", MEMORY)
    'Gulati 2010 Circulation 122:130-137 (coefficients from memory, not confirmed)'
    """
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
