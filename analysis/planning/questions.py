"""What each planned question needs to know before the data: power, the smallest effect seen, the interval to expect."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..basics import KitError
from .assumptions import Assumptions, round_profile
from .attenuation import fitness_signal
from .correlation import correlation_power, smallest_detectable_r, smallest_size
from .design import Design
from .paired import plateau_power
from .rounds import effect_f_of, rounds_power

WISHED = 0.8
MOST_ATHLETES = 500


@dataclass(frozen=True)
class Sized:
    """The numbers of one question: power at two effects, the smallest effect seen, the interval, the size.

    Parameters
    ----------
    smallest_effect, assumed_effect : float
        In the unit of the question.
    power_smallest, power_assumed : float
    detectable : float
        The effect that is seen with a chance of 80 %; infinite where none is.
    half_width : float
        Half the 95 % interval to expect (90 % for a plateau); missing for a correlation's share of nothing.
    n_for_80 : int or None
        Athletes for 80 % at the smallest effect; None where more than 500 would be needed.
    method : str
    """

    smallest_effect: float
    assumed_effect: float
    power_smallest: float
    power_assumed: float
    detectable: float
    half_width: float
    n_for_80: int | None
    method: str


def size_rounds(
    n: int, design: Design, truth: Assumptions, outcome: str, smallest: float, ranked: bool = False
) -> Sized:
    """Size the test over all rounds; effects are last minus first, spread over the rounds as the truth has it.

    Parameters
    ----------
    n : int
    design : Design
    truth : Assumptions
    outcome : {"heart_rate", "lactate", "exertion"}
    smallest : float
        The smallest effect that matters.
    ranked : bool
        Size the rank test instead, by its asymptotic relative efficiency 3k / (π(k + 1)) under normality
        (van Elteren & Noether 1959 Biometrika 46:475-477).

    Returns
    -------
    Sized

    Examples
    --------
    >>> size_rounds(12, Design(12), Assumptions(), "heart_rate", 5.0).power_smallest > 0.5
    True
    """
    size, k = getattr(truth, outcome), design.rounds
    spread = np.hypot(size.sd_between, size.sd_within)
    icc = size.sd_between**2 / spread**2
    share = 3 * k / (np.pi * (k + 1)) if ranked else 1.0
    shape = "levels" if truth.shape == "steady" else truth.shape

    def power(effect, athletes=n):
        means = round_profile(k, effect, shape)
        f = effect_f_of(means, spread) * np.sqrt(share)
        return rounds_power(n=athletes, rounds=k, effect_f=f, correlation=icc, alpha=design.alpha)

    return Sized(
        smallest_effect=smallest,
        assumed_effect=0.0 if truth.shape == "steady" else size.rise,
        power_smallest=power(smallest),
        power_assumed=power(0.0 if truth.shape == "steady" else size.rise),
        detectable=_smallest_seen(power, start=smallest),
        half_width=_t_width(design.alpha, (n - 1) * (k - 1), size.sd_within * np.sqrt(2 / n)),
        n_for_80=_size_for(lambda athletes: power(smallest, athletes), least=3),
        method=(
            "rank test over rounds, sized by its efficiency against the F test"
            if ranked
            else "F test over rounds under compound symmetry"
        ),
    )


def size_steps(n: int, design: Design, truth: Assumptions, outcome: str, smallest: float) -> Sized:
    """Size a single step between neighbouring rounds at the strictest level that Holm's rule may ask for.

    Parameters
    ----------
    n, design, truth, outcome, smallest
        As in `size_rounds`.

    Returns
    -------
    Sized

    Examples
    --------
    >>> size_steps(12, Design(12), Assumptions(), "heart_rate", 5.0).detectable > 5
    True
    """
    size, k = getattr(truth, outcome), design.rounds
    level = design.alpha / (k - 1)

    def power(effect, athletes=n):
        return _pooled_t_power(effect, athletes, k, size.sd_within, level)

    largest = float(np.max(np.abs(np.diff(round_profile(k, size.rise, truth.shape)))))
    return Sized(
        smallest_effect=smallest,
        assumed_effect=largest,
        power_smallest=power(smallest),
        power_assumed=power(largest),
        detectable=_smallest_seen(power, start=smallest),
        half_width=_t_width(design.alpha, (n - 1) * (k - 1), size.sd_within * np.sqrt(2 / n)),
        n_for_80=_size_for(lambda athletes: power(smallest, athletes), least=3),
        method="t test with the pooled error of all rounds at alpha / number of steps (a lower bound for Holm)",
    )


def size_plateau(n: int, design: Design, truth: Assumptions, outcome: str, smallest: float) -> Sized:
    """Size the plateau rule for rounds that are truly level from round 3 on (or from the last but one).

    Parameters
    ----------
    n, design, truth, outcome, smallest
        As in `size_rounds`; `smallest` is the margin.

    Returns
    -------
    Sized

    Examples
    --------
    >>> size_plateau(12, Design(12), Assumptions(), "heart_rate", 5.0).power_smallest > 0.5
    True
    """
    from scipy.optimize import brentq

    size, k = getattr(truth, outcome), design.rounds
    start = level_from(k)

    def power(margin, athletes=n):
        return plateau_power(
            n=athletes, rounds=k, bound=margin, sd_within=size.sd_within, from_round=start, alpha=design.alpha
        )

    wide = smallest
    while power(wide) < WISHED:
        wide *= 2
    narrow = brentq(lambda margin: power(margin) - WISHED, 1e-6 * wide, wide, xtol=1e-9 * wide)
    chance = power(smallest)
    return Sized(
        smallest_effect=smallest,
        assumed_effect=0.0,
        power_smallest=chance,
        power_assumed=chance,
        detectable=float(narrow),
        half_width=_t_width(2 * design.alpha, (n - 1) * (k - 1), size.sd_within * np.sqrt(2 / n)),
        n_for_80=_size_for(lambda athletes: power(smallest, athletes), least=3),
        method=f"plateau rule: every pair of rounds from round {start} on equivalent (pooled error)",
    )


def level_from(rounds: int) -> int:
    """Round from which the "levels" profile is flat, or the last but one where there is none.

    Parameters
    ----------
    rounds : int

    Returns
    -------
    int

    Examples
    --------
    >>> level_from(4), level_from(2)
    (3, 1)
    """
    return min(3, rounds - 1)


def size_slope(n: int, design: Design, truth: Assumptions, outcome: str, smallest: float) -> Sized:
    """Size the adjusted fitness slope; effects are per `capacity_step` more of true capacity.

    Parameters
    ----------
    n, design, truth, outcome, smallest
        As in `size_rounds`.

    Returns
    -------
    Sized

    Notes
    -----
    The test's error and the covariates act through the covariance that the assumptions imply.

    Examples
    --------
    >>> size_slope(12, Design(12), Assumptions(), "heart_rate", 5.0).n_for_80 > 12
    True
    """

    def signal(effect):
        changed = truth.but(**{outcome: {"slope": -abs(effect) / design.capacity_step}})
        adjust = replace(design, n=n).adjustment(outcome, truth)
        return fitness_signal(changed, rounds=design.rounds, outcome=outcome, adjust=adjust)

    return _size_fitness(
        n, design, truth, outcome, smallest, signal, unit_of=lambda s: (s.r_adjusted, s.covariates),
        method="t test of the slope of the athletes' means (exact distribution of the partial correlation)",
        as_slope=True,
    )  # fmt: skip


def size_correlation(n: int, design: Design, truth: Assumptions, outcome: str, smallest: float) -> Sized:
    """Size the plain correlation of the fitness test with the athletes' means; effects are correlations without sign.

    Parameters
    ----------
    n, design, truth, outcome, smallest
        As in `size_slope`: the correlation that the smallest slope that matters would give.

    Returns
    -------
    Sized

    Examples
    --------
    >>> size_correlation(12, Design(12), Assumptions(), "heart_rate", 5.0).detectable > 0.7
    True
    """

    def signal(effect):
        changed = truth.but(**{outcome: {"slope": -abs(effect) / design.capacity_step}})
        return fitness_signal(changed, rounds=design.rounds, outcome=outcome, adjust=())

    return _size_fitness(
        n, design, truth, outcome, smallest, signal, unit_of=lambda s: (s.r, 0),
        method="test of the correlation of the athletes' means (exact under the bivariate normal)",
        as_slope=False,
    )  # fmt: skip


def _size_fitness(n, design, truth, outcome, smallest, signal, *, unit_of, method, as_slope) -> Sized:
    from scipy.optimize import brentq

    from .correlation import correlation_precision

    assumed = abs(getattr(truth, outcome).slope) * design.capacity_step
    limit = _largest_slope_effect(signal, smallest)

    def r_of(effect):
        return abs(unit_of(signal(min(effect, limit)))[0])

    covariates = unit_of(signal(min(assumed, limit)))[1]
    seen_n = max(n - covariates, 0)

    def power(r, athletes=seen_n):
        return correlation_power(r, athletes, alpha=design.alpha) if athletes >= 4 else design.alpha

    r_smallest, r_assumed = r_of(smallest), r_of(assumed)
    if seen_n >= 4:
        r_seen = smallest_detectable_r(seen_n, power=WISHED, alpha=design.alpha)
        r_width = correlation_precision(r_assumed, seen_n)
    else:
        r_seen = r_width = np.inf
    if as_slope:
        seen = np.inf
        if r_of(limit) > r_seen:
            seen = brentq(lambda effect: r_of(effect) - r_seen, _turning_point(r_of, limit), limit)
        one = signal(min(assumed, limit))
        df = seen_n - 2
        rest = one.outcome_sd_adjusted * np.sqrt(max(1 - one.r_adjusted**2, 0))
        width = np.inf
        if df >= 1:
            error = rest / one.capacity_sd_adjusted * _mean_inverse_chi(df + 1)
            width = _t_width(design.alpha, df, error) * design.capacity_step
        effects = (smallest, assumed, seen, width)
    else:
        effects = (r_smallest, r_assumed, r_seen, r_width)
    return Sized(
        smallest_effect=float(effects[0]),
        assumed_effect=float(effects[1]),
        power_smallest=power(r_smallest),
        power_assumed=power(r_assumed),
        detectable=float(effects[2]),
        half_width=float(effects[3]),
        n_for_80=_size_for(lambda athletes: power(r_smallest, athletes - covariates), least=4 + covariates),
        method=method,
    )


def _largest_slope_effect(signal: Callable, start: float) -> float:
    """Largest slope effect that still fits into the assumed spread between athletes."""
    low, high = 0.0, max(start, 1e-6)
    for _ in range(60):
        try:
            signal(high)
        except KitError:
            break
        low, high = high, 2 * high
    for _ in range(50):
        middle = (low + high) / 2
        try:
            signal(middle)
            low = middle
        except KitError:
            high = middle
    return low


def _turning_point(r_of: Callable, limit: float) -> float:
    """Where |r| is smallest between no slope and the limit: other causes may outweigh a small slope at first."""
    grid = np.linspace(0, limit, 41)
    return float(grid[int(np.argmin([r_of(effect) for effect in grid]))])


def _pooled_t_power(effect: float, n: int, k: int, sd_within: float, alpha: float) -> float:
    from scipy.stats import nct
    from scipy.stats import t as student

    df = (n - 1) * (k - 1)
    centre = abs(effect) / (sd_within * np.sqrt(2 / n))
    quantile = student.isf(alpha / 2, df)
    return float(min(1.0, nct.sf(quantile, df, centre) + nct.sf(quantile, df, -centre)))


def _smallest_seen(power: Callable, *, start: float) -> float:
    from scipy.optimize import brentq

    high = start
    while power(high) < WISHED:
        high *= 2
    return float(brentq(lambda effect: power(effect) - WISHED, 0.0, high, xtol=1e-9 * high))


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


def _size_for(power: Callable, *, least: int) -> int | None:
    if power(MOST_ATHLETES) < WISHED:
        return None
    return smallest_size(power, WISHED, guess=20, least=least)
