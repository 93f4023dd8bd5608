"""Maximal heart rate predicted from age by the published equations, each with its error."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, left_out_table
from .units import CONVENTION, MEMORY, READ, SECONDARY, Estimate, cite, is_blank

REVIEW_SD_BPM = 11.0
_REVIEW_NOTE = "no error published with it was read; 11 bpm is the upper end of the review by Robergs & Landwehr 2002"


@dataclass(frozen=True)
class _Equation:
    name: str
    formula: str
    author: str
    year: int
    source: str
    provenance: str
    predict: Callable[[float, str], float]
    error_bpm: float
    error_provenance: str
    error_note: str
    population: str
    ages: tuple[float, float] | None = None
    sexes: str = "FM"
    warning: str = ""

    @property
    def sex_matters(self) -> bool:
        return self.name == "sydo_2014"


_EQUATIONS = {
    e.name: e
    for e in (
        _Equation("fox_1971", "220 - age", "Fox", 1971, "Fox 1971 lineage; Robergs & Landwehr 2002 JEPonline 5(2):1-10",
                  READ, lambda a, s: 220 - a, REVIEW_SD_BPM, READ, "review: 7 to 11 bpm, SD quoted 10 to 12",
                  "none: not from original research", warning="220 - age has no original research behind it."),
        _Equation("tanaka_2001", "208 - 0.7 age", "Tanaka, Monahan & Seals", 2001, "Tanaka 2001 JACC 37:153-156",
                  SECONDARY, lambda a, s: 208 - 0.7 * a, 10.0, MEMORY, "about 10 bpm, from memory",
                  "meta-analysis of 351 studies, 18 712 people (numbers from memory), and a laboratory sample"),
        _Equation("gellish_2007", "207 - 0.7 age", "Gellish", 2007, "Gellish 2007 Med Sci Sports Exerc 39:822-829",
                  READ, lambda a, s: 207 - 0.7 * a, 8.0, MEMORY, "5 to 8 bpm, from memory; the upper end is used",
                  "132 people, 908 tests over 25 years"),
        _Equation("gellish_2007_unrounded", "206.9 - 0.67 age", "Gellish", 2007,
                  "Gellish 2007 Med Sci Sports Exerc 39:822-829", READ, lambda a, s: 206.9 - 0.67 * a, 8.0, MEMORY,
                  "5 to 8 bpm, from memory; the upper end is used", "132 people, 908 tests over 25 years"),
        _Equation("gellish_2007_quadratic", "192 - 0.007 age^2", "Gellish", 2007,
                  "Gellish 2007 Med Sci Sports Exerc 39:822-829, quadratic form", MEMORY,
                  lambda a, s: 192 - 0.007 * a**2, 8.0, MEMORY, "5 to 8 bpm, from memory; the upper end is used",
                  "132 people, 908 tests over 25 years"),
        _Equation("nes_2013", "211 - 0.64 age", "Nes", 2013, "Nes 2013 Scand J Med Sci Sports 23:697-704", READ,
                  lambda a, s: 211 - 0.64 * a, 10.8, READ, "standard error of estimate 10.8 bpm",
                  "3320 healthy men and women"),
        _Equation("londeree_1982", "206 - 0.7 age", "Londeree & Moeschberger", 1982, "Londeree & Moeschberger 1982",
                  SECONDARY, lambda a, s: 206 - 0.7 * a, 11.0, MEMORY, "about 11 bpm, from memory", "not read"),
        _Equation("gulati_2010", "206 - 0.88 age (women)", "Gulati", 2010, "Gulati 2010 Circulation 122:130-137",
                  MEMORY, lambda a, s: 206 - 0.88 * a, 12.0, MEMORY, "about 12 bpm, from memory",
                  "5437 women (number from memory)", sexes="F"),
        _Equation("sydo_2014", "men 220 - 0.95 age, women 210 - 0.79 age", "Sydó", 2014, "Sydó 2014 Mayo Clin Proc",
                  READ, lambda a, s: 220 - 0.95 * a if s == "M" else 210 - 0.79 * a, REVIEW_SD_BPM, READ, _REVIEW_NOTE,
                  "19 013 patients of cardiac exercise tests, aged 40 to 89", ages=(40, 89)),
        _Equation("zhu_2010", "179 + 0.29 age - 0.011 age^2", "Zhu", 2010, "Zhu 2010 Med Sci Sports Exerc 42:1519-1527",
                  READ, lambda a, s: 179 + 0.29 * a - 0.011 * a**2, REVIEW_SD_BPM, READ, _REVIEW_NOTE,
                  "symptom-limited tests, 18 to 50 years", ages=(18, 50),
                  warning="From symptom-limited tests: it reads low for athletes and does not set an athlete's maximum."),
    )
}  # fmt: skip

PREDICTED_WARNING = (
    "Predicted from age: no intensity bands and no main result on a share of maximum; it brings age into every "
    "comparison between athletes."
)


def hr_max_equations() -> pd.DataFrame:
    """List the published equations for maximal heart rate from age.

    Returns
    -------
    pandas.DataFrame
        equation (the name to give to predict_hr_max), formula, author, year, source, provenance, standard_error
        (bpm), error_provenance, error_note, sex ("any", "F", or "given" where the equation needs it), population,
        warning.

    Examples
    --------
    >>> "nes_2013" in set(hr_max_equations()["equation"])
    True
    """
    rows = [
        {
            "equation": e.name,
            "formula": e.formula,
            "author": e.author,
            "year": e.year,
            "source": e.source,
            "provenance": e.provenance,
            "standard_error": e.error_bpm,
            "error_provenance": e.error_provenance,
            "error_note": e.error_note,
            "sex": "given" if e.sex_matters else "any" if e.sexes == "FM" else e.sexes,
            "population": e.population,
            "warning": e.warning,
        }
        for e in _EQUATIONS.values()
    ]
    return pd.DataFrame(rows)


def predict_hr_max(age_years: float, equation: str, *, sex: str | None = None) -> Estimate:
    """Predict maximal heart rate from age by a published equation, with its error.

    Parameters
    ----------
    age_years : float
        Age, 5 to 100 years.
    equation : str
        A name of hr_max_equations(), for example "nes_2013".
    sex : str, optional
        "F" or "M"; needed by "sydo_2014"; "gulati_2010" is for women.

    Returns
    -------
    Estimate
        bpm, with the standard error of prediction of one person.

    Raises
    ------
    KitError
        For an unknown equation, an impossible age, a missing sex or one the equation is not for.

    Notes
    -----
    When not to use: for %HRmax as a main result. At 85 % of maximum an error of 10.8 bpm is 4.8 percentage points
    per athlete, as large as the whole spread between athletes.

    References
    ----------
    Nes 2013, Scand J Med Sci Sports 23:697-704; Robergs & Landwehr 2002, JEPonline 5(2):1-10.

    Examples
    --------
    >>> predict_hr_max(25, "nes_2013").value, predict_hr_max(25, "nes_2013").standard_error
    (195.0, 10.8)
    """
    e = _EQUATIONS[_name_of(equation)]
    problems = []
    try:
        age = float(age_years)
    except (TypeError, ValueError):
        age = float("nan")
    if not 5 <= age <= 100:
        problems.append(f"age_years is {age_years!r}: an age in years between 5 and 100 is needed")
    sex = None if is_blank(sex) else str(sex).strip().upper()
    if sex not in (None, "F", "M"):
        problems.append(f"sex is {sex!r}: write F or M, or leave it out")
    if e.sex_matters and sex is None:
        problems.append(f"{equation} has one formula for men and one for women: give sex")
    if e.sexes == "F" and sex == "M":
        problems.append(f"{equation} is made from women only: choose another for a man")
    if problems:
        raise KitError("; ".join(problems))
    warnings = [PREDICTED_WARNING] + ([e.warning] if e.warning else [])
    if e.ages and not e.ages[0] <= age <= e.ages[1]:
        warnings.append(f"Outside the population: ages {e.ages[0]:g} to {e.ages[1]:g}, here {age:g}.")
    if e.sexes == "F" and sex is None:
        warnings.append("Made from women only; sex was not given.")
    if age < 18:
        warnings.append("Under 18: the equations are made from adults.")
    return Estimate(
        value=float(e.predict(age, sex or "")), standard_error=e.error_bpm, unit="bpm",
        source=cite(e.source, e.provenance), error_kind="prediction", equation=e.name, population=e.population,
        provenance=e.provenance, error_provenance=e.error_provenance, error_note=e.error_note, uses_heart_rate=False,
        label="HRmax, predicted", inputs=(("age_years", age),) + ((("sex", sex),) if sex else ()),
        warnings=tuple(warnings),
    )  # fmt: skip


def _name_of(equation: str) -> str:
    """Take "Nes 2013", "nes-2013" or, where one equation has that author, "nes" for "nes_2013"."""
    plain = "_".join(str(equation).casefold().replace("-", " ").replace("_", " ").split())
    if plain not in _EQUATIONS:
        of_author = [name for name in _EQUATIONS if name.startswith(plain + "_")]
        plain = of_author[0] if plain and len(of_author) == 1 else equation
    return check_choice(plain, _EQUATIONS, name="equation")


EFFORTS = ("graded_run", "graded_cycle", "graded_other", "field_test", "sparring", "maximal_bout")
"""The efforts that can show a maximal heart rate."""
LEAST_SUSTAINED_S = 3.0


@dataclass(frozen=True)
class MeasuredHrMax(Result):
    """The highest heart rate of all maximal efforts that count, and why the others did not."""

    value: float  # bpm
    unit: str  # "bpm"
    effort: str  # The effort that showed it
    source: str  # The rule, in words
    provenance: str  # "common practice, no source"
    n_efforts: int  # How many efforts counted
    efforts: pd.DataFrame  # The efforts as given, with `counts` (bool) and `reason`
    left_out: pd.DataFrame  # The efforts that did not count
    warnings: tuple[str, ...] = ()  # One effort only, cycling only, sparring above the test


def choose_measured_hr_max(efforts) -> MeasuredHrMax:
    """Choose an athlete's measured maximal heart rate among all recorded maximal efforts.

    Common practice, no source: the highest of all maximal efforts, a mean of 5 to 15 s or held for at least 3 s,
    never a single one-second sample. A graded test may end a few bpm below the true maximum; running reads the same or
    higher than cycling.
    """
    table = pd.DataFrame(efforts).reset_index(drop=True)
    missing = [c for c in ("effort", "hr_peak_bpm", "sustained_s") if c not in table]
    if missing or table.empty:
        raise KitError(f"efforts needs rows with the columns effort, hr_peak_bpm, sustained_s; missing: {missing}")
    for column in ("artefact_free", "maximal"):
        table[column] = table[column].map(lambda v: True if is_blank(v) else bool(v)) if column in table else True
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
        warnings.append("From sparring only: no maximal test stands behind it, so the true maximum may be higher.")
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


@dataclass(frozen=True)
class HeartRateMessage(Result):
    """What one message says."""

    # Heart rate as the strap smooths it; not to be mixed with rates from beat intervals within one study
    hr_bpm: int
    contact_supported: bool  # Whether the strap tells about skin contact at all
    contact_detected: bool | None  # None where the strap does not tell: not the same as poor contact
    energy_kj: int | None  # Energy in kilojoule, not kilocalories; None where absent
    # Every beat interval of the message, oldest first, in 1/1024 s (order and unit from memory)
    rr_raw: tuple[int, ...]


def read_heart_rate_message(message: bytes | str) -> HeartRateMessage:
    """Read one message of the heart-rate service.

    Parameters
    ----------
    message : bytes or str
        The bytes, or their hexadecimal text.

    Returns
    -------
    HeartRateMessage

    Raises
    ------
    KitError
        Where the message is shorter than its flags say, or odd.

    Notes
    -----
    Flags: bit 0 heart rate of one or two bytes; bit 1 contact, valid only with bit 2; bit 3 energy; bit 4 beat
    intervals; bits 5 to 7 are reserved and ignored.

    References
    ----------
    Bluetooth SIG, Heart Rate Service; layout read on documentation pages, unit of the intervals from memory.

    Examples
    --------
    >>> read_heart_rate_message("168CB701").rr_raw
    (439,)
    """
    try:
        data = bytes.fromhex(message) if isinstance(message, str) else bytes(message)
    except ValueError:
        raise KitError(f"{message!r} is not hexadecimal text such as 168CB701") from None
    flags = data[0] if data else 0
    wide, supported, energy, intervals = flags & 1, bool(flags & 4), flags & 8, flags & 16
    start = 2 + wide + (2 if energy else 0)
    if len(data) < start or (intervals and (len(data) - start) % 2):
        raise KitError(f"the message has {len(data)} bytes, too few or too many for its flags: was it cut?")
    after_rate = 2 + wide
    return HeartRateMessage(
        hr_bpm=int.from_bytes(data[1:after_rate], "little"),
        contact_supported=supported,
        contact_detected=bool(flags & 2) if supported else None,
        energy_kj=int.from_bytes(data[after_rate : after_rate + 2], "little") if energy else None,
        rr_raw=tuple(int.from_bytes(data[i : i + 2], "little") for i in range(start, len(data) - 1, 2))
        if intervals
        else (),
    )


def bpm_from_interval(rr_raw: float) -> float:
    """Turn a beat interval in 1/1024 s into beats per minute.

    Parameters
    ----------
    rr_raw : float
        Interval in 1/1024 s, positive.

    Returns
    -------
    float
        bpm.

    Examples
    --------
    >>> round(bpm_from_interval(439), 2)
    139.95
    """
    if not rr_raw > 0:
        raise KitError(f"rr_raw is {rr_raw}: an interval above 0 is needed")
    return 60 / (rr_raw / 1024)
