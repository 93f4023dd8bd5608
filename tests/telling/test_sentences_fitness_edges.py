"""Which phrase on fitness is chosen at which edge: made results, so that each verdict is met by itself."""

import math
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis.study import known_outcome
from analysis.telling.fitness import phrases
from analysis.telling.fitness import sentences as say

NAN = math.nan


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ")


def fitness(verdict="supported", low=-12.0, high=-3.0, **more):
    answer = SimpleNamespace(
        outcome="hr_mean_bpm", verdict=verdict, direction="lower", contrast=(low + high) / 2, contrast_ci_low=low,
        contrast_ci_high=high, contrast_ci90_low=low + 1, contrast_ci90_high=high - 1, contrast_step=10.0,
        capacity_step=1.0, capacity_unit="mL/kg/min", alpha=0.05, smallest_effect=5.0, n_athletes=12, n_observations=46,
        adjusted_for=(), beside=pd.DataFrame(), off_scale=pd.DataFrame(), specifications=None, drift=pd.DataFrame(),
        influence=pd.DataFrame({"planned_effect": [NAN], "verdict": [verdict]}), correction=None,
        planned=SimpleNamespace(df=9.0, statistic=-3.25, p=0.01),
        correlations=pd.DataFrame([("Pearson", -0.7, -0.9, -0.2, 0.012)],
                                  columns=["analysis", "estimate", "ci_low", "ci_high", "p"]),
    )  # fmt: skip
    vars(answer).update(more)
    return answer


def chart(n=6, same=1.0, shown=0.5, contrary=0.0):
    return SimpleNamespace(
        n_specifications=n, share_same_sign=same, share_excluding_zero=shown, share_opposite=contrary
    )


def without_one(*effects, verdicts=None):
    verdicts = verdicts or ["supported"] * len(effects)
    return pd.DataFrame({"planned_effect": effects, "verdict": verdicts})


def test_a_difference_is_told_with_its_way_and_the_interval_that_way():
    lower = "Fitter athletes run lower: someone 10 mL/kg/min fitter by 8 beats (95 % interval 3 to 12)."
    assert plain(say.plain_capacity(fitness(contrast=-8.0), short=True)) == lower
    assert plain(say.plain_capacity(fitness("opposite", 3.0, 12.0, contrast=8.0), short=True)) == (
        "Fitter athletes run higher, against what was expected: someone 10 mL/kg/min fitter by 8 beats "
        "(95 % interval 3 to 12)."
    )
    blood = fitness(outcome="lactate_mmol_l", low=0.4, high=2.6, contrast=1.5, direction="higher")
    assert plain(say.plain_capacity(blood, short=True)).startswith(
        "Fitter athletes have a higher blood lactate: someone 10 mL/kg/min fitter by 1.5 mmol/L (95 % interval 0.4 to 2.6)"
    )
    less = fitness(outcome="lactate_mmol_l", low=-2.6, high=-0.4, contrast=-1.5, adjusted_for=("age", "sex"))
    assert plain(say.plain_capacity(less)) == (
        "Fitter athletes have a lower blood lactate: someone 10 mL/kg/min fitter by 1.5 mmol/L (95 % interval 0.4 to 2.6). "
        "That is from 12 athletes, at equal age and sex."
    )


def test_an_abstract_gives_size_unit_interval_and_reading():
    told = say.abstract_capacity({"hr_mean_bpm": fitness(), "x": fitness("too imprecise", -2.0, 4.0)})
    assert [plain(t) for t in told] == [
        "Athletes 10 mL/kg/min fitter differed by −7.5 bpm in mean heart rate (95 % interval −12.0 to −3.0): as expected.",
        "Athletes 10 mL/kg/min fitter differed by +1.0 bpm in mean heart rate (95 % interval −2.0 to 4.0): neither a relation "
        "nor its absence was shown.",
    ]


def test_what_the_error_of_the_test_hides():
    """An attenuation of 0.8 hides a fifth of a correlation; a reliability of 0.64 shrinks an effect to 64 %."""
    assert say.plain_fault_of_test(fitness()) == phrases.TEST_UNKNOWN
    found = SimpleNamespace(bounded=True, attenuation=0.8, reliability=0.64, kind="retest")
    told = plain(say.plain_fault_of_test(fitness(correction=found)))
    assert told == (
        "The error of the fitness test alone hides about 20 % of the correlation. Even if fitness decided everything, this "
        "test in this group would show a correlation of about 0.80 instead of 1. It shrinks the effect too, to about 64 % of "
        "its size."
    )
    found.kind = "prediction"
    assert say.plain_fault_of_test(fitness(correction=found)).endswith(phrases.KEEPS_EFFECT)
    found.bounded = False
    assert say.plain_fault_of_test(fitness(correction=found)) == phrases.TEST_HIDES_ALL


