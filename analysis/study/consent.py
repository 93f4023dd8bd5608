"""Who may be analysed, what an ethics committee reads and allows, and who is under age."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import partial
from itertools import chain
from pathlib import Path

import pandas as pd

from ..basics import KitError, Result, did_you_mean, join_words, plural
from ..physiology import known_aerobic_tests
from .columns import RawTable, column_rules, place, source_columns
from .convert import YES_NO
from .decisions import Decided, Ledger, row_keys
from .inventory import not_itself
from .plausible import MEASURES
from .privacy import Mentions
from .problems import Findings, asked
from .settings import Settings

ADULT_YEARS = 18
NEEDS_ALLOWED = {"minors_blood": "blood sampling", "minors_maximal": "maximal tests"}
_TEXTS = ("committee", "approval", "exemption")
_KEYS = (*_TEXTS, *NEEDS_ALLOWED)
_PLACE = re.compile(r"\[(?![ xX]?\])([^\[\]]{1,600})\](?!\()")
"""Words in square brackets; not a box to tick, and not a link."""


@dataclass(frozen=True)
class Approval(Result):
    """What an ethics committee has allowed, as the part [ethics] of study.toml states it."""

    committee: str = ""
    approval: str = ""
    exemption: str = ""  # who wrote, and when, that no approval is needed
    minors_blood: bool = False
    minors_maximal: bool = False

    @property
    def stated(self) -> bool:
        """Whether a number of an approval or a written exemption is there."""
        return bool(self.approval or self.exemption)

    def words(self) -> tuple[str, ...]:
        """Say it in a sentence; none where nothing is stated."""
        by = f" by {self.committee}" if self.committee else ""
        if self.approval:
            return (f"Approved{by} under number {self.approval}.",)
        if self.exemption:
            return (f"Exempted from approval{by}: {self.exemption.rstrip('.')}.",)
        return ()


def approval_of(settings: Mapping) -> Approval:
    """Read what study.toml states of the ethics committee; what cannot be right counts as not stated."""
    part = settings.get("ethics")
    part = part if isinstance(part, Mapping) else {}
    texts = {name: part[name].strip() for name in _TEXTS if isinstance(part.get(name), str)}
    # only an approval can allow something for minors: an exemption says that nobody looked
    flags = {name: part.get(name) is True and bool(texts.get("approval")) for name in NEEDS_ALLOWED}
    return Approval(**texts, **flags)


def check_ethics(settings: Settings, findings: Findings) -> None:
    """Find keys and values of [ethics] that cannot be."""
    part = settings.get("ethics")
    if part is None:
        return
    if not isinstance(part, dict):
        remedy = 'write [ethics] and below it approval = "number"'
        settings.say(findings.problem, ("ethics",), part, "not a section", remedy)
        return
    for key, value in part.items():
        say = partial(settings.say, findings.problem, ("ethics", key))
        if key not in _KEYS:
            near = did_you_mean(key, _KEYS)
            say(value, f"no such setting of [ethics]{asked(near)}", f"write one of {', '.join(_KEYS)}")
        elif key in _TEXTS and not isinstance(value, str):
            say(value, "not a text", f'write {key} = "{value}"')
        elif key in NEEDS_ALLOWED and not isinstance(value, bool):
            say(value, "neither true nor false", f"write {key} = false")
        elif value is True and not str(part.get("approval", "")).strip():
            problem = (
                f"{NEEDS_ALLOWED[key]} of people under {ADULT_YEARS} without the number of the approval that allows it"
            )
            remedy = f'write approval = "number" under [ethics], or {key} = false'
            say("true", problem, remedy)


HURRIED_S = 45.0
"""Seconds a sample below which gloves are left out (our proposal)."""
UNHURRIED_S = 60.0
"""Seconds a sample, gloves and reading included (our proposal)."""


def check_sampling_pace(settings: Settings, findings: Findings) -> None:
    """Remark on seconds_per_sample that leave no time for new gloves."""
    part = settings.get("sampling")
    given = part.get("seconds_per_sample") if isinstance(part, Mapping) else None
    if isinstance(given, int | float) and not isinstance(given, bool) and 0 < given < HURRIED_S:
        problem = f"{given:g} s from one athlete to the next leave no time for new gloves"
        remedy = f"write seconds_per_sample = {UNHURRIED_S:g}, gloves and reading included"
        settings.say(findings.remark, ("sampling", "seconds_per_sample"), f"{given:g}", problem, remedy)


def minors_among(athletes: pd.DataFrame) -> tuple[str, ...]:
    """Return the codes of those under 18, and of those without an age for whom a guardian's word stands in the table."""
    if "age_years" not in athletes or not len(athletes):
        return ()
    age = pd.to_numeric(athletes["age_years"], errors="coerce")
    young = age < ADULT_YEARS
    if "guardian_consent" in athletes:
        young |= age.isna() & athletes["guardian_consent"].eq("yes")
    return tuple(athletes.loc[young, "athlete"].astype(str))


