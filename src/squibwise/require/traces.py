"""Circuits that are traced card by card, once what they share was looked at."""

from collections.abc import Iterable, Iterator, Sequence

from squibwise.model.names import split_component
from squibwise.model.work import Demand, Operation
from squibwise.require.operations import TRACE, each_minutes, piece_title
from squibwise.require.orders import find_piece
from squibwise.require.scope import Scope, to_minutes
from squibwise.require.steps import cause_operations

SHARED = "step:check-shared-plug-"


def trace(scope: Scope, *, powered: bool) -> Iterator[Operation]:
    """Yield one operation per assembly whose circuits are traced.

    Args:
        scope: What is done.
        powered: It is traced with loads and the power on, not by connectors alone.
    """
    checks = [o for o in cause_operations(scope.job) if o.id.startswith(SHARED)]
    for piece in scope.pieces:
        own = [
            scope.demands[f"{c}:trace"]
            for c in scope.traced
            if find_piece(c, scope.pieces) == piece
        ]
        if not own:
            continue
        after = ("step:second-scan",) if powered else ("step:make-safe",)
        how = (
            ", card by card; hands only with the power off and waited; "
            "the time is of the first cards, the trace foretells the rest"
        )
        check = _find_check(own, checks)
        how += f"; only where no. {check.n} did not end it" if check else ""
        yield Operation(
            n=piece.number + TRACE,
            id=f"trace:{piece.id}",
            action="trace",
            title=f"Trace the circuit of the {piece_title(piece)}{how}",
            short=f"trace the circuit of the {piece_title(piece, short=True)}",
            components=tuple(d.component for d in own if d.component),
            minutes=to_minutes(each_minutes("trace", scope)),
            counted=check is None,
            kind="look-first" if check else own[0].kind,
            p=1.0 - check.p if check else max(d.probability for d in own),
            after=(*after, "all:cause"),
            because=own[0].because,
            cautions=own[0].cautions,
            blocked_by=own[0].blocked_by,
            demands=tuple(d.id for d in own),
            done=all(d.done for d in own),
            passes_when=own[0].passes_when,
        )


def _find_check(own: Sequence[Demand], checks: Iterable[Operation]) -> Operation | None:
    """Return the look at the connector that several circuits share, where it likely ends them all.

    Each of the circuits is traced, and its time counted, only where that look did not.
    """
    places = {split_component(d.component).place for d in own if d.component}
    for check in checks:
        at = check.id.removeprefix(SHARED).partition(".")[0]
        if {at} == places and check.counted and not check.done:
            return check
    return None
