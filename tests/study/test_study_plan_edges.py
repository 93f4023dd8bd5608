"""[plan] by itself: what is taken at the ends of what can be, what is filled in, and each remedy to the letter."""

import tomllib

import pytest

from analysis.study.outcomes import OUTCOMES, QUESTIONS
from analysis.study.plan import (
    MOST_ATHLETES,
    PLAN_KEYS,
    PROPOSED_REASON,
    Hypothesis,
    Plan,
    keep_fixed,
    propose_adjustment,
    propose_hypothesis,
    read_looks,
    read_plan,
    settle_primary_session,
)
from analysis.study.problems import Findings
from analysis.study.settings import Settings


def plan_of(text, before=""):
    """The plan of what stands below [plan], and its problems as (row, column, problem, remedy)."""
    whole = f"{before}[plan]\n{text}"
    findings = Findings()
    plan = read_plan(Settings(tomllib.loads(whole), whole.splitlines()), findings)
    return plan, [(p.row, p.column, p.problem, p.remedy) for p in findings.problems]


@pytest.mark.parametrize(
    ("key", "fit", "unfit", "kept", "problem", "remedy"),
    [
        (
            "alpha",
            (0.0001, 0.01, 0.2),
            ("0.00009", "0.21", "true", '"0.05"', "nan"),
            0.05,
            "not a significance level between 0.0001 and 0.2",
            "write alpha = 0.05",
        ),
        (
            "n_athletes",
            (2, 16, MOST_ATHLETES),
            ("1", "501", "true", "16.0", '"16"'),
            None,
            "not a number of athletes from 2 to 500",
            "write n_athletes = 16",
        ),
        (
            "round_variable",
            ("round_no", "bout_no"),
            ('"rounds"',),
            "round_no",
            "not among round_no, bout_no",
            'write round_variable = "round_no"',
        ),
        (
            "multiplicity",
            ("primary", "all"),
            ('"none"',),
            "primary",
            "not among primary, all",
            'write multiplicity = "primary"',
        ),
        ("sexes", ("men", "women", "mixed"), ('"both"', "3"), "", "not among men, women, mixed", 'write sexes = "men"'),
        (
            "capacity_unit",
            ("mL/kg/min", "L/min", "mL/kg^0.67/min", "mL/kg^1/min", "score", "score:total_shuttles"),
            ('"mL/kg^2/min"', '"score:"'),
            "mL/kg/min",
            "not a unit of capacity",
            None,
        ),
        ("primary_session", ("1", "evening"), ("true", "1.5"), None, "not a session", 'write primary_session = "1"'),
    ],
)
def test_what_a_part_may_be(key, fit, unfit, kept, problem, remedy):
    for value in fit:
        plan, problems = plan_of(f"{key} = {value!r}\n")
        assert not problems and getattr(plan, key) == value and key not in plan.proposed, value
    for typed in unfit:
        plan, problems = plan_of(f"{key} = {typed}\n")
        assert [p[:3] for p in problems] == [(2, key, problem)], typed
        assert remedy is None or problems[0][3] == remedy
        assert key == "primary_session" or getattr(plan, key) == kept
    assert plan_of("primary_session = 2\n")[0].primary_session == "2"


@pytest.mark.parametrize("key", ["round_variable", "capacity_unit"])
def test_a_number_is_no_text(key):
    plan, problems = plan_of(f"{key} = 5\n")
    default = getattr(Plan, key)
    assert problems == [(2, key, "not a text", f'write {key} = "{default}"')] and getattr(plan, key) == default


