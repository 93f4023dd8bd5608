"""Who spars whom: pairs for every round, from mass, group and experience, without repeating an opponent while possible."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, format_percent, join_words, plural
from ..basics.errors import need_columns
from .design import check_size

GUEST = "guest"
RESTS = "none"
"""What the sheet says instead of an opponent's code; the same words as the column `opponent` of rounds.csv."""

COST_REST = 200_000.0
COST_REST_AGAIN = 8_000.0
COST_GUEST = 50_000.0
COST_GUEST_AGAIN = 3_000.0
COST_REPEAT = 1_000.0
COST_GROUP = 6.0
COST_EXPERIENCE_YEAR = 1.0
COST_GRADE = 2.0
COST_MASS_KG = 1.0
"""What a pair costs: sitting out is worst, then a guest, then an opponent met before; the rest are preferences, in kg."""

UNEASY_KG = 5.0
"""Differences in mass weigh more than in proportion beyond this: one very unequal pair is worse than many slightly unequal."""

UNEQUAL_SHARE = 0.2
"""A pair that differs by more than this share of the lighter one's mass is named, for the coach to decide (our proposal)."""

ADULT = 18.0
TRIES, TRIES_LARGE, LARGE = 40, 12, 16
MORE_TRIES = 4
NOISE_KG, MORE_NOISE_KG = 8.0, 80.0
"""Schedules drawn (fewer in a large club, where one takes longer), how many times more while a pair still meets again, and
the random preferences, in kg, that make the draws differ."""


@dataclass(frozen=True)
class Pairing(Result):
    """Pairs for every round.

    Parameters
    ----------
    schedule : DataFrame
        round_no, mat, athlete_1, athlete_2 ("guest" where a guest fills in).
    opponents : DataFrame
        round_no, athlete, opponent (a code, "guest" or "none"), mat (missing where the athlete sits out): as rounds.csv takes it.
    sat_out : DataFrame
        round_no, athlete, reason.
    repeats : DataFrame
        athlete_1, athlete_2, times: pairs that meet more than once.
    differences : DataFrame
        round_no, athlete_1, athlete_2, mass_difference_kg, experience_difference_years, grade_difference, same_group.
    rounds : int
    guests : int
    method : str
    warnings : tuple of str
    """

    schedule: pd.DataFrame
    opponents: pd.DataFrame
    sat_out: pd.DataFrame
    repeats: pd.DataFrame
    differences: pd.DataFrame
    rounds: int
    guests: int
    method: str
    warnings: tuple[str, ...] = ()


def pair_athletes(
    athletes: pd.DataFrame | Iterable[str], rounds: int, *, avoid: Iterable[tuple[str, str]] = (), guests: int = 0,
    unavailable: Mapping[str, Iterable[int] | str] | None = None, mass_limit_kg: float | None = None,
    same_group: bool = False, keep: bool = False, seed: int = 0,
) -> Pairing:  # fmt: skip
    """Pair athletes for every round.

    Parameters
    ----------
    athletes : DataFrame or iterable of str
        Codes, or a table with the column athlete and, where known, mass_kg, group, experience_years, grade_rank, age_years.
        Any capacity in it is not read: pairs matched on fitness would bias the answer of the study.
    rounds : int
        At least 1.
    avoid : iterable of (code, code)
        Pairs that never meet.
    guests : int
        Guests who are not measured; they fill in where somebody would sit out, and only then.
    unavailable : mapping, optional
        Code -> round numbers that the athlete does not spar, or "all" (an injury).
    mass_limit_kg : float, optional
        Pairs further apart never meet, even where somebody then sits out. Default: no limit, small differences preferred.
    same_group : bool
        Pair only within groups. Default False: the own group is preferred.
    keep : bool
        One opponent all evening, as mats that start one after the other need it. Default False.
    seed : int
        Among equally good schedules. Default 0.

    Returns
    -------
    Pairing

    Notes
    -----
    Every round is a maximum matching of smallest cost (blossom algorithm); the rounds are drawn many times over, also
    from a round robin, and the schedule is kept that has fewest athletes sitting out, then fewest repeated opponents,
    then the smallest differences. Athletes under 18 meet only each other. Nobody sits out twice before all have once,
    while the other rules allow it.

    References
    ----------
    Edmonds (1965) Canad J Math 17:449-467.

    Examples
    --------
    >>> pairs = pair_athletes(["A1", "A2", "A3", "A4"], 3)
    >>> len(pairs.schedule), len(pairs.repeats)
    (6, 0)
    """
    table = _athlete_table(athletes)
    rounds = check_size(rounds, least=1, name="rounds")
    if guests != int(guests) or guests < 0:
        raise KitError(f"guests is {guests}, but must be 0 or more.")
    codes = list(table["athlete"])
    absent = _absences(unavailable or {}, codes, rounds)
    allowed, cost = _costs(table, _avoided(avoid, codes), mass_limit_kg, same_group)
    rng = np.random.default_rng(seed)
    if keep:
        always = {code for code, when in absent.items() if len(when) == rounds}
        gone = {code: {1} for code in always}
        first = _one_schedule(codes, 1, allowed, cost, gone, int(guests), rng, 0.0, None)[0]
        plan = [_kept(first, codes, absent, round_no, int(guests)) for round_no in range(1, rounds + 1)]
        on_mats = [pair for pair in first if pair[1] != -1]
        mats = {k: mat for mat, pair in enumerate(on_mats, start=1) for k in pair}
        return _as_result(plan, table, allowed, absent, rounds, int(guests), mats)
    tries = TRIES if len(codes) <= LARGE else TRIES_LARGE
    best, best_score = None, None
    for start in range(tries * MORE_TRIES):
        if start >= tries and best_score[REPEATS] == 0:
            break
        noise = NOISE_KG if start < tries else MORE_NOISE_KG
        robin = _round_robin(len(codes), rng) if start % 4 == 3 else None
        plan = _one_schedule(codes, rounds, allowed, cost, absent, int(guests), rng, noise, robin)
        score = _score(plan, cost, codes)
        if best_score is None or score < best_score:
            best, best_score = plan, score
    return _as_result(best, table, allowed, absent, rounds, int(guests))


