"""`answer_survey`: from a table of submitted sessions to a `SurveyAnswer`."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, left_out_table, plural
from ..physiology import hr_max_equations, intensity_bands
from ..replication.findings import read_findings
from . import against, tables
from . import screen as bands
from .against import Carried, People, people_of
from .files import LEAST_ERROR_BPM, MAIN_EQUATION, FileSummary, describe_senders, summarise_files
from .screen import SCREENS, SPARRING_KINDS, complete_columns, left_out_sessions, screen_sessions, settle_people


@dataclass(frozen=True)
class SurveyAnswer(Result):
    """What submitted sessions show. Shares run from 0 to 1, percentages from 0 to 100; people count once each."""

    n_sent: int  # sessions in the table, and the people behind them
    n_people_sent: int
    n_sessions: int  # sessions and people in the main analysis
    n_athletes: int
    n_with_age: int  # of these, people whose maximum can be predicted
    n_recordings: int  # sessions with a whole recording that could be read
    equation: str  # of maximal heart rate; its label is author and year
    equation_label: str
    prediction_error_bpm: float  # its standard error for one person
    least_error_bpm: float  # of such equations: in each draw the size of the error lies between the two
    hr_max_bpm: float  # mean of the predicted maxima
    n_simulations: int
    learned: bool  # whether a person's heart rates told something about that person's own maximum
    sessions: pd.DataFrame  # SESSION_COLUMNS; person_no instead of the code
    typical: pd.DataFrame  # per measure: estimate and interval over people, SDs, correlation
    # shares at or above a threshold: estimate (maxima as exact), centre, low, high, total_low, total_high
    shares: pd.DataFrame
    curve: pd.DataFrame  # the same over the whole scale
    equations: pd.DataFrame  # the same under each published equation
    ages: pd.DataFrame  # people without a known age: the share if all had one plausible age
    bands: pd.DataFrame  # time of recordings, and sessions by mean and by peak, in the bands of the position stand
    agreement: pd.DataFrame  # the band that the mean suggests, against the time spent in each band
    against: pd.DataFrame  # beside published round means
    kinds: pd.DataFrame  # each kind of session by itself, the one asked about first; none of fewer than five people
    senders: pd.DataFrame
    choices: pd.DataFrame  # the main numbers under other choices
    set_aside: pd.DataFrame  # reason, n_sessions
    bands_source: str
    plausible_ages: tuple[float, float]  # the range of `ages`
    method: str
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()

    def share(self, measure: str, threshold: float) -> dict:
        """Return one line of `shares` by measure ("percent_mean", "percent_peak") and threshold (%); empty where none."""
        lines = self.shares[(self.shares["measure"] == measure) & (self.shares["threshold"] == threshold)]
        known = lines.dropna(subset=["centre"]) if len(lines) else lines
        return known.iloc[0].to_dict() if len(known) else {}

    def asked(self) -> dict:
        """Return the line of `kinds` of the kind of session that was asked about; empty where it is not told by itself."""
        return self.kinds.iloc[0].to_dict() if len(self.kinds) > 1 else {}

    def headline(self) -> dict:
        """Return the share of all sessions: peaks at or above 90 %, else means at or above 77 %; empty where neither."""
        return self.share("percent_peak", 90.0) or self.share("percent_mean", 77.0)

    def headline_equations(self, *, only_for_all: bool = True) -> pd.DataFrame:
        """Return the lines of `equations` on the headline, by size; default only equations for both sexes."""
        measured = self.equations["measure"] == self.headline().get("measure", "")
        rows = self.equations[measured & ((self.equations["sex"] == "any") | (not only_for_all))]
        return rows.sort_values("centre", ignore_index=True)


PLAUSIBLE_AGES = (18.0, 55.0)
"""Ages of grown people on a mat, for those who gave none (our proposal)."""
MANY = 2000
"""With more people other things than chance and the error of single predictions matter most."""
DISAGREE_BPM = 5.0
"""A typed mean that differs more from that of its recording is counted in the warnings."""
TYPICAL = ("hr_mean_bpm", "hr_peak_bpm", "percent_mean", "percent_peak", "minutes")
SESSION_COLUMNS = [
    "person_no", "minutes", "hr_mean_bpm", "hr_peak_bpm", "age_years", "sex", "device_kind", "session_kind", "has_file",
    "hr_max_bpm", "percent_mean", "percent_peak", "percent_mean_likely", "percent_mean_low", "percent_mean_high",
    "percent_peak_likely", "percent_peak_low", "percent_peak_high",
]  # fmt: skip


def answer_survey(
    survey: pd.DataFrame,
    *,
    folder=None,
    published: pd.DataFrame | None = None,
    seed: int = 0,
    equation: str = MAIN_EQUATION,
    session_kinds: tuple[str, ...] = SPARRING_KINDS,
    plausible_ages: tuple[float, float] = PLAUSIBLE_AGES,
    n_simulations: int = 1000,
    n_jobs: int | None = None,
) -> SurveyAnswer:
    """Say what submitted sessions show, one person counted once.

    Parameters
    ----------
    survey : DataFrame
        One row per session: person, and what was given of age_years, sex, minutes, hr_mean_bpm, hr_peak_bpm,
        device_kind, session_kind, file.
    folder : path, optional
        The survey folder, whose recordings/ holds the files. Without it no recording is read.
    published : DataFrame, optional
        Published round means, as in published.csv.
    seed : int
        Of the simulation.
    equation : str
        Of maximal heart rate, a name of `physiology.hr_max_equations`. Default "nes_2013".
    session_kinds : tuple of str
        Kinds of session in the main analysis; sessions of unknown kind are kept.
    plausible_ages : tuple of float
        Youngest and oldest plausible age of people who gave none, years. Default 18 to 55.
    n_simulations : int
        Draws of the simulation. Default 1000; fewer for very many people.
    n_jobs : int, optional
        Workers that read recordings. Default: one per core for many files.

    Returns
    -------
    SurveyAnswer

    Raises
    ------
    KitError
        Where no session is left.

    Notes
    -----
    A predicted maximum misses a person's own by about 10 bpm, and all sessions of the person by the same amount. The
    scatter of people's shares of a predicted maximum is therefore wider than that of their true shares. The simulation
    takes both into account: it draws one error per person, given that person's heart rates (`survey.carry`).

    Examples
    --------
    >>> table = pd.DataFrame({"person": list("aab"), "age_years": 25, "hr_mean_bpm": [140, 150, 145.0], "hr_peak_bpm": 185})
    >>> answer_survey(table, n_simulations=50).n_athletes
    2
    """
    check_choice(equation, list(hr_max_equations()["equation"]), name="equation")
    if survey is None or not len(survey):
        raise KitError("the survey holds no session: give one row per submitted session")
    known = hr_max_equations().set_index("equation").loc[equation]
    error_bpm = float(known["standard_error"])
    sent, notes = settle_people(complete_columns(survey))
    windows = against.window_lengths(published)
    files, remarks = _read_files(sent, folder, windows, n_jobs)
    sent, disagreeing = _fill_from_files(sent, files)
    sent["hr_max_bpm"] = tables.maxima_of_sessions(sent, equation)
    digests = {name: summary.digest for name, summary in files.items() if summary.digest}
    ceiling = sent["hr_max_bpm"].to_numpy() + 3 * error_bpm
    screened = screen_sessions(sent, kinds=session_kinds, digests=digests, ceiling=ceiling)
    sessions = screened.sessions
    for name in ("mean", "peak"):
        sessions[f"percent_{name}"] = 100 * sessions[f"hr_{name}_bpm"] / sessions["hr_max_bpm"]
    main = sessions[(sessions["reason"] == "").to_numpy()].reset_index(drop=True)
    if main.empty:
        counted = _count_reasons(sessions).itertuples(index=False)
        raise KitError("no session is left to analyse: " + ", ".join(f"{reason} ({n})" for reason, n in counted))
    people = people_of(main["hr_mean_bpm"], main["hr_peak_bpm"], main["code"], main["hr_max_bpm"], error_bpm)
    n_draws = n_simulations if people.n <= MANY else max(200, n_simulations // 4)
    carried = against.carry_error(people, n_draws=n_draws, seed=seed, edges=bands.band_edges()) if people.n else None
    main = _likely(main, people)
    some = _some_people(sessions, seed)
    recorded, of_files = _recorded(main, files, people, error_bpm, min(n_draws, 500), seed)
    typical = against.typical_values(main, TYPICAL)
    shares = tables.share_table(carried, people.n, len(people.codes)) if carried else tables.NO_SHARES
    kind_draws = n_draws if people.n <= MANY else tables.FEWER_DRAWS
    kinds = tables.kind_table(main, session_kinds, error_bpm=error_bpm, n_draws=kind_draws, seed=seed)
    equations, choices = _beside(some, shares, kinds, equation, error_bpm, seed)
    n_people = int(main["code"].nunique())
    return SurveyAnswer(
        n_sent=len(sent),
        n_people_sent=int(sent["code"].nunique()),
        n_sessions=len(main),
        n_athletes=n_people,
        n_with_age=people.n,
        n_recordings=len(of_files),
        equation=equation,
        equation_label=f"{known['author']} {known['year']}",
        prediction_error_bpm=error_bpm,
        least_error_bpm=min(LEAST_ERROR_BPM, error_bpm),
        hr_max_bpm=float(main.drop_duplicates("code")["hr_max_bpm"].mean()),
        n_simulations=n_draws if carried else 0,
        learned=bool(carried and carried.learned),
        sessions=main.assign(person_no=main["code"] + 1).reindex(columns=SESSION_COLUMNS),
        typical=typical,
        shares=shares,
        curve=tables.curve_table(carried) if carried else pd.DataFrame(columns=["measure", "percent", "estimate"]),
        equations=equations,
        ages=tables.age_table(main, equation, plausible_ages),
        bands=_bands(carried, people, recorded),
        agreement=bands.agreement_table(recorded) if recorded else pd.DataFrame(),
        against=_against(published, typical, main, of_files),
        kinds=kinds,
        senders=describe_senders(sent),
        choices=choices,
        set_aside=_count_reasons(sessions),
        bands_source=str(intensity_bands(bands.EDITION)["source"].iloc[0]),
        plausible_ages=tuple(float(a) for a in plausible_ages),
        method=_method(carried, people),
        left_out=left_out_sessions(sessions),
        warnings=(*notes, *remarks, *disagreeing, *screened.warnings, *_warn(main, people, n_people, carried)),
    )


def _read_files(sent: pd.DataFrame, folder, windows, n_jobs) -> tuple[dict[str, FileSummary], list[str]]:
    if folder is None:
        return {}, []
    names = list(dict.fromkeys(f for f in sent["file"] if f))
    summaries = {s.file: s for s in summarise_files(folder, names, windows=windows, n_jobs=n_jobs)}
    broken = [s for s in summaries.values() if s.problem]
    remarks = [f"Recording {s.file}: {s.problem}" for s in broken[:5]]
    if len(broken) > 5:
        remarks.append(f"{plural(len(broken) - 5, 'more recording')} could not be read.")
    return summaries, remarks


def _fill_from_files(sent: pd.DataFrame, files: dict[str, FileSummary]) -> tuple[pd.DataFrame, list[str]]:
    """Take mean, peak and minutes from a recording where it could be read; say how often a typed mean disagrees."""
    read = {name: s for name, s in files.items() if not s.problem}
    has = sent["file"].isin(list(read)).to_numpy(dtype=bool)
    sent = sent.assign(has_file=has)
    if not has.any():
        return sent, []
    place = np.flatnonzero(has)
    found = [read[name] for name in sent["file"].to_numpy()[place]]
    typed = sent["hr_mean_bpm"].to_numpy()[place]
    apart = np.abs(typed - np.array([s.hr_mean_bpm for s in found])) > DISAGREE_BPM
    for column in ("hr_mean_bpm", "hr_peak_bpm"):
        values = [getattr(summary, column) for summary in found]
        filled = sent[column].to_numpy(copy=True)
        filled[place] = np.where(np.isfinite(values), values, filled[place])
        sent[column] = filled
    minutes = sent["minutes"].to_numpy(copy=True)
    lengths = np.array([(s.valid_s + s.missing_s) / 60 for s in found])
    minutes[place] = np.where(np.isnan(minutes[place]), lengths, minutes[place])
    sent["minutes"] = minutes
    if not apart.any():
        return sent, []
    return sent, [f"{plural(int(apart.sum()), 'typed mean')} disagreed with the recording; the recording is used."]


def _likely(main: pd.DataFrame, people: People) -> pd.DataFrame:
    """Add to each session its shares of the likely maximum, with 95 % limits."""
    columns = [f"percent_{m}_{end}" for m in ("mean", "peak") for end in ("likely", "low", "high")]
    main = main.assign(**dict.fromkeys(columns, np.nan))
    if not people.n:
        return main
    factors = against.likely_errors(people)
    known = main["hr_max_bpm"].notna().to_numpy() & main[["hr_mean_bpm", "hr_peak_bpm"]].notna().any(axis=1).to_numpy()
    for measure in ("mean", "peak"):
        share = main.loc[known, f"percent_{measure}"].to_numpy()
        for end, factor in (("likely", "middle"), ("low", "high"), ("high", "low")):
            main.loc[known, f"percent_{measure}_{end}"] = share / factors[factor][people.codes]
    return main


def _recorded(main: pd.DataFrame, files, people: People, error_bpm: float, n_draws: int, seed: int):
    """Return the bands of the recordings, and (row of main, summary) of each recording that was read."""
    rows = np.flatnonzero(main["has_file"].to_numpy(dtype=bool))
    of_files = [(int(i), files[main["file"].iloc[i]]) for i in rows]
    with_age = [(i, s) for i, s in of_files if np.isfinite(main["hr_max_bpm"].iloc[i])]
    if not with_age:
        return None, of_files
    codes = main["code"].to_numpy()
    senders = np.unique(codes[[i for i, _ in with_age]])
    theirs = main[np.isin(codes, senders)]
    few = people_of(theirs["hr_mean_bpm"], theirs["hr_peak_bpm"], theirs["code"], theirs["hr_max_bpm"], error_bpm)
    place = {code: i for i, code in enumerate(senders)}
    predicted = theirs.drop_duplicates("code").set_index("code")["hr_max_bpm"].loc[senders].to_numpy()
    listed = [(place[codes[i]], s) for i, s in with_age]
    return bands.recorded_bands(listed, few, predicted, against.spread_of(people), n_draws=n_draws, seed=seed), of_files


def _bands(carried: Carried | None, people: People, recorded: bands.Recorded | None) -> pd.DataFrame:
    if carried is None:
        return pd.DataFrame(columns=bands.BAND_COLUMNS)
    return bands.band_table(carried.between, people.n, recorded)


def _against(published, typical, main: pd.DataFrame, of_files) -> pd.DataFrame:
    if published is None or not len(published):
        return against.compare_with_rounds(pd.DataFrame(), typical, {}, math.nan)
    findings = read_findings(published)
    means = findings.means.merge(findings.protocols[["finding", "work_s"]], on="finding", how="left")
    means["work_s"] = pd.to_numeric(means["work_s"], errors="coerce")
    windows = {}
    for work_s in means["work_s"].dropna().unique():
        if of_files:
            own = main.iloc[[i for i, _ in of_files]]
            bpm = pd.Series([s.windows.get(work_s, math.nan) for _, s in of_files], index=own.index)
            share = bpm * (own["percent_mean_likely"] / own["hr_mean_bpm"])
            windows["hr_mean_bpm", work_s] = bpm.groupby(own["code"]).mean().to_numpy()
            windows["percent_hr_max", work_s] = share.groupby(own["code"]).mean().to_numpy()
    maximum = float(main.drop_duplicates("code")["hr_max_bpm"].mean())
    return against.compare_with_rounds(means, typical, windows, maximum)


def _beside(some, shares, kinds, equation, error_bpm, seed) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the tables of equations and of other choices; a share that stands elsewhere too has the same number."""
    equations = tables.equation_table(some[some["reason"] == ""], seed=seed)
    choices = tables.choice_table(some, error_bpm=error_bpm, seed=seed)
    for share in shares.to_dict("records"):
        row = {"equation": equation, "measure": share["measure"], "threshold": share["threshold"]}
        equations = tables.as_told(equations, share, **row)
        if (share["measure"], share["threshold"]) == tables.MAIN:
            choices = tables.as_told(choices, share, choice="as analysed")
    for kind in kinds.to_dict("records"):
        if (kind["measure"], kind["threshold"]) == tables.MAIN:
            choices = tables.as_told(choices, kind, choice=f"{kind['session_kind']} sessions only")
    return equations, choices


