"""What may not be passed on, rule by rule, at its edge of five people, on answers made by hand."""

from dataclasses import make_dataclass

import numpy as np
import pandas as pd
import pytest

from analysis.basics import NotYet
from analysis.report import sharing
from analysis.report.sharing import SharedAnswers, Withheld, without_few
from analysis.telling.document import Section, Table


def made(**values):
    """A frozen answer with these fields."""
    return make_dataclass("Made", list(values), frozen=True)(**values)


@pytest.fixture
def shared():
    """The rules alone, without a study behind them."""
    one = SharedAnswers.__new__(SharedAnswers)
    one._withheld, one._kept, one.n_people = {}, {}, 12
    return one


def test_a_write_up_may_be_passed_on_from_five_people_on(shared):
    for n, may in ((4, False), (5, True)):
        shared.n_people = n
        assert shared.may_share is may


def test_what_was_withheld_is_said_once_with_its_parts(shared):
    shared._withhold("fitness and lactate", "among women")
    shared._withhold("fitness and lactate", "among women")
    shared._withhold("fitness and lactate", "in group novice")
    shared._withhold("the survey of sessions")
    assert shared.withheld == (
        "fitness and lactate among women and in group novice",
        "the survey of sessions",
    )
    held = Withheld("the survey", "more people")
    assert not held and "fewer than 5 people" in str(held) and isinstance(held, NotYet)


# the survey of sessions
def survey(**values):
    bands = {"band": ["hard"], "share": [0.4], "time_share": [0.3], "n_athletes_recordings": [5]}
    given = {
        "n_athletes": 20, "n_with_age": 5, "shares": pd.DataFrame({"share": [0.5]}),
        "equations": pd.DataFrame({"equation": ["x"]}), "bands": pd.DataFrame(bands),
        "kinds": pd.DataFrame({"n_athletes": [15, 5], "n_others": [5, 15]}),
    }  # fmt: skip
    return made(**(given | values))


def test_a_survey_of_enough_people_is_passed_on_whole(shared):
    whole = survey()
    told = shared._survey(whole)
    assert shared.withheld == () and told is whole
    assert shared._survey(survey(n_athletes=5, kinds=whole.kinds.iloc[:0])) and shared.withheld == ()
    few = shared._survey(survey(n_athletes=4))
    assert isinstance(few, Withheld) and shared.withheld == ("the survey of sessions",)


@pytest.mark.parametrize(("n", "kept"), [(0, 1), (1, 0), (4, 0), (5, 1)])
def test_shares_of_predicted_maxima_rest_on_people_with_an_age(shared, n, kept):
    told = shared._survey(survey(n_with_age=n))
    assert (len(told.shares), len(told.equations)) == (kept, kept)
    assert bool(shared.withheld) == (not kept)
    assert "predicted maximal" in shared.withheld[0] if not kept else True


@pytest.mark.parametrize(
    ("n", "others", "kept"), [(15, 5, 2), (16, 5, 0), (15, 4, 0), (20, 0, 2), (19, 5, 0), (15, 1, 0)]
)
def test_kinds_of_sessions_do_not_give_the_few_who_are_left(shared, n, others, kept):
    kinds = pd.DataFrame({"n_athletes": [15, n], "n_others": [5, others]})
    assert len(shared._survey(survey(kinds=kinds)).kinds) == kept
    assert shared.withheld == (() if kept else ("each kind of session by itself in the survey",))


@pytest.mark.parametrize(("n", "told"), [(0, True), (1, False), (4, False), (5, True)])
def test_time_in_bands_rests_on_people_with_a_recording(shared, n, told):
    bands = survey().bands.assign(n_athletes_recordings=n)
    found = shared._survey(survey(bands=bands)).bands
    assert found["time_share"].notna().all() == told and found["share"].tolist() == [0.4]
    assert bool(shared.withheld) == (not told)
    assert len(shared._survey(survey(bands=bands.iloc[:0])).bands) == 0


