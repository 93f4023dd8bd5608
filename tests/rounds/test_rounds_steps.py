"""The reading of a step: each label at its edge, the family that is adjusted together, and the claim inside a change."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.basics import KitError
from analysis.models import holm
from analysis.rounds.compare import contrast_table, fit_rounds
from analysis.rounds.prepare import prepare_rounds
from analysis.rounds.ranks import order_contrasts
from analysis.rounds.steps import (
    STEP_LABELS,
    all_steps,
    gate_steps,
    label_of_step,
    label_steps,
    most_true,
    rank_bounds,
    reading_of_step,
    rounds_by_bound,
    with_bounds,
)

OUTCOME = "hr_mean_bpm"
BOTH = ("", "_cr2")


def club(n=9, rounds=4, seed=1, rise=4.0):
    rng = np.random.default_rng(seed)
    own = np.repeat(rng.normal(165, 8, n), rounds)
    number = np.tile(np.arange(1, rounds + 1), n)
    value = own + rise * number + rng.normal(0, 4, n * rounds)
    return pd.DataFrame({"athlete": np.repeat([f"A{i}" for i in range(n)], rounds), "round_no": number, OUTCOME: value})


def tables(p=(0.01, 0.01), p_equivalence=(0.01, 0.01), equivalent=True):
    """One step, with the adjusted p of both methods and of both equivalence tests."""
    numbers = {"estimate": 3.0, "standard_error": 1.0, "df": 24.0, "ci_low": 1.0, "ci_high": 5.0, "p": 0.001}
    robust = {f"{k}_cr2": v + 0.25 for k, v in numbers.items() if k != "estimate"}
    place = {"contrast": "2 - 1", "later": "2", "earlier": "1", "kind": "successive"}
    contrasts = pd.DataFrame([{**place, **numbers, **robust, "p_adjusted": p[0], "p_adjusted_cr2": p[1]}])
    tested = {"contrast": "2 - 1", "equivalent": equivalent}
    for end, own, low in zip(BOTH, p_equivalence, (-1.0, -2.0), strict=True):
        tested |= {f"p{end}": own, f"ci_low{end}": low, f"ci_high{end}": -low}
    return contrasts, pd.DataFrame([{**tested, "contrast": "3 - 2"}, tested])  # in another order


def test_the_four_labels():
    assert [label_of_step(c, e) for c, e in ((1, 0), (0, 1), (1, 1), (0, 0))] == list(STEP_LABELS)


@pytest.mark.parametrize(
    ("p", "changed"), [((0.049, 0.049), True), ((0.05, 0.01), False), ((0.01, 0.05), False), ((0.2, 0.2), False)]
)
@pytest.mark.parametrize("equivalent", [True, False])
def test_a_step_changed_where_both_methods_say_so(p, changed, equivalent):
    step = label_steps(*tables(p=p, equivalent=equivalent), alpha=0.05).iloc[0]
    assert (step["changed"], step["equivalent"]) == (changed, equivalent)
    assert step["label"] == label_of_step(changed, equivalent)


def test_a_step_carries_both_methods_with_their_own_numbers():
    contrasts, tested = tables(p=(0.011, 0.012), p_equivalence=(0.021, 0.022))
    step = label_steps(contrasts, tested, alpha=0.05).iloc[0]
    for name in ("standard_error", "df", "ci_low", "ci_high", "p"):
        assert step[f"{name}_cr2"] == step[name] + 0.25
    assert (step["p_adjusted"], step["p_adjusted_cr2"]) == (0.011, 0.012)
    assert (step["p_equivalence"], step["p_equivalence_cr2"]) == (0.021, 0.022)
    assert [step[f"equivalence_ci_{e}"] for e in ("low", "high", "low_cr2", "high_cr2")] == [-1, 1, -2, 2]
    assert "p_ranks" not in step and step["kind"] == "successive" and (step["later"], step["earlier"]) == ("2", "1")


@pytest.mark.parametrize(("p", "changed"), [(0.04, True), (0.05, False)])
def test_ratings_are_decided_by_their_order_alone(p, changed):
    contrasts, tested = tables(p=(0.9, 0.9) if changed else (0.001, 0.001))
    ranks = pd.DataFrame({"contrast": ["3 - 2", "2 - 1"], "p_adjusted": [0.9 - 0.8 * (not changed), p]})
    step = label_steps(contrasts, tested, ranks=ranks, alpha=0.05).iloc[0]
    assert (step["p_ranks"], step["changed"]) == (p, changed)


def test_contrasts_that_were_not_tested_for_equivalence_are_named():
    contrasts, tested = tables()
    with pytest.raises(KitError, match="lacks the contrasts 2 - 1"):
        label_steps(contrasts, tested.head(1), alpha=0.05)


def test_the_steps_of_a_club_are_the_contrasts_of_its_model_adjusted_as_one_family():
    rows = prepare_rounds(club(), OUTCOME)
    fit = fit_rounds(rows)
    steps = all_steps(rows, fit, smallest_effect=5.0, alpha=0.05)
    assert steps["contrast"].tolist() == ["2 - 1", "3 - 2", "4 - 3", "4 - 1"]
    assert steps["kind"].tolist() == ["successive"] * 3 + ["last to first"]
    own = pd.concat([contrast_table(fit, kind="successive"), contrast_table(fit, kind="first").tail(1)])
    assert steps.index.tolist() == [0, 1, 2, 3] and "index" not in steps
    for name in ("estimate", "standard_error", "standard_error_cr2", "df_cr2", "ci_low", "ci_high_cr2", "p"):
        assert steps[name].to_numpy() == pytest.approx(own[name].to_numpy())
    for end in BOTH:
        adjusted = holm(own[f"p{end}"].to_numpy(), most_true=2)
        assert steps[f"p_adjusted{end}"].to_numpy() == pytest.approx(adjusted)
    assert (steps["standard_error"] != steps["standard_error_cr2"]).all() and "p_ranks" not in steps
    last = all_steps(rows, fit, smallest_effect=5.0, alpha=0.05, only_last=True)
    pd.testing.assert_frame_equal(last, steps.tail(1).reset_index(drop=True))
    wide = all_steps(rows, fit, smallest_effect=50.0, alpha=0.05)
    assert wide["equivalent"].all() and not steps["equivalent"].iloc[-1]
    strict = all_steps(rows, fit, smallest_effect=5.0, alpha=0.001)
    for end in BOTH:  # of level 1 - 2 alpha
        assert (strict[f"equivalence_ci_low{end}"] < steps[f"equivalence_ci_low{end}"]).all()
    assert strict["changed"].sum() < steps["changed"].sum()


def test_two_rounds_have_one_step():
    rows = prepare_rounds(club(rounds=2), OUTCOME)
    steps = all_steps(rows, fit_rounds(rows), smallest_effect=5.0, alpha=0.05)
    assert steps["contrast"].tolist() == ["2 - 1"] and steps["kind"].tolist() == ["successive"]
    assert steps["p_adjusted"].iloc[0] == pytest.approx(steps["p"].iloc[0])


def test_the_order_of_ratings_is_adjusted_over_the_same_family():
    rows = prepare_rounds(club(n=7).round({OUTCOME: -1}), OUTCOME)
    steps = all_steps(rows, fit_rounds(rows), smallest_effect=5.0, alpha=0.05, ordinal=True)
    alone = [*order_contrasts(rows, "successive")["p"], order_contrasts(rows, "first")["p"].iloc[-1]]
    assert steps["p_ranks"].to_numpy() == pytest.approx(holm(np.array(alone), most_true=2))
    assert (steps["changed"] == (steps["p_ranks"] < 0.05)).all()


def test_what_was_computed_before_is_taken_over():
    rows = prepare_rounds(club(), OUTCOME)
    fit = fit_rounds(rows)
    known = {kind: contrast_table(fit, kind=kind) for kind in ("successive", "first")}
    known["first"]["p"] = known["successive"]["p"] = known["first"]["p_cr2"] = known["successive"]["p_cr2"] = 0.03
    steps = all_steps(rows, fit, smallest_effect=5.0, alpha=0.05, known=known)
    assert steps["p_adjusted"].tolist() == [0.06] * 4  # no more than two of four can be without a change
    known["successive"]["p"] = [0.01, 0.02, 0.3]
    known["first"]["p"] = [1.0, 1.0, 0.04]  # 3 - 1 is no step and does not count
    steps = all_steps(rows, fit, smallest_effect=5.0, alpha=0.05, known=known)
    assert steps["p_adjusted"].tolist() == pytest.approx([0.02, 0.04, 0.3, 0.08])


def test_how_many_steps_can_be_without_a_change():
    # of 2 rounds the one step; of 3 that differ at all, only one of three steps; of 4, two of four
    assert [most_true(k) for k in (2, 3, 4, 6)] == [1, 1, 2, 4]


def test_a_step_is_claimed_only_inside_a_change_over_all_rounds():
    steps = pd.DataFrame(
        {
            "changed": [True, True, False, False],
            "equivalent": [False, True, True, False],
            "label": ["changed", "changed but smaller than matters", "equivalent", "not shown"],
        }
    )
    steps["label_at_scale_end"] = steps["label"]
    assert gate_steps(steps, True) is steps and gate_steps(steps.iloc[:0], False).empty
    for answer in (False, None):
        gated = gate_steps(steps, answer)
        assert gated["label"].tolist() == ["not shown", "equivalent", "equivalent", "not shown"]
        assert gated["label_at_scale_end"].tolist() == gated["label"].tolist() and not gated["changed"].any()
    assert steps["changed"].sum() == 2 and "label_at_scale_end" not in gate_steps(steps.iloc[:, :3], False)


def test_a_reading_that_hangs_on_values_off_the_scale_says_how_far():
    step = {"label": "not shown", "label_at_scale_end": "changed", "holds_to_high": 15.38, "holds_to_low": np.nan}
    assert reading_of_step(step) == "changed if HI ≤ 15.3, else not shown"
    assert reading_of_step(step, 0, "mmol/L") == "changed if HI ≤ 15\N{NO-BREAK SPACE}mmol/L, else not shown"
    assert reading_of_step(step | {"label": "changed"}) == "changed" == reading_of_step({"label": "changed"})


def intervals(*ends):
    """Pairs (later, earlier, low, high), the robust interval a quarter wider on each side."""
    return pd.DataFrame([
        {"later": a, "earlier": b, "ci_low": low, "ci_high": high, "ci_low_cr2": low - 0.25, "ci_high_cr2": high + 0.25}
        for a, b, low, high in ends
    ])  # fmt: skip


def by_bound(*ends, **more):
    answer = SimpleNamespace(
        outcome=OUTCOME, equivalence=intervals(*ends), labels=("1", "2", "3"), ordinal=False, alpha=0.05,
        changed=True, smallest_effect=5.0,
    )  # fmt: skip
    vars(answer).update(more)
    return rounds_by_bound(answer)


THREE = ("2", "1", -1.0, 8.0), ("3", "1", 2.0, 9.0), ("3", "2", -2.0, 1.5)


def test_the_smallest_bound_lies_beyond_the_farther_end_of_both_intervals():
    table = with_bounds(intervals(*THREE))
    assert table["smallest_bound"].tolist() == [8.25, 9.25, 2.25]
    steps = intervals(*THREE).rename(columns=lambda c: c.replace("ci_", "equivalence_ci_"))
    wider = steps.assign(ci_low=-99.0, ci_high=99.0)  # the 95 % interval of a step decides nothing here
    assert with_bounds(wider)["smallest_bound"].tolist() == [8.25, 9.25, 2.25]
    for end in ("ci_low", "ci_high", "ci_low_cr2", "ci_high_cr2"):
        gone = with_bounds(intervals(*THREE).assign(**{end: np.nan}))
        assert gone["smallest_bound"].isna().all()


def test_the_answer_turns_at_the_largest_bound_of_each_level_stretch():
    curve = by_bound(*THREE)
    assert curve.readings[["bound_from", "bound_to", "plateau_from"]].to_numpy().tolist() == [
        [0.0, 2.25, ""],
        [2.25, 9.25, "2"],
        [9.25, np.inf, "1"],
    ]
    assert curve.readings["verdict"].tolist() == ["changed", "changed", "changed but smaller than matters"]
    assert (curve.planned, curve.planned_verdict, curve.smallest_passing) == (5.0, "changed", 9.25)
    assert curve.level == pytest.approx(0.9) and by_bound(*THREE, alpha=0.1).level == pytest.approx(0.8)
    level = by_bound(*THREE, changed=False, smallest_effect=9.5)
    assert level.readings["verdict"].tolist() == ["not shown", "not shown", "equivalent"]
    assert level.planned_verdict == "equivalent"


def test_a_pair_without_an_interval_passes_with_no_bound():
    lost = by_bound(THREE[0], ("3", "1", np.nan, np.nan), THREE[2])
    assert np.isnan(lost.smallest_passing) and lost.readings["plateau_from"].tolist() == ["", "2"]
    assert by_bound(*THREE[:2], ("3", "2", np.nan, np.nan)).readings["plateau_from"].tolist() == [""]


def ratings(n, size, seed=3):
    """Two rounds of n athletes, no two differences of one size, and the differences."""
    rng = np.random.default_rng(seed)
    wide = pd.DataFrame({"1": np.round(rng.normal(13, 2, n), 3), "2": 0.0})
    wide["2"] = wide["1"] + np.round(rng.permutation(np.linspace(-size, size, n + 1)[1:]), 3)
    return wide, (wide["2"] - wide["1"]).to_numpy()


@pytest.mark.parametrize("size", [0.4, 3.0])
def test_ranks_of_five_athletes_pass_beyond_every_difference_and_those_of_four_never(size):
    """With n athletes the smallest one-sided p is 1 / 2^n, of differences that all lie on one side: 1/32 and 1/16."""
    pair = intervals(("2", "1", -0.1, 0.1))
    wide, d = ratings(5, size)
    assert rank_bounds(wide, pair, 0.05) == [pytest.approx(abs(d).max(), abs=1e-9)]
    assert with_bounds(pair, wide)["smallest_bound"].tolist() == rank_bounds(wide, pair, 0.05)
    assert np.isnan(rank_bounds(wide, pair, 1 / 32)).all()
    few, _ = ratings(4, size)
    assert np.isnan(rank_bounds(few, pair, 0.05)).all()
    assert np.isnan(with_bounds(pair, few)["smallest_bound"]).all()
    assert np.isnan(rank_bounds(wide.assign(**{"2": np.nan}), pair, 0.05)).all()


@pytest.mark.parametrize("n", [8, 11])
def test_ranks_pass_from_their_bound_on_and_not_below(n):
    """The exact signed-rank tests of scipy, a little to either side of the bound."""
    wide, d = ratings(n, 3.0, seed=n)
    bound = rank_bounds(wide, intervals(("2", "1", -0.1, 0.1)), 0.05)[0]

    def p(at):
        ways = ((d + at, "greater"), (d - at, "less"))
        return max(stats.wilcoxon(v, alternative=way, method="exact").pvalue for v, way in ways)

    assert p(bound + 1e-6) < 0.05 <= p(bound - 1e-6)


def test_ratings_that_never_move_pass_with_any_bound():
    """Six differences of 0, moved to one side: p is 1 / 2^6, whatever the bound; six of 0.3: from there on.

    Of 0, 0, 0, 0, 1 and -2: just above 1 only b - 2 lies on the wrong side and is the smallest, so p is 2 / 2^6; just below 1
    it is the second largest, and p is more than 0.05.
    """
    wide = pd.DataFrame({"1": np.arange(6.0), "2": np.arange(6.0)})
    pair = intervals(("2", "1", 0.0, 0.0))
    assert rank_bounds(wide, pair, 0.05) == [0.0] and np.isnan(rank_bounds(wide, pair, 1 / 64)).all()
    assert rank_bounds(wide.assign(**{"2": wide["2"] + 0.3}), pair, 0.05) == [pytest.approx(0.3)]
    assert rank_bounds(wide.assign(**{"2": wide["2"] + [0, 0, 0, 0, 1, -2]}), pair, 0.05) == [1.0]
    assert rank_bounds(wide.assign(**{"2": wide["2"] + [0, 0, 0, 0, 1, -2]}), pair, 2 / 64) == [
        2.0
    ]  # p has to be below


def test_ratings_turn_where_ranks_and_intervals_both_pass():
    wide, _ = ratings(6, 2.0)
    rows = wide.rename_axis("athlete").reset_index().melt("athlete", var_name="round_no").assign(tested=True)
    before = rows.assign(round_no="0", tested=False)
    ranks = rank_bounds(wide, intervals(("2", "1", 0.0, 0.0)), 0.05)[0]
    for end in (0.2, 20.0):
        found = by_bound(("2", "1", -end, end), labels=("1", "2"), ordinal=True, rows=pd.concat([before, rows]))
        assert found.smallest_passing == pytest.approx(max(ranks, end + 0.25))
    strict = by_bound(("2", "1", -0.2, 0.2), labels=("1", "2"), ordinal=True, rows=rows, alpha=1 / 64)
    assert np.isnan(strict.smallest_passing)  # no p of six athletes is below 1 / 2^6


def test_ratings_of_great_size_tie_as_small_ones_do():
    """-0.6 three times and -1: moved by 0.6 to 0.8, the last is fourth by size, and 8 of 2^8 ways give as little (2 + 2 counted).

    Without ties there were 7 ways, and 7 / 2^8 is below 0.03; from 0.8 on it is the smallest, with 2 ways.
    """
    twentieths = np.array([-20, -12, -12, -12, 1, 3, 5, 7])
    for base in (
        0,
        20_000_000_000,
    ):  # two decimals are typed; those of 1,000,000,000 differ as floats where they are alike
        first = base + 7 * np.arange(8)
        wide = pd.DataFrame({"1": first / 20, "2": (first + twentieths) / 20})
        assert base == 0 or len(set((wide["2"] - wide["1"])[1:4])) > 1
        assert rank_bounds(wide, intervals(("2", "1", 0.0, 0.0)), 0.03) == [pytest.approx(0.8, abs=1e-4)]
