"""What is said of a plan, of small results made by hand: which words are chosen where, and which numbers stand in them."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.planning import VERDICTS, answer_design
from analysis.study.outcomes import OUTCOMES
from analysis.telling.planning import phrases as say
from analysis.telling.planning.sentences import (
    _amount,
    _detectable,
    _level,
    list_evening_warnings,
    plain_covariances,
    plain_design,
    plain_looks,
    plain_pairing,
    plain_replication_sizes,
    plain_simulation,
    plain_timetable,
    table_covariances,
    table_looks,
    table_sizes,
    write_up_assurance,
    write_up_replication_sizes,
    write_up_size,
)

NBSP = "\N{NO-BREAK SPACE}"


def pairing(out=(), opponents=(("A", "B"), ("A", "C"), ("B", "none")), rounds=2, repeats=0, gaps=()):
    return SimpleNamespace(
        sat_out=pd.DataFrame(out, columns=["athlete", "round_no", "reason"]),
        opponents=pd.DataFrame(opponents, columns=["athlete", "opponent"]),
        repeats=[0] * repeats,
        rounds=rounds,
        differences=pd.DataFrame({"mass_difference_kg": gaps} if gaps else {}, dtype=float),
    )


def test_who_spars_whom():
    assert plain_pairing(pairing()) == "Everybody spars in each of 2 rounds, with a new opponent every time."
    same = [("A", "B"), ("A", "B"), ("B", "A"), ("B", "none")]
    assert (
        plain_pairing(pairing(opponents=same))
        == "Everybody spars in each of 2 rounds, with the same opponent all evening."
    )
    one_met_two = [*same, ("C", "A"), ("C", "B")]
    assert "same opponent" not in plain_pairing(pairing(opponents=one_met_two))
    assert plain_pairing(pairing(opponents=same, rounds=1)).endswith("1 round, with a new opponent every time.")
    assert "2 rounds; 1 pair meets more than once." in plain_pairing(pairing(repeats=1))
    assert "2 rounds; 2 pairs meet more than once." in plain_pairing(pairing(repeats=2))
    idle, again = [("A", 1, "odd"), ("B", 2, "odd")], [("A", 1, "odd"), ("A", 2, "odd")]
    assert plain_pairing(pairing(idle)).startswith("Pairs are set in each")
    assert plain_pairing(pairing(idle)).endswith(" In 2 rounds somebody sits out, each time somebody else.")
    assert plain_pairing(pairing(again)).endswith(" In 2 rounds somebody sits out, some more than once.")
    away = plain_pairing(pairing([("A", 1, "not available"), ("A", 2, "not available")]))
    assert away.startswith("Pairs are set") and away.endswith(" 1 athlete misses rounds as you said.")
    told = plain_pairing(pairing(gaps=[2.0, 4.0, 9.0, np.nan]))
    assert told.endswith(f" Opponents differ by 4{NBSP}kg in the median and by 9{NBSP}kg at most.")


def evening(mats=(1, 2), starts=(0.0, 0.0), end=1500.0, rounds=1):
    table = pd.DataFrame({"mat": mats, "round_no": rounds, "start_s": starts, "end_s": [600.0, end]})
    return SimpleNamespace(n_athletes=0, mats=table)


def test_when_rounds_start_without_blood():
    assert plain_timetable(evening()) == f"2 mats start together; 1 round with their rests take 25{NBSP}min."
    assert plain_timetable(evening(starts=(0.0, 60.0))).startswith("2 mats start one after the other;")
    assert plain_timetable(evening(rounds=(1, 2))).startswith("2 mats start together; 2 rounds")
    assert plain_timetable(evening(mats=(1, 1))).startswith("One mat; 1 round")


def sampling(measured=8, start="common", staggered=10):
    options = pd.DataFrame({"option": ["common start", "staggered starts"], "measured": [measured, staggered]})
    stations = SimpleNamespace(stations=2)
    return SimpleNamespace(n_athletes=10, sampling=stations, start=start, measured=measured, options=options)


def test_who_can_be_sampled():
    text = "With 2 stations and a common start, 8 of 10 athletes can be sampled on time after every round"
    assert plain_timetable(sampling()) == f"{text}; with staggered starts and one opponent all evening it would be 10."
    assert plain_timetable(sampling(staggered=8)) == f"{text}."  # it would help nobody
    assert plain_timetable(sampling(start="staggered")) == f"{text.replace('a common start', 'staggered starts')}."
    assert "staggered" not in plain_timetable(sampling(measured=10, staggered=12))
    assert list_evening_warnings(SimpleNamespace(warnings=())) == "Nothing to watch for."
    assert list_evening_warnings(SimpleNamespace(warnings=("a", "b"))) == "- a\n- b"


def sizes(shrunk=90.0, new=None):
    targets = pd.DataFrame(
        {"target": ["as published", "shrunk"], "r": [-0.6, -0.25], "n_needed": [19, shrunk], "power": [0.75, 0.2]}
    )
    return SimpleNamespace(
        targets=targets,
        n=12,
        n_detectability=30,
        n_new=new,
        r=-0.6,
        power=0.8,
        warnings=("Careful.",),
        smallest_detectable_r=0.46,
        power_detectability=0.5,
        prediction_low=-0.9,
        prediction_high=0.1,
    )


def test_what_a_repeat_takes():
    assert "takes 19 athletes if it is exactly true, and 90 if chance flattered it" in plain_replication_sizes(sizes())
    assert "no number that we could name" in plain_replication_sizes(sizes(np.nan))
    published, detect, warned = write_up_replication_sizes(sizes(np.nan))
    assert f"19 athletes have a power of 80{NBSP}%; shrunk" in published and published.endswith(
        "no size can be justified."
    )
    assert detect.endswith("if there is none.") and warned == "Careful."
    published, detect, _ = write_up_replication_sizes(sizes(new=16))
    assert ", 16 have " in published and " (16: " in detect and "between −0.90 and 0.10 from 16 athletes" in detect


def simulated(*lines, n=9):
    columns = ["question", "part", "n_studies", "power", "exaggeration"]
    return SimpleNamespace(power=pd.DataFrame(lines, columns=columns), n_studies=200, design=SimpleNamespace(n=n))


def test_what_invented_studies_found():
    change = ("rounds.heart_rate", "change", 200, 0.9, 1.0)
    other = [("rounds.heart_rate", "plateau", 0, 0.5, 1.0), ("rounds.lactate", "change", 200, 0.4, 1.0)]
    text = plain_simulation(simulated(change, *other))
    assert text.startswith("Of 200 invented studies like yours, each begun by 9 athletes, ") and say.SAW_CHANGE in text
    assert say.FOUND_LEVEL not in text and text.count("of 100") <= 1
    once = ("rounds.heart_rate", "change", 1, 1.0, np.nan)
    assert say.SAW_CHANGE in plain_simulation(simulated(once))
    assert plain_simulation(simulated(*other)) == say.NOTHING_ASKED.format(studies=200, athletes="9 athletes")
    for times, flattered in ((1.25, False), (1.26, True), (np.nan, False)):
        said = plain_simulation(simulated(change, ("fitness.heart_rate", "slope", 200, 0.3, times)))
        assert ("made it 1.3 times as large" in said) is (
            "mostly luck" in said
        ) is flattered and say.SAW_FITNESS in said


def test_the_formula_promises_too_much_where_it_lies_above_the_interval():
    def told(formula, *others):
        line = {
            "test": "Greenhouse-Geisser",
            "covariance": "decay",
            "power": 0.7,
            "words": "near rounds are alike",
            "formula": formula,
            "ci_high": 0.75,
        }
        table = pd.DataFrame(
            [line, line | {"covariance": "compound", "formula": 0.99}, line | {"test": "F", "formula": 0.99}]
            + [line | other for other in others]
        )
        return plain_covariances(SimpleNamespace(table=table, design=SimpleNamespace(n=12)))

    assert not told(0.75).endswith("too much.") and told(0.76).endswith("; the formula promises too much.")
    two = told(0.76, {"formula": 0.7})
    assert two.endswith("; the formula promises too much.") and two.count("near rounds are alike") == 2
    assert told(0.75).count("near rounds are alike") == 1 and "12 athletes" in told(0.75)


def row(**more):
    known = {"unit": "bpm", "part": "change", "outcome": "hr_mean_bpm", "smallest_effect": 5.0, "detectable": 6.31}
    return SimpleNamespace(**known | more)


@pytest.mark.parametrize(
    ("line", "value", "said"),
    [
        (row(), 5.0, f"5{NBSP}bpm"),  # chosen, so without decimals
        (row(), 6.0, f"6.0{NBSP}bpm"),
        (row(smallest_effect=4.5), 4.5, f"4.5{NBSP}bpm"),
        (row(outcome="exertion", unit="points", smallest_effect=1.0), 1.0, f"1{NBSP}point"),
        (row(outcome="exertion", unit="points", smallest_effect=2.0), 2.0, f"2{NBSP}points"),
        (row(unit="correlation", part="correlation", smallest_effect=0.3), 0.3, "0.30"),
    ],
)
def test_amounts_have_the_decimals_of_the_outcome(line, value, said):
    assert OUTCOMES["hr_mean_bpm"].unit == "bpm"
    assert _amount(line, value) == said


def test_what_is_detectable_is_rounded_up():
    assert _detectable(row()) == f"6.4{NBSP}bpm" and _detectable(row(detectable=6.3)) == f"6.3{NBSP}bpm"
    assert _detectable(row(part="correlation", unit="correlation", detectable=0.611)) == "0.62"
    assert _detectable(row(detectable=np.inf)) == "unbounded"
    assert [_level(s) for s in (0.05, 0.025, 0.1)] == [f"5{NBSP}%", f"2.5{NBSP}%", f"10{NBSP}%"]


def questions():
    lines = [
        ("rounds.heart_rate", "change", VERDICTS[0], 12.0, 6.31),
        ("rounds.lactate", "change", VERDICTS[0], np.nan, np.inf),
        ("fitness.lactate", "correlation", VERDICTS[2], 80.0, 0.611),
    ]
    table = pd.DataFrame(lines, columns=["question", "part", "verdict", "n_for_80", "detectable"])
    return table.assign(
        outcome=["hr_mean_bpm", "lactate_mmol_l", "lactate_mmol_l"],
        unit=["bpm", "mmol/L", "correlation"],
        smallest_effect=[5.0, 1.0, 0.3],
        power_smallest=0.8,
    )


def test_a_number_of_athletes_and_what_it_can_answer():
    answer = SimpleNamespace(questions=questions(), n=12, n_to_recruit=14)
    text = plain_design(answer)
    assert text == (
        "With 12 athletes who stay to the end, the study can show a change over the rounds (heart rate, lactate); it "
        "cannot show a correlation with fitness (lactate). Ask 14 athletes, since some will leave."
    )
    answer.n_to_recruit = 12
    assert "Ask" not in plain_design(answer)
    table = table_sizes(answer)
    assert table[f"Athletes for 80{NBSP}%"].tolist() == ["12", "over 500", "80"]
    assert table[f"Seen in 80{NBSP}% from"].tolist() == [f"6.4{NBSP}bpm", "none", "0.62"]
    assert table["Question"].tolist()[2] == "Lactate: a correlation with fitness"


def test_looks_with_their_levels():
    table = pd.DataFrame(
        {
            "n_athletes": [8, 12, 16],
            "level_rounds": [0.0054, 0.0123, 0.0451],
            "spent": [0.0054, 0.02, 0.05],
            "level_fitness": [0.001, 0.002, 0.003],
            "level_normal": [0.01, 0.02, 0.03],
        }
    )
    looks = SimpleNamespace(table=table, alpha=0.05)
    text = plain_looks(looks)
    assert "with 8, 12 and 16 athletes" in text and "reach 0.0054 at the first look and 0.0451 at the last" in text
    assert f"in 5{NBSP}% of studies" in text
    assert table_looks(looks).iloc[1].tolist() == [12, "0.0200", "0.0123", "0.0020", "0.0200"]


def test_assurance_is_told_of_changes_and_slopes_alone():
    line = {"question": "rounds.heart_rate", "part": "change", "clear": 0.7, "low": 0.4, "high": 0.9, "as_assumed": 0.8}
    lines = [line, line | {"part": "steps"}, line | {"part": "slope", "clear": np.nan}]
    found = SimpleNamespace(table=pd.DataFrame(lines), open=["a"], n_draws=50)
    assert len(write_up_assurance(found)) == 1 and write_up_assurance(found)[0].count(" in 80 of 100 draws") == 1
    assert "leave 1 quantity open" in write_up_assurance(found)[0] and "over 50 draws" in write_up_assurance(found)[0]
    for asked, told in ((["rounds.heart_rate"], 1), (["rounds.lactate"], 0), ([], 0)):
        assert len(write_up_assurance(found, asked=asked)) == told
    found.table = pd.DataFrame(lines[1:])
    assert write_up_assurance(found) == []


@pytest.fixture(scope="module")
def answer():
    return answer_design(4, n=30)


def test_the_number_is_justified_by_what_the_plan_holds(answer):
    just, more = (" ".join(write_up_size(replace(answer, n_to_recruit=30 + k))) for k in (0, 2))
    assert "we ask" not in just and "To keep that number, we ask 32 athletes, if " in more
    assert "Taken from the plan" not in just and "The published correlation" not in just
    planned = write_up_size(replace(answer, from_plan=("a", "b"), replication=sizes()))
    assert "Taken from the plan: a; b." in planned and any(
        p.startswith("The published correlation is") for p in planned
    )
    for verdict in VERDICTS:
        told = write_up_size(replace(answer, questions=answer.questions.assign(verdict=verdict)))
        assert any("This number is too small" in p for p in told) is (verdict != VERDICTS[0])
    fitness = answer.questions["question"].str.startswith("fitness")
    none = answer.questions["detectable"].mask(fitness, np.inf)
    unseen = " ".join(write_up_size(replace(answer, questions=answer.questions.assign(detectable=none))))
    assert unseen.count("detectable: no size that fits") == fitness.sum() and "no size that fits" not in just
    of_fitness = " ".join(write_up_size(replace(answer, questions=answer.questions[fitness])))
    how = say.HOW_ROUNDS.removeprefix("{texts}")
    assert how in just and how not in of_fitness
    endless = answer.questions["half_width"].mask(fitness, np.inf)
    wide = " ".join(write_up_size(replace(answer, questions=answer.questions.assign(half_width=endless))))
    known = np.isfinite(answer.questions.loc[fitness, "half_width"]).sum()
    expected = say.TO_EXPECT.split("{")[0]
    assert just.count(expected) - wide.count(expected) == known > 0 and "unbounded" not in wide
    truth = answer.assumptions
    spread, error = f"{truth.capacity_sd:.1f}{NBSP}mL/kg/min", f"{truth.test_error:.1f}{NBSP}mL/kg/min"
    assert f"spreads the athletes by {spread}" in just and error in just
    for size in (truth.heart_rate, truth.lactate, truth.exertion):
        assert f", {size.sd_between:.1f}{NBSP}" in just and f" and {size.sd_within:.1f}{NBSP}" in just
    names = answer.design.adjustment("heart_rate", truth)
    assert names and "The heart-rate slope is adjusted for " in just


def test_simulated_powers_stand_with_their_intervals_in_percent():
    line = {"words": "all alike", "test": "F", "power": 0.7, "ci_low": 0.651, "ci_high": 0.749, "formula": 0.8}
    table = table_covariances(SimpleNamespace(table=pd.DataFrame([line])))
    assert table.iloc[0].tolist() == ["all alike", "F", f"70{NBSP}% (65.1 to 74.9{NBSP}%)", f"80{NBSP}%"]
