"""A simulated club with a known truth, for the tests of the fitness question."""

import numpy as np
import pandas as pd


def make_club(
    *,
    seed=0,
    n=16,
    rounds=4,
    slope=-0.6,
    age_spread=0.0,
    women=0,
    between_sd=5.0,
    within_sd=3.0,
    capacity_sd=5.0,
    retest_sd=0.0,
    prediction_see=0.0,
    hr_max_measured=True,
    missing=0.0,
    test="laboratory",
    uses_heart_rate=False,
    sex_gap=0.0,
):
    """Return rows, capacity, athletes. `slope` is bpm per mL/kg/min at equal maximal heart rate.

    Age lowers maximal heart rate by 0.7 bpm a year and capacity by 0.35 mL/kg/min a year; heart rate in sparring is a
    share of maximal heart rate. Women are `sex_gap` lower in capacity and sex_gap / 2 bpm higher at equal share.
    """
    rng = np.random.default_rng(seed)
    codes = [f"A{i + 1:02d}" for i in range(n)]
    age = 30 + age_spread * rng.uniform(-1, 1, n)
    sex = np.where(np.arange(n) < women, "F", "M")
    woman = sex == "F"
    hr_max = 208 - 0.7 * age + rng.normal(0, 6, n)
    own = rng.normal(0, capacity_sd, n)
    true = 50 - 0.35 * (age - 30) + own - sex_gap * woman
    shown = true + rng.normal(0, 1, n) * retest_sd
    if prediction_see:
        shown = true
        true = shown + rng.normal(0, prediction_see, n)
    level = 0.85 * hr_max + slope * (true - 50 + sex_gap * woman) + sex_gap / 2 * woman + rng.normal(0, between_sd, n)
    rise = np.minimum(np.arange(rounds), 2) * 4.0
    hr = level[:, None] + rise[None, :] + rng.normal(0, within_sd, (n, rounds))
    lactate = 6 - 0.08 * (true[:, None] - 50) + 0.25 * rise[None, :] + rng.normal(0, 1.0, (n, rounds))
    rows = pd.DataFrame(
        {
            "session": "1",
            "athlete": np.repeat(codes, rounds),
            "round_no": np.tile(np.arange(1, rounds + 1), n),
            "hr_mean_bpm": hr.ravel(),
            "hr_late_bpm": hr.ravel() + 3,
            "hr_peak_bpm": hr.ravel() + 10 + rng.normal(0, 2, n * rounds),
            "percent_hr_max": 100 * hr.ravel() / np.repeat(hr_max, rounds) if hr_max_measured else np.nan,
            "percent_hr_reserve": 100 * (hr.ravel() - 60) / (np.repeat(hr_max, rounds) - 60)
            if hr_max_measured
            else np.nan,
            "hr_recovery_60s_bpm": 25 + 0.3 * np.repeat(true - 50, rounds) + rng.normal(0, 5, n * rounds),
            "hr_drift_bpm_min": 2 - 0.05 * np.repeat(true - 50, rounds) + rng.normal(0, 1, n * rounds),
            "lactate_mmol_l": lactate.ravel(),
            "lactate_delay_s": 60 + rng.integers(-15, 16, n * rounds).astype(float),
            "exertion": np.clip(np.round(13 + rise[None, :] / 3 + rng.normal(0, 1.5, (n, rounds))), 6, 20).ravel(),
            "activity_rating": np.clip(
                np.round(5 + 0.1 * (true[:, None] - 50) + rng.normal(0, 1, (n, rounds))), 0, 10
            ).ravel(),
            "valid_share": np.where(rng.random(n * rounds) < 0.08, 0.6, 0.97),
        }
    )
    rows = rows[rng.random(len(rows)) >= missing].reset_index(drop=True)
    mass = rng.normal(80, 10, n)
    capacity = pd.DataFrame(
        {
            "athlete": codes,
            "capacity": shown,
            "unit": "mL/kg/min",
            "standard_error": prediction_see or retest_sd or 2.58,
            "error_kind": "prediction" if prediction_see else "retest",
            "test": test,
            "uses_heart_rate": uses_heart_rate,
            "warnings": "",
            "mass_kg": mass,
            "vo2_l_min": shown * mass / 1000,
            "maximal": True,
            "hr_max_bpm": np.nan,
        }
    )
    athletes = pd.DataFrame(
        {
            "athlete": codes,
            "group": np.where(np.arange(n) % 2, "evening", "morning"),
            "age_years": age,
            "sex": sex,
            "mass_kg": mass,
            "hr_max_bpm": hr_max,
            "hr_max_source": "measured" if hr_max_measured else "predicted",
            "hr_limited": "",
        }
    )
    return rows, capacity, athletes
