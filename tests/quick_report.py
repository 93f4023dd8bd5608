"""Making a report that tests read: what they do not read of it is left out, and what it asks is asked more cheaply."""

import os
from contextlib import contextmanager
from functools import partial

import pytest


@contextmanager
def made_here(*formats):
    """Make a report with half the cores, since the tests beside need the others; named: figures in these formats alone."""
    cores = max((os.cpu_count() or 1) // 2, 1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("os.cpu_count", lambda: cores)
        for module in ("report.pictures", "telling.document") if formats else ():
            patch.setattr(f"analysis.{module}.FORMATS", formats)
        yield


def answer_assurance(answers):
    """Let answers know their assurance, from 100 simulated studies instead of the 10,000 of notebook 01."""
    from analysis.planning import assure_design

    design = answers.design()
    answers._kept["assurance"] = assure_design(design.design, design.assumptions, n_draws=10, n_studies=10)


def assure_quickly(patch):
    """Let fixing a plan simulate 100 studies instead of 10,000."""
    from analysis.report import plan_document

    patch.setattr(plan_document, "assure_design", partial(plan_document.assure_design, n_draws=10, n_studies=10))
