"""What happened to a car, and taking the last of it back."""

import datetime as dt

from starlette.requests import Request
from starlette.responses import Response

from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, opened_for, page
from squibwise.web.sending import Sent, refuse_stale, sends

SHOWN = 200


def history(request: Request) -> Response:
    """Every entry of a car, the last first, taken back or not."""
    opened = opened_for(request)
    with connected(bench_of(request).place) as garage:
        entries = store.history(garage, opened.id)
    undone = {e.undoes for e in entries if e.kind == "undone"}
    holding = store.effective(entries)
    return page(
        request,
        "history.html",
        opened=opened,
        entries=[(e, e.number in undone) for e in reversed(entries[-SHOWN:])],
        hidden_entries=max(0, len(entries) - SHOWN),
        last=holding[-1] if len(holding) > 1 else None,
    )


@sends
def undo(request: Request, sent: Sent) -> Response:
    """Take the last entry that holds back; the history keeps both."""
    opened, bench = opened_for(request), bench_of(request)
    refuse_stale(opened, sent)
    with connected(bench.place) as garage:
        head = store.head(garage, opened.id)
        store.undo(garage, opened.id, dt.datetime.now(dt.UTC), sent.get("by", 60), head)
    return go(f"/car/{opened.id}/history")
