"""Draw the README's pictures from the demo study: ``python data_demo/how_it_was_made/make_pictures.py``."""

from __future__ import annotations

from pathlib import Path

from analysis.answers import open_answers
from analysis.telling.cleaning.figures import draw_overview
from analysis.telling.fitness.figures import draw_capacity
from analysis.telling.rounds.figures import draw_rounds

ROOT = Path(__file__).resolve().parents[2]


def main(target: Path = ROOT / "notebooks" / "pictures") -> None:
    """Write rounds.png, fitness.png and traces.png into `target`."""
    answers = open_answers(ROOT / "data_demo")
    target.mkdir(exist_ok=True)
    pictures = {
        "rounds": draw_rounds([answers.rounds(o) for o in ("hr_mean_bpm", "lactate_mmol_l", "exertion")]),
        "fitness": draw_capacity(answers.fitness("hr_mean_bpm")),
        "traces": draw_overview(answers.cleaned),
    }
    for name, figure in pictures.items():
        figure.savefig(target / f"{name}.png", dpi=130, metadata={"Software": None})


if __name__ == "__main__":
    main()
