"""Write the demo study: ``python data_demo/how_it_was_made/make_demo.py`` (from the kit's folder).

Everything is drawn from the generating model beside this file with a fixed seed, then given the warts of a real
evening. What is true stands in truth.json and true_rounds.csv, so that the analysis can be held against it.
"""

from __future__ import annotations

import csv
import json
import sys
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import device_files as write
from generating_model import ROUNDS, Club, Truth, draw_trace, make_club, respond
from make_pace import COLUMNS as PACE_COLUMNS
from make_pace import make_pace

HERE = Path(__file__).resolve().parent
SEED = 20261014
EVENINGS = {
    "1": {
        "date": datetime(2026, 10, 14),
        "utc_offset_h": 2,
        "starts": ("19:30:00", "19:37:00", "19:44:20", "19:51:20"),
    },
    "2": {
        "date": datetime(2026, 10, 28),
        "utc_offset_h": 1,
        "starts": ("19:25:00", "19:32:00", "19:39:05", "19:46:05"),
    },
}
STUDENTS_OF_EVENING_2 = ("A01", "A03", "A05", "A07", "A10", "A11", "A13", "A15")
ANALYSER_HIGH_MMOL_L = 12.65
SAT_OUT = ("A04", 2)
LEFT_AFTER = ("A09", 3)
NO_TEST, LABORATORY = "A14", ("A02", "A08", "A12")
TICKED = (0.4, 0.35, 0.3, 0.2, 0.0)
PREDICTED_MAX = ("A05", "A12", "A14")

COLUMNS = {
    "athletes": "athlete club group age_years sex mass_kg experience_years hr_rest_bpm hr_max_bpm hr_max_source "
    "hr_limited consent_measured consent_individual_figures consent_shared_data guardian_consent "
    "cleared withdrawn",
    "sessions": "session date utc_offset place temperature_c humidity_percent analyser strip_lot sample_site "
    "sample_kind note",
    "clock": "session group round_no start_clock end_clock note",
    "attendance": "session athlete device mass_kg usual_mass_kg caffeine meal hard_training_24h short_sleep unwell "
    "arrived left_after mass_after_kg drinks_l note",
    "rounds": "session athlete round_no took_part minutes_done opponent lactate_mmol_l lactate_delay_s "
    "exertion activity_rating hr_mean_typed_bpm hr_peak_typed_bpm note",
    "recordings": "session athlete file column_or_label device clock_offset_s",
    "decisions": "date decided_by table session athlete round_no measure from_s to_s action new_value reason",
    "aerobic_tests": "athlete date test file level shuttle mass_kg age_years sex",
}
"""The columns of each table, in the order of the sheets."""


def main(folder: Path = HERE.parent) -> None:
    """Write every file of the demo study into `folder`."""
    rng = np.random.default_rng(SEED)
    truth = Truth()
    club = make_club(rng, truth)
    pairs = draw_pairs(rng, club.codes)
    evenings = {s: respond(rng, truth, club, bout_effects(rng, pairs, club.codes)) for s in EVENINGS}
    (folder / "recordings").mkdir(exist_ok=True)
    (folder / "aerobic_files").mkdir(exist_ok=True)
    true_rows = write_recordings(rng, truth, club, evenings, folder)
    write_tables(rng, truth, club, pairs, evenings, folder)
    write_gas_exchange(rng, club, folder)
    fitter = club.vo2max - truth.vo2max_centre_ml_kg_min
    pace, true_pace = make_pace(
        club.codes, fitter, lambda code, r: took_part(code, r) == "yes", EVENINGS["1"]["starts"]
    )
    save(folder / "pace.csv", PACE_COLUMNS, pace)
    save(HERE / "true_pace.csv", ["athlete", "round_no", "active_s"], true_pace)
    (HERE / "truth.json").write_text(json.dumps({"seed": SEED, **asdict(truth)}, indent=1) + "\n", encoding="utf-8")
    save(HERE / "true_rounds.csv", ["session", "athlete", "round_no", "hr_mean_bpm", "lactate_mmol_l"], true_rows)
    save(
        HERE / "true_athletes.csv",
        ["athlete", "vo2max_ml_kg_min", "hr_max_bpm"],
        [[c, round(v, 2), int(h)] for c, v, h in zip(club.codes, club.vo2max, club.hr_max, strict=True)],
    )


