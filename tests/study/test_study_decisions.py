"""Decisions: applied before validating, settling problems, documented with who decided."""

import pytest
from study_folders import athletes, changed, make_folder, problem_at, rounds

from analysis.study import StudyError, check_study, load_study


def decision(**values) -> dict:
    return {
        "date": "2026-03-06",
        "decided_by": "study lead",
        "table": "rounds",
        "session": "",
        "athlete": "",
        "round_no": "",
        "measure": "",
        "from_s": "",
        "to_s": "",
        "action": "replace",
        "new_value": "",
        "reason": "the paper sheet agrees",
        **values,
    }


SLIPPED = changed(rounds(), 4, lactate_mmol_l=71)  # A01, round 2


def test_a_replaced_value_settles_its_problem_and_is_documented(tmp_path):
    replaced = decision(athlete="A01", round_no=2, measure="lactate_mmol_l", new_value="7,1")
    folder = make_folder(tmp_path, rounds=SLIPPED, decisions=[replaced])
    study = load_study(folder)
    assert study.rounds.loc[4, "lactate_mmol_l"] == 7.1
    assert study.settled[["file", "row", "column", "value"]].to_numpy().tolist() == [
        ["rounds.csv", 6, "lactate_mmol_l", "71"]
    ]
    entry = study.ledger.table.query("decided_by == 'study lead'").iloc[0]
    assert (entry["amount"], entry["used"]) == (0.0, True)
    assert entry["cause"] == "replaced 71 by 7,1: the paper sheet agrees"
    report = check_study(folder)
    assert report.passed and len(report.settled) == 1
    settled = report.text().partition("Settled by a decision")[2].split("\n\n")[0]
    assert "Remedy" not in settled  # it was remedied, perhaps otherwise


def test_a_value_and_a_row_set_aside_stay_in_the_ledger(tmp_path):
    decisions = [
        decision(athlete="A01", round_no=2, measure="lactate_mmol_l", action="set aside", reason="strip spoiled"),
        decision(athlete="NA", round_no=3, action="set_aside", reason="hurt a finger"),
    ]
    study = load_study(make_folder(tmp_path, rounds=SLIPPED, decisions=decisions))
    assert study.rounds["lactate_mmol_l"].isna().sum() == 1 and len(study.rounds) == 11
    balance = study.ledger.balance().set_index(["table", "measure", "unit"])
    assert balance.loc[("rounds", "", "rows"), ["rows_in", "used", "set_aside"]].tolist() == [12, 11, 1]
    values = balance.loc[("rounds", "lactate_mmol_l", "values")]
    assert values[["rows_in", "used", "set_aside"]].tolist() == [12, 10, 2]  # one value left with its row
    assert values["causes"] == "strip spoiled: 1; hurt a finger: 1"


def test_keep_settles_what_is_only_doubtful(tmp_path):
    one_sided = changed(rounds(), 3, opponent="NA")
    kept = decision(athlete="A01", round_no=1, measure="opponent", action="keep", reason="three on one mat")
    report = check_study(make_folder(tmp_path / "kept", rounds=one_sided, decisions=[kept]))
    assert report.problems["problem"].str.startswith("A02 lists A01").tolist() == [True]  # A01 -> NA is kept
    impossible = decision(athlete="A01", round_no=2, measure="lactate_mmol_l", action="keep")
    report = check_study(make_folder(tmp_path / "impossible", rounds=SLIPPED, decisions=[impossible]))
    assert not report.passed


def test_a_mistyped_code_and_a_doubled_row_can_be_settled(tmp_path):
    mistyped = changed(rounds(), 3, athlete="A10")
    code = decision(athlete="A10", round_no=1, measure="athlete", new_value="A01")
    assert len(load_study(make_folder(tmp_path / "a", rounds=mistyped, decisions=[code])).rounds) == 12
    doubled = [*rounds(), rounds()[3]]
    twice = decision(athlete="A01", round_no=1, action="set aside", table_row=14, reason="entered twice")
    study = load_study(make_folder(tmp_path / "b", rounds=doubled, decisions=[twice]))
    assert len(study.rounds) == 12 and len(study.settled) == 1


