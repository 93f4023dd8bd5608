"""Where readers and checks put what they find: problems that stop, remarks that do not."""

from __future__ import annotations

from dataclasses import dataclass, field

from .problems import Problem

MAX_SHOWN = 200
"""Problems of one kind beyond this number are counted, not listed: a wrong column in a long file stays readable."""


@dataclass
class Findings:
    """A growing list of problems and remarks.

    Parameters
    ----------
    problems, remarks : list of Problem
        What stops, and what does not.
    kept : frozenset of tuple
        Places (file, row, column) at which a decision keeps what a rule questions.
    settled : list of Problem
        What such a decision has settled.
    """

    problems: list[Problem] = field(default_factory=list)
    remarks: list[Problem] = field(default_factory=list)
    kept: frozenset[tuple] = frozenset()
    settled: list[Problem] = field(default_factory=list)

    def problem(self, file, row, column, value, problem, remedy, *, keepable: bool = False) -> None:
        """Note something that stops."""
        self._put(self.problems, Problem(file, row, column, str(value), problem, remedy, keepable))

    def remark(self, file, row, column, value, problem, remedy) -> None:
        """Note something that does not stop."""
        self._put(self.remarks, Problem(file, row, column, str(value), problem, remedy, True))

    def _put(self, where: list[Problem], found: Problem) -> None:
        if found.keepable and found.place in self.kept:
            where = self.settled
        where.append(found)
