"""The cautions on the sheets, in our own words. Local codes, the ethics committee and licensed practice come first."""

from __future__ import annotations

from ...basics import format_number

DEFER = (
    "Local codes, the ethics committee and licensed practice come before anything printed here. Where they are stricter, "
    "they hold."
)

ANYBODY_STOPS = (
    "Anybody may stop a round at any moment: the athlete, the opponent, the coach, the timekeeper, whoever takes the samples. "
    "A tap or the word “stop” is enough. Nobody has to give a reason, and no round is repeated for the study."
)

STOP_NOW = (
    "Stop and get help at once for pain or pressure in the chest, fainting or nearly fainting, a heartbeat that races or "
    "stumbles without effort, breathlessness that does not settle, a pale or bluish face, confusion, unsteadiness, vomiting or a "
    "knock-down. Call the emergency number, send somebody for the defibrillator, and let nobody go home alone."
)

HEAD = (
    "After a blow to the head, or when somebody seems dazed, slow, sick, forgetful or unsteady: suspect a concussion. Out for "
    "the day, not left alone, seen by a doctor, and no training before somebody qualified gives clearance. If it gets worse, "
    "call the emergency number."
)

NOT_TODAY = (
    "Not today: fever or illness, a blow to the head not yet cleared, a skin infection, an injury, a heart, lung or kidney "
    "complaint without a doctor’s clearance, more than 2\N{NO-BREAK SPACE}% below the usual body mass, or in the middle of "
    "cutting weight. Whoever is in doubt watches today."
)

BLOOD = (
    "Blood is drawn only by people who are trained for it and allowed to by local rules. A new single-use lancet that locks "
    "itself for every puncture, never a shared lancing device; new gloves for every person; wipe off sweat, clean, let it "
    "dry; wipe away the first drop; no hard squeezing; lancet straight into the sharps box."
)

BLOOD_SHORT = (
    "A new lancet and new gloves for every person, never a shared lancing device; sweat off, clean, dry, first drop away; the "
    "lancet goes straight into the sharps box."
)

COVER = (
    "Cover the puncture before gripping again, and check that the cover holds. Whoever bleeds leaves the mat until it has "
    "stopped and is covered; the mat is disinfected before anyone goes on."
)

NEEDLE_STICK = (
    "Pricked by a used lancet: let it bleed, wash with soap and water, write it in the incident log, see a doctor "
    "the same evening."
)

NO_LICENCE = "Where you are not licensed to draw blood, run the study on heart rate and exertion; everything else works."

HEAT = (
    "Heat: write down temperature and humidity, keep water at the mat, open doors. When it is hotter than your federation or "
    "local rules allow, or somebody stops sweating, shivers, is confused or has a headache: stop, cool, call for help."
)

MINORS = (
    "Under 18: written consent of a parent or guardian and the young person’s own yes; no maximal test and no blood sample "
    "unless the ethics committee has approved exactly that; no weight cutting; the club’s child-protection person is there."
)

HARD = (
    "Sparring is hard and people get hurt in it: same rules as every evening, mats checked, nails cut, jewellery off, "
    "first-aider and defibrillator in the hall, and the coach decides who spars whom."
)

RATING = (
    "The rating is for the round just finished, given alone, before coach or partner can hear it, and asked in the same words "
    "every time. Use the scale and its instruction as its owner provides them; only the number is written here."
)

LEAST_SHARE = 0.98
"""Share of the usual mass below which nobody is measured (more than 2 % under it: our proposal)."""


def lowest_masses(masses=(50, 55, 60, 65, 70, 75, 80, 85, 90, 95, 100, 110, 120)) -> str:
    """Write the lowest body mass at which somebody takes part, for usual masses."""
    pairs = [f"{format_number(m, 0, unit='kg')} → {format_number(LEAST_SHARE * m, 1)}" for m in masses]
    return f"Lowest mass for today: usual {'; '.join(pairs)}."
