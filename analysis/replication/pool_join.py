"""Studies of several clubs joined: only who agreed to sharing, codes prefixed by club, protocols kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ..basics import KitError, Result, left_out_table, plural
from ..capacity import measure_capacity
from ..cleaning import summarise_rounds
from ..recordings import read_gas_exchange
from ..study import OUTCOMES, Study, load_study

FEWEST = 3
"""With fewer people who agreed to sharing, a club cannot hide anybody: it is left out."""
NOT_STATED = "not stated"
ROW_COLUMNS = ("club", "athlete", "protocol", "round_no", "bout_no", "took_part", "rest_before_s", *OUTCOMES)
ATHLETE_COLUMNS = (
    "club", "athlete", "protocol", "sex", "age_years", "hr_max_bpm", "hr_max_source", "capacity", "capacity_unit",
    "standard_error", "error_kind", "uses_heart_rate",
)  # fmt: skip
CLUB_COLUMNS = (
    "club",
    "n_athletes",
    "n_not_shared",
    "protocol",
    "rounds",
    "work_s",
    "rest_s",
    "exertion_scale",
    "used",
)


@dataclass(frozen=True)
class JoinedStudies(Result):
    """Several clubs in one table, in memory; what is written out holds less (see `pool_studies`).

    Parameters
    ----------
    rows : DataFrame
        One row per athlete and sparred round of each primary session: club, athlete (prefixed by club), protocol,
        round_no, outcomes.
    athletes : DataFrame
        club, athlete, protocol, sex, age_years, hr_max_bpm and its source, capacity with unit and error.
    clubs : DataFrame
        One row per club and protocol: athletes who are in, how many did not agree, rounds, work_s, rest_s,
        exertion_scale, used.
    left_out : DataFrame
    warnings : tuple of str
    """

    rows: pd.DataFrame
    athletes: pd.DataFrame
    clubs: pd.DataFrame
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def join_studies(folders: Sequence[str | Path]) -> JoinedStudies:
    """Read several study folders and join those who agreed that de-identified data are shared.

    Parameters
    ----------
    folders : sequence of path
        Two or more study folders, each once. Clubs are called C1, C2 ... in this order.

    Returns
    -------
    JoinedStudies

    Raises
    ------
    KitError
        Where a folder cannot be used (every one is named), comes twice, or holds the same data as another.

    Examples
    --------
    >>> join_studies(["one"])
    Traceback (most recent call last):
    ...
    analysis.basics.errors.KitError: Pooling needs at least two study folders; 1 given.
    """
    folders = [Path(f).expanduser() for f in folders]
    if len(folders) < 2:
        raise KitError(f"Pooling needs at least two study folders; {len(folders)} given.")
    same = [str(f) for f in folders if sum(f.resolve() == g.resolve() for g in folders) > 1]
    if same:
        raise KitError(f"The folder {same[0]} was given more than once; its athletes would count twice.")
    studies, problems = [], []
    for folder in folders:
        try:
            studies.append(load_study(folder))
        except KitError as error:
            problems.append(f"{folder}: {error}")
    if problems:
        raise KitError("Nothing was pooled, since not every folder can be used.\n" + "\n".join(problems))
    parts = [_one_club(study, f"C{i}") for i, study in enumerate(studies, start=1)]
    _refuse_same_data(parts, folders)
    warnings = [w for part in parts for w in part.warnings]
    names = ("rows", "athletes", "clubs", "left_out")
    joined = {name: pd.concat([getattr(p, name) for p in parts], ignore_index=True) for name in names}
    joined["clubs"]["used"] = _used(joined["clubs"])
    for protocol in dict.fromkeys(joined["clubs"].loc[joined["clubs"]["used"] == "alone", "protocol"]):
        warnings.append(
            f"A club with {protocol} stands alone: it is not pooled with clubs of another work or rest."
        )
    return JoinedStudies(**joined, warnings=tuple(warnings))


def _used(clubs: pd.DataFrame) -> list[str]:
    """Say per line whether it is pooled, stands alone with its protocol, or has too few people."""
    enough = clubs["n_athletes"] >= FEWEST
    partners = clubs[enough].groupby("protocol")["club"].nunique()
    return [
        "too few" if not there else "alone" if NOT_STATED in protocol or partners[protocol] < 2 else "pooled"
        for there, protocol in zip(enough, clubs["protocol"], strict=True)
    ]


def _one_club(study: Study, club: str) -> JoinedStudies:
    shared = list(study.athletes_to_share())
    athletes = study.athletes.assign(capacity=float("nan"))
    not_shared = len(athletes) - len(shared)
    left = []
    if not_shared:
        left.append(
            {"measure": "all", "reason": f"{club}: {plural(not_shared, 'athlete')} did not agree to sharing"}
        )
    of_group = {a.athlete: study.protocol.for_group(a.group) for a in athletes.itertuples(index=False)}
    people = athletes[athletes["athlete"].isin(shared)]
    protocols = {code: protocol_label(of_group[code]) for code in people["athlete"]}
    counts = pd.Series(protocols, dtype=object).value_counts()
    few = [code for code, label in protocols.items() if counts[label] < FEWEST]
    if few or not shared:
        why = f"fewer than {FEWEST} athletes with one protocol agreed to sharing"
        left.append({"measure": "all", "reason": f"{club}: {why}"})
    people = people[~people["athlete"].isin(few)]
    rows = _rows(study, people, club, protocols)
    table = _people(study, people, club, protocols)
    lines = [
        [
            club,
            int(n),
            not_shared,
            label,
            *_numbers(next(p for c, p in of_group.items() if protocols.get(c) == label)),
            "",
        ]
        for label, n in counts.items()
    ]
    clubs = pd.DataFrame(lines, columns=list(CLUB_COLUMNS))
    return JoinedStudies(rows, table, clubs, left_out_table(left))


def protocol_label(protocol) -> str:
    """Name a protocol by its work and rest, as clubs say it."""

    def clock(seconds: float) -> str:
        return f"{int(seconds) // 60}:{int(seconds) % 60:02d}" if seconds == seconds else NOT_STATED

    return f"{clock(protocol.work_s)} work, {clock(protocol.rest_s)} rest"


def _numbers(protocol) -> list:
    return [protocol.rounds, protocol.work_s, protocol.rest_s, protocol.exertion_scale]


def _rows(study: Study, people: pd.DataFrame, club: str, protocols: dict) -> pd.DataFrame:
    if study.rounds.empty and not len(study.recording_files()):
        return pd.DataFrame(columns=list(ROW_COLUMNS))
    rows = summarise_rounds(study)
    here = (rows["session"] == study.plan.primary_session) & (rows["round_no"] > 0)
    rows = rows[here & rows["athlete"].isin(people["athlete"])]
    rows = rows[~rows["took_part"].isin(["sat_out", "left"])]
    prefixed = {
        "club": club,
        "protocol": rows["athlete"].map(protocols),
        "athlete": f"{club}_" + rows["athlete"],
    }
    return rows.assign(**prefixed).reindex(columns=list(ROW_COLUMNS)).reset_index(drop=True)


def _people(study: Study, people: pd.DataFrame, club: str, protocols: dict) -> pd.DataFrame:
    names = {"unit": "capacity_unit"}
    table = people[["athlete", "sex", "age_years", "hr_max_bpm", "hr_max_source"]].copy()
    if len(study.aerobic_tests):
        files = [f for f in study.aerobic_tests["file"].unique() if f]
        gas = {name: read_gas_exchange(study.folder / "aerobic_files" / name) for name in files}
        capacity = measure_capacity(
            study.aerobic_tests, study.athletes, sessions=study.sessions, primary_session=study.plan.primary_session,
            unit=study.plan.capacity_unit, attendance=study.attendance, gas_exchange=gas,
        )  # fmt: skip
        kept = ["athlete", "capacity", "unit", "standard_error", "error_kind", "uses_heart_rate"]
        table = table.merge(capacity[kept].rename(columns=names), on="athlete", how="left")
    prefixed = {
        "club": club,
        "protocol": table["athlete"].map(protocols),
        "athlete": f"{club}_" + table["athlete"],
    }
    return table.assign(**prefixed).reindex(columns=list(ATHLETE_COLUMNS)).reset_index(drop=True)


def _refuse_same_data(parts: list[JoinedStudies], folders: list[Path]) -> None:
    """Refuse a copy of a folder under another name."""
    seen: dict = {}
    for part, folder in zip(parts, folders, strict=True):
        values = part.rows[["round_no", *OUTCOMES]].apply(pd.to_numeric, errors="coerce").round(6)
        key = pd.util.hash_pandas_object(values, index=False).sum() if len(values) else None
        if key is not None and values[list(OUTCOMES)].notna().any(axis=None) and key in seen:
            raise KitError(
                f"{seen[key]} and {folder} hold the same values; the same athletes would count twice."
            )
        seen[key] = folder
