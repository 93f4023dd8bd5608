"""Time the report of the demo study, without and with notebooks: seconds by the clock, and of all processors together.

    python tests/benchmarks/report_speed.py

Aim on two idle cores: 12 s without notebooks, 40 s with all of them. Beside other work, the processor time says more.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from analysis.answers.walk import DEMO_FOLDER


def main():
    """Print where the time of each report goes, and how much it takes."""
    with tempfile.TemporaryDirectory() as folder:
        study = Path(folder) / "demo"
        shutil.copytree(DEMO_FOLDER, study, ignore=shutil.ignore_patterns("output", "notebooks"))
        for words, more in (("without", ["--no-notebooks"]), ("with", [])):
            start, before = time.perf_counter(), os.times()
            subprocess.run([sys.executable, "-m", "analysis", "report", study, "--timings", *more], check=True)
            seconds, after = time.perf_counter() - start, os.times()
            busy = after.children_user - before.children_user + after.children_system - before.children_system
            print(f"{words} notebooks: {seconds:.1f} s by the clock, {busy:.1f} s of processors\n", flush=True)


if __name__ == "__main__":
    main()
