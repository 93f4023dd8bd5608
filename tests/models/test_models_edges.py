"""What a club may hand over by mistake: each gives a plain error or an honest result."""

import numpy as np
import pandas as pd
import pytest
from models_data import study
from pytest import approx

from analysis import models
from analysis.basics import KitError
from analysis.models import fit_mixed

ROWS = study(8, 4)


def fit(rows=ROWS, formula="hr ~ C(round_no) + capacity", **options):
    return fit_mixed(rows, formula, **{"group": "athlete", **options})


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: fit(formula="hr ~ C(round)"), "no column 'round'"),
        (lambda: fit(formula="hr ~ round + capacity"), "no column 'round'"),
        (lambda: fit(formula="heart ~ capacity"), "no column 'heart'"),
        (lambda: fit(formula="hr ~ capacty"), "Did you mean 'capacity'"),
        (lambda: fit(group="athletes"), "Did you mean 'athlete'"),
        (lambda: fit(formula="hr"), "outcome ~"),
        (lambda: fit(formula="hr ~ capacity + (1|athlete)"), "group="),
        (lambda: fit(formula="hr ~ capacity +"), "cannot be read"),
        (lambda: fit(formula="hr + capacity ~ 1"), "exactly one outcome"),
        (lambda: fit(formula="hr ~ 0"), "no term"),
        (lambda: fit(formula="hr ~ unknown(capacity)"), "cannot be computed"),
        (lambda: fit(formula="hr ~ C(round_no, Helmert)"), "coding"),
        (lambda: fit(formula="hr ~ C(round_no, Treatment(9))"), "not among them"),
        (lambda: fit(ROWS.assign(z=2 * ROWS["capacity"] + 1), "hr ~ capacity + z"), "z cannot be separated.*capacity"),
        (lambda: fit(ROWS.assign(z=1.0), "hr ~ z"), "z cannot be separated from Intercept"),
        (lambda: fit(ROWS.assign(z=0.0), "hr ~ z"), "z is zero in every row"),
        (lambda: fit(ROWS.assign(hr=150.0)), "does not vary"),
        (lambda: fit(ROWS.assign(hr=ROWS["round_no"] * 2.0)), "does not vary beyond"),
        (lambda: fit(ROWS.assign(hr=ROWS["capacity"] ** 2 + ROWS["round_no"])), "does not vary at all"),
        (lambda: fit(ROWS.assign(hr="high")), "must hold numbers"),
        (lambda: fit(ROWS.assign(hr=np.nan)), "No row has both"),
        (lambda: fit(ROWS.iloc[:0]), "No row has both"),
        (lambda: fit(ROWS.assign(hr=ROWS["hr"].where(ROWS.index != 3, 1e200))), "absurdly large"),
        (lambda: fit(ROWS[ROWS["round_no"] == 1]), "only one level"),
        (lambda: fit(ROWS[ROWS["round_no"] == 1], "hr ~ capacity"), "two rows"),
        (lambda: fit(ROWS[ROWS["athlete"] < "A02"]), "too few athletes"),
        (lambda: fit(ROWS[ROWS["athlete"] == "A00"], "hr ~ capacity"), "capacity cannot be separated"),
        (lambda: fit(ROWS[ROWS["round_no"] < 3], "hr ~ round_no", slope="round_no"), "three for a slope"),
        (lambda: fit(slope="athlete"), "must hold numbers"),
        (lambda: fit(crossed="bout"), "no column 'bout'"),
        (lambda: fit(ROWS.assign(bout=ROWS["athlete"] + "x"), crossed="bout"), "exactly as athlete"),
        (lambda: fit(ROWS.assign(bout=ROWS.index), crossed="bout"), "level of its own for every row"),
        (lambda: fit(crossed="round_no"), "already holds every level of round_no"),
        (lambda: fit(slope="capacity"), "does not change within any athlete"),
        (lambda: fit(pd.concat([ROWS, ROWS[["hr"]]], axis=1)), "more than one column"),
        (lambda: fit({"hr": [1]}), "DataFrame"),
        (lambda: fit().test("age"), "no term 'age'"),
        (lambda: fit().test("round_no", ddf="kr"), "'kenward-roger'"),
        (lambda: fit().contrasts("round_no", kind="all"), "'pairwise'"),
        (lambda: fit().contrasts("round_no", adjust="tukey"), "'holm'"),
        (lambda: fit().means("capacity"), r"write C\(capacity\)"),
        (lambda: fit().means("round"), "Did you mean 'round_no'"),
        (lambda: fit().slopes("round_no"), "no slope"),
        (lambda: fit().coefficients(level=95), "between 0 and 1"),
        (lambda: fit(ROWS.assign(bout=ROWS.index % 9), crossed="bout").test("round_no", ddf="cr2"), "independent"),
    ],
)
def test_mistakes_are_named(call, words):
    with pytest.raises(KitError, match=words):
        call()


