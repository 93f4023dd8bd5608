"""A study with unusual codes whose texts say too much and hold markup; one of its athletes withdrew and one refused."""

import json
import re
import shutil

import pandas as pd

from analysis.answers.walk import DEMO_FOLDER

LETTERS = "QWERTZUIOPASDFGH"
SHOT = (
    "<img src=x onerror=window.ran=1><script>window.ran=1</script><svg onload=window.ran=1>"
    "[press](javascript:window.ran=1) ![see](http://outside.example/p.png) <iframe src=javascript:parent.ran=1></iframe>"
)
FIELDS = {
    "sessions": ("place", "analyser", "strip_lot", "note"),
    "athletes": ("club", "group"),
    "clock": ("note",),
    "attendance": ("device", "note"),
    "rounds": ("note",),
    "recordings": ("device",),
    "published": ("finding", "source"),
    "decisions": ("reason", "decided_by"),
}
"""Table -> columns that a club types as it likes."""


def digits_or_letters(n):
    """Codes of digits alone for the odd, of letters alone for the even."""
    return str(n + 500) if n % 2 else f"X{LETTERS[n - 1]}V"


WITHDREW, REFUSED = digits_or_letters(4), digits_or_letters(6)


def renamed(folder, code):
    """The demo with other codes, in tables and names of files alike."""
    ignored = shutil.ignore_patterns("output", "how_it_was_made", "notebooks", "survey", "training", "plan_*")
    shutil.copytree(DEMO_FOLDER, folder, ignore=ignored)
    pattern = re.compile(r"A(0[1-9]|1[0-6])(?!\d)")
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        if path.suffix in (".csv", ".toml", ".md"):
            text = path.read_bytes().decode("latin-1")
            path.write_bytes(pattern.sub(lambda m: code(int(m[1])), text).encode("latin-1"))
        path.rename(path.with_name(pattern.sub(lambda m: code(int(m[1])), path.name)))
    return folder


def edit(folder, table, change):
    """Let `change` alter the rows of a table."""
    path = folder / f"{table}.csv"
    sep = ";" if ";" in path.read_text(encoding="utf-8-sig").splitlines()[0] else ","
    rows = pd.read_csv(path, sep=sep, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    change(rows)
    rows.to_csv(path, index=False, sep=sep)


def write_careless_study(folder):
    """Write the folder."""
    renamed(folder, digits_or_letters)

    def leave(rows):
        rows.loc[rows["athlete"] == WITHDREW, "withdrawn"] = "yes"
        rows.loc[rows["athlete"] == REFUSED, "consent_measured"] = "no"

    edit(folder, "athletes", leave)
    with (folder / "decisions.csv").open("a", encoding="utf-8") as file:
        file.write(
            f"2026-10-15,study lead,rounds,1,{digits_or_letters(11)},3,lactate_mmol_l,,,set aside,,"
            f"drop touched by {WITHDREW} while {REFUSED} and Anna watched\n"
        )
    for table, columns in FIELDS.items():
        edit(folder, table, lambda rows, columns=columns: _shoot(rows, columns))
    said = {
        "title": f"A sparring evening led by Kim Beispiel, kim@club.example, +44 20 7946 0958 {SHOT}",
        "sport": f"An evening {SHOT}",
        "text": f"An evening {SHOT}",
    }
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    text = text.replace('"athletes on medicine', f'"{WITHDREW} since {REFUSED} was rough; athletes on medicine')
    keys = "|".join(said)
    text = re.sub(rf"^({keys}) *=.*$", lambda m: f"{m[1]} = {json.dumps(said[m[1]])}", text, flags=re.M)
    settings.write_text(text, encoding="utf-8")
    (folder / "texts").mkdir()
    page = f"# An evening {SHOT}\n\n{{trace}}\n\n{{numbers}}\n\n{{figure}}\n"
    (folder / "texts" / "athlete_page.md").write_text(page, encoding="utf-8")
    (folder / "consent").mkdir()
    (folder / "consent" / "Kim_Beispiel_1998-02-11.pdf").write_text("signed")
    return folder


def _shoot(rows, columns):
    for column in set(columns) & set(rows):
        rows[column] = [f"{v} {SHOT}".strip() for v in rows[column]]
