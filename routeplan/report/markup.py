"""Text on its way into HTML, SVG and JSON: one escape function, and nothing that a name can do to a page."""

from __future__ import annotations

import json
import re
from typing import Any

#: Characters that are invisible, break lines or turn the reading direction: controls, bidirectional marks, embeddings,
#: overrides and isolates (Unicode Standard Annex 9), line and paragraph separators, the byte order mark, surrogates
#: without a partner, and code points that are no characters.
_UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\xad\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufdd0-\ufdef\ufeff\ufff9-\uffff\ud800-\udfff\U000e0000-\U000e007f]"
)
#: A word that may break, and where: a character that is spelled out wherever it is written.
_LONG, _BREAK = re.compile(r"\S{41,}"), "\x00"
_HTML = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"}
_JSON = {"&": "\\u0026", "<": "\\u003c", ">": "\\u003e"}


def plain(text: str) -> str:
    """Return the text with every unseen character spelled out, so that what is read is what is written.

    >>> plain("gate\\u202e2")
    'gate[U+202E]2'
    """
    return _UNSEEN.sub(lambda found: f"[U+{ord(found.group()):04X}]", text)


def escape(text: str) -> str:
    """Return the text for HTML or SVG, as element content or inside a quoted attribute.

    >>> escape("<b> & 'c'")
    '&lt;b&gt; &amp; &#39;c&#39;'
    """
    return re.sub("[&<>\"']", lambda found: _HTML[found.group()], plain(text))


def name(text: str) -> str:
    """Return a name from outside as HTML, kept apart from the reading direction of the words around it.

    A word longer than any that people write may break, so that it widens no table and shrinks no sheet.

    >>> name("bay <3>")
    '<bdi>bay &lt;3&gt;</bdi>'
    """
    pieces = _LONG.sub(lambda word: _BREAK.join(re.findall(".{1,20}", word.group())), plain(text)).split(_BREAK)
    return f"<bdi>{'<wbr>'.join(map(escape, pieces))}</bdi>"


def data_block(value: Any) -> str:
    """Return a value as JSON that can stand inside a ``script`` element of any type.

    Everything beyond ASCII is escaped, and so are ``<``, ``>`` and ``&``: the text can neither end the element nor open
    a comment, and a script that reads it gets the same characters back. ``ValueError`` when a number is not finite.

    >>> data_block({"a": "</script>"})
    '{"a":"\\\\u003c/script\\\\u003e"}'
    """
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return re.sub("[&<>]", lambda found: _JSON[found.group()], text)
