"""Training impulses and session ratings: one number for how hard and how long, each with its constants named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basics import KitError, Result, check_choice
from .lactate import require_one_scale
from .units import MEMORY, READ, cite

BANISTER = {"M": (0.64, 1.92), "F": (0.86, 1.67)}
"""Sex -> factor and exponent. Men's read at source; women's from memory: one secondary table prints 0.64 and 1.62."""
STAGNO = (0.1225, 3.9434)
_BANISTER_SOURCE = "Banister; Morton 1990 J Appl Physiol 69:1171-1177"


@dataclass(frozen=True)
class TrainingImpulse(Result):
    """A training impulse in arbitrary units."""

    value: float  # Arbitrary units; comparable only with the same method and constants
    unit: str  # "AU"
    method: str  # The formula, in words, and whether it was summed over samples
    constants: str  # The constants and the sex they are for
    source: str  # Where the constants are from, and how far that was read
    provenance: str
    valid_s: float  # Seconds used, and seconds without a valid heart rate (they add nothing)
    missing_s: float
    warnings: tuple[str, ...] = ()


def banister_impulse(hr_bpm, seconds, *, hr_max_bpm: float, hr_rest_bpm: float, sex: str) -> TrainingImpulse:
    """Sum the exponentially weighted heart-rate reserve over samples.

    Parameters
    ----------
    hr_bpm : float or array
        Heart rate of each sample; not-a-number where there is none. One mean value is allowed but underestimates
        intermittent work, since the weight is convex.
    seconds : float or array
        How long each sample lasts.
    hr_max_bpm, hr_rest_bpm : float
        Maximal and resting heart rate, bpm.
    sex : str
        "M" (0.64, 1.92) or "F" (0.86, 1.67).

    Returns
    -------
    TrainingImpulse

    Notes
    -----
    Σ minutes · x · a · exp(b x), x the share of heart-rate reserve; below rest x counts as 0.

    References
    ----------
    Morton, Fitz-Clarke & Banister 1990, J Appl Physiol 69:1171-1177.

    Examples
    --------
    >>> round(banister_impulse(164, 1800, hr_max_bpm=193, hr_rest_bpm=55, sex="M").value, 2)
    69.1
    """
    sex = check_choice(str(sex).strip().upper(), BANISTER, name="sex")
    factor, exponent = BANISTER[sex]
    x, minutes, missing = _reserve(hr_bpm, seconds, hr_max_bpm, hr_rest_bpm)
    return _impulse(
        minutes * x * factor * np.exp(exponent * x), minutes, missing,
        method=_by_samples(x, "minutes · x · a · exp(b x), x the share of heart-rate reserve"),
        constants=f"a = {factor}, b = {exponent} ({'men' if sex == 'M' else 'women'})", source=_BANISTER_SOURCE,
        provenance=READ if sex == "M" else MEMORY,
    )  # fmt: skip


def stagno_impulse(hr_bpm, seconds, *, hr_max_bpm: float, hr_rest_bpm: float) -> TrainingImpulse:
    """Sum the team-sport weight 0.1225 exp(3.9434 x) over samples.

    Parameters
    ----------
    hr_bpm, seconds, hr_max_bpm, hr_rest_bpm
        As in banister_impulse.

    Returns
    -------
    TrainingImpulse

    References
    ----------
    Stagno 2007, J Sports Sci 25:629-634.

    Examples
    --------
    >>> round(stagno_impulse(164, 1800, hr_max_bpm=193, hr_rest_bpm=55).value, 2)
    82.79
    """
    x, minutes, missing = _reserve(hr_bpm, seconds, hr_max_bpm, hr_rest_bpm)
    return _impulse(
        minutes * STAGNO[0] * np.exp(STAGNO[1] * x), minutes, missing,
        method=_by_samples(x, "minutes · 0.1225 · exp(3.9434 x), x the share of heart-rate reserve"),
        constants="0.1225, 3.9434 (team-sport men)", source="Stagno 2007 J Sports Sci 25:629-634", provenance=READ,
    )  # fmt: skip


def edwards_impulse(hr_bpm, seconds, *, hr_max_bpm: float) -> TrainingImpulse:
    """Sum minutes times 1 to 5 over the five tenths of maximal heart rate from 50 %.

    Parameters
    ----------
    hr_bpm, seconds : float or array
        Heart rate of each sample and how long it lasts.
    hr_max_bpm : float
        Maximal heart rate, bpm.

    Returns
    -------
    TrainingImpulse

    Notes
    -----
    Half-open [50, 60) ... [90, 100]; below 50 % counts 0.

    References
    ----------
    Edwards 1993.

    Examples
    --------
    >>> edwards_impulse([110, 190], 60, hr_max_bpm=200).value
    6.0
    """
    from .intensity import percent_hr_max

    hr, minutes, missing = _samples(hr_bpm, seconds)
    percent = np.atleast_1d(percent_hr_max(hr, hr_max_bpm))
    weight = np.clip(np.floor(percent / 10) - 4, 0, 5)
    return _impulse(
        minutes * weight,
        minutes,
        missing,
        method=_by_samples(hr, "minutes times 1 to 5 for 50-60 to 90-100 % of maximum, half-open; 0 below 50 %"),
        constants="1, 2, 3, 4, 5",
        source="Edwards 1993, as cited in the literature",
        provenance=READ,
    )


def _samples(values, seconds):
    hr = np.atleast_1d(np.asarray(values, dtype=float))
    lengths = np.broadcast_to(np.asarray(seconds, dtype=float), hr.shape)
    if np.any(~(lengths >= 0)):
        raise KitError("seconds must be 0 or more for every sample")
    valid = ~np.isnan(hr)
    return hr[valid], lengths[valid] / 60, float(lengths[~valid].sum())


def _reserve(hr_bpm, seconds, hr_max_bpm, hr_rest_bpm):
    from .intensity import percent_hr_reserve

    hr, minutes, missing = _samples(hr_bpm, seconds)
    share = np.atleast_1d(percent_hr_reserve(hr, hr_max_bpm, hr_rest_bpm)) / 100
    return np.clip(share, 0, None), minutes, missing


def _by_samples(values: np.ndarray, formula: str) -> str:
    return f"{formula}; {'summed over samples' if len(values) > 1 else 'from one mean value'}"


def _impulse(terms, minutes, missing_s, *, method, constants, source, provenance) -> TrainingImpulse:
    warnings = []
    if len(minutes) == 1:
        warnings.append("From one mean heart rate: intermittent work is underestimated; sum over samples instead.")
    if missing_s > 0:
        warnings.append("Seconds without heart rate add nothing: compare only where the valid time is alike.")
    return TrainingImpulse(
        value=float(np.sum(terms)) if len(minutes) else float("nan"), unit="AU", method=method, constants=constants,
        source=cite(source, provenance), provenance=provenance, valid_s=float(60 * np.sum(minutes)),
        missing_s=missing_s, warnings=tuple(warnings),
    )  # fmt: skip


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
        warnings = (f"From the {scale} scale: not comparable with loads from the 0-10 scale, and not converted.",)
    return TrainingImpulse(
        value=float(rating * minutes), unit="AU", method="session rating times minutes", constants=f"{scale} scale",
        source=cite("Foster 2001 J Strength Cond Res 15:109-115", READ), provenance=READ, valid_s=60.0 * minutes,
        missing_s=0.0, warnings=warnings,
    )  # fmt: skip


def _weighted_minutes(minutes, weights, source) -> TrainingImpulse:
    minutes = [float(m) for m in minutes]
    if len(minutes) != len(weights) or not all(m >= 0 for m in minutes):
        raise KitError(f"needs {len(weights)} numbers of minutes, each 0 or more")
    return TrainingImpulse(
        value=float(sum(m * w for m, w in zip(minutes, weights, strict=True))), unit="AU",
        method="minutes per band times its weight", constants=", ".join(map(str, weights)), source=cite(source, READ),
        provenance=READ, valid_s=60 * sum(minutes), missing_s=0.0,
    )  # fmt: skip
