"""Every public figure function, with the example of its docstring and with the demo study."""

import doctest
import importlib
import inspect
import pkgutil

import matplotlib.pyplot as plt
import pytest
from figure_rules import faults_of

import analysis.telling
from analysis.report import build_document
from analysis.telling.document import Picture
from analysis.telling.export import figure_bytes

MODULES = [
    importlib.import_module(m.name)
    for m in pkgutil.walk_packages(analysis.telling.__path__, "analysis.telling.")
]
FUNCTIONS = {
    f"{module.__name__.split('.')[2]}.{name}": (module, function)
    for module in MODULES
    for name, function in vars(module).items()
    if name.startswith("draw_") and inspect.isfunction(function) and function.__module__ == module.__name__
    if inspect.signature(function).return_annotation is not None
    and "ax" in inspect.signature(function).parameters
}


@pytest.fixture(autouse=True)
def nothing_stays_open():
    yield
    assert plt.get_fignums() == []


@pytest.fixture
def answers(demo_answers):
    return demo_answers


def drawn_by_example(module, function):
    """Run the example of a docstring and return the figures that it finished."""
    figures = []
    finish = module.finish

    def keep(figure, *args, **kw):
        figures.append(finish(figure, *args, **kw))
        return figures[-1]

    example = doctest.DocTestFinder(recurse=False).find(function, globs=vars(module).copy())[0]
    module.finish = keep
    try:
        failed, tried = doctest.DocTestRunner(verbose=False).run(example)
    finally:
        module.finish = finish
    assert tried and not failed
    return figures


OF_THE_DEMO = {
    "rounds": lambda answers: answers.rounds("hr_mean_bpm"),
    "fitness": lambda answers: answers.fitness("hr_mean_bpm"),
    "published": lambda answers: answers.published(),
    "cleaning": lambda answers: answers.cleaned,
}
"""Topic -> what its functions draw."""

OTHER = {
    "cleaning.draw_trace": None,  # a trace: drawn by its example
    "cleaning.draw_tried": None,
    "fitness.draw_levels": lambda answers: answers.levels(),
    "rounds.draw_evenings": None,  # the demo sparred on one evening
}
"""Figure -> what it draws, where that is not what the figures of its topic draw."""

DRAWN_BY_DEMO = [
    n for n in sorted(FUNCTIONS) if n.split(".")[0] in OF_THE_DEMO and OTHER.get(n, "its topic") is not None
]


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_figure_of_the_example(name, answers_at_hand):
    module, function = FUNCTIONS[name]
    figures = drawn_by_example(module, function)
    if not figures:  # the example shows when there is nothing to draw; the write-up of the demo draws it
        assert "is None" in (function.__doc__ or "")
    assert figures[-1:] == [] or faults_of(figures[-1]) == []


def test_every_figure_of_the_write_up(answers):
    codes = tuple(answers.study.athletes["athlete"])
    faults = {
        p.key: found
        for p in build_document(answers).blocks(Picture)
        if (found := faults_of(p.draw(), codes=codes))
    }
    assert faults == {}


@pytest.mark.parametrize("name", DRAWN_BY_DEMO)
def test_figure_of_the_demo(name, answers):
    _, function = FUNCTIONS[name]
    result = OTHER.get(name, OF_THE_DEMO[name.split(".")[0]])(answers)
    figure = function(result)
    saved = figure_bytes(figure, "svg")
    assert faults_of(figure, codes=tuple(answers.study.athletes["athlete"])) == []
    assert saved == figure_bytes(function(result), "svg")


def test_the_rules_find_planted_faults():
    from analysis.telling.style import finish, new_axes

    figure, ax = new_axes()
    ax.plot([1, 2], [3, 4], "o", color="red")
    ax.set_xlim(0, 1.5)
    ax.set_ylabel("Mean heart rate")
    ax.text(1, 3.5, "some words here")
    ax.text(1, 3.51, "other words here")
    found = " ".join(faults_of(finish(figure, "short")))
    for fault in (
        "alt text too short",
        "without unit",
        "no label below",
        "overlap",
        "marks outside",
        "loud colour",
    ):
        assert fault in found
