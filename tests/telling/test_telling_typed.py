"""What the write-up says of typed values that stood out, and of blood that was taken later and later."""

import sys
from pathlib import Path
from types import SimpleNamespace

import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "study"))
from typed_clubs import clean_club, write_book

from analysis.answers import Answers
from analysis.telling.study.sentences import write_stood_out, write_up_limitations
from analysis.telling.study.tables import participants_table


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
    line = {
        "name": "grade_rank",
        "label": "Grade (rank)",
        "unit": "",
        "digits": 0,
        "sex": "all",
        "shown": True,
    }
    known = pd.DataFrame([line | {"n_athletes": 9, "mean": 2.0, "sd": 1.0}])
    people = SimpleNamespace(characteristics=known, n_athletes=9, n_women=4, n_men=5)
    assert participants_table(people).shown["Characteristic"].tolist() == ["Grade (rank)"]
