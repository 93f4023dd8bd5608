"""How often does the rule of the training study claim a gain that is not there?  python tests/benchmarks/training_nulls.py

Simulates whole studies without an effect, analysed as the kit does (interval and randomisation test must agree), and
studies with one beside the exact power. Options: --studies, --seed, --save.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from analysis.training import ancova_power, simulate_training

SAVED = Path(__file__).resolve().parents[1] / "references" / "training" / "nulls.md"
NULLS = {
    "6 + 6": {"n_trained": 6, "n_control": 6},
    "4 + 8": {"n_trained": 4, "n_control": 8},
    "6 + 6, 15 % drop-out": {"n_trained": 6, "n_control": 6, "drop_out": 0.15},
    "6 + 6, responses vary (SD 3)": {"n_trained": 6, "n_control": 6, "response_sd": 3.0},
    "4 + 8, responses vary (SD 3)": {"n_trained": 4, "n_control": 8, "response_sd": 3.0},
    "8 + 4, responses vary (SD 3)": {"n_trained": 8, "n_control": 4, "response_sd": 3.0},
}
EFFECTS = {"6 + 6, gain 4.1": (6, 4.1, 2.0), "8 + 8, gain 4.1": (8, 4.1, 2.6)}


def null_table(studies, seed):
    """One row per kind of null."""
    lines = [
        "| truth: no effect | claims | 95 % Monte Carlo | interval alone | randomisation alone | OLS | HC3 | coverage |",
        "|---|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for name, given in NULLS.items():
        s = simulate_training(**given, n_studies=studies, seed=seed)
        shares = (s.interval_alone, s.randomisation_alone, s.ols, s.hc3, s.coverage)
        lines.append(
            f"| {name} | {100 * s.claims:.1f} | {100 * s.ci_low:.1f} to {100 * s.ci_high:.1f} | "
            + " | ".join(f"{100 * v:.1f}" for v in shares)
            + " |"
        )
    return lines


def power_table(studies, seed):
    """Simulated ordinary analysis beside the exact power."""
    lines = ["| truth | OLS simulated | exact | the rule claims |", "|---|---:|---:|---:|"]
    for name, (n, effect, error) in EFFECTS.items():
        s = simulate_training(
            n_trained=n, n_control=n, effect=effect, typical_error=error, n_studies=studies, seed=seed
        )
        exact = ancova_power(n_per_group=n, effect=effect, sd_between=5, typical_error=error)
        lines.append(f"| {name} | {100 * s.ols:.1f} | {100 * exact:.1f} | {100 * s.claims:.1f} |")
    return lines


def main():
    """Print, and with --save keep."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--studies", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--save", action="store_true")
    options = parser.parse_args()
    text = "\n".join(
        [
            "# The training study: claims where there is nothing, per cent",
            "",
            f"{options.studies} simulated studies a row, SD between athletes 5, typical error 2, nominal 5 %; made by",
            f"`python tests/benchmarks/training_nulls.py --studies {options.studies} --seed {options.seed} --save`.",
            "",
            *null_table(options.studies, options.seed),
            "",
            *power_table(options.studies, options.seed),
            "",
        ]
    )
    print(text)
    if options.save:
        SAVED.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
