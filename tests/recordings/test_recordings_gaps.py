"""The rules that tell lost contact from the silence of a device, at their edges; expected by hand from their words."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.recordings.recording import (
    AT_CHANGES,
    ON_EVENTS,
    STEADILY,
    gap_table,
    join_steps,
    judge_steps,
    lost_steps,
)

UNEVEN = [1, 2, 3, 4, 5] * 8
"""Steps of a file that is not written steadily; the usual one is 3 s, the longest of all but a few 5 s."""


def judged(steps, rates=None, **more):
    times = np.concatenate([[0.0], np.cumsum(steps)])
    rates = np.full(len(times), 150.0) if rates is None else np.asarray(rates, dtype=float)
    return judge_steps(times, rates, **more)


def last(steps, change=0.0, *, wobble=0.0, **more):
    """Whether the last step counts, whose ends differ by `change`; the rates before go up and down by `wobble`."""
    rates = [150.0 + wobble * (i % 2) for i in range(len(steps))]
    return bool(judged(steps, [*rates, rates[-1] + change], **more).joined[-1])


def test_a_short_step_always_counts():
    assert last([1] * 30 + [5]) and not last([1] * 30 + [5.1])


def test_up_to_twice_the_usual_step_counts_and_at_most_150_s():
    assert last([20] * 30 + [40]) and not last([20] * 30 + [40.5])
    assert last([80] * 30 + [150]) and not last([80] * 30 + [151])


def test_a_limit_by_hand_decides_alone():
    for length, limit, counts in ((30, 30, True), (30.1, 30, False), (3, 2, False)):
        found = judged([1] * 30 + [length] * 3, given=limit)
        assert found.joined[-1] == counts and found.limit_s == limit and not found.bridged.any()


def test_a_stopped_timer_is_not_silence():
    """Steps of 30 s are the timer of the device, but not one where the clock stood or a row says that there was nothing."""
    steps = [1] * 30 + [30] * 4
    assert judged(steps).joined.all() and judged(steps).bridged.sum() == 4
    marks = np.zeros(34)
    marks[-1] = 1
    assert judged(steps, broken=marks.astype(bool)).joined.tolist() == [True] * 33 + [False]
    assert judged(steps, standing_s=marks).joined.tolist() == [True] * 33 + [False]
    stood = np.zeros(34)
    stood[-1] = 25
    assert judged(steps, standing_s=stood).joined.all(), "what is left when the timer stood 25 of 30 s is 5 s"


def test_steady_is_a_file_with_85_of_100_usual_steps_or_few_steps():
    assert judged([2] * 17 + [4] * 3).written == STEADILY
    assert judged([2] * 16 + [4] * 4).written == ON_EVENTS
    assert judged([2] * 15 + [4] * 4).written == STEADILY, "19 steps tell nothing"


def test_usual_is_a_tenth_or_half_a_second_about():
    assert judged([1] * 17 + [1.5] * 5).written == STEADILY and judged([1] * 17 + [1.6] * 5).written == ON_EVENTS
    assert judged([20] * 17 + [22] * 5).written == STEADILY and judged([20] * 17 + [22.1] * 5).written == ON_EVENTS


@pytest.mark.parametrize(
    ("long", "counts"),
    [([30, 30, 30], True), ([30, 31, 30], True), ([30, 30], False), ([30, 30, 30, 40, 50], True),
     ([30, 30, 30, 40, 50, 55], False), ([60, 60, 60], True), ([61, 61, 61], False)],
)  # fmt: skip
def test_the_timer_of_a_steady_device(long, counts):
    """Three or more and most of the long ones, alike to the second, up to a minute."""
    assert judged([1] * 60 + long).joined[60] == counts


def test_on_events_a_step_like_another_counts_up_to_a_minute():
    assert judged([*UNEVEN, 40, 30]).joined[-2:].tolist() == [True, True], "30 is three quarters of 40"
    assert judged([*UNEVEN, 40, 29]).joined[-2:].tolist() == [False, True]
    assert judged([*UNEVEN, 60, 60]).joined[-2:].all() and not judged([*UNEVEN, 61, 61]).joined[-2:].any()


def test_on_events_a_lone_step_counts_where_its_ends_agree_and_it_is_not_far_longer():
    """Four times the longest usual step of 5 s; ends within 3 bpm, or within the usual change and one more."""
    assert judged(UNEVEN).written == ON_EVENTS
    assert last([*UNEVEN, 20]) and not last([*UNEVEN, 21])
    assert last([*UNEVEN, 20], 3) and not last([*UNEVEN, 20], 4)
    often = [150.0 + 6 * (i % 3 == 0) for i in range(41)]  # a third of the changes is 0, the others 6
    assert judged([*UNEVEN, 20], [*often, often[-1] + 7]).joined[-1]
    assert not judged([*UNEVEN, 20], [*often, often[-1] + 8]).joined[-1]
    short = [1, 1.8, 2.5] * 14
    assert last([*short, 15]) and not last([*short, 15.5]), "fifteen seconds are never far longer"


def test_at_changes_silence_means_no_change():
    """Hardly a row repeats its rate: up to 60 s where the ends agree, up to 150 s where they differ by one change."""
    assert judged(UNEVEN, [150 + i % 2 for i in range(41)]).written == AT_CHANGES
    for length, change, counts in (
        (60, 3, True),
        (60, 4, False),
        (61, 2, True),
        (61, 3, False),
        (150, 2, True),
        (151, 1, False),
    ):
        assert last([*UNEVEN, length], change, wobble=1.0) == counts, (length, change)


def test_spans_without_heart_rate_and_the_steps_they_touch():
    times = np.array([0.0, 1, 2, 9, 10])
    table = gap_table(times, np.array([True, True, False, True]))
    assert table.to_dict("list") == {"from_s": [2.0], "to_s": [9.0]}
    assert lost_steps(times, table.to_numpy()).tolist() == [False, False, True, False]
    assert lost_steps(np.arange(6.0), [(1.0, 3.0)]).tolist() == [False, True, True, False, False]
    assert lost_steps(np.arange(4.0), [(0.5, 0.6), (2.5, 9.0)]).tolist() == [True, False, True]
    assert lost_steps(np.array([1.0]), [(0.0, 2.0)]).tolist() == []


def joined(t1, y0, y1, bells=(), **more):
    """The points within a step of t1 seconds, counted from its beginning, which is neither first nor last."""
    times, rates = np.array([0.0, 7, 7 + t1, 9 + t1]), np.array([90.0, y0, y1, 180])
    bells = [(begin + 7, end + 7) for begin, end in bells]
    found, values, place = join_steps(times, rates, np.array([False, True, False]), bells, **more)
    assert set(place) == {1} and len(found) == math.ceil(t1) - 1
    return dict(zip(np.round(found - 7, 6).tolist(), values.tolist(), strict=True))


def test_a_small_change_is_a_straight_line_or_held_in_part():
    assert joined(10, 100, 104)[5.0] == pytest.approx(102)
    assert joined(10, 104, 100)[5.0] == pytest.approx(102)
    assert joined(10, 100, 104, at_changes=True)[5.0] == pytest.approx(100 + 0.6 * 2)
    assert joined(10, 100, 107.9)[5.0] == pytest.approx(103.95), "less than 8 bpm"


def test_a_rise_follows_the_curve_of_heart_rate_from_the_bell():
    """First order, 35 s: (1 - exp(-t / 35)) / (1 - exp(-T / 35)) of the rise."""

    def curve(t, whole):
        return (1 - math.exp(-t / 35)) / (1 - math.exp(-whole / 35))

    assert joined(60, 100, 108)[30.0] == pytest.approx(100 + 8 * curve(30, 60))
    rung = joined(60, 100, 140, bells=[(10.0, 400.0), (20.0, 320.0), (60.0, 500.0)])  # the last within the step
    assert rung[20.0] == pytest.approx(100) and rung[40.0] == pytest.approx(100 + 40 * curve(20, 40))


def test_a_fall_begins_at_the_bell_that_ends_a_round():
    fallen = joined(60, 160, 120, bells=[(-200.0, 10.0), (-300.0, 30.0), (-100.0, 60.0)])
    assert fallen[30.0] == pytest.approx(160) and fallen[45.0] == pytest.approx(140)
    assert joined(60, 160, 120)[30.0] == pytest.approx(140)


def test_nothing_long_gives_nothing():
    times, values, place = join_steps(np.array([0.0, 1.0]), np.array([100.0, 101.0]), np.array([False]))
    assert (len(times), len(values)) == (0, 0) and place.dtype == int


def test_a_file_of_long_steps_alone_is_missing_time():
    """Uneven steps beyond 150 s: not one of them counts, and nothing is there to compare them with."""
    found = judged([160, 200, 240, 280] * 8)
    assert found.limit_s == 150 and not found.joined.any() and found.written == ON_EVENTS
