"""A plan is amended before the first measurement only, dated, with its reason; both versions stay."""

import datetime as dt
import json
import re

import pandas as pd
import pytest
from study_folders import athletes, make_folder
from test_study_binding import PLAN, SETTINGS, TWO

from analysis.basics import KitError
from analysis.study import check_study, freeze_plan, load_study, new_study
from analysis.study.binding import question_statuses
from analysis.study.deviations import plan_deviations
from analysis.study.fixed_plan import load_fixed_plan

FIRST, SECOND = dt.date(2026, 3, 1), dt.date(2026, 3, 3)


def folder_with(tmp_path, plan=PLAN, **options):
    return make_folder(tmp_path, settings=SETTINGS + plan, sessions=TWO, **options)


def amended(tmp_path):
    folder = folder_with(tmp_path, without=("rounds", "aerobic_tests"))
    freeze_plan(load_study(folder), today=FIRST)
    folder_with(tmp_path, PLAN.replace("hr_mean_bpm = 5", "hr_mean_bpm = 4"), without=("rounds", "aerobic_tests"))
    made = freeze_plan(load_study(folder), today=SECOND, amendment="The coaches would act on 4 bpm.")
    return folder, made


def test_both_versions_are_kept_and_the_later_one_binds(tmp_path):
    folder, made = amended(tmp_path)
    names = {p.name for p in folder.glob("plan_*")}
    assert names == {"plan_2026-03-01.md", "plan_2026-03-03.md", "plan_fixed.json", "plan_fixed_1.json"}
    fixed = load_fixed_plan(folder)
    assert fixed.intact and fixed.date == "2026-03-03" and fixed.plan.smallest_effects["hr_mean_bpm"] == 4
    assert "Amended on 2026-03-03, before the first measurement: The coaches would act on 4 bpm." in made.markdown()
    study = load_study(folder_with(tmp_path, PLAN.replace("hr_mean_bpm = 5", "hr_mean_bpm = 4")))
    assert {q.status for q in question_statuses(study)} == {"confirmatory"}
    back = load_study(folder_with(tmp_path))
    assert "exploratory" in {q.status for q in question_statuses(back)}


def test_an_earlier_version_that_was_changed_or_lost_is_noticed(tmp_path):
    folder, _ = amended(tmp_path)
    path = folder / "plan_fixed_1.json"
    text = path.read_text()
    content = json.loads(text)
    content["fixed"]["plan"]["alpha"] = 0.2
    path.write_text(json.dumps(content))
    assert not load_fixed_plan(folder).intact
    path.write_text(text)
    assert load_fixed_plan(folder).intact
    path.unlink()
    assert not load_fixed_plan(folder).intact


def test_it_is_too_late_after_the_first_measurement(tmp_path):
    folder, _ = amended(tmp_path)
    folder_with(tmp_path)
    with pytest.raises(KitError, match="too late to amend the plan: 12 rows of rounds are entered"):
        freeze_plan(load_study(folder), amendment="second thoughts")
    assert load_fixed_plan(folder).intact


def test_nothing_to_amend_no_reason_and_the_same_day(tmp_path):
    folder = folder_with(tmp_path, without=("rounds", "aerobic_tests"))
    with pytest.raises(KitError, match="No plan has been fixed"):
        freeze_plan(load_study(folder), amendment="why not")
    freeze_plan(load_study(folder), today=FIRST)
    with pytest.raises(KitError, match="needs its reason"):
        freeze_plan(load_study(folder), amendment=" ")
    with pytest.raises(KitError, match="--amend"):
        freeze_plan(load_study(folder))
    made = freeze_plan(load_study(folder), today=FIRST, amendment="a typing error")
    assert made.path.name == "plan_2026-03-01_2.md" and load_fixed_plan(folder).intact


def test_check_names_what_departs_and_what_that_makes_exploratory(tmp_path):
    folder, _ = amended(tmp_path)
    assert check_study(folder).departures == ()
    folder_with(tmp_path, PLAN.replace("hr_mean_bpm = 5", "hr_mean_bpm = 9"))
    text = check_study(folder).text()
    assert "Departs from the fixed plan" in text
    assert "plan: smallest effects: mean heart rate: planned 4; now 9 (study.toml)" in text
    assert "exploratory: heart rate over the rounds; fitness and heart rate (the smallest effect that matters" in text


def test_an_odd_number_of_athletes_is_no_departure(tmp_path):
    codes = ("A01", "A02", "007")
    pairs = {1: ("A01", "A02", "007"), 2: ("A01", "007", "A02"), 3: ("A02", "007", "A01")}
    rows = []
    for round_no, (a, b, out) in pairs.items():
        for one, other in ((a, b), (b, a)):
            rows.append(
                {"athlete": one, "round_no": round_no, "opponent": other, "took_part": "yes"}
                | {"exertion": 13, "lactate_mmol_l": 6, "hr_mean_typed_bpm": 160}
            )
        rows.append({"athlete": out, "round_no": round_no, "took_part": "sat_out"})
    people = [row for row in athletes() if row["athlete"] in codes]
    options = {"athletes": people, "without": ("aerobic_tests",)}
    folder = folder_with(tmp_path, athletes=people, without=("rounds", "aerobic_tests"))
    freeze_plan(load_study(folder), today=FIRST)
    folder_with(tmp_path, rounds=rows, **options)
    (folder / "aerobic_tests.csv").unlink(missing_ok=True)
    assert "rounds per athlete" not in set(plan_deviations(load_study(folder))["part"])
    later = [r for r in rows if r["round_no"] != 2 or r["took_part"] != "yes"]
    folder_with(tmp_path, rounds=later, **options)
    assert "rounds per athlete" in set(plan_deviations(load_study(folder))["part"])