def draw_pairs(rng, codes) -> list[dict[str, str]]:
    """Return who spars whom in each round; nobody meets the same person twice; guests stand in."""
    met: set[frozenset] = set()
    rounds = []
    for round_no in range(1, ROUNDS + 1):
        here = [c for c in codes if (c, round_no) != SAT_OUT and not (c == LEFT_AFTER[0] and round_no > LEFT_AFTER[1])]
        if len(here) % 2:
            here.append("guest")
        while True:
            order = list(rng.permutation(here))
            drawn = [frozenset(order[i : i + 2]) for i in range(0, len(order), 2)]
            if not met & set(drawn):
                break
        met |= {d for d in drawn if "guest" not in d}
        rounds.append({a: b for d in drawn for a, b in (tuple(d), tuple(d)[::-1])})
    return rounds


def bout_effects(rng, pairs, codes) -> np.ndarray:
    """Return the effect of a bout on both of its athletes (SD 1 bpm): athletes x rounds."""
    effect = np.zeros((len(codes), ROUNDS))
    for r, opponents in enumerate(pairs):
        for a, b in sorted(opponents.items()):
            if a != "guest" and (b == "guest" or a < b):
                size = rng.normal(0, 1.0)
                for one in (a, b):
                    if one != "guest":
                        effect[codes.index(one), r] = size
    return effect


def took_part(code: str, round_no: int) -> str:
    """Return yes, sat_out or left."""
    if (code, round_no) == SAT_OUT:
        return "sat_out"
    return "left" if code == LEFT_AFTER[0] and round_no > LEFT_AFTER[1] else "yes"


def write_recordings(rng, truth, club: Club, evenings, folder: Path) -> list[list]:
    """Draw every trace, damage it as an evening does, and write it in its own dialect."""
    true_rows, group = [], {"1": {}, "2": {}}
    for session, evening in EVENINGS.items():
        begin = evening["date"] + timedelta(hours=19, minutes=14)
        starts = [(evening["date"] + clock(s) - begin).total_seconds() for s in evening["starts"]]
        for i, code in enumerate(club.codes):
            if session == "2" and code not in STUDENTS_OF_EVENING_2:
                continue
            parts = np.array([session == "2" or took_part(code, r) == "yes" for r in range(1, ROUNDS + 1)])
            trace = draw_trace(
                rng,
                truth,
                round_means=evenings[session]["hr_mean_bpm"][i],
                took_part=parts,
                starts_s=np.array(starts),
                seconds=int(starts[-1]) + 300 + 240,
                hr_max=club.hr_max[i],
                hr_rest=club.hr_rest[i],
            )
            for r in range(ROUNDS):
                if parts[r]:
                    piece = trace[int(starts[r]) : int(starts[r]) + 300]
                    lactate = evenings[session]["lactate_mmol_l"][i, r]
                    true_rows.append(
                        [session, code, r + 1, round(piece.mean(), 3), round(lactate, 3) if session == "1" else ""]
                    )
            bpm = np.round(trace)
            if session == "2" or code in ("A01", "A02", "A03", "A04", "A05", "A06"):
                group[session][code] = damage_group(code, bpm, starts) if session == "1" else bpm
            else:
                write_one(rng, code, bpm, starts, begin, evening["utc_offset_h"], folder / "recordings")
        write.group_file(folder / "recordings" / f"receiver_evening_{session}.csv", begin, group[session])
    return true_rows


def damage_group(code, bpm, starts) -> np.ndarray:
    """Contact lost, a doubled spike and a flat line, in the traces of the receiver."""
    bpm = bpm.copy()
    if code == "A02":
        for start, length in ((starts[1] + 65, 14), (starts[1] + 190, 9), (starts[2] + 110, 26)):
            bpm[int(start) : int(start) + length] = 0
    if code == "A03":
        bpm[int(starts[0]) + 140 : int(starts[0]) + 147] *= 2
    if code == "A05":
        bpm[int(starts[2]) + 200 : int(starts[2]) + 245] = bpm[int(starts[2]) + 200]
    return bpm


