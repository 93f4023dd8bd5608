"""The recipe for a new outcome, followed to the letter in a copy of the kit: a row, a line of columns.csv, a whole report."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
ROW = (
    '        Outcome("grip_drop_kg", "Grip-strength drop", "kgf", 1, "grip", 2.0, typed=True, sheet=("Grip drop", "kgf"),\n'
    '                meaning="Fall of grip strength over the round", assumed=(4.0, 4.0, 2.0, 1.5)),\n'
)
LINE = "rounds,grip_drop_kg,number,kgf,-20,60,-5,30,,,Fall of grip strength over the round,\n"
# two rounds of work: what the sheet of an evening gives for eight invented athletes
CODES = [f"K{i}" for i in range(1, 9)]


@pytest.fixture(scope="module")
def kit(tmp_path_factory):
    """A copy of the package in which the recipe was followed."""
    root = tmp_path_factory.mktemp("kit")
    shutil.copytree(ROOT / "analysis", root / "analysis", ignore=shutil.ignore_patterns("__pycache__"))
    outcomes = root / "analysis" / "study" / "outcomes.py"
    text = outcomes.read_text(encoding="utf-8")
    last = re.search(r'        Outcome\("exertion".*?\),\n(?=    \)\n)', text, re.S)
    outcomes.write_text(text[: last.end()] + ROW + text[last.end() :], encoding="utf-8")
    columns = root / "analysis" / "study" / "columns.csv"
    text = columns.read_text(encoding="utf-8")
    after = re.search(r"^rounds,exertion,.*\n", text, re.M)
    columns.write_text(text[: after.end()] + LINE + text[after.end() :], encoding="utf-8")
    return root


HYPOTHESES = """[[plan.hypotheses]]
question = "rounds.exertion"
outcome = "exertion"
direction = "rises"

"""


def run(kit, *arguments):
    return subprocess.run(
        [sys.executable, *arguments], cwd=kit, capture_output=True, text=True, check=False,
        env={"PYTHONPATH": str(kit), "PATH": "", "MPLBACKEND": "Agg", "HOME": str(kit)},
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(kit):
    """A study in which the new outcome was typed, rises, and is asked about in the plan."""
    made = run(kit, "-m", "analysis", "new", "study", "--rounds", "4", "--csv")
    assert made.returncode == 0, made.stderr
    study = kit / "study"
    settings = study / "study.toml"
    text = settings.read_text(encoding="utf-8")
    first, last = text.index("[[plan.hypotheses]]"), text.index("[plan.smallest_effects]")
    text = text[:first] + HYPOTHESES + text[last:]  # what is not measured is not asked
    settings.write_text(text + '\n[plan.primary_outcomes]\nrounds.grip = "grip_drop_kg"\n', encoding="utf-8")
    (study / "athletes.csv").write_text(
        "athlete,age_years,sex,consent_measured,consent_shared_data,consent_individual_figures,cleared\n"
        + "".join(f"{c},{20 + i},M,yes,yes,{'yes' if i else 'no'},yes\n" for i, c in enumerate(CODES)), encoding="utf-8",
    )  # fmt: skip
    draw = np.random.default_rng(5)
    head = (study / "rounds.csv").read_text(encoding="utf-8-sig").splitlines()[0]
    assert "grip_drop_kg" in head
    rows = [
        f"{c},{k},yes,{round(4 + 1.5 * k + i * 0.4 + draw.normal(0, 0.6), 1)},{11 + k + i % 3}"
        for i, c in enumerate(CODES)
        for k in (1, 2, 3, 4)
    ]
    (study / "rounds.csv").write_text(
        "athlete,round_no,took_part,grip_drop_kg,exertion\ncode,number,yes/part/sat_out/left,kgf,points\n"
        + "\n".join(rows)
        + "\n",
        encoding="utf-8",
    )
    return study


def test_check_knows_its_limits(kit, folder):
    text = (folder / "rounds.csv").read_text(encoding="utf-8")
    bad = kit / "bad"
    shutil.copytree(folder, bad, dirs_exist_ok=True)
    first = text.splitlines()[1].split(",")
    (bad / "rounds.csv").write_text(text.replace(f",{first[3]},", ",444,", 1), encoding="utf-8")
    found = run(kit, "-m", "analysis", "check", "bad")
    assert found.returncode == 1 and "grip_drop_kg" in found.stdout and "444" in found.stdout


def test_from_sheet_to_word_package_and_plan(kit, folder):
    report = run(kit, "-m", "analysis", "report", "study", "--no-notebooks", "--individuals")
    assert report.returncode == 0, report.stderr
    output = folder / "output"
    pages = {p.stem for p in (output / "for_you" / "individual_pages").iterdir()}
    assert pages == set(CODES[1:]), "whoever agreed to it, and nobody else"
    everything = "".join(p.read_text(encoding="utf-8") for p in output.rglob("*.html"))
    assert "Grip-strength drop" in everything
    results = json.loads(next(output.rglob("results.json")).read_text(encoding="utf-8"))
    assert "rounds.grip" in json.dumps(results)
    documents = list(output.rglob("*.docx"))
    assert documents and any("rip-strength drop" in _words(kit, d) for d in documents)
    package = list(output.rglob("data_package/**/rounds.csv"))
    assert package and "grip_drop_kg" in package[0].read_text(encoding="utf-8-sig").splitlines()[0]


def test_the_printed_sheet_and_the_plan_ask_for_it(kit, folder):
    code = (
        "from analysis.answers import Answers; from analysis.study import load_study\n"
        "from analysis.sheets.write import study_sheets\n"
        "study = load_study('study'); answers = Answers(study)\n"
        "print([c for s in study_sheets(study) for c in s.columns])\n"
        "print(answers.design().questions['question'].tolist())\n"
    )
    done = run(kit, "-c", code)
    assert done.returncode == 0, done.stderr
    assert "Grip drop" in done.stdout and "rounds.grip" in done.stdout


def _words(kit, path):
    code = (
        "import sys, docx; d = docx.Document(sys.argv[1]);"
        "print('\\n'.join([p.text for p in d.paragraphs] + [c.text for t in d.tables for r in t.rows for c in r.cells]))"
    )
    return run(kit, "-c", code, str(path)).stdout
