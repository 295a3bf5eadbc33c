"""Where a circuit is at fault, and which test or repair comes next."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.isolate.tracing import trace

__all__ = ["trace"]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - imported when first asked for
    if name == "trace":
        from squibwise.isolate.tracing import trace

        return trace
    raise AttributeError(f"module 'squibwise.isolate' has no attribute '{name}'")