def blood_is_drawn(study) -> bool:
    """Tell whether a study plans or has blood samples: a part [sampling], a hypothesis of its own, or a value."""
    written = "hypotheses" not in study.plan.proposed
    planned = written and any(h.outcome.startswith("lactate") for h in study.plan.hypotheses)
    there = study.rounds["lactate_mmol_l"].notna().any() or len(study.lactate) > 0
    return "sampling" in study.settings or planned or bool(there)


def maximal_tests(study) -> tuple[str, ...]:
    """Return the maximal tests of a study: on its sheet or named in [fitness]; "a fitness test" where none is named."""
    tests = fitness_tests(study)
    known = known_aerobic_tests().drop_duplicates("test").set_index("test")
    if tests:
        return tuple(known.loc[t, "title"] for t in tests if t in known.index and bool(known.loc[t, "maximal"]))
    asked = "hypotheses" not in study.plan.proposed and any(
        h.question.startswith("fitness.") for h in study.plan.hypotheses
    )
    return ("a fitness test that study.toml does not name",) if asked else ()


def fitness_tests(study) -> tuple[str, ...]:
    """Return the aerobic tests of a study: those in [fitness] of study.toml, then those on the sheet."""
    part = study.settings.get("fitness")
    named = part.get("tests", ()) if isinstance(part, Mapping) else ()
    named = [named] if isinstance(named, str) else [t for t in named if isinstance(t, str)]
    return tuple(dict.fromkeys([*named, *study.aerobic_tests["test"]]))


def require_approval(study) -> None:
    """Refuse to fix a plan with blood samples or maximal tests of which no committee has heard."""
    if approval_of(study.settings).stated:
        return
    what = ["blood sampling"] if blood_is_drawn(study) else []
    what += [f"a maximal test ({join_words(maximal_tests(study))})"] if maximal_tests(study) else []
    what += ["training that is assigned"] if study.training is not None else []
    if what:
        raise KitError(
            f"The plan holds {join_words(what)}, and study.toml names no ethics committee. Write under [ethics] in study.toml "
            'either approval = "the number of the approval" (and committee = "its name"), or exemption = "who wrote that no '
            'approval is needed, and when". Then fix the plan again. Nothing was written.'
        )


def check_minors(tables: Mapping[str, pd.DataFrame], settings: Mapping, findings: Findings) -> None:
    """Say who is under 18, what they are kept out of, and what was done to them without a stated approval."""
    young = minors_among(tables["athletes"])
    if not young:
        return
    approval = approval_of(settings)
    athletes = tables["athletes"]
    file = athletes["file"].iloc[0] if "file" in athletes else "athletes.csv"
    kept = [what for flag, what in NEEDS_ALLOWED.items() if not getattr(approval, flag)]
    if kept:
        flags = join_words([f"{flag} = true" for flag in NEEDS_ALLOWED if not getattr(approval, flag)])
        problem = f"under {ADULT_YEARS}: kept out of {join_words(kept)}, since study.toml states no approval for it"
        remedy = (
            f"nothing; or, only where the committee approved exactly that, write {flags} and approval under [ethics]"
        )
        findings.remark_of(file, problem, remedy, column="age_years", value=join_words(young))
    if not approval.minors_blood:
        rounds, lactate = tables["rounds"], tables["lactate"]
        drawn = rounds[rounds["lactate_mmol_l"].notna() | rounds["lactate_limit"].ne("")]
        for table, rows in (("rounds", drawn), ("lactate", lactate)):
            _complain(table, rows, young, "lactate_mmol_l", "minors_blood", "blood was sampled", findings)
    if not approval.minors_maximal:
        known = known_aerobic_tests()
        hard = set(known.loc[known["maximal"], "test"])
        tests = tables["aerobic_tests"]
        rows = tests[tests["test"].isin(hard) & _has_result(tests)]
        _complain("aerobic_tests", rows, young, "test", "minors_maximal", "a maximal test was done", findings)


