"""A sheet told in another language: each controlled sentence of ours by the sentence of a catalogue, figures untouched.

Sheets are written in English (the language of the plan), and told in another one as they stand: a text between two tags
is looked up as a whole, or taken apart where a sentence has a slot. Names, figures and units go through as they are.
"""

from __future__ import annotations

import html
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import NamedTuple

from babel import Locale
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from routeplan.report.languages import LANGUAGES
from routeplan.report.markup import escape
from routeplan.report.packaged import packaged

#: Said on every sheet in a language whose catalogue nobody checked.
UNCHECKED = "This translation has not been checked by a person who speaks the language. The English sheet decides."
#: Said of a page after its last day.
PAST = "VOID: its last day was {n}. Do not drive by it."
#: Slots of a sentence by their first letter: a figure or day, a text that has to be known itself, any text.
_SLOTS = {"n": r"[-+]?\d[\d.,:-]*", "t": r".+?", "x": r".+?"}
_SLOT = re.compile(r"\{([ntx]\d*)\}")
#: A sentence of fewer letters of its own could be somebody's name for a place.
_OWN_LETTERS = 12
#: Figures with their units, and words in Latin letters, which are read from left to right in any language.
_LEFT_TO_RIGHT = re.compile(r"[A-Za-z0-9](?:[\w ,.:/()%+'&-]*[A-Za-z0-9%)])?", re.ASCII)
#: Marks of such a run where there are no elements (Unicode Standard Annex 9).
_RUN, _END = "\u2066", "\u2069"
_TOKEN = re.compile(r"<[^>]*>|[^<]+")
_SHOWN = re.compile(r'((?:aria|data)-label=")([^"]*)(")')


class Sentence(NamedTuple):
    """A sentence with slots: how it is found in English, how it is told, how many letters are its own."""

    found: re.Pattern[str]
    told: str
    letters: int


class Said(NamedTuple):
    """What a text is in another language, as HTML, and how many letters of it were ours and not a name's."""

    told: str
    letters: int


