"""A second principle that only this test knows, from its table of parameters to the answer.

It is one more module among the principles and one more dataclass of parameters; nothing central is told of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import support
from scipy.stats import norm
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service import principles as package
from sheetmargin_service.detectors import parameters
from sheetmargin_service.detectors.catalogue import Catalogue, parse_catalogue, reference_catalogue
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.selection.recommend import recommend

TABLE = """
source = "illustrative"
[[class]]
id = "scale-fine"
principle = "weighing"
housing = { thread = "rectangular", length_mm = 30, width_mm = 50 }
output = ["pnp"]
supply = "24 V DC"
ingress = "IP65"
temperature_min_c = 0
temperature_max_c = 60
contactless = false
order = [{ role = "head", quantity = 1 }]
parameters = { deviation_gsm = 4.0, heaviest_gsm = 500, reading_interval_ms = 1, response_ms = 2 }
[[class]]
id = "scale-rough"
principle = "weighing"
housing = { thread = "rectangular", length_mm = 30, width_mm = 50 }
output = ["pnp"]
supply = "24 V DC"
ingress = "IP65"
temperature_min_c = 0
temperature_max_c = 60
contactless = false
order = [{ role = "head", quantity = 1 }]
parameters = { deviation_gsm = 40.0, heaviest_gsm = 500, reading_interval_ms = 1, response_ms = 2 }
"""


@pytest.fixture(autouse=True)
def one_more_principle(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The toy's folder beside the others; its parameters beside the others."""
    folder = Path(support.__file__).parent / "toy_principles"
    monkeypatch.setattr(package, "__path__", [*package.__path__, str(folder)])
    package.principles.cache_clear()
    module = package.principles()["weighing"]
    kind = __import__(type(module).__module__, fromlist=["WeighingParameters"]).WeighingParameters
    monkeypatch.setitem(parameters.PARAMETERS, "weighing", kind)
    yield
    package.principles.cache_clear()


@pytest.fixture
def catalogue(one_more_principle: None) -> Catalogue:
    return parse_catalogue(name="toy", text=TABLE)


def answer(catalogue: Catalogue, *sheets: SheetSpec, **job: object) -> Answer:
    return recommend(Job(sheets=sheets, **job), catalogue=catalogue, library=load_library())


PAPER = SheetSpec(material="copy-paper", grammage_gsm=100.0)


def test_it_is_found_beside_the_others() -> None:
    assert {"weighing", "ultrasonic", "thickness"} <= set(package.principles())


def test_it_answers_in_its_own_unit(catalogue: Catalogue) -> None:
    best = answer(catalogue, PAPER).recommendations[0]
    assert best.verdict == "suitable"
    assert best.setups[0].detector_class.id == "scale-fine"
    assert best.setups[0].detector_class.principle == "weighing"
    signal = best.sheets[0].signal
    assert (signal.quantity, signal.unit) == ("mass", "g/m2")
    assert (signal.single.p50, signal.double.p50) == pytest.approx((100.0, 200.0), abs=0.5)
    assert signal.single.p99 == pytest.approx(norm.ppf(0.99, 100.0, 4.49), abs=0.5)


def test_its_band_margins_and_misreads_follow(catalogue: Catalogue) -> None:
    """Nothing at 0, one at 100, two at 200 g/m2: a band from 50 to 150, each margin about 40."""
    best = answer(catalogue, PAPER).recommendations[0]
    band = best.setups[0].profile.band
    low, high = band.low, band.high
    assert (low, high) == pytest.approx((50, 150), abs=3)
    margin = best.sheets[0].margin
    assert min(margin.no_sheet, margin.single, margin.double) == pytest.approx(38.0, abs=4.0)
    assert all(misread.floored for misread in vars(best.sheets[0].misread_ppm).values())


def test_its_reasons_and_its_rejections_are_told(catalogue: Catalogue) -> None:
    told = answer(catalogue, PAPER)
    assert {"weighed", "limiting-margin", "deciding-misread"} <= {n.code for n in told.recommendations[0].reasons}
    unit = next(n for n in told.recommendations[0].reasons if n.code == "limiting-margin").values["unit"]
    assert unit == "g/m2"
    assert {r.detector_class: r.code for r in told.ruled_out} == {"scale-rough": "too-transparent"}


def test_what_it_refuses_is_told(catalogue: Catalogue) -> None:
    told = answer(catalogue, SheetSpec(material="greyboard", thickness_um=2000.0))
    assert told.verdict == "unsuitable"
    assert {r.code for r in told.ruled_out} == {"too-thick"}


def test_it_has_neither_tilt_nor_beam(catalogue: Catalogue) -> None:
    line = Line(speed_m_per_min=60.0, sheet_length_mm=300.0, sheet_spacing_mm=100.0, lanes=2, lane_pitch_mm=200.0)
    setup = answer(catalogue, PAPER, line=line).recommendations[0].setups[0]
    assert setup.geometry.tilt_deg is None
    assert setup.detector_class.frequency_khz is None
    assert setup.head is None
    assert setup.timing is not None
    assert setup.timing.readings_per_sheet == 250


def test_it_serves_a_list(catalogue: Catalogue) -> None:
    """80 and 100 g/m2 in one band; 300 g/m2 in another of the same scale."""
    best = answer(catalogue, PAPER, SheetSpec(material="copy-paper", grammage_gsm=110.0)).recommendations[0]
    assert len(best.setups) == 1
    heavy = SheetSpec(material="card-stock", grammage_gsm=300.0)
    best = answer(catalogue, PAPER, heavy).recommendations[0]
    assert [s.detector_class.id for s in best.setups] == ["scale-fine"] * 2
    assert best.changeovers.profile == 1


def test_it_stands_beside_other_principles(catalogue: Catalogue) -> None:
    both = Catalogue(name="both", version="1", classes=(*catalogue.classes, *reference_catalogue().classes))
    told = answer(both, PAPER, limit=30)
    principles = {r.setups[0].detector_class.principle for r in told.recommendations}
    assert {"weighing", "ultrasonic"} <= principles
    units = {r.setups[0].detector_class.principle: r.sheets[0].signal.unit for r in told.recommendations}
    assert units["weighing"] == "g/m2"
    assert units["ultrasonic"] == "dB"


def test_the_job_filters_by_it(catalogue: Catalogue) -> None:
    assert answer(catalogue, PAPER, principles=("ultrasonic",)).recommendations == ()
    assert answer(catalogue, PAPER, principles=("weighing",)).recommendations
