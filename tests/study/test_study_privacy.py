"""Consent, clearance, minors, withdrawal, and codes instead of names."""

import pytest
from study_folders import SETTINGS, athletes, changed, make_folder, rounds, sessions

from analysis.study import StudyError, check_study, load_study
from analysis.study.load import examine_folder
from analysis.study.privacy import code_trouble, file_name_trouble, is_word_of_texts, looks_personal


def test_who_has_no_consent_or_clearance_is_not_analysed(tmp_path):
    people = changed(changed(athletes(), 0, consent_measured="no"), 1, cleared="")
    tests = [{"athlete": "A01", "test": "run_12_min", "distance_m": 2400, "date": ""}]
    study = load_study(make_folder(tmp_path, athletes=people, aerobic_tests=tests))
    assert study.athletes["athlete"].tolist() == ["007", "NA"]
    assert set(study.rounds["athlete"]) == {"007", "NA"} and study.aerobic_tests.empty
    aside = study.ledger.set_aside()
    assert set(aside["cause"]) == {"no consent to be measured", "not cleared to take part"}
    balance = study.ledger.balance().set_index("table")
    assert balance.loc["rounds", ["rows_in", "used", "set_aside"]].tolist() == [12, 6, 6]
    assert set(study.rounds["opponent"]) >= {"A01", "A02"}  # with whom the others sparred stays known


@pytest.mark.parametrize("column", ["consent_measured", "cleared"])
@pytest.mark.parametrize("how", ["blank", "no column", "no athletes", "no table"])
def test_one_rule_for_consent_whoever_is_asked_and_however_it_is_missing(tmp_path, column, how):
    people = [{k: "" if k == column else v for k, v in row.items()} for row in athletes()]
    if how == "no column":
        people = [{k: v for k, v in row.items() if k != column} for row in people]
    table = {"athletes": "athlete,consent_measured,cleared\n"} if how == "no athletes" else {"athletes": people}
    folder = make_folder(tmp_path, **({"without": ("athletes",)} if how == "no table" else table))
    report = check_study(folder)
    assert (
        not report.passed
        and report.problems["problem"].str.contains("4 athletes have no cl|4 athletes have no co").all()
    )
    study = examine_folder(folder).study
    assert study.rounds.empty and study.aerobic_tests.empty and study.athletes.empty


def test_one_blank_consent_is_named_and_counted(tmp_path):
    report = check_study(make_folder(tmp_path, athletes=changed(athletes(), 1, consent_measured="")))
    said = report.remarks[report.remarks["column"] == "consent_measured"].iloc[0]
    assert report.passed and said["row"] == 3
    assert said["problem"] == "1 athlete has no consent on record: A02; nothing of theirs is analysed"


def test_individual_figures_and_sharing_need_a_yes(tmp_path):
    study = load_study(make_folder(tmp_path, athletes=changed(athletes(), 2, consent_shared_data="")))
    assert study.athletes_with_figures() == ("A02", "007", "NA")
    assert study.athletes_to_share() == ("A01", "A02", "NA")


@pytest.mark.parametrize("consent", ["", "no"])
def test_a_minor_without_a_guardians_consent_stops(tmp_path, consent):
    people = changed(athletes(), 0, age_years=17.9, guardian_consent=consent)
    with pytest.raises(StudyError, match="under 18"):
        load_study(make_folder(tmp_path, athletes=people))
    allowed = changed(athletes(), 0, age_years=17.9, guardian_consent="yes")
    approved = SETTINGS + '[ethics]\napproval = "2026-17"\nminors_blood = true\nminors_maximal = true\n'
    folder = make_folder(tmp_path / "allowed", athletes=allowed, settings=approved)
    assert len(load_study(folder).athletes) == 4


def withdrawn_folder(tmp_path):
    people = changed(athletes(), 1, withdrawn="yes", age_years=1.6)  # a fault of theirs must not be named either
    rows = changed(rounds(), 0, note="A02 called time; see A021")
    extra = [{"date": "2026-03-06", "decided_by": "study lead", "table": "rounds", "session": 1, "athlete": "A02",
              "round_no": 1, "measure": "exertion", "action": "replace", "new_value": 15, "reason": "A02 said so"}]  # fmt: skip
    folder = make_folder(tmp_path, athletes=people, rounds=rows, decisions=extra)
    (folder / "recordings").mkdir()
    for name in ("A02.csv", "A02_s1_b.csv", "A01.csv"):
        (folder / "recordings" / name).write_text("seconds,bpm\n1,120\n")
    return folder


