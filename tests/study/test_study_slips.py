"""Planted slips: each is found where it stands, and every remedy that is printed for it works when it is followed."""

import re

import pytest
from remedies import Followed
from slip_list import SLIPS
from typed_clubs import clean_club, write_book

from analysis.study.check import propose_decisions_for
from analysis.study.load import examine_folder

CASES = [(slip, slip.kinds[i % len(slip.kinds)]) for i, slip in enumerate(SLIPS)]
"""Every slip in one of the ways in which a folder is written, in turn; the benchmark plants all of them in every way."""

CLUB = 7


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
            if finding.value
            and finding.value in old.partition("=")[2]
            and not finding.problem.startswith("no such")
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
    if slip.level == "read":
        assert not stops and not asked
        return
    here = at(told(found, slip.level), slip, rows)
    assert here, (slip.words, [(p.row, p.column, p.problem) for p in (*stops, *asked, *found.remarks)])
    assert len(stops) + len(asked) <= slip.most, [(p.row, p.column, p.problem) for p in (*stops, *asked)]
    for number, finding in enumerate(here[:1]):
        for label, after in Followed(book, finding, slip.truth, kind).ways():
            done = examine_folder(
                write(after, tmp_path / f"{number}_{re.sub(r'[^0-9a-zA-Z]', '_', label)[:40]}", kind)
            )
            place = finding.place if slip.most > 1 else None
            left = [p for p in (*done.problems, *done.questions) if place is None or p.place == place]
            assert not left or label in ("nothing",), (
                label,
                finding.remedy,
                [(p.file, p.row, p.column, p.problem) for p in left],
            )


@pytest.mark.parametrize(("slip", "kind"), CASES, ids=lambda v: getattr(v, "name", v))
def test_a_proposed_decision_settles_what_it_is_about_once_somebody_confirms_it(slip, kind, tmp_path):
    book, _, found = plant(slip, kind, tmp_path / "slip")
    if not found.proposed or slip.table == "decisions":
        pytest.skip("nothing is proposed")
    _, new = propose_decisions_for(tmp_path / "slip")
    assert new == len(found.proposed) and propose_decisions_for(tmp_path / "slip")[1] == 0
    waiting = examine_folder(tmp_path / "slip")
    assert [p.place for p in waiting.problems] == [
        p.place for p in found.problems
    ]  # unconfirmed, it changes nothing
    for row in found.proposed:
        action = row["action"] or ("replace" if row["new_value"] else "keep")
        signed = {"date": "2026-03-06", "decided_by": "study lead", "action": action}
        book.tables["decisions"].append({**row, **signed})
    done = examine_folder(write(book, tmp_path / "confirmed", kind))
    about = {
        (p.file, p.row, p.column) for p in (*found.problems, *found.questions) if p.offer or p.asks or p.aside
    }
    left = [p for p in (*done.problems, *done.questions) if p.place in about and p.row is not None]
    assert not left, [(p.place, p.problem) for p in left]
