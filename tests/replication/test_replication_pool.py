"""Clubs pooled: de-identified, protocols kept apart, written whole or not at all, and right about a known truth."""

import re
import shutil

import numpy as np
import pandas as pd
import pytest
from pool_folders import SLOPE, STEPS, write_club

from analysis.__main__ import main
from analysis.basics import FEWEST_PEOPLE, KitError, left_out_table
from analysis.replication import pool_studies
from analysis.replication.pool import CLUB_COLUMNS, JoinedStudies, answer_pooled, join_studies
from analysis.study import OUTCOMES


@pytest.fixture(scope="module")
def clubs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clubs")
    return [write_club(folder / f"club{i}", i) for i in (1, 2, 3)]


@pytest.fixture(scope="module")
def pooled(clubs):
    return answer_pooled(join_studies(clubs))


def test_three_clubs_of_one_truth(pooled):
    slope = pooled.joint("hr_mean_bpm", "fitness").set_index("stage")
    for stage in ("all athletes together", "club by club"):
        assert slope.loc[stage, "ci_low"] < SLOPE < slope.loc[stage, "ci_high"]
    together, each = slope.loc["all athletes together"], slope.loc["club by club"]
    assert together["estimate"] == pytest.approx(each["estimate"], abs=0.15)
    assert each["tau2"] >= 0 and together["n_clubs"] == 3 and together["n_athletes"] == 36
    rounds = pooled.joint("hr_mean_bpm", "rounds")
    step = rounds[rounds["contrast"] == "2 - 1"]
    assert ((step["ci_low"] < STEPS[1]) & (step["ci_high"] > STEPS[1])).all() and len(step) == 2
    assert pooled.n_clubs == 3 and not any("alone" in w for w in pooled.warnings)


def test_the_slope_is_within_clubs_not_between_them():
    """Clubs that differ in fitness and in heart rate for other reasons do not create a slope."""
    joined = simulated(seed=4, slope=0.0, club_capacity=(38.0, 47.0, 56.0), club_level=(20.0, 0.0, -20.0), n=14)
    line = answer_pooled(joined).joint("hr_mean_bpm", "fitness").iloc[0]
    assert line["ci_low"] < 0 < line["ci_high"] and abs(line["estimate"]) < 0.6  # between clubs it is about -2.2


def test_intervals_hold_the_truth_about_as_often_as_they_say():
    inside = []
    for seed in range(15):
        lines = answer_pooled(simulated(seed=seed)).joint("hr_mean_bpm", "fitness")
        inside.append(((lines["ci_low"] < SLOPE) & (lines["ci_high"] > SLOPE)).tolist())
    assert (np.sum(inside, axis=0) >= 12).all()  # of 15: fewer has a chance of 1 in 2000 at 95 %


def simulated(*, seed, n=10, slope=SLOPE, club_capacity=(47.0,) * 3, club_level=(0.0, 4.0, -3.0)):
    """Three clubs in memory, no covariates that vary but capacity."""
    rng = np.random.default_rng(seed)
    same = {"protocol": "p", "sex": "M", "age_years": 25.0, "hr_max_bpm": 190.0, "hr_max_source": "measured"}
    same |= {"capacity_unit": "mL/kg/min", "uses_heart_rate": False}
    rows, people = [], []
    for club, (centre, level) in enumerate(zip(club_capacity, club_level, strict=True), start=1):
        for i in range(n):
            who = {"club": f"C{club}", "athlete": f"C{club}_A{i}"}
            fit = centre + rng.normal(0, 5)
            own = 165 + level + slope * (fit - centre) + rng.normal(0, 4)
            people.append(who | same | {"capacity": fit})
            for r, step in enumerate(STEPS, start=1):
                rows.append(who | {"protocol": "p", "round_no": r, "hr_mean_bpm": own + step + rng.normal(0, 3)})
    table = pd.DataFrame(rows).reindex(columns=["club", "athlete", "protocol", "round_no", *OUTCOMES])
    lines = [[f"C{c}", n, 0, "p", 3, 300.0, 120.0, "6-20", "pooled"] for c in (1, 2, 3)]
    return JoinedStudies(table, pd.DataFrame(people), pd.DataFrame(lines, columns=list(CLUB_COLUMNS)), left_out_table())


