"""The outcomes that the kit knows: one row per outcome, and everything that reads or writes one asks here."""

from __future__ import annotations

from dataclasses import dataclass

from ..basics import check_choice


@dataclass(frozen=True)
class Outcome:
    """One outcome of a round.

    Parameters
    ----------
    name : str
        The column in the table of rounds.
    label : str
        The words for axes and sentences, without unit.
    unit : str
        The unit; "" where there is none.
    digits : int
        Decimals when written.
    question : str
        "heart_rate", "lactate" or "exertion": outcomes of one question are tested as one family.
    smallest_effect : float
        The smallest change that matters: our proposal, to be replaced in study.toml.
    ordinal : bool
        True where only the order of values is meaningful.
    """

    name: str
    label: str
    unit: str
    digits: int
    question: str
    smallest_effect: float
    ordinal: bool = False

    @property
    def axis_label(self) -> str:
        """Label with unit, for an axis."""
        return f"{self.label} ({self.unit})" if self.unit else self.label


OUTCOMES = {
    o.name: o
    for o in (
        Outcome("hr_mean_bpm", "Mean heart rate", "bpm", 0, "heart_rate", 5.0),
        Outcome("hr_late_bpm", "Mean heart rate late in the round", "bpm", 0, "heart_rate", 5.0),
        Outcome("hr_peak_bpm", "Peak heart rate", "bpm", 0, "heart_rate", 5.0),
        Outcome("percent_hr_max", "Share of measured maximal heart rate", "%", 1, "heart_rate", 2.5),
        Outcome("percent_hr_reserve", "Share of heart-rate reserve", "%", 1, "heart_rate", 3.5),
        Outcome("lactate_mmol_l", "Blood lactate", "mmol/L", 1, "lactate", 1.0),
        Outcome("exertion", "Perceived exertion", "points", 1, "exertion", 1.0, ordinal=True),
    )
}
"""Outcome name -> Outcome. Smallest effects are our proposal; the club's own stand in study.toml."""


def outcome_named(name: str) -> Outcome:
    """Return the Outcome of that name.

    Parameters
    ----------
    name : str
        A key of OUTCOMES.

    Returns
    -------
    Outcome

    Raises
    ------
    KitError
        With the nearest name.

    Examples
    --------
    >>> outcome_named("lactate_mmol_l").axis_label
    'Blood lactate (mmol/L)'
    """
    return OUTCOMES[check_choice(name, OUTCOMES, name="outcome")]
