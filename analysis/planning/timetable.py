"""When each round starts, and which athletes can be sampled inside the window after each round."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, format_number, join_words, plural
from ..study.consent import HURRIED_S, UNHURRIED_S
from .design import check_size
from .pairing import GUEST, Pairing


@dataclass(frozen=True)
class Sampling(Result):
    """What the evening has for taking blood samples."""

    analysers: int = 1  # Lactate analysers, and people who may take a sample and do nothing else meanwhile
    samplers: int = 1
    # From one athlete's drop to the next one's, gloves and reading included (s)
    seconds_per_sample: float = UNHURRIED_S
    target_delay_s: float = 60.0  # Wished time from the end of the round to the drop (s)
    tolerance_s: float = 15.0  # How far from it a sample may lie (s)

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
    """Read the part [sampling] of study.toml."""
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


STARTS = ("common", "staggered")


@dataclass(frozen=True)
class Timetable(Result):
    """Starts, ends and samples of an evening; times in seconds from the first start.

    Parameters
    ----------
    mats : DataFrame
        round_no, mat, start_s, end_s, start_clock, end_clock ("" without a clock), athlete_1, athlete_2.
    slots : DataFrame
        round_no, athlete, mat, station, round_end_s, sample_s, sample_clock, delay_s, in_window, before_next_round. Who
        finds no free station before the next round ends is not in it.
    options : DataFrame
        option, measured (athletes sampled inside the window in one evening), evenings (until all were, with the same pairs),
        minutes (length of the evening), words. Each row was built as the evening that it promises.
    rests : DataFrame
        athlete, shortest_s, longest_s: the rests that the starts of the mats and a pairing leave.
    measured : int
        Athletes whose samples all lie inside the window.
    n_athletes : int
        Athletes who may give blood; 0 where nobody does, and nothing here speaks of samples.
    start : str
    sampling : Sampling
    method : str
    warnings : tuple of str
    """

    mats: pd.DataFrame
    slots: pd.DataFrame
    options: pd.DataFrame
    rests: pd.DataFrame
    measured: int
    n_athletes: int
    start: str
    sampling: Sampling
    method: str
    warnings: tuple[str, ...] = ()


def make_timetable(
    protocol, *, athletes: int | Sequence[str] | Pairing, sampling: Sampling | Mapping | None = None,
    start: str = "common", start_clock: str = "", unsampled: Sequence[str] = (), kept: Pairing | None = None,
) -> Timetable:  # fmt: skip
    """Work out when each mat starts and who can be sampled when.

    Parameters
    ----------
    protocol : Protocol
        rounds, work_s and rest_s are read.
    athletes : int, sequence of str or Pairing
        A number, codes (neighbours in the list share a mat), or the pairs of an evening. Who spars every round is sampled
        first, then in the order of the mats, the same after every round, so that an athlete's delay does not change.
    sampling : Sampling or mapping, optional
        The part [sampling] of study.toml. Default: one analyser, one sampler, 60 s a sample, 60 ± 15 s.
    start : {"common", "staggered"}
        All mats together, or one after the other so that the samples follow each other inside the window.
    start_clock : str
        Clock time of the first start, such as "19:00".
    unsampled : sequence of str
        Codes of those who give no blood, such as people under 18: they take nobody's place. Default nobody.
    kept : Pairing, optional
        The same athletes with one opponent all evening (`pair_athletes` with `keep`), for the option of staggered starts.
        Default: the pairs of the first round.

    Returns
    -------
    Timetable

    Notes
    -----
    A station takes 1 + floor(2 × tolerance / seconds per sample) samples in one window. With staggered starts it takes
    floor((work + rest) / seconds per sample) samples in every cycle of work and rest. With one analyser, 60 s a sample,
    ± 15 s and rounds of 5 + 2 minutes: 1 athlete at a common start, 7 with staggered starts.

    Examples
    --------
    >>> from analysis.study import Protocol
    >>> make_timetable(Protocol(4, 300.0, 120.0), athletes=14, start="staggered").measured
    7
    """
    check_choice(start, STARTS, name="start")
    sampling = sampling if isinstance(sampling, Sampling) else sampling_of(sampling)
    rounds = check_size(getattr(protocol, "rounds", 0), least=1, name="the number of rounds")
    work, rest = float(protocol.work_s), float(protocol.rest_s)
    if not (work > 0 and rest >= 0):
        raise KitError(f"The protocol has work_s {work} and rest_s {rest}; a timetable needs both.")
    names, pairs = _pairs_of(athletes, rounds)
    together = _pairs_of(kept, rounds)[1] if kept is not None else [pairs[0]] * rounds
    never = frozenset(str(code) for code in unsampled)
    plan = _Plan(sampling, work, rest, rounds)
    mats = _mat_table(pairs, _offsets(pairs, plan, start, never), work, rest, start_clock)
    may = [name for name in names if name not in never]
    slots = _book(mats, plan, start_clock, never)
    rests = _rest_table(mats, rest)
    measured = int(slots.groupby("athlete")["in_window"].all().sum())
    return Timetable(
        mats=mats,
        slots=slots,
        options=_option_table(may, pairs, together, plan, never),
        rests=rests,
        measured=measured,
        n_athletes=len(may),
        start=start,
        sampling=sampling,
        method="one delay per athlete all evening; a place inside the window goes to those who spar every round first, and to "
        "one athlete of every pair first"
        if may
        else "rounds and rests of the protocol",
        warnings=_warnings(may, measured, slots, rests, plan, start),
    )


@dataclass(frozen=True)
class _Plan:
    """What is the same for every way of starting."""

    sampling: Sampling
    work: float
    rest: float
    rounds: int


def _pairs_of(athletes, rounds):
    """Names, and per round the list of (athlete_1, athlete_2) by mat; ("", "") where a mat is empty."""
    if isinstance(athletes, Pairing):
        table = athletes.schedule
        most = int(table["mat"].max()) if len(table) else 0
        by_round = [[("", "")] * most for _ in range(rounds)]
        for row in table[table["round_no"] <= rounds].itertuples():
            by_round[row.round_no - 1][row.mat - 1] = (row.athlete_1, row.athlete_2)
        if any(not any(one for one, _ in pairs) for pairs in by_round):
            raise KitError(f"The pairing does not hold pairs for all {rounds} rounds of the protocol.")
        names = [a for a in sorted(set(athletes.opponents["athlete"])) if a != GUEST]
        return names, by_round
    if isinstance(athletes, int | np.integer):
        athletes = [f"athlete {i + 1}" for i in range(check_size(athletes, least=1, name="athletes"))]
    names = [str(a) for a in athletes]
    if not names or len(set(names)) < len(names):
        raise KitError("athletes must be codes that differ from each other, at least one.")
    pairs = [(names[i], names[i + 1] if i + 1 < len(names) else GUEST) for i in range(0, len(names), 2)]
    return names, [pairs] * rounds


def _offsets(pairs, plan: _Plan, start: str, never: frozenset) -> np.ndarray:
    """Start of every mat after the first (s); mats on which nobody gives blood come last."""
    n_mats, sampling = len(pairs[0]), plan.sampling
    gives = [
        any(who not in ("", GUEST) and who not in never for here in pairs for who in here[mat]) for mat in range(n_mats)
    ]
    if start == "common" or not any(gives):
        return np.zeros(n_mats)
    together = max(sampling.in_window // 2, 1)
    athletes = 2 * together if sampling.in_window > 1 else 1
    samples = -(-athletes // sampling.stations)  # one after the other, at each station, for mats that start together
    in_cycle = int(np.floor((plan.work + plan.rest) / sampling.seconds_per_sample + 1e-9))
    waves = max(-(-in_cycle // samples), 1)
    step = samples * sampling.seconds_per_sample
    place = np.argsort(np.argsort(~np.array(gives), kind="stable"), kind="stable")
    return np.minimum(place // together, waves - 1) * step


def _mat_table(pairs, offsets, work, rest, start_clock) -> pd.DataFrame:
    rows = []
    for r, mats in enumerate(pairs):
        for mat, (one, two) in enumerate(mats):
            if one:
                begin = r * (work + rest) + offsets[mat]
                clock = (clock_text(start_clock, begin), clock_text(start_clock, begin + work))
                rows.append((r + 1, mat + 1, begin, begin + work, *clock, one, two))
    names = ["round_no", "mat", "start_s", "end_s", "start_clock", "end_clock", "athlete_1", "athlete_2"]
    return pd.DataFrame(rows, columns=names)


def _book(mats, plan: _Plan, start_clock, never=frozenset(), *, late_too=True) -> pd.DataFrame:
    """Give athletes one delay each for the whole evening: inside the window where a station is free, else after it."""
    sampling, rest = plan.sampling, plan.rest
    order = [*mats["athlete_1"], *mats["athlete_2"]]  # one athlete of every pair first
    visits: dict[str, list[tuple]] = {name: [] for name in order if name != GUEST and name not in never}
    for mat in mats.itertuples():
        for name in (mat.athlete_1, mat.athlete_2):
            if name in visits:
                visits[name].append((mat.round_no, mat.mat, mat.end_s))
    visits = dict(sorted(visits.items(), key=lambda one: -len(one[1])))  # who spars every round comes first
    step, places = sampling.seconds_per_sample, sampling.slots_in_window
    inside = [sampling.target_delay_s + (i - (places - 1) / 2) * step for i in range(places)]
    busy: list[list[float]] = [[] for _ in range(sampling.stations)]
    chosen: dict[str, float] = {}
    late = np.arange(inside[-1] + step, plan.work + rest, step).tolist()  # later, the next round's are due
    for delays in (inside, late) if late_too else (inside,):
        for name, ends in visits.items():
            if name in chosen:
                continue
            for delay in delays:
                stations = [_free(busy, end + delay, step) for _, _, end in ends]
                if None not in stations:
                    for station, (_, _, end) in zip(stations, ends, strict=True):
                        busy[station].append(end + delay)
                    chosen[name] = delay
                    visits[name] = [(station, *end) for station, end in zip(stations, ends, strict=True)]
                    break
    rows = []
    for name, delay in chosen.items():
        for station, round_no, mat, end in visits[name]:
            at = end + delay
            rows.append((round_no, name, mat, station + 1, end, at, clock_text(start_clock, at), delay,
                         abs(delay - sampling.target_delay_s) <= sampling.tolerance_s + 1e-9,
                         round_no == plan.rounds or delay + step <= rest + 1e-9))  # fmt: skip
    names = ["round_no", "athlete", "mat", "station", "round_end_s", "sample_s", "sample_clock", "delay_s",
             "in_window", "before_next_round"]  # fmt: skip
    return pd.DataFrame(rows, columns=names).sort_values(["sample_s", "station"], ignore_index=True)


def _free(busy, at: float, length: float) -> int | None:
    """The first station that takes nobody else within one sample's length of `at`."""
    for station, taken in enumerate(busy):
        if all(abs(at - other) >= length - 1e-9 for other in taken):
            return station
    return None


