"""What one published equation of an aerobic test is: inputs, formula, population, error, source."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from .units import READ

ML = "mL/kg/min"
LITRES = "L/min"


@dataclass(frozen=True)
class AerobicEquation:
    """One equation of one aerobic test."""

    test: str
    equation: str
    title: str
    source: str
    provenance: str
    formula: str
    compute: Callable[[dict], float]
    needs: tuple[tuple[str, ...], ...]
    population: str
    optional: tuple[str, ...] = ()
    unit: str = ML
    error: Callable[[dict, float], float] | float = math.nan
    error_kind: str = "prediction"
    error_note: str = "no standard error of estimate was read for this equation"
    error_provenance: str | Callable[[dict], str] = ""
    validity: str = ""
    ages: tuple[float, float] | None = None
    sexes: str = "FM"
    check: Callable[[dict, float], list[str]] = lambda inputs, value: []
    prepare: Callable[[dict], tuple[dict, list[str], list[str]]] = lambda inputs: (inputs, [], [])
    uses_heart_rate: bool = False
    maximal: bool = True
    score: str = "vo2max"
    default: bool = True
    warning: str = ""
    gives_vo2max: bool = True

    def error_of(self, inputs: dict, value: float) -> float:
        """Return the standard error in the unit of the formula."""
        return float(self.error(inputs, value)) if callable(self.error) else float(self.error)

    def input_names(self) -> tuple[str, ...]:
        """Return every canonical input that it may use."""
        names = [n for group in self.needs for n in group] + list(self.optional)
        names += ["mass_kg"] if self.unit == LITRES else []
        return tuple(dict.fromkeys(names))


@dataclass(frozen=True)
class AerobicScore:
    """One number by which a test compares athletes, with its retest error."""

    unit: str
    title: str
    needs: tuple[str, ...]
    compute: Callable[[dict], float]
    error: Callable[[float], float] = lambda score: math.nan
    note: str = "no retest error was read for this score"
    provenance: str = ""
    lower_is_fitter: bool = False


def between(name: str, low: float, high: float, words: str) -> Callable[[dict, float], list[str]]:
    """Make the check that an input lies within the validity range, which `words` state."""
    return lambda inputs, value: [] if low <= inputs[name] <= high else [f"Outside the validity range: {words}."]


def no_vo2max(inputs: dict) -> float:
    """Stand in for the equation of a test that gives a score only."""
    return math.nan


def laboratory_sem(vo2max_ml_kg_min: float) -> float:
    """Tell the retest error of a laboratory VO2max."""
    # ln SEM = 0.661 + 0.006 · VO2max, from 39 studies; the mean over studies is 2.58.
    # Naval Health Research Center, meta-analysis of the precision of VO2max tests (author Vickers, from
    # memory).
    return math.exp(0.661 + 0.006 * vo2max_ml_kg_min)


SEM_SOURCE = "39 studies: ln SEM = 0.661 + 0.006 VO2max"
SEM_PROVENANCE = READ
AVERAGING_NOTE = "the choice of averaging moves VO2max by 4 to 10 %, shorter windows reading higher"
