"""What missing rounds, values off the scale, opponents and sat-out rounds could change."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.basics import KitError
from analysis.physiology.lactate import HIGHEST_PUBLISHED_MMOL_L
from analysis.rounds import answer_rounds, bound_limits, compare_rounds, describe_opponents, find_plateau, tipping_point
from analysis.rounds import ranks as placings
from analysis.rounds.bounds import _least
from analysis.rounds.opponents import rests_of, spread_verdict
from analysis.rounds.tipping import impute_rounds


def with_gaps(table, cells, name="hr_mean_bpm"):
    gone = pd.MultiIndex.from_frame(table[["athlete", "round_no"]]).isin(cells)
    return table.assign(**{name: table[name].where(~gone)})


def test_nothing_missing_has_no_tipping_point(club):
    assert tipping_point(club(), "hr_mean_bpm", smallest_effect=5) is None


def test_tipping_point_moves_with_the_shift(club):
    data = with_gaps(club(n=10, means=(160, 166, 168, 174), seed=3), [("A01", 4), ("A02", 4), ("A03", 4)])
    result = tipping_point(data, "hr_mean_bpm", smallest_effect=5)
    assert result.n_missing == 3
    last = result.table.set_index("contrast").loc["4 - 1"]
    assert last["label"] == "changed"
    assert last["shift_down"] < 0 and last["label_down"] != "changed"
    curve = result.curve[result.curve["contrast"] == "4 - 1"].set_index("shift")["estimate"]
    slope = (curve.iloc[-1] - curve.iloc[0]) / (curve.index[-1] - curve.index[0])
    assert slope == pytest.approx(3 / 10)  # three of ten athletes are shifted


def test_at_no_shift_it_agrees_with_the_model(club):
    data = with_gaps(club(n=14, seed=5), [("A01", 4), ("A02", 3), ("A07", 4)])
    result = tipping_point(data, "hr_mean_bpm", smallest_effect=5)
    middle = result.curve[result.curve["shift"].abs() < 1e-9].set_index("contrast")
    model = compare_rounds(data, "hr_mean_bpm").contrasts.set_index("contrast")
    for name in model.index:
        half = (model.loc[name, "ci_high"] - model.loc[name, "ci_low"]) / 2
        assert middle.loc[name, "estimate"] == pytest.approx(model.loc[name, "estimate"], abs=0.15 * half)


def at_no_shift(answer):
    """Half-width and estimate of each step: of the answer, and of the completed tables without a shift."""
    curve = answer.tipping.curve
    middle = curve[curve["shift"].abs() < 1e-9].set_index("contrast")
    known = answer.steps.set_index("contrast").loc[middle.index]
    low, high = (known[[f"ci_{e}", f"ci_{e}_cr2"]].to_numpy() for e in ("low", "high"))
    half = (high.max(axis=1) - low.min(axis=1)) / 2
    return middle, known, (middle["ci_high"] - middle["ci_low"]).to_numpy() / 2, half


def test_at_no_shift_it_agrees_with_the_model_of_readings_off_the_scale(club):
    cells = [(f"A{i:02d}", 4) for i in (4, 5, 6)]
    data = lactates(club=club)
    top = data.loc[data["round_no"] == 4, "lactate_mmol_l"].nlargest(4).min()
    beyond = data["lactate_mmol_l"] >= top
    data["lactate_mmol_l"] = data["lactate_mmol_l"].where(~beyond)
    data["lactate_limit"] = np.where(beyond, "high", "")
    cells = [c for c in cells if not beyond[(data["athlete"] == c[0]) & (data["round_no"] == 4)].any()]
    answer = answer_rounds(
        with_gaps(data, cells, "lactate_mmol_l"), "lactate_mmol_l", smallest_effect=1, limit=(0.5, float(top))
    )
    assert "drawn beyond its end" in answer.tipping.method and answer.tipping.n_missing == len(cells) > 0
    middle, known, ours, theirs = at_no_shift(answer)
    assert middle["estimate"].to_numpy() == pytest.approx(known["estimate"].to_numpy(), abs=0.25 * theirs.max())
    assert ours == pytest.approx(theirs, rel=0.35)


def test_at_no_shift_it_allows_for_bouts_as_the_model_does(club):
    data = club(n=12, error_sd=3.0, seed=9)
    seats = [f"A{i:02d}" for i in range(1, 13)]
    rng, shared = np.random.default_rng(4), {}
    for r in range(1, 5):
        for a, b in zip(seats[:6], seats[:5:-1], strict=True):
            push = rng.normal(0, 5)
            shared |= {(a, r): (b, push), (b, r): (a, push)}
        seats = [seats[0], seats[-1], *seats[1:-1]]
    where = list(zip(data["athlete"], data["round_no"], strict=True))
    data["opponent"] = [shared[w][0] for w in where]
    data["hr_mean_bpm"] += [shared[w][1] for w in where]
    gaps = with_gaps(data, [("A03", 4), ("A08", 2)])
    answer = answer_rounds(gaps, "hr_mean_bpm", smallest_effect=5)
    assert answer.comparison.allows_for == "bouts" and "allows for bouts" in answer.tipping.method
    _, _, ours, theirs = at_no_shift(answer)
    _, _, plain, _ = at_no_shift(answer_rounds(gaps.drop(columns="opponent"), "hr_mean_bpm", smallest_effect=5))
    assert ours == pytest.approx(theirs, rel=0.2) and (ours > plain).all()


def test_same_seed_same_numbers(club):
    data = club(missing=0.1)
    a, b, c = (tipping_point(data, "hr_mean_bpm", smallest_effect=5, seed=s).curve for s in (1, 1, 2))
    pd.testing.assert_frame_equal(a, b)
    assert not a["estimate"].equals(c["estimate"])


def test_imputed_tables_keep_what_was_measured(club):
    wide = club(missing=0.15).set_index(["athlete", "round_no"])["hr_mean_bpm"].unstack().to_numpy()  # noqa: PD010
    drawn = impute_rounds(wide, 64.0, 9.0, n=300, seed=0)
    there = ~np.isnan(wide)
    assert np.array_equal(drawn[:, there], np.broadcast_to(wide[there], (300, there.sum())))
    spread = drawn[:, ~there].std(axis=0)
    assert (spread > 3.0).all() and (spread < 8.0).all()  # at least the residual, less than a stranger's


def test_names_of_athletes_do_not_move_the_tipping_point(club):
    data = club(missing=0.1)
    other = {a: f"Z{100 - i}" for i, a in enumerate(data["athlete"].unique())}
    one, two = (
        tipping_point(d, "hr_mean_bpm", smallest_effect=5)
        for d in (data, data.assign(athlete=data["athlete"].map(other)))
    )
    pd.testing.assert_frame_equal(one.table, two.table)
    np.testing.assert_allclose(one.curve["ci_low"], two.curve["ci_low"])


@pytest.mark.parametrize("scale", [1e-9, 1e9])
def test_the_unit_of_the_outcome_changes_no_reading(scale, club):
    data = club(missing=0.15, n=8).round(1)
    one, two = (
        answer_rounds(d, "hr_mean_bpm", smallest_effect=5 * s, ordinal=True)
        for d, s in ((data, 1.0), (data.assign(hr_mean_bpm=scale * data["hr_mean_bpm"]), scale))
    )
    assert one.steps["label"].tolist() == two.steps["label"].tolist()
    for name in ("p_adjusted", "p_adjusted_cr2", "p_ranks", "p_equivalence"):
        np.testing.assert_allclose(one.steps[name], two.steps[name], rtol=1e-6)
    assert one.ranks.p == pytest.approx(two.ranks.p)
    assert one.tipping.table["label_up"].tolist() == two.tipping.table["label_up"].tolist()


@pytest.mark.parametrize("option", [{"alpha": 0.7}, {"seed": -1}, {"seed": 0.5}, {"largest_shift": np.inf}])
def test_options_of_the_tipping_point_are_checked(option, club):
    with pytest.raises(KitError, match="must be"):
        tipping_point(club(missing=0.1), "hr_mean_bpm", **({"smallest_effect": 5} | option))


def test_smallest_effect_must_be_positive(club):
    with pytest.raises(KitError, match="above 0"):
        tipping_point(club(missing=0.1), "hr_mean_bpm", smallest_effect=0)


def lactates(high=(), low=(), seed=0, club=None):
    data = club(n=10, means=(7, 10, 11.5, 12), athlete_sd=1.5, error_sd=1.0, seed=seed, name="lactate_mmol_l")
    data["lactate_limit"] = ""
    for cells, word in ((high, "high"), (low, "low")):
        hit = pd.MultiIndex.from_frame(data[["athlete", "round_no"]]).isin(list(cells))
        data.loc[hit, "lactate_limit"] = word
        data.loc[hit, "lactate_mmol_l"] = np.nan
    return data


def test_nothing_off_the_scale(club):
    assert bound_limits(lactates(club=club), "lactate_mmol_l", smallest_effect=1) is None
    assert bound_limits(club(), "hr_mean_bpm", smallest_effect=1) is None


def test_every_value_beyond_the_scale_lies_in_the_bounds(club):
    data = lactates(high=[("A01", 4), ("A02", 3)], club=club)
    bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 14.0))
    assert (bounds.n_high, bounds.n_low, bounds.n_corners) == (2, 0, 4)
    assert (bounds.high_from, bounds.high_to) == (14.0, HIGHEST_PUBLISHED_MMOL_L)
    rng = np.random.default_rng(0)
    for _ in range(8):
        guess = data.copy()
        guess.loc[guess["lactate_limit"] == "high", "lactate_mmol_l"] = rng.uniform(14, HIGHEST_PUBLISHED_MMOL_L, 2)
        found = compare_rounds(guess, "lactate_mmol_l").contrasts.set_index("contrast")["estimate"]
        limits = bounds.table.set_index("contrast")
        for name, estimate in found.items():
            assert limits.loc[name, "estimate_min"] - 1e-9 <= estimate <= limits.loc[name, "estimate_max"] + 1e-9


def test_many_values_off_the_scale_stay_fast(club):
    cells = [(f"A{i:02d}", 4) for i in range(1, 8)]
    bounds = bound_limits(lactates(high=cells, club=club), "lactate_mmol_l", smallest_effect=1, limit=(0.5, 14))
    assert bounds.n_high == 7
    assert bounds.n_corners < 2**7
    assert any("furthest" in w for w in bounds.warnings)
    assert bounds.table["n_off_scale"].tolist() == [0, 0, 7, 7]


def test_unstated_ends_are_said(club):
    data = lactates(high=[("A01", 4)], low=[("A02", 1)], club=club)
    bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1)
    assert bounds.high_from == data["lactate_mmol_l"].max()
    assert any("not stated" in w for w in bounds.warnings)
    stated = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.8, 23.0))
    assert not any("not stated" in w for w in stated.warnings)
    for only in ({"high": [("A01", 4)]}, {"low": [("A02", 1)]}):
        one = bound_limits(lactates(**only, club=club), "lactate_mmol_l", smallest_effect=1)
        assert any("not stated" in w for w in one.warnings)
    with pytest.raises(KitError, match=r"must be in order; they are 23 and 0\.8"):
        bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(23.0, 0.8))
    half = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(np.nan, 23.0))
    assert half.low_to == data["lactate_mmol_l"].min() and half.high_from == 23.0


def test_ranks_only_use_the_order(club):
    data = lactates(high=[("A01", 4), ("A02", 4)], club=club)
    narrow = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 14.0)).ranks
    wide = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 20.0)).ranks
    assert narrow.p == wide.p
    assert (narrow.contrasts["n_up"] + narrow.contrasts["n_down"] + narrow.contrasts["n_zero"] == 10).all()


def test_wrong_limit_word(club):
    data = lactates(club=club)
    data.loc[0, "lactate_limit"] = "HI"
    with pytest.raises(KitError, match="may hold 'high', 'low'"):
        bound_limits(data, "lactate_mmol_l", smallest_effect=1)


def test_what_the_bounds_claim_holds_wherever_the_values_lie(club):
    data = lactates(high=[("A01", 2), ("A02", 2), ("A03", 2)], seed=2, club=club)
    table = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 13.0)).table
    rng = np.random.default_rng(1)
    for _ in range(6):  # any placing supports every claim by the robust test
        guess = data.copy()
        guess.loc[guess["lactate_limit"] == "high", "lactate_mmol_l"] = rng.uniform(13, HIGHEST_PUBLISHED_MMOL_L, 3)
        found = compare_rounds(guess, "lactate_mmol_l").contrasts.set_index("contrast")
        for line in table.iloc[:-1].to_dict("records"):
            if line["changed"]:
                assert found.loc[line["contrast"], "p_adjusted_cr2"] < 0.05


def test_values_off_the_scale_enter_the_main_analysis_as_censored(club):
    data = lactates(high=[("A01", 2), ("A02", 4), ("A03", 4)], seed=2, club=club)
    answer = answer_rounds(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 13.0))
    assert answer.comparison.allows_for == "values off the scale"
    claimed = answer.bounds.table["label_at_scale_end"] != "not shown"
    assert claimed.any() and answer.bounds.table.loc[claimed, "holds_to_high"].notna().all()
    assert answer.n_observations == 40  # neither missing nor a number
    assert any("as lying beyond its end" in w for w in answer.warnings)
    last, bound = answer.steps.iloc[-1], answer.bounds.table.iloc[-1]
    assert bound["estimate_min"] < last["estimate"] < bound["estimate_max"]
    assert last["ci_high"] - last["ci_low"] < bound["ci_high_max"] - bound["ci_low_min"]
    assert "label_at_scale_end" not in answer.steps and last["n_off_scale"] == 2
    ways = answer.sensitivity.set_index("analysis")
    assert {"values off the analyser's scale at its end", "values off the analyser's scale at every extreme"} <= set(
        ways.index
    )


def test_a_round_without_any_reading_falls_back_on_what_holds_everywhere(club):
    data = lactates(high=[(f"A{i:02d}", 4) for i in range(1, 11)], seed=2, club=club)
    answer = answer_rounds(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 13.0))
    held = answer.bounds.table.set_index("contrast")
    assert answer.comparison.allows_for == ""
    assert answer.steps["label"].tolist() == held.loc[answer.steps["contrast"], "label"].tolist()
    assert any("too few values of a round were read" in w for w in answer.warnings)
    assert any("wherever beyond it they may lie" in w for w in answer.warnings)


def placed(data, value, *, only=None):
    """The table as it were had the values above the scale been read as this value; `only` one of them, the others at the end."""
    high = data["lactate_limit"] == "high"
    place = data.index[high]
    values = (
        dict.fromkeys(place, value) if only is None else {p: value if i == only else 13.0 for i, p in enumerate(place)}
    )
    return data.assign(lactate_mmol_l=data["lactate_mmol_l"].fillna(pd.Series(values)), lactate_limit="")


def test_a_claim_that_depends_says_up_to_where_it_holds(club):
    data = lactates(high=[("A01", 4), ("A02", 3)], seed=4, club=club)
    bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1.5, limit=(0.5, 13.0))
    steps = bounds.table.set_index("contrast")
    step = steps.loc["4 - 3"]
    assert (step["label_at_scale_end"], step["label"]) == ("equivalent", "not shown")
    turn = step["holds_to_high"]
    assert 13 < turn < HIGHEST_PUBLISHED_MMOL_L and np.isnan(step["holds_to_low"])
    below, above = ([], [])
    for value, found in ((turn - 0.01, below), (turn + 0.02, above)):
        for only in (None, 0, 1):
            table = placed(data, value, only=only)
            contrasts = answer_rounds(table, "lactate_mmol_l", smallest_effect=1.5).steps.set_index("contrast")
            found.append(contrasts.loc["4 - 3", "p_equivalence_cr2"] < 0.05)
    assert all(below) and not all(above)
    assert (bounds.plateau_from, bounds.plateau_at_scale_end) == ("", "3")
    assert bounds.plateau_holds_to_high == pytest.approx(turn, abs=0.02)


def test_a_step_without_such_values_is_told_as_it_is(club):
    data = lactates(high=[("A01", 4), ("A02", 4)], seed=4, club=club)
    bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1.5, limit=(0.5, 13.0))
    steps = bounds.table.set_index("contrast")
    assert steps["n_off_scale"].tolist() == [0, 0, 2, 2]
    assert steps.loc["2 - 1", "label"] == steps.loc["2 - 1", "label_at_scale_end"] == "changed"
    assert steps.loc["2 - 1", "holds_to_high"] == HIGHEST_PUBLISHED_MMOL_L


def test_low_values_reach_down_to_nothing(club):
    data = lactates(low=[("A03", 1)], seed=4, club=club)
    bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1.5, limit=(4.0, 25.0))
    assert (bounds.n_high, bounds.n_low, bounds.low_from, bounds.low_to) == (0, 1, 0.0, 4.0)
    assert bounds.table["holds_to_high"].isna().all()
    claimed = bounds.table[bounds.table["label_at_scale_end"] != "not shown"]
    assert claimed["holds_to_low"].between(0, 4).all()


def test_a_value_before_sparring_is_no_part_of_the_bounds(club):
    data = lactates(seed=4, club=club)
    resting = pd.DataFrame(
        {"athlete": ["A01", "A02"], "round_no": 0, "lactate_limit": ["low", ""], "lactate_mmol_l": [np.nan, 1.2]}
    )
    data = pd.concat([resting, data], ignore_index=True)
    answer = answer_rounds(data, "lactate_mmol_l", smallest_effect=1.5, limit=(0.8, 25.0))
    assert answer.bounds is None and "label_at_scale_end" not in answer.steps
    before = answer.rows[~answer.rows["tested"]].set_index("athlete")
    assert (before.loc["A01", "limit"], before.loc["A01", "value"]) == ("low", 0.8)


@pytest.mark.parametrize("seed", (0, 2))
def test_the_corners_that_are_searched_are_the_worst(seed, club, monkeypatch):
    rng = np.random.default_rng(seed)
    cells = [(f"A{i + 1:02d}", int(r)) for i, r in zip(rng.permutation(10)[:6], rng.integers(2, 5, 6), strict=True)]
    data = lactates(high=cells[:4], low=cells[4:], seed=seed, club=club)
    options = {"smallest_effect": 1.5, "limit": (6.0, 13.0)}
    monkeypatch.setattr("analysis.rounds.bounds.PLAUSIBLE", (0.0, 16.0))
    some = bound_limits(data, "lactate_mmol_l", **options)
    monkeypatch.setattr(placings, "MOST_CELLS", 6)
    every = bound_limits(data, "lactate_mmol_l", **options)
    assert some.n_corners < every.n_corners == 2**6
    assert [any("furthest" in w for w in found.warnings) for found in (some, every)] == [True, False]
    assert some.table["label"].tolist() == every.table["label"].tolist()
    for name in ("holds_to_high", "holds_to_low"):
        np.testing.assert_allclose(some.table[name], every.table[name], atol=0.05)


def bouts(n=12, rounds=4, bout_sd=0.0, shared=0.0, seed=0):
    """Random pairs each round; a spread between bouts, or a shared (negative: opposed) part of the residual."""
    rng = np.random.default_rng(seed)
    athlete = rng.normal(0, 6, n)
    lines = []
    for r in range(1, rounds + 1):
        order = rng.permutation(n)
        for a, b in zip(order[::2], order[1::2], strict=True):
            common, own = rng.normal(0, bout_sd), rng.normal(0, 3, 2)
            if shared:
                own[1] = shared * own[0] + np.sqrt(1 - shared**2) * own[1]
            for me, you, error in ((a, b, own[0]), (b, a, own[1])):
                lines.append((f"A{me:02d}", r, f"A{you:02d}", 165 + 2 * r + athlete[me] + common + error))
    return pd.DataFrame(lines, columns=["athlete", "round_no", "opponent", "hr_mean_bpm"])


def test_bouts_that_differ_are_found():
    result = describe_opponents(bouts(n=16, bout_sd=9.0), "hr_mean_bpm")
    assert result.verdict == "bouts differ"
    assert result.ci_low > 0
    assert result.within_bout_correlation > 0.5
    assert result.n_bouts == 32


def test_the_answer_allows_for_bouts_of_either_sign():
    wide, narrow = (
        answer_rounds(bouts(n=12, bout_sd=sd, shared=shared, seed=3), "hr_mean_bpm", smallest_effect=5)
        for sd, shared in ((6.0, 0.0), (0.0, -0.8))
    )
    for answer in (wide, narrow):
        assert answer.comparison.allows_for == "bouts"
        assert "mixed model, bouts taken as independent" in set(answer.sensitivity["analysis"])
    assert wide.comparison.fit.variances.crossed > 0 > narrow.comparison.fit.variances.crossed
    f = [a.comparison.overall.statistic / a.comparison.plain_fit.test("round_no").statistic for a in (wide, narrow)]
    assert f[0] < 1 < f[1]


def test_opponents_that_are_opposed_are_called_so():
    found = describe_opponents(bouts(n=16, shared=-0.9), "hr_mean_bpm")
    assert found.verdict == "opponents opposed"
    assert spread_verdict(0.0, 0.1, 10.0, r_high=-0.05, n_athletes=12) == "bouts differ little"


def test_an_evening_usually_cannot_tell():
    verdicts = [describe_opponents(bouts(n=8, rounds=3, seed=s), "hr_mean_bpm").verdict for s in range(6)]
    assert verdicts.count("bouts differ") <= 1
    assert "cannot tell" in verdicts


def test_opposed_athletes_give_a_negative_correlation():
    result = describe_opponents(bouts(n=16, shared=-0.9), "hr_mean_bpm")
    assert result.within_bout_correlation < -0.4
    assert result.variance_bout == pytest.approx(0.0, abs=1e-6)
    assert result.verdict != "bouts differ"


def test_verdict_rule():
    assert spread_verdict(0, 5, 10) == "cannot tell"  # holds 0 and half the residual
    assert spread_verdict(0, 4.9, 10) == "bouts differ little"
    assert spread_verdict(0.5, 40, 10) == "bouts differ"
    assert spread_verdict(np.nan, 4, 10) == "cannot tell"


def test_guests_and_blanks():
    data = bouts()
    data.loc[0, "opponent"] = ""
    data.loc[1, "opponent"] = "guest"
    data.loc[2, "opponent"] = "none"
    result = describe_opponents(data, "hr_mean_bpm")
    assert result.n_observations == len(data) - 2
    assert len(result.left_out) == 2
    assert describe_opponents(data.drop(columns="opponent"), "hr_mean_bpm") is None
    assert describe_opponents(data.assign(opponent="guest"), "hr_mean_bpm") is None


def test_sat_out_rounds_are_shown_and_not_analysed(club):
    data = club().assign(took_part="yes", rest_before_s=120.0)
    sat = (data["athlete"] == "A01") & (data["round_no"] == 2)
    data.loc[sat, "took_part"] = "sat_out"
    after = (data["athlete"] == "A01") & (data["round_no"] == 3)
    data.loc[after, "rest_before_s"] = 540.0
    answer = answer_rounds(data, "hr_mean_bpm", smallest_effect=5)
    assert answer.rests["what"].tolist() == ["sat out", "first round after sitting out"]
    assert answer.rests["rest_before_s"].tolist() == [120.0, 540.0]
    assert answer.n_observations == 47
    assert answer.left_out["reason"].tolist() == ["sat the round out"]
    assert "without rounds after a sat-out round" in set(answer.sensitivity["analysis"])
    assert rests_of(club()).empty
    tenth = pd.DataFrame({"athlete": "A", "round_no": ["10", "9", "11"], "took_part": ["sat_out", "yes", "yes"]})
    assert rests_of(tenth)["round_no"].tolist() == ["10", "11"]  # in the order of the numbers, not of the letters
    with pytest.raises(KitError, match="must be a table"):
        rests_of(None)


@pytest.mark.parametrize(("mark", "typed"), [("high", 15.0), ("high", 25.0), ("low", 2.0)])
def test_a_typed_limit_is_where_its_own_range_begins(mark, typed):
    data = pd.DataFrame({"athlete": list("AABBCCDD"), "round_no": [1, 2] * 4,
                         "lactate_mmol_l": [8, 11, 9, 12.5, 10, np.nan, 7, 12],
                         "lactate_limit": [""] * 5 + [mark, "", ""],
                         "lactate_bound_mmol_l": [np.nan] * 5 + [typed] + [np.nan] * 2})  # fmt: skip
    found = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 23.3))
    begins = found.high_from if mark == "high" else found.low_to
    assert begins == typed and not any("not stated" in w for w in found.warnings)
    at_the_limit = data.assign(lactate_mmol_l=data["lactate_mmol_l"].fillna(typed), lactate_limit="")
    plain = compare_rounds(at_the_limit, "lactate_mmol_l").contrasts["estimate"].iloc[0]
    ends = found.table[["estimate_min", "estimate_max"]].iloc[0]
    assert ends["estimate_min"] - 1e-6 <= plain <= ends["estimate_max"] + 1e-6
    assert min(abs(ends - plain)) < 1e-6


@pytest.mark.parametrize("limit", [(0.8, 20.0), (0.8, HIGHEST_PUBLISHED_MMOL_L - 0.5)])
def test_signs_and_ranks_of_values_off_the_scale_by_hand(limit):
    """Beyond the scale is above, or below, all that was read, however narrow the range in which it may lie."""
    high, low = np.inf, -np.inf
    typed = {"A": (5.0, 6.0, high), "B": (4.0, 4.5, high), "C": (low, 3.0, high),
             "D": (low, 5.0, 5.5), "E": (6.0, 5.9, 7.0), "F": (3.0, 3.4, 3.4)}  # fmt: skip
    fourth = {"A": high, "B": high, "C": 3.0, "D": 5.6, "E": 6.5, "F": 3.6}  # two up, two down, two alike
    typed = {a: (*row, fourth[a]) for a, row in typed.items()}
    data = pd.DataFrame(
        [(a, i + 1, v) for a, row in typed.items() for i, v in enumerate(row)],
        columns=["athlete", "round_no", "lactate_mmol_l"],
    )
    marks = data["lactate_mmol_l"].map({high: "high", low: "low"}).fillna("")
    data = data.assign(lactate_limit=marks, lactate_mmol_l=data["lactate_mmol_l"].where(marks == ""))
    ranks = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=limit).ranks
    steps = ranks.contrasts
    counts = ["n_up", "n_down", "n_zero", "n_athletes"]
    assert steps[counts].to_numpy().tolist() == [[5, 1, 0, 6], [5, 0, 1, 6], [2, 2, 2, 6]]
    assert steps["p"].tolist() == pytest.approx([2 * (1 + 6) / 2**6, 2 / 2**5, 1.0])  # the binomial by hand
    assert steps["p_adjusted"].tolist() == pytest.approx([2 * 2 * 7 / 2**6, 3 * 2 / 2**5, 1.0])  # Holm
    assert ranks.p == pytest.approx(stats.friedmanchisquare(*np.array(list(typed.values())).T).pvalue)
    assert "with 7 values tied" in ranks.method
    last = ranks.medians.set_index("round_no").loc["3"]
    assert np.isnan(last["median"]) and np.isnan(last["quartile_high"])  # half of them were not read
    assert last["quartile_low"] == pytest.approx(5.5 + 0.25 * 1.5)


def test_a_plateau_that_holds_wherever_the_values_lie_is_told(club):
    data = club(n=10, means=(10, 9.5, 10, 10), error_sd=0.2, athlete_sd=1.0, name="lactate_mmol_l")
    data["lactate_limit"] = ""
    at = data.index[(data["athlete"] == "A01") & (data["round_no"] == 2)]
    data.loc[at, ["lactate_limit", "lactate_mmol_l"]] = ["high", np.nan]
    bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=4, limit=(0.5, 12.0))
    assert (bounds.plateau_from, bounds.plateau_at_scale_end) == ("1", "1")
    assert bounds.plateau_holds_to_high == HIGHEST_PUBLISHED_MMOL_L
    spans = bounds.table["estimate_min"] * bounds.table["estimate_max"] <= 0
    assert spans.any() and (bounds.table.loc[spans, "p_max"] == 1.0).all()
    farthest = data.assign(lactate_mmol_l=data["lactate_mmol_l"].fillna(HIGHEST_PUBLISHED_MMOL_L))
    level = find_plateau(farthest.drop(columns="lactate_limit"), "lactate_mmol_l", low=-4, high=4)
    assert level.starts_at == "1"


def test_a_limit_above_all_that_was_published_may_lie_a_fifth_beyond():
    data = pd.DataFrame({"athlete": list("AABBCCDD"), "round_no": [1, 2] * 4,
                         "lactate_mmol_l": [8, 11, 9, 12.5, 10, np.nan, 7, 12],
                         "lactate_limit": [""] * 5 + ["high", "", ""],
                         "lactate_bound_mmol_l": [np.nan] * 5 + [40.0] + [np.nan] * 2})  # fmt: skip
    found = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 23.3))
    assert (found.high_from, found.high_to) == (40.0, pytest.approx(48.0))


def test_a_plateau_that_depends_on_a_single_value_is_not_told(club):
    data = lactates(high=[("A01", 4)], seed=4, club=club)
    bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1.5, limit=(0.5, 13.0))
    assert bounds.n_corners == 2
    assert (bounds.plateau_from, bounds.plateau_at_scale_end) == ("", "3")
    assert 13 < bounds.plateau_holds_to_high < HIGHEST_PUBLISHED_MMOL_L
    step = bounds.table.set_index("contrast").loc["4 - 3"]
    assert (step["label"], step["label_at_scale_end"]) == ("not shown", "equivalent")
    none = bound_limits(data, "lactate_mmol_l", smallest_effect=0.01, limit=(0.5, 13.0))
    assert none.plateau_at_scale_end == none.plateau_from == "" and np.isnan(none.plateau_holds_to_high)
    for table in (bounds.table, none.table):
        assert (table["p_min"] <= table["p_max"]).all()
    assert (bounds.table["p_min"] < bounds.table["p_max"]).any()


def test_ranges_begin_at_the_smallest_limit_that_was_typed():
    data = pd.DataFrame({"athlete": list("AABBCCDD"), "round_no": [1, 2] * 4,
                         "lactate_mmol_l": [8, 11, 9, 12.5, 10, np.nan, 7, np.nan],
                         "lactate_limit": [""] * 5 + ["high", "", "high"],
                         "lactate_bound_mmol_l": [np.nan] * 5 + [13.0, np.nan, 15.0]})  # fmt: skip
    found = bound_limits(data, "lactate_mmol_l", smallest_effect=1)
    assert (found.high_from, found.high_to) == (13.0, HIGHEST_PUBLISHED_MMOL_L)
    assert not any("not stated" in w for w in found.warnings)
    one = data.assign(lactate_bound_mmol_l=data["lactate_bound_mmol_l"].where(data.index != 5))
    assert any("not stated" in w for w in bound_limits(one, "lactate_mmol_l", smallest_effect=1).warnings)


def test_a_step_that_is_claimed_twice_holds_as_far_as_the_weaker_claim():
    claims = SimpleNamespace(changed=np.array([0.03, 0.01]), equivalent=np.array([0.02, 0.04]))
    both = ("changed", "equivalent")
    assert [_least(claims, names=both, step=i) for i in (0, 1)] == [0.02, 0.01]
