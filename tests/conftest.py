"""What tests of several rooms share: the answers and the report of the demo, and which tests one worker takes together."""

import gc
import hashlib
import os
import pickle
import sys
from pathlib import Path

import pytest

# Before numpy is imported: every core has a worker of its own.
os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1") | os.environ

from analysis.answers import Answers
from analysis.answers.walk import DEMO_FOLDER
from analysis.basics.parallel import be_quick

sys.path.insert(0, str(Path(__file__).resolve().parent))
from careless_study import write_careless_study
from half_filled import LEFT_OUT, half_filled
from quick_report import answer_assurance, assure_quickly, made_here
from second_study import write_second_study

SHARED = {
    "demo_report": ("test_report_build", "test_report_layers", "test_browser_pages", "test_figures_all"),
    "careless_answers": ("test_report_codes", "test_browser_markup"),
    "half_filled_answers": ("test_notebooks", "test_answers_demo"),
}
"""Costly fixture -> the files that share it, so that one worker makes it once."""

LONG = (
    "demo_report",
    "careless_answers",
    "test_browser_lab",
    "half_filled_answers",
    "test_study_slips",
    "test_report_sharing",
    "test_report_sentences",
    "test_sheets",
    "test_planning_timetable",
    "test_docstrings",
)
"""Groups that take longest, begun first and in this order, so that no core waits for them at the end."""


be_quick()  # as the commands do


def pytest_collection_finish():
    """What was collected stays to the end: nobody need look through it for what refers to each other."""
    gc.freeze()


def group_of(nodeid: str) -> str:
    """The file of a test, or what several files share."""
    stem = Path(nodeid.split("::")[0]).stem
    return next((what for what, files in SHARED.items() if stem in files), stem)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Begin with what takes long; a costly fixture that a file outside its group would make again is an error."""
    for item in items:
        for what in set(item.fixturenames) & set(SHARED):
            assert group_of(item.nodeid) == what, f"{item.nodeid} uses {what}: name its file in SHARED"
    items.sort(key=lambda item: LONG.index(g) if (g := group_of(item.nodeid)) in LONG else len(LONG))


@pytest.hookimpl(tryfirst=True, optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Keep the tests of a group in one worker, so that it makes what they share once."""
    from xdist.scheduler import LoadFileScheduling

    class ByGroup(LoadFileScheduling):
        def _split_scope(self, nodeid):
            return group_of(nodeid)

    config.option.loadscopereorder = False  # else what has most tests would begin, whatever they take
    return ByGroup(config, log)


class KeptAnswers(Answers):
    """Answers that one worker computes for all: each is kept in a folder that the workers share."""

    keep_in: Path
    only: frozenset = frozenset()
    """What is kept; nothing named: everything."""

    def _once(self, key, compute, *, question=""):
        if self.only and (key if isinstance(key, str) else key[0]) not in self.only:
            return super()._once(key, compute, question=question)
        if key not in self._kept:
            path = self.keep_in / hashlib.sha256(repr(key).encode()).hexdigest()
            if path.exists():
                self._kept[key] = pickle.loads(path.read_bytes())
            else:
                super()._once(key, compute, question=question)
                written = path.with_suffix(f".{os.getpid()}")
                written.write_bytes(pickle.dumps(self._kept[key]))
                written.replace(path)
        return self._kept[key]

    def __reduce__(self):
        """As plain answers: other processes do not know this class."""
        return Answers, (self.study,), {n: v for n, v in vars(self).items() if n not in ("keep_in", "only")}


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory):
    """One folder for all workers."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base


def kept_answers(folder, shared, *, like=None, only=frozenset()):
    """The answers of a study folder, those of them kept that any worker has computed; `like` a folder with the same data."""
    answers = KeptAnswers.from_folder(folder)
    answers.keep_in, answers.only = shared / f"answers_of_{Path(like or folder).name}", frozenset(only)
    answers.keep_in.mkdir(exist_ok=True)
    return answers


@pytest.fixture(scope="session")
def demo_answers(shared_folder):
    """Everything that the demo study answers."""
    return kept_answers(DEMO_FOLDER, shared_folder)


@pytest.fixture(scope="session")
def demo_training(shared_folder):
    """Everything that the invented training study answers."""
    return kept_answers(DEMO_FOLDER / "training", shared_folder)


@pytest.fixture
def quick_assurance(monkeypatch):
    """Let fixing a plan simulate 100 studies instead of 10,000, for tests of something else."""
    assure_quickly(monkeypatch)


@pytest.fixture
def answers_at_hand(demo_answers, demo_training, monkeypatch):
    """Let `open_answers` and `open_training` give the answers of the demo that are at hand, as notebooks are given them."""
    known = {Path(answers.study.folder).resolve(): answers for answers in (demo_answers, demo_training)}

    def kept(folder, seed=0):
        return known.get(Path(folder).resolve()) if seed == 0 else None

    monkeypatch.setattr("analysis.answers.walk.kept_answers", kept)


OF_ROUNDS = ("cleaned", "rounds", "reliability")
SAME_AS_THE_DEMO = {
    "nothing published": (*OF_ROUNDS, "capacity", "fitness", "levels", "activity"),
    "no aerobic tests": OF_ROUNDS,
}
"""Half-filled folder -> the questions whose data it has whole, so that the answers are those of the demo."""


@pytest.fixture(scope="session")
def half_filled_answers(tmp_path_factory, shared_folder):
    """The answers of each kind of study folder that is not the demo."""
    base = tmp_path_factory.mktemp("studies")
    made = {}
    for kind in LEFT_OUT:
        folder = half_filled(kind, base / kind.replace(" ", "_"))
        if kind in SAME_AS_THE_DEMO:
            same = SAME_AS_THE_DEMO[kind]
            made[kind] = kept_answers(folder, shared_folder, like=DEMO_FOLDER, only=same)
        else:
            made[kind] = Answers.from_folder(folder)
    return {**made, "another club": Answers.from_folder(write_second_study(base / "another_club"))}


@pytest.fixture(scope="session")
def demo_report(demo_answers, tmp_path_factory):
    """The folder of the whole report of the demo, and the lines it printed; a notebook that warns stops it."""
    from analysis.report import build_report

    out = tmp_path_factory.mktemp("demo") / "output"
    lines = []
    answer_assurance(demo_answers)
    with made_here():
        page = build_report(demo_answers, out, strict=True, timings=True, progress=lines.append)
    assert page == out / "to_share" / "report.html"
    return out, lines


@pytest.fixture(scope="session")
def demo_athlete_pages(demo_answers, tmp_path_factory):
    """A page for each athlete of the demo who agreed to it."""
    from analysis.report.athlete_pages import write_athlete_pages

    return write_athlete_pages(demo_answers, tmp_path_factory.mktemp("pages") / "individual_pages")


@pytest.fixture(scope="session")
def careless_answers(tmp_path_factory):
    """The answers of a study with unusual codes and too much in its texts, its report in its folder."""
    from analysis.report import build_report

    answers = Answers.from_folder(write_careless_study(tmp_path_factory.mktemp("careless") / "study"))
    with made_here("svg"):
        build_report(answers, notebooks=False, progress=lambda line: None)
    answer_assurance(answers)
    return answers