@dataclass(frozen=True)
class Tongue:
    """A language that sheets are told in.

    Parameters
    ----------
    code
        ISO 639-1.
    """

    code: str
    _heard: dict[str, Said | None] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def _text(self) -> str:
        return packaged("routeplan.report", f"locale/{self.code}.po")

    @cached_property
    def catalogue(self) -> Catalog:
        """Its catalogue."""
        return read_po(io.StringIO(self._text), locale=self.code)

    @cached_property
    def _sentences(self) -> tuple[Sentence, ...]:
        """Every sentence, those with most letters of their own first."""
        sentences = [_sentence(str(one.id), str(one.string)) for one in self.catalogue if one.id]
        return tuple(sorted(sentences, key=lambda one: -one.letters))

    @cached_property
    def checked(self) -> bool:
        """Whether a person who speaks the language has checked the catalogue, as its header says."""
        return re.search(r'"X-Checked: (?!no\\n)', self._text) is not None

    @cached_property
    def direction(self) -> str:
        """Reading direction, ``ltr`` or ``rtl``."""
        return str(Locale(self.code).text_direction)

    @cached_property
    def title(self) -> str:
        """The language by its own name."""
        return str(Locale(self.code).display_name)

    def template(self, english: str) -> str:
        """Return a sentence of the catalogue with its slots; ``KeyError`` where it has none such."""
        message = self.catalogue.get(english)
        if message is None:
            raise KeyError(english)
        return str(message.string)

    def say(self, text: str) -> str | None:
        """Return what a text is in this language, as HTML; ``None`` where it is none of ours."""
        said = self._said(text.replace("\xa0", " "))
        return None if said is None else said.told

    def tell(self, sheet: str) -> str:
        """Return a sheet, HTML of ours, in this language; what it does not know stays as it is."""
        return "".join(self._told(sheet))

    def _told(self, sheet: str) -> Iterator[str]:
        opened: list[str] = []
        for token in _TOKEN.findall(sheet):
            if token.startswith("<"):
                _follow(opened, token)
                yield _SHOWN.sub(lambda found: f"{found[1]}{self._words(found[2])}{found[3]}", token)
            else:
                text = token.strip()
                of_a_name = opened[-1:] == ["bdi"] and opened[-2:-1] != ["h3"]  # titles of that rank are ours
                told = self._set(self._words(text, of_a_name=of_a_name), in_picture="svg" in opened)
                yield token.replace(text, told, 1) if text else token

    def _set(self, told: str, *, in_picture: bool) -> str:
        """What is told, as HTML; in a language read from the right what is read from the left is kept together."""
        if self.direction == "ltr":
            return told
        start, end = (_RUN, _END) if in_picture else ('<bdi dir="ltr">', "</bdi>")
        text, at = html.unescape(told), 0
        pieces: list[str] = []
        for run in _LEFT_TO_RIGHT.finditer(text):
            pieces += [escape(text[at : run.start()]), start, escape(run.group()), end]
            at = run.end()
        return "".join([*pieces, escape(text[at:])])

    def _words(self, shown: str, *, of_a_name: bool = False) -> str:
        """What HTML shows, in this language; what could be a name has to say more than names do."""
        said = self._said(html.unescape(shown).replace("\xa0", " "))
        return shown if said is None or (of_a_name and said.letters < _OWN_LETTERS) else said.told

    def _said(self, text: str) -> Said | None:
        if text not in self._heard:
            self._heard[text] = next(self._readings(text), None)
        return self._heard[text]

    def _readings(self, text: str) -> Iterator[Said]:
        """What a text may be: a sentence, or several of which each is known."""
        for sentence in self._sentences:
            found = sentence.found.fullmatch(text)
            slots = {name: self._slot(name, value) for name, value in found.groupdict().items()} if found else {}
            known = {name: said for name, said in slots.items() if said is not None}
            if found and len(known) == len(slots):
                letters = sentence.letters + sum(said.letters for said in known.values())
                told = "".join(known[part].told if n % 2 else part for n, part in enumerate(_SLOT.split(sentence.told)))
                yield Said(told, letters)
        for stop in re.finditer(r"\. ", text):
            first, rest = self._ended(text[: stop.start() + 1]), self._said(text[stop.end() :])
            if first is not None and rest is not None:
                yield Said(f"{first.told} {rest.told}", first.letters + rest.letters)

    def _ended(self, text: str) -> Said | None:
        """A text with a full stop, which may be ours or not."""
        without = self._said(text[:-1])
        return self._said(text) or (without and Said(f"{without.told}.", without.letters))

    def _slot(self, name: str, value: str) -> Said | None:
        said = None if name[0] == "n" else self._said(value)
        return said if said is not None or name[0] == "t" else Said(escape(value), 0)


def _sentence(english: str, told: str) -> Sentence:
    parts = _SLOT.split(english)
    pattern = "".join(f"(?P<{part}>{_SLOTS[part[0]]})" if n % 2 else re.escape(part) for n, part in enumerate(parts))
    shown = "".join(f"{{{part}}}" if n % 2 else escape(part) for n, part in enumerate(_SLOT.split(told)))
    return Sentence(re.compile(pattern), shown, sum(map(str.isalpha, "".join(parts[::2]))))


def _follow(opened: list[str], tag: str) -> None:
    """Keep the list of elements that are open."""
    name = re.match(r"</?([a-z0-9]+)", tag)
    if name is None or tag.endswith("/>") or name[1] in ("br", "wbr", "img", "meta", "input", "link"):
        return
    if tag.startswith("</"):
        opened.pop()
    else:
        opened.append(name[1])


@cache
def tongue(code: str) -> Tongue:
    """Return a language by its code; ``KeyError`` where there is no catalogue of it."""
    if code not in LANGUAGES:
        raise KeyError(code)
    return Tongue(code)


def told_in(shown: str, tongue: Tongue) -> str:
    """Return HTML of ours in another language; what is void on a day says so in it, too."""
    past = f' data-past="{escape(tongue.template(PAST))}" data-until='
    return tongue.tell(shown).replace(" data-until=", past)


def unchecked(tongue: Tongue) -> str:
    """Return in both languages that nobody checked the words, as HTML; nothing where somebody did."""
    if tongue.checked:
        return ""
    return (
        f'<p class="unchecked"><b>{escape(tongue.title)}.</b> {tongue.say(UNCHECKED)} '
        f'<span lang="en" dir="ltr">{escape(UNCHECKED)}</span></p>'
    )