def test_decisions_about_other_tables_work_the_same(tmp_path):
    decisions = [
        decision(table="athletes", athlete="A01", measure="hr_max_bpm", new_value="188"),
        decision(table="sessions.csv", session="1", measure="place", new_value="the other mat"),
        decision(
            table="aerobic_tests", athlete="A02", measure="distance_m", action="set aside", reason="stopped early"
        ),
    ]
    study = load_study(make_folder(tmp_path, athletes=changed(athletes(), 0, hr_max_bpm=1.88), decisions=decisions))
    assert study.athletes.loc[0, "hr_max_bpm"] == 188
    assert study.sessions.loc[0, "place"] == "the other mat"
    assert study.aerobic_tests["distance_m"].isna().tolist() == [False, True, False, False]


def test_stretches_of_recordings_are_left_for_cleaning(tmp_path):
    spans = [
        decision(table="recordings", athlete="A01", from_s=120, to_s=300, action="set aside", reason="strap off"),
        decision(table="rounds", athlete="A01", round_no=2, measure="hr_mean_bpm", action="keep", reason="looks right"),
    ]
    study = load_study(make_folder(tmp_path, decisions=spans))
    assert study.decisions["from_s"].tolist()[0] == 120 and len(study.decisions) == 2
    assert not study.ledger.table["cause"].str.contains("strap off").any()
    backwards = [{**spans[0], "from_s": 300, "to_s": 120}]
    with pytest.raises(StudyError, match="ends before it begins"):
        load_study(make_folder(tmp_path / "backwards", decisions=backwards))


FAULTY = {
    "matches nothing": (decision(athlete="A09", measure="exertion", new_value="12"), "", "matches no row"),
    "matches too much": (
        decision(athlete="A01", measure="exertion", new_value="12"),
        "table_row",
        "matches 3 rows (rows 5, 6, 7)",
    ),
    "no such table": (decision(table="round", athlete="A01"), "table", "did you mean rounds"),
    "table not there": (decision(table="lactate", athlete="A01"), "table", "not in the folder"),
    "no such column": (
        decision(athlete="A01", round_no=1, measure="lactate"),
        "measure",
        "did you mean lactate_mmol_l",
    ),
    "no measure": (decision(athlete="A01", round_no=1), "measure", "is not said"),
    "no such action": (decision(athlete="A01", round_no=1, action="delete"), "action", "not among"),
    "nobody decided": (decision(athlete="A01", round_no=1, decided_by=""), "decided_by", "blank"),
    "no reason": (decision(athlete="A01", round_no=1, reason=""), "reason", "blank"),
    "in the future": (decision(athlete="A01", round_no=1, date="2126-03-06"), "date", "future"),
    "a name": (decision(athlete="A01", round_no=1, decided_by="Kim Example"), "decided_by", "a name"),
    "replaced stretch": (decision(athlete="A01", from_s=1, to_s=2), "action", "cannot be replaced"),
    "new value unreadable": (
        decision(athlete="A01", round_no=2, measure="lactate_mmol_l", new_value="seven"),
        "new_value",
        "not a number",
    ),
}


@pytest.mark.parametrize("name", FAULTY)
def test_faulty_decisions_are_problems(tmp_path, name):
    row, column, words = FAULTY[name]
    report = check_study(make_folder(tmp_path, decisions=[row]))
    found = report.problems[report.problems["column"] == column]
    assert found["problem"].str.contains(words, regex=False).any(), report.text()


def test_a_decision_in_a_wide_sheet_names_the_round_in_its_measure(tmp_path):
    text = "athlete,exertion_1,exertion_2\nA01,12,31\n"
    fixed = decision(athlete="A01", measure="exertion_2", new_value="13")
    report = check_study(make_folder(tmp_path, rounds=text, decisions=[fixed]))
    assert report.passed
    assert problem_at(report.settled, column="exertion_2", row=2)["value"] == "31"
