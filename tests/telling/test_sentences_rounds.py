"""Sentences on the rounds: they agree with the numbers, claim no more than was shown, and never read oddly."""

import re

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError, NotYet, format_number
from analysis.rounds import answer_rounds, reliability
from analysis.telling.rounds import sentences as say

FORBIDDEN = re.compile(
    r"no difference|no effect|no change|because of the round|\bnan\b|\bNone\b|p = 0\b|p = \.000|−0\.0\b|-0|significan|proves"
)


def club(
    seed, *, n=10, means=(165, 171, 173, 173.5), error_sd=3.0, missing=0.0, name="hr_mean_bpm", whole=False
):
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
    assert ("changed over the rounds:" in plain or "changed over the rounds, but" in plain) == bool(
        result.changed
    )
    assert ("level" in plain) == bool(result.plateau_from)
    if result.changed and result.steps["label"].iloc[-1] == "changed":
        assert ("rose" if result.last_minus_first > 0 else "fell") in plain
    if result.verdict == "not shown" and not result.steps["changed"].any():
        assert "cannot be said" in plain


def test_equivalence_is_named_only_where_shown():
    flat = answer(club(0, **KINDS["flat and precise"]))
    assert flat.verdict == "equivalent"
    assert "stayed level" in say.plain_rounds(flat)
    noisy = answer(club(0, **KINDS["noisy"]))
    assert noisy.verdict == "not shown"
    assert "stayed level" not in everything(noisy)
    assert "does not show that it stayed the same" in say.plain_rounds(noisy)


def test_no_step_is_claimed_outside_a_change_over_all_rounds():
    for seed in range(30):
        result = answer(club(seed, n=6, means=(170, 174, 172, 172)))
        if not result.changed:
            assert not result.steps["changed"].any() and "by itself" not in say.plain_rounds(result)
            assert not result.steps["label"].str.startswith("changed").any()


def test_two_rounds_that_are_level_are_one_difference():
    result = answer(club(4, n=14, means=(160, 170, 176, 176), error_sd=1.5))
    assert result.plateau_from == "3"
    assert "From round 3 to round 4 it was level: that one average difference" in say.plain_plateau(result)
    assert "95\xa0% confidence" in say.plain_rounds(result)


def test_numbers_in_the_write_up_are_those_of_the_result():
    from analysis.basics import format_p

    result = answer(club(3, missing=0.05))
    text = " ".join(say.write_up_rounds(result))
    test = result.comparison.overall
    assert f"= {format_number(test.statistic, 2)}, p {format_p(test.p)}" in text
    for step in result.steps.to_dict("records"):
        assert format_number(step["estimate"], 1, sign=True, unit="bpm") in text
    assert f"{result.n_athletes} athletes ({result.n_observations} values)" in text


def test_smallest_effect_keeps_its_decimals():
    assert "5\N{NO-BREAK SPACE}bpm" in say.plain_plateau(answer(club(0)))
    assert "2.25\N{NO-BREAK SPACE}bpm" in say.plain_plateau(answer(club(0), effect=2.25))
    ratings = club(0, means=(12, 14, 15, 15), error_sd=0.7, name="exertion", whole=True)
    text = say.plain_rounds(answer_rounds(ratings, "exertion", smallest_effect=1, ordinal=True))
    assert "1\N{NO-BREAK SPACE}points" not in text


def test_ratings_name_the_rank_tests():
    ratings = club(0, means=(12, 14, 15, 15), error_sd=1, name="exertion", whole=True)
    text = " ".join(say.write_up_rounds(answer_rounds(ratings, "exertion", smallest_effect=1, ordinal=True)))
    assert "Friedman" in text and "Kendall's W" in text and "signed ranks" in text


def test_off_scale_values_explain_a_weaker_reading():
    data = club(1, means=(7, 9, 11, 11.5), error_sd=1, name="lactate_mmol_l")
    data["lactate_mmol_l"] = (data["lactate_mmol_l"] - 9) / 3 + 9
    data["lactate_limit"] = np.where(data["lactate_mmol_l"] > 11.2, "high", "")
    data.loc[data["lactate_limit"] == "high", "lactate_mmol_l"] = np.nan
    result = answer_rounds(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 11.2))
    text = " ".join(say.write_up_rounds(result))
    assert f"{result.bounds.n_high} values above the analyser's scale" in text
    weaker = result.steps[result.steps["label"] != result.steps["label_at_scale_end"]].to_dict("records")
    assert weaker
    for step in weaker:
        turn = format_number(np.floor(step["holds_to_high"] * 10) / 10, 1, unit="mmol/L")
        assert f"was higher than {turn}, else {step['label']}" in text
        assert turn in say.may_say_rounds(result)