def write_one(rng, code, bpm, starts, begin, utc_offset_h, recordings: Path) -> None:
    """Write the recording of one athlete's own watch or strap, each in another dialect."""
    utc = begin - timedelta(hours=utc_offset_h)
    if code == "A07":
        write.elapsed_csv(recordings / "A07.csv", begin, bpm)
    elif code == "A08":  # switched on only during round 1
        late = int(starts[0]) + 58
        write.two_column_clock_csv(recordings / "A08.csv", begin + timedelta(seconds=late), bpm[late:])
    elif code == "A09":
        write.stamped_csv(recordings / "A09.csv", begin, utc_offset_h, bpm[: int(starts[2]) + 300 + 200])
    elif code in ("A10", "A11", "A12"):
        bpm = bpm.copy()
        ahead = 47 if code == "A11" else 0
        if code == "A10":  # the strap slipped in the hardest scramble of round 4
            bpm[int(starts[3]) + 150 : int(starts[3]) + 245] = np.nan
        if code == "A12":  # dry electrodes at first
            bpm[:95] = np.round(rng.uniform(48, 72, 95))
        write.tcx(recordings / f"{code}.tcx", utc + timedelta(seconds=ahead), bpm, rng)
    elif code in ("A13", "A14"):
        behind = -63 if code == "A14" else 0
        write.gpx(recordings / f"{code}.gpx", utc + timedelta(seconds=behind), bpm)
    elif code == "A15":  # the strap restarted in the second rest
        cut = int(starts[2]) - 70
        write.stamped_csv(recordings / "A15_a.csv", begin, utc_offset_h, bpm[:cut])
        write.stamped_csv(recordings / "A15_b.csv", begin + timedelta(seconds=cut + 25), utc_offset_h, bpm[cut + 25 :])


def write_tables(rng, truth, club: Club, pairs, evenings, folder: Path) -> None:
    """Write the tables that people fill in."""
    save(folder / "athletes.csv", COLUMNS["athletes"], athlete_rows(rng, club), delimiter=";", decimal_comma=True)
    save(
        folder / "sessions.csv",
        COLUMNS["sessions"],
        [
            [
                "1",
                "2026-10-14",
                "+02:00",
                "mat room",
                22.5,
                58,
                "handheld 1",
                "7",
                "ear_lobe",
                "capillary",
                "one analyser; samples 45 to 75 s after",
            ],
            ["2", "2026-10-28", "+01:00", "mat room", 21.0, 55, "", "", "", "", "second evening; no blood"],
        ],
    )
    clock_rows = []
    for session, evening in EVENINGS.items():
        for r, start in enumerate(evening["starts"], 1):
            end = (datetime(2000, 1, 1) + clock(start) + timedelta(seconds=300)).strftime("%H:%M:%S")
            clock_rows.append([session, "", r, start, end, "bell 20 s late" if (session, r) == ("1", 3) else ""])
    save(folder / "clock.csv", COLUMNS["clock"], clock_rows)
    attendance = []
    noted = np.random.default_rng(SEED + 1)  # of its own, so that what is drawn after it stays as it was
    for i, code in enumerate(club.codes):
        device = "receiver" if i < 6 else "own watch" if code == "A16" else "own strap"
        usual = club.mass[i] + round(float(rng.normal(0, 0.3)), 1)
        left = "sore rib" if code == LEFT_AFTER[0] else ""
        ticks = ["yes" if noted.random() < share else "no" for share in TICKED]
        drunk = round(float(noted.uniform(0.2, 0.9)), 1)
        after = round(club.mass[i] * (1 - float(noted.normal(0.009, 0.003))), 1)
        attendance.append(
            ["1", code, device, club.mass[i], round(usual, 1), *ticks, "19:05", 3 if left else "", after, drunk, left]
        )
    attendance += [
        ["2", c, "receiver", *[club.mass[club.codes.index(c)]] * 2, *[""] * 5, "19:05", "", "", "", ""]
        for c in STUDENTS_OF_EVENING_2
    ]
    save(folder / "attendance.csv", COLUMNS["attendance"], attendance)
    save(folder / "rounds.csv", COLUMNS["rounds"], round_rows(rng, truth, club, pairs, evenings))
    recordings = [["1", c, "receiver_evening_1.csv", c, "receiver", ""] for c in club.codes[:6]]
    for code, ending in zip(
        club.codes[6:15], ("csv", "csv", "csv", "tcx", "tcx", "tcx", "gpx", "gpx", ""), strict=True
    ):
        files = [f"{code}.{ending}"] if ending else [f"{code}_a.csv", f"{code}_b.csv"]
        offset = {"A11": 47, "A14": -63}.get(code, "")
        recordings += [["1", code, f, "", "own strap", offset] for f in files]
    recordings += [["2", c, "receiver_evening_2.csv", c, "receiver", ""] for c in STUDENTS_OF_EVENING_2]
    save(folder / "recordings.csv", COLUMNS["recordings"], recordings)
    save(
        folder / "decisions.csv",
        COLUMNS["decisions"],
        [
            [
                "2026-10-15",
                "study lead",
                "rounds",
                "1",
                "A11",
                2,
                "lactate_mmol_l",
                "",
                "",
                "replace",
                _TYPED["A11"],
                "decimal point forgotten; the paper sheet agrees",
            ]
        ],
    )
    save_aerobic_tests(rng, truth, club, folder)


