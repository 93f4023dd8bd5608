"""From a folder to a `Study`: parse, apply decisions, validate, set aside, and say what there is."""

from __future__ import annotations

import datetime as dt
import gc
import re
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import pandas as pd

from ..basics import KitError, join_words, plural
from ..basics.errors import expand_home
from ..environment import python_name
from .aerobic import check_aerobic_tests, check_fitness, fill_fitness, known_tests, more_columns
from .columns import TABLES, RawTable, empty_table, lines_of, read_headings
from .consent import (
    check_ethics,
    check_minors,
    check_sampling_pace,
    check_texts,
    every_code,
    find_withdrawn,
    not_analysed,
    without_mention,
    without_withdrawn,
    write_ledger,
)
from .convert import Context, convert_table, judge_value
from .decisions import ALL, UNFIT, Decided, apply_decisions, is_about_unfit, is_proposal, propose_decisions, row_keys
from .fixed_plan import FIXED_FILE, load_fixed_plan
from .inventory import Inventory, check_files, check_unlisted, input_checksums, is_recording, take_inventory, untold
from .model import Study
from .outcomes import OUTCOMES
from .plan import Plan, keep_fixed, read_plan, settle_primary_session
from .plausible import HEART_RATES, MEASURES, check_rows, check_tables, remark_on_primary_session
from .problems import Findings, Problem, StudyError, fold_rows, problem_table
from .settings import SETTINGS_FILE, Protocol, Settings, grades_of, rank_grades, read_protocol, read_settings
from .slips import put_right
from .training import check_training, read_training


@dataclass(frozen=True)
class Examination:
    """A folder read and checked, whether or not it can be used."""

    study: Study
    problems: list[Problem]
    settled: list[Problem]
    questions: list[Problem]
    remarks: list[Problem]
    inventory: Inventory
    proposed: list[dict[str, str]]


def load_study(folder: str | Path, *, today: dt.date | None = None) -> Study:
    """Read a study folder: parse, apply decisions, validate.

    Parameters
    ----------
    folder : path
        With study.toml and the tables that there are.
    today : datetime.date, optional
        For dates in the future. Default: today.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        With `.problems`, all at once.

    Examples
    --------
    >>> import tempfile
    >>> from analysis.study import new_study
    >>> load_study(new_study(tempfile.mkdtemp() + "/autumn", rounds=5)).protocol.rounds
    5
    """
    found = examine_folder(folder, today=today)
    if found.problems:
        raise StudyError(found.problems, found.settled)
    return found.study


# The older spelling, kept for callers outside; set here, so that the model need not know the reader.
Study.load = staticmethod(load_study)


def examine_folder(folder: str | Path, *, today: dt.date | None = None) -> Examination:
    """Read and check a study folder without raising."""
    folder = expand_home(folder)
    if not folder.is_dir():
        what = "a file, not a folder" if folder.exists() else "no such folder"
        remedy = f"give the study folder, or start one with: {python_name()} -m analysis new FOLDER"
        raise StudyError([Problem(str(folder), None, "", "", what, remedy)])
    with _no_search_for_cycles():
        return _examine(folder.resolve(), today or dt.date.today())


