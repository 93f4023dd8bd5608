"""Values that stand out: possible, but unlike what the same athlete, the same row or the club shows. "Is this right?"

Nothing is changed here. Each value is asked about once, with the slip that would explain it; a person answers with a
decision `keep` or `replace`. The limits below are our proposal, chosen so that clubs that typed everything right are
asked less than once (`tests/benchmarks/study_typed.py`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from .columns import lines_of, place
from .convert import KEEP
from .problems import Findings
from .settings import Protocol

SCATTER = 1.4826
"""Median absolute deviation times this is the standard deviation of a normal distribution."""

PLAIN = 6.0
"""Scatters away from what is expected at which a value is asked about by itself."""

WITH_SLIP = {"point": 2.2, "exchanged": 3.5, "digit": 4.0, "front": 3.5}
"""The same where a usual slip explains it: the commoner the slip, the sooner."""

FEWEST = 5
"""Values of one column that are needed before the club shows a pattern."""

MOST = 2_000
"""Values of one evening beyond this number are no club's, and are not compared."""

SAME_MASS = 0.06
"""Two body masses of one athlete that differ by a larger share are asked about."""

HR_MAX_APART = 35.0
"""A maximal heart rate further than this from what the age predicts is asked about (bpm; about 3.5 standard errors)."""

ALIKE = {
    "0": "68", "1": "47", "2": "7", "3": "58", "4": "19", "5": "36", "6": "058", "7": "129", "8": "0369", "9": "478",
}  # fmt: skip
"""Digit -> digits that a hurried hand makes look the same (common practice, no source)."""

GAP_BPM = 40.0
"""Peak minus mean of a round beyond this, and beyond the club's pattern, is asked about (bpm)."""


@dataclass(frozen=True)
class StandsOut:
    """One value that is asked about."""

    table: str
    column: str
    line: tuple  # the row, as loaded
    value: float
    why: str  # what it does not go with, in words
    likely: float = math.nan
    slip: str = ""  # that slip in words; "" where there is none
    sign: str = ""  # ">" or "<" where the value was off the scale and `value` is its end

    @property
    def shown(self) -> str:
        """The value as it is shown."""
        return f"{self.sign} {self.value:g}".strip()


@dataclass(frozen=True)
class _Measure:
    """How a column scatters: floor of the scatter, smallest distance worth a question, decimals."""

    # By ratio: compared as the logarithm of 1 + value, since lactate scatters more where it is high.

    column: str
    words: str
    unit: str
    floor: float
    least: float
    digits: int
    by_ratio: bool = False


def _measures(scale: str) -> tuple[_Measure, ...]:
    least, floor = {"6-20": (5.0, 1.0), "0-10": (4.0, 0.8), "0-100": (35.0, 7.0)}.get(scale, (5.0, 1.0))
    return (
        _Measure("hr_mean_typed_bpm", "mean heart rate", " bpm", 4.0, 18.0, 0),
        _Measure("hr_peak_typed_bpm", "peak heart rate", " bpm", 4.0, 20.0, 0),
        _Measure("lactate_mmol_l", "lactate", " mmol/L", 0.12, 0.75, 1, by_ratio=True),
        _Measure("exertion", "exertion", "", floor, least, 0),
    )


def find_values_that_stand_out(
    tables: dict[str, pd.DataFrame], scale: str, ends: tuple[float, float] = (math.nan, math.nan)
) -> list[StandsOut]:
    """List the values that a person should look at again; `ends` are those of the lactate analyser."""
    found: dict[tuple, StandsOut] = {}
    for one in sorted(_all(tables, scale, ends), key=lambda o: o.slip == ""):
        number = getattr(one.line, "round_no", 0)
        found.setdefault((one.table, one.column, one.line[-1], number), one)
    return list(found.values())


def _without_giants(table: pd.DataFrame) -> pd.DataFrame:
    """Numbers that no device shows are told as problems; here they would overflow."""
    numbers = table.select_dtypes("float64")
    giant = numbers.abs() >= 1e9
    return table.assign(**numbers.mask(giant)) if giant.to_numpy().any() else table


def _without_wrong(rounds: pd.DataFrame, findings: Findings, *, wide: bool) -> pd.DataFrame:
    """The rounds without the values that have a problem: a wrong value says nothing of its neighbours."""
    wrong = {p.place for p in findings.problems if p.row is not None}
    for column in (m.column for m in _measures("") if wrong and len(rounds)):
        names = column + "_" + rounds["round_no"].astype(str) if wide else [column] * len(rounds)
        places = zip(rounds["file"], rounds["row"], names, strict=True)
        out = pd.Series([place in wrong for place in places], index=rounds.index)
        rounds = rounds.assign(**{column: rounds[column].mask(out)}) if out.any() else rounds
    return rounds


