"""Fix the plan of the demo study as it stood on 1 October 2026, before the evening: run after make_demo.py.

Then only the settings, the athletes and the published numbers existed, and the samplers still hoped for a tolerance of
15 s; the write-up finds that departure by itself.
"""

from __future__ import annotations

import datetime as dt
import shutil
import sys
import tempfile
from pathlib import Path

from analysis.report.plan_document import assure_design, size_answer, write_up_assurance, write_up_size
from analysis.study import freeze_plan, load_study

DEMO = Path(__file__).resolve().parents[1]
DAY = dt.date(2026, 10, 1)


def main(target: Path = DEMO) -> None:
    """Write plan_2026-10-01.md and plan_fixed.json into `target`."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for table in ("athletes.csv", "published.csv"):
            shutil.copy(DEMO / table, folder / table)
        settings = (DEMO / "study.toml").read_text(encoding="utf-8").replace("tolerance_s = 20", "tolerance_s = 15")
        (folder / "study.toml").write_text(settings, encoding="utf-8")
        study = load_study(folder, today=DAY)
        answer = size_answer(study)
        assured = assure_design(answer.design, answer.assumptions, ranges=study.plan.assumption_ranges)
        size = write_up_size(answer) + write_up_assurance(assured)
        fixed = freeze_plan(study, justification={"paragraphs": size, "n_athletes": answer.n}, today=DAY)
        for path in fixed.files:
            shutil.copy(path, target / path.name)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DEMO)
