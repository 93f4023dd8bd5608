"""The phrases about the rounds, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results: {Outcome} and {outcome} are its name, {rose} is "rose" or "fell", {size} a
change with its unit, {span} an interval, {matters} the smallest change that matters, {rounds} "rounds 3 and 4".
"""

from __future__ import annotations

# for the coach
ROSE = "{Outcome} {rose} {size} (95 % interval {span}) from round {first} to round {last}."
ROSE_IF = "{Outcome} {rose} from round {first} to round {last} {condition}: by {size} (95 % interval {span})."
CHANGED_LITTLE = "{Outcome} changed over the rounds, but by less than {matters}."
CAME_BACK = "{Outcome} changed on the way, but round {last} was the same as round {first} within {matters}."
ONE_STEP = "{Outcome} {rose} {size} from round {earlier} to round {later}; the other steps are unclear."
ONE_STEP_IF = "{Outcome} {rose} from round {earlier} to round {later} {condition}; the other steps are unclear."
SOMEWHERE = "{Outcome} changed, but we cannot tell between which rounds: from round {first} to round {last}, anything from {span} fits (95 % interval)."
OPEN = (
    "We cannot tell yet whether {outcome} changes over the rounds. From round {first} to round {last}, anything from "
    "{span} fits (95 % interval). That does not show that it stayed the same."
)

SAME = "{Rounds} were the same within {matters}."
SAME_IF = "{Rounds} were the same within {matters} {condition}."
SAME_SURE = "Beyond that, only {rounds} were."
SAME_UNSURE = "Beyond that, we cannot tell."
SMALL_CHANGE = "From round {start} on, {outcome} changed by less than {matters}."
STILL = "{Outcome} still {rose} from round {before} to round {last}, by {size}."
UNCLEAR = "We cannot tell where {outcome} levels off: rounds {before} and {last} may still differ by {matters} or more."
TWO_ROUNDS = "Two rounds are too few to tell where {outcome} levels off."

MORE_THAN_MATTERS = "Even the low end is above {matters}, the least that matters."
PERHAPS_MATTERS = "It may be larger or smaller than {matters}, the least that matters."
LESS_THAN_MATTERS = "That is less than {matters}, the least that matters."

# for the write-up
CHANGE_SHOWN = "{Outcome} changed over the rounds ({test}; {people}, {values})."
CHANGE_NOT_SHOWN = "A change in {outcome} over the rounds was not shown ({test}; {people}, {values})."
FROM_TO = "From round {first} to round {last} {it} {rose} by {size} (95 % interval {span}, p {p})."
FROM_TO_OPEN = "From round {first} to round {last} {difference} was {size} (95 % interval {span}, p {p}): {reading}."
ABSTRACT_TOGETHER = "From round {first} to round {last}, {changes}."
ABSTRACT_LEVEL = "{Rounds} were equivalent in {outcomes}."
ABSTRACT_WITHIN = "{outcome} (within {matters})"
EQUIVALENT = "{Rounds} were equivalent within {matters} ({worst})."
EQUIVALENT_IF = "{Rounds} were equivalent within {matters} {condition} ({worst})."
NONE_EQUIVALENT = "No stretch of rounds was shown to be level within {matters} ({worst})."
LAST_STEP = "The last step was itself a change."
NOT_EVIDENCE = "That is no evidence that it went on changing."
CENSORED = "{readings} {lie} off the analyser's scale."
BOUTS_ALLOWED = "The model allows for what the two of a bout share (correlation {r})."
SECONDARY = "This outcome is {role}."

READINGS = {
    "changed": "a change",
    "equivalent": "equivalent",
    "changed but smaller than matters": "a change smaller than matters",
    "not shown": "neither a change nor equivalence was shown",
}

# whether the checks agree
CHECKS_ALL = "The other {count} ways of analysing lead to the same reading."
CHECKS_ONE = "The one other way of analysing leads to the same reading."
CHECKS_SOME = "Of {count} other ways of analysing, {differ} would be read differently: {names}."
CHECKS_OTHER = "The one other way of analysing would be read differently: {names}."
CHECKS_MANY = "Of {count} other ways of analysing, {differ} would be read differently."
CHECKS_NONE = "We could try no other way of analysing."

MISSING_HOLDS = (
    "{Missing} missing, perhaps not by chance; the reading would hold even if {they} {were} {size} higher or lower than "
    "the model expects."
)
MISSING_TIPS = "{Missing} missing, perhaps not by chance; the reading would change if {they} {were} {moves} than the model expects."

BOUTS = {
    "bouts differ": "Who spars whom goes with the outcome: the two opponents of a bout were alike{alike}.",
    "opponents opposed": "The two opponents of a bout were opposed, one high where the other was low{alike}.",
    "bouts differ little": "Opponents in one bout were hardly more alike than others{alike}.",
    "cannot tell": "We cannot tell from {bouts} whether it matters who spars whom{alike}.",
}
ALIKE = " (correlation {r}, 95 % interval {span}, {bouts})"

# what may and may not be said
MAY_HERE = "This holds for athletes like these, on an evening like this one, with these rests."
MAY_NOT_CAUSE = (
    "That the rounds caused it: rounds come in the order of time, and warming up, fatigue and opponents come with them."
)
MAY_NOT_SAME = "That {outcome} stayed the same from {steps}: neither a change nor its absence was shown."
MAY_NOT_ALWAYS = (
    "That {outcome} {did} from round {earlier} to round {later} whatever the readings off the analyser's scale were: that "
    "was shown only {condition}."
)
DID = {
    "changed": "changed",
    "equivalent": "stayed level",
    "changed but smaller than matters": "changed by less than matters",
}

# how well it repeats
REPEATS = (
    "{Outcome}: from evening to evening the mean of one athlete's rounds typically varies by {error}. In one athlete, only a "
    "change above {detectable} is more than that."
)
REPEATS_ROUND = "One round by itself varies by {error}; there it takes a change above {detectable}."
REPEATS_WITHIN = (
    "{Outcome}: from round to round of this one evening, one athlete typically varies by {error} around the club's course. "
    "That is consistency within an evening; repeatability takes a second evening."
)
