"""Figures: one function per picture, named ``draw_...``, each in the module of its topic.

In: a result object of a room above. Out: a matplotlib Figure with `alt_text`, in the style of the kit. Nothing here
reads a file or computes a statistic. Import the topic: ``from analysis.figures.rounds import draw_rounds``.
"""

from .export import contact_sheet, figure_bytes, save_figure
from .style import finish, new_axes

__all__ = ["contact_sheet", "figure_bytes", "finish", "new_axes", "save_figure"]
