"""Spans of days, both ends included, either of which nobody may know; and how people read them."""

from __future__ import annotations

import datetime as dt

Span = tuple[dt.date, dt.date]

#: Ends of a span that has none: closed for good, or until it opens.
NO_FIRST, NO_LAST = dt.date.min, dt.date.max


def span_words(span: Span) -> str:
    """Return a span in words.

    >>> span_words((dt.date(2026, 12, 3), dt.date(2026, 12, 4))), span_words((dt.date(2026, 12, 3), NO_LAST))
    ('2026-12-03 to 2026-12-04', 'from 2026-12-03 for good')
    """
    first, last = span
    if first == NO_FIRST:
        return "always" if last == NO_LAST else f"until {last}"
    return f"from {first} for good" if last == NO_LAST else f"{first} to {last}"