def test_a_column_named_round_works():
    rows = ROWS.rename(columns={"round_no": "round"})
    assert fit(rows, "hr ~ C(round)").test("round").p == approx(fit(formula="hr ~ C(round_no)").test("round_no").p)


def test_missing_values_are_left_out_and_counted():
    rows = ROWS.assign(file="rounds.csv", row=ROWS.index + 2, session="1")
    rows.loc[5, "hr"] = np.nan
    rows.loc[rows["athlete"] == "A03", "capacity"] = np.nan
    found = fit(rows)
    assert (found.n_athletes, found.n_observations, len(found.left_out)) == (7, 27, 5)
    line = found.left_out.iloc[0]
    assert (line["athlete"], line["round_no"], line["row"], line["reason"]) == ("A01", 2, 7, "hr missing")
    assert (found.left_out["reason"] == "capacity missing").sum() == 4
    assert any("5 rows were left out" in w for w in found.warnings)


def test_one_athlete_with_one_round_stays_in():
    rows = ROWS.drop(index=[1, 2, 3])
    found = fit(rows)
    assert (found.n_athletes, found.n_observations) == (8, 29)
    assert len(found.left_out) == 0
    assert found.tests()["p"].between(0, 1).all()


def test_two_rounds():
    found = fit(ROWS[ROWS["round_no"] < 3])
    for ddf in ("kenward-roger", "satterthwaite", "cr2"):
        assert len(found.contrasts("round_no", ddf=ddf)) == 1
        assert found.test("round_no", ddf=ddf).df_num == 1


def test_levels_numbers_in_order_text_by_the_alphabet_whatever_the_order_of_the_rows():
    words = {1: "first", 2: "second", 3: "later", 4: "end"}
    text = ROWS.assign(round_no=ROWS["round_no"].map(words), athlete=ROWS["athlete"].str[1:].astype(int))
    assert list(fit(text, "hr ~ round_no").contrasts("round_no")["contrast"]) == [
        "first - end",
        "later - first",
        "second - later",
    ]
    shuffled = ROWS.sample(frac=1, random_state=0).assign(round_no=lambda d: d["round_no"].astype(float) * 5)
    assert list(fit(shuffled).means("round_no")["round_no"]) == [5, 10, 15, 20]
    digits = ROWS.sample(frac=1, random_state=1).assign(round_no=lambda d: (d["round_no"] + 8).astype(str))
    assert list(fit(digits).means("round_no")["round_no"]) == ["9", "10", "11", "12"]
    turned = fit(text.iloc[::-1], "hr ~ round_no").contrasts("round_no")
    assert list(turned["contrast"]) == ["first - end", "later - first", "second - later"]
    sex = ROWS.assign(sex=np.where(ROWS["athlete"] < "A04", "M", "F"))
    assert "sex[T.M]" in fit(sex, "hr ~ C(round_no) + sex").coefficients().index
    given = ROWS.assign(round_no=pd.Categorical(ROWS["round_no"], [4, 3, 2, 1, 9]))
    found = fit(given, "hr ~ round_no")
    assert list(found.contrasts("round_no", kind="first")["contrast"]) == ["3 - 4", "2 - 4", "1 - 4"]
    assert any("no usable row for 9" in w for w in found.warnings)


