"""Clocks at the edges of what is found, believed, held back and said; traces that answer exactly as the model does."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.cleaning import CleaningRules, clocks
from analysis.cleaning.clocks import (
    Lag,
    _change_of_means,
    _one_for_all,
    _together,
    _uncertainty,
    clock_in_words,
    find_clock,
    find_lag,
    place_without_clock,
    scan_starts,
    settle_clocks,
    windows_from_traces,
)
from analysis.cleaning.find import Window, shape_of_rounds
from analysis.cleaning.placing import BY_EVENT, Evening, Trace
from analysis.study import Protocol

RULES = CleaningRules()
STARTS = np.array([600.0, 1020.0, 1440.0])
ENDS = STARTS + 300
SECONDS = np.arange(0.0, 2400.0)


def answer(clock=SECONDS, *, height=60.0, late=0.0, starts=STARTS):
    """Heart rate that follows the rounds as the model says, with a rise of 25 s and a fall of 45 s."""
    return 100 + height * shape_of_rounds(clock, starts + late, starts + late + 300, 25.0, 45.0)


def found(clock=SECONDS, rates=None, *, find=find_clock, starts=STARTS, ends=ENDS):
    rates = answer(clock) if rates is None else rates
    return find(clock, rates, np.ones(len(clock), dtype=bool), starts, ends)


@pytest.mark.parametrize("late", [0, 12, -41, 150, 163, 290, 296, 300, 304, 317, 340, -300, -320, 1500, 2095, -2095])
def test_a_clock_is_found_wherever_it_is_looked_for(late):
    """To a tenth of the grid of 5 s. Found by a changed line: from 295 to 335 s off nothing was found, and so nothing said."""
    got = found(rates=answer(late=late)) if abs(late) < 600 else found(SECONDS + late, answer())
    assert got.seconds == pytest.approx(late, abs=0.5)


@pytest.mark.parametrize(
    ("off", "there"), [(2250, False), (-2250, False), (3600, True), (50690, True), (52200, False), (54000, False)]
)
def test_far_off_clocks_are_looked_for_about_half_hours_up_to_fourteen_hours(off, there):
    assert np.isfinite(found(SECONDS + off, answer()).seconds) == there


@pytest.mark.parametrize("find", [find_lag, find_clock])
def test_less_than_fifteen_beats_are_no_answer(find):
    assert np.isnan(found(rates=answer(height=14.9), find=find).seconds)
    assert found(rates=answer(height=15.1), find=find).seconds == pytest.approx(0, abs=0.5)
    upside_down = found(rates=answer(height=-60.0), find=find)
    assert np.isnan(upside_down.seconds) or upside_down.confidence < 0.2


def test_the_confidence_is_the_logistic_of_what_is_explained_and_how_sure_the_place_is():
    """The weights stand in clocks.py; an exact answer explains all but the rounding to the grid (share 1.000)."""
    sure = found(starts=STARTS.tolist(), ends=ENDS.tolist())
    assert sure.uncertainty_s == 5.0
    assert sure.confidence == pytest.approx(1 / (1 + np.exp(-(4.9 + 2.75 - 1.95 * np.log(5)))), abs=1e-5)
    cut = SECONDS[SECONDS >= 1110]  # 690 of 900 s of work are seen
    share = scan_starts(cut, answer(cut), STARTS, ENDS)[1].max()
    half = found(cut)
    odds = 4.9 + 2.75 * share - 1.95 * np.log(half.uncertainty_s)
    assert half.confidence == pytest.approx(1 / (1 + np.exp(-odds))) and share < 0.8


def test_what_is_explained_is_less_where_work_lies_outside_the_trace():
    """An exact answer of which 2 of 3 rounds are seen explains the root of 2/3; below half of the work nothing."""
    lags, shares = scan_starts(SECONDS, answer(), STARTS, ENDS)
    best = int(shares.argmax())
    assert shares[best] == pytest.approx(1, abs=1e-3) and abs(lags[best]) <= 2.5
    assert np.diff(lags) == pytest.approx(5) and shares.min() == 0
    for seen_from, share in ((910, np.sqrt(2 / 3)), (1020, np.sqrt(2 / 3)), (1165, np.sqrt(455 / 900))):
        cut = SECONDS[seen_from <= SECONDS]
        lags, shares = scan_starts(cut, answer(cut), STARTS, ENDS)
        assert shares[np.abs(lags) < 2.6].max() == pytest.approx(share, abs=2e-3)
    cut = SECONDS[SECONDS >= 1176]
    lags, shares = scan_starts(cut, answer(cut), STARTS, ENDS)
    assert shares[np.abs(lags) < 2.6].max() == 0


def test_cells_count_as_work_from_the_bell_to_before_the_end():
    """Bells in the middle of a cell: of two rounds with 60 cells each just half is seen where the first is not."""
    starts = np.array([600.0, 1022.5])
    cut = SECONDS[SECONDS >= 930]
    lags, shares = scan_starts(cut, answer(cut, starts=starts), starts, starts + 300)
    assert shares[np.abs(lags) < 2.6].max() == pytest.approx(np.sqrt(0.5), abs=1e-3)


def test_two_and_a_half_minutes_around_the_rounds_must_fit_too():
    """Effort further out is another matter; a cell of 5 s within costs some of the share."""
    for away, fits in ((150, True), (145, False)):
        for other in (STARTS[0] - away > SECONDS, ENDS[-1] + away <= SECONDS):
            lags, shares = scan_starts(SECONDS, np.where(other, 170.0, answer()), STARTS, ENDS)
            assert (shares[np.abs(lags) < 2.6].max() > 0.999) == fits


def test_a_minute_of_good_samples_over_two_minutes_is_needed():
    for n, step, there in ((60, 2.05, True), (59, 2.1, False), (60, 2.0, False), (61, 2.0, True)):
        clock = 560 + step * np.arange(n)
        assert np.isfinite(found(clock, find=find_lag).seconds) == there
    good = np.zeros(len(SECONDS), dtype=bool)
    good[560:860:5] = True  # 60 samples of one round
    assert find_clock(SECONDS, answer(), good, STARTS[:1], ENDS[:1]).seconds == pytest.approx(0, abs=1)
    good[560] = False
    assert find_clock(SECONDS, answer(), good, STARTS[:1], ENDS[:1]) is clocks.NO_LAG


def test_a_lag_is_found_from_what_lies_around_the_rounds():
    """From 600 s before the first round to 480 s after the last: what the device wrote before and after does not count."""
    clock, starts = np.arange(0.0, 3400.0), STARTS + 400  # 1,000 to 2,140
    around = (clock >= 400) & (clock <= 2620)
    noisy = np.where(around, answer(clock, starts=starts), 180.0)
    whole = found(clock, noisy, find=find_lag, starts=starts, ends=starts + 300)
    assert whole == found(clock[around], noisy[around], find=find_lag, starts=starts, ends=starts + 300)
    assert whole.seconds == pytest.approx(0, abs=0.5)
    for edge in (400, 2620):  # both ends count themselves
        bumped = noisy + 40.0 * (clock == edge)
        assert found(clock, bumped, find=find_lag, starts=starts, ends=starts + 300) != whole


def test_one_further_off_must_explain_fifteen_hundredths_more():
    """Noise that alternates from cell to cell costs rounds near by their share; exact ones stand half an hour later."""
    clock = np.arange(0.0, 4800.0)
    rates = np.maximum(answer(clock), answer(clock, late=1800.0))
    chosen = {}
    for size in np.arange(6.0, 22.0, 1.0):
        noise = np.where(clock // 5 % 2 == 0, size, -size) * (clock < 1900)
        lags, shares = scan_starts(clock, rates + noise, STARTS, ENDS)
        gain = shares[np.abs(lags - 1800) <= 300].max() - shares[np.abs(lags) <= 300].max()
        chosen[round(gain, 3)] = found(clock, rates + noise).seconds
    assert min(chosen) < 0.13 and max(chosen) > 0.16
    for gain, seconds in chosen.items():
        assert seconds == pytest.approx(1800 if gain > 0.15 else 0, abs=8)


@pytest.mark.parametrize(
    ("block", "n", "autocorrelation"),
    [(1, 4, 0.0), (1, 104, 0.0), (2, 104, 1 / 104), (4, 104, 53 / 104), (200, 400, 0.98)],
)
def test_the_half_width_of_a_lag_by_hand(block, n, autocorrelation):
    """0.45 times 1.96 roots of twice the variance over the curvature; neighbours that are alike count as fewer.

    Blocks of +1 and -1 without a round in them: the misfit is n and the sum of products of neighbours counts by hand
    (blocks of 4 in 104: 78 within less 25 between). Below zero it is taken as zero, above 0.98 as 0.98.
    """
    values = np.where(np.arange(n) // block % 2 == 0, 1.0, -1.0)
    seen = np.ones(n + 3)
    seen[-3:] = 0
    variance = n / (n - 3) * (1 + autocorrelation) / (1 - autocorrelation)
    by_hand = 0.45 * 1.96 * np.sqrt(2 * variance / (0.5 / 25))
    found = _uncertainty(np.append(values, [9.0] * 3), seen, np.zeros(n + 3), float(n), 0.5)
    assert found == pytest.approx(by_hand) and found > 5
    assert _uncertainty(np.append(values, [9.0] * 3), seen, np.zeros(n + 3), float(n), 5e5) == 5.0
    assert np.isnan(_uncertainty(values, seen[:n], np.zeros(n), float(n), 0.0))
    assert _uncertainty(values, seen[:n], np.zeros(n), 0.25, 0.5 / 4 / n) == pytest.approx(by_hand)
    assert _uncertainty(values, seen[:n], np.zeros(n), -1e-9, 0.5) == 5.0  # rounding of an exact fit


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s slow"),
        (89, "89 s fast"),
        (-89.4, "89 s slow"),
        (90, "2 min fast"),
        (1739, "29 min fast"),
        (1740, "0.5 h fast"),
        (1860, "0.5 h fast"),
        (1861, "31 min fast"),
        (-3600, "1 h slow"),
        (5400, "1.5 h fast"),
        (50400, "14 h fast"),
        (59, "59 s fast"),
    ],
)
def test_how_far_a_clock_is_off_in_words(seconds, words):
    assert clock_in_words(seconds) == words


def trace(athlete="A01", *, clock=SECONDS, rates=None, placed=True, files=None):
    rates = answer(clock) if rates is None else rates
    codes = np.zeros(len(clock), dtype=np.int8)
    return Trace("1", athlete, clock.copy(), rates, codes, [], 5.0, placed, files or [f"{athlete}.csv"])


def session(*traces, **line):
    """An evening with these traces, three rounds each, and a line of clocks for every file."""
    base = {"session": "1", "device": "strap", "device_clock": "local", "offset_s": 0.0, "offset_source": "none needed"}
    rows = [base | {"athlete": t.athlete, "file": f} | line for t in traces for f in t.files]
    windows = {
        t.athlete: {k: Window(k, float(s), float(s + 300)) for k, s in enumerate(STARTS, start=1)} for t in traces
    }
    return SimpleNamespace(clocks=rows, traces={t.athlete: t for t in traces}, windows=windows)


@pytest.fixture
def settle(monkeypatch):
    """Settle an evening whose traces are all found to lie so far behind."""

    def settled(evening, lag, decision=("", ""), rules=RULES):
        monkeypatch.setattr(clocks, "find_clock", lambda *_: lag)
        warnings, remarks = [], []
        settle_clocks(evening, rules, lambda _: decision, lambda t: t.codes == 0, warnings, remarks)
        return warnings, remarks

    return settled


@pytest.mark.parametrize(
    ("seconds", "uncertainty", "confidence", "agrees", "held"),
    [
        (15.0, 5.0, 0.9, "yes", False),
        (-15.0, 5.0, 0.9, "yes", False),
        (15.1, 5.0, 0.9, "no", True),
        (40.0, 40.0, 0.9, "yes", False),
        (40.1, 40.0, 0.9, "no", True),
        (60.0, 5.0, 0.5, "no", True),
        (60.0, 5.0, 0.49, "", False),
        (60.0, 5.0, 0.999, "no", True),
    ],
)
def test_a_clock_disagrees_beyond_fifteen_seconds_and_its_own_doubt(
    settle, seconds, uncertainty, confidence, agrees, held
):
    """The limit of 15 s stands in rules.csv; a half is the least confidence that holds a device back."""
    one = trace()
    evening = session(one)
    warnings, remarks = settle(evening, Lag(seconds, uncertainty, confidence))
    line = evening.clocks[0]
    assert (line["agrees"], line["found_offset_s"], line["found_uncertainty_s"]) == (agrees, seconds, uncertainty)
    assert line["found_confidence"] == confidence and line["settled"] == ("held back" if held else "")
    assert bool(one.held) == held and len(warnings) == held and len(remarks) == (agrees == "")
    assert not remarks or "not sure, so its clock was used" in remarks[0]


def test_the_rule_moves_the_trace_from_its_confidence_on(settle):
    """A plateau of rest before round 1: what is moved back by 60 s answers to the rounds again."""
    rules = replace(RULES, trust_trace_above=0.9)
    for confidence, moved in ((0.9, True), (0.89, False)):
        one = trace(rates=answer(late=60.0))
        evening = session(one, offset_s=7.0)
        warnings, remarks = settle(evening, Lag(60.0, 5.0, confidence), rules=rules)
        line = evening.clocks[0]
        assert one.clock[0] == (-60.0 if moved else 0.0) and bool(one.held) != moved
        assert line["offset_s"] == (67.0 if moved else 7.0) and line["found_offset_s"] == 67.0
        assert (len(warnings), len(remarks)) == ((0, 1) if moved else (1, 0))
        if moved:
            assert line["settled"] == "trust the trace (rule)" and line["offset_source"] == clocks.BY_RULE
            assert "by the rule trust_trace_above" in remarks[0]


@pytest.mark.parametrize("action", [clocks.TRUST_TRACE, clocks.TRUST_LOG])
def test_a_decision_settles_a_clock_and_is_named(settle, action):
    one = trace(rates=answer(late=60.0))
    evening = session(one, offset_s=float("nan"))
    warnings, remarks = settle(evening, Lag(60.0, 5.0, 0.9), (action, "lead"))
    line = evening.clocks[0]
    assert not warnings and not one.held and line["settled"] == f"{action} (lead)" and "decision (lead)" in remarks[0]
    assert line["found_offset_s"] == 60.0  # an offset that an event gave is none in the line
    by_trace = action == clocks.TRUST_TRACE
    assert one.clock[0] == (-60.0 if by_trace else 0.0)
    assert line["offset_source"] == (clocks.BY_DECISION if by_trace else "none needed")


def test_what_holds_a_device_back_stands_before_what_was_said(settle):
    evening = session(trace("A01", files=["both.csv"]), trace("A02", files=["both.csv"]), offset_s=5.0)
    evening.clocks[1]["offset_s"] = 6.0
    warnings, _ = settle(evening, Lag(60.0, 5.0, 0.9))
    assert ["held back" in w for w in warnings] == [True, True, False] and "different clock offsets" in warnings[2]


def test_only_placed_traces_with_rounds_and_a_line_of_their_own_evening_are_compared(settle):
    off = Lag(60.0, 5.0, 0.9)
    apart = trace("A01", placed=False)
    elsewhere = session(trace("A02"), offset_source="another day")
    by_itself = session(trace("A03"))
    by_itself.windows["A03"] = {1: Window(1, 600.0, 900.0, "trace")}
    for evening in (session(apart), elsewhere, by_itself):
        assert settle(evening, off) == ([], [])
        assert evening.clocks[0]["agrees"] == "" and np.isnan(evening.clocks[0]["found_offset_s"])
    nothing = session(trace())
    assert settle(nothing, clocks.NO_LAG) == ([], []) and nothing.clocks[0]["settled"] == ""
    other = session(trace("A01", files=["both.csv"]), trace("A02", files=["both.csv"]))
    other.traces["A02"].placed = False
    settle(other, off)
    assert [line["agrees"] for line in other.clocks] == ["no", ""]


@pytest.mark.parametrize(
    ("lag", "device", "words"),
    [
        (44.9, "Optical watch", "runs 45 s behind the rounds (plus or minus 5 s, confidence 0.90, from"),
        (45.0, "arm band", "a sensor on the wrist lags so"),
        (45.0, "strap", "the lag of a sensor on the wrist, or a clock that is fast"),
        (45.1, "wrist", "the clock of A01.csv looks 45 s fast"),
        (-20.0, "wrist", "the clock of A01.csv looks 20 s slow"),
    ],
)
def test_a_short_lag_may_be_the_sensors(settle, lag, device, words):
    warnings, _ = settle(session(trace(), device=device), Lag(lag, 5.0, 0.9))
    assert words in warnings[0].replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")


def test_eight_seconds_are_a_lag_where_the_study_asks_so_finely(settle):
    fine = replace(RULES, clock_disagreement_s=3.0)
    for lag, words in ((8.0, "behind the rounds"), (7.9, "looks 8 s fast")):
        said = settle(session(trace()), Lag(lag, 5.0, 0.9), rules=fine)[0][0]
        assert words in said.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("offset", "clock", "source", "zone"),
    [
        (900.0, "utc", "log", False),
        (901.0, "utc", "log", True),
        (-901.0, "utc", "log", True),
        (901.0, "local", "log", False),
        (901.0, "utc", BY_EVENT, True),
    ],
)
def test_a_remedy_names_what_to_write(settle, offset, clock, source, zone):
    warnings, _ = settle(session(trace(), device_clock=clock, offset_source=source), Lag(offset, 5.0, 0.9))
    said = warnings[0]
    assert ("correct utc_offset in sessions.csv" in said) == zone
    assert (f"Write clock_offset_s = {offset:.0f} in" in said) == (source == "log")
    assert ("Correct event_s" in said) == (source == BY_EVENT)


def test_by_how_much_round_means_move():
    """On a ramp of a beat every ten seconds a trace that is moved by 20 s moves every mean by 2."""
    ramp = trace(clock=np.arange(100.0, 1001.0), rates=np.arange(100.0, 1001.0) / 10)
    good = np.ones(901, dtype=bool)

    def moved(lag, *rounds):
        return _change_of_means(ramp, good, [Window(1, float(a), float(b)) for a, b in rounds], lag)

    assert moved(20.0, (200, 500), (600, 900)) == "+2.0\N{NO-BREAK SPACE}bpm on average"
    assert moved(-20.0, (120, 500)).startswith("\N{MINUS SIGN}2.0") and moved(20.0, (680, 980)).startswith("+2.0")
    for lag, beyond in ((-20.0, (119, 500)), (20.0, (680, 981)), (20.0, (99, 500)), (-20.0, (900, 1001))):
        assert moved(lag, beyond) == "so much that no round fits as it stands"
        assert moved(lag, (300, 500), beyond) == moved(lag, (300, 500))
    good[:50] = False
    assert moved(20.0, (149, 500)).startswith("so much") and moved(20.0, (150, 500)).startswith("+2.0")


def test_most_devices_alike_are_the_timekeepers_clock():
    """At least three, more than half of the evening, and within 30 s of the middle one."""

    def said(recordings, *lags):
        evening = session(*(trace(f"A{i:02d}", clock=SECONDS[:2]) for i in range(recordings)))
        return _one_for_all(evening, [(Lag(float(s), 5.0, 0.9), "") for s in lags])

    assert said(5, 100, 130, 70)[0].startswith("Session 1: 3 of 5 recordings look 2 min fast alike.")
    assert not said(5, 100, 131, 70) and not said(6, 100, 100, 100) and not said(3, 100, 100)
    assert said(5, 100, 100, 100, 900)


def test_traces_together_by_hand():
    """Each less its own mean (110 and 60), the mean of those that are there second by second, on a level of 120."""
    one = trace(clock=np.array([10.0, 11.0, 12.0]), rates=np.array([100.0, 110.0, 120.0]))
    two = trace(clock=np.array([11.0, 12.0, 13.0, 14.0]), rates=np.array([50.0, 60.0, 999.0, 70.0]))
    two.codes[2] = 1
    none = trace(clock=np.array([11.0]), rates=np.array([80.0]))
    none.codes[0] = 1
    table = _together([two, none, one])
    assert table["elapsed_s"].tolist() == [10, 11, 12, 14] and table["hr_bpm"].tolist() == [110, 115, 125, 130]


ROUNDS = pd.DataFrame({"round_no": [1, 2], "start_s": [50.0, 470.0], "end_s": [350.0, 770.0], "confidence": [0.9, 0.6]})


def test_a_trace_without_a_clock_is_moved_by_the_middle_of_its_rounds(monkeypatch):
    monkeypatch.setattr(clocks, "find_rounds", lambda *_: ROUNDS)
    one = trace(placed=False)
    evening, warnings = session(one, trace("A02", files=["A01.csv"])), []
    logged = {2: Window(2, 1480.0, 1780.0), 3: Window(3, 1900.0, 2200.0)}
    windows = place_without_clock(one, logged, Protocol(3, 300.0, 120.0), evening.clocks, "A01, session 1", warnings)
    assert one.placed and one.clock[0] == 1010.0  # round 2 stands at 1,480 and was found at 470
    assert windows == {2: Window(2, 1480.0, 1780.0, "trace", 0.6), 3: Window(3, 1900.0, 2200.0, "trace", 0.6)}
    assert [line["offset_source"] for line in evening.clocks] == ["lined up with the rounds", "none needed"]
    assert "confidence 0.60)" in warnings[0] and len(warnings) == 1
    alone = trace(placed=False)
    own = place_without_clock(alone, {}, Protocol(3, 300.0, 120.0), [], "A01, session 1", warnings)
    assert own == {1: Window(1, 50.0, 350.0, "trace", 0.9), 2: Window(2, 470.0, 770.0, "trace", 0.6)}
    assert not alone.placed and alone.clock[0] == 0 and warnings[1] == warnings[0]
    monkeypatch.setattr(clocks, "find_rounds", lambda *_: ROUNDS[:0])
    assert place_without_clock(alone, logged, Protocol(3, 300.0, 120.0), [], "A01", warnings) == {}
    assert "no rounds could be found in it" in warnings[-1]


def test_rounds_of_an_evening_that_nobody_logged(monkeypatch):
    warnings = []
    monkeypatch.setattr(clocks, "find_rounds", lambda *_: ROUNDS)
    for traces, protocol in (
        ([], Protocol(3, 300.0, 120.0)),
        ([trace()], Protocol(0, 300.0)),
        ([trace()], Protocol(1, 0.0)),
    ):
        assert windows_from_traces(traces, protocol, Evening("1"), warnings) == {} and not warnings
    got = windows_from_traces([trace()], Protocol(1, 300.0, 120.0), Evening("1"), warnings)
    assert got == {1: Window(1, 50.0, 350.0, "trace", 0.9), 2: Window(2, 470.0, 770.0, "trace", 0.6)}
    assert "confidence 0.60)" in warnings[0]
    assert windows_from_traces([trace()], Protocol(1, 1.0), Evening("1"), []) == got
    monkeypatch.setattr(clocks, "find_rounds", lambda *_: ROUNDS[:0])
    assert windows_from_traces([trace()], Protocol(1, 300.0), Evening("1"), warnings) == {}
    assert "no rounds could be found" in warnings[1]


def test_one_file_has_one_clock():
    lines = [{"session": "1", "file": "a.csv", "offset_s": o} for o in (0.0, 30.0, float("nan"))]
    more = [{"session": "1", "file": "b.csv", "offset_s": o} for o in (5.0, 5.0, float("nan"))]
    (said,) = clocks._two_offsets_in_one_file([*lines, *more, lines[0] | {"session": "2"}])
    assert said.startswith("a.csv, session 1: recordings.csv gives different clock offsets")
