"""Conversions at the border: times as minutes, pounds, miles, miles an hour, work rates, metabolic equivalents."""

from __future__ import annotations

import datetime as dt
import re

from ..basics import KitError

KG_PER_LB = 0.45359237
M_PER_MILE = 1609.344
M_PER_MIN_PER_MPH = 26.8224
KGM_PER_MIN_PER_WATT = 6.118
"""1 W = 6.118 kg·m/min; the metabolic equations round it to 6, so that 10.8 and 11.0 both stand in print."""
ML_KG_MIN_PER_MET = 3.5

_CLOCK = re.compile(r"^\s*(?:(\d{1,2}):)?(\d{1,3}):(\d{1,2}(?:[.,]\d+)?)\s*$")


def kg_from_lb(mass_lb: float) -> float:
    """Convert pounds to kilograms (1 lb = 0.45359237 kg, by definition).

    Parameters
    ----------
    mass_lb : float
        Mass in pounds.

    Returns
    -------
    float
        Mass in kilograms.

    Examples
    --------
    >>> round(kg_from_lb(175), 3)
    79.379
    """
    return mass_lb * KG_PER_LB


def m_from_miles(distance_mi: float) -> float:
    """Convert statute miles to metres (1 mile = 1609.344 m, by definition).

    Parameters
    ----------
    distance_mi : float
        Distance in miles.

    Returns
    -------
    float
        Distance in metres.

    Examples
    --------
    >>> m_from_miles(1.5)
    2414.016
    """
    return distance_mi * M_PER_MILE


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
    """Convert kilometres an hour to metres a minute.

    Parameters
    ----------
    speed_kmh : float
        Speed in kilometres an hour.

    Returns
    -------
    float
        Speed in metres a minute.

    Examples
    --------
    >>> m_min_from_km_h(12)
    200.0
    """
    return speed_kmh * 1000 / 60


def kgm_min_from_watts(power_w: float, *, factor: float = KGM_PER_MIN_PER_WATT) -> float:
    """Convert watts to kilogram-metres a minute.

    Parameters
    ----------
    power_w : float
        Power in watts.
    factor : float
        6.118 by default; the metabolic equations of the trade round it to 6.

    Returns
    -------
    float
        Work rate in kg·m/min.

    Examples
    --------
    >>> round(kgm_min_from_watts(100), 1)
    611.8
    """
    return power_w * factor


def watts_from_kgm_min(power_kgm_min: float, *, factor: float = KGM_PER_MIN_PER_WATT) -> float:
    """Convert kilogram-metres a minute to watts.

    Parameters
    ----------
    power_kgm_min : float
        Work rate in kg·m/min.
    factor : float
        kg·m/min in one watt.

    Returns
    -------
    float
        Power in watts.

    Examples
    --------
    >>> round(watts_from_kgm_min(611.8), 6)
    100.0
    """
    return power_kgm_min / factor


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
    """Read a time as decimal minutes: a number, "11:42", "1:02:30" or a time of day from a spreadsheet.

    Parameters
    ----------
    time : float, str or datetime.time
        Decimal minutes, or text "minutes:seconds" or "hours:minutes:seconds".
    name : str
        The name of the input, for messages.

    Returns
    -------
    minutes : float
        Decimal minutes; 11:42 is 11.7, not 11.42.
    remark : str
        How it was read where there was a choice, else "".

    Raises
    ------
    KitError
        Where it is neither a number nor minutes:seconds.

    Examples
    --------
    >>> minutes_from("11:42")
    (11.7, '')
    >>> minutes_from("11:42:00")[1]
    'time_min 11:42:00 was read as 11 min 42 s: a spreadsheet turns 11:42 into a time of day'
    """
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
