"""What may not be passed on, rule by rule, at its edge of five people, on answers made by hand."""

from dataclasses import fields, make_dataclass
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.basics import NotYet
from analysis.report import sharing
from analysis.report.sharing import SharedAnswers, Withheld, without_few
from analysis.telling.document import Section, Table
from analysis.training.before_after import BeforeAfter, IndividualResponse


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
    assert shared.withheld == ("fitness and lactate among women and in group novice", "the survey of sessions")
    held = Withheld("the survey", "more people")
    assert not held and "fewer than 5 people" in str(held) and isinstance(held, NotYet)


# the survey of sessions
def survey(**values):
    bands = {"band": ["hard"], "share": [0.4], "time_share": [0.3], "n_athletes_recordings": [5]}
    given = {
        "n_athletes": 20, "n_with_age": 5, "shares": pd.DataFrame({"share": [0.5]}),
        "equations": pd.DataFrame({"equation": ["x"]}), "bands": pd.DataFrame(bands),
        "kinds": pd.DataFrame({"n_athletes": [15, 5], "n_others": [5, 15]}), "against": pd.DataFrame(),
        "choices": pd.DataFrame({"choice": ["as analysed"], "n_athletes": [20], "n_sessions": [31]}),
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
    assert shared.withheld == (() if len(rounds) == 2 else ("what athletes did in rounds of which few were rated",))


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
    slopes = pd.DataFrame(lines, columns=["analysis", "level", "n_athletes"])
    without = pd.DataFrame(
        {"athlete": points["athlete"], "estimate": -0.6543, "slope": -0.3219, "planned_effect": np.linspace(-0.5, -0.3, n),
         "planned_ci_low": -0.91234, "planned_ci_high": 0.21234, "verdict": "", "cooks_distance": 0.4567,
         "leverage": 0.1234, "n_athletes": n - 1}
    )  # fmt: skip
    return made(
        points=points, n_athletes=n, slopes=slopes, influence=without, specifications=None,
        contrast_step=10.0, capacity_step=1.0,
    )  # fmt: skip


def test_what_is_found_without_one_athlete_gives_nobody(by_fives):
    """Exactly, it would give the one who was left out: all minus all but one."""
    told = by_fives._fitness(fitness(5, 7), "hr_mean_bpm").influence
    assert set(told["athlete"]) == {""} and not {"estimate", "slope", "leverage"} & set(told)
    shown = 10 * told[["planned_effect", "planned_ci_low", "planned_ci_high"]].to_numpy()
    assert np.allclose(shown, shown.round()) and len(told) == 12  # whole beats, as athletes have them in figures
    assert set(told["cooks_distance"]) == {0.5}


def test_other_analyses_leave_nobody_by_subtraction(demo_answers):
    shared = SharedAnswers(demo_answers)
    whole, told = (a.fitness("hr_mean_bpm").specifications.table for a in (demo_answers, shared))
    assert len(whole) == len(told) and (told["order"] == whole["order"]).all()
    beats = told["multiple"] * (whole["effect"] / whole["multiple"])
    own = whole["outcome"].eq("hr_mean_bpm") & ~whole["planned"]
    assert np.allclose(beats[own], beats[own].round()) and not np.allclose(whole["effect"][own], beats[own])
    assert told.loc[told["planned"], "multiple"].equals(whole.loc[whole["planned"], "multiple"])
    assert set(told["left_out_athlete"]) <= {"", "somebody"} and "estimate" not in told


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
def test_slopes_within_sexes_are_told_where_no_few_can_be_worked_out(by_fives, women, men, others, kept, apart):
    told = by_fives._fitness(fitness(women, men, others), "hr_mean_bpm")
    assert told.slopes["level"].tolist() == kept and told.slopes.index.tolist() == list(range(len(kept)))
    assert bool(set(told.points["sex"]) - {""}) == apart
    assert (told.points["capacity"] % 5 == 0).all()
    for column in ("outcome", "outcome_adjusted"):
        assert (told.points[column] % 1 == 0).all()
    said = " ".join(by_fives.withheld)
    assert ("among women" in said) == ("F" not in kept) and ("among men" in said) == ("M" not in kept)


@pytest.mark.parametrize(("step", "by"), [(2.0, 2.0), (float("inf"), sharing.COARSE_STEP), (9.0, sharing.COARSE_STEP)])
def test_capacities_are_as_coarse_as_the_test_asks_and_never_coarser_than_the_coarse_step(
    shared, monkeypatch, step, by
):
    monkeypatch.setattr(sharing, "step_of", lambda capacity: step)
    monkeypatch.setattr(SharedAnswers, "capacity", None)
    points = shared._fitness(fitness(6, 6), "hr_mean_bpm").points["capacity"]
    assert (points % by == 0).all() and len(set(points % (2 * by))) > 1


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
    sharing.capacity_step_to_share = lambda tests, *, equations: seen.update(tests=tests, equations=equations) or 5.0
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
    assert told.shown.index.tolist() == [0, 1] and list(told.shown) == [name, "Value"]


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


# the whole: what is taken over and what is answered again
def rows_of(counts, outcome="exertion"):
    """A row per athlete and round of session 1, with so many values per round."""
    rows = [
        {"session": "1", "round_no": r, "athlete": f"A{i}", "took_part": "yes", "lactate_limit": "",
         outcome: 12.0 if i < n else np.nan}
        for r, n in enumerate(counts, start=1) for i in range(9)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def answers_of(rows, n_athletes=9, survey=None, kept=None):
    study = SimpleNamespace(athletes=range(n_athletes), plan=SimpleNamespace(primary_session="1"))
    cleaned = made(rows=rows) if rows is not None else None
    kept = {"cleaned": cleaned, "capacity": "the tests", ("levels", "x"): "levels", **(kept or {})}
    return SimpleNamespace(study=study, seed=3, survey=lambda: survey, cleaned=cleaned, _kept=kept)


def test_people_are_those_of_the_study_or_of_the_survey_whichever_are_more():
    assert SharedAnswers(answers_of(None)).n_people == 9
    for senders, n in ((20, 20), (4, 9)):
        assert SharedAnswers(answers_of(None, survey=made(n_athletes=senders))).n_people == n


def test_rounds_of_enough_values_are_taken_over_as_they_are():
    whole = answers_of(rows_of([9, 5]), kept={("rounds", "exertion"): "answer"})
    told = SharedAnswers(whole)
    assert told.withheld == () and told._kept == whole._kept and told.seed == 3


@pytest.mark.parametrize(("counts", "words"), [([9, 4], "round 2"), ([3, 9, 4], "rounds 1 and 3")])
def test_rounds_of_few_values_are_blanked_and_their_questions_asked_again(counts, words):
    kept = {
        ("rounds", "exertion"): 1, ("rounds", "hr_mean_bpm"): 2, ("design", "exertion"): 3, "description": 4, "survey": 5,
        ("fitness", "exertion"): 6,
    }  # fmt: skip
    rows = rows_of(counts)
    other = rows_of([2]).assign(session="2")
    whole = answers_of(pd.concat([rows.assign(hr_mean_bpm=150.0), other]), kept=kept)
    told = SharedAnswers(whole)
    assert told.withheld == (f"perceived exertion in {words}",)
    assert told.blanked == {"exertion": [r for r, n in enumerate(counts, start=1) if n < 5]}
    assert set(told._kept) == {"cleaned", "capacity", "survey", ("rounds", "hr_mean_bpm"), ("design", "exertion")}
    after = told._kept["cleaned"].rows
    here = after[after["session"] == "1"].groupby("round_no")["exertion"].count()
    assert here.tolist() == [n if n >= 5 else 0 for n in counts]
    assert after[after["session"] == "2"]["exertion"].count() == 2, "another session answers no question"
    assert after["hr_mean_bpm"].notna().sum() == 9 * len(counts)
    assert whole.cleaned.rows["exertion"].count() == sum(counts) + 2, "the owner's own rows stay"


def test_readings_off_the_scale_are_values_of_lactate_alone():
    rows = rows_of([9, 4], "lactate_mmol_l")
    off = rows["round_no"].eq(2) & rows["athlete"].eq("A8")
    rows.loc[off, "lactate_limit"] = "high"
    assert SharedAnswers(answers_of(rows)).withheld == ()
    rows.loc[rows["athlete"].eq("A0"), "took_part"] = "sat_out"
    told = SharedAnswers(answers_of(rows))
    assert told.withheld == ("blood lactate in round 2",)
    after = told._kept["cleaned"].rows
    assert after["lactate_limit"].eq("").all() and after["lactate_mmol_l"].count() == 9
    other = rows_of([9, 4]).assign(lactate_limit=np.where(off, "high", ""))
    assert SharedAnswers(answers_of(other)).withheld == ("perceived exertion in round 2",)
    assert SharedAnswers(answers_of(other))._kept["cleaned"].rows["lactate_limit"].eq("high").sum() == 1


# one answer after another, as `Answers` gives it
def told_as(monkeypatch, shared, name, answer, *given):
    base = sharing.Answers
    if isinstance(getattr(base, name), property):
        monkeypatch.setattr(base, name, property(lambda self: answer))
        return getattr(shared, name)
    monkeypatch.setattr(base, name, lambda self, *a: answer)
    return getattr(shared, name)(*given)


def test_an_answer_is_changed_once_and_what_cannot_be_answered_stays(shared, monkeypatch):
    asked = []
    assert shared._changed(("x",), 3, lambda a: asked.append(a) or a + 1) == 4
    assert shared._changed(("x",), 3, lambda a: asked.append(a) or a + 1) == 4 and asked == [3]
    cannot = NotYet("rounds", "rows")
    assert shared._changed(("y",), cannot, lambda a: asked.append(a)) is cannot and asked == [3]


@pytest.mark.parametrize(("left", "kept"), [(4, 3), (5, 3), (6, 2), (10, 2)])
def test_the_planned_sensitivity_does_not_give_the_few_who_are_left_out(shared, monkeypatch, left, kept):
    ways = pd.DataFrame(
        {"analysis": ["main", sharing.SENSITIVITY, "ranks"], "n_athletes": [10, 10 - left, 10]}, index=[3, 5, 7]
    )
    ways.loc[5, "n_athletes"] = left
    rows = pd.DataFrame({"value": [171.26, 180.74]})
    told = told_as(monkeypatch, shared, "rounds", made(sensitivity=ways, n_athletes=10, rows=rows), "hr_mean_bpm")
    assert len(told.sensitivity) == kept and told.sensitivity.index.tolist() == list(range(kept))
    assert list(told.sensitivity) == ["analysis", "n_athletes"] and told.rows["value"].tolist() == [171, 181]
    assert shared.withheld == (() if kept == 3 else (f"mean heart rate in the rounds {sharing.SENSITIVITY}",))


@pytest.mark.parametrize(
    ("n", "kind", "words"), [(5, "reliability", ""), (4, "reliability of rounds", "how well"), (4, "spread", "")]
)
def test_repeatability_of_few_is_withheld(shared, monkeypatch, n, kind, words):
    told = told_as(monkeypatch, shared, "reliability", made(n_athletes=n, kind=kind), "exertion")
    assert bool(told) == (n == 5) and (shared.withheld == () if not words else words in shared.withheld[0])


@pytest.mark.parametrize("n", [4, 5])
def test_points_of_activity_are_coarse(by_fives, monkeypatch, n):
    table = pd.DataFrame({"capacity": [43.7, 51.2], "active_share": [0.4567, 0.7891], "outcome": [171.26, 180.74]})
    told = told_as(monkeypatch, by_fives, "activity", made(n_athletes=n, table=table), "hr_mean_bpm")
    if n == 4:
        assert isinstance(told, Withheld) and by_fives.withheld == ("fitness and what athletes did",)
        return
    assert told.table.to_dict("list") == {"capacity": [45, 50], "active_share": [0.46, 0.79], "outcome": [171, 181]}


def test_points_of_fitness_lie_at_the_nearest_step(by_fives):
    told = by_fives._fitness(fitness(5, 5), "hr_mean_bpm")
    exact = fitness(5, 5).points
    assert (told.points["capacity"] - exact["capacity"]).abs().max() <= 2.5 and told.points["capacity"].nunique() > 2
    assert (told.points["outcome"] - exact["outcome"]).abs().max() <= 0.5
    assert told.slopes.columns.tolist() == ["analysis", "level", "n_athletes"]


def test_the_description_loses_values_of_one_person_and_groups_of_few(shared, monkeypatch):
    one = {"median": 1.0, "low": 0.0, "high": 2.0, "mean": 1.5}
    people = pd.DataFrame(
        [{"label": "Age", "sex": "all", "n_athletes": 9, "shown": True, **one},
         {"label": "Age", "sex": "F", "n_athletes": 1, "shown": False, **one},
         {"label": "Mass", "sex": "F", "n_athletes": 0, "shown": False, **one}]
    )  # fmt: skip
    rests = pd.DataFrame({"rest": [1, 2], "n_athletes": [4, 5], "mean": [1.0, 2.0], "low": [0.0, 1.0]})
    means = made(table=pd.DataFrame({"round_no": [1], "mean": [3.0], "low": [1.0]}))
    whole = made(participants=made(characteristics=people), round_means=means, rests=made(table=rests))
    told = told_as(monkeypatch, shared, "description", whole)
    assert list(told.participants.characteristics) == ["label", "sex", "n_athletes", "shown", "mean"]
    assert told.participants.characteristics["n_athletes"].tolist() == [9]
    assert shared.withheld == ("age of women",) and list(told.round_means.table) == ["round_no", "mean"]
    assert told.rests.table.to_dict("list") == {"rest": [2], "n_athletes": [5], "mean": [2.0]}
    bare = made(participants=made(characteristics=people.iloc[:0]), round_means=None, rests=None)
    shared._kept.clear()
    assert told_as(monkeypatch, shared, "description", bare).rests is None


# the training study
def trained(n_trained, n_reference, outcome="hr_mean_bpm"):
    spread = IndividualResponse(3.0, 1.0, 4.0, 1.0, 5.0, 4.0, 2.0, n_trained, n_reference, can_be_told=True)
    athletes = pd.DataFrame({"athlete": ["A1"], "pre": [171.3], "post": [163.6], "change": [-7.7]})
    return made(
        label="Mean heart rate", outcome=outcome, athletes=athletes, individual=spread,
        main=made(n_trained=n_trained, n_reference=n_reference, n_athletes=n_trained + n_reference),
        missing=pd.DataFrame({"athlete": ["A9"], "reason": ["broke a toe"], "why": ["left"]}),
        beside=pd.DataFrame({"analysis": ["planned"], "n_athletes": [n_trained + n_reference]}),
    )  # fmt: skip


@pytest.mark.parametrize(("sizes", "told"), [((5, 5), True), ((4, 6), False), ((6, 4), False), ((2, 2), None)])
def test_groups_of_few_are_not_described_by_their_spread(shared, sizes, told):
    answer = made(outcomes={"a": trained(*sizes)}, adherence=None)
    found = shared._training(answer).outcomes
    assert bool(found) == (told is not None)
    if found:
        one = found["a"]
        assert one.individual.can_be_told == told and np.isnan(one.individual.sd_trained) == (not told)
        assert one.athletes.to_dict("list") == {"athlete": [""], "pre": [171], "post": [164], "change": [-7]}
        assert one.missing.to_dict("list") == {"athlete": [""], "reason": [""], "why": ["left"]}
    assert len(shared.withheld) == (not told)


def test_capacities_of_a_training_study_are_as_coarse_as_their_tests_ask(shared, monkeypatch):
    shared.study = SimpleNamespace(aerobic_tests={"test": ["run_12_min"]})
    monkeypatch.setattr(sharing, "capacity_step_to_share", lambda tests: 5.0 if tests == {"run_12_min"} else 0.1)
    found = shared._training(made(outcomes={"a": trained(6, 6, outcome="vo2max")}, adherence=None)).outcomes["a"]
    assert (found.athletes["pre"].iloc[0], found.athletes["post"].iloc[0], found.athletes["change"].iloc[0]) == (
        170,
        165,
        -5,
    )


@pytest.mark.parametrize(("counts", "kept"), [([5, 6], True), ([4, 6], False), ([6, 4], False)])
def test_what_groups_of_few_trained_is_withheld(shared, counts, kept):
    doses = {"dose_intervals": [212.0, 371.0, np.nan], "dose_other": [80.0, 20.0, 12.0], "sparring_min_week": 31.4}
    athletes = pd.DataFrame({"athlete": ["A1", "A2", "A3"], "arm": ["trained", "trained", "control"], **doses})
    adherence = made(groups=pd.DataFrame({"n_athletes": counts}), athletes=athletes)
    told = shared._training(made(outcomes={}, adherence=adherence))
    if kept:  # in order of size, and nobody's
        assert told.adherence.athletes.fillna(-1).to_dict("list") == {
            "arm": ["trained", "trained", "control"],
            "athlete": ["", "", ""],
            "dose_intervals": [350, 200, -1],
            "dose_other": [0, 100, 0],
        }
    assert bool(told.adherence) == kept and shared.withheld == (() if kept else ("what each group trained",))
    assert shared._training(made(outcomes={}, adherence=None)).adherence is None


@pytest.mark.parametrize("n", [4, 5])
def test_a_group_without_another_is_passed_on_from_five_on(shared, n):
    given = {f.name: None for f in fields(BeforeAfter)}
    athletes = trained(5, 5).athletes
    given |= {"label": "Exertion", "outcome": "exertion", "n_athletes": n, "athletes": athletes, "n_between": 0}
    one = BeforeAfter(**given)
    found = shared._training(made(outcomes={"a": one}, adherence=None)).outcomes
    assert bool(found) == (n == 5) and bool(shared.withheld) == (n == 4)
    if found:
        assert found["a"].athletes["athlete"].tolist() == [""]


@pytest.mark.parametrize(("n", "told"), [(0, True), (1, False), (4, False), (5, True)])
def test_the_change_between_baselines_of_few_is_withheld(shared, n, told):
    given = {f.name: None for f in fields(BeforeAfter)}
    given |= {"label": "Capacity", "outcome": "exertion", "n_athletes": 9, "athletes": trained(5, 5).athletes}
    one = BeforeAfter(**(given | {"n_between": n, "between_baselines": 1.2, "between_low": 0.1, "between_high": 2.3}))
    found = shared._training(made(outcomes={"a": one}, adherence=None)).outcomes["a"]
    assert found.n_between == (n if told else 0)
    assert np.isnan([found.between_baselines, found.between_low, found.between_high]).all() == (not told)
    assert bool(shared.withheld) == (not told)


@pytest.mark.parametrize(
    ("counts", "kept"),
    [
        ([12], [12]),
        ([12, 12, 11], [12, 12]),
        ([12, 7, 8], [12, 7]),
        ([12, 13, 17], [12, 17]),
        ([12, 4, 5], [12, 5]),
        ([], []),
    ],
)
def test_analyses_that_differ_by_few_people_are_not_set_beside_one_another(counts, kept):
    """All minus all but three is a statistic of three."""
    assert [n for n, told in zip(counts, sharing.apart_by_enough(counts), strict=True) if told] == kept


def test_those_who_trained_too_little_cannot_be_worked_out(shared):
    one = trained(6, 6)
    lines = {"analysis": ["planned", "plain", "as trained"], "n_athletes": [12, 12, 10]}
    one = made(**{**vars(one), "beside": pd.DataFrame(lines)})
    found = shared._training(made(outcomes={"a": one}, adherence=None)).outcomes["a"]
    assert found.beside["analysis"].tolist() == ["planned", "plain"]
    assert shared.withheld == ("analyses of mean heart rate that differ from the planned one by few athletes",)


def test_other_choices_of_a_survey_give_no_person_and_no_session(shared):
    ways = pd.DataFrame(
        [("as analysed", 20, 31), ("other error", 20, 31), ("one sent twice", 20, 32), ("chest straps", 17, 26),
         ("recordings", 9, 12), ("sparring", 4, 6)],
        columns=["choice", "n_athletes", "n_sessions"],
    )  # fmt: skip
    told = shared._survey(survey(choices=ways))
    assert told.choices["choice"].tolist() == ["as analysed", "other error", "recordings"]
    assert shared.withheld == ("other choices in the survey that differ by few people or sessions",)


@pytest.mark.parametrize(("n", "told"), [(0, False), (4, False), (5, True)])
def test_the_hardest_stretch_rests_on_people_with_a_recording(shared, n, told):
    mean = 171.2 if n else float("nan")
    beside = pd.DataFrame({"n_windows": [n], "window_mean": [mean], "window_low": [mean], "published": [166.0]})
    found = shared._survey(survey(against=beside)).against
    assert found["window_mean"].notna().all() == told == found["window_low"].notna().all()
    assert found["published"].tolist() == [166.0] and bool(shared.withheld) == (n == 4)
