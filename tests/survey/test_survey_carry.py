"""The error of predicted maxima: carried once, shared by a person's sessions, and right about simulated truth."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.physiology import predict_hr_max
from analysis.survey import answer_survey
from analysis.survey.against import GRID, carry_error, likely_errors, people_of
from analysis.survey.files import measure_spread, predict_maxima


def people(seed, *, n=60, extra=30, error_bpm=9.0, spread=0.03, stated=10.8):
    """Sessions with known maxima: returned with the true shares of peaks at or above 90 and 96 %."""
    rng = np.random.default_rng(seed)
    predicted = 211 - 0.64 * rng.uniform(19, 45, n)
    maximum = predicted + rng.normal(0, error_bpm, n)
    who = np.concatenate([np.arange(n), rng.integers(0, n, extra)])
    share = rng.normal(0.91, spread, n)[who] + rng.normal(0, 0.015, len(who))
    share = np.where(share > 1, 2 - share, share)
    mean = np.minimum(rng.normal(0.72, 0.05, n)[who] + rng.normal(0, 0.03, len(who)), share)
    true = {t: float(((share >= t / 100) / np.bincount(who)[who]).sum() / n) for t in (90, 96)}
    return people_of(mean * maximum[who], share * maximum[who], who, predicted[who], stated), true


def test_the_interval_holds_the_true_share_and_the_naive_one_does_not():
    ours, naive, off = [], [], []
    for seed in range(25):
        rates, true = people(seed)
        at = carry_error(rates, n_draws=120, seed=seed).at("percent_peak", 96)
        plain = carry_error(rates, n_draws=120, seed=seed, learn=False).at("percent_peak", 96)
        ours.append(at["low"] <= true[96] <= at["high"])
        naive.append(plain["low"] <= true[96] <= plain["high"])
        off.append((at["exact"] - true[96], at["centre"] - true[96]))
    assert sum(ours) >= 21  # of 25; see tests/references/survey/calibration.md for many more
    assert sum(naive) <= 15  # counts the scatter of the prediction twice
    exact, centre = np.abs(np.mean(off, axis=0))
    assert centre < exact / 2  # maxima taken as exact put too many people above 96 %


def test_without_error_the_exact_share_comes_back():
    rng = np.random.default_rng(1)
    peak = rng.uniform(150, 189, 30)
    carried = carry_error(people_of(peak - 40, peak, range(30), np.full(30, 190.0), 1e-9), n_draws=20)
    for shares in (carried.low, carried.centre, carried.high):
        assert np.allclose(shares, carried.exact, atol=1e-9)


def test_no_maximum_below_a_heart_rate_that_was_reached():
    rates, _ = people(2, error_bpm=10.8)
    assert np.exp(rates.log_share[:, 1]).max() > 1  # some peaks lie above the prediction
    carried = carry_error(rates, n_draws=100)
    beyond = int(np.flatnonzero(GRID == 100.5)[0])
    assert carried.high[1, beyond] == 0.0 and carried.exact[1, beyond] > 0
    likely = likely_errors(rates)
    low, middle, high = (likely[k] for k in ("low", "middle", "high"))
    assert (low >= np.exp(rates.floor()) - 1e-12).all() and (low <= middle).all() and (middle <= high).all()


def test_a_person_counts_once_however_many_sessions():
    rng = np.random.default_rng(3)
    peak = rng.normal(175, 8, 20)
    once = people_of(peak - 40, peak, range(20), np.full(20, 190.0), 10.8)
    peaks, who = np.append(peak, [peak[0]] * 30), [*range(20), *[0] * 30]
    often = people_of(peaks - 40, peaks, who, np.full(50, 190.0), 10.8)
    assert np.allclose(carry_error(once, n_draws=2).exact, carry_error(often, n_draws=2).exact)


def test_order_of_rows_and_names_of_people_change_nothing_but_chance():
    rates, _ = people(4)
    rng = np.random.default_rng(0)
    order = rng.permutation(len(rates.codes))
    hr, tops = np.exp(rates.log_share) * 190, np.full(len(order), 190.0)
    same = people_of(hr[:, 0], hr[:, 1], rates.codes, tops, 10.8)
    moved = people_of(hr[order, 0], hr[order, 1], 500 - rates.codes[order], tops, 10.8)
    one, two = carry_error(same, n_draws=300, seed=1), carry_error(moved, n_draws=300, seed=1)
    assert np.allclose(one.exact, two.exact)
    assert one.at("percent_peak", 90)["centre"] == pytest.approx(two.at("percent_peak", 90)["centre"], abs=0.06)


def test_the_same_seed_gives_the_same_numbers():
    rates, _ = people(5)
    a, b, c = (carry_error(rates, n_draws=50, seed=s) for s in (7, 7, 8))
    assert np.array_equal(a.low, b.low) and not np.array_equal(a.low, c.low)


def test_a_sample_of_many_people_gives_about_the_same():
    rates, _ = people(6, n=1500, extra=700)
    whole, some = carry_error(rates, n_draws=60), carry_error(rates, n_draws=60, most=500)
    assert some.n_people == 500 and whole.n_people == 1500
    assert np.array_equal(whole.exact, some.exact)
    assert whole.at("percent_peak", 90)["centre"] == pytest.approx(some.at("percent_peak", 90)["centre"], abs=0.08)


def test_few_people_teach_nothing_about_the_error():
    rates, _ = people(7, n=5, extra=0)
    assert measure_spread(rates.log_share, rates.codes, rates.error) is None
    carried = carry_error(rates, n_draws=100)
    assert not carried.learned and np.isfinite(carried.centre).all()


def test_missing_peaks_or_means_leave_the_other_measure():
    rates, _ = people(8)
    hr = np.exp(rates.log_share) * 190
    only_mean = people_of(hr[:, 0], np.full(len(hr), np.nan), rates.codes, np.full(len(hr), 190.0), 10.8)
    carried = carry_error(only_mean, n_draws=50)
    assert np.isnan(carried.exact[1]).all() and np.isfinite(carried.low[0]).all()
    hr[::2, 1] = np.nan
    mixed = carry_error(people_of(hr[:, 0], hr[:, 1], rates.codes, np.full(len(hr), 190.0), 10.8), n_draws=50)
    assert np.isfinite(mixed.low).all()


def test_identical_people_do_not_break_it():
    carried = carry_error(
        people_of(np.full(20, 140.0), np.full(20, 180.0), range(20), np.full(20, 190.0), 10.8), n_draws=50
    )
    assert np.isfinite(carried.centre).all() and carried.learned


def test_predicted_maxima_are_those_of_physiology():
    ages, sexes = [20.0, 33.5, np.nan, 33.5], ["F", "M", "M", ""]
    got = predict_maxima(ages, sexes, "tanaka_2001")
    assert got[1] == pytest.approx(predict_hr_max(33.5, "tanaka_2001").value) and np.isnan(got[2])
    sexed = predict_maxima(ages, sexes, "sydo_2014")
    assert np.isnan(sexed[3]) and sexed[0] == pytest.approx(predict_hr_max(20, "sydo_2014", sex="F").value)
    assert np.isnan(predict_maxima([3.0], ["M"], "nes_2013")[0])
    with pytest.raises(KitError, match="equation"):
        answer_survey(pd.DataFrame({"person": ["a"], "hr_mean_bpm": [140.0]}), equation="my own")
