"""Where a circuit is at fault, and which test or repair comes next."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.isolate.circuits import causes_of_circuits, place_faults
    from squibwise.isolate.context import before_tests
    from squibwise.isolate.one_code import ask_which, names_several, tell_share
    from squibwise.isolate.outcomes import proved_causes, weigh_tests
    from squibwise.isolate.stories import weigh_stories
    from squibwise.isolate.tracing import trace

_HOMES = {
    "ask_which": "squibwise.isolate.one_code",
    "causes_of_circuits": "squibwise.isolate.circuits",
    "names_several": "squibwise.isolate.one_code",
    "place_faults": "squibwise.isolate.circuits",
    "before_tests": "squibwise.isolate.context",
    "proved_causes": "squibwise.isolate.outcomes",
    "tell_share": "squibwise.isolate.one_code",
    "trace": "squibwise.isolate.tracing",
    "weigh_stories": "squibwise.isolate.stories",
    "weigh_tests": "squibwise.isolate.outcomes",
}

__all__ = [
    "ask_which",
    "before_tests",
    "causes_of_circuits",
    "names_several",
    "place_faults",
    "proved_causes",
    "tell_share",
    "trace",
    "weigh_stories",
    "weigh_tests",
]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - imported when first asked for
    if name not in _HOMES:
        raise AttributeError(f"module 'squibwise.isolate' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)
