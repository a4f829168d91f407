"""Languages that sheets are told in besides English."""

from __future__ import annotations

#: By their codes (ISO 639-1); each has a catalogue in ``locale``.
LANGUAGES = ("ar", "es", "pl", "pt", "ro")
