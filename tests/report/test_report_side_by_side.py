"""Work done in several processes gives what it gives in one."""

import operator
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analysis.basics.parallel import SideBySide

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("cores", [1, 2])
def test_results_come_in_order(cores):
    with SideBySide(cores=cores) as workers:
        workers.share(10)
        assert workers.run(operator.add, list(range(20))) == list(range(10, 30))
        assert workers.run(operator.add, []) == []


@pytest.mark.parametrize("cores", [1, 2])
def test_an_error_of_the_work_comes_out(cores):
    with SideBySide(cores=cores) as workers, pytest.raises(ZeroDivisionError):
        workers.share(1)
        workers.run(operator.truediv, [1, 0, 1, 0])


@pytest.mark.parametrize("cores", [1, 2])
def test_something_else_is_done_meanwhile_once(cores):
    with SideBySide(cores=cores) as workers:
        workers.share(1)
        done = []
        assert workers.run(operator.add, [1, 2], meanwhile=lambda: done.append("once")) == [2, 3]
        assert done == ["once"]


def test_what_is_shared_can_change():
    with SideBySide(cores=2) as workers:
        for shared in (1, 100):
            workers.share(shared)
            assert workers.run(operator.add, [1, 2, 3, 4]) == [shared + n for n in (1, 2, 3, 4)]


@pytest.mark.skipif(not os.path.isdir("/proc"), reason="looks at processes as Linux lists them")
def test_workers_end_when_their_parent_is_killed(tmp_path):
    script = tmp_path / "parent.py"
    script.write_text(
        "import os, time\n"
        "from analysis.basics.parallel import SideBySide\n"
        "def tell(shared, piece):\n    time.sleep(0.3)\n    return os.getpid()\n"
        "if __name__ == '__main__':\n"
        "    with SideBySide(cores=2) as workers:\n"
        "        print(*set(workers.run(tell, range(20))), flush=True)\n"
        "        time.sleep(60)\n"
    )
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    numbers = {int(n) for n in parent.stdout.readline().split()} - {parent.pid}
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    parent.stdout.close()
    assert numbers
    for _ in range(50):
        if not any(os.path.exists(f"/proc/{n}") for n in numbers):
            return
        time.sleep(0.1)
    pytest.fail("a worker goes on without its parent")


STOPPED_IN_AN_ANSWER = """
import operator, time
from analysis.basics.parallel import SideBySide

def interrupted():
    time.sleep(0.8)
    raise KeyboardInterrupt

if __name__ == "__main__":
    with SideBySide(cores=2) as side:
        side.share(b"x")
        try:
            side.run(operator.mul, [60_000_000] * 60, meanwhile=interrupted)
        except KeyboardInterrupt:
            print("stopped")
"""


def test_whoever_is_stopped_while_a_worker_gives_a_large_answer_ends(tmp_path):
    """The half of an answer that was given would be awaited for ever."""
    (tmp_path / "stopped.py").write_text(STOPPED_IN_AN_ANSWER)
    done = subprocess.run(
        [sys.executable, tmp_path / "stopped.py"], env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True,
        text=True, timeout=40, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, "stopped\n"), done.stderr[-2000:]
