"""Codes of athletes: one that no athlete has is named once, with every place where it stands, and what was probably meant."""

from __future__ import annotations

import re

import pandas as pd

from ..basics import did_you_mean
from .columns import lines_of, place
from .problems import MAX_LISTED, Findings, RowNumbers, fold_rows


def _bare(code: str) -> str:
    return re.sub(r"(?<!\d)0+(?=\d)", "", re.sub(r"[\W_]+", "", code)).casefold()


def nearest_code(code: str, known: list[str]) -> str:
    """Return the known code that a code probably means: 7 for 007, a7 for A07, else the closest."""
    same = [k for k in known if _bare(k) == _bare(code)]
    return same[0] if same else did_you_mean(code, known)


def check_codes(tables: dict[str, pd.DataFrame], findings: Findings) -> None:
    known = [code for code in dict.fromkeys(tables["athletes"]["athlete"]) if code]
    if not known:
        return
    unknown: dict[str, list[tuple]] = {}
    for name, table in tables.items():
        columns = [c for c in ("athlete", "opponent") if c in table and name not in ("athletes", "decisions")]
        for column in columns:
            fine = {*known, "", "guest", "none"} if column == "opponent" else {*known, ""}
            for line in lines_of(table[~table[column].isin(fine)]):
                unknown.setdefault(getattr(line, column), []).append((name, line, column))
    for number, (code, places) in enumerate(unknown.items()):
        name, line, column = places[0]
        file, row = place(name, line)
        if number >= MAX_LISTED:
            findings.more("problems", file, column, [row])
            continue
        other: dict[str, list[int]] = {}
        for table, one, _ in places[1:]:
            other.setdefault(place(table, one)[0], []).append(place(table, one)[1])
            findings.unfit.setdefault(place(table, one)[0], RowNumbers()).add(place(table, one)[1])
        also = "; also in " + "; ".join(f"{f}, {fold_rows(sorted(set(r)))}" for f, r in other.items()) if other else ""
        meant = same_code(code, known)
        own = column == "opponent" and meant == line.athlete
        if own:  # nobody is their own opponent
            meant = who_lists(tables["rounds"], line)
        hint = f"; did you mean {meant}?" if meant else ""
        if own:
            hint = f", and like the athlete's own code {line.athlete}"
        elif meant and code.isdecimal():
            hint = f": a spreadsheet may have dropped zeros of {meant}"
        remedy = f"add {code} to the athletes table, or correct it where it was mistyped"
        if column == "opponent":
            remedy = "correct it where it was mistyped, or write guest for a person outside the study"
        if meant:
            remedy = f"write {meant}" + (f", the opponent who lists {line.athlete}" if own else "")
        offer = meant if len(places) == 1 else ""
        findings.problem(file, row, column, code, f"not in the athletes table{hint}{also}", remedy, offer=offer)


def who_lists(rounds: pd.DataFrame, line) -> str:
    """Return the one athlete who names that of `line` as opponent in the same round, or ""."""
    same = (rounds["session"] == line.session) & (rounds["round_no"] == line.round_no)
    met = rounds.loc[same & (rounds["opponent"] == line.athlete) & (rounds["athlete"] != line.athlete), "athlete"]
    return met.iloc[0] if len(set(met)) == 1 else ""


_LOOKS_LIKE_A_DIGIT = str.maketrans("oOlI", "0011")


def same_code(code: str, known: list[str]) -> str:
    """Return the one known code that differs in nothing but zeros, signs, case or a letter for a digit, or ""."""

    def bare(text: str) -> str:
        parts = re.fullmatch(r"([^\W\d_]*?)([\doOlI]*)", re.sub(r"[\W_]+", "", text))
        return _bare(parts[1] + parts[2].translate(_LOOKS_LIKE_A_DIGIT) if parts else text)

    same = [k for k in known if bare(k) == bare(code)]
    return same[0] if len(same) == 1 else ""
