"""What a converter has in stock, invented: papers, boards, films and plates, as sheets and as jobs of single sheets."""

from __future__ import annotations

from sheetmargin import Job, Line, Sheet
from sheetmargin.contract.job import Sheet as SheetSpec

GRAMMAGES = {
    "copy-paper": (60, 70, 75, 80, 90, 100, 120, 160),
    "offset-paper": (80, 90, 115, 150),
    "coated-paper": (90, 115, 135, 150, 170, 200, 250),
    "kraft-paper": (50, 70, 90, 120),
    "newsprint": (42, 45, 49),
    "card-stock": (200, 250, 300),
    "folding-boxboard": (230, 280, 350),
    "coated-board": (250, 300, 350),
}
THICKNESSES_UM = {
    "pet": (50, 100, 250),
    "pvc-rigid": (250, 500, 760),
    "bopp": (40, 60),
    "aluminium": (300, 1000),
    "steel": (800,),
    "abs": (1000,),
    "greyboard": (1500, 2000),
    "glass": (2000,),
}


def stock() -> tuple[SheetSpec, ...]:
    """Fifty sheets of a converter's stock: papers, boards, films and plates."""
    papers = [SheetSpec(material=m, grammage_gsm=float(g)) for m, each in GRAMMAGES.items() for g in each]
    plates = [SheetSpec(material=m, thickness_um=float(t)) for m, each in THICKNESSES_UM.items() for t in each]
    return (*papers, *plates)


def plates() -> tuple[SheetSpec, ...]:
    """Fifty plates and films, those of the stock in some thicknesses each."""
    each = [(m, t) for m, sizes in THICKNESSES_UM.items() for t in sizes]
    return tuple(
        SheetSpec(material=m, thickness_um=round(float(t) * (1.0 + 0.02 * turn), 1))
        for turn in range(4)
        for m, t in each
    )[:50]


def stock_jobs(number: int) -> list[Job]:
    """Different jobs of one sheet each, the stock again and again on other lines."""
    specs = stock()
    return [
        Job(
            sheets=(_wire(specs[place % len(specs)]),),
            line=Line(speed_m_per_min=60.0 + place // len(specs), sheet_length_mm=700.0, sheet_spacing_mm=80.0),
        )
        for place in range(number)
    ]


def _wire(spec: SheetSpec) -> Sheet:
    return Sheet(material=spec.material, grammage_gsm=spec.grammage_gsm, thickness_um=spec.thickness_um)
