"""Pictures of cleaning: what every figure must keep, what they must not show, and edge cases."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from figure_rules import faults_of

from analysis.cleaning import clean_study, try_rules
from analysis.study import load_study
from analysis.telling.cleaning import figures as account
from analysis.telling.cleaning import figures as draw

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture(scope="module")
def cleaned():
    return clean_study(load_study(DEMO))


PICTURES = {
    "overview": draw.draw_overview,
    "second session": lambda c: draw.draw_overview(c, session="2"),
    "trace": lambda c: draw.draw_trace(c, "1", "A12"),
    "tried": lambda c: draw.draw_tried(try_rules(c, "1", "A05", flat_s=60.0)),
    "ledger": account.draw_ledger,
    "costs": account.draw_costs,
    "missing": account.draw_missing,
    "bounds": account.draw_bounds,
}


@pytest.mark.parametrize("name", PICTURES)
def test_every_picture_keeps_the_rules_and_shows_no_code(cleaned, name):
    codes = sorted(set(cleaned.rows["athlete"]))
    assert faults_of(PICTURES[name](cleaned), codes=codes) == []


def test_only_those_who_agreed_are_drawn(cleaned):
    everybody = len([k for k in cleaned.traces if k[0] == "1"])
    agreed = len([k for k in cleaned.traces if k[0] == "1" and k[1] in cleaned.may_show])
    figure = draw.draw_overview(cleaned)
    assert sum(a.get_visible() for a in figure.axes) == agreed < everybody
    assert "not shown, for lack of consent" in figure.alt_text
    nobody = draw.draw_overview(replace(cleaned, may_show=()))
    assert sum(a.get_visible() for a in nobody.axes) == 0


def test_codes_stand_only_where_asked_for(cleaned):
    shown = draw.draw_overview(cleaned, show_codes=True)
    assert {a.get_title(loc="left") or a.get_title() for a in shown.axes if a.get_visible()} <= set(cleaned.may_show)
    table = account.draw_missing(cleaned, show_codes=True)
    labels = [t.get_text() for t in table.axes[0].get_yticklabels()]
    assert labels == sorted(set(cleaned.rows.query("session == '1'")["athlete"]))


def test_the_ledger_picture_adds_up(cleaned):
    table = account.round_seconds(cleaned)
    windows = cleaned.windows[
        [k in cleaned.traces for k in zip(cleaned.windows["session"], cleaned.windows["athlete"], strict=True)]
    ]
    assert table["seconds"].sum() == pytest.approx((windows["end_s"] - windows["start_s"]).sum())
    assert table["used"].tolist() == sorted(table["used"], reverse=True)


def empty(cleaned):
    nothing = {n: getattr(cleaned, n).iloc[:0] for n in ("rows", "windows", "clocks", "flags_table", "bounds", "costs")}
    return replace(cleaned, traces={}, ledger=type(cleaned.ledger)(), **nothing)


@pytest.mark.parametrize("name", ["overview", "ledger", "costs", "missing", "bounds"])
def test_nothing_to_show_is_no_error(cleaned, name):
    figure = PICTURES[name](empty(cleaned))
    assert len(figure.alt_text) > 20
    figure.savefig("/dev/null", format="svg")


def test_a_trace_without_rounds_or_samples(cleaned):
    one = replace(cleaned, windows=cleaned.windows.iloc[:0])
    assert "0 shaded rounds" in draw.draw_trace(one, "1", "A01").alt_text
    lost = cleaned.traces["1", "A01"].assign(hr_bpm=np.nan, flag="no contact")
    figure = draw.draw_trace(replace(cleaned, traces={("1", "A01"): lost}), "1", "A01")
    figure.savefig("/dev/null", format="svg")
    assert "flagged no contact" in figure.alt_text
