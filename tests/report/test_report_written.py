"""The files of random clubs as they are passed on: nobody's name, nobody's exact value, nothing of fewer than five people."""

import re
import sys
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from quick_report import made_here

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "replication"))
from pool_folders import write_club

from analysis.basics import FEWEST_PEOPLE
from analysis.report import build_report
from analysis.report.output import verify_report

PAPERS_OWN = ("comparison", "evidence", "published_rounds")
NAMES = ("Jürgen", "Quillon", "Tevka", "kim@club.example")


def random_club(folder, seed):
    """A club of 5 to 12: few of one sex, values that are missing, some who refuse sharing, names in free texts."""
    rng = np.random.default_rng([18, seed])
    n = int(rng.integers(5, 13))
    write_club(folder, 300 + seed, n=n)
    athletes = pd.read_csv(folder / "athletes.csv")
    athletes["sex"] = list(rng.choice(["F", "M"], n, p=[0.25, 0.75]))
    athletes["mass_kg"] = (70 + 9 * rng.normal(size=n)).round(2)
    athletes["hr_max_bpm"] = athletes["hr_max_bpm"].mask(rng.random(n) < 0.25)
    athletes["hr_max_source"] = athletes["hr_max_source"].where(athletes["hr_max_bpm"].notna(), "")
    athletes["consent_shared_data"] = list(rng.choice(["yes", "no"], n, p=[0.8, 0.2]))
    athletes.to_csv(folder / "athletes.csv", index=False)
    rounds = pd.read_csv(folder / "rounds.csv")
    lost = rng.random(len(rounds)) < 0.12
    rounds["hr_mean_typed_bpm"] = rounds["hr_mean_typed_bpm"].mask(lost)
    rounds["note"] = [f"{NAMES[i % 3]} saw it" if i % 5 == 0 else "" for i in range(len(rounds))]
    rounds.to_csv(folder / "rounds.csv", index=False)
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(re.sub('title = ".*"', f'title = "A club of five; ask {NAMES[3]}"', text), encoding="utf-8")
    return athletes


def texts(folder):
    """Every text in the files of a folder, by file; pictures inside pages left out."""
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        if path.suffix == ".docx":
            with zipfile.ZipFile(path) as file:
                for name in file.namelist():
                    if name.endswith(".xml"):
                        yield f"{path.name}/{name}", re.sub("<[^>]+>", " ", file.read(name).decode("utf-8"))
        elif path.suffix in (".html", ".svg", ".json", ".csv", ".md", ".txt"):
            yield path.name, re.sub(r"data:[^\"]+", "", path.read_text(encoding="utf-8-sig"))


@pytest.fixture(scope="module", params=[1, 2])
def club(request, tmp_path_factory):
    """A random club with its report, a table of which somebody edited while the report was made; and what was said."""
    folder = tmp_path_factory.mktemp("random") / "club"
    athletes, said = random_club(folder, request.param), []

    def meanwhile(line):
        said.append(line)
        if line == "Writing sentences and tables":
            with (folder / "rounds.csv").open("a", encoding="utf-8") as file:
                file.write("A01,9,yes,guest,,12,150\n")

    with made_here("svg"):
        build_report(folder, notebooks=False, progress=meanwhile)
    return folder, athletes, said


def test_a_table_edited_during_the_run_is_named_and_not_certified(club):
    folder, _, said = club
    assert said[-1].startswith("rounds.csv changed or vanished while the report was made")
    found = verify_report(folder)
    assert not found.valid and "rounds.csv" in found.text()


def test_the_files_of_a_random_club(club):
    folder, athletes, _ = club
    folder = folder / "output" / "to_share"
    told = dict(texts(folder))
    assert {"report.html", "README.md"} <= set(told) and len(list(folder.glob("tables/*.csv"))) > 8
    exact = [f"{v:.2f}" for v in athletes["mass_kg"]]
    for name, text in told.items():
        for secret in (*NAMES, "saw it"):
            assert secret not in text, f"{secret} in {name}"
        assert not [v for v in exact if re.search(rf"(?<![\d.]){re.escape(v)}(?!\d)", text)], name
        if not name.endswith(".svg"):
            assert not re.search(r"(?<![^\W_])A(0[1-9]|1[0-2])(?![^\W_])", text), name
        assert not re.search(r"\bn = [1-4]\b", text), name
    for path in folder.glob("tables/*.csv"):
        table = pd.read_csv(path)
        for column in {"n", "n_athletes", "Athletes"} & set(table):
            if path.stem not in PAPERS_OWN:
                counts = pd.to_numeric(table[column], errors="coerce").dropna()
                assert not len(counts) or counts.min() >= FEWEST_PEOPLE, path.name
    people = folder / "data_package" / "athletes.csv"
    if people.exists():
        shared = pd.read_csv(people, dtype=str, keep_default_na=False)
        assert len(shared) >= FEWEST_PEOPLE and len(athletes) - len(shared) not in range(1, FEWEST_PEOPLE)
