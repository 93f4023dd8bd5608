"""Who trains: chance decides among all balanced allocations, in a way that anybody can draw again and nobody could foresee."""

from __future__ import annotations

import hashlib
import itertools
import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, join_words, plural
from ..basics.errors import need_columns
from ..study.training import CROSSOVER, DESIGNS

TRAINED, CONTROL = "trained", "control"
RANDOMISED = DESIGNS[:3]
TOLERANCES = (0.2, 0.3, 0.4, 0.5, 0.75, 1.0)
"""Largest difference of the baseline means, in SDs, tried in this order."""
LEAST_KEPT = 100
LEAST_PAIRS = 6
MOST_LISTED = 250_000
DRAWN = 100_000
FOLLOWS_BALANCE = 0.8
"""Probability with which a late joiner goes to the group that balances better."""


@dataclass(frozen=True)
class Allocation(Result):
    """A drawn allocation, and the allocations that could have been drawn."""

    allocation: pd.DataFrame  # athlete, arm ("trained" or "control"), stratum, pair, joined ("late")
    reference_set: pd.DataFrame  # a row per allocation that could have been drawn, a column per athlete, 1 for trained
    n_balanced: int  # balanced allocations listed
    n_kept: int  # of these, kept for the draw
    tolerance_sd: float  # largest difference of the baseline means let through; infinite where none was set
    strata: tuple[str, ...]  # what the allocation is balanced within
    drawn: int  # which of the kept ones, counted from 1
    seed_sha256: str  # fingerprint from which the draw follows
    differences: pd.DataFrame  # measure, difference (trained minus control), in_sd
    design: str
    how: str  # how the list was made, in words
    warnings: tuple[str, ...] = field(default=())


def seed_of(plan_sha256: str, public_number) -> str:
    """Make the seed of the draw from the frozen plan and the public number."""
    plan, number = str(plan_sha256).strip().lower(), str(public_number).strip()
    if not plan or not number:
        raise KitError("The draw needs the fingerprint of the frozen plan and the public number.")
    return hashlib.sha256(f"{plan}:{number}".encode()).hexdigest()