def test_what_is_written_tells_nobody(clubs, tmp_path):
    out = pool_studies(clubs, tmp_path / "together")
    assert {p.name for p in out.iterdir()} == {
        "README.md", "athletes.csv", "clubs.csv", "codebook.csv", "left_out.csv", "results.csv", "rows.csv",
    }  # fmt: skip
    everything = "\n".join(p.read_text(encoding="utf-8") for p in out.iterdir())
    for secret in ("private remark", "mat room", "Club number", "2026-", "guest", str(tmp_path), "club1"):
        assert secret not in everything
    rows = pd.read_csv(out / "rows.csv")
    assert rows["athlete"].str.fullmatch(r"C[123]_P\d\d").all()
    shares = [c for c in rows if "percent" in c or "max" in c or "reserve" in c]
    assert not shares and "hr_mean_bpm" in rows  # a heart rate over its share is the maximum, and that tells the age
    athletes = pd.read_csv(out / "athletes.csv", dtype=str, keep_default_na=False)
    assert not {"hr_max_bpm", "mass_kg", "standard_error"} & set(athletes)
    assert set(athletes["capacity"]) <= {f"{v}.0" for v in range(20, 90, 5)}  # the shuttle equation takes the age
    told = [c for c in ("sex", "age_years") if c in athletes]
    assert told and (athletes.groupby(["club", *told]).size() >= 2).all()
    assert not athletes["age_years"].str.fullmatch(r"\d+(\.\d+)?").any()
    numbers = pd.read_csv(out / "results.csv")["estimate"]
    assert all(v == float(f"{v:.4g}") for v in numbers)
    book = pd.read_csv(out / "codebook.csv")["column"]
    assert set(rows) | set(athletes) == set(book) & (set(rows) | set(athletes))


@pytest.mark.parametrize("refused", [1, 3, 4, 5, 7])
def test_what_a_club_tells_of_everybody_minus_the_pool_tells_about_five_or_more(clubs, tmp_path, refused):
    """Whoever did not agree cannot be worked out from the club's own means and the pooled rows, round by round."""
    club = write_club(tmp_path / "club", 20 + refused)
    athletes = pd.read_csv(club / "athletes.csv")
    athletes.loc[athletes.index >= len(athletes) - refused, "consent_shared_data"] = "no"
    athletes.to_csv(club / "athletes.csv", index=False)
    rounds = pd.read_csv(club / "rounds.csv")
    rounds.loc[rounds["athlete"].eq("A12") & rounds["round_no"].eq(3), "hr_mean_typed_bpm"] = np.nan
    rounds.to_csv(club / "rounds.csv", index=False)
    joined = join_studies([*clubs[:2], club])
    own = joined.rows[joined.rows["club"] == "C3"]
    assert 0 < own["athlete"].nunique() <= 12 - max(refused, FEWEST_PEOPLE)
    everybody = rounds.groupby("round_no")["hr_mean_typed_bpm"].count()
    outside = everybody - own.groupby("round_no")["hr_mean_bpm"].count()
    assert outside.min() >= FEWEST_PEOPLE
    assert any("by lot" in r for r in joined.left_out["reason"]) == (refused < FEWEST_PEOPLE)


def test_a_club_of_four_is_not_pooled(clubs, tmp_path):
    joined = join_studies([*clubs[:2], write_club(tmp_path / "four", 3, n=4)])
    assert set(joined.rows["club"]) == {"C1", "C2"} and joined.clubs["used"].tolist()[-1] == "too few"
    assert answer_pooled(joined).table["n_athletes"].dropna().min() >= FEWEST_PEOPLE


def test_only_who_agreed_is_pooled(clubs, tmp_path):
    unwilling = write_club(tmp_path / "few", 9, shared="no")  # one of twelve says yes
    joined = join_studies([*clubs, unwilling])
    assert not joined.rows["club"].eq("C4").any() and not joined.athletes["club"].eq("C4").any()
    assert any("11 athletes did not agree" in r for r in joined.left_out["reason"])
    with pytest.raises(KitError, match="nothing to pool"):
        pool_studies([unwilling, write_club(tmp_path / "few2", 10, shared="no")], tmp_path / "out")


