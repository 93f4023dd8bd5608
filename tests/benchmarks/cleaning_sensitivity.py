"""Measure the cleaning rules: known faults in clean made traces, sensitivity and false alarms per rule, error of round means.

    python tests/benchmarks/cleaning_sensitivity.py [traces per kind] [seed]

Prints a Markdown table and saves it in tests/references/recordings/sensitivity.md. Every fault lies above the stated size
of its rule. The traces share no code with the rules (tests/cleaning/made_traces.py).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path.insert(0, str(HERE.parents[1] / "cleaning"))

from made_events import EVENT_RULES, lose_contact, round_errors, seconds_written  # noqa: E402
from made_traces import MadeTrace, add_fault, make_trace  # noqa: E402

from analysis.cleaning import CleaningRules, flag_artefacts  # noqa: E402
from analysis.cleaning.flags import CODE, spans_of  # noqa: E402
from analysis.cleaning.measure import measure_round  # noqa: E402

# kind of fault: shortest and longest seconds
FAULTS = {
    "zeros": (6, 60),
    "no contact": (6, 60),
    "out of range": (1, 30),
    "flat line": (25, 90),
    "doubling": (2, 60),
    "halving": (2, 60),
    "spike": (1, 12),
    "steep spike": (8, 16),
    "shift": (10, 60),
    "start lag": (30, 120),
}
OUT = HERE.parents[1] / "references" / "recordings" / "sensitivity.md"


@dataclass
class Score:
    """Seconds and rounds counted for one kind of fault."""

    faulty: int = 0
    caught: int = 0
    good: int = 0
    alarmed: int = 0
    rounds: int = 0
    retained: int = 0
    near: int = 0
    worst: float = 0.0


def one_trace(rng: np.random.Generator, kind: str) -> MadeTrace:
    """A trace with one to three faults of a kind (of several kinds for "mixed", none for "none")."""
    trace = make_trace(rng, noise_bpm=float(rng.choice([0.5, 0.9, 1.5])), bell_sd_s=0)
    if kind == "none":
        return trace
    names = [n for n in FAULTS if n != "start lag"]
    for _ in range(int(rng.integers(3, 7)) if kind == "mixed" else int(rng.integers(1, 4))):
        name = str(rng.choice(names)) if kind == "mixed" else kind
        low, high = FAULTS[name]
        seconds = int(rng.integers(low, high + 1))
        if name == "start lag":
            add_fault(rng, trace, name, 0, seconds)
            break
        start = int(rng.integers(60, len(trace.rates) - seconds - 60))
        if not trace.faulty[max(start - 30, 0) : start + seconds + 30].any():
            add_fault(rng, trace, name, start, seconds)
    return trace


def score_trace(score: Score, trace: MadeTrace, rules: CleaningRules) -> None:
    """Flag a trace, and compare seconds and round means with the truth."""
    flagged = flag_artefacts(trace.samples(), hr_max_bpm=round(trace.hr_max), rules=rules)["flag"]
    bad = flagged.ne("").to_numpy()
    score.faulty += int(trace.faulty.sum())
    score.caught += int((bad & trace.faulty).sum())
    score.good += int((~trace.faulty).sum())
    score.alarmed += int((bad & ~trace.faulty).sum())
    rates = np.where(trace.rates > 0, trace.rates, np.nan)
    codes = np.array([CODE[f] for f in flagged], dtype=np.int8)
    bells = [(start, start + trace.work_s) for start in trace.starts]
    spans = spans_of(trace.elapsed, rates, codes, 5.0, bells=bells)
    for k, start in enumerate(trace.starts):
        values, _ = measure_round(spans, start, start + trace.work_s, rules, np.inf)
        score.rounds += 1
        error = abs(values["hr_mean_bpm"] - trace.true_mean(k))
        if np.isfinite(error):
            score.retained += 1
            score.near += error <= 1.0
            score.worst = max(score.worst, float(error))


def measure(traces: int, seed: int) -> dict[str, Score]:
    """Score every kind of fault."""
    rules, scores = CleaningRules(), {}
    for number, kind in enumerate(["none", *FAULTS, "mixed"]):
        scores[kind] = Score()
        for i in range(traces):
            score_trace(scores[kind], one_trace(np.random.default_rng([seed, number, i]), kind), rules)
    return scores


def as_markdown(scores: dict[str, Score], traces: int, seed: int) -> str:
    """The table."""
    lines = [
        f"Measured on {traces} made traces per kind (seed {seed}) by `python tests/benchmarks/cleaning_sensitivity.py`.",
        "",
        "| fault | seconds long | faulty seconds flagged (%) | good seconds flagged (%) | rounds with a mean (%) | "
        "of these within 1 bpm of the truth (%) | largest error (bpm) |",
        "|---|---|---|---|---|---|---|",
    ]
    for kind, s in scores.items():
        size = "{} to {}".format(*FAULTS[kind]) if kind in FAULTS else ""
        caught = f"{100 * s.caught / s.faulty:.1f}" if s.faulty else ""
        lines.append(
            f"| {kind} | {size} | {caught} | {100 * s.alarmed / s.good:.2f} | {100 * s.retained / s.rounds:.1f} | "
            f"{100 * s.near / s.retained:.1f} | {s.worst:.1f} |"
        )
    return "\n".join(lines) + "\n"


def on_events(traces: int, seed: int) -> str:
    """Round means of devices that write now and then, without and with lost contact, beside the plain limit of a gap."""
    lines = [
        f"Devices that write a row only now and then, {traces} traces each, without lost contact and with two stretches of 10 to "
        "90 s lost; rounds of 3 to 6 min, noise 0.5 to 1.5 bpm. In brackets: every longer step taken for missing time, as for "
        "a device that writes every second.",
        "",
        "| a row is written | rounds with a mean (%) | bias (bpm) | largest error (bpm) | with lost contact: with a mean (%) | "
        "bias (bpm) | largest error (bpm) | root mean square of rounds kept both ways (bpm) |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for number, (name, rule) in enumerate({**EVENT_RULES, "every second": {}}.items()):
        cells = []
        for spans in (0, 2):
            new, old = [], []
            for i in range(traces):
                rng = np.random.default_rng([seed, 100 + number, i])
                work = int(rng.choice([180, 240, 300, 360]))
                trace = make_trace(rng, work_s=work, noise_bpm=float(rng.choice([0.5, 0.9, 1.5])))
                places = seconds_written(rng, trace, **rule)
                places = lose_contact(rng, places, len(trace.rates), spans)
                new += list(round_errors(trace, places))
                old += list(round_errors(trace, places, by_limit_alone=True))
            new, old = np.array(new), np.array(old)
            scores = (new, old)
            shares = [100 * np.isfinite(s).mean() for s in scores]
            biases = [np.nanmean(s) if np.isfinite(s).any() else np.nan for s in scores]
            largest = [np.nanmax(np.abs(s)) if np.isfinite(s).any() else np.nan for s in scores]
            cells += [f"{shares[0]:.1f} ({shares[1]:.1f})", f"{biases[0]:+.2f} ({biases[1]:+.2f})"]
            cells.append(f"{largest[0]:.1f} ({largest[1]:.1f})")
        both = np.isfinite(new) & np.isfinite(old)
        spread = [np.sqrt((s[both] ** 2).mean()) if both.any() else np.nan for s in (new, old)]
        lines.append(f"| {name} | {' | '.join(cells)} | {spread[0]:.2f} ({spread[1]:.2f}) |")
    return "\n".join(lines).replace("nan", "none") + "\n"


def main(traces: int = 200, seed: int = 1) -> None:
    """Measure, print and save."""
    table = as_markdown(measure(traces, seed), traces, seed) + "\n" + on_events(max(traces // 2, 10), seed)
    print(table)
    if traces >= 200:
        OUT.write_text("# Sensitivity of the cleaning rules\n\n" + table, encoding="utf-8")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
