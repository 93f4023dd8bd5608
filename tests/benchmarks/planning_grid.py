"""How long a whole grid of simulated studies takes: 12 sizes x 5 truths x 2,000 studies, all planned questions.

Run: python tests/benchmarks/planning_grid.py [workers ...]. Prints seconds, microseconds per study, and whether the numbers are
the same whatever the number of workers; then where the time of one study goes, by size. On a busy machine look at the processor
time of one worker: divided by the cores it is what an idle machine needs.
"""

import sys
import time

import numpy as np

from analysis.notebook.sliders import QUESTIONS, curves_of, picture_of
from analysis.planning import Assumptions, answer_design, simulate_grid, simulate_studies
from analysis.planning.ask import ask_fitness, ask_ranks, ask_rounds, generate_studies
from analysis.planning.design import Design

SIZES = (8, 9, 10, 11, 12, 14, 16, 18, 20, 24, 28, 32)
TRUTHS = {
    "as assumed": None,
    "twice the slope": {"heart_rate": {"slope": -1.2}},
    "creeping rise": {"shape": "creeps"},
    "predicted capacity": {"test_error_kind": "prediction", "test_error": 4.4},
    "mixed club, more losses": {"share_women": 0.3, "leave": 0.05, "strap_loss": 0.1, "capacity_sd": 6.0},
}
STUDIES = 2000


def grid(workers, n_studies=STUDIES):
    start = time.perf_counter()
    found = simulate_grid([Design(n) for n in SIZES], TRUTHS, n_studies=n_studies, n_jobs=workers)
    return found, time.perf_counter() - start


def main():
    counts = [int(a) for a in sys.argv[1:]] or [2]
    total = len(SIZES) * len(TRUTHS) * STUDIES
    print(
        f"{len(SIZES)} sizes x {len(TRUTHS)} truths x {STUDIES} studies = {total} studies, aim: under 20 s on two cores"
    )
    simulate_studies(Design(8), n_studies=10)  # imports
    tables = []
    for workers in counts:
        found, seconds = grid(workers)
        tables.append(found.power)
        print(f"{workers} workers: {seconds:6.1f} s, {1e6 * seconds / total:6.1f} us per study (wall)")
    busy = time.process_time()
    grid(1)
    busy = time.process_time() - busy
    print(f"1 worker: {busy:6.1f} s of processor time, {1e6 * busy / total:6.1f} us per study")
    small = [grid(workers, 50)[0].power for workers in (1, 2)]
    same = small[0].equals(small[1]) and all(t.equals(tables[0]) for t in tables)
    print(f"same numbers whatever the number of workers: {same}")
    print("\nCPU per study by part (us)")
    print(f"{'n':>4} {'draw':>7} {'rounds':>7} {'fitness':>8} {'ranks':>7}")
    for n in (8, 16, 32):
        design, truth, rng = Design(n), Assumptions(), np.random.default_rng(0)
        batch, drawn = timed(generate_studies, design, truth, 1000, rng)
        rounds = timed(ask_rounds, batch.heart_rate, "heart_rate", 5.0, design, truth)[1]
        fitness = timed(ask_fitness, batch, "heart_rate", design, truth)[1]
        ranks = timed(ask_ranks, batch.exertion, design)[1]
        print(f"{n:>4} {drawn:7.1f} {rounds:7.1f} {fitness:8.1f} {ranks:7.1f}")
    print("\nOne move of a slider (ms of processor time, best of 10; aim: under 100)")
    answer = answer_design(4, n=12)
    for words, question in QUESTIONS.items():
        moves = []
        for step in range(10):
            start = time.process_time()
            picture_of(curves_of(answer, {"question": question, "n": 10 + step}))
            moves.append(1e3 * (time.process_time() - start))
        print(f"{min(moves):6.0f}  {words}")


def timed(call, *arguments):
    best, out = np.inf, None
    for _ in range(3):
        start = time.process_time()
        out = call(*arguments)
        best = min(best, time.process_time() - start)
    return out, 1e6 * best / 1000


if __name__ == "__main__":
    main()
