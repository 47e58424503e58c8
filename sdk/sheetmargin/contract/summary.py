"""An answer in a few lines: what a list of offers or a small screen shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from sheetmargin.contract.answer import Answer, Band, Order, Verdict
from sheetmargin.contract.fields import MM, PPM, SIGNAL, about
from sheetmargin.contract.shown import Record


@dataclass(frozen=True, kw_only=True)
class Summary(Record):
    """The best recommendation and its first set-up in a few lines; null and empty where nothing serves."""

    reference: str | None
    """The caller's own reference of the job; null where it has none."""
    verdict: Verdict
    """Verdict of the whole answer."""
    chance: float | None = field(metadata=about(decimals=2))
    """Probability, from 0 to 1, that all targets are met; null where nothing serves."""
    detector_class: str | None
    """Id of the detector class; null where nothing serves."""
    principle: str | None
    """Id of the sensing principle; null where nothing serves."""
    illustrative: bool | None
    """Whether the class is an invented example and not a product; null where nothing serves."""
    setups: int
    """Number of set-ups of the recommendation."""
    served: int
    """Number of sheets of the job that it serves."""
    gap_mm: float | None = field(metadata=MM)
    """Gap in mm from sensing face to sensing face; null where nothing serves."""
    tilt_deg: float | None = field(metadata=about(unit="deg", decimals=1))
    """Tilt of the detector's axis against the sheet's normal in °; null where nothing serves, or the principle has no
    tilt."""
    band: Band | None
    """Readings that count as a single sheet; null where nothing serves."""
    margin: float | None = field(metadata=SIGNAL)
    """Smallest margin of its sheets and states, in the unit of the band; null where nothing serves."""
    double_as_single_ppm: float | None = field(metadata=PPM)
    """Missed doubles per million doubles, expected for the worst sheet; null where nothing serves."""
    single_as_double_ppm: float | None = field(metadata=PPM)
    """False stops per million single sheets, expected for the worst sheet; null where nothing serves."""
    order_items: Sequence[Order]
    """Parts to order for all its set-ups; empty where the catalogue has no part numbers."""
    model_version: str
    """Version of the physics, the material library and the decision rules."""
    catalogue_version: str
    """Version of the content of the catalogue."""


def summary_of(answer: Answer) -> Summary:
    """The same of every answer, here and in the service."""
    best = answer.best
    setup = best.setups[0] if best else None
    sheets = best.sheets if best else ()
    margins = [value for one in sheets for value in (one.margin.no_sheet, one.margin.single, one.margin.double)]
    missed = [one.misread_ppm.double_as_single.estimate for one in sheets]
    stops = [one.misread_ppm.single_as_double.estimate for one in sheets]
    tilt = setup.geometry.tilt_deg if setup else None
    return Summary(
        reference=answer.reference,
        verdict=answer.verdict,
        chance=best.chance if best else None,
        detector_class=setup.detector_class.id if setup else None,
        principle=setup.detector_class.principle if setup else None,
        illustrative=setup.detector_class.illustrative if setup else None,
        setups=len(best.setups) if best else 0,
        served=best.serves.count if best else 0,
        gap_mm=setup.geometry.gap_mm.nominal if setup else None,
        tilt_deg=tilt.nominal if tilt else None,
        band=setup.profile.band if setup else None,
        margin=min(margins, default=None),
        double_as_single_ppm=max((value for value in missed if value is not None), default=None),
        single_as_double_ppm=max((value for value in stops if value is not None), default=None),
        order_items=[item for one in best.setups for item in one.order_items] if best else (),
        model_version=answer.model_version,
        catalogue_version=answer.catalogue_version,
    )
