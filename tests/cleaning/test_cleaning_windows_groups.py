"""The timekeeper's sheet may name mats that are nobody's group: nothing is guessed in silence."""

import pandas as pd

from analysis.cleaning.find import logged_windows
from analysis.study import Protocol

PROTOCOL = Protocol(2, 300.0, 60.0)


def sheet(*groups):
    rows = [{"session": "1", "group": g, "round_no": r, "start_clock": f"19:{10 * r + i:02d}:00", "end_clock": ""}
            for i, g in enumerate(groups) for r in (1, 2)]  # fmt: skip
    return pd.DataFrame(rows)


def test_the_only_group_on_the_sheet_serves_everybody_and_says_so():
    remarks = []
    found = logged_windows(sheet("mat 1"), "1", "advanced", PROTOCOL, remarks)
    assert [w.start for w in found.values()] == [19 * 3600 + 600, 19 * 3600 + 1200]
    assert len(remarks) == 1 and "mat 1" in remarks[0] and "advanced" in remarks[0]


def test_several_mats_that_are_nobodys_group_are_named_with_the_remedy():
    remarks = []
    assert logged_windows(sheet("mat 1", "mat 2"), "1", "advanced", PROTOCOL, remarks) == {}
    assert "mat 1, mat 2" in remarks[0] and "athletes.csv" in remarks[0]


def test_an_athletes_own_mat_is_used_without_a_remark():
    remarks = []
    found = logged_windows(sheet("mat 1", "mat 2"), "1", "mat 2", PROTOCOL, remarks)
    assert [w.start for w in found.values()] == [19 * 3600 + 660, 19 * 3600 + 1260] and not remarks
