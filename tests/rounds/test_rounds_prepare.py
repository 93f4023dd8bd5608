"""A table of rounds put in order: what is read as a number or a label, what is left out and why, and what is refused."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.models import fit_mixed
from analysis.rounds.prepare import (
    covariate_tests,
    label_of,
    order_rounds,
    pairs_of,
    prepare_rounds,
    read_numbers,
    with_covariates,
)


def table(values, **more):
    """Three athletes in two rounds, in the order A1, A2, B1, B2, C1, C2."""
    return pd.DataFrame({"athlete": list("AABBCC"), "round_no": [1, 2] * 3, "y": values}).assign(**more)


WHOLE = table([1.0, 2.0, 3.0, 4.0, 5.0, 7.0])


def test_numbers_are_read_and_what_is_none_is_named():
    mixed = table(["1", " ", None, "2.5", "inf", "-3"])
    assert read_numbers(mixed, "y")[[0, 3, 5]].tolist() == [1.0, 2.5, -3.0]
    assert np.isnan(read_numbers(mixed, "y")[[1, 2, 4]]).all()
    assert read_numbers(table([True, False] * 3), "y").tolist() == [1.0, 0.0] * 3
    with pytest.raises(
        KitError, match=r"4 cells cannot be read, such as 'a' \(athlete A\), 'b' \(athlete A\) and 'c' \(athlete B\)"
    ):
        read_numbers(table(["a", "b", "c", "d", "1", ""]), "y")
    for values in (pd.to_datetime(["2026-01-01"] * 6), pd.to_timedelta([1] * 6, unit="s"), [1j] * 6):
        with pytest.raises(KitError, match="y must hold numbers"):
            read_numbers(table(values), "y")
    with pytest.raises(KitError, match="more than one column 'y'"):
        read_numbers(pd.concat([WHOLE, WHOLE[["y"]]], axis=1), "y")


@pytest.mark.parametrize(
    ("size", "fits"), [(1e50, True), (1.1e50, False), (1.1e-50, True), (0.9e-50, False), (0.0, True)]
)
def test_sizes_that_nothing_measures_are_refused(size, fits):
    values = table([0.0, -size, np.nan, 0.0, 0.0, 0.0])
    if fits:
        assert read_numbers(values, "y")[1] == -size
        return
    with pytest.raises(KitError, match="which nothing measures"):
        read_numbers(values, "y")


def test_labels_of_rounds():
    given = (2, 2.0, np.float64(2.5), np.nan, None, pd.NA, " R2 ", "")
    assert [label_of(v) for v in given] == ["2", "2", "2.5", "", "", "", "R2", ""]


@pytest.mark.parametrize(
    ("given", "order", "warns"),
    [
        (["R10", "R2", "r1"], ["r1", "R2", "R10"], False),
        (["round 10", "round 2.5", "Round  2"], ["Round  2", "round 2.5", "round 10"], False),
        (["2 min", "1 min"], ["1 min", "2 min"], False),
        (["1", "-1", "0"], ["-1", "0", "1"], False),
        (["1", "01"], ["01", "1"], False),  # alike as numbers: by their letters
        (["R2", "S1"], ["R2", "S1"], True),  # numbers of different words
        (["2", "last"], ["2", "last"], True),
        (["1-2", "3"], ["1-2", "3"], True),
    ],
)
def test_rounds_are_put_in_the_order_of_their_numbers(given, order, warns):
    labels, codes, warnings = order_rounds(pd.Series([*given, None, given[0]], dtype=object))
    assert labels == order and bool(warnings) == warns
    assert codes.tolist() == [*(order.index(g) for g in given), -1, order.index(given[0])]


def test_a_category_keeps_its_order_and_its_blanks():
    column = pd.Series(pd.Categorical(["b", None, "a"], categories=["b", "a", "c"]))
    labels, codes, warnings = order_rounds(column)
    assert (labels, codes.tolist(), warnings) == (["b", "a", "c"], [0, -1, 1], [])


def test_pairs_of_rounds():
    assert pairs_of("abcd", "successive") == [(1, 0), (2, 1), (3, 2)]
    assert pairs_of("abcd", "first") == [(1, 0), (2, 0), (3, 0)]
    assert pairs_of("abcd", "pairwise") == [(1, 0), (2, 0), (2, 1), (3, 0), (3, 1), (3, 2)]
    with pytest.raises(KitError, match="kind"):
        pairs_of("abcd", "each")


def test_every_row_is_used_or_left_out_with_the_reason():
    rows = pd.DataFrame(
        [
            ("B", 2, 4.0, "yes", 7),
            ("A", 1, 1.0, "yes", 2),
            ("A", 2, 2.0, "part", 3),
            ("B", 1, 3.0, "part", 6),
            ("A", 0, 0.5, "yes", 1),
            ("A", 3, np.nan, "yes", 4),
            ("B", 3, 9.0, "sat_out", 8),
            ("C", 1, np.nan, "left", 9),
            ("C", None, 9.0, "yes", 10),
            (None, 1, 9.0, "yes", 11),
            ("", 2, 9.0, "yes", 12),
            ("B", 4, np.nan, "yes", 13),
        ],
        columns=["athlete", "round_no", "y", "took_part", "row"],
    )
    found = prepare_rounds(rows.assign(file="rounds.csv", session="1", extra=range(12)), "y", keep=["extra"])
    assert found.labels == ("1", "2") and (found.n_athletes, found.n_observations) == (2, 4)
    assert list(found.table) == ["athlete", "round_no", "value", "file", "row", "session", "extra"]
    assert found.table["row"].tolist() == [2, 3, 6, 7] and found.table["value"].tolist() == [1.0, 2.0, 3.0, 4.0]
    assert found.before["value"].tolist() == [0.5] and found.before.index.tolist() == [0]
    assert list(found.before) == ["athlete", "value", "file", "row", "session", "extra"]
    assert found.wide.columns.name == "round_no"
    why = found.left_out.set_index("row")["reason"].to_dict()
    assert why == {
        4: "no value",
        8: "sat the round out",
        9: "had left",
        10: "no round number",
        11: "no athlete",
        12: "no athlete",
        13: "no value",
    }
    lost = found.left_out.set_index("row")
    assert (lost.loc[8, "round_no"], lost.loc[10, "round_no"], lost.loc[8, "measure"]) == ("3", "", "y")
    assert lost.loc[8, "file"] == "rounds.csv" and lost.loc[8, "athlete"] == "B"
    said = "Rounds 3 and 4 held no value of y and could not be compared."
    assert list(found.warnings) == [said, "2 rounds fought only in part are included."]
    one = prepare_rounds(WHOLE.assign(took_part=["part", *["yes"] * 5]), "y")
    assert list(one.warnings) == ["1 round fought only in part is included."] and one.before.empty
    third = pd.concat([WHOLE, pd.DataFrame({"athlete": ["A"], "round_no": [3], "y": [np.nan]})])
    assert prepare_rounds(third, "y").warnings == ("Round 3 held no value of y and could not be compared.",)


def test_complete_cases_and_whom_they_drop():
    found = prepare_rounds(table([1.0, 2.0, 3.0, np.nan, 5.0, 7.0]), "y")
    assert found.complete().index.tolist() == ["A", "C"]
    dropped = found.without_incomplete()
    assert dropped[["athlete", "round_no", "reason"]].to_numpy().tolist() == [
        ["B", "2", "no value"],
        ["B", "1", "dropped from the complete cases: round 2 missing"],
    ]
    more = pd.concat(
        [
            WHOLE,
            pd.DataFrame({"athlete": list("ABCAC"), "round_no": [3] * 3 + [4] * 2, "y": 1.0}),
            pd.DataFrame({"athlete": ["D"], "round_no": [1], "y": [3.0]}),
        ]
    )
    reasons = prepare_rounds(more, "y").without_incomplete()["reason"].tolist()
    many = "dropped from the complete cases: rounds 2, 3 and 4 missing"
    assert reasons == ["dropped from the complete cases: round 4 missing"] * 3 + [many]
    assert dropped.index.tolist() == [0, 1]
    assert prepare_rounds(table([np.nan, 2.0, 3.0, 4.0, 5.0, 7.0]), "y").left_out["round_no"].tolist() == ["1"]
    whole = prepare_rounds(WHOLE, "y")
    assert whole.without_incomplete() is whole.left_out


def test_what_cannot_be_compared_is_refused():
    for rows, words in (
        (WHOLE.assign(session=list("112222")), r"holds 2 sessions \(1 and 2\)"),
        (WHOLE.assign(round_no=[1, 1, 1, 2, 1, 2]), "Athlete A has more than one value of y in round 1"),
        (WHOLE.assign(athlete=list("ABABAB"), round_no=1), "Athlete A has more than one value of y in round 1"),
        (WHOLE.assign(y=np.nan), "y holds no value in any round"),
        (WHOLE.assign(y=WHOLE["y"].where(WHOLE["round_no"] == 2)), "there is only round 2"),
        (WHOLE.assign(y=WHOLE["y"].where(WHOLE["athlete"] == "B")), "there is only one"),
    ):
        with pytest.raises(KitError, match=words):
            prepare_rounds(rows, "y")
    assert prepare_rounds(WHOLE.assign(session="1"), "y").n_observations == 6
    twice = pd.concat([WHOLE, WHOLE.head(1).assign(y=np.nan)])  # the second has no value
    assert prepare_rounds(twice, "y").n_observations == 6
    assert prepare_rounds(WHOLE.rename(columns={"round_no": "bout"}), "y", round_variable="bout").labels == ("1", "2")


def club(**more):
    """Five athletes in three rounds with ages, and sexes where they are given."""
    rng = np.random.default_rng(3)
    rows = pd.DataFrame({"athlete": np.repeat(list("ABCDE"), 3), "round_no": [1, 2, 3] * 5, "y": rng.normal(10, 1, 15)})
    return rows.assign(age=np.repeat([20.0, 25, 31, 38, 24], 3), sex=np.repeat(list("mfmfm"), 3)).assign(**more)


def test_covariates_are_numbers_or_groups_and_rows_without_one_are_left_out():
    plain = prepare_rounds(club(), "y", keep=["age", "sex"])
    assert with_covariates(plain, [])[0] is plain and with_covariates(plain, [])[1] == {}
    rows, terms = with_covariates(plain, ["age", "sex"])
    assert terms == {"covariate_0": "age", "C(covariate_1)": "sex"} and rows.left_out is plain.left_out
    assert rows.table["covariate_0"].tolist() == plain.table["age"].tolist() and rows.warnings == plain.warnings
    bands = prepare_rounds(club(band=np.repeat(["1", "2", "x", "1", "2"], 3)), "y", keep=["band"])
    rows, terms = with_covariates(bands, ["band"])  # one that is no number makes them groups
    assert terms == {"C(covariate_0)": "band"} and set(rows.table["covariate_0"]) == {"1", "2", "x"}
    twice = prepare_rounds(club(y=[np.nan, *range(14)], age=[20.0] * 4 + [np.nan] + [25.0] * 10), "y", keep=["age"])
    assert with_covariates(twice, ["age"])[0].left_out.index.tolist() == [0, 1]
    gaps = club()
    gaps.loc[[0, 1], "age"], gaps.loc[7, "sex"] = [np.nan, np.inf], ""
    rows, _ = with_covariates(prepare_rounds(gaps, "y", keep=["age", "sex"]), ["age", "sex"])
    assert set(rows.table) == {*plain.table, "covariate_0", "covariate_1"}
    assert rows.n_observations == 12 and rows.wide.isna().sum().sum() == 3
    assert rows.left_out[["athlete", "round_no", "reason"]].to_numpy().tolist() == [
        [a, r, "no value of a covariate"] for a, r in (("A", "1"), ("A", "2"), ("C", "2"))
    ]
    assert rows.warnings[-1] == "3 rows without a value of a covariate left out." and rows.table.index.tolist() == list(
        range(12)
    )


def test_covariates_that_tell_nothing_are_refused():
    whom = {"three": ["A", "B", "C"], "two": ["A", "B"]}
    for name, kept in whom.items():
        data = club(age=lambda t, kept=kept: t["age"].where(t["athlete"].isin(kept)))
        rows = prepare_rounds(data, "y", keep=["age"])
        if name == "three":
            assert with_covariates(rows, ["age"])[0].n_athletes == 3
            continue
        with pytest.raises(KitError, match="Too few athletes have a value of age"):
            with_covariates(rows, ["age"])
    gone = prepare_rounds(club(age=lambda t: t["age"].where(t["round_no"] < 3)), "y", keep=["age"])
    with pytest.raises(KitError, match="Too few athletes have a value of age"):
        with_covariates(gone, ["age"])
    with pytest.raises(KitError, match="the same value of sex"):
        with_covariates(prepare_rounds(club(sex="m"), "y", keep=["sex"]), ["sex"])


def test_tests_of_covariates_are_those_of_the_model():
    rows, terms = with_covariates(prepare_rounds(club(), "y", keep=["age", "sex"]), ["age", "sex"])
    fit = fit_mixed(rows.table, f"value ~ C(round_no) + {' + '.join(terms)}", group="athlete")
    found = covariate_tests(fit, terms).set_index("term")
    assert list(found) == ["estimate", "standard_error", "ci_low", "ci_high", "statistic", "df_num", "df_den", "p"]
    line = fit.coefficients().loc["covariate_0"]
    assert found.loc["age", ["estimate", "ci_low", "p"]].tolist() == pytest.approx(
        line[["estimate", "ci_low", "p"]].tolist()
    )
    assert found.loc["age", "statistic"] == fit.test("covariate_0").statistic  # F, not the t of the slope
    assert found.loc["sex", "p"] == fit.test("C(covariate_1)").p and np.isnan(found.loc["sex", "estimate"])
    assert covariate_tests(fit, {}).empty and "p" in covariate_tests(fit, {})
