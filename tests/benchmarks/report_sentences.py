"""Write up many simulated studies and list every sentence that breaks a rule.

    python tests/benchmarks/report_sentences.py 200

The number of studies is spread over the kinds of `report_simulated.KINDS`. Prints one line per study that has a fault and
a line of counts at the end; exit code 1 where there was any.
"""

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from report_rules import check_write_up
from report_simulated import KINDS, simulate_answers


def check(piece):
    """Return kind, seed and the faults of one study."""
    kind, seed = piece
    return kind, seed, check_write_up(simulate_answers(seed, kind))


def main(n_studies=200):
    """Check `n_studies` studies on every core."""
    start = time.perf_counter()
    pieces = [(kind, seed) for seed in range(1, n_studies // len(KINDS) + 1) for kind in KINDS]
    done, faulty = Counter(), Counter()
    with ProcessPoolExecutor() as pool:
        for kind, seed, faults in pool.map(check, pieces):
            done[kind] += 1
            faulty[kind] += bool(faults)
            for fault in faults:
                print(f"{kind} {seed}: {fault[:200]}")
    print(", ".join(f"{kind}: {faulty[kind]} of {done[kind]} with a fault" for kind in KINDS))
    print(f"{time.perf_counter() - start:.0f} s")
    return int(sum(faulty.values()) > 0)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:2])))