def test_who_withdraws_leaves_every_table_and_leaves_a_count(tmp_path):
    folder = withdrawn_folder(tmp_path)
    study = load_study(folder)
    tables = [
        study.athletes,
        study.rounds,
        study.aerobic_tests,
        study.decisions,
        study.ledger.table,
        study.remarks,
        study.settled,
    ]
    everything = "\n".join(table.to_csv() for table in tables)
    assert "A02" not in everything.replace("A021", "")
    assert study.rounds.loc[study.rounds["opponent"] == "guest", "athlete"].tolist() == ["007", "A01", "NA"]
    assert study.rounds.loc[0, "note"] == "(withdrawn) called time; see A021"
    gone = study.ledger.table.query("cause == 'a person withdrew'")
    assert gone.set_index("table")["amount"].to_dict() == {
        "athletes": 1, "rounds": 3, "aerobic_tests": 1, "decisions": 1,
    }  # fmt: skip
    assert set(gone["athlete"]) == {""} and gone["row"].isna().all()
    assert set(study.recording_files()["athlete"]) == {"A01"}
    report = check_study(folder)
    assert report.passed and "2 files of people who withdrew" in report.text()
    assert "A02" not in report.text().replace("A021", "")


def test_a_decision_may_withdraw_somebody(tmp_path):
    row = {"date": "2026-03-06", "decided_by": "study lead", "table": "athletes", "athlete": "A02",
           "measure": "withdrawn", "action": "replace", "new_value": "yes", "reason": "asked to leave"}  # fmt: skip
    study = load_study(make_folder(tmp_path, decisions=[row]))
    assert len(study.athletes) == 3
    assert "A02" not in study.ledger.table.to_csv()


NAMED = {
    "heading": ({"athletes": [{**row, "surname": "x"} for row in athletes()]}, "personal data"),
    "birth date heading": ({"athletes": [{**row, "Date of birth": "1999-01-01"} for row in athletes()]}, "personal data"),
    "birth date": ({"athletes": changed(athletes(), 0, age_years="1999-04-03")}, "date"),
    "mail": ({"sessions": [{**sessions()[0], "note": "write to x.y@club.example"}]}, "a mail address"),
    "phone": ({"sessions": [{**sessions()[0], "note": "call +44 1632 960 983"}]}, "a phone number"),
    "code is a name": ({"athletes": changed(athletes(), 0, athlete="Robin")}, "a name"),
    "code is a birth date": ({"athletes": changed(athletes(), 0, athlete="19990403")}, "a birth date"),
}  # fmt: skip


@pytest.mark.parametrize("kind", NAMED)
def test_personal_data_are_refused(tmp_path, kind):
    tables, words = NAMED[kind]
    report = check_study(make_folder(tmp_path, **tables))
    assert not report.passed and report.problems["problem"].str.contains(words).any(), report.text()


def test_file_names_that_look_like_names_are_refused(tmp_path):
    folder = make_folder(tmp_path)
    (folder / "recordings").mkdir()
    for name in ("Kim_Example.fit", "A01_1999-04-03.fit", "A01.fit", "A02_s1.tcx", "unlabelled.csv"):
        (folder / "recordings" / name).write_bytes(b"x")
    problems = check_study(folder).problems
    assert sorted(problems["value"].unique()) == ["A01_1999-04-03.fit", "Kim_Example.fit", "unlabelled.csv"]


@pytest.mark.parametrize("code", ["A07", "007", "NA", "7", "a-12", "athlete_3", "P2026_01", "AB", "subject 4", "X1Y"])
def test_ordinary_codes_are_fine(code):
    assert code_trouble(code) == ""


@pytest.mark.parametrize("code", ["round", "Red", "F", "r", "SD", "kg", "a", "heart rate", "of", "round 3"])
def test_codes_that_are_words_of_the_write_up_are_refused(tmp_path, code):
    """A label in their place would spoil every sentence, and tell whose label it is."""
    assert is_word_of_texts(code)
    rows = changed(rounds(), 0, athlete=code)
    found = check_study(make_folder(tmp_path, rounds=rows)).problems
    assert found["problem"].str.contains("the write-up itself uses").any()


@pytest.mark.parametrize("code", ["A07", "7", "AB", "athlete_3", "B", "D", "KG", "K"])
def test_other_codes_can_be_hidden(code):
    assert not is_word_of_texts(code)


@pytest.mark.parametrize(
    "code", ["Robin", "robin", "ROBIN", "Kim Example", "kim.example", "1999-04-03", "00441632960983"]
)
def test_codes_that_name_somebody_are_not(code):
    assert code_trouble(code)


def test_ordinary_texts_are_not_taken_for_personal_data():
    for text in (
        "samples 45 to 75 s after",
        "19:30 to 19:35",
        "lot 2026-11-25/7",
        "10.1007/s40279-013-0123-4",
        "1234567",
    ):
        assert looks_personal(text) == "", text
    for stem in (
        "evening_1",
        "receiver_evening_2",
        "A07_s2_b",
        "session_2026-11-20",
        "Mat_B_Round_2",
        "2026-11-20_A07",
    ):
        assert file_name_trouble(stem) == "", stem


def test_what_was_wrong_with_somebody_who_withdrew_is_not_settled_but_gone(tmp_path):
    row = {"date": "2026-03-06", "decided_by": "study lead", "table": "athletes", "athlete": "A02",
           "measure": "withdrawn", "action": "replace", "new_value": "yes", "reason": "asked to leave"}  # fmt: skip
    study = load_study(make_folder(tmp_path, athletes=changed(athletes(), 1, age_years=15), decisions=[row]))
    assert study.settled.empty
