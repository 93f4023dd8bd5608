"""No published equation turns a data package back into anybody's age, body mass or sex: each is inverted here."""

import re
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from report_simulated import simulate_answers

from analysis.basics import KitError
from analysis.physiology import (
    capacity_step_to_share,
    estimate_vo2max,
    hr_max_equations,
    known_aerobic_tests,
    predict_hr_max,
)
from analysis.report.data_package import PACKAGE_COLUMNS, make_data_package
from analysis.report.sharing import SharedAnswers
from analysis.study.privacy import secret_labels

KNOWN = known_aerobic_tests()
TELLING = {"age_years": 5, "mass_kg": 5, "sex": None}
"""What is asked for, with the finest width in which the package may tell it."""

PLAUSIBLE = {
    "age_years": lambda rng: int(rng.integers(11, 46)),
    "sex": lambda rng: str(rng.choice(["F", "M"])),
    "mass_kg": lambda rng: round(float(rng.uniform(45, 105)), 1),
    "level": lambda rng: int(rng.integers(3, 15)),
    "shuttle": lambda rng: int(rng.integers(0, 8)),
    "speed_kmh": lambda rng: float(rng.integers(17, 31)) / 2,
    "time_min": lambda rng: round(float(rng.uniform(7, 18)), 2),
    "distance_m": lambda rng: int(rng.integers(60, 160)) * 20,
    "hr_bpm": lambda rng: int(rng.integers(120, 175)),
    "recovery_hr_bpm": lambda rng: int(rng.integers(100, 175)),
    "hr_low_bpm": lambda rng: int(rng.integers(115, 130)),
    "hr_high_bpm": lambda rng: int(rng.integers(140, 170)),
    "hr_max_bpm": lambda rng: int(rng.integers(175, 206)),
    "hr_rest_bpm": lambda rng: int(rng.integers(45, 75)),
    "power_w": lambda rng: int(rng.integers(3, 20)) * 25,
    "power_low_w": lambda rng: int(rng.integers(3, 6)) * 25,
    "power_high_w": lambda rng: int(rng.integers(6, 10)) * 25,
    "steps_min": lambda rng: int(rng.integers(15, 36)),
    "height_m": lambda rng: float(rng.choice([0.2, 0.3, 0.4])),
}


def inputs_of(test):
    """The inputs of a test: those of its first way of asking."""
    row = KNOWN[(KNOWN["test"] == test) & KNOWN["default"]].iloc[0]
    return [name for name in row["inputs"].split(" or ")[0].split(", ") if name]


def draw(test, rng, **fixed):
    """Plausible inputs of a test that its equation accepts, and the capacity that it gives."""
    for _ in range(400):
        values = {name: PLAUSIBLE[name](rng) for name in inputs_of(test)} | fixed
        try:
            return values, estimate_vo2max(test, **values).value
        except KitError:
            continue
    return None


def words_of(test):
    rows = KNOWN[KNOWN["test"] == test]
    return " ".join(rows["inputs"] + rows["optional_inputs"])


INVERTIBLE = [
    test
    for test in KNOWN["test"].unique()
    if test not in ("gas_exchange", "laboratory") and TELLING.keys() & set(inputs_of(test))
]


def test_every_equation_that_takes_age_mass_or_sex_is_inverted_here():
    words = KNOWN["inputs"] + ", " + KNOWN["optional_inputs"]
    takes = KNOWN[words.str.contains("age_years|mass_kg|sex") & KNOWN["error_kind"].ne("retest")]["test"]
    assert set(takes) == set(INVERTIBLE) and len(INVERTIBLE) > 8
    for test in INVERTIBLE:
        assert capacity_step_to_share({test}) == (float("inf") if re.search("sex|mass_kg", words_of(test)) else 5), test
        default = KNOWN[(KNOWN["test"] == test) & KNOWN["default"]].iloc[0]
        one = capacity_step_to_share({test}, equations={default["equation"]})
        assert one == (float("inf") if re.search("sex|mass_kg", default["inputs"]) else 5), test
    assert capacity_step_to_share({"a test of tomorrow"}) == 5


