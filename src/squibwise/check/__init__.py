"""Verdicts on what was measured, calibrated and checked."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.check.all_verdicts import verdicts

__all__ = ["verdicts"]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - imported when first asked for
    if name == "verdicts":
        from squibwise.check.all_verdicts import verdicts

        return verdicts
    raise AttributeError(f"module 'squibwise.check' has no attribute '{name}'")
