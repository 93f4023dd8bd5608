"""Values that stand out: what is asked, what is not, and what an answer changes."""

import pytest
from typed_clubs import clean_club, write_book

from analysis.study.check import check_study, propose_decisions_for
from analysis.study.load import examine_folder
from analysis.study.stand_out import delay_drift, likely_slip

SIZES = [(6, 3, "0-10"), (8, 4, "6-20"), (10, 5, "0-100"), (12, 4, "0-10"), (16, 6, "6-20"), (10, 2, "0-10")]


def test_clubs_that_typed_everything_right_are_hardly_asked(tmp_path):
    """The benchmark looks at 200 clubs; these 12 are the seeded part of it."""
    asked = []
    for seed in range(12):
        n, rounds, scale = SIZES[seed % len(SIZES)]
        folder = write_book(clean_club(seed, n=n, rounds=rounds, scale=scale), tmp_path / str(seed), "csv")
        found = examine_folder(folder)
        assert not found.problems
        asked.append(len(found.questions))
    assert sum(asked) < len(asked) / 2, asked


@pytest.mark.parametrize(
    ("typed", "expected", "digits", "meant"),
    [(118, 180, 0, 181), (0.8, 7.7, 1, 8.0), (80, 7.7, 1, 8.0), (101, 163, 0, 161), (7, 16, 0, 17), (600, 62, 0, 60)],
)
def test_what_was_probably_meant(typed, expected, digits, meant):
    assert likely_slip(typed, expected, 10.0 if digits == 0 else 2.0, digits)[0] == meant


def test_nothing_is_meant_where_no_usual_slip_leads_there():
    assert likely_slip(150, 190, 5.0, 0) == (pytest.approx(float("nan"), nan_ok=True), "", "")


def with_a_misread_mean(tmp_path):
    book = clean_club(7)
    book.put("athletes", {"athlete": "A02"}, hr_max_bpm="195")
    book.put("rounds", {"athlete": "A02", "round_no": "3"}, hr_mean_typed_bpm="118", hr_peak_typed_bpm="191")
    return book, write_book(book, tmp_path / "asked", "csv")


def test_a_question_changes_nothing_until_somebody_answers(tmp_path):
    book, folder = with_a_misread_mean(tmp_path)
    report = check_study(folder)
    assert report.passed and report.questions["value"].tolist() == ["118"]
    assert "Is this right?" in report.text() and "118" in report.text() and "Everything fits" not in report.text()
    typed = examine_folder(folder).study.rounds["hr_mean_typed_bpm"]
    assert typed.eq(118).sum() == 1
    assert report.proposed[0]["new_value"] == "181" and report.proposed[0]["action"] == ""
    propose_decisions_for(folder)
    waiting = check_study(folder)
    assert len(waiting.questions) == 1 and "1 proposed decision waits" in waiting.text()
    keys = {"table": "rounds", "session": "1", "athlete": "A02", "round_no": "3", "measure": "hr_mean_typed_bpm"}
    signed = {"date": "2026-03-06", "decided_by": "study lead", "reason": "the paper sheet says so", **keys}
    for action, value, mean in (("keep", "", 118), ("replace", "181", 181)):
        book.tables["decisions"] = [{**signed, "action": action, "new_value": value}]
        found = examine_folder(write_book(book, tmp_path / action, "csv"))
        assert not found.questions and not found.problems
        assert found.study.rounds.query("athlete == 'A02' and round_no == 3")["hr_mean_typed_bpm"].item() == mean
        assert found.study.settled["value"].tolist() == ["118"]


def test_a_delay_that_grows_is_told_from_one_that_scatters(tmp_path):
    rounds = examine_folder(write_book(clean_club(3), tmp_path / "plain", "csv")).study.rounds
    assert delay_drift(rounds) is None
    later = rounds.assign(lactate_delay_s=40 + 45 * (rounds["round_no"] - 1))
    drift = delay_drift(later)
    assert (drift.first_round, drift.last_round, drift.first_s, drift.last_s) == (1, 4, 40, 175)


def test_a_question_does_not_wait_for_another_slip_of_its_row(tmp_path):
    book = clean_club(7)
    book.put("athletes", {"athlete": "A02"}, hr_max_bpm="150", sex="Q")
    book.put("athletes", {"athlete": "A03"}, hr_max_bpm="150", age_years="2x")
    found = examine_folder(write_book(book, tmp_path / "asked", "csv"))
    assert {(p.column, p.value) for p in found.problems} >= {("sex", "Q"), ("age_years", "2x")}
    asked = [q.row for q in found.questions if q.column == "hr_max_bpm"]
    assert len(asked) == 1, "the age that the maximum is compared with is not known for the second"


def test_a_value_with_a_problem_says_nothing_of_its_neighbours(tmp_path):
    book = clean_club(7, rounds=3)
    for k, lactate in (("1", "61"), ("2", "7.3"), ("3", "8.9")):
        book.put("rounds", {"athlete": "A04", "round_no": k}, lactate_mmol_l=lactate)
    found = examine_folder(write_book(book, tmp_path / "asked", "csv"))
    assert [p.value for p in found.problems] == ["61"]
    assert not [q for q in found.questions if q.column == "lactate_mmol_l"]
