"""What an evening has for taking blood samples, and clock times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from ..basics import KitError, Result
from .design import check_size


@dataclass(frozen=True)
class Sampling(Result):
    """What the evening has for taking blood samples.

    Parameters
    ----------
    analysers, samplers : int
        Lactate analysers, and people who may take a sample and do nothing else meanwhile.
    seconds_per_sample : float
        From one athlete's drop to the next one's, gloves and reading included (s).
    target_delay_s : float
        Wished time from the end of the round to the drop (s).
    tolerance_s : float
        How far from it a sample may lie (s).
    """

    analysers: int = 1
    samplers: int = 1
    seconds_per_sample: float = 60.0
    target_delay_s: float = 60.0
    tolerance_s: float = 15.0

    def __post_init__(self):
        check_size(self.analysers, least=1, name="analysers")
        check_size(self.samplers, least=1, name="samplers")
        if not self.seconds_per_sample > 0:
            raise KitError(f"seconds_per_sample is {self.seconds_per_sample}, but must be above 0.")
        if not 0 <= self.tolerance_s <= self.target_delay_s:
            raise KitError(
                f"tolerance_s is {self.tolerance_s} and target_delay_s {self.target_delay_s}: the tolerance must be 0 or "
                "more and no longer than the delay, since nobody is sampled before the round ends."
            )

    @property
    def stations(self) -> int:
        """Samples that can be taken at the same time."""
        return min(self.analysers, self.samplers)

    @property
    def in_window(self) -> int:
        """Athletes who can be sampled inside the window when all stop at the same moment."""
        return self.stations * self.slots_in_window

    @property
    def slots_in_window(self) -> int:
        """Samples that one station takes inside the window."""
        return int(np.floor(2 * self.tolerance_s / self.seconds_per_sample + 1e-9)) + 1


def sampling_of(settings: Mapping | None) -> Sampling:
    """Read the part [sampling] of study.toml.

    Parameters
    ----------
    settings : mapping or None
        The part, or the whole settings; other keys are left alone. What is not given takes the kit's proposal.

    Returns
    -------
    Sampling

    Examples
    --------
    >>> sampling_of({"analysers": 2, "samplers": 1}).stations
    1
    """
    given = dict(settings or {})
    given = dict(given.get("sampling", given))
    known = {f.name for f in fields(Sampling)}
    try:
        return Sampling(**{k: v for k, v in given.items() if k in known})
    except TypeError as problem:
        raise KitError(f"[sampling] holds a value that is not a number: {given}.") from problem


def clock_text(start_clock: str, seconds: float) -> str:
    """Write a time of the evening as a clock, or "" where the first start has none."""
    if not start_clock:
        return ""
    parts = str(start_clock).split(":")
    try:
        numbers = [int(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) not in (2, 3) or not (0 <= numbers[0] < 24 and all(0 <= x < 60 for x in numbers[1:])):
        raise KitError(f"start_clock is {start_clock!r}, but must be a clock time such as '19:00'.")
    total = sum(n * f for n, f in zip(numbers, (3600, 60, 1), strict=False)) + round(seconds)
    return f"{total // 3600 % 24:02d}:{total // 60 % 60:02d}:{total % 60:02d}"
