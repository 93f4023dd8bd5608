"""Where readers and checks put what they find: problems that stop, remarks that do not."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from .problems import Problem

MAX_LISTED = 100
"""Problems of one column beyond this number are counted, not listed: a wrong column in a long file stays readable."""


@dataclass
class Findings:
    """A growing list of problems and remarks.

    Parameters
    ----------
    problems, remarks : list of Problem
        What stops, and what does not.
    kept : frozenset of tuple
        Places (file, row, column) at which a decision keeps what a rule questions.
    """

    problems: list[Problem] = field(default_factory=list)
    remarks: list[Problem] = field(default_factory=list)
    kept: frozenset[tuple] = frozenset()
    _counts: Counter = field(default_factory=Counter)

    def problem(self, file, row, column, value, problem, remedy, *, keepable: bool = False) -> None:
        """Note something that stops."""
        self._put(True, Problem(file, row, column, str(value), problem, remedy, keepable))

    def remark(self, file, row, column, value, problem, remedy) -> None:
        """Note something that does not stop."""
        self._put(False, Problem(file, row, column, str(value), problem, remedy, True))

    def _put(self, stops: bool, found: Problem) -> None:
        if found.keepable and found.place in self.kept:
            return  # listed as settled, since it was there before the decision
        kind = (stops, found.file, found.column)
        self._counts[kind] += 1
        if self._counts[kind] <= MAX_LISTED:
            (self.problems if stops else self.remarks).append(found)

    def count_the_rest(self) -> None:
        """Say how many were not listed; called once, at the end."""
        for (stops, file, column), count in self._counts.items():
            if count > MAX_LISTED:
                rest = f"{count - MAX_LISTED:,} more of this kind in this column"
                remedy = "one cause may stand behind them all"
                (self.problems if stops else self.remarks).append(
                    Problem(file, None, column, "", rest, remedy)
                )
