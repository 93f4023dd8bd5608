"""The phrases about cleaning, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results.
"""

from __future__ import annotations

# for the coach
NO_ROUND = "No round was sparred, so there is nothing to clean."
NO_RATE = "No heart rate was recorded."
ONLY_TYPED_ONE = (
    "One round mean of heart rate was read off a device and typed, which nobody can check; there are no recordings."
)
ONLY_TYPED = "{count} round means of heart rate were read off a device and typed, which nobody can check; there are no recordings."
TYPED_ALL = "All means were typed from a device, which nobody can check."
TYPED_AMONG = "{means} {was} typed from a device, which nobody can check."
HELD_ONE = "One device{where} is held back until somebody decides, since its clock looks wrong: {who}."
HELD_MORE = "{count} devices{where} are held back until somebody decides, since their clocks look wrong: {who}."
TIME_ASIDE = "Of the time in recorded rounds, {share} was set aside."
TIME_ASIDE_MOST = "Of the time in recorded rounds, {share} was set aside, mostly for {cause}."
UNUSED = "{recordings} could not be used; the table of what was set aside says why."
UNUSED_DAY = "{recordings} could not be used: by {its} own date {they_are} of another day."
UNUSED_SOME_DAY = "{recordings} could not be used, {count} of them by {its} own date of another day; the table of what was set aside says why."

WHOLE_ROUNDS = "Every round mean that is used rests on its whole round."
PART_ROUNDS = (
    "Of {means} from recordings, {count} {rest} on less than the whole round. If the athlete had been at rest level in the "
    "missing time, a mean would be up to {lower} lower; at maximum, up to {higher} higher."
)

# for the write-up
TRACES = "Heart rate came from {traces} of {people}."
FOUND_BY_TRACE = (
    "Rounds without a logged time were found by comparing the recording with the first-order response to rounds and rests "
    "(least confidence {least})."
)
FOUND_BY_CLOCK = "Rounds were cut by the timekeeper's clock."
OFFSETS = "Device clocks were corrected by logged offsets in {recordings} ({span})."
BY_EVENT = "{recordings} {was} put on the clock by an event common to all devices."
OTHER_OFFSET = "In {recordings} the heart rate itself suggested another offset, which was not applied by decision."
CLOCK_BY_RULE = "In {recordings} the clock found from rounds and rests was used, by a rule stated beforehand."
CLOCK_BY_DECISION = "In {recordings} the clock found from rounds and rests was used by decision."
CLOCK_HELD = "{recordings} {was} held back: heart rate and clock disagree, and nobody has decided yet."
RULES = (
    "We flagged samples, and changed none, where heart rate was outside {low} to {high} or more than {above} above the "
    "measured maximum. We also flagged samples that stayed at one value for {flat} or longer, changed faster than is "
    "physiologically possible, were doubled or halved, or came before steady contact. Means are weighted by time. Lost contact "
    "was not filled in; steps of a device that writes only on events were joined. A round has a mean where at least {share} of it is valid and where bridging its gaps by a "
    "straight line would move the mean by at most {shift}."
)
ASIDE = "Of {minutes} in recorded rounds, {share} were set aside."
ASIDE_MOST = "The largest part was {cause}."
NO_MEAN = "{rounds} of {all} {have} no mean heart rate."
FLAGS_KEPT = "With flagged samples kept, no round mean would move by more than {largest}."
BY_HAND = "{decisions} by hand about recordings {was} applied; each stands with its reason in the ledger."
TYPED = (
    "{means} of {people} {was} read off a device without a stored recording; no check of a recording applies to {it}."
)

# rounds without a mean, one line
ACCOUNT = "{rounds} sparred: {means} with a mean"
SHARE_A_STRAP = "{who} share a strap"
IN_SESSION = "in session {session}"

# what the rules cost
NO_COST = "No rule flagged a sample inside a round, so the rules change no round mean."
COST = "Inside rounds the rules flagged {seconds}. If these samples were kept, one round mean would move by up to {moved} ({rule})"
REGAINED = "; {rounds} would have enough valid time only with them."

# clocks
NO_CLOCKS = "There are no recordings, so there are no clocks to compare."
ON_CLOCK = "{recordings} {were} put on the timekeeper's clock"
BY_LOG = ", {count} with an offset from the log"
BY_COMMON_EVENT = ", {count} by the common event"
NONE_CHECKED = ". None could be checked against the rises and falls of its own trace."
ALL_AGREE = ". The rises and falls of the trace agree with it in all {count} that could be checked."
SOME_DISAGREE = ". In {count} of {checked} that could be checked the trace does not agree"
HELD_BACK = "; {count} {are} held back until you decide, see the warnings"
CLOCKS_SETTLED = "; {count} {are} settled, see the table."

# other rules tried
AS_THEY_ARE = "the rules as they are"
WOULD_FLAG = "With {rules}, {after} would be flagged instead of {before}"
MOVES_AT_MOST = "; no round mean would move by more than {moved}"
GAIN = "; {rounds} would gain a mean"
LOSE = "; {rounds} would lose it."

CAUSES_OF_ONE = {
    "no recording": "no recording of {who}",
    "unreadable": "the recording of {who} cannot be read",
    "another day": "the recording of {who} is of another day",
    "not worn then": "{who} did not wear the device then",
    "lost contact": "{who} lost contact",
    "started late": "the recording of {who} started late",
    "ended early": "the recording of {who} ended early",
    "too coarse": "the recording of {who} is too coarse",
}
"""Cause of a round without a mean -> the words around the athletes; others read "A07 clock"."""
TRIED = {
    "flat_s": "a flat line from {v:g}\N{NO-BREAK SPACE}s",
    "jump_bpm": "a jump from {v:g}\N{NO-BREAK SPACE}bpm",
    "least_valid_share": "at least {share} of a round valid",
}
"""Rules as the sliders change them; others by their name."""
