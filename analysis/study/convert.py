"""Texts of a table to values by the rules table: what cannot be read, lies outside its limits or looks slipped."""

from __future__ import annotations

import math
import re
from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import chain

import numpy as np
import pandas as pd

from ..basics import did_you_mean
from ..physiology.running import shuttles_in_level
from .columns import Column, RawTable, column_rules, column_type, source_columns
from .privacy import code_trouble, is_word_of_texts, looks_like_name, looks_personal
from .problems import MAX_LISTED, WORDS, Findings, asked, by_word
from .text_files import CANNOT_BE_PRINTED, MOST_KEPT, TYPE_ANEW, UNPRINTABLE, Slip, is_blank, is_made_date, read_number
from .times import read_clock, read_date, read_duration, read_offset

Finding = tuple[str, str, str] | tuple[str, str, str, str]
"""problem or question, what is wrong, remedy, and the value that the remedy names."""

SCALE_LIMITS = {"6-20": (6.0, 20.0), "0-10": (0.0, 11.0), "0-100": (0.0, 120.0)}
"""Lowest and highest rating; the open-ended scales go beyond their last printed number."""


def is_usual(value: float, column: Column) -> bool:
    """Return True where a number is one that nobody would ask about."""
    low = column.low if column.ask_low is None else column.ask_low
    high = column.high if column.ask_high is None else column.ask_high
    return (low is None or value >= low) and (high is None or value <= high)


def check_limits(value: float, column: Column) -> Finding | None:
    """Return None where a number is plausible, else ("problem" or "remark", what is wrong, remedy)."""
    low, high = column.low, column.high
    unit = f" {column.unit}" if column.unit else ""
    if (low is not None and value < low) or (high is not None and value > high):
        limits = (
            f"outside {low:g} to {high:g}{unit}" if low is not None and high is not None else f"below {low:g}{unit}"
        )
        cause, remedy, offer = _likely_cause(value, column)
        remedy = remedy or "look at the sheet and type what was measured, or leave the cell blank"
        return "problem", limits + (f": {cause}?" if cause else ""), remedy, offer
    if not is_usual(value, column):
        low = column.ask_low if column.ask_low is not None else column.low
        high = column.ask_high if column.ask_high is not None else column.high
        usual = f"unusual: most values lie between {low:g} and {high:g}{unit}"
        if high is None or low is None:
            usual = f"unusual: most values lie {'above' if high is None else 'below'} {low or high:g}{unit}"
        cause, remedy, offer = _likely_cause(value, column)
        return "question", usual + (f"; {cause}?" if cause else ""), remedy or KEEP, offer
    return None


KEEP = "keep it in decisions if the sheet agrees"
WHOLE_UNITS = ("bpm", "years", "s")
"""Units whose numbers are typed without decimals."""


def _likely_cause(value: float, column: Column) -> tuple[str, str, str]:
    """The likely cause, the remedy, and the first value that it names; each "" where nothing is likely."""
    if "year of birth" in column.hints and 1930 <= value <= 2020:
        return "a year of birth", "type the age in years; birth dates do not belong in a study folder", ""
    if "fahrenheit" in column.hints and 40 < value < 130:
        better = f"{(value - 32) / 1.8:.0f}"
        return "degrees Fahrenheit", f"type {better} if {value:g} was in Fahrenheit", better
    for other, low, high in OTHER_COLUMN.get(column.name, ()):
        if low <= value <= high:
            unit = other.rpartition("max_")[2].replace("_", "/").replace("ml/kg", "mL/kg").replace("l/min", "L/min")
            return f"typed in {unit}", f"move {value:g} to the column {other} if it was in {unit}", ""
    causes, remedies, offers = [], [], []
    for better, words in _slipped(value, column):
        if better and is_usual(better, column):
            causes.append(f"{better:g} with {words}")
            remedies.append(f"type {better:g} if that was measured")
            offers.append(f"{better:g}")
            break
    for factor, words in column.slips:
        if not math.isfinite(value / factor):
            continue
        whole = column.unit in WHOLE_UNITS or column.kind in ("whole", "round")
        better = f"{round(value / factor):g}" if whole else f"{value / factor:.3g}"
        if is_usual(float(better), column):
            causes.append(f"typed in {words}")
            if words == "mL/min":  # needs the body mass, which this cell does not know
                remedies.append("divide by the body mass in kg if it was in mL/min")
                break
            remedies.append(f"type {better} if {value:g} was in {words}")
            offers.append(better)
            break
    return ", or ".join(causes), ", or ".join(remedies), offers[0] if len(offers) == 1 else ""


