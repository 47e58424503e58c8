"""An owner's catalogue: read from a file, in error by line and key, completed from the reference."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from sheetmargin_service.detectors.catalogue import MOST_CLASSES, Catalogue
from sheetmargin_service.detectors.files import named_paths, read_files
from sheetmargin_service.detectors.source_lines import line_of
from sheetmargin_service.errors import FieldError
from sheetmargin_service.principles.catalogues import catalogues_of, read_catalogue, reference_catalogue
from support.catalogues import OWN, OWN_JSON

REFERENCE = reference_catalogue().classes


def read(text: str, syntax: str = "toml") -> Catalogue:
    return read_catalogue(name="own", text=text, syntax=syntax, reference=REFERENCE)  # type: ignore[arg-type]


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str, str], Path]:
    def to(name: str, text: str) -> Path:
        (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path / name

    return to


def line(text: str, fragment: str) -> int:
    """Where a fragment stands, by eye."""
    assert text.count(fragment) == 1
    return text[: text.index(fragment)].count("\n") + 1


def test_toml_and_json_say_the_same() -> None:
    assert read(OWN) == read(OWN_JSON, "json")
    assert read(OWN).classes[0].order[0].part_number == "T-100-E"
    assert not any(c.illustrative for c in read(OWN).classes)


def test_the_version_is_of_the_content_alone() -> None:
    own = read(OWN).version
    assert read("# for 2027\n\n" + OWN.replace("quantity = 2 }", "quantity   =   2 }")).version == own
    assert read('"$schema" = "catalogue.schema.json"\n' + OWN).version == own
    assert read(OWN.replace("T-100-E", "T-101-E")).version != own


WRONG = [
    ('ingress = "IP67"\n', 'ingress = "67"\n', 'ingress = "67"', "class own-180: expected ingress as IP65"),
    (
        "face_radius_mm = 7",
        'face_radius_mm = "7"',
        'face_radius_mm = "7"',
        "face_radius_mm: expected a number, got '7'",
    ),
    ("gap_min_mm = 20", "gap_min_mm = 90", "gap_min_mm = 90", "expected 0 < gap_min_mm <= reference_gap_mm"),
    ("quantity = 1, serves_lanes = 4", "quantity = 0", "order = [\n", "order[2]: expected quantity of at least 1"),
    ("gate_us = 48", "gait_us = 48", "gait_us = 48", "class own-400 parameters: unknown key 'gait_us'"),
    (
        'id = "own-400"',
        'id = "own-180"',
        '[[class]]\nid = "own-180"\nprinciple = "ultrasonic"\ning',
        "got own-180 twice",
    ),
    ('id = "own-400"', 'id = "own 400"', 'id = "own 400"', "id: expected letters, digits, dots, hyphens"),
    ("[defaults]", "[default]", "[default]", "unknown or misplaced 'default'"),
    ("drift_db = 3", "drift_db = inf", "drift_db = inf", "drift_db: expected a finite number"),
]


@pytest.mark.parametrize(("old", "new", "place", "told"), WRONG, ids=[new for _, new, _, _ in WRONG])
def test_what_is_wrong_is_told_with_its_line(old: str, new: str, place: str, told: str) -> None:
    assert old in OWN
    text = OWN.replace(old, new, 1)
    with pytest.raises(FieldError) as raised:
        read(text)
    assert str(raised.value).startswith(f"line {line(text, place)}: ")
    assert told in str(raised.value)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"face_radius_mm": 7', '"face_radius_mm": null', "face_radius_mm: expected a number, got None"),
        ('"T-900"', "900", "class own-180 order[2] part_number: expected a text, got 900"),
        ('"gate_us": 48', '"gait_us": 48', "class own-400 parameters: unknown key 'gait_us'"),
    ],
)
def test_what_is_wrong_in_json_is_told_with_its_line(old: str, new: str, told: str) -> None:
    text = OWN_JSON.replace(old, new)
    with pytest.raises(FieldError) as raised:
        read(text, "json")
    assert str(raised.value).startswith(f"line {line(text, new)}: ")
    assert told in str(raised.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "catalogue own: Expecting value: line 1 column 1"),
        ("[]", "catalogue own: expected an object"),
        ('{"class": [], "class": []}', "'class' is given more than once"),
        ('{"class": [{"id": NaN}]}', "NaN is not JSON"),
        ("[" * 100_000, "nested too deeply"),
        ('{"class": 5}', "line 1: catalogue own: unknown or misplaced 'class'"),
    ],
)
def test_json_that_is_none(text: str, told: str) -> None:
    with pytest.raises(FieldError) as raised:
        read(text, "json")
    assert told in str(raised.value)


def test_every_line_is_found() -> None:
    """Against the lines on which the keys of the test catalogue stand, by their spelling."""
    for path, fragment in {
        ("source",): 'source = "inv',
        ("defaults", "contactless"): "contactless = true",
        ("class", 0): '[[class]]\nid = "own-180"',
        ("class", 0, "housing", "width_mm"): 'housing = { thread = "M18"',
        ("class", 0, "order", 5, "role"): "order = [\n",
        ("class", 0, "parameters"): "[class.parameters]\nfrequency_hz = 180e3",
        ("class", 1, "id"): 'id = "own-400"',
        ("class", 1, "parameters", "drift_db"): "drift_db = 3",
        ("class", 1, "parameters", "absent"): "[class.parameters]\nfrequency_hz = 400e3",
    }.items():
        assert line_of(path, text=OWN, syntax="toml") == line(OWN, fragment)  # type: ignore[arg-type]
    assert line_of(("absent",), text=OWN, syntax="toml") is None
    text = '{"a": [1, {"b]": "x,{", "c":\n [[], {}, 7]}],\n"d": {"": null}}'
    assert json.loads(text)
    for json_path, number in {
        ("a", 1, "b]"): 1,
        ("a", 1, "c"): 1,
        ("a", 1, "c", 2): 2,
        ("d",): 3,
        ("d", ""): 3,
    }.items():
        assert line_of(json_path, text=text, syntax="json") == number  # type: ignore[arg-type]


def test_at_most_two_hundred_classes() -> None:
    one = OWN[OWN.index("[[class]]") : OWN.index('[[class]]\nid = "own-400"')]
    head = OWN[: OWN.index("[[class]]")]
    many = [one.replace("own-180", f"own-{number}") for number in range(MOST_CLASSES + 1)]
    assert len(read(head + "".join(many[:-1])).classes) == MOST_CLASSES == 200
    with pytest.raises(FieldError, match="expected at most 200 classes, got 201"):
        read(head + "".join(many))


def test_unknown_parameters_come_from_the_nearest_class() -> None:
    own, whole = read(OWN).classes
    nearest = next(c for c in REFERENCE if c.id == "ultrasonic-180k")
    assert own.parameters == replace(nearest.parameters, gap_min_mm=20.0, gap_max_mm=60.0)
    assert own.filled is not None
    assert own.filled.reference_class == "ultrasonic-180k"
    assert set(own.filled.parameters) == {
        *("bandwidth_hz", "face_reflection", "gate_us", "reference_gap_mm", "overload_db", "noise_db", "bypass_db"),
        *("span_db", "gain_range_db", "reading_interval_ms", "response_ms", "drift_db"),
    }
    assert whole.filled is None


@pytest.mark.parametrize(
    ("parameters", "nearest"),
    [
        ("frequency_hz = 290e3", "ultrasonic-300k"),
        ("frequency_hz = 180e3\noverload_db = 48\nnoise_db = 117", "ultrasonic-180k-high-output"),
        ('frequency_hz = 180e3\ndrive = "continuous"', "ultrasonic-180k-high-output-continuous"),
        ("", "ultrasonic-180k"),
    ],
)
def test_nearest_means_alike_in_drive_and_numbers(parameters: str, nearest: str) -> None:
    text = OWN[: OWN.index("[class.parameters]")] + "[class.parameters]\n" + parameters
    (only,) = read(text).classes
    assert only.filled is not None
    assert only.filled.reference_class == nearest


@pytest.mark.parametrize("c", REFERENCE, ids=lambda c: c.id)
def test_a_reference_class_without_parameters_is_completed_by_one_of_its_principle(c: object) -> None:
    text = (OWN[: OWN.index("[class.parameters]")]).replace('"ultrasonic"', f'"{c.principle}"')  # type: ignore[attr-defined]
    (only,) = read(text).classes
    assert only.filled is not None
    assert only.parameters.problems() == []


def test_what_was_taken_is_named_where_it_does_not_fit() -> None:
    text = OWN.replace("gap_min_mm = 20", "gap_min_mm = 50")
    with pytest.raises(FieldError) as raised:
        read(text)
    assert "(reference_gap_mm not given, so taken from ultrasonic-180k)" in str(raised.value)


@pytest.mark.parametrize("key", ["filled", "problems"])
def test_what_the_service_fills_in_is_not_for_files(key: str) -> None:
    text = OWN.replace('id = "own-400"', f'id = "own-400"\n{key} = {{ reference_class = "x", parameters = [] }}')
    with pytest.raises(FieldError, match=f"unknown key '{key}'"):
        read(text)


def test_names_of_files() -> None:
    assert named_paths("/etc/own.toml") == {"own": Path("/etc/own.toml")}
    assert list(named_paths("a=/x/1.toml, b = /x/2.json,/x/c.toml")) == ["a", "b", "c"]


@pytest.mark.parametrize(
    ("setting", "told"),
    [
        ("", "expected FILE or NAME=FILE"),
        ("a=", "expected FILE or NAME=FILE"),
        ("a=x.toml,", "expected FILE or NAME=FILE"),
        ("my own.toml", "'my own' is no name"),
        ("reference=x.toml", "the name reference is taken; expected another, as in own=x.toml"),
        ("reference.toml", "the name reference is taken"),
        ("a=x.toml,a=y.toml", "the name a is taken"),
    ],
)
def test_settings_that_name_no_files(setting: str, told: str) -> None:
    with pytest.raises(FieldError) as raised:
        named_paths(setting)
    assert told in str(raised.value)


def test_files_by_name(write: Callable[[str, str], Path]) -> None:
    paths = {"own": write("own.toml", OWN), "other": write("other.json", "\ufeff" + OWN_JSON)}
    catalogues = catalogues_of(read_files(paths))
    assert list(catalogues) == ["own", "other", "reference"]
    assert catalogues["reference"] is reference_catalogue()
    assert catalogues["other"] == replace(catalogues["own"], name="other")


def test_files_that_cannot_be_read(tmp_path: Path, write: Callable[[str, str], Path]) -> None:
    bad = write("bad.toml", "\nclass = 5 5")
    with pytest.raises(FieldError, match=r"bad\.toml: catalogue own: .*at line 2"):
        catalogues_of(read_files({"own": bad}))
    with pytest.raises(FieldError, match=r"absent\.toml cannot be read: No such file"):
        read_files({"own": tmp_path / "absent.toml"})
    with pytest.raises(FieldError, match=r"expected a file that ends in \.toml or \.json"):
        read_files({"own": write("own.yaml", "")})
    (tmp_path / "latin.toml").write_bytes(b"source = '\xfc'")
    with pytest.raises(FieldError, match="expected UTF-8, got byte 0xfc"):
        read_files({"own": tmp_path / "latin.toml"})
    (tmp_path / "dir.toml").mkdir()
    with pytest.raises(FieldError, match="cannot be read: Is a directory"):
        read_files({"own": tmp_path / "dir.toml"})
