"""A training study from `new --training` to the answer: phases, the draw, what is refused, what reliability leaves out."""

import csv
import datetime as dt
import json
import re
import shutil

import numpy as np
import pandas as pd
import pytest

from analysis.__main__ import main
from analysis.answers import Answers
from analysis.answers.training import allocate_study
from analysis.answers.walk import DEMO_FOLDER
from analysis.basics import KitError
from analysis.capacity.measure import choose_tests
from analysis.planning import assure_design
from analysis.report import plan_document
from analysis.report.data_package import make_data_package
from analysis.report.plan_document import fix_plan
from analysis.rounds import reliability
from analysis.study import check_study, load_study, new_study
from analysis.study.training import read_record
from analysis.training.before_after import BeforeAfter

DAY = dt.date(2026, 4, 1)
CODES = [f"K{i}" for i in range(1, 13)]
TRUE = dict(zip(CODES, [44, 46, 48, 49, 50, 51, 53, 55, 47, 52, 45, 54], strict=True))


@pytest.fixture(scope="module", autouse=True)
def assured_once():
    """How sure the answer about rounds is stands in every plan here and is no matter of the training: worked out once."""
    kept = {}

    def once(*given, **options):
        if "answer" not in kept:
            kept["answer"] = assure_design(*given, **options)
        return kept["answer"]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan_document, "assure_design", once)
        yield


def save(path, heads, rows):
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([heads, *rows])


def rows_of(phase, gains=None, occasions=(1, 2), seed=1):
    rng = np.random.default_rng(seed)
    day = {"pre": 1, "post": 20}[phase]
    return [
        [a, f"2026-0{2 if phase == 'pre' else 6}-{day + 8 * (o - 1):02d}", phase, o, "run_12_min",
         round((TRUE[a] + (gains or {}).get(a, 0) + rng.normal(0, 1)) * 44.73 + 504.9)]
        for o in occasions for a in CODES
    ]  # fmt: skip


HEADS = ["athlete", "date", "phase", "occasion", "test", "distance_m"]


def club(tmp_path, *, people=None, number="12 19 33", named="the town lottery of 3 March 2026", **settings):
    """A folder as a new user fills it, before the training."""
    folder = new_study(tmp_path / "club", training=True, tests=["run_12_min"], rounds=3, workbook=False)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace('approval = ""', 'approval = "7"').replace(
        'public_number_named = ""', f'public_number_named = "{named}"'
    )
    for key, value in settings.items():
        text = text.replace(f'{key} = "parallel"', f'{key} = "{value}"')
    (folder / "study.toml").write_text(text, encoding="utf-8")
    rows = people or [[a, 20 + i, "F" if i % 3 == 0 else "M", "yes", "yes", ""] for i, a in enumerate(CODES)]
    save(folder / "athletes.csv", ["athlete", "age_years", "sex", "consent_measured", "cleared", "withdrawn"], rows)
    fix_plan(folder, today=dt.date(2026, 1, 20))
    if number:
        text = text.replace('public_number = ""', f'public_number = "{number}"')
        (folder / "study.toml").write_text(text, encoding="utf-8")
    save(folder / "aerobic_tests.csv", HEADS, rows_of("pre"))
    return folder


def opened(folder, sealed):
    shutil.copy(sealed, folder / "allocation.csv")
    with sealed.open(encoding="utf-8") as file:
        return {line["athlete"]: line["arm"] for line in csv.DictReader(file)}


def test_new_training_makes_a_folder_that_check_accepts_and_knows_what_it_needs(tmp_path):
    folder = new_study(tmp_path / "x", training=True)
    found = check_study(folder)
    assert found.passed
    assert found.notebooks.set_index("notebook").loc["09_training_study", "ready"]
    assert "columns" not in str(Answers(load_study(folder)).training())
    assert (folder / "texts" / "training_information.md").exists()
    assert load_study(folder).training.design == "parallel"
    with pytest.raises(KitError, match="not both"):
        new_study(tmp_path / "y", training=True, survey=True)


def test_an_ordinary_folder_has_no_training_columns_in_its_sheets_and_no_answer(tmp_path):
    from analysis.study.new_folder import sheet_columns

    assert "phase" not in sheet_columns("sessions") and "phase" in sheet_columns("sessions", training=True)
    answers = Answers(load_study(new_study(tmp_path / "x")))
    assert not answers.training()
    assert "phase" in answers.training().needs


def test_a_plan_that_names_no_number_is_not_fixed(tmp_path):
    folder = new_study(tmp_path / "x", training=True)
    with pytest.raises(KitError, match="named before it exists"):
        fix_plan(folder)
    assert not (folder / "plan_fixed.json").exists()


