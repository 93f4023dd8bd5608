"""Which phrase is chosen at which edge: made results, so that each verdict is met by itself."""

import math
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis.telling.published import phrases as paper_phrases
from analysis.telling.published import sentences as paper
from analysis.telling.rounds import sentences as say

NAN = math.nan
SPACE = "\N{NO-BREAK SPACE}"


def step(contrast, estimate, low, high, label, *, kind="successive", **more):
    later, earlier = contrast.split(" - ")
    row = {"contrast": contrast, "later": later, "earlier": earlier, "kind": kind, "estimate": float(estimate),
           "ci_low": low, "ci_high": high, "ci_low_cr2": low, "ci_high_cr2": high, "p_adjusted": 0.03,
           "p_adjusted_cr2": 0.04, "label": label, "changed": label.startswith("changed")}  # fmt: skip
    return row | more


def rounds_answer(*steps, changed=True, verdict="changed", plateau_from="", labels=("1", "2", "3"), **more):
    candidates = pd.DataFrame({"from_round": ["2", "1"], "worst_contrast": ["3 - 2", "3 - 1"], "p": [0.012, 0.34]})
    overall = SimpleNamespace(df_num=2.0, df_den=18.0, statistic=9.876, p=0.002)
    answer = SimpleNamespace(
        outcome="hr_mean_bpm", labels=labels, steps=pd.DataFrame(list(steps)), changed=changed, verdict=verdict,
        plateau_from=plateau_from,
        plateau=SimpleNamespace(found=bool(plateau_from), starts_at=plateau_from, candidates=candidates),
        bounds=None, smallest_effect=5.0, n_athletes=10, n_observations=30, role="primary", tipping=None, opponents=None,
        comparison=SimpleNamespace(allows_for="", overall=overall, fit=None),
        sensitivity=pd.DataFrame({"analysis": ["as planned"], "agrees": [None]}),
    )  # fmt: skip
    vars(answer).update(more)
    return answer


def last(estimate, low, high, label, **more):
    return step("3 - 1", estimate, low, high, label, kind="last to first", **more)


OPEN = step("2 - 1", 2, -1, 5, "not shown"), step("3 - 2", 1, -2, 4, "not shown")


def plain(text):
    return text.replace(SPACE, " ")


def test_a_change_is_told_with_its_way_and_the_interval_that_way():
    rose = say.plain_change(rounds_answer(*OPEN, last(8, 3, 13, "changed")))
    assert plain(rose) == "Mean heart rate rose 8 beats (95 % interval 3 to 13) from round 1 to round 3."
    fell = say.plain_change(rounds_answer(*OPEN, last(-8, -13, -3, "changed")))
    assert plain(fell) == "Mean heart rate fell 8 beats (95 % interval 3 to 13) from round 1 to round 3."


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (rounds_answer(*OPEN, last(1, -2, 4, "equivalent"), verdict="equivalent"), "Rounds 1 to 3 were the same within 5 beats."),
        (rounds_answer(*OPEN, last(3, 1, 4, "changed but smaller than matters"), verdict="changed but smaller than matters"),
         "Mean heart rate changed over the rounds, but by less than 5 beats."),
        (rounds_answer(*OPEN, last(3, 1, 4, "changed but smaller than matters")),
         "Mean heart rate changed over the rounds, but by less than 5 beats."),
        (rounds_answer(*OPEN, last(1, -2, 4, "equivalent")),
         "Mean heart rate changed on the way, but round 3 was the same as round 1 within 5 beats."),
        (rounds_answer(*OPEN, last(4, -3, 11, "not shown")),
         "Mean heart rate changed, but we cannot tell between which rounds: from round 1 to round 3, anything from 3 beats lower "
         "to 11 beats higher fits (95 % interval)."),
        (rounds_answer(step("2 - 1", 6, 2, 10, "changed"), OPEN[1], last(4, -3, 11, "not shown")),
         "Mean heart rate rose 6 beats from round 1 to round 2; the other steps are unclear."),
        (rounds_answer(*OPEN, last(4, -3, 11, "not shown"), changed=False, verdict="not shown"),
         "We cannot tell yet whether mean heart rate changes over the rounds. From round 1 to round 3, anything from 3 beats "
         "lower to 11 beats higher fits (95 % interval). That does not show that it stayed the same."),
    ],
)  # fmt: skip
def test_each_verdict_over_the_rounds_has_its_sentence(answer, words):
    assert plain(say.plain_change(answer)) == words


