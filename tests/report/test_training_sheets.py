"""Sheets of a training study: a band only from a measured maximum, stop signs on the card, both groups in the log."""

from pathlib import Path

import pytest

from analysis.answers import open_training
from analysis.sheets import training_sheets, write_sheets
from analysis.sheets.pdf import sheets_pdf
from analysis.study import Study


@pytest.fixture(scope="module")
def sheets():
    return {s.key: s for s in training_sheets(open_training().study)}


def test_the_card_has_the_band_of_each_trained_athlete_and_the_stop_signs(sheets):
    study = open_training().study
    card = sheets["training_card"]
    arms = study.allocation.set_index("athlete")["arm"]
    codes = card.column("athlete")
    assert set(codes) == set(arms[arms == "trained"].index)
    top = study.athletes.set_index("athlete").loc[codes[0], "hr_max_bpm"]
    assert card.rows[0][1] == f"{0.9 * top:.0f} to {0.95 * top:.0f}"
    text = " ".join([*card.steps, *card.cautions])
    for words in (
        "chest",
        "Dark urine",
        "defibrillator",
        "70 to 80 %",
        "weight cut",
        "10.6 to 11.7",
        "Helgerud",
        "prescription",
    ):
        assert words in text


def test_a_predicted_maximum_prints_no_band(sheets):
    from dataclasses import replace

    study = open_training().study
    predicted = replace(study, athletes=study.athletes.assign(hr_max_source="predicted"))
    card = training_sheets(predicted)[0]
    assert {row[1] for row in card.rows} == {"by exertion"}


def test_log_and_events_are_for_both_groups_and_have_the_columns_of_the_workbook(sheets):
    log, events = sheets["training_log"], sheets["adverse_events"]
    assert [c.name for c in log.columns][:3] == ["athlete", "date", "kind"]
    assert "Both groups" in log.steps[0] and "both groups" in events.steps[0]
    assert "cardiac event" in " ".join(events.cautions)


def test_the_sheets_print_on_one_page_each(sheets, tmp_path):
    written = write_sheets(list(sheets.values()), tmp_path, title="Training")
    assert {p.suffix for p in written} == {".html", ".pdf"}
    for sheet in sheets.values():
        path = sheets_pdf([sheet], tmp_path / f"{sheet.key}.pdf")
        assert Path(path).read_bytes().count(b"/Type /Page\n") + Path(path).read_bytes().count(b"/Type /Page ") <= 2


def test_an_ordinary_study_says_what_is_missing():
    assert "[training]" in str(training_sheets(Study(folder=Path("nowhere"))))
