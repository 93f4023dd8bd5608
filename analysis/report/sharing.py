"""What may be passed on: codes and personal texts hidden, no statistic of fewer than five people, what was withheld."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import partial

import pandas as pd

from ..answers import Answers
from ..answers.describe import SENSITIVITY
from ..basics import ESTIMATE_COLUMNS, FEWEST_PEOPLE, NotYet, join_words
from ..basics.few import groups_to_show
from ..physiology import capacity_step_to_share
from ..physiology.aerobic_tests import COARSE_STEP
from ..study import OUTCOMES
from ..study.privacy import Mentions, personal_parts, secret_labels
from ..telling.document import Bullets, Document, Paragraph, Picture, Table
from ..telling.fitness.tables import SEXES
from ..telling.study import phrases as say
from ..training.before_after import BeforeAfter, unknown_response
from .results_json import to_plain

CODE_COLUMNS = frozenset(
    {"athlete", "opponent", "athlete_a", "athlete_b", "left_out_athlete", "level", "column_or_label", "label", "person"}
)
"""Columns that hold codes, beside other words."""

FREE_TEXT = {
    "sessions": ("place", "analyser", "strip_lot", "note"),
    "athletes": ("club", "group"),
    "attendance": ("note",),
    "clock": ("note",),
    "rounds": ("note",),
    "lactate": ("note",),
    "decisions": ("reason", "new_value"),
}
"""Table -> columns in which people write what they like."""


def typed_texts(study) -> dict[str, bool]:
    """What people typed freely, and whether a single word in it may be a name."""
    plan = study.plan
    texts = {study.title: False, study.sport: False, **dict.fromkeys(plan.exclusions, True)}
    texts |= {h.text: False for h in plan.hypotheses}
    texts |= dict.fromkeys(plan.smallest_effect_reasons.values(), False)
    for name, columns in FREE_TEXT.items():
        table = getattr(study, name)
        for column in [c for c in columns if c in table]:
            single = column in ("note", "reason", "new_value", "group", "club")
            texts |= {str(t): single or texts.get(str(t), False) for t in table[column].unique() if str(t)}
    return texts


def texts_that_leave(study, codes: Codes, document: Document) -> tuple[str, ...]:
    """Return the free texts that stand in a write-up: a rare name at the start of a sentence only a person can tell."""
    told = f"{document.title}\n{document.text(cells=True)}".casefold()
    published = [*study.published["finding"], *study.published["source"]]  # whose authors may be named
    typed = dict.fromkeys([*typed_texts(study), *published])
    texts = (codes.hide_in_text(t).strip().rstrip(".") for t in typed if re.search(r"[^\W\d_]{3}", t))
    return tuple(dict.fromkeys(t for t in texts if t.casefold() in told))


def _however_set(part: str) -> str:
    """A pattern of a text wherever its lines break, the first of several words with a small letter too."""
    first, *rest = map(re.escape, part.split())
    if rest and first[0].isalpha():
        first = f"[{first[0]}{first[0].lower()}]{first[1:]}"
    return r"\s+".join([first, *rest])


def _bare(text: str) -> str:
    return " ".join(text.split()).casefold()


def _drawn_without(draw, codes: Codes):
    """Draw a figure whose texts and description hide what the write-up hides."""
    from matplotlib.text import Text

    figure = draw()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            labels = [label.get_text() for label in axis.get_ticklabels()]
            hidden = list(map(codes.hide_in_text, labels))
            if hidden != labels:  # a tick is written anew whenever the figure is drawn
                axis.set_ticks(axis.get_ticklocs(), labels=hidden)
    for text in figure.findobj(Text):
        text.set_text(codes.hide_in_text(text.get_text()))
    figure.alt_text = codes.hide_in_text(figure.alt_text)
    return figure


class Codes:
    """Replaces codes by labels that say nothing, the same label for the same athlete throughout."""

    # Every code that stands in the study folder is known here, also of people who withdrew or are not
    # analysed; and what in its free texts looks like personal data goes with them.

    def __init__(self, study, *, individuals: bool = False):
        shown = set(study.athletes_with_figures()) if individuals else set()
        labels = secret_labels(study, study.athletes["athlete"], prefix="person-", purpose="results")
        others = dict.fromkeys((c for c in study.known_codes if c not in labels), "somebody")
        self.labels = {code: label for code, label in (labels | others).items() if code not in shown}
        self._mentions = Mentions(self.labels)
        # what looks like a name, a mail address, a phone number or a birth date
        parts = (personal_parts(text, single=single) for text, single in typed_texts(study).items())
        self.personal = tuple(dict.fromkeys(part for of_text in parts for part in of_text))
        longest = sorted(map(_however_set, self.personal), key=len, reverse=True)
        self._personal = re.compile("|".join(longest)) if longest else None
        shown = {t.strip().rstrip(".") for t in typed_texts(study)}
        hidden = {t: self._mentions.replace(t, self.labels.__getitem__, typed=True) for t in shown}
        self._typed = {_bare(t): new for t, new in hidden.items() if new != t}
        longest = sorted(map(_however_set, self._typed), key=len, reverse=True)
        self._numbered = re.compile("|".join(longest), re.IGNORECASE) if longest else None

    def hide(self, value):
        """Return plain data (or what `to_plain` makes of it) without codes, in values, keys and running text."""
        return self._walk(to_plain(value), "")

    def _walk(self, value, name: str):
        if isinstance(value, dict):
            return {self.hide_in_text(k): self._walk(v, k) for k, v in value.items()}
        if isinstance(value, list):
            return [self._walk(v, name) for v in value]
        if isinstance(value, str):
            return self._code(value) if name in CODE_COLUMNS else self.hide_in_text(value)
        return value

    def _code(self, value: str) -> str:
        return self.labels.get(value, self.hide_in_text(value))

    def hide_in_text(self, text: str) -> str:
        """Return a text without codes."""
        if self._numbered:
            text = self._numbered.sub(lambda m: self._typed[_bare(m[0])], text)
        text = self._mentions.replace(text, self.labels.__getitem__)
        return self._personal.sub("(left out)", text) if self._personal else text

    def hide_in_table(self, table: pd.DataFrame) -> pd.DataFrame:
        """Return a table without codes."""
        table = table.copy()
        for column in table.columns:
            if not pd.api.types.is_numeric_dtype(table[column]):
                change = self._code if column in CODE_COLUMNS else self.hide_in_text
                table[column] = [change(v) if isinstance(v, str) else v for v in table[column]]
        names = [self.hide_in_text(c) if isinstance(c, str) else c for c in table.columns]
        return table.set_axis(names, axis=1)

    def hide_in_document(self, document: Document) -> Document:
        """Return the write-up without codes in its texts, captions and tables (figures are drawn without)."""
        sections = [
            replace(s, title=self.hide_in_text(s.title), blocks=tuple(map(self._block, s.blocks)))
            for s in document.sections
        ]
        return replace(document, title=self.hide_in_text(document.title), sections=tuple(sections))

    def _block(self, block):
        if isinstance(block, Paragraph):
            return replace(block, text=self.hide_in_text(block.text))
        if isinstance(block, Bullets):
            return replace(block, items=tuple(map(self.hide_in_text, block.items)))
        if isinstance(block, Picture):
            draw = partial(_drawn_without, block.draw, self) if self._personal or self._numbered else block.draw
            return replace(block, caption=self.hide_in_text(block.caption), draw=draw)
        if isinstance(block, Table):
            told = {"caption": self.hide_in_text(block.caption), "note": self.hide_in_text(block.note)}
            return replace(block, shown=self.hide_in_table(block.shown), **told)
        return block


HELD = "all, held equal"
UNTOLD = ("median", "low", "high")
"""Columns that hold the value of one person: they stay with the owner."""


@dataclass(frozen=True)
class Withheld(NotYet):
    """An answer that is known and not passed on (falsy)."""

    def __str__(self) -> str:
        return f"Not passed on: {self.question}. It rests on fewer than {FEWEST_PEOPLE} people."


class SharedAnswers(Answers):
    """Answers like those of the study, without what may not be passed on."""

    def __init__(self, answers: Answers):
        super().__init__(answers.study, seed=answers.seed)
        survey = answers.survey()
        self.n_people = max(len(answers.study.athletes), survey.n_athletes if survey else 0)
        self._withheld: dict[str, list[str]] = {}
        self.blanked: dict[str, list[int]] = {}
        rows, touched = self._without_small_rounds(answers)
        self._kept = {k: v for k, v in answers._kept.items() if not touched or self._untouched(k, touched)}
        if touched:
            self._kept["cleaned"] = replace(answers.cleaned, rows=rows)

    @property
    def may_share(self) -> bool:
        """False where there are too few people for any write-up to be passed on."""
        return self.n_people >= FEWEST_PEOPLE

    @property
    def withheld(self) -> tuple[str, ...]:
        """What was withheld so far, in words."""
        return tuple(f"{what} {join_words(parts)}" if parts else what for what, parts in self._withheld.items())

    def _withhold(self, what: str, part: str = "") -> None:
        parts = self._withheld.setdefault(what, [])
        if part and part not in parts:
            parts.append(part)

    def _without_small_rounds(self, answers) -> tuple[pd.DataFrame, set[str]]:
        """Blank an outcome in the rounds of the primary session in which few athletes have it."""
        if not answers.cleaned:
            return pd.DataFrame(), set()
        rows, session = answers.cleaned.rows.copy(), answers.study.plan.primary_session
        touched = set()
        here = rows["session"].eq(session) & ~rows["took_part"].isin(["sat_out", "left"])
        off_scale = rows["lactate_limit"].fillna("").ne("")
        for outcome in [o for o in OUTCOMES if o in rows]:
            known = rows[outcome].notna() | (off_scale if OUTCOMES[outcome].question == "lactate" else False)
            counts = rows[here & known].groupby("round_no")["athlete"].nunique()
            few = sorted(int(r) for r, n in counts.items() if n < FEWEST_PEOPLE)
            if not few:
                continue
            blank = rows["session"].eq(session) & rows["round_no"].isin(few)
            rows.loc[blank, outcome] = float("nan")
            if OUTCOMES[outcome].question == "lactate":
                rows.loc[blank, "lactate_limit"] = ""
            touched.add(outcome)
            self.blanked[outcome] = few
            which = "round" if len(few) == 1 else "rounds"
            self._withhold(f"{_label(outcome)} in {which} {join_words([str(r) for r in few])}")
        return rows, touched

    def _untouched(self, key, touched: set[str]) -> bool:
        """Whether an answer stays as it is although values of some outcomes were blanked."""
        if key in ("capacity", "survey"):
            return True
        if not isinstance(key, tuple) or key[0] == "levels":
            return False
        questions = {OUTCOMES[o].question for o in touched}
        return key[0] == "design" or OUTCOMES[key[1]].question not in questions

    def _changed(self, key: tuple, answer, change):
        """Keep and return an answer as it may be passed on."""
        key = ("to share", *key)
        if key not in self._kept:
            self._kept[key] = change(answer) if answer else answer
        return self._kept[key]

    @property
    def description(self):
        """The description without groups of fewer than five and without values of single people."""
        return self._changed(("description",), super().description, self._describe)

    def _describe(self, description):
        people, means = description.participants, description.round_means
        table = people.characteristics
        if len(table):
            words = {"all": "everybody", **SEXES}
            for row in table[~table["shown"] & table["n_athletes"].gt(0)].to_dict("records"):
                self._withhold(f"{row['label'].lower()} of {words[row['sex']]}")
            table = table[table["shown"]].drop(columns=list(UNTOLD))
        if means:
            means = replace(means, table=means.table.drop(columns=[c for c in UNTOLD if c in means.table]))
        rests = description.rests
        if rests:
            enough = rests.table[rests.table["n_athletes"] >= FEWEST_PEOPLE]
            rests = replace(rests, table=enough.drop(columns=[c for c in UNTOLD if c in enough]))
        return replace(description, participants=replace(people, characteristics=table), round_means=means, rests=rests)

    def rounds(self, outcome: str):
        """As `Answers.rounds`; the rows, which figures draw, are rounded."""

        def change(answer):
            ways = answer.sensitivity
            few = ways["analysis"].eq(SENSITIVITY) & ways["n_athletes"].gt(answer.n_athletes - FEWEST_PEOPLE)
            if few.any():
                self._withhold(f"{_label(outcome)} in the rounds", SENSITIVITY)
            rows = answer.rows.assign(value=_shown(answer.rows["value"], outcome))
            return replace(answer, rows=rows, sensitivity=ways[~few].reset_index(drop=True))

        return self._changed(("rounds", outcome), super().rounds(outcome), change)

    def fitness(self, outcome: str):
        """As `Answers.fitness`, without subgroups of few; the points, which figures draw, are coarse."""
        return self._changed(("fitness", outcome), super().fitness(outcome), partial(self._fitness, outcome=outcome))

    def _fitness(self, answer, outcome: str):
        if answer.n_athletes < FEWEST_PEOPLE:
            self._withhold(f"fitness and {_label(outcome)}")
            return Withheld(f"fitness and {_label(outcome)}", "more athletes")
        slopes = answer.slopes
        behind = _behind_slopes(answer)
        safe = slopes.index.isin(groups_to_show(behind))
        for row in slopes[~safe & slopes["n_athletes"].gt(0)].to_dict("records"):
            self._withhold(f"fitness and {_label(outcome)}", _among(row))
        step = min(step_of(self.capacity), COARSE_STEP)
        sexes = answer.points["sex"].fillna("")
        told = groups_to_show({"": set(sexes.index)} | {s: set(sexes.index[sexes == s]) for s in sexes.unique() if s})
        apart = set(sexes) <= set(told)
        points = answer.points.assign(
            capacity=(answer.points["capacity"] / step).round() * step,
            outcome=_shown(answer.points["outcome"], outcome),
            outcome_adjusted=_shown(answer.points["outcome_adjusted"], outcome),
            sex=sexes if apart else "",
        )
        return replace(
            answer,
            slopes=slopes[safe].reset_index(drop=True),
            points=points,
            influence=_coarse_influence(answer, outcome),
            specifications=answer.specifications and _coarse_specifications(answer.specifications),
        )

    def reliability(self, outcome: str):
        """As `Answers.reliability`."""

        def change(answer):
            if answer.n_athletes >= FEWEST_PEOPLE:
                return answer
            if answer.kind.startswith("reliability"):
                self._withhold(f"how well {_label(outcome)} repeats")
            return Withheld(f"how well {_label(outcome)} repeats", "more athletes")

        return self._changed(("reliability", outcome), super().reliability(outcome), change)

    def pace(self):
        """As `Answers.pace`, without rounds and pairs of raters that rest on few athletes."""
        return self._changed(("pace",), super().pace(), self._pace)

    def _pace(self, answer):
        if answer.rounds["athlete"].nunique() < FEWEST_PEOPLE:
            self._withhold("what athletes did in the rounds")
            return Withheld("what athletes did in the rounds", "more athletes")
        place = ["session", "round_no"]
        counts = answer.rounds.groupby(place)["athlete"].transform("nunique")
        rounds = answer.rounds[counts >= FEWEST_PEOPLE]
        if len(rounds) < len(answer.rounds):
            self._withhold("what athletes did in rounds of which few were rated")
        pairs = answer.agreement[answer.agreement["n_athletes"] >= FEWEST_PEOPLE]
        if len(pairs) < len(answer.agreement):
            self._withhold("the agreement of raters who both rated few athletes")
        states = answer.states.merge(rounds[place].drop_duplicates(), on=place)
        unnamed = tuple(r for r in answer.remarks if not r.startswith("Athlete "))
        return replace(answer, rounds=rounds, agreement=pairs, states=states, remarks=unnamed)

    def activity(self, outcome: str = "hr_mean_bpm"):
        """As `Answers.activity`; the points, which a figure draws, are coarse."""

        def change(answer):
            if answer.n_athletes < FEWEST_PEOPLE:
                self._withhold("fitness and what athletes did")
                return Withheld("fitness and what athletes did", "more athletes")
            step, table = min(step_of(self.capacity), COARSE_STEP), answer.table
            points = table.assign(
                capacity=(table["capacity"] / step).round() * step,
                active_share=table["active_share"].round(2),
                outcome=table["outcome"].round(OUTCOMES[outcome].digits),
            )
            return replace(answer, table=points)

        return self._changed(("activity", outcome), super().activity(outcome), change)

    def training(self):
        """As `Answers.training`: points coarse, reasons of single people left out, groups of few not described."""
        return self._changed(("training",), super().training(), self._training)

    def _training(self, answer):
        outcomes = {}
        for name, one in answer.outcomes.items():
            n = one.n_athletes if isinstance(one, BeforeAfter) else one.main.n_athletes
            if n < FEWEST_PEOPLE:
                self._withhold(f"the training study of {one.label.lower()}")
                continue
            step = 1.0 if one.outcome in OUTCOMES else capacity_step_to_share(set(self.study.aerobic_tests["test"]))
            points = one.athletes.copy()
            for column in ("pre", "post"):
                points[column] = (points[column] / step).round() * step
            points["change"] = points["post"] - points["pre"]
            points["athlete"] = ""
            one = replace(one, athletes=points)
            if isinstance(one, BeforeAfter) and 0 < one.n_between < FEWEST_PEOPLE:
                self._withhold(f"the change between baselines in {one.label.lower()}")
                unknown = dict.fromkeys(("between_baselines", "between_low", "between_high"), float("nan"))
                one = replace(one, n_between=0, **unknown)
            if not isinstance(one, BeforeAfter):
                apart = apart_by_enough(one.beside["n_athletes"])
                if not all(apart):
                    self._withhold(f"analyses of {one.label.lower()} that differ from the planned one by few athletes")
                one = replace(one, beside=one.beside[apart].reset_index(drop=True))
                one = replace(one, missing=one.missing.assign(athlete="", reason=""))
                if min(one.main.n_trained, one.main.n_reference) < FEWEST_PEOPLE:
                    self._withhold(f"the spread of the changes of each group in {one.label.lower()}")
                    one = replace(one, individual=unknown_response(one.individual))
            outcomes[name] = one
        adherence = answer.adherence
        if adherence is not None and adherence.groups["n_athletes"].min() < FEWEST_PEOPLE:
            self._withhold("what each group trained")
            adherence = None
        if adherence is not None:
            adherence = replace(adherence, athletes=_coarse_doses(adherence.athletes))
        return replace(answer, outcomes=outcomes, adherence=adherence)

    def survey(self):
        """As `Answers.survey`."""
        return self._changed(("survey",), super().survey(), self._survey)

    def _survey(self, answer):
        if answer.n_athletes < FEWEST_PEOPLE:
            self._withhold("the survey of sessions")
            return Withheld("the survey of sessions", "more people")
        if 0 < answer.n_with_age < FEWEST_PEOPLE:
            self._withhold("shares of predicted maximal heart rate in the survey")
            answer = replace(answer, shares=answer.shares.iloc[:0], equations=answer.equations.iloc[:0])
        beside = {*answer.kinds["n_others"], *(answer.n_athletes - answer.kinds["n_athletes"])}
        if any(0 < few < FEWEST_PEOPLE for few in beside):
            self._withhold("each kind of session by itself in the survey")
            answer = replace(answer, kinds=answer.kinds.iloc[:0])
        with_file = int(answer.bands["n_athletes_recordings"].max()) if len(answer.bands) else 0
        if 0 < with_file < FEWEST_PEOPLE:
            self._withhold("time in bands of intensity in the survey")
            timed = [c for c in answer.bands if c.startswith("time")]
            answer = replace(answer, bands=answer.bands.assign(**dict.fromkeys(timed, float("nan"))))
        if len(answer.against) and (few := answer.against["n_windows"].between(1, FEWEST_PEOPLE - 1)).any():
            self._withhold("the hardest stretches of recordings in the survey")
            windows = [c for c in answer.against if c.startswith("window_")]
            answer = replace(answer, against=answer.against.assign(**{c: answer.against[c].mask(few) for c in windows}))
        ways = answer.choices
        apart = [a and b for a, b in zip(*map(apart_by_enough, (ways["n_athletes"], ways["n_sessions"])), strict=True)]
        if not all(apart):
            self._withhold("other choices in the survey that differ by few people or sessions")
            answer = replace(answer, choices=ways[apart].reset_index(drop=True))
        return answer


def _shown(values: pd.Series, outcome: str) -> pd.Series:
    """The values of single athletes as a figure draws them: to what is meant, and shares of their maximum in steps."""
    if outcome.startswith("percent_"):  # a heart rate over its exact share would be the maximum, which tells the age
        return (values / COARSE_STEP).round() * COARSE_STEP
    return values.round(OUTCOMES[outcome].digits)


def _coarse_influence(answer, outcome: str) -> pd.DataFrame:
    """What is found without each athlete, to the step of what single athletes have: exactly, it would give the one left out."""
    table, scale = answer.influence, answer.contrast_step / answer.capacity_step
    effects = {c: (table[c] * scale).round(OUTCOMES[outcome].digits) / scale for c in table if c.startswith("planned_")}
    coarse = table.assign(athlete="", **effects, cooks_distance=table["cooks_distance"].round(1))
    return coarse[["athlete", *effects, "verdict", "cooks_distance", "n_athletes"]]


def _coarse_specifications(chart):
    """Other analyses, of which some leave few athletes out, to the same step; the planned one stays as it is printed."""
    table = chart.table
    step = 10.0 ** -table["outcome"].map(lambda o: OUTCOMES[o].digits)
    size = (table["effect"] / table["multiple"]).groupby(table["outcome"]).transform("median")
    grid = (step / size).where(~table["planned"])
    ends = [c for c in table if c.startswith("multiple")]
    rounded = {c: ((table[c] / grid).round() * grid).fillna(table[c]) for c in ends}
    unnamed = table["left_out_athlete"].where(table["left_out_athlete"] == "", "somebody")
    exact = [c for c in table if c in (*ESTIMATE_COLUMNS, "effect")]
    return replace(chart, table=table.drop(columns=exact).assign(**rounded, left_out_athlete=unnamed))


def apart_by_enough(counts) -> list[bool]:
    """Which of several analyses may stand beside one another, the first in any case: as many behind them, or five apart."""
    kept: list[int] = []
    shown = []
    for n in map(int, counts):
        enough = not kept or (n >= FEWEST_PEOPLE and all(n == k or abs(n - k) >= FEWEST_PEOPLE for k in kept))
        shown.append(enough)
        kept += [n] if enough else []
    return shown


DOSE_STEP = 50
"""Rating times minutes a week to which the dose of a single athlete is rounded before it is passed on; our proposal."""


def _coarse_doses(athletes: pd.DataFrame) -> pd.DataFrame:
    """The doses of single athletes as a figure draws them: rounded, in order of size, and nobody's."""
    doses = [c for c in athletes if c.startswith("dose_")]
    coarse = {c: (athletes[c] / DOSE_STEP).round() * DOSE_STEP for c in doses}
    table = athletes[["arm"]].assign(athlete="", **coarse)
    return table.iloc[(-table[doses].fillna(0).sum(axis=1)).argsort(kind="stable")].reset_index(drop=True)


