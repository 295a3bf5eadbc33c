"""Screening under a distributed engine, with a worker killed half way: the same rows come out.

Needs the package `distributed` (not a dependency: rows in, rows out is all that is asked of an
engine) and some minutes: `pytest -m slow tests/plan/test_cluster.py`.
"""

import os
import signal

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.cli.lot_examples import invent_lots
from squibwise.cli.lot_files import screen_rows
from squibwise.model.lots import LotTerms

pytestmark = pytest.mark.slow
_PIECE = 20


def test_a_killed_worker_changes_nothing() -> None:
    distributed = pytest.importorskip("distributed")
    head, *cells = invent_lots(160, load_catalog(), patterns=40, seed=9)
    rows = [dict(zip(head, c, strict=True)) for c in cells]
    pieces = [(rows[i : i + _PIECE], range(i + 2, i + 2 + _PIECE)) for i in range(0, 160, _PIECE)]
    expected = [screen_rows(r, n, "lots", LotTerms()) for r, n in pieces]
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        futures = [
            client.submit(screen_rows, r, n, "lots", LotTerms(), pure=False) for r, n in pieces
        ]
        done = distributed.as_completed(futures)
        next(done)
        victim = next(iter(client.run(os.getpid).values()))
        os.kill(victim, signal.SIGKILL)
        assert client.gather(futures) == expected
