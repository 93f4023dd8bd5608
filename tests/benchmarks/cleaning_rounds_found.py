"""How well rounds are found without a clock, and how honest the confidence is.

    python tests/benchmarks/cleaning_rounds_found.py [evenings] [seed]

Simulated evenings over noise, gaps, late starts, early ends, late bells and wrong protocols. Prints two Markdown tables:
starts within 10 s by kind of evening, and the share of right starts by confidence; and the cover of the intervals of clocks.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve()
sys.path.insert(0, str(HERE.parents[1] / "cleaning"))

from made_traces import MadeTrace, make_trace  # noqa: E402

from analysis.cleaning import CleaningRules  # noqa: E402
from analysis.cleaning.clocks import LEAST_CONFIDENCE, find_clock, find_lag  # noqa: E402
from analysis.cleaning.find import find_rounds  # noqa: E402
from analysis.study import Protocol  # noqa: E402

PROTOCOLS = [
    (4, 300, 120),
    (3, 360, 180),
    (5, 240, 90),
    (6, 180, 60),
    (2, 300, 120),
    (3, 300, 60),
    (5, 300, 60),
    (3, 480, 180),
]
KINDS = [
    "plain", "gaps", "late start", "early end", "gaps and late start", "wrong protocol", "wrong protocol and gaps", "no rounds",
]  # fmt: skip
SHARES = [0.15, 0.1, 0.1, 0.05, 0.1, 0.25, 0.15, 0.1]


def damaged(rng: np.random.Generator, trace: MadeTrace, kind: str) -> pd.DataFrame:
    """The samples of an evening of a kind."""
    if "gaps" in kind:
        for _ in range(int(rng.integers(3, 10))):
            a = int(rng.integers(0, len(trace.rates) - 60))
            trace.rates[a : a + int(rng.integers(10, 60))] = np.nan
    samples = trace.samples()
    if "late" in kind:
        samples = samples[samples["elapsed_s"] >= trace.starts[0] + rng.uniform(-60, 0.5 * trace.work_s)]
    if "early" in kind:
        samples = samples[
            samples["elapsed_s"] <= trace.starts[-1] + trace.work_s - rng.uniform(-30, 0.5 * trace.work_s)
        ]
    return samples


def wrong_protocol(rng: np.random.Generator, rounds: int, work: int, rest: int) -> tuple[int, int, int]:
    """A protocol that is not the true one."""
    other = [
        (rounds + 1, work, rest),
        (max(rounds - 1, 1), work, rest),
        (rounds, work + 60, rest),
        (rounds, work, rest + 60 if rest < 100 else rest - 60),
        (rounds, work - 60, rest + 60),
    ]
    return other[int(rng.integers(len(other)))]


def drifting(rng: np.random.Generator) -> pd.DataFrame:
    """Heart rate that goes up and down without rounds."""
    t = np.arange(2400.0)
    slow = 30 * np.sin(t / rng.uniform(150, 500) + rng.uniform(0, 6))
    wobble = np.convolve(rng.normal(0, 6, 2460), np.ones(61) / 20, mode="valid")[:2400]
    return pd.DataFrame({"elapsed_s": t, "hr_bpm": np.round(120 + slow + wobble)})


def simulate(evenings: int, seed: int) -> pd.DataFrame:
    """One line per start found: kind, told (right or wrong protocol), error_s, confidence."""
    lines = []
    for i in range(evenings):
        rng = np.random.default_rng([seed, i])
        rounds, work, rest = PROTOCOLS[int(rng.integers(len(PROTOCOLS)))]
        late_bells, noise = float(rng.choice([0, 5, 10])), float(rng.choice([0.7, 2]))
        trace = make_trace(rng, rounds=rounds, work_s=work, rest_s=rest, bell_sd_s=late_bells, noise_bpm=noise)
        kind = str(rng.choice(KINDS, p=SHARES))
        told = wrong_protocol(rng, rounds, work, rest) if "wrong" in kind else (rounds, work, rest)
        samples = drifting(rng) if kind == "no rounds" else damaged(rng, trace, kind)
        found = find_rounds(samples, Protocol(told[0], float(told[1]), float(told[2])))
        truth = np.full(len(found), np.inf)
        if kind != "no rounds":
            n = min(len(found), rounds)
            truth[:n] = trace.starts[:n]
        for start, true, sure in zip(found["start_s"], truth, found["confidence"], strict=True):
            lines.append(
                (kind, "right" if told == (rounds, work, rest) and kind != "no rounds" else "wrong", start - true, sure)
            )
    return pd.DataFrame(lines, columns=["kind", "told", "error_s", "confidence"])


def cover_of_clocks(traces: int, seed: int) -> tuple[float, float, float]:
    """Share of intervals that hold the true lag, median half-width, 95th percentile of the error."""
    inside, widths, errors = [], [], []
    for i in range(traces):
        rng = np.random.default_rng([seed, 1, i])
        trace = make_trace(rng)
        late = rng.uniform(-150, 150)
        starts = trace.starts - late
        lag = find_lag(trace.elapsed, trace.rates, np.isfinite(trace.rates), starts, starts + trace.work_s)
        errors.append(abs(lag.seconds - late))
        inside.append(errors[-1] <= lag.uncertainty_s)
        widths.append(lag.uncertainty_s)
    return float(np.mean(inside)), float(np.nanmedian(widths)), float(np.nanquantile(errors, 0.95))


OFFSETS = (0.0, 20.0, 75.0, 175.0, -240.0, 600.0, 1800.0, 3600.0, -3600.0)


def clocks_off(traces: int, seed: int) -> list[tuple]:
    """One line per offset of a device: found within 10 s, held back, and among all of these: confidence and whether right."""
    limit, lines = CleaningRules().clock_disagreement_s, []
    for number, offset in enumerate(OFFSETS):
        for i in range(traces):
            rng = np.random.default_rng([seed, 2, number, i])
            rounds, work, rest = PROTOCOLS[int(rng.integers(len(PROTOCOLS)))]
            late, noise = float(rng.choice([0, 5])), float(rng.choice([0.7, 2]))
            trace = make_trace(rng, rounds=rounds, work_s=work, rest_s=rest, bell_sd_s=late, noise_bpm=noise)
            samples = damaged(rng, trace, str(rng.choice(["plain", "gaps", "late start", "early end"])))
            clock, rates = samples["elapsed_s"].to_numpy() + offset, samples["hr_bpm"].to_numpy()
            lag = find_clock(clock, rates, np.isfinite(rates), trace.starts, trace.starts + work)
            held = abs(lag.seconds) > max(limit, lag.uncertainty_s) and lag.confidence >= LEAST_CONFIDENCE
            lines.append(
                (offset, abs(lag.seconds - offset) <= 10, bool(held), lag.confidence, abs(lag.seconds - offset) <= 15)
            )
    return lines


def clocks_as_markdown(lines: list[tuple]) -> str:
    """The table of devices whose clocks are off, and of the confidence."""
    table = pd.DataFrame(lines, columns=["offset", "near", "held", "confidence", "right"])
    said = [
        "",
        "Devices whose clock is off by so much:",
        "",
        "| offset (s) | found within 10 s (%) | held back (%) |",
        "|---|---|---|",
    ]
    for offset, part in table.groupby("offset", sort=False):
        said.append(f"| {offset:+.0f} | {100 * part['near'].mean():.1f} | {100 * part['held'].mean():.1f} |")
    said += ["", "| confidence of the clock | devices | within 15 s (%) |", "|---|---|---|"]
    for low, high in ((0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 1.01)):
        part = table[(table["confidence"] >= low) & (table["confidence"] < high)]
        share = f"{100 * part['right'].mean():.0f}" if len(part) else ""
        said.append(f"| {low} to {min(high, 1)} | {len(part)} | {share} |")
    return "\n".join(said) + "\n"


def as_markdown(table: pd.DataFrame, clocks: tuple[float, float, float], evenings: int, seed: int) -> str:
    """The tables."""
    table = table.assign(right=table["error_s"].abs() <= 10)
    lines = [
        f"{evenings} simulated evenings, seed {seed}, by `python tests/benchmarks/cleaning_rounds_found.py`.",
        "",
        "| evening | starts | within 10 s (%) | median confidence |",
        "|---|---|---|---|",
    ]
    for kind in KINDS:
        part = table[table["kind"] == kind]
        lines.append(f"| {kind} | {len(part)} | {100 * part['right'].mean():.1f} | {part['confidence'].median():.2f} |")
    lines += ["", "| confidence | starts | within 10 s (%) |", "|---|---|---|"]
    for low, high in ((0, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.97), (0.97, 1.01)):
        part = table[(table["confidence"] >= low) & (table["confidence"] < high)]
        lines.append(f"| {low} to {min(high, 1)} | {len(part)} | {100 * part['right'].mean():.0f} |")
    share, width, worst = clocks
    lines += [
        "",
        f"Clocks found from the trace: {100 * share:.1f} % of the intervals hold the truth (aim 95 %), median half-width "
        f"{width:.1f} s, 95 % of the errors below {worst:.1f} s.",
    ]
    return "\n".join(lines) + "\n"


def main(evenings: int = 600, seed: int = 5) -> None:
    """Simulate, print and save."""
    text = as_markdown(simulate(evenings, seed), cover_of_clocks(evenings // 2, seed), evenings, seed)
    text += clocks_as_markdown(clocks_off(evenings // 4, seed))
    print(text)
    if evenings >= 600:
        out = HERE.parents[1] / "references" / "recordings" / "rounds_found.md"
        out.write_text("# Rounds and clocks found from traces\n\n" + text, encoding="utf-8")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
