"""What two invented raters marked on videos of the demo evening, from a true course of each round (called by make_demo.py)."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

SEED = 20261015
WORK_S = 300.0
STATES = ("active", "standing grip", "ground control", "apart")
SHARES_OF_THE_REST = (0.35, 0.5, 0.15)  # grip, control, apart
COLUMNS = ("session", "rater", "blind", "athlete", "round_no", "state", "start_clock", "end_clock")
# rater: blind to fitness, delay of a mark (s), short spans missed, spans taken for another state, clock ahead (s), rounds
RATERS = {"R1": ("yes", 0.5, 0.05, 0.03, 0.0, (1, 2, 3, 4)), "R2": ("no", 1.2, 0.15, 0.10, 12.0, (2, 4))}


def make_pace(codes, fitter, sparred, starts) -> tuple[list[list], list[list]]:
    """Rows of pace.csv and of true_pace.csv; `sparred(code, round_no)` says who took part, `starts` the clock of each round."""
    rng = np.random.default_rng(SEED)
    habit = rng.normal(0, 0.045, len(codes))
    rows, truth = [], []
    for i, code in enumerate(codes):
        for k, start in enumerate(starts, start=1):
            if not sparred(code, k):
                continue
            share = float(
                np.clip(0.40 + 0.011 * fitter[i] + habit[i] - 0.02 * (k - 1) + rng.normal(0, 0.03), 0.08, 0.9)
            )
            spans = course(rng, share)
            truth.append([code, k, round(sum(e - b for s, b, e in spans if s == STATES[0]), 1)])
            began = datetime.strptime(start, "%H:%M:%S")
            for rater, (blind, delay, missed, confused, ahead, rated) in RATERS.items():
                if k in rated:
                    rows += marks(
                        rng, spans, (rater, blind, code, k), began + timedelta(seconds=ahead), delay, missed, confused
                    )
    return rows, truth


def course(rng, share: float) -> list[tuple[str, float, float]]:
    """The true course of a round: spans of active work between grips, control and time apart."""
    spans, t = [], 0.0
    while t < WORK_S:
        rest = STATES[1 + int(rng.choice(3, p=SHARES_OF_THE_REST))]
        for state, mean in ((rest, 18.0 * (1 - share)), (STATES[0], 18.0 * share)):
            end = min(WORK_S, t + float(rng.gamma(4.0, mean / 4.0)) + 0.8)
            if end > t:
                spans.append((state, t, end))
            t = end
    return spans


def marks(rng, spans, who, began, delay, missed, confused) -> list[list]:
    """One rater's marks: a little late, now and then a short span not noticed."""
    rater, blind, code, k = who
    seen = [spans[0]]
    for state, begin, end in spans[1:]:
        if end - begin < 4.0 and rng.random() < 3 * missed:
            continue
        if rng.random() < confused:
            state = STATES[int(rng.integers(4))]
        if state != seen[-1][0]:
            seen.append((state, begin, end))
    times = [0.0, *(b + abs(rng.normal(delay, 0.3)) for _, b, _ in seen[1:]), WORK_S + float(rng.uniform(0, 1.5))]
    times = list(np.maximum.accumulate(np.round(times, 1)))
    return [
        ["1", rater, blind, code, k, state, clock(began, times[i]), clock(began, times[i + 1])]
        for i, (state, _, _) in enumerate(seen)
        if times[i + 1] > times[i]
    ]


def clock(began: datetime, seconds: float) -> str:
    """A time of day with tenths, as the page of the command `pace` writes it."""
    return (began + timedelta(seconds=float(seconds))).strftime("%H:%M:%S.%f")[:-5]
