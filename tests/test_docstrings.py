"""Public names say what they take and give: every function in a room's `__all__` has the sections of the guide."""

import doctest
import importlib
import inspect
import pkgutil

import pytest

import analysis

ROOMS = [m.name for m in pkgutil.iter_modules(analysis.__path__) if m.ispkg]


def public_names():
    for room in ROOMS:
        module = importlib.import_module(f"analysis.{room}")
        for name in getattr(module, "__all__", ()):
            yield pytest.param(getattr(module, name), id=f"{room}.{name}")


@pytest.mark.parametrize("thing", list(public_names()))
def test_public_name_is_documented(thing):
    if not (inspect.isfunction(thing) or inspect.isclass(thing)):
        return
    text = inspect.getdoc(thing) or ""
    assert text.splitlines() and text.splitlines()[0].strip().endswith((".", "?", ":")), (
        "needs a first line that is a sentence"
    )
    if inspect.isclass(thing):
        if not issubclass(thing, Exception) and getattr(thing, "__dataclass_fields__", None):
            assert "Parameters\n---" in text or "Attributes\n---" in text
        return
    wanted = ["Returns", "Examples"] + (["Parameters"] if inspect.signature(thing).parameters else [])
    missing = [w for w in wanted if f"{w}\n{'-' * len(w)}" not in text]
    assert not missing


def modules():
    for info in pkgutil.walk_packages(analysis.__path__, "analysis."):
        if not info.name.endswith("__main__"):
            yield info.name


@pytest.mark.parametrize("name", list(modules()))
def test_examples_in_docstrings_run(name, answers_at_hand):
    """Those of figures are run where the figures are looked at (tests/telling/test_figures_all.py)."""
    module = importlib.import_module(name)
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS)
    for example in doctest.DocTestFinder().find(module):
        drawn = example.name.rpartition(".")[2].startswith("draw_") and name.startswith("analysis.telling.")
        if not (drawn and "ax" in inspect.signature(getattr(module, example.name.rpartition(".")[2])).parameters):
            runner.run(example)
    assert runner.failures == 0
