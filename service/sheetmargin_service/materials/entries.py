"""One entry of the material tables, read and checked."""

from __future__ import annotations

from sheetmargin_service.materials.material import (
    Electrical,
    Interval,
    Isotropic,
    Material,
    Optical,
    Porous,
    SoftSolid,
    TransverselyIsotropic,
    TrappedAir,
)
from sheetmargin_service.materials.reading import Reader

LANGUAGES = ("en", "de")
FAMILIES = (
    "adhesive",
    "board",
    "ceramic",
    "coating",
    "core",
    "film",
    "foam",
    "glass",
    "leather",
    "metal",
    "nonwoven",
    "paper",
    "plastic",
    "rubber",
    "semiconductor",
    "textile",
    "wood",
)


def read_material(material_id: str, entry: Reader) -> Material:
    """The material of one table entry; FieldError for anything unknown, missing, unsourced or unphysical."""
    names = entry.table("name")
    name = {language: names.text(language) for language in LANGUAGES}
    names.close()
    synonym_lists = entry.table("synonyms")
    synonyms = {language: synonym_lists.texts(language) for language in LANGUAGES}
    synonym_lists.close()
    family = entry.text("family")
    if family not in FAMILIES:
        raise entry.error(f"family {family!r} is none of {FAMILIES}")
    density = _interval(entry.table("density_kg_m3"), low=1.0, high=25_000.0)
    elastic, elastic_source = _elastic(entry.table("elastic"))
    loss = _interval(entry.table("loss_factor"), low=1e-6, high=2.0)
    mass = entry.table("mass")
    tolerance, formation = mass.number("tolerance_pct", high=60.0), mass.number("formation_pct", high=60.0)
    mass_source = mass.source()
    mass.close()
    air = read_trapped_air(entry.table("trapped_air"))
    thickness = entry.table("thickness_um")
    thin, thick = thickness.numbers("range", count=2, low=0.01, high=20_000.0)
    thickness_source = thickness.source()
    thickness.close()
    porous = _porous(entry.table("porous")) if "porous" in entry else None
    electrical = _electrical(entry.table("electrical")) if "electrical" in entry else Electrical()
    optical = _optical(entry.table("optical")) if "optical" in entry else None
    entry.close()
    sources = {density.source, elastic_source, loss.source, mass_source, air.source, thickness_source}
    sources |= {part.source for part in (porous, optical) if part}
    sources |= {electrical.source} - {""}
    return Material(
        id=material_id,
        name=name,
        synonyms=synonyms,
        family=family,
        density_kg_m3=density,
        elastic=elastic,
        loss_factor=loss,
        mass_tolerance_pct=tolerance,
        formation_pct=formation,
        mass_source=mass_source,
        trapped_air=air,
        thickness_range_um=(thin, thick),
        thickness_source=thickness_source,
        sources=tuple(sorted(sources)),
        porous=porous,
        electrical=electrical,
        optical=optical,
    )


def is_stable(*, c11: Interval, c13: Interval, c33: Interval) -> bool:
    """Whether the strain energy is positive at the low, nominal and high ends alike: c11 c33 > c13^2."""
    ends = zip(*((part.low, part.nominal, part.high) for part in (c11, c13, c33)), strict=True)
    return all(a * c > b * b for a, b, c in ends)


def _interval(entry: Reader, *, low: float, high: float) -> Interval:
    bottom, nominal, top = entry.numbers("range", count=3, low=low, high=high)
    interval = Interval(low=bottom, nominal=nominal, high=top, source=entry.source())
    entry.close()
    return interval


def _elastic(entry: Reader) -> tuple[Isotropic | SoftSolid | TransverselyIsotropic, str]:
    source = entry.source()

    def modulus(key: str) -> Interval:
        bottom, nominal, top = entry.numbers(key, count=3, low=1e-6, high=1_500.0)
        return Interval(low=bottom, nominal=nominal, high=top, source=source)

    kind = entry.text("kind")
    elastic: Isotropic | SoftSolid | TransverselyIsotropic
    match kind:
        case "isotropic":
            elastic = Isotropic(
                youngs_modulus_gpa=modulus("youngs_modulus_gpa"),
                poisson_ratio=entry.number("poisson_ratio", high=0.495),
            )
        case "soft":
            elastic = SoftSolid(
                bulk_modulus_gpa=modulus("bulk_modulus_gpa"),
                shear_modulus_gpa=modulus("shear_modulus_gpa"),
                bulk_loss_factor=entry.number("bulk_loss_factor", high=1.0),
            )
        case "transversely-isotropic":
            elastic = TransverselyIsotropic(
                c11_gpa=modulus("c11_gpa"),
                c13_gpa=modulus("c13_gpa"),
                c33_gpa=modulus("c33_gpa"),
                c55_gpa=modulus("c55_gpa"),
            )
            if not is_stable(c11=elastic.c11_gpa, c13=elastic.c13_gpa, c33=elastic.c33_gpa):
                raise entry.error("c11 c33 <= c13^2: the stiffness is not positive definite")
        case _:
            raise entry.error(f"kind {kind!r} is none of isotropic, soft, transversely-isotropic")
    entry.close()
    return elastic, source


def read_trapped_air(entry: Reader) -> TrappedAir:
    p5, p50, p95, loose_max = entry.numbers("um", count=4, low=0.1, high=5_000.0)
    if not p5 < p50 < p95 < loose_max:
        raise entry.error("um: expected p5 < p50 < p95 < loose_max")
    air = TrappedAir(
        p5_um=p5,
        p50_um=p50,
        p95_um=p95,
        loose_share=entry.number("loose_share", high=0.5),
        loose_max_um=loose_max,
        source=entry.source(),
    )
    entry.close()
    return air


def _porous(entry: Reader) -> Porous:
    bottom, nominal, top = entry.numbers("permeance_um_per_pa_s", count=3, low=1e-3, high=1e6)
    source = entry.source()
    porous = Porous(
        porosity=entry.number("porosity", low=0.01, high=0.999),
        tortuosity=entry.number("tortuosity", low=1.0, high=20.0),
        permeance_um_per_pa_s=Interval(low=bottom, nominal=nominal, high=top, source=source),
        thickness_um=entry.number("thickness_um", low=1.0, high=20_000.0),
        source=source,
    )
    entry.close()
    return porous


def _electrical(entry: Reader) -> Electrical:
    source = entry.source()

    def interval(key: str, *, low: float, high: float) -> Interval | None:
        if key not in entry:
            return None
        bottom, nominal, top = entry.numbers(key, count=3, low=low, high=high)
        return Interval(low=bottom, nominal=nominal, high=top, source=source)

    electrical = Electrical(
        resistivity=interval("resistivity_ohm_m", low=1e-9, high=1e3),
        relative_permeability=(
            entry.number("relative_permeability", low=0.9) if "relative_permeability" in entry else 1.0
        ),
        permittivity=interval("permittivity", low=1.0, high=1_000.0),
        moisture_content_pct=(
            entry.number("moisture_content_pct", high=60.0) if "moisture_content_pct" in entry else 0.0
        ),
        source=source,
    )
    entry.close()
    return electrical


def _optical(entry: Reader) -> Optical:
    optical = Optical(
        scattering_m2_per_kg=entry.number("scattering_m2_per_kg"),
        absorption_m2_per_kg=entry.number("absorption_m2_per_kg"),
        source=entry.source(),
    )
    entry.close()
    return optical
