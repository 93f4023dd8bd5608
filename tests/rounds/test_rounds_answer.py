"""The whole answer: odd tables give an honest result or a plain error; laws that every table obeys."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.basics import KitError, Result
from analysis.models import marginal_change
from analysis.rounds import answer_rounds
from analysis.rounds.answer import adjust_outcomes
from analysis.rounds.prepare import prepare_rounds
from analysis.rounds.sensitivity import MARGINAL
from analysis.rounds.steps import STEP_LABELS

OUTCOME = "hr_mean_bpm"


def answer(data, **options):
    return answer_rounds(data, OUTCOME, **{"smallest_effect": 5.0, **options})


def test_every_part_is_there(club):
    result = answer(club(missing=0.08, seed=3))
    assert isinstance(result, Result)
    assert result.verdict in STEP_LABELS
    assert set(result.steps["label"]) <= set(STEP_LABELS)
    assert result.steps["contrast"].tolist() == ["2 - 1", "3 - 2", "4 - 3", "4 - 1"]
    assert result.steps["kind"].tolist()[-1] == "last to first"
    assert result.last_minus_first == pytest.approx(result.steps["estimate"].iloc[-1])
    assert result.tipping is not None and result.bounds is None and result.opponents is None
    assert len(result.equivalence) == 6
    assert result.n_observations + len(result.left_out) == 48
    assert result._repr_html_() and str(result)


def test_sensitivity_asks_the_same_question_in_other_ways(club):
    data = club(missing=0.05, seed=2)
    data["percent_hr_max"] = data[OUTCOME] / 1.95
    kept = data.assign(**{OUTCOME: data[OUTCOME] + 0.5})
    result = answer(data, flagged_kept=kept, other_outcomes={"percent_hr_max": 2.5})
    table = result.sensitivity.set_index("analysis")
    assert table.index[0].startswith("mixed model, Kenward-Roger")
    for part in (
        "cluster-robust",
        "analysis of variance",
        "ranks",
        "flagged samples kept",
        "as percent_hr_max",
        "tipping point",
    ):
        assert table.index.str.contains(part).any(), part
    main = table.iloc[0]
    assert main["label"] == result.steps["label"].iloc[-1] and main["agrees"]
    assert table.loc["flagged samples kept", "estimate"] == pytest.approx(main["estimate"])
    assert table.loc["as percent_hr_max", "estimate"] == pytest.approx(main["estimate"] / 1.95, rel=0.05)


def test_another_library_gives_a_second_opinion_beside_the_main_analysis(club):
    data = club(missing=0.05, seed=2)
    result = answer(data)
    found = marginal_change(data[OUTCOME].dropna(), data["round_no"][data[OUTCOME].notna()],
                            data["athlete"][data[OUTCOME].notna()], labels=[1, 2, 3, 4])  # fmt: skip
    line = result.sensitivity.set_index("analysis").loc[MARGINAL]
    assert [line[c] for c in ("estimate", "ci_low", "ci_high", "p")] == pytest.approx(
        [found.estimate, found.ci_low, found.ci_high, found.p]
    )
    assert line["p_round_test"] == pytest.approx(found.p_all) and line["n_observations"] == found.n_observations
    assert line["estimate"] == pytest.approx(result.last_minus_first, abs=0.3) and line["note"] == ""
    few = answer(data[data["athlete"].isin(data["athlete"].unique()[:4])]).sensitivity.set_index("analysis")
    assert "4 athletes are too few" in few.loc[MARGINAL, "note"] and few.loc[MARGINAL, "agrees"] is None


def test_another_scale_that_cannot_be_analysed_is_said(club):
    data = club().assign(percent_hr_max=np.nan)
    line = (
        answer(data, other_outcomes={"percent_hr_max": 2.5}).sensitivity.set_index("analysis").loc["as percent_hr_max"]
    )
    assert "could not be analysed" in line["note"]
    assert line["agrees"] is None


def test_a_test_of_difference_cannot_support_equivalence(club):
    result = answer(club(means=(170, 170.5, 170, 170), error_sd=1.5))
    assert result.steps["label"].iloc[-1] == "equivalent"
    robust = result.sensitivity.set_index("analysis").loc["mixed model, cluster-robust (CR2)"]
    assert robust["p"] > 0.05 and robust["agrees"] is None


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda d: d.assign(hr_mean_bpm=np.nan), "no value in any round"),
        (lambda d: d.iloc[:0], "no value in any round"),
        (lambda d: d.assign(hr_mean_bpm=170.0), "is the same"),
        (lambda d: d[d["round_no"] == 1], "needs two rounds"),
        (lambda d: d[d["athlete"] == "A01"], "at least two athletes"),
        (lambda d: pd.concat([d, d.iloc[:1]]), "more than one value"),
        (lambda d: d.drop(columns="round_no"), "no column 'round_no'"),
        (lambda d: d.rename(columns={"hr_mean_bpm": "hr_mean"}), "Did you mean 'hr_mean'"),
        (lambda d: d.assign(hr_mean_bpm="fast"), "must hold numbers"),
        (lambda d: d.assign(hr_mean_bpm=np.inf), "holds no value"),
        (lambda d: pd.concat([d.assign(session="1"), d.assign(session="2")]), "2 sessions"),
        (lambda d: d.assign(hr_mean_bpm=d["round_no"] * 3.0), "does not vary"),
        (lambda d: d.to_dict("records"), "must be a table"),
        (lambda d: None, "must be a table"),
        (lambda d: d.assign(hr_mean_bpm=pd.Timestamp("2026-01-01")), "must hold numbers"),
        (lambda d: d.assign(hr_mean_bpm=d["hr_mean_bpm"] + 1j), "must hold numbers"),
        (lambda d: d.assign(hr_mean_bpm=d["hr_mean_bpm"] * 1e150), "which nothing measures"),
        (lambda d: d.assign(hr_mean_bpm=d["hr_mean_bpm"] * 1e-300), "which nothing measures"),
    ],
)
def test_what_cannot_be_analysed_is_said_in_plain_words(change, message, club):
    with pytest.raises(KitError, match=message):
        answer(change(club()))


@pytest.mark.parametrize(
    "option",
    [
        {"smallest_effect": 0},
        {"smallest_effect": np.nan},
        {"smallest_effect": "5"},
        {"alpha": 0},
        {"alpha": 1},
        {"alpha": None},
        {"role": "main"},
    ],
)
def test_options_are_checked(option, club):
    with pytest.raises(KitError):
        answer(club(), **option)


@pytest.mark.parametrize(
    ("n", "rounds", "gone"),
    [
        (3, 4, []),
        (3, 2, []),
        (2, 2, []),
        (4, 8, []),
        (12, 4, [("A01", 2), ("A01", 3), ("A01", 4)]),
        (12, 4, [("A01", r) for r in (1, 2, 3, 4)]),
        (12, 4, [(f"A{i:02d}", 3) for i in range(1, 13)]),
        (6, 4, [(f"A{i:02d}", i % 4 + 1) for i in range(1, 7)]),
    ],
)
def test_small_and_ragged_clubs(n, rounds, gone, club):
    data = club(n=n, means=np.linspace(165, 172, rounds), seed=n)
    hit = pd.MultiIndex.from_frame(data[["athlete", "round_no"]]).isin(gone)
    data[OUTCOME] = data[OUTCOME].where(~hit)
    result = answer(data)
    assert result.n_observations == n * rounds - len(gone)
    assert len(result.left_out) == len(gone)
    assert np.isfinite(result.steps["estimate"]).all()
    assert result.verdict in STEP_LABELS


def test_empty_round_and_single_round_are_said(club):
    data = club()
    data.loc[data["round_no"] == 3, OUTCOME] = np.nan
    result = answer(data)
    assert result.labels == ("1", "2", "4")
    assert any("Round 3 held no value" in w for w in result.warnings)


@pytest.mark.parametrize(
    ("names", "expected", "warns"),
    [
        ({1: "R2", 2: "R9", 3: "R10", 4: "R11"}, ("R2", "R9", "R10", "R11"), False),
        ({1: "1", 2: "2", 3: "10", 4: "11"}, ("1", "2", "10", "11"), False),
        ({1: 1.0, 2: 2.0, 3: 3.0, 4: 4.0}, ("1", "2", "3", "4"), False),
        ({1: "first", 2: "second", 3: "third", 4: "last"}, ("first", "last", "second", "third"), True),
    ],
)
def test_round_labels(names, expected, warns, club):
    data = club()
    renamed = data.assign(round_no=data["round_no"].map(names))
    rows = prepare_rounds(renamed if warns else renamed.sample(frac=1, random_state=0), OUTCOME)
    assert rows.labels == expected
    assert any("taken by the alphabet" in w for w in rows.warnings) == warns
    assert answer(renamed).comparison.overall.p == pytest.approx(answer(data).comparison.overall.p)


def test_a_categorical_keeps_its_order(club):
    data = club()
    kinds = pd.CategoricalDtype(["warm", "hard", "harder", "last"], ordered=True)
    data["round_no"] = data["round_no"].map({1: "warm", 2: "hard", 3: "harder", 4: "last"}).astype(kinds)
    rows = prepare_rounds(data.sample(frac=1, random_state=1), OUTCOME)
    assert rows.labels == ("warm", "hard", "harder", "last") and not rows.warnings


def test_ratings_need_the_ranks_to_agree(club):
    data = club(means=(12, 14, 15, 16), athlete_sd=1, error_sd=1, name="exertion").round()
    result = answer_rounds(data, "exertion", smallest_effect=1, ordinal=True)
    assert "p_ranks" in result.steps and "p_ranks" in result.equivalence
    assert result.changed == bool(
        max(result.comparison.overall.p, result.comparison.overall.p_epsilon, result.ranks.p) < 0.05
    )


def test_steps_are_claimed_at_the_level_of_the_plan_and_inside_a_change_over_all_rounds(club):
    data = club(means=(160, 163.5, 166, 168))
    seen = set()
    for alpha in (0.05, 0.3, 0.001):
        found = answer(data, alpha=alpha)
        below = (found.steps[["p_adjusted", "p_adjusted_cr2"]] < alpha).all(axis=1)
        assert found.changed and (found.steps["changed"] == below).all()
        assert (found.steps["label"].str.startswith("changed") == below).all()
        seen.add(int(below.sum()))
    assert len(seen) > 1, "the levels have to tell the steps apart"
    level = answer(club(means=(160, 160, 160, 160)), alpha=0.05)
    assert not level.changed and not level.steps["changed"].any()


@pytest.mark.parametrize("rounds", [2, 3, 4])
def test_the_steps_and_last_minus_first_are_adjusted_as_one_family_by_hand(club, rounds):
    """Shaffer 1986: where the rounds differ at all, at most two of four steps (one of three) can be without a change."""
    data = club()
    data = data[data["round_no"] <= rounds]
    steps = answer(data).steps
    most = max(rounds - 2, 1)
    for end in ("", "_cr2"):
        p = steps[f"p{end}"].to_numpy(dtype=float)
        order = np.argsort(p)
        factors = np.minimum(len(p) - np.arange(len(p)), most)
        by_hand = np.minimum(1.0, np.maximum.accumulate(p[order] * factors))
        assert steps[f"p_adjusted{end}"].to_numpy(dtype=float)[order] == pytest.approx(by_hand)


def test_bout_numbers_can_order_the_rounds(club):
    data = club().assign(took_part="yes")
    data["bout_no"] = data["round_no"].astype(float)
    late = data["athlete"] == "A01"
    data.loc[late & (data["round_no"] == 1), ["took_part", "bout_no"]] = ["sat_out", np.nan]
    data.loc[late & (data["round_no"] > 1), "bout_no"] -= 1
    by_clock = answer(data)
    by_bout = answer(data, round_variable="bout_no")
    assert by_clock.n_observations == by_bout.n_observations == 47
    assert by_clock.comparison.overall.p != by_bout.comparison.overall.p
    other = by_clock.sensitivity.set_index("analysis").loc["rounds counted as sparred"]
    assert other["p_round_test"] == pytest.approx(by_bout.comparison.overall.p)


def test_one_primary_outcome_per_question(club):
    data = club()
    data["hr_peak_bpm"] = data[OUTCOME] + np.random.default_rng(0).normal(8, 2, len(data))
    found = {
        OUTCOME: answer(data),
        "hr_peak_bpm": answer_rounds(data, "hr_peak_bpm", smallest_effect=5, role="secondary"),
    }
    table = adjust_outcomes(found).set_index("outcome")
    assert table.loc[OUTCOME, "p_adjusted"] == table.loc[OUTCOME, "p"]
    with pytest.raises(KitError, match="one primary outcome"):
        adjust_outcomes({a: found[OUTCOME] for a in ("a", "b")})
    exploratory = adjust_outcomes({"x": answer(data, role="exploratory")})
    assert not exploratory["changed"].any() and exploratory["p_adjusted"].isna().all()


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10_000), st.permutations(list(range(8))))
def test_order_of_rows_and_names_change_nothing(seed, order):
    data = _club(seed)
    names = {f"A{i + 1:02d}": f"person {order[i]}" for i in range(8)}
    other = data.assign(athlete=data["athlete"].map(names)).sample(frac=1, random_state=seed)
    a, b = answer(data).steps, answer(other).steps
    pd.testing.assert_frame_equal(a, b, rtol=1e-7)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10_000), st.floats(-100, 100), st.floats(0.05, 20))
def test_moving_and_scaling(seed, shift, factor):
    data = _club(seed)
    plain = answer(data)
    moved = answer(data.assign(**{OUTCOME: data[OUTCOME] + shift}))
    scaled = answer(data.assign(**{OUTCOME: data[OUTCOME] * factor}), smallest_effect=5 * factor)
    assert moved.comparison.means["estimate"].to_numpy() == pytest.approx(
        plain.comparison.means["estimate"] + shift, abs=1e-6
    )
    for name in ("estimate", "ci_low_cr2", "equivalence_ci_high"):
        assert moved.steps[name].to_numpy() == pytest.approx(plain.steps[name].to_numpy(), abs=1e-6)
        assert scaled.steps[name].to_numpy() == pytest.approx(factor * plain.steps[name].to_numpy(), rel=1e-6, abs=1e-9)
    assert scaled.steps["label"].tolist() == moved.steps["label"].tolist() == plain.steps["label"].tolist()
    assert scaled.plateau_from == plain.plateau_from


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10_000))
def test_rows_in_are_rows_used_and_left_out(seed):
    data = _club(seed, missing=0.25)
    try:
        result = answer(data)
    except KitError:
        return
    assert result.n_observations + len(result.left_out) == len(data)
    if result.anova is not None:
        assert result.anova.n_observations + len(result.anova.left_out) == len(data)


def _club(seed, missing=0.0):
    rng = np.random.default_rng(seed)
    values = 168 + np.array([0, 5, 7, 7.5]) + rng.normal(0, 7, (8, 1)) + rng.normal(0, 3, (8, 4))
    data = pd.DataFrame(
        {"athlete": np.repeat([f"A{i + 1:02d}" for i in range(8)], 4), "round_no": np.tile([1, 2, 3, 4], 8)}
    )
    data[OUTCOME] = values.ravel()
    data.loc[rng.random(32) < missing, OUTCOME] = np.nan
    return data
