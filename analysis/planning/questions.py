"""What each planned question asks of the numbers: its power at any effect and size, and the interval to expect."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..basics import KitError
from .attenuation import FitnessSignal, fitness_signal
from .correlation import correlation_power, correlation_precision, smallest_detectable_r, smallest_size
from .design import Assumptions, Design, round_profile
from .paired import plateau_power, two_tailed_power
from .rounds import effect_f_of, rounds_power

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


def level_from(rounds: int) -> int:
    """Round from which the "levels" profile is flat, or the last but one where there is none."""
    return min(3, rounds - 1)


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
    start = level_from(k)

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
