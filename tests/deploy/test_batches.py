"""Batches against a real server that is hurt meanwhile; the long command, on few items."""

import pytest

from deploy import batch_endurance

pytestmark = pytest.mark.server


def test_every_item_is_answered_and_nothing_is_left_whatever_happens() -> None:
    """Kill -9 of either kind of process, clients that pause and leave, HUP, SIGTERM."""
    batch_endurance.main(24, grace=8, pause=2.0)
