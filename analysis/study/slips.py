"""Slips that one cell does not show: codes that no athlete has, whole columns exchanged or in another unit."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations

import pandas as pd

from ..basics import did_you_mean
from .columns import Column, RawTable, column_rules, lines_of, place
from .convert import SCALE_LIMITS, Context, check_rating, judge_cell
from .problems import MAX_LISTED, Findings, RowNumbers, fold_rows
from .settings import SETTINGS_FILE
from .text_files import Slip, read_number


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
            for line in lines_of(table, ~table[column].isin(fine)):
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
        alone = column == "opponent" and not meant and len(places) == 1
        if own or alone:  # nobody is their own opponent; a code like no other may stand for whoever lists the athlete
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
            remedy = f"write {meant}" + (f", the opponent who lists {line.athlete}" if own or alone else "")
            if alone:
                remedy += f"; for a person outside the study write guest, and correct the row of {meant} too"
        offer = meant if len(places) == 1 and not alone else ""
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


FEWEST = 4
"""Cells of a column before it can be said to be exchanged."""

ENOUGH = 1_000
"""Cells of a long column that are looked at."""

MOST_UNFIT, FEW_UNFIT = 0.5, 0.1
"""More than this share does not fit as it stands, and less than that fits not once put right. Our proposal."""

ORDERED = (("hr_mean_typed_bpm", "hr_peak_typed_bpm"), ("hr_mean_bpm", "hr_peak_bpm"), ("hr_rest_bpm", "hr_max_bpm"))
"""Columns of which the first cannot exceed the second."""


def put_right(raw: RawTable, context: Context, findings: Findings) -> RawTable:
    """Name exchanged columns, and columns in another unit or scale, once; return the table as it was probably meant."""
    # What is returned is only read further so that everything else that is wrong is named at the same time:
    # the problem stays.
    rules = column_rules()[raw.table]
    numeric = {n: rules[n] for n in raw.columns if n in rules and not rules[n].is_text and rules[n].need != "key"}
    numeric = {n: c for n, c in numeric.items() if c.kind in ("number", "lactate", "exertion")}
    numbers = {n: [v for v in _numbers(raw, n) if v is not None] for n in numeric}
    numeric = {n: c for n, c in numeric.items() if len(numbers[n]) >= FEWEST}
    pair = _exchanged(raw, numeric, numbers, context)
    if pair:
        one, other = pair
        remedy = f"exchange the two headings {one} and {other}" + (" of every round" if raw.wide else "")
        findings.problem_of(raw.file, f"the columns {one} and {other} seem to be exchanged", remedy, column=one)
        columns = {**raw.columns, one: raw.columns[other], other: raw.columns[one]}
        return replace(raw, columns=columns)
    for name, column in numeric.items():
        other = _in_another_unit(raw, name, column, numbers[name], context, findings)
        if other is not None:
            raw = replace(raw, columns={**raw.columns, name: other})
    return raw


def _numbers(raw: RawTable, name: str) -> list[float | None]:
    """The numbers of a column, row by row; None where a cell is blank or holds none."""
    found: list[float | None] = []
    for text in raw.columns[name][:ENOUGH]:
        try:
            found.append(read_number(text, decimal_comma=raw.decimal_comma) if text else None)
        except Slip:
            found.append(None)
    return found


def _unfit(numbers: list[float], column: Column, context: Context) -> float:
    """The share of numbers that a column would refuse or ask about."""
    kinds = {v: judge_cell(v, column, context) for v in set(numbers)}
    return sum(kinds[v] for v in numbers) / len(numbers)


def _exchanged(raw: RawTable, rules: dict[str, Column], numbers: dict, context: Context) -> tuple[str, str] | None:
    for low, high in ORDERED:
        if low in rules and high in rules:
            both = [(a, b) for a, b in zip(_numbers(raw, low), _numbers(raw, high), strict=True) if a and b]
            if len(both) >= FEWEST and sum(a > b for a, b in both) > (1 - FEW_UNFIT) * len(both):
                return low, high
    stands = {n: _unfit(numbers[n], c, context) for n, c in rules.items()}
    best: tuple[float, tuple[str, str] | None] = (0.0, None)
    for one, other in combinations(rules, 2):
        if max(stands[one], stands[other]) < MOST_UNFIT:
            continue
        turned = max(_unfit(numbers[other], rules[one], context), _unfit(numbers[one], rules[other], context))
        gain = stands[one] + stands[other] - 2 * turned
        if turned <= FEW_UNFIT and gain > best[0]:
            best = (gain, (one, other))
    if best[1] is None and {"lactate_mmol_l", "exertion"} <= set(rules):
        whole = sum(v % 1 == 0 for v in numbers["lactate_mmol_l"]) / len(numbers["lactate_mmol_l"])
        parts = sum(v % 0.5 != 0 for v in numbers["exertion"]) / len(numbers["exertion"])
        if whole > 1 - FEW_UNFIT and parts > MOST_UNFIT:
            return "lactate_mmol_l", "exertion"
    return best[1]


def _in_another_unit(
    raw: RawTable, name: str, column: Column, numbers: list[float], context: Context, findings: Findings
) -> list[str] | None:
    """Name a column of which most cells fit another unit or scale only; return its cells as they were probably meant."""
    if _unfit(numbers, column, context) < MOST_UNFIT:
        return None
    if column.kind == "exertion":
        for scale in SCALE_LIMITS:
            if scale != context.scale and all(check_rating(v, scale) is None for v in numbers):
                off = sum(check_rating(v, context.scale) is not None for v in numbers)
                problem = (
                    f"{off} of {len(numbers)} ratings do not fit the scale {context.scale}; all of them fit {scale}"
                )
                remedy = f'write exertion_scale = "{scale}" in {SETTINGS_FILE} if that scale was used'
                findings.problem_of(raw.file, problem, remedy, column=name)
                return [""] * len(raw.rows)
        return None
    for factor, words in column.slips:
        turned = [v / factor for v in numbers]
        if _unfit(turned, column, context) <= FEW_UNFIT:
            off = round(_unfit(numbers, column, context) * len(numbers))
            by = f"divide by {factor:g}" if factor > 1 else f"multiply by {1 / factor:.6g}"
            problem = f"{off} of {len(numbers)} values do not fit {column.unit}; the whole column fits {words}"
            remedy = f"{by} every value of the column if it was typed in {words}"
            findings.problem_of(raw.file, problem, remedy, column=name)
            return [""] * len(raw.rows)
    return None
