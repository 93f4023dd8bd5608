"""One capacity in several units: litres, per kilogram, per kilogram to a power. One is planned, the others are sensitivity."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from ..basics import KitError

RELATIVE = "mL/kg/min"
ABSOLUTE = "L/min"
PROPOSED_EXPONENT = 0.67
STEP = 5.0
STEP_MASS_KG = 80.0


def exponent_of(unit: str) -> float:
    """Return the exponent of body mass in a unit of capacity."""
    if unit == RELATIVE:
        return 1.0
    if unit == ABSOLUTE:
        return 0.0
    found = re.fullmatch(r"mL/kg\^([0-9]*\.?[0-9]+)/min", str(unit).strip())
    if not found:
        raise KitError(
            f"the unit of capacity is {unit!r}, but must be 'mL/kg/min', 'L/min' or 'mL/kg^b/min' with a number for b, for "
            "example 'mL/kg^0.67/min'."
        )
    return float(found[1])


def to_unit(vo2_ml_kg_min: float, mass_kg: float, unit: str) -> float:
    """Convert mL/kg/min to another unit of capacity.

    Parameters
    ----------
    vo2_ml_kg_min : float
        Capacity, or its error.
    mass_kg : float
        Body mass in kg; not needed for mL/kg/min.
    unit : str
        As for `exponent_of`.

    Returns
    -------
    float

    Examples
    --------
    >>> to_unit(52.5, 80, "L/min"), round(to_unit(52.5, 80, "mL/kg^0.67/min"), 3)
    (4.2, 222.935)
    """
    if unit == RELATIVE:
        return vo2_ml_kg_min
    if unit == ABSOLUTE:
        return vo2_ml_kg_min * mass_kg / 1000
    return vo2_ml_kg_min * mass_kg ** (1 - exponent_of(unit))


def default_step(unit: str) -> float:
    """Return the step of capacity that an effect is stated for: 5 mL/kg/min, or what that is at 80 kg.

    Parameters
    ----------
    unit : str
        As for `exponent_of`; a score of another kind (metres) has no default step and gives not-a-number.

    Returns
    -------
    float

    Examples
    --------
    >>> default_step("mL/kg/min"), default_step("L/min")
    (5.0, 0.4)
    """
    try:
        return to_unit(STEP, STEP_MASS_KG, unit)
    except KitError:
        return float("nan")


def known_scalings(capacity: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Give the table of capacity in each unit that it can be given in, the planned one first.

    Parameters
    ----------
    capacity : DataFrame
        From `measure_capacity`; `vo2_l_min` and `mass_kg` must be known for every athlete for other units.

    Returns
    -------
    dict of str to DataFrame

    Examples
    --------
    >>> table = pd.DataFrame({"athlete": ["A", "B"], "capacity": [50.0, 45.0], "unit": "mL/kg/min",
    ...                       "vo2_l_min": [4.0, 3.15], "mass_kg": [80.0, 70.0]})
    >>> list(known_scalings(table))
    ['mL/kg/min', 'L/min', 'mL/kg^0.67/min']
    """
    own = str(capacity["unit"].iloc[0]) if "unit" in capacity.columns and len(capacity) else ""
    tables = {own: capacity}
    if not {"vo2_l_min", "mass_kg"} <= set(capacity.columns):
        return tables
    known = capacity[capacity["capacity"].notna()]
    if not np.isfinite(known[["vo2_l_min", "mass_kg"]].to_numpy(dtype=float)).all():
        return tables
    for unit in (RELATIVE, ABSOLUTE, f"mL/kg^{PROPOSED_EXPONENT}/min"):
        if unit not in tables:
            value = to_unit(1000 * capacity["vo2_l_min"] / capacity["mass_kg"], capacity["mass_kg"], unit)
            tables[unit] = capacity.assign(capacity=value, unit=unit)
    return tables
