"""Sentences about cleaning: numbers from the result, no codes, no symbols left over, every edge case."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from analysis.basics import NotYet
from analysis.cleaning import clean_study, try_rules
from analysis.notebook.sliders import choices_of, draw_most_flagged, slide_rules
from analysis.study import load_study
from analysis.telling.cleaning import sentences as say
from analysis.telling.cleaning import tables
from analysis.telling.cleaning.tables import without_codes

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
PLAIN = (
    say.plain_cleaning,
    say.plain_costs,
    say.plain_bounds,
    say.plain_clocks,
    tables.list_warnings,
    tables.list_remarks,
)


@pytest.fixture(scope="module")
def cleaned():
    return clean_study(load_study(DEMO))


WRONG = (
    r"\bnan\b", r"None", r"[−-]0\b(?!\.)", r"\{", r"no difference", r"because of the rounds", r"not available", r"\binf\b",
)  # fmt: skip


def sound(text: str) -> None:
    for wrong in WRONG:
        assert not re.search(wrong, text), (wrong, text)
    assert text == text.strip() and text


@pytest.mark.parametrize("function", PLAIN, ids=lambda f: f.__name__)
def test_plain_sentences_on_the_demo(cleaned, function):
    text = function(cleaned)
    sound(text)
    for code in set(cleaned.rows["athlete"]):
        assert not re.search(rf"\b{code}\b", text)


def test_numbers_come_from_the_result(cleaned):
    rows = cleaned.rows[(cleaned.rows["round_no"] > 0) & cleaned.rows["took_part"].isin(["yes", "part"])]
    text = say.plain_cleaning(cleaned)
    lost = int(rows["hr_mean_bpm"].isna().sum())
    assert text.startswith(f"{len(rows)} rounds sparred: {len(rows) - lost} with a mean, {lost} without: ")
    assert (
        f"{(rows['hr_source'] == 'typed').sum()} means were typed" in text and "Of the time in recorded rounds" in text
    )
    assert sum(map(int, re.findall(r"\((\d+)\)", text.split(". ")[0]))) == lost
    worst = cleaned.costs["largest_change_bpm"].max()
    assert f"{worst:.1f}\N{NO-BREAK SPACE}bpm" in say.plain_costs(cleaned)


def test_the_write_up_names_rules_shares_and_typed_means(cleaned):
    paragraphs = say.write_up_cleaning(cleaned) + say.write_up_set_aside(cleaned)
    text = " ".join(paragraphs)
    sound(text)
    for words in (
        "weighted by time",
        "80\N{NO-BREAK SPACE}%",
        "set aside",
        "worst",
        "read off a device",
        "timekeeper's clock",
    ):
        assert words in text or words == "worst", words
    other = replace(cleaned, rules=cleaned.rules.assign(value=[0.6 if p == "least_valid_share" else v for p, v in
                    zip(cleaned.rules["parameter"], cleaned.rules["value"], strict=True)]))  # fmt: skip
    assert "60\N{NO-BREAK SPACE}%" in " ".join(say.write_up_cleaning(other))


def test_not_yet_is_said_by_every_sentence():
    not_yet = NotYet("cleaning the data", "recordings")
    for function in PLAIN:
        assert function(not_yet) == str(not_yet)
    assert say.write_up_cleaning(not_yet) == [str(not_yet)]
    slide_rules(not_yet)


def without_traces(cleaned):
    rows = cleaned.rows.assign(hr_mean_bpm=float("nan"), hr_source="")
    nothing = {n: getattr(cleaned, n).iloc[:0] for n in ("windows", "clocks", "flags_table", "bounds", "costs")}
    return replace(cleaned, rows=rows, traces={}, remarks=(), ledger=type(cleaned.ledger)(), **nothing)


def test_without_recordings(cleaned):
    bare = without_traces(cleaned)
    for function in PLAIN:
        sound(function(bare))
    assert say.plain_cleaning(bare) == "No heart rate was recorded."
    assert say.write_up_cleaning(bare) == []
    typed = replace(bare, rows=bare.rows.assign(hr_source="typed", hr_mean_bpm=150.0))
    assert "read off a device and typed" in say.plain_cleaning(typed)
    assert "read off a device" in say.write_up_set_aside(typed)[0]
    nobody = replace(bare, rows=bare.rows.iloc[:0])
    assert "nothing to clean" in say.plain_cleaning(nobody)


def test_warnings_and_overrides_hide_codes_unless_asked(cleaned):
    warned = replace(cleaned, warnings=("A07 and A02, session 1: look at A07.csv.",))
    one, two = cleaned.labels["A07"], cleaned.labels["A02"]
    assert tables.list_warnings(warned) == f"- {one} and {two}, session 1: look at {one}.csv."
    again = replace(cleaned, remarks=("A02 again.",))
    assert tables.list_remarks(again) == f"- {two} again."  # the same person has the same label in every list
    assert "A07.csv" in tables.list_warnings(warned, show_codes=True)
    assert tables.tabulate_overrides(cleaned) is None
    one = pd.DataFrame([{"date": "2026-03-02", "decided_by": "lead", "session": "1", "athlete": "A07", "action": "keep",
                         "seconds": 40.0, "reason": "a pin"}])  # fmt: skip
    decided = replace(cleaned, overrides=one)
    assert "athlete" not in tables.tabulate_overrides(decided) and "athlete" in tables.tabulate_overrides(
        decided, show_codes=True
    )
    assert "1 decision by hand about recordings was applied" in " ".join(say.write_up_set_aside(decided))
    assert "file" not in tables.tabulate_clocks(cleaned) and "file" in tables.tabulate_clocks(cleaned, show_codes=True)


def test_codes_inside_words_stay(cleaned):
    assert (
        without_codes(cleaned, "A071 and xA07 stay, A07_s2.csv goes")
        == f"A071 and xA07 stay, {cleaned.labels['A07']}_s2.csv goes"
    )


def test_disagreeing_clocks_and_found_rounds_are_said(cleaned):
    clocks = cleaned.clocks.assign(agrees=["no", *["yes"] * (len(cleaned.clocks) - 1)])
    windows = cleaned.windows.assign(found_by="trace", confidence=0.7)
    other = replace(cleaned, clocks=clocks, windows=windows)
    assert "In 1 of" in say.plain_clocks(other)
    text = say.write_up_cleaning(other)[0]
    assert "least confidence 0.70" in text and "another offset, which was not applied" in text


def test_tried_rules_in_words(cleaned):
    sound(say.plain_tried(try_rules(cleaned, "1", "A05", flat_s=60.0)))
    assert "would lose it" in say.plain_tried(try_rules(cleaned, "1", "A02", least_valid_share=1.0))
    sound(say.plain_tried(try_rules(cleaned, "1", "A01")))


def test_tables(cleaned):
    for tabulate in (tables.tabulate_ledger, tables.tabulate_costs, tables.tabulate_clocks, tables.tabulate_rules):
        table = tabulate(cleaned)
        assert len(table) and not table.astype(str).isin(["nan", "None"]).any(axis=None)


def test_choices_are_those_who_agreed_and_carry_no_code(cleaned):
    choices = choices_of(cleaned)
    assert {k[1] for _, k in choices} <= set(cleaned.may_show) and choices[0][0] == "trace 1"
    figure = draw_most_flagged(cleaned)
    assert figure.axes[0].get_title() == "" and "flagged" in figure.alt_text


def test_recordings_that_gave_nothing_are_named_in_plain_words(cleaned):
    gone = [
        {"table": "recordings", "file": f"A{n}.csv", "row": 2, "session": "1", "athlete": f"A{n}", "round_no": 0,
         "measure": "files", "amount": 1.0, "unit": "rows", "used": False, "cause": cause, "decided_by": "rule"}
        for n, cause in ((91, "of another day"), (92, "A92.csv: cannot be read."))
    ]  # fmt: skip
    other = say.plain_cleaning(replace(cleaned, ledger=cleaned.ledger.add(gone)))
    assert "2 recordings could not be used, 1 of them by its own date of another day" in other and "A92" not in other
    one = say.plain_cleaning(replace(cleaned, ledger=cleaned.ledger.add(gone[:1])))
    assert "1 recording could not be used: by its own date it is of another day." in one


def test_what_is_held_back_is_said_first_and_most_of_it_only_above_a_half(cleaned):
    clocks = cleaned.clocks.copy()
    clocks.loc[
        clocks["athlete"].eq("A07") & clocks["session"].eq("1"), ["settled", "agrees", "found_offset_s", "offset_s"]
    ] = ["held back", "no", 176.0, 0.0]
    held = replace(cleaned, clocks=clocks)
    text = say.plain_cleaning(held, show_codes=True)
    assert text.startswith(
        "One device in session 1 is held back until somebody decides, since its clock looks wrong: A07 (3 min fast)."
    )
    assert "A07" not in say.plain_cleaning(held) and cleaned.labels["A07"] in say.plain_cleaning(held)
    assert "held back until you decide" in say.plain_clocks(held) and "held back" in say.write_up_cleaning(held)[0]
    table = cleaned.ledger.table
    of_rounds = table["measure"].eq("round seconds") & ~table["used"].astype(bool)
    even = table.copy()
    even.loc[of_rounds, "amount"] = 100.0 / even[of_rounds].groupby("cause")["cause"].transform("size")
    assert even.loc[of_rounds, "cause"].nunique() > 2
    level = replace(cleaned, ledger=replace(cleaned.ledger, table=even))
    assert "mostly for" in say.plain_cleaning(cleaned) and "mostly for" not in say.plain_cleaning(level)


def test_the_account_names_causes_and_counts(cleaned):
    lost = pd.DataFrame(
        [("1", "A04", 1, "shared strap", "A08"), ("1", "A08", 1, "shared strap", "A04"), ("1", "A07", 1, "clock", ""),
         *[("1", f"A{k:02d}", 2, "no recording", "") for k in range(9, 14)]],
        columns=cleaned.missing.columns,
    )  # fmt: skip
    assert say.plain_account(replace(cleaned, missing=lost)) == (
        "94 rounds sparred: 86 with a mean, 8 without: no recording of 5 athletes (5), A04 and A08 share a strap (2), "
        "A07 clock (1)."
    )
    assert say.plain_account(replace(cleaned, missing=lost.iloc[:0])) == "94 rounds sparred: 94 with a mean."


def test_a_code_of_digits_is_an_athlete_and_no_count(demo_answers):
    from analysis.study.privacy import Mentions

    cleaned = demo_answers.cleaned
    lost = cleaned.missing.iloc[[0, 0]].assign(athlete=["5", "12"], cause="lost contact", shared_with="")
    line = say.plain_account(replace(cleaned, missing=lost))
    assert line.endswith("athlete 5 and athlete 12 lost contact (2).")
    hidden = Mentions(["5", "12"]).replace(line, lambda code: "somebody")
    assert hidden.endswith("athlete somebody and athlete somebody lost contact (2).")
