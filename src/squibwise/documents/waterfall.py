"""A drawing of how a belief came about: from before any evidence to after all of it."""

import math
import re
from html import escape

import msgspec

from squibwise.documents.printable import spelled
from squibwise.model.belief import Because, ComponentBelief
from squibwise.model.words import State

WIDTH, BAR, GAP, TOP, LABELS, EDGE, LAST = 980, 22, 10, 84, 400, 70, 110
NARROW = 1.0
LONGEST_LABEL = 58
CERTAIN = 1e-12


class _Bar(msgspec.Struct, frozen=True, kw_only=True):
    """A bar from one level to another, in decibans."""

    label: str
    start: float
    end: float
    kind: str
    last: str = ""


def waterfall_svg(belief: ComponentBelief) -> str:
    """Return the waterfall of one component as SVG, in decibans.

    It starts at the belief before any evidence of this car, adds the weight of each piece of
    evidence by itself, and ends at the belief of today with all of it known. Weights do not
    simply add when evidence depends on other evidence; what is left over has its own bar.
    Whether a bar rises or falls stands in its figure and in its pattern, not in colour alone.
    """
    claim, prior, posterior = _claim(belief)
    bars = _bars(prior, posterior, [b for b in belief.because if b.alone_db is not None])
    title = f"{belief.id}: why it is held {claim}"
    return _svg(title, bars, re.sub(r"[^a-z0-9]+", "-", belief.id.lower()))


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


_CLAIMS: dict[State, str] = {
    "sound": "to be sound",
    "fired": "to have fired",
    "faulty": "to be faulty",
    "damaged": "to be damaged",
    "missing": "to be missing",
    "unfit": "to be the wrong part or not configured",
}


def _bars(prior: float | None, posterior: float, reasons: list[Because]) -> list[_Bar]:
    level = 0.0 if prior is None else prior
    known = (
        "before any evidence" if prior is not None else "before any evidence: not known, 0 taken"
    )
    bars = [_Bar(label=known, start=0.0, end=level, kind="level")]
    for reason in reasons:
        end = level + (reason.alone_db or 0.0)
        kind = "up" if end >= level else "down"
        last = "" if reason.last_db is None else f"{reason.last_db:+.1f}"
        bars.append(_Bar(label=reason.text, start=level, end=end, kind=kind, last=last))
        level = end
    if abs(posterior - level) >= NARROW / 10:
        overlap = "overlap of the above, and the rest"
        bars.append(_Bar(label=overlap, start=level, end=posterior, kind="rest"))
    return [*bars, _Bar(label="with all evidence", start=0.0, end=posterior, kind="level")]


def _svg(title: str, bars: list[_Bar], name: str) -> str:
    height = TOP + len(bars) * (BAR + GAP) + 34
    low = min(0.0, *(min(b.start, b.end) for b in bars))
    high = max(0.0, *(max(b.start, b.end) for b in bars))
    scale = (WIDTH - LABELS - 2 * EDGE - LAST) / max(high - low, NARROW)
    zero = LABELS + EDGE - low * scale
    drawn = [_drawn(bar, n, (zero, scale), name) for n, bar in enumerate(bars)]
    story = "; ".join(_told(b) for b in bars)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
            f'aria-labelledby="{name}-title {name}-desc" font-family="sans-serif">',
            f'<title id="{name}-title">{_text(title)}</title>',
            f'<desc id="{name}-desc">{_text(story)}. Figures in decibans.</desc>',
            _PATTERNS.replace("NAME", name),
            f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
            _words(16, 26, 16, title, ' font-weight="bold"'),
            _words(16, 46, 12, _KEY, ' fill="#51626b"'),
            _words(WIDTH - 16, TOP - 12, 11, "with all else known", END),
            _line(zero, TOP - 6, zero, height - 28, "#1d2b33"),
            _words(zero, height - 12, 11, "even", ' text-anchor="middle"'),
            *drawn,
            "</svg>",
        ]
    )


END = ' text-anchor="end"'
_KEY = "decibans: +10 is odds of 10 to 1 for it, 0 is even, -10 is 10 to 1 against"
_PATTERNS = (
    '<defs><pattern id="NAME-falls" width="6" height="6" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect width="6" height="6" fill="#f3dfd9"/>'
    '<rect width="2.5" height="6" fill="#8c1d18"/></pattern>'
    '<pattern id="NAME-rests" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<rect width="5" height="5" fill="#ffffff"/><circle cx="2" cy="2" r="1.1" fill="#51626b"/>'
    "</pattern></defs>"
)
_FILLS = {
    "level": "#1d2b33",
    "up": "#5d97a6",
    "down": "url(#NAME-falls)",
    "rest": "url(#NAME-rests)",
}


def _drawn(bar: _Bar, row: int, axis: tuple[float, float], name: str) -> str:
    zero, scale = axis
    y = TOP + row * (BAR + GAP)
    left = zero + min(bar.start, bar.end) * scale
    width = max(abs(bar.end - bar.start) * scale, NARROW)
    middle = y + BAR * 0.7
    label = bar.label if len(bar.label) <= LONGEST_LABEL else bar.label[: LONGEST_LABEL - 3] + "..."
    return (
        f"<g><title>{_text(_told(bar))}</title>"
        f"{_words(16, middle, 12.5, label)}"
        f'<rect x="{left:.1f}" y="{y}" width="{width:.1f}" height="{BAR}" '
        f'fill="{_FILLS[bar.kind].replace("NAME", name)}" stroke="#1d2b33" stroke-width="0.8"/>'
        f"{_words(left + width + 5, middle, 12, _figure(bar))}"
        f"{_words(WIDTH - 16, middle, 12, bar.last, END)}</g>"
    )


def _told(bar: _Bar) -> str:
    last = f" ({bar.last} with all else known)" if bar.last else ""
    return f"{bar.label}: {_figure(bar)}{last}"


def _figure(bar: _Bar) -> str:
    return f"{bar.end:+.1f}" if bar.kind == "level" else f"{bar.end - bar.start:+.1f}"


def _words(x: float, y: float, size: float, text: str, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}"{more}>{_text(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, colour: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}"/>'


def _text(value: str) -> str:
    """Return text for SVG: escaped, with what XML cannot carry spelled out."""
    return escape(spelled(" ".join(value.split())))