def _rest_table(mats, rest) -> pd.DataFrame:
    times = mats[["round_no", "start_s", "end_s"]]
    long = pd.concat([times.assign(athlete=mats[who]) for who in ("athlete_1", "athlete_2")])
    long = long[long["athlete"] != GUEST].sort_values(["athlete", "round_no"])
    before = long.groupby("athlete")[["round_no", "end_s"]].shift()
    gap = (long["start_s"] - before["end_s"]).where(long["round_no"] - before["round_no"] == 1)
    rests = gap.groupby(long["athlete"]).agg(["min", "max"]).reset_index()
    rests.columns = ["athlete", "shortest_s", "longest_s"]
    return rests.assign(planned_s=rest)


def _evenings(pairs, plan: _Plan, start: str, never: frozenset) -> tuple[int, int, float]:
    """Athletes measured in one evening, evenings until all who spar were, and the minutes of one; built, not counted."""
    mats = _mat_table(pairs, _offsets(pairs, plan, start, never), plan.work, plan.rest, "")
    spar = {w for w in [*mats["athlete_1"], *mats["athlete_2"]] if w != GUEST and w not in never}
    last, measured, done, evenings = float(mats["end_s"].max()), None, set(), 0
    while not spar <= done:
        offsets = _offsets(pairs, plan, start, never | done)
        here = _mat_table(pairs, offsets, plan.work, plan.rest, "")
        slots = _book(here, plan, "", never | done, late_too=False)
        if slots.empty:  # a sample takes longer than a round and its rest
            break
        done |= set(slots["athlete"])
        evenings += 1
        if measured is None:
            measured, last = slots["athlete"].nunique(), max(last, float(slots["sample_s"].max()))
    return measured or 0, max(evenings, 1), last / 60