def test_what_is_left_out_is_filled_in_and_listed():
    plan, problems = plan_of("")
    every = [f"smallest_effects.{o}" for o in OUTCOMES] + [f"primary_outcomes.{q}" for q in QUESTIONS]
    every += [f"adjustment.{q}" for q in QUESTIONS if q.startswith("fitness")]
    every += [
        "primary_session",
        "alpha",
        "hypotheses",
        "covariates",
        "exclusions",
        "capacity_unit",
        "round_variable",
        "primary_questions",
        "multiplicity",
    ]
    assert not problems and sorted(plan.proposed) == sorted(every)
    assert (plan.alpha, plan.n_athletes, plan.sexes, plan.looks, plan.aerobic_test) == (0.05, None, "", (), "")
    assert plan.adjustment["fitness.heart_rate"] == propose_adjustment(plan.primary_outcomes["fitness.heart_rate"])
    given, _ = plan_of(
        'exclusions = "pain"\ncovariates = []\n[plan.primary_outcomes]\n"rounds.lactate" = "lactate_mmol_l"\n'
    )
    assert given.exclusions == ("pain",)
    assert not {"exclusions", "covariates", "primary_outcomes.rounds.lactate"} & set(given.proposed)


def test_only_a_section_is_a_plan():
    findings = Findings()
    plan = read_plan(Settings(tomllib.loads("plan = 3\n"), ["plan = 3"]), findings)
    assert [(p.row, p.problem, p.remedy) for p in findings.problems] == [(1, "not a section", "write [plan]")]
    assert plan.alpha == 0.05


def test_a_key_that_no_plan_has():
    assert plan_of("alfa = 0.05\n")[1] == [(2, "alfa", "no such part of the plan; did you mean alpha?", "write alpha")]
    assert plan_of("zzz = 1\n")[1] == [(2, "zzz", "no such part of the plan", f"write one of {', '.join(PLAN_KEYS)}")]


def test_texts_stand_alone_or_in_a_list():
    for typed in ("5", "[5]", '["a", 5]'):
        plan, problems = plan_of(f"exclusions = {typed}\n")
        assert problems == [(2, "exclusions", "not a list of texts", 'write exclusions = ["one", "two"]')]
        assert plan.exclusions == ()


def test_covariates_are_columns_of_the_study():
    plan, problems = plan_of('covariates = ["age_years", "age_year", "moon"]\n')
    assert plan.covariates == ("age_years", "age_year", "moon")
    near, far = problems
    assert near[2:] == ("no column of the study; did you mean age_years?", "write age_years")
    assert far[2:] == (
        "no column of the study",
        "write a column of the athletes or the rounds table, such as age_years",
    )
    assert not plan_of('covariates = ["round_no", "opponent"]\n')[1]


def test_adjustment_is_named_per_question_or_for_all():
    for line, adjusted in (
        ('"fitness.lactate" = "age_years"', ("age_years",)),
        ('fitness.lactate = ["sex"]', ("sex",)),
    ):
        plan, problems = plan_of(f'covariates = ["mass_kg"]\n[plan.adjustment]\n{line}\n')
        assert not problems and plan.adjustment == {"fitness.heart_rate": ("mass_kg",), "fitness.lactate": adjusted}
        assert not any(p.startswith("adjustment") for p in plan.proposed)
    fitness = [q for q in QUESTIONS if q.startswith("fitness")]
    for question in ("rounds.lactate", "moon"):
        problems = plan_of(f'[plan.adjustment]\n"{question}" = ["sex"]\n')[1]
        assert problems == [(2, "adjustment", "no question about fitness", f"write one of {', '.join(fitness)}")]
    for typed in ("5", "[5]"):
        plan, problems = plan_of(f'[plan.adjustment]\n"fitness.lactate" = {typed}\n')
        assert problems == [(2, "adjustment", "not a list of texts", 'write "fitness.lactate" = ["age_years"]')]
        assert plan.adjustment["fitness.lactate"] == ()
    assert plan_of('[plan.adjustment]\n"fitness.lactate" = ["moon"]\n')[1][0][2] == "no column of the study"


def test_primary_questions_stand_once_and_are_known():
    plan, problems = plan_of('primary_questions = ["rounds.lactate", "rounds.lactate", "rounds.lactat"]\n')
    assert plan.primary_questions == ("rounds.lactate",)
    assert [p[2] for p in problems] == ["no such question; did you mean rounds.lactate?"]
    assert problems[0][3] == f"write one of {', '.join(QUESTIONS)}"
    assert plan_of("primary_questions = []\n")[0].primary_questions == ()


