"""Values off the analyser's scale by hand: where they may lie, how far a claim holds, and what their order alone says."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.physiology.lactate import HIGHEST_PUBLISHED_MMOL_L
from analysis.rounds import bound_limits, bounds
from analysis.rounds.bounds import OffScale, _Ends, _ranges, _tied_ranks, find_limits
from analysis.rounds.prepare import prepare_rounds

READ = (8.0, 11.0, 9.0, 12.5)


def evening(*off, read=READ, outcome="lactate_mmol_l"):
    """One athlete a row: readings, then values off the scale as (mark, the limit that was typed or None)."""
    lines = [(v, "", np.nan) for v in read] + [(np.nan, mark, np.nan if own is None else own) for mark, own in off]
    data = pd.DataFrame(lines, columns=[outcome, "lactate_limit", "lactate_bound_mmol_l"])
    return data.assign(athlete=[f"A{i}" for i in range(len(data))], round_no=1)


@pytest.mark.parametrize(
    ("off", "limit", "high", "low", "assumed"),
    [
        # Stated ends: high up to the highest published, low down to nothing
        ([("high", None), ("low", None)], (0.5, 18.0), (18.0, HIGHEST_PUBLISHED_MMOL_L), (0.5, 0.0), False),
        # None stated: the largest and the smallest reading
        ([("high", None), ("low", None)], None, (12.5, HIGHEST_PUBLISHED_MMOL_L), (8.0, 0.0), True),
        # Only the end that is used must be stated
        ([("high", None)], (None, 20.0), (20.0, HIGHEST_PUBLISHED_MMOL_L), (8.0, 0.0), False),
        ([("high", None)], (0.5, None), (12.5, HIGHEST_PUBLISHED_MMOL_L), (0.5, 0.0), True),
        ([("low", None)], (None, 20.0), (20.0, HIGHEST_PUBLISHED_MMOL_L), (8.0, 0.0), True),
        # Typed limits: from the nearest of them to the end of what is plausible; one without one is assumed
        ([("high", 15.0), ("high", 13.0)], None, (13.0, HIGHEST_PUBLISHED_MMOL_L), (8.0, 0.0), False),
        ([("high", 15.0), ("high", None)], None, (12.5, HIGHEST_PUBLISHED_MMOL_L), (8.0, 0.0), True),
        ([("low", 2.0), ("low", 3.0)], None, (12.5, HIGHEST_PUBLISHED_MMOL_L), (3.0, 0.0), False),
        ([("low", 2.0), ("low", None)], None, (12.5, HIGHEST_PUBLISHED_MMOL_L), (8.0, 0.0), True),
        # A limit at or above all that was published may lie a fifth beyond
        ([("high", None)], (0.5, HIGHEST_PUBLISHED_MMOL_L), None, (0.5, 0.0), False),
        ([("high", 40.0), ("high", 15.0)], (0.5, 23.3), (15.0, 48.0), (0.5, 0.0), False),
    ],
)
def test_between_what_values_off_the_scale_lie(off, limit, high, low, assumed):
    found = find_limits(evening(*off), "lactate_mmol_l", limit=limit)
    high = high or (HIGHEST_PUBLISHED_MMOL_L, 1.2 * HIGHEST_PUBLISHED_MMOL_L)
    assert found.high_range == pytest.approx(high) and found.low_range == pytest.approx(low)
    assert found.assumed is assumed
    assert found.high.tolist() == [False] * 4 + [mark == "high" for mark, _ in off]


def test_an_outcome_below_nothing_and_limits_of_another_outcome():
    """Base excess lies below 0; a limit of lactate that was typed says nothing of it."""
    data = evening(("low", 2.0), ("low", None), read=(-4.0, -9.0), outcome="base_excess_mmol_l")
    assert find_limits(data, "base_excess_mmol_l").low_range == (-9.0, -9.0)
    assert find_limits(data, "base_excess_mmol_l", limit=(-12.0, 3.0)).low_range == (-12.0, -12.0)


def test_a_scale_has_two_ends_in_order():
    data = evening(("high", None))
    for limit in ((5.0, 5.0), (6.0, 5.0), (12.5, None)):
        with pytest.raises(KitError, match="must be in order"):
            find_limits(data, "lactate_mmol_l", limit=limit)
    for limit in (("few", 20.0), (1.0, 2.0, 3.0)):
        with pytest.raises(KitError, match=r"such as \(0\.5, 25\.0\)"):
            find_limits(data, "lactate_mmol_l", limit=limit)
    with pytest.raises(KitError, match="Every value of lactate_mmol_l is off"):
        find_limits(evening(("high", None), read=()), "lactate_mmol_l")


def test_what_was_read_before_sparring_alone_is_not_enough():
    lines = [
        (a, r, 1.0 + 0.1 * i if r == 0 else np.nan, "high" if r else "", 20.0 + i * r % 3 + i if r else np.nan)
        for i, a in enumerate("ABCD")
        for r in range(4)
    ]
    columns = ["athlete", "round_no", "lactate_mmol_l", "lactate_limit", "lactate_bound_mmol_l"]
    with pytest.raises(KitError, match="in the tested rounds is off the analyser's scale"):
        bound_limits(pd.DataFrame(lines, columns=columns), "lactate_mmol_l", smallest_effect=1)


def test_each_value_starts_at_its_own_end_and_reaches_the_common_one():
    data = evening(("high", 15.0), ("low", 2.0), ("high", None))
    off = find_limits(data, "lactate_mmol_l", limit=(0.5, 20.0))
    placed = off.placed(data, "lactate_mmol_l")
    assert placed["lactate_mmol_l"].tolist() == [*READ, 15.0, 2.0, 20.0]
    assert placed["lactate_limit"].tolist() == ["", "", "", "", "high", "low", "high"]
    rows = SimpleNamespace(table=placed.rename(columns={"lactate_mmol_l": "value"}))
    far = [0.0] * 4 + [HIGHEST_PUBLISHED_MMOL_L - 15, -2.0, HIGHEST_PUBLISHED_MMOL_L - 20]
    assert off.span(rows).tolist() == pytest.approx(far)


def test_a_share_of_the_ranges_as_values():
    off = OffScale(None, None, high_range=(20.0, 24.0), low_range=(0.8, 0.0), assumed=False, end=None)
    assert _Ends(off, 1, 2).at(0.25) == (21.0, pytest.approx(0.6))
    for one, there in ((_Ends(off, 1, 0).at(0.5), 0), (_Ends(off, 0, 1).at(0.5), 1)):
        assert one[there] == (22.0, 0.4)[there] and np.isnan(one[1 - there])
    assert np.isnan(_Ends(off, 1, 1).at(None)).all()


def corner(estimate, *, ci=(-1.0, 1.0), p=0.5, changed=-1.0, equivalent=-1.0):
    """What is read at one placing of one step."""
    wanted = {"estimate": estimate, "ci_low": ci[0], "ci_high": ci[1], "p": p}
    return SimpleNamespace(**{k: [v] for k, v in (wanted | {"changed": changed, "equivalent": equivalent}).items()})


NEAR = {"contrast": "2 - 1", "later": "2", "earlier": "1", "ci_low": -2.0, "ci_high": 2.0, "label": "at the end"}


def ranges(*corners, changed=False, equivalent=False, turns=True):
    """The line of one step, from what is read at each corner; three values off the scale, one of them in round 3."""
    places = SimpleNamespace(
        read=lambda c: corners[c],
        rows=SimpleNamespace(table=pd.DataFrame({"round_no": [1, 2, 3, 2, 1]})),
        cells=[0, 1, 2],
        holds_to=lambda margin, every: margin(corners[0]) if every is not None else None,
    )
    off = OffScale(None, None, high_range=(20.0, 24.0), low_range=(0.8, 0.0), assumed=False, end=None)
    steps = pd.DataFrame([NEAR | {"changed": changed, "equivalent": equivalent}])
    return _ranges(steps, places, range(len(corners)), _Ends(off, 2, 1), turns).iloc[0]


def test_a_step_reaches_from_its_lowest_to_its_highest_corner():
    found = ranges(corner(1.0, ci=(-3.0, 2.5), p=0.02), corner(3.0, ci=(-0.5, 6.0), p=0.2))
    assert (found["estimate_min"], found["estimate_max"], found["n_off_scale"]) == (1.0, 3.0, 2)
    assert (found["ci_low_min"], found["ci_high_max"], found["p_min"], found["p_max"]) == (-3.0, 6.0, 0.02, 0.2)
    assert (found["label"], found["label_at_scale_end"]) == ("not shown", "at the end")
    assert np.isnan(found[["holds_to_high", "holds_to_low"]].tolist()).all()  # nothing is claimed
    inside = ranges(corner(1.0), corner(1.5))
    assert (inside["ci_low_min"], inside["ci_high_max"]) == (-2.0, 2.0)  # the interval at the scale's end is wider


def test_no_p_is_largest_where_a_step_may_lie_on_either_side():
    for low, high, largest in ((-1.0, 3.0, 1.0), (0.0, 3.0, 1.0), (-3.0, 0.0, 1.0), (-3.0, -1.0, 0.2), (1.0, 3.0, 0.2)):
        found = ranges(corner(high, p=0.2), corner(low, p=0.02))
        assert (found["p_min"], found["p_max"]) == (0.02, largest), (low, high)


@pytest.mark.parametrize("claim", ["changed", "equivalent"])
def test_a_claim_holds_where_it_was_made_and_every_corner_shows_it(claim):
    """The scale's end itself is not asked again: both tests agreed there."""
    shown, lost, at_end = corner(1.0, **{claim: 0.02}), corner(2.0), corner(0.5, **{claim: 0.25})
    assert ranges(at_end, shown, shown, **{claim: True})["label"] == claim
    assert ranges(lost, shown, shown, **{claim: True})["label"] == claim
    assert ranges(at_end, shown, lost, **{claim: True})["label"] == "not shown"
    assert ranges(at_end, corner(1.0, **{claim: 0.0}), **{claim: True})["label"] == "not shown"  # p is alpha, not below
    assert ranges(at_end, shown, shown)["label"] == "not shown"  # it was not made at the scale's end
    held = ranges(at_end, shown, **{claim: True})
    assert (held["holds_to_high"], held["holds_to_low"]) == (21.0, pytest.approx(0.6))  # a quarter of both ranges
    assert np.isnan(ranges(at_end, shown, turns=False, **{claim: True})["holds_to_high"])