def _option_table(may, pairs, together, plan: _Plan, never) -> pd.DataFrame:
    n_mats, n = len(pairs[0]), len(may)
    common = _evenings(pairs, plan, "common", never)
    names = ["option", "measured", "evenings", "minutes", "words"]
    if not n:
        words = f"All {plural(n_mats, 'mat')} start together." if n_mats > 1 else "One mat."
        return pd.DataFrame([("common start", *common, words)], columns=names)
    staggered = _evenings(together, plan, "staggered", never)
    on_mats = {who for here in together for pair in here for who in pair}
    idle = [name for name in may if name not in on_mats]
    away = (
        f" {join_words(idle)} then {'has' if len(idle) == 1 else 'have'} no opponent without a guest." if idle else ""
    )
    pick, way = max(
        (common, "a common start"), (staggered, "staggered starts and the same pairs"), key=lambda one: one[0][0]
    )
    shared = (
        "No evening leaves time for a sample."
        if not pick[0]
        else f"One evening with {way} is enough for all {n - len(idle)}."
        if pick[1] == 1
        else f"Share out who gives blood over {plural(pick[1], 'evening')} with {way}, the same protocol, analyser and hour."
    ) + (away if pick is staggered else "")
    rows = [
        ("common start", *common,
         f"All {plural(n_mats, 'mat')} start together: {plural(common[0], 'athlete')} of {n} can be sampled on time."),
        ("staggered starts", *staggered,
         f"Mats start one after the other and keep their pairs: {plural(staggered[0], 'athlete')} of {n} can be sampled on "
         f"time.{away}"),
        ("fixed subset", common[0], 1, common[2],
         f"A common start, and a plan that says before the day which {plural(common[0], 'athlete')} to sample, after every "
         "round; heart rate and exertion are taken of all."),
        ("further evenings", n - (len(idle) if pick is staggered else 0), pick[1], pick[2], shared),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=names)


