"""Telling: each topic in one place, its sentences, its tables and its figures.

In: a result object of a room above. Out: sentences, `Table`s, and matplotlib Figures with `alt_text` (``draw_...``), in the style
of the kit. Nothing here reads a file or computes a statistic. Import the topic, as in
``from analysis.telling.rounds.figures import draw_rounds``. In the examples of figures, `answers` is
``open_answers("data_demo")``, `survey` is ``open_survey().survey()`` and `training` ``open_training().training()``.
"""

from .style import finish, save_figure

__all__ = ["finish", "save_figure"]
