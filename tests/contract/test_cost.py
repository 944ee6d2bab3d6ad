"""No accepted request costs more than the greater of 20 medians and a CPU second a freeze point."""

import itertools

import pytest

from contract import costs, extremes
from stillpipe.api.inputs import schemas
from stillpipe.api.registry import ENDPOINTS
from stillpipe.model import declare
from stillpipe.physics.column import work

DRAWN = 20
"""Bodies that are drawn for each endpoint beyond those that are tried in any case."""


def drawn(n: int) -> bool:
    return n < DRAWN


@pytest.mark.parametrize("name", ENDPOINTS)
def test_no_accepted_request_takes_too_many_units(name: str) -> None:
    best = costs.searched(name, drawn, lambda c: c.units / costs.points(c.tree), both=False)
    accepted = [c for c in best if c.accepted]
    assert accepted, "the search finds requests that are accepted"
    dearest = max(accepted, key=lambda c: c.units / costs.most_units(name, c.tree))
    assert dearest.units <= costs.most_units(name, dearest.tree), dearest.text


def test_a_budget_is_spent_within_the_bar() -> None:
    """What is refused in the middle has cost no more either."""
    assert work.MOST <= costs.SECONDS * costs.PER_SECOND


@pytest.mark.parametrize("name", ENDPOINTS)
def test_requests_known_as_dear_are_among_those_that_are_tried(name: str) -> None:
    """They follow the schema and are within validity, so that they are refused for cost alone."""
    for tree in costs.dear(name):
        assert schemas.load(ENDPOINTS[name].request, tree)
        assert tree in itertools.islice(costs.fixed(name), 10)


@pytest.mark.parametrize("name", ENDPOINTS)
def test_every_input_is_searched_at_both_of_its_ends(name: str) -> None:
    """By the declarations: each member of one value comes with all of its ends."""
    request = ENDPOINTS[name].request
    bodies = list(costs.fixed(name))

    def check(declared: type[object], trees: list[object]) -> None:
        for member in declare.inputs(declared).values():
            values = [t[member.name] for t in trees if isinstance(t, dict) and member.name in t]
            if isinstance(member.declaration, declare.Group):
                check(member.group, values)
            elif isinstance(member.declaration, declare.Many):
                assert max(map(len, values)) == member.declaration.most
                check(member.group, [entry for v in values for entry in v])
            elif isinstance(member.declaration, declare.Text):
                assert values, member.name  # a pipe's size is one of the catalogue's
            else:
                assert [e for e in extremes.ends(member) if e not in values] == [], member.name

    check(request, list(bodies))
