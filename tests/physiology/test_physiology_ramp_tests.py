"""VO2max of eight open ramp tests against their authors' values (Nolte 2023, Sports Med)."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.physiology.laboratory import process_gas_exchange

RAMPS = Path(__file__).parents[1] / "references" / "physiology" / "ramp_tests"
EXPECTED = pd.read_csv(RAMPS / "expected_vo2max_ml_kg_min.csv").set_index("test")
RULE = {"bm": "breaths", "tm": "seconds", "tb": "bins"}


@pytest.fixture(scope="module")
def ramps():
    return {name: pd.read_csv(RAMPS / f"{name}.csv") for name in EXPECTED.index}


@pytest.mark.parametrize("column", [c for c in EXPECTED.columns if c[:2] in RULE])
def test_the_authors_values(ramps, column):
    kind, size = column.split("_")
    got = [
        process_gas_exchange(ramps[name], row["mass_kg"], average=f"{RULE[kind]}:{size}").value
        for name, row in EXPECTED.iterrows()
    ]
    np.testing.assert_allclose(got, EXPECTED[column], rtol=0, atol=1e-11)


def test_order_of_rows_does_not_matter(ramps):
    shuffled = ramps["test_04"].sample(frac=1, random_state=3)
    for rule in ("breaths:15", "seconds:30", "bins:30"):
        assert (
            process_gas_exchange(shuffled, 78.4, average=rule).value
            == process_gas_exchange(ramps["test_04"], 78.4, average=rule).value
        )


def test_shorter_windows_read_higher(ramps):
    by_rule = process_gas_exchange(ramps["test_02"], 60.7, average="seconds:30").by_rule.set_index("rule")
    values = by_rule["vo2max_ml_kg_min"]
    assert values["seconds:15"] > values["seconds:30"] > values["seconds:60"]
    assert values["breaths:5"] > values["breaths:15"] > values["breaths:30"]


def test_the_rule_stands_in_the_result(ramps):
    result = process_gas_exchange(ramps["test_01"], 60.1, average="bins:30")
    assert result.rule == "bins:30" and "30 s" in result.rule_words
    assert result.rule_words in result.estimate.source
    assert result.estimate.error_kind == "retest" and not result.estimate.uses_heart_rate
