"""Sentences on the rounds: they agree with the numbers, claim no more than was shown, and never read oddly."""

import re

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError, NotYet, format_ci, format_number, format_p
from analysis.rounds import answer_rounds, reliability
from analysis.telling.rounds import sentences as say
from analysis.telling.rounds.sentences import is_censored, shown_interval, shown_p
from analysis.telling.rounds.tables import (
    contrasts_by_method_table,
    contrasts_table,
    missing_table,
    off_scale_table,
    repeatability_table,
    round_tests_table,
    tabulate_outcomes,
    tabulate_rests,
    tabulate_ways,
)

FORBIDDEN = re.compile(
    r"no difference|no effect|no change|because of the round|\bnan\b|\bNone\b|p = 0\b|p = \.000|−0\.0\b|-0|significan|proves"
)


def club(seed, *, n=10, means=(165, 171, 173, 173.5), error_sd=3.0, missing=0.0, name="hr_mean_bpm", whole=False):
    rng = np.random.default_rng(seed)
    means = np.asarray(means, dtype=float)
    values = means + rng.normal(0, 6, (n, 1)) + rng.normal(0, error_sd, (n, len(means)))
    data = pd.DataFrame(
        {
            "athlete": np.repeat([f"A{i + 1:02d}" for i in range(n)], len(means)),
            "round_no": np.tile(np.arange(1, len(means) + 1), n),
            name: values.ravel().round() if whole else values.ravel(),
        }
    )
    data.loc[rng.random(len(data)) < missing, name] = np.nan
    return data


def answer(data, effect=5.0, **options):
    return answer_rounds(data, "hr_mean_bpm", smallest_effect=effect, **options)


def everything(result):
    parts = [
        say.plain_rounds(result),
        say.plain_plateau(result),
        *say.write_up_rounds(result),
        say.may_say_rounds(result),
    ]
    return " ".join(parts)


