"""Nobody in a data package is alone with a combination of age, mass, sex and group; and the tests of it bite."""

import sys
import types
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.report import data_package
from analysis.study import Study, load_study, privacy
from analysis.study import privacy as study_privacy
from analysis.study.privacy import LEVELS, by_lot, hide_in_crowd

PERSON = st.tuples(
    st.one_of(st.none(), st.floats(14, 60)),
    st.one_of(st.none(), st.floats(45, 130)),
    st.sampled_from(["F", "M", "X", ""]),
    st.sampled_from(["", "novice", "advanced"]),
)
WORTH = {
    "age_years": {5: 1.0, 10: 0.75, 20: 0.4},
    "mass_kg": {5: 1.0, 10: 0.75, 20: 0.4},
    "sex": {None: 1.2},
    "group": {None: 0.8},
}
"""What a column is worth to a reader, by width of band, per person who has it: repeated here on purpose."""


def club(n=16, seed=3):
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {"age_years": rng.uniform(19, 41, n), "mass_kg": rng.normal(76, 11, n), "sex": ["F"] * 5 + ["M"] * (n - 5)}
    )


def best_worth(people, least=2):
    """The largest worth that any choice of bands allows: a plain search that shares no code with the kit."""
    best = 0.0
    columns = list(people)
    for widths in product(*([*WORTH[c], "dropped"] for c in columns)):
        kept = [(c, w) for c, w in zip(columns, widths, strict=True) if w != "dropped"]
        if not kept:
            continue
        told = pd.DataFrame({c: people[c] if w is None else np.floor(people[c] / w) for c, w in kept})
        sizes = told.groupby(list(told), dropna=False)[kept[0][0]].transform("size")
        masked = int((sizes < least).sum())
        if masked == 0 or least <= masked < len(people):
            best = max(best, (len(people) - masked) * sum(WORTH[c][w] for c, w in kept))
    return best


def worth_of(hidden, people):
    shown = [c for c in WORTH if c in hidden]
    if not shown:
        return 0.0
    masked = (hidden[shown] == "").all(axis=1).sum()

    def width(column):
        low, high = next(v for v in hidden[column] if v).split("-")
        return int(high) - int(low) + 1

    each = sum(WORTH[c][None if c in ("sex", "group") else width(c)] for c in shown)
    return (len(people) - masked) * each


def check(module):
    """Everything that the hiding promises, of any version of the module."""
    for seed in range(6):
        people = club(seed=seed)
        hidden, done = module.hide_in_crowd(people.assign(value=range(len(people))))
        told = [c for c in LEVELS if c in hidden]
        assert hidden["value"].tolist() == list(range(16)), "somebody moved"
        assert not told or hidden.groupby(told).size().min() >= 2, "somebody is alone"
        assert worth_of(hidden, people) == pytest.approx(best_worth(people)), "more could be told"
        assert bool(done) == (not told or hidden[told].map(lambda v: "-" in str(v) or v == "").any().any())
    # bands: their edges, and what is not known
    ages = pd.DataFrame({"age_years": [24.9, 20.0, 25.0, 29.99, np.nan, np.nan]})
    assert module.hide_in_crowd(ages)[0]["age_years"].tolist() == ["20-24"] * 2 + ["25-29"] * 2 + ["unknown"] * 2
    # one alone is never masked alone: whoever knows that one person is masked knows who
    alone = pd.DataFrame({"sex": ["F", "M", "M", "M"]})
    assert "sex" not in module.hide_in_crowd(alone)[0]
    pair = pd.DataFrame({"sex": ["F", "X", "M", "M"]})
    assert module.hide_in_crowd(pair)[0]["sex"].tolist() == ["", "", "M", "M"]
    assert "2 people" in " ".join(module.hide_in_crowd(pair)[1])
    # no more than everybody can be masked, and three are asked for where three are wanted
    assert "sex" not in module.hide_in_crowd(pd.DataFrame({"sex": ["F", "X"]}))[0]
    assert module.hide_in_crowd(pd.DataFrame({"sex": ["F"] * 2 + ["M"] * 3}), least=3)[0].columns.tolist() == []
    # labels: the same for the same study, others for another purpose, other data, another length
    codes = [f"A{n:02d}" for n in range(20)]
    study = Study(folder="", athletes=pd.DataFrame({"athlete": codes}))
    other = Study(folder="", athletes=pd.DataFrame({"athlete": codes, "age_years": range(20)}))
    later = Study(folder="", athletes=study.athletes, rounds=pd.DataFrame({"round_no": [1]}))
    first = module.secret_labels(study, codes, prefix="P", purpose="one")
    assert first == module.secret_labels(study, codes[::-1], prefix="P", purpose="one")
    assert sorted(first.values()) == [f"P{n:02d}" for n in range(1, 21)]
    assert list(first.values()) != sorted(first.values())
    for changed in (other, later):
        assert first != module.secret_labels(changed, codes, prefix="P", purpose="one")
    assert first != module.secret_labels(study, codes, prefix="P", purpose="two")
    assert "" not in module.secret_labels(study, ["", *codes], prefix="P", purpose="one")


def test_the_hiding_keeps_what_it_promises():
    check(privacy)