def _some_people(sessions: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Return the sessions of at most `against.MOST_PEOPLE` people, for the tables of equations and other choices."""
    n = int(sessions["code"].max()) + 1
    if n <= against.MOST_PEOPLE:
        return sessions
    chosen = np.zeros(n, dtype=bool)
    chosen[np.random.default_rng(seed).choice(n, against.MOST_PEOPLE, replace=False)] = True
    return sessions[chosen[sessions["code"].to_numpy()]].reset_index(drop=True)


def _count_reasons(sessions: pd.DataFrame) -> pd.DataFrame:
    counts = sessions["reason"].value_counts()
    lines = [[reason, int(counts[reason])] for reason in SCREENS if counts.get(reason, 0)]
    return pd.DataFrame(lines, columns=["reason", "n_sessions"])


def _method(carried: Carried | None, people: People) -> str:
    text = "typical values: mean of people's means"
    if carried is None:
        return text + "; no share of maximum, since no age is known"
    text += f"; shares: {plural(carried.n_draws, 'simulated draw')} of one error of the predicted maximum per person"
    if carried.n_people < people.n:
        text += f", of a random {carried.n_people} people"
    return text


def _warn(main: pd.DataFrame, people: People, n_people: int, carried: Carried | None) -> list[str]:
    warnings = []
    young = int(main.loc[main["age_years"] < 18, "code"].nunique())
    if young:
        who = plural(young, "person", "people")
        warnings.append(f"{who} under 18: the equations of maximal heart rate are made from adults.")
    if people.n < n_people:
        without = plural(n_people - people.n, "person", "people")
        warnings.append(f"{without} of {n_people} gave no age that can be used: see the range over plausible ages.")
    if people.n > MANY:
        warnings.append(
            "With this many people the intervals are narrow: what stays uncertain is the equation, and how true intensities "
            "scatter (taken as normal on the logarithm)."
        )
    if carried is not None and not carried.learned:
        warnings.append(
            "Too few people sent mean and peak: the error of the prediction is drawn as if heart rates said nothing about it."
        )
    return warnings
