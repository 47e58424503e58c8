"""What is computed once, before the workers are forked: they share it, copy on write."""

from __future__ import annotations

import gc
import logging
import time

from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec

from sheetmargin_service.api.encode import encode
from sheetmargin_service.api.service import Service
from sheetmargin_service.messages.languages import LANGUAGES

log = logging.getLogger(__name__)

SHEET = SheetSpec(material="copy-paper", grammage_gsm=80)


def warm_up(service: Service) -> float:
    """Answer a plain job from every catalogue under the default conditions, which builds the operators of every class,
    in every language, which loads the texts.

    Returns the seconds it took, and logs them.
    """
    begun = time.perf_counter()
    for catalogue in service.catalogues.values():
        answer = service.recommend(Job(sheets=(SHEET,), limit=1), catalogue=catalogue, library=service.library)
        for language in LANGUAGES:
            encode(answer, language=language)
    # What lives now stays: the collector need not look at it, and by writing its marks would unshare its pages.
    gc.collect()
    gc.freeze()
    seconds = time.perf_counter() - begun
    classes = sum(len(catalogue.classes) for catalogue in service.catalogues.values())
    log.info("operators are built", extra={"fields": {"classes": classes, "seconds": round(seconds, 3)}})
    return seconds
