"""Study folders of simulated clubs of one truth, for the tests of pooling."""

import csv

import numpy as np

SLOPE, STEPS, CLUB_SD = -0.7, (0.0, 6.0, 8.5), 6.0


def write_club(
    folder, seed, *, n=12, work="5:00", rest="2:00", rounds=3, slope=SLOPE, shared="yes", scale="6-20", level=None
):
    """Write one club: heart rate falls by `slope` per mL/kg/min at equal maximum; return the folder."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True)
    protocol = f'[protocol]\nrounds = {rounds}\nwork = "{work}"\nrest = "{rest}"\n'
    (folder / "study.toml").write_text(f'title = "Club number {seed}"\nexertion_scale = "{scale}"\n{protocol}')
    codes = [f"A{i:02d}" for i in range(1, n + 1)]
    age, stage = rng.integers(19, 36, n), rng.integers(5, 13, n)
    fit = -27.4 + 6 * (8 + stage / 2)
    maximum = np.round(207 - 0.7 * age + rng.normal(0, 5, n))
    base = 0.85 * maximum + slope * (fit - 47) + rng.normal(0, 3, n)
    base += rng.normal(0, CLUB_SD) if level is None else level
    steps = np.resize(np.array(STEPS), rounds)
    save(folder / "athletes.csv", [
        {"athlete": c, "age_years": age[i], "sex": "MF"[i % 3 == 2], "mass_kg": 70 + i, "hr_max_bpm": maximum[i],
         "hr_max_source": "measured", "consent_measured": "yes", "cleared": "yes",
         "consent_shared_data": shared if i else "yes", "consent_individual_figures": "yes"}
        for i, c in enumerate(codes)
    ])  # fmt: skip
    test = {"date": "2026-03-01", "test": "shuttle_run_20m", "shuttle": 1}
    save(folder / "aerobic_tests.csv", [{"athlete": c, **test, "level": stage[i]} for i, c in enumerate(codes)])
    save(folder / "sessions.csv", [{"session": 1, "date": "2026-03-05", "place": "the mat room"}])
    always = {"took_part": "yes", "opponent": "guest", "note": "private remark"}
    save(folder / "rounds.csv", [
        {"athlete": c, "round_no": r + 1, **always, "exertion": 12 + min(r, 4) + i % 2,
         "hr_mean_typed_bpm": round(base[i] + steps[r] + rng.normal(0, 2.5), 1)}
        for i, c in enumerate(codes) for r in range(rounds)
    ])  # fmt: skip
    return folder


def save(path, rows):
    """Write rows as CSV."""
    with path.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
