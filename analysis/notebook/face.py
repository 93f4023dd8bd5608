"""The names that `from analysis.notebook import *` brings: rooms and what is told of each topic, opened when first used."""

from __future__ import annotations

import importlib
import importlib.util
from types import ModuleType

TOPICS = ("study", "planning", "cleaning", "rounds", "fitness", "pace", "published", "survey", "training")


class Room:
    """A room or module of the kit that is imported when first asked for something."""

    def __init__(self, name: str):
        self._name = name

    def _module(self) -> ModuleType:
        return importlib.import_module(self._name)

    def __getattr__(self, name: str):
        if name.startswith("_"):
            raise AttributeError(name)
        return getattr(self._module(), name)

    def __dir__(self):
        return [n for n in getattr(self._module(), "__all__", dir(self._module())) if not n.startswith("_")]


class Told:
    """What is told of every topic in one way, under one name: sentences, tables or figures."""

    def __init__(self, *parts: str):
        self._parts = parts

    def _modules(self):
        for topic in TOPICS:
            for part in self._parts:
                name = f"analysis.telling.{topic}.{part}"
                if importlib.util.find_spec(name) is not None:
                    yield importlib.import_module(name)

    def __getattr__(self, name: str):
        if name.startswith("_"):
            raise AttributeError(name)
        found = [
            vars(module)[name] for module in self._modules()
            if getattr(vars(module).get(name), "__module__", None) == module.__name__
        ]  # fmt: skip
        if len(found) != 1:
            why = "nothing is told" if not found else "several topics tell something"
            raise AttributeError(f"{why} under the name {name}")
        return found[0]

    def __dir__(self):
        return sorted(
            n for m in self._modules() for n, v in vars(m).items()
            if not n.startswith("_") and callable(v) and getattr(v, "__module__", "") == m.__name__
        )  # fmt: skip


say = Told("sentences", "tables", "methods")
draw = Told("figures")
planning = Room("analysis.planning")
sheets = Room("analysis.sheets")
sliders = Room("analysis.notebook.sliders")
report = Room("analysis.report")
physiology = Room("analysis.physiology")
pace = Room("analysis.pace")
study = Room("analysis.study")
training = Room("analysis.training")
sns = Room("seaborn")
pg = Room("pingouin")