def allocate(baselines, *, strata=(), public_number, plan_sha256, design="parallel", pair_by=None) -> Allocation:
    """Draw who trains, from all balanced allocations whose baseline means are alike.

    Parameters
    ----------
    baselines : DataFrame
        One row per athlete: athlete, the columns of `strata`, and one or more numeric baselines; every value is needed.
    strata : sequence of str
        Columns within which the groups are balanced, the most important first, such as ("sex", "club"). Default none.
    public_number : str or int
        Named in the plan before it existed, for example the draw of a lottery on a stated day.
    plan_sha256 : str
        Fingerprint of the frozen plan.
    design : str
        "parallel" (default), "delayed_start" or "matched_pairs".
    pair_by : str, optional
        Baseline that makes the pairs. Default the first.

    Returns
    -------
    Allocation
        allocation, reference_set, n_kept, tolerance_sd, drawn, warnings and how it was made.

    Raises
    ------
    KitError
        Where a baseline is missing, or too few athletes are there.

    When to use
    -----------
    Once, when the plan is frozen and consent, clearance and all baselines are in; all athletes at one moment.

    Notes
    -----
    Balanced: in every stratum, and overall, the groups differ by at most one athlete. Kept: every baseline mean differs by at
    most 0.2 SD. At least 100 must remain and no two athletes may be always or never together; else the limit widens step by
    step to 1 SD, then the last stratum is given up, and the result says so. The draw is the seed modulo the number kept. In
    matched pairs, neighbours in baseline within a stratum are a pair and one digit of the seed decides each pair.

    References
    ----------
    Morgan & Rubin (2012) Annals of Statistics 40:1263. The limits 0.2 SD and 100 allocations are our proposal.

    Examples
    --------
    >>> club = pd.DataFrame({"athlete": [f"A{i:02d}" for i in range(1, 13)], "sex": ["F", "M"] * 6,
    ...                      "vo2max": [44, 47, 50, 52, 55, 58, 45, 46, 51, 53, 54, 60]})
    >>> drawn = allocate(club, strata=["sex"], public_number=4711, plan_sha256="ab")
    >>> drawn.allocation["arm"].value_counts().to_dict(), drawn.tolerance_sd
    ({'control': 6, 'trained': 6}, 0.2)
    """
    if design == "crossover":
        raise KitError(CROSSOVER)
    check_choice(design, RANDOMISED, name="design")
    strata = [strata] if isinstance(strata, str) else list(strata)
    table, measures = _read(baselines, strata)
    seed = seed_of(plan_sha256, public_number)
    if design == "matched_pairs":
        return _pairs(table, measures, strata, seed, pair_by or measures[0])
    values = table[measures].to_numpy(dtype=float)
    spread = values.std(axis=0, ddof=1)
    warnings = []
    for keep in range(len(strata), -1, -1):
        used = strata[:keep]
        labels = _stratum(table, used)
        groups, listed, sampled = _balanced(labels, seed)
        gap = _gaps(groups, values, spread)
        for tolerance in (*TOLERANCES, np.inf) if keep == 0 else TOLERANCES:
            kept = groups[gap <= tolerance + 1e-12]
            if len(kept) >= LEAST_KEPT and not _fixed_pairs(kept):
                break
        else:
            if keep:
                warnings.append(
                    f"Within {join_words(used)} fewer than {LEAST_KEPT} allocations remain, or two athletes would be always or "
                    f"never together: {used[-1]} was given up as a stratum."
                )
                continue
        break
    if tolerance != TOLERANCES[0]:
        limit = "set aside" if np.isinf(tolerance) else f"widened to {tolerance:g} SD"
        warnings.append(
            f"With {TOLERANCES[0]:g} SD too few allocations remained, or two athletes were always or never together: the limit "
            f"was {limit}."
        )
    if len(kept) < LEAST_KEPT:
        warnings.append(
            f"Only {len(kept)} allocations are possible: the randomisation test cannot give less than {2 / len(kept):.3f}."
        )
    how = f"all {listed} balanced allocations listed"
    if sampled:
        how = f"{DRAWN} balanced allocations drawn with the seed, {len(groups)} of them different"
    return _result(
        table, measures, kept, seed, labels, strata=tuple(used), tolerance_sd=float(tolerance), n_balanced=len(groups),
        how=how, warnings=tuple(warnings), design=design,
    )  # fmt: skip


def _read(baselines, strata):
    table = pd.DataFrame(baselines).copy()
    if "athlete" not in table:
        table = table.rename_axis("athlete").reset_index()
    need_columns(table, strata, what="The table of baselines")
    table["athlete"] = table["athlete"].astype(str)
    table = table.sort_values("athlete", kind="stable").reset_index(drop=True)
    if table["athlete"].duplicated().any():
        twice = sorted(set(table.loc[table["athlete"].duplicated(), "athlete"]))
        raise KitError(f"One row per athlete is needed, but {join_words(twice)} has several.")
    numeric = [c for c in table if pd.api.types.is_numeric_dtype(table[c]) and not pd.api.types.is_bool_dtype(table[c])]
    measures = [c for c in numeric if c not in {"athlete", *strata}]
    if not measures:
        raise KitError("The table of baselines has no numeric column: the baseline of each athlete is needed.")
    lacking = [(c, ~np.isfinite(table[c].to_numpy(dtype=float, na_value=np.nan))) for c in measures]
    problems = [f"{who} has no {c}" for i, who in enumerate(table["athlete"]) for c, gone in lacking if gone[i]]
    blank = [(c, table[c].isna() | (table[c].astype(str).str.strip() == "")) for c in strata]
    problems += [f"{who} has no {c}" for i, who in enumerate(table["athlete"]) for c, gone in blank if gone[i]]
    if problems:
        raise KitError(
            f"All baselines must be in before anybody is allocated: {'; '.join(problems)}. Measure or type them, or note "
            "that the athlete withdrew."
        )
    if len(table) < 4:
        raise KitError(f"{plural(len(table), 'athlete')} cannot make two groups of two.")
    return table, measures


def _stratum(table, used):
    if not used:
        return np.array([""] * len(table))
    return table[used].astype(str).agg(", ".join, axis=1).to_numpy()


