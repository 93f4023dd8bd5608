"""The cautions on the sheets, in our own words. Local codes, the ethics committee and licensed practice come first.

Common practice where no source is named. Heat: cool first, then transport (Roundtable on preseason heat safety, J Athl Train
2021;56:372, abstract read). The rest was written from common first-aid practice and has to be seen by whoever advises the club.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..basics import format_number
from ..physiology.published_values import reliability_values

DEFER = (
    "Local codes, the ethics committee and licensed practice come before anything printed here. Where they are stricter, "
    "they hold. The first-aider’s word on who goes on is final."
)

ANYBODY_STOPS = (
    "Anybody may stop a round at any moment: the athlete, the opponent, the coach, the timekeeper, whoever takes the samples. "
    "A tap or the word “stop” is enough. Nobody has to give a reason, and no round is repeated for the study."
)

ROUND_ONLY = (
    "Only the round ends, not the evening, when somebody wants to stop or equipment fails: strap, mouthguard, mat. Put it right, "
    "rest, and go on in the next round if you want to."
)

STOP_NOW = (
    "The evening ends for whoever has pain or pressure in the chest, faints or nearly faints, has a heartbeat that races or "
    "stumbles without effort, breath that does not settle, a pale or bluish face, confusion, unsteadiness, vomiting, a "
    "knock-down, or was out cold. Sit or lie down, do not stay alone, do not drive home."
)

AMBULANCE = (
    "Anyone calls the ambulance, at once and without asking: somebody does not wake up or does not breathe normally, has chest "
    "pain, a seizure, confusion that stays or gets worse, weakness on one side, trouble breathing, or neck pain after a fall. "
    "Send somebody for the defibrillator and somebody to the door. Nobody is blamed for calling too early."
)

NOT_BREATHING = (
    "Not responding and not breathing normally: call the ambulance, start chest compressions at once, switch the defibrillator "
    "on and do what it says. Gasping is not breathing. Go on until help takes over."
)

CHOKE = (
    "Choked: let go at the tap, and at once when somebody goes limp. Out cold from a choke, however short: recovery position, "
    "breathing watched, out for the day, not left alone, seen by a doctor. Headache, neck pain, changed or lost voice, trouble "
    "swallowing or breathing, weakness, numbness, trouble with sight or speech, now or in the next days: hospital at once. Not "
    "awake within moments or not breathing normally: ambulance."
)

NECK = (
    "Neck pain after a fall or a crank, or tingling or weakness in arms or legs: do not move the person, hold the head as it "
    "lies, call the ambulance. Move somebody only who would otherwise not be able to breathe."
)

HEAD = (
    "After a blow to the head, or when somebody seems dazed, slow, sick, forgetful or unsteady: suspect a concussion. Out for "
    "the day, not left alone, seen by a doctor, and no training before somebody qualified gives clearance. If it gets worse: "
    "ambulance."
)

NOT_TODAY = (
    "Not today: fever or infection, of the skin too, a blow to the head not yet cleared, an injury, anything of the "
    "heart, chest pain or "
    "fainting, sudden death in the family or heart medicine without a doctor’s written clearance, more than "
    "2\N{NO-BREAK SPACE}% below the usual body mass, or in the middle of cutting weight. Whoever is in doubt watches today."
)

BLOOD = (
    "Blood is drawn only by people who are trained for it, allowed to by local rules and offered the vaccination against "
    "hepatitis B. Hands washed or disinfected before and after every person; new gloves for every person; a new single-use "
    "lancet that locks itself for every puncture, never a shared lancing device. Wipe off sweat, clean, let it dry; wipe away "
    "the first drop; no hard squeezing. Lancet straight into the sharps box; gloves, swabs and strips into the waste bag for "
    "blood."
)

BLOOD_SHORT = (
    "Hands disinfected, new gloves and a new lancet for every person, never a shared lancing device; sweat off, clean, dry, "
    "first drop away; lancet into the sharps box, the rest into the waste bag. No time for gloves means no sample."
)

COVER = (
    "Cover the puncture before gripping again, and check that the cover holds. Whoever bleeds leaves the mat until it has "
    "stopped and is covered; the mat is disinfected before anyone goes on."
)

NEEDLE_STICK = (
    "Pricked by a used lancet: let it bleed, wash with soap and water. Blood in an eye or the mouth: rinse with plenty of "
    "water. Then medical advice at once, within the hour, by day or night: treatment that prevents an infection works only when "
    "it starts early. Note whose blood it was, by code. Incident log."
)

NO_LICENCE = (
    "Where you are not licensed to draw blood, run the study on heart rate and exertion; everything else works."
)

HEAT = (
    "Heat: confusion, odd behaviour or collapse in somebody hot is heat stroke until proved otherwise, also while they still "
    "sweat. Ambulance, and cool first, then transport: jacket off, cold water over the whole body or into it, ice, fan. Before "
    "that: write down temperature and humidity, water at the mat, doors open, and no rounds when it is hotter than local rules "
    "allow."
)

ASTHMA = (
    "Asthma: the inhaler lies at the edge of the mat, with its owner’s code on it. Stop at the first wheeze. An attack that the "
    "owner’s own plan does not ease, or no breath to speak: ambulance."
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
    "For the round just finished, alone, before coach or partner can hear, in the same words every time. The scale and its "
    "instruction come from their owner; only the number is written here."
)

FITNESS_FIRST = (
    "The hour of the maximal test is the most dangerous of the study. No test without a first-aider who does nothing else, a "
    "defibrillator in the hall that was checked today, a telephone, and the number above filled in.",
    "Who runs: cleared on the screening sheet, asked again today and in private. Not today: what stands below. Nobody "
    "under 18 runs to the "
    "maximum unless the committee approved exactly that. Over 40 and not used to such efforts: only with a doctor’s yes.",
    "Two hours without a meal, a day without hard training or alcohol, water at hand, the shoes and the floor of every other "
    "test day. {lines}Write down temperature and humidity.",
    "Warm-up, 10 minutes: easy running, then three stretches at {speed}. Five minutes of rest.",
    "At most eight run at a time, one watcher for two runners. A watcher does nothing else and may end the run of anyone.",
)

FITNESS_STOP = (
    "The run ends: the runner wants it, for whatever reason; {late}a watcher says so. It is over for the day, and the ambulance "
    "is called by anyone, for pain or pressure in the chest, fainting or nearly fainting, a stumbling heart, confusion, "
    "unsteady steps, a pale or bluish face, or breath that does not settle.",
    "Afterwards: walk five minutes, sit, drink; nobody lies down alone in the changing room; nobody leaves before 15 minutes "
    "are over and the first-aider has seen them.",
)

WITH_LINES = {
    "lines": "Dry floor, two metres free behind each line. ",
    "speed": "the speed of the middle levels with turns",
    "late": "twice in a row not at the line with the signal; ",
}
WITHOUT_LINES = {"lines": "", "speed": "the speed of the test", "late": ""}
"""What a test between two lines on a signal needs said, and what stands there for any other test."""


def on_signal(tests: Sequence[str]) -> bool:
    """Whether a test is run between lines on a signal; also where nobody has named the test."""
    return not any(tests) or any(t.startswith(("shuttle", "intermittent")) for t in tests)


def fitness_words(texts: Sequence[str], tests: Sequence[str]) -> list[str]:
    """The rules of the day of the fitness test in the words of its tests."""
    return [text.format(**(WITH_LINES if on_signal(tests) else WITHOUT_LINES)) for text in texts]


STOP_SHORT = (
    "“Stop”, a tap or a raised hand of anybody ends the round. Out cold, a knock-down, a blow to the head, chest pain, fainting "
    "or confusion end the evening. Not awake or not breathing normally: ambulance, compressions, defibrillator."
)

LEAST_SHARE = 0.98
"""Share of the usual mass below which nobody is measured (more than 2 % under it: our proposal)."""


def lowest_masses() -> str:
    """Write the lowest body mass at which somebody takes part, for usual masses."""
    pairs = [
        f"{format_number(m, 0, unit='kg')} → {format_number(LEAST_SHARE * m, 1)}"
        for m in (50, 55, 60, 65, 70, 75, 80, 85, 90, 95, 100, 110, 120)
    ]
    return f"Lowest mass for today: usual {'; '.join(pairs)}."


def familiarisation() -> str:
    """Say why a test is run once without counting, from the table of published reliabilities."""
    table = reliability_values()
    rows = table[
        table["measure"].str.startswith("20 m shuttle run") & table["statistic"].eq("rise, trial 1 to trial 2")
    ]
    low, high = rows["value"].min(), rows["value"].max()
    source, _, sample = str(rows["source"].iloc[0]).partition(", ")
    year = source.split(" Eur ")[0]
    return (
        f"Familiarisation: the first trial reads low (in {sample} the second shuttle run was {format_number(low, 1)} to "
        f"{format_number(high, 1, unit='mL/kg/min')} higher, the third no higher than the second: {year}). Run the test once, "
        "some days before, without counting it, or at least its first levels."
    )
