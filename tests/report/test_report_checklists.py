"""The reporting checklists say where a topic stands, and what only the author can add."""

from analysis.report.supplement import ITEMS, checklist_tables
from analysis.telling.document import Document, Paragraph, Section


def test_a_topic_is_covered_where_its_section_says_something():
    sections = (
        Section("", (Paragraph("What is told first."),)),
        Section("Abstract", (Paragraph("What was found."),)),
        Section("Limitations", (Paragraph("Say it here.", "note"),)),
    )
    table = checklist_tables(Document("A study", sections=sections))[0].shown.set_index("Topic")
    rows = {topic: (section, left) for name, topic, section, left in ITEMS if name == "observational"}
    for topic, (section, left) in rows.items():
        covered = section if section == "Abstract" else "–"
        assert table.loc[topic, "Covered in"] == covered
        assert table.loc[topic, "Left for the author"] == (left or ("" if covered != "–" else "nothing to report yet"))