def athlete_rows(rng, club: Club) -> list[list]:
    """Return the athletes with their consents."""
    rows = []
    for i, code in enumerate(club.codes):
        predicted = code in PREDICTED_MAX
        hr_max = round(208 - 0.7 * club.age[i]) if predicted else int(club.hr_max[i])
        rows.append(
            [
                code,
                "home",
                club.group[i],
                int(club.age[i]),
                club.sex[i],
                club.mass[i],
                club.years[i],
                int(club.hr_rest[i]),
                hr_max,
                "predicted" if predicted else "measured",
                "no",
                "yes",
                "no" if code == "A07" else "yes",
                "no" if code == "A03" else "yes",
                "",
                "yes",
                "no",
            ]
        )
    return rows


_TYPED: dict[str, float] = {}
"""What A11's second lactate should have read."""


def round_rows(rng, truth, club: Club, pairs, evenings) -> list[list]:
    """Return one row per session, athlete and round as the clipboard had it, warts included."""
    rows = []
    fitter = club.vo2max - truth.vo2max_centre_ml_kg_min
    for i, code in enumerate(club.codes):
        before = round(float(np.clip(rng.normal(1.9, 0.4), 1.0, 3.2)), 1)
        rows.append(["1", code, 0, "", "", "", before, "", int(rng.integers(0, 2)), "", "", "", "before sparring"])
        for r in range(1, ROUNDS + 1):
            state = took_part(code, r)
            if state != "yes":
                rows.append(
                    [
                        "1",
                        code,
                        r,
                        state,
                        "",
                        "none",
                        "",
                        "",
                        "",
                        "",
                        "",
                        "",
                        "sore rib" if state == "left" else "strapping a finger",
                    ]
                )
                continue
            delay = int(np.clip(rng.normal(58, 9), 35, 90))
            value = evenings["1"]["lactate_mmol_l"][i, r - 1]
            value += truth.lactate_rise_per_minute_of_delay * (delay - 60) / 60 + rng.normal(0, 0.25)
            shown: str | float = "HI" if value > ANALYSER_HIGH_MMOL_L else round(float(value), 1)
            note = ""
            if (code, r) == ("A06", 2):
                shown, delay, note = "", "", "strip failed"
            if (code, r) == ("A11", 2):
                _TYPED["A11"] = shown
                shown = str(shown).replace(".", "")
            activity = int(np.clip(round(3 + 0.07 * fitter[i] + rng.normal(0, 0.7)), 1, 5))
            mean = peak = ""
            if code == "A16":  # the strap did not record; the watch showed a mean and a peak for each lap
                mean = round(float(evenings["1"]["hr_mean_bpm"][i, r - 1]))
                peak, note = min(mean + 9, int(club.hr_max[i])), "from the watch's lap screen"
            rows.append(
                [
                    "1",
                    code,
                    r,
                    "yes",
                    5,
                    pairs[r - 1][code],
                    shown,
                    delay,
                    int(evenings["1"]["exertion"][i, r - 1]),
                    activity,
                    mean,
                    peak,
                    note,
                ]
            )
    for code in STUDENTS_OF_EVENING_2:
        i = club.codes.index(code)
        order = STUDENTS_OF_EVENING_2
        for r in range(1, ROUNDS + 1):
            k = order.index(code)
            opponent = order[k ^ r] if r < 4 else order[(7 - k)]
            rows.append(
                ["2", code, r, "yes", 5, opponent, "", "", int(evenings["2"]["exertion"][i, r - 1]), "", "", "", ""]
            )
    return rows


