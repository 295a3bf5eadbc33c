"""Regular expressions that are compiled when a text first needs them."""

import re
from typing import AnyStr, cast

_METHODS = ("search", "match", "fullmatch", "sub", "split", "finditer", "findall")


class _Pattern:
    """An expression that is compiled when it is first asked. A class because it then changes.

    Args:
        text: The expression.
        flags: Of ``re``.
    """

    def __init__(self, text: str | bytes, flags: int) -> None:
        self._text, self._flags = text, flags

    def __getattr__(self, name: str) -> object:
        compiled = re.compile(self._text, self._flags)
        for method in _METHODS:
            setattr(self, method, getattr(compiled, method))
        return getattr(compiled, name)


def pattern(text: AnyStr, flags: int = 0) -> re.Pattern[AnyStr]:
    """Return a regular expression that costs nothing until it is used.

    Args:
        text: The expression.
        flags: Of ``re``.
    """
    return cast("re.Pattern[AnyStr]", _Pattern(text, flags))
