"""Patterns and symbols that every drawing on the page refers to, once, as one hidden SVG.

Each fill is told from the others by its pattern and each verdict by its outline, so that neither rests on colour.
"""

from __future__ import annotations

_BROWN = "#7a5a2a"

#: Pattern by id: width, height, turn in degrees, content.
_PATTERNS: dict[str, tuple[int, int, int, str]] = {
    "open": (9, 9, 0, '<path d="M2 2h1.6M6.5 6.5h1.6" stroke="#5f5f5f" stroke-width="1.6"/>'),
    "unknown": (14, 14, 0, '<path d="M4 4l6 6M10 4l-6 6" stroke="#333" stroke-width="1.1"/>'),
    "walkway": (
        8,
        8,
        0,
        '<rect width="8" height="8" fill="#fff"/><path d="M0 2h8" stroke="#00695c" stroke-width="3"/>',
    ),
    "line": (18, 12, 0, '<path d="M1 8l5-5 4 5 5-5" fill="none" stroke="#8b0040" stroke-width="1.2"/>'),
    "excavation": (
        7,
        7,
        0,
        '<rect width="7" height="7" fill="#f2dcc3"/><path d="M0 0l7 7M7 0l-7 7" stroke="#8a4300"/>',
    ),
    "low": (6, 6, 0, '<rect width="6" height="6" fill="#cfd3d6"/><path d="M0 3h6" stroke="#8d9499"/>'),
    "soffit": (9, 9, 45, '<path d="M0 0v9" stroke="#5b2a86" stroke-width="2.4"/>'),
    "closed": (10, 10, 0, '<path d="M0 0l10 10M10 0l-10 10" stroke="#111" stroke-width="1.6"/>'),
    "bounce": (10, 6, 0, '<path d="M0 4q2.5-5 5 0t5 0" fill="none" stroke="#a33a00" stroke-width="1.6"/>'),
    "tilt": (8, 8, 20, '<path d="M0 4h8" stroke="#6b4a1a" stroke-width="2"/>'),
    "gap": (7, 7, 0, '<path d="M3.5 0v7" stroke="#5b2a86" stroke-width="2"/>'),
}
#: Slope in percent: distance between dots and their radius; steeper is denser.
_DOTS = {5: (16, 0.9), 8: (10, 1.0), 12: (7, 1.2), 20: (5, 1.3)}
_OCTAGON = '<path d="M-4.6-11H4.6L11-4.6V4.6L4.6 11H-4.6L-11 4.6V-4.6Z" fill="#fff" stroke="#111" stroke-width="3"/>'
_CIRCLE = '<circle r="15" fill="#fff" stroke="#111" stroke-width="3"'

#: Symbol by id, drawn round 0, 0: ``m-`` marks on a plan, ``v-`` verdicts.
_SYMBOLS: dict[str, str] = {
    "m-stop": '<circle r="10" fill="#fff" stroke="#0a3d78" stroke-width="2.6"/>',
    "m-watch": '<path d="M-13-9L-5 0-13 9ZM13-9L5 0 13 9Z" fill="#111" stroke="#fff" stroke-width="1.2"/>'
    '<circle r="8.5" fill="#fff" stroke="#111" stroke-width="1.6"/>',
    "m-route": '<circle r="4" fill="#0a3d78" stroke="#fff" stroke-width="1.5"/>',
    "m-end": '<rect x="-10" y="-10" width="20" height="20" fill="#0a3d78" stroke="#fff" stroke-width="1.5"/>',
    "m-place": '<rect x="-7" y="-7" width="14" height="14" rx="3" fill="#fff" stroke="#111" stroke-width="1.5"/>',
    "m-hazard": '<path d="M0-9.5L10 8H-10Z" fill="#ffd23f" stroke="#111" stroke-width="1.8" stroke-linejoin="round"/>',
    "m-governing": '<path d="M0-12L12 0 0 12-12 0Z" fill="#111" stroke="#fff" stroke-width="1.5"/>',
    "m-miss": '<path d="M-11-11H11V11H-11Z" fill="#fff" stroke="#111" stroke-width="2.4"/>'
    '<path d="M-11-11L-5-5M11-11L5-5M-11 11L-5 5M11 11L5 5" stroke="#111" stroke-width="2.4"/>',
    "m-objection": _OCTAGON,
    "v-pass": f'{_CIRCLE}/><path d="M-7 0l5 6 9-11" fill="none" stroke="#111" stroke-width="3.6"/>',
    "v-controls": f'{_CIRCLE} stroke-dasharray="6 3"/><path d="M-9 0l4 5 6-9" fill="none" stroke="#111" '
    'stroke-width="3"/><path d="M7-8v8" stroke="#111" stroke-width="3.2"/><circle cx="7" cy="5" r="2" fill="#111"/>',
    "v-open": '<path d="M0-16L16 0 0 16-16 0Z" fill="#fff" stroke="#111" stroke-width="3"/>'
    '<path d="M-4-4.5q0-4 4-4t4 4q0 2.6-4 4.5v2.5" fill="none" stroke="#111" stroke-width="2.8"/>'
    '<circle cy="7.5" r="2" fill="#111"/>',
    "v-fail": '<path d="M-6.6-16H6.6L16-6.6V6.6L6.6 16H-6.6L-16 6.6V-6.6Z" fill="#111"/>'
    '<path d="M-7-7L7 7M7-7L-7 7" stroke="#fff" stroke-width="4"/>',
    "v-none": '<rect x="-15" y="-15" width="30" height="30" fill="#111"/>'
    '<path d="M-10 0H10" stroke="#fff" stroke-width="6"/>',
    "v-limit": '<path d="M-11-14H11L-11 14H11Z" fill="#fff" stroke="#111" stroke-width="3" stroke-linejoin="round"/>',
}


def definitions() -> str:
    """Return the hidden SVG with every pattern (``p-...``) and symbol (``m-...``, ``v-...``)."""
    patterns = [_pattern(ident, *pattern) for ident, pattern in _PATTERNS.items()]
    dots = [_pattern(f"slope-{pct}", size, size, 0, _two_dots(size, radius)) for pct, (size, radius) in _DOTS.items()]
    symbols = [f'<g id="{ident}">{content}</g>' for ident, content in _SYMBOLS.items()]
    return (
        '<svg class="defs" width="0" height="0" aria-hidden="true" focusable="false"><defs>'
        f"{''.join((*patterns, *dots, *symbols))}</defs></svg>\n"
    )


def _pattern(ident: str, width: int, height: int, turn_deg: int, content: str) -> str:
    turn = f' patternTransform="rotate({turn_deg})"' if turn_deg else ""
    size = f'width="{width}" height="{height}" patternUnits="userSpaceOnUse"'
    return f'<pattern id="p-{ident}" {size}{turn}>{content}</pattern>'


def _two_dots(size: int, radius: float) -> str:
    near, far = size / 4, size * 3 / 4
    return "".join(f'<circle cx="{at:g}" cy="{at:g}" r="{radius}" fill="{_BROWN}"/>' for at in (near, far))