def test_where_it_stops_changing_each_case_has_its_sentence():
    def level(*steps, **more):
        return plain(say.plain_plateau(rounds_answer(*steps, **more)))

    change = last(8, 3, 13, "changed")
    assert level(*OPEN, change, plateau_from="2") == "Rounds 2 and 3 were the same within 5 beats."
    inside = OPEN[0], step("3 - 2", 2, 1, 3, "changed but smaller than matters"), change
    assert level(*inside, plateau_from="2") == "From round 2 on, mean heart rate changed by less than 5 beats."
    before = step("2 - 1", 2, 1, 3, "changed but smaller than matters"), OPEN[1], change
    assert level(*before, plateau_from="2") == "Rounds 2 and 3 were the same within 5 beats."
    still = OPEN[0], step("3 - 2", -6, -9, -3, "changed"), change
    assert level(*still) == "Mean heart rate still fell from round 2 to round 3, by 6 beats."
    assert level(*OPEN, change).startswith(
        "We cannot tell where mean heart rate levels off: rounds 2 and 3 may still differ by 5"
    )
    one = (step("2 - 1", 8, 3, 13, "changed"),)
    assert level(*one, labels=("1", "2")) == "Two rounds are too few to tell where mean heart rate levels off."


def test_change_and_level_are_told_once_each():
    answer = rounds_answer(*OPEN, last(8, 3, 13, "changed"), plateau_from="2")
    assert say.plain_rounds(answer) == f"{say.plain_change(answer)} {say.plain_plateau(answer)}"
    for verdict in ("equivalent", "changed but smaller than matters"):
        same = rounds_answer(*OPEN, last(1, -2, 4, verdict), verdict=verdict, plateau_from="1")
        assert say.plain_rounds(same) == say.plain_change(same)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (5.1, 11, "Even the low end"),
        (5.0, 11, "may be larger or smaller"),
        (-11, -5.1, "Even the low end"),
        (1, 11, "may be larger"),
    ],
)
def test_a_change_matters_surely_only_beyond_the_smallest_effect(low, high, words):
    assert words in say.weigh_change(rounds_answer(*OPEN, last((low + high) / 2, low, high, "changed")))


def test_other_labels_are_not_weighed():
    assert say.weigh_change(rounds_answer(*OPEN, last(1, -2, 4, "equivalent"))) == ""
    small = say.weigh_change(rounds_answer(*OPEN, last(3, 1, 4, "changed but smaller than matters")))
    assert plain(small) == "That is less than 5 beats, the least that matters."


def checks(*agrees, names=None):
    names = names or [f"way {k}" for k in range(len(agrees))]
    table = pd.DataFrame({"analysis": ["as planned", *names], "agrees": [None, *agrees]})
    return say.plain_sensitivity(rounds_answer(*OPEN, last(8, 3, 13, "changed"), sensitivity=table))


def test_ways_of_analysing_are_counted():
    assert checks() == checks(None) == "We could try no other way of analysing."
    assert checks(True) == "The one other way of analysing leads to the same reading."
    assert checks(True, True, None) == "The other 2 ways of analysing lead to the same reading."
    assert checks(False) == "The one other way of analysing would be read differently: way 0."
    assert checks(True, False, False) == "Of 3 other ways of analysing, 2 would be read differently: way 1 and way 2."
    assert checks(True, False, False, False) == "Of 4 other ways of analysing, 3 would be read differently."
    assert (
        checks(True, False, names=["a way", "tipping point"])
        == "The one other way of analysing leads to the same reading."
    )
    named = checks(True, False, names=["a way", "as hr_peak_bpm"])
    assert named.endswith("1 would be read differently: the scale peak heart rate.")


