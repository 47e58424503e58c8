"""The set-up sheet as PDF, where the extra `pdf` (WeasyPrint) is installed."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from typing import NoReturn


class NoPdf(RuntimeError):  # noqa: N818 - a state of the installation, not a fault
    """WeasyPrint, or a library of the system that it loads, is not there."""


@cache
def pdf_installed() -> bool:
    """Whether the extra is installed; whether the system has what it loads shows when it is used."""
    return find_spec("weasyprint") is not None


def pdf_of(html: str) -> bytes:
    """Tagged PDF (PDF/UA-1, ISO 14289-1) of a page that needs nothing from outside; NoPdf without the extra."""
    try:
        # Loads Pango; takes half a second that only those who ask for a PDF should wait.
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError) as error:
        raise NoPdf("PDF needs the extra `pdf` and the Pango library") from error

    class Nothing(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: object = None) -> NoReturn:
            raise ValueError(f"{url} is not fetched: the page has everything in it")

    pdf: bytes = HTML(string=html, url_fetcher=Nothing()).write_pdf(pdf_variant="pdf/ua-1")
    return pdf
