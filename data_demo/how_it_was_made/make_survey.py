"""Write the invented survey: ``python data_demo/how_it_was_made/make_survey.py`` (from the kit's folder).

Ninety people of several grappling gyms send in what their sensors recorded, 143 sessions in all; about a fifth send the
recording too. Every number is made up. What is true stands in true_survey.json, so that the analysis can be held
against it. Warts on purpose: one recording sent twice under two names, one session sent twice, people without age, one
code with two ages, sensors at the wrist, strength sessions, a mean and a peak exchanged, a peak that no heart reaches.
"""

from __future__ import annotations

import csv
import json
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
SEED = 20261103
PEOPLE, SESSIONS, WITH_FILE = 90, 140, 28
STEP_S = 5
COLUMNS = [
    "person", "age_years", "sex", "minutes", "hr_mean_bpm", "hr_peak_bpm", "device_kind", "session_kind", "file",
]  # fmt: skip
DECISIONS = [
    "date", "decided_by", "table", "session", "athlete", "measure", "action", "new_value", "reason", "table_row",
]  # fmt: skip
TRUTH = {
    "hr_max_bpm": "210 - 0.63 age, SD 9.5 bpm",
    "hr_max_sd_bpm": 9.5,
    "round_share_of_max": 0.875,
    "round_share_sd": 0.035,
    "calm_share_of_max": 0.62,
    "calm_share_sd": 0.03,
}
PUBLISHED = [
    "finding", "outcome", "round_no", "statistic", "value", "spread", "spread_kind", "n_athletes", "sport", "work_s",
    "source",
]  # fmt: skip
CHINO = "Chino 2015, J Sports Med Phys Fitness 55:290"


def main(folder: Path = HERE.parent / "survey", truth_file: Path = HERE / "true_survey.json") -> None:
    """Write every file of the survey into `folder`, and what is true into `truth_file`."""
    rng = np.random.default_rng(SEED)
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    people = draw_people(rng)
    who = np.concatenate([np.arange(PEOPLE), rng.choice(PEOPLE, SESSIONS - PEOPLE, p=eager(rng))])
    rng.shuffle(who)
    with_file = set(rng.choice(SESSIONS, WITH_FILE, replace=False).tolist())
    rows, true = [], []
    for number, person in enumerate(who):
        kind = str(rng.choice(["class", "sparring", "drilling", "strength", ""], p=[0.48, 0.3, 0.08, 0.07, 0.07]))
        trace = draw_session(rng, people, person, kind)
        true.append((person, kind, trace.max() / people["hr_max"][person], trace.mean() / people["hr_max"][person]))
        name = write_recording(rng, folder, people["code"][person], number, trace) if number in with_file else ""
        rows.append(row_of(rng, people, person, kind, trace, name))
    decisions = add_warts(rng, rows, folder)
    save(folder / "survey.csv", COLUMNS, rows)
    save(folder / "decisions.csv", DECISIONS, decisions)
    save(folder / "published.csv", PUBLISHED, published_rows())
    (folder / "study.toml").write_text(SETTINGS, encoding="utf-8")
    (folder / "README.md").write_text(README, encoding="utf-8")
    truth = {"seed": SEED, **TRUTH, **true_shares(true)}
    truth_file.write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


def draw_people(rng) -> dict:
    """Draw the people: some give no age, some no sex; one sensor each."""
    age = np.clip(np.round(rng.gamma(6, 2.3, PEOPLE) + 17), 18, 54)
    hr_max = 210 - 0.63 * age + rng.normal(0, TRUTH["hr_max_sd_bpm"], PEOPLE)
    said = rng.random(PEOPLE)
    return {
        "code": [f"R{i:02d}" for i in range(1, PEOPLE + 1)],
        "age": age,
        "said_age": np.where(said < 0.14, np.nan, age),
        "sex": rng.choice(["M", "F", ""], PEOPLE, p=[0.66, 0.24, 0.10]),
        "hr_max": hr_max,
        "round_share": rng.normal(TRUTH["round_share_of_max"], TRUTH["round_share_sd"], PEOPLE),
        "calm_share": rng.normal(TRUTH["calm_share_of_max"], TRUTH["calm_share_sd"], PEOPLE),
        "sensor": rng.choice(["chest_strap", "arm_band", "wrist", ""], PEOPLE, p=[0.6, 0.22, 0.11, 0.07]),
    }


