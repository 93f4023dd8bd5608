"""Assurance: the chance of a clear answer, averaged over what the literature and the club leave open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .design import Assumptions, Design, as_assumptions, as_design, athlete_loadings, check_size
from .generate import share_interval
from .simulate import count_block

QUANTILES = (0.1, 0.5, 0.9)
OPEN_RANGES = {
    "heart_rate.rise": (0.0, 22.0),
    "heart_rate.sd_between": (9.0, 10.0),
    "heart_rate.slope": (-1.2, 0.0),
    "lactate.rise": (0.0, 4.4),
    "lactate.sd_between": (2.0, 4.0),
    "lactate.slope": (-0.24, 0.0),
    "capacity_sd": (4.5, 5.9),
    "missing_round": (0.0, 0.1),
    "leave": (0.0, 0.06),
    "strap_loss": (0.0, 0.1),
    "bout_share": (0.0, 0.3),
}
"""What is left open: SDs and highest rises as published (see `published_ranges`); the rest is our proposal."""
RELATIVE_RANGE = (2 / 3, 3 / 2)
"""Range of an SD within an athlete, of which nothing is published: from two thirds to three halves (our proposal)."""


@dataclass(frozen=True)
class Assurance(Result):
    """The chance of a clear answer to every planned question, with its distribution."""

    # question, part, as_assumed (chance that an effect is shown, rounds missing as assumed), shown (the same averaged over
    # what is open), clear (chance that an effect is shown, or shown to be too small to matter, averaged), clear_ci_low,
    # clear_ci_high (95 % Monte-Carlo), low, middle, high (10th, 50th and 90th percentile of the chance of a clear answer over
    # the draws), share_above_80 (share of the draws in which it is 80 % or more)
    table: pd.DataFrame
    # One line per draw, question and part: draw, question, part, shown, clear
    draws: pd.DataFrame = field(repr=False)
    open: pd.DataFrame = field(repr=False)  # field, low, assumed, high of what was left open
    n_draws: int  # Draws, and simulated studies of each
    n_studies: int
    seed: int
    design: Design
    truth: Assumptions
    method: str = (
        "simulated studies with missing rounds; what is open is drawn from triangular distributions between its lowest and "
        "highest plausible value, with the assumed value as the likeliest"
    )


def assure_design(
    design: Design | Mapping,
    truth: Assumptions | Mapping | None = None,
    *,
    ranges: Mapping[str, tuple[float, float]] | None = None,
    n_draws: int = 200,
    n_studies: int = 50,
    seed: int = 0,
) -> Assurance:
    """Average the chance of a clear answer over everything that is left open.

    When to use: beside the power at one assumed truth, which says nothing of how sure that truth is. When not: as a reason to
    leave the smallest effect that matters open; that is chosen, not guessed.

    Parameters
    ----------
    design : Design or mapping of its fields
    truth : Assumptions or mapping of the fields to change, optional
        The likeliest values. Default: the kit's proposals.
    ranges : mapping of str to (float, float), optional
        Lowest and highest plausible value by field, such as {"heart_rate.rise": (0, 15)}; replaces those of the kit.
    n_draws : int
        Default 200.
    n_studies : int
        Simulated studies in each draw. Default 50.
    seed : int
        Default 0.

    Returns
    -------
    Assurance

    Notes
    -----
    Assurance = mean over draws of the chance of a clear answer in that draw. A draw that cannot be (capacity and maximal
    heart rate alone would spread athletes more than assumed) is drawn again.

    References
    ----------
    O'Hagan A, Stevens JW, Campbell MJ (2005) Pharmaceutical Statistics 4:187-201. Spiegelhalter DJ, Freedman LS (1986)
    Statistics in Medicine 5:1-13.

    Examples
    --------
    >>> found = assure_design({"n": 12}, n_draws=8, n_studies=10)
    >>> bool(found.table["clear"].between(0, 1).all())
    True
    """
    design, truth = as_design(design), as_assumptions(truth)
    n_draws, n_studies = (
        check_size(v, least=2, name=name) for v, name in ((n_draws, "n_draws"), (n_studies, "n_studies"))
    )
    rng = np.random.default_rng(seed)
    opened = open_ranges(truth, ranges)
    parts = []
    for draw in range(n_draws):
        one = _draw(truth, opened, rng)
        counted = count_block((design, one), n_studies, rng)
        parts.append(_shares(counted).assign(draw=draw))
    draws = pd.concat(parts, ignore_index=True)
    fixed = _shares(count_block((design, truth), n_draws * n_studies, rng))
    table = pd.DataFrame(
        [
            {"question": question, "part": part, **summarise_power(own["shown"], own["clear"], n_studies)}
            for (question, part), own in draws.groupby(["question", "part"], sort=False)
        ]
    )
    table.insert(2, "as_assumed", fixed["shown"].to_numpy())
    listed = pd.DataFrame(
        [{"field": name, "low": low, "assumed": mode, "high": high} for name, (low, mode, high) in opened.items()]
    )
    columns = ["draw", "question", "part", "shown", "clear"]
    return Assurance(table, draws[columns], listed, n_draws, n_studies, seed, design, truth)


def summarise_power(shown, clear, n_studies: int) -> dict[str, float]:
    """Average the chances of the draws, and say how they are spread."""
    shown, clear = (np.asarray(v, dtype=float) for v in (shown, clear))
    usable = np.isfinite(clear)
    if not usable.any():
        return dict.fromkeys(
            ("shown", "clear", "clear_ci_low", "clear_ci_high", "low", "middle", "high", "share_above_80"),
            float("nan"),
        )
    clear, shown = clear[usable], shown[usable]
    middle = clear.mean()
    error = clear.std(ddof=1) / np.sqrt(len(clear)) if len(clear) > 1 else float("nan")
    low, middle_draw, high = np.quantile(clear, QUANTILES)
    wilson = share_interval(middle * n_studies * len(clear), n_studies * len(clear))
    return {
        "shown": shown.mean(),
        "clear": middle,
        "clear_ci_low": max(min(middle - 1.96 * error, float(wilson[0])), 0.0),
        "clear_ci_high": min(max(middle + 1.96 * error, float(wilson[1])), 1.0),
        "low": low,
        "middle": middle_draw,
        "high": high,
        "share_above_80": float(np.mean(clear >= 0.8)),
    }


def open_ranges(
    truth: Assumptions, ranges: Mapping[str, tuple[float, float]] | None = None
) -> dict[str, tuple[float, float, float]]:
    """Return (low, assumed, high) of everything that is left open; the assumed value always lies inside."""
    given = dict(ranges or {})
    wanted = dict(OPEN_RANGES)
    for outcome in ("heart_rate", "lactate", "exertion"):
        wanted[f"{outcome}.sd_within"] = tuple(v * getattr(truth, outcome).sd_within for v in RELATIVE_RANGE)
    size = truth.exertion
    wanted["exertion.rise"] = (0.0, 2 * size.rise)
    wanted["exertion.sd_between"] = tuple(v * size.sd_between for v in RELATIVE_RANGE)
    found = {}
    for name, (low, high) in {**wanted, **given}.items():
        mode = _value(truth, name)
        if not (np.isfinite(low) and np.isfinite(high) and low <= high):
            raise KitError(f"The range of {name} is {low} to {high}; give the lowest and the highest plausible value.")
        if name in given and not low <= mode <= high:
            raise KitError(f"{name} is assumed to be {mode:g}, outside its range of {low:g} to {high:g}.")
        found[name] = (min(float(low), mode), mode, max(float(high), mode))
    return found


def _value(truth: Assumptions, name: str) -> float:
    value = truth
    for part in name.split("."):
        if not hasattr(value, part):
            raise KitError(f"There is no assumption {name!r}.")
        value = getattr(value, part)
    return float(value)


def _draw(truth: Assumptions, opened: dict, rng) -> Assumptions:
    for _ in range(200):
        changes: dict = {}
        for name, (low, mode, high) in opened.items():
            value = float(rng.triangular(low, mode, high)) if high > low else mode
            outcome, _, part = name.partition(".")
            if part:
                changes.setdefault(outcome, {})[part] = value
            else:
                changes[outcome] = value
        try:
            one = truth.but(**changes)
            for outcome in ("heart_rate", "lactate", "exertion"):
                athlete_loadings(one, outcome)
        except KitError:
            continue
        return one
    raise KitError("The ranges leave no combination that can be: spreads of athletes that fit their causes.")


def _shares(counted: pd.DataFrame) -> pd.DataFrame:
    asked = counted["asked"].where(counted["asked"] > 0)
    return counted[["question", "part"]].assign(shown=counted["found"] / asked, clear=counted["clear"] / asked)