TIED = pd.DataFrame(
    [
        (a, r + 1, v, m)
        for a, row in {
            "A": ((5, ""), (6, ""), (20, "high")),
            "B": ((4, ""), (4, ""), (6, "")),
            "C": ((3, ""), (3, ""), (5, "")),
            "D": ((2, ""), (12, ""), (3, "")),
        }.items()
        for r, (v, m) in enumerate(row)
    ],
    columns=["athlete", "round_no", "lactate_mmol_l", "lactate_limit"],
)


def test_a_quartile_between_a_reading_and_what_was_not_read_is_not_known():
    """Of 3, 5, 6 and HI the upper quartile lies a quarter of the way from 6 to HI, wherever that is."""
    rows = prepare_rounds(TIED, "lactate_mmol_l", keep=["lactate_limit"])
    span = np.where(rows.table["lactate_limit"] == "high", 3.0, 0.0)
    for sign in (1, -1):
        found = _tied_ranks(rows, sign * span)
        third = found.medians.set_index("round_no").loc["3"]
        ends = ("quartile_high", "quartile_low")[::sign]
        assert np.isnan(third[ends[0]])
        known = {1: (4.5, 5.5), -1: (4.5 - 0.5, 5.25)}[sign]  # by hand; with LO first: LO, 3, 5, 6
        assert (third["median"], third[ends[1]]) == ((5.5, known[0]) if sign > 0 else (4.0, known[1]))
        columns = list(found.contrasts)
        assert columns.index("p_adjusted") == columns.index("p") + 1
        assert "with 1 value tied" in found.method