def test_numeric_rounds_are_a_trend_and_codings_of_the_formula_are_kept():
    assert list(fit(formula="hr ~ round_no").coefficients()["term"]) == ["Intercept", "round_no"]
    named = fit(formula="hr ~ C(round_no, Treatment(reference=3))").coefficients()
    assert list(named["term"]) == ["Intercept", *(f"C(round_no, Treatment(reference=3))[T.{r}]" for r in (1, 2, 4))]
    plain = fit(formula="hr ~ C(round_no)")
    assert named["estimate"].iloc[0] == approx(plain.means("round_no")["estimate"][2])
    without = fit(formula="hr ~ 0 + C(round_no)")
    assert without.coefficients()["estimate"].to_numpy() == approx(plain.means("round_no")["estimate"].to_numpy())
    assert without.test("round_no").p == approx(plain.test("round_no").p)


def test_expressions_and_interactions():
    found = fit(formula="np.log(hr) ~ C(round_no) * np.log(capacity)")
    assert {t.keys == frozenset({"round_no", "np.log(capacity)"}) for t in found._design.terms} == {True, False}
    assert found.test("np.log(capacity):round_no").df_num == 3
    assert len(found.slopes("np.log(capacity)", by="round_no")) == 4
    curve = fit(formula="hr ~ C(round_no) + capacity + I(capacity**2)")
    assert curve.test("capacity").df_num == 1


def test_type_three_of_the_rounds_is_at_the_mean_athlete():
    moved = ROWS.assign(capacity=ROWS["capacity"] + 1000)
    formula = "hr ~ C(round_no) * capacity"
    assert fit(moved, formula).test("round_no").statistic == approx(
        fit(ROWS, formula).test("round_no").statistic, rel=1e-6
    )


def test_large_numbers_lose_no_digits():
    far = fit(ROWS.assign(hr=ROWS["hr"] + 1e7))
    assert far.tests()["p"].to_numpy() == approx(fit().tests()["p"].to_numpy(), rel=1e-6)


def test_results_show_themselves():
    found = fit()
    assert "coefficients" in found._repr_html_() and "REML" in str(found)
    assert dict(found.test("capacity"))["p"] == found.test("capacity").p
    assert found.variances["group"] == found.variances.group
    with pytest.raises(KeyError):
        found.variances["nothing"]


def test_blank_text_is_missing():
    rows = ROWS.assign(sex=np.where(ROWS["athlete"] < "A04", "M", "F"))
    rows.loc[rows["athlete"] == "A02", "sex"] = ""
    rows.loc[rows["athlete"] == "A07", "athlete"] = ""
    found = fit(rows, "hr ~ C(round_no) + sex")
    assert found.n_athletes == 6
    assert set(found.left_out["reason"]) == {"sex missing", "athlete or crossed grouping missing"}


def test_rounds_as_columns_of_truth_values():
    rows = ROWS.assign(late=ROWS["round_no"] > 2)
    assert list(fit(rows, "hr ~ late").contrasts("late")["contrast"]) == ["True - False"]


def test_no_robust_test_where_every_athlete_has_the_same_difference():
    hr = ROWS["hr"].where(ROWS["round_no"] != 3, ROWS["hr"].shift(1) + 4.0)
    table = fit(ROWS.assign(hr=hr)).contrasts("round_no", ddf="cr2").set_index("contrast")
    assert table.loc["3 - 2", "estimate"] == approx(4.0)
    assert table.loc["3 - 2", ["standard_error", "p", "ci_low"]].isna().all()
    assert table.loc["2 - 1", "p"] < 1


@pytest.mark.parametrize(
    "call",
    [
        lambda v: models.effect_sizes.noncentral_t_interval(v, 10),
        lambda v: models.noncentral_f_interval(3.0, v, 10),
        lambda v: models.paired_effect_sizes([1, 2, 3.0], [1, 1, 1.0], level=v),
        lambda v: models.signed_rank(v),
        lambda v: models.holm(v),
        lambda v: models.critical_correlation(v),
        lambda v: models.correlation_cdf(v, 0.2, 10),
        lambda v: models.correlation_quantile(0.4, 0.3, v),
        lambda v: models.resample_indices(v, 3),
        lambda v: models.resample_indices(3, 3, seed=v),
        lambda v: models.permutation_correlation([1, 2, 3.0], [1, 3, 2.0], n_resamples=v),
        lambda v: fit().contrasts("round_no", level=v),
    ],
)
@pytest.mark.parametrize("value", ["much", [[1], 2]])
def test_what_is_no_number_is_named(call, value):
    with pytest.raises(KitError, match=r"must|needs"):
        call(value)