def test_assigned_training_needs_an_approval(tmp_path, quick_assurance):
    folder = new_study(tmp_path / "x", training=True)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace('public_number_named = ""', 'public_number_named = "a lottery to come"')
    (folder / "study.toml").write_text(text.replace("# n_athletes = 12", "n_athletes = 12"), encoding="utf-8")
    with pytest.raises(KitError, match="training that is assigned"):
        fix_plan(folder)


def test_the_draw_from_folder_to_answer(tmp_path):
    folder, sealed = club(tmp_path), tmp_path / "groups.csv"
    said = allocate_study(folder, sealed, today=DAY)
    assert "trained" not in said.replace("trains the group", "")
    record = json.loads((folder / "allocation_record.json").read_text(encoding="utf-8"))
    assert "arm" not in json.dumps(record["baselines"]) and record["n_kept"] >= 100
    with pytest.raises(KitError, match="allocated in this study before"):
        allocate_study(folder, tmp_path / "again.csv")
    answers = Answers(load_study(folder, today=dt.date(2026, 12, 1)))
    assert "phase post" in answers.training().needs
    with sealed.open(encoding="utf-8") as file:
        arms = {line["athlete"]: line["arm"] for line in csv.DictReader(file)}
    gains = {a: 5.0 for a, arm in arms.items() if arm == "trained"}
    save(folder / "aerobic_tests.csv", HEADS, rows_of("pre") + rows_of("post", gains, seed=2))
    answers = Answers(load_study(folder, today=dt.date(2026, 12, 1)))
    assert "allocation.csv" in answers.training().needs
    opened(folder, sealed)
    answer = Answers(load_study(folder, today=dt.date(2026, 12, 1))).training()
    one = answer.outcomes["capacity"]
    assert one.confirmatory, one.why_not
    assert one.randomisation.n_allocations == record["n_kept"]
    assert one.main.ci_low < 5 < one.main.ci_high
    assert "12 19 33" in answer.how_allocated


def test_groups_that_are_not_the_drawn_ones_end_the_confirmatory_claim(tmp_path):
    folder, sealed = club(tmp_path), tmp_path / "groups.csv"
    allocate_study(folder, sealed, today=DAY)
    arms = opened(folder, sealed)
    save(folder / "aerobic_tests.csv", HEADS, rows_of("pre") + rows_of("post", seed=2))
    other = {"trained": "control", "control": "trained"}
    save(
        folder / "allocation.csv",
        ["athlete", "arm"],
        [[a, other[arm] if a in CODES[:2] else arm] for a, arm in arms.items()],
    )
    one = Answers(load_study(folder, today=dt.date(2026, 12, 1))).training().outcomes["capacity"]
    assert not one.confirmatory
    assert "another group than the one drawn" in " ".join(one.why_not)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"number": ""}, "public number is not there"),
        ({"people": [[a, 20, "M", "yes", "" if a == "K3" else "yes", ""] for a in CODES]}, "K3: not cleared"),
    ],
)
def test_the_draw_waits_for_everything(tmp_path, change, words):
    folder = club(tmp_path, **change)
    with pytest.raises(KitError, match=words):
        allocate_study(folder, tmp_path / "groups.csv")
    assert not (tmp_path / "groups.csv").exists()


def test_the_draw_names_every_missing_baseline_at_once(tmp_path):
    folder = club(tmp_path)
    rows = [r for r in rows_of("pre") if r[0] not in ("K2", "K5")]
    save(folder / "aerobic_tests.csv", HEADS, rows)
    with pytest.raises(KitError, match="K2 and K5: no aerobic test of phase pre"):
        allocate_study(folder, tmp_path / "groups.csv")


def test_a_person_who_withdrew_is_not_waited_for(tmp_path):
    people = [[a, 20 + i, "M", "yes", "yes", "yes" if a == "K12" else "no"] for i, a in enumerate(CODES)]
    folder = club(tmp_path, people=people)
    allocate_study(folder, tmp_path / "groups.csv")
    assert "K12" not in (tmp_path / "groups.csv").read_text(encoding="utf-8")


def test_the_sealed_file_lies_outside_and_nothing_is_overwritten(tmp_path):
    folder = club(tmp_path)
    for place, words in (
        (folder / "g.csv", "lies in the study folder"),
        (tmp_path, "is a folder"),
        (tmp_path / "no" / "g.csv", "no folder"),
    ):
        with pytest.raises(KitError, match=words):
            allocate_study(folder, place)
    (tmp_path / "g.csv").write_text("mine")
    with pytest.raises(KitError, match="not overwritten"):
        allocate_study(folder, tmp_path / "g.csv")


