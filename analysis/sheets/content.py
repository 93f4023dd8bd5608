"""The sheets of an evening, filled in as far as the plan knows: who, when, against whom."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from ..basics import KitError, format_number, join_words
from ..planning import Pairing, Timetable, make_timetable
from ..study import typed_outcomes
from . import materials as safety
from .materials import list_materials
from .parts import Sheet, SheetColumn, sheet_columns

TOP = ("Date", "Evening", "Place", "Filled in by")
EMERGENCY = ("Emergency number", "Defibrillator at", "First-aider", "Nearest doctor or hospital")

NO_SAMPLE = "—"


def _typed_on_the_sheet() -> list[str]:
    """The outcomes that are typed, with the delay of a sample beside its value."""
    return [
        c
        for name in typed_outcomes()
        for c in ((name, "lactate_delay_s") if name == "lactate_mmol_l" else (name,))
    ]


DEFAULT_COLUMNS = {
    "clock": ("session", "group", "round_no", "start_clock", "end_clock", "note"),
    "attendance": ("session", "athlete", "device", "mass_kg", "usual_mass_kg", "arrived", "left_after", "note"),
    "rounds": (
        "session", "athlete", "round_no", "took_part", "minutes_done", "opponent", *_typed_on_the_sheet(),
        "activity_rating", "note",
    ),
}  # fmt: skip
"""Columns of the sheets, in the order of the workbook, where no study folder says otherwise."""


def build_sheets(
    protocol,
    athletes: Sequence[str],
    *,
    session: str = "1",
    pairing: Pairing | None = None,
    timetable: Timetable | None = None,
    sampled: Sequence[str] | None = None,
    columns: Mapping[str, Sequence[str]] | None = None,
    minors: bool = False,
) -> list[Sheet]:
    """Build every sheet of an evening.

    Parameters
    ----------
    protocol : Protocol
        rounds, work_s, rest_s and exertion_scale are read.
    athletes : sequence of str
        Codes. Names belong on the code list alone, which is made apart (`write_code_list`).
    session : str
        The evening. Default "1".
    pairing : Pairing, optional
        Fills in opponents and makes the sheets per mat and per athlete.
    timetable : Timetable, optional
        Fills in planned times and the order of sampling. Default: a common start.
    sampled : sequence of str, optional
        Who gives blood. Default: those whose samples lie inside the window of the timetable; () for nobody.
    columns : mapping, optional
        Table ("clock", "attendance", "rounds") -> columns of the workbook.
    minors : bool
        Print the cautions for athletes under 18.

    Returns
    -------
    list of Sheet

    Examples
    --------
    >>> from analysis.study import Protocol
    >>> [s.key for s in build_sheets(Protocol(4, 300.0, 120.0), ["A01", "A02"])][:3]
    ['safety', 'timekeeper', 'roll_call']
    """
    codes = [str(a) for a in athletes]
    if not codes:
        raise KitError(
            "There are no athletes to print sheets for: fill athletes.csv, or make codes with make_codes."
        )
    timetable = timetable or make_timetable(protocol, athletes=pairing or codes)
    columns = {**DEFAULT_COLUMNS, **(columns or {})}
    if sampled is None:
        inside = timetable.slots.groupby("athlete")["in_window"].all()
        sampled = [a for a in codes if bool(inside.get(a, False))]
    sheets = [_safety(minors, bool(sampled)), _timekeeper(protocol, session, timetable, columns["clock"])]
    sheets.append(_roll_call(codes, session, columns["attendance"]))
    if pairing is not None:
        sheets.append(_pairs(protocol, pairing))
    for round_no in range(1, protocol.rounds + 1):
        sheets.append(
            _round_sheet(
                protocol, codes, session, round_no, pairing, timetable, list(sampled), columns["rounds"]
            )
        )
    if pairing is not None:
        sheets += _mat_sheets(protocol, pairing, timetable)
        sheets += [_athlete_sheet(code, protocol, pairing, timetable, list(sampled)) for code in codes]
    sheets.append(_incidents())
    mats = int(timetable.mats["mat"].max())
    sheets.append(
        _materials(len(codes), protocol.rounds, len(list(sampled)), mats, timetable.sampling.analysers)
    )
    return sheets


def make_codes(n: int, *, letter: str = "A") -> list[str]:
    """Make codes for athletes who have none yet.

    Parameters
    ----------
    n : int
        How many, at least 1.
    letter : str
        What they begin with. Default "A".

    Returns
    -------
    list of str

    Examples
    --------
    >>> make_codes(3)
    ['A01', 'A02', 'A03']
    """
    if n != int(n) or n < 1:
        raise KitError(f"n is {n}, but must be a whole number from 1 on.")
    return [f"{letter}{i:0{max(2, len(str(int(n))))}d}" for i in range(1, int(n) + 1)]


def _safety(minors: bool, blood: bool) -> Sheet:
    texts = [
        safety.DEFER,
        safety.ANYBODY_STOPS,
        safety.STOP_NOW,
        safety.HEAD,
        safety.NOT_TODAY,
        safety.HARD,
        safety.HEAT,
    ]
    texts += [safety.BLOOD, safety.COVER, safety.NEEDLE_STICK] if blood else [safety.NO_LICENCE]
    if blood:
        texts.append(safety.NO_LICENCE)
    texts += [safety.MINORS] if minors else []
    return Sheet("safety", "Safety", "on the wall, and read aloud at the start", EMERGENCY, tuple(texts))


def _timekeeper(protocol, session, timetable: Timetable, columns) -> Sheet:
    mats = timetable.mats.groupby("round_no").agg({"start_clock": "min", "end_clock": "max"})
    if timetable.start == "staggered":
        starts = timetable.mats.sort_values(["start_s", "mat"])
        asked = [(f"mat {r.mat}", r.round_no) for r in starts.itertuples()]
    else:
        asked = [("", round_no) for round_no in range(1, protocol.rounds + 1)]
    rows = [_fill(columns, session=session, group=group, round_no=str(r)) for group, r in asked]
    plan = []
    if mats["start_clock"].str.len().max():
        shown = timetable.mats.drop_duplicates(["round_no", "start_clock"])
        times = [f"round {r.round_no}: {r.start_clock} to {r.end_clock}" for r in shown.itertuples()]
        plan = [f"Planned: {'; '.join(times)}."]
    work, rest = _minutes(protocol.work_s), _minutes(protocol.rest_s)
    steps = (
        "Before the start: compare the clock of every strap and watch with yours, and write the differences on the roll call. "
        "Or let everybody press start at one signal, and write its time down.",
        f"{protocol.rounds} rounds of {work}, {rest} of rest between them. Call the start, the last ten seconds and the end.",
        "Write the time at which the round really began and ended, with seconds, from one clock.",
        "An interruption goes into the note: when, how long, why.",
        *plan,
    )
    return Sheet("timekeeper", "Timekeeper", "the timekeeper", TOP, steps, sheet_columns(columns), tuple(rows),
                 (safety.ANYBODY_STOPS,), row_mm=15.0)  # fmt: skip


def _roll_call(codes, session, columns) -> Sheet:
    rows = tuple(_fill(columns, session=session, athlete=code) for code in codes)
    steps = (
        "Ask everyone, alone: well today? any blow to the head, illness, injury or medicine since we last met? "
        "Consent and clearance signed?",
        "Weigh in the same clothing as always, and ask for the usual mass.",
        safety.lowest_masses(),
        "Give out the strap, wet it, write its number, and look that it shows a heart rate before the warm-up.",
    )
    return Sheet("roll_call", "Roll call and straps", "whoever opens the door", TOP, steps, sheet_columns(columns), rows,
                 (safety.NOT_TODAY, safety.HEAT))  # fmt: skip


def _pairs(protocol, pairing: Pairing) -> Sheet:
    rounds = range(1, protocol.rounds + 1)
    columns = (SheetColumn("", "Mat", "", 0.5), *(SheetColumn("", f"Round {r}", "", 1.2) for r in rounds))
    table = pairing.schedule.set_index(["round_no", "mat"])
    names = {key: f"{row['athlete_1']} – {row['athlete_2']}" for key, row in table.iterrows()}
    rows = [
        (str(mat), *(names.get((r, mat), "") for r in rounds))
        for mat in range(1, int(pairing.schedule["mat"].max()) + 1)
    ]
    if len(pairing.sat_out):
        away = pairing.sat_out.groupby("round_no")["athlete"].agg(", ".join)
        rows.append(("out", *(away.get(r, "") for r in rounds)))
    steps = (
        "Planned from body mass, group and experience, never from fitness. You know these people: change a pair that is not "
        "safe, and write down what was changed and why.",
        *pairing.warnings,
    )
    return Sheet("pairs", "Who spars whom", "the coach", TOP[:3], steps, columns, tuple(rows),
                 (safety.ANYBODY_STOPS, safety.HARD), wide=protocol.rounds > 6)  # fmt: skip


def _round_sheet(protocol, codes, session, round_no, pairing, timetable, sampled, columns) -> Sheet:
    slots = timetable.slots[timetable.slots["round_no"] == round_no].set_index("athlete")
    order = sorted(
        codes, key=lambda c: (c not in sampled, float(slots["sample_s"].get(c, 1e9)), codes.index(c))
    )
    opponents = {}
    if pairing is not None:
        now = pairing.opponents[pairing.opponents["round_no"] == round_no]
        opponents = dict(zip(now["athlete"], now["opponent"], strict=True))
    blood = ("lactate_mmol_l", "lactate_limit", "lactate_delay_s")
    rows = []
    for code in order:
        known = {
            "session": session,
            "athlete": code,
            "round_no": str(round_no),
            "opponent": opponents.get(code, ""),
        }
        if code not in sampled:
            known |= dict.fromkeys(blood, NO_SAMPLE)
        rows.append(_fill(columns, **known))
    steps = ["The opponent is filled in as planned: cross out and correct what turned out otherwise."]
    cautions = [safety.ANYBODY_STOPS]
    if sampled and "lactate_mmol_l" in columns:
        target, spare = timetable.sampling.target_delay_s, timetable.sampling.tolerance_s
        when = f"Blood {format_number(target, 0)} ± {format_number(spare, 0, unit='s')} after the end of the round, from one site"
        who = "in the order of the rows"
        if len(sampled) < len(codes):
            who += f", only of {join_words(sampled)} ({NO_SAMPLE}: no sample planned; leave the cell blank when you type)"
        steps.append(f"{when}, {who}. Write the seconds that really passed; HI or LO is a result.")
        cautions += [safety.COVER, safety.BLOOD_SHORT]
    if "exertion" in columns:
        steps.append(f"Exertion on the {protocol.exertion_scale} scale. {safety.RATING}")
    return Sheet(f"round_{round_no}", f"Lactate and exertion · round {round_no}", "the sampler and the questioner", TOP,
                 tuple(steps), sheet_columns(columns), tuple(rows), tuple(cautions), wide=True)  # fmt: skip


def _mat_sheets(protocol, pairing, timetable) -> list[Sheet]:
    columns = (
        SheetColumn("round_no", "Round", "", 0.6), SheetColumn("", "Planned start", "clock", 1.0),
        SheetColumn("", "Athlete", "code", 0.9), SheetColumn("", "Athlete", "code or guest", 0.9),
        SheetColumn("took_part", "Both took part to the end?", "yes, or who not", 1.6), SheetColumn("note", "Note", "", 2.6),
    )  # fmt: skip
    sheets = []
    for mat, here in timetable.mats.groupby("mat"):
        rows = tuple(
            (str(r.round_no), r.start_clock, r.athlete_1, r.athlete_2, "", "")
            for r in here.sort_values("round_no").itertuples()
        )
        sheets.append(
            Sheet(
                f"mat_{mat}",
                f"Mat {mat}",
                "the mat’s referee",
                TOP,
                (
                    "Check the pair before the start. Whoever sits out writes sat_out; whoever has gone home, left.",
                    "Straps stay on between rounds.",
                ),
                columns,
                rows,
                (safety.ANYBODY_STOPS, safety.STOP_NOW, safety.HEAD),
                row_mm=15.0,
            )
        )
    return sheets


def _athlete_sheet(code, protocol, pairing, timetable, sampled) -> Sheet:
    columns = (
        SheetColumn("round_no", "Round", "", 0.6), SheetColumn("", "Planned start", "clock", 1.0),
        SheetColumn("", "Mat", "", 0.6), SheetColumn("opponent", "Opponent", "code, guest, none", 1.2),
        SheetColumn("", "Blood sample", "clock", 1.2),
    )  # fmt: skip
    mine = pairing.opponents[pairing.opponents["athlete"] == code].set_index("round_no")
    starts = timetable.mats.set_index(["round_no", "mat"])["start_clock"]
    slots = timetable.slots[timetable.slots["athlete"] == code].set_index("round_no")
    rows = []
    for round_no in range(1, protocol.rounds + 1):
        if round_no not in mine.index:
            rows.append((str(round_no), "", "", "", ""))
            continue
        mat, opponent = mine.loc[round_no, ["mat", "opponent"]]
        sample = ""
        if code in sampled and round_no in slots.index:
            sample = slots.loc[round_no, "sample_clock"] or "after the round"
        start = "" if pd.isna(mat) else starts.get((round_no, int(mat)), "")
        rows.append((str(round_no), start, "" if pd.isna(mat) else str(int(mat)), opponent, sample))
    steps = [
        "Your code stands here, never your name. Your numbers are given to you first; nobody is graded or selected by them.",
        "Taking part is your choice, at every moment of the evening. You may leave, sit out or say no to a sample "
        "without a reason.",
        "Strap on, wet, under the shirt; tell us when it slips. Spar as on any other evening: going harder or easier for the "
        "study spoils it.",
        "After each round say one number for how hard that round was, on your own, before you talk to anyone.",
    ]
    cautions = [safety.ANYBODY_STOPS, safety.STOP_NOW, safety.HEAD]
    if code in sampled:
        cautions.append(safety.COVER)
    return Sheet(f"athlete_{code}", f"Your evening · {code}", "the athlete", (), tuple(steps), columns, tuple(rows),
                 tuple(cautions), row_mm=11.0)  # fmt: skip


def _incidents() -> Sheet:
    columns = (
        SheetColumn("", "Time", "clock", 0.8), SheetColumn("", "Who", "code", 0.8),
        SheetColumn("", "What happened", "", 2.6), SheetColumn("", "What was done", "", 2.2),
        SheetColumn("", "Decided by", "role", 1.0), SheetColumn("", "Told to", "doctor, family, committee", 1.3),
    )  # fmt: skip
    steps = (
        "Everything goes in here: injuries, faints, blows to the head, bleeding, a needle-stick, someone who felt "
        "pressed to go on.",
        "Write at once, with codes and no names. The ethics committee’s rules say what must be reported, and by when.",
    )
    return Sheet("incidents", "Incident log", "the first-aider", TOP, steps, columns, tuple(("",) * 6 for _ in range(9)),
                 (safety.STOP_NOW, safety.HEAD, safety.NEEDLE_STICK), wide=True, row_mm=11.0)  # fmt: skip


def _materials(n, rounds, n_sampled, mats, analysers) -> Sheet:
    table = list_materials(n, rounds, n_sampled=n_sampled, n_mats=mats, analysers=analysers)
    columns = (
        SheetColumn("", "What", "", 3.2), SheetColumn("", "Needed", "", 0.8), SheetColumn("", "Spare", "", 0.7),
        SheetColumn("", "Packed", "tick", 0.8), SheetColumn("", "Why", "", 2.4),
    )  # fmt: skip
    rows = tuple((r.item, str(r.needed), str(r.spare), "", r.why) for r in table.itertuples())
    steps = () if n_sampled else (safety.NO_LICENCE,)
    return Sheet("materials", "Materials", "whoever packs the bag", ("Date", "Packed by"), steps, columns, rows, (),
                 row_mm=7.5, bold=False)  # fmt: skip


def _fill(columns, **known) -> tuple[str, ...]:
    return tuple(known.get(name, "") for name in columns)


def _minutes(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min"
