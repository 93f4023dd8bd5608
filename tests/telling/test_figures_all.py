"""Every public figure function, with the example of its docstring and with the demo study."""

import doctest
import importlib
import inspect
import pkgutil

import matplotlib.pyplot as plt
import pytest
from figure_rules import faults_of

import analysis.telling
from analysis.answers import open_survey
from analysis.answers.walk import DEMO_FOLDER
from analysis.report import build_document
from analysis.telling.document import Picture
from analysis.telling.style import figure_bytes

MODULES = [
    importlib.import_module(m.name) for m in pkgutil.walk_packages(analysis.telling.__path__, "analysis.telling.")
]
FUNCTIONS = {
    f"{module.__name__.split('.')[2]}.{name}": (module, function)
    for module in MODULES
    for name, function in vars(module).items()
    if name.startswith("draw_") and inspect.isfunction(function) and function.__module__ == module.__name__
    if inspect.signature(function).return_annotation is not None and "ax" in inspect.signature(function).parameters
}


@pytest.fixture(autouse=True)
def nothing_stays_open():
    yield
    assert plt.get_fignums() == []


@pytest.fixture
def answers(demo_answers):
    return demo_answers


def drawn_by_example(module, function, at_hand):
    """Run the example of a docstring and return the figures that it finished."""
    figures = []
    finish = module.finish

    def keep(figure, *args, **kw):
        figures.append(finish(figure, *args, **kw))
        return figures[-1]

    globs = vars(module) | {n: value() for n, value in at_hand.items() if n in (function.__doc__ or "")}
    example = doctest.DocTestFinder(recurse=False).find(function, globs=globs)[0]
    module.finish = keep
    try:
        failed, tried = doctest.DocTestRunner(verbose=False).run(example)
    finally:
        module.finish = finish
    assert tried and not failed
    return figures


@pytest.fixture(scope="module")
def demo_survey():
    return open_survey(DEMO_FOLDER / "survey")


@pytest.fixture
def at_hand(demo_answers, demo_training, demo_survey, answers_at_hand):
    """What the examples draw, as the docstring of the room says; made when an example names it."""
    return {"answers": lambda: demo_answers, "training": demo_training.training, "survey": demo_survey.survey}


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_figure_of_the_example(name, at_hand, answers):
    """It keeps the rules, names nobody, and is the same to the byte when drawn again."""
    figure, again = (drawn_by_example(*FUNCTIONS[name], at_hand)[-1] for _ in range(2))
    saved = figure_bytes(figure, "svg")
    assert faults_of(figure, codes=tuple(answers.study.athletes["athlete"])) == []
    assert saved == figure_bytes(again, "svg")


def test_every_figure_of_the_write_up(answers):
    codes = tuple(answers.study.athletes["athlete"])
    faults = {
        p.key: found for p in build_document(answers).blocks(Picture) if (found := faults_of(p.draw(), codes=codes))
    }
    assert faults == {}


def test_the_rules_find_planted_faults():
    from analysis.telling.style import finish, new_axes

    figure, ax = new_axes()
    ax.plot([1, 2], [3, 4], "o", color="red")
    ax.set_xlim(0, 1.5)
    ax.set_ylabel("Mean heart rate")
    ax.text(1, 3.5, "some words here")
    ax.text(1, 3.51, "other words here")
    found = " ".join(faults_of(finish(figure, "short")))
    for fault in ("alt text too short", "without unit", "no label below", "overlap", "marks outside", "loud colour"):
        assert fault in found