# what athletes did
def pace(rated, pair=5):
    place = {"session": "1", "round_no": [1] * rated + [2] * 5}
    rounds = pd.DataFrame({"athlete": [f"A{i}" for i in range(rated)] + [f"A{i}" for i in range(5)], **place})
    return made(
        rounds=rounds,
        agreement=pd.DataFrame({"pair": ["a, b", "a, c"], "n_athletes": [5, pair]}),
        states=pd.DataFrame({"session": "1", "round_no": [1, 2], "state": "standing"}),
        remarks=("Athlete A1 was not rated.", "Two raters."),
    )


@pytest.mark.parametrize(("rated", "rounds"), [(4, [2]), (5, [1, 2]), (7, [1, 2])])
def test_rounds_of_which_few_were_rated_are_left_out(shared, rated, rounds):
    told = shared._pace(pace(rated))
    assert sorted(set(told.rounds["round_no"])) == rounds == sorted(told.states["round_no"])
    assert told.remarks == ("Two raters.",) and len(told.agreement) == 2
    assert shared.withheld == (
        () if len(rounds) == 2 else ("what athletes did in rounds of which few were rated",)
    )


@pytest.mark.parametrize(("pair", "kept"), [(4, 1), (5, 2)])
def test_pairs_of_raters_with_few_athletes_in_common_are_left_out(shared, pair, kept):
    assert len(shared._pace(pace(5, pair)).agreement) == kept
    assert bool(shared.withheld) == (kept == 1)


def test_pace_of_four_is_withheld(shared):
    few = pace(4)
    few = made(**{**vars(few), "rounds": few.rounds[few.rounds["athlete"] != "A4"]})
    assert isinstance(shared._pace(few), Withheld) and shared.withheld == ("what athletes did in the rounds",)


# fitness


def fitness(women, men, others=0, extra=()):
    sexes = ["F"] * women + ["M"] * men + [""] * others
    n = len(sexes)
    points = pd.DataFrame(
        {"athlete": [f"A{i}" for i in range(n)], "sex": sexes, "capacity": np.linspace(41.3, 58.9, n),
         "outcome": np.linspace(170.26, 181.71, n), "outcome_adjusted": np.linspace(170.36, 181.81, n)}
    )  # fmt: skip
    lines = [("planned", "", n), ("within sex", "F", women), ("within sex", "M", men), *extra]
    return made(
        points=points, n_athletes=n, slopes=pd.DataFrame(lines, columns=["analysis", "level", "n_athletes"])
    )


@pytest.fixture
def by_fives(shared, monkeypatch):
    monkeypatch.setattr(sharing, "step_of", lambda capacity: 5.0)
    monkeypatch.setattr(SharedAnswers, "capacity", None)
    return shared


@pytest.mark.parametrize(
    ("women", "men", "others", "kept", "apart"),
    [
        (5, 5, 0, ["", "F", "M"], True),
        (4, 6, 0, [""], False),
        (5, 6, 4, ["", "F"], False),
        (5, 6, 5, ["", "F", "M"], True),
    ],
)
def test_slopes_within_sexes_are_told_where_no_few_can_be_worked_out(
    by_fives, women, men, others, kept, apart
):
    told = by_fives._fitness(fitness(women, men, others), "hr_mean_bpm")
    assert told.slopes["level"].tolist() == kept and told.slopes.index.tolist() == list(range(len(kept)))
    assert bool(set(told.points["sex"]) - {""}) == apart
    assert (told.points["capacity"] % 5 == 0).all()
    for column in ("outcome", "outcome_adjusted"):
        assert (told.points[column] % 1 == 0).all()
    said = " ".join(by_fives.withheld)
    assert ("among women" in said) == ("F" not in kept) and ("among men" in said) == ("M" not in kept)


def test_fitness_of_four_is_withheld(by_fives):
    assert by_fives._fitness(fitness(2, 3), "hr_mean_bpm")
    assert by_fives.withheld and "fitness and mean heart rate" in by_fives.withheld[0]
    assert isinstance(by_fives._fitness(fitness(2, 2), "hr_mean_bpm"), Withheld)