OTHER_COLUMN = {"vo2max_ml_kg_min": (("vo2max_l_min", 1.0, 8.0),), "vo2max_l_min": (("vo2max_ml_kg_min", 20.0, 95.0),)}
"""Column -> the column in which a value between these limits was probably meant to stand."""


def _slipped(value: float, column: Column):
    """Yield what a value could be with its point moved, or with a first 1 that was lost; whole where the column is."""
    for power in (1, -1, 2, -2, 3, -3):
        better = float(f"{value * 10.0**power:.6g}")
        if _fits(better, column):
            yield better, "the decimal point slipped"
    if column.unit == "bpm" and 0 <= value < 100 and _fits(value, column):
        yield value + 100, "the first 1 lost"


def _fits(value: float, column: Column) -> bool:
    return (math.isfinite(value) and value % 1 == 0) or not (
        column.unit in WHOLE_UNITS or column.kind in ("whole", "round")
    )


def check_rating(value: float, scale: str, *, stated: bool = True) -> Finding | None:
    """Return None where a rating is on the scale, else ("problem", what is wrong, remedy)."""
    if not scale:
        return None
    low, high = SCALE_LIMITS[scale]
    if low <= value <= high:
        last = float(scale.partition("-")[2])
        if value > last:
            return "question", f"above {last:g}, the last printed number of the scale {scale}", KEEP, ""
        if scale == "0-10" or value == int(value):
            return None
        remedy = "type the whole number that the athlete gave"
        return "problem", f"the scale {scale} has whole numbers only", remedy
    turned = float(f"{value:02.0f}"[::-1]) if value == int(value) and 0 < value < 100 else -1.0
    if low <= turned <= float(scale.partition("-")[2]) and turned > 9:
        problem = f"not on the scale {scale}; {turned:g} with two digits exchanged?"
        return "problem", problem, f"type {turned:g} if that was said, else look at the sheet", f"{turned:g}"
    others = [s for s, (a, b) in SCALE_LIMITS.items() if s != scale and a <= value <= b]
    hint = f"; was the scale {' or '.join(others)} used here?" if others else ""
    said = "of study.toml" if stated else "(study.toml names none, so this one is taken)"
    remedy = "one scale in a study, none can be converted: correct the rating, or exertion_scale in study.toml"
    return "problem", f"not on the scale {scale} {said}{hint}", remedy


YES_NO = by_word(WORDS["yes_no"])
SAME_CHOICE = {column: by_word(choices) for column, choices in WORDS["choices"].items()}
SAME_CHOICE["took_part"] |= {word: "yes" for word, meant in YES_NO.items() if meant == "yes"}
"""Column -> other words (lower case) for its choices."""


@dataclass(frozen=True)
class Context:
    """What reading a cell depends on beside its text."""

    scale: str = "6-20"
    scale_stated: bool = True
    date_order: str = ""
    tests: tuple[str, ...] = ()
    more: dict[str, Column] = field(default_factory=dict)


def convert_table(raw: RawTable, context: Context, findings: Findings) -> pd.DataFrame:
    """Turn the texts of a table into values; rows without a readable round are dropped, since they are problems."""
    more = context.more if raw.table == "aerobic_tests" else {}
    rules = column_rules()[raw.table] | more
    count = len(raw.rows)
    made: dict[str, np.ndarray | pd.api.extensions.ExtensionArray] = {}
    limits: list[str] | None = None
    index = pd.RangeIndex(count)
    for name, column in rules.items():
        texts = raw.columns.get(name)
        if texts is None:
            if name in more:
                continue
            texts = ["1" if column.need == "default 1" else ""] * count
        if column.kind == "lactate":
            texts, limits, bounds = _take_out_limits(texts)
            raw = _with_bounds(raw, bounds)
        values, wrong, also = _convert_texts(texts, column, context, raw.decimal_comma)
        _report_all(raw, name, texts, wrong, also, findings)
        made[name] = _typed(values, text=column.is_text)
        del values, wrong, also  # before the next column makes its own
    if limits is not None and any(limits):
        made["lactate_limit"] = _typed(
            [limit or typed for limit, typed in zip(limits, made["lactate_limit"], strict=True)], text=True
        )
    file, row = source_columns(raw.table)
    made[file] = _typed([raw.file] * count, text=True)
    made[row] = np.array(raw.rows, dtype="int64")
    table = pd.DataFrame(made, index=index, copy=False)
    whole = [name for name, column in rules.items() if name in made and column_type(column) == "int64"]
    if whole:
        table = table[table[whole].notna().all(axis=1)].astype(dict.fromkeys(whole, "int64"))
    return table.reset_index(drop=True)


