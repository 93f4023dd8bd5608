"""The edges of a claim about training: levels met exactly, directions, who was lost, what the error alone would do."""

import math
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.training.answer import (
    CANNOT_TELL,
    GAIN,
    MATTERS,
    OPPOSITE,
    SMALL,
    _equivalence_p,
    _flow,
    _judged,
    _regression,
    _tipping,
    _why_not,
    analyse_outcome,
    answer_training,
    judge,
)
from analysis.training.compare import compare_groups

from .data import ASKED, TWELVE, as_values

GROUPS = TWELVE[["athlete", "arm", "pair"]]
CAPACITY = {"label": "Aerobic capacity", "unit": "mL/kg/min", "smallest": 2.0}


@dataclass(frozen=True)
class Outcome:
    """What the rule of the verdict reads of an outcome."""

    main: object
    wanted: int = 1
    smallest: float = 2.0
    p_equivalence: float = 0.5
    p_claim: float = 0.01
    p_adjusted: float = math.nan
    verdict: str = ""


def outcome(estimate=5.0, low=1.0, high=9.0, n=15, **more):
    arms = n if isinstance(n, tuple) else (n, n)
    main = SimpleNamespace(estimate=estimate, ci_low=low, ci_high=high, n_trained=arms[0], n_reference=arms[1])
    return Outcome(main, **more)


def verdict(p=0.01, **more):
    return _judged(outcome(**more), p, 0.05).verdict


def test_a_difference_is_claimed_at_alpha_and_not_above():
    assert verdict(0.05) == GAIN and verdict(0.0501) == CANNOT_TELL
    assert _judged(outcome(), 0.04, 0.05).p_adjusted == 0.04


def test_it_matters_where_the_whole_interval_lies_beyond_the_smallest_effect():
    assert verdict(low=2.01) == MATTERS and verdict(low=2.0) == GAIN
    fall = {"estimate": -5.0, "low": -9.0, "wanted": -1}
    assert verdict(high=-2.01, **fall) == MATTERS and verdict(high=-2.0, **fall) == GAIN
    assert verdict(estimate=-5.0, low=-9.0, high=-3.0) == OPPOSITE
    assert verdict(estimate=5.0, wanted=-1) == OPPOSITE


def test_small_needs_equivalence_at_alpha_and_twelve_in_each_group():
    assert verdict(p_equivalence=0.05) == SMALL  # also where a difference is shown
    assert verdict(p_equivalence=0.0501) == GAIN
    assert verdict(0.5, p_equivalence=0.01, n=12) == SMALL and verdict(0.5, p_equivalence=0.01, n=11) == CANNOT_TELL
    assert verdict(0.5, p_equivalence=0.01, n=(11, 20)) == verdict(0.5, p_equivalence=0.01, n=(20, 11)) == CANNOT_TELL


def test_outcomes_are_adjusted_together():
    """Holm 1979: 0.02 and 0.04 of two are 0.04 and 0.04; 0.03 and 0.04 are both 0.06."""
    found = judge({"a": outcome(p_claim=0.02), "b": outcome(p_claim=0.04)})
    assert [o.p_adjusted for o in found.values()] == pytest.approx([0.04, 0.04])
    assert [o.verdict for o in judge({"a": outcome(p_claim=0.03), "b": outcome(p_claim=0.04)}).values()] == [
        CANNOT_TELL
    ] * 2
    assert judge({}) == {}
    assert judge({"a": outcome(p_claim=0.02)}, alpha=0.01)["a"].verdict == CANNOT_TELL


def test_two_one_sided_tests_against_both_bounds():
    main = SimpleNamespace(estimate=0.5, standard_error=0.5, df=10)
    assert _equivalence_p(main, 2.0) == pytest.approx(stats.t.sf(3.0, 10))  # the upper bound is nearer
    main.estimate = -0.5
    assert _equivalence_p(main, 2.0) == pytest.approx(stats.t.sf(3.0, 10))


def test_regression_to_the_mean_by_the_error_of_the_baseline():
    """Error 2, SD 5: one baseline 4/5; the mean of two has half the error variance. Without an error: by the slope."""
    main = SimpleNamespace(slope=0.7)
    assert _regression(main, 5.0, 2.0, ["pre", "pre_1", "post"]) == pytest.approx(0.8)
    assert _regression(main, 5.0, 2.0, ["pre", "pre_1", "pre_2"]) == pytest.approx(0.4)
    assert _regression(main, 5.0, 2.0, ["pre"]) == pytest.approx(0.8)
    assert _regression(main, 5.0, math.nan, ["pre_1"]) == pytest.approx(1.5)
    assert _regression(main, 0.0, 2.0, ["pre_1"]) == 0.0
    assert _regression(main, 0.5, 0.2, ["pre_1"]) == pytest.approx(0.08)  # litres


