"""The answer: verdicts, what is not confirmatory, before and after, adherence and harms."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.training.adherence import describe_adherence, describe_harms
from analysis.training.answer import analyse_outcome, answer_training
from analysis.training.before_after import before_after, outcome_by_occasion

from .data import TWELVE, as_values

GROUPS = TWELVE[["athlete", "arm", "pair"]]
CAPACITY = {"label": "Aerobic capacity", "unit": "mL/kg/min", "smallest": 2.0}


def analyse(values=None, allocation=GROUPS, **more):
    return analyse_outcome(
        as_values() if values is None else values, allocation, outcome="capacity", **{**CAPACITY, **more}
    )


def test_the_main_result_is_check_value_2_and_interval_and_allocations_agree():
    result = analyse()
    assert result.main.estimate == pytest.approx(3.320198, abs=1e-6)
    assert result.p_claim == max(result.main.p, result.randomisation.p)
    assert result.verdict == "a difference in the wanted direction"
    assert result.confirmatory
    beside = result.beside.set_index("analysis")
    assert beside.loc["ordinary standard error", "standard_error"] == pytest.approx(0.820658, abs=1e-6)
    assert "without covariates" not in beside.index and "as trained (confounded)" not in beside.index
    assert beside.loc["mixed model, one common baseline", "estimate"] == pytest.approx(3.3, abs=0.3)


def test_matters_needs_the_whole_interval_beyond_the_smallest_gain():
    assert analyse(smallest=1.4).verdict == "a difference that matters"
    assert analyse(smallest=1.6).verdict == "a difference in the wanted direction"
    assert analyse(wanted=-1).verdict == "a difference in the other direction"


def test_six_and_six_never_say_smaller_than_what_matters():
    rng = np.random.default_rng(0)
    table = TWELVE.assign(post=TWELVE["pre"] + rng.normal(0, 0.1, 12))
    assert analyse(as_values(table)).verdict == "cannot tell yet"
    many = pd.concat([table.assign(athlete=table["athlete"] + str(i)) for i in range(3)], ignore_index=True)
    many["post"] = many["pre"] + rng.normal(0, 0.1, 36)
    result = analyse(as_values(many), many[["athlete", "arm"]])
    assert result.verdict == "smaller than what matters"


def test_missing_follow_ups_end_the_confirmatory_claim_and_are_listed_with_reasons():
    values = as_values()
    gone = ["T2", "T5"]
    values = values[~((values["phase"] == "post") & values["athlete"].isin(gone))]
    result = analyse(values, reasons={"T2": "injury in the gym"})
    assert not result.confirmatory
    assert "twice as many" in " ".join(result.why_not)
    assert result.missing["reason"].tolist() == ["injury in the gym", "no reason noted"]
    assert result.flow.set_index("arm").loc["trained", "analysed"] == 4
    if result.verdict != "cannot tell yet":
        assert result.tipping > 0


def test_the_tipping_point_is_where_the_claim_ends():
    values = as_values()
    values = values[~((values["phase"] == "post") & (values["athlete"] == "T2"))]
    result = analyse(values)
    assert result.confirmatory
    assert 0 < result.tipping < 50


def test_matched_pairs_below_six_make_no_confirmatory_claim():
    four = TWELVE[TWELVE["pair"].isin(["P1", "P2", "P3", "P4"])]
    result = analyse(as_values(four), four[["athlete", "arm", "pair"]], design="matched_pairs")
    assert "six are needed" in " ".join(result.why_not)
    assert (result.randomisation.n_allocations, result.randomisation.how) == (16, "all 16 swaps inside 4 pairs")


def test_holm_over_the_two_primary_questions():
    values = as_values()
    worse = values.assign(value=values["value"] + np.tile([0, 4.0], 12))
    described = {"capacity": CAPACITY | {"digits": 1, "wanted": 1}, "hr": CAPACITY | {"label": "HR", "wanted": -1}}
    answer = answer_training({"capacity": values, "hr": worse}, GROUPS, described=described)
    ps = sorted(o.p_claim for o in answer.outcomes.values())
    assert answer.outcomes["capacity"].p_adjusted == pytest.approx(min(1, 2 * ps[0]))


def test_an_outcome_that_cannot_be_analysed_is_said_not_dropped():
    values = as_values()
    answer = answer_training(
        {"capacity": values[values["phase"] == "pre"]}, GROUPS, described={"capacity": CAPACITY}, design="delayed_start"
    )
    assert not answer.outcomes
    assert "Aerobic capacity" in answer.warnings[0]
    assert "first period" in answer.warnings[1]


def test_before_and_after_a_drop_of_six_is_found_and_beside_it_what_happens_without_training():
    rng = np.random.default_rng(4)
    true = rng.normal(175, 8, 14)
    rows = [
        {"athlete": f"A{i}", "phase": phase, "occasion": k, "value": t + drop + rng.normal(0, 2)}
        for i, t in enumerate(true)
        for phase, k, drop in (("pre", 1, 0), ("pre", 2, 0), ("post", 1, -6))
    ]
    result = before_after(pd.DataFrame(rows), outcome="hr", label="Heart rate", unit="bpm")
    assert result.ci_low < -6 < result.ci_high
    assert result.ci_high < 0
    assert result.between_low < 0 < result.between_high
    assert result.typical_error == pytest.approx(2, abs=0.9)
    assert result.athletes["within_error"].sum() + result.beyond_error == 14


def test_before_and_after_with_too_few_says_what_it_needs():
    with pytest.raises(KitError, match="at least three athletes"):
        before_after(as_values(TWELVE.head(2)), outcome="x", label="X", unit="")


def test_two_values_of_one_occasion_are_named():
    values = pd.concat([as_values(), as_values().head(1)])
    with pytest.raises(KitError, match=r"T1 has two values of phase pre, occasion 1"):
        analyse(values)


def test_only_rounds_of_every_evening_count():
    rows = pd.DataFrame(
        {
            "session": ["1"] * 3 + ["2"] * 2,
            "athlete": "A",
            "round_no": [1, 2, 3, 1, 3],
            "hr": [160.0, 170, 180, 150, 170],
        }
    )
    evenings = pd.DataFrame({"session": ["1", "2"], "phase": ["pre", "post"], "occasion": [1, 1]})
    assert outcome_by_occasion(rows, evenings, "hr")["value"].tolist() == [170.0, 160.0]


def test_adherence_doses_and_guards():
    log = pd.DataFrame(
        [
            *(
                {"athlete": "T1", "kind": "intervals", "minutes": 40, "rating": 8, "stopped_early": "no"}
                for _ in range(10)
            ),
            *(
                {"athlete": "T2", "kind": "intervals", "minutes": 40, "rating": 8, "stopped_early": "yes"}
                for _ in range(4)
            ),
            {"athlete": "C1", "kind": "intervals", "minutes": 40, "rating": 9, "stopped_early": "no"},
            {"athlete": "C2", "kind": "sparring", "minutes": 300, "rating": 6, "stopped_early": "no"},
        ]
    )
    groups = pd.DataFrame({"athlete": ["T1", "T2", "C1", "C2"], "arm": ["trained"] * 2 + ["control"] * 2})
    result = describe_adherence(log, groups, weeks=4, sessions_per_week=3)
    line = result.athletes.set_index("athlete").loc["T1"]
    assert line["share"] == pytest.approx(10 / 12)
    assert line["dose_intervals"] == pytest.approx(10 * 320 / 4)
    found = result.guards.set_index("guard")["found"].to_dict()
    assert found == {
        "sparring a week differs": "yes",
        "intervals done by controls": "yes",
        "trained below 70 % of the plan": "yes",
        "no line in the training log": "no",
    }


def test_harms_of_both_groups_and_when_to_pause():
    groups = pd.DataFrame({"athlete": ["T1", "T2", "C1"], "arm": ["trained", "trained", "control"]})
    events = pd.DataFrame(
        {
            "athlete": ["T1", "T2", "C1", "T1"],
            "kind": ["injury", "injury", "injury", "collapse"],
            "needed_care": ["yes", "yes", "no", "yes"],
        }
    )
    harms = describe_harms(events, groups)
    line = harms.table.set_index("kind").loc["injury"]
    assert (line["trained_events"], line["control_events"]) == (2, 1)
    assert harms.pause == ("an exertional collapse", "two or more injuries that needed care in the trained group")
    assert describe_harms(events.tail(0), groups).pause == ()
