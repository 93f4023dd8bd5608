"""What the write-up says of typed values that stood out, and of blood that was taken later and later."""

import sys
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "study"))
from typed_clubs import clean_club, write_book

from analysis.answers import Answers
from analysis.report.first_screen import answers_sections
from analysis.study import check_study
from analysis.telling.document import Paragraph
from analysis.telling.rounds.tables import equivalence_table, missing_table, ways_table
from analysis.telling.study.methods import write_up_power
from analysis.telling.study.sentences import (
    asked_questions,
    deviations,
    write_stood_out,
    write_up_deviations,
    write_up_limitations,
    write_up_measurements,
)
from analysis.telling.study.tables import participants_table, plan_table
from analysis.telling.words import p_cell


def typed_club(tmp_path):
    book = clean_club(7)
    book.put("athletes", {"athlete": "A02"}, hr_max_bpm="195")
    book.put("rounds", {"athlete": "A02", "round_no": "3"}, hr_mean_typed_bpm="118", hr_peak_typed_bpm="191")
    for row in book.tables["rounds"]:
        row["lactate_delay_s"] = str(40 + 45 * (int(row["round_no"]) - 1))
    return Answers.from_folder(write_book(book, tmp_path / "club"))


def test_what_stood_out_is_counted_and_a_growing_delay_is_a_limitation(tmp_path):
    answers = typed_club(tmp_path)
    assert write_stood_out(answers.study)[0].startswith(
        "Among what was typed, 2 values were unlike the rest: none is settled"
    )
    said = " ".join(write_up_limitations(answers))
    assert "about 40\N{NO-BREAK SPACE}s after round 1 and 175\N{NO-BREAK SPACE}s after round 4" in said
    assert write_stood_out(Answers.from_folder(write_book(clean_club(3), tmp_path / "plain")).study) == []


def test_a_characteristic_without_unit_has_no_empty_brackets():
    line = {"name": "grade_rank", "label": "Grade (rank)", "unit": "", "digits": 0, "sex": "all", "shown": True}
    known = pd.DataFrame([line | {"n_athletes": 9, "mean": 2.0, "sd": 1.0}])
    people = SimpleNamespace(characteristics=known, n_athletes=9, n_women=4, n_men=5)
    table = participants_table(people)
    assert table.shown["Characteristic"].tolist() == ["Grade (rank)"]
    assert table.note == ""  # nothing in square brackets to explain
    some = participants_table(SimpleNamespace(**{**vars(people), "n_athletes": 10}))
    assert some.shown.iloc[0, 1].endswith("[9]")
    assert "square brackets" in some.note


@pytest.fixture(scope="module")
def no_blood(tmp_path_factory):
    """A club that typed heart rates, took no blood, and deleted the hypotheses about lactate as `check` says."""
    book = clean_club(5)
    for row in book.tables["rounds"]:
        for column in [c for c in row if c.startswith("lactate")]:
            row[column] = ""
    folder = write_book(book, tmp_path_factory.mktemp("typed") / "club")
    settings = folder / "study.toml"
    head, *blocks = settings.read_text(encoding="utf-8").split("[[plan.hypotheses]]")
    last, sep, rest = blocks[-1].partition("[plan.smallest_effects]")
    kept = [b for b in (*blocks[:-1], last) if ".lactate" not in b]
    settings.write_text("[[plan.hypotheses]]".join([head, *kept]) + sep + rest, encoding="utf-8")
    return Answers.from_folder(folder)


def test_what_nobody_asks_and_nobody_measured_is_nowhere_a_question_nor_a_departure(no_blood):
    asked = asked_questions(no_blood)
    assert {q.id for q in asked} == {"rounds.heart_rate", "rounds.exertion", "fitness.heart_rate"}
    assert not [line for line in deviations(no_blood) if "lactate" in line[0].lower()]
    assert "lactate" not in plan_table(no_blood.study, asked).shown.to_string().lower()
    assert "lactate" not in " ".join(write_up_power(no_blood.design(), {q.id for q in asked}))
    assert not [t for t in write_up_deviations(no_blood) if "departed from the" in t]  # no plan was fixed


def test_check_speaks_of_recordings_only_where_there_are_some(no_blood):
    report = check_study(no_blood.study.folder)
    assert report.passed and "recordings were not opened" not in report.text()


def test_hand_typed_heart_rates_are_told_among_the_measurements(no_blood):
    said = " ".join(write_up_measurements(no_blood.study, no_blood.description, {}))
    assert "were read off a device and typed" in said and "recorded throughout" not in said
    assert "(Léger, 1988; 10 athletes)" in said  # what the sources list is cited


def test_a_table_says_where_ratings_are_read_otherwise_than_claimed(no_blood):
    answers = {o: no_blood.rounds(o) for o in no_blood.primary_outcomes}
    for table in (ways_table, missing_table):
        made = {o: table({o: a}) for o, a in answers.items()}
        assert all(("Ratings:" in t.note) == (o == "exertion") for o, t in made.items() if t is not None)


def test_the_first_screen_says_that_nothing_was_planned_and_puts_no_words_into_the_coachs_mouth(no_blood):
    said = " ".join(b.text for s in answers_sections(no_blood) for b in s.blocks if isinstance(b, Paragraph))
    assert "All of this is exploratory: no plan was fixed before the data." in said
    assert "you said" not in said
    assert "with a mean. All means were typed from a device" in said
    assert "could run from" not in said or "At equal" in said


def test_the_p_that_fails_equivalence_is_one_number_in_text_and_table(no_blood):
    for outcome in no_blood.primary_outcomes:
        answer = no_blood.rounds(outcome)
        worst = answer.plateau.candidates.iloc[0]
        table = equivalence_table({outcome: answer}).shown.set_index("Rounds")
        shown = table.loc[worst["worst_contrast"].replace("-", "\N{MINUS SIGN}"), "p"]
        assert shown == p_cell(worst["p"])