def _athlete_table(athletes) -> pd.DataFrame:
    if not isinstance(athletes, pd.DataFrame):
        athletes = pd.DataFrame({"athlete": [str(a) for a in athletes]})
    need_columns(athletes, ["athlete"], what="The table of athletes")
    table = athletes.copy().reset_index(drop=True)
    table["athlete"] = table["athlete"].astype(str).str.strip()
    twice = table.loc[table["athlete"].duplicated(), "athlete"].unique()
    if len(twice):
        raise KitError(f"These codes stand twice in the table of athletes: {join_words(twice)}.")
    reserved = [c for c in table["athlete"] if c in (GUEST, RESTS, "")]
    if reserved:
        raise KitError(f"{reserved[0]!r} cannot be the code of an athlete.")
    if len(table) < 2:
        raise KitError(f"Pairing needs at least 2 athletes; there {'is' if len(table) else 'are'} {len(table)}.")
    for name in ("mass_kg", "experience_years", "grade_rank", "age_years"):
        table[name] = pd.to_numeric(table[name], errors="coerce").astype(float) if name in table else np.nan
    table["group"] = table["group"].fillna("").astype(str) if "group" in table else ""
    return table


def _absences(unavailable, codes, rounds) -> dict[str, set[int]]:
    absent = {}
    for code, when in dict(unavailable).items():
        if code not in codes:
            raise KitError(f"unavailable names {code!r}, who is not among the athletes.")
        absent[code] = set(range(1, rounds + 1)) if when == "all" else {int(r) for r in when}
    return absent


def _avoided(avoid, codes) -> set[frozenset]:
    pairs = set()
    for pair in avoid:
        if isinstance(pair, str) or len(tuple(pair)) != 2:
            raise KitError(f"avoid must list pairs of codes, such as ('A03', 'A07'), but holds {pair!r}.")
        unknown = [c for c in pair if c not in codes]
        if unknown:
            raise KitError(f"avoid names {join_words(map(repr, unknown))}, not among the athletes.")
        pairs.add(frozenset(pair))
    return pairs


def _costs(table, avoided, mass_limit_kg, same_group):
    n = len(table)
    mass, years = table["mass_kg"].to_numpy(), table["experience_years"].to_numpy()
    age, group, codes = table["age_years"].to_numpy(), table["group"].to_numpy(), table["athlete"]
    by_mass = np.abs(np.subtract.outer(mass, mass))
    by_years = np.abs(np.subtract.outer(years, years))
    by_grade = np.abs(np.subtract.outer(table["grade_rank"].to_numpy(), table["grade_rank"].to_numpy()))
    other_group = group[:, None] != group[None, :]
    minor = age < ADULT
    allowed = ~np.eye(n, dtype=bool) & ~(minor[:, None] ^ minor[None, :])
    if mass_limit_kg is not None:
        if not mass_limit_kg > 0:
            raise KitError(f"mass_limit_kg is {mass_limit_kg}, but must be above 0.")
        allowed &= ~(by_mass > mass_limit_kg)
    if same_group:
        allowed &= ~other_group
    for i in range(n):
        for j in range(n):
            if frozenset((codes[i], codes[j])) in avoided:
                allowed[i, j] = False
    cost = (
        COST_MASS_KG * np.nan_to_num(by_mass + (by_mass / UNEASY_KG) ** 2)
        + COST_EXPERIENCE_YEAR * np.nan_to_num(np.minimum(by_years, 8))
        + COST_GRADE * np.nan_to_num(by_grade)
        + COST_GROUP * other_group
    )
    return allowed, cost


