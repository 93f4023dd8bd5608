"""Which sessions are used: planted duplicates, impossible values, wrist sensors, other kinds of session, unclear ages."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import LEFT_OUT_COLUMNS, KitError
from analysis.survey.files import describe_senders
from analysis.survey.screen import complete_columns, left_out_sessions, screen_sessions, settle_people

GOOD = {"age_years": 30, "sex": "M", "minutes": 75, "hr_mean_bpm": 140.0, "hr_peak_bpm": 180.0, "device_kind": "chest_strap",
        "session_kind": "sparring", "file": ""}  # fmt: skip


def survey(*rows):
    """Each row is a person and what differs from a good session."""
    return pd.DataFrame([{"person": person, **GOOD, **more} for person, more in rows])


def reasons(table, **options):
    sessions, _ = settle_people(complete_columns(table))
    return screen_sessions(sessions, **options).sessions["reason"].tolist()


def test_each_planted_fault_gets_its_reason():
    table = survey(
        ("a", {}),
        ("b", {"hr_mean_bpm": np.nan, "hr_peak_bpm": np.nan}),
        ("c", {"hr_mean_bpm": 175.0, "hr_peak_bpm": 140.0}),
        ("d", {"hr_peak_bpm": 231.0}),
        ("e", {"minutes": 4}),
        ("f", {"file": "x.csv"}),
        ("g", {"file": "x.csv", "minutes": 50}),
        ("a", {}),
        ("h", {"device_kind": "wrist"}),
        ("i", {"session_kind": "strength"}),
        ("j", {"session_kind": "unknown"}),
        ("k", {"session_kind": ""}),
    )
    assert reasons(table) == [
        "", "no heart rate", "mean above peak", "implausible value", "implausible value", "",
        "the same recording was sent before", "the same session was sent before", "sensor at the wrist",
        "another kind of session", "", "",
    ]  # fmt: skip


def test_the_first_reason_that_fits_is_given():
    table = survey(("a", {"device_kind": "wrist", "session_kind": "strength", "hr_peak_bpm": 231.0}))
    assert reasons(table) == ["implausible value"]


def test_one_recording_under_two_names_is_found_by_its_content():
    table = survey(
        ("a", {"file": "a.csv"}), ("b", {"file": "b.csv", "minutes": 60}), ("c", {"file": "c.csv", "minutes": 61})
    )
    assert reasons(table, digests={"a.csv": "1", "b.csv": "1", "c.csv": "2"}) == [
        "",
        "the same recording was sent before",
        "",
    ]


def test_equal_sessions_of_two_people_are_no_duplicates():
    assert reasons(survey(("a", {}), ("b", {}))) == ["", ""]
    assert reasons(survey(("a", {"minutes": np.nan}), ("a", {"minutes": np.nan}))) == ["", ""]  # too little to tell


def test_a_peak_far_above_any_likely_maximum():
    table = survey(("a", {"hr_peak_bpm": 219.0}), ("b", {"hr_peak_bpm": 219.0}))
    assert reasons(table, ceiling=np.array([210.0, np.nan])) == ["peak far above any likely maximum", ""]


def test_kinds_of_session_can_be_chosen():
    table = survey(("a", {"session_kind": "drilling"}), ("b", {}))
    assert reasons(table, kinds=("drilling",)) == ["", "another kind of session"]


def test_contradictory_ages_and_sexes_are_not_known():
    table = survey(("a", {"age_years": 22}), ("a", {"age_years": 51, "minutes": 60}), ("b", {"age_years": 30}),
                   ("b", {"age_years": 31, "minutes": 60, "sex": "F"}), ("c", {"age_years": np.nan}))  # fmt: skip
    settled, warnings = settle_people(complete_columns(table))
    assert settled["age_years"].isna().tolist() == [True, True, False, False, True]
    assert settled["age_years"].iloc[2] == 30.5
    assert settled["sex"].tolist() == ["M", "M", "", "", "M"]
    assert len(warnings) == 2 and "1 person gave ages" in warnings[0]


def test_left_out_lists_every_session_once():
    table = survey(("a", {}), ("b", {"device_kind": "wrist"}), ("c", {"hr_peak_bpm": 231.0}))
    table = table.assign(source_file="survey.csv", row=[2, 3, 4])
    listed = left_out_sessions(screen_sessions(complete_columns(table)).sessions)
    assert list(listed.columns) == list(LEFT_OUT_COLUMNS)
    assert listed["row"].tolist() == [3, 4] and (listed["athlete"] == "").all()  # found by row: no code is passed on
    assert (listed["decided_by"] == "rule").all() and (listed["file"] == "survey.csv").all()


def test_numbers_as_text_and_missing_columns():
    sessions = complete_columns(pd.DataFrame({"person": ["a", "b"], "hr_mean_bpm": ["141", "not worn"]}))
    assert sessions["hr_mean_bpm"].tolist()[0] == 141.0 and np.isnan(sessions["hr_mean_bpm"].iloc[1])
    assert reasons(pd.DataFrame({"person": ["a", "b"], "hr_mean_bpm": [141.0, np.inf]})) == ["", "no heart rate"]


def test_a_survey_needs_people():
    with pytest.raises(KitError, match="no column person"):
        complete_columns(pd.DataFrame({"hr_mean_bpm": [140.0]}))
    with pytest.raises(KitError, match="has no person"):
        complete_columns(pd.DataFrame({"person": ["a", None], "hr_mean_bpm": [140.0, 150.0]}))


def test_senders_are_counted_as_people_and_as_sessions():
    eager, young, unknown = (
        {"minutes": 60, "device_kind": "wrist"},
        {"sex": "F", "age_years": 17},
        {"age_years": np.nan},
    )
    table = survey(("a", {}), ("a", eager), ("b", young), ("c", unknown))
    counts = describe_senders(complete_columns(table)).set_index(["what", "group"])
    assert counts.loc[("sex", "men"), ["n_athletes", "n_sessions"]].tolist() == [2, 3]
    assert (
        counts.loc[("sensor", "wrist"), "n_athletes"] == 1 and counts.loc[("sensor", "chest strap"), "n_athletes"] == 3
    )
    assert counts.loc[("age", "under 18"), "n_athletes"] == 1 and counts.loc[("age", "not said"), "n_athletes"] == 1
    assert counts.loc[("sessions of one person", "2 or 3"), "n_athletes"] == 1
    assert counts.xs("sex")["n_sessions"].sum() == len(table)