def _balanced(labels, seed):
    """Allocations (rows of 0 and 1) in which every stratum, and the whole, differs by at most one athlete."""
    n = len(labels)
    parts, total = [], 1
    for name in sorted(set(labels)):
        places = np.flatnonzero(labels == name)
        sizes = sorted({len(places) // 2, len(places) - len(places) // 2})
        total *= sum(math.comb(len(places), k) for k in sizes)
        parts.append((places, sizes))
    if total > MOST_LISTED:
        return _sampled(parts, n, seed), total, True
    groups = np.zeros((1, n), dtype=np.int8)
    for places, sizes in parts:
        chosen = [c for k in sizes for c in itertools.combinations(places, k)]
        block = np.zeros((len(chosen), n), dtype=np.int8)
        for line, c in zip(block, chosen, strict=True):
            line[list(c)] = 1
        groups = (groups[:, None, :] + block[None]).reshape(-1, n)
    groups = groups[np.abs(2 * groups.sum(axis=1) - n) <= 1]
    return groups[np.lexsort(groups.T[::-1])], len(groups), False


def _sampled(parts, n, seed):
    rng = np.random.default_rng(int(seed[:16], 16))
    rows = []
    while sum(len(r) for r in rows) < DRAWN:
        block = np.zeros((DRAWN // 4, n), dtype=np.int8)
        for places, sizes in parts:
            order = rng.random((len(block), len(places))).argsort(axis=1)
            size = rng.integers(0, len(sizes), size=len(block))
            block[:, places] = order < np.array(sizes)[size][:, None]
        rows.append(block[np.abs(2 * block.sum(axis=1) - n) <= 1])
    return np.unique(np.vstack(rows)[:DRAWN], axis=0)


def _gaps(groups, values, spread):
    """Largest standardised difference of the baseline means of each allocation."""
    share = groups.sum(axis=1, keepdims=True)
    gap = groups @ values / share - (1 - groups) @ values / (groups.shape[1] - share)
    with np.errstate(divide="ignore", invalid="ignore"):
        in_sd = np.where(spread > 0, np.abs(gap) / spread, 0.0)
    return in_sd.max(axis=1)


def _fixed_pairs(groups):
    """Whether two athletes are always, or never, in one group."""
    wide = groups.astype(np.int64)
    together = wide.T @ wide + (1 - wide).T @ (1 - wide)
    off = ~np.eye(len(together), dtype=bool)
    return bool(np.any((together[off] == 0) | (together[off] == len(groups))))


def _pairs(table, measures, strata, seed, pair_by):
    labels = _stratum(table, strata)
    order = sorted(range(len(table)), key=lambda i: (labels[i], float(table[pair_by].iloc[i]), i))
    loose, couples = [], []
    for name in sorted(set(labels)):
        inside = [i for i in order if labels[i] == name]
        couples += list(zip(inside[0::2], inside[1::2], strict=False))
        loose += inside[len(inside) // 2 * 2 :]
    if loose:
        who = join_words([table["athlete"].iloc[i] for i in loose])
        raise KitError(
            f"{who} has no partner within {join_words(strata) or 'the club'}: pairs need an even number in every stratum. "
            'Write design = "parallel" in study.toml before the plan is frozen, or find one more athlete.'
        )
    if len(couples) > 15:
        raise KitError(f"{len(couples)} pairs are more than can be listed: take the parallel design.")
    flips = np.array(list(itertools.product([0, 1], repeat=len(couples))), dtype=np.int8)
    groups = np.zeros((len(flips), len(table)), dtype=np.int8)
    names = [""] * len(table)
    for number, (a, b) in enumerate(couples):
        groups[:, a], groups[:, b] = flips[:, number], 1 - flips[:, number]
        names[a] = names[b] = f"P{number + 1:02d}"
    warnings = []
    if len(couples) < LEAST_PAIRS:
        warnings.append(
            f"{plural(len(couples), 'pair')} cannot give p below {2 / len(flips):.4f}: no confirmatory answer below "
            f"{LEAST_PAIRS} pairs."
        )
    how = f"all {len(groups)} ways to pick one of each of {len(couples)} pairs"
    return _result(
        table, measures, groups, seed, labels, names, strata=tuple(strata), tolerance_sd=float("inf"), n_balanced=len(groups),
        how=how, warnings=tuple(warnings), design="matched_pairs",
    )  # fmt: skip


def _result(table, measures, kept, seed, labels, pairs=None, **told):
    """The allocation of the list that the seed draws."""
    drawn = int(seed, 16) % len(kept)
    mine = kept[drawn]
    values = table[measures].to_numpy(dtype=float)
    gap = values[mine == 1].mean(axis=0) - values[mine == 0].mean(axis=0)
    spread = values.std(axis=0, ddof=1)
    in_sd = np.divide(gap, spread, out=np.zeros_like(gap), where=spread > 0)
    groups = {"arm": np.where(mine == 1, TRAINED, CONTROL), "stratum": labels, "pair": pairs or [""] * len(table)}
    return Allocation(
        allocation=table[["athlete"]].assign(**groups, joined=""),
        reference_set=pd.DataFrame(kept, columns=list(table["athlete"])),
        n_kept=len(kept),
        drawn=drawn + 1,
        seed_sha256=seed,
        differences=pd.DataFrame({"measure": measures, "difference": gap, "in_sd": in_sd}),
        **told,
    )


def allocate_late(allocation, joiner, *, factors, public_number, plan_sha256) -> str:
    """Allocate one late joiner by minimisation: with probability 0.8 to the group that balances better.

    Parameters
    ----------
    allocation : DataFrame
        athlete, arm and the columns of `factors` of everybody allocated so far.
    joiner : mapping
        athlete and the factors of the joiner.
    factors : sequence of str
        What is balanced, such as ("sex", "club").
    public_number, plan_sha256
        As for `allocate`.

    Returns
    -------
    str
        "trained" or "control".

    Notes
    -----
    Imbalance of a choice: the difference of the group sizes plus, for every factor, the difference among those who share the
    joiner's level. A tie is a fair coin. The random number is the seed joined with the athlete's code, so it can be checked.

    References
    ----------
    Pocock & Simon (1975) Biometrics 31:103.

    Examples
    --------
    >>> so_far = pd.DataFrame({"athlete": ["A", "B", "C"], "arm": ["trained", "trained", "control"], "sex": ["F", "M", "M"]})
    >>> allocate_late(so_far, {"athlete": "D", "sex": "F"}, factors=["sex"], public_number=1, plan_sha256="ab")
    'control'
    """
    arms = (allocation["arm"] == TRAINED).to_numpy(dtype=float)
    same = [(allocation[f].astype(str) == str(joiner[f])).to_numpy(dtype=float) for f in factors]
    seed = seed_of(plan_sha256, public_number)
    mark = hashlib.sha256(f"{seed}:{joiner['athlete']}".encode()).hexdigest()
    return TRAINED if _joins(arms[None], same, np.array([int(mark, 16) / 2**256]))[0] else CONTROL


def _joins(arms, same, draws):
    """Whether the joiner trains, for each row of allocations so far and each draw between 0 and 1."""
    lean = sum(np.abs((2 * arms - 1) @ s + 1) - np.abs((2 * arms - 1) @ s - 1) for s in (np.ones(arms.shape[1]), *same))
    chance = np.where(lean < 0, FOLLOWS_BALANCE, np.where(lean > 0, 1 - FOLLOWS_BALANCE, 0.5))
    return draws < chance


def add_late_joiners(reference_set, people, late, *, factors, n=10_000, seed=0) -> pd.DataFrame:
    """Run the draw and the minimisation of late joiners `n` times: one row per run, for the randomisation test."""
    rng = np.random.default_rng(seed)
    levels = people.assign(athlete=people["athlete"].astype(str)).set_index("athlete")
    names = list(reference_set.columns)
    groups = reference_set.to_numpy(dtype=float)[rng.integers(0, len(reference_set), size=n)]
    for code in late:
        same = [(levels.loc[names, f].astype(str) == str(levels.loc[code, f])).to_numpy(dtype=float) for f in factors]
        joins = _joins(groups, same, rng.random(n))
        groups, names = np.column_stack([groups, joins]), [*names, code]
    return pd.DataFrame(groups.astype(np.int8), columns=names)
