"""Plain JSON values, their canonical bytes (RFC 8785) and the digest over them."""

import hashlib
import math
from typing import Any

import rfc8785

from squibwise.errors import InputError

LARGEST = 2**53 - 1
DECIMALS = 4


def canonical(value: Any) -> bytes:  # noqa: ANN401 - any JSON value
    """Return the canonical bytes of a JSON value.

    Raises:
        InputError: It holds something that JSON cannot carry exactly: an integer beyond 2^53,
            a number that is not finite, or broken text.

    Source: RFC 8785; integers, which it leaves to ECMAScript doubles, are refused beyond 2^53.
    """
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, RecursionError) as error:
        raise InputError(
            f"cannot be written as canonical JSON: {error}", remedy="Write such numbers as text."
        ) from error


def digest(value: Any) -> str:  # noqa: ANN401 - any JSON value
    """Return the SHA-256 over the canonical bytes of a JSON value, in hex."""
    return hashlib.sha256(canonical(value)).hexdigest()


def plain(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value whose numbers and text survive every reader.

    Fractions are rounded to four decimals, never to a certain 0 or 1; numbers
    beyond 2^53 or not finite become text; text that is not Unicode is written escaped.
    """
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, float):
        return _rounded(value) if abs(value) <= LARGEST else str(value)  # NaN becomes text too
    if isinstance(value, int):
        return value if abs(value) <= LARGEST else str(value)
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, dict):
        return {plain(str(k)): plain(v) for k, v in value.items()}
    return [plain(v) for v in value]


def exact(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value whose fractions are text, digit for digit as they were recorded."""
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dict):
        return {k: exact(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [exact(v) for v in value]
    return value


def _rounded(value: float) -> float:
    """Return a rounded fraction; what is neither 0 nor 1 stays so."""
    result = round(value, DECIMALS)
    if result != value and result in (0.0, 1.0):
        step = 10.0**-DECIMALS
        return round(result + math.copysign(step, value - result), DECIMALS)
    return result