def package_of(test, seed):
    """A generated study whose capacities come from this test, and what its package tells about whom."""
    rng = np.random.default_rng([seed, len(test)])
    answers = simulate_answers(seed, "strong", n=14, changed_after=True)
    athletes = answers.study.athletes
    athletes["consent_shared_data"] = "yes"
    people = [draw(test, rng) for _ in range(14)]
    assert None not in people
    for name in TELLING:
        if name in inputs_of(test):
            athletes[name] = [values[name] for values, _ in people]
    capacity = answers.capacity
    capacity["capacity"], capacity["test"] = [value for _, value in people], test
    capacity["equation"] = KNOWN[(KNOWN["test"] == test) & KNOWN["default"]].iloc[0]["equation"]
    package = make_data_package(answers)
    labels = secret_labels(answers.study, list(athletes["athlete"]), prefix="P", purpose="data package")
    told = package.tables["athletes"].set_index("person")
    return [(values, told.loc[labels[a]].to_dict()) for a, (values, _) in zip(athletes["athlete"], people, strict=True)]


def candidates(name, true, told):
    """Every value that the package itself leaves open: the whole band, or anything."""
    if name == "sex":
        return [told["sex"]] if told.get("sex", "") in ("F", "M") else ["F", "M"]
    band = str(told.get(name, ""))
    if "-" in band:
        low, high = (int(part) for part in band.split("-"))
    else:
        low, high = int(true // 5) * 5, int(true // 5) * 5 + 4
    return list(range(low, high + 1))


@pytest.mark.parametrize("test", INVERTIBLE)
def test_a_package_leaves_open_what_its_bands_leave_open(test):
    rng = np.random.default_rng(5)
    people = package_of(test, 1)
    if {"sex", "mass_kg"} & set(inputs_of(test)):
        assert not any("capacity" in told for _, told in people)
        return
    for values, told in people[:6]:
        for name in TELLING.keys() & values.keys():
            for candidate in candidates(name, values[name], told):
                assert any(
                    (made := draw(test, rng, **{name: candidate})) is not None
                    and round(made[1] / 5) * 5 == told["capacity"]
                    for _ in range(600)
                ), f"{name} {candidate} is ruled out for {values} by {told}"


def test_an_exact_capacity_would_have_given_the_ages_away():
    """What the coarse step is for: stage and age of the shuttle run are the only ones that give this number."""
    test, rng = "shuttle_run_20m", np.random.default_rng(2)
    speeds = [8.5 + 0.5 * stage for stage in range(14)]
    for age in rng.integers(11, 18, 8):
        exact = estimate_vo2max(test, age_years=int(age), speed_kmh=float(rng.choice(speeds))).value
        fits = {
            a
            for a in range(11, 18)
            for v in speeds
            if abs(estimate_vo2max(test, age_years=a, speed_kmh=v).value - exact) < 1e-6
        }
        assert fits == {int(age)}


EQUATIONS = hr_max_equations()


@pytest.mark.parametrize("equation", list(EQUATIONS["equation"] if isinstance(EQUATIONS, pd.DataFrame) else EQUATIONS))
def test_no_heart_rate_of_a_package_is_a_function_of_age(equation):
    """Maximal heart rate, predicted or typed as measured, and everything that is a share of it, is in no package."""
    answers = simulate_answers(2, "strong", n=14, changed_after=True)
    athletes = answers.study.athletes
    athletes["consent_shared_data"] = "yes"
    athletes["sex"] = ["F"] * 14 if equation.startswith("gulati") else ["F", "M"] * 7
    athletes["hr_max_bpm"] = [
        predict_hr_max(a, equation, sex=s).value for a, s in zip(athletes["age_years"], athletes["sex"], strict=True)
    ]
    athletes["hr_max_source"] = "measured"
    rows = answers.cleaned.rows
    maxima = rows["athlete"].map(athletes.set_index("athlete")["hr_max_bpm"])
    rows["percent_hr_max"] = 100 * rows["hr_mean_bpm"] / maxima
    rows["very_light_s"] = 300.0
    package = make_data_package(answers)
    for table in package.tables.values():
        assert not [c for c in table if "max" in c or "reserve" in c or "rest_bpm" in c or "light" in c]
    told = package.tables["athletes"]
    numbers = told.select_dtypes("number").to_numpy().ravel()
    assert not {round(v, 6) for v in numbers} & {round(v, 6) for v in athletes["hr_max_bpm"]}


def test_what_differs_by_sex_or_test_is_no_column():
    names = {c.name for c in PACKAGE_COLUMNS}
    assert not {
        n for n in names if "standard_error" in n or "error_kind" in n or "impulse" in n or n.startswith("vo2_l")
    }


def test_what_is_told_cannot_be_joined_with_what_is_not(demo_answers):
    """No value of a package has more digits than are meant, so that the owner's numbers do not point to it."""
    rounds = make_data_package(demo_answers).tables["rounds"]
    exact = set(demo_answers.rows["hr_mean_bpm"].dropna().round(6))
    told = rounds["hr_mean_bpm"].dropna()
    assert (told % 1 == 0).all() and not exact & set(told) - {v for v in exact if v % 1 == 0}
    assert (rounds["hr_peak_bpm"].dropna() % 1 == 0).all()


def test_who_did_not_agree_cannot_be_worked_out_from_means_and_package(demo_answers):
    """The means of everybody minus the package: nobody, or five and more, for every round and outcome of the primary evening."""
    study, package = demo_answers.study, make_data_package(demo_answers)
    session = study.plan.primary_session
    rows = demo_answers.rows
    rows = rows[rows["session"].eq(session) & ~rows["took_part"].isin(["sat_out", "left"])]
    told = package.tables["rounds"]
    told = told[told["session"].eq("1")]
    for outcome in ("hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "lactate_mmol_l", "exertion"):
        for round_no in sorted(rows["round_no"].unique()):
            everybody = int(rows.loc[rows["round_no"] == round_no, outcome].notna().sum())
            inside = int(told.loc[told["round_no"] == round_no, outcome].notna().sum())
            assert everybody - inside == 0 or everybody - inside >= 5, (outcome, round_no)
    heart_rate = package.tables["heart_rate"]
    silent = told[told["round_no"].gt(0) & told["hr_mean_bpm"].isna() & told["hr_peak_bpm"].isna()]
    with_samples = set(zip(heart_rate["session"], heart_rate["person"], heart_rate["round_no"], strict=True))
    whole = told[told["hr_mean_bpm"].notna() & told["hr_source"].eq("trace")]
    assert {*zip(whole["session"], whole["person"], whole["round_no"], strict=True)} <= with_samples
    assert len(silent) > 0


def test_figures_of_heart_rate_and_of_its_share_do_not_give_the_maximum_back(demo_answers):
    """What the lines of one athlete in both figures leave open, over all rounds together."""
    shared = SharedAnswers(demo_answers)
    keys = ["athlete", "round_no"]
    heart, share = (shared.rounds(name).rows.set_index(keys)["value"] for name in ("hr_mean_bpm", "percent_hr_max"))
    both = pd.DataFrame({"heart": heart, "share": share}).dropna()
    assert len(both) > 30 and (both["share"] % 5 == 0).all()
    low = (100 * (both["heart"] - 0.5) / (both["share"] + 2.5)).groupby("athlete").max()
    high = (100 * (both["heart"] + 0.5) / (both["share"] - 2.5)).groupby("athlete").min()
    assert (high - low).min() > 2 and (high - low).median() > 4  # exact shares leave less than half a beat open
