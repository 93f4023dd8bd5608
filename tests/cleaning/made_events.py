"""Recordings of devices that write a row only now and then: which seconds of a made trace they would have written."""

from __future__ import annotations

import numpy as np
from made_traces import MadeTrace

from analysis.cleaning import CleaningRules
from analysis.cleaning.flags import flag_codes, spans_of
from analysis.cleaning.measure import measure_round
from analysis.recordings.recording import AT_CHANGES, judge_steps

RULES = CleaningRules()

# name of a rule: change in bpm that is written, longest step; or shortest and longest random step; share of steps of 45 s
EVENT_RULES = {
    "change of 1 bpm": {"change": 1},
    "change of 2 bpm": {"change": 2},
    "change of 2 bpm, at most 20 s": {"change": 2, "longest": 20},
    "change of 4 bpm, at most 20 s": {"change": 4, "longest": 20},
    "random, 1 to 9 s": {"steps": (1, 9)},
    "random, 1 to 20 s": {"steps": (1, 20)},
    "every 5 s": {"steps": (5, 5)},
    "random, 1 to 9 s, 2 % of 45 s": {"steps": (1, 9), "pause_share": 0.02},
    "change of 2 bpm, 2 % of 45 s": {"change": 2, "longest": 20, "pause_share": 0.02},
    "every 5 s, 2 % of 45 s": {"steps": (5, 5), "pause_share": 0.02},
}


def seconds_written(
    rng: np.random.Generator,
    trace: MadeTrace,
    *,
    change: float = 0,
    longest: int = 10_000,
    steps: tuple[int, int] = (1, 1),
    pause_share: float = 0.0,
    pause_s: int = 45,
) -> np.ndarray:
    """Places of the rows that a device writes: at changes, or after random steps, and some steps of 45 s."""
    rates, places, i = trace.rates, [0], 0
    while True:
        if pause_share and rng.random() < pause_share:
            j = i + pause_s
        elif change:
            j = i + 1
            while j < len(rates) and abs(rates[j] - rates[i]) < change and j - i < longest:
                j += 1
        else:
            j = i + int(rng.integers(steps[0], steps[1] + 1))
        if j >= len(rates):
            return np.array(places)
        places.append(j)
        i = j


def lose_contact(
    rng: np.random.Generator, places: np.ndarray, seconds: int, spans: int, *, low: int = 10, high: int = 90
):
    """Leave out the rows of some stretches, as a lost strap does."""
    for _ in range(spans):
        begin = int(rng.integers(60, seconds - high - 30))
        end = begin + int(rng.integers(low, high + 1))
        places = places[(places < begin) | (places >= end)]
    return places


def round_errors(trace: MadeTrace, places: np.ndarray, *, by_limit_alone: bool = False) -> np.ndarray:
    """Errors of the round means of what a device wrote, by the rules of reading and cleaning; NaN where there is no mean.

    `by_limit_alone` takes every step over 5 s or twice the usual step for missing time, whatever the file.
    """
    times, rates = trace.elapsed[places], trace.rates[places]
    limit = max(5.0, min(2 * float(np.median(np.diff(times))), 30.0))
    judged = judge_steps(times, rates, given=limit if by_limit_alone else None)
    codes = flag_codes(times, rates, hr_max_bpm=None, rules=RULES)
    lost = [(times[i], times[i + 1]) for i in np.flatnonzero(~judged.joined)]
    bells = [(s, s + trace.work_s) for s in trace.starts]
    spans = spans_of(
        times, rates, codes, judged.limit_s, lost=lost, bells=bells, at_changes=judged.written == AT_CHANGES
    )
    found = [measure_round(spans, a, b, RULES, np.inf)[0]["hr_mean_bpm"] for a, b in bells]
    return np.array([f - trace.true_mean(k) for k, f in enumerate(found)])
