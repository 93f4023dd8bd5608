"""Load from minutes: bands already added up, ventilatory thresholds, and the rating of a whole session."""

from __future__ import annotations

from ..basics import KitError
from .estimates import READ, cite
from .exertion import require_one_scale
from .load import TrainingImpulse


def edwards_from_minutes(minutes_per_band) -> TrainingImpulse:
    """Sum minutes times 1 to 5 from the minutes in the five tenths of maximum.

    Parameters
    ----------
    minutes_per_band : sequence of five float
        Minutes at 50-60, 60-70, 70-80, 80-90 and 90-100 % of maximal heart rate.

    Returns
    -------
    TrainingImpulse

    Examples
    --------
    >>> edwards_from_minutes([2, 3, 5, 12, 8]).value
    111.0
    """
    return _weighted_minutes(minutes_per_band, (1, 2, 3, 4, 5), "Edwards 1993, as cited in the literature")


def lucia_impulse(minutes_below: float, minutes_between: float, minutes_above: float) -> TrainingImpulse:
    """Sum minutes times 1, 2, 3 below, between and above the two ventilatory thresholds.

    Parameters
    ----------
    minutes_below, minutes_between, minutes_above : float
        Minutes below the first, between the two, and above the second threshold.

    Returns
    -------
    TrainingImpulse

    References
    ----------
    Lucía 2003.

    Examples
    --------
    >>> lucia_impulse(10, 12, 8).value
    58.0
    """
    return _weighted_minutes((minutes_below, minutes_between, minutes_above), (1, 2, 3), "Lucía 2003")


def session_rating_load(rating: float, minutes: float, *, scale: str = "0-10") -> TrainingImpulse:
    """Multiply the rating of a whole session by its minutes.

    Parameters
    ----------
    rating : float
        Rating of the session, about 30 min after it.
    minutes : float
        Length of the session; say whether rests are in it.
    scale : str
        "0-10" is the published one. Another scale gives a load that cannot be compared with it.

    Returns
    -------
    TrainingImpulse

    References
    ----------
    Foster 2001, J Strength Cond Res 15:109-115; Arney 2019, Int J Sports Physiol Perform 14:994.

    Examples
    --------
    >>> session_rating_load(7, 60).value
    420.0
    """
    require_one_scale([rating], scale)
    if not minutes >= 0:
        raise KitError("minutes must be 0 or more")
    warnings = ()
    if scale != "0-10":
        warnings = (
            f"From the {scale} scale: not comparable with loads from the 0-10 scale, and not converted.",
        )
    return TrainingImpulse(
        value=float(rating * minutes),
        unit="AU",
        method="session rating times minutes",
        constants=f"{scale} scale",
        source=cite("Foster 2001 J Strength Cond Res 15:109-115", READ),
        provenance=READ,
        valid_s=60.0 * minutes,
        missing_s=0.0,
        warnings=warnings,
    )


def _weighted_minutes(minutes, weights, source) -> TrainingImpulse:
    minutes = [float(m) for m in minutes]
    if len(minutes) != len(weights) or not all(m >= 0 for m in minutes):
        raise KitError(f"needs {len(weights)} numbers of minutes, each 0 or more")
    return TrainingImpulse(
        value=float(sum(m * w for m, w in zip(minutes, weights, strict=True))),
        unit="AU",
        method="minutes per band times its weight",
        constants=", ".join(map(str, weights)),
        source=cite(source, READ),
        provenance=READ,
        valid_s=60 * sum(minutes),
        missing_s=0.0,
    )
