"""How long a survey of a million sessions takes, how much memory it and a million bad rows need, how fast files are read.

Run: python tests/benchmarks/survey_scale.py [rows]
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.survey import answer_survey
from analysis.survey.files import summarise_files


def made_up_survey(rows: int, seed: int = 0) -> pd.DataFrame:
    """A survey of `rows` sessions of about two thirds as many people; a tenth without age, a tenth from the wrist."""
    rng = np.random.default_rng(seed)
    people = rows * 2 // 3
    age, error = rng.integers(18, 50, people).astype(float), rng.normal(0, 10.8, people)
    maximum = 211 - 0.64 * age + error
    who = rng.integers(0, people, rows)
    peak = np.clip(rng.normal(0.91, 0.04, people)[who] + rng.normal(0, 0.02, rows), None, 1) * maximum[who]
    mean = (rng.normal(0.72, 0.05, people)[who] + rng.normal(0, 0.03, rows)) * maximum[who]
    peak = np.minimum(peak, 225)
    mean = np.minimum(mean, peak - 2)
    age[rng.random(people) < 0.1] = np.nan
    return pd.DataFrame({
        "person": np.char.add("p", who.astype(str)), "age_years": age[who], "sex": rng.choice(["F", "M", ""], people)[who],
        "minutes": rng.integers(30, 120, rows).astype(float), "hr_mean_bpm": mean.round(), "hr_peak_bpm": peak.round(),
        "device_kind": rng.choice(["chest_strap", "arm_band", "wrist"], rows, p=[0.7, 0.2, 0.1]),
        "session_kind": rng.choice(["sparring", "class", "strength", ""], rows, p=[0.4, 0.4, 0.1, 0.1]), "file": "",
    })  # fmt: skip


def write_recordings(folder: Path, count: int) -> list[str]:
    """Write `count` recordings of an hour, one row per second."""
    rng = np.random.default_rng(1)
    (folder / "recordings").mkdir()
    names = [f"p{i}.csv" for i in range(count)]
    seconds = np.arange(3600)
    for name in names:
        rate = 140 + 25 * np.sin(seconds / 200) + np.cumsum(rng.normal(0, 0.3, 3600)).clip(-20, 20)
        pd.DataFrame({"seconds": seconds, "heart_rate": rate.round()}).to_csv(folder / "recordings" / name, index=False)
    return names


def check_bad_rows(folder: Path, rows: int) -> None:
    """Print what `check` needs for a survey whose every row has a cell that does not fit; run it in a process of its own."""
    (folder / "study.toml").write_text('title = "An invented survey"\nkind = "survey"\n')
    rng = np.random.default_rng(2)
    table = pd.DataFrame({"person": np.char.add("p", rng.integers(0, rows * 2 // 3, rows).astype(str))})
    table = table.assign(age_years=30, sex="F", minutes=60, hr_mean_bpm="abc", hr_peak_bpm=180, session_kind="sparring")
    table.to_csv(folder / "survey.csv", index=False)
    decision = "date,decided_by,table,measure,action,reason\n2026-11-01,club,survey,what does not fit,set aside,gone\n"
    code = (
        "import resource, sys; from analysis.study import check_study; found = check_study(sys.argv[1]).problems; "
        "print(len(found), 'lines of problems;', resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, 'MB at most')"
    )
    for text in ("", decision):  # as they are, and set aside as one step
        (folder / "decisions.csv").write_text(text)
        subprocess.run([sys.executable, "-c", code, str(folder)], check=True)


def main(rows: int) -> None:
    """Print seconds and peak memory."""
    answer_survey(made_up_survey(2000))  # imports
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    table = made_up_survey(rows)
    with_table = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start, cpu = time.perf_counter(), time.process_time()
    answer = answer_survey(table)
    print(f"{rows} sessions of {answer.n_people_sent} people: {time.perf_counter() - start:.1f} s wall, "
          f"{time.process_time() - cpu:.1f} s of processor time")  # fmt: skip
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"memory at most {peak:.0f} MB (libraries {before:.0f} MB, with the table {with_table:.0f} MB)")
    print(answer.shares.to_string())
    with tempfile.TemporaryDirectory() as folder:
        check_bad_rows(Path(folder), rows)
    with tempfile.TemporaryDirectory() as folder:
        names = write_recordings(Path(folder), 600)
        for jobs in (1, 2):
            start = time.perf_counter()
            n = sum(1 for _ in summarise_files(folder, names, n_jobs=jobs))
            print(f"{n} recordings of an hour with {jobs} worker(s): {time.perf_counter() - start:.1f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
