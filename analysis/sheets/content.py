"""The sheets of an evening, filled in as far as the plan knows; and what to pack, counted with spares."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

import pandas as pd

from ..basics import KitError, check_choice, format_number, format_percent, join_words
from ..basics.errors import expand_home
from ..planning import Pairing, Timetable, make_timetable
from ..study import typed_outcomes
from . import safety
from .html import sheets_html
from .parts import Sheet, SheetColumn, sheet_columns
from .pdf import sheets_pdf

TOP = ("Date", "Evening", "Place", "Filled in by")
EMERGENCY = ("Emergency number", "Defibrillator at", "First-aider", "Nearest doctor or hospital")

NO_SAMPLE = "—"
BLOOD_COLUMNS = ("lactate_mmol_l", "lactate_limit", "lactate_delay_s")
GLOVED_MM = 10.0
"""Lowest row that a gloved hand writes into (our proposal)."""
ROWS_OF_A_PAGE = 14
"""Rows of a round sheet that fit on a page with room for writing: small clubs get several rounds on one."""
TICKS = ("caffeine", "meal", "hard_training_24h", "short_sleep", "unwell")


TYPED = [c for o in typed_outcomes() for c in ((o, "lactate_delay_s") if o == "lactate_mmol_l" else (o,))]
"""The outcomes that are typed, with the delay of a sample beside its value."""

DEFAULT_COLUMNS = {
    "clock": ("session", "group", "round_no", "start_clock", "end_clock", "note"),
    "athletes": (
        "athlete", "group", "grade", "age_years", "sex", "mass_kg", "experience_years", "hr_rest_bpm", "hr_max_bpm",
        "hr_max_source", "hr_limited", "consent_measured", "consent_individual_figures", "consent_shared_data",
        "guardian_consent", "cleared",
    ),
    "attendance": (
        "session", "athlete", "device", "mass_kg", "usual_mass_kg", *TICKS, "arrived", "left_after", "mass_after_kg",
        "drinks_l", "note",
    ),
    "rounds": (
        "session", "athlete", "round_no", "took_part", "minutes_done", "opponent", *TYPED,
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
    minors: Sequence[str] = (),
    minors_blood: bool = False,
    known: pd.DataFrame | None = None,
) -> list[Sheet]:
    """Build every sheet of an evening."""
    codes = [str(a) for a in athletes]
    if not codes:
        raise KitError("There are no athletes to print sheets for: fill athletes.csv, or make codes with make_codes.")
    barred = [] if minors_blood else [c for c in codes if c in set(minors)]
    timetable = timetable or make_timetable(protocol, athletes=pairing or codes, unsampled=barred)
    columns = {**DEFAULT_COLUMNS, **(columns or {})}
    sampled = _who_is_sampled(codes, timetable, sampled, barred)
    sheets = [
        _safety(bool(minors), bool(sampled)),
        _roll_call(codes, session, columns["attendance"]),
        _athletes(codes, columns["athletes"], known),
        *_round_sheets(protocol, codes, pairing, timetable, sampled, columns["rounds"]),
        _round_0(codes, sampled, columns["rounds"]),
        _timekeeper(protocol, session, timetable, columns["clock"]),
    ]
    if pairing is not None:
        sheets.append(_pairs(protocol, pairing))
        sheets += _mat_sheets(timetable)
        sheets += [_athlete_card(code, protocol, pairing, timetable, sampled) for code in codes]
    sheets.append(_incidents(bool(sampled)))
    mats = int(timetable.mats["mat"].max())
    sheets.append(_materials(len(codes), protocol.rounds, len(sampled), mats, timetable.sampling.analysers))
    return sheets


def _who_is_sampled(codes, timetable, sampled, barred) -> list[str]:
    if sampled is None:
        inside = timetable.slots.groupby("athlete")["in_window"].all()
        return [c for c in codes if bool(inside.get(c, False)) and c not in barred]
    wrong = [c for c in sampled if c in barred]
    if wrong:
        raise KitError(
            f"Under 18 and on the list for blood samples: {join_words(wrong)}. Take them off the list; only where the ethics "
            'committee approved exactly that, write approval = "number" and minors_blood = true under [ethics] in study.toml.'
        )
    return [c for c in codes if c in set(sampled)]


def _safety(minors: bool, blood: bool) -> Sheet:
    texts = [
        safety.DEFER,
        safety.ANYBODY_STOPS,
        safety.ROUND_ONLY,
        safety.STOP_NOW,
        safety.AMBULANCE,
        safety.NOT_BREATHING,
    ]
    texts += [safety.CHOKE, safety.NECK, safety.HEAD, safety.HEAT, safety.ASTHMA, safety.NOT_TODAY, safety.HARD]
    texts += [safety.BLOOD, safety.COVER, safety.NEEDLE_STICK] if blood else []
    texts += [safety.NO_LICENCE]
    texts += [safety.MINORS] if minors else []
    return Sheet("safety", "Safety", "on the wall, and read aloud at the start", EMERGENCY, tuple(texts), notes=False)


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
                 (safety.ANYBODY_STOPS,), row_mm=14.0, least_row_mm=9.0, size="strip")  # fmt: skip


def _roll_call(codes, session, columns) -> Sheet:
    columns = [c for c in columns if c != "session"]
    rows = tuple(_fill(columns, athlete=code) for code in codes)
    steps = [
        "Ask everyone, alone: well today? any blow to the head, choke that put you out, illness, injury or medicine since we "
        "last met? Asthma: is the inhaler at the mat? Consent and clearance signed?",
        "Weigh in the same clothing as always, and ask for the usual mass.",
        safety.lowest_masses(),
    ]
    if set(TICKS) & set(columns):
        steps.append(
            "Ticks: write yes or no. Caffeine in the last 3 hours, a meal in the last 2, hard training in the last 24, less "
            "than 6 hours of sleep, feeling unwell. Whoever is ill goes home; the others spar, and the ticks are described."
        )
    steps += ["Give out the strap, wet it, write its number, and look that it shows a heart rate before the warm-up."]
    if "mass_after_kg" in columns:
        steps += ["At the end: weigh again, towelled dry and in the same clothing, and write down what each has drunk."]
    return Sheet("roll_call", f"Roll call and straps · evening {session}", "whoever opens the door", TOP, tuple(steps),
                 sheet_columns(columns), rows, (safety.NOT_TODAY,), wide=True, row_mm=11.0)  # fmt: skip


def _athletes(codes, columns, known: pd.DataFrame | None) -> Sheet:
    columns = [c for c in columns if c not in ("withdrawn", "club")]
    given: dict = {}
    if known is not None and len(known):
        there = [c for c in columns if c in known and c != "athlete"]
        given = known.set_index("athlete")[there].map(_shown).to_dict("index")
    rows = tuple(_fill(columns, athlete=code, **given.get(code, {})) for code in codes)
    steps = (
        "Filled in once, before the evening, from the consent form and the screening sheet. Codes only; age in years, "
        "no birth dates.",
        "Resting heart rate: after 5 to 10 minutes of lying or sitting, the lowest steady minute. Highest heart rate: measured "
        "only where a maximal effort was recorded, else predicted.",
        "Cleared is yes only with every question answered no, or a doctor’s clearance in writing.",
    )
    return Sheet("athletes", "Athletes", "whoever keeps the consent forms", ("Date", "Filled in by"), steps,
                 sheet_columns(columns),
                 rows, (safety.MINORS,), wide=True, row_mm=10.0)  # fmt: skip


def _pairs(protocol, pairing: Pairing) -> Sheet:
    rounds = range(1, protocol.rounds + 1)
    columns = (SheetColumn("", "Mat", "", 0.5), *(SheetColumn("", f"Round {r}", "", 1.2) for r in rounds))
    table = pairing.schedule.set_index(["round_no", "mat"])
    names = {key: f"{row['athlete_1']} – {row['athlete_2']}" for key, row in table.iterrows()}
    mats = range(1, int(pairing.schedule["mat"].max()) + 1)
    rows = [(str(mat), *(names.get((r, mat), "") for r in rounds)) for mat in mats]
    if len(pairing.sat_out):
        away = pairing.sat_out.groupby("round_no")["athlete"].agg(", ".join)
        rows.append(("out", *(away.get(r, "") for r in rounds)))
    steps = (
        "Planned from body mass, group, grade and experience, never from fitness. You know these people: change a pair that "
        "is not safe, and write down what was changed and why.",
        *pairing.warnings,
    )
    across = protocol.rounds > 8
    return Sheet("pairs", "Who spars whom", "the coach", TOP[:3], steps, columns, tuple(rows),
                 (safety.STOP_SHORT, safety.HARD), wide=across, row_mm=10.0, size="page" if across else "strip")  # fmt: skip


def _round_sheets(protocol, codes, pairing, timetable, sampled, columns) -> list[Sheet]:
    """One page for each round, or for several rounds of a small club."""
    per_page = max(ROWS_OF_A_PAGE // len(codes), 1)
    pages = -(-protocol.rounds // per_page)
    cuts = [round(i * protocol.rounds / pages) for i in range(pages + 1)]
    pages = [range(a + 1, b + 1) for a, b in pairwise(cuts)]
    return [_round_sheet(protocol, codes, rounds, pairing, timetable, sampled, columns) for rounds in pages]


def _round_sheet(protocol, codes, rounds, pairing, timetable, sampled, columns) -> Sheet:
    known_here = {"session"} | ({"round_no"} if len(rounds) == 1 else set())
    columns = [c for c in columns if c not in known_here and (sampled or c not in BLOOD_COLUMNS)]
    rows = []
    for round_no in rounds:
        slots = timetable.slots[timetable.slots["round_no"] == round_no].set_index("athlete")
        times = slots["sample_s"].to_dict()
        order = sorted(codes, key=lambda c, at=times: (c not in sampled, at.get(c, 1e9), codes.index(c)))
        opponents = {}
        if pairing is not None:
            now = pairing.opponents[pairing.opponents["round_no"] == round_no]
            opponents = dict(zip(now["athlete"], now["opponent"], strict=True))
        for code in order:
            known = {"athlete": code, "round_no": str(round_no), "opponent": opponents.get(code, "")}
            if code not in sampled:
                known |= dict.fromkeys(BLOOD_COLUMNS, NO_SAMPLE)
            rows.append(_fill(columns, **known))
    steps = ["The opponent is as planned: cross out and correct what turned out otherwise."]
    cautions = [safety.STOP_SHORT]
    blood = bool(sampled) and "lactate_mmol_l" in columns
    if blood:
        target, spare = timetable.sampling.target_delay_s, timetable.sampling.tolerance_s
        when = f"Blood {format_number(target, 0)} ± {format_number(spare, 0, unit='s')} after the end of the round, from one site"
        steps.append(f"{when}, {_whom(codes, sampled)}. Write the seconds that really passed; HI or LO is a result.")
        cautions += [safety.COVER, safety.BLOOD_SHORT]
    if "exertion" in columns:
        steps.append(f"Exertion on the {protocol.exertion_scale} scale. {safety.RATING}")
    which = f"round {rounds[0]}" if len(rounds) == 1 else f"rounds {join_words([str(r) for r in rounds])}"
    return Sheet(f"round_{'_'.join(map(str, rounds))}", f"{'Lactate and exertion' if blood else 'Exertion'} · {which}",
                 "the sampler and the questioner" if blood else "the questioner", TOP, tuple(steps), sheet_columns(columns),
                 tuple(rows), tuple(cautions), row_mm=15.0, least_row_mm=GLOVED_MM if blood else 8.0)  # fmt: skip


def _whom(codes, sampled) -> str:
    who = "in the order of the rows"
    if len(sampled) < len(codes):
        who += f", only of {join_words(sampled)} ({NO_SAMPLE}: no sample planned; leave the cell blank when you type)"
    return who


def _round_0(codes, sampled, columns) -> Sheet:
    wanted = ("athlete", *(o for o in typed_outcomes() if sampled or o not in BLOOD_COLUMNS), "note")
    columns = [c for c in columns if c in wanted]
    order = sorted(codes, key=lambda c: (c not in sampled, codes.index(c)))
    rows = tuple(_fill(columns, athlete=c, **({} if c in sampled else {"lactate_mmol_l": NO_SAMPLE})) for c in order)
    steps = ["Typed in as round 0: shown beside the rounds, never part of a test between them.",
             "After the warm-up and five quiet minutes, before the first round."]  # fmt: skip
    cautions = []
    if sampled:
        steps.append(f"Blood from the site that is used all evening, {_whom(codes, sampled)}.")
        cautions = [safety.BLOOD_SHORT]
    return Sheet("round_0", "Before sparring · round 0", "the sampler and the questioner" if sampled else "the questioner", TOP,
                 tuple(steps), sheet_columns(columns), rows, tuple(cautions), row_mm=14.0,
                 least_row_mm=GLOVED_MM if sampled else 8.0,
                 size="page" if len(codes) > 12 else "strip")  # fmt: skip


def _mat_sheets(timetable) -> list[Sheet]:
    columns = (
        SheetColumn("round_no", "Round", "", 0.6), SheetColumn("", "Planned start", "clock", 1.0),
        SheetColumn("", "Athlete", "code", 0.9), SheetColumn("", "Athlete", "code or guest", 0.9),
        SheetColumn("took_part", "Both took part to the end?", "yes, or who not", 1.6), SheetColumn("note", "Note", "", 2.6),
    )  # fmt: skip
    steps = ("Check the pair before the start. Sits out: sat_out. Gone home: left. Straps stay on between rounds.",)
    sheets = []
    for mat, here in timetable.mats.groupby("mat"):
        in_order = here.sort_values("round_no").itertuples()
        rows = tuple((str(r.round_no), r.start_clock, r.athlete_1, r.athlete_2, "", "") for r in in_order)
        sheets.append(Sheet(f"mat_{mat}", f"Mat {mat}", "the mat’s referee", ("Date", "Filled in by"), steps, columns, rows,
                            (safety.STOP_SHORT,), row_mm=13.0, least_row_mm=7.4, size="strip"))  # fmt: skip
    return sheets


def _athlete_card(code, protocol, pairing, timetable, sampled) -> Sheet:
    blood = code in sampled
    columns = (
        SheetColumn("round_no", "Round", "", 0.7), SheetColumn("", "Start", "", 1.0), SheetColumn("", "Mat", "", 0.6),
        SheetColumn("opponent", "Opponent", "", 1.1), *((SheetColumn("", "Blood", "", 1.0),) if sampled else ()),
    )  # fmt: skip
    mine = pairing.opponents[pairing.opponents["athlete"] == code].set_index("round_no")
    starts = timetable.mats.set_index(["round_no", "mat"])["start_clock"]
    slots = timetable.slots[timetable.slots["athlete"] == code].set_index("round_no")
    rows = []
    for round_no in range(1, protocol.rounds + 1):
        if round_no not in mine.index:
            rows.append((str(round_no), *("",) * (len(columns) - 1)))
            continue
        mat, opponent = mine.loc[round_no, ["mat", "opponent"]]
        sample = NO_SAMPLE
        if blood and round_no in slots.index:
            sample = slots.loc[round_no, "sample_clock"] or "after it"
        start = "" if pd.isna(mat) else starts.get((round_no, int(mat)), "")
        where = "" if pd.isna(mat) else str(int(mat))
        rows.append((str(round_no), start, where, opponent, *((sample,) if sampled else ())))
    steps = (
        "Your code, never your name. Your numbers come to you first; nobody is graded or selected by them.",
        "Leave, sit out or say no to a sample at any moment, without a reason.",
        "Strap wet, under the shirt. Spar as always. After each round one number for how hard it was, alone.",
    )
    return Sheet(f"athlete_{code}", f"Your evening · {code}", "", (), steps, columns, tuple(rows),
                 (safety.STOP_SHORT,), row_mm=5.6,
                 size="card")  # fmt: skip


def _incidents(blood: bool) -> Sheet:
    columns = (
        SheetColumn("", "Time", "clock", 0.7), SheetColumn("", "Who", "code", 0.7), SheetColumn("", "What happened", "", 2.2),
        SheetColumn("", "Severity", "1, 2, 3", 0.7), SheetColumn("", "What was done", "and by whom, by role", 2.0),
        SheetColumn("", "Told to", "doctor, family, committee; when", 1.4),
        SheetColumn("", "Follow-up", "next day, after a week", 1.4),
        SheetColumn("", "Back to training", "cleared by, date", 1.2),
    )  # fmt: skip
    steps = (
        "Everything goes in here, a near miss too: injuries, chokes that put somebody out, faints, blows to the head, bleeding, "
        "a needle-stick, an inhaler used, someone who felt pressed to go on. At once, with codes and no names.",
        "Severity 1: first aid, could go on. 2: evening ended. 3: doctor, hospital or ambulance, any loss of consciousness, any "
        "needle-stick; after a 3 the measurements stop until lead and first-aider have talked.",
        "Named here: who asks the next day and after a week, and who cleared the return to training. The ethics committee’s "
        "rules say what must be reported, and by when.",
    )
    cautions = (safety.AMBULANCE, safety.NEEDLE_STICK) if blood else (safety.AMBULANCE,)
    return Sheet("incidents", "Incident log", "the first-aider", TOP, steps, columns, tuple(("",) * 8 for _ in range(6)),
                 cautions, wide=True, row_mm=17.0, least_row_mm=13.0)  # fmt: skip


def _materials(n, rounds, n_sampled, mats, analysers) -> Sheet:
    table = list_materials(n, rounds, n_sampled=n_sampled, n_mats=mats, analysers=analysers)
    columns = (
        SheetColumn("", "What", "", 3.2), SheetColumn("", "Needed", "", 0.8), SheetColumn("", "Spare", "", 0.7),
        SheetColumn("", "Packed", "tick", 0.8), SheetColumn("", "Why", "", 2.4),
    )  # fmt: skip
    rows = tuple((r.item, str(r.needed), str(r.spare), "", r.why) for r in table.itertuples())
    steps = () if n_sampled else (safety.NO_LICENCE,)
    return Sheet("materials", "Materials", "whoever packs the bag", ("Date", "Packed by"), steps, columns, rows, (),
                 row_mm=8.5, least_row_mm=6.0, bold=False)  # fmt: skip


def _fill(columns, **known) -> tuple[str, ...]:
    return tuple(known.get(name, "") for name in columns)


def _shown(value) -> str:
    if isinstance(value, str):
        return value
    return "" if pd.isna(value) else f"{value:g}"


def _minutes(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min"


def list_materials(
    n_athletes: int, rounds: int, *, n_sampled: int = 0, n_mats: int = 1, analysers: int = 1, spare: float = 0.25
) -> pd.DataFrame:
    """List what the evening needs.

    Parameters
    ----------
    n_athletes : int
        Athletes with a strap.
    rounds : int
    n_sampled : int
        Athletes who give blood after every round (0: none, and nothing for blood is listed).
    n_mats : int
    analysers : int
    spare : float
        Share of everything used up that is packed on top. Default 0.25.

    Returns
    -------
    DataFrame
        item, needed, spare (whole pieces), why.

    Notes
    -----
    Spares and duplicates (one sample in ten read twice) are our proposal.

    Examples
    --------
    >>> list_materials(12, 4).loc[0, ["needed", "spare"]].tolist()
    [12, 3]
    """

    def extra(count, least=1):
        return max(least, math.ceil(spare * count))

    water = "0.5 to 1 litre each; what is drunk is written down"
    rows = [
        ("Chest strap or watch, numbered, charged", n_athletes, extra(n_athletes, 2), "one each"),
        ("Batteries for straps", extra(n_athletes, 2), 2, "some are always flat"),
        ("Stopwatch or wall clock that all can see", 1, 1, "one clock for everything"),
        ("Phone or laptop set to the same clock", 1, 0, "note the difference to each device"),
        ("Scales", 1, 0, "roll call"),
        ("Thermometer and hygrometer", 1, 0, "conditions of the evening"),
        ("Water and paper towels for the straps", 1, 1, "wet straps lose contact less"),
        ("Pens, clipboards", n_mats + 3, 2, "one for each sheet holder"),
        ("First-aid kit, ice, telephone that has a signal", 1, 0, "emergency number on the safety sheet"),
        ("Defibrillator: where it is, checked today", 1, 0, "in the hall"),
        ("Cold water and towels, a fan, a blanket", 1, 0, "cool first, then transport; keep warm after a faint"),
        ("Inhalers of those with asthma, with their codes", 1, 0, "at the edge of the mat"),
        ("Drinking water, bottles with codes", n_athletes, extra(n_athletes), water),
        ("Mat disinfectant and cloths", 1, 1, "before, and after any bleeding"),
    ]
    if n_sampled:
        samples = n_sampled * rounds
        twice = math.ceil(samples / 10)
        rows += [
            ("Lactate strips, one lot", samples + twice, extra(samples + twice, 5),
             f"{n_sampled} × {rounds}, and {format_percent(0.1)} read twice"),
            ("Single-use lancets that lock themselves", samples, extra(samples, 5), "a new one for every puncture"),
            ("Pairs of gloves", samples, extra(samples, 5), "new for every person"),
            ("Hand disinfectant", 1, 1, "before and after every person"),
            ("Waste bag for blood, with a label", 1, 1, "gloves, swabs, strips"),
            ("Bottle to rinse eyes and mouth", 1, 0, "after a splash"),
            ("Alcohol wipes", 2 * samples, extra(2 * samples, 10), "skin and sweat"),
            ("Dry swabs", 2 * samples, extra(2 * samples, 10), "first drop, pressure"),
            ("Plasters or tape that hold in a grip", samples, extra(samples, 10), "before gripping again"),
            ("Sharps box", 1, 1, "within reach of the sampler"),
            ("Control solution for the analyser", analysers, 0, "before the first sample"),
            ("Lactate analyser", analysers, 0, "the same one all study"),
        ]  # fmt: skip
    return pd.DataFrame(rows, columns=["item", "needed", "spare", "why"])


KEEP_APART = (
    "This list is the only place where a code meets a name. Print it, fill it in by hand, lock it away apart from the study, "
    "and destroy it on the day written above. No photo, no copy, no upload.",
    "Only the person named above sees it. Coaches do not need it.",
)


def write_code_list(
    codes: Sequence[str],
    folder: str | Path,
    *,
    study_folder: str | Path | None = None,
    paper: str = "A4",
    kind: str = "pdf",
) -> Path:
    """Write the empty list of codes, to be filled in by hand.

    Parameters
    ----------
    codes : sequence of str
        The codes; the kit never sees a name.
    folder : path
        Where to write: outside every study folder and every git work tree.
    study_folder : path, optional
        The study, to make sure that the list does not end up in it.
    paper : {"A4", "Letter"}
    kind : {"pdf", "html"}

    Returns
    -------
    path

    Raises
    ------
    KitError
        Where the folder is, or lies in, a study folder (it holds study.toml) or a git work tree.

    Examples
    --------
    >>> import tempfile
    >>> write_code_list(["A01", "A02"], tempfile.mkdtemp()).name
    'code_list.pdf'
    """
    check_choice(kind, ("pdf", "html"), name="kind")
    folder = expand_home(folder).resolve()
    above = [folder, *folder.parents]
    inside = study_folder is not None and expand_home(study_folder).resolve() in above
    if inside or any((place / "study.toml").exists() for place in above):
        raise KitError(
            f"{folder} belongs to a study folder. Keep the list of codes elsewhere, such as on paper in a locked drawer: "
            "whoever has both knows whose heart rates these are."
        )
    if any((place / ".git").exists() for place in above):
        raise KitError(
            f"{folder} lies in a git work tree, which remembers everything: keep the list of codes elsewhere."
        )
    if not folder.is_dir():
        raise KitError(f"There is no folder {folder}.")
    path = folder / f"code_list.{kind}"
    if path.exists():
        raise KitError(f"{path} exists already and may be filled in: it is not overwritten.")
    sheet = code_sheet(codes)
    if kind == "pdf":
        return sheets_pdf([sheet], path, paper=paper, title=sheet.title)
    path.write_text(sheets_html([sheet], paper=paper, title=sheet.title), encoding="utf-8")
    return path


def code_sheet(codes: Sequence[str]) -> Sheet:
    """Build the empty list of codes as a sheet."""
    columns = (
        SheetColumn("", "Code", "", 0.6), SheetColumn("", "Name", "by hand only", 2.6),
        SheetColumn("", "How to reach", "for results", 2.0), SheetColumn("", "Consent form", "date, place kept", 1.4),
    )  # fmt: skip
    rows = tuple((str(code), "", "", "") for code in codes)
    return Sheet("code_list", "Code list", "kept apart from the study", ("Kept by", "Kept at", "Destroyed on", "Destroyed by"),
                 KEEP_APART, columns, rows)  # fmt: skip
