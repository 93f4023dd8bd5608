"""Sentences on fitness: right for every verdict, careful where little can be said, and never more than the answer holds."""

import importlib.util
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from report_rules import faults_of_words

from analysis.basics import NotYet, format_ci, format_number
from analysis.capacity import answer_capacity
from analysis.capacity.correlation import correlation_levels
from analysis.telling.fitness import sentences as said
from analysis.telling.fitness import tables

_spec = importlib.util.spec_from_file_location(
    "capacity_club", Path(__file__).parents[1] / "capacity" / "capacity_club.py"
)
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)
make_club = _module.make_club

PRECISE = {"n": 40, "between_sd": 1.5, "within_sd": 1.0, "rounds": 3}
PLAIN = (
    said.plain_capacity,
    said.plain_fault_of_test,
    said.plain_influence,
    said.plain_specifications,
    said.plain_drift,
)


def answer(made, outcome="hr_mean_bpm", *, smallest_effect=5.0, chart=False, **more):
    rows, capacity, athletes = made
    return answer_capacity(rows, capacity, athletes, outcome, smallest_effect=smallest_effect, chart=chart, **more)


def texts(found):
    return [t for t in (*(say(found) for say in PLAIN), *said.write_up_capacity(found)) if t]


def unbounded():
    rows, capacity, athletes = make_club(n=8)
    return rows, capacity.assign(standard_error=capacity["capacity"].std() * 1.1), athletes


def without_error():
    rows, capacity, athletes = make_club(n=10)
    return rows, capacity.assign(standard_error=np.nan), athletes


CASES = {
    "supported": lambda: answer(make_club(slope=-1.5, **PRECISE)),
    "opposite": lambda: answer(make_club(slope=1.5, **PRECISE)),
    "negligible": lambda: answer(make_club(slope=0.0, **PRECISE)),
    "imprecise": lambda: answer(make_club(seed=3, n=10), chart=True),
    "four": lambda: answer(make_club(n=4), chart=True),
    "mixed club": lambda: answer(make_club(n=18, women=7, age_spread=9, missing=0.1), chart=True),
    "prediction": lambda: answer(make_club(n=14, prediction_see=4.4)),
    "unbounded": lambda: answer(unbounded()),
    "no error known": lambda: answer(without_error()),
    "lactate": lambda: answer(make_club(n=12, age_spread=5), "lactate_mmol_l", smallest_effect=1.0),
    "exertion": lambda: answer(make_club(n=12), "exertion", smallest_effect=1.0),
    "differs": lambda: answer(make_club(n=10), direction="differs"),
    "litres": lambda: answer(_litres()),
}


def _litres():
    rows, capacity, athletes = make_club(n=12)
    return rows, capacity.assign(capacity=capacity["vo2_l_min"], unit="L/min", standard_error=0.2), athletes


@pytest.mark.parametrize("name", CASES)
def test_every_text_keeps_the_rules_of_words(name):
    found = CASES[name]()
    for text in texts(found):
        assert not faults_of_words(text), (name, faults_of_words(text))
        assert "not available" not in text, (name, text)
        assert text[0].isupper() and text.endswith(".")
        assert found.points["athlete"].iloc[0] not in text


def test_each_verdict_has_its_words():
    plain = {name: said.plain_capacity(CASES[name]()) for name in ("supported", "opposite", "negligible", "imprecise")}
    found = CASES["supported"]()
    size = f"{abs(found.contrast):.0f}\N{NO-BREAK SPACE}beats"
    assert plain["supported"].startswith(
        f"Fitter athletes run lower: someone 10\N{NO-BREAK SPACE}mL/kg/min fitter by {size}"
    )
    assert "run higher, against what was expected" in plain["opposite"]
    assert "are the same within 5\N{NO-BREAK SPACE}beats in mean heart rate" in plain["negligible"]
    assert plain["imprecise"].startswith("We cannot tell yet whether fitter athletes run lower. Someone 10")
    assert "does not show that fitness plays no part" in plain["imprecise"]
    assert "differ in mean heart rate" in said.plain_capacity(CASES["differs"]())
    with_yardstick = said.plain_capacity(CASES["imprecise"](), yardstick="three", short=True)
    assert "fitter (about three shuttle levels) could run" in with_yardstick and "athletes, at" not in with_yardstick


