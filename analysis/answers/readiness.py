"""What a study folder holds now, and what each notebook still needs."""

from __future__ import annotations

import pandas as pd

from ..study import Study

READY, NOT_YET = "ready", "not yet"
NOTEBOOKS = (
    ("01_design_the_study", "How many athletes, and what can they answer?", ""),
    ("02_run_the_day", "Who spars whom, when is blood sampled, what is printed?", ""),
    (
        "03_clean_the_data",
        "What can be trusted in the recordings?",
        "recordings in recordings/, or typed means in rounds",
    ),
    (
        "04_compare_the_rounds",
        "Does it change from round to round?",
        "filled rounds: heart rate, lactate or exertion",
    ),
    (
        "05_fitness_and_sparring",
        "Do fitter athletes respond less?",
        "an aerobic test per athlete in aerobic_tests",
    ),
    (
        "06_compare_with_published",
        "Is our answer consistent with the published one?",
        "numbers of a paper in published",
    ),
    ("07_write_it_up", "What may we conclude, and how is it told?", "filled rounds"),
    ("08_survey_of_sessions", "What do sessions sent by other people add?", "a table survey"),
)
"""Notebook, its question, and what it needs."""


def list_readiness(study: Study) -> pd.DataFrame:
    """List the notebooks with what this study can already answer.

    Parameters
    ----------
    study : Study
        A loaded study, however little it holds.

    Returns
    -------
    pandas.DataFrame
        notebook, question, state ("ready" or "not yet"), needs ("" where ready).

    Examples
    --------
    >>> from analysis.study import Study
    >>> list_readiness(Study(folder="."))["state"].unique().tolist()
    ['ready', 'not yet']
    """
    recorded = (
        bool(len(study.recordings)) or study.rounds["hr_mean_typed_bpm"].notna().any() or _has_files(study)
    )
    measured = bool(
        recorded or study.rounds[["lactate_mmol_l", "exertion"]].notna().any().any() or len(study.lactate)
    )
    tested, compared = measured and len(study.aerobic_tests) > 0, measured and len(study.published) > 0
    can_answer = (True, True, recorded, measured, tested, compared, measured, len(study.survey) > 0)
    lines = [
        (name, question, READY if can else NOT_YET, "" if can else needs)
        for (name, question, needs), can in zip(NOTEBOOKS, can_answer, strict=True)
    ]
    return pd.DataFrame(lines, columns=["notebook", "question", "state", "needs"])


def _has_files(study: Study) -> bool:
    folder = study.folder if hasattr(study.folder, "joinpath") else None
    return (
        folder is not None
        and folder.joinpath("recordings").is_dir()
        and any(folder.joinpath("recordings").iterdir())
    )
