"""How a belief came about, step by step: from before any evidence to after all of it."""

import math
from typing import Literal

import msgspec

from squibwise.model.belief import Because, ComponentBelief
from squibwise.model.words import State

NEGLIGIBLE_DB = 0.1
CERTAIN = 1e-12
_CLAIMS: dict[State, str] = {
    "sound": "to be sound",
    "fired": "to have fired",
    "faulty": "to be faulty",
    "damaged": "to be damaged",
    "missing": "to be missing",
    "unfit": "to be the wrong part or not configured",
}


class WeightBar(msgspec.Struct, frozen=True, kw_only=True):
    """One step, in decibans.

    Attributes:
        label: What was seen or read.
        start: Level before it. [dB]
        end: Level after it. [dB]
        kind: ``level`` = a standing level, ``up`` and ``down`` = a step, ``rest`` = what the
            steps leave over.
        figure: The step or the level, as it is written.
        last: The step with everything else known, as it is written; empty = not weighed.
    """

    label: str
    start: float
    end: float
    kind: Literal["level", "up", "down", "rest"]
    figure: str
    last: str = ""

    @property
    def told(self) -> str:
        """The step in words."""
        last = f" ({self.last} with all else known)" if self.last else ""
        return f"{self.label}: {self.figure}{last}"


class Weights(msgspec.Struct, frozen=True, kw_only=True):
    """A belief as steps, and the words around them.

    Attributes:
        component: Component id.
        title: What is held of it.
        key: How to read the figures.
        story: All steps in words.
        last_head: Above the steps with everything else known.
        even: At the level where odds are even.
    """

    component: str
    title: str
    key: str
    story: str
    last_head: str
    even: str
    bars: tuple[WeightBar, ...]


def tell_weights(belief: ComponentBelief) -> Weights:
    """Return a belief as steps from before any evidence of this car to today.

    Each step is the weight of one piece of evidence by itself. Weights do not simply add when
    evidence depends on other evidence; what is left over has its own bar.
    """
    claim, prior, posterior = _claim(belief)
    bars = tuple(_bars(prior, posterior, [b for b in belief.because if b.alone_db is not None]))
    return Weights(
        component=belief.id,
        title=f"{belief.id}: why it is held {claim}",
        key="decibans: +10 is odds of 10 to 1 for it, 0 is even, -10 is 10 to 1 against",
        story=f"{'; '.join(b.told for b in bars)}. Figures in decibans.",
        last_head="with all else known",
        even="even",
        bars=bars,
    )


def decibans(p: float) -> float:
    """Return ten times the decimal logarithm of the odds; capped where odds become certain.

    Source: I. J. Good (1952), the unit of weight of evidence: 10 log10 of an odds ratio.
    """
    p = min(max(p, CERTAIN), 1.0 - CERTAIN)
    return 10.0 * math.log10(p / (1.0 - p))


def _claim(belief: ComponentBelief) -> tuple[str, float | None, float]:
    """Return what is held, its level before any evidence if known, and its level now. [dB]."""
    state, prior = belief.likeliest, belief.prior_fired
    if state is not None:
        return _CLAIMS[state], belief.prior_db, decibans(getattr(belief.now, state))
    now = belief.now
    if now.fired >= max(now.sound, now.faulty, now.damaged, now.missing, now.unfit):
        return _CLAIMS["fired"], None if prior is None else decibans(prior), decibans(now.fired)
    level = None if prior is None else decibans(1.0 - prior)
    return "not to have fired", level, decibans(1.0 - now.fired)


def _bars(prior: float | None, posterior: float, reasons: list[Because]) -> list[WeightBar]:
    level = 0.0 if prior is None else prior
    known = "before any evidence"
    known += ": not known, 0 taken" if prior is None else ""
    bars = [_level(known, level)]
    for reason in reasons:
        end = level + (reason.alone_db or 0.0)
        last = "" if reason.last_db is None else f"{reason.last_db:+.1f}"
        bars.append(_step(reason.text, level, end, "up" if end >= level else "down", last))
        level = end
    if abs(posterior - level) >= NEGLIGIBLE_DB:
        bars.append(_step("overlap of the above, and the rest", level, posterior, "rest"))
    return [*bars, _level("with all evidence", posterior)]


def _level(label: str, end: float) -> WeightBar:
    return WeightBar(label=label, start=0.0, end=end, kind="level", figure=f"{end:+.1f}")


def _step(
    label: str, start: float, end: float, kind: Literal["up", "down", "rest"], last: str = ""
) -> WeightBar:
    figure = f"{end - start:+.1f}"
    return WeightBar(label=label, start=start, end=end, kind=kind, figure=figure, last=last)