def _has_result(tests: pd.DataFrame) -> pd.Series:
    """Tell in which rows of aerobic_tests something was measured, beside what a new folder has filled in."""
    numbers = [c for c in tests.select_dtypes("number") if c not in (*source_columns("aerobic_tests"), "occasion")]
    return tests[numbers].notna().any(axis=1) | tests["file"].ne("")


def _complain(table, rows, young, column, flag, what, findings: Findings) -> None:
    for line in rows[rows["athlete"].isin(young)].itertuples(index=False):
        problem = f"{what} of somebody under {ADULT_YEARS}, and study.toml states no approval for it"
        remedy = (
            f'where the committee approved exactly that, write approval = "number" and {flag} = true under [ethics]; else '
            "set the value aside in decisions and tell the committee"
        )
        findings.problem(*place(table, line), column, getattr(line, column), problem, remedy, keepable=True)


def unfilled_places(text: str) -> list[tuple[int, str]]:
    """List the places in [brackets] that nobody has filled in."""
    places, line, start = [], 1, 0
    for found in _PLACE.finditer(text):
        line, start = line + text.count("\n", start, found.start()), found.start()
        places.append((line, " ".join(found[1].split())))
    return places


MAX_TEXT_BYTES = 500_000
"""Largest text to print: a hundred pages."""


def check_texts(folder: Path, findings: Findings) -> None:
    """Name texts in texts/ that cannot be read; remark on those that still have places in brackets."""
    for path in sorted(Path(folder, "texts").glob("*.md")):
        problem, remedy = not_itself(path, Path(folder))
        try:
            if not problem and not path.is_file():
                problem, remedy = "not a file", "put the text itself there, or take this away"
            elif not problem and path.stat().st_size > MAX_TEXT_BYTES:
                problem, remedy = "larger than a text of a hundred pages", "put the right file here, or take this away"
            places = [] if problem else unfilled_places(path.read_text(encoding="utf-8-sig"))
        except OSError as error:
            problem, remedy = f"cannot be read ({error.strerror})", "check that you may read it"
        except UnicodeDecodeError:
            problem, remedy = "not saved as UTF-8", "save it again as UTF-8"
        if problem:
            findings.problem_of(f"texts/{path.name}", problem, remedy)
            continue
        if places:
            lines = list(dict.fromkeys(str(line) for line, _ in places))
            lines = ", ".join(lines if len(lines) <= 20 else [*lines[:20], f"{len(lines) - 20} more"])
            problem = f"{len(places)} places in brackets are not filled in (lines {lines})"
            problem = problem if len(places) > 1 else "1 place in brackets is not filled in"
            remedy = "fill each in, or delete it with its brackets; until then the text is printed with a mark across every page"
            findings.remark(f"texts/{path.name}", places[0][0], "", f"[{places[0][1][:40]}]", problem, remedy)


WITHDREW = "a person withdrew"
_FREE_TEXT = ("note", "reason", "new_value")


def find_withdrawn(tables: dict[str, RawTable]) -> frozenset[str]:
    """Return the codes of people who withdrew; for taking them out, never to be written anywhere."""
    athletes = tables.get("athletes")
    if athletes is None or not {"athlete", "withdrawn"} <= set(athletes.columns):
        return frozenset()
    marks = zip(athletes.columns["athlete"], athletes.columns["withdrawn"], strict=True)
    return frozenset(code for code, text in marks if code and YES_NO.get(text.casefold()) == "yes")


def without_withdrawn(tables: dict[str, RawTable], gone: frozenset[str]) -> tuple[dict[str, RawTable], dict[str, int]]:
    """Take people who withdrew out of every table, as opponents and in notes too."""
    if not gone:
        return tables, {}
    counts, left = {}, {}
    for name, raw in tables.items():
        stay = [i for i in range(len(raw.rows)) if raw.cell("athlete", i) not in gone]
        if len(stay) < len(raw.rows):
            counts[name] = len(raw.rows) - len(stay)
        left[name] = _select(raw, stay, gone)
    return left, counts


