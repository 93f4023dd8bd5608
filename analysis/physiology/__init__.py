"""Numbers of the trade: maximal heart rate, intensity, aerobic tests, gas exchange, lactate, exertion, load.

In: numbers with units. Out: numbers with units, each with its error, its source and how far that source was read.
Knows nothing of files or study tables.
"""

from .aerobic_tests import capacity_step_to_share, estimate_vo2max, known_aerobic_tests
from .hr_max import bpm_from_interval, hr_max_equations, predict_hr_max, read_heart_rate_message
from .intensity import intensity_bands, percent_hr_max_error, percent_hr_reserve_from_vo2max, seconds_per_band
from .laboratory import process_gas_exchange
from .lactate import lactate_from_mg_dl, lactate_to_mg_dl, whole_blood_from_plasma
from .load import (
    banister_impulse,
    edwards_from_minutes,
    edwards_impulse,
    lucia_impulse,
    session_rating_load,
    stagno_impulse,
)
from .published_values import published_combat_values, published_example
from .training_protocols import attainable_minutes, target_band, training_protocols
from .units import MEMORY, PROVENANCES, READ, SECONDARY, m_min_from_mph, mets_from_vo2, scale_vo2

__all__ = [
    "MEMORY", "PROVENANCES", "READ", "SECONDARY", "attainable_minutes", "banister_impulse", "bpm_from_interval",
    "capacity_step_to_share", "edwards_from_minutes", "edwards_impulse", "estimate_vo2max", "hr_max_equations",
    "intensity_bands", "known_aerobic_tests", "lactate_from_mg_dl", "lactate_to_mg_dl", "lucia_impulse",
    "m_min_from_mph", "mets_from_vo2", "percent_hr_max_error", "percent_hr_reserve_from_vo2max", "predict_hr_max",
    "process_gas_exchange", "published_combat_values", "published_example", "read_heart_rate_message", "scale_vo2",
    "seconds_per_band", "session_rating_load", "stagno_impulse", "target_band", "training_protocols",
    "whole_blood_from_plasma",
]  # fmt: skip