def test_the_write_up_of_a_change_and_of_none():
    text = plain(" ".join(say.write_up_rounds(rounds_answer(*OPEN, last(8, 3, 13, "changed")))))
    assert text.startswith(
        "Mean heart rate changed over the rounds (F(2, 18) = 9.88, p = .002; 10 athletes, 30 values)."
    )
    assert "From round 1 to round 3 it rose by 8.0 bpm (95 % interval 3.0 to 13.0, p = .040)." in text
    assert "No stretch of rounds was shown to be level within 5 bpm (rounds 3 − 2, p = .012)." in text
    assert "That is no evidence that it went on changing." in text and "This outcome is" not in text
    fell = plain(" ".join(say.write_up_rounds(rounds_answer(*OPEN, last(-8, -13, -3, "changed")))))
    assert "it fell by 8.0 bpm (95 % interval 3.0 to 13.0" in fell
    none = rounds_answer(*OPEN, last(-1, -6, 4, "not shown"), changed=False, verdict="not shown", role="secondary")
    text = plain(" ".join(say.write_up_rounds(none)))
    assert text.startswith("A change in mean heart rate over the rounds was not shown")
    assert "the difference was −1.0 bpm (95 % interval −6.0 to 4.0" in text
    assert "neither a change nor equivalence was shown" in text and "This outcome is secondary." in text
    zero = plain(say._from_to(rounds_answer(*OPEN, last(0, -4, 4, "equivalent"))))
    assert "equivalent" in zero and "0.0 bpm" in zero
    still = rounds_answer(OPEN[0], step("3 - 2", 6, 3, 9, "changed"), last(8, 3, 13, "changed"))
    assert "The last step was itself a change." in say.write_up_plateau(still)


def test_a_stretch_of_two_names_its_p_and_a_longer_one_its_worst_pair():
    change = last(8, 3, 13, "changed")
    two = plain(say.write_up_plateau(rounds_answer(*OPEN, change, plateau_from="2")))
    assert two == "Rounds 2 and 3 were equivalent within 5 bpm (p = .012)."
    whole = plain(say.write_up_plateau(rounds_answer(*OPEN, change, plateau_from="1")))
    assert whole == "Rounds 1 to 3 were equivalent within 5 bpm (rounds 3 − 1, p = .340)."


def test_a_long_result_is_told_in_two_paragraphs(monkeypatch):
    answer = rounds_answer(*OPEN, last(8, 3, 13, "changed"))
    words = len(" ".join(say.write_up_rounds(answer)).split())
    monkeypatch.setattr(say, "MOST_WORDS", words)
    assert len(say.write_up_rounds(answer)) == 1
    monkeypatch.setattr(say, "MOST_WORDS", words - 1)
    first, second = say.write_up_rounds(answer)
    assert "level within" in plain(first) and second == "We could try no other way of analysing."


def test_an_abstract_joins_what_changed_the_same_way():
    one = rounds_answer(*OPEN, last(8, 3, 13, "changed"))
    other = rounds_answer(*OPEN, last(2, 1, 3, "changed"), outcome="lactate_mmol_l", smallest_effect=1.0)
    said = [plain(t) for t in say.abstract_rounds({"a": one, "b": other})]
    assert said == ["From round 1 to round 3, mean heart rate rose 8.0 bpm (95 % interval 3.0 to 13.0) and blood "
                    "lactate 2.0 mmol/L "
                    "(1.0 to 3.0)."]  # fmt: skip
    down = rounds_answer(*OPEN, last(-2, -3, -1, "changed"), outcome="lactate_mmol_l")
    assert [plain(t)[:21] for t in say.abstract_rounds({"a": down})] == ["From round 1 to round"]
    assert "fell 2.0 mmol/L (95 % interval 1.0 to 3.0)" in plain(say.abstract_rounds({"a": down})[0])
    assert len(say.abstract_rounds({"a": one, "b": down})) == 2  # one rose, one fell
    none = rounds_answer(*OPEN, last(1, -2, 4, "not shown"))
    said = say.abstract_rounds({"a": one, "b": none})
    assert len(said) == 2 and "the difference in mean heart rate was" in said[1]
    level = rounds_answer(*OPEN, last(8, 3, 13, "changed"), plateau_from="2")
    assert (
        plain(say.abstract_rounds({"a": level})[-1])
        == "Rounds 2 and 3 were equivalent in mean heart rate (within 5 bpm)."
    )
    # a plateau that stands only at the scale's end is not told here
    doubtful = rounds_answer(*OPEN, last(8, 3, 13, "changed"), plateau=SimpleNamespace(found=True))
    assert not any("equivalent in" in t for t in say.abstract_rounds({"a": doubtful}))
    longer = rounds_answer(*OPEN, last(8, 3, 13, "changed"), labels=("1", "2", "3", "4"))
    assert len(say.abstract_rounds({"a": one, "b": longer})) == 2