MUTATIONS = (
    ('"age_years": (1.0, 0.75, 0.4, 0.0)', '"age_years": (1.0, 1.0, 1.0, 1.0)'),
    ('"sex": (1.2, 0.0)', '"sex": (0.1, 0.0)'),
    ('"mass_kg": (1.0, 0.75, 0.4, 0.0)', '"mass_kg": (0.4, 0.75, 1.0, 0.0)'),
    ("(len(people) - len(masked)) * sum(", "len(people) * sum("),
    ("worth > best[0]", "worth < best[0]"),
    ("if counts[c] < least", "if counts[c] < least - 1"),
    ("if counts[c] < least", "if counts[c] <= least"),
    ("least <= len(masked) < size", "0 <= len(masked) < size"),
    ("least <= len(masked) < size", "least <= len(masked) <= size"),
    ("least <= len(masked) < size", "least < len(masked) < size"),
    ('"" if i in masked else v', "v"),
    ("int(value // width) * width", "int(value)"),
    ("low + width - 1", "low + width"),
    ('return "unknown"', 'return "0-4"'),
    ("drop(columns=[c for c in LEVELS if c in people and c not in kept])", "copy()"),
    ("purpose + study.athletes.to_csv() + study.rounds.to_csv()", "study.athletes.to_csv() + study.rounds.to_csv()"),
    ("purpose + study.athletes.to_csv() + study.rounds.to_csv()", "purpose"),
    ("purpose + study.athletes.to_csv() + study.rounds.to_csv()", "purpose + study.athletes.to_csv()"),
    (".permutation(len(codes))", ".permutation(len(codes)) * 0 + np.arange(len(codes))"),
    ("codes = sorted(set(codes) - {\"\"})", "codes = list(codes)"),
    ("    if n_masked:", "    if not n_masked:"),
)  # fmt: skip


@pytest.mark.parametrize("number", range(len(MUTATIONS)))
def test_a_change_of_one_line_is_noticed(number):
    was, becomes = MUTATIONS[number]
    sources = {m: Path(m.__file__).read_text(encoding="utf-8") for m in (privacy, study_privacy)}
    home = next((m for m, source in sources.items() if was in source), None)
    assert home is not None, "the code has changed: change this line of the list with it"
    mutant = types.ModuleType(f"{home.__package__}.mutant")
    mutant.__package__ = home.__package__
    sys.modules[mutant.__name__] = mutant
    try:
        exec(compile(sources[home].replace(was, becomes, 1), "mutant", "exec"), mutant.__dict__)
        checked = types.SimpleNamespace(
            hide_in_crowd=getattr(mutant, "hide_in_crowd", hide_in_crowd), secret_labels=mutant.secret_labels
        )
        with pytest.raises((AssertionError, ValueError, KeyError, TypeError, AttributeError, StopIteration)):
            check(checked)
    finally:
        del sys.modules[mutant.__name__]


def test_what_the_demo_discloses(demo_answers):
    """Written down: a change of what is told about real people must be meant."""
    package = data_package.make_data_package(demo_answers)
    people = package.tables["athletes"]
    assert (package.n_athletes, package.n_shared, package.n_by_lot) == (16, 15, 4)
    assert {"person", "capacity"} <= set(people)
    assert set(people) <= {"person", "age_years", "mass_kg", "sex", "group", "capacity"}
    labels = study_privacy.secret_labels(
        demo_answers.study,
        by_lot(
            demo_answers.study, demo_answers.study.athletes_to_share(), among=demo_answers.study.athletes["athlete"]
        ),
        prefix="P",
        purpose="data package",
    )
    athletes = demo_answers.study.athletes
    inside = athletes[athletes["athlete"].isin(labels)][list(LEVELS)].reset_index(drop=True)
    assert len(people) == len(inside) == 11
    assert worth_of(people, inside) == pytest.approx(best_worth(inside))
    assert set(people["capacity"].dropna()) <= {35.0, 40.0, 45.0, 50.0, 55.0}


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
    table = club()
    bands = table.assign(age_years=table["age_years"] // 5, mass_kg=table["mass_kg"] // 10)
    assert (bands.groupby(list(bands)).size() == 1).any()
    hidden, _ = hide_in_crowd(table)
    left = [c for c in LEVELS if c in hidden]
    assert left and hidden.groupby(left, dropna=False).size().min() >= 2


def test_alike_people_lose_nothing_but_exactness():
    table = pd.DataFrame({"age_years": [21.0] * 4, "mass_kg": [71.0] * 4, "sex": ["F"] * 4})
    hidden, _ = hide_in_crowd(table)
    assert hidden.iloc[0].to_dict() == {"age_years": "20-24", "mass_kg": "70-74", "sex": "F"}


@pytest.mark.parametrize("n", [0, 1, 2])
def test_tiny_tables(n):
    table = pd.DataFrame({"age_years": [30.0, 40.0][:n], "sex": ["F", "M"][:n]})
    hidden, _ = hide_in_crowd(table)
    assert len(hidden) == n
    left = [c for c in LEVELS if c in hidden]
    assert not n or not left or hidden.groupby(left, dropna=False).size().min() >= 2


def test_every_code_of_the_demo_is_known():
    study = load_study(Path(__file__).resolve().parents[2] / "data_demo")
    assert set(study.known_codes) == set(study.athletes["athlete"])