def eager(rng) -> np.ndarray:
    """Draw how often each person sends more."""
    weight = rng.gamma(0.6, 1.0, PEOPLE)
    return weight / weight.sum()


def draw_session(rng, people, person: int, kind: str) -> np.ndarray:
    """Draw one session, a value every five seconds: warm-up, drilling, rounds with rests, the way home."""
    calm, hard = people["calm_share"][person], people["round_share"][person] + rng.normal(0, 0.015)
    if kind == "strength":
        plan = [(calm - 0.04, rng.integers(35, 60))]
    elif kind == "drilling":
        plan = [(calm - 0.03, 12), (calm + 0.04, int(rng.integers(25, 45)))]
    else:
        rounds = int(rng.integers(5, 9) if kind == "sparring" else rng.integers(2, 6))
        plan = [(calm - 0.02, int(rng.integers(8, 16))), (calm + 0.02, int(rng.integers(6, 30)))]
        for i in range(rounds):
            plan += [(hard + 0.012 * min(i, 3), 5), (calm + 0.02, int(rng.integers(1, 4)))]
        plan += [(calm - 0.1, int(rng.integers(2, 6)))]
    level, trace = calm - 0.2, []
    for target, minutes in plan:
        for _ in range(int(minutes) * 60 // STEP_S):
            pace = STEP_S / (40 if target > level else 70)
            level += (target - level) * pace
            trace.append(level)
    wobble = np.zeros(len(trace))
    for i in range(1, len(trace)):
        wobble[i] = 0.94 * wobble[i - 1] + rng.normal(0, 0.006)
    return np.minimum(np.array(trace) + wobble, 0.995) * people["hr_max"][person]


def row_of(rng, people, person: int, kind: str, trace: np.ndarray, name: str) -> dict:
    """Return what the person sends in about one session."""
    age = people["said_age"][person]
    return {
        "person": people["code"][person],
        "age_years": "" if np.isnan(age) else f"{age:.0f}",
        "sex": people["sex"][person],
        "minutes": f"{len(trace) * STEP_S / 60:.0f}",
        "hr_mean_bpm": f"{trace.mean():.0f}",
        "hr_peak_bpm": f"{trace.max():.0f}",
        "device_kind": people["sensor"][person],
        "session_kind": kind,
        "file": name,
    }


def write_recording(rng, folder: Path, code: str, number: int, trace: np.ndarray) -> str:
    """Write one recording in one of three dialects; contact is lost now and then."""
    bpm = np.round(trace)
    for _ in range(int(rng.integers(0, 4))):
        start = int(rng.integers(30, len(bpm) - 20))
        bpm[start : start + int(rng.integers(2, 9))] = np.nan
    begin = datetime(2026, 9, 1, 18, 0) + timedelta(days=number % 55, minutes=int(rng.integers(0, 90)))
    dialect = 2 if number % 9 == 2 else number % 2
    name = f"{code}_{number:03d}." + ("tcx" if dialect == 2 else "csv")
    seconds = STEP_S * np.arange(len(bpm))
    shown = ["" if np.isnan(v) else f"{v:.0f}" for v in bpm]
    if dialect == 0:
        lines = ["Time,HR", *(f"{t // 60}:{t % 60:02d},{v}" for t, v in zip(seconds, shown, strict=True))]
    elif dialect == 1:
        lines = ["Seconds;Heart rate (bpm)", *(f"{t};{v}" for t, v in zip(seconds, shown, strict=True))]
    else:
        lines = tcx_lines(begin, seconds, shown)
    (folder / "recordings" / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    return name


def tcx_lines(begin: datetime, seconds, shown) -> list[str]:
    """Training Center XML, UTC; no heart rate where contact was lost."""
    points = []
    for t, value in zip(seconds, shown, strict=True):
        rate = f"<HeartRateBpm><Value>{value}</Value></HeartRateBpm>" if value else ""
        points.append(
            f"<Trackpoint><Time>{begin + timedelta(seconds=int(t)):%Y-%m-%dT%H:%M:%SZ}</Time>{rate}</Trackpoint>"
        )
    start = f"{begin:%Y-%m-%dT%H:%M:%SZ}"
    return [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<TrainingCenterDatabase xmlns="urn:demo:training-center">',
        f'<Activities><Activity Sport="Other"><Id>{start}</Id><Lap StartTime="{start}"><Track>',
        *points,
        "</Track></Lap></Activity></Activities></TrainingCenterDatabase>",
    ]


def add_warts(rng, rows: list[dict], folder: Path) -> list[dict]:
    """Add what goes wrong when people send data; return the decisions that settle what stops the check."""
    with_file = [r for r in rows if r["file"]]
    first = with_file[3]
    again = dict(first, file=first["file"].replace(".", "_again."))
    content = (folder / "recordings" / first["file"]).read_bytes()
    (folder / "recordings" / again["file"]).write_bytes(content)
    plain = [r for r in rows if not r["file"] and r["session_kind"] in ("class", "sparring")]
    repeated = dict(plain[5])
    two_ages = dict(plain[11], age_years="51", minutes="64", hr_mean_bpm="127", hr_peak_bpm="166")
    plain[11]["age_years"] = "22"
    plain[20]["hr_peak_bpm"] = "231"
    swapped = plain[27]
    swapped["hr_mean_bpm"], swapped["hr_peak_bpm"] = swapped["hr_peak_bpm"], swapped["hr_mean_bpm"]
    rows += [again, repeated, two_ages]
    base = dict.fromkeys(DECISIONS, "") | {
        "date": "2026-11-09",
        "decided_by": "survey lead",
        "table": "survey",
        "athlete": swapped["person"],
        "action": "replace",
        "reason": "mean and peak were exchanged when typed; asked and confirmed",
        "table_row": rows.index(swapped) + 2,
    }
    return [
        base | {"measure": "hr_mean_bpm", "new_value": swapped["hr_peak_bpm"]},
        base | {"measure": "hr_peak_bpm", "new_value": swapped["hr_mean_bpm"]},
    ]


def published_rows() -> list[dict]:
    """Return the published round means that the sessions are set beside."""
    base = {"finding": "freestyle wrestling rounds", "outcome": "percent_hr_max", "statistic": "mean", "spread_kind": "sd",
            "n_athletes": 9, "sport": "freestyle wrestling", "work_s": 120, "source": CHINO}  # fmt: skip
    return [base | {"round_no": n, "value": v, "spread": s} for n, v, s in ((1, 81, 6), (2, 88, 5), (3, 92, 5))]


def true_shares(true: list[tuple]) -> dict:
    """Return the true shares of people's sessions with sparring (class, sparring, unknown) above thresholds of maximum."""
    mat = [t for t in true if t[1] not in ("strength", "drilling")]
    out = {}
    for place, name in ((2, "peak"), (3, "mean")):
        for threshold in (64, 77, 90, 96):
            by_person: dict = {}
            for entry in mat:
                by_person.setdefault(entry[0], []).append(100 * entry[place] >= threshold)
            out[f"share_{name}_at_least_{threshold}"] = round(
                float(np.mean([np.mean(v) for v in by_person.values()])), 4
            )
    return out


def save(path: Path, columns: list[str], rows: list[dict]) -> None:
    """Write a table as CSV."""
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


SETTINGS = """# Settings of the invented survey. All data in this folder are invented.
kind = "survey"
title = "Invented survey: sessions that people of several grappling gyms sent in"
sport = "submission wrestling"
"""
README = """# An invented survey of submitted sessions

**All data in this folder are invented**; no person, gym or session in it exists. Ninety people sent in what their
sensors recorded, and about a fifth of the sessions come with the recording. `published.csv` holds the means of one
published study with its source, for comparison.

`../how_it_was_made/make_survey.py` writes everything again, and says which mistakes are in it on purpose.
"""

if __name__ == "__main__":
    main()