def test_what_may_not_be_said_of_steps_that_were_not_shown():
    text = say.may_say_rounds(rounds_answer(step("2 - 1", 6, 2, 10, "changed"), OPEN[1], last(8, 3, 13, "changed")))
    assert "from round 2 to round 3: neither" in text and "round 1 to round 2: neither" not in text
    shown = say.may_say_rounds(rounds_answer(step("2 - 1", 6, 2, 10, "changed"), last(8, 3, 13, "changed")))
    assert "neither a change nor its absence" not in shown


def test_missing_rounds_tip_or_hold():
    def tipping(up, down, n=1):
        table = pd.DataFrame({"shift_up": [up], "shift_down": [down]})
        told = SimpleNamespace(table=table, n_missing=n, largest_shift=20.0)
        return plain(say.plain_tipping(rounds_answer(*OPEN, last(8, 3, 13, "changed"), tipping=told)))

    assert tipping(NAN, NAN) == ("1 round of these athletes is missing, perhaps not by chance; the reading would hold even if "
                                 "it were "
                                 "20 bpm higher or lower than the model expects.")  # fmt: skip
    assert "2 rounds of these athletes are missing" in tipping(NAN, NAN, 2) and "if they were 20 bpm" in tipping(
        NAN, NAN, 2
    )
    assert "would change if it were 6 bpm higher than" in tipping(6.0, NAN)
    assert "would change if it were 6 bpm higher or 9 bpm lower than" in tipping(6.0, -9.0)


def test_opponents_are_told_with_their_correlation_where_there_is_one():
    def bouts(r, verdict="cannot tell", n=12):
        return plain(say.plain_opponents(SimpleNamespace(
            verdict=verdict, n_bouts=n, within_bout_correlation=r, within_bout_ci_low=-0.2,
            within_bout_ci_high=0.6)))  # fmt: skip

    assert (
        bouts(0.25) == "We cannot tell from 12 bouts whether it matters who spars whom "
        "(correlation 0.25, 95 % interval −0.20 to 0.60, 12 bouts)."
    )
    assert bouts(NAN) == "We cannot tell from 12 bouts whether it matters who spars whom."
    assert bouts(NAN, "bouts differ").endswith("the two opponents of a bout were alike.")
    assert say.plain_opponents(rounds_answer(*OPEN)) == ""


def off_scale(at_end="2", high=20.04, low=NAN, n=(2, 1), **more):
    """A lactate answer in which readings off the scale decide from where on it is level."""
    bounds = SimpleNamespace(plateau_at_scale_end=at_end, plateau_holds_to_high=high, plateau_holds_to_low=low,
                             n_high=n[0], n_low=n[1],
                             table=pd.DataFrame({"contrast": ["3 - 1"], "ci_low_min": [1.0], "ci_high_max": [9.0]}))  # fmt: skip
    change = last(3, 2, 4, "changed")
    return rounds_answer(*OPEN, change, outcome="lactate_mmol_l", smallest_effect=1.0, bounds=bounds, **more)


def test_a_level_stretch_that_rests_on_readings_off_the_scale_says_up_to_where():
    unsure = plain(say.plain_plateau(off_scale()))
    assert (
        unsure
        == "Rounds 2 and 3 were the same within 1 mmol/L if no HI reading was above 20.0 mmol/L. Beyond that, we cannot tell."
    )
    one = plain(say.plain_plateau(off_scale(n=(1, 1), low=0.31)))
    assert "if the HI reading was not above 20.0 mmol/L and the LO reading was not below 0.4 mmol/L." in one
    sure = plain(say.plain_plateau(off_scale(at_end="1", plateau_from="2")))
    assert sure.startswith("Rounds 1 to 3 were the same") and sure.endswith("Beyond that, only rounds 2 and 3 were.")
    told = off_scale(plateau=rounds_answer(*OPEN, plateau_from="2").plateau)
    assert "equivalent within 1 mmol/L if no HI reading was above 20.0" in plain(say.write_up_plateau(told))
    same = off_scale(plateau_from="2")
    assert (
        say.plateau_condition(same) == ""
        and plain(say.plain_plateau(same)) == "Rounds 2 and 3 were the same within 1 mmol/L."
    )
    whole = off_scale(at_end="1")
    assert say.plain_change(whole) == say.plain_plateau(whole)  # told once


