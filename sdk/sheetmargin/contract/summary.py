"""An answer in a few lines: what a list of offers or a small screen shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from sheetmargin.contract.answer import Answer, Band, Order, Verdict
from sheetmargin.contract.fields import MM, PPM, SIGNAL, about
from sheetmargin.contract.shown import Record


@dataclass(frozen=True, kw_only=True)
class Summary(Record):
    """The best recommendation and its first set-up; null and empty where nothing serves."""

    reference: str | None
    """The job's reference."""
    verdict: Verdict
    """As of the whole answer."""
    chance: float | None = field(metadata=about(decimals=2))
    """How likely every target is met."""
    detector_class: str | None
    """Id of the class."""
    principle: str | None
    """Sensing principle."""
    illustrative: bool | None
    """Whether the class is invented, and no product."""
    setups: int
    """How many set-ups the recommendation has."""
    served: int
    """Sheets of the job that it serves."""
    gap_mm: float | None = field(metadata=MM)
    """Gap from face to face."""
    tilt_deg: float | None = field(metadata=about(unit="deg", decimals=1))
    """Tilt against the sheet's normal."""
    band: Band | None
    """What counts as one sheet."""
    margin: float | None = field(metadata=SIGNAL)
    """The least margin of its sheets and states, in the band's unit."""
    double_as_single_ppm: float | None = field(metadata=PPM)
    """Doubles missed, per million, of the worst sheet."""
    single_as_double_ppm: float | None = field(metadata=PPM)
    """False stops, per million, of the worst sheet."""
    order_items: Sequence[Order]
    """What to order for all its set-ups."""
    model_version: str
    """Version of the physics, the library and the decision."""
    catalogue_version: str
    """Version of the catalogue."""


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
