"""Interval protocols as published, the heart rate to aim at, and how many minutes of a session can lie in that band.

A catalogue with sources, never a prescription. Tables stand in data/*.csv beside this module.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from ..basics import KitError, Result, check_choice, check_number
from .published_values import _read

TIME_CONSTANT_S = 40.0
"""Time constant of heart rate at the start of hard work (our proposal; 30 to 60 s are shown beside it)."""
FROM_PERCENT = 70.0
SETTLES_PERCENT = (93.0, 95.0)
"""Where heart rate of a repetition would settle: between these shares of the maximum [computed from]."""
SHORT_WORK_S = 120.0
"""Below about two minutes of work, heart rate is no target: it has not arrived."""


def training_protocols() -> pd.DataFrame:
    """List the interval protocols with source and mark.

    Returns
    -------
    pandas.DataFrame
        protocol (its name in study.toml), title, kind, work_s, rest_s, repetitions, sets, set_rest_s, intensity_low and
        intensity_high (per cent of intensity_of), rest_intensity, sessions_per_week, weeks, guide (what steers it: "heart rate",
        "speed", "watts" or "exertion"), source, provenance, note.

    Notes
    -----
    A published protocol is what somebody did, not what your athletes should do: the coach, the doctor and the committee decide.

    Examples
    --------
    >>> table = training_protocols().set_index("protocol")
    >>> float(table.loc["four_by_four", "work_s"]), table.loc["four_by_four", "guide"]
    (240.0, 'heart rate')
    """
    return _read("training_protocols.csv").copy()


def training_values() -> pd.DataFrame:
    """List published gains of interval training, with the percentage as printed and as computed from the means."""
    table = _read("training_values.csv").copy()
    table["percent"] = 100 * (table["after"] / table["before"] - 1)
    table["disagrees"] = ((table["percent"] - table["printed_percent"]).abs() > 0.1).fillna(False)
    return table


@dataclass(frozen=True)
class TargetBand(Result):
    """The heart rate to aim at, or why none is printed."""

    low_bpm: float  # The band; not-a-number where none is printed
    high_bpm: float
    guide: str  # What steers the session: "heart rate", "speed", "watts" or "exertion"
    why_none: str = ""  # Why no band is printed; "" where one is


def target_band(protocol: str, *, hr_max_bpm=None, hr_max_source: str = "") -> TargetBand:
    """Give the band in bpm of a protocol for one athlete, from a measured maximum only.

    Parameters
    ----------
    protocol : str
        A name of `training_protocols()`.
    hr_max_bpm : float, optional
        Maximal heart rate of the athlete.
    hr_max_source : str
        "measured" or "predicted".

    Returns
    -------
    TargetBand

    Notes
    -----
    A predicted maximum misses the athlete's own by about 11 bpm (one SD); `predicted_band_error` says what that does to the band.

    Examples
    --------
    >>> band = target_band("four_by_four", hr_max_bpm=190, hr_max_source="measured")
    >>> band.low_bpm, band.high_bpm
    (171.0, 180.5)
    >>> target_band("four_by_four", hr_max_bpm=195, hr_max_source="predicted").guide
    'exertion'
    """
    table = training_protocols().set_index("protocol")
    line = table.loc[check_choice(protocol, list(table.index), name="protocol")]
    nothing = float("nan")
    if not line["work_s"] >= SHORT_WORK_S:
        return TargetBand(
            nothing,
            nothing,
            str(line["guide"]),
            "The work ends before heart rate has arrived: repetitions, speed or watts, and the rating guide.",
        )
    if line["intensity_of"] != "hr_max":
        return TargetBand(nothing, nothing, str(line["guide"]), "This protocol is guided by effort.")
    if hr_max_source != "measured" or hr_max_bpm is None or hr_max_bpm != hr_max_bpm:
        return TargetBand(
            nothing,
            nothing,
            "exertion",
            "No measured maximal heart rate: a predicted one puts the band wrong for most athletes, so exertion guides.",
        )
    top = check_number(hr_max_bpm, name="hr_max_bpm", low=100, high=250)
    low, high = (top * float(line[f"intensity_{end}"]) / 100 for end in ("low", "high"))
    return TargetBand(low, high, "heart rate")


@dataclass(frozen=True)
class BandError(Result):
    """What a predicted maximum does to a band of heart rate, in shares of people."""

    middle_bpm: float  # The middle of the band by the prediction
    inside: float  # Share of people for whom that middle lies in, below or above their own band
    too_low: float
    too_high: float
    above_maximum: float  # Share for whom the upper end by the prediction exceeds the true maximum


def predicted_band_error(*, predicted_bpm: float, standard_error_bpm: float) -> BandError:
    """Compute how often a band of 90 to 95 % of a predicted maximum misses the athlete's own."""
    from scipy.stats import norm

    low, high = 90.0, 95.0
    middle_bpm = predicted_bpm * (low + high) / 200

    def below(value):
        return float(norm.cdf((value - predicted_bpm) / standard_error_bpm))

    own_low, own_high = 100 * middle_bpm / high, 100 * middle_bpm / low
    return BandError(
        middle_bpm=float(middle_bpm), inside=below(own_high) - below(own_low), too_low=1 - below(own_high),
        too_high=below(own_low), above_maximum=below(predicted_bpm * high / 100),
    )  # fmt: skip


def attainable_minutes(protocol: str, *, time_constant_s: float = TIME_CONSTANT_S) -> tuple[float, float]:
    """Compute the minutes that a perfect session of long intervals shows in its target band.

    Parameters
    ----------
    protocol : str
        A name of `training_protocols()` that heart rate guides.
    time_constant_s : float
        Of the rise of heart rate. Default 40.

    Returns
    -------
    (float, float)
        Minutes in the band, from the lower to the higher level at which heart rate would settle.

    Notes
    -----
    Heart rate rises from 70 % towards 93 to 95 % of the maximum as 1 - exp(-t / time constant). It passes the lower end of the
    band only after about a minute, so minutes in target stand beside these minutes, never beside the minutes of work.

    Examples
    --------
    >>> [round(minutes, 1) for minutes in attainable_minutes("four_by_four")]
    [10.6, 11.7]
    """
    table = training_protocols().set_index("protocol")
    line = table.loc[check_choice(protocol, list(table.index), name="protocol")]
    if line["guide"] != "heart rate":
        raise KitError(f"{protocol} is guided by {line['guide']}, not by heart rate: minutes in target say nothing.")
    check_number(time_constant_s, name="time_constant_s", low=0)
    times = [seconds_to_target(settles, line["intensity_low"], time_constant_s) for settles in SETTLES_PERCENT]
    count = line["repetitions"] * line["sets"]
    low, high = (count * max(line["work_s"] - t, 0.0) / 60 for t in times)
    return float(low), float(high)


def seconds_to_target(settles: float, target: float, time_constant_s: float, start: float = FROM_PERCENT) -> float:
    """Seconds until a rising heart rate passes a target, all in per cent of the maximum."""
    return time_constant_s * math.log((settles - start) / (settles - target))
