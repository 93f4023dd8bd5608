"""The library face: what programs of others call stays importable, with its keywords and the fields of its results."""

import importlib
import inspect

import pandas as pd
import pytest

FACE = {
    "study.load_study": "folder",
    "recordings.read_recording": "path",
    "recordings.read_gas_exchange": "path",
    "cleaning.flag_artefacts": "samples hr_max_bpm",
    "cleaning.find_rounds": "samples protocol start_clock",
    "cleaning.summarise_rounds": "study",
    "physiology.predict_hr_max": "age_years equation sex",
    "physiology.hr_max_equations": "",
    "physiology.estimate_vo2max": "test",
    "physiology.known_aerobic_tests": "",
    "physiology.process_gas_exchange": "samples mass_kg average",
    "models.fit_mixed": "data formula group slope slope_correlated crossed",
    "models.fit_mixed_batch": "outcomes design group tests",
    "rounds.compare_rounds": "data outcome covariates",
    "rounds.anova_rounds": "data outcome",
    "rounds.rank_rounds": "data outcome",
    "rounds.equivalence": "data outcome low high kind",
    "rounds.reliability": "data outcome",
    "capacity.measure_capacity": "aerobic_tests athletes",
    "capacity.correlate": "data x y method interval level alternative seed",
    "capacity.correlate_within": "data x y",
    "capacity.partial_correlation": "data x y covariates",
    "capacity.fit_capacity": "data capacity outcome covariates",
    "capacity.influence": "data x y",
    "capacity.correct_for_error": "r n retest_sd prediction_see capacity_sd outcome_reliability",
    "replication.prediction_interval": "r n n_new level",
    "replication.consistency": "r n r_new n_new",
    "replication.detectability": "r n r_new n_new power",
    "replication.combine": "r n r_new n_new",
    "replication.bayes_factor": "r n r_new n_new",
    "planning.correlation_power": "r n alpha alternative",
    "planning.correlation_sample_size": "r power",
    "planning.correlation_precision": "r n level",
    "planning.paired_power": "d_z n",
    "planning.equivalence_power": "low high difference sd_difference n",
    "planning.rounds_power": "n rounds effect_f correlation epsilon",
    "planning.simulate_studies": "design truth n_studies seed",
    "training.compare_groups": "",
    "training.randomisation_test": "",
    "training.individual_response": "",
    "training.effect_from_summaries": "",
    "training.ancova_power": "",
    "training.allocate": "",
}
"""Name of the face -> what it is called with; keywords and fields may be added, none may go."""

CLUB = pd.DataFrame(
    {
        "athlete": [a for a in "ABCDEFGH" for _ in range(3)],
        "round_no": [1, 2, 3] * 8,
        "hr": [150 + 3 * i + (i * j * 7) % 5 + 4 * j for i in range(8) for j in range(3)],
        "lactate": [5 + (i * 3) % 4 + j + (i * j) % 3 for i in range(8) for j in range(3)],
        "capacity": [44 + 2.5 * i + (i % 3) for i in range(8) for _ in range(3)],
    }
)
ATHLETES = CLUB.groupby("athlete", as_index=False).mean()
FIELDS = {
    "rounds.compare_rounds": ((CLUB, "hr"), "overall means contrasts effect_sizes anova left_out"),
    "rounds.anova_rounds": (
        (CLUB, "hr"),
        "statistic df_num df_den p epsilon_gg p_gg epsilon_hf p_hf mauchly_w mauchly_p eta2_partial eta2_generalized "
        "n_athletes left_out",
    ),
    "rounds.rank_rounds": ((CLUB, "hr"), "statistic df p kendall_w contrasts"),
    "rounds.reliability": ((CLUB, "hr"), "icc typical_error change_in_mean cv_percent"),
    "capacity.correlate": ((ATHLETES, "capacity", "hr"), "estimate ci_low ci_high statistic df p n_athletes left_out"),
    "capacity.correlate_within": (
        (CLUB, "lactate", "hr"),
        "estimate ci_low ci_high statistic df p n_athletes left_out",
    ),
    "replication.prediction_interval": ((-0.5, 12, 14), "low high"),
    "replication.consistency": ((-0.5, 12, -0.1, 14), "difference statistic p q_cochran q_cohen i2"),
    "replication.detectability": ((-0.5, 12, -0.1, 14), "smallest_detectable_r p"),
    "replication.combine": ((-0.5, 12, -0.1, 14), "estimate ci_low ci_high"),
}
"""Name of the face -> a call, and the fields of what it gives."""


def found(name):
    room, function = name.split(".")
    return getattr(importlib.import_module(f"analysis.{room}"), function)


@pytest.mark.parametrize("name", FACE)
def test_a_name_of_the_face_stays_with_its_keywords(name):
    parameters = inspect.signature(found(name)).parameters
    assert set(FACE[name].split()) <= set(parameters)
    assert "Returns" in found(name).__doc__ and "Examples" in found(name).__doc__


@pytest.mark.parametrize("name", FIELDS)
def test_results_of_the_face_keep_their_fields(name):
    call, fields = FIELDS[name]
    result = found(name)(*call)
    assert [field for field in fields.split() if not hasattr(result, field)] == []


def test_tables_of_the_face_keep_their_columns():
    table = found("rounds.equivalence")(CLUB, "hr", low=-3.0, high=3.0)
    assert {"contrast", "estimate", "ci_low", "ci_high", "p_low", "p_high", "p", "equivalent"} <= set(table)
    corrected = found("capacity.correct_for_error")(-0.4, 12, retest_sd=2.0, capacity_sd=5.0, outcome_reliability=0.9)
    assert corrected.ci_low < corrected.estimate < corrected.ci_high
    assert float(found("replication.bayes_factor")(-0.5, 12, -0.1, 14)) > 0