@contextmanager
def _no_search_for_cycles():
    """Keep Python from looking through millions of cells for objects that refer to each other: a quarter of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _examine(folder: Path, today: dt.date) -> Examination:
    findings = Findings()
    checksums = input_checksums(folder)  # before anything is read: what changes while it is read is noticed
    settings = read_settings(folder, findings)
    protocol = read_protocol(settings, findings)
    plan = _with_fixed(read_plan(settings, findings), folder, findings)
    check_ethics(settings, findings)
    check_sampling_pace(settings, findings)
    check_fitness(settings, findings)
    check_texts(folder, findings)
    training = read_training(settings, findings)
    context = Context(
        "" if not settings or any(p.column == "exertion_scale" for p in findings.problems) else protocol.exertion_scale,
        _states_scale(settings),
        _date_order(settings, findings),
        known_tests(),
        more_columns(),
    )
    inventory = take_inventory(folder, findings)
    raws = _read_all_headings(inventory, context, findings)
    decisions_raw = _confirmed(raws.pop("decisions", RawTable("decisions", "decisions.csv")), findings)
    decisions = convert_table(decisions_raw, context, findings) if decisions_raw.columns else empty_table("decisions")
    unfit = {d.table: d for d in lines_of(decisions) if is_about_unfit(d)}
    others = decisions[[not is_about_unfit(d) for d in lines_of(decisions)]] if unfit else decisions
    raws |= {name: put_right(raw, context, findings) for name, raw in raws.items()}
    decided = apply_decisions(raws, others, findings, judge=partial(judge_value, context=context))
    check = partial(_validate, folder, protocol, settings, context, inventory, today)

    # people who withdrew leave first, so that nothing of theirs is checked, named or counted by code
    gone = find_withdrawn(decided.tables)
    before, after = Findings(), Findings(kept=frozenset(decided.kept))
    if len(decisions):
        check(without_withdrawn(raws, gone)[0], before)
        before.unfit.clear()  # a number for each row of a long table, and of no use any more
    with_decisions = decided.tables | ({"decisions": decisions_raw} if decisions_raw.rows else {})
    remaining, counts = without_withdrawn(with_decisions, gone)
    used = {name: _without_set_aside(raw, decided) for name, raw in remaining.items()}
    tables, barred = check(used, after, aside=_rounds_aside(remaining, decided))
    if unfit and _set_unfit_aside(unfit, used, after, decided):
        before.problems += after.problems
        after = Findings(kept=frozenset(decided.kept))
        used = {name: _without_set_aside(raw, decided) for name, raw in remaining.items()}
        tables, barred = check(used, after, aside=_rounds_aside(remaining, decided))
    codes = list(dict.fromkeys(tables["athletes"]["athlete"]))
    known_sessions = list(dict.fromkeys(tables["sessions"]["session"]))
    plan = settle_primary_session(plan, known_sessions, settings.line_of("plan", "primary_session"), after)
    remark_on_primary_session(plan, tables["rounds"], settings.line_of("plan", "primary_session"), after)
    empty = _find_unmeasured(plan, raws, tables, inventory, findings, after)
    check_training(folder, tables, training, after)
    check_unlisted(inventory.recordings, tables["recordings"], tables["survey"], codes, gone, tables["sessions"], after)

    _remark_on_initials(tables["athletes"], after)
    for each in (findings, before, after):
        each.count_the_rest()
    problems = _in_order(findings.problems + after.problems)
    questions = _in_order(findings.questions + after.questions)
    remarks = _in_order(findings.remarks + after.remarks)
    still = {*problems, *questions, *remarks}
    settled = list(dict.fromkeys(p for p in before.problems if p not in still))
    told = {p.place for p in settled}
    decided_rows = {(e["file"], e["row"]) for e in decided.entries}
    settled += [p for p in before.remarks if p not in still and p.place not in told]
    known = every_code(raws, gone, barred)
    settled += [q for q in before.questions if q not in still and q.place not in told and q.place[:2] in decided_rows]
    study = Study(
        folder=folder, title=settings.get("title", ""), sport=settings.get("sport", ""), protocol=protocol,
        plan=without_mention(plan, gone), training=training,
        ledger=write_ledger(remaining, decided, barred, counts, gone), settings=without_mention(dict(settings), gone),
        known_codes=known, input=untold(checksums, [code for code, why in known.items() if why]),
        settled=problem_table(settled), questions=problem_table(questions), remarks=problem_table(remarks),
        **{name: _analysed(name, table, barred) for name, table in tables.items()},
    )  # fmt: skip
    proposed = propose_decisions([*problems, *questions], raws)
    proposed += [
        {"table": "rounds", "session": ALL, "measure": column, "action": "keep", "reason": "was not measured"}
        for column in empty
    ]
    proposed += [
        {"table": name, "measure": UNFIT, "action": "set aside", "reason": "does not fit; the senders cannot be asked"}
        for name in ("survey",)
        if name in raws and name not in unfit and len(after.unfit.get(raws[name].file, ())) > 1
    ]
    return Examination(study, problems, settled, questions, remarks, inventory, proposed)


def _read_all_headings(inventory: Inventory, context: Context, findings: Findings) -> dict[str, RawTable]:
    """Name the columns of every table; its cells then stand in columns alone, so that a long table is held once."""
    raws = {}
    for name, grid in inventory.grids.items():
        more = frozenset(context.more) if name == "aerobic_tests" else frozenset()
        raws[name] = read_headings(grid, name, findings, more=more)
        inventory.grids[name] = replace(grid, rows=[])
    return raws


def _confirmed(raw: RawTable, findings: Findings) -> RawTable:
    """The decisions that somebody took; a row without day and name is a proposal that waits."""
    names = ("date", "decided_by", "table")
    waiting = [i for i in range(len(raw.rows)) if is_proposal({n: raw.cell(n, i) for n in names})]
    if not waiting:
        return raw
    rows = [raw.rows[i] for i in waiting]
    does = "waits and does" if len(rows) == 1 else "wait and do"
    what = f"{plural(len(rows), 'proposed decision')} {does} nothing yet ({fold_rows(rows)})"
    remedy = "look at the sheet; then write the date and who decided, and action where it is blank, or delete the row"
    findings.remark(raw.file, rows[0] if len(rows) == 1 else None, "", "", what, remedy)
    return raw.select([i for i in range(len(raw.rows)) if i not in set(waiting)])


def _set_unfit_aside(unfit: dict, used: dict[str, RawTable], found: Findings, decided: Decided) -> bool:
    """Set every row of a table that has a problem aside, where one decision says so; return whether there was any."""
    some = False
    for table, decision in unfit.items():
        raw = used.get(table)
        rows = found.unfit.get(raw.file, set()) if raw else set()
        why = {
            p.row: f"{p.column} {p.value!r} {p.problem}".strip()
            for p in reversed(found.problems)  # the first that was found says it best
            if raw and p.file == raw.file
        }
        others = (f"does not fit: {decision.reason}", decision.decided_by)
        for index, row in enumerate(raw.rows if raw else ()):
            if row in rows:
                own = (f"{why[row]}: {decision.reason}", decision.decided_by) if row in why else others
                decided.rows_aside.setdefault(table, {})[raw.key(index)] = own
                some = True
    return some


def _find_unmeasured(
    plan: Plan,
    raws: dict[str, RawTable],
    tables: dict[str, pd.DataFrame],
    inventory: Inventory,
    read: Findings,
    after: Findings,
) -> list[str]:
    """Stop where a planned outcome has no value though the evening was entered; return the columns that stay empty.

    Where a column was not read that may hold it, its heading is asked for; else a decision says that it was not measured.
    """
    rounds = tables["rounds"][tables["rounds"]["round_no"].gt(0)]
    typed = rounds[list(MEASURES)].notna().any(axis=1).any() or rounds["lactate_limit"].ne("").any()
    if "hypotheses" in plan.proposed or not typed:
        return []
    recorded = len(tables["recordings"]) or any(map(is_recording, inventory.recordings))
    written = {  # what is written and cannot be read, or was set aside, has its own line
        column
        for name in ("rounds", "lactate")
        if name in raws
        for column, texts in raws[name].columns.items()
        if any(texts)
    } | {p.column for p in read.problems if rounds["file"].eq(p.file).any()}
    planned = dict.fromkeys(h.outcome if OUTCOMES[h.outcome].typed else "" for h in plan.hypotheses)
    unread = [r for r in read.remarks if r.problem.startswith("a column that the kit does not know")]
    unread = [r for r in unread if rounds["file"].eq(r.file).any()]
    named = join_words([repr(r.value) for r in unread], "or")
    empty = []
    for outcome in planned:
        if outcome in written or (not outcome and (recorded or written & {*HEART_RATES})):
            continue
        column = outcome or "hr_mean_typed_bpm"
        what = OUTCOMES[outcome or "hr_mean_bpm"].label.casefold()
        problem = f"{what} is planned in {SETTINGS_FILE}, but no value of it is there"
        if unread:
            remedy = f"write {column} as the heading of {named} if that is it, or delete the hypotheses about it"
            after.problem(unread[0].file, unread[0].row, column, "", problem, remedy)
            continue
        enter = f"type {column}" if outcome else f"put the recordings into recordings/, or type {column}"
        file = str(rounds["file"].iloc[0])
        if plan.frozen:
            remedy = f"{enter}; where it was not measured, confirm the proposed row of decisions that says so"
        else:
            remedy = f"{enter}, or delete the hypotheses about it in {SETTINGS_FILE}"
        after.problem(file, None, column, "", problem, remedy, keepable=True)
        if plan.frozen and (file, None, column) not in after.kept:
            empty.append(column)
    return empty


def _remark_on_initials(athletes: pd.DataFrame, findings: Findings) -> None:
    codes = [c for c in dict.fromkeys(athletes["athlete"]) if re.fullmatch(r"[^\W\d_]{2,3}|([^\W\d_]\.){2,3}", c)]
    if len(codes) > 1:
        file, shown = (athletes.iloc[0]["file"], join_words([*codes[:3], *(["others"] if len(codes) > 3 else [])]))
        problem = "codes that look like initials: whoever knows the club knows who that is"
        remedy = "number the athletes, such as A07, and keep the list of names apart"
        findings.remark_of(file, problem, remedy, column="athlete", value=shown)


def _in_order(found: list[Problem]) -> list[Problem]:
    """Sort by file, in the order in which files came up, and by row."""
    files = list(dict.fromkeys(p.file for p in found))
    return sorted(found, key=lambda p: (files.index(p.file), p.row or 0))


def _without_set_aside(raw: RawTable, decided: Decided) -> RawTable:
    aside = decided.rows_aside.get(raw.table, {})
    return raw.select([i for i in range(len(raw.rows)) if raw.key(i) not in aside]) if aside else raw


def _rounds_aside(raws: dict[str, RawTable], decided: Decided) -> frozenset[tuple]:
    """Return session, round and athlete of the rows of rounds that a decision set aside."""
    aside = decided.rows_aside.get("rounds", {})
    if not aside:
        return frozenset()
    raw = raws["rounds"]
    keys = (row_keys(raw, index) for index in range(len(raw.rows)) if raw.key(index) in aside)
    return frozenset((k["session"], k["round_no"], k["athlete"]) for k in keys)


def _analysed(name: str, table: pd.DataFrame, barred: dict[str, str]) -> pd.DataFrame:
    if not barred or name == "decisions" or "athlete" not in table:
        return table
    return table[~table["athlete"].isin(list(barred))].reset_index(drop=True)


def _with_fixed(plan: Plan, folder: Path, findings: Findings) -> Plan:
    """Say in the plan whether it was fixed before; a fixed plan that was changed since is remarked on."""
    try:
        fixed = load_fixed_plan(folder)
    except KitError as error:
        findings.problem_of(FIXED_FILE, str(error), "put the original file back")
        return plan
    if fixed is None:
        return plan
    if not fixed.intact:
        problem = "the fixed plan, or its document, was changed after it was fixed"
        remedy = "put the original back; the write-up lists this as a deviation"
        findings.remark_of(FIXED_FILE, problem, remedy)
    return replace(
        keep_fixed(plan, fixed.plan) if fixed.intact else plan,
        frozen={
            "date": fixed.date,
            "checksum": fixed.checksum,
            "document": fixed.document_name,
            "intact": fixed.intact,
            "amendments": tuple(fixed.fixed.get("amendments", ())),
        },
    )


def _states_scale(settings: Settings) -> bool:
    protocol = settings.get("protocol")
    return "exertion_scale" in settings or (isinstance(protocol, dict) and "exertion_scale" in protocol)


def _date_order(settings: Settings, findings: Findings) -> str:
    order = settings.get("date_order", "")
    if order in ("", "day first", "month first"):
        return order
    remedy = 'write date_order = "day first" or "month first", or type dates as 2026-11-25'
    settings.say(findings.problem, ("date_order",), order, "not an order of day and month", remedy)
    return ""


def _validate(
    folder: Path, protocol: Protocol, settings: Settings, context: Context, inventory: Inventory, today: dt.date,
    raws: dict[str, RawTable], findings: Findings, *, aside: frozenset[tuple] = frozenset(),
) -> tuple[dict[str, pd.DataFrame], dict[str, str]]:  # fmt: skip
    """Convert and check all tables; return them, and why who is not analysed."""
    tables = {name: empty_table(name) for name in TABLES}
    tables |= {name: convert_table(raw, context, findings) for name, raw in raws.items() if raw.columns}
    tables["athletes"] = _rank_grades(tables["athletes"], settings, findings)
    tables["rounds"] = _fill_took_part(tables["rounds"])
    tables["aerobic_tests"] = fill_fitness(tables["aerobic_tests"], settings, findings)
    doubtful = partial(_doubtful, raws.get("rounds"), findings)
    check_tables(tables, protocol, today, findings, aside=aside, doubtful=doubtful)
    check_rows(tables, protocol, settings, findings, wide="rounds" in raws and raws["rounds"].wide)
    check_aerobic_tests(tables["aerobic_tests"], findings)
    check_minors(tables, settings, findings)
    if settings and not context.scale_stated and tables["rounds"]["exertion"].notna().any():
        problem = f"study.toml names no exertion scale; {context.scale} is taken"
        row = settings.line_of("protocol")
        findings.remark(SETTINGS_FILE, row, "exertion_scale", "", problem, "write exertion_scale")
    check_files(folder, tables, inventory, findings)
    athletes = raws.get("athletes")
    has = set(athletes.columns) if athletes else set()
    recorded = 0 if len(tables["survey"]) else sum(map(is_recording, inventory.recordings))
    return tables, not_analysed(tables, has, findings, recorded=recorded)


def _doubtful(rounds: RawTable | None, findings: Findings) -> frozenset[str]:
    """The athletes with a row of rounds that has a problem."""
    if rounds is None:
        return frozenset()
    unfit = findings.unfit.get(rounds.file, ())
    return frozenset(rounds.cell("athlete", i) for i, row in enumerate(rounds.rows) if row in unfit)


def _rank_grades(athletes: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Fill the rank of each athlete's grade; an unknown grade stops, an order that nobody gave is asked for."""
    ranked, wrong = rank_grades(athletes, grades_of(settings))
    for index, column, problem, remedy in wrong:
        if index is None:
            settings.say(findings.remark, (column,), "", problem, remedy)
        else:
            line = athletes.loc[index]
            findings.problem(line["file"], int(line["row"]), column, line[column], problem, remedy)
    return ranked


def _fill_took_part(rounds: pd.DataFrame) -> pd.DataFrame:
    """Blank means yes where something was recorded, and everywhere in a sheet that leaves the whole column blank."""
    entries = rounds[[*MEASURES, "minutes_done"]].notna().any(axis=1) | rounds["lactate_limit"].ne("")
    entries |= ~rounds["opponent"].isin(["", "none"])
    blank = rounds["took_part"].eq("") & rounds["round_no"].gt(0)
    if not rounds["took_part"].ne("").any():
        entries |= True
    return rounds.assign(took_part=rounds["took_part"].mask(blank & entries, "yes"))