def _all(tables: dict[str, pd.DataFrame], scale: str, ends: tuple[float, float]) -> Iterator[StandsOut]:
    yield from (
        *_athletes(tables["athletes"], tables["attendance"]),
        *_tests(tables["aerobic_tests"]),
        *_rounds(_with_ends(tables["rounds"], ends), scale),
        *_gaps(tables["rounds"]),
        *_rested(tables["rounds"]),
        *_delays(tables["rounds"]),
    )


def likely_slip(value: float, expected: float, near: float, digits: int) -> tuple[float, str, str]:
    """Return what was probably meant, the kind of slip and its words, or (nan, "", "")."""
    best = (math.inf, math.nan, "", "")
    for other, kind, words in _slips(value, digits):
        apart = abs(other - expected)
        if apart <= near and apart + near * (kind == "digit") < best[0]:
            best = (apart + near * (kind == "digit"), other, kind, words)
    return best[1:]


def _slips(value: float, digits: int) -> Iterator[tuple[float, str, str]]:
    """Yield what the digits of a value could have been, with the kind of slip and its words."""
    for factor in (10.0, 0.1):
        other = round(value * factor, 6)
        if digits or other == int(other):
            yield other, "point", "the decimal point slipped" if digits else "a digit too many or too few"
    text = str(abs(round(value * 10**digits))).zfill(2 if digits else 1)
    for i, (a, b) in enumerate(pairwise(text)):
        if a != b:
            yield int(text[:i] + b + a + text[i + 2 :]) / 10**digits, "exchanged", "two digits exchanged"
    for i, a in enumerate(text):
        for b in ALIKE.get(a, ""):
            if i or b != "0":
                yield int(text[:i] + b + text[i + 1 :]) / 10**digits, "digit", f"{a} for {b}"
    for first in "123456789":
        yield int(first + text) / 10**digits, "front", f"a {first} lost in front"


def _with_ends(rounds: pd.DataFrame, ends: tuple[float, float]) -> pd.DataFrame:
    """The rounds with the end of the scale in place of a lactate beyond it."""
    off = rounds["lactate_limit"].ne("") & rounds["lactate_mmol_l"].isna()
    if not off.any():
        return rounds
    end = rounds["lactate_bound_mmol_l"].fillna(
        rounds["lactate_limit"].map({"low": ends[0], "high": ends[1]}).astype(float)
    )
    return rounds.assign(lactate_mmol_l=rounds["lactate_mmol_l"].mask(off, end))


def _rounds(rounds: pd.DataFrame, scale: str) -> Iterator[StandsOut]:
    sparred = rounds[(rounds["round_no"] > 0) & rounds["took_part"].isin(["yes", "part", ""])]
    for measure in _measures(scale):
        there = sparred[sparred[measure.column].notna()]
        if measure.by_ratio:
            there = there[there[measure.column] > 0]
        for _, session in there.groupby("session", sort=False):
            if FEWEST <= len(session) <= MOST:
                yield from _unlike_the_others(session, measure)


def _unlike_the_others(session: pd.DataFrame, measure: _Measure) -> Iterator[StandsOut]:
    values = session[measure.column].to_numpy()
    scale = np.log1p(values) if measure.by_ratio else values
    athletes = pd.factorize(session["athlete"])[0]
    rounds = pd.factorize(session["round_no"])[0]
    expected, lone = _expected(scale, athletes, rounds)
    apart = scale - expected
    limits = session["lactate_limit"].to_numpy() if measure.by_ratio else np.full(len(values), "")
    apart = np.where(limits == "high", np.maximum(apart, 0.0), apart)  # what lies beyond may be as expected
    apart = np.where(limits == "low", np.minimum(apart, 0.0), apart)
    known = np.isfinite(apart)
    ones = np.where(lone | (limits != ""), np.nan, apart)
    spread = max(measure.floor, _spread(ones))
    wide = max(measure.floor * 1.4, _spread(apart[lone]), _spread(ones) * 1.4)
    beside = _beside(session, measure.column)
    for i in np.flatnonzero(known):
        scatter = wide if lone[i] else spread
        # a peak that fell as much as the mean speaks for a quiet round, one that did not for a slip
        ask = 1.0 if np.isnan(beside[i]) else 0.75 if beside[i] * np.sign(apart[i]) > 3 else 1.5
        if abs(apart[i]) < ask * min(WITH_SLIP["point"] * scatter, measure.least):
            continue
        middle = math.expm1(expected[i]) if measure.by_ratio else expected[i]
        near = (1 + middle) * math.expm1(1.5 * scatter) if measure.by_ratio else max(1.5 * scatter, measure.least / 3)
        likely, kind, slip = likely_slip(values[i], middle, near, measure.digits)
        if limits[i]:
            likely, kind, slip = math.nan, "digit", ""  # an analyser shows HI for an error, too
        if lone[i] and not slip and ask >= 1.0:
            continue  # of two values that disagree either may be right
        least = 0.0 if kind == "point" else measure.least if slip or limits[i] else 1.5 * measure.least
        if abs(apart[i]) < ask * max(least, WITH_SLIP.get(kind, PLAIN) * scatter):
            continue
        about, line = f"{middle:.{measure.digits}f}{measure.unit}", _line(session, i)
        whose = "the club's other values of this round" if lone[i] else f"the other rounds of {line.athlete}"
        yield StandsOut(
            "rounds", measure.column, line, values[i], f"{whose} lead one to expect about {about}", likely, slip,
            {"high": ">", "low": "<"}.get(limits[i], ""),
        )  # fmt: skip