def test_another_rest_is_never_pooled_silently(clubs, tmp_path):
    longer = write_club(tmp_path / "longer", 7, rest="6:00")
    joined = join_studies([*clubs[:2], longer])
    assert joined.clubs.set_index("club")["used"].to_dict() == {"C1": "pooled", "C2": "pooled", "C3": "alone"}
    assert "6:00 rest stands alone" in joined.warnings[0]
    answer = answer_pooled(joined)
    assert answer.n_clubs == 2 and "C3" not in set(answer.table["club"])
    pair = answer_pooled(join_studies([*clubs[:2], longer, write_club(tmp_path / "longer2", 8, rest="6:00")]))
    assert pair.table["protocol"].nunique() == 2
    readme = (pool_studies([*clubs[:2], longer], tmp_path / "out") / "README.md").read_text()
    assert "stands alone" in readme


def test_another_exertion_scale_and_other_numbers_of_rounds(clubs, tmp_path):
    other = write_club(tmp_path / "other", 5, rounds=4, scale="0-100")
    answer = answer_pooled(join_studies([clubs[0], other]))
    assert "exertion" not in set(answer.table["outcome"])
    assert any("different scales" in r for r in answer.left_out["reason"])
    assert any("rounds that not every club sparred" in r for r in answer.left_out["reason"])
    assert set(answer.joint("hr_mean_bpm", "rounds")["contrast"]) == {"2 - 1", "3 - 2"}


def test_out_must_be_new_and_is_written_whole_or_not_at_all(clubs, tmp_path):
    there = tmp_path / "there"
    there.mkdir()
    with pytest.raises(KitError, match="exists already"):
        pool_studies(clubs, there)
    with pytest.raises(KitError, match="inside the study"):
        pool_studies(clubs, clubs[0] / "pooled")

    def fails(answer):
        raise RuntimeError("while writing")

    with pytest.raises(RuntimeError):
        pool_studies(clubs, tmp_path / "new" / "out", describe=fails)
    assert not (tmp_path / "new" / "out").exists() and not list((tmp_path / "new").iterdir())


def test_folders_that_cannot_be_pooled_are_all_named(clubs, tmp_path):
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(KitError) as found:
        pool_studies([clubs[0], tmp_path / "nowhere", empty], tmp_path / "out")
    assert "nowhere" in str(found.value) and not (tmp_path / "out").exists()
    with pytest.raises(KitError, match="more than once"):
        join_studies([clubs[0], clubs[0]])
    copied = tmp_path / "copied"
    shutil.copytree(clubs[0], copied)
    with pytest.raises(KitError, match="same values"):
        join_studies([clubs[0], copied])


def test_a_club_without_rounds_or_tests_does_not_stop_the_others(clubs, tmp_path):
    bare = write_club(tmp_path / "bare", 11)
    (bare / "aerobic_tests.csv").unlink()
    answer = answer_pooled(join_studies([*clubs[:2], bare]))
    assert answer.joint("hr_mean_bpm", "fitness")["n_clubs"].tolist() == [2, 2]
    assert answer.joint("hr_mean_bpm", "rounds")["n_clubs"].tolist()[0] == 3
    (bare / "rounds.csv").unlink()
    assert len(answer_pooled(join_studies([*clubs[:2], bare])).joint("hr_mean_bpm", "rounds"))


def test_the_command(clubs, tmp_path, capsys):
    assert main(["pool", *map(str, clubs), str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    assert re.search(r"out$", said.strip().splitlines()[-1]) or "out" in said
    assert main(["pool", *map(str, clubs), str(tmp_path / "out")]) == 1
    assert "exists already" in capsys.readouterr().err


def test_the_words_for_the_coach_come_first_and_have_no_signs(clubs, tmp_path):
    from analysis.telling.published.sentences import write_up_pool

    text = (pool_studies(clubs, tmp_path / "out", describe=write_up_pool) / "README.md").read_text(encoding="utf-8")
    plain, mark, rest = text.partition("## For the write-up")
    assert mark and "were pooled." in plain and "mixed model" not in plain and "mixed model" in rest
    assert "\N{MINUS SIGN}" not in plain and "hr_mean_bpm and fitness" not in text
    assert plain.count("mean heart rate") <= 1 and "peak heart rate" not in plain


def test_a_data_package_in_place_of_a_study_folder_is_named_in_one_line(clubs, tmp_path):
    package = tmp_path / "data_package"
    package.mkdir()
    for name in ("datapackage.json", "athletes.csv", "rounds.csv"):
        (package / name).write_text("person,age_years\nP01,20-29\n", encoding="utf-8")
    with pytest.raises(KitError) as refused:
        join_studies([clubs[0], package])
    assert str(refused.value).splitlines()[1:] == [
        f"{package} is a data package. Give the study folder that it was made from, the one with study.toml."
    ]