def _behind_slopes(answer) -> dict:
    """The athletes behind each slope on fitness, by its row: the planned ones, some of them, or more."""
    points, behind = answer.points.set_index("athlete"), {}
    for index, row in answer.slopes.iterrows():
        column, level = row["analysis"].removeprefix("within "), row["level"]
        own = points[column].fillna("").astype(str) if column in points and level else None
        who = set(points.index if own is None else points.index[own.ne("") if level == HELD else own.eq(level)])
        behind[index] = who | {("more", k) for k in range(int(row["n_athletes"]) - len(who))}
    return behind


def _among(row: dict) -> str:
    """Say whose slope a row of slopes is."""
    kind, level = row["analysis"].removeprefix("within "), row["level"]
    if not level:
        return {"unadjusted": "without adjustment"}.get(kind, kind)
    if level == HELD:
        return f"at equal {kind}"
    return f"among {SEXES.get(level, 'others')}" if kind == "sex" else f"in {kind} {level}"


def step_of(capacity: pd.DataFrame) -> float:
    """Return the step to which capacities are rounded before they are passed on; infinite where they are not."""
    known = capacity.dropna(subset=["capacity"])
    used = set(known["equation"]) if "equation" in known else set()
    return capacity_step_to_share(set(known["test"]), equations=used)


