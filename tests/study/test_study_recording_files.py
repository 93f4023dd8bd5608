"""Which recording belongs to whom: rows of recordings.csv, file names, and files of nobody."""

import math

import pytest
from study_folders import athletes, changed, make_folder, sessions

from analysis.study import StudyError, check_study, load_study
from analysis.study.inventory import file_stem, leads_out, read_file_name
from analysis.study.load import examine_folder


def folder_with(tmp_path, *names, **tables):
    folder = make_folder(tmp_path, **tables)
    for name in names:
        path = folder / "recordings" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("seconds,bpm\n1,120\n")
    return folder


def test_file_names_tell_athlete_session_and_part():
    codes = ["A07", "A0", "007", "a_1"]
    expected = {
        "A07.fit": ("1", "A07"),
        "A07_s2.csv.gz": ("2", "A07"),
        "A07_s2_b.csv": ("2", "A07"),
        "A07_b.csv": ("1", "A07"),
        "A07-2.tcx": ("1", "A07"),
        "a07_S2.fit": ("2", "A07"),
        "007_sautumn.gpx": ("autumn", "007"),
        "a_1_s3.fit": ("3", "a_1"),
        "A07_watch.csv": ("1", "A07"),
        "A07 strap (2).csv": ("1", "A07"),
        "A07_strap_s2.csv": ("2", "A07"),
        "A071.fit": None,
        "group.csv": None,
    }
    assert {name: read_file_name(name, codes, sessions=["autumn"]) for name in expected} == expected
    assert file_stem("x/A07.FIT.GZ") == "A07"
    assert [leads_out(n) for n in ("/etc/x", "~/x", "C:\\x", "a/../../x", "a\\b.fit", "a.fit")] == [True] * 4 + [
        False
    ] * 2


def test_the_table_comes_first_and_file_names_fill_in(tmp_path):
    listed = [
        {
            "athlete": "A01",
            "file": "group.csv",
            "column_or_label": "strap 3",
            "clock_offset_s": "-0:47",
            "device": "strap 3",
        },
        {"athlete": "A02", "file": "group.csv", "column_or_label": "strap 4", "clock_offset_s": 12.5},
        {"athlete": "007", "file": "recordings/evening/x1.fit"},
    ]
    attendance = [{"athlete": "NA", "device": "watch 2"}]
    folder = folder_with(
        tmp_path, "group.csv", "evening/x1.fit", "NA.tcx", "NA_b.tcx", ".hidden.fit", "~$x.csv", "photo.jpg",
        recordings=listed, attendance=attendance,
    )  # fmt: skip
    found = load_study(folder).recording_files()
    assert found[["athlete", "label", "how"]].to_numpy().tolist() == [
        ["007", "", "recordings table"],
        ["A01", "strap 3", "recordings table"],
        ["A02", "strap 4", "recordings table"],
        ["NA", "", "file name"],
        ["NA", "", "file name"],
    ]
    by_athlete = found.drop_duplicates("athlete").set_index("athlete")
    assert by_athlete.loc["A01", "clock_offset_s"] == -47 and by_athlete.loc["A02", "clock_offset_s"] == 12.5
    assert math.isnan(by_athlete.loc["007", "clock_offset_s"])
    assert by_athlete.loc["NA", "device"] == "watch 2"
    assert all(path.is_file() and path.is_absolute() for path in found["path"])


def test_recordings_of_who_is_not_analysed_are_not_returned(tmp_path):
    people = changed(athletes(), 0, consent_measured="no")
    folder = folder_with(tmp_path, "A01.csv", "A02.csv", athletes=people)
    assert load_study(folder).recording_files()["athlete"].tolist() == ["A02"]
    assert check_study(folder).passed


def test_a_file_shared_by_several_needs_a_label(tmp_path):
    listed = [{"athlete": "A01", "file": "group.csv"}, {"athlete": "A02", "file": "group.csv"}]
    with pytest.raises(StudyError, match="listed for several athletes"):
        load_study(folder_with(tmp_path, "group.csv", recordings=listed))


def test_files_of_nobody_are_named(tmp_path):
    report = check_study(folder_with(tmp_path, "A01.csv", "A09.csv", "evening.fit", "README.md"))
    assert sorted(report.problems["value"]) == ["A09.csv", "evening.fit"]


@pytest.mark.parametrize("without", [("athletes",), ("athletes", "rounds", "sessions")])
def test_without_an_athletes_table_no_recording_is_anybodys(tmp_path, without):
    folder = folder_with(tmp_path, "A01_s2.csv", without=(*without, "aerobic_tests"))
    report = check_study(folder)
    assert report.problems["problem"].str.contains("no consent on record").tolist() == [True]
    assert examine_folder(folder).study.recording_files().empty


def test_the_only_session_is_the_session_of_a_file_that_names_none(tmp_path):
    autumn = [{**sessions()[0], "session": "autumn"}]
    folder = folder_with(tmp_path, "A01.csv", sessions=autumn, without=("rounds",))
    assert load_study(folder).recording_files()["session"].tolist() == ["autumn"]


def test_a_recording_set_aside_by_a_decision_does_not_come_back_by_its_name(tmp_path):
    decision = [{"date": "2026-03-06", "decided_by": "study lead", "table": "recordings", "athlete": "A01",
                 "action": "set aside", "reason": "strap of somebody else"}]  # fmt: skip
    listed = [{"athlete": "A01", "file": "A01.csv"}, {"athlete": "A02", "file": "A02.csv"}]
    folder = folder_with(tmp_path, "A01.csv", "A02.csv", "A02_b.csv", recordings=listed, decisions=decision)
    study = load_study(folder)
    assert study.recording_files()["athlete"].tolist() == ["A02"]
    assert study.remarks["value"].tolist() == ["A02_b.csv"]


def test_a_common_event_needs_its_time(tmp_path):
    listed = [{"athlete": "A01", "file": "a.csv", "event_s": "1:30"}]
    folder = folder_with(tmp_path, "a.csv", recordings=listed)
    with pytest.raises(StudyError, match=r"(?s)recordings.*event_s.*90.*no time of a common event.*event_clock"):
        load_study(folder)
