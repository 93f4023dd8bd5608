"""Ctrl+C in a report: one sentence, no traceback of a worker, and the earlier output as it was. check sees gas files."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from second_study import write_second_study

from analysis.answers.walk import DEMO_FOLDER
from analysis.recordings import read_gas_exchange
from analysis.study import check_study

ROOT = Path(__file__).resolve().parents[2]


def study(tmp_path):
    folder = tmp_path / "study"
    ignored = shutil.ignore_patterns("output", "how_it_was_made", "notebooks", "survey")
    shutil.copytree(DEMO_FOLDER, folder, ignore=ignored)
    return folder


@pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX")
@pytest.mark.parametrize("during", ["Reading", "Comparing rounds", "Drawing figures"])
def test_ctrl_c_is_one_sentence(tmp_path, during):
    folder = write_second_study(tmp_path / "study")
    process = subprocess.Popen(
        [sys.executable, "-m", "analysis", "report", str(folder), "--no-notebooks"],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert any(during in line for line in process.stdout)
    time.sleep(1.0)  # into the step, where the workers are busy too
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the workers too
    _, errors = process.communicate(timeout=60)
    assert "Traceback" not in errors, errors[-2000:]
    if process.returncode != 0:
        assert process.returncode == 130 and "Stopped" in errors
        assert not (folder / "output").exists()


@pytest.mark.skipif(os.name != "posix", reason="exit codes as on POSIX")
def test_ctrl_c_while_a_text_is_executed_ends_as_every_other(tmp_path):
    """As dataclasses and named tuples do on import; Python then remembers an interrupt as one that nobody caught."""
    (tmp_path / "pressed.py").write_text(
        "import sys\nfrom analysis import __main__ as kit\n"
        "kit.run_check = lambda options: exec('raise KeyboardInterrupt')\nsys.exit(kit.main(['check', 'study']))\n"
    )
    path = os.pathsep.join([str(ROOT), str(tmp_path)])
    done = subprocess.run(
        [sys.executable, "-m", "pressed"], env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 130 and "Stopped" in done.stderr


def test_check_reads_the_gas_files_that_a_report_will_read(tmp_path):
    folder = study(tmp_path)
    assert check_study(folder, read_gas=read_gas_exchange).passed
    (folder / "aerobic_files" / "A02_ramp.csv").write_text("time;something\n1;2\n")
    found = check_study(folder, read_gas=read_gas_exchange)
    assert not found.passed and "A02_ramp.csv" in found.text()