def _one_schedule(codes, rounds, allowed, cost, absent, guests, rng, noise, robin) -> list[list[tuple[int, int]]]:
    """One schedule: per round a list of pairs (i, j); j = -1 sits out, j = -2 a guest."""
    n = len(codes)
    met, rested, guested = np.zeros((n, n)), np.zeros(n), np.zeros(n)
    plan = []
    for round_no in range(1, rounds + 1):
        present = [i for i in range(n) if round_no not in absent.get(codes[i], ())]
        taste = rng.uniform(0, noise, (n, n))
        taste = (taste + taste.T) / 2
        if robin is not None and round_no <= len(robin):
            taste[:] = COST_REPEAT / 4
            for i, j in robin[round_no - 1]:
                taste[i, j] = taste[j, i] = 0.0
        pairs = _match(present, allowed, cost + taste + COST_REPEAT * met**1.5, rested, guested, guests)
        for i, j in pairs:
            if j == -1:
                rested[i] += 1
            elif j == -2:
                guested[i] += 1
            else:
                met[i, j] += 1
                met[j, i] += 1
        plan.append(pairs)
    return plan


def _kept(first, codes, absent, round_no, guests) -> list[tuple[int, int]]:
    """The pairs of an evening in one of its rounds: who is left over by an absence has a guest where there is one."""
    here = [round_no not in absent.get(code, ()) for code in codes]
    pairs, free = [], guests - sum(j == -2 and here[i] for i, j in first)
    for i, j in first:
        if j < 0 or (here[i] and here[j]):
            pairs += [(i, j)] if here[i] else []
            continue
        for left in (k for k in (i, j) if here[k]):
            pairs.append((left, -2 if free > 0 else -1))
            free -= 1
    return pairs


def _match(present, allowed, cost, rested, guested, guests) -> list[tuple[int, int]]:
    import networkx as nx

    graph = nx.Graph()
    worth = 1e7  # of one athlete who is placed: every athlete always is, so that only the costs decide
    for a, i in enumerate(present):
        for j in present[a + 1 :]:
            if allowed[i, j]:
                graph.add_edge(i, j, weight=float(2 * worth - cost[i, j]))
        for g in range(guests):
            graph.add_edge(i, ("guest", g), weight=float(worth - COST_GUEST - COST_GUEST_AGAIN * guested[i]))
        graph.add_edge(i, ("rest", i), weight=float(worth - COST_REST - COST_REST_AGAIN * rested[i]))
    chosen = nx.max_weight_matching(graph)
    pairs = []
    for u, v in chosen:
        if isinstance(u, tuple):
            u, v = v, u
        if isinstance(v, tuple):
            pairs.append((u, -1 if v[0] == "rest" else -2))
        else:
            pairs.append((min(u, v), max(u, v)))
    return sorted(pairs)