@pytest.mark.parametrize(
    ("line", "said", "remedy"),
    [
        ('"rounds.lactate" = "exertion"', "exertion does not answer rounds.lactate", "write one of lactate_mmol_l"),
        ('"rounds.lactate" = ["moon"]', "no such outcome", f"write one of {', '.join(OUTCOMES)}"),
        (
            '"rounds.lactates" = 1',
            "no such question; did you mean rounds.lactate?",
            f"write one of {', '.join(QUESTIONS)}",
        ),
    ],
)
def test_primary_outcomes_answer_their_question(line, said, remedy):
    plan, problems = plan_of(f"[plan.primary_outcomes]\n{line}\n")
    assert [p[1:3] for p in problems] == [("primary_outcomes", said)] and problems[0][3].startswith(remedy)
    assert plan.primary_outcomes == plan_of("")[0].primary_outcomes
    assert plan_of('primary_outcomes = "exertion"\n')[1][0][1] == "primary_outcomes"


def test_smallest_effects_are_sizes_with_a_reason_or_without():
    text = """[plan.smallest_effects]
hr_mean_bpm = 4
exertion = { value = 2, reason = "one word of the scale" }
lactate_mmol_l = { value = 1.5 }
hr_late_bpm = { reason = "as before" }
"""
    plan, problems = plan_of(text)
    assert [p[1:] for p in problems] == [
        ("hr_late_bpm", "not a size above 0", f"write hr_late_bpm = {OUTCOMES['hr_late_bpm'].smallest_effect:g}")
    ]
    assert [plan.smallest_effects[o] for o in ("hr_mean_bpm", "exertion", "lactate_mmol_l")] == [4.0, 2.0, 1.5]
    reasons = plan.smallest_effect_reasons
    assert [reasons[o] for o in ("hr_mean_bpm", "exertion", "lactate_mmol_l")] == ["", "one word of the scale", ""]
    assert reasons["hr_peak_bpm"] == PROPOSED_REASON
    for typed, fits in (("0", False), ("0.001", True), ("999999", True), ("1e6", False), ("true", False)):
        assert bool(plan_of(f"[plan.smallest_effects]\nexertion = {typed}\n")[1]) is not fits, typed
    why = plan_of('[plan.smallest_effect_reasons]\nexertion = "why"\nmoon = "x"\n')
    assert why[0].smallest_effect_reasons["exertion"] == "why" and [p[1] for p in why[1]] == ["smallest_effect_reasons"]
    for key in ("smallest_effects", "smallest_effect_reasons", "assumptions"):
        said = (2, key, "not a section", f"write [plan.{key}] and one line for each outcome")
        assert plan_of(f"{key} = 3\n")[1] == [said]


def test_assumptions_are_passed_on():
    plan, problems = plan_of('[plan.assumptions]\nage_low = { value = 20, low = 18, high = 22, reason = "club" }\n')
    assert not problems and plan.assumptions == {"age_low": 20.0}
    assert plan.assumption_ranges == {"age_low": (18.0, 22.0)} and plan.assumption_reasons == {"age_low": "club"}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("moon = 3", "no such assumption"),
        ("age_lo = 3", "no such assumption; did you mean age_low?"),
        ("age_low = { low = 3 }", "an assumption needs a number; low and high go together"),
        ("age_low = { value = 3, unit = 1 }", "an assumption needs a number; low and high go together"),
        ("age_low = true", "an assumption needs a number; low and high go together"),
        ("age_low = { value = 2, low = 3, high = 4 }", "low, value and high are not in order"),
        ("age_low = { value = 5, low = 3, high = 4 }", "low, value and high are not in order"),
        ("age_low = { low = 4, high = 3 }", "low, value and high are not in order"),
        ("age_low = { value = 3, low = 3, high = 4 }", ""),
        ("age_low = { value = 4, low = 3, high = 4 }", ""),
        ("age_low = { low = 3, high = 3 }", ""),
    ],
)
def test_assumptions_are_numbers_in_order(line, said):
    plan, problems = plan_of(f"[plan.assumptions]\n{line}\n")
    assert [p[1:3] for p in problems] == ([("assumptions", said)] if said else [])
    assert bool(plan.assumption_ranges) is not bool(said)
    if line.startswith("moon"):
        assert problems[0][3].startswith("write one of ") and "age_low, age_high" in problems[0][3]


