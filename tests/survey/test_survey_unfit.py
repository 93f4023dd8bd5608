"""Rows of a survey that do not fit are set aside in one confirmed step, each in the ledger; the rest is analysed."""

import random

import pandas as pd
import pytest

from analysis.answers import Answers
from analysis.basics import KitError
from analysis.study import check_study, load_study
from analysis.study.check import propose_decisions_for
from analysis.study.decisions import UNFIT

BAD = {3: ("hr_mean_bpm", "abc"), 17: ("age_years", "203"), 18: ("hr_peak_bpm", "18O"), 40: ("minutes", "lots"),
       41: ("sex", "Q"), 55: ("hr_mean_bpm", "1e9"), 70: ("device_kind", "toaster"), 88: ("age_years", "-4"),
       99: ("hr_peak_bpm", "0"), 120: ("session_kind", "parade"), 139: ("hr_mean_bpm", "12,5,1")}  # fmt: skip


def write_survey(folder, rows=140):
    made = random.Random(4)
    lines = []
    for i in range(rows):
        mean = made.randint(120, 160)
        line = {
            "person": f"R{made.randint(1, 70):02d}", "age_years": "", "sex": "F", "minutes": str(made.randint(40, 90)),
            "hr_mean_bpm": str(mean), "hr_peak_bpm": str(mean + made.randint(20, 45)), "device_kind": "chest_strap",
            "session_kind": "sparring",
        }  # fmt: skip
        line["age_years"] = str(20 + int(line["person"][1:]) % 25)
        if i in BAD:
            line[BAD[i][0]] = BAD[i][1]
        lines.append(line)
    folder.mkdir()
    (folder / "study.toml").write_text('title = "An invented survey"\nkind = "survey"\n', encoding="utf-8")
    pd.DataFrame(lines).to_csv(folder / "survey.csv", index=False, sep=";")
    return folder


def confirm(folder):
    path, new = propose_decisions_for(folder)
    table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    assert new == len(table)
    waiting = check_study(folder)
    assert not waiting.passed and any(
        "waits and does nothing" in p or "wait and do" in p for p in waiting.remarks["problem"]
    )
    table = table[table["measure"] == UNFIT]
    assert table["action"].tolist() == ["set aside"]
    table.assign(date="2026-11-09", decided_by="survey lead").to_csv(path, index=False)


def test_eleven_bad_rows_do_not_block_the_rest(tmp_path):
    folder = write_survey(tmp_path / "survey")
    before = check_study(folder)
    bad = {int(row) for row in before.problems["row"].dropna()}
    assert bad == {i + 2 for i in BAD}
    assert any(row["measure"] == UNFIT for row in before.proposed)
    confirm(folder)
    after = check_study(folder)
    assert after.passed and {int(r) for r in after.settled["row"].dropna()} == bad
    study = load_study(folder)
    assert len(study.survey) == 140 - len(BAD)
    aside = study.ledger.set_aside()
    assert set(aside["row"]) == bad and (aside["decided_by"] == "survey lead").all()
    for i, (column, value) in BAD.items():
        cause = aside.loc[aside["row"] == i + 2, "cause"].iloc[0]
        assert column in cause and repr(value) in cause
    assert study.ledger.balance().set_index("table").loc["survey", "rows_in"] == 140
    answer = Answers(study).survey()
    assert answer.n_sent == 129 and answer.n_sessions > 100


def test_one_session_set_aside_leaves_the_others_of_that_person(tmp_path):
    folder = write_survey(tmp_path / "survey")
    confirm(folder)
    table = pd.read_csv(folder / "survey.csv", sep=";", dtype=str)
    person = table["person"].value_counts().index[0]
    kept = [i for i in table.index[table["person"] == person] if i not in BAD]
    decisions = pd.read_csv(folder / "decisions.csv", dtype=str, keep_default_na=False)
    one = {"date": "2026-11-09", "decided_by": "survey lead", "table": "survey", "table_row": str(kept[0] + 2)}
    one |= {"action": "set aside", "reason": "a class, said the sender"}
    pd.concat([decisions, pd.DataFrame([one])]).fillna("").to_csv(folder / "decisions.csv", index=False)
    assert len(load_study(folder).survey) == 140 - len(BAD) - 1


def test_without_the_decision_nothing_is_analysed(tmp_path):
    with pytest.raises(KitError, match="problems in the study folder"):
        load_study(write_survey(tmp_path / "survey"))
