"""Power and precision over the number of athletes, fast enough to follow a slider."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, format_number
from ..study.outcomes import OUTCOMES
from .assumptions import Assumptions
from .design import Design, as_assumptions, as_design
from .questions import PARTS, WISHED, pose

_OUTCOME = {"heart_rate": "hr_mean_bpm", "lactate": "lactate_mmol_l", "exertion": "exertion"}


@dataclass(frozen=True)
class PowerCurves(Result):
    """Power and precision of one question over the number of athletes who finish.

    Parameters
    ----------
    table : DataFrame
        n, power_smallest, power_assumed, half_width.
    part, outcome : str
    about : str
        The question, in words.
    unit : str
        Of the effects and half widths; for a slope with "per so many mL/kg/min".
    digits : int
    smallest, assumed : float
    n : int
        Athletes recruited in the design.
    n_left : int
        Those who are expected to finish, after the losses.
    wished : float
    method : str
    """

    table: pd.DataFrame
    part: str
    outcome: str
    about: str
    unit: str
    digits: int
    smallest: float
    assumed: float
    n: int
    n_left: int
    wished: float
    method: str

    def at(self, n: int) -> pd.Series:
        """Return the line of a number of athletes."""
        table = self.table[self.table["n"] == n]
        if table.empty:
            raise KitError(
                f"The curves run from {self.table['n'].min()} to {self.table['n'].max()} athletes, not to {n}."
            )
        return table.iloc[0]


def power_curves(
    design: Design | dict,
    truth: Assumptions | dict | None = None,
    *,
    outcome: str = "heart_rate",
    part: str = "change",
    sizes: Sequence[int] = tuple(range(4, 41)),
) -> PowerCurves:
    """Work out power and precision of one question over numbers of athletes.

    Parameters
    ----------
    design : Design or mapping of its fields
        Rounds, alpha, smallest effects, adjustment; its n is marked.
    truth : Assumptions or mapping of changes, optional
        Default: the kit's.
    outcome : {"heart_rate", "lactate", "exertion"}
        Default "heart_rate".
    part : {"change", "steps", "plateau", "slope", "correlation"}
        Default "change".
    sizes : sequence of int
        Default 4 to 40.

    Returns
    -------
    PowerCurves

    Examples
    --------
    >>> curves = power_curves({"n": 12}, part="slope")
    >>> bool(curves.at(40)["power_smallest"] > curves.at(12)["power_smallest"])
    True
    """
    design, truth = as_design(design), as_assumptions(truth)
    check_choice(outcome, tuple(_OUTCOME), name="outcome")
    check_choice(part, PARTS, name="part")
    posed = pose(
        part, outcome, getattr(design, f"{outcome}_smallest"), design, truth, ranked=outcome == "exertion"
    )
    lines = [
        {
            "n": int(n),
            "power_smallest": posed.power(posed.smallest, n),
            "power_assumed": np.nan if part == "plateau" else posed.power(posed.assumed, n),
            "half_width": posed.half_width(n),
        }
        for n in sizes
        if n >= posed.least
    ]
    if not lines:
        raise KitError(f"sizes must hold a number of athletes from {posed.least} on.")
    known = OUTCOMES[_OUTCOME[outcome]]
    apart = format_number(design.capacity_step, 0, unit="mL/kg/min")
    unit = {"correlation": "", "slope": f"{known.unit} per {apart}"}.get(part, known.unit)
    return PowerCurves(
        table=pd.DataFrame(lines),
        part=part,
        outcome=outcome,
        about=_ABOUT[part].format(outcome=known.label.lower()),
        unit=unit,
        digits=2 if part == "correlation" else max(known.digits, 1),
        smallest=posed.smallest,
        assumed=posed.assumed,
        n=design.n,
        n_left=left_after_losses(design.n, design.rounds, truth.leave),
        wished=WISHED,
        method=posed.method,
    )


def left_after_losses(n: int, rounds: int, leave: float) -> int:
    """Athletes who are expected to be there in the last round."""
    return int(n * (1 - leave) ** (rounds - 1) + 1e-9)


_ABOUT = {
    "change": "Does {outcome} change over the rounds?",
    "steps": "Between which neighbouring rounds does {outcome} change?",
    "plateau": "From which round on does {outcome} stay level?",
    "slope": "How much lower is {outcome} in fitter athletes?",
    "correlation": "Does fitness go with a lower {outcome}?",
}
