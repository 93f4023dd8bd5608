"""A page for every athlete who agreed to it: the own trace and numbers beside the span of the club. No score, no ranking."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pandas as pd

from ..answers.describe import REST_MEASURES
from ..basics import check_choice, format_number
from ..study import OUTCOMES
from ..telling.cleaning.figures import draw_trace
from ..telling.study.figures import draw_own_rounds
from ..telling.style import figure_bytes
from ..telling.training.sentences import athlete_change
from .html_page import page, picture_uri, sanitised, table_rows

TEMPLATE = Path(__file__).with_name("texts") / "athlete_page.md"
"""The text that is used until the club writes its own in texts/athlete_page.md of the study folder."""

SHOWN = ("hr_mean_bpm", "hr_peak_bpm", "percent_hr_max", "lactate_mmol_l", "exertion")
"""Outcomes on the page, where they were measured."""

WORDS = {
    "lang": "en",
    "heading": "Your evening of sparring",
    "measured": "What was measured",
    "round": "Round",
    "you": "You",
    "club": "The club",
    "from_to": "{low} to {high}",
    "not_measured": "not measured",
    "only_you": "only you",
    "too_few": "too few to show",
}
"""Words outside the text; a template may replace them between two lines of three dashes at its top."""

DRAWN = ("hr_mean_bpm", "lactate_mmol_l", "exertion")

FEWEST_FOR_SPAN = 5
"""A span of fewer people tells each of them what the others had."""

PLACES = ("trace", "numbers", "figure", "lactate")
"""Placeholders that stand on a line of their own; {athlete} may stand in a sentence.

The paragraph below {trace} explains it, and goes where there is no recording. A point of a list that begins with {lactate}
goes from the page of whoever's lactate was not measured."""


def write_athlete_pages(answers, folder: str | Path, *, workers=None) -> list[Path]:
    """Write one page for each athlete who agreed to individual figures and sparred."""
    if not answers.cleaned:
        return []
    own = Path(answers.study.folder) / "texts" / TEMPLATE.name
    template = own if own.exists() else TEMPLATE
    words, text = read_template(template.read_text(encoding="utf-8-sig"), name=template.name)
    pieces = []
    for athlete in sorted(answers.study.athletes_with_figures()):
        numbers = own_numbers(answers, athlete)
        if numbers["value"].notna().any():
            pieces.append((athlete, numbers, answers.study.plan.primary_session, words, text))
    pages = workers.run(athlete_page, pieces) if workers else [athlete_page(answers, p) for p in pieces]
    written = []
    for (athlete, *_), content in zip(pieces, pages, strict=True):
        path = Path(folder) / f"{re.sub(r'[^A-Za-z0-9_-]', '_', athlete)}.html"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, encoding="utf-8", newline="\n")
        written.append(path)
    return written


def read_template(text: str, *, name: str = TEMPLATE.name) -> tuple[dict[str, str], str]:
    """Split a template into the words between its first two lines of three dashes and the text below."""
    words, body = dict(WORDS), text
    parts = re.split(r"^---[ \t]*$", text, maxsplit=2, flags=re.MULTILINE)
    if len(parts) == 3 and not parts[0].strip():
        body = parts[2]
        for line in filter(str.strip, parts[1].splitlines()):
            key, _, value = line.partition(":")
            words[check_choice(key.strip(), WORDS, name=f"A word in {name}")] = value.strip()
    for place in re.findall(r"\{(\w+)\}", body):
        check_choice(place, (*PLACES, "athlete"), name=f"A placeholder in {name}")
    return words, body.strip()