def hypothesis(*lines, more=""):
    return plan_of("[[plan.hypotheses]]\n" + "\n".join(lines) + "\n" + more)


def test_a_hypothesis_has_a_direction_that_fits_its_question():
    for question, fits in (
        ("fitness.lactate", ("lower", "higher", "differs")),
        ("rounds.lactate", ("rises", "falls", "differs")),
    ):
        for direction in ("lower", "higher", "rises", "falls", "differs", "raises", ""):
            plan, problems = hypothesis(f'question = "{question}"', f'direction = "{direction}"')
            if direction in fits:
                assert not problems and plan.hypotheses[0].direction == direction == plan.direction(question)
                continue
            known = direction in ("lower", "higher", "rises", "falls")
            assert plan.hypotheses == () and problems[0][3] == f"write one of {', '.join(fits)}"
            assert problems[0][2].startswith("does not fit this question" if known else "no such direction")
            assert problems[0][0] == 4
    assert plan.direction("rounds.lactate") == "differs"


def test_a_hypothesis_names_the_primary_outcome():
    lines = ('question = "rounds.heart_rate"', 'outcome = "hr_late_bpm"', 'direction = "rises"', 'text = "It rises."')
    plan, problems = hypothesis(*lines)
    remedy = 'write outcome = "hr_mean_bpm", or "rounds.heart_rate" = "hr_late_bpm" under [plan.primary_outcomes]'
    assert [(p[0], p[1], p[3]) for p in problems] == [(4, "outcome", remedy)]
    assert plan.hypotheses == (Hypothesis("rounds.heart_rate", "hr_late_bpm", "rises", "It rises."),)
    both = hypothesis(*lines, more='[plan.primary_outcomes]\n"rounds.heart_rate" = "hr_late_bpm"\n')
    assert not both[1] and both[0].primary_outcomes["rounds.heart_rate"] == "hr_late_bpm"
    assert hypothesis(lines[0], 'outcome = "exertion"', lines[2])[0].hypotheses == ()
    second = hypothesis(lines[0], lines[2], more='[[plan.hypotheses]]\nquestion = "rounds.lactate"\ndirection = "up"\n')
    assert [p[0] for p in second[1]] == [7] and len(second[0].hypotheses) == 1
    assert hypothesis('direction = "rises"')[0].hypotheses == ()
    for typed in ("5", '["a"]'):
        plan, problems = plan_of(f"hypotheses = {typed}\n")
        said = ("not a list of hypotheses", "write [[plan.hypotheses]] above each")
        assert plan.hypotheses == () and [p[2:] for p in problems] == [said]


def test_hypotheses_in_the_words_of_the_kit():
    label = "mean heart rate"
    texts = [
        propose_hypothesis(q, "hr_mean_bpm", d).text
        for q, d in (
            ("rounds.heart_rate", "rises"),
            ("rounds.heart_rate", "differs"),
            ("fitness.heart_rate", "differs"),
            ("fitness.heart_rate", "lower"),
        )
    ]
    fitter = "In athletes with a higher aerobic capacity,"
    assert texts == [
        f"Over the rounds, {label} rises.",
        f"Over the rounds, {label} differs.",
        f"{fitter} {label} differs.",
        f"{fitter} {label} is lower.",
    ]


