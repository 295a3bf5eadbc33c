"""Screening under a distributed engine, with a worker killed half way: the same rows come out.

Needs the package `distributed` (not a dependency: rows in, rows out is all that is asked of an
engine) and some minutes: `make cluster` installs it and runs this.
"""

import os
import signal
from collections import Counter

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.cli.examples import invent_lots
from squibwise.cli.lot_files import screen_rows
from squibwise.model.lots import LotTerms

pytestmark = pytest.mark.slow
_PIECE, _PIECES = 20, 8
_HALF = _PIECES // 2


def test_a_worker_killed_half_way_changes_nothing() -> None:
    distributed = pytest.importorskip("distributed")
    head, *cells = invent_lots(_PIECE * _PIECES, load_catalog(), patterns=40, seed=9)
    rows = [dict(zip(head, c, strict=True)) for c in cells]
    starts = range(0, len(rows), _PIECE)
    pieces = [(rows[i : i + _PIECE], range(i + 2, i + 2 + _PIECE)) for i in starts]
    whole = screen_rows(rows, range(2, len(rows) + 2), "lots", LotTerms())
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        workers = client.run(os.getpid)
        futures = [
            client.submit(screen_rows, r, n, "lots", LotTerms(), pure=False) for r, n in pieces
        ]
        done = distributed.as_completed(futures)
        early = [next(done) for _ in range(_HALF)]
        held = {f.key: client.who_has(f)[f.key][0] for f in early}
        victim = held[early[-1].key]
        lost = sum(place == victim for place in held.values())
        os.kill(workers[victim], signal.SIGKILL)
        found = client.gather(futures)
        assert tuple(r for piece in found for r in piece.rows) == whole.rows
        assert tuple(f for piece in found for f in piece.findings) == whole.findings
        after = Counter(places[0] for places in client.who_has(futures).values())
    assert lost >= 1
    assert victim not in after  # what it had done was lost with it, and was done again
    print(  # noqa: T201 - asked for by `make cluster`
        f"\n{_PIECES} pieces of {_PIECE} rows on {sorted(workers)}. {victim} was killed when "
        f"{_HALF} pieces were done, {lost} of them by it. In the end: {dict(after)}. Rows equal."
    )