@pytest.mark.parametrize("t", [2e4, 1e8])
def test_very_large_statistics_have_an_interval(t):
    """The interval over t hardly depends on t; scipy computes it up to about 1e5."""
    low, high = np.array(models.effect_sizes.noncentral_t_interval(t, 13)) / t
    assert (low, high) == approx(np.array(models.effect_sizes.noncentral_t_interval(9e3, 13)) / 9e3, rel=1e-5)
    low, high = np.array(models.noncentral_f_interval(t**2, 3, 13)) / t**2
    assert (low, high) == approx(np.array(models.noncentral_f_interval(3e7, 3, 13)) / 3e7, rel=1e-5)


def test_a_constant_row_has_no_correlation():
    """The mean of 0.1, 0.1, 0.1 is not 0.1 in floating point."""
    assert np.isnan(models.pearson_rows([[0.1, 0.1, 0.1]], [[1, 2, 4.0]])).all()


@pytest.mark.parametrize("scale", [1e-9, 1.0, 1e9])
def test_ranks_do_not_depend_on_the_unit(scale):
    differences = np.array([0.3, 0.1 + 0.2, -0.1, 0.7, 0.5, -0.3])
    assert models.signed_rank(scale * differences).p == models.signed_rank(differences).p == 0.25


@pytest.mark.parametrize("change", [lambda hr: hr + 1j, lambda hr: hr * 1e150])
def test_what_cannot_be_a_measurement_is_refused(change):
    with pytest.raises(KitError, match=r"numbers|absurdly large"):
        fit(ROWS.assign(hr=change(ROWS["hr"])))


def test_the_order_of_the_athletes_does_not_move_a_permutation_p():
    rng = np.random.default_rng(0)
    x, y = rng.normal(size=(2, 12))
    order = rng.permutation(12)
    one, two = (models.permutation_correlation(a, b, n_resamples=500) for a, b in ((x, y), (x[order], y[order])))
    assert one.p == two.p


def test_infinite_values_are_missing_ones():
    infinite = ROWS.assign(hr=ROWS["hr"].where(ROWS.index != 3, np.inf))
    found, without = fit(infinite), fit(ROWS.drop(index=3))
    assert found.test("round_no").p == without.test("round_no").p
    assert found.left_out["reason"].tolist() == ["hr missing"]


def test_a_covariate_that_hardly_differs_from_another_is_named():
    rng = np.random.default_rng(2)
    mass = ROWS["athlete"].map(
        dict(zip(ROWS["athlete"].unique(), rng.normal(70, 8, ROWS["athlete"].nunique()), strict=True))
    )
    noise = ROWS["athlete"].map(
        dict(zip(ROWS["athlete"].unique(), rng.normal(0, 1, ROWS["athlete"].nunique()), strict=True))
    )
    for size, message in ((1e-7, True), (1e-4, True), (1.0, False)):
        table = ROWS.assign(mass=mass, mass_again=mass + size * noise)
        if message:
            with pytest.raises(KitError, match="mass_again is almost the same as mass"):
                fit(table, "hr ~ C(round_no) + mass + mass_again")
        else:
            assert np.isfinite(fit(table, "hr ~ C(round_no) + mass + mass_again").coefficients()["p"]).all()


def test_means_of_a_factor_that_is_no_term_of_its_own_are_refused_in_words():
    """Its interaction alone may span the same space as both together, so that nothing else stops it."""
    rows = [(a, r, "FM"[i % 2], 150 + i + 3 * r + (i * r) % 4) for i, a in enumerate("ABCDEFGH") for r in (1, 2, 3)]
    data = pd.DataFrame(rows, columns=["athlete", "round_no", "sex", "hr"])
    fit = fit_mixed(data, "hr ~ C(sex) + C(round_no):C(sex)", group="athlete")
    for ask in (fit.means, fit.contrasts):
        with pytest.raises(KitError, match=r"Add C\(round_no\) as a term of its own"):
            ask("round_no")
