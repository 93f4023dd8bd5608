"""Numbers of the trade: maximal heart rate, intensity, aerobic tests, gas exchange, lactate, exertion, load.

In: numbers with units. Out: numbers with units, each with its error, its source and how far that source was read.
Knows nothing of files or study tables.

Interface (being filled in)
---------------------------
Estimate(value, standard_error, unit, source, error_kind, equation, population, provenance, error_provenance,
    error_note, uses_heart_rate, label, inputs, warnings)
predict_hr_max(age_years, equation, *, sex=None) -> Estimate (bpm); hr_max_equations() -> table: equation, formula,
    author, year, source, provenance, standard_error, error_note, sex, population
choose_measured_hr_max(efforts) -> MeasuredHrMax(value, unit, standard_error, effort, efforts table with counts/reason,
    warnings); efforts: table or list of dicts: effort, hr_peak_bpm, sustained_s, artefact_free
percent_hr_max(hr_bpm, hr_max_bpm, *, above="error"|"missing"), percent_hr_reserve(hr_bpm, hr_max_bpm, hr_rest_bpm, *, above=),
    percent_hr_max_error(hr_bpm, hr_max_bpm, standard_error): numbers or arrays, per cent
intensity_bands(edition="position_stand_2011") -> table: band, order, percent_hr_max_low/_high, percent_hr_reserve_low/_high,
    percent_vo2max_low/_high, exertion_low/_high (half-open [low, high)), edition, year, source;
    BAND_NAMES = very_light, light, moderate, vigorous, near_maximal
seconds_per_band(percents, seconds, *, reference="percent_hr_max", edition="position_stand_2011")
    -> BandTimes(table: band, low, high, seconds, share; valid_s, missing_s, above_100_s, edition, warnings)
banister_impulse(hr_bpm, seconds, *, hr_max_bpm, hr_rest_bpm, sex), edwards_impulse(hr_bpm, seconds, *, hr_max_bpm),
    lucia_impulse(minutes_below, minutes_between, minutes_above), stagno_impulse(...), individual_impulse(...),
    session_rating_load(rating, minutes, *, scale) -> TrainingImpulse(value, unit, method, constants, valid_s, missing_s)
estimate_vo2max(test, **inputs) -> Estimate in mL/kg/min; known_aerobic_tests() -> table, one row per test and equation:
    test, equation, default, title, inputs, optional_inputs, input_units, validity, population, standard_error, error_kind,
    uses_heart_rate, maximal, score, source, provenance, warning; aerobic_test_score(test, **inputs) -> Estimate (distance, time)
    inputs by name (also the columns of an aerobic test sheet): age_years, sex ("F", "M"), mass_kg | mass_lb,
    time_min (decimal minutes or "mm:ss") | time_s, distance_m | distance_mi, level, shuttle, speed_kmh, hr_bpm, hr_max_bpm,
    hr_rest_bpm, power_w | power_kgm_min, vo2max_ml_kg_min | vo2max_l_min, averaging, equation ...
process_gas_exchange(samples, mass_kg, *, average="seconds:30", verification=None, age_years=None, lactate_mmol_l=None,
    exertion=None) -> GasExchangeResult(estimate, label, rule, plateau, secondary_criteria table, curve table, warnings ...)
scale_vo2(vo2_l_min, mass_kg, *, exponent), vo2_l_min_from_relative, vo2_relative_from_l_min, scaling_exponents()
lactate_from_mg_dl, lactate_to_mg_dl, check_lactate(values) -> table; check_exertion(values, scale) -> table
published_combat_values(), reliability_values(), norm_values() -> tables with a provenance column
"""

from .estimates import COMPUTED, CONVENTION, MEMORY, PROVENANCES, READ, SECONDARY, Estimate

__all__ = ["COMPUTED", "CONVENTION", "MEMORY", "PROVENANCES", "READ", "SECONDARY", "Estimate"]