def _line(table: pd.DataFrame, i: int):
    """One row as a named tuple: few stand out."""
    return next(iter(lines_of(table.iloc[[i]])))


def _middle(values: np.ndarray) -> float:
    """The median of a few numbers, as numpy's to the last digit and ten times quicker."""
    ordered, half = sorted(values.tolist()), len(values) // 2
    return ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2


def _beside(session: pd.DataFrame, column: str) -> np.ndarray:
    """Return, in scatters, how much more than its partner (mean or peak) a heart rate departs from the club's gap."""
    other = {"hr_mean_typed_bpm": "hr_peak_typed_bpm", "hr_peak_typed_bpm": "hr_mean_typed_bpm"}.get(column)
    if other is None:
        return np.full(len(session), np.nan)
    gap = (session[column] - session[other]).to_numpy()
    if np.isfinite(gap).sum() < FEWEST:
        return np.full(len(session), np.nan)
    return (gap - np.nanmedian(gap)) / max(_spread(gap), 3.0)


def _expected(values: np.ndarray, athletes: np.ndarray, rounds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return what the other rounds of the athlete and the club's change between rounds lead one to expect."""
    # The second array is True where the athlete has no other round, so that only the club is left to
    # compare with.
    n_rounds = rounds.max() + 1
    middle = np.array([_middle(values[athletes == a]) for a in range(athletes.max() + 1)])
    change = np.zeros(n_rounds)
    for _ in range(2):
        for r in range(n_rounds):
            change[r] = _middle((values - middle[athletes])[rounds == r])
        for a in range(len(middle)):
            middle[a] = _middle((values - change[rounds])[athletes == a])
    expected, lone = np.full(len(values), np.nan), np.zeros(len(values), dtype=bool)
    for i in range(len(values)):
        own = (athletes == athletes[i]) & (np.arange(len(values)) != i)
        if own.any():
            expected[i] = _middle((values - change[rounds])[own]) + change[rounds[i]]
            lone[i] = own.sum() == 1
        else:
            others = (rounds == rounds[i]) & (athletes != athletes[i])
            lone[i] = True
            if others.sum() >= FEWEST - 1:
                expected[i] = _middle(values[others])
    return expected, lone


def _spread(values: np.ndarray) -> float:
    values = values[np.isfinite(values)]
    return float(SCATTER * _middle(np.abs(values - _middle(values)))) if len(values) else 0.0


def _gaps(rounds: pd.DataFrame) -> Iterator[StandsOut]:
    """Find a mean and a peak of one round that do not go together."""
    both = rounds[(rounds["round_no"] > 0) & rounds["hr_mean_typed_bpm"].notna() & rounds["hr_peak_typed_bpm"].notna()]
    gaps = (both["hr_peak_typed_bpm"] - both["hr_mean_typed_bpm"]).to_numpy()
    usual = float(np.median(gaps)) if len(gaps) >= FEWEST else 15.0
    scatter = max(_spread(gaps), 4.0) if len(gaps) >= FEWEST else 6.0
    far = np.flatnonzero(gaps > max(GAP_BPM, usual + PLAIN * scatter))
    lines = list(lines_of(both)) if len(far) else []
    for i in far:
        line = lines[i]
        likely, _, slip = likely_slip(line.hr_mean_typed_bpm, line.hr_peak_typed_bpm - usual, 2 * scatter, 0)
        why = f"{gaps[i]:.0f} bpm below the peak of the same round ({line.hr_peak_typed_bpm:g})"
        yield StandsOut("rounds", "hr_mean_typed_bpm", line, line.hr_mean_typed_bpm, why, likely, slip)


def _rested(rounds: pd.DataFrame) -> Iterator[StandsOut]:
    """Find a lactate before sparring that is unlike all others before sparring, where a lost point explains it."""
    before = rounds[(rounds["round_no"] == 0) & rounds["lactate_mmol_l"].gt(0)]
    yield from _one_each(before, "rounds", "lactate_mmol_l", "the club's other values before sparring", " mmol/L")


def _one_each(table: pd.DataFrame, name: str, column: str, whose: str, unit: str) -> Iterator[StandsOut]:
    """Compare values of which each athlete has one with those of all others, by ratio."""
    above = table[column].gt(0)
    if not FEWEST <= above.sum() <= MOST:
        return
    there = table[above]
    values = there[column].to_numpy()
    for i in range(len(values)):
        others = np.log(np.delete(values, i))
        middle, scatter = _middle(others), max(_spread(others), 0.15)
        if abs(math.log(values[i]) - middle) < WITH_SLIP["digit"] * scatter:
            continue
        expected = math.exp(middle)
        near = expected * (math.exp(1.5 * scatter) - 1)
        for factor in (10.0, 0.1):
            if abs(values[i] * factor - expected) <= near:
                about = f"{whose} are about {expected:.3g}{unit}"
                yield StandsOut(
                    name, column, _line(there, i), values[i], about, round(values[i] * factor, 6),
                    "the decimal point slipped",
                )  # fmt: skip


def _delays(rounds: pd.DataFrame) -> Iterator[StandsOut]:
    there = rounds[(rounds["round_no"] > 0) & rounds["lactate_delay_s"].notna()]
    if not FEWEST <= len(there) <= MOST:
        return
    values = there["lactate_delay_s"].to_numpy()
    least = float(np.sort(values)[len(values) // 2 - 1])  # no more than the median of any others
    for i in np.flatnonzero(values > least + 120):
        others, line = np.delete(values, i), _line(there, i)
        top, usual = float(np.quantile(others, 0.95)), float(np.median(others))
        if values[i] <= max(2.5 * top, usual + 120):
            continue
        tenth = values[i] / 10
        fits = others.min() * 0.7 <= tenth <= top * 1.3
        yield StandsOut(
            "rounds", "lactate_delay_s", line, values[i], f"the other samples were taken about {usual:.0f} s after the round",
            *((tenth, "a digit too many") if fits else (math.nan, "")),
        )  # fmt: skip


def _athletes(athletes: pd.DataFrame, attendance: pd.DataFrame) -> Iterator[StandsOut]:
    own = dict(zip(athletes["athlete"], athletes["mass_kg"], strict=True))
    on_day: dict[str, list[float]] = {}
    for line in lines_of(attendance):
        on_day.setdefault(line.athlete, []).extend(v for v in (line.mass_kg, line.usual_mass_kg) if v > 0)
    for line in lines_of(athletes):
        yield from _mass("athletes", "mass_kg", line, line.mass_kg, on_day.get(line.athlete, []))
        expected = 208.0 - 0.7 * line.age_years
        if line.hr_limited != "yes" and abs(line.hr_max_bpm - expected) > HR_MAX_APART:
            likely, _, slip = likely_slip(line.hr_max_bpm, expected, 15.0, 0)
            why = f"at {line.age_years:g} years most maxima lie about {expected:.0f} bpm"
            yield StandsOut("athletes", "hr_max_bpm", line, line.hr_max_bpm, why, likely, slip)
    for line in lines_of(attendance):
        for column, other in (("mass_kg", line.usual_mass_kg), ("usual_mass_kg", line.mass_kg)):
            beside = [v for v in (own.get(line.athlete, math.nan), other) if v > 0]
            yield from _mass("attendance", column, line, getattr(line, column), beside)


def _mass(table: str, column: str, line, value: float, others: list[float]) -> Iterator[StandsOut]:
    """Ask where a mass differs from all others of the athlete, and these agree with one another or it alone is odd."""
    if not others or math.isnan(value):
        return
    expected = float(np.median(others))
    if all(abs(value / v - 1) > SAME_MASS for v in others) and max(others) / min(others) - 1 <= SAME_MASS:
        likely, _, slip = likely_slip(value, expected, 0.03 * expected, 1)
        if len(others) > 1 or slip:
            why = f"elsewhere {line.athlete} has {expected:.1f} kg"
            yield StandsOut(table, column, line, value, why, likely, slip)


def _tests(tests: pd.DataFrame) -> Iterator[StandsOut]:
    for name, own in tests.groupby("test", sort=False):
        for column, unit in (("distance_m", " m"), ("vo2max_ml_kg_min", " mL/kg/min"), ("vo2max_l_min", " L/min")):
            yield from _one_each(own, "aerobic_tests", column, f"the club's other values of {name}", unit)


@dataclass(frozen=True)
class DelayDrift:
    """Samples that were taken later from round to round."""

    first_round: int
    last_round: int
    first_s: float
    last_s: float


DRIFT_S = 30.0
"""Growth of the median delay from the first to the last round beyond which it is said (our proposal)."""


def delay_drift(rounds: pd.DataFrame) -> DelayDrift | None:
    """Return how the delay of the samples grew over the rounds of one session, or None where it did not."""
    # It grew where the medians rise from each round to the next and the last exceeds the first by more than
    # `DRIFT_S`.
    there = rounds[rounds["lactate_delay_s"].notna() & rounds["round_no"].gt(0)]
    middle = there.groupby("round_no")["lactate_delay_s"].agg(["median", "size"])
    middle = middle[middle["size"] >= 2]["median"]
    if len(middle) < 2 or not middle.is_monotonic_increasing or middle.iloc[-1] - middle.iloc[0] <= DRIFT_S:
        return None
    return DelayDrift(int(middle.index[0]), int(middle.index[-1]), float(middle.iloc[0]), float(middle.iloc[-1]))


def ask_what_stands_out(
    tables: dict[str, pd.DataFrame], protocol: Protocol, settings, findings: Findings, *, wide: bool
) -> None:
    """Ask about values that are possible but unlike the others, where nothing was said of the cell yet."""
    told = {p.place for p in (*findings.problems, *findings.questions)}
    used = ("athletes", "attendance", "aerobic_tests", "rounds")
    tables = {name: _without_giants(tables[name]) for name in used}
    tables["rounds"] = _without_wrong(tables["rounds"], findings, wide=wide)
    ends = tuple(_number(settings.get(f"lactate_analyser_{end}_mmol_l")) for end in ("low", "high"))
    for one in find_values_that_stand_out(tables, protocol.exertion_scale, ends):
        file, row = place(one.table, one.line)
        column = f"{one.column}_{one.line.round_no}" if wide and one.table == "rounds" else one.column
        if (file, row, column) in told or (
            column == "hr_max_bpm" and findings.doubts(file, row, "age_years", "hr_rest_bpm")
        ):
            continue
        likely = f"; {one.likely:g} with {one.slip}" if one.slip else ""
        remedy = "look at the sheet, then keep it in decisions" + (f" or write {one.likely:g}" if one.slip else "")
        offer = f"{one.likely:g}" if one.slip else ""
        findings.question(file, row, column, one.shown, f"stands out: {one.why}{likely}?", remedy, offer=offer)
    _ask_about_straps(tables["attendance"], findings)
    _ask_about_delays(tables["rounds"], findings)


def _number(value: object) -> float:
    """A setting as a number; missing where it is none."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan


def _ask_about_straps(attendance: pd.DataFrame, findings: Findings) -> None:
    """Ask where one numbered strap stands beside two athletes of an evening; a receiver of many is no strap."""
    worn = attendance[attendance["device"].str.contains(r"\d", regex=True)]
    for session, own in worn.groupby("session", sort=False):
        for device, both in own.groupby("device", sort=False):
            if len(both) != 2 or own["device"].nunique() < 0.7 * len(own):
                continue
            first, line = lines_of(both)
            problem = (
                f"strap {device} is also on {first.athlete} (row {first.row}) in session {session}: is this right?"
            )
            findings.question(*place("attendance", line), "device", device, problem, KEEP)


def _ask_about_delays(rounds: pd.DataFrame, findings: Findings) -> None:
    """Ask where blood was taken later and later: lactate goes on rising after a round."""
    for session, own in rounds[rounds["round_no"].gt(0)].groupby("session", sort=False):
        drift = delay_drift(own)
        if drift is None:
            continue
        line = next(iter(lines_of(own[own["lactate_delay_s"].notna()])))
        problem = (
            f"in session {session} blood was taken later from round to round: about {drift.first_s:.0f} s after round "
            f"{drift.first_round} and {drift.last_s:.0f} s after round {drift.last_round}; lactate goes on rising after a round, "
            "so a rise is then not the rounds' alone"
        )
        findings.question(
            line.file, None, "lactate_delay_s", "", problem, "nothing can be put right afterwards; the write-up says so"
        )
