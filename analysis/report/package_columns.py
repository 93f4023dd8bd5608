"""Every column that a data package may hold. A column that is not here is never shared."""

from __future__ import annotations

from dataclasses import dataclass

PACKAGE_TABLES = {
    "athletes": "One row per person",
    "sessions": "One row per evening",
    "rounds": "One row per evening, person and round",
    "heart_rate": "Samples of heart rate inside rounds",
}
"""Tables of a data package, with their titles."""


@dataclass(frozen=True)
class PackageColumn:
    """One column of a shared table."""

    table: str
    name: str
    kind: str
    unit: str
    meaning: str


_ROWS = """
athletes|person|string||Label of the person, drawn for this package
athletes|age_years|string|years|Age, in bands
athletes|mass_kg|string|kg|Body mass, in bands
athletes|sex|string||F or M as the published equations use it, X where neither
athletes|group|string||Group with a protocol of its own
athletes|hr_max_bpm|number|bpm|Measured maximal heart rate; blank where it was only predicted
athletes|hr_rest_bpm|number|bpm|Resting heart rate
athletes|capacity|number|mL/kg/min unless the study says otherwise|Aerobic capacity
athletes|capacity_standard_error|number|as capacity|Standard error of that value
athletes|capacity_error_kind|string||prediction: estimated by an equation; retest: measured
athletes|capacity_uses_heart_rate|boolean||Whether heart rate enters the test itself
sessions|session|string||Evening, numbered in order
sessions|temperature_c|number|°C|Air temperature, rounded
sessions|humidity_percent|number|%|Relative humidity, rounded
sessions|sample_site|string||Where blood was taken
sessions|sample_kind|string||Kind of blood sample
rounds|session|string||Evening, as in sessions
rounds|person|string||As in athletes
rounds|round_no|integer||Round on the club's clock; 0 is before sparring
rounds|bout_no|integer||Rounds that the person had sparred, this one included
rounds|took_part|string||yes, part, sat_out, left
rounds|rest_before_s|number|s|Rest before the round
rounds|hr_mean_bpm|number|bpm|Mean heart rate over the round, flagged samples set aside
rounds|hr_late_bpm|number|bpm|Mean heart rate over the last part of the round
rounds|hr_peak_bpm|number|bpm|Highest heart rate that was sustained
rounds|hr_source|string||trace: from a recording; typed: read off a device
rounds|percent_hr_max|number|%|Mean as a share of the measured maximal heart rate
rounds|percent_hr_reserve|number|%|Mean as a share of the reserve between rest and measured maximum
rounds|very_light_s|number|s|Seconds at very light intensity
rounds|light_s|number|s|Seconds at light intensity
rounds|moderate_s|number|s|Seconds at moderate intensity
rounds|vigorous_s|number|s|Seconds at vigorous intensity
rounds|near_maximal_s|number|s|Seconds at near-maximal to maximal intensity
rounds|valid_s|number|s|Seconds with a heart rate that was not flagged
rounds|valid_share|number|0 to 1|The same as a share of the round
rounds|hr_recovery_60s_bpm|number|bpm|Fall of heart rate in the first 60 s after the round
rounds|hr_drift_bpm_min|number|bpm/min|Slope of heart rate within the round
rounds|lactate_mmol_l|number|mmol/L|Blood lactate after the round
rounds|lactate_limit|string||high or low where the value was off the scale of the analyser
rounds|lactate_delay_s|number|s|Seconds from the end of the round to the sample
rounds|exertion|number|points|Rating of perceived exertion
rounds|activity_rating|number|points|Coach's rating of activity
heart_rate|session|string||Evening, as in sessions
heart_rate|person|string||As in athletes
heart_rate|round_no|integer||Round
heart_rate|second|number|s|Seconds from the start of the round
heart_rate|hr_bpm|number|bpm|Heart rate as recorded
heart_rate|flag|string||Why the sample was set aside; blank where good
"""

PACKAGE_COLUMNS = tuple(PackageColumn(*line.split("|")) for line in _ROWS.strip().splitlines())
"""Left out on purpose: what gives away age (predicted maximal heart rate, shares of it), mass (oxygen uptake in L/min),
sex (training impulse), a person (opponents, notes, codes, devices) or a day (dates, clock times)."""
