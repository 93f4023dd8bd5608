"""What the sheet of aerobic tests may hold: the tests that the kit knows, their inputs, and rows that lack one."""

from __future__ import annotations

from functools import cache, partial

import pandas as pd

from ..basics import KitError, did_you_mean, join_words
from ..physiology.aerobic_tests import INPUTS, known_aerobic_tests
from ..physiology.running import shuttles_in_level
from .columns import Column, column_rules, lines_of, place
from .problems import Findings, asked
from .settings import SETTINGS_FILE, Settings

_KINDS = {"number": "number", "integer": "whole", "time": "minutes", "choice": "choice", "text": "text"}
_SHUTTLE_SETTINGS = {"level_called": ("start", "end"), "stage_table": ("from_8_0", "from_8_5")}
"""What [fitness] says of a shuttle run: key -> what may be written; the first is taken where nothing is said."""
_FROM_ATHLETES = frozenset({"mass_kg", "age_years", "sex", "hr_max_bpm", "hr_rest_bpm"})
"""Inputs that the athletes table can give."""


@cache
def known_tests() -> tuple[str, ...]:
    """Return the names of the aerobic tests."""
    return tuple(dict.fromkeys(known_aerobic_tests()["test"]))


@cache
def more_columns() -> dict[str, Column]:
    """Return the inputs of aerobic tests that the rules table does not list, as columns."""
    listed = column_rules()["aerobic_tests"]
    return {
        name: Column(
            *("aerobic_tests", name, _KINDS[i.kind], i.unit),
            *((i.low, i.high, None, None) if i.low > float("-inf") else (None,) * 4),
            *(i.choices, "", i.meaning, (), ()),
        )
        for name, i in INPUTS.items()
        if name not in listed and i.kind in _KINDS
    }


@cache
def needed_inputs(test: str) -> tuple[tuple[str, ...], ...]:
    """Return what a test needs: alternatives, each a tuple of inputs."""
    tests = known_aerobic_tests()
    texts = tests.loc[(tests["test"] == test) & tests["default"], "inputs"]
    return tuple(tuple(part.split(", ")) for part in texts.iloc[0].split(" or ")) if len(texts) else ()


def check_aerobic_tests(table: pd.DataFrame, findings: Findings) -> None:
    """Remark on rows that lack an input of their test."""
    for line in lines_of(table):
        given = {name for name in table.columns if _is_given(getattr(line, name))} | _FROM_ATHLETES
        given |= {INPUTS[name].becomes for name in given if name in INPUTS}
        if "file" in given:
            given.add("samples")
        lacks = [[i for i in needs if i not in given] for needs in needed_inputs(line.test)]
        _check_shuttle(line, findings)
        typed = given & {*column_rules()["aerobic_tests"], *more_columns()} - _FROM_ATHLETES
        if typed <= {"athlete", "test", "phase", "occasion", "level_called", "stage_table"}:
            continue  # a row whose keys were filled in beforehand
        if lacks and all(lacks):
            # of several ways the one that was begun, else the usual one, which stands first
            begun = [sum(i in given - _FROM_ATHLETES for i in needs) for needs in needed_inputs(line.test)]
            lack = lacks[begun.index(max(begun))]
            problem = f"{line.test} still needs {join_words(lack).replace('samples', 'a gas-exchange file')}"
            remedy = "fill it in; until then this test gives no capacity"
            findings.remark(
                *place("aerobic_tests", line), lack[0] if lack[0] != "samples" else "file", "", problem, remedy
            )


def _check_shuttle(line, findings: Findings) -> None:
    """Find more shuttles than the level has."""
    if line.test != "shuttle_run_20m" or not (_is_given(line.level) and _is_given(line.shuttle)):
        return
    later = getattr(line, "level_called", "") == "end"
    try:
        there = shuttles_in_level(int(line.level) + later)
    except KitError:
        return  # a level outside its limits is a problem already
    if line.shuttle > there:
        problem = f"level {int(line.level)} has {there} shuttles"
        where = place("aerobic_tests", line)
        findings.problem(*where, "shuttle", f"{line.shuttle:g}", problem, "correct the level or the shuttle")


def _is_given(value) -> bool:
    return value != "" and not pd.isna(value)


def check_fitness(settings: Settings, findings: Findings) -> None:
    """Find keys and values of [fitness] that cannot be."""
    part = settings.get("fitness")
    if part is None:
        return
    if not isinstance(part, dict):
        remedy = 'write [fitness] and below it tests = ["shuttle_run_20m"]'
        settings.say(findings.problem, ("fitness",), part, "not a section", remedy)
        return
    keys = ("tests", *_SHUTTLE_SETTINGS)
    for key, value in part.items():
        say = partial(settings.say, findings.problem, ("fitness", key))
        if key not in keys:
            said = f"no such setting of [fitness]{asked(did_you_mean(key, keys))}"
            say(value, said, f"write one of {', '.join(keys)}")
        elif key == "tests":
            given = value if isinstance(value, list) else [value]
            for test in given:
                if test not in known_tests():
                    said = f"no such aerobic test{asked(did_you_mean(str(test), known_tests()))}"
                    say(test, said, f"write one of {', '.join(known_tests())}")
        elif value not in _SHUTTLE_SETTINGS[key]:
            words = " or ".join(f'"{word}"' for word in _SHUTTLE_SETTINGS[key])
            say(value, "not one of the two", f"write {key} = {words}")


def fill_fitness(table: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Give the rows of shuttle runs what [fitness] says of the recording; ask where it says nothing."""
    shuttle = table["test"].eq("shuttle_run_20m")
    if not shuttle.any():
        return table
    part = settings.get("fitness")
    part = part if isinstance(part, dict) else {}
    table = table.copy()
    for key, allowed in _SHUTTLE_SETTINGS.items():
        given = part.get(key)
        had = table[key] if key in table else pd.Series("", index=table.index)
        if given not in allowed and key == "level_called" and had[shuttle].eq("").any():
            problem = (
                "the recording of the shuttle run may call a level at its start or at its end; the kit takes the start"
            )
            remedy = 'write level_called = "start" or level_called = "end" under [fitness]'
            findings.remark(SETTINGS_FILE, settings.line_of("fitness"), key, "", problem, remedy)
        value = given if given in allowed else allowed[0]
        table[key] = had.mask(shuttle & had.eq(""), value)
    return table
