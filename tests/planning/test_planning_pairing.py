"""Who spars whom: rules kept, fair turns, no repeated opponent while possible."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.basics import KitError
from analysis.planning import pair_athletes


def club(n, seed=0):
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "athlete": [f"A{i:02d}" for i in range(1, n + 1)],
            "mass_kg": rng.normal(76, 11, n).round(1),
            "experience_years": rng.integers(0, 12, n),
            "group": rng.choice(["novice", "advanced"], n),
            "age_years": rng.integers(19, 40, n),
        }
    )


def check(pairing, codes, rounds):
    """Everybody once a round; both sides of a pair agree; nobody meets him- or herself."""
    for round_no in range(1, rounds + 1):
        now = pairing.opponents[pairing.opponents["round_no"] == round_no].set_index("athlete")
        assert sorted(now.index) == sorted(codes)
        for athlete, opponent in now["opponent"].items():
            if opponent in codes:
                assert opponent != athlete
                assert now.loc[opponent, "opponent"] == athlete
                assert now.loc[opponent, "mat"] == now.loc[athlete, "mat"]


@pytest.mark.parametrize("n", [7, 12, 23])
def test_clubs_with_rules(n):
    athletes = club(n)
    codes = list(athletes["athlete"])
    avoid = [("A01", "A02"), ("A03", "A05")]
    pairing = pair_athletes(athletes, 4, avoid=avoid, unavailable={"A04": [3, 4]})
    check(pairing, codes, 4)
    assert pairing.repeats.empty
    met = {frozenset(pair) for pair in pairing.schedule[["athlete_1", "athlete_2"]].to_numpy().tolist()}
    assert not met & {frozenset(pair) for pair in avoid}
    away = pairing.sat_out[pairing.sat_out["reason"] == "not available"]
    assert away[["round_no", "athlete"]].to_numpy().tolist() == [[3, "A04"], [4, "A04"]]
    left_over = pairing.sat_out[pairing.sat_out["reason"] != "not available"]
    assert left_over["athlete"].is_unique
    present = {1: n, 2: n, 3: n - 1, 4: n - 1}
    assert left_over.groupby("round_no").size().to_dict() == {r: 1 for r, k in present.items() if k % 2}


@pytest.mark.parametrize("n", [4, 5, 6, 7, 8])
def test_no_repeats_up_to_a_whole_round_robin(n):
    rounds = n - 1 if n % 2 == 0 else n
    pairing = pair_athletes(club(n), rounds)
    assert pairing.repeats.empty
    assert len(pairing.sat_out) == (rounds if n % 2 else 0)


def test_two_athletes_meet_again_and_it_is_said():
    pairing = pair_athletes(["A1", "A2"], 3)
    assert pairing.repeats["times"].tolist() == [3]
    assert pairing.sat_out.empty
    assert any("more than once" in w for w in pairing.warnings)


def test_a_guest_fills_the_odd_place_and_only_that():
    odd = pair_athletes(club(7), 4, guests=2)
    assert odd.sat_out.empty
    with_guest = odd.schedule[odd.schedule["athlete_2"] == "guest"]
    assert with_guest.groupby("round_no").size().tolist() == [1, 1, 1, 1]
    assert with_guest["athlete_1"].is_unique
    even = pair_athletes(club(8), 4, guests=2)
    assert not (even.schedule["athlete_2"] == "guest").any()


def test_body_mass_is_matched_and_fitness_is_not_read():
    athletes = club(16)
    pairing = pair_athletes(athletes, 4)
    table = athletes.set_index("athlete")["mass_kg"]
    rng = np.random.default_rng(0)
    random = [abs(np.diff(rng.choice(table, 2, replace=False))[0]) for _ in range(500)]
    assert pairing.differences["mass_difference_kg"].mean() < 0.7 * np.mean(random)
    fit = athletes.assign(capacity=np.linspace(60, 30, 16), vo2max_ml_kg_min=np.linspace(60, 30, 16))
    pd.testing.assert_frame_equal(pair_athletes(fit, 4).schedule, pairing.schedule)


def test_very_unequal_pairs_are_named_for_the_coach():
    pairing = pair_athletes(pd.DataFrame({"athlete": ["A1", "A2"], "mass_kg": [60.0, 90.0]}), 1)
    assert any("A1 with A2" in w and "coach" in w for w in pairing.warnings)
    even = pair_athletes(pd.DataFrame({"athlete": ["A1", "A2"], "mass_kg": [80.0, 90.0]}), 1)
    assert even.warnings == ()


def test_hard_rules_are_never_broken():
    athletes = club(12, seed=3)
    mass = athletes.set_index("athlete")["mass_kg"]
    pairing = pair_athletes(athletes, 4, mass_limit_kg=6.0)
    real = pairing.schedule
    gaps = (mass[real["athlete_1"]].to_numpy() - mass[real["athlete_2"]].to_numpy()).round(6)
    assert (np.abs(gaps) <= 6.0).all()
    group = athletes.set_index("athlete")["group"]
    real = pair_athletes(athletes, 4, same_group=True).schedule
    assert (group[real["athlete_1"]].to_numpy() == group[real["athlete_2"]].to_numpy()).all()


def test_minors_meet_only_each_other():
    athletes = club(8).assign(age_years=[16, 17, 25, 30, 22, 40, 33, 28])
    pairing = pair_athletes(athletes, 3)
    for row in pairing.schedule.itertuples():
        assert (row.athlete_1 in ("A01", "A02")) == (row.athlete_2 in ("A01", "A02"))
    assert any("under 18" in w for w in pairing.warnings)


def test_somebody_whom_nobody_may_meet_is_named():
    athletes = club(6).assign(mass_kg=[60, 61, 62, 63, 64, 140])
    pairing = pair_athletes(athletes, 3, mass_limit_kg=20)
    assert any("A06" in w and "nobody" in w for w in pairing.warnings)
    assert (pairing.sat_out["athlete"] == "A06").sum() == 3


def test_everybody_away_leaves_an_empty_round():
    pairing = pair_athletes(["A1", "A2"], 2, unavailable={"A1": [2], "A2": [2]})
    assert pairing.schedule["round_no"].tolist() == [1]


@settings(max_examples=12, deadline=None)
@given(st.integers(2, 9), st.integers(1, 4), st.integers(0, 2), st.integers(0, 5))
def test_any_small_club(n, rounds, guests, seed):
    pairing = pair_athletes(club(n, seed), rounds, guests=guests, seed=seed)
    check(pairing, [f"A{i:02d}" for i in range(1, n + 1)], rounds)
    expected = rounds if n % 2 and not guests else 0
    assert len(pairing.sat_out) == expected
    turns = pairing.sat_out["athlete"].value_counts()
    assert turns.empty or turns.max() - (turns.min() if len(turns) == n else 0) <= 1


def test_the_order_of_the_table_does_not_matter_for_the_rules():
    athletes = club(9)
    shuffled = athletes.sample(frac=1, random_state=1)
    for table in (athletes, shuffled):
        pairing = pair_athletes(table, 4, avoid=[("A01", "A09")])
        assert pairing.repeats.empty
        check(pairing, list(athletes["athlete"]), 4)


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (lambda: pair_athletes(["A1"], 3), "at least 2"),
        (lambda: pair_athletes(["A1", "A1"], 3), "stand twice"),
        (lambda: pair_athletes(["A1", "guest"], 3), "cannot be the code"),
        (lambda: pair_athletes(["A1", "A2"], 0), "from 1 on"),
        (lambda: pair_athletes(["A1", "A2"], 2, avoid=[("A1", "A9")]), "'A9'"),
        (lambda: pair_athletes(["A1", "A2"], 2, avoid=["A1"]), "pairs of codes"),
        (lambda: pair_athletes(["A1", "A2"], 2, unavailable={"A7": "all"}), "not among"),
        (lambda: pair_athletes(["A1", "A2"], 2, guests=-1), "0 or more"),
        (lambda: pair_athletes(["A1", "A2"], 2, mass_limit_kg=0), "above 0"),
        (lambda: pair_athletes(pd.DataFrame({"code": ["A1"]}), 2), "no column 'athlete'"),
    ],
)
def test_impossible_wishes_say_what_to_do(call, hint):
    with pytest.raises(KitError, match=hint):
        call()


def test_grades_that_are_near_meet_where_mass_and_experience_say_nothing():
    table = pd.DataFrame({"athlete": list("ABCDEF"), "mass_kg": 75.0, "grade_rank": [1, 5, 1, 5, 3, 3]})
    pairs = pair_athletes(table, 1)
    assert (pairs.differences["grade_difference"] == 0).all()
    assert pairs.differences["grade_difference"].notna().all()


def test_one_opponent_all_evening_is_said():
    from analysis.telling.planning.sentences import plain_pairing

    assert "with the same opponent all evening" in plain_pairing(pair_athletes(club(8), 4, keep=True))
    assert "with a new opponent every time" in plain_pairing(pair_athletes(club(8), 4))
