"""Rounds, work and rest of the evening, and the exertion scales: `Protocol`."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..basics import Result

SCALES = ("6-20", "0-10", "0-100")
"""The exertion scales: numbers only; their words belong to the holders of the rights."""


@dataclass(frozen=True)
class Protocol(Result):
    """Rounds, work and rest of the evening.

    Parameters
    ----------
    rounds : int
        Number of rounds; 0 in a survey of sessions, which has none.
    work_s, rest_s : float
        Length of a round and of the rest after it, in seconds.
    exertion_scale : str
        "6-20", "0-10" or "0-100".
    groups : dict
        Group -> Protocol, where a group differs.

    Examples
    --------
    >>> Protocol(4, 300.0, 120.0).for_group("novice").rounds
    4
    """

    rounds: int = 0
    work_s: float = float("nan")
    rest_s: float = float("nan")
    exertion_scale: str = "6-20"
    groups: dict[str, Protocol] = field(default_factory=dict)

    def for_group(self, group: str) -> Protocol:
        """Return the protocol of a group: its own, or the common one."""
        return self.groups.get(group, self)

    @property
    def most_rounds(self) -> int:
        """The largest number of rounds of any group."""
        return max([self.rounds, *(p.rounds for p in self.groups.values())])