def test_censored_readings_are_counted_on_both_sides():
    def told(n):
        kind = SimpleNamespace(allows_for="values off the scale", fit=None, overall=None)
        return say._allowance(off_scale(n=n, comparison=kind))

    assert (
        told((2, 1)) == "3 readings lie off the analyser's scale."
        and told((0, 1)) == "1 reading lies off the analyser's scale."
    )
    shares = SimpleNamespace(variances=SimpleNamespace(crossed=-1.0, residual=3.0))
    bouts = SimpleNamespace(allows_for="bouts", fit=shares)
    assert "(correlation −0.25)" in say._allowance(rounds_answer(*OPEN, comparison=bouts))
    assert say._allowance(rounds_answer(*OPEN)) == ""


def test_sides_of_an_interval():
    assert [say._side(v) for v in (-0.5, 0.0, 0.5)] == ["lower", "higher", "higher"]
    assert say._both_ways(rounds_answer(*OPEN), last(0, -0.2, 0.3, "not shown")).count("lower") == 1


# published findings


def beside(**more):
    values = dict(
        finding="a paper", outcome="hr_mean_bpm", r=-0.6, r_new=-0.3, n=12, n_new=15, prediction_low=-0.9, prediction_high=0.1,
        verdict="consistent", says_little=False, signal=False, ci_low_new=-0.7, ci_high_new=0.2, ci_low=-0.88, ci_high=-0.04,
        p_new=0.28, note="", smallest_detectable_r=0.45, p_undetectable=0.3,
    ) | more  # fmt: skip
    return SimpleNamespace(**values)


def paper_answer(*correlations, **more):
    protocols = pd.DataFrame(columns=["finding", "aspect", "same"])
    empty = pd.DataFrame(columns=["finding", "outcome"])
    answer = SimpleNamespace(correlations=correlations, p_only=empty, slopes=empty, profiles=empty, steps=empty,
                             protocols=protocols, combined={})  # fmt: skip
    vars(answer).update(more)
    return answer


@pytest.mark.parametrize(
    ("verdict", "little", "words", "few"),
    [
        ("consistent", False, "The two fit: we expected anything from −0.90 to 0.10.", "Fits"),
        (
            "consistent",
            True,
            "The two fit, but that says little: with 15 athletes",
            "Fits, but so would almost anything",
        ),
        ("smaller", True, "Ours is weaker than chance explains", "Weaker than in the paper"),
        ("larger", True, "Ours is stronger than chance explains", "Stronger than in the paper"),
        ("opposite", True, "Ours goes the other way", "Goes the other way"),
    ],
)
def test_each_verdict_on_a_paper_has_its_phrase(verdict, little, words, few):
    c = beside(verdict=verdict, says_little=little)
    assert words in plain(paper.plain_correlation(c, paper_answer(c))) and paper.verdict_of(c) == few
    kind = "little" if little and verdict == "consistent" else verdict
    assert paper.abstract_correlation(c) == paper_phrases.ABSTRACT[kind].format(
        ours="−0.30", theirs="−0.60", outcome="mean heart rate")  # fmt: skip


def test_the_other_way_names_the_side_and_what_differs():
    up = beside(verdict="opposite", r_new=0.4)
    assert "in our club fitter athletes were higher, in the paper lower" in paper.plain_correlation(
        up, paper_answer(up)
    )
    down = beside(verdict="opposite", r=0.6, r_new=-0.4)
    assert "in our club fitter athletes were lower, in the paper higher" in paper.plain_correlation(
        down, paper_answer(down)
    )
    rows = [
        ("a paper", "work_s", "no"),
        ("a paper", "sport", "yes"),
        ("a paper", "clothing", "not stated"),
        ("other", "sex", "no"),
    ]
    protocols = pd.DataFrame(rows, columns=["finding", "aspect", "same"])
    text = paper.plain_correlation(up, paper_answer(up, protocols=protocols))
    assert "Other reasons: length of a round differ" in text
    assert "The fitness tests or the athletes may differ." in paper.plain_correlation(up, paper_answer(up))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"r": 0, "signal": True}, "no direction to confirm"),
        ({"signal": True}, "alone show a relation in the same direction"),
        ({}, "alone cannot tell whether"),
        ({"ci_high_new": 0.0}, "alone cannot tell whether"),
        ({"ci_low_new": 0.0, "ci_high_new": 0.7}, "alone cannot tell whether"),
        ({"ci_low_new": 0.01, "ci_high_new": 0.7}, "in the other direction"),
        ({"ci_high_new": -0.01}, "in the other direction"),
    ],
)
def test_what_our_own_data_show_alone(more, words):
    assert words in paper._signal(beside(**more))


