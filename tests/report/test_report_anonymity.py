"""Nobody in a data package is alone with a combination of age, mass, sex and group."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.report.privacy import LEVELS, hide_in_crowd, secret_labels
from analysis.study import Study

PERSON = st.tuples(
    st.one_of(st.none(), st.floats(14, 60)),
    st.one_of(st.none(), st.floats(45, 130)),
    st.sampled_from(["F", "M", "X", ""]),
    st.sampled_from(["", "novice", "advanced"]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(PERSON, min_size=1, max_size=20), st.integers(2, 3))
def test_no_combination_is_too_rare(people, least):
    table = pd.DataFrame(people, columns=list(LEVELS)).astype({"age_years": float, "mass_kg": float})
    hidden, _ = hide_in_crowd(table.assign(value=range(len(table))), least=least)
    left = [c for c in LEVELS if c in hidden]
    assert hidden["value"].tolist() == list(range(len(table)))
    if left:
        assert hidden.groupby(left, dropna=False).size().min() >= least


def test_bands_alone_would_not_do():
    rng = np.random.default_rng(3)
    table = pd.DataFrame(
        {
            "age_years": rng.uniform(19, 41, 16),
            "mass_kg": rng.normal(76, 11, 16),
            "sex": ["F"] * 5 + ["M"] * 11,
        }
    )
    bands = table.assign(age_years=table["age_years"] // 5, mass_kg=table["mass_kg"] // 10)
    assert (bands.groupby(list(bands)).size() == 1).any()
    hidden, done = hide_in_crowd(table)
    assert hidden.groupby([c for c in LEVELS if c in hidden]).size().min() >= 2
    assert done


def test_alike_people_lose_nothing_but_exactness():
    table = pd.DataFrame({"age_years": [21.0] * 4, "mass_kg": [71.0] * 4, "sex": ["F"] * 4})
    hidden, _ = hide_in_crowd(table)
    assert hidden.iloc[0].to_dict() == {"age_years": "20-24", "mass_kg": "70-74", "sex": "F"}


def test_labels_repeat_for_the_same_input_and_differ_by_purpose():
    codes = [f"A{n:02d}" for n in range(20)]
    study = Study(folder="", athletes=pd.DataFrame({"athlete": codes}))
    first = secret_labels(study, codes, prefix="P", purpose="one")
    assert first == secret_labels(study, codes[::-1], prefix="P", purpose="one")
    assert sorted(first.values()) == [f"P{n:02d}" for n in range(1, 21)]
    assert first != secret_labels(study, codes, prefix="P", purpose="two")
    assert list(first.values()) != sorted(first.values())


@pytest.mark.parametrize("n", [0, 1, 2])
def test_tiny_tables(n):
    table = pd.DataFrame({"age_years": [30.0, 40.0][:n], "sex": ["F", "M"][:n]})
    hidden, _ = hide_in_crowd(table)
    assert len(hidden) == n
    assert n == 2 or not [c for c in LEVELS if c in hidden] or n == 0