def test_a_plateau_under_a_condition_is_told_with_it():
    data = club(1, means=(7, 9, 11, 11.5), error_sd=1, name="lactate_mmol_l")
    data["lactate_mmol_l"] = (data["lactate_mmol_l"] - 9) / 3 + 9
    data["lactate_limit"] = ""
    data.loc[data["lactate_mmol_l"].idxmax(), ["lactate_mmol_l", "lactate_limit"]] = [np.nan, "high"]
    result = answer_rounds(data, "lactate_mmol_l", smallest_effect=1, limit=(0.5, 11.2))
    assert result.bounds.plateau_at_scale_end and not result.plateau_from
    text = say.plain_rounds(result)
    turn = format_number(np.floor(result.bounds.plateau_holds_to_high * 10) / 10, 1, unit="mmol/L")
    assert f"as long as the value above the analyser's scale was not higher than {turn}" in text
    assert "Where it stops changing was not shown" not in text


def test_missing_rounds_and_role_are_told():
    data = club(2)
    data.loc[[3, 7], "hr_mean_bpm"] = np.nan
    result = answer(data, role="exploratory")
    text = " ".join(say.write_up_rounds(result))
    assert "2 rounds of these athletes are missing" in text
    assert "This outcome is exploratory." in text
    assert say.plain_tipping(answer(club(2))) == ""


def test_what_may_not_be_said_lists_every_step_not_shown():
    result = answer(club(0, **KINDS["noisy"]))
    text = say.may_say_rounds(result)
    assert "order of time" in text
    for step in result.steps[result.steps["label"] == "not shown"].to_dict("records"):
        assert f"round {step['earlier']} to round {step['later']}" in text


def test_reliability_is_told_apart_from_consistency():
    one = reliability(club(0), "hr_mean_bpm")
    assert "not reliability" in say.plain_reliability(one)
    two = reliability(pd.concat([club(0).assign(session="1"), club(1).assign(session="2")]), "hr_mean_bpm")
    assert "From evening to evening".lower() in say.plain_reliability(two)
    assert "smallest detectable change" in say.write_up_reliability(two)[0]
    assert "bpm" in say.write_up_reliability(two)[0]


def test_not_yet_is_passed_on():
    missing = NotYet("comparing the rounds", "heart rate")
    for name in say.__all__:
        function = getattr(say, name)
        found = function({"x": missing}) if name == "tabulate_outcomes" else function(missing)
        assert "Not yet" in (found[0] if isinstance(found, list) else found)


def test_tables_for_readers_hold_every_way():
    result = answer(club(4, missing=0.05), other_outcomes=None)
    table = say.tabulate_ways(result)
    assert len(table) == len(result.sensitivity)
    assert not table.map(lambda v: "nan" in str(v)).to_numpy().any()
    assert say.tabulate_rests(result) == "Nobody sat a round out."
    assert say.tabulate_outcomes({"hr_mean_bpm": result})["Role"].tolist() == ["primary"]


def test_two_rounds_cannot_tell_where_it_stops_changing():
    result = answer(club(3, means=(160, 175)).replace({"round_no": {2: 5}}))
    text = say.plain_rounds(result)
    assert "measured in two rounds only (1 and 5)" in text and "even between" not in text
    three = say.plain_rounds(answer(club(3, means=(160, 170, 172), error_sd=6)))
    assert "even between rounds 2 and 3 an average difference of 5" in three


def test_what_was_shown_to_change_is_neither_called_level_nor_left_open():
    result = answer(club(3, means=(160, 170, 180)))
    assert (
        "had not stopped changing by the last round: from round 2 to round 3 it still rose"
        in say.plain_rounds(result)
    )
    assert "a change was shown even in the last step" in " ".join(say.write_up_rounds(result))
    small = answer(club(1, n=30, means=(160, 170, 172, 174), error_sd=1.0))
    assert "changed but smaller than matters" in set(small.steps["label"])
    assert "From round 2 on it changed too little to matter" in say.plain_rounds(small)