def test_what_may_be_said_of_each_verdict():
    texts = {
        v: paper.may_say_replication(paper_answer(beside(verdict=v, says_little=True)))
        for v in ("consistent", "smaller", "larger", "opposite")
    }
    assert "fits the published correlation" in texts["consistent"] and "That we confirmed it" in texts["consistent"]
    assert (
        "is weaker than" in texts["smaller"]
        and "is stronger than" in texts["larger"]
        and "goes the other way" in texts["opposite"]
    )
    assert not any("That we confirmed it" in texts[v] for v in ("smaller", "larger", "opposite"))
    assert "counts for nothing" in texts["smaller"]
    assert "counts for nothing" not in paper.may_say_replication(paper_answer(beside(signal=True)))
    assert "counts for nothing" not in paper.may_say_replication(paper_answer(beside(ci_high_new=-0.01)))
    assert "How our round means lie" in paper.may_say_replication(paper_answer())
    assert "same fitness" not in paper.may_say_replication(paper_answer())


def slope(low, high):
    return {"finding": "a paper", "outcome": "hr_mean_bpm", "estimate": -0.5, "published": -0.8, "difference_low": low,
            "difference_high": high, "unit": "mL/kg/min"}  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "differ"),
    [(-0.1, 0.7, False), (0.0, 0.7, False), (0.01, 0.7, True), (-0.7, 0.0, False), (-0.7, -0.01, True)],
)
def test_slopes_differ_only_where_zero_lies_outside(low, high, differ):
    text = paper._plain_slope(slope(low, high))
    assert (") differ (difference" in text) == differ and ("was not shown to differ" in text) != differ


def test_a_slope_is_printed_with_two_decimals_and_its_unit():
    text = plain(paper._plain_slope(slope(-0.1, 0.7)))
    assert text == ("For mean heart rate, our slope (−0.50 bpm per mL/kg/min) was not shown to differ from that of “a paper” "
                    "(−0.80; difference −0.10 to 0.70).")  # fmt: skip
    slopes = pd.DataFrame([slope(-0.1, 0.7)])
    c = beside()
    both = paper.plain_correlations(paper_answer(c, slopes=slopes))
    assert both == f"{paper.plain_correlation(c, paper_answer(c))}\n\n{paper._plain_slope(slope(-0.1, 0.7))}"
    assert paper.plain_correlations(paper_answer()) == "We could set no published relation with fitness beside ours."


def means(*rows):
    return pd.DataFrame(
        [{"finding": "a paper", "outcome": "hr_mean_bpm", "round_no": k + 1, "estimate": e, "ci_low": lo, "ci_high": hi,
          "n_athletes": 9} for k, (e, lo, hi) in enumerate(rows)]
    )  # fmt: skip


def test_round_means_differ_only_where_zero_lies_outside():
    def told(*rows):
        return plain(paper.plain_profiles(paper_answer(profiles=means(*rows))))

    assert told((3, 0.0, 6), (-3, -6, 0.0)) == (
        "Our mean heart rate was not shown to differ from that of “a paper” in any of 2 rounds: "
        "differences from −6.0 to 6.0 bpm fit.")  # fmt: skip
    assert (
        "differed from that of “a paper” in round 1 (above by 3.0 bpm), and was not shown to differ in 1 other round."
        in told((3, 0.1, 6), (-3, -6, 0.0))
    )
    assert told((3, 0.1, 6), (-3, -6, -0.1)) == (
        "Our mean heart rate differed from that of “a paper” in round 1 (above by 3.0 bpm) "
        "and round 2 (below by 3.0 bpm).")  # fmt: skip
    assert "gives no spread" in told((3, NAN, NAN))
    assert "round 1 (above by 0.5 bpm)" in told((0.5, 0.1, 0.9))
    assert paper.plain_profiles(paper_answer()) == "We could set no published round mean beside ours."


def test_a_bound_on_p_and_a_p_alone():
    line = {"outcome": "hr_mean_bpm", "finding": "a paper", "n_athletes": 12, "r_low": 0.58, "r_new": -0.7}
    assert "is within that range in size" in paper.plain_bound(line | {"how": "from a bound on p", "inside": True})
    assert "is below that in size" in paper.plain_bound(line | {"how": "from a bound on p", "inside": False})
    only = paper.plain_bound(line | {"how": "from p", "inside": NAN})
    assert "gives only p. With 12 athletes that means r of 0.58, either way; ours is −0.70." in only


