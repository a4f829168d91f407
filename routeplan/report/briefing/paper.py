"""The briefing on paper: its sheets set as PDF, by a library that brings all it needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from routeplan.errors import NotWritten
from routeplan.report.briefing.page import document
from routeplan.report.briefing.sheet import Kind, Sheet
from routeplan.route.model import Plan

#: Where a sheet's head and cautions go: into the margins of each of its pages, which print knows by another name than
#: browsers do; with the number of the page.
_MARGINS = """
.sheet-head { position: running(head); }
.sheet-foot { position: running(foot); }
@page { margin: %s; size: %s !important;
  @top-center { content: element(head); width: 100%%; vertical-align: top; padding-top: 8mm; }
  @bottom-left { content: element(foot); width: 88%%; vertical-align: top; text-align: left; }
  @bottom-right { content: counter(page) " of " counter(pages); font: bold 9pt Sheet; vertical-align: top;
    padding-top: 1mm; } }
.sheet, .sheet-body { display: block; break-after: auto; }
.sheet-foot .cautions { columns: auto !important; padding-top: 0 !important; }
"""
#: Margins and size.
_PAPER = {"board": ("38mm 12mm 20mm", "A3 landscape"), "A4": ("33mm 10mm 19mm", "A4")}


def write_briefing_pdf(sheets: Sequence[Sheet], plan: Plan, path: Path) -> None:
    """Write sheets as PDF; the same sheets and plan always give the same bytes.

    Raises
    ------
    NotWritten
        The library that sets it is not made for this kind of machine, or refuses.
    """
    try:
        import plutoprint
    except ImportError as error:
        raise NotWritten(
            "briefing.pdf cannot be set on this kind of machine: the library that sets it is not made for it. "
            "Mend: print briefing.html from a browser; it has the same sheets"
        ) from error
    title = f"{plan.site_name}: briefing, revision {plan.revision}"
    try:
        with plutoprint.PDFCanvas(str(path), plutoprint.PAGE_SIZE_A4) as canvas:
            canvas.set_metadata(plutoprint.PDF_METADATA_TITLE, title)
            for day in (plutoprint.PDF_METADATA_CREATION_DATE, plutoprint.PDF_METADATA_MODIFICATION_DATE):
                canvas.set_metadata(day, plan.issued)
            for book in books(sheets, plan):
                for number in range(book.get_page_count()):
                    canvas.set_size(book.get_page_size_at(number))
                    canvas.save_state()
                    canvas.scale(plutoprint.UNITS_PX, plutoprint.UNITS_PX)
                    book.render_page(canvas, number)
                    canvas.restore_state()
                    canvas.show_page()
    except plutoprint.Error as error:
        raise NotWritten(f"briefing.pdf cannot be set: {error}") from error


def books(sheets: Sequence[Sheet], plan: Plan) -> Iterator[Any]:
    """Yield each sheet set on its pages: what sets them knows one size of paper, and one head, at a time."""
    import plutoprint

    for one in sheets:
        size = plutoprint.PAGE_SIZE_A3.landscape() if one.kind == "board" else plutoprint.PAGE_SIZE_A4
        book = plutoprint.Book(size, plutoprint.PAGE_MARGINS_NONE, plutoprint.MEDIA_TYPE_PRINT)
        book.load_html(document(plan, one.html), user_style=_margins(one.kind))
        yield book


def _margins(kind: Kind) -> str:
    return _MARGINS % _PAPER.get(kind, _PAPER["A4"])
