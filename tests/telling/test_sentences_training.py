"""Sentences of training studies: 60 simulated ones keep the rules of every write-up and claim no more than their results."""

import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "report"))
from report_rules import faults_of_words

from analysis.basics import NotYet
from analysis.telling.training import sentences as say
from analysis.telling.training import tables
from analysis.training import plan_training
from analysis.training.answer import TrainingAnswer, answer_training
from analysis.training.before_after import before_after

CAPACITY = {"label": "Aerobic capacity", "unit": "mL/kg/min", "digits": 1, "wanted": 1, "smallest": 2.0}
HEART = {"label": "Mean heart rate in sparring", "unit": "bpm", "digits": 1, "wanted": -1, "smallest": 5.0}


def simulated(seed):
    """A training study of any size, effect, loss and design."""
    rng = np.random.default_rng(seed)
    n = int(rng.choice([6, 8, 9, 12, 14, 24, 44]))
    design = str(rng.choice(["parallel", "delayed_start", "matched_pairs"]))
    n -= n % 2 if design == "matched_pairs" else 0
    codes = [f"A{i:02d}" for i in range(n)]
    arm = np.where(np.arange(n) % 2 == 0, "trained", "control")
    groups = pd.DataFrame({"athlete": codes, "arm": arm, "pair": [f"P{i // 2}" for i in range(n)]})
    effect, lost = float(rng.choice([0, 0, 2, 5, -4])), float(rng.choice([0, 0.1, 0.3]))
    values = {}
    for name, centre, spread, sign in (("capacity", 48, 5, 1), ("hr", 172, 8, -1)):
        true = rng.normal(centre, spread, n)
        rows = []
        for phase, occasions in (("pre", rng.integers(1, 3)), ("post", rng.integers(1, 3))):
            for k in range(1, int(occasions) + 1):
                value = true + rng.normal(0, spread / 3, n)
                value += sign * effect * ((arm == "trained") & (phase == "post"))
                gone = (rng.random(n) < lost) & (phase == "post")
                rows += [
                    {"athlete": a, "phase": phase, "occasion": k, "value": v}
                    for a, v, g in zip(codes, value, gone, strict=True)
                    if not g
                ]
        values[name] = pd.DataFrame(rows)
    return answer_training(
        values,
        groups,
        described={"capacity": CAPACITY, "hr": HEART},
        design=design,
        how_allocated="On 2026-03-08 chance drew allocation 17 of 240.",
        protocol="four_by_four",
        weeks=8,
        sessions_per_week=3,
        conditions=("they began 1.5 h later",) if seed % 5 == 0 else (),
    )


@pytest.mark.parametrize("start", range(0, 60, 30))
def test_simulated_studies_keep_the_rules(start):
    for seed in range(start, start + 30):
        answer = simulated(seed)
        texts = [say.plain_training(answer), *say.write_up_training_methods(answer), *say.write_up_training(answer)]
        faults = [f for text in texts for f in faults_of_words(text)]
        assert not faults, (seed, faults)
        for text in texts:
            for sentence in re.split(r"(?<=[.?!])\s+", text):
                plain = re.sub(r"\([^()]*\)", "", sentence)
                assert len(plain.split()) <= 35, (seed, sentence)
        claims_follow_results(answer, say.plain_training(answer), seed)
        for table in tables.training_tables(answer):
            assert len(table.shown) and not table.shown.isin(["nan", "None"]).any(axis=None), (seed, table.key)


def claims_follow_results(answer, text, seed):
    """What is called more than chance is in both tests; what is not confirmatory says why."""
    parts = text.split("\n\n")
    for one, part in zip(answer.outcomes.values(), parts, strict=False):
        both = max(one.main.p, one.randomisation.p)
        if "more than chance" in part:
            assert both <= one.p_adjusted <= 0.05, seed
        if "whole interval lies beyond" in part:
            assert min(one.wanted * one.main.ci_low, one.wanted * one.main.ci_high) > one.smallest, seed
        if "cannot tell" in part:
            low, high = re.search(r"cannot tell (\S+) from ([−\d.]+)", part).groups()
            ends = sorted(float(v.replace("−", "-")) for v in (low, high))
            assert one.main.ci_low - 0.1 <= ends[0] <= ends[1] <= one.main.ci_high + 0.1, (seed, part)
        assert ("No confirmatory claim" in part) is (not one.confirmatory), seed
        if min(one.main.n_trained, one.main.n_reference) < 12:
            assert "smaller than" not in part, seed


def test_not_yet_is_silent_in_an_ordinary_study_and_speaks_in_a_training_study():
    assert (
        say.plain_training(NotYet("x", "tests or evenings with phase pre and phase post (columns phase and occasion)"))
        == ""
    )
    assert "sealed" in say.plain_training(NotYet("the training study", "the sealed file"))
    assert say.write_up_training(NotYet("x", "y")) == say.write_up_training_methods(NotYet("x", "y")) == []


def test_one_athlete_reads_within_the_error_of_the_test():
    answer = simulated(3)
    one = answer.outcomes["capacity"]
    shown = one.athletes.assign(change=[0.5, 40.0, *one.athletes["change"][2:]])
    one = replace(one, athletes=shown.assign(within_error=shown["change"].abs() <= 5), detectable=5.0)
    first, second = shown["athlete"][:2]
    assert "within the error of the test (5.0" in say.athlete_change(one, first)
    assert "more than the error" in say.athlete_change(one, second)
    assert say.athlete_change(one, "nobody") == ""


def test_six_and_six_in_words():
    """Issue of the study that follows: a gain of the published size in 41 to 60 of 100, and "no effect" cannot be shown."""
    found = [
        " ".join(
            say.write_up_training_size(
                plan_training(sizes=[6], effects=[4.1], sd_between=5, typical_error=e, baselines=1)
            )
        )
        for e in (2.6, 2.0)
    ]
    assert "4.1 in 41 of 100" in found[0] and "4.1 in 60 of 100" in found[1]
    assert all("cannot show" in text for text in found)


def test_a_predicted_maximum_in_words():
    text = say.why_no_band()
    assert (
        "180" in text
        and "37 of 100" in text
        and "for 31 too low" in text
        and "for 32 too high" in text
        and "for 18 the upper end" in text
    )


def test_before_and_after_is_never_called_an_effect():
    rng = np.random.default_rng(2)
    values = pd.DataFrame(
        [
            {"athlete": f"A{i}", "phase": phase, "occasion": 1, "value": 170 + i + drop + rng.normal(0, 2)}
            for i in range(9)
            for phase, drop in (("pre", 0), ("post", -6))
        ]
    )
    one = before_after(values, outcome="hr", label="Mean heart rate in sparring", unit="bpm")
    answer = TrainingAnswer(design="before_after", outcomes={"hr": one}, protocol="four_by_four", weeks=8)
    text = " ".join(
        [say.plain_training(answer), *say.write_up_training(answer), *say.write_up_training_methods(answer)]
    )
    assert "lower than before" in text and "cannot call the change its effect" in text and "one baseline only" in text
    assert not faults_of_words(text)
    assert tables.changes_table(answer) is not None and tables.effects_table(answer) is None
