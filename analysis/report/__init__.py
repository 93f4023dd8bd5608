"""The write-up: sentences, tables, figures, one page of HTML, one Word file, a data package, a page per athlete.

In: `Answers` (or a study folder). Out: the folder `output/`, rebuilt whole each time and never read back, except to
say whether it still belongs to its input. Nothing here computes a statistic.
"""

from .build import build_report
from .notebook_pages import copy_notebooks
from .verify import verify_report

__all__ = ["build_report", "copy_notebooks", "verify_report"]