def test_what_is_too_small_is_told_with_the_interval_of_equivalence():
    """Of level 1 - 2 alpha, which is 90 % at 5 % and 80 % at 10 %."""
    for alpha, level in ((0.05, "90 %"), (0.1, "80 %")):
        text = plain(say.plain_capacity(fitness("negligible", -3.0, 2.0, alpha=alpha), short=True))
        assert text.endswith(f"could lie anywhere from 2 beats lower to 1 beat higher ({level} interval).")
        assert text.startswith("Fitter and less fit athletes are the same within 5 beats in mean heart rate.")


def test_what_is_open_is_told_with_both_ends_and_its_unit_once():
    text = plain(say.plain_capacity(fitness("too imprecise", -9.0, 4.0), short=True))
    assert text == (
        "We cannot tell yet whether fitter athletes run lower. Someone 10 mL/kg/min fitter could run from 9 beats lower "
        "to 4 higher (95 % interval)."
    )
    other = plain(say.plain_capacity(fitness("too imprecise", -9.0, 4.0, direction="differs")))
    assert "whether fitter athletes differ in mean heart rate." in other and "could be anywhere from 9" in other
    assert other.endswith("That is from 12 athletes. That does not show that fitness plays no part.")


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (-3.0, -0.1, "Fitter athletes have a lower rise of mean heart rate from round to round."),
        (0.1, 0.5, "Fitter athletes have a higher rise of mean heart rate from round to round."),
        (-3.0, 0.0, "We cannot tell from these data whether fitter athletes differ in the rise of mean heart rate from round "
                    "to round."),
        (0.0, 3.0, "We cannot tell from these data whether fitter athletes differ in the rise of mean heart rate from round "
                   "to round."),
        (-1.0, 2.0, "We cannot tell from these data whether fitter athletes differ in the rise of mean heart rate from round "
                    "to round."),
    ],
)  # fmt: skip
def test_the_rise_over_the_rounds_has_a_way_only_where_zero_lies_outside(low, high, words):
    row = {"measure": "rise from round to round", "role": "main", "ci_low": low, "ci_high": high}
    assert say.plain_drift(fitness(drift=pd.DataFrame([row, row | {"role": "check"}]))) == words
    within = row | {"measure": "drift within a round", "ci_low": -1.0, "ci_high": 1.0}
    both = say.plain_drift(fitness(drift=pd.DataFrame([row, within])))
    assert ("several looks" in both) == ("Fitter athletes have" in both)
    if words.startswith("We cannot"):
        assert "from round to round or the drift of heart rate within a round" in both


def test_whoever_is_left_out_is_told_at_the_step_of_the_answer():
    """Effects are per unit of the model's step; the sentence speaks of the step that the answer names."""
    same = plain(say.plain_influence(fitness(capacity_step=5.0, influence=without_one(-2.0, -3.5, NAN))))
    assert same == (
        "Whoever is left out, someone 10 mL/kg/min fitter differs by between 7.0 bpm less and 4.0 bpm less, and the "
        "conclusion stays the same. Nobody was removed."
    )
    one = fitness(influence=without_one(-0.2, 0.1, verdicts=["supported", "too imprecise"]))
    assert "; without one certain athlete we would conclude something else" in say.plain_influence(one)
    two = fitness(influence=without_one(-0.2, 0.1, 0.2, verdicts=["supported", "opposite", "opposite"]))
    assert "; without any of 2 athletes we would" in say.plain_influence(two)
    assert say.plain_influence(fitness()) == ""


def test_checks_of_the_write_up_say_what_they_found():
    checked = fitness(specifications=chart(), influence=without_one(-0.2, NAN, 0.3, 0.1))
    told = say.write_up_capacity(checked)[1]
    assert told.endswith(
        "Of 6 other analyses, all lead to the same sign, 3 would call it shown, and none would call the contrary shown. "
        "Leaving out any one athlete leaves the reading as it is."
    )
    turned = fitness(influence=without_one(-0.2, 0.1, 0.4, verdicts=["supported", "opposite", "opposite"]))
    assert say.write_up_capacity(turned)[1].endswith("Leaving out one athlete changes the reading in 2 of 3 cases.")
    bare = say.write_up_capacity(fitness(specifications=chart(n=1)))[1]
    assert "other analyses" not in bare and "Leaving out" not in bare
    assert "Of 2 other analyses" in say.write_up_capacity(fitness(specifications=chart(n=2)))[1]
    assert say.plain_specifications(fitness(specifications=chart(n=1))) == phrases.ONLY_ONE_ANALYSIS
    assert say.plain_specifications(fitness()) == ""
    assert "There are 6 reasonable ways" in say.plain_specifications(fitness(specifications=chart()))


