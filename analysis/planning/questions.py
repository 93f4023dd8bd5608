"""What each planned question asks of the numbers: power, interval, and assurance over what is left open."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .ask import share_interval
from .correlation import (
    FitnessSignal,
    correlation_power,
    correlation_precision,
    fitness_signal,
    smallest_detectable_r,
    smallest_size,
)
from .design import (
    Assumptions,
    Design,
    as_assumptions,
    as_design,
    assumed_value,
    athlete_loadings,
    by_outcome,
    check_size,
    round_profile,
)
from .rounds import effect_f_of, plateau_power, rounds_power, two_tailed_power
from .simulate import count_block

WISHED = 0.8
MOST_ATHLETES = 500
PARTS = ("change", "steps", "plateau", "slope", "correlation")


@dataclass(frozen=True)
class Question:
    """One question of a design."""

    part: str
    power: Callable[[float, int], float]
    half_width: Callable[[int], float]
    smallest: float
    assumed: float
    seen: Callable[[int], float]
    method: str
    least: int = 3

    def size(self, *, effect: float | None = None) -> int | None:
        """Athletes for a chance of 80 % at an effect (default: the smallest that matters); None above 500."""
        effect = self.smallest if effect is None else effect
        if self.power(effect, MOST_ATHLETES) < WISHED:
            return None
        return smallest_size(lambda n: self.power(effect, n), WISHED, guess=20, least=self.least)


def pose(
    part: str, outcome: str, smallest: float, design: Design, truth: Assumptions, *, ranked: bool = False
) -> Question:
    """Pose one question to a design."""
    if part == "change":
        return _change(outcome, smallest, design, truth, ranked)
    if part == "steps":
        return _steps(outcome, smallest, design, truth)
    if part == "plateau":
        return _plateau(outcome, smallest, design, truth)
    return _fitness(part, outcome, smallest, design, truth)


def _change(outcome, smallest, design, truth, ranked) -> Question:
    size, k = truth.size(outcome), design.rounds
    spread = np.hypot(size.sd_between, size.sd_within)
    share = _share_of_ranks(size.sd_within, k, truth) if ranked else 1.0
    shape = "levels" if truth.shape == "steady" else truth.shape

    def power(effect, n):
        f = effect_f_of(round_profile(k, effect, shape), spread) * np.sqrt(share)
        return rounds_power(n=n, rounds=k, effect_f=f, correlation=size.sd_between**2 / spread**2, alpha=design.alpha)

    return Question(
        part="change",
        power=power,
        half_width=_difference_width(size.sd_within, k, design.alpha),
        smallest=smallest,
        assumed=0.0 if truth.shape == "steady" else size.rise,
        seen=_seen_by_search(power, smallest),
        method=(
            "F of common ranks within athletes, missing rounds and whole points allowed for"
            if ranked
            else "F test over rounds under compound symmetry"
        ),
    )


def _share_of_ranks(sd_within: float, rounds: int, truth: Assumptions) -> float:
    """Information that ratings in whole points, judged by common ranks, keep of an F test of complete values."""
    # 3 / pi is the efficiency of ranks for normal values (Hodges & Lehmann 1956, Annals of Mathematical
    # Statistics 27:324); whole points add a variance of 1 / 12; an athlete with m of k rounds lends (m - 1)
    # / (k - 1) of a complete one.
    whole = sd_within**2 / (sd_within**2 + 1 / 12)
    kept = (rounds * (1 - truth.missing_round) - 1) / (rounds - 1)
    return 3 / np.pi * whole * max(kept, 0.0)


def _steps(outcome, smallest, design, truth) -> Question:
    size, k = truth.size(outcome), design.rounds

    def power(effect, n):
        centre = abs(effect) / (size.sd_within * np.sqrt(2 / n))
        return two_tailed_power(centre, (n - 1) * (k - 1), design.alpha / (k - 1))

    return Question(
        part="steps",
        power=power,
        half_width=_difference_width(size.sd_within, k, design.alpha),
        smallest=smallest,
        assumed=float(np.max(np.abs(np.diff(round_profile(k, size.rise, truth.shape))))),
        seen=_seen_by_search(power, smallest),
        method="t test with the pooled error of all rounds at alpha / number of steps (a lower bound for Holm)",
    )


def _plateau(outcome, smallest, design, truth) -> Question:
    size, k = truth.size(outcome), design.rounds
    start = min(3, k - 1)  # where the "levels" profile is flat, or the last but one

    def power(margin, n):
        return plateau_power(
            n=n, rounds=k, bound=margin, sd_within=size.sd_within, from_round=start, alpha=design.alpha
        )

    return Question(
        part="plateau",
        power=power,
        half_width=_difference_width(size.sd_within, k, 2 * design.alpha),
        smallest=smallest,
        assumed=0.0,
        seen=_seen_by_search(power, smallest, lowest=1e-6),
        method=f"plateau rule: every pair of rounds from round {start} on equivalent (pooled error)",
    )


def _fitness(part, outcome, smallest, design, truth) -> Question:
    step, as_slope = design.capacity_step, part == "slope"
    assumed = abs(truth.size(outcome).slope) * step
    limits: dict[tuple[str, ...], float] = {}
    signals: dict[tuple[float, tuple[str, ...]], FitnessSignal] = {}

    def adjustment(n):
        return replace(design, n=max(n, 3)).adjustment(outcome, truth) if as_slope else ()

    def signal(effect, n) -> FitnessSignal:
        adjust = adjustment(n)
        if adjust not in limits:
            limits[adjust] = _largest_effect(
                lambda size: _signal(outcome, size / step, design, truth, adjust), smallest
            )
        effect = min(abs(effect), limits[adjust])
        if (effect, adjust) not in signals:
            signals[effect, adjust] = _signal(outcome, effect / step, design, truth, adjust)
        return signals[effect, adjust]

    def r_of(effect, n):
        return abs(signal(effect, n).r_adjusted)

    def power_of_r(r, n):
        left = n - len(adjustment(n))
        return correlation_power(r, left, alpha=design.alpha) if left >= 4 else design.alpha

    def seen_r(n):
        left = n - len(adjustment(n))
        return smallest_detectable_r(left, power=WISHED, alpha=design.alpha) if left >= 4 else np.inf

    def seen_slope(n):
        from scipy.optimize import brentq

        wished = seen_r(n)
        limit = signal(assumed, n) and limits[adjustment(n)]
        if not r_of(limit, n) > wished:
            return np.inf
        grid = np.linspace(0, limit, 41)  # other causes may outweigh a small slope at first
        turn = grid[int(np.argmin([r_of(effect, n) for effect in grid]))]
        return float(brentq(lambda effect: r_of(effect, n) - wished, turn, limit))

    def slope_width(n):
        df = n - len(adjustment(n)) - 2
        if df < 1:
            return np.inf
        one = signal(assumed, n)
        rest = one.outcome_sd_adjusted * np.sqrt(max(1 - one.r_adjusted**2, 0))
        return _t_width(design.alpha, df, rest / one.capacity_sd_adjusted * _mean_inverse_chi(df + 1)) * step

    if as_slope:
        return Question(
            part, lambda effect, n: power_of_r(r_of(effect, n), n), slope_width, smallest, assumed, seen_slope,
            "t test of the slope of the athletes' means (exact distribution of the partial correlation)", least=4,
        )  # fmt: skip
    return Question(
        part, power_of_r, lambda n: correlation_precision(r_of(assumed, n), n) if n >= 4 else np.inf,
        r_of(smallest, 4), r_of(assumed, 4), seen_r,
        "test of the correlation of the athletes' means (exact under the bivariate normal)", least=4,
    )  # fmt: skip


def _signal(outcome, slope, design, truth, adjust) -> FitnessSignal:
    changed = truth.but(**{outcome: {"slope": -slope}})
    return fitness_signal(changed, rounds=design.rounds, outcome=outcome, adjust=adjust)


def _largest_effect(signal: Callable, start: float) -> float:
    """Largest slope effect that still fits into the assumed spread between athletes."""

    def fits(effect):
        try:
            signal(effect)
        except KitError:
            return False
        return True

    low, high = 0.0, max(start, 1e-6)
    while fits(high) and high < 1e6 * max(start, 1e-6):
        low, high = high, 2 * high
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _seen_by_search(power: Callable, start: float, *, lowest: float = 0.0) -> Callable[[int], float]:
    def seen(n):
        from scipy.optimize import brentq

        high = start
        while power(high, n) < WISHED:
            high *= 2
        return float(brentq(lambda effect: power(effect, n) - WISHED, lowest * high, high, xtol=1e-9 * high))

    return seen


def _difference_width(sd_within: float, rounds: int, alpha: float) -> Callable[[int], float]:
    return lambda n: _t_width(alpha, (n - 1) * (rounds - 1), sd_within * np.sqrt(2 / n))


def _t_width(alpha: float, df: float, error: float) -> float:
    """Mean half width of a t interval whose true standard error is `error`; the sample SD is too small on average."""
    from scipy.special import gammaln
    from scipy.stats import t as student

    shrink = np.sqrt(2 / df) * np.exp(gammaln((df + 1) / 2) - gammaln(df / 2))
    return float(student.isf(alpha / 2, df) * error * shrink)


def _mean_inverse_chi(m: float) -> float:
    """Mean of 1/χ with m degrees of freedom: what the spread of capacities in a small sample does to a slope's error."""
    from scipy.special import gammaln

    return float(np.exp(gammaln((m - 1) / 2) - gammaln(m / 2)) / np.sqrt(2))


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
    design: Design | Mapping, truth: Assumptions | Mapping | None = None, *,
    ranges: Mapping[str, tuple[float, float]] | None = None, n_draws: int = 200, n_studies: int = 50, seed: int = 0,
) -> Assurance:  # fmt: skip
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
            ("shown", "clear", "clear_ci_low", "clear_ci_high", "low", "middle", "high", "share_above_80"), float("nan")
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
        mode = assumed_value(truth, name)
        if not (np.isfinite(low) and np.isfinite(high) and low <= high):
            raise KitError(f"The range of {name} is {low} to {high}; give the lowest and the highest plausible value.")
        if name in given and not low <= mode <= high:
            raise KitError(f"{name} is assumed to be {mode:g}, outside its range of {low:g} to {high:g}.")
        found[name] = (min(float(low), mode), mode, max(float(high), mode))
    return found


def _draw(truth: Assumptions, opened: dict, rng) -> Assumptions:
    for _ in range(200):
        drawn = {
            name: float(rng.triangular(low, mode, high)) if high > low else mode
            for name, (low, mode, high) in opened.items()
        }
        try:
            one = truth.but(**by_outcome(drawn))
            for outcome in ("heart_rate", "lactate", "exertion"):
                athlete_loadings(one, outcome)
        except KitError:
            continue
        return one
    raise KitError("The ranges leave no combination that can be: spreads of athletes that fit their causes.")


def _shares(counted: pd.DataFrame) -> pd.DataFrame:
    asked = counted["asked"].where(counted["asked"] > 0)
    return counted[["question", "part"]].assign(shown=counted["found"] / asked, clear=counted["clear"] / asked)