def prepared(tmp_path):
    """A folder as `new --athletes` makes it, consent and approval filled in, nothing measured."""
    folder = new_study(tmp_path / "club", rounds=3, athletes=6, workbook=False)
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8").replace('approval = ""', 'approval = "17"')
    settings.write_text(text.replace("# n_athletes = 12 ", "n_athletes = 6 "), encoding="utf-8")
    rows = pd.read_csv(folder / "athletes.csv", dtype=str, keep_default_na=False)
    rows.loc[rows["athlete"] != "code", ["consent_measured", "cleared"]] = "yes"
    rows.to_csv(folder / "athletes.csv", index=False)
    return folder


def test_rows_filled_in_before_the_evening_are_no_data(tmp_path):
    folder = prepared(tmp_path)
    study = load_study(folder)
    assert len(study.rounds) and not len(study.entered_rounds())
    freeze_plan(study, today=FIRST)
    report = check_study(folder)
    assert report.passed and report.departures == ()
    freeze_plan(load_study(folder), today=FIRST, amendment="another analyser")
    rows = pd.read_csv(folder / "rounds.csv", dtype=str, keep_default_na=False)
    rows.loc[rows["round_no"] == "1", "exertion"] = "13"
    rows.to_csv(folder / "rounds.csv", index=False)
    report = check_study(folder)
    assert list(report.problems["column"]) == ["hr_mean_typed_bpm", "lactate_mmol_l"]
    assert report.problems["remedy"].str.contains("confirm the proposed row of decisions").all()
    confirm(folder, report.proposed)
    assert len(load_study(folder).entered_rounds()) == 6
    assert list(load_study(folder).ledger.table["cause"].str.contains("not measured")).count(True) == 2
    with pytest.raises(KitError, match="too late"):
        freeze_plan(load_study(folder), amendment="again")
    told = check_study(folder).departures
    assert any(line.startswith("hypothesis: lactate over the rounds") and "not measured" in line for line in told)


def confirm(folder, proposed):
    """Write the proposed decisions into the table, with a day and a name."""
    rows = [{"date": "2026-03-05", "decided_by": "coach", **row} for row in proposed]
    pd.DataFrame(rows).to_csv(folder / "decisions.csv", index=False)


def test_a_planned_outcome_without_a_value_stops_until_it_is_typed_or_no_longer_asked(tmp_path):
    folder = prepared(tmp_path)
    rows = pd.read_csv(folder / "rounds.csv", dtype=str, keep_default_na=False)
    typed = rows["athlete"].str.startswith("A")
    rows.loc[typed, "exertion"] = "13"
    rows.to_csv(folder / "rounds.csv", index=False)
    report = check_study(folder)
    assert not report.passed and not report.proposed
    assert list(report.problems["column"]) == ["hr_mean_typed_bpm", "lactate_mmol_l"]
    rows.loc[typed, "hr_mean_typed_bpm"] = "160"
    rows.to_csv(folder / "rounds.csv", index=False)
    [remedy] = check_study(folder).problems["remedy"]
    assert remedy == "type lactate_mmol_l, or delete the hypotheses about it in study.toml"
    settings = (folder / "study.toml").read_text(encoding="utf-8")
    blocks = re.split(r"(?=\[\[plan\.hypotheses\]\]|\[plan\.smallest)", settings)
    kept = [b for b in blocks if not (b.startswith("[[plan.hyp") and "lactate_mmol_l" in b)]
    (folder / "study.toml").write_text("".join(kept), encoding="utf-8")
    report = check_study(folder)
    assert report.passed and "Everything fits." not in report.text()  # the aerobic test is planned, and not there
    assert all("an aerobic test" in line for line in report.departures)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("protocol", "rounds"), {"a": 1}),
        (("protocol", "rounds"), []),
        (("protocol", "groups"), {"novice": 3}),
        (("plan", "alpha"), "0.05"),
        (("plan", "n_athletes"), True),
        (("plan", "smallest_effects"), {"hr_mean_bpm": [5]}),
        (("plan", "exclusions"), [{}]),
        (("plan", "hypotheses", 0, "direction"), 3),
    ],
)
def test_a_fixed_plan_with_values_of_another_kind_is_refused_in_words(tmp_path, path, value):
    folder = folder_with(tmp_path)
    freeze_plan(load_study(folder), today=FIRST)
    content = json.loads((folder / "plan_fixed.json").read_text(encoding="utf-8"))
    part = content["fixed"]
    for key in path[:-1]:
        part = part[key]
    part[path[-1]] = value
    (folder / "plan_fixed.json").write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(KitError, match="cannot be read"):
        load_fixed_plan(folder)
