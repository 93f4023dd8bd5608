"""One evening of a study, from who spars whom to the sheets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ...basics import NotYet, Result
from ...planning import Pairing, Timetable, make_timetable, pair_athletes, sampling_of
from ...study import Study
from .parts import Sheet
from .write import study_athletes, study_sheets


@dataclass(frozen=True)
class Evening(Result):
    """An evening that is planned.

    Parameters
    ----------
    codes : tuple of str
    pairing : Pairing
    timetable : Timetable
    sheets : tuple of Sheet
    """

    codes: tuple[str, ...]
    pairing: Pairing
    timetable: Timetable
    sheets: tuple[Sheet, ...]


def plan_evening(
    study: Study,
    *,
    session: str | None = None,
    start: str = "common",
    start_clock: str = "",
    guests: int = 0,
    avoid: Iterable[tuple[str, str]] = (),
    unavailable: Mapping | None = None,
    mass_limit_kg: float | None = None,
    sampled: Iterable[str] | None = None,
    seed: int = 0,
) -> Evening | NotYet:
    """Plan an evening of a study: pairs, timetable and sheets.

    Parameters
    ----------
    study : Study
        Its athletes (or the planned number, with codes made up), protocol and [sampling].
    session : str, optional
        Default: the primary session of the plan.
    start : {"common", "staggered"}
        Default "common".
    start_clock : str
        Such as "19:00"; "" leaves the times blank.
    guests, avoid, unavailable, mass_limit_kg, seed
        As in `pair_athletes`.
    sampled : iterable of str, optional
        Who gives blood; () for nobody. Default: those whose samples lie inside the window.

    Returns
    -------
    Evening, or NotYet where the study lacks a protocol or athletes

    Examples
    --------
    >>> from pathlib import Path
    >>> bool(plan_evening(Study(folder=Path("."))))
    False
    """
    codes = study_athletes(study)
    if study.protocol.rounds < 1:
        return NotYet("planning an evening", "rounds, work and rest in the part [protocol] of study.toml")
    if len(codes) < 2:
        return NotYet(
            "planning an evening",
            "at least two codes in athletes.csv, or n_athletes in the part [plan] of study.toml",
        )
    athletes = study.athletes if len(study.athletes) else codes
    pairing = pair_athletes(
        athletes,
        study.protocol.rounds,
        guests=guests,
        avoid=avoid,
        unavailable=unavailable,
        mass_limit_kg=mass_limit_kg,
        seed=seed,
    )
    timetable = make_timetable(
        study.protocol,
        athletes=pairing,
        sampling=sampling_of(study.settings.get("sampling")),
        start=start,
        start_clock=start_clock,
    )
    sheets = study_sheets(
        study,
        session=session,
        pairing=pairing,
        timetable=timetable,
        sampled=None if sampled is None else tuple(sampled),
    )
    return Evening(tuple(codes), pairing, timetable, tuple(sheets))
