"""The ledger is a conservation law: rows in = rows used + rows set aside, for every table, whatever was decided."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_folders import CODES, athletes, make_folder, rounds

from analysis.study import TABLES, load_study
from analysis.study.decisions import LEDGER_COLUMNS, Ledger

AMOUNTS = st.lists(
    st.fixed_dictionaries(
        {
            "table": st.sampled_from(["rounds", "athletes"]),
            "amount": st.integers(0, 50),
            "used": st.booleans(),
            "cause": st.sampled_from(["", "no consent", "strap off"]),
            "unit": st.sampled_from(["rows", "s"]),
        }
    ),
    max_size=12,
)


@settings(max_examples=30, deadline=None)
@given(AMOUNTS, AMOUNTS)
def test_the_balance_adds_up(first, second):
    ledger = Ledger().add(first).add(second)
    assert tuple(ledger.table.columns) == LEDGER_COLUMNS and len(ledger.table) == len(first) + len(second)
    balance = ledger.balance()
    assert (balance["rows_in"] == balance["used"] + balance["set_aside"]).all()
    assert balance["rows_in"].sum() == sum(row["amount"] for row in first + second)
    assert Ledger().add(ledger.table).table.equals(ledger.table)


def test_adding_leaves_the_old_ledger_as_it_was():
    old = Ledger().add([{"table": "rounds"}])
    new = old.add([{"table": "rounds", "used": False, "cause": "strap off", "round_no": 2.0, "row": ""}])
    assert (len(old.table), len(new.table), len(new.set_aside())) == (1, 2, 1)
    assert new.set_aside().loc[0, "round_no"] == 2


FATES = st.sampled_from(["fine", "no consent", "not cleared", "withdrawn"])
DECISIONS = st.lists(
    st.tuples(
        st.sampled_from(CODES), st.integers(1, 3), st.sampled_from(["", "lactate_mmol_l", "exertion"]), st.booleans()
    ),
    max_size=5,
    unique_by=lambda d: d[:3],
)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(fates=st.tuples(FATES, FATES, FATES, FATES), decisions=DECISIONS, wide=st.booleans())
def test_every_row_that_came_in_was_used_or_set_aside(tmp_path_factory, fates, decisions, wide):
    people = [
        row
        | {"consent_measured": "no" if fate == "no consent" else "yes"}
        | {"cleared": "no" if fate == "not cleared" else "yes", "withdrawn": "yes" if fate == "withdrawn" else ""}
        for row, fate in zip(athletes(), fates, strict=True)
    ]
    rows = rounds()
    if wide:
        lines = {}
        for row in rows:
            line = lines.setdefault(row["athlete"], {"athlete": row["athlete"]})
            line |= {f"{k}_{row['round_no']}": v for k, v in row.items() if k not in ("athlete", "round_no")}
        sheet = list(lines.values())
    else:
        sheet = rows
    decided = [
        {
            "date": "2026-03-06",
            "decided_by": "study lead",
            "table": "rounds",
            "athlete": athlete,
            "round_no": round_no,
            "measure": measure,
            "action": "set aside" if aside or not measure else "replace",
            "new_value": "" if aside or not measure else "13",
            "reason": "as on the paper sheet",
        }
        for athlete, round_no, measure, aside in decisions
    ]
    folder = make_folder(tmp_path_factory.mktemp("ledger"), athletes=people, rounds=sheet, decisions=decided or None)
    study = load_study(folder)
    balance = study.ledger.balance()
    assert (balance["rows_in"] == balance["used"] + balance["set_aside"]).all()
    counted = balance[balance["unit"] == "rows"].set_index("table")
    came_in = {"athletes": 4, "rounds": 12, "sessions": 1, "aerobic_tests": 4} | (
        {"decisions": len(decided)} if decided else {}
    )
    assert counted["rows_in"].to_dict() == came_in
    for name in TABLES:  # what the ledger calls used is what the analyses get
        assert counted["used"].get(name, 0) == len(getattr(study, name)), name
    measured = study.rounds["exertion"].notna().sum()
    values = balance[(balance["measure"] == "exertion") & (balance["unit"] == "values")]
    if len(values):
        assert values["used"].iloc[0] == measured
    aside = study.ledger.set_aside()
    assert (aside["cause"] != "").all() and (aside["decided_by"] != "").all()