def flow_of(trained, control):
    """Allocated and missing of each group."""
    return pd.DataFrame(
        {"arm": ["trained", "control"], "allocated": [trained[0], control[0]], "missing": [trained[1], control[1]]}
    )


def why(trained=(10, 0), control=(10, 0), design="parallel", smallest_p=0.001, n_athletes=20):
    chance = SimpleNamespace(smallest_p=smallest_p, n_athletes=n_athletes)
    return _why_not(design, flow_of(trained, control), chance, 0.05)


def test_what_takes_the_claim_away():
    assert why() == []
    assert why(design="none") == ["chance did not decide who trained"]
    assert why((10, 2), (10, 2)) == []  # 20 % may be missing
    assert why((10, 2), (9, 2)) == ["4 of 19 have no follow-up, more than 20 %"]
    assert why((10, 1), (10, 0)) == []  # one athlete is no pattern
    assert why((20, 2), (20, 1)) == ["one group lost at least twice as many as the other"]
    assert why((20, 3), (20, 2)) == []
    assert why((20, 0), (20, 2)) == ["one group lost at least twice as many as the other"]
    few = "the possible allocations are so few that no result could be convincing"
    assert why(smallest_p=0.051) == [few] and why(smallest_p=0.05) == []
    paired = {"design": "matched_pairs"}
    assert why(**paired, n_athletes=12) == [] and why(**paired, n_athletes=11) == ["5 whole pairs, and six are needed"]
    assert why(**paired, n_athletes=10, smallest_p=0.2) == ["5 whole pairs, and six are needed"]
    assert why(**paired, n_athletes=12, smallest_p=0.2) == [few]


def test_the_flow_counts_whom_each_step_lost():
    wide = pd.DataFrame(
        {"athlete": list("ABCDE"), "arm": ["trained"] * 3 + ["control"] * 2,
         "pre": [1.0, np.nan, 1, 1, 1], "post": [2.0, 2, np.nan, 2, np.nan]}
    )  # fmt: skip
    flow, missing = _flow(wide, {"C": "moved away"})
    assert flow.to_dict("list") == {
        "arm": ["trained", "control"], "allocated": [3, 2], "baseline": [2, 2], "followup": [2, 1], "analysed": [1, 1],
        "missing": [1, 1],
    }  # fmt: skip
    assert list(_flow(wide.dropna(), {})[1]) == ["athlete", "arm", "reason"]
    assert missing.to_numpy().tolist() == [["C", "trained", "moved away"], ["E", "control", "no reason noted"]]


def test_the_claim_ends_where_the_unmeasured_would_have_to_end():
    """Filled in as the model expects, the trained lower by the shift: p crosses alpha at the tipping point."""
    gone = TWELVE["athlete"].isin(["T2", "C1"])
    values = as_values()
    values = values[~((values["phase"] == "post") & values["athlete"].isin(["T2", "C1"]))]
    result = analyse_outcome(values, GROUPS, outcome="capacity", **CAPACITY)
    parts = result.main.coefficients.set_index("term")["estimate"]
    filled = TWELVE.astype({"pre": float, "post": float})
    expected = parts["intercept"] + parts["baseline"] * filled["pre"]
    trained = filled["arm"] == "trained"
    filled.loc[gone & ~trained, "post"] = expected

    def p(shift):
        filled.loc[gone & trained, "post"] = expected + parts[result.main.trained] - shift
        return compare_groups(filled, **ASKED).p

    assert result.verdict in (GAIN, MATTERS) and p(0.0) < 0.05
    assert p(result.tipping * 0.999) <= 0.05 < p(result.tipping * 1.001)
    litres = values.assign(value=values["value"] / 1000)  # in another unit it ends at the same place
    other = analyse_outcome(litres, GROUPS, outcome="capacity", **CAPACITY | {"smallest": 0.002})
    assert other.tipping == pytest.approx(result.tipping / 1000, rel=1e-6)


def test_no_shift_is_needed_where_the_filled_groups_do_not_differ():
    """Claimed with covariates, say; filled in without them the groups are alike, so the claim ends at no shift at all."""
    level = TWELVE.astype({"post": float}).assign(post=lambda t: t["pre"] + [1, -1, 2, -2, 0, 0] * 2)
    claimed = SimpleNamespace(main=compare_groups(level, **ASKED), verdict=GAIN, wanted=1)
    lost = level.assign(post=level["post"].where(level["athlete"] != "T2"))
    assert _tipping(claimed, lost, ASKED, 0.05) == 0.0
    assert math.isnan(_tipping(claimed, level, ASKED, 0.05))  # nobody was lost
    claimed.verdict = SMALL
    assert math.isnan(_tipping(claimed, lost, ASKED, 0.05))