_TEXT = pd.api.types.pandas_dtype("str")


def _typed(values: list, *, text: bool):
    """The values of a column as texts or numbers: quicker than a Series of each."""
    return pd.array(values, dtype=_TEXT) if text else np.array(values, dtype="float64")


def _convert_texts(
    texts: Iterable[str], column: Column, context: Context, decimal_comma: bool | None
) -> tuple[list, dict[int, Finding], array]:
    """The value of each text, what is wrong at which, and which cannot be used either, whose cause is not looked for."""
    values, wrong, also, known = [], {}, array("q"), {}
    for text in texts:
        pair = known.get(text)
        if pair is None:
            quick = len(wrong) >= MOST_EXPLAINED and (not column.is_text or column.kind == "choice")
            convert = _convert_quickly if quick else _convert_cell
            pair = convert(text, column, context, decimal_comma)
            if pair[1] is not _ALSO and len(known) < MOST_KEPT:  # each is held once, in a long table not all
                known[text] = pair
        if pair[1] is _ALSO:
            also.append(len(values))
        elif pair[1] is not None:
            wrong[len(values)] = pair[1]
        values.append(pair[0])
    return values, wrong, also


MOST_EXPLAINED = 400
"""Texts of one column that are each looked at for the cause; a whole column that is wrong has one cause."""

_ALSO = ("problem", "cannot be used either", "look at the first ones of this column")
_UNUSABLE = (np.nan, _ALSO)


def _convert_quickly(text: str, column: Column, context: Context, decimal_comma: bool | None) -> tuple:
    if column.kind == "choice":
        known = not text or _bare(text) in _known_choices(column.name, column.choices)
        return _convert_cell(text, column, context, decimal_comma) if known else ("", _ALSO)
    try:
        value = float(text.replace(",", ".") if decimal_comma else text)
    except ValueError:
        is_time = ":" in text and column.kind in ("minutes", "seconds", "signed_seconds")
        return _convert_cell(text, column, context, decimal_comma) if is_time or not text else _UNUSABLE
    if judge_cell(value, column, context, quick=True):
        return _UNUSABLE
    return value, None


def _report_all(
    raw: RawTable, name: str, texts: list[str], wrong: dict[int, Finding], also: array, findings: Findings
) -> None:
    """Report the cells of a column that are in trouble; long columns are counted, not listed."""
    more: dict[str, list[int]] = {}
    for listed, index in enumerate(chain(wrong, also)):
        found = wrong.get(index, _ALSO)
        if raw.wide or listed < MAX_LISTED:
            place = (raw.file, raw.rows[index], raw.heading(name, index), texts[index])
            sort, problem, remedy, *offer = found
            if sort == "question":
                findings.question(*place, problem, remedy, offer="".join(offer))
            else:
                findings.problem(*place, problem, remedy, offer="".join(offer))
        else:
            more.setdefault(found[0] + "s", []).append(raw.rows[index])
    for kind, rows in more.items():
        findings.more(kind, raw.file, name, rows)


def _loose_type(column: Column) -> str:
    return "str" if column.is_text else "float64"


def _take_out_limits(texts: list[str]) -> tuple[list[str], list[str], list[str]]:
    """Split HI, LO, > 25 and < 0.5 in a lactate column from its numbers: rest, limits, and the numbers of the limits."""
    words = {"hi": "high", "high": "high", "lo": "low", "low": "low"}
    limits, rest, bounds = [], [], []
    for text in texts:
        bare = text.casefold().rstrip(".!")
        sign = re.fullmatch(r"([<>≤≥])\s*=?\s*(\S.*)", text)
        limit = words.get(bare) or ({"<": "low", "≤": "low"}.get(sign[1], "high") if sign else "")
        limits.append(limit)
        bounds.append(sign[2] if sign else "")
        rest.append("" if limit else text)
    return rest, limits, bounds


def _with_bounds(raw: RawTable, bounds: list[str]) -> RawTable:
    """The table with the numbers behind < and > in the column of typed limits."""
    if not any(bounds):
        return raw
    typed = raw.columns.get("lactate_bound_mmol_l", [""] * len(raw.rows))
    filled = [bound or text for bound, text in zip(bounds, typed, strict=True)]
    return replace(raw, columns=raw.columns | {"lactate_bound_mmol_l": filled})