KINDS = {
    "rise and level": {"means": (160, 170, 171, 171)},
    "creep": {"means": (160, 163, 166, 169)},
    "nothing": {"means": (170, 170, 170, 170), "error_sd": 8},
    "flat and precise": {"means": (170, 170, 170, 170), "error_sd": 1},
    "fall": {"means": (175, 170, 166, 160)},
    "tiny": {"n": 3},
    "two rounds": {"means": (160, 170)},
    "noisy": {"error_sd": 15, "means": (168, 171, 170, 171)},
    "ragged": {"missing": 0.25},
    "up and back": {"means": (165, 178, 178, 165), "error_sd": 1.5},
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_sentences_never_read_oddly_or_contradict_the_numbers(kind, seed):
    try:
        result = answer(club(seed, **KINDS[kind]))
    except KitError:
        return
    text = everything(result)
    assert not FORBIDDEN.search(text), FORBIDDEN.search(text)
    assert "  " not in text and ".." not in text and not re.search(r" [.,;](?!\d)", text)
    plain = say.plain_rounds(result)
    if not result.changed and result.verdict == "not shown":
        assert "cannot tell yet whether" in plain or "the other steps are unclear" in plain
    assert ("were the same within" in plain or "changed by less than" in plain or "but by less than" in plain) == bool(
        result.plateau_from
    ) or "was the same as round" in plain
    if result.changed and result.steps["label"].iloc[-1] == "changed":
        assert ("rose" if result.last_minus_first > 0 else "fell") in plain
    if result.verdict == "not shown" and not result.steps["changed"].any():
        assert "We cannot tell yet" in plain


def test_equivalence_is_named_only_where_shown():
    flat = answer(club(0, **KINDS["flat and precise"]))
    assert flat.verdict == "equivalent"
    assert say.plain_rounds(flat) == "Rounds 1 to 4 were the same within 5\N{NO-BREAK SPACE}beats."
    noisy = answer(club(0, **KINDS["noisy"]))
    assert noisy.verdict == "not shown"
    assert "were the same" not in everything(noisy)
    assert "does not show that it stayed the same" in say.plain_rounds(noisy)


def test_numbers_in_the_write_up_are_those_of_the_result():
    result = answer(club(3, missing=0.05))
    text = " ".join(say.write_up_rounds(result))
    test = result.comparison.overall
    assert f"= {format_number(test.statistic, 2)}, p {format_p(test.p)}" in text
    last = result.steps.iloc[-1]
    assert format_number(abs(last["estimate"]), 1, unit="bpm") in text
    low, high = shown_interval(result, last)
    assert (low, high) == (min(last["ci_low"], last["ci_low_cr2"]), max(last["ci_high"], last["ci_high_cr2"]))
    assert f"95 % interval {format_ci(low, high, 1)}" in text
    assert f"{result.n_athletes} athletes, {result.n_observations} values" in text
    shown = contrasts_table({"hr_mean_bpm": result}).shown
    assert len(shown) == len(result.steps)
    assert shown.iloc[-1]["95\N{NO-BREAK SPACE}% interval"] == format_ci(low, high, 1)
    by_method = contrasts_by_method_table({"hr_mean_bpm": result}).shown
    for step, row in zip(result.steps.to_dict("records"), by_method.to_dict("records"), strict=True):
        assert row["Difference"] == format_number(step["estimate"], 1, sign=True)
        assert row["Model, 95\N{NO-BREAK SPACE}% interval"] == format_ci(step["ci_low"], step["ci_high"], 1)
        assert row["p, robust"] == format_p(step["p_adjusted_cr2"], equals=False)


def test_smallest_effect_keeps_its_decimals():
    assert "5\N{NO-BREAK SPACE}beats" in say.plain_plateau(answer(club(0)))
    assert "2.25\N{NO-BREAK SPACE}beats" in say.plain_plateau(answer(club(0), effect=2.25))
    ratings = club(0, means=(12, 14, 15, 15), error_sd=0.7, name="exertion", whole=True)
    text = say.plain_rounds(answer_rounds(ratings, "exertion", smallest_effect=1, ordinal=True))
    assert "1\N{NO-BREAK SPACE}points" not in text


def test_ratings_name_the_rank_tests():
    ratings = club(0, means=(12, 14, 15, 15), error_sd=1, name="exertion", whole=True)
    result = answer_rounds(ratings, "exertion", smallest_effect=1, ordinal=True)
    tests = round_tests_table({"exertion": result})
    assert tests.shown["Test"].str.contains("Friedman").any() and "Kendall's W" in tests.note
    assert format_number(result.ranks.kendall_w, 2) in set(tests.shown["Effect"])
    ranks = contrasts_by_method_table({"exertion": result}).shown["p, ranks"]
    assert ranks.tolist() == [format_p(p, equals=False) for p in result.steps["p_ranks"]]
    assert shown_p(result.steps.iloc[0]) >= result.steps.iloc[0]["p_ranks"]


def off_scale(one=False):
    data = club(1, means=(7, 9, 11, 11.5), error_sd=1, name="lactate_mmol_l")
    data["lactate_mmol_l"] = (data["lactate_mmol_l"] - 9) / 3 + 9
    high = data["lactate_mmol_l"] > 11.2
    high &= data["lactate_mmol_l"] == data["lactate_mmol_l"].max() if one else True
    data["lactate_limit"] = np.where(high, "high", "")
    data.loc[high, "lactate_mmol_l"] = np.nan
    return answer_rounds(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 11.2))


def test_readings_off_the_scale_are_named_and_their_bounds_stand_in_the_supplement():
    for one in (True, False):
        result = off_scale(one)
        assert is_censored(result)
        count = result.bounds.n_high
        text = " ".join(say.write_up_rounds(result))
        said = f"{'1 reading lies' if count == 1 else f'{count} readings lie'} off the analyser's scale."
        assert said in text
        assert not FORBIDDEN.search(everything(result))
        table = off_scale_table({"lactate_mmol_l": result}).shown
        assert len(table) == len(result.bounds.table)
        low, high = shown_interval(result, result.steps.iloc[-1])
        shown = contrasts_table({"lactate_mmol_l": result}).shown.iloc[-1]
        assert shown["95\N{NO-BREAK SPACE}% interval"] == format_ci(low, high, 1)


def test_missing_rounds_and_role_are_told():
    data = club(2)
    data.loc[[3, 7], "hr_mean_bpm"] = np.nan
    result = answer(data, role="exploratory")
    text = " ".join(say.write_up_rounds(result))
    assert "2 rounds of these athletes are missing" in say.plain_tipping(result)
    assert "This outcome is exploratory." in text
    assert missing_table({"hr_mean_bpm": result}).shown["Missing"].eq("2").all()
    assert missing_table({"hr_mean_bpm": answer(club(2))}) is None
    assert say.plain_tipping(answer(club(2))) == ""


