"""What a first-aider and an ethics committee look for on the sheets and in the texts; each point by its own test."""

import dataclasses
import math
import re
import zlib

import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.physiology import known_aerobic_tests
from analysis.physiology.published_values import reliability_values
from analysis.planning import make_timetable
from analysis.planning.timetable import Sampling, sampling_of
from analysis.sheets import fitness_sheets, plan_evening, write_texts
from analysis.sheets.content import build_sheets
from analysis.sheets.html import sheets_html
from analysis.sheets.other_days import HOW
from analysis.sheets.pdf import texts_pdf
from analysis.study import Protocol, Study, load_study, new_study
from analysis.study.columns import empty_table
from analysis.study.new_folder import make_codes, settings_text, texts_to_rewrite

EVENING = Protocol(4, 300.0, 120.0, "6-20")
SAMPLING = {"analysers": 2, "samplers": 2}


def club(ages, **settings):
    table = empty_table("athletes").reindex(range(len(ages)))
    for name in table:
        if not pd.api.types.is_numeric_dtype(table[name]):
            table[name] = ""
    table["athlete"], table["age_years"] = make_codes(len(ages)), [float(a) for a in ages]
    table["mass_kg"] = [60.0 + 2 * i for i in range(len(ages))]
    return Study(folder=None, protocol=EVENING, athletes=table, settings=settings)


def words(sheets, *keys):
    return " ".join(
        " ".join([*s.steps, *s.cautions, *(" ".join(r) for r in s.rows)]) for s in sheets if not keys or s.key in keys
    )