def _convert_cell(text: str, column: Column, context: Context, decimal_comma: bool | None) -> tuple:
    """Return the value of a text, and None or (problem or remark, what is wrong, remedy)."""
    # A value that a remedy names is left out where it would be refused in its turn.
    value, found = _look_at_cell(text, column, context, decimal_comma)
    named = found[3] if found and len(found) > 3 else ""
    if named and _look_at_cell(named, column, context, decimal_comma)[1] is not None:
        found = (*found[:2], "look at the sheet and type what it says, or leave the cell blank")
    return value, found


def _look_at_cell(text: str, column: Column, context: Context, decimal_comma: bool | None) -> tuple:
    """Return the value of a text, and None or what the rules of its column say of it."""
    blank = "" if column.is_text else np.nan
    is_code = column.kind in ("code", "opponent") and text.casefold() == "na"  # a code may well be NA
    if is_blank(text) and not is_code:
        if column.need == "default 1":
            return "1", None
        if column.need in ("key", "required"):
            return blank, ("problem", f"{column.name} is blank", "fill it in, or delete the row")
        return blank, None
    try:
        if column.is_text:
            return _READ_TEXT[column.kind](text, column, context), None
        value = _read_value(text, column, decimal_comma)
    except Slip as slip:
        return blank, ("problem", slip.problem, slip.remedy, slip.offer)
    if column.kind == "exertion":
        found = check_rating(value, context.scale, stated=context.scale_stated)
    else:
        found = check_limits(value, column)
    impossible = column.kind == "round" and found and found[0] == "problem"
    return (blank if impossible else value), found


def judge_cell(value: float, column: Column, context: Context, *, quick: bool = False) -> bool:
    """Return True where a number would be refused or asked about; quickly: without looking for the cause."""
    if column.kind == "exertion":
        return check_rating(value, context.scale) is not None
    if quick:
        return not is_usual(value, column) or (column.kind in ("whole", "round") and value % 1 != 0)
    return check_limits(value, column) is not None


def judge_value(table: str, measure: str, text: str, *, context: Context) -> Finding | None:
    """What is wrong with a value that a decision puts into a column, or None; questions are left to the check itself."""
    column = (column_rules()[table] | (context.more if table == "aerobic_tests" else {})).get(measure)
    if column is None:
        return None
    if column.kind == "lactate":
        text = _take_out_limits([text])[0][0]
    found = _convert_cell(text, column, context, None)[1]
    return found if found and found[0] == "problem" else None


def _read_value(text: str, column: Column, decimal_comma: bool | None) -> float:
    if column.kind in ("minutes", "seconds", "signed_seconds") and ":" in text and not is_made_date(text):
        return _read_time_of_test(text, column)
    if column.kind == "round":
        match = re.fullmatch(r"(?:round|r|bout)?\s*(-?\d+)(?:[.,]0+)?", text, re.IGNORECASE | re.ASCII)
        if match:
            return float(match[1])
    if column.kind in ("whole", "round"):
        value = read_number(text, decimal_comma=decimal_comma, unit=column.unit)
        if value == int(value):
            if column.name == "level" and value > column.high:
                _refuse_level(int(value))
            return value
        if column.name in ("level", "shuttle"):
            level, shuttle = int(value), text.replace(",", ".").partition(".")[2]
            ten = (
                f", or level {level} and shuttle 10 whose last 0 the spreadsheet dropped ({level}.10 becomes {level}.1)"
            )
            ten = ten if shuttle == "1" else ""
            raise Slip(
                f"level and shuttle in one number: level {level} and shuttle {shuttle}{ten}?",
                f"write the two in the columns level and shuttle: {level} and {shuttle} if the sheet says so",
            )
        raise Slip("not a whole number", "type a whole number")
    return read_number(text, decimal_comma=decimal_comma, unit=column.unit)


def _refuse_level(value: int) -> None:
    """A level such as 94 was probably level 9 and shuttle 4, where that level has that many shuttles."""
    level, shuttle = divmod(value, 10) if value < 1000 else divmod(value, 100)
    if 1 <= level <= 23 and shuttle <= shuttles_in_level(level):
        raise Slip(
            f"level {level} and shuttle {shuttle} in one number?",
            f"write the two in the columns level and shuttle: {level} and {shuttle} if the sheet says so",
        )


