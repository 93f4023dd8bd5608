"""The write-up: sentences, tables, figures, one page of HTML, one Word file, a data package, a page per athlete.

In: `Answers` (or a study folder). Out: the folder `output/`, rebuilt whole each time and never read back, except to
say whether it still belongs to its input. Nothing here computes a statistic.
"""

from .build import READ_ME, build_document, build_report
from .data_package import make_data_package
from .html_page import part
from .plan_document import published_correlation

__all__ = ["READ_ME", "build_document", "build_report", "make_data_package", "part", "published_correlation"]
