"""Throw damaged files at the readers: every one must give a Recording or a RecordingError, quickly.

    python tests/benchmarks/recordings_fuzz.py [how many] [seed]

Files made in the tests, and the real recordings where their folder is present. Prints what went wrong, by seed and
number, so that it can be kept as a regression test.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path.insert(0, str(HERE.parents[1] / "recordings"))

from mutate import mutate, seeds  # noqa: E402

from analysis.recordings import RecordingError, inspect_recording, list_labels, read_recording  # noqa: E402


def main(count: int = 5000, seed: int = 1) -> int:
    """Run; return the number of failures."""
    files = seeds()
    real = HERE.parents[3] / "shared" / "recordings"
    if real.is_dir():
        files |= {p.name: p.read_bytes()[:60_000] for p in sorted(real.iterdir())}
    names = list(files)
    failures, refused, slowest = 0, 0, (0.0, "")
    folder = Path(tempfile.mkdtemp())
    for i in range(count):
        rng = np.random.default_rng([seed, i])
        name = names[int(rng.integers(len(names)))]
        path = folder / name
        path.write_bytes(mutate(rng, files[name]))
        begin = time.perf_counter()
        try:
            inspect_recording(path)
            labels = list_labels(path)
            got = read_recording(path, label=labels[0] if labels else None)
            got.mean_hr_bpm()
        except RecordingError:
            refused += 1
        except Exception as fault:
            failures += 1
            print(f"seed {seed}, number {i}, {name}: {type(fault).__name__}: {str(fault)[:200]}")
        taken = time.perf_counter() - begin
        slowest = max(slowest, (taken, f"{name}, number {i}"))
    read = count - refused - failures
    print("| files | read | refused in words | failed | slowest (s) |\n|---|---|---|---|---|")
    print(f"| {count} | {read} | {refused} | {failures} | {slowest[0]:.2f} ({slowest[1]}) |")
    return failures


if __name__ == "__main__":
    sys.exit(min(main(*map(int, sys.argv[1:])), 1))
