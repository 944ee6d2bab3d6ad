"""A dispatcher's month against real gunicorn and nginx; the long command, on few jobs."""

import pytest

from deploy import district, month
from deploy.stack import NGINX


@pytest.mark.server
@pytest.mark.skipif(NGINX is None, reason="no nginx on this machine")
def test_a_month_is_accounted_for_through_a_reload_and_a_restart() -> None:
    """Equal bodies get equal bytes from every worker, before and after it was replaced."""
    month.main(60, days=4)


def asked(jobs: int) -> list[list[bytes]]:
    """The bodies of each day of a month."""
    drawn = month.Month(jobs)
    return [[c.body for part in drawn.day(day) for c in part] for day in range(month.DAYS)]


def test_a_month_is_drawn_alike_every_time_and_asks_again_what_it_asked_before() -> None:
    days = asked(1000)
    assert days == asked(1000)
    bodies = [body for day in days for body in day]
    assert len(bodies) == 1000
    assert 500 < len(set(bodies)) < 950
    assert any(body in days[0] for body in days[-1] + days[-2] + days[-3])


def test_a_change_alters_a_job_and_keeps_its_name() -> None:
    before, after = district.job(7), district.job(7, 1)
    assert before["id"] == after["id"]
    assert {k for k in before if before[k] != after[k]} == {"fluid", "repair"}
