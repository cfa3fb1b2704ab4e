"""Whatever a ticket states by whatever rules: what is off is found, every consequence has a cause, shares add up."""

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dryrecords.settlement.audit_lines import KINDS, LINE_OF, NONE, SCALE, compare, expected_of
from dryrecords.settlement.audit_rows import MISSING
from dryrecords.settlement.fixed_point import settle_many
from dryrecords.settlement.rules import Load, rules_of, settle
from tests.settlement.invented import deliveries
from tests.settlement.test_fixed_point import integers

# Of each line: not stated, right, or off by so many ten thousandths, cents where it is money.
ERRORS = st.one_of(st.none(), st.just(0), st.just(0), st.integers(-5, 5), st.integers(-200_000, 200_000))
# What a ticket's columns hold.
MOST_LB = 9_000_000


@settings(max_examples=80, deadline=None)
@given(deliveries(), st.tuples(*[ERRORS] * len(KINDS)))
def test_causes_and_shares(drawn, errors):
    document, (load, *_) = drawn
    assume(load["gross_lb"] < MOST_LB)
    rules, one = rules_of(document), settle(rules_of(document), Load(**load))
    right = {kind: int(getattr(one, LINE_OF[kind]) * SCALE) for kind in KINDS}
    money = {kind: 100 if LINE_OF[kind].endswith("usd") else 1 for kind in KINDS}
    error = dict(zip(KINDS, errors, strict=True))
    said = {k: MISSING if error[k] is None else right[k] + error[k] * money[k] for k in KINDS}
    given_integers = integers([load])
    expected = expected_of(settle_many(rules, **given_integers))
    stated = {LINE_OF[kind]: np.array([said[kind]]) for kind in KINDS}

    ours = compare(rules, expected, stated, given_integers["price"], np.array([True]))

    assert {kind: int(expected[kind][0]) for kind in KINDS} == right
    off = {kind for kind in KINDS if ours.off[kind][0]}
    assert off == {kind for kind in KINDS if error[kind]}
    causes = {kind for kind in off if ours.cause[kind][0] == NONE}
    assert bool(causes) == bool(off)
    assert {str(ours.cause[kind][0]) for kind in off - causes} <= causes
    assert all(ours.effect[kind][0] == 0 for kind in set(KINDS) - causes)
    share = sum(int(ours.effect[kind][0]) for kind in KINDS)
    if said["amount"] != MISSING:
        assert share == said["amount"] - right["amount"]
    ours.unite(np.array([0]))
    assert len({kind for kind in off if ours.cause[kind][0] == NONE}) == bool(off)
    assert sum(int(ours.effect[kind][0]) for kind in KINDS) == share
