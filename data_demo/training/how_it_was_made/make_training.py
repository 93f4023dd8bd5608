"""Write the demo of the training study: ``python data_demo/training/how_it_was_made/make_training.py`` (from the kit's folder).

The baselines are drawn first; then the kit itself fixes the plan and draws the groups; then the follow-ups come from the
truth below.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np

from analysis.answers.training import allocate_study
from analysis.report.plan_document import fix_plan

HERE = Path(__file__).resolve().parent
SEED = 20260214
TRUTH = {
    "seed": SEED,
    "capacity_mean_women": 42.0,
    "capacity_mean_men": 48.5,
    "capacity_sd": 4.2,
    "typical_error": 1.5,
    "season_gain": 0.4,
    "training_gain": 3.6,
    "training_gain_sd": 0.8,
    "hr_mean": 172.0,
    "hr_sd": 8.0,
    "hr_evening_sd": 3.5,
    "hr_round_sd": 3.0,
    "hr_rise_per_round": 4.0,
    "hr_training": -4.0,
}
EVENINGS = {
    "1": ("2026-02-18", "pre", 1, 20.5),
    "2": ("2026-02-25", "pre", 2, 21.0),
    "3": ("2026-05-06", "post", 1, 21.5),
    "4": ("2026-05-13", "post", 2, 22.0),
}
TESTS = (
    ("2026-02-14", "familiarisation", 1),
    ("2026-02-21", "pre", 1),
    ("2026-02-28", "pre", 2),
    ("2026-05-09", "post", 1),
)
START = dt.date(2026, 3, 10)
LOST = {"trained": "sprained ankle in a match", "control": "moved to another town"}


def main(folder: Path = HERE.parent) -> None:
    """Write every file of the demo into `folder`."""
    rng = np.random.default_rng(SEED)
    for old in [
        *folder.glob("*.csv"),
        *folder.glob("plan_*"),
        *folder.glob("training_recordings/*.csv"),
        *folder.glob("allocation_record.json"),
    ]:
        old.unlink()
    club = make_club(rng)
    test_rows, sparring = measure(rng, club, set(), before=True)
    write(folder, club, test_rows, sparring, EVENINGS)
    fix_before_measuring(folder)
    with tempfile.TemporaryDirectory() as name:
        sealed = Path(name) / "groups.csv"
        allocate_study(folder, sealed, today=dt.date(2026, 3, 8))
        shutil.copy(sealed, folder / "allocation.csv")
    with (folder / "allocation.csv").open(encoding="utf-8") as file:
        arms = {line["athlete"]: line["arm"] for line in csv.DictReader(file)}
    trained = {a for a, arm in arms.items() if arm == "trained"}
    lost = {arm: sorted(a for a in arms if arms[a] == arm)[3] for arm in LOST}
    more, later = measure(rng, club, trained, before=False, without=set(lost.values()))
    write(folder, club, test_rows + more, sparring + later, EVENINGS)
    write_log(rng, folder, club, arms, lost)
    (HERE / "truth.json").write_text(json.dumps(TRUTH, indent=1) + "\n", encoding="utf-8")


def make_club(rng) -> list[dict]:
    """Draw twenty athletes."""
    club = []
    for i in range(20):
        sex = "F" if i % 5 in (1, 3) else "M"
        mean = TRUTH["capacity_mean_women" if sex == "F" else "capacity_mean_men"]
        age = int(rng.integers(18, 36))
        club.append(
            {
                "athlete": f"J{i + 1:02d}",
                "sex": sex,
                "age_years": age,
                "mass_kg": round(float(rng.normal(63 if sex == "F" else 79, 7)), 1),
                "hr_max_bpm": round(float(rng.normal(209 - 0.7 * age, 6))),
                "capacity": float(rng.normal(mean, TRUTH["capacity_sd"])),
                "hr": float(rng.normal(TRUTH["hr_mean"], TRUTH["hr_sd"])),
                "gain": float(rng.normal(TRUTH["training_gain"], TRUTH["training_gain_sd"])),
            }
        )
    return club


def measure(rng, club, trained, *, before, without=frozenset()):
    """Draw the tests and the evenings of one half of the study."""
    tests, rounds = [], []
    for one in club:
        if one["athlete"] in without:
            continue
        mine = one["athlete"] in trained
        for date, phase, occasion in TESTS:
            if (phase == "post") == before:
                continue
            value = one["capacity"] + rng.normal(0, TRUTH["typical_error"])
            value += {"familiarisation": -1.2, "post": TRUTH["season_gain"]}.get(phase, 0.0)
            value += one["gain"] if mine and phase == "post" else 0.0
            distance = 5 * round((value * 44.73 + 504.9) / 5)
            tests.append([one["athlete"], date, phase, occasion, "run_12_min", distance, ""])
        for session, (_, phase, _, _) in EVENINGS.items():
            if (phase == "post") == before:
                continue
            level = (
                one["hr"]
                + rng.normal(0, TRUTH["hr_evening_sd"])
                + (TRUTH["hr_training"] if mine and phase == "post" else 0)
            )
            for r in (1, 2, 3):
                bpm = level + TRUTH["hr_rise_per_round"] * (r - 2) + rng.normal(0, TRUTH["hr_round_sd"])
                bpm = min(round(float(bpm)), one["hr_max_bpm"] - 2)
                exertion = int(np.clip(round(8 + 2.2 * r + rng.normal(0, 1)), 6, 20))
                rounds.append([session, one["athlete"], r, "yes", partner(one["athlete"], r), exertion, bpm])
    return tests, rounds


def partner(code: str, round_no: int) -> str:
    """The same opponent in the same round of every evening."""
    me = int(code[1:]) - 1
    block, place = divmod(me, 4)
    return f"J{4 * block + (place ^ round_no) + 1:02d}"


def write(folder, club, tests, rounds, evenings) -> None:
    """Write the tables that hold measurements, as far as they are there."""
    there = {line[0] for line in rounds}
    away = {line[1] for line in rounds if line[0] == "1"} - {line[1] for line in rounds if line[0] == max(there)}
    rounds = [
        [*line[:4], "guest" if line[4] in away and line[0] in ("3", "4") else line[4], *line[5:]] for line in rounds
    ]
    people = [
        [c["athlete"], c["age_years"], c["sex"], c["mass_kg"], c["hr_max_bpm"], "measured", "yes", "yes", "yes", "yes"]
        for c in club
    ]
    save(folder / "athletes.csv", "athlete age_years sex mass_kg hr_max_bpm hr_max_source consent_measured "
         "consent_individual_figures consent_shared_data cleared", people)  # fmt: skip
    save(folder / "sessions.csv", "session date place temperature_c phase occasion",
         [[s, e[0], "judo hall", e[3], e[1], e[2]] for s, e in evenings.items() if s in there])  # fmt: skip
    starts = (("19:15:00", "19:19:00"), ("19:20:30", "19:24:30"), ("19:26:00", "19:30:00"))
    clock = [[s, r, *starts[r - 1]] for s in evenings if s in there for r in (1, 2, 3)]
    save(folder / "clock.csv", "session round_no start_clock end_clock", clock)
    save(
        folder / "rounds.csv", "session athlete round_no took_part opponent exertion hr_mean_typed_bpm", sorted(rounds)
    )
    save(
        folder / "aerobic_tests.csv",
        "athlete date phase occasion test distance_m note",
        sorted(tests, key=lambda t: (t[1], t[0])),
    )


def fix_before_measuring(folder: Path) -> None:
    """Fix the plan as it stood on 10 February, when only the settings and the athletes existed."""
    with tempfile.TemporaryDirectory() as name:
        early = Path(name)
        shutil.copy(folder / "athletes.csv", early / "athletes.csv")
        text = (folder / "study.toml").read_text(encoding="utf-8")
        (early / "study.toml").write_text(text[: text.index("[allocation]")], encoding="utf-8")
        for path in fix_plan(early, today=dt.date(2026, 2, 10)).files:
            shutil.copy(path, folder / path.name)


def write_log(rng, folder: Path, club, arms, lost) -> None:
    """Write what both groups trained, three recordings, and the adverse events."""
    lines, recorded = [], sorted(a for a, arm in arms.items() if arm == "trained")[:3]
    halves = sorted(a for a, arm in arms.items() if arm == "trained")[5]
    crossed = sorted(a for a, arm in arms.items() if arm == "control")[6]
    (folder / "training_recordings").mkdir(exist_ok=True)
    for one in club:
        code, arm = one["athlete"], arms[one["athlete"]]
        for week in range(7):
            gone = lost[arm] == code and week >= 4
            if gone and week == 4:
                lines.append([code, START + dt.timedelta(days=7 * week), "other", "", "", "", "", "", "yes", LOST[arm]])
            if gone:
                continue
            for day in (0, 2) if arm == "trained" else ():
                if rng.random() < (0.55 if code == halves else 0.06):
                    continue
                early = rng.random() < 0.04
                minutes, rating = (35 if early else 42), int(rng.integers(7, 10))
                file = f"{code}_week{week + 1}.csv" if code in recorded and (week, day) == (2, 0) else ""
                lines.append([code, START + dt.timedelta(days=7 * week + day), "intervals", "four_by_four", 3 if early else 4,
                              minutes, rating, file, "yes" if early else "no", "calf cramp" if early else ""])  # fmt: skip
                if file:
                    write_recording(rng, folder / "training_recordings" / file, one["hr_max_bpm"])
            if code == crossed and week in (2, 5):
                lines.append(
                    [code, START + dt.timedelta(days=7 * week + 1), "intervals", "four_by_four", 4, 40, 8, "", "no", ""]
                )
            for day in (1, 4):
                if rng.random() < 0.15:
                    continue
                lines.append([code, START + dt.timedelta(days=7 * week + day), "sparring", "", "", int(rng.integers(55, 81)),
                              int(rng.integers(5, 8)), "", "no", ""])  # fmt: skip
    save(folder / "training_log.csv", "athlete date kind protocol sets_done minutes rating recording stopped_early reason",
         sorted(lines, key=lambda line: (line[1], line[0])))  # fmt: skip
    save(folder / "adverse_events.csv", "athlete date kind during needed_care days_lost related note", [
        [lost["trained"], "2026-04-05", "injury", "sparring", "yes", 28, "no", "ankle sprained in a throw"],
        [crossed, "2026-03-19", "illness", "daily_life", "no", 4, "no", "a cold"],
        [recorded[1], "2026-03-24", "injury", "intervals", "no", 2, "yes", "calf pulled in the third repetition"],
    ])  # fmt: skip


def write_recording(rng, path: Path, top: int) -> None:
    """Draw the heart rate of one 4 x 4 min session, every five seconds."""
    hr, lines = 0.62 * top, []
    for second in range(0, 2400, 5):
        part = (second - 600) % 420 if 600 <= second < 600 + 4 * 420 else -1
        aim = 0.935 if 0 <= part < 240 else 0.70
        hr += (aim * top - hr) * (1 - np.exp(-5 / 40))
        lines.append([second, round(float(hr + rng.normal(0, 1.2)))])
    save(path, "elapsed_s hr_bpm", lines)


def save(path: Path, heads: str, lines) -> None:
    """Write a table."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerows([heads.split(), *lines])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent)
