"""Traces of invented sparring with known truth, and the faults that straps show: for tests and benchmarks.

Heart rate follows first order towards a level for each round and back in the rests, with a slow wobble and the rounding
of a device. It shares no code with the cleaning rules or with the demo's generating model.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd


@dataclass
class MadeTrace:
    """A trace at 1 Hz with its truth."""

    elapsed: np.ndarray
    truth: np.ndarray
    starts: np.ndarray
    work_s: float
    hr_max: float
    rates: np.ndarray = field(default_factory=lambda: np.empty(0))
    faulty: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=bool))

    def samples(self) -> pd.DataFrame:
        return pd.DataFrame({"elapsed_s": self.elapsed, "hr_bpm": self.rates})

    def true_mean(self, k: int) -> float:
        inside = (self.elapsed >= self.starts[k]) & (self.elapsed < self.starts[k] + self.work_s)
        return float(self.truth[inside].mean())


def make_trace(
    rng: np.random.Generator,
    *,
    rounds: int = 4,
    work_s: int = 300,
    rest_s: int = 120,
    before_s: int | None = None,
    after_s: int | None = None,
    bell_sd_s: float = 0.0,
    noise_bpm: float = 0.7,
    warm_up: bool = True,
) -> MadeTrace:
    """Draw one clean trace."""
    before = int(rng.integers(240, 1200)) if before_s is None else before_s
    after = int(rng.integers(120, 600)) if after_s is None else after_s
    starts, t = [], before
    for _ in range(rounds):
        starts.append(t + (round(rng.normal(0, bell_sd_s)) if bell_sd_s and starts else 0))
        t = starts[-1] + work_s + rest_s
    seconds = starts[-1] + work_s + after
    hr_max, rest = float(rng.normal(190, 8)), float(rng.normal(58, 6))
    tau_on, tau_off = rng.uniform(22, 60), rng.uniform(40, 90)
    share = rng.normal(0.87, 0.03) + np.cumsum(np.append(0.0, rng.normal(0.015, 0.01, rounds - 1)))
    goal = np.full(seconds, rest + rng.uniform(30, 50))
    if warm_up and before > 400:
        a = int(rng.integers(60, before - 250))
        goal[a : a + int(rng.integers(60, 180))] = rest + rng.uniform(55, 80)
    for k, s in enumerate(starts):
        goal[s : s + work_s] = min(share[k], 0.985) * hr_max
        goal[s + work_s : ([*starts, seconds])[k + 1]] = rest + rng.uniform(42, 58) + 4 * k
    truth = np.empty(seconds)
    level = goal[0]
    for i in range(seconds):
        level += (goal[i] - level) / (tau_on if goal[i] > level else tau_off)
        truth[i] = level
    wobble = np.convolve(rng.normal(0, 1, seconds + 60), np.ones(61) / 61, mode="valid")[:seconds]
    truth = np.minimum(truth + 14 * wobble, hr_max)
    rates = np.round(truth + rng.normal(0, noise_bpm, seconds))
    return MadeTrace(
        np.arange(seconds, dtype=float),
        truth,
        np.array(starts, dtype=float),
        float(work_s),
        hr_max,
        rates,
        np.zeros(seconds, dtype=bool),
    )


def add_fault(rng: np.random.Generator, trace: MadeTrace, kind: str, start: int, seconds: int) -> slice:
    """Put one fault in a trace; every kind lies above the stated size of its rule."""
    part = slice(start, min(start + seconds, len(trace.rates)))
    rates = trace.rates
    if kind == "no contact":
        rates[part] = np.nan
    elif kind == "zeros":
        rates[part] = 0.0
    elif kind == "flat line":
        rates[part] = rates[max(start - 1, 0)]
    elif kind == "doubling":
        rates[part] = 2 * rates[part]
    elif kind == "halving":
        rates[part] = np.round(rates[part] / 2)
    elif kind == "spike":
        rates[part] = rates[part] + rng.choice([-1, 1]) * rng.uniform(25, 60)
    elif kind == "steep spike":
        up = np.minimum(np.arange(1, part.stop - start + 1), np.arange(part.stop - start, 0, -1))
        rates[part] = rates[part] + rng.choice([-1, 1]) * np.minimum(9 * up, 60)
    elif kind == "shift":
        rates[part] = rates[part] - rng.uniform(30, 50)
    elif kind == "out of range":
        rates[part] = rng.choice([25.0, 238.0])
    elif kind == "start lag":
        rates[part] = rng.uniform(45, 200, part.stop - start)
    else:
        raise KeyError(kind)
    rates[part] = np.round(rates[part])
    trace.faulty[part] = True
    return part
