"""What tests of several rooms share: the answers and the report of the demo, and which tests one worker takes together."""

from pathlib import Path

import pytest

from analysis.answers import Answers
from analysis.answers.walk import DEMO_FOLDER

DEMO_REPORT = "the report of the demo"
LONG = ("test_browser_lab", DEMO_REPORT, "test_browser_markup", "test_notebooks", "test_report_codes")
"""Groups that take a minute or more: begun first, so that no core waits for them at the end."""

USES_DEMO_REPORT = ("test_report_build", "test_browser_pages", "test_figures_all")


def group_of(nodeid: str) -> str:
    """The file of a test, or what several files share."""
    stem = Path(nodeid.split("::")[0]).stem
    return DEMO_REPORT if stem in USES_DEMO_REPORT else stem


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Begin with what takes long."""
    items.sort(key=lambda item: LONG.index(g) if (g := group_of(item.nodeid)) in LONG else len(LONG))


@pytest.hookimpl(tryfirst=True, optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Keep the tests of a group in one worker, so that it makes what they share once."""
    from xdist.scheduler import LoadFileScheduling

    class ByGroup(LoadFileScheduling):
        def _split_scope(self, nodeid):
            return group_of(nodeid)

    return ByGroup(config, log)


@pytest.fixture(scope="session")
def demo_answers():
    """Everything that the demo study answers."""
    return Answers.from_folder(DEMO_FOLDER)


@pytest.fixture(scope="session")
def demo_report(demo_answers, tmp_path_factory):
    """The folder of the whole report of the demo, and the lines it printed; a notebook that warns stops it."""
    from analysis.report import build_report

    out = tmp_path_factory.mktemp("demo") / "output"
    lines = []
    page = build_report(demo_answers, out, strict=True, timings=True, progress=lines.append)
    assert page == out / "to_share" / "report.html"
    return out, lines
