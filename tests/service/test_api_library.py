"""Materials, classes, catalogues and versions over HTTP."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue


def test_all_materials(api: FlaskClient) -> None:
    materials = api.get("/v1/materials").get_json()["materials"]
    assert [m["id"] for m in materials] == sorted(load_library().materials)
    for material in materials:
        assert material["sources"]
        assert material["density_kg_m3"]["source"]
        assert material["elastic"]


@pytest.mark.parametrize(
    ("query", "expected"),
    [("copy", "copy-paper"), ("Kopierpapier", "copy-paper"), ("alumnium", "aluminium"), ("GLAS", "glass")],
)
def test_search(api: FlaskClient, query: str, expected: str) -> None:
    answer = api.get("/v1/materials", query_string={"q": query, "limit": 5}).get_json()
    assert answer["query"] == query
    assert expected in [m["id"] for m in answer["materials"]]
    assert len(answer["materials"]) <= 5


def test_names_follow_the_language(api: FlaskClient) -> None:
    english = api.get("/v1/materials?q=copy-paper&limit=1")
    german = api.get("/v1/materials?q=copy-paper&limit=1", headers={"Accept-Language": "de"})
    material = load_library().get("copy-paper")
    assert english.get_json()["materials"][0]["name"] == material.name["en"]
    assert german.get_json()["materials"][0]["name"] == material.name["de"]
    assert german.get_json()["materials"][0]["synonyms"] == list(material.synonyms["de"])
    assert german.headers["Content-Language"] == "de"
    assert german.headers["ETag"] != english.headers["ETag"]


@pytest.mark.parametrize("query", ["q=" + "x" * 81, "q=a%00b", "limit=0", "q=a&q=b", "query=a"])
def test_wrong_searches(api: FlaskClient, query: str) -> None:
    response = api.get(f"/v1/materials?{query}")
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["parameter"] in query


def test_classes_speak_kilohertz(api: FlaskClient) -> None:
    answer = api.get("/v1/detector-classes").get_json()
    catalogue = reference_catalogue()
    assert answer["catalogue_version"] == catalogue.version
    assert [c["id"] for c in answer["classes"]] == [c.id for c in catalogue.classes]
    for sent, kept in zip(answer["classes"], catalogue.classes, strict=True):
        if kept.principle == "ultrasonic":
            assert sent["parameters"]["frequency_khz"] == pytest.approx(kept.parameters.frequency_hz / 1e3)
            assert "frequency_hz" not in sent["parameters"]
        assert sent["illustrative"] is True
        assert sent["order"]


def test_an_unknown_catalogue(api: FlaskClient) -> None:
    response = api.get("/v1/detector-classes?catalogue=referense")
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["suggestions"] == ["reference"]


def test_catalogues(api: FlaskClient) -> None:
    (catalogue,) = api.get("/v1/catalogues").get_json()["catalogues"]
    reference = reference_catalogue()
    assert catalogue == {
        "name": "reference",
        "version": reference.version,
        "classes": len(reference.classes),
        "illustrative": True,
        "default": True,
    }


def test_versions(api: FlaskClient) -> None:
    version = api.get("/v1/version").get_json()
    assert version["api"] == "1"
    assert version["build"].count("+") == 1
    assert "ultrasonic" in version["principles"]
    assert api.get("/v1/version").get_json() == version


@pytest.mark.parametrize(
    "path", ["/v1/materials", "/v1/materials?q=pet", "/v1/detector-classes", "/v1/catalogues", "/v1/version"]
)
def test_the_library_can_be_cached(api: FlaskClient, path: str) -> None:
    first = api.get(path)
    assert first.headers["Cache-Control"] == "public, max-age=300"
    again = api.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