def _read_time_of_test(text: str, column: Column) -> float:
    sign = -1.0 if text.startswith(("-", "\N{MINUS SIGN}")) and column.kind == "signed_seconds" else 1.0
    seconds, with_hours = read_duration(text.lstrip("+-\N{MINUS SIGN}"))
    scale = 60.0 if column.kind == "minutes" else 1.0
    value = seconds / scale
    if column.kind == "minutes" and not with_hours and not is_usual(value, column) and is_usual(60 * value, column):
        minutes = f"{60 * value:g}"
        raise Slip(
            f"unclear: {text} is {seconds:g} seconds as minutes:seconds, and {minutes} minutes as hours:minutes",
            f"type {minutes} if it was hours and minutes, else {value:g}",
            minutes,
        )
    if with_hours and seconds % 60 == 0 and not is_usual(value, column):
        minutes, rest = divmod(int(seconds // 60), 60)
        if is_usual((60 * minutes + rest) / scale, column):
            raise Slip(
                f"hours: the spreadsheet may have turned {minutes}:{rest:02d} (minutes:seconds) into {text}",
                f"format the column as text and type {minutes}:{rest:02d}",
                f"{minutes}:{rest:02d}",
            )
    return sign * value


def _read_code(text: str, column: Column, context: Context) -> str:
    if column.name == "session":
        return re.sub(r"^(\d+)\.0+$", r"\1", text)
    trouble = code_trouble(text)
    if trouble:
        raise Slip(
            f"looks like {trouble}; a study folder holds codes only",
            "give the person a code such as A07 and keep the list of codes elsewhere, under lock",
        )
    if column.name in ("athlete", "opponent", "person") and is_word_of_texts(text):
        raise Slip(
            "a word or sign that the write-up itself uses, so that nobody could be hidden there",
            "give the person a code such as A07 in every table and name of a file",
        )
    if not re.fullmatch(r"[\w .\-]{1,40}", text):
        raise Slip("a code with unusual signs", "use letters and digits, such as A07")
    return text


def _bare(word: str) -> str:
    return re.sub(r"[\s_\-]+", "_", word).casefold()


@lru_cache
def _known_choices(name: str, choices: tuple[str, ...]) -> dict[str, str]:
    return {_bare(c): c for c in choices} | SAME_CHOICE.get(name, {})


def _read_choice(text: str, column: Column, context: Context) -> str:
    words = _known_choices(column.name, column.choices)
    if _bare(text) in words:
        return words[_bare(text)]
    near = words.get(did_you_mean(_bare(text), words))
    raise Slip(
        f"not among {', '.join(column.choices)}" + asked(near),
        f"write {near}" if near else f"write one of {', '.join(column.choices)}",
        near or "",
    )


def _read_yes_no(text: str, column: Column, context: Context) -> str:
    found = YES_NO.get(text.casefold())
    if found is None:
        raise Slip("neither yes nor no", "write yes or no")
    return found


def _read_text(text: str, column: Column, context: Context) -> str:
    if UNPRINTABLE.search(text):
        raise Slip(CANNOT_BE_PRINTED, TYPE_ANEW)
    free = column.name in ("note", "reason", "place", "club", "group", "decided_by")
    trouble = looks_personal(text, phones=free) if column.name != "source" else ""
    if not trouble and column.name == "decided_by" and looks_like_name(text):
        trouble = "a name"
    if trouble:
        raise Slip(
            f"looks like {trouble}; a study folder holds no personal data", "delete it, or write a role or a code"
        )
    return text


def _read_opponent(text: str, column: Column, context: Context) -> str:
    if re.fullmatch(r"guest\b.*", text, re.IGNORECASE):
        return "guest"
    if text.casefold() in ("none", "nobody"):
        return "none"
    return _read_code(text, column, context)


def _read_test(text: str, column: Column, context: Context) -> str:
    name = re.sub(r"[\s\-]+", "_", text).casefold()
    if not context.tests or name in context.tests:
        return name
    near = did_you_mean(name, context.tests)
    raise Slip(
        "no aerobic test that the kit knows" + asked(near),
        f"write {near}" if near else f"write one of {', '.join(context.tests)}",
        near,
    )


_READ_TEXT = {
    "code": _read_code,
    "text": _read_text,
    "choice": _read_choice,
    "yes_no": _read_yes_no,
    "date": lambda text, column, context: read_date(text, order=context.date_order),
    "clock": lambda text, column, context: read_clock(text),
    "offset": lambda text, column, context: read_offset(text),
    "file": _read_text,
    "opponent": _read_opponent,
    "test": _read_test,
}
