"""What combat-sport studies published: priors for planning, an example for comparing; reliability; norms.

Values stand in data/*.csv beside this module, each with how far its source was read.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pandas as pd

from ..basics import KitError
from .units import READ, Estimate, cite

_DATA = Path(__file__).parent / "data"
PUBLISHED_COLUMNS = (
    "finding", "outcome", "round_no", "statistic", "value", "spread", "spread_kind", "ci_low", "ci_high", "p", "p_is_bound",
    "n_athletes", "n_observations", "sport", "sex", "work_s", "rest_s", "sample_site", "sample_delay_s", "clothing", "source",
)  # fmt: skip
"""The columns of a table of published findings."""
_EXAMPLE_OUTCOMES = (
    "hr_mean_bpm", "hr_peak_bpm", "percent_hr_max", "lactate_mmol_l", "exertion", "vo2max_ml_kg_min",
)  # fmt: skip
_WHOLE = ("round_no", "n_athletes", "n_observations", "work_s", "rest_s", "sample_delay_s")


@cache
def _read(name: str) -> pd.DataFrame:
    table = pd.read_csv(_DATA / name, encoding="utf-8")
    return table.apply(lambda column: column if column.dtype.kind in "fi" else column.fillna("").astype("str"))


def published_combat_values() -> pd.DataFrame:
    """List published values of heart rate, lactate, exertion and VO2max in combat sports.

    Returns
    -------
    pandas.DataFrame
        study (a number for rows of one study), the columns of published.csv, spread_sd (the spread as an SD: standard
        errors of the mean are multiplied by √n), provenance, note.

    Notes
    -----
    Statistics are "mean", "r", "minimum", "maximum", "lower bound" or "r, lower bound" (the paper says "above"). Where
    a paper gave a standard error of the mean, spread_kind says "sem": read as an SD, it would make sixteen athletes
    look four times as alike.

    Examples
    --------
    >>> values = published_combat_values()
    >>> row = values[values["spread_kind"].eq("sem") & values["sport"].eq("judo")].iloc[0]
    >>> float(row["spread"]), round(float(row["spread_sd"]), 1)
    (1.8, 7.2)
    """
    table = _read("combat_values.csv").copy()
    table["spread_sd"] = [
        sd_from_sem(r.spread, int(r.n_athletes)) if r.spread_kind == "sem" else r.spread for r in table.itertuples()
    ]
    return table


def published_example() -> pd.DataFrame:
    """Give published values in the form of published.csv, only those read at the source, to copy from.

    Returns
    -------
    pandas.DataFrame
        The columns PUBLISHED_COLUMNS; means and correlations of heart rate, lactate, exertion and VO2max.

    Examples
    --------
    >>> list(published_example().columns) == list(PUBLISHED_COLUMNS)
    True
    """
    table = _read("combat_values.csv")
    kept = table[
        table["provenance"].eq(READ) & table["statistic"].isin(["mean", "r"]) & table["outcome"].isin(_EXAMPLE_OUTCOMES)
    ]
    return kept[list(PUBLISHED_COLUMNS)].reset_index(drop=True).astype(dict.fromkeys(_WHOLE, "Int64"))


def sd_from_sem(sem: float, n: int) -> float:
    """Turn a standard error of the mean into the SD between people."""
    if not n >= 2 or sem < 0:
        raise KitError(f"sem is {sem} and n is {n}: a standard error of 0 or more and two people or more are needed")
    return sem * math.sqrt(n)


def reliability_values() -> pd.DataFrame:
    """List published reliabilities and errors of the measures that a sparring study uses.

    Where nothing is known: assume an ICC of .6 to .8 for mean sparring heart rate and .5 to .7 for lactate, show what
    follows from either, and plan a second session for six athletes or more (our proposal).
    """
    return _read("reliability.csv").copy()


def dehydration_hr_rise(percent_mass_loss: float) -> Estimate:
    """Tell by how much heart rate rises with loss of body mass in the heat."""
    if not 0 <= percent_mass_loss <= 10:
        raise KitError(f"percent_mass_loss is {percent_mass_loss}: per cent of body mass, 0 to 10, is needed")
    return Estimate(
        value=3.0 * percent_mass_loss, standard_error=float("nan"), unit="bpm",
        source=cite("Adams 2014 J Strength Cond Res 28:2380-2389", READ), provenance=READ, label="rise in heart rate",
        warnings=("An average: about 4 bpm per cent at fixed, 1 at self-chosen intensity, in the heat.",),
    )  # fmt: skip
