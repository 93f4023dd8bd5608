"""Planted slips: each is found where it stands, and every remedy that is printed for it works when it is followed."""

import re

import pytest
from remedies import Followed
from slip_list import SLIPS
from typed_clubs import clean_club, write_book

from analysis.study.check import check_study, propose_decisions_for
from analysis.study.load import examine_folder

CASES = [(slip, slip.kinds[i % len(slip.kinds)]) for i, slip in enumerate(SLIPS)]
"""Every slip in one of the ways in which a folder is written, in turn; the benchmark plants all of them in every way."""

CLUB = 7

PROPOSED = {
    "clock_as_share_of_a_day",
    "code_in_small_letters",
    "code_with_letter_o",
    "code_without_zero",
    "date_as_days",
    "date_with_two_digits",
    "delay_in_minutes",
    "delay_ten_times",
    "exertion_above_the_scale",
    "exertion_eleven_of_ten",
    "lactate_above_25",
    "lactate_below_two",
    "lactate_lost_its_point",
    "lactate_with_letter_l",
    "lactate_with_letter_o",
    "lactate_with_two_points",
    "mass_in_pounds",
    "mass_without_point",
    "maximum_lost_its_first_digit",
    "mean_misread",
    "mean_with_a_digit_too_many",
    "mean_with_a_point",
    "mean_with_digits_exchanged",
    "minutes_as_hours",
    "minutes_too_long",
    "one_strap_on_two_athletes",
    "opponent_is_self",
    "opponent_is_self_mistyped",
    "peak_below_mean",
    "row_twice_alike",
    "row_twice_unlike",
    "test_unknown",
}
"""Slips for which `check` offers a decision to confirm."""


def write(book, folder, kind):
    """Write a club, its settings as a reader of remedies changed them."""
    plain = book.copy()
    plain.settings = [s for s in book.settings if len(s) == 2]
    write_book(plain, folder, kind)
    for _, line, finding, remedy in (s for s in book.settings if len(s) == 4):
        change_setting(folder / "study.toml", line, finding, remedy)
    return folder


def change_setting(path, line, finding, remedy):
    """Do what a remedy about study.toml says: replace the value or the key of a line, or add a line to a section."""
    lines = path.read_text(encoding="utf-8").splitlines()
    key = line.partition(" = ")[0]
    if "under [" in remedy and (section := re.search(rf"{re.escape(line)} under (\[[\w.]+\])", remedy)):
        lines += ["", section[1], line] if section[1] not in lines else []
        if section[1] in lines[:-2]:
            lines.insert(lines.index(section[1]) + 1, line)
    elif "at the top" in remedy:
        lines.insert(0, line)
    elif " = " in line:
        place = next((i for i, old in enumerate(lines) if i + 1 == finding.row), None)
        if place is None:
            place = next(i for i, old in enumerate(lines) if old.strip().startswith(f"{key} "))
        lines[place] = line
    else:
        old = lines[finding.row - 1]
        lines[finding.row - 1] = (
            f'{old.partition("=")[0]}= "{line}"'
            if finding.value and finding.value in old.partition("=")[2] and not finding.problem.startswith("no such")
            else f"{line} ={old.partition('=')[2]}"
        )
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def plant(slip, kind, folder):
    book = clean_club(CLUB, **slip.club)
    if slip.name == "uptake_in_litres":
        book.tests = ("shuttle_run_20m", "laboratory")
    rows = slip.plant(book) or []
    return book, rows, examine_folder(write(book, folder, kind))


def told(found, level):
    kinds = {"problem": [found.problems], "question": [found.questions], "remark": [found.remarks]}
    return [f for each in kinds.get(level, [found.problems, found.questions]) for f in each]


def at(findings, slip, rows):
    fits = [f for f in findings if slip.table in f.file or f.file == "study.toml" or "toml" in slip.table]
    fits = [f for f in fits if not rows or f.row in rows or f.row is None]
    return [f for f in fits if slip.words.casefold() in f"{f.value} {f.problem} {f.remedy}".casefold()]


@pytest.mark.parametrize(("slip", "kind"), CASES, ids=lambda v: getattr(v, "name", v))
def test_a_slip_is_found_where_it_stands_and_its_remedies_work(slip, kind, tmp_path):
    book, rows, found = plant(slip, kind, tmp_path / "slip")
    stops, asked = found.problems, found.questions
    assert bool(found.proposed and slip.table != "decisions") == (slip.name in PROPOSED)
    if slip.level == "read":
        assert not stops and not asked
        return
    here = at(told(found, slip.level), slip, rows)
    assert here, (slip.words, [(p.row, p.column, p.problem) for p in (*stops, *asked, *found.remarks)])
    assert len(stops) + len(asked) <= slip.most, [(p.row, p.column, p.problem) for p in (*stops, *asked)]
    for number, finding in enumerate(here[:1]):
        for label, after in Followed(book, finding, slip.truth, kind).ways():
            done = examine_folder(write(after, tmp_path / f"{number}_{re.sub(r'[^0-9a-zA-Z]', '_', label)[:40]}", kind))
            place = finding.place if slip.most > 1 else None
            left = [p for p in (*done.problems, *done.questions) if place is None or p.place == place]
            assert not left or label in ("nothing",), (
                label,
                finding.remedy,
                [(p.file, p.row, p.column, p.problem) for p in left],
            )
    if slip.name in PROPOSED:
        confirm_proposals(book, found, tmp_path / "slip", kind)


def confirm_proposals(book, found, folder, kind):
    """Every proposed decision settles what it is about once somebody confirms it, and changes nothing before."""
    _, new = propose_decisions_for(folder)
    assert new == len(found.proposed) and propose_decisions_for(folder)[1] == 0
    waiting = examine_folder(folder)
    assert [p.place for p in waiting.problems] == [p.place for p in found.problems]
    for row in found.proposed:
        action = row["action"] or ("replace" if row["new_value"] else "keep")
        signed = {"date": "2026-03-06", "decided_by": "study lead", "action": action}
        book.tables["decisions"].append({**row, **signed})
    done = examine_folder(write(book, folder.parent / "confirmed", kind))
    about = {(p.file, p.row, p.column) for p in (*found.problems, *found.questions) if p.offer or p.asks or p.aside}
    left = [p for p in (*done.problems, *done.questions) if p.place in about and p.row is not None]
    assert not left, [(p.place, p.problem) for p in left]


def test_an_opponent_that_nobody_is_may_be_whoever_lists_the_athlete(tmp_path):
    """Writing guest there, as for a stranger, would only put the other's row in doubt."""
    book = clean_club(5)
    row = next(r for r in book.tables["rounds"] if r.get("opponent", "") not in ("", "guest", "none"))
    met, row["opponent"] = row["opponent"], "Q99"
    folder = write_book(book, tmp_path / "club")
    problem = check_study(folder).problems.iloc[0]
    assert problem["remedy"].startswith(f"write {met}, the opponent who lists {row['athlete']}; for a person outside")
    row["opponent"] = met
    assert check_study(write_book(book, tmp_path / "again")).passed
