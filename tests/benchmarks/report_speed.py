"""Time the report of the demo study, without and with notebooks.

    python tests/benchmarks/report_speed.py

Aim on two idle cores: 12 s without notebooks, 40 s with all of them.
"""

import tempfile
import time
from pathlib import Path

from analysis.answers.walk import DEMO_FOLDER
from analysis.report import build_report


def main():
    """Print the seconds that each report takes."""
    for notebooks in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            start = time.perf_counter()
            build_report(DEMO_FOLDER, Path(folder) / "output", notebooks=notebooks, timings=True)
            print(f"{'with' if notebooks else 'without'} notebooks: {time.perf_counter() - start:.1f} s\n")


if __name__ == "__main__":
    main()
