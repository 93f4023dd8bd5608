"""Study folders as clubs have them on the way: made from the demo by leaving things out, and one that is not the demo."""

import shutil
from pathlib import Path

DEMO = Path(__file__).resolve().parents[1] / "data_demo"
LEFT_OUT = {
    "planning only": (
        "sessions",
        "clock",
        "athletes",
        "attendance",
        "rounds",
        "recordings",
        "aerobic_tests",
        "published",
        "decisions",
    ),
    "heart rate only": ("rounds", "aerobic_tests", "published", "decisions"),
    "no aerobic tests": ("aerobic_tests",),
    "nothing published": ("published",),
}
"""Kind of half-filled folder -> the tables that it lacks."""


def half_filled(kind: str, folder: Path) -> Path:
    """Copy the demo without the tables (and recordings) that this kind of folder does not have yet."""
    ignored = shutil.ignore_patterns("output", "how_it_was_made", "notebooks", "survey", "README.md")
    shutil.copytree(DEMO, folder, ignore=ignored)
    for name in LEFT_OUT[kind]:
        (folder / f"{name}.csv").unlink()
    if kind == "planning only":
        shutil.rmtree(folder / "recordings")
        shutil.rmtree(folder / "aerobic_files")
    return folder