def test_the_write_up_says_inside_or_outside_and_smaller_or_open():
    text = plain(paper._correlation(beside()))
    assert "a correlation of fitness with mean heart rate of −0.60 (95 % interval −0.88 to −0.04), n = 12." in text
    assert "inside the 95 % prediction interval (−0.90 to 0.10)." in text and "It was not shown to be smaller" in text
    assert "outside the" in paper._correlation(beside(verdict="smaller"))
    assert "It was smaller than the earlier study had 33 % power" in plain(
        paper._correlation(beside(p_undetectable=0.049))
    )
    assert "It was not shown to be smaller" in paper._correlation(beside(p_undetectable=0.05))
    assert "power to detect" not in paper._correlation(beside(smallest_detectable_r=NAN))
    assert "Spearman's correlation" in paper._correlation(beside(note="as Spearman prints"))
    assert "of −0.60, n = 12" in paper._correlation(beside(ci_low=NAN))


def test_correlations_are_combined_from_three_on():
    def told(n):
        combined = SimpleNamespace(n_studies=n, estimate=-0.4, ci_low=-0.7, ci_high=-0.1, n_athletes=40)
        return paper.write_up_replication(paper_answer(combined={"hr_mean_bpm": combined}))

    assert told(2) == [] and "combine to −0.40 (95 % interval −0.70 to −0.10) (40 athletes)." in plain(told(3)[0])


def test_protocols_that_differ_are_named_and_make_another_study():
    def told(*rows):
        table = pd.DataFrame([("a paper", a, s) for a, s in rows], columns=["finding", "aspect", "same"])
        return paper.plain_protocols(paper_answer(protocols=table))

    assert told(("sport", "yes")) == "“a paper” states the same protocol as ours."
    assert told(("sport", "no")).startswith("“a paper” differs from ours in sport. Other rounds or rests")
    assert told(("sport", "no"), ("sex", "yes")) == told(("sport", "no"))
    assert told(("sport", "not stated")) == "“a paper” or our study does not state sport."
    assert told(("sport", "not stated"), ("sex", "not stated")).endswith("does not state sport or sex of the athletes.")
    other = pd.DataFrame([("a paper", "sport", "no")], columns=["finding", "aspect", "same"])
    paragraphs = paper.write_up_replication(paper_answer(beside(), protocols=other))
    assert len(paragraphs) == 2 and paragraphs[-1].startswith("Other rounds or rests")
    assert paper.write_up_replication(paper_answer(protocols=other)) == []


def test_changes_from_round_to_round_beside_the_paper():
    steps = [{"finding": "a paper", "outcome": "hr_mean_bpm", "contrast": "2 - 1", "estimate": 4.0, "published": 9.0}]

    def told(low, high):
        table = pd.DataFrame([steps[0] | {"difference_low": low, "difference_high": high}])
        return plain(paper.write_up_replication(paper_answer(profiles=means((3, -1, 6)), steps=table))[0])

    assert told(-9, -0.1).endswith(
        "Ours changed differently from round 1 to 2 (4.0 bpm against 9.0 bpm; difference −9.0 to −0.1).".replace(
            "(4.0", "(+4.0"
        ).replace("9.0 bpm;", "+9.0 bpm;")
    )
    assert told(-9, 0.0).endswith("The changes from round to round were not shown to differ.")
    assert told(0.0, 9).endswith("were not shown to differ.") and "changed differently" in told(0.1, 9)
    assert told(NAN, NAN).endswith("not shown to differ in any of 1 round.")
    bare = paper.write_up_replication(paper_answer(profiles=means((3, NAN, NAN))))[0]
    assert bare == "“a paper” gives no spread of mean heart rate, so ours cannot be tested against it."
    some = paper.write_up_replication(paper_answer(profiles=means((3, 0.1, 6), (3, -1, 6))))[0]
    assert some.endswith("ours differed in 1 of 2 rounds.")