def test_what_may_not_be_said_lists_every_step_not_shown():
    result = answer(club(0, **KINDS["noisy"]))
    text = say.may_say_rounds(result)
    assert "order of time" in text
    for step in result.steps[result.steps["label"] == "not shown"].to_dict("records"):
        assert f"round {step['earlier']} to round {step['later']}" in text


def test_reliability_is_told_apart_from_consistency():
    one = reliability(club(0), "hr_mean_bpm")
    assert "repeatability takes a second evening" in say.plain_reliability(one)
    two = reliability(pd.concat([club(0).assign(session="1"), club(1).assign(session="2")]), "hr_mean_bpm")
    assert "From evening to evening".lower() in say.plain_reliability(two)
    table = repeatability_table({"hr_mean_bpm": two}).shown
    assert format_number(two.smallest_detectable_change, 1) == table["Smallest detectable change"].item()
    assert format_number(two.smallest_detectable_change, 1, unit="bpm") in say.write_up_reliability(two)[0]
    assert repeatability_table({"hr_mean_bpm": one}).shown["Smallest detectable change"].item() == "–"


def test_not_yet_is_passed_on():
    missing = NotYet("comparing the rounds", "heart rate")
    told = [f for n, f in vars(say).items() if n.startswith(("plain_", "may_")) and f.__module__ == say.__name__]
    for function in (*told, say.write_up_rounds):
        found = function(missing)
        assert "Not yet" in (found[0] if isinstance(found, list) else found)
    assert "Not yet" in tabulate_outcomes({"x": missing}) and len(told) == 8


def test_tables_for_readers_hold_every_way():
    result = answer(club(4, missing=0.05), other_outcomes=None)
    table = tabulate_ways(result)
    assert len(table) == len(result.sensitivity)
    assert not table.map(lambda v: "nan" in str(v)).to_numpy().any()
    assert tabulate_rests(result) == "Nobody sat a round out."
    assert tabulate_outcomes({"hr_mean_bpm": result})["Role"].tolist() == ["primary"]


def test_two_rounds_cannot_tell_where_it_levels_off():
    result = answer(club(3, means=(160, 175)).replace({"round_no": {2: 5}}))
    text = say.plain_rounds(result)
    assert "Two rounds are too few" in text and "may still differ" not in text
    three = say.plain_rounds(answer(club(3, means=(160, 170, 172), error_sd=6)))
    assert "rounds 2 and 3 may still differ by 5" in three


def test_what_was_shown_to_change_is_neither_called_level_nor_left_open():
    result = answer(club(3, means=(160, 170, 180)))
    assert "still rose from round 2 to round 3" in say.plain_rounds(result)
    assert "The last step was itself a change" in " ".join(say.write_up_rounds(result))
    small = answer(club(1, n=30, means=(160, 170, 172, 174), error_sd=1.0))
    assert "changed but smaller than matters" in set(small.steps["label"])
    assert "From round 2 on, mean heart rate changed by less than 5" in say.plain_rounds(small)


def test_the_change_is_weighed_against_what_would_matter():
    assert "Even the low end" in say.weigh_change(answer(club(0, means=(150, 170, 171, 171))))
    assert "may be larger or smaller" in say.weigh_change(answer(club(0, means=(160, 163, 165, 165), error_sd=2)))
    assert say.weigh_change(answer(club(0, **KINDS["noisy"]))) == ""


def test_an_interval_without_zero_does_not_read_as_one_that_begins_there():
    from analysis.study import OUTCOMES
    from analysis.telling.words import plain_span

    rate, lactate = OUTCOMES["hr_mean_bpm"], OUTCOMES["lactate_mmol_l"]
    assert plain_span(0.2, 15.7, rate) == "0.2 to 15.7"
    assert plain_span(-15.7, -0.04, rate, rising=False) == "0.04 to 15.70"
    assert plain_span(-0.2, 15.7, rate).endswith("to 16")  # it holds 0, and may say so
    assert plain_span(0.8, 15.7, rate) == "1 to 16"
    assert plain_span(0.03, 1.2, lactate) == "0.03 to 1.20"
