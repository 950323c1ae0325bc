"""The OpenAPI 3.1 document of the JSON interface; its schemas come from the dataclasses."""

from __future__ import annotations

from functools import cache
from typing import Any

from windowcast.core.phrase import LANGUAGES
from windowcast.core.version import __version__
from windowcast.records import kinds
from windowcast.records.model import KINDS
from windowcast.report.tables import shipped_schema

_UNITS = {"type": "string", "enum": ["us", "metric"]}
_TEXT = {"text/plain": {"schema": {"type": "string"}}}


@cache
def document() -> dict[str, Any]:
    """The whole document."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "windowcast",
            "version": __version__,
            "description": (
                "Ranked application windows and the season log of each site, in SI units. "
                "A window that cannot be judged has the verdict `cannot tell`, never a score."
            ),
        },
        "paths": _paths(),
        "components": {
            "schemas": _schemas(),
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
        "security": [{}, {"token": []}],
    }


def _paths() -> dict[str, Any]:
    site = _path_parameter("site", "id of a site, see /api/sites")
    return {
        "/api/openapi.json": {"get": _get("This document", _json({"type": "object"}))},
        "/api/rank.schema.json": {
            "get": _get(
                "The JSON Schema of a ranking",
                {"application/schema+json": {"schema": {"type": "object"}}},
            )
        },
        "/api/sites": {
            "get": _get("Every site", _json({"type": "array", "items": _ref("Site")})),
        },
        "/api/sites/{site}/rank": {
            "parameters": [site],
            "get": _get(
                "The ranked windows of a site",
                {
                    **_json(_one_or_each("Ranking")),
                    "text/csv": {"schema": {"type": "string"}},
                    **_TEXT,
                },
                [
                    _query("units", _UNITS),
                    _LANG,
                    _query("format", {"type": "string", "enum": ["json", "csv", "text"]}),
                ],
                problems=("404", "409", "422", "503"),
            ),
        },
        "/api/sites/{site}/season": {
            "parameters": [site],
            "get": _get(
                "The season plan of a site",
                _json(_one_or_each("SeasonPlan")),
                [_LANG],
                problems=("404", "409", "422", "503"),
            ),
        },
        "/api/sites/{site}/log": {
            "parameters": [site],
            "get": _get(
                "The season log as it stands",
                _json({"type": "array", "items": _ref("Stored")}),
                [_query("kind", {"type": "string", "enum": list(kinds.KINDS)})],
                problems=("404", "409", "422"),
            ),
            "post": {
                "summary": "Add an entry to the season log",
                "requestBody": {"required": True, "content": _json(_ref("NewEntry"))},
                "responses": {
                    "201": {"description": "Added", "content": _json(_ref("Stored"))},
                    **_problems("400", "403", "404", "409", "413", "415", "422", "429"),
                },
            },
        },
    }


def _schemas() -> dict[str, Any]:
    from pydantic import TypeAdapter

    ranking, plan = dict(shipped_schema()), dict(shipped_schema("season"))
    defs = ranking.pop("$defs", {}) | plan.pop("$defs", {})
    for schema in (ranking, plan):
        schema.pop("$schema", None)
    entries = {}
    for kind, cls in KINDS.items():
        schema = TypeAdapter(cls).json_schema(ref_template="#/components/schemas/{model}")
        defs |= schema.pop("$defs", {})
        schema["properties"] = {"kind": {"const": kind}, **schema["properties"]}
        schema["required"] = ["kind", *schema.get("required", [])]
        entries[cls.__name__] = schema
    return {
        **_moved(defs),
        **entries,
        "Ranking": _moved(ranking),
        "SeasonPlan": _moved(plan),
        "NewEntry": {"oneOf": [_ref(name) for name in entries]},
        "Site": _SITE,
        "Stored": _STORED,
        "Problem": {
            "type": "object",
            "properties": {"error": {"type": "string"}},
            "required": ["error"],
        },
    }


def _moved(schema: Any) -> Any:
    """References of a JSON Schema turned to where this document keeps its schemas."""
    if isinstance(schema, dict):
        return {
            key: value.replace("#/$defs/", "#/components/schemas/")
            if key == "$ref"
            else _moved(value)
            for key, value in schema.items()
        }
    return [_moved(item) for item in schema] if isinstance(schema, list) else schema


def _one_or_each(name: str) -> dict[str, Any]:
    """A document, or one for each piece of ground of a site with areas."""
    return {"oneOf": [_ref(name), {"type": "array", "items": _ref(name)}]}


def _ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def _json(schema: dict[str, Any]) -> dict[str, Any]:
    return {"application/json": {"schema": schema}}


def _path_parameter(name: str, text: str) -> dict[str, Any]:
    return {
        "name": name,
        "in": "path",
        "required": True,
        "description": text,
        "schema": {"type": "string"},
    }


def _query(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "schema": schema}


_LANG = _query("lang", {"type": "string", "enum": list(LANGUAGES)})


def _get(
    summary: str,
    content: dict[str, Any],
    parameters: list[dict[str, Any]] | None = None,
    problems: tuple[str, ...] = (),
) -> dict[str, Any]:
    return {
        "summary": summary,
        "parameters": parameters or [],
        "responses": {"200": {"description": "Done", "content": content}, **_problems(*problems)},
    }


def _problems(*codes: str) -> dict[str, Any]:
    content = {**_json(_ref("Problem")), **_TEXT}
    return {code: {"description": "A problem, in words", "content": content} for code in codes}


def _nullable(kind: str) -> dict[str, Any]:
    return {"type": [kind, "null"]}


_SITE = {
    "type": "object",
    "properties": {
        "id": {"type": "string"},
        "name": {"type": "string"},
        "sample": {"type": "boolean"},
        "problem": {"type": "string"},
        "latitude": _nullable("number"),
        "longitude": _nullable("number"),
        "timezone": _nullable("string"),
        "units": _nullable("string"),
    },
    "required": ["id", "name", "sample"],
}
_STORED = {
    "type": "object",
    "properties": {
        "id": {"type": "string"},
        "kind": {"type": "string", "enum": list(kinds.KINDS)},
        "version": {"type": "integer", "minimum": 1},
        "changed_at": {"type": "string", "format": "date-time"},
        "entry": {"type": "object"},
    },
    "required": ["id", "kind", "version", "changed_at", "entry"],
}