def test_steps_without_any_difference_have_no_p():
    level = TIED.assign(lactate_mmol_l=[5, 5, 6, 4, 4, 6, 3, 3, 5, 2, 2, 3], lactate_limit="")
    rows = prepare_rounds(level, "lactate_mmol_l")
    steps = _tied_ranks(rows, np.zeros(12)).contrasts
    assert np.isnan(steps["p"][0]) and steps["p"][1] == pytest.approx(2 / 2**4)
    assert steps[["n_up", "n_down", "n_zero", "n_athletes"]].to_numpy().tolist() == [[0, 0, 4, 4], [4, 0, 0, 4]]


def test_claims_are_followed_to_where_they_turn_unless_many_values_and_a_model_that_places_them(club, monkeypatch):
    data = club(n=5, means=(7, 11), athlete_sd=1.0, error_sd=0.4, name="lactate_mmol_l").assign(lactate_limit="")
    data.loc[data.index[-1], ["lactate_mmol_l", "lactate_limit"]] = [np.nan, "high"]
    options = {"smallest_effect": 1.0, "limit": (0.5, 13.0)}
    found = bound_limits(data, "lactate_mmol_l", **options)
    assert found.table["label_at_scale_end"].tolist() == ["changed"]
    assert 13 < found.table["holds_to_high"][0] < found.high_to and np.isnan(found.table["holds_to_low"][0])
    monkeypatch.setattr(bounds, "MANY_CELLS", 0)  # as with more values than that
    again = bound_limits(data, "lactate_mmol_l", alpha=0.05, **options)
    pd.testing.assert_frame_equal(again.table, found.table)
    asked = []
    monkeypatch.setattr(bounds, "bounds_of", lambda *a, **k: asked.append(k))
    bound_limits(data, "lactate_mmol_l", **options)
    assert asked[0]["alpha"] == 0.05