def without_mention(value, gone: frozenset[str]):
    """Return a value (a text, or texts in lists, mappings and plain objects) without the codes of people who withdrew."""
    if not gone:
        return value
    if isinstance(value, str):
        return Mentions(gone).replace(value, lambda code: "(withdrawn)", typed=True)
    if isinstance(value, Mapping):
        return {k: without_mention(v, gone) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return type(value)(without_mention(v, gone) for v in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: without_mention(getattr(value, f.name), gone) for f in fields(value)})
    return value


def every_code(tables: dict[str, RawTable], gone: frozenset[str], barred: dict[str, str]) -> dict[str, str]:
    """Return every code that stands in the folder -> why that person is not in the study ("" for those who are)."""
    listed = {c for c in tables["athletes"].columns.get("athlete", ()) if c} if "athletes" in tables else set()
    found = dict.fromkeys(listed, "")
    for raw in tables.values():
        for column in ("athlete", "opponent"):
            for code in set(raw.columns.get(column, ())) - {"", "guest", "none"}:
                found.setdefault(code, "not in the table of athletes" if listed else "")
    return found | barred | dict.fromkeys(gone, WITHDREW)


def _select(raw: RawTable, stay: list[int], gone: frozenset[str]) -> RawTable:
    mentions = Mentions(gone)
    left = raw.select(stay)
    if "opponent" in left.columns:
        left.columns["opponent"] = ["guest" if t in gone else t for t in left.columns["opponent"]]
    for name in set(_FREE_TEXT) & set(left.columns):
        left.columns[name] = [mentions.replace(t, lambda code: "(withdrawn)", typed=True) for t in left.columns[name]]
    return left


ASKED = {
    "cleared": ("not cleared to take part", "no clearance on record"),
    "consent_measured": ("no consent to be measured", "no consent on record"),
}
"""Column -> the cause where it says no, and where it says nothing."""


def not_analysed(
    tables: dict[str, pd.DataFrame], has: set[str], findings: Findings, *, recorded: int = 0
) -> dict[str, str]:
    """Return the athletes who may not be analysed, with the cause: one rule, whoever asks and wherever it is blank."""
    # Without a yes nothing is analysed. It stops where something was measured and nobody has a yes on
    # record.
    athletes, busy = tables["athletes"], _measured_people(tables)
    if not len(athletes):
        unreadable = any(p.file.endswith(("athletes.csv", "tab athletes")) for p in findings.problems)
        if (busy or recorded) and not unreadable:
            whose = (
                _people(len(busy)) if busy else f"{plural(recorded, 'recording')} {'has' if recorded == 1 else 'have'}"
            )
            problem = f"no athlete is listed, so {whose} no consent on record: nothing of theirs is analysed"
            remedy = (
                "list every code in the athletes table, with yes in consent_measured and cleared where that is on file"
            )
            findings.problem_of("athletes", problem, remedy, column="consent_measured")
        return dict.fromkeys(busy, ASKED["consent_measured"][0])
    out: dict[str, str] = {}
    for column, (refused, unknown) in ASKED.items():
        no = list(athletes.loc[athletes[column].eq("no"), "athlete"])
        blank = list(athletes.loc[athletes[column].eq(""), "athlete"])
        out |= dict.fromkeys([*no, *blank], refused)
        file, total = athletes["file"].iloc[0], len(athletes)
        if no:
            row = _row_of(athletes, no)
            what = f"{refused}: {_named(no)} ({len(no)} of {total}); nothing of theirs is analysed"
            findings.remark(file, row, column, "no", what, "nothing, if that is right")
        absent = "" if column in has else f"there is no column {column}; "
        names = "" if len(blank) == total else f": {_named(blank)}"
        what = f"{absent}{_people(len(blank))} {unknown}{names}; nothing of theirs is analysed"
        remedy = f"write yes in {column} where it is on file, and no where it is not"
        # where somebody was measured and nobody may be analysed, nothing would be left to look at
        if blank and busy and len(blank) == total:
            findings.problem_of(file, what, remedy, column=column)
        elif blank:
            findings.remark(file, _row_of(athletes, blank), column, "", what, remedy)
    return out


