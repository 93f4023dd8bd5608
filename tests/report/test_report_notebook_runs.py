"""Running notebooks: side by side, none with names of another, and two lines where one fails."""

import asyncio
import os
import pickle
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from queue import Empty
from types import SimpleNamespace
from typing import ClassVar

import pytest

from analysis.report.notebook_pages import (
    NotebookError,
    NotebooksAside,
    copy_notebooks,
    find_notebooks,
    look_every_second,
    notebook_format,
    run_notebooks,
)


@pytest.fixture
def make_notebook(tmp_path):
    def make(name, *sources):
        nbformat = notebook_format()
        cells = [nbformat.v4.new_markdown_cell(f"# About {name}\n\n## First part")]
        cells += [nbformat.v4.new_code_cell(s) for s in sources]
        path = tmp_path / f"{name}.ipynb"
        nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
        return path

    return make


def test_good_notebooks_become_pages_in_order(make_notebook, tmp_path, check_page):
    first = make_notebook(
        "00_first", "import os\nprint(os.environ['STUDY_FOLDER'])", "import warnings; warnings.warn('w')"
    )
    second = make_notebook("01_second", "import ipywidgets\nipywidgets.IntSlider()", "object()")
    home = dict(os.environ)
    runs = run_notebooks(tmp_path, [first, second])
    assert dict(os.environ) == home
    assert [(r.name, r.title) for r in runs] == [("00_first", "About 00_first"), ("01_second", "About 01_second")]
    assert str(tmp_path.resolve()) in runs[0].page
    assert "In the notebook a slider stands here" in runs[1].page
    assert " at 0x" not in runs[1].page and "ipykernel_" not in runs[0].page
    for run in runs:
        check_page(run.page, closed=False)


def test_failures_name_notebook_cell_and_error_in_two_lines(make_notebook, tmp_path):
    bad = make_notebook("00_bad", "x = 1", "# why\ny = x / 0")
    good = make_notebook("01_good", "1")
    with pytest.raises(NotebookError) as caught:
        run_notebooks(tmp_path, [bad, good])
    assert str(caught.value).splitlines() == [
        "00_bad.ipynb, cell 3 (y = x / 0) stopped:",
        "  ZeroDivisionError: division by zero",
    ]


def test_strict_takes_a_warning_as_failure(make_notebook, tmp_path):
    warns = make_notebook("00_warns", "import warnings\nwarnings.warn('careful')")
    with pytest.raises(NotebookError, match=r"00_warns\.ipynb, cell 2 warned:\n.*UserWarning: careful"):
        run_notebooks(tmp_path, [warns], strict=True)


def test_dead_kernel_is_named_and_the_next_notebook_has_another(make_notebook, tmp_path, monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    dies = make_notebook("00_dies", "import os\nos._exit(1)")
    fails = make_notebook("01_fails", "1 / 0")
    with pytest.raises(NotebookError) as caught:
        run_notebooks(tmp_path, [dies, fails])
    assert str(caught.value).splitlines() == [
        "00_dies.ipynb, cell 2 (import os) stopped:",
        "  Python died",
        "01_fails.ipynb, cell 2 (1 / 0) stopped:",
        "  ZeroDivisionError: division by zero",
    ]


def test_a_notebook_knows_no_name_of_the_one_before(make_notebook, tmp_path, monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    first = make_notebook("00_first", "kept = 1")
    second = make_notebook("01_second", "'kept' in globals()")
    assert "False" in run_notebooks(tmp_path, [first, second])[1].page


def test_stopping_ends_soon(make_notebook, tmp_path):
    slow = make_notebook("00_slow", "import time\ntime.sleep(60)")
    stop = threading.Event()
    threading.Timer(1.5, stop.set).start()
    start = time.perf_counter()
    assert run_notebooks(tmp_path, [slow], stop=stop) == []
    assert time.perf_counter() - start < 20


def test_nothing_wanted_runs_nothing(tmp_path):
    from analysis.answers import Answers
    from analysis.study import Study

    with NotebooksAside(Answers(Study(folder=tmp_path)), keep_in=tmp_path, wanted=False) as running:
        assert running.wait() == []


def test_copies_are_never_written_over_once_changed(tmp_path):
    target, kept = copy_notebooks(tmp_path)
    assert kept == [] and sorted(p.name for p in target.glob("*.ipynb")) == [p.name for p in find_notebooks()]
    if not find_notebooks():
        pytest.skip("the kit has no notebooks here")
    mine = target / find_notebooks()[0].name
    mine.write_text("{}")
    assert copy_notebooks(tmp_path) == (target, [mine.name])
    assert mine.read_text() == "{}"


def test_answers_are_handed_over_and_not_computed_again(make_notebook, tmp_path):
    from analysis.answers import Answers
    from analysis.study import Study

    kept = tmp_path / "answers"
    kept.write_bytes(pickle.dumps(Answers(Study(folder=tmp_path, title="Handed over"))))
    source = "from analysis.answers import open_answers\nprint(open_answers().study.title)"
    runs = run_notebooks(tmp_path, [make_notebook("00_takes", source)], kept=kept)
    assert "Handed over" in runs[0].page
    with pytest.raises(NotebookError, match="no such folder"):
        run_notebooks(tmp_path / "elsewhere", [make_notebook("00_other", source)], kept=kept)


class _Counted:
    """Counts where it is asked for its state, as pickling does."""

    study = SimpleNamespace(folder=".")
    asked_by: ClassVar[list] = []

    def __reduce__(self):
        self.asked_by.append(threading.current_thread())
        return (object, ())


def test_answers_are_kept_before_the_caller_goes_on(tmp_path):
    """A caller adds answers while the notebooks run; kept in another thread they were torn now and then."""
    NotebooksAside(_Counted(), keep_in=tmp_path)
    assert _Counted.asked_by == [threading.main_thread()]
    (kept,) = tmp_path.iterdir()  # not in the folder that the system has for everybody
    assert kept.stat().st_mode & 0o077 == 0


class _MissesTheSignal:
    """A channel whose waits do not notice a message that comes in meanwhile, as a socket does that is sent on."""

    def __init__(self, comes_after_s):
        self.arrival = time.monotonic() + comes_after_s

    async def get_msg(self, timeout=None):
        if time.monotonic() < self.arrival:
            await asyncio.sleep(1e9 if timeout is None else timeout)
            raise Empty
        return "reply"


def in_a_loop_of_its_own(get_msg, timeout):
    """Not in this thread, in which a browser of other tests may be running its own loop."""
    with ThreadPoolExecutor(1) as aside:
        return aside.submit(lambda: asyncio.run(get_msg(timeout=timeout))).result()


@pytest.mark.parametrize("timeout", [300, None])
def test_a_reply_whose_signal_was_missed_is_found(timeout):
    channel = _MissesTheSignal(0.2)
    look_every_second(channel)
    start = time.monotonic()
    assert in_a_loop_of_its_own(channel.get_msg, timeout) == "reply"
    assert time.monotonic() - start < 20


def test_a_reply_that_never_comes_is_given_up_in_time():
    channel = _MissesTheSignal(1e9)
    look_every_second(channel)
    with pytest.raises(Empty):
        in_a_loop_of_its_own(channel.get_msg, 1.2)