def test_a_late_joiner_is_minimised_once_and_the_test_runs_the_procedure_again(tmp_path):
    folder, sealed = club(tmp_path), tmp_path / "groups.csv"
    save(folder / "aerobic_tests.csv", HEADS, [r for r in rows_of("pre") if r[0] != "K12"])
    people = [
        [a, 20 + i, "F" if i % 3 == 0 else "M", "yes", "yes", "yes" if a == "K12" else ""] for i, a in enumerate(CODES)
    ]
    heads = ["athlete", "age_years", "sex", "consent_measured", "cleared", "withdrawn"]
    save(folder / "athletes.csv", heads, people)
    allocate_study(folder, sealed, today=DAY)
    save(folder / "athletes.csv", heads, [[*p[:-1], ""] for p in people])
    allocate_study(folder, tmp_path / "late.csv", late="K12", today=DAY)
    with pytest.raises(KitError, match="allocated before"):
        allocate_study(folder, tmp_path / "late2.csv", late="K12")
    arms = opened(folder, sealed)
    with (tmp_path / "late.csv").open(encoding="utf-8") as file:
        arms |= {line["athlete"]: line["arm"] for line in csv.DictReader(file)}
    save(folder / "allocation.csv", ["athlete", "arm"], list(arms.items()))
    save(folder / "aerobic_tests.csv", HEADS, rows_of("pre") + rows_of("post", seed=2))
    answer = Answers(load_study(folder, today=dt.date(2026, 12, 1))).training()
    assert "minimisation" in answer.how_allocated
    assert answer.outcomes["capacity"].randomisation.n_allocations == 10_001
    assert answer.outcomes["capacity"].confirmatory


def test_the_command_line_says_what_is_wrong_and_returns_one(tmp_path, capsys):
    folder = club(tmp_path, number="")
    assert main(["allocate", str(folder), "--sealed", str(tmp_path / "g.csv")]) == 1
    assert "public number" in capsys.readouterr().err


def test_settings_of_the_training_are_checked_all_at_once(tmp_path):
    folder = new_study(tmp_path / "x", training=True)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace('design = "parallel"', 'design = "crossover"').replace("weeks = 8", "weeks = 800")
    text = text.replace('strata = ["sex"]', 'strata = ["hair"]').replace('"four_by_four"', '"four_by_for"')
    (folder / "study.toml").write_text(text, encoding="utf-8")
    found = check_study(folder)
    said = " ".join(found.problems["problem"])
    for words in ("stays for months", "not a number from 1 to 52", "balanced within", "did you mean four_by_four"):
        assert words in said
    assert found.problems["row"].notna().all()


def test_tables_are_checked(tmp_path):
    folder = club(tmp_path)
    rows = rows_of("pre")
    rows.append(rows[0])
    rows.append(["K1", "2026-02-12", "", 3, "run_12_min", 2700])
    save(folder / "aerobic_tests.csv", HEADS, rows)
    save(
        folder / "training_log.csv",
        ["athlete", "kind", "protocol", "recording"],
        [["K1", "intervals", "four_by_for", "no.csv"]],
    )
    said = " ".join(check_study(folder, today=dt.date(2026, 12, 1)).problems["problem"])
    for words in ("same phase and occasion", "without a phase", "did you mean four_by_four", "no such file"):
        assert words in said


def test_a_test_after_the_training_is_never_the_capacity_of_the_evening_before_it():
    tests = pd.DataFrame(
        {
            "athlete": ["A", "A", "A"],
            "date": ["2026-02-01", "2026-03-30", "2026-04-01"],
            "phase": ["familiarisation", "pre", "post"],
        }
    )
    evening = pd.DataFrame({"session": ["1"], "date": ["2026-04-02"], "phase": ["pre"]})
    chosen = choose_tests(tests, sessions=evening, within_days=90)
    assert chosen.used["phase"].tolist() == ["pre"]
    assert len(chosen.left_out) == 2 and chosen.left_out["reason"].str.contains("phase").all()
    later = choose_tests(tests, sessions=evening.assign(phase="post"), within_days=90)
    assert later.used["phase"].tolist() == ["post"]


def test_training_is_not_counted_as_error_of_measurement():
    rng = np.random.default_rng(1)
    true = rng.normal(170, 8, 10)
    rows = [
        {"session": s, "athlete": f"A{i}", "round_no": 1, "phase": phase, "hr": t + drop + rng.normal(0, 2)}
        for i, t in enumerate(true)
        for s, phase, drop in (("1", "pre", 0), ("2", "pre", 0), ("3", "post", -3 * (i % 2) * 4))
    ]
    data = pd.DataFrame(rows)
    kept = reliability(data, "hr")
    assert kept.n_trials == 2
    assert kept.typical_error < 3 < reliability(data.drop(columns="phase"), "hr").typical_error
    assert len(kept.left_out) == 10


