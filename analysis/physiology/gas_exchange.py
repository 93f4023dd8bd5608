"""Gas exchange of a maximal test: VO2max by a stated averaging rule, plateau, secondary criteria, verification bout."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .aerobic_model import AVERAGING_NOTE, SEM_PROVENANCE, SEM_SOURCE, laboratory_sem
from .averaging import AVERAGES, average_curve, is_averaged, parse_average, usual_distance_s
from .criteria import exercise_end, plateau_table, secondary_criteria, verify
from .estimates import COMPUTED, Estimate

COMPARED_RULES = ("breaths:5", "breaths:15", "breaths:30", "seconds:15", "seconds:30", "seconds:60", "bins:15", "bins:30",
                  "bins:60")  # fmt: skip


@dataclass(frozen=True)
class GasExchangeResult(Result):
    """VO2max or VO2peak of a gas-exchange test with the rule that made it.

    Parameters
    ----------
    value, standard_error : float
        mL/kg/min; the error is the retest error of laboratory tests.
    unit : str
        "mL/kg/min".
    label : str
        "VO2max" with a plateau or a confirming verification bout, else "VO2peak".
    rule : str
        The averaging rule, as given ("seconds:30").
    rule_words : str
        The same in words, to be printed beside every use.
    vo2_l_min : float
        The same value in L/min.
    mass_kg : float
        Body mass used.
    plateau : bool or None
        Whether the end of the test was flat; None where it cannot be told.
    plateau_table : pandas.DataFrame
        criterion, value, limit, unit, met, provenance.
    secondary_criteria : pandas.DataFrame
        criterion, value, limit, met (True, False, or None where not measured), provenance.
    criteria_met : int
        How many secondary criteria are met; they do not make a VO2max.
    verification : str
        "confirmed", "higher", "lower" or "" where no bout was ridden or run.
    verification_ml_kg_min : float
        The same rule on the verification bout; not-a-number where there was none.
    time_of_peak_s, duration_s : float
        When the highest average ended, and how long the test was.
    by_rule : pandas.DataFrame
        rule, vo2max_ml_kg_min: the same test by other rules.
    curve : pandas.DataFrame
        elapsed_s, vo2_ml_min: the averaged curve.
    n_samples, n_left_out : int
        Rows used, and rows without a usable value.
    source, provenance, error_kind, error_note : str
    warnings : tuple of str
    """

    value: float
    standard_error: float
    unit: str
    label: str
    rule: str
    rule_words: str
    vo2_l_min: float
    mass_kg: float
    plateau: bool | None
    plateau_table: pd.DataFrame
    secondary_criteria: pd.DataFrame
    criteria_met: int
    verification: str
    verification_ml_kg_min: float
    time_of_peak_s: float
    duration_s: float
    by_rule: pd.DataFrame
    curve: pd.DataFrame
    n_samples: int
    n_left_out: int
    source: str
    provenance: str
    error_kind: str
    error_note: str
    warnings: tuple[str, ...] = ()

    @property
    def estimate(self) -> Estimate:
        """The same value as an Estimate."""
        return Estimate(
            value=self.value,
            standard_error=self.standard_error,
            unit=self.unit,
            source=f"{self.source}; {self.rule_words}",
            error_kind=self.error_kind,
            equation=self.rule,
            population="the athlete",
            provenance=self.provenance,
            error_provenance=SEM_PROVENANCE,
            error_note=self.error_note,
            label=self.label,
            inputs=(("mass_kg", self.mass_kg), ("average", self.rule)),
            warnings=self.warnings,
        )


def process_gas_exchange(
    samples: pd.DataFrame,
    mass_kg: float,
    *,
    average: str = "seconds:30",
    end_s: float | None = None,
    verification: pd.DataFrame | None = None,
    age_years: float | None = None,
    hr_max_equation: str = "nes_2013",
    lactate_mmol_l: float | None = None,
    exertion: float | None = None,
    exertion_scale: str = "6-20",
) -> GasExchangeResult:
    """Find VO2max or VO2peak in the gas exchange of a maximal test.

    Parameters
    ----------
    samples : pandas.DataFrame
        elapsed_s, vo2_ml_min, optionally vco2_ml_min and hr_bpm; one row per breath or per averaged interval, in any
        order, at irregular times.
    mass_kg : float
        Body mass, kg, 20 to 250.
    average : str
        "breaths:15" (mean of 15 consecutive breaths), "seconds:30" (moving mean of 30 s) or "bins:30" (consecutive
        bins of 30 s). The default is seconds:30.
    end_s : float, optional
        When exercise ended, where the recording goes on into recovery.
    verification : pandas.DataFrame, optional
        Samples of a verification bout.
    age_years : float, optional
        For the criterion of age-predicted maximal heart rate, by `hr_max_equation`.
    hr_max_equation : str
        A name of hr_max_equations().
    lactate_mmol_l, exertion : float, optional
        Lactate after the test; last rating, on `exertion_scale`.
    exertion_scale : str
        The criterion exists for "6-20" only; ratings are not converted.

    Returns
    -------
    GasExchangeResult

    Raises
    ------
    KitError
        For missing columns, an impossible mass or rule, too few samples, values in L/min; all at once.

    Notes
    -----
    Breaths: the largest mean of N consecutive rows. Seconds and bins: breaths are put on whole seconds from 1 by
    linear interpolation; a moving mean of N of them, or bins that start at second 1; an incomplete last bin is divided
    by its full length, so it cannot win by being short. Windows across a gap in the samples are not used. No plateau and
    no confirming bout: VO2peak. Secondary criteria are shown and do not change the label, since they are often met
    well below the maximum.

    References
    ----------
    Nolte 2023, Sports Med, doi 10.1007/s40279-023-01903-3 (ramp tests with VO2max by each rule); Midgley 2007, Clin
    Physiol Funct Imaging 27:122; Taylor 1955 (plateau, from memory).

    Examples
    --------
    >>> rise = pd.DataFrame({"elapsed_s": range(2, 602, 2)})
    >>> rise["vo2_ml_min"] = (1000 + 5 * rise["elapsed_s"]).clip(upper=3600)
    >>> result = process_gas_exchange(rise, 72.0, average="seconds:30")
    >>> round(result.value, 1), result.label
    (50.0, 'VO2max')
    """
    kind, size = parse_average(average)
    table, left_out, warnings = _clean(samples, mass_kg)
    if end_s is not None:
        table = table[table["elapsed_s"] <= end_s]
        if len(table) < 5:
            raise KitError(f"end_s is {end_s:g} s: fewer than five samples lie before it")
    curve = average_curve(table, kind, size)
    by_rule = _by_rule(table, mass_kg)
    stop = None if end_s is not None else exercise_end(table)
    if stop is not None:
        table = table[table["elapsed_s"] <= stop]
        warnings.append(
            f"The samples go on into recovery; exercise was taken to end at {stop:.0f} s (or give end_s)."
        )
    peak = curve.loc[curve["vo2_ml_min"].idxmax()]
    value = float(peak["vo2_ml_min"]) / mass_kg
    if not 5 <= value <= 100:
        raise KitError(
            f"{value:.1f} mL/kg/min is no athlete's VO2max: check mass_kg and the unit of vo2_ml_min"
        )
    plateau, flatness = plateau_table(table)
    if plateau is None:
        warnings.append(
            "Whether there is a plateau cannot be told: the test is short or flat, or oxygen uptake falls before the samples "
            "end (give end_s where exercise ended earlier)."
        )
    verdict, bout = "", float("nan")
    if verification is not None:
        bout = process_gas_exchange(verification, mass_kg, average=average).value
        verdict = verify(value, bout)
        if verdict != "confirmed":
            warnings.append(f"The verification bout was {verdict}: it does not confirm the value.")
    criteria = secondary_criteria(
        table, kind, size, age_years, hr_max_equation, lactate_mmol_l, exertion, exertion_scale
    )
    label = "VO2max" if plateau or verdict == "confirmed" else "VO2peak"
    if label == "VO2peak":
        warnings.append("No plateau and no confirming verification bout: called VO2peak.")
    duration = float(table["elapsed_s"].iloc[-1] - table["elapsed_s"].iloc[0])
    warnings += _remarks(kind, size, duration, table)
    return GasExchangeResult(
        value=value,
        standard_error=laboratory_sem(value),
        unit="mL/kg/min",
        label=label,
        rule=f"{kind}:{size}",
        rule_words=AVERAGES[kind].format(n=size),
        vo2_l_min=float(peak["vo2_ml_min"]) / 1000,
        mass_kg=float(mass_kg),
        plateau=plateau,
        plateau_table=flatness,
        secondary_criteria=criteria,
        criteria_met=int(sum(m is True for m in criteria["met"])),
        verification=verdict,
        verification_ml_kg_min=bout,
        time_of_peak_s=float(peak["elapsed_s"]),
        duration_s=duration,
        by_rule=by_rule,
        curve=curve,
        n_samples=len(table),
        n_left_out=left_out,
        source="the athlete's own gas exchange",
        provenance=COMPUTED,
        error_kind="retest",
        error_note=f"retest error of laboratory tests, {SEM_SOURCE}",
        warnings=tuple(warnings),
    )


def _clean(samples, mass_kg) -> tuple[pd.DataFrame, int, list[str]]:
    problems, warnings = [], []
    if not isinstance(samples, pd.DataFrame | dict | list):
        raise KitError("samples must be a table with the columns elapsed_s and vo2_ml_min")
    table = pd.DataFrame(samples)
    try:
        mass = float(mass_kg)
    except (TypeError, ValueError):
        mass = float("nan")
    if not 20 <= mass <= 250:
        problems.append(f"mass_kg is {mass_kg!r}: a body mass of 20 to 250 kg is needed")
    missing = [c for c in ("elapsed_s", "vo2_ml_min") if c not in table]
    problems += [f"column {c} is missing" for c in missing]
    if missing:
        raise KitError("; ".join(problems))
    columns = [c for c in ("elapsed_s", "vo2_ml_min", "vco2_ml_min", "hr_bpm") if c in table]
    table = table[columns].apply(pd.to_numeric, errors="coerce")
    usable = (
        table["elapsed_s"].notna()
        & table["vo2_ml_min"].ge(0)
        & np.isfinite(table["vo2_ml_min"])
        & table["elapsed_s"].ge(0)
    )
    left_out = int((~usable).sum())
    table = table[usable].sort_values("elapsed_s", kind="stable").reset_index(drop=True)
    if left_out:
        warnings.append("Some rows have no usable time or oxygen uptake and were set aside.")
    if len(table) < 5:
        problems.append(f"only {len(table)} usable samples: at least five are needed")
    elif table["vo2_ml_min"].max() < 20:
        problems.append("vo2_ml_min never reaches 20 mL/min: is it in L/min? multiply by 1000")
    elif table["vo2_ml_min"].max() < 200:
        problems.append("vo2_ml_min never reaches 200 mL/min: is it in mL/kg/min? multiply by the mass")
    if len(table) and table["elapsed_s"].iloc[-1] - table["elapsed_s"].iloc[0] < 60:
        problems.append(
            "the samples cover less than a minute: are the times in minutes? elapsed_s is in seconds"
        )
    if problems:
        raise KitError("; ".join(problems))
    return table, left_out, warnings


def _remarks(kind: str, size: int, duration: float, table: pd.DataFrame) -> list[str]:
    said = []
    if is_averaged(table):
        said.append(
            f"The samples are averages already, about {usual_distance_s(table):.0f} s each; whole rows were used."
        )
    elif kind == "breaths" and table["elapsed_s"].diff().iloc[1:].std() < 0.01:
        said.append(
            "The samples are evenly spaced, so they may not be single breaths: use seconds:N or bins:N."
        )
    if size < 15:
        said.append(f"A short window reads high: {AVERAGING_NOTE}.")
    if not 480 <= duration <= 720:
        said.append("A ramp of 8 to 12 min is usual (from memory); this test was shorter or longer.")
    smooth = table["vo2_ml_min"].rolling(7, center=True, min_periods=4).median()
    rest = (table["vo2_ml_min"] - smooth).abs()
    if (rest > 0.5 * smooth.max()).any():
        said.append(
            "Single samples lie far from their neighbours: look at the curve before using a short window."
        )
    return said


def _by_rule(table: pd.DataFrame, mass_kg: float) -> pd.DataFrame:
    rows = []
    for rule in COMPARED_RULES:
        kind, size = parse_average(rule)
        try:
            best = float(average_curve(table, kind, size)["vo2_ml_min"].max()) / mass_kg
        except KitError:
            best = float("nan")
        rows.append((rule, best))
    return pd.DataFrame(rows, columns=["rule", "vo2max_ml_kg_min"])
