"""Regular expressions that are compiled when a text first needs them."""

import re
from collections.abc import Iterable
from functools import partial
from typing import Any, AnyStr, cast

_METHODS = ("search", "match", "fullmatch", "sub", "split", "finditer", "findall")
_NOTHING = {"search": None, "match": None, "fullmatch": None, "finditer": (), "findall": ()}


class _Pattern:
    """An expression that is compiled when it is first asked. A class because it then changes.

    Args:
        text: The expression.
        flags: Of ``re``.
        needs: Letters of which some stand in every text that it finds anything in.
    """

    def __init__(self, text: str | bytes, flags: int, needs: tuple[str, ...]) -> None:
        self._text, self._flags, self._needs = text, flags, needs

    def __getattr__(self, name: str) -> object:
        if self._needs and name in _NOTHING:
            return partial(self._find, name)
        return self._compiled(name)

    def _compiled(self, name: str) -> Any:  # noqa: ANN401 - whatever an expression has
        compiled = re.compile(self._text, self._flags)
        for method in _METHODS:
            setattr(self, method, getattr(compiled, method))
        return getattr(compiled, name)

    def _find(self, name: str, text: str, *rest: int) -> Any:  # noqa: ANN401 - as the method does
        """Find nothing in a text that has none of the letters, without compiling."""
        if any(letters in text for letters in self._needs):
            return self._compiled(name)(text, *rest)
        nothing = _NOTHING[name]
        return nothing if nothing is None else list(nothing) if name == "findall" else iter(nothing)


def pattern(text: AnyStr, flags: int = 0, needs: Iterable[str] = ()) -> re.Pattern[AnyStr]:
    """Return a regular expression that costs nothing until it is used.

    Args:
        text: The expression.
        flags: Of ``re``.
        needs: Letters of which some stand in every text that it finds anything in: it is compiled
            only for such a text.
    """
    return cast("re.Pattern[AnyStr]", _Pattern(text, flags, tuple(needs)))
