"""Sentences about the plan: complete, honest, and free of numbers that are none."""

import re

import pandas as pd
import pytest

from analysis.basics import NotYet
from analysis.planning import (
    Assumptions,
    answer_design,
    compare_covariances,
    make_timetable,
    pair_athletes,
    replication_sizes,
    simulate_studies,
)
from analysis.study import Plan, Protocol
from analysis.telling.planning.sentences import (
    plain_covariances,
    plain_design,
    plain_pairing,
    plain_replication_sizes,
    plain_simulation,
    plain_timetable,
    table_covariances,
    table_design,
    table_sizes,
    write_up_replication_sizes,
    write_up_size,
)

BAD = (
    "nan",
    "None",
    "inf",
    "no difference",
    "because of the rounds",
    "p = 0",
    "100\xa0%",
    " ,",
    "..",
    "  ",
    "{",
    "}",
    "-0",
    "−0 ",
)
EVENING = Protocol(4, 300.0, 120.0)


def check(text):
    text = " ".join(text) if isinstance(text, list) else text
    for bad in BAD:
        assert bad not in text, (bad, text)
    assert text.rstrip().endswith(".")
    assert not re.search(r"\d\.\d{4,}", text)
    return text


@pytest.mark.parametrize("n", [3, 12, 120])
@pytest.mark.parametrize("rounds", [2, 5])
def test_any_design_reads_well(n, rounds):
    answer = answer_design(rounds, n=n)
    check(plain_design(answer))
    check(write_up_size(answer))
    for table in (table_design(answer), table_sizes(answer)):
        assert len(table) == len(answer.questions)
        assert not table.isna().any().any()


def test_the_plain_sentence_has_no_symbols_and_names_every_verdict():
    answer = answer_design(4, n=12)
    text = plain_design(answer)
    for symbol in ("±", "=", "<", "α", "%"):
        assert symbol not in text
    for word, verdict in (("the following only where", "only if large"), ("cannot show", "not answerable")):
        assert (word in text) == (verdict in set(answer.questions["verdict"]))


def test_numbers_in_the_justification_come_from_the_answer():
    answer = answer_design(4, n=13)
    text = check(write_up_size(answer))
    row = answer.question("rounds.heart_rate", "change")
    assert f"from {int(row['n_for_80'])} athletes" in text
    assert "the kit's proposals" in text
    own = check(write_up_size(answer_design(4, assumptions=Assumptions(), n=13)))
    assert "the authors' own" in own


@pytest.mark.parametrize("kind", ["retest", "prediction", "none"])
def test_the_kind_of_test_error_is_said(kind):
    text = check(write_up_size(answer_design(4, assumptions={"test_error_kind": kind}, n=12)))
    assert {"retest": "shrinks both", "prediction": "leaves the slope", "none": "without error"}[kind] in text


def test_only_planned_questions_are_spoken_of():
    plan = Plan(primary_outcomes={"rounds.heart_rate": "percent_hr_max"})
    text = check(write_up_size(answer_design(EVENING, plan, None, 12)))
    assert "share of measured maximal heart rate" in text


@pytest.mark.parametrize(("r", "n", "new"), [(-0.6, 12, 16), (0.2, 8, None), (0.95, 40, 4), (-0.3, 100, 12)])
def test_repeats_read_well(r, n, new):
    sizes = replication_sizes(r, n, n_new=new)
    check(plain_replication_sizes(sizes))
    check(write_up_replication_sizes(sizes))


@pytest.mark.parametrize(
    ("design", "truth"),
    [
        ({"n": 3, "rounds": 2}, None),
        ({"n": 12}, {"shape": "steady"}),
        ({"n": 30}, {"leave": 0.2}),
        ({"n": 6}, {"missing_round": 1.0}),
    ],
)
def test_simulations_read_well(design, truth):
    simulated = simulate_studies(design, truth, n_studies=60)
    check(plain_simulation(simulated))


def test_covariances_read_well():
    power = compare_covariances({"n": 9}, n_studies=300)
    text = check(plain_covariances(power))
    assert "9 athletes" in text
    assert len(table_covariances(power)) == len(power.table)


def test_exaggeration_is_told_to_the_coach():
    text = plain_simulation(simulate_studies({"n": 10}, n_studies=1000))
    assert "times as large as it is" in text


@pytest.mark.parametrize("n", [2, 3, 7, 12])
def test_pairings_read_well(n):
    codes = [f"A{i:02d}" for i in range(n)]
    table = pd.DataFrame({"athlete": codes, "mass_kg": [60.0 + 3 * i for i in range(n)]})
    for pairing in (pair_athletes(codes, 4), pair_athletes(table, 4, unavailable={codes[0]: [2]})):
        check(plain_pairing(pairing))


@pytest.mark.parametrize("start", ["common", "staggered"])
def test_timetables_read_well(start):
    for n in (1, 5, 14):
        check(plain_timetable(make_timetable(EVENING, athletes=n, start=start)))
    text = plain_timetable(make_timetable(EVENING, athletes=14))
    assert "with staggered starts and one opponent all evening it would be 7" in text


def test_what_is_not_there_yet_is_said():
    missing = NotYet("planning", "a protocol")
    assert plain_design(missing) == str(missing)
    assert write_up_size(missing) == [str(missing)]
