"""A study folder that is not the demo: another invented club, one workbook with decimal commas, no recordings."""

from __future__ import annotations

from pathlib import Path

import numpy as np

CODES = ("K1", "K2", "K3", "K4", "K5", "K6", "K7", "K8", "K9")
ROUNDS = 3


def write_second_study(folder: Path, *, seed: int = 3) -> Path:
    """Write the folder as a club would: `new`, then the workbook filled in by hand."""
    from openpyxl import load_workbook

    from analysis.study import new_study

    rng = np.random.default_rng(seed)
    new_study(folder, tests=["run_12_min"], rounds=ROUNDS, work="6:00", rest="1:00", scale="6-20")
    path = folder / "study.xlsx"
    book = load_workbook(path)

    def fill(tab, rows):
        sheet = book[tab]
        heads = [cell.value for cell in sheet[1]]
        for number, row in enumerate(rows, start=3):
            for name, value in row.items():
                sheet.cell(number, heads.index(name) + 1).value = comma(value)

    distance = 2300 + 90 * rng.normal(0, 2.4, len(CODES))
    fill("sessions", [{"session": 1, "date": "2026-09-22", "utc_offset": "+01:00", "sample_site": "fingertip"}])
    fill("athletes", [
        {"athlete": code, "age_years": 22 + 2 * i, "sex": "M", "mass_kg": 70.5 + 3 * i, "hr_rest_bpm": 55 + i,
         "hr_max_bpm": 193 - i, "hr_max_source": "measured", "consent_measured": "yes", "consent_individual_figures": "yes",
         "consent_shared_data": "yes", "cleared": "yes"}
        for i, code in enumerate(CODES)
    ])  # fmt: skip
    fill("aerobic_tests", [
        {"athlete": code, "date": "2026-09-10", "test": "run_12_min", "distance_m": round(float(d))}
        for code, d in zip(CODES, distance, strict=True)
    ])  # fmt: skip
    own = rng.normal(0, 1, (2, len(CODES)))
    rows = []
    for i, code in enumerate(CODES):
        for r in range(1, ROUNDS + 1):
            rows.append({
                "athlete": code, "round_no": r, "opponent": "guest",
                "lactate_mmol_l": round(float(6 + 1.2 * r + own[0, i] + rng.normal(0, 0.6)), 1), "lactate_delay_s": 60,
                "exertion": int(np.clip(round(11 + 1.5 * r + rng.normal(0, 1)), 6, 20)),
                "hr_mean_typed_bpm": round(float(158 + 3 * r + 5 * own[1, i] + rng.normal(0, 2))),
            })  # fmt: skip
    fill("rounds", rows)
    book.save(path)
    return folder


def comma(value):
    """Return numbers with a decimal comma, as text, the way half of Europe types them."""
    return str(value).replace(".", ",") if isinstance(value, float) else value
