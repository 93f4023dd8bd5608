"""Plain JSON, harmless CSV, checksums."""

import json
import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.basics import KitError, NotYet, Result
from analysis.report.output import verify_report
from analysis.report.results_json import harmless, json_text, to_plain, write_csv
from analysis.study.inventory import input_checksums


@dataclass(frozen=True)
class _Inner(Result):
    table: pd.DataFrame
    fit: object
    low: float = -math.inf


@dataclass(frozen=True)
class _Outer(Result):
    inner: _Inner
    names: tuple = ("a", "b")
    by: dict | None = None


def test_walk_keeps_every_field_unrounded_under_its_name():
    table = pd.DataFrame(
        {"estimate": [1 / 3, np.nan], "n_athletes": [12, 3], "when": pd.to_datetime(["2026-10-01"] * 2)}
    )
    made = json.loads(json_text(_Outer(_Inner(table, fit=object()), by={("x", 1): np.float32(0.5), "y": np.int64(2)})))
    assert made["result"] == "_Outer" and made["names"] == ["a", "b"]
    assert made["inner"]["table"][0] == {"estimate": 1 / 3, "n_athletes": 12, "when": "2026-10-01T00:00:00"}
    assert made["inner"]["table"][1]["estimate"] is None
    assert made["inner"]["low"] == "-unbounded"
    assert "fit" not in made["inner"]
    assert made["by"] == {"x 1": 0.5, "y": 2}


def test_walk_of_odd_values():
    assert to_plain(NotYet("a", "b")) == {"result": "NotYet", "question": "a", "needs": "b"}
    assert to_plain(pd.NA) is None and to_plain(pd.NaT) is None
    assert to_plain(np.bool_(True)) is True
    assert to_plain(pd.Series([1.0, np.nan], index=["a", "b"])) == {"a": 1.0, "b": None}
    assert to_plain({3, 1, 2}) == [1, 2, 3]
    whole = pd.DataFrame({"row": pd.array([1, None], dtype="Int64")})
    assert to_plain(whole) == [{"row": 1}, {"row": None}]


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers(-(2**60), 2**60) | st.text(max_size=9),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    )
)
def test_json_is_always_valid(value):
    json.loads(json_text(value), parse_constant=lambda name: pytest.fail(f"not plain JSON: {name}"))


@pytest.mark.parametrize(
    "cell", ["=1+1", "+SUM(A1)", "-cmd|' /C calc'!A0", "@x", "\t=1", "\r=1", " =HYPERLINK(1)", "-2+3"]
)
def test_formulas_become_text(cell):
    assert harmless(cell) == "'" + cell


@pytest.mark.parametrize("cell", ["-3.5", "+4", "1e-5", "-0,5", "", "A07", "7-9", -3.5, None])
def test_numbers_and_words_stay(cell):
    assert harmless(cell) == cell


def test_csv_writes_headings_and_text_columns_harmless(tmp_path):
    path = write_csv(pd.DataFrame({"=bad": ["ok"], "x": [-1.5]}), tmp_path / "a" / "t.csv")
    assert path.read_text(encoding="utf-8-sig") == "'=bad,x\nok,-1.5\n"


def test_input_checksums_leave_out_what_is_no_input(tmp_path):
    for name in (
        "study.toml",
        "recordings/A01.csv",
        "output/report.html",
        "notebooks/a.ipynb",
        "~$study.xlsx",
        ".hidden",
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(name)
    assert list(input_checksums(tmp_path)) == ["recordings/A01.csv", "study.toml"]


def test_verify_without_output_and_with_a_broken_one(tmp_path):
    with pytest.raises(KitError, match="no output yet"):
        verify_report(tmp_path)
    (tmp_path / "output").mkdir()
    (tmp_path / "output" / "about.json").write_text("{")
    with pytest.raises(KitError, match="cannot be read"):
        verify_report(tmp_path)