def ordinary_club(tmp_path, drop):
    folder = new_study(tmp_path / "two", rounds=3, workbook=False)
    settings = (folder / "study.toml").read_text(encoding="utf-8")
    blocks = re.split(r"(?=\[\[plan\.hypotheses\]\]|\[plan\.smallest)", settings)
    asked = [b for b in blocks if "hr_mean_bpm" in b or not b.startswith("[[plan.hyp")]
    (folder / "study.toml").write_text("".join(asked), encoding="utf-8")
    rng = np.random.default_rng(6)
    save(folder / "athletes.csv", ["athlete", "consent_measured", "cleared"], [[a, "yes", "yes"] for a in CODES])
    evenings = [["1", "2026-02-01", "pre", 1], ["2", "2026-02-10", "pre", 2], ["3", "2026-05-01", "post", 1]]
    save(folder / "sessions.csv", ["session", "date", "phase", "occasion"], evenings)
    level = {a: rng.normal(172, 7) for a in CODES}
    rows = [
        [s, a, r, round(level[a] + 4 * r + (drop if phase == "post" else 0) + rng.normal(0, 2.5))]
        for s, _, phase, _ in evenings for a in CODES for r in (1, 2, 3)
    ]  # fmt: skip
    save(folder / "rounds.csv", ["session", "athlete", "round_no", "hr_mean_typed_bpm"], rows)
    return folder


def test_a_club_that_ran_six_beats_lower_reads_it_and_is_told_what_it_is_not(tmp_path):
    from analysis.telling.training.sentences import plain_training, write_up_training

    answers = Answers(load_study(ordinary_club(tmp_path, -6), today=dt.date(2026, 12, 1)))
    answer = answers.training()
    one = answer.outcomes["hr_mean_bpm"]
    assert isinstance(one, BeforeAfter)
    assert one.ci_low < -6 < one.ci_high < -3
    assert one.between_low < 0 < one.between_high
    text = plain_training(answer)
    assert "lower than before" in text and "cannot call the change its effect" in text
    assert "nobody went without" in " ".join(write_up_training(answer))
    assert answers.reliability("hr_mean_bpm").n_trials == 2


def test_the_demo_answers_and_its_truth_lies_inside(demo_training):
    truth = json.loads((DEMO_FOLDER / "training" / "how_it_was_made" / "truth.json").read_text(encoding="utf-8"))
    answer = demo_training.training()
    capacity, heart = answer.outcomes["capacity"], answer.outcomes["hr_mean_bpm"]
    assert capacity.main.ci_low < truth["training_gain"] < capacity.main.ci_high
    assert heart.main.ci_low < truth["hr_training"] < heart.main.ci_high
    assert capacity.confirmatory and heart.confirmatory
    assert set(capacity.missing["reason"]) == {"sprained ankle in a match", "moved to another town"}
    low, high = answer.adherence.groups.set_index("arm").loc["trained", ["attainable_low", "attainable_high"]]
    minutes = answer.adherence.groups.set_index("arm").loc["trained", "minutes_in_target"]
    assert low - 2 < minutes < high + 1
    assert answer.adherence.guards.set_index("guard").loc["intervals done by controls", "found"] == "yes"
    assert answer.harms.n_events == 3


def test_the_data_package_shares_values_by_occasion_without_dates(demo_training):
    package = make_data_package(demo_training)
    table, log = package.tables["training"], package.tables["training_log"]
    assert set(table["arm"]) == {"trained", "control"}
    assert {"person", "outcome", "phase", "occasion", "value"} <= set(table)
    assert log["week"].min() == 1 and log["week"].max() == 7
    assert "date" not in log and "reason" not in log and "athlete" not in table


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("baselines", [3]),
        ("baselines", [[1]]),
        ("baselines", [{"athlete": {}, "sex": "F"}]),
        ("baselines", [{"athlete": "J01", "sex": []}]),
        ("baselines", [{"athlete": "J01"}]),
        ("late", None),
        ("late", "x"),
        ("date", [1]),
        ("strata", 7),
        ("public_number", {}),
    ],
)
def test_a_record_of_the_draw_with_values_of_another_kind_is_refused_in_words(tmp_path, key, value):
    record = json.loads((DEMO_FOLDER / "training" / "allocation_record.json").read_text(encoding="utf-8"))
    (tmp_path / "allocation_record.json").write_text(json.dumps(record), encoding="utf-8")
    assert read_record(tmp_path) == record
    (tmp_path / "allocation_record.json").write_text(json.dumps({**record, key: value}), encoding="utf-8")
    with pytest.raises(KitError, match="cannot be read"):
        read_record(tmp_path)