def test_the_planned_result_for_a_journal():
    first, second = (plain(p) for p in say.write_up_capacity(fitness(contrast=-7.5)))
    assert first == (
        "We related mean heart rate to aerobic capacity in 12 athletes (46 values), without adjustment. An athlete with "
        "10 mL/kg/min more had a mean that differed by −7.5 bpm (95 % interval −12.0 to −3.0; t(9) = −3.25, p = .010). The "
        "data support a lower mean heart rate in fitter athletes."
    )
    assert second == ("Over athletes, without adjustment, the correlation was r = −0.70 (−0.90 to −0.20; p = .012).")
    flat = fitness(correlations=pd.DataFrame([("Pearson", NAN, NAN, NAN, NAN)],
                                             columns=["analysis", "estimate", "ci_low", "ci_high", "p"]))  # fmt: skip
    assert say.write_up_capacity(flat)[1] == phrases.NO_CORRELATION


def test_an_outcome_beside_is_told_with_its_sign_and_whether_it_reads_alike():
    row = {"planned": False, "outcome": "percent_hr_max", "verdict": "supported", "contrast": 2.5, "ci_low": 0.4,
           "ci_high": 4.6}  # fmt: skip
    rows = pd.DataFrame([row | {"planned": True}, row, row | {"verdict": "too imprecise", "contrast": -2.5}])
    text = plain(say.write_up_capacity(fitness(beside=rows))[0])
    assert "As share of measured maximal heart rate the difference was +2.5 %" in text
    assert "In share of measured maximal heart rate the difference was −2.5 %" in text
    assert text.count("the difference was") == 2
    assert text.endswith(": neither a relation nor its absence was shown.")


@pytest.mark.parametrize(
    ("within", "between", "words"),
    [
        ((0.1, 0.8), (-0.8, -0.1), ("is higher too. Between", "on average have a lower mean heart rate")),
        ((-0.8, -0.1), (0.1, 0.8), ("is lower. Between", "on average have a higher mean heart rate")),
        ((-0.8, 0.0), (0.0, 0.8), ("rise and fall together", "on average also differ in mean heart rate")),
    ],
)
def test_two_outcomes_go_together_only_where_zero_lies_outside(within, between, words):
    of = [SimpleNamespace(ci_low=low, ci_high=high) for low, high in (within, between)]
    levels = SimpleNamespace(x="lactate_mmol_l", y="hr_mean_bpm", within=of[0], between=of[1], n_athletes=12)
    text = plain(say.plain_levels(levels))
    assert all(w in text for w in words) and text.endswith("(12 athletes).")


@pytest.mark.parametrize(
    ("step", "words"), [(1.4, ""), (3.0, ""), (5.0, "two"), (10.0, "three"), (14.0, "five"), (28.9, "ten"), (100.0, "")]
)
def test_a_step_of_fitness_in_levels_of_the_shuttle_run(step, words):
    """A level is 0.5 km/h; Leger et al. 1988 give adults 6 mL/kg/min per km/h, so that a level is about 3 mL/kg/min."""
    shuttle = pd.DataFrame({"test": ["shuttle_run_20m"] * 3 + ["cooper_12min"]})
    assert say.yardstick_words(shuttle, step) == words
    assert say.yardstick_words(pd.DataFrame({"test": ["cooper_12min"] * 2 + ["shuttle_run_20m"]}), step) == ""
    assert say.yardstick_words(None, step) == say.yardstick_words(shuttle.iloc[:0], step) == ""


def test_a_range_of_changes_in_words():
    rate, blood = known_outcome("hr_mean_bpm"), known_outcome("lactate_mmol_l")
    assert plain(say.span(-7.6, 0.9, rate)) == "7.6 bpm less to 0.9 bpm more"
    assert plain(say.span(-0.04, 1.26, blood)) == "0.0 mmol/L to 1.3 mmol/L more"
    assert plain(say.span(-math.inf, None, rate, joint="or")) == "no limit or no limit"
