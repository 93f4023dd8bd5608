"""Maximal heart rate measured: which efforts count, and the highest of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, left_out_table
from .estimates import CONVENTION, is_blank

EFFORTS = ("graded_run", "graded_cycle", "graded_other", "field_test", "sparring", "maximal_bout")
"""The efforts that can show a maximal heart rate."""
LEAST_SUSTAINED_S = 3.0


@dataclass(frozen=True)
class MeasuredHrMax(Result):
    """The highest heart rate of all maximal efforts that count, and why the others did not.

    Parameters
    ----------
    value : float
        bpm.
    unit : str
        "bpm".
    effort : str
        The effort that showed it.
    source : str
        The rule, in words.
    provenance : str
        "common practice, no source".
    n_efforts : int
        How many efforts counted.
    efforts : pandas.DataFrame
        The efforts as given, with `counts` (bool) and `reason`.
    left_out : pandas.DataFrame
        The efforts that did not count.
    warnings : tuple of str
        One effort only, cycling only, sparring above the test ...
    """

    value: float
    unit: str
    effort: str
    source: str
    provenance: str
    n_efforts: int
    efforts: pd.DataFrame
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def choose_measured_hr_max(efforts) -> MeasuredHrMax:
    """Choose an athlete's measured maximal heart rate among all recorded maximal efforts.

    Parameters
    ----------
    efforts : pandas.DataFrame or sequence of mapping
        One row per effort: `effort` (one of EFFORTS), `hr_peak_bpm` (bpm), `sustained_s` (seconds that the peak is a
        mean of or was held; 5 to 15 is usual), and optionally `artefact_free` (default True; False where the peak did
        not survive the artefact checks) and `maximal` (default True).

    Returns
    -------
    MeasuredHrMax
        The highest that counts, with every effort and the reason where it does not.

    Raises
    ------
    KitError
        Where no effort counts; says why for each.

    Notes
    -----
    Common practice, no source: the highest of all maximal efforts, a mean of 5 to 15 s or held for at least 3 s,
    never a single one-second sample. A graded test may end a few bpm below the true maximum; running reads the same or
    higher than cycling.

    Examples
    --------
    >>> choose_measured_hr_max([
    ...     {"effort": "graded_run", "hr_peak_bpm": 191, "sustained_s": 10},
    ...     {"effort": "sparring", "hr_peak_bpm": 203, "sustained_s": 1},
    ... ]).value
    191.0
    """
    table = pd.DataFrame(efforts).reset_index(drop=True)
    missing = [c for c in ("effort", "hr_peak_bpm", "sustained_s") if c not in table]
    if missing or table.empty:
        raise KitError(
            f"efforts needs rows with the columns effort, hr_peak_bpm, sustained_s; missing: {missing}"
        )
    for column in ("artefact_free", "maximal"):
        table[column] = (
            table[column].map(lambda v: True if is_blank(v) else bool(v)) if column in table else True
        )
    table["reason"] = [_why_not(row) for row in table.to_dict("records")]
    table["counts"] = table["reason"] == ""
    good = table[table["counts"]]
    if good.empty:
        reasons = "; ".join(f"{r.effort}: {r.reason}" for r in table.itertuples())
        raise KitError(f"no effort counts as a measured maximal heart rate ({reasons}). Use a maximal test.")
    best = good.loc[good["hr_peak_bpm"].astype(float).idxmax()]
    warnings = []
    if len(good) == 1:
        warnings.append("One effort only: a graded test may end a few bpm below the true maximum.")
    if good["effort"].eq("graded_cycle").all():
        warnings.append("From cycling only: running usually reads the same or higher.")
    if good["effort"].eq("sparring").all():
        warnings.append(
            "From sparring only: no maximal test stands behind it, so the true maximum may be higher."
        )
    elif best["effort"] == "sparring":
        warnings.append("Sparring went above every test: the test values are too low to be a maximum.")
    return MeasuredHrMax(
        value=float(best["hr_peak_bpm"]),
        unit="bpm",
        effort=str(best["effort"]),
        source="highest of all maximal efforts, mean of 5 to 15 s or held for 3 s or more",
        provenance=CONVENTION,
        n_efforts=len(good),
        efforts=table,
        left_out=left_out_table(
            {"row": i + 1, "measure": "hr_peak_bpm", "reason": r} for i, r in enumerate(table["reason"]) if r
        ),
        warnings=tuple(warnings),
    )


def _why_not(row: dict) -> str:
    def number(name):
        try:
            return float(row[name])
        except (TypeError, ValueError):
            return float("nan")

    peak, sustained = number("hr_peak_bpm"), number("sustained_s")
    if row["effort"] not in EFFORTS:
        return f"effort {row['effort']!r} is not one of {', '.join(EFFORTS)}"
    if np.isnan(peak):
        return "no heart rate"
    if not 100 <= peak <= 230:
        return "a peak outside 100 to 230 bpm is no maximal heart rate"
    if np.isnan(sustained) or sustained < LEAST_SUSTAINED_S:
        return "held for less than 3 s: a single sample may be an artefact"
    if not row["artefact_free"]:
        return "did not survive the artefact checks"
    if not row["maximal"]:
        return "not a maximal effort"
    return ""
