"""Where a cause lies, in the words in which the assessment speaks of a circuit."""

from squibwise.isolate.context import Context

_WHOLE = {"spent": "spent", "left-out": "left-out"}
_OFF = ("not-seated", "spring-not-lifted")
_SHARED = dict.fromkeys(("seat-plug", "column-plug"), (*_OFF, "bad-contact"))


def place_of(part: str, context: Context) -> str:
    """Return the place of a cause, written ``<element>:<fault>``; see ``StageBelief.where``.

    Of a part or its own wiring it is ``device`` where it is in the part itself.
    """
    element, _, fault = part.partition(":")
    if element == context.own:
        return _WHOLE.get(fault, "device")
    if element == "device-plug" and fault in _OFF:
        return "own-connector"
    if fault in _SHARED.get(element, ()):
        return "shared-connector"
    return {"codes": "nowhere", "load": "load", "clock-spring": "clock-spring"}.get(element, "part")
