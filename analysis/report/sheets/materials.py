"""What to pack, with spares: counted from athletes, rounds and samples."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_percent


def list_materials(
    n_athletes: int,
    rounds: int,
    *,
    n_sampled: int = 0,
    n_mats: int = 1,
    analysers: int = 1,
    spare: float = 0.25,
) -> pd.DataFrame:
    """List what the evening needs.

    Parameters
    ----------
    n_athletes : int
        Athletes with a strap.
    rounds : int
    n_sampled : int
        Athletes who give blood after every round (0: none, and nothing for blood is listed).
    n_mats : int
    analysers : int
    spare : float
        Share of everything used up that is packed on top. Default 0.25.

    Returns
    -------
    DataFrame
        item, needed, spare (whole pieces), why.

    Notes
    -----
    Spares and duplicates (one sample in ten read twice) are our proposal.

    Examples
    --------
    >>> list_materials(12, 4).loc[0, ["needed", "spare"]].tolist()
    [12, 3]
    """

    def extra(count, least=1):
        return max(least, math.ceil(spare * count))

    rows = [
        ("Chest strap or watch, numbered, charged", n_athletes, extra(n_athletes, 2), "one each"),
        ("Batteries for straps", extra(n_athletes, 2), 2, "some are always flat"),
        ("Stopwatch or wall clock that all can see", 1, 1, "one clock for everything"),
        ("Phone or laptop set to the same clock", 1, 0, "note the difference to each device"),
        ("Scales", 1, 0, "roll call"),
        ("Thermometer and hygrometer", 1, 0, "conditions of the evening"),
        ("Water and paper towels for the straps", 1, 1, "wet straps lose contact less"),
        ("Pens, clipboards", n_mats + 3, 2, "one for each sheet holder"),
        ("First-aid kit, ice, telephone", 1, 0, "emergency number on the safety sheet"),
        ("Defibrillator: where it is, checked today", 1, 0, "in the hall"),
        ("Drinking water", n_athletes, extra(n_athletes), "0.5 to 1 litre each"),
        ("Mat disinfectant and cloths", 1, 1, "before, and after any bleeding"),
    ]
    if n_sampled:
        samples = n_sampled * rounds
        twice = math.ceil(samples / 10)
        rows += [
            ("Lactate strips, one lot", samples + twice, extra(samples + twice, 5),
             f"{n_sampled} × {rounds}, and {format_percent(0.1)} read twice"),
            ("Single-use lancets that lock themselves", samples, extra(samples, 5), "a new one for every puncture"),
            ("Pairs of gloves", samples, extra(samples, 5), "new for every person"),
            ("Alcohol wipes", 2 * samples, extra(2 * samples, 10), "skin and sweat"),
            ("Dry swabs", 2 * samples, extra(2 * samples, 10), "first drop, pressure"),
            ("Plasters or tape that hold in a grip", samples, extra(samples, 10), "before gripping again"),
            ("Sharps box", 1, 1, "within reach of the sampler"),
            ("Control solution for the analyser", analysers, 0, "before the first sample"),
            ("Lactate analyser", analysers, 0, "the same one all study"),
        ]  # fmt: skip
    return pd.DataFrame(rows, columns=["item", "needed", "spare", "why"])