def own_numbers(answers, athlete: str) -> pd.DataFrame:
    """Return one athlete's values with the lowest and highest of the club in the same round; missing in a group of few."""
    columns = ["name", "outcome", "digits", "round_no", "value", "low", "high", "n_athletes"]
    means, rests = answers.description.round_means, answers.description.rests
    rows = answers.rows
    mine = rows[(rows["athlete"] == athlete) & (rows["session"] == answers.study.plan.primary_session)]
    mine = mine.drop_duplicates("round_no").set_index("round_no")
    told = {name: (OUTCOMES[name].axis_label, OUTCOMES[name].digits) for name in SHOWN}
    told |= {name: (label, 0) for name, label in REST_MEASURES.items()}
    lines = []
    for line in (line for found in (means, rests) if found for line in found.table.to_dict("records")):
        name, round_no = line["outcome"], line["round_no"]
        if name in told and round_no in mine.index:
            label, digits = told[name]
            lines.append(
                {"name": name, "outcome": label, "digits": digits, "round_no": round_no}
                | {"value": float(mine.loc[round_no, name])}
                | {k: line[k] for k in ("low", "high", "n_athletes")}
            )
    numbers = pd.DataFrame(lines, columns=columns)
    ratings = numbers["name"].map(lambda name: name in OUTCOMES and OUTCOMES[name].ordinal).astype(bool)
    whole = (numbers[["value", "low", "high"]].fillna(0) % 1 == 0).all(axis=1)
    if whole[ratings].all():
        numbers.loc[ratings, "digits"] = 0
    numbers.loc[numbers["n_athletes"] < FEWEST_FOR_SPAN, ["low", "high"]] = float("nan")
    return numbers


def athlete_page(answers, piece: tuple) -> str:
    """Return the page of one athlete."""
    athlete, numbers, session, words, text = piece
    import mistune

    drawn = numbers[numbers["name"].isin(DRAWN)]
    figure = draw_own_rounds(drawn, you=words["you"], club=words["club"])
    places = {"trace": "", "numbers": _table(numbers, words), "figure": _image(figure)}
    if (session, athlete) in answers.cleaned.traces:
        places["trace"] = _image(draw_trace(answers.cleaned, session, athlete))
    else:
        text = re.sub(r"^\{trace\}[ \t]*\n\s*\n(?![{#])(?:.+\n?)+", "{trace}\n", text, flags=re.MULTILINE)
    if not numbers.loc[numbers["name"] == "lactate_mmol_l", "value"].notna().any():
        text = re.sub(r"^[-*] \{lactate\}.*\n?(?:[ \t]+\S.*\n?)*", "", text, flags=re.MULTILINE)
    text = re.sub(r"\{lactate\} ?", "", text)
    body = sanitised(mistune.create_markdown(escape=True)(text.replace("{athlete}", athlete)))
    body += _training(answers, athlete)
    for name, content in places.items():
        body = re.sub(rf"<p>\s*\{{{name}\}}\s*</p>", lambda _, c=content: c, body)
    title = f"{words['heading']}: {athlete}"
    made = page(title, f"<h1>{html.escape(title)}</h1>\n{body}")
    return made.replace('<html lang="en">', f'<html lang="{html.escape(words["lang"], quote=True)}">', 1)


def _training(answers, athlete: str) -> str:
    """One athlete's change from before to after a training, beside the error of the test; "" where there is none."""
    found = answers.training()
    said = [athlete_change(one, athlete) for one in found.outcomes.values()] if found else []
    return "".join(f"<p>{html.escape(text)}</p>" for text in said if text)


def _image(figure) -> str:
    alt = html.escape(figure.alt_text, quote=True)
    return f'<figure><img src="{picture_uri(figure_bytes(figure, "svg"))}" alt="{alt}"></figure>'


def _table(numbers: pd.DataFrame, words: dict) -> str:
    rounds = sorted(numbers["round_no"].unique())
    lines = []
    for (_, outcome), rows in numbers.groupby(["name", "outcome"], sort=False):
        rows = rows.set_index("round_no")
        you = {words["measured"]: f"{outcome}: {words['you'].lower()}"}
        club = {words["measured"]: words["club"]}
        for r in rounds:
            head, there = f"{words['round']} {r}", r in rows.index
            you[head] = _value(rows.loc[r], words) if there else ""
            club[head] = _span(rows.loc[r], words) if there else ""
        lines += [you, club]
    region = f'<div class="scroll" role="region" tabindex="0" aria-label="{html.escape(words["round"], quote=True)}">'
    return f"{region}<table>{table_rows(pd.DataFrame(lines))}</table></div>"


def _value(row, words: dict) -> str:
    if row["value"] != row["value"]:
        return words["not_measured"]
    return format_number(row["value"], int(row["digits"]))


def _span(row, words: dict) -> str:
    if row["n_athletes"] < 2:
        return words["only_you"] if row["value"] == row["value"] else ""
    if row["n_athletes"] < FEWEST_FOR_SPAN:
        return words["too_few"]
    low, high = (format_number(row[k], int(row["digits"])) for k in ("low", "high"))
    return words["from_to"].replace("{low}", low).replace("{high}", high)
