"""A drawing of how a belief came about: from before any evidence to after all of it."""

import re
from html import escape

from squibwise.documents.printable import spelled
from squibwise.model.belief import ComponentBelief
from squibwise.present.tell_weights import WeightBar, Weights, tell_weights

WIDTH, BAR, GAP, TOP, LABELS, EDGE, LAST = 980, 22, 10, 84, 400, 70, 110
NARROW = 1.0
LONGEST_LABEL = 58


def waterfall_svg(belief: ComponentBelief) -> str:
    """Return the waterfall of one component as SVG, in decibans.

    Whether a bar rises or falls stands in its figure and in its pattern, not in colour alone.
    """
    return _svg(tell_weights(belief))


def _svg(told: Weights) -> str:
    bars, name = told.bars, re.sub(r"[^a-z0-9]+", "-", told.component.lower())
    height = TOP + len(bars) * (BAR + GAP) + 34
    low = min(0.0, *(min(b.start, b.end) for b in bars))
    high = max(0.0, *(max(b.start, b.end) for b in bars))
    scale = (WIDTH - LABELS - 2 * EDGE - LAST) / max(high - low, NARROW)
    zero = LABELS + EDGE - low * scale
    drawn = [_drawn(bar, n, (zero, scale), name) for n, bar in enumerate(bars)]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
            f'aria-labelledby="{name}-title {name}-desc" font-family="sans-serif">',
            f'<title id="{name}-title">{_text(told.title)}</title>',
            f'<desc id="{name}-desc">{_text(told.story)}</desc>',
            _PATTERNS.replace("NAME", name),
            f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
            _words(16, 26, 16, told.title, ' font-weight="bold"'),
            _words(16, 46, 12, told.key, ' fill="#51626b"'),
            _words(WIDTH - 16, TOP - 12, 11, told.last_head, END),
            _line(zero, TOP - 6, zero, height - 28, "#1d2b33"),
            _words(zero, height - 12, 11, told.even, ' text-anchor="middle"'),
            *drawn,
            "</svg>",
        ]
    )


END = ' text-anchor="end"'
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


def _drawn(bar: WeightBar, row: int, axis: tuple[float, float], name: str) -> str:
    zero, scale = axis
    y = TOP + row * (BAR + GAP)
    left = zero + min(bar.start, bar.end) * scale
    width = max(abs(bar.end - bar.start) * scale, NARROW)
    middle = y + BAR * 0.7
    label = bar.label if len(bar.label) <= LONGEST_LABEL else bar.label[: LONGEST_LABEL - 3] + "..."
    return (
        f"<g><title>{_text(bar.told)}</title>"
        f"{_words(16, middle, 12.5, label)}"
        f'<rect x="{left:.1f}" y="{y}" width="{width:.1f}" height="{BAR}" '
        f'fill="{_FILLS[bar.kind].replace("NAME", name)}" stroke="#1d2b33" stroke-width="0.8"/>'
        f"{_words(left + width + 5, middle, 12, bar.figure)}"
        f"{_words(WIDTH - 16, middle, 12, bar.last, END)}</g>"
    )


def _words(x: float, y: float, size: float, text: str, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}"{more}>{_text(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, colour: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}"/>'


def _text(value: str) -> str:
    """Return text for SVG: escaped, with what XML cannot carry spelled out."""
    return escape(spelled(" ".join(value.split())))