def _warnings(names, measured, slots, rests, plan: _Plan, start) -> tuple[str, ...]:
    sampling, rest = plan.sampling, plan.rest
    found = _rest_warnings(rests, rest) if start == "staggered" else []
    names = [name for name in names if name in set(rests["athlete"])]
    if not names:
        return tuple(found)
    if measured < len(names):
        found.append(
            f"{measured} of {plural(len(names), 'athlete')} can be sampled {format_number(sampling.target_delay_s, 0)} ± "
            f"{format_number(sampling.tolerance_s, 0, unit='s')} after every round with "
            f"{plural(sampling.stations, 'station')}; the others' delays are longer, and a delay that differs between "
            "athletes or rounds looks like an effect. See the options."
        )
    unsampled = len(names) - slots["athlete"].nunique()
    if unsampled:
        found.append(f"{plural(unsampled, 'athlete')} would find no free station before the next round is over.")
    if sampling.seconds_per_sample < HURRIED_S:
        found.append(
            f"{format_number(sampling.seconds_per_sample, 0, unit='s')} a sample leaves no time for new gloves: count with "
            f"{format_number(UNHURRIED_S, 0, unit='s')}, gloves and reading included."
        )
    late = slots[~slots["before_next_round"].astype(bool) & slots["in_window"].astype(bool)]
    if len(late):
        found.append(
            f"A sample takes until {format_number(late['delay_s'].max() + sampling.seconds_per_sample, 0, unit='s')} after "
            f"the round, but the rest lasts {format_number(rest, 0, unit='s')}: the next round would start late for the "
            "athlete."
        )
    rounds = slots[slots["in_window"]].groupby("athlete")["round_no"].nunique()
    out = list(rounds.index[rounds < plan.rounds])
    if out:
        found.append(
            f"{join_words(out)} {'gives' if len(out) == 1 else 'give'} blood and {'sits' if len(out) == 1 else 'sit'} out a "
            "round: there is no sample after it, and the rest before the next is longer. A guest fills the place."
        )
    return tuple(found)


def _rest_warnings(rests, rest) -> list[str]:
    """Say whose rests staggered starts change."""
    uneven = rests[(rests["shortest_s"] - rest).abs().gt(1) | (rests["longest_s"] - rest).abs().gt(1)]
    if not len(uneven):
        return []
    return [
        f"Opponents change between mats that start at different times: {plural(len(uneven), 'athlete')} would rest "
        f"between {format_number(uneven['shortest_s'].min(), 0)} and "
        f"{format_number(uneven['longest_s'].max(), 0, unit='s')} instead of {format_number(rest, 0, unit='s')}. Keep the "
        "same pairs all evening, or start all mats together and sample fewer."
    ]