def pooled(*lines, n_clubs=3):
    defaults = {"club": "all", "stage": "all athletes together", "question": "fitness", "outcome": "hr_mean_bpm",
                "protocol": "5 x 4:00",
                "contrast": "", "estimate": -0.5, "ci_low": -0.9, "ci_high": -0.1, "df": 20.0, "p": 0.02, "n_athletes": 30,
                "adjusted_for": "club", "p_heterogeneity": NAN}  # fmt: skip
    return SimpleNamespace(n_clubs=n_clubs, n_athletes=30, table=pd.DataFrame([defaults | line for line in lines]))


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (
            -0.9,
            -0.1,
            "Fitter athletes had a lower mean heart rate: by 0.50 bpm for each mL/kg/min (anything from 0.10 bpm to 0.90 bpm",
        ),
        (0.1, 0.9, "Fitter athletes had a higher mean heart rate: by 0.50"),
        (
            -0.9,
            0.0,
            "We cannot tell yet whether fitness and mean heart rate go together: anything from 0.90 bpm less to 0.00 bpm more",
        ),
        (0.0, 0.9, "We cannot tell yet whether"),
    ],
)
def test_clubs_together_show_a_way_only_where_zero_lies_outside(low, high, words):
    text = plain(paper.plain_pool(pooled({"estimate": 0.5 if high > 0.1 else -0.5, "ci_low": low, "ci_high": high})))
    assert text.startswith("3 clubs with 30 athletes were pooled. ")
    assert words.split(" to 0.90 bpm")[0] in text.replace("0.10 to 0.90 bpm", "0.10 bpm to 0.90 bpm")


def test_pooled_results_for_a_journal():
    assert paper.write_up_pool(pooled({}, n_clubs=0)) == [paper.plain_pool(pooled({}, n_clubs=0))]
    assert "nothing was pooled" in paper.plain_pool(pooled({}, n_clubs=0))
    second = paper.write_up_pool(pooled({}))[1]
    assert plain(second) == ("Mean heart rate (5 x 4:00), change for each mL/kg/min of capacity: one mixed model of 30 athletes "
                             "with "
                             "club, "
                             "−0.50 bpm (95 % interval −0.90 to −0.10; df = 20; p = .020).")  # fmt: skip
    adjusted = paper.write_up_pool(pooled({"adjusted_for": "club, sex", "p_heterogeneity": 0.3}))[1]
    assert "adjusted for sex" in adjusted and "clubs differ: p = .300" in plain(adjusted)
    each = paper.write_up_pool(pooled({}, {"stage": "club by club", "estimate": 0.4, "df": NAN}))[1]
    assert "; club by club, +0.40 bpm" in plain(each)
    unknown = paper.write_up_pool(pooled({}, {"stage": "club by club", "estimate": NAN}))[1]
    assert "club by club" not in unknown
    step = paper.write_up_pool(pooled({"question": "rounds", "contrast": "2 - 1", "estimate": 4.0}))[1]
    assert "change from round to round: round 2 minus 1" in step and "+4.0 bpm" in plain(step)
    steps = [{"question": "rounds", "contrast": c} for c in ("3 - 2", "2 - 1")]
    ordered = paper.write_up_pool(pooled(*steps))[1]
    assert ordered.index("round 3 minus 2") < ordered.index("round 2 minus 1")
    two = pooled({}, {"protocol": "3 x 5:00"})
    assert "mean heart rate (5 x 4:00)" in paper.plain_pool(two) and len(paper.write_up_pool(two)) == 3
    assert "(5 x 4:00)" not in paper.plain_pool(pooled({}))
    asked = paper.plain_pool(pooled({}, {"outcome": "percent_hr_max"}, {"outcome": "lactate_mmol_l"}))
    assert asked.count("Fitter athletes") == 2 and "percent" not in asked  # one outcome of each question
    assert [t[:24] for t in paper.write_up_pool(two)[1:]] == ["Mean heart rate (5 x 4:0", "Mean heart rate (3 x 5:0"]


STEPS_OF_NOBODY = pd.DataFrame(columns=["finding", "outcome", "contrast", "difference_low", "difference_high"])


def test_findings_are_told_in_their_order():
    rows = pd.concat([means((3, 0.1, 6)).assign(finding=name) for name in ("zeta", "alpha")], ignore_index=True)
    text = paper.plain_profiles(paper_answer(profiles=rows))
    assert text.index("zeta") < text.index("alpha")
    assert ["zeta" in t for t in paper.write_up_replication(paper_answer(profiles=rows, steps=STEPS_OF_NOBODY))] == [
        True,
        False,
    ]
    mixed = pd.DataFrame([("a", "sport", "no"), ("a", "sex", "yes")], columns=["finding", "aspect", "same"])
    assert paper.write_up_replication(paper_answer(beside(), protocols=mixed))[-1].startswith("Other rounds or rests")