def _label(outcome: str) -> str:
    return OUTCOMES[outcome].label.lower()


def partly_passed_on(answers, rounds: dict) -> dict[str, str]:
    """Outcome -> the words that say which of its rounds are left where others rest on too few people."""
    said = {}
    for outcome, answer in rounds.items():
        if answer and outcome in getattr(answers, "blanked", {}):
            left = f"{'round' if len(answer.labels) == 1 else 'rounds'} {join_words([str(r) for r in answer.labels])}"
            said[outcome] = say.PARTLY.format(Outcome=OUTCOMES[outcome].label, rounds=left, few=FEWEST_PEOPLE)
    return said


COUNTS = ("n", "n_athletes", "Athletes")
PUBLISHED_COUNTS = ("comparison", "published", "profiles", "correlations_published")


def without_few(section):
    """The section without lines of its tables that rest on fewer people than may be told about (a paper's own counts stay)."""
    blocks = tuple(_table_without_few(b) if isinstance(b, Table) else b for b in section.blocks)
    return replace(section, blocks=blocks)


def _table_without_few(table: Table) -> Table:
    if table.key in PUBLISHED_COUNTS:
        return table
    shown, numbers = table.shown, table.numbers
    if numbers is not None and "n_athletes" in numbers:
        enough = ~(pd.to_numeric(numbers["n_athletes"], errors="coerce") < FEWEST_PEOPLE)
        if len(shown) == len(numbers):
            shown = shown[enough.to_numpy()].reset_index(drop=True)
        numbers = numbers[enough].reset_index(drop=True)
    for name in COUNTS:
        if name in shown:
            enough = ~(pd.to_numeric(shown[name], errors="coerce") < FEWEST_PEOPLE)
            shown = shown[enough].reset_index(drop=True)
    return replace(table, shown=shown, numbers=numbers)
