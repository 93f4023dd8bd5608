"""The demo evening: cleaning recovers what is true in its invented world, and finds what was done to it on purpose."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.cleaning import clean_study
from analysis.cleaning.find import find_rounds
from analysis.study import load_study

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture(scope="module")
def study():
    return load_study(DEMO)


@pytest.fixture(scope="module")
def cleaned(study):
    return clean_study(study)


@pytest.fixture(scope="module")
def compared(cleaned):
    truth = pd.read_csv(DEMO / "how_it_was_made" / "true_rounds.csv", dtype={"session": str})
    truth = truth.rename(columns={"hr_mean_bpm": "true_bpm"})[["session", "athlete", "round_no", "true_bpm"]]
    return cleaned.rows.merge(truth, on=["session", "athlete", "round_no"])


def test_round_means_are_the_true_ones(compared):
    made = compared[compared["hr_source"] == "trace"]
    assert len(made) > 80
    assert (made["hr_mean_bpm"] - made["true_bpm"]).abs().max() < 0.5


def test_bounds_hold_the_truth_of_every_recorded_round(cleaned, compared):
    table = cleaned.bounds.merge(
        compared[["session", "athlete", "round_no", "true_bpm"]], on=["session", "athlete", "round_no"]
    )
    table = table[table["mean_bpm"].notna() & (table["aside_s"] > 2)]
    assert len(table) and (table["mean_low_bpm"] - 0.5 <= table["true_bpm"]).all()
    assert (table["mean_high_bpm"] + 0.5 >= table["true_bpm"]).all()


def test_the_warts_are_found(cleaned):
    flags = {
        (r.athlete, r.flag) for r in cleaned.flags_table[cleaned.flags_table["session"] == "1"].itertuples(index=False)
    }
    assert {("A12", "start lag"), ("A05", "flat line"), ("A10", "no contact"), ("A02", "no contact")} <= flags
    assert ("A03", "out of range") in flags or ("A03", "doubled or halved") in flags
    assert any("2 files joined" in r for r in cleaned.remarks) and any(
        "typed from a device" in r for r in cleaned.remarks
    )
    assert not {a for a, f in flags if f in ("spike", "impossible change")} - {"A12"}


def test_every_clock_agrees_with_its_own_trace(cleaned):
    clocks = cleaned.clocks
    assert set(clocks["agrees"]) == {"yes"}
    assert (clocks["found_offset_s"] - clocks["offset_s"]).abs().max() < 10


def test_rounds_can_be_found_without_the_clock(study, cleaned):
    for athlete in ("A01", "A07", "A13"):
        trace = cleaned.traces["1", athlete]
        found = find_rounds(trace, study.protocol)
        truth = (
            cleaned.windows.query("session == '1' and athlete == @athlete")["start_s"].to_numpy()
            - trace["clock_s"].iloc[0]
        )
        assert np.abs(found["start_s"].to_numpy() - truth).max() <= 10 and found["confidence"].min() > 0.7


def test_every_second_and_every_row_is_in_the_ledger(cleaned):
    ledger = cleaned.ledger.table
    seconds = ledger[ledger["measure"] == "round seconds"]
    windows = cleaned.windows
    windows = windows[[k in cleaned.traces for k in zip(windows["session"], windows["athlete"], strict=True)]]
    assert seconds["amount"].sum() == pytest.approx((windows["end_s"] - windows["start_s"]).sum())
    values = ledger[(ledger["measure"] == "hr_mean_bpm") & (ledger["unit"] == "values")]
    assert len(values) == (cleaned.rows["round_no"] > 0).sum()
    for table, part in ledger.groupby("table"):
        assert (part["amount"] >= 0).all(), table