def _measured_people(tables: dict[str, pd.DataFrame]) -> list[str]:
    """The codes of whom something was measured."""
    rounds = tables["rounds"]
    some = rounds["athlete"][rounds[list(MEASURES)].notna().any(axis=1) | rounds["lactate_limit"].ne("")]
    tests = tables["aerobic_tests"]
    keys = {"athlete", "date", "test", "phase", "occasion", "note"}
    typed = [c for c in column_rules()["aerobic_tests"] if c not in keys]
    tested = tests["athlete"][(tests[typed].notna() & tests[typed].ne("")).any(axis=1)] if len(tests) else ()
    codes = (some, tables["lactate"]["athlete"], tested, tables["recordings"]["athlete"])
    return list(dict.fromkeys(code for code in chain.from_iterable(codes) if code))


def _row_of(athletes: pd.DataFrame, codes: list[str]) -> int | None:
    return int(athletes.loc[athletes["athlete"].eq(codes[0]), "row"].iloc[0]) if len(codes) == 1 else None


def _people(n: int) -> str:
    return f"{plural(n, 'athlete')} {'has' if n == 1 else 'have'}"


def _named(codes: list[str]) -> str:
    return join_words(codes if len(codes) <= 8 else [*codes[:7], f"{len(codes) - 7} more"])


def write_ledger(
    raws: dict[str, RawTable], decided: Decided, barred: dict[str, str], counts: dict[str, int], gone: frozenset[str]
) -> Ledger:
    """Write down what became of every row, and of every value of a measure of which a decision set some aside."""
    return Ledger().add(without_mention(entry, gone) for entry in _entries(raws, decided, barred, counts, gone))


def _entries(raws, decided: Decided, barred, counts, gone) -> Iterator[dict]:
    """Every entry of the ledger, one at a time."""
    for raw in raws.values():
        causes = _causes(raw, decided.rows_aside.get(raw.table, {}), barred)
        yield from _row_entries(raw, causes)
        yield from _value_entries(raw, decided, causes)
    for name, n in counts.items():
        yield {"table": name, "amount": float(n), "used": False, "cause": WITHDREW, "decided_by": "the person"}
    yield from (entry for entry in decided.entries if entry["athlete"] not in gone)


def _causes(
    raw: RawTable, aside: dict[int | tuple, tuple[str, str]], barred: dict[str, str]
) -> dict[int, tuple[str, str]]:
    """Return, per index of a row that is set aside, the cause and who decided."""
    causes: dict[int, tuple[str, str]] = {}
    if not aside and not barred:
        return causes
    for index in range(len(raw.rows)):
        code = raw.cell("athlete", index)
        if raw.key(index) in aside:
            causes[index] = aside[raw.key(index)]
        elif code in barred and raw.table != "decisions":
            causes[index] = (barred[code], "rule")
    return causes


def _row_entries(raw: RawTable, causes: dict[int, tuple[str, str]]) -> Iterator[dict]:
    told: Iterable[int] = range(len(raw.rows))
    if raw.table == "survey":  # long tables: what is used is counted in one entry
        used, told = len(raw.rows) - len(causes), causes
        if used:
            yield {"table": raw.table, "file": raw.file, "amount": float(used)}
    yield from (_entry(raw, i, causes.get(i)) for i in told)


def _entry(raw: RawTable, index: int, why: tuple[str, str] | None) -> dict:
    cause, decided_by = why or ("", "rule")
    return {**row_keys(raw, index), "used": why is None, "cause": cause, "decided_by": decided_by}


def _value_entries(raw: RawTable, decided: Decided, causes: dict[int, tuple[str, str]]) -> list[dict]:
    entries = []
    for (table, measure), values in decided.values_aside.items():
        if table != raw.table:
            continue
        for index in range(len(raw.rows)):
            aside = values.get(raw.key(index))
            if aside or raw.cell(measure, index):
                entry = _entry(raw, index, causes.get(index) or aside)
                entries.append({**entry, "measure": measure, "unit": "values"})
    return entries