def _round_robin(n, rng) -> list[list[tuple[int, int]]]:
    """The rounds of a round robin with randomly drawn seats: no pair twice in n − 1 rounds."""
    seats = list(rng.permutation(n)) + ([-1] if n % 2 else [])
    size, out = len(seats), []
    for _ in range(size - 1):
        pairs = [(seats[i], seats[size - 1 - i]) for i in range(size // 2)]
        out.append([(i, j) for i, j in pairs if i >= 0 and j >= 0])
        seats = [seats[0], seats[-1], *seats[1:-1]]
    return [out[i] for i in rng.permutation(len(out))]


REPEATS = 3
"""Where the repeated opponents stand in a score."""


def _score(plan, cost, codes) -> tuple:
    pairs = [(i, j) for pairs in plan for i, j in pairs if j >= 0]
    rests = np.bincount([i for pairs in plan for i, j in pairs if j == -1], minlength=len(codes))
    guests = np.bincount([i for pairs in plan for i, j in pairs if j == -2], minlength=len(codes))
    repeats = len(pairs) - len(set(pairs))
    return (
        int(rests.sum()),
        int(np.sum(rests**2)),
        int(guests.sum()),
        repeats,
        int(np.sum(guests**2)),
        sum(cost[i, j] for i, j in pairs),
    )


def _as_result(plan, table, allowed, absent, rounds, guests, mats=None) -> Pairing:
    """`mats`: the mat of each athlete where pairs stay together."""
    codes = list(table["athlete"])
    schedule, opponents, sat, diffs = [], [], [], []
    for round_no, pairs in enumerate(plan, start=1):
        mat = 0
        for i, j in sorted(pairs, key=lambda pair: (pair[1] == -1, pair)):
            if j == -1:
                sat.append({"round_no": round_no, "athlete": codes[i], "reason": "no opponent left"})
                opponents.append((round_no, codes[i], RESTS, pd.NA))
                continue
            mat = mats[i] if mats else mat + 1
            other = GUEST if j == -2 else codes[j]
            schedule.append((round_no, mat, codes[i], other))
            opponents.append((round_no, codes[i], other, mat))
            if j >= 0:
                opponents.append((round_no, other, codes[i], mat))
                diffs.append(_difference(round_no, table, i, j))
        for code, when in absent.items():
            if round_no in when:
                sat.append({"round_no": round_no, "athlete": code, "reason": "not available"})
                opponents.append((round_no, code, RESTS, pd.NA))
    schedule = pd.DataFrame(schedule, columns=["round_no", "mat", "athlete_1", "athlete_2"])
    opponents = pd.DataFrame(opponents, columns=["round_no", "athlete", "opponent", "mat"])
    sat_out = pd.DataFrame(sat, columns=["round_no", "athlete", "reason"])
    met = schedule[schedule["athlete_2"] != GUEST].groupby(["athlete_1", "athlete_2"]).size()
    repeats = met[met > 1].rename("times").reset_index()
    return Pairing(
        schedule=schedule,
        opponents=opponents.astype({"mat": "Int64"}).sort_values(["round_no", "athlete"], ignore_index=True),
        sat_out=sat_out.sort_values(["round_no", "athlete"], ignore_index=True),
        repeats=repeats,
        differences=pd.DataFrame(diffs),
        rounds=rounds,
        guests=guests,
        method=f"maximum matching of smallest cost {'for the evening' if mats else 'in every round'}; body mass, experience, "
        "grade and group, never fitness",
        warnings=_pair_warnings(table, allowed, sat_out, repeats, rounds, schedule, keep=bool(mats)),
    )


def _difference(round_no, table, i, j) -> dict:
    a, b = table.loc[i], table.loc[j]
    return {
        "round_no": round_no,
        "athlete_1": a["athlete"],
        "athlete_2": b["athlete"],
        "mass_difference_kg": abs(a["mass_kg"] - b["mass_kg"]),
        "experience_difference_years": abs(a["experience_years"] - b["experience_years"]),
        "grade_difference": abs(a["grade_rank"] - b["grade_rank"]),
        "same_group": bool(a["group"] == b["group"]),
    }


def _pair_warnings(table, allowed, sat_out, repeats, rounds, schedule, *, keep) -> tuple[str, ...]:
    found = []
    mass = table.set_index("athlete")["mass_kg"]
    met = schedule[schedule["athlete_2"] != GUEST].drop_duplicates(["athlete_1", "athlete_2"])
    one, two = (mass[met[who]].to_numpy() for who in ("athlete_1", "athlete_2"))
    unequal = met[np.abs(one - two) > UNEQUAL_SHARE * np.fmin(one, two)]
    if len(unequal):
        named = join_words(f"{r.athlete_1} with {r.athlete_2}" for r in unequal.itertuples())
        found.append(
            f"Very unequal in body mass (more than {format_percent(UNEQUAL_SHARE)} of the lighter one's): {named}. The coach "
            "decides; a mass limit or a guest avoids it."
        )
    nobody = list(table.loc[~allowed.any(axis=1), "athlete"])
    if nobody:
        found.append(f"{join_words(nobody)} may meet nobody under these rules: bring a guest or loosen a rule.")
    if keep and rounds > 1:
        found.append(
            "Everyone keeps one opponent all evening: how hard that opponent goes counts in all rounds of both. Say so in the "
            "plan."
        )
    elif len(repeats):
        found.append(
            f"{plural(len(repeats), 'pair meets', 'pairs meet')} more than once: with {plural(len(table), 'athlete')}, "
            f"{plural(rounds, 'round')} and these rules the schedule found has no fresh opponent for everyone."
        )
    unplanned = sat_out[sat_out["reason"] != "not available"]
    idle = [a for a, n in unplanned["athlete"].value_counts().items() if n == rounds]
    if idle:
        found.append(f"{join_words(idle)} would not spar at all: bring a guest.")
        unplanned = unplanned[~unplanned["athlete"].isin(idle)]
    if len(unplanned):
        found.append(
            f"{plural(len(unplanned), 'place')} to sit out: the rest before the next round is then longer. Write sat_out; "
            "a guest who is not measured would fill the place."
        )
    if table["mass_kg"].isna().any():
        found.append("Body mass is missing for some athletes: look at their pairs by eye.")
    if (table["age_years"] < ADULT).any():
        found.append("Athletes under 18 are paired only with each other; local rules for minors come first.")
    return tuple(found)