def pages_and_marks(path):
    """Count the pages of a PDF, and those with something printed aslant: a mark is the only thing that is."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", path.read_bytes(), re.S)
    drawn = []
    for stream in streams:
        try:
            drawn.append(zlib.decompress(stream))
        except zlib.error:
            continue
    aslant = b"%.4f" % math.cos(math.radians(52))
    pages = [text for text in drawn if b" Tf" in text]
    return len(pages), sum(aslant[:6] in text for text in pages)


@pytest.fixture(scope="module")
def safety():
    return words(build_sheets(EVENING, make_codes(6), sampled=["A01"]), "safety")


@pytest.fixture(scope="module")
def texts():
    return texts_to_rewrite()


# 1 screening
@pytest.mark.parametrize(
    "what",
    ["wrong with your heart", "pain, pressure or tightness in the chest, fainting", "close relative died suddenly",
     "blow to the head", "a fever or an infection", "medicine for the heart", "choked unconscious"],
)  # fmt: skip
def test_any_yes_to_these_needs_a_doctors_clearance(texts, what):
    always, talked_over = texts["screening.md"].lower().replace("\n", " ").split("## b.")
    assert what in " ".join(always.split()) and what not in talked_over
    rule = " ".join(texts["screening.md"].split())
    assert "nothing is measured before a doctor has cleared you in writing" in rule
    assert "Neither you, nor the coach, nor the researcher can decide otherwise" in rule


def test_anyone_calls_the_ambulance_and_nobody_decides_whether_to(texts, safety):
    screening = " ".join(texts["screening.md"].split())
    assert "Anyone in the room calls the ambulance" in screening and "without asking" in screening
    assert "decides whether to call" not in screening
    assert "Anyone calls the ambulance, at once and without asking" in safety


def test_wanting_to_stop_ends_the_round_and_medical_signs_the_evening(texts, safety):
    screening = " ".join(texts["screening.md"].split())
    round_only, evening = screening.split("**The round ends, the evening need not:**")[1].split(
        "**The evening ends for you:**"
    )
    assert "you want to stop" in round_only and "strap" in round_only and "fails" in round_only
    assert "chest" in evening and "knock-down" in evening and "want to stop" not in evening
    assert "Only the round ends, not the evening" in safety


# 2 texts that nobody has filled in
def test_a_text_with_unfilled_brackets_is_marked_on_every_page(tmp_path):
    long = "# Consent\n\n" + "Words that fill a page. " * 900
    texts_pdf(long + "\n\nAsk [name].", tmp_path / "open.pdf")
    texts_pdf(long + "\n\nAsk the doctor.", tmp_path / "done.pdf")
    pages, marked = pages_and_marks(tmp_path / "open.pdf")
    assert pages == marked > 2
    assert pages_and_marks(tmp_path / "done.pdf") == (pages, 0)


def test_a_fresh_folder_prints_its_texts_with_the_mark(tmp_path):
    study = load_study(new_study(tmp_path / "club"))
    written = write_texts(study, tmp_path / "out")
    assert {p.name for p in written} == {
        "incident_log_A4.pdf", "information_and_consent_A4.pdf", "screening_A4.pdf",
    }  # fmt: skip
    for path in written:
        pages, marked = pages_and_marks(path)
        assert pages == marked >= 1


# 3 minors
def test_nobody_under_18_is_sampled_by_default():
    ages = [15, 16, 15.5, 16.5, 24, 30]
    evening = plan_evening(club(ages, sampling=SAMPLING))
    sampled = next(s for s in evening.sheets if s.key.startswith("round_1"))
    given = dict(zip(sampled.column("athlete"), sampled.column("lactate_mmol_l"), strict=True))
    assert {given[c] for c in ("A01", "A02", "A03", "A04")} == {"—"}
    assert given["A05"] == given["A06"] == "", "grown-ups take the places that minors leave"
    assert set(evening.timetable.slots["athlete"]) <= {"A05", "A06"}
    assert "unless the ethics committee has approved exactly that" in words(evening.sheets, "safety")
    with pytest.raises(KitError, match="A01"):
        plan_evening(club(ages, sampling=SAMPLING), sampled=["A01", "A05"])


def test_an_approval_for_minors_has_to_be_stated():
    ages = [15, 16, 24, 30]
    stated = {"approval": "2026-17", "minors_blood": True}
    assert plan_evening(club(ages, sampling=SAMPLING, ethics=stated), sampled=["A01"])
    for short in ({"minors_blood": True}, {"exemption": "none needed", "minors_blood": True}, {"approval": "2026-17"}):
        with pytest.raises(KitError, match="Under 18"):
            plan_evening(club(ages, sampling=SAMPLING, ethics=short), sampled=["A01"])


def test_nobody_under_18_is_tested_to_the_maximum_by_default():
    ages = [16, 17.9, 18, 30]
    sheets = fitness_sheets(club(ages, fitness={"tests": ["shuttle_run_20m"]}))
    scores = next(s for s in sheets if s.key == "fitness_shuttle_run_20m")
    assert scores.column("athlete") == ["A03", "A04"] and "A01 and A02" in " ".join(scores.steps)
    with pytest.raises(KitError, match="maximal test: A02"):
        fitness_sheets(club(ages, fitness={"tests": ["shuttle_run_20m"]}), athletes=["A02", "A03"])
    easy = fitness_sheets(club(ages, fitness={"tests": ["jog_1_mile"]}))
    assert easy[1].column("athlete") == ["A01", "A02", "A03", "A04"]
    allowed = {"approval": "2026-17", "minors_maximal": True}
    assert len(fitness_sheets(club(ages, fitness={"tests": ["shuttle_run_20m"]}, ethics=allowed))[1].rows) == 4


# 4 strangulation, needle-stick, heat
def test_strangulation(safety):
    for point in ("Out cold from a choke", "recovery position", "out for the day", "Headache, neck pain", "changed or lost voice",
                  "trouble swallowing or breathing", "hospital at once"):  # fmt: skip
        assert point in safety
    assert "Not responding and not breathing normally: call the ambulance, start chest compressions" in safety
    assert "defibrillator" in safety and "do not move the person" in safety


def test_needle_stick_is_a_matter_of_an_hour(safety):
    assert "rinse with plenty of water" in safety and "eye or the mouth" in safety
    assert "medical advice at once, within the hour" in safety and "the same evening" not in safety


def test_heat_is_recognised_by_behaviour_and_cooled_first(safety):
    heat = safety[safety.index("Heat:") :][:400]
    assert heat.index("confusion") < heat.index("collapse") and "while they still sweat" in heat
    assert "cool first, then transport" in heat and "stops sweating" not in safety


def test_waste_hands_and_vaccination(safety):
    assert "waste bag" in safety and "Hands washed or disinfected" in safety and "vaccination" in safety
    packed = words(build_sheets(EVENING, make_codes(6), sampled=["A01"]), "materials")
    for thing in ("Waste bag for blood", "Hand disinfectant", "rinse eyes", "Inhalers", "Cold water"):
        assert thing in packed


def test_the_incident_log_has_severity_follow_up_return_and_inhaler(texts):
    sheets = build_sheets(EVENING, make_codes(6))
    log = next(s for s in sheets if s.key == "incidents")
    assert {"Severity", "Follow-up", "Back to training"} <= {c.heading for c in log.columns}
    assert "inhaler" in words(sheets, "incidents") and "choke" in words(sheets, "incidents")
    text = " ".join(texts["incident_log.md"].split())
    for point in ("severity", "Follow-up", "Return to training", "inhaler", "committee"):
        assert point in text


def test_local_codes_come_first_everywhere(texts, safety):
    assert safety.startswith("Local codes, the ethics committee and licensed practice come before")
    fitness = fitness_sheets(club([20, 30], fitness={"tests": ["shuttle_run_20m"]}))
    assert words(fitness, "fitness_day").startswith("Local codes")
    for name in ("screening.md", "information_and_consent.md", "incident_log.md"):
        assert "law" in texts[name]


# 5 seconds per sample
def test_a_sample_takes_a_minute_by_default():
    assert Sampling().seconds_per_sample == sampling_of(None).seconds_per_sample == 60
    new = settings_text(rounds=4, work_s=300, rest_s=120, scale="6-20", survey=False)
    assert "seconds_per_sample = 60" in new and "gloves and reading included" in new


def test_samples_in_a_hurry_are_warned_about():
    hurried = make_timetable(EVENING, athletes=6, sampling={"seconds_per_sample": 20})
    assert any("gloves" in text for text in hurried.warnings)
    assert not any("gloves" in text for text in make_timetable(EVENING, athletes=6).warnings)


# 6 consent
@pytest.mark.parametrize(
    "what",
    ["number of the approval", "time we ask", "are kept for [years]", "something unexpected", "Video", "a copy of these pages",
     "cannot be undone", "shared, pooled"],
)  # fmt: skip
def test_consent_holds_what_a_committee_asks_for(texts, what):
    assert what in " ".join(texts["information_and_consent.md"].split())


def test_withdrawal_has_a_date_before_the_data_leave(texts):
    text = " ".join(texts["information_and_consent.md"].split())
    at = text.index("Until [date: the last day before data are shared, pooled")
    assert text.index("everything of yours then leaves every table", at) < text.index(
        "After that day it cannot be undone", at
    )


# 7 the day of the fitness test
def test_the_fitness_day_has_its_own_rules():
    sheets = fitness_sheets(club([20, 30, 45], fitness={"tests": ["shuttle_run_20m"]}))
    rules = words(sheets, "fitness_day")
    for point in ("first-aider who does nothing else", "defibrillator", "Warm-up", "Familiarisation", "Lamb & Rogers 2007",
                  "The run ends: the runner wants it", "chest", "asked again today"):  # fmt: skip
        assert point in rules
    scores = next(s for s in sheets if s.key == "fitness_shuttle_run_20m")
    assert {"level", "shuttle", "hr_max_bpm"} <= {c.name for c in scores.columns}
    assert any("calls a level at its: start / end" in b for b in scores.blanks)
    assert "7, 8, 8, 9, 9, 10" in " ".join(scores.steps)


def test_lines_and_signals_are_told_where_a_test_has_them():
    run = fitness_sheets(club([20, 30], fitness={"tests": ["run_12_min"]}))
    shuttle = fitness_sheets(club([20, 30], fitness={"tests": ["shuttle_run_20m"]}))
    for part in ("with the signal", "behind each line", "with turns"):
        assert part in words(shuttle, "fitness_day") and part not in words(run, "fitness_day")
    told = {s.key: " ".join([*s.cautions, *(c.unit for c in s.columns)]) for s in (*run, *shuttle)}
    assert "signal" in told["fitness_shuttle_run_20m"] and "signal" not in told["fitness_run_12_min"]
    assert "The run ends: the runner wants it, for whatever reason; a watcher says so." in told["fitness_run_12_min"]


def test_familiarisation_is_told_from_the_table_of_reliability():
    table = reliability_values()
    rows = table[table["source"].str.contains("Lamb & Rogers") & table["statistic"].str.contains("trial 1 to trial 2")]
    assert sorted(rows["value"]) == [1.1, 1.4]
    told = words(fitness_sheets(club([20, 30])), "fitness_day")
    assert "1.1 to 1.4\xa0mL/kg/min" in told


def test_every_way_of_scoring_belongs_to_a_test_that_the_kit_knows():
    known = set(known_aerobic_tests()["test"])
    assert set(HOW) <= known
    for test in known:
        sheets = fitness_sheets(club([20, 30], fitness={"tests": [test]}))
        assert len(sheets) == 2 and "://" not in sheets_html(sheets)


def test_athlete_data_and_round_0_have_sheets():
    study = club([20, 30, 40], sampling=SAMPLING)
    sheets = {s.key: s for s in plan_evening(study).sheets}
    assert sheets["athletes"].column("age_years") == ["20", "30", "40"]
    assert {"cleared", "consent_measured", "hr_rest_bpm"} <= {c.name for c in sheets["athletes"].columns}
    zero = sheets["round_0"]
    assert [c.name for c in zero.columns] == ["athlete", "lactate_mmol_l", "exertion", "note"]
    bloodless = {s.key: s for s in plan_evening(dataclasses.replace(study, settings={})).sheets}
    assert [c.name for c in bloodless["round_0"].columns] == ["athlete", "exertion", "note"]
    assert not any("Lancet" in " ".join(r) or "lancet" in " ".join(r) for r in bloodless["materials"].rows)
