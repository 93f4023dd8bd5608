"""Blood lactate: units, plausible values, whole blood against plasma. Individual values are never converted."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .estimates import MEMORY, READ, Estimate, cite

MG_DL_PER_MMOL_L = 9.008
"""From the molar mass of lactic acid, 90.08 g/mol (the lactate ion, 89.07, would give 8.907)."""
LOWEST_MMOL_L = 0.3
WARN_ABOVE_MMOL_L = 20.0
REFUSE_ABOVE_MMOL_L = 30.0
PLAUSIBILITY = (
    "Our proposal: below 0.3 and above 30 mmol/L are taken for errors of unit, above 20 is asked about. The highest "
    "values read in combat sports are 20.7 (mixed martial arts), 20.6 (wrestling) and 18 (boxing) mmol/L."
)
BLOOD_NOTE = (
    "Whole blood reads about 70 % of plasma on average: one analyser, one kind of sample and one site per study, "
    "recorded; do not convert single values."
)


def lactate_to_mg_dl(lactate_mmol_l):
    """Convert lactate from mmol/L to mg/dL (lactic acid, 90.08 g/mol).

    Parameters
    ----------
    lactate_mmol_l : float or array
        Concentration in mmol/L.

    Returns
    -------
    float or array
        mg/dL.

    Examples
    --------
    >>> round(lactate_to_mg_dl(10), 2)
    90.08
    """
    return lactate_mmol_l * MG_DL_PER_MMOL_L


def lactate_from_mg_dl(lactate_mg_dl):
    """Convert lactate from mg/dL to mmol/L (lactic acid, 90.08 g/mol).

    Parameters
    ----------
    lactate_mg_dl : float or array
        Concentration in mg/dL.

    Returns
    -------
    float or array
        mmol/L.

    Examples
    --------
    >>> round(lactate_from_mg_dl(90.08), 6)
    10.0
    """
    return lactate_mg_dl / MG_DL_PER_MMOL_L


def whole_blood_from_plasma(plasma_mmol_l: float) -> Estimate:
    """Tell what a whole-blood analyser reads on average where plasma holds a given lactate.

    Parameters
    ----------
    plasma_mmol_l : float
        Lactate in plasma, mmol/L.

    Returns
    -------
    Estimate
        mmol/L in whole blood, for comparing group means of two studies only.

    References
    ----------
    Goodwin 2007, J Diabetes Sci Technol 1:558-569.

    Examples
    --------
    >>> round(whole_blood_from_plasma(14.0).value, 1)
    9.8
    """
    return Estimate(
        value=0.70 * plasma_mmol_l,
        standard_error=float("nan"),
        unit="mmol/L",
        source=cite("Goodwin 2007 J Diabetes Sci Technol 1:558-569", READ),
        provenance=READ,
        label="lactate, whole blood",
        warnings=("An average over people: do not convert individual values with it.",),
    )


def check_lactate(values) -> pd.DataFrame:
    """List the lactate values that cannot be, or need a second look.

    Parameters
    ----------
    values : sequence of float
        Lactate in mmol/L; not-a-number is passed over.

    Returns
    -------
    pandas.DataFrame
        position, value, refuse (True: an error of unit or typing; False: ask), problem, remedy. Empty where all
        is well.

    Notes
    -----
    The limits are a proposal; see PLAUSIBILITY.

    Examples
    --------
    >>> list(check_lactate([8.2, 74.0, 20.4])["refuse"])
    [True, False]
    """
    rows = []
    for position, value in enumerate(np.asarray(list(values), dtype=float)):
        if np.isnan(value):
            continue
        if value > REFUSE_ABOVE_MMOL_L:
            rows.append(
                (position, value, True, "above 30 mmol/L", "mg/dL? divide by 9.008; or a missing comma")
            )
        elif value < LOWEST_MMOL_L:
            rows.append(
                (position, value, True, "below 0.3 mmol/L", "the analyser's LO is written LO, not as 0")
            )
        elif value > WARN_ABOVE_MMOL_L:
            rows.append(
                (position, value, False, "above 20 mmol/L", "rare even after a fight: check the sheet")
            )
    return pd.DataFrame(rows, columns=["position", "value", "refuse", "problem", "remedy"])


def lactate_reference() -> pd.DataFrame:
    """List what is known of resting and peak lactate, sites, devices and delays.

    Returns
    -------
    pandas.DataFrame
        topic, value, provenance.

    Examples
    --------
    >>> lactate_reference()["provenance"].isin(["read at source", "secondary page", "from memory"]).all()
    np.True_
    """
    rows = [
        ("at rest", "0.5 to 1.5 mmol/L, up to about 2.0 in capillary blood", MEMORY),
        ("peak after 30 to 120 s all out", "about 15 to 25 mmol/L, 3 to 8 min after the effort", READ),
        ("whole blood against plasma", "whole blood about 70 % of plasma on average", READ),
        ("finger against ear", "bias 9.2 %, 95 % of differences -24.9 to +58.7 % (Moran 2012, n = 20, cycle)", READ),
        ("handheld analysers", "replicate SD generally below 0.5 mmol/L between 1 and 10 mmol/L (Bonaventura 2015)", READ),
        ("handheld analysers", "95 % prediction width 0.6 to 0.9 mmol/L at 3 mmol/L (Mentzoni 2024)", READ),
        ("finger drop against reference", "SD of the difference 1.45 mmol/L, mostly from sampling", READ),
        ("delay", "right after a round lactate still rises: one fixed delay, the real one recorded", MEMORY),
        ("two thresholds", "first at baseline + 0.3 to 0.5, second near 4 mmol/L, wide between people", MEMORY),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["topic", "value", "provenance"])
