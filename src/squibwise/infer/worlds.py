"""One car in several worlds, from the mildest crash to the worst: what its parts have in common."""

from collections.abc import Mapping

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.infer.screening import ScreenedWorld, screen
from squibwise.model.belief import Assessment, ComponentBelief, StateBelief
from squibwise.model.case import Case
from squibwise.model.words import STATES

_WORLDS = 5


def assess_worlds(
    case: Case,
    assessment: Assessment,
    catalog: Catalog,
    shifts: Mapping[str, float] | None = None,
    worlds: int = _WORLDS,
) -> tuple[tuple[float, Assessment], ...]:
    """Return what would be believed if the crash was mild, harder and so on, each with its chance.

    Chances of fired and sound parts are those of each world; what is neither keeps the shares it
    has over all worlds. Beliefs about the event itself stay as they are.

    Args:
        case: The case.
        assessment: What is believed over all worlds.
        catalog: Priors, firing logic and likelihoods.
        shifts: Learned intercepts by curve id. [log odds]
        worlds: How many at most.
    """
    (found,) = screen((case,), catalog, shifts, worlds)
    return tuple((w.weight, _within(w, assessment)) for w in found.worlds)


def _within(world: ScreenedWorld, assessment: Assessment) -> Assessment:
    components = tuple(_belief(world, c) for c in assessment.components)
    return msgspec.structs.replace(assessment, components=components)


def _belief(world: ScreenedWorld, belief: ComponentBelief) -> ComponentBelief:
    if belief.id not in world.sound:
        return belief
    fired, sound = world.fired[belief.id], world.sound[belief.id]
    now = _moved(belief.now, fired if belief.now.fired > 0.0 else 0.0, sound)
    after = _moved(belief.after_crash, fired, min(sound, 1.0 - fired))
    return msgspec.structs.replace(belief, now=now, after_crash=after)


def _moved(belief: StateBelief, fired: float, sound: float) -> StateBelief:
    """Return a belief with these chances of fired and sound, the rest in the shares it had."""
    fired = min(fired, 1.0 - sound)
    rest = {s: getattr(belief, s) for s in STATES if s not in ("fired", "sound")}
    total = sum(rest.values())
    left = max(0.0, 1.0 - fired - sound)
    if total <= 0.0:
        return StateBelief(
            **(dict.fromkeys(STATES, 0.0) | {"fired": fired, "sound": 1.0 - fired})  # nothing else
        )
    shares = {s: left * v / total for s, v in rest.items()}
    return StateBelief(**(shares | {"fired": fired, "sound": 1.0 - fired - sum(shares.values())}))