def test_looks_grow_from_four_to_the_most():
    said = []
    looks = [
        read_looks(g, lambda *a: said.append(a))
        for g in ({"sizes": [4, 5, MOST_ATHLETES], "rule": "pocock"}, None, {"sizes": [8]})
    ]
    assert looks == [((4, 5, MOST_ATHLETES), "pocock"), ((), "obrien-fleming"), ((8,), "obrien-fleming")] and not said
    for sizes in ([], [3, 8], [8, 8], [8, MOST_ATHLETES + 1], [8.0], [True], "8", None):
        assert read_looks({"sizes": sizes, "rule": "pocock"}, lambda *a: said.append(a)) == ((), "obrien-fleming"), (
            sizes
        )
        assert said.pop()[0] == "looks.sizes"
    assert read_looks({"sizes": [8], "rule": "even", "x": 1}, lambda *a: said.append(a)) == ((8,), "obrien-fleming")
    assert [a[0] for a in said] == ["looks.x", "looks.rule"]
    assert read_looks(3, lambda *a: said.append(a)) == ((), "obrien-fleming") and said[-1][2] == "not a section"


def test_a_share_of_the_maximum_is_not_adjusted_for_the_maximum():
    assert [propose_adjustment(o) for o in ("percent_hr_max", "hr_mean_bpm", "lactate_mmol_l")] == [
        ("sex",),
        ("hr_max_bpm", "sex"),
        ("age_years", "sex"),
    ]
    share = Plan(adjustment={"q": ("hr_max_bpm", "sex")}, primary_outcomes={"q": "percent_hr_max"})
    assert share.adjusted_for("q", "percent_hr_max") == ("sex",)
    assert share.adjusted_for("q", "hr_mean_bpm") == ("hr_max_bpm", "sex")
    alone = Plan(adjustment={"q": ("sex",)}, primary_outcomes={"q": "percent_hr_max"})
    assert alone.adjusted_for("q", "hr_mean_bpm") == ("hr_max_bpm", "sex")
    assert alone.adjusted_for("q", "lactate_mmol_l") == ("sex",)
    beats = Plan(adjustment={"q": ("sex",)}, primary_outcomes={"q": "hr_mean_bpm"})
    assert beats.adjusted_for("q", "hr_peak_bpm") == ("sex",)
    assert Plan(covariates=("mass_kg",)).adjusted_for("q", "hr_mean_bpm") == ("mass_kg",)
    assert Plan().adjusted_for("q", "hr_mean_bpm") == ("hr_max_bpm", "sex")


def test_the_planned_test_of_fitness_is_the_first():
    for typed, first in (('["shuttle", "step"]', "shuttle"), ("[]", ""), ("[5]", ""), ('"shuttle"', "")):
        assert plan_of("", f"[fitness]\ntests = {typed}\n")[0].aerobic_test == first, typed
    assert plan_of("", "fitness = 3\n")[0].aerobic_test == ""


def test_what_is_left_out_stays_as_it_was_fixed():
    left_out = ("alpha", "smallest_effects.a", "smallest_effects.c")
    reasons = {"a": "new", "b": "own", "c": "new"}
    plan = Plan(
        smallest_effects={"a": 1.0, "b": 2.0, "c": 3.0},
        proposed=left_out,
        smallest_effect_reasons=reasons,
        n_athletes=9,
    )
    fixed = Plan(alpha=0.01, smallest_effects={"a": 7.0, "b": 8.0}, smallest_effect_reasons={"a": "then"}, n_athletes=5)
    kept = keep_fixed(plan, fixed)
    assert (kept.alpha, kept.n_athletes, kept.smallest_effects) == (0.01, 9, {"a": 7.0, "b": 2.0, "c": 3.0})
    assert kept.smallest_effect_reasons == {"a": "then", "b": "own", "c": "new"}
    assert plan.smallest_effects["a"] == 1.0 and plan.smallest_effect_reasons["a"] == "new"


def test_the_primary_session_is_one_of_the_study():
    findings = Findings()
    stated, proposed = Plan(primary_session="2"), Plan(proposed=("primary_session",))
    for plan, sessions, session in (
        (stated, [], "2"),
        (stated, ["1", "2"], "2"),
        (proposed, ["a", "b"], "a"),
        (proposed, ["0", "1"], "1"),
    ):
        assert settle_primary_session(plan, sessions, 3, findings).primary_session == session
    assert not findings.problems
    assert settle_primary_session(stated, ["a", "b"], 3, findings).primary_session == "2"
    found = findings.problems[0]
    assert (found.row, found.remedy) == (3, "write one of a, b, or add it to the table")
