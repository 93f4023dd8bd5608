"""Reporting checklists: which topics the write-up covers, where, and what the author must still fill in."""

from __future__ import annotations

import pandas as pd

from ..telling.document import Document, Table
from ..telling.study.phrases import NONE_STOOD_OUT
from ..telling.study.sentences import write_stood_out

SOURCES = {
    "observational": (
        "Topics for observational (cross-sectional) studies, in our own words, after STROBE (von Elm et al., 2007, PLoS "
        "Medicine 4:e296)."
    ),
    "statistics": (
        "Topics for statistics in sport and exercise medicine, in our own words, after CHAMP (Mansournia et al., 2021, British "
        "Journal of Sports Medicine 55:1002) and Hopkins et al. (2009, Medicine & Science in Sports & Exercise 41:3)."
    ),
    "comparison": "Topics for the comparison with published findings; common practice, no source.",
}

TITLES = {
    "observational": "Reporting checklist for observational studies.",
    "statistics": "Reporting checklist for statistics in sports science.",
    "comparison": "Reporting checklist for the comparison with published findings.",
}

# checklist | topic | section that covers it ("" = only the author can) | what is left for the author
_ITEMS = """
observational|The design is named in title or summary||name it in the title
observational|A balanced summary of what was done and found|Abstract|write the abstract
observational|Background and rationale||write the introduction
observational|Aims, with hypotheses fixed beforehand|Plan and size|
observational|Main features of the design, early in the text|Protocol and conditions|
observational|Setting, place and dates|Protocol and conditions|recruitment period
observational|Who could take part, and how people were found||inclusion, exclusion, recruitment
observational|Outcomes, exposures and confounders defined|Measurements|
observational|How each variable was measured|Measurements|
observational|What was done about possible bias|Limitations|bias in recruiting
observational|How the number of athletes was arrived at|Plan and size|
observational|How quantitative variables were handled|Statistical analysis|
observational|Statistical methods, missing data, sensitivity|Statistical analysis|
observational|Numbers at each stage, with reasons for loss|Athletes and data|people asked but not enrolled
observational|Characteristics of the athletes, missing values counted|Athletes and data|
observational|Summary of the outcomes|Change over the rounds|
observational|Estimates with precision, and what was adjusted for|Change over the rounds|
observational|Other analyses done|Fitness and the response|
observational|Key results with reference to the aims|Abstract|open the discussion with them
observational|Limitations, with direction of bias|Limitations|
observational|Cautious overall interpretation||write the discussion
observational|How far the results hold elsewhere|Limitations|
observational|Funding and its role||Statements: say who paid
statistics|The research question is clear|Plan and size|
statistics|The design fits the question|Protocol and conditions|
statistics|The size is justified|Plan and size|
statistics|Unit of analysis; rounds of one athlete are not independent|Statistical analysis|
statistics|Who was blind to what||say it in the methods
statistics|Missing data: how much, why, what was done|Athletes and data|
statistics|Assumptions were checked|Rounds|say what they show
statistics|Choice of model justified|Statistical analysis|
statistics|Several tests accounted for|Statistical analysis|
statistics|Planned and exploratory analyses marked as such|Plan and size|
statistics|Effect sizes with intervals, in units that matter|Change over the rounds|
statistics|Exact p values|Change over the rounds|
statistics|No "no difference" from a test that is not significant|Statistical analysis|keep to it in the discussion
statistics|Relation is not called cause|Limitations|keep to it in the discussion
statistics|Values that stand out: how they were treated|Athletes and data|
statistics|Standard deviations, not standard errors, for spread|Athletes and data|
statistics|Figures show the data|Change over the rounds|
statistics|Measurement error of the fitness test considered|Fitness and the response|
statistics|Software with versions|Statistical analysis|
statistics|Departures from the plan|Departures from the plan|
statistics|Whether data and code can be had||Statements: say where the data package is kept
statistics|Conclusions match the results||write the discussion
comparison|The published effect and its number of athletes|Comparison with published findings|
comparison|Where the two protocols differ|Comparison with published findings|
comparison|The plan was dated before the data|Plan and size|
comparison|What counts as agreement was said beforehand|Statistical analysis|
comparison|All outcomes are reported, not only those that agree|Comparison with published findings|
"""

ITEMS = tuple(tuple(line.split("|")) for line in _ITEMS.strip().splitlines())


STOOD_OUT = "Values that stand out: how they were treated"


def checklist_tables(document: Document, study=None) -> list[Table]:
    """Say for every topic of the checklists where the write-up covers it, and what is left for the author."""
    written = [s.title for s in document.sections if any(getattr(b, "kind", "") != "note" for b in s.blocks)]
    tables = []
    for name, title in TITLES.items():
        if name == "comparison" and "Comparison with published findings" not in written:
            continue
        rows = [(topic, *_where(section, left, written)) for n, topic, section, left in ITEMS if n == name]
        if study is not None and len(study.rounds):
            said = (write_stood_out(study) or [NONE_STOOD_OUT])[0]
            rows = [(t, f"{at}. {said}" if t == STOOD_OUT else at, left) for t, at, left in rows]
        shown = pd.DataFrame(rows, columns=["Topic", "Covered in", "Left for the author"])
        tables.append(Table(f"checklist_{name}", title, shown, note=SOURCES[name]))
    return tables


def _where(section: str, left: str, written: list[str]) -> tuple[str, str]:
    if section and section in written:
        return section, left
    return "–", left or "nothing to report yet"
