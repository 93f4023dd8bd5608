"""Planted slips in every way in which a folder is written, and 200 clubs that typed everything right.

    python tests/benchmarks/study_typed.py 200

Prints how many slips are found with a remedy that works when followed, and how often a clean club is asked, by how much
values scatter within athletes (1: as small studies report it; common practice, no source).
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "study"))
from remedies import Followed
from slip_list import SLIPS
from test_study_slips import at, plant, told, write
from typed_clubs import clean_club, write_book

from analysis.study.load import examine_folder


def judge(slip, kind, folder):
    """Return "found", "missed" or "astray" for one slip, and what was left after following the remedies."""
    book, rows, found = plant(slip, kind, folder / "slip")
    if slip.level == "read":
        return "found" if not found.problems and not found.questions else "astray"
    here = at(told(found, slip.level), slip, rows)
    if not here:
        return "missed"
    for number, (label, after) in enumerate(Followed(book, here[0], slip.truth, kind).ways()):
        if label == "nothing":  # the remedy says that nothing can be done
            continue
        done = examine_folder(write(after, folder / f"way_{number}", kind))
        place = here[0].place if slip.most > 1 else None
        if [p for p in (*done.problems, *done.questions) if place is None or p.place == place]:
            return "astray"
    return "found"


def planted():
    """Print how the planted slips were answered."""
    counts, cases = Counter(), 0
    for slip in SLIPS:
        for kind in slip.kinds:
            with tempfile.TemporaryDirectory() as folder:
                verdict = judge(slip, kind, Path(folder))
            counts[kind, verdict] += 1
            cases += 1
            if verdict != "found":
                print(f"  {slip.name} ({kind}): {verdict}")
    print(
        f"\n{len(SLIPS)} slips, {cases} cases\n\n| written as | found, remedy works | astray | missed |\n|---|---:|---:|---:|"
    )
    for kind in ("csv", "semicolons", "workbook"):
        print(f"| {kind} | {counts[kind, 'found']} | {counts[kind, 'astray']} | {counts[kind, 'missed']} |")


def clean(n_clubs):
    """Print how often clubs that typed everything right are asked."""
    print(f"\n{n_clubs} clean clubs of 6 to 16 athletes and 2 to 6 rounds\n")
    print("| scatter within athletes | questions a club | clubs asked (%) | problems |\n|---|---:|---:|---:|")
    for rough in (1.0, 1.5, 2.0):
        asked, stopped = [], 0
        for seed in range(n_clubs):
            n, rounds, scale = (
                (6, 8, 10, 12, 16)[seed % 5],
                (2, 3, 4, 5, 6)[seed // 5 % 5],
                ("0-10", "6-20", "0-100")[seed % 3],
            )
            with tempfile.TemporaryDirectory() as folder:
                found = examine_folder(
                    write_book(clean_club(seed, n=n, rounds=rounds, scale=scale, rough=rough), Path(folder) / "club")
                )
            asked.append(len(found.questions))
            stopped += len(found.problems)
        share = 100 * sum(a > 0 for a in asked) / n_clubs
        print(f"| {rough:g} | {sum(asked) / n_clubs:.2f} | {share:.0f} | {stopped} |", flush=True)


if __name__ == "__main__":
    clean(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    planted()
