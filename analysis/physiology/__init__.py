"""Numbers of the trade: maximal heart rate, intensity, aerobic tests, gas exchange, lactate, exertion, load.

In: numbers with units. Out: numbers with units, each with its error, its source and how far that source was read.
Knows nothing of files or study tables.
"""

from .aerobic_inputs import aerobic_inputs
from .aerobic_model import laboratory_sem
from .aerobic_tests import aerobic_test_inputs, aerobic_test_score, estimate_vo2max, known_aerobic_tests
from .averaging import AVERAGES
from .estimates import COMPUTED, CONVENTION, MEMORY, PROVENANCES, READ, SECONDARY, Estimate, cite
from .exertion import EXERTION_SCALES, check_exertion, require_one_scale
from .gas_exchange import GasExchangeResult, process_gas_exchange
from .heart_rate_message import HeartRateMessage, bpm_from_interval, read_heart_rate_message
from .hr_max import hr_max_equations, predict_hr_max
from .hr_max_measured import EFFORTS, MeasuredHrMax, choose_measured_hr_max
from .intensity import (
    BAND_NAMES,
    EDITIONS,
    BandTimes,
    intensity_bands,
    percent_hr_max,
    percent_hr_max_error,
    percent_hr_reserve,
    percent_hr_reserve_from_vo2max,
    seconds_per_band,
)
from .lactate import (
    BLOOD_NOTE,
    check_lactate,
    lactate_from_mg_dl,
    lactate_reference,
    lactate_to_mg_dl,
    whole_blood_from_plasma,
)
from .load import TrainingImpulse, banister_impulse, edwards_impulse, individual_impulse, stagno_impulse
from .load_minutes import edwards_from_minutes, lucia_impulse, session_rating_load
from .metabolic import ACTIVITIES, metabolic_cost
from .published_values import (
    dehydration_hr_rise,
    norm_values,
    published_combat_values,
    published_example,
    reliability_values,
    sd_from_sem,
)
from .scaling import scale_vo2, scaling_exponents, vo2_l_min, vo2_ml_kg_min
from .shuttle import shuttle_stages, shuttles_in_level, stage_speed_km_h
from .submaximal import age_factor
from .units import (
    kg_from_lb,
    kgm_min_from_watts,
    m_from_miles,
    m_min_from_km_h,
    m_min_from_mph,
    mets_from_vo2,
    minutes_from,
    watts_from_kgm_min,
)

__all__ = [
    "ACTIVITIES",
    "AVERAGES",
    "BAND_NAMES",
    "BLOOD_NOTE",
    "COMPUTED",
    "CONVENTION",
    "EDITIONS",
    "EFFORTS",
    "EXERTION_SCALES",
    "MEMORY",
    "PROVENANCES",
    "READ",
    "SECONDARY",
    "BandTimes",
    "Estimate",
    "GasExchangeResult",
    "HeartRateMessage",
    "MeasuredHrMax",
    "TrainingImpulse",
    "aerobic_inputs",
    "aerobic_test_inputs",
    "aerobic_test_score",
    "age_factor",
    "banister_impulse",
    "bpm_from_interval",
    "check_exertion",
    "check_lactate",
    "choose_measured_hr_max",
    "cite",
    "dehydration_hr_rise",
    "edwards_from_minutes",
    "edwards_impulse",
    "estimate_vo2max",
    "hr_max_equations",
    "individual_impulse",
    "intensity_bands",
    "kg_from_lb",
    "kgm_min_from_watts",
    "known_aerobic_tests",
    "laboratory_sem",
    "lactate_from_mg_dl",
    "lactate_reference",
    "lactate_to_mg_dl",
    "lucia_impulse",
    "m_from_miles",
    "m_min_from_km_h",
    "m_min_from_mph",
    "metabolic_cost",
    "mets_from_vo2",
    "minutes_from",
    "norm_values",
    "percent_hr_max",
    "percent_hr_max_error",
    "percent_hr_reserve",
    "percent_hr_reserve_from_vo2max",
    "predict_hr_max",
    "process_gas_exchange",
    "published_combat_values",
    "published_example",
    "read_heart_rate_message",
    "reliability_values",
    "require_one_scale",
    "scale_vo2",
    "scaling_exponents",
    "sd_from_sem",
    "seconds_per_band",
    "session_rating_load",
    "shuttle_stages",
    "shuttles_in_level",
    "stage_speed_km_h",
    "stagno_impulse",
    "vo2_l_min",
    "vo2_ml_kg_min",
    "watts_from_kgm_min",
    "whole_blood_from_plasma",
]
