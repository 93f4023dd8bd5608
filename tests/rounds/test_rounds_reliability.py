"""Intraclass correlations and typical error against R (psych), a published example, and simulated truth."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.models import intraclass_table
from analysis.rounds import reliability

CHANGES = {
    "estimate": "change_in_mean",
    "ci_low": "change_ci95_low",
    "ci_high": "change_ci95_high",
    "sd_of_differences": "sd_of_differences",
    "typical_error": "typical_error",
    "typical_error_ci_low": "typical_error_ci95_low",
    "typical_error_ci_high": "typical_error_ci95_high",
    "cv_percent": "cv_percent_from_logs_exp",
    "change_percent": "change_percent_from_logs",
    "smallest_detectable_change": "smallest_detectable_change95",
    "limit_low": "bland_altman_low",
    "limit_high": "bland_altman_high",
    "pearson_r": "pearson_r",
}


def test_agrees_with_r(r07_case, case):
    data, _, expected = case(r07_case)
    result = reliability(data, "value")
    table = result.icc.set_index("type")
    for ours, theirs in {"ICC(2,1)": "2_1", "ICC(3,1)": "3_1", "ICC(2,k)": "2_k", "ICC(3,k)": "3_k"}.items():
        for column, name in {"estimate": "icc", "ci_low": "ci95_low", "ci_high": "ci95_high", "p": "p"}.items():
            assert table.loc[ours, column] == pytest.approx(expected[f"ICC_{theirs}"][name], rel=1e-8)
    assert result.typical_error == pytest.approx(expected["typical_error_all_trials_pooled_sqrt_ms_error"], rel=1e-8)
    for line, pair in zip(result.change_in_mean.to_dict("records"), expected["successive_trials"], strict=True):
        for ours, theirs in CHANGES.items():
            assert line[ours] == pytest.approx(pair[theirs], rel=1e-8), ours


def test_published_typical_error():
    """Hopkins 2000, Sports Medicine 30:1: five athletes, typical error printed as 2.9."""
    data = pd.DataFrame(
        {
            "athlete": list("ABCDE") * 2,
            "session": ["1"] * 5 + ["2"] * 5,
            "score": [62, 78, 81, 55, 66, 67, 76, 87, 55, 63],
        }
    )
    result = reliability(data, "score")
    assert round(result.typical_error, 1) == 2.9
    assert result.kind == "reliability between evenings"


def test_rounds_of_one_evening_are_not_called_reliability(club):
    result = reliability(club(), "hr_mean_bpm")
    assert result.kind == "within-evening consistency"
    assert any("not as reliability" in w for w in result.warnings)
    assert result.icc["meaning"].str.contains("round").all()


def test_evenings_use_the_rounds_in_common(club):
    """An athlete who missed round 4 on one evening is compared by rounds 1 to 3 of both."""
    first, second = club(seed=1), club(seed=2)
    second = second[~((second["athlete"] == "A01") & (second["round_no"] == 4))]
    data = pd.concat([first.assign(session="1"), second.assign(session="2")])
    result = reliability(data, "hr_mean_bpm")
    a = first[(first["athlete"] == "A01") & (first["round_no"] < 4)]["hr_mean_bpm"].mean()
    b = second[second["athlete"] == "A01"]["hr_mean_bpm"].mean()
    others = [s[s["athlete"] != "A01"].groupby("athlete")["hr_mean_bpm"].mean().to_numpy() for s in (first, second)]
    differences = np.append(others[1] - others[0], b - a)
    assert result.n_athletes == 12
    assert result.change_in_mean["estimate"].iloc[0] == pytest.approx(differences.mean())
    assert result.typical_error == pytest.approx(differences.std(ddof=1) / np.sqrt(2))


def test_who_missed_an_evening_is_named(club):
    second = club(seed=2)
    data = pd.concat([club(seed=1).assign(session="1"), second[second["athlete"] != "A03"].assign(session="2")])
    result = reliability(data, "hr_mean_bpm")
    assert result.n_athletes == 11
    assert "A03" in set(result.left_out["athlete"])


def test_typical_error_covers_the_truth(club):
    """The 95 % interval of the typical error holds the true spread in about 95 % of clubs."""
    hits = 0
    for seed in range(40):
        data = club(n=8, means=(170, 170), error_sd=4.0, seed=seed)
        result = reliability(data, "hr_mean_bpm")
        hits += result.typical_error_ci_low <= 4.0 <= result.typical_error_ci_high
    assert abs(hits / 40 - 0.95) < 3 * np.sqrt(0.95 * 0.05 / 40)


def test_values_not_above_zero_have_no_cv(club):
    data = club(means=(0, 0), athlete_sd=1, error_sd=1)
    result = reliability(data, "hr_mean_bpm")
    assert np.isnan(result.cv_percent)
    assert any("0 or less" in w for w in result.warnings)


def test_too_few(club):
    with pytest.raises(KitError, match="at least three athletes"):
        reliability(club(n=2), "hr_mean_bpm")


def test_constant_outcome_has_no_icc(club):
    result = reliability(club(means=(170, 170), athlete_sd=0, error_sd=0), "hr_mean_bpm")
    assert result.icc["estimate"].isna().all()
    assert result.typical_error == 0


def test_adapter_leaves_the_options_of_the_library_alone(club):
    import pingouin

    before = dict(pingouin.options)
    long = club(means=(1, 2)).rename(columns={"round_no": "trial", "hr_mean_bpm": "value"})
    assert len(intraclass_table(long)) == 4
    assert dict(pingouin.options) == before


def test_rows_without_an_athlete_are_left_out_and_told(club):
    data = club()
    data.loc[3, "athlete"] = None
    result = reliability(data, "hr_mean_bpm")
    assert "no athlete" in set(result.left_out["reason"])


def test_one_round_repeats_worse_than_the_mean_of_an_evening():
    """Evenings differ by 1, rounds of one athlete by 3: 3.2 of one round, sqrt(1 + 9/4) = 1.8 of a mean of four."""
    rng = np.random.default_rng(5)
    n, k, evenings = 400, 4, 2
    athlete = rng.normal(170, 8, (n, 1, 1))
    day, own = rng.normal(0, 1, (n, evenings, 1)), rng.normal(0, 3, (n, evenings, k))
    values = athlete + day + own + np.array([0, 5, 8, 9])
    index = pd.MultiIndex.from_product([range(n), range(1, evenings + 1), range(1, k + 1)])
    data = index.to_frame(index=False, name=["athlete", "session", "round_no"]).assign(hr=values.ravel())
    data["session"] = data["session"].astype(str)
    errors = reliability(data, "hr").errors.set_index("of_what")
    assert errors.loc["one round", "typical_error"] == pytest.approx(np.sqrt(10), rel=0.05)
    assert errors.loc["an evening's mean", "typical_error"] == pytest.approx(np.sqrt(1 + 9 / 4), rel=0.08)
    assert errors["smallest_detectable_change"].to_numpy() == pytest.approx(
        1.959964 * np.sqrt(2) * errors["typical_error"].to_numpy(), rel=1e-6
    )


def test_the_interval_of_one_rounds_error_holds_it():
    rng, held = np.random.default_rng(7), 0
    for _ in range(150):
        athlete, day = rng.normal(170, 8, (8, 1, 1)), rng.normal(0, 2.5, (8, 2, 1))
        values = athlete + day + rng.normal(0, 2, (8, 2, 4))
        index = pd.MultiIndex.from_product([range(8), ["1", "2"], range(1, 5)])
        data = index.to_frame(index=False, name=["athlete", "session", "round_no"]).assign(hr=values.ravel())
        one = reliability(data, "hr").errors.iloc[1]
        held += one["ci_low"] < np.sqrt(2.5**2 + 2**2) < one["ci_high"]
    assert held / 150 > 0.90
