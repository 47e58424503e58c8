"""Which detector classes a job admits."""

from __future__ import annotations

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.detectors.ingress import protects
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.selection.job import Job


def admitted(job: Job, catalogue: Catalogue) -> tuple[DetectorClass, ...]:
    """The classes left by the job's own filters, in order of id."""
    require = job.require

    def passes(c: DetectorClass) -> bool:
        return (
            (not job.principles or c.principle in job.principles)
            and (not job.classes or c.id in job.classes)
            and (not require.housing or c.housing.thread in require.housing)
            and (not require.output or bool(set(require.output) & set(c.output)))
            and (not require.supply or c.supply in require.supply)
            and (require.ingress is None or protects(c.ingress, wanted=require.ingress))
            and (require.temperature_min_c is None or c.temperature_min_c <= require.temperature_min_c)
            and (require.temperature_max_c is None or c.temperature_max_c >= require.temperature_max_c)
            and (require.contactless is None or c.contactless == require.contactless)
        )

    return tuple(sorted((c for c in catalogue.classes if passes(c)), key=lambda c: c.id))