def test_the_numbers_are_those_of_the_answer():
    found = CASES["supported"]()
    text = said.write_up_capacity(found)[0]
    for number in (f"{found.contrast:.1f}", f"{found.contrast_ci_low:.1f}", f"{found.contrast_ci_high:.1f}"):
        assert number.replace("-", "−") in text
    assert "p < .001" in text
    assert f"{found.n_athletes} athletes ({found.n_observations} values)" in text
    row = tables.capacity_table({"hr_mean_bpm": found}).shown.iloc[0]
    assert row["Difference"] == format_number(found.contrast, 1, sign=True)
    assert row["95\N{NO-BREAK SPACE}% interval"] == format_ci(found.contrast_ci_low, found.contrast_ci_high, 1)
    assert row["Reading"] == "as expected"


def test_the_fault_of_the_test_is_said_by_its_kind():
    assert "This kind of error does not shrink the effect" in said.plain_fault_of_test(CASES["prediction"]())
    assert "It shrinks the effect too" in said.plain_fault_of_test(CASES["imprecise"]())
    assert "may be the fault of the test altogether" in said.plain_fault_of_test(CASES["unbounded"]())
    assert "its error is not known" in said.plain_fault_of_test(CASES["no error known"]())
    table = tables.error_table({"hr_mean_bpm": CASES["unbounded"]()}).shown
    assert table["Corrected"].iloc[0] == "cannot be corrected"


def test_refusals_and_not_yet_pass_through():
    refused = answer(make_club(uses_heart_rate=True, test="hr_ratio"))
    assert "What to do" in said.plain_capacity(refused)
    assert said.write_up_capacity(refused) == [str(refused)]
    waiting = NotYet("fitness and mean heart rate", "an aerobic test per athlete")
    for say in PLAIN:
        assert say(waiting) in ("", str(waiting))
    assert said.plain_levels(waiting) == str(waiting)
    assert not faults_of_words(str(refused))


def test_levels_keep_the_two_questions_apart():
    rows, _, _ = make_club(n=14)
    text = said.plain_levels(correlation_levels(rows, "lactate_mmol_l", "hr_mean_bpm"))
    assert "Between athletes, which is another question" in text
    assert not faults_of_words(text)


def test_the_limits_hold_the_cautions_and_the_warnings():
    found = CASES["mixed club"]()
    told = " ".join(tables.cautions_of({"hr_mean_bpm": found}))
    assert "overstates oxygen uptake" in told
    assert "no proof that training would change" in told


def test_a_refusal_stands_last_among_what_was_checked():
    refused = answer(make_club(uses_heart_rate=True, test="hr_ratio"))
    assert tables.table_guards(refused)["Result"].tolist()[-1] == "refused"


def test_a_corrected_correlation_beyond_what_a_correlation_can_be_is_not_printed():
    found = CASES["prediction"]()
    for corrected, printed in ((True, "−0.83"), (False, "cannot be corrected")):
        errors = found.errors.assign(estimate=-0.83, ci_low=-0.95, ci_high=0.2, corrected=corrected)
        errors = errors[errors["quantity"] == "correlation"]
        table = tables.error_table({"hr_mean_bpm": replace(found, errors=errors)}).shown
        assert table["Corrected"].item() == printed
    chart = SimpleNamespace(n_specifications=6, share_same_sign=0, share_excluding_zero=1, share_opposite=5 / 6)
    assert said._agreement(chart) == {"same": "none", "shown": "all", "contrary": "5"}


def test_tables_hold_every_line_of_the_answer():
    for name in ("mixed club", "four", "lactate", "no error known", "imprecise"):
        found = CASES[name]()
        outcome = {found.outcome: found}
        guards = tables.table_guards(found)
        assert len(guards) == len(found.guards) and guards.notna().all(axis=None)
        assert len(tables.correlations_table(outcome).shown) == len(found.correlations)
        assert len(tables.slopes_table(found).shown) >= len(found.slopes)
        drift = tables.drift_table(outcome)
        assert drift is None or len(drift.shown) == len(found.drift)
        robust = tables.robustness_table(outcome)
        for table in (tables.correlations_table(outcome), tables.slopes_table(outcome), drift, robust):
            cells = "" if table is None else " ".join(table.shown.astype(str).to_numpy().ravel())
            assert "nan" not in cells.split() and "not available" not in cells, (name, cells)


def test_an_interval_that_spans_readings_off_the_scale_says_so(demo_answers):
    spans = "for every place that readings off the analyser's scale may have"
    assert spans in " ".join(said.write_up_capacity(demo_answers.fitness("lactate_mmol_l")))
    assert spans not in " ".join(said.write_up_capacity(demo_answers.fitness("hr_mean_bpm")))


def test_a_count_of_analyses_is_said_as_none_all_or_a_number():
    chart = SimpleNamespace(n_specifications=6, share_same_sign=1, share_excluding_zero=5 / 6, share_opposite=0)
    assert said._agreement(chart) == {"same": "all", "shown": "5", "contrary": "none"}
