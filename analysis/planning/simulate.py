"""Simulated studies: power, expected intervals, wrong signs and exaggeration of every planned question."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .ask import Asked, ask_all, generate_studies, share_interval
from .design import Assumptions, Design, as_assumptions, as_design, check_size

BLOCK = 1000
"""Studies drawn together; a block has its own random numbers, so that the number of workers changes nothing."""

COUNTED = ("asked", "found", "clear", "wrong", "mistaken", "exaggeration", "signed", "width", "widths")


@dataclass(frozen=True)
class SimulatedStudies(Result):
    """What simulated studies of one design found."""

    # question, part, n_studies (in which it could be asked), power (share that claims it) with its 95 % Monte-Carlo interval
    # ci_low and ci_high, true_value, half_width (mean half width of the 95 % interval), wrong_sign (share of the claims that
    # point the wrong way), exaggeration (mean size of the claimed estimates ÷ the true size), mistaken (plateaus claimed too
    # early, share of all studies)
    power: pd.DataFrame
    n_studies: int
    seed: int
    design: Design
    truth: Assumptions
    method: str = (
        "simulated studies; mixed model with Kenward-Roger tests, steps and plateau where the paired tests agree, correlation "
        "of athlete means, ratings by common ranks within athletes"
    )

    def question(self, question: str, part: str) -> pd.Series:
        """Return the line of one question and part."""
        table = self.power
        found = table[(table["question"] == question) & (table["part"] == part)]
        if found.empty:
            raise KitError(f"These studies were not asked {question!r}, {part!r}.")
        return found.iloc[0]


@dataclass(frozen=True)
class SimulatedGrid(Result):
    """What simulated studies found over several designs and truths."""

    # design and truth (names or positions), n, rounds, and the columns of `SimulatedStudies.power`
    power: pd.DataFrame
    n_studies: int  # Per cell of the grid
    seed: int
    method: str = SimulatedStudies.method


def simulate_studies(
    design: Design | Mapping,
    truth: Assumptions | Mapping | None = None,
    *,
    n_studies: int = 2000,
    seed: int = 0,
    n_jobs: int = 1,
) -> SimulatedStudies:
    """Simulate whole studies and ask each of them every planned question.

    Parameters
    ----------
    design : Design or mapping of its fields
        n is required.
    truth : Assumptions or mapping of the fields to change, optional
        Default: the kit's proposals.
    n_studies : int
        Default 2,000: a share is then known to about 2 percentage points.
    seed : int
        Default 0. The same seed gives the same numbers, whatever the number of workers.
    n_jobs : int
        Workers, -1 for all cores. Default 1.

    Returns
    -------
    SimulatedStudies

    Notes
    -----
    Athletes differ in age, sex, capacity and maximal heart rate; rounds rise then level, or creep; opponents share a part of
    a bout; rounds are missed, athletes leave, straps fail; the fitness test errs in either way; samples come late by unequal
    amounts. All of it as `Assumptions` says.

    Examples
    --------
    >>> studies = simulate_studies({"n": 12}, n_studies=200)
    >>> bool(studies.question("rounds.heart_rate", "change")["power"] > 0.8)
    True
    """
    design, truth = as_design(design), as_assumptions(truth)
    table = _run([(design, truth)], n_studies, seed, n_jobs)[0]
    return SimulatedStudies(table, int(n_studies), seed, design, truth)


def simulate_grid(
    designs: Sequence | Mapping, truths: Sequence | Mapping = (None,), *, n_studies: int = 2000, seed: int = 0,
    n_jobs: int = -1, backend: str | None = None,
) -> SimulatedGrid:  # fmt: skip
    """Simulate every design under every truth, on all cores.

    Parameters
    ----------
    designs : sequence or mapping of Design (or mappings of its fields)
    truths : sequence or mapping of Assumptions (or mappings of changes, or None)
        Names of a mapping stand in the result; else positions.
    n_studies : int
        Per cell. Default 2,000.
    seed : int
        Default 0. Every cell equals `simulate_studies` with that seed.
    n_jobs : int
        Workers. Default -1: all cores.
    backend : str, optional
        A joblib backend, such as "loky", "threading" or, with a client at hand, "dask". Default: the one that is active, so
        that ``with joblib.parallel_config(backend="dask"):`` sends the grid to a cluster.

    Returns
    -------
    SimulatedGrid

    Examples
    --------
    >>> grid = simulate_grid([{"n": 8}, {"n": 16}], {"flat": {"shape": "steady"}}, n_studies=50, n_jobs=1)
    >>> sorted(set(grid.power["n"])), set(grid.power["truth"])
    ([8, 16], {'flat'})
    """
    designs, truths = _named(designs, "designs"), _named(truths, "truths")
    keys = [(d, t) for d in designs for t in truths]
    cells = [(as_design(designs[d]), as_assumptions(truths[t])) for d, t in keys]
    tables = _run(cells, n_studies, seed, n_jobs, backend)
    parts = []
    for (d, t), (design, _), table in zip(keys, cells, tables, strict=True):
        part = table.copy()
        for at, (name, value) in enumerate((("design", d), ("truth", t), ("n", design.n), ("rounds", design.rounds))):
            part.insert(at, name, value)
        parts.append(part)
    return SimulatedGrid(pd.concat(parts, ignore_index=True), int(n_studies), seed)


def _named(things, name) -> dict:
    named = dict(things) if isinstance(things, Mapping) else dict(enumerate(things))
    if not named:
        raise KitError(f"{name} is empty: give at least one.")
    return named


def _run(cells, n_studies, seed, n_jobs, backend=None) -> list[pd.DataFrame]:
    from joblib import Parallel, delayed

    n_studies = check_size(n_studies, least=1, name="n_studies")
    sizes = [min(BLOCK, n_studies - start) for start in range(0, n_studies, BLOCK)]
    seeds = np.random.SeedSequence(seed).spawn(len(sizes))
    tasks = [(cell, size, own) for cell in cells for size, own in zip(sizes, seeds, strict=True)]
    if n_jobs == 1 or len(tasks) == 1:
        counted = [count_block(*task) for task in tasks]
    else:
        counted = Parallel(n_jobs=n_jobs, backend=backend)(delayed(count_block)(*task) for task in tasks)
    per_cell = len(sizes)
    return [_summary(counted[i : i + per_cell]) for i in range(0, len(counted), per_cell)]


def count_block(cell: tuple[Design, Assumptions], size: int, seed) -> pd.DataFrame:
    """Draw one block of studies, ask them everything, and count."""
    design, truth = cell
    batch = generate_studies(design, truth, size, np.random.default_rng(seed))
    return pd.DataFrame([_count(asked) for asked in ask_all(batch, design, truth)])


def _count(asked: Asked) -> dict:
    found = asked.found & asked.usable
    row = {"question": asked.question, "part": asked.part, "truth": asked.truth}
    row |= dict.fromkeys(COUNTED, 0.0)
    row |= {"asked": float(asked.usable.sum()), "found": float(found.sum())}
    clear = found if asked.small is None else found | (asked.small & asked.usable)
    row["clear"] = float(clear.sum())
    if asked.mistaken is not None:
        row["mistaken"] = float((asked.mistaken & asked.usable).sum())
    if asked.estimate is not None:
        finite = asked.usable & np.isfinite(asked.half_width)
        row |= {"width": float(asked.half_width[finite].sum()), "widths": float(finite.sum())}
        if asked.truth:
            ratio = asked.estimate[found] / asked.truth
            row |= {
                "signed": float(found.sum()),
                "wrong": float((ratio < 0).sum()),
                "exaggeration": float(np.abs(ratio).sum()),
            }
    return row


def _summary(blocks: list[pd.DataFrame]) -> pd.DataFrame:
    total = blocks[0].copy()
    for block in blocks[1:]:
        total[list(COUNTED)] += block[list(COUNTED)]
    low, high = share_interval(total["found"], total["asked"])
    plateau = total["part"] == "plateau"

    def share(of, by):
        return (total[of] / total[by]).where(total[by] > 0)

    return pd.DataFrame(
        {
            "question": total["question"],
            "part": total["part"],
            "n_studies": total["asked"].astype(int),
            "power": share("found", "asked"),
            "ci_low": low,
            "ci_high": high,
            "true_value": total["truth"],
            "half_width": share("width", "widths"),
            "wrong_sign": share("wrong", "signed"),
            "exaggeration": share("exaggeration", "signed"),
            "mistaken": share("mistaken", "asked").where(plateau),
        }
    )
