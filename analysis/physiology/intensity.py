"""Heart rate as intensity: shares of maximum and reserve, published bands with their edition, seconds in each band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice
from .units import MEMORY, READ, Estimate, cite

BAND_NAMES = ("very_light", "light", "moderate", "vigorous", "near_maximal")
REFERENCES = ("percent_hr_max", "percent_hr_reserve", "percent_vo2max")

_STAND_2011 = {
    "percent_hr_max": (57, 64, 77, 96),
    "percent_hr_reserve": (30, 40, 60, 90),
    "percent_vo2max": (37, 46, 64, 91),
    "exertion": (9, 12, 14, 18),
}
_TENTHS = (50, 60, 70, 80, 90)
_EDITIONS = {
    "position_stand_2011": (2011, READ, "American College of Sports Medicine position stand, Garber 2011 Med Sci "
                            "Sports Exerc 43:1334-1359 (authors and pages from memory); the printed table gives 95 and "
                            "over for the highest band as well as 77 to 95 for vigorous: 96 is used"),
    "position_stand_2000": (2000, READ, "American College of Sports Medicine, edition of 2000: moderate 55 to 69, hard "
                            "70 to 89 % of maximum were read; the edge of light at 35 is from memory"),
    "exercise_science_australia_2010": (2010, READ, "Exercise and Sports Science Australia 2010: moderate 55 to 70, "
                                        "vigorous 70 to 90 % of maximum; other edges are from memory (40)"),
    "tenths": (1993, READ, "five bands of 10 % of maximum, as used in the team-sport literature"),
}  # fmt: skip
"""The editions of intensity bands that the kit knows."""


@dataclass(frozen=True)
class BandTimes(Result):
    """Seconds in each intensity band."""

    # band, low, high (half-open [low, high), per cent), seconds, share (of the valid seconds)
    table: pd.DataFrame
    valid_s: float  # Seconds with and without a heart rate. Shares are of the valid ones.
    missing_s: float
    below_s: float  # Seconds below the lowest band (only the bands of tenths have a lowest edge)
    # Seconds above 100 %, counted in the highest band; more than 0 means that the maximum is set too low
    above_100_s: float
    reference: str  # What the per cent are of, and which bands
    edition: str
    source: str
    warnings: tuple[str, ...] = ()


def percent_hr_max(hr_bpm, hr_max_bpm, *, above: str = "error"):
    """Express heart rate as a share of maximal heart rate."""
    hr, top = np.asarray(hr_bpm, dtype=float), np.asarray(hr_max_bpm, dtype=float)
    if np.any(top <= 0):
        raise KitError("hr_max_bpm must be above 0")
    return _share(100 * hr / top, above, "maximal heart rate")


def percent_hr_reserve(hr_bpm, hr_max_bpm, hr_rest_bpm, *, above: str = "error"):
    """Express heart rate as a share of heart-rate reserve: 100 (HR - HRrest) / (HRmax - HRrest), Karvonen 1957."""
    hr, top, rest = (np.asarray(v, dtype=float) for v in (hr_bpm, hr_max_bpm, hr_rest_bpm))
    if np.any(rest <= 0) or np.any(rest >= top):
        raise KitError("hr_rest_bpm must be above 0 and below hr_max_bpm: are the two columns swapped?")
    return _share(100 * (hr - rest) / (top - rest), above, "heart-rate reserve")


def percent_hr_max_error(hr_bpm: float, hr_max_bpm: float, standard_error: float) -> float:
    """Tell how much the error of a maximal heart rate adds to a share of it.

    Parameters
    ----------
    hr_bpm, hr_max_bpm : float
        Heart rate and the (predicted) maximum, bpm.
    standard_error : float
        Of the maximum, bpm.

    Returns
    -------
    float
        Standard error in percentage points of %HRmax.

    Notes
    -----
    First order: 100 · HR · SE / HRmax².

    Examples
    --------
    >>> round(percent_hr_max_error(164, 193, 10.8), 2)
    4.76
    """
    return 100 * hr_bpm * standard_error / hr_max_bpm**2


def percent_hr_reserve_from_vo2max(percent_vo2max: float, *, mode: str = "cycle") -> Estimate:
    """Tell which share of heart-rate reserve goes with a share of VO2max in steady work.

    Parameters
    ----------
    percent_vo2max : float
        Per cent of VO2max.
    mode : str
        "cycle" or "treadmill".

    Returns
    -------
    Estimate
        Per cent of reserve. Not for sparring, where heart rate runs ahead of oxygen uptake.

    References
    ----------
    Swain & Leutholtz 1997, Med Sci Sports Exerc 29:410-414 (63 people); Swain 1998, 30:318-321 (50 people).

    Examples
    --------
    >>> round(percent_hr_reserve_from_vo2max(80).value, 1)
    78.0
    """
    a, b, source, population = {
        "cycle": (-11.6, 1.12, "Swain & Leutholtz 1997 Med Sci Sports Exerc 29:410-414", "63 people, cycle"),
        "treadmill": (-6.1, 1.10, "Swain 1998 Med Sci Sports Exerc 30:318-321", "50 people, treadmill"),
    }[check_choice(mode, ("cycle", "treadmill"), name="mode")]
    return Estimate(
        value=a + b * percent_vo2max, standard_error=float("nan"), unit="%", source=cite(source, READ),
        population=population, provenance=READ, label="share of heart-rate reserve",
        warnings=("Steady work only: in grappling heart rate overstates oxygen uptake.",),
    )  # fmt: skip


def intensity_bands(edition: str = "position_stand_2011") -> pd.DataFrame:
    """List the published intensity bands of one edition, with half-open edges [low, high).

    Parameters
    ----------
    edition : str
        "position_stand_2011" (default), the older "position_stand_2000" and "exercise_science_australia_2010"
        (shares of maximum only), or "tenths".

    Returns
    -------
    pandas.DataFrame
        band, order, the edges percent_hr_max_low/_high, percent_hr_reserve_low/_high, percent_vo2max_low/_high,
        exertion_low/_high (6-20 scale), edition, year, source, provenance. Not-a-number where an edition has none.

    Notes
    -----
    Editions differ much: 75 % of maximal heart rate is moderate in the edition of 2011 and hard in that of 2000.
    Always print edition and year.

    Examples
    --------
    >>> bands = intensity_bands()
    >>> float(bands.loc[bands["band"] == "vigorous", "percent_hr_max_low"].iloc[0])
    77.0
    """
    year, provenance, source = _EDITIONS[check_choice(edition, _EDITIONS, name="edition")]
    names = BAND_NAMES
    if edition == "position_stand_2011":
        edges = _STAND_2011
    elif edition == "position_stand_2000":
        names, edges = (("very_light", "light", "moderate", "hard", "very_hard"), {"percent_hr_max": (35, 55, 70, 90)})
    elif edition == "exercise_science_australia_2010":
        edges = {"percent_hr_max": (40, 55, 70, 90)}
    else:
        names = tuple(f"from_{low}" for low in _TENTHS)
        edges = {"percent_hr_max": _TENTHS[1:]}
    table = pd.DataFrame({"band": names, "order": range(1, 6)})
    for what in (*REFERENCES, "exertion"):
        cuts = edges.get(what)
        lowest = {"exertion": 6.0}.get(what, 50.0 if edition == "tenths" else 0.0)
        table[f"{what}_low"] = [lowest, *map(float, cuts)] if cuts else np.nan
        table[f"{what}_high"] = [*map(float, cuts), np.inf] if cuts else np.nan
    # an edge that was not read is said to be from memory
    partly = edition in ("position_stand_2000", "exercise_science_australia_2010")
    table["provenance"] = [MEMORY if partly and n in ("very_light", "light") else provenance for n in names]
    return table.assign(edition=edition, year=year, source=source)


def seconds_per_band(
    percents,
    seconds=1.0,
    *,
    reference: str = "percent_hr_max",
    edition: str = "position_stand_2011",
    hr_max_source: str = "measured",
) -> BandTimes:
    """Add up the seconds spent in each intensity band.

    Parameters
    ----------
    percents : array
        Per cent of the reference, one per sample; not-a-number where there is no valid heart rate.
    seconds : float or array
        How long each sample lasts.
    reference : str
        "percent_hr_max", "percent_hr_reserve" or "percent_vo2max".
    edition : str
        As in intensity_bands.
    hr_max_source : str
        "measured"; with "predicted" no bands are computed.

    Returns
    -------
    BandTimes
        Seconds and shares of the valid time; missing seconds; seconds below the lowest band and above 100 %.

    Raises
    ------
    KitError
        With a predicted maximum, or where the edition has no such bands.

    Examples
    --------
    >>> seconds_per_band([60, 80, 80, float("nan")], 5).table["seconds"].tolist()
    [0.0, 5.0, 0.0, 10.0, 0.0]
    """
    check_choice(reference, REFERENCES, name="reference")
    if hr_max_source != "measured":
        raise KitError(
            "no intensity bands with a predicted maximal heart rate: its error is as wide as a band. Measure it."
        )
    bands = intensity_bands(edition)
    low, high = bands[f"{reference}_low"].to_numpy(), bands[f"{reference}_high"].to_numpy()
    if np.isnan(low).any():
        raise KitError(f"{edition} gives no bands in {reference}; use percent_hr_max or position_stand_2011")
    values = np.asarray(percents, dtype=float)
    lengths = np.broadcast_to(np.asarray(seconds, dtype=float), values.shape)
    if np.any(lengths < 0) or np.isnan(lengths).any():
        raise KitError("seconds must be 0 or more for every sample")
    valid = ~np.isnan(values)
    floor = -np.inf if low[0] == 0 else low[0]
    inside = [(values >= (floor if i == 0 else low[i])) & (values < high[i]) for i in range(len(low))]
    total = float(lengths[valid].sum())
    table = pd.DataFrame({"band": bands["band"], "low": low, "high": high})
    table["seconds"] = [float(lengths[m].sum()) for m in inside]
    table["share"] = table["seconds"] / total if total > 0 else np.nan
    above = float(lengths[values > 100].sum())
    warnings = ()
    if above > 0:
        warnings = ("Part of the time lies above 100 %: the maximum is set too low and needs updating.",)
    return BandTimes(
        table=table, valid_s=total, missing_s=float(lengths[~valid].sum()),
        below_s=float(lengths[valid & (values < floor)].sum()), above_100_s=above, reference=reference, edition=edition,
        source=str(bands["source"].iloc[0]), warnings=warnings,
    )  # fmt: skip


def _share(percent: np.ndarray, above: str, of: str):
    check_choice(above, ("error", "missing", "keep"), name="above")
    # a maximum typed to the beat may equal a mean of samples: allow for rounding errors of floating point only
    over = percent > 100 + 1e-9
    if above == "error" and np.any(over):
        raise KitError(
            f"{np.nanmax(percent):.1f} % of {of}: more than 100 % cannot be, so the maximum is set too low. Update it "
            "with choose_measured_hr_max, or check the trace for artefacts."
        )
    if above == "missing":
        percent = np.where(over, np.nan, percent)
    return float(percent) if percent.ndim == 0 else percent
