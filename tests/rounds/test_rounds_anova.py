"""Repeated-measures analysis of variance against R (afex, car, effectsize), NIST and open data."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.rounds import anova_rounds
from analysis.rounds.anova import rm_anova

NAMES = {
    "statistic": "F",
    "df_num": "df_round",
    "df_den": "df_error",
    "p": "p_uncorrected",
    "eta2_partial": "partial_eta_squared",
    "eta2_generalized": "generalized_eta_squared",
    "epsilon_gg": "epsilon_greenhouse_geisser",
    "p_gg": "p_greenhouse_geisser",
    "epsilon_hf": "epsilon_huynh_feldt_capped_at_1",
    "p_hf": "p_huynh_feldt",
    "mauchly_w": "mauchly_W",
    "mauchly_p": "mauchly_p",
}


def test_agrees_with_r(r01_case, case):
    data, settings, expected = case(r01_case)
    result = anova_rounds(data, settings["value"])
    for ours, theirs in NAMES.items():
        if expected.get(theirs) is not None:
            assert getattr(result, ours) == pytest.approx(expected[theirs], rel=1e-8), ours
    assert result.eta2_partial_ci_low == pytest.approx(expected["partial_eta_squared_ci90_low"], rel=1e-6)
    assert result.eta2_partial_ci_high == pytest.approx(expected["partial_eta_squared_ci90_high"], rel=1e-6)
    assert result.n_athletes == expected["n_athletes_complete"]


def test_says_who_was_left_out(case):
    data, settings, expected = case("01_rm_anova__n20k6_missing_lactate_listwise")
    result = anova_rounds(data, settings["value"])
    dropped = expected["n_athletes_total"] - expected["n_athletes_complete"]
    complete = data.dropna(subset=[settings["value"]]).groupby("athlete").size() == 6
    gone = set(complete.index[~complete])
    assert len(gone) == dropped
    assert set(result.left_out["athlete"]) == gone
    used = result.n_observations
    assert used + len(result.left_out) == len(data)
    assert any(f"{dropped} athletes of 20" in w for w in result.warnings)


def test_two_rounds_have_epsilon_one_and_no_mauchly(case):
    data, settings, _ = case("01_rm_anova__n9k2_hr_mean")
    result = anova_rounds(data, settings["value"])
    assert (result.epsilon_gg, result.epsilon_hf) == (1.0, 1.0)
    assert np.isnan(result.mauchly_p)
    assert result.p_gg == pytest.approx(result.p)


@pytest.mark.parametrize(("level", "relative"), [("01", 1e-12), ("04", 1e-8), ("07", 1e-3)])
def test_keeps_digits_of_nist_data(level, relative, references):
    """Generalised eta squared is the certified R squared (NIST SmLs01, 04, 07); the last is as exact as its own digits."""
    data = pd.read_csv(references / f"nist_SmLs{level}.csv")
    assert anova_rounds(data, "value").eta2_generalized == pytest.approx(4.82758620689655e-01, rel=relative)


def test_open_training_data(references):
    """17 of 20 cyclists are complete: F = 7.260 (open data, CC0)."""
    data = pd.read_csv(references / "cycling_training.csv").rename(
        columns={"subject": "athlete", "timepoint": "round_no"}
    )
    result = anova_rounds(data, "VO2.max")
    assert result.statistic == pytest.approx(7.260, abs=5e-4)
    assert result.n_athletes == 17


def test_interval_of_eta_squared_covers(club):
    """Of 40 clubs, the 90 % interval holds the value that the true noncentrality implies in about 90 %."""
    hits, n, k, sd = 0, 10, 4, 3.0
    means = np.array([0.0, 2.0, 3.0, 3.0])
    noncentrality = n * ((means - means.mean()) ** 2).sum() / sd**2
    truth = noncentrality / (noncentrality + (n - 1) * (k - 1))
    for seed in range(40):
        result = anova_rounds(club(n=n, means=means, error_sd=sd, seed=seed), "hr_mean_bpm")
        hits += result.eta2_partial_ci_low <= truth <= result.eta2_partial_ci_high
    assert abs(hits / 40 - 0.9) < 3 * np.sqrt(0.9 * 0.1 / 40)


def test_no_spread_gives_no_test(club):
    data = club(error_sd=0.0)
    result = anova_rounds(data, "hr_mean_bpm")
    assert np.isnan(result.p) and result.n_athletes == 12
    assert any("same amount" in w for w in result.warnings)


def test_too_few_complete_athletes(club):
    data = club(n=3)
    data.loc[data["athlete"].isin(["A01", "A02"]) & (data["round_no"] == 2), "hr_mean_bpm"] = np.nan
    with pytest.raises(KitError, match="at least two athletes with every round"):
        anova_rounds(data, "hr_mean_bpm")


def test_more_rounds_than_athletes_gives_no_mauchly(club):
    result = anova_rounds(club(n=3), "hr_mean_bpm")
    assert np.isnan(result.mauchly_w)
    assert 1 / 3 <= result.epsilon_gg <= 1


def test_adapter_pins_the_columns_of_the_library(club):
    """If pingouin renames a column, this fails here and nowhere else."""
    long = club().rename(columns={"hr_mean_bpm": "value"})
    found = rm_anova(long)
    assert set(found) == {
        "statistic", "df_num", "df_den", "p", "epsilon_gg", "epsilon_hf", "mauchly_w", "mauchly_p",
        "eta2_generalized", "ss_round", "ss_error",
    }  # fmt: skip
    assert all(np.isfinite(v) for v in found.values())