def test_a_claim_that_a_far_baseline_carries_ends_nowhere():
    """Who began so far above the others sets the slope alone: ending lower turns it down, and the difference grows."""
    rng = np.random.default_rng(1)
    pre = np.r_[10 + rng.normal(0, 0.1, 5), 100, rng.normal(0, 0.1, 6)]
    far = TWELVE.assign(pre=pre, post=pre + np.r_[[5.0] * 6, [0.0] * 6] + rng.normal(0, 0.1, 12))
    claimed = SimpleNamespace(main=compare_groups(far, **ASKED), verdict=GAIN, wanted=1)
    lost = far.assign(post=far["post"].where(far["athlete"] != "T6"))
    assert _tipping(claimed, lost, ASKED, 0.05) == math.inf


def test_both_tests_carry_the_claim():
    """The larger p of the two is claimed and adjusted; the spread at the start is that of those measured twice."""
    for drawn in (GROUPS, GROUPS.assign(arm=np.tile(["trained", "control"], 6))):
        found = analyse_outcome(as_values(), drawn, outcome="capacity", **CAPACITY)
        assert found.p_claim == found.p_adjusted == max(found.main.p, found.randomisation.p)
        assert min(found.main.p, found.randomisation.p) < found.p_claim
    sd = np.std(TWELVE["pre"], ddof=1)
    assert found.regression_to_mean == pytest.approx(_regression(found.main, sd, found.typical_error, ["pre_1"]))


def test_who_trained_as_allocated_is_told_by_seven_sessions_of_ten():
    told = TWELVE[["athlete", "arm"]].assign(share=1.0, sessions_done=np.where(TWELVE["arm"] == "trained", 9, 0))
    told.loc[told["athlete"] == "T1", "share"] = 0.69
    told.loc[told["athlete"] == "T2", "share"] = 0.70
    told.loc[told["athlete"] == "C1", "sessions_done"] = 1
    described = {"capacity": CAPACITY}
    asked = {"described": described, "adherence": SimpleNamespace(athletes=told)}
    beside = (
        answer_training({"capacity": as_values()}, GROUPS, **asked).outcomes["capacity"].beside.set_index("analysis")
    )
    assert beside.loc["as trained (confounded)", "n_athletes"] == 10
    for design, warned in (("parallel", 0), ("delayed_start", 1)):
        found = answer_training({"capacity": as_values()}, GROUPS, design=design, **asked)
        assert len(found.warnings) == warned and found.n_allocated == 12 and found.design == design
        assert found.outcomes["capacity"].confirmatory and found.outcomes["capacity"].verdict in (GAIN, MATTERS)
    strict = answer_training({"capacity": as_values()}, GROUPS, alpha=1e-6, **asked).outcomes["capacity"]
    assert strict.verdict == CANNOT_TELL and strict.why_not and not strict.confirmatory
    all_did = told.assign(share=1.0, sessions_done=0)
    asked["adherence"] = SimpleNamespace(athletes=all_did)
    same = answer_training({"capacity": as_values()}, GROUPS, **asked).outcomes["capacity"].beside
    assert "as trained (confounded)" not in set(same["analysis"])


def test_the_test_counts_over_the_allocations_that_could_have_been_drawn():
    """Fisher: as many of these eight as give a statistic at least as far from 0, the one that was drawn among them."""
    drawn = (GROUPS.set_index("athlete")["arm"] == "trained").astype(int)
    rng = np.random.default_rng(4)
    sets = [drawn, *(pd.Series(rng.permutation(drawn.to_numpy()), drawn.index) for _ in range(7))]
    reference = pd.DataFrame([s.to_dict() for s in sets])
    shared = {"outcome": "capacity", **CAPACITY}
    found = analyse_outcome(as_values(), GROUPS, **shared, reference_set=reference).randomisation

    def statistic(groups):
        arm = TWELVE["athlete"].map(groups).map({1: "trained", 0: "control"})
        fit = compare_groups(TWELVE.assign(arm=arm), **ASKED)
        return abs(fit.estimate / fit.standard_error)

    far = [statistic(s) >= statistic(drawn) - 1e-9 for s in sets]
    assert found.p == pytest.approx(sum(far) / 8) and found.n_allocations == 8
    assert analyse_outcome(as_values(), GROUPS, **shared).randomisation.n_allocations == math.comb(12, 6)
