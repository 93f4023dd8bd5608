"""Every rule of flagging: what it must catch, what it must leave, and invariants."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, fields
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_traces import add_fault, make_trace

from analysis.basics import KitError
from analysis.cleaning import CleaningRules, flag_artefacts
from analysis.cleaning.flags import FLAGS, cleaning_rules
from analysis.physiology import hr_max_equations
from analysis.physiology.intensity import _EDITIONS

REFERENCES = Path(__file__).parents[1] / "references" / "cleaning"


def samples(rates, step=1.0):
    return pd.DataFrame({"elapsed_s": np.arange(len(rates)) * step, "hr_bpm": np.asarray(rates, dtype=float)})


def good_trace(seed=0, **options):
    return make_trace(np.random.default_rng(seed), **options)


def flags_of(trace, **options):
    return flag_artefacts(trace.samples(), **options)["flag"].to_numpy(dtype=object)


@pytest.mark.parametrize("seed", range(8))
def test_clean_traces_stay_clean(seed):
    trace = good_trace(seed, noise_bpm=[0.5, 1.5][seed % 2])
    assert (flags_of(trace, hr_max_bpm=trace.hr_max) != "").mean() <= 0.01


@pytest.mark.parametrize(
    ("kind", "seconds", "names"),
    [
        ("zeros", 20, {"no contact"}),
        ("no contact", 20, {"no contact"}),
        ("out of range", 10, {"out of range"}),
        ("flat line", 45, {"flat line"}),
        ("halving", 30, {"doubled or halved", "flat line"}),
        ("spike", 4, {"spike"}),
        ("shift", 40, {"impossible change"}),
    ],
)
@pytest.mark.parametrize("seed", range(4))
def test_a_fault_is_caught_by_its_name(kind, seconds, names, seed):
    trace = good_trace(seed, before_s=400)
    part = add_fault(np.random.default_rng(seed), trace, kind, 550, seconds)
    flags = flags_of(trace, hr_max_bpm=trace.hr_max)
    assert (flags[part] != "").mean() >= 0.95
    assert set(flags[part]) - {""} <= names | {"out of range"}
    assert np.delete(flags != "", np.arange(part.start, part.stop)).mean() <= 0.01


def test_doubling_below_the_highest_rate_is_named():
    trace = good_trace(1, before_s=500)
    trace.rates[100:130] = 2 * trace.rates[100:130]
    assert set(flags_of(trace)[100:130]) == {"doubled or halved"}


def test_a_long_fault_does_not_condemn_the_rest():
    trace = good_trace(2, before_s=300)
    trace.rates[700:900] = np.round(trace.rates[700:900] / 2)
    flags = flags_of(trace)
    assert (flags[700:900] != "").all() and (np.delete(flags, np.arange(700, 900)) != "").mean() < 0.01


def test_minutes_at_a_plausible_level_are_kept_however_they_begin():
    rng = np.random.default_rng(0)
    level = np.repeat([110.0, 165, 112, 168, 115], 240)
    flags = flag_artefacts(samples(np.round(level + rng.normal(0, 1, len(level)))))["flag"]
    assert (flags == "").mean() > 0.97


def test_start_lag_ends_when_contact_is_steady():
    trace = good_trace(3, before_s=600)
    add_fault(np.random.default_rng(0), trace, "start lag", 0, 70)
    flags = flags_of(trace)
    assert (flags[:68] == "start lag").mean() >= 0.95 and (flags[75:] == "").mean() > 0.99


def test_a_fault_later_in_the_first_minutes_is_no_start_lag():
    trace = good_trace(4, before_s=600)
    add_fault(np.random.default_rng(0), trace, "spike", 100, 3)
    assert (flags_of(trace)[:95] == "").all()


def test_out_of_range_follows_the_athletes_maximum():
    rates = np.full(60, 190.0) + np.tile([0, 1], 30)
    assert (flag_artefacts(samples(rates), hr_max_bpm=185)["flag"] == "").all()
    assert (flag_artefacts(samples(rates), hr_max_bpm=175)["flag"] == "out of range").all()
    assert (flag_artefacts(samples(rates))["flag"] == "").all()
    assert set(flag_artefacts(samples(np.full(60, 230.0)))["flag"]) == {"out of range"}


def test_a_smooth_device_may_hold_a_value_that_a_noisy_one_may_not():
    noisy = np.tile([150.0, 151, 149, 152], 200)
    held = np.repeat(np.concatenate((np.arange(140, 170), np.arange(170, 140, -1))), 12).astype(float)
    for rates, flagged in ((noisy, True), (held, False)):
        rates = rates.copy()
        rates[300:322] = rates[300]
        flags = flag_artefacts(samples(rates))["flag"]
        assert (flags == "flat line").any() == flagged


def test_a_gap_resets_what_can_change():
    rates = [120.0] * 10 + [np.nan] * 40 + [170.0] * 10
    rates = np.array(rates) + np.tile([0, 1, 2], 20)
    assert set(flag_artefacts(samples(rates))["flag"]) == {"", "no contact"}


@pytest.mark.parametrize("step", [2, 5])
def test_slower_sampling(step):
    trace = good_trace(5)
    table = trace.samples().iloc[::step].reset_index(drop=True)
    assert (flag_artefacts(table)["flag"] == "").mean() > 0.99
    table.loc[200:202, "hr_bpm"] = 40 + table.loc[200:202, "hr_bpm"] / 8
    assert (flag_artefacts(table)["flag"].iloc[200:203] != "").all()


@pytest.mark.parametrize(
    "rates", [[], [120.0], [np.nan], [np.nan] * 5, [0.0] * 5, [120.0, 240.0], [120.0] * 3, [np.nan, 120.0, np.nan]]
)
def test_tiny_traces(rates):
    out = flag_artefacts(samples(rates))
    assert len(out) == len(rates) and list(out.columns) == ["elapsed_s", "hr_bpm", "flag"]
    assert set(out["flag"]) <= set(FLAGS)


def test_nothing_is_changed_or_deleted_and_other_columns_pass():
    trace = good_trace(6)
    before = trace.samples().assign(other=1)
    add_fault(np.random.default_rng(0), trace, "spike", 300, 5)
    table = trace.samples().assign(other=1)
    kept = table.copy()
    out = flag_artefacts(table)
    pd.testing.assert_frame_equal(table, kept)
    pd.testing.assert_frame_equal(out.drop(columns="flag"), kept)
    assert len(before) == len(out)


def test_bad_input_is_said():
    with pytest.raises(KitError, match="hr_bpm is missing"):
        flag_artefacts(pd.DataFrame({"elapsed_s": [1.0]}))
    with pytest.raises(KitError, match="rising order"):
        flag_artefacts(pd.DataFrame({"elapsed_s": [1.0, 0.0], "hr_bpm": [100.0, 100.0]}))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.one_of(st.none(), st.integers(0, 300)), max_size=120), st.floats(0.2, 20))
def test_any_trace_gets_one_known_flag_per_sample(values, step):
    rates = [np.nan if v is None else float(v) for v in values]
    out = flag_artefacts(samples(rates, step), hr_max_bpm=190)
    flags = out["flag"].to_numpy(dtype=object)
    assert len(flags) == len(values) and set(flags) <= set(FLAGS)
    for v, f in zip(values, flags, strict=True):
        if not v:
            assert f == "no contact"
        elif v < 40 or v > 200:
            assert f in ("out of range", "start lag")


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_a_shift_in_time_changes_no_flag(seed):
    trace = good_trace(seed % 7, rounds=1, before_s=300)
    add_fault(np.random.default_rng(seed), trace, "spike", 320, 4)
    table = trace.samples()
    later = table.assign(elapsed_s=table["elapsed_s"] + seed)
    assert flag_artefacts(table)["flag"].tolist() == flag_artefacts(later)["flag"].tolist()


def test_measured_sensitivity_and_false_alarms():
    """A small run of the command whose table stands in tests/references/recordings/sensitivity.md, with another seed."""
    import sys
    from pathlib import Path

    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))
    try:
        from cleaning_sensitivity import measure
    finally:
        sys.path.pop(0)
    for kind, score in measure(20, 99).items():
        assert score.alarmed / score.good <= 0.01, kind
        assert not score.faulty or score.caught / score.faulty >= 0.95, kind
        assert score.near / score.retained >= 0.95, kind


WRONG = {"flat": 3, "jump_bpm": -1, "bands": "mine", "accept_unset_clock": 1, "flat_s": True}


def test_rules_have_sources_and_refuse_nonsense():
    table = cleaning_rules()
    assert (table["source"] != "").all() and (table["meaning"] != "").all() and not table["changed"].any()
    with pytest.raises(KitError) as fault:
        CleaningRules.from_settings(
            {"cleaning": {"flat": 3, "jump_bpm": -1, "bands": "mine", "accept_unset_clock": 1, "flat_s": True}}
        )
    for words in (
        "flat is not a rule",
        "jump_bpm is -1",
        "bands is 'mine'",
        "accept_unset_clock must be",
        "flat_s must be",
    ):
        assert words in str(fault.value)
    assert CleaningRules.from_settings(None) == CleaningRules.from_settings({"title": "x"}) == CleaningRules()


def test_rules_are_those_that_the_sensitivity_tables_were_measured_with():
    """A default that moves makes the tables of DEVELOPERS.md and every earlier study wrong: it has to be meant."""
    table = pd.read_csv(REFERENCES / "rules.csv").set_index("parameter")
    rules = cleaning_rules().set_index("parameter")
    assert list(rules.index) == list(table.index)
    assert rules["default"].astype(str).tolist() == table["default"].tolist()
    assert rules["value"].tolist() == rules["default"].tolist()


@pytest.mark.parametrize("name", pd.read_csv(REFERENCES / "rules.csv").dropna()["parameter"])
def test_a_rule_may_be_set_up_to_its_limits_and_not_beyond(name):
    limits = pd.read_csv(REFERENCES / "rules.csv").set_index("parameter").loc[name]
    step = 1e-3 * (limits["high"] - limits["low"])
    for value in (limits["low"], limits["high"]):
        if name == "fewest_samples":
            value = int(value)
        assert getattr(CleaningRules.from_settings({"cleaning": {name: value}}), name) == value
        assert getattr(CleaningRules.from_settings({name: value}), name) == value  # the part alone
    for value in (limits["low"] - step, limits["high"] + step):
        with pytest.raises(KitError, match=f"{name} is .* must lie between"):
            CleaningRules.from_settings({"cleaning": {name: value}})
    elsewhere = {"protocol": {}, name: limits["low"]}  # a whole study.toml: what stands outside [cleaning] is no rule
    assert CleaningRules.from_settings(elsewhere) == CleaningRules()


def test_rules_are_described_as_they_are_given():
    told = cleaning_rules(CleaningRules(flat_s=33.0)).set_index("parameter")
    assert told.loc["flat_s", "value"] == 33.0 and told["changed"].sum() == 1 and told.loc["flat_s", "changed"]
    assert cleaning_rules({"cleaning": {"flat_s": 33}}).set_index("parameter").loc["flat_s", "value"] == 33.0


def test_a_word_that_is_none_is_named_with_the_nearest():
    given = CleaningRules().bands
    with pytest.raises(KitError, match=rf"bands is '{given}x', not one of .*{given}.*Did you mean {given}\?"):
        CleaningRules.from_settings({"bands": given + "x"})
    with pytest.raises(KitError, match=r"bands is 'zzz', not one of [^?]*$"):
        CleaningRules.from_settings({"bands": "zzz"})


def test_a_rule_that_is_none_is_named_with_the_nearest_where_there_is_one():
    with pytest.raises(KitError, match=r"flat_x is not a rule of cleaning. Did you mean flat_s\?"):
        CleaningRules.from_settings({"flat_x": 3})
    with pytest.raises(KitError, match=r"zzzzzz is not a rule of cleaning\.$"):
        CleaningRules.from_settings({"zzzzzz": 3})
    switch = next(f.name for f in fields(CleaningRules) if isinstance(f.default, bool))
    with pytest.raises(KitError, match=f"{switch} must be true or false"):
        CleaningRules.from_settings({switch: 1})
    assert getattr(CleaningRules.from_settings({switch: False}), switch) is False
    with pytest.raises(FrozenInstanceError):
        CleaningRules().flat_s = 3.0  # a result does not change


def test_words_among_the_rules_are_those_of_physiology():
    for edition in _EDITIONS:
        assert CleaningRules.from_settings({"bands": edition}).bands == edition
    with pytest.raises(KitError, match="bands"):
        CleaningRules.from_settings({"bands": hr_max_equations()["equation"].iloc[0]})
    equations = hr_max_equations()["equation"].tolist()
    for equation in equations:
        assert CleaningRules.from_settings({"predicted_hr_max": equation}).predicted_hr_max == equation
    with pytest.raises(KitError, match=f"'mine', not one of {equations[0]}"):
        CleaningRules.from_settings({"predicted_hr_max": "mine"})
    with pytest.raises(KitError, match="must be a number"):
        CleaningRules.from_settings({"flat_s": float("inf")})


def test_heart_rate_moves_further_over_a_longer_gap_and_never_less_than_a_jump():
    rules = CleaningRules(most_change_bpm=100.0, change_time_s=10.0, jump_bpm=12.0)
    assert rules.change_over([0.0, 1.0, 10.0, 1e6]) == pytest.approx([12.0, 12.0, 63.2, 100.0], abs=0.05)
