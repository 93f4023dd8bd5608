"""What the sheet of aerobic tests may hold: the tests that the kit knows, their inputs, and rows that lack one."""

from __future__ import annotations

from functools import cache

import pandas as pd

from ..basics import KitError, join_words
from ..physiology.aerobic_tests import INPUTS, known_aerobic_tests
from ..physiology.running import shuttles_in_level
from .columns import Column, column_rules, lines_of, place
from .problems import Findings

_KINDS = {"number": "number", "integer": "whole", "time": "minutes", "choice": "choice", "text": "text"}
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
        if lacks and all(lacks):
            # of several ways the one that was begun, else the usual one, which stands first
            begun = [sum(i in given - _FROM_ATHLETES for i in needs) for needs in needed_inputs(line.test)]
            lack = lacks[begun.index(max(begun))]
            findings.remark(
                *place("aerobic_tests", line),
                lack[0] if lack[0] != "samples" else "file",
                "",
                f"{line.test} still needs {join_words(lack).replace('samples', 'a gas-exchange file')}",
                "fill it in; until then this test gives no capacity",
            )


def _check_shuttle(line, findings: Findings) -> None:
    """Find more shuttles than the level has."""
    if line.test != "shuttle_run_20m" or not (_is_given(line.level) and _is_given(line.shuttle)):
        return
    try:
        there = shuttles_in_level(int(line.level))
    except KitError:
        return  # a level outside its limits is a problem already
    if line.shuttle > there:
        problem = f"level {int(line.level)} has {there} shuttles"
        where = place("aerobic_tests", line)
        findings.problem(*where, "shuttle", f"{line.shuttle:g}", problem, "correct the level or the shuttle")


def _is_given(value) -> bool:
    return value != "" and not pd.isna(value)