def save_aerobic_tests(rng, truth, club: Club, folder: Path) -> None:
    """Write the shuttle runs, and three laboratory tests with their breath files."""
    shuttles = {5: 9, 6: 10, 7: 10, 8: 11, 9: 11, 10: 11, 11: 12, 12: 12, 13: 13, 14: 13}
    rows = []
    for i, code in enumerate(club.codes):
        if code == NO_TEST:
            continue
        date = (datetime(2026, 10, 3) + timedelta(days=int(rng.integers(0, 7)))).strftime("%Y-%m-%d")
        if code in LABORATORY:
            rows.append(
                [code, date, "gas_exchange", f"{code}_ramp.csv", "", "", club.mass[i], int(club.age[i]), club.sex[i]]
            )
        else:
            level = int(club.stage[i])
            rows.append(
                [
                    code,
                    date,
                    "shuttle_run_20m",
                    "",
                    level,
                    int(rng.integers(0, shuttles.get(level + 1, 13))),
                    "",
                    int(club.age[i]),
                    club.sex[i],
                ]
            )
    save(folder / "aerobic_tests.csv", COLUMNS["aerobic_tests"], rows)


def write_gas_exchange(rng, club: Club, folder: Path) -> None:
    """Write a ramp test, breath by breath, for the three who went to the laboratory."""
    truth = Truth()
    for code in LABORATORY:
        i = club.codes.index(code)
        peak = (club.vo2max[i] + rng.normal(0, truth.laboratory_error_ml_kg_min)) * club.mass[i]
        seconds = 600
        t, breaths = 0.0, []
        while t < seconds:
            ramp = min(1.0, 0.28 + 0.76 * t / (seconds - 45))
            vo2 = peak * ramp * (1 + rng.normal(0, 0.05))
            ratio = 0.80 + 0.36 * (t / seconds) ** 1.6
            breaths.append(
                [
                    round(t, 1),
                    round(vo2),
                    round(vo2 * ratio),
                    round(club.hr_rest[i] + 30 + (club.hr_max[i] - club.hr_rest[i] - 31) * min(1, ramp)),
                ]
            )
            t += 60 / (18 + 34 * t / seconds) * (1 + rng.normal(0, 0.08))
        save(
            folder / "aerobic_files" / f"{code}_ramp.csv", ["elapsed_s", "vo2_ml_min", "vco2_ml_min", "hr_bpm"], breaths
        )


def clock(text: str) -> timedelta:
    """Return hh:mm:ss as a duration."""
    hours, minutes, seconds = map(int, text.split(":"))
    return timedelta(hours=hours, minutes=minutes, seconds=seconds)


def save(path: Path, header, rows, *, delimiter=",", decimal_comma=False) -> None:
    """Write one CSV table."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\n")
        writer.writerow(header.split() if isinstance(header, str) else header)
        for row in rows:
            plain = [v.item() if isinstance(v, np.generic) else v for v in row]
            writer.writerow([str(v).replace(".", ",") if decimal_comma and isinstance(v, float) else v for v in plain])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent)
