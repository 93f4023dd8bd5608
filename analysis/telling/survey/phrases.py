"""The phrases about survey, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results.
"""

from __future__ import annotations

# for the write-up
SUBMITTED = "{people} submitted {sessions}; we analysed {analysed} sessions of {of} people."
SET_ASIDE = "By rule, {sessions} {were} set aside."
NO_AGE = "For {people} no usable age was known; shares of maximum leave them out."
UNIT = (
    "People, not sessions, were the unit. Means are over people's means, with intervals from t; variances "
    "between and within people come from a one-way analysis of variance."
)
NO_SHARES = "Since no age was known, no share of maximum was computed."
LEARNED = "given that person's heart rates and never below a rate that was reached"
NEVER_BELOW = "never below a rate that was reached"
PREDICTED = (
    "{text} Maximal heart rate was predicted from age ({equation}, standard error of prediction {error}). In "
    "{draws} simulated draws one error of the maximum was drawn per person and shared by all sessions of the "
    "person, {learned}. Its size lay between {least}, the least in a published review of such equations, and "
    "that of the equation. Intervals hold 95\N{NO-BREAK SPACE}% of the draws."
)
SD_PEOPLE = "SD between people {sd}"
SD_SESSIONS = ", within a person {sd}"
KIND = (
    "{Kind} sessions: {share} of people's sessions had {means} at or above {threshold:g}\N{NO-BREAK SPACE}% "
    "({range}; {sessions} sessions, {people} people)."
)
ALL_TOGETHER = "From here on all kinds are taken together."
AT_OR_ABOVE = (
    "{Means} at or above {threshold:g}\N{NO-BREAK SPACE}%: {share} of people's sessions ({error} with the "
    "error of the prediction, {drawn} also for people drawn anew; {exact} with maxima taken as exact)."
)
NOTHING_NEAR = "No session came near any threshold."
OVER_EQUATIONS = "Over {equations} for both sexes the most likely share of {means} at or above {threshold:g}\N{NO-BREAK SPACE}% runs from {span}."
NO_RECORDING = "Bands of intensity: {source}. Nobody with a known age sent a whole recording."
TIME_SPENT = (
    "{recordings} whole recordings of {people} show how the time was spent, people counted once. Below the "
    "vigorous band it was {below}. Above, it was {above}. The bands are those of the {source}."
)

# in plain words
TYPICAL = "In a typical {kind}session {sizes} ({who}, each person counted once)."
MOST_LIKELY = (
    "Most likely, the {means} of {share} of people's {kind}sessions lie at or above {threshold} of their own "
    "maximum; with the error of predicted maxima it may be {range}."
)
AS_EXACT = "Taken as exact, the predictions would say {exact}, which mixes their error with real differences."
OTHER_KIND = "Of {kind} sessions ({sessions}) it is {share} ({range})."
SIZE = "the {mean} was {value}"
EVERY_AGE = "Everybody sent an age that can be used."
AGES = (
    "We know no age of {who}. If all were {young:g}, {share} of their sessions would have {means} at or above "
    "{threshold:g}\N{NO-BREAK SPACE}% of the predicted maximum; if all were {old:g}, {share_old}. The shares "
    "leave them out."
)
NO_EQUATION = "No equation can be used, since we know no age."
EQUATIONS = (
    "The equation matters: the share of sessions with {means} at or above {threshold} of maximum is most "
    "likely {share} under {first} and {share_last} under {last}. No published equation was made from "
    "grapplers; only a measured maximum would settle it."
)
NO_BANDS = "Without ages there are no shares of maximum, and so no bands."
WOULD_BE_CALLED = "By their {measure} alone, {share} of sessions would be called {words}"
ONLY_MEASURES = "Nobody with a known age sent a recording. {middle}; mean and peak do not tell how the time was spent."
SPENT = (
    "In {recordings}, {hard} of the time was vigorous or harder, and {light} light or very light. {middle}: a"
    " mean does not tell how the time was spent, nor a peak how long it lasted."
)
NOTHING_PUBLISHED = "The survey's published.csv holds no round mean, so there is nothing to compare with."
NOT_A_ROUND = (
    "A session is not a round: it holds warm-up, drilling and rest. {finding} reports {rounds} for its "
    "rounds; the mean of our sessions is {mean}, their peak {peak}. {fits}"
)
HARDEST = (
    "{text} The hardest {seconds:g} seconds of the recordings of {people} had a mean of {mean}: compare that "
    "part of a session with a published round."
)
FIT_UNKNOWN = "We cannot tell whether that fits."
FITS_NOT = "That does not fit: people would have to spar for nearly the whole session, or hardly at all."
FITS = (
    "That is as expected if {share} of a session is sparred that hard and the rest is spent at {rest} of "
    "maximum (our assumption)."
)
SENT_MORE = "; {share} of them sent more than one"
CHOSE_TO_SEND = (
    "{text}. They chose to send: people who own a sensor and send sessions may differ from the others on the mat."
)
NONE_SET_ASIDE = "All {sessions} are in the main analysis."
LEFT_OUT = "{analysed} of {sessions} are in the main analysis; left out: {reasons}."
NO_CHOICES = "Other choices cannot be compared, since no share of peaks is known."
CHOICES = "Under other choices the most likely share of all sessions with peaks at or above {threshold} of maximum runs from {range}."

# what may be said
MAY_HOLD = "This holds for people who send data, with the equation named and its error."
MAY_NOT_TRAIN = (
    "That sessions make people fitter: everyone was seen once or a few times, nobody was tested before and "
    "after, and nobody was assigned to train more or less."
)
MAY_NOT_ENERGY = (
    "How much oxygen or energy a session takes: in grappling, gripping, breath-holding, heat and excitement "
    "raise heart rate beyond what oxygen uptake would."
)
MAY_NOT_ONE = "How hard one person works: the error of one predicted maximum is as wide as a band of intensity."
MAY_NOT_ALL = "What people on the mat do on average: whoever sends data chose to."
MAY_NOT_TIME = "How the time was spent in sessions that came without a recording: mean and peak leave it open."
MAY = "May be said"
MAY_NOT = "May not be said, and why"