def test_an_analysis_of_more_people_than_the_planned_one_does_not_give_them_away(by_fives):
    """All twelve with a value, of whom the plan could use ten: the two others could be worked out."""
    more = by_fives._fitness(fitness(5, 5, extra=[("unadjusted", "", 12)]), "hr_mean_bpm")
    assert more.slopes["analysis"].tolist() == ["planned", "within sex", "within sex"]
    assert by_fives.withheld == ("fitness and mean heart rate without adjustment",)
    enough = by_fives._fitness(fitness(5, 5, extra=[("unadjusted", "", 15)]), "hr_mean_bpm")
    assert "unadjusted" in set(enough.slopes["analysis"])


def test_subgroups_are_named_in_words():
    among = sharing._among
    assert among({"analysis": "unadjusted", "level": ""}) == "without adjustment"
    assert among({"analysis": "planned", "level": ""}) == "planned"
    assert among({"analysis": "within sex", "level": sharing.HELD}) == "at equal sex"
    assert among({"analysis": "within sex", "level": "F"}) == "among women"
    assert among({"analysis": "within sex", "level": "X"}) == "among others"
    assert among({"analysis": "within group", "level": "novice"}) == "in group novice"


def test_capacities_are_rounded_as_coarsely_as_their_equations_ask():
    capacity = pd.DataFrame(
        {"test": ["shuttle_run_20m", "gas_exchange"], "capacity": [45.0, np.nan], "equation": ["a", "b"]}
    )
    seen = {}
    step = sharing.capacity_step_to_share
    sharing.capacity_step_to_share = lambda tests, *, equations: (
        seen.update(tests=tests, equations=equations) or 5.0
    )
    try:
        assert sharing.step_of(capacity) == 5.0 and seen == {"tests": {"shuttle_run_20m"}, "equations": {"a"}}
        sharing.step_of(capacity.drop(columns="equation"))
        assert seen["equations"] == set()
    finally:
        sharing.capacity_step_to_share = step


# tables of a section
def table(key="rows", counts=(4, 5, 12), shown=True, name="n"):
    numbers = pd.DataFrame({"n_athletes": counts, "value": [1.0, 2.0, 3.0]})
    cells = pd.DataFrame({name: [str(c) for c in counts], "Value": ["1", "2", "3"]})
    return Table(key, "A table.", cells if shown else cells[["Value"]].iloc[:2], numbers=numbers)


@pytest.mark.parametrize("name", ["n", "n_athletes", "Athletes", "Value of"])
def test_lines_of_few_people_leave_the_tables(name):
    section = without_few(Section("Title", ("A paragraph.", table(name=name)), 1, "supplement"))
    told = section.blocks[1]
    assert section.blocks[0] == "A paragraph." and told.shown["Value"].tolist() == ["2", "3"]
    assert told.numbers["n_athletes"].tolist() == [5, 12] and told.numbers.index.tolist() == [0, 1]
    assert told.shown.index.tolist() == [0, 1]


def test_a_table_that_shows_other_lines_than_its_numbers_loses_only_what_it_counts():
    told = without_few(Section("Title", (table(shown=False),), 1, "supplement")).blocks[0]
    assert len(told.shown) == 2 and len(told.numbers) == 2
    alone = Table("x", "A table.", table().shown)
    assert without_few(Section("T", (alone,), 1, "supplement")).blocks[0].shown["n"].tolist() == ["5", "12"]
    blank = Table("x", "A table.", pd.DataFrame({"n": ["–", "3", ""]}))
    assert without_few(Section("T", (blank,), 1, "supplement")).blocks[0].shown["n"].tolist() == ["–", ""]


@pytest.mark.parametrize("key", sharing.PUBLISHED_COUNTS)
def test_the_counts_of_a_published_paper_stay(key):
    assert len(without_few(Section("Title", (table(key),), 1, "supplement")).blocks[0].shown) == 3
