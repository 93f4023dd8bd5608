"""Slips that people make when they type an evening from paper, planted in made clubs, and what is to be said of each.

`SLIPS` holds one `Slip` for each: how it is planted, where it has to be found, and what the paper sheet says, for a remedy
that sends the reader there. The slips are our own collection of what typing, spreadsheets and other languages bring
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from typed_clubs import Book


@dataclass(frozen=True)
class Slip:
    """One slip.

    Parameters
    ----------
    name : str
    plant : callable
        Changes the Book; returns the rows of the spreadsheet at which it is to be found (empty: no row).
    table, column : str
        Where it is to be found; "study.toml" for a setting.
    level : str
        "problem" stops, "question" is asked ("is this right?"), "remark" is noticed, "read" is read without a word.
    words : str
        Part of what is said.
    truth : dict
        Column -> what the paper sheet says in that row.
    kinds : tuple of str
        How the folder is written.
    club : dict
        Of `clean_club`.
    most : int
        Findings that it may give: a slip in a whole column is one finding.
    """

    name: str
    plant: Callable[[Book], list[int] | None]
    table: str
    column: str
    level: str = "problem"
    words: str = ""
    truth: dict = field(default_factory=dict)
    kinds: tuple[str, ...] = ("csv", "semicolons", "workbook")
    club: dict = field(default_factory=dict)
    most: int = 1


SLIPS: list[Slip] = []
ONE = {"athlete": "A03", "round_no": "2"}


def slip(table: str, column: str, **options):
    """Note a function as the slip of its name."""

    def note(plant):
        SLIPS.append(Slip(plant.__name__, plant, table, column, **options))
        return plant

    return note


def cell(
    name: str, table: str, column: str, text: str, *, keys: dict | None = None, beside: dict | None = None, **options
):
    """Note the slip of one cell."""
    keys = keys or (ONE if table == "rounds" else {"athlete": "A03"})

    def plant(book: Book) -> list[int]:
        return [book.put(table, keys, **(beside or {}), **{column: text})]

    SLIPS.append(Slip(name, plant, table, column, **options))


# ---- consent


@slip("athletes", "consent_measured", level="remark", words="A03", truth={"consent_measured": "yes"})
def consent_of_one_is_blank(book):
    return [book.put("athletes", {"athlete": "A03"}, consent_measured="")]


@slip("athletes", "consent_measured", words="10 athletes", truth={"consent_measured": "yes"})
def consent_of_all_is_blank(book):
    book.every("athletes", consent_measured="")
    return []


@slip("athletes", "cleared", words="10 athletes", truth={"cleared": "yes"})
def clearance_of_all_is_blank(book):
    book.every("athletes", cleared="")
    return []


@slip("athletes", "consent_measured", words="no consent", most=1)
def athletes_tab_is_empty(book):
    book.tables["athletes"] = []
    return []


@slip("athletes", "consent_measured", level="remark", words="A03")
def consent_is_no(book):
    return [book.put("athletes", {"athlete": "A03"}, consent_measured="no")]


for _word, _meant in (
    ("ja", "yes"),
    ("oui", "yes"),
    ("sí", "yes"),
    ("sim", "yes"),
    ("sì", "yes"),
    ("tak", "yes"),
    ("はい", "yes"),
):
    cell(f"yes_is_typed_as_{_word}", "athletes", "consent_measured", _word, level="read")
for _word, _meant in (
    ("Mann", "M"),
    ("weiblich", "F"),
    ("homme", "M"),
    ("mujer", "F"),
    ("mulher", "F"),
    ("maschio", "M"),
    ("kobieta", "F"),
    ("kvinna", "F"),
    ("女", "F"),
    ("男性", "M"),
):
    cell(f"sex_is_typed_as_{_word}", "athletes", "sex", _word, level="read")
cell("sex_is_h", "athletes", "sex", "H", words="among", truth={"sex": "M"})

# ---- misread and mistyped numbers


@slip("rounds", "hr_mean_typed_bpm", level="question", words="181")
def mean_with_digits_exchanged(book):
    book.put("athletes", {"athlete": "A02"}, hr_max_bpm="195")
    return [book.put("rounds", {"athlete": "A02", "round_no": "3"}, hr_mean_typed_bpm="118", hr_peak_typed_bpm="191")]


cell("mean_misread", "rounds", "hr_mean_typed_bpm", "101", level="question", truth={"hr_mean_typed_bpm": "161"})


@slip("rounds", "lactate_mmol_l", level="question", words="; 8 with")
def lactate_lost_its_point(book):
    for k, v in (("1", "7.4"), ("2", "8.0"), ("3", "8.3"), ("4", "8.9")):
        book.put("rounds", {"athlete": "A03", "round_no": k}, lactate_mmol_l=v)
    return [book.put("rounds", ONE, lactate_mmol_l="0.8")]


cell("lactate_without_point", "rounds", "lactate_mmol_l", "80", words="8", truth={"lactate_mmol_l": "8.0"})
cell("lactate_with_letter_o", "rounds", "lactate_mmol_l", "8.O", words="8.0", truth={"lactate_mmol_l": "8.0"})
cell("lactate_with_letter_l", "rounds", "lactate_mmol_l", "l0.2", words="10.2", truth={"lactate_mmol_l": "10.2"})
cell("lactate_with_two_points", "rounds", "lactate_mmol_l", "7..8", words="7.8", truth={"lactate_mmol_l": "7.8"})
cell("lactate_with_dash", "rounds", "lactate_mmol_l", "7-8", words="not a number", truth={"lactate_mmol_l": "7.8"})
cell("lactate_with_unit", "rounds", "lactate_mmol_l", "7.8 mmol/L", level="read")
cell("lactate_in_mg_dl", "rounds", "lactate_mmol_l", "72", words="mg/dL", truth={"lactate_mmol_l": "8.0"})
cell("lactate_below_two", "rounds", "lactate_mmol_l", "<2", level="question", words="about",
     truth={"lactate_mmol_l": "8.0"})  # fmt: skip
cell("lactate_above_25", "rounds", "lactate_mmol_l", "> 25", level="question", words="about",
     truth={"lactate_mmol_l": "8.0"})  # fmt: skip


def among_high_readings(book, text):
    """Type a text for the second round of an athlete whose other readings are near the end of the scale."""
    for k, v in (("1", "17.4"), ("2", "18.6"), ("3", "19.2"), ("4", "19.8")):
        book.put("rounds", {"athlete": "A03", "round_no": k}, lactate_mmol_l=v)
    return [book.put("rounds", ONE, lactate_mmol_l=text)]


@slip("rounds", "lactate_mmol_l", level="read")
def lactate_above_twenty(book):
    return among_high_readings(book, "> 20.5")


@slip("rounds", "lactate_mmol_l", level="remark", words="study.toml", truth={"lactate_mmol_l": "HI"})
def lactate_hi_without_end(book):
    return among_high_readings(book, "HI")


cell("lactate_below_nothing", "rounds", "lactate_mmol_l", "<", words="number", truth={"lactate_mmol_l": "5.9"})
cell("lactate_error_of_the_meter", "rounds", "lactate_mmol_l", "E-4", words="", truth={"lactate_mmol_l": ""})
cell("peak_below_mean", "rounds", "hr_peak_typed_bpm", "91", words="", truth={"hr_peak_typed_bpm": "191"})


@slip("rounds", "hr_mean_typed_bpm", words="exchanged")
def mean_and_peak_of_a_row_exchanged(book):
    i = book.row_of("rounds", **ONE)
    row = book.tables["rounds"][i]
    row["hr_mean_typed_bpm"], row["hr_peak_typed_bpm"] = row["hr_peak_typed_bpm"], row["hr_mean_typed_bpm"]
    return [i + 3]


cell(
    "mean_with_a_digit_too_many", "rounds", "hr_mean_typed_bpm", "1610", words="161", truth={"hr_mean_typed_bpm": "161"}
)
cell("mean_with_a_point", "rounds", "hr_mean_typed_bpm", "16.1", words="161", truth={"hr_mean_typed_bpm": "161"})
cell("mean_with_unit", "rounds", "hr_mean_typed_bpm", "161 bpm", level="read", beside={"hr_peak_typed_bpm": "172"})
cell(
    "exertion_above_the_scale", "rounds", "exertion", "71", club={"scale": "6-20"}, words="17", truth={"exertion": "17"}
)
cell("exertion_eleven_of_ten", "rounds", "exertion", "11", level="question", words="10", truth={"exertion": "10"})
cell("exertion_between_whole_numbers", "rounds", "exertion", "13.5", club={"scale": "6-20"}, words="whole",
     truth={"exertion": "13"})  # fmt: skip
cell("exertion_of_another_scale", "rounds", "exertion", "15", words="scale", truth={"exertion": "5"})
cell("exertion_in_words", "rounds", "exertion", "hard", words="number", truth={"exertion": "5"})
cell("delay_ten_times", "rounds", "lactate_delay_s", "600", level="question", words="60")
cell(
    "delay_in_minutes", "rounds", "lactate_delay_s", "1", level="question", words="60", truth={"lactate_delay_s": "60"}
)
cell("delay_as_time", "rounds", "lactate_delay_s", "1:05", level="read")
cell("minutes_as_hours", "rounds", "minutes_done", "5:00:00", words="5:00", truth={"minutes_done": "5"})
cell("minutes_too_long", "rounds", "minutes_done", "50", words="longer", level="question", truth={"minutes_done": "5"})

# ---- codes, rounds, rows

cell("code_unknown", "rounds", "athlete", "A14", words="athletes table", truth={"athlete": "A03"}, most=2)
cell("code_in_small_letters", "rounds", "athlete", "a3", words="A03", most=2)
cell("code_with_letter_o", "rounds", "athlete", "AO3", words="A03", most=2)
cell("code_without_zero", "rounds", "athlete", "A3", words="A03", most=2)
cell("code_is_a_name", "rounds", "athlete", "Robin", words="name", truth={"athlete": "A03"}, most=1)
cell("opponent_unknown", "rounds", "opponent", "B7", words="athletes table", truth={}, most=2)
cell("opponent_is_self", "rounds", "opponent", "A03", words="own code", most=2)
cell("opponent_is_self_mistyped", "rounds", "opponent", "A3", words="own code", most=2)
cell("round_of_no_protocol", "rounds", "round_no", "5", words="it has 4", truth={"round_no": "2"}, most=2)
cell("round_with_letter", "rounds", "round_no", "R2", level="read")
cell("round_and_a_half", "rounds", "round_no", "2.5", words="whole", truth={"round_no": "2"}, most=2)
cell("session_unknown", "rounds", "session", "2", words="sessions table", truth={"session": "1"}, most=2)


@slip("rounds", "round_no", words="the same", most=1)
def row_twice_alike(book):
    book.tables["rounds"].append(dict(book.tables["rounds"][5]))
    return [len(book.tables["rounds"]) + 2]


@slip("rounds", "round_no", words="the same", most=1)
def row_twice_unlike(book):
    book.tables["rounds"].append({**book.tables["rounds"][5], "lactate_mmol_l": "9.9"})
    return [len(book.tables["rounds"]) + 2]


@slip("decisions", "", words="2 rows", most=2)
def duplicate_set_aside_by_its_keys(book):
    row = dict(book.tables["rounds"][5])
    book.tables["rounds"].append(row)
    keys = {k: row[k] for k in ("session", "athlete", "round_no")}
    book.tables["decisions"].append(
        {
            "date": "2026-03-06",
            "decided_by": "study lead",
            "table": "rounds",
            **keys,
            "action": "set aside",
            "reason": "typed twice",
        }
    )
    return [3]


@slip("rounds", "took_part", words="filled in", most=2)
def sat_out_but_rated(book):
    return [
        book.put(
            "rounds", ONE, took_part="sat_out", opponent="", minutes_done="", hr_mean_typed_bpm="", hr_peak_typed_bpm=""
        )
    ]


@slip("attendance", "device", level="question", words="A02")
def one_strap_on_two_athletes(book):
    return [book.put("attendance", {"athlete": "A03"}, device="2")]


@slip("rounds", "lactate_delay_s", level="question", words="from round to round", most=1)
def delay_grows(book):
    for row in book.tables["rounds"]:
        row["lactate_delay_s"] = str(40 + 45 * (int(row["round_no"]) - 1) + int(row["athlete"][1:]))
    return []


# ---- athletes, tests, dates, times

cell("age_is_a_year", "athletes", "age_years", "1998", words="year of birth", truth={"age_years": "27"})
cell("age_with_a_digit_too_many", "athletes", "age_years", "203", words="", truth={"age_years": "23"})
cell("mass_without_point", "athletes", "mass_kg", "878", words="87.8", truth={"mass_kg": "87.8"}, most=2)
cell(
    "mass_in_pounds",
    "athletes",
    "mass_kg",
    "193.6",
    level="question",
    words="pounds",
    truth={"mass_kg": "87.8"},
    most=2,
)
cell("maximum_lost_its_first_digit", "athletes", "hr_max_bpm", "98", words="198", truth={"hr_max_bpm": "198"})
cell("maximum_and_rest_exchanged", "athletes", "hr_rest_bpm", "188", beside={"hr_max_bpm": "52"}, words="exchanged",
     truth={"hr_rest_bpm": "52", "hr_max_bpm": "188"}, most=2)  # fmt: skip
cell("maximum_without_source", "athletes", "hr_max_source", "", level="remark", words="measured")
cell(
    "level_and_shuttle_in_one",
    "aerobic_tests",
    "level",
    "9.4",
    beside={"shuttle": ""},
    words="level 9",
    truth={"level": "9"},
)
cell(
    "level_and_shuttle_without_point",
    "aerobic_tests",
    "level",
    "94",
    beside={"shuttle": ""},
    words="level 9",
    truth={"level": "9"},
)
cell(
    "more_shuttles_than_there_are",
    "aerobic_tests",
    "shuttle",
    "15",
    beside={"level": "9"},
    words="11 shuttles",
    truth={"shuttle": "5"},
)
cell("uptake_in_litres", "aerobic_tests", "vo2max_ml_kg_min", "3.65", beside={"level": "", "shuttle": "", "test": "laboratory"},
     words="L/min", truth={"vo2max_ml_kg_min": "48.1"}, most=2)  # fmt: skip
cell(
    "test_unknown",
    "aerobic_tests",
    "test",
    "shuttle run 20",
    words="shuttle_run_20m",
    truth={"test": "shuttle_run_20m"},
)
cell("date_of_two_meanings", "aerobic_tests", "date", "03/04/2026", words="unclear", truth={"date": "2026-03-04"})
cell("date_with_two_digits", "aerobic_tests", "date", "01.03.26", words="unclear", truth={"date": "2026-03-01"})
cell("date_in_the_future", "aerobic_tests", "date", "2126-03-01", words="future", truth={"date": "2026-03-01"})
cell("date_as_days", "aerobic_tests", "date", "46082", words="2026-03-01", truth={"date": "2026-03-01"})
cell("date_in_german", "aerobic_tests", "date", "1. März 2026", level="read")
cell("date_in_spanish", "aerobic_tests", "date", "1 de marzo de 2026", level="read")
cell("date_in_japanese", "aerobic_tests", "date", "2026年3月1日", level="read")
_CLOCK = {"round_no": "2"}
cell(
    "clock_as_share_of_a_day",
    "clock",
    "start_clock",
    "0.817361",
    keys=_CLOCK,
    words="19:37",
    truth={"start_clock": "19:37"},
)
cell(
    "clock_lost_its_zero", "clock", "start_clock", "19.4", keys=_CLOCK, words="unclear", truth={"start_clock": "19:40"}
)
cell("clock_ends_before_it_begins", "clock", "end_clock", "19:24", keys=_CLOCK, words="before it begins",
     truth={"end_clock": "19:42"})  # fmt: skip


# ---- columns and headings


def _headings(name: str, table: str, column: str, typed: str, **options):
    def plant(book: Book) -> list[int]:
        book.heads.setdefault(table, {})[column] = typed
        return [1]

    SLIPS.append(Slip(name, plant, table, column, **options))


for _name, _column, _typed in (
    ("heading_german_lactate", "lactate_mmol_l", "Laktat (mmol/l)"),
    ("heading_german_exertion", "exertion", "Borg"),
    ("heading_german_mean", "hr_mean_typed_bpm", "Mittlere Herzfrequenz (S/min)"),
    ("heading_german_peak", "hr_peak_typed_bpm", "HF max"),
    ("heading_french_lactate", "lactate_mmol_l", "Lactatémie (mmol/L)"),
    ("heading_french_mean", "hr_mean_typed_bpm", "FC moyenne (bpm)"),
    ("heading_spanish_lactate", "lactate_mmol_l", "Lactato (mmol/L)"),
    ("heading_spanish_exertion", "exertion", "Esfuerzo percibido"),
    ("heading_spanish_mean", "hr_mean_typed_bpm", "FC media (lpm)"),
    ("heading_portuguese_exertion", "exertion", "PSE"),
    ("heading_portuguese_opponent", "opponent", "Adversário"),
    ("heading_italian_mean", "hr_mean_typed_bpm", "Frequenza cardiaca"),
    ("heading_italian_lactate", "lactate_mmol_l", "Lattato (mmol/l)"),
    ("heading_polish_lactate", "lactate_mmol_l", "Mleczan (mmol/l)"),
    ("heading_polish_mean", "hr_mean_typed_bpm", "Średnie tętno"),
    ("heading_swedish_lactate", "lactate_mmol_l", "Laktat"),
    ("heading_swedish_mean", "hr_mean_typed_bpm", "Medelpuls"),
    ("heading_japanese_lactate", "lactate_mmol_l", "乳酸値 (mmol/L)"),
    ("heading_japanese_mean", "hr_mean_typed_bpm", "平均心拍数"),
    ("heading_japanese_exertion", "exertion", "主観的運動強度"),
):
    _headings(_name, "rounds", _column, _typed, words=_column, most=1)
_headings("heading_round_in_german", "rounds", "round_no", "Runde", words="round_no")
_headings("heading_athlete_in_german", "rounds", "athlete", "Athlet", words="athlete")
_headings("heading_mistyped", "rounds", "lactate_mmol_l", "lactate_mmol", words="lactate_mmol_l")
_headings("heading_short", "rounds", "exertion", "RPE", words="exertion")
_headings(
    "heading_in_another_unit",
    "rounds",
    "lactate_mmol_l",
    "lactate_mmol_l (mg/dL)",
    words="mg/dL",
    truth={"lactate_mmol_l": "lactate_mmol_l (mmol/L)"},
)
_headings("heading_unknown_of_planned", "rounds", "lactate_mmol_l", "strip reading", words="lactate", most=2,
          truth={"lactate_mmol_l": "lactate_mmol_l"})  # fmt: skip


def _exchange(book: Book, one: str, other: str) -> list[int]:
    for row in book.tables["rounds"]:
        row[one], row[other] = row[other], row[one]
    return []


@slip("rounds", "hr_mean_typed_bpm", words="exchanged", most=1)
def columns_mean_and_peak_exchanged(book):
    return _exchange(book, "hr_mean_typed_bpm", "hr_peak_typed_bpm")


@slip("rounds", "lactate_mmol_l", words="exchanged", most=1, club={"scale": "6-20"})
def columns_lactate_and_exertion_exchanged(book):
    return _exchange(book, "lactate_mmol_l", "exertion")


@slip("rounds", "lactate_mmol_l", words="exchanged", most=1)
def columns_lactate_and_mean_exchanged(book):
    return _exchange(book, "lactate_mmol_l", "hr_mean_typed_bpm")


@slip("athletes", "mass_kg", words="exchanged", most=1)
def columns_age_and_maximum_exchanged(book):
    for row in book.tables["athletes"]:
        row["mass_kg"], row["hr_max_bpm"] = row["hr_max_bpm"], row["mass_kg"]
    return []


@slip("rounds", "lactate_mmol_l", words="mg/dL", most=1, truth={"lactate_mmol_l": "8.0"})
def whole_column_in_another_unit(book):
    for row in book.tables["rounds"]:
        row["lactate_mmol_l"] = str(round(float(row["lactate_mmol_l"]) * 9.01))
    return []


# ---- settings and decisions


def _setting(name: str, old: str, fresh: str, column: str, **options):
    def plant(book: Book) -> list[int]:
        book.settings.append((old, fresh))
        return []

    SLIPS.append(Slip(name, plant, "study.toml", column, kinds=("csv",), **options))


_setting("rest_with_a_point", 'rest = "2:00" ', 'rest = "1.30" ', "rest", words="1:30")
_setting("rest_as_number", 'rest = "2:00" ', "rest = 2 ", "rest", words="minutes")
_setting("work_without_quotation_marks", 'work = "5:00" ', "work = 5:00 ", "work", words="quotation")
_setting(
    "scale_unknown",
    'exertion_scale = "0-10"',
    'exertion_scale = "1-10"',
    "exertion_scale",
    words="0-10",
    truth={"exertion_scale": "0-10"},
)
_setting("key_of_protocol_mistyped", "rounds = 4", "round = 4", "round", words="rounds", most=2)
_setting(
    "key_of_sampling_mistyped",
    "target_delay_s = 60",
    "target_delay = 60",
    "target_delay",
    level="problem",
    words="target_delay_s",
)
_setting("key_of_sampling_unknown", "samplers = 1", "nurses = 1", "nurses", level="remark", words="not read")
_setting("key_of_plan_mistyped", "alpha = 0.05", "alfa = 0.05", "alfa", words="alpha")
_setting(
    "section_unknown",
    "[sampling]",
    '[colours]\nmat = "blue"\n\n[sampling]',
    "colours",
    level="remark",
    words="not read",
)
_setting("outcome_of_a_hypothesis_is_not_the_primary", 'outcome = "hr_mean_bpm"\ndirection = "rises"',
         'outcome = "percent_hr_max"\ndirection = "rises"', "hypotheses", words="percent_hr_max")  # fmt: skip
_setting(
    "direction_of_the_other_question", 'direction = "lower"', 'direction = "rises"', "direction", words="lower", most=2
)

DECIDED = {"date": "2026-03-06", "decided_by": "study lead", "table": "rounds", "session": "1", "athlete": "A03", "round_no": "2",
           "measure": "lactate_mmol_l", "reason": "the sheet says so"}  # fmt: skip


@slip("decisions", "action", words="row 3", most=2)
def decisions_contradict_in_value(book):
    book.tables["decisions"] += [
        {**DECIDED, "action": "replace", "new_value": "8.1"},
        {**DECIDED, "action": "replace", "new_value": "8.7"},
    ]
    return [4]


@slip("decisions", "action", words="row 3", most=2)
def decisions_contradict_in_action(book):
    book.tables["decisions"] += [{**DECIDED, "action": "keep"}, {**DECIDED, "action": "set aside"}]
    return [4]


@slip("decisions", "new_value", words="number", most=1, truth={"new_value": "11.2"})
def new_value_is_no_number(book):
    book.tables["decisions"] += [{**DECIDED, "action": "replace", "new_value": "eleven"}]
    return [3]


@slip("decisions", "measure", words="lactate_mmol_l", most=1)
def measure_is_mistyped(book):
    book.tables["decisions"] += [{**DECIDED, "measure": "lactate_mmol", "action": "replace", "new_value": "8.1"}]
    return [3]


@slip("decisions", "table_row", words="no row", most=1, truth={"table_row": ""})
def decision_names_a_row_that_is_not_there(book):
    book.tables["decisions"] += [{**DECIDED, "action": "replace", "new_value": "8.1", "table_row": "400"}]
    return [3]
