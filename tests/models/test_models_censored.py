"""Values beyond a limit: against Tobin's data in R's survival, a hand-written likelihood in R, quadrature, and known truths."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from analysis.basics import KitError
from analysis.models import fit_mixed, refit_censored
from analysis.models.censored import CensoredLikelihood

FOLDER = Path(__file__).parents[1] / "references" / "models" / "censored"


@pytest.fixture(scope="module")
def known():
    return json.loads((FOLDER / "censored.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def nine():
    table = pd.read_csv(FOLDER / "nine.csv")
    return table, fit_mixed(table, "y ~ C(round_no)", group="athlete")


def test_tobins_data_as_survreg_has_them(known):
    table = pd.read_csv(FOLDER / "tobin.csv")
    X = np.column_stack([np.ones(len(table)), table["age"], table["quant"]])
    side = np.where(table["durable"] > 0, 0, -1)
    likelihood = CensoredLikelihood(table["durable"].to_numpy(float), X, np.arange(len(table)) // 2, side)
    beta, value, score, _ = likelihood.coefficients(np.zeros(3), known["tobin"]["scale"], 0.0)
    assert beta == pytest.approx(known["tobin"]["coefficients"], rel=1e-6)
    assert value.sum() == pytest.approx(known["tobin"]["log_likelihood"], abs=1e-9)
    assert np.abs(score.sum(axis=0)).max() < 1e-4


def test_the_likelihood_of_athletes_as_integrated_in_r(known, nine):
    table, fit = nine
    ml = known["nine_ml"]
    likelihood = CensoredLikelihood(fit._design.y, fit._design.X, fit._athlete, table["side"].to_numpy())
    value, score, _ = likelihood.evaluate(np.array(ml["coefficients"]), ml["sigma"], ml["tau"] / ml["sigma"])
    assert value.sum() == pytest.approx(ml["log_likelihood"], abs=1e-6)
    assert np.abs(score.sum(axis=0)).max() < 2e-3


def test_the_adjusted_maximum_as_found_in_r(known, nine):
    table, fit = nine
    found = refit_censored(fit, table["side"])
    theirs = known["nine_adjusted"]
    assert found.coefficients()["estimate"].to_numpy() == pytest.approx(theirs["coefficients"], abs=2e-4)
    assert np.sqrt(found.variances.residual) == pytest.approx(theirs["sigma"], rel=2e-3)
    assert np.sqrt(found.variances.group) == pytest.approx(theirs["tau"], rel=2e-3)
    assert found.log_likelihood == pytest.approx(theirs["value"], abs=2e-4)
    given = np.linalg.inv(found._tests.information_found.sum(axis=0))
    assert given.ravel() == pytest.approx(theirs["covariance_given_spread"], rel=2e-2, abs=2e-3)


def test_one_athlete_by_plain_integration():
    y, side = np.array([9.0, 12.0, 12.0, 4.0]), np.array([0, 1, 1, -1])
    likelihood = CensoredLikelihood(y, np.ones((4, 1)), np.zeros(4, int), side)
    mean, sigma, tau = 10.0, 1.3, 2.1

    def joint(u):
        read = stats.norm.pdf(9.0, mean + u, sigma)
        beyond = stats.norm.sf(12.0, mean + u, sigma) ** 2 * stats.norm.cdf(4.0, mean + u, sigma)
        return read * beyond * stats.norm.pdf(u, 0, tau)

    area = integrate.quad(joint, -15, 15, epsabs=0, epsrel=1e-11, limit=400)[0]
    value = likelihood.evaluate(np.array([mean]), sigma, tau / sigma, derivatives=False)
    assert value[0] == pytest.approx(np.log(area), abs=1e-7)
    given = integrate.quad(
        lambda u: joint(u) * (mean + u + sigma * _mills((mean + u - 12) / sigma)), -15, 15, epsrel=1e-10
    )[0]
    assert likelihood.expected(np.array([mean]), sigma, tau / sigma)[1] == pytest.approx(given / area, abs=1e-6)


def _mills(z):
    return np.exp(stats.norm.logpdf(z) - stats.norm.logcdf(z))


def test_without_censored_values_the_fit_is_the_plain_one(nine):
    _, fit = nine
    assert refit_censored(fit, np.zeros(fit.n_observations)) is fit


def test_with_hardly_any_information_lost_the_tests_are_nearly_those_of_the_plain_fit():
    rng = np.random.default_rng(3)
    y = np.arange(4) + rng.normal(size=(10, 1)) + rng.normal(size=(10, 4))
    table = pd.DataFrame({"athlete": np.repeat(range(10), 4), "round_no": np.tile(range(4), 10), "y": y.ravel()})
    fit = fit_mixed(table, "y ~ C(round_no)", group="athlete")
    side = np.zeros(40)
    side[np.argmin(y)] = 1  # "at least the lowest value of all": one value less
    found, without = (refit_censored(fit, side), fit_mixed(table[side == 0], "y ~ C(round_no)", group="athlete"))
    for ddf in ("kenward-roger", "cr2"):
        ours, theirs = (f.contrasts("round_no", ddf=ddf) for f in (found, without))
        assert ours["estimate"].to_numpy() == pytest.approx(theirs["estimate"].to_numpy(), abs=0.12)
        assert ours["standard_error"].to_numpy() == pytest.approx(theirs["standard_error"].to_numpy(), rel=0.1)


def _evening(rng, growth=1.0):
    """Twelve athletes over four rounds, some values above the scale, and the fit with these at its end."""
    y = 8 + np.array([0, 2, 3, 3.4]) + 2 * rng.normal(size=(12, 1)) + 1.3 * growth * rng.normal(size=(12, 4))
    top = 12.9
    table = pd.DataFrame({"athlete": np.repeat(range(12), 4), "round_no": np.tile(range(4), 12)})
    table["y"] = np.minimum(y, top).ravel()
    return fit_mixed(table, "y ~ C(round_no)", group="athlete"), (y >= top).ravel()


def test_it_finds_what_the_end_of_the_scale_hides():  # how often its interval holds: rounds_models_calibration.py
    rng = np.random.default_rng(8)
    found = []
    for fit, side in (_evening(rng) for _ in range(4)):
        fits = fit, refit_censored(fit, side)
        found.append([f.contrasts("round_no", kind="first")["estimate"].iloc[-1] for f in fits])
    at_end, estimate = np.mean(found, axis=0)
    assert abs(estimate - 3.4) < 0.6 and at_end < estimate - 0.2


def test_a_spread_that_grows_over_the_rounds_is_found_and_allowed_for():
    fit, side = _evening(np.random.default_rng(5), growth=np.array([0.4, 0.7, 1.2, 2.0]))
    tests = refit_censored(fit, side)._tests
    assert tests.grows and tests.growth[0] > 0.3
    first = np.array([[0.0, 1, 0, 0]])
    last = np.array([[0.0, 0, -1, 1]])
    errors = [tests.single(row, "kenward-roger")[0][0] for row in (first, last)]
    assert errors[1] > 1.4 * errors[0]
    assert tests.single(last, "kenward-roger")[1][0] < 20 < fit._tests.single(last, "kenward-roger")[1][0]


def test_rows_with_a_spread_of_their_own_by_plain_integration():
    y, side = np.array([9.0, 12.0, 4.0]), np.array([0, 1, -1])
    place = np.array([[-1.0], [0.0], [1.0]])
    likelihood = CensoredLikelihood(y, np.ones((3, 1)), np.zeros(3, int), side, place)
    likelihood.scale(np.array([0.4]))
    mean, tau, s = 10.0, 2.1, 1.3 * np.exp(0.4 * place[:, 0])

    def joint(u):
        beyond = stats.norm.sf(12.0, mean + u, s[1]) * stats.norm.cdf(4.0, mean + u, s[2])
        return stats.norm.pdf(9.0, mean + u, s[0]) * beyond * stats.norm.pdf(u, 0, tau)

    area = integrate.quad(joint, -15, 15, epsabs=0, epsrel=1e-11, limit=400)[0]
    value, score, _ = likelihood.evaluate(np.array([mean]), 1.3, tau / 1.3)
    assert value[0] == pytest.approx(np.log(area), abs=1e-7)
    near = likelihood.evaluate(np.array([mean + 1e-4]), 1.3, tau / 1.3, derivatives=False)
    assert score[0, 0] == pytest.approx((near - value)[0] / 1e-4, abs=1e-3)
    given = integrate.quad(
        lambda u: joint(u) * (mean + u + s[1] * _mills((mean + u - 12) / s[1])), -15, 15, epsrel=1e-10
    )[0]
    found = likelihood.expected(np.array([mean]), 1.3, tau / 1.3)
    assert found[[0, 1]] == pytest.approx([9.0, given / area], abs=1e-6)


def test_a_round_without_a_reading_is_refused_in_words(nine):
    table, fit = nine
    with pytest.raises(KitError, match="too few values of a round were read"):
        refit_censored(fit, (table["round_no"] == 3).astype(int))
