"""The page's interface as an OpenAPI document, made from the shapes of the actions themselves."""

from collections.abc import Mapping
from typing import Any

import msgspec

from rig.base.version import SOFTWARE
from rig.page.server.actions import Action
from rig.page.server.guard import TOKEN_HEADER

PLAIN = {
    "/api/lesson": "The lesson's experiments",
    "/api/cards": "The cards with units, ranges and meaning of each key",
    "/api/record": "The newest records",
    "/api/compared": "Measured against forecast across set-ups",
}
FILES = {
    "/": "text/html",
    "/class": "text/html",
    "/print/pack": "text/html",
    "/print/ring": "text/html",
    "/api/report.html": "text/html",
    "/api/export.zip": "application/zip",
}
REFUSALS = {
    "400": "The request is wrong; the answer says how",
    "403": "Token, host or origin are not right",
    "409": "It cannot be done now; the answer says why",
    "413": "Too large",
}


def document(actions: Mapping[str, Action]) -> dict[str, Any]:
    """The OpenAPI 3.1 document."""
    shapes = list(dict.fromkeys(action.shape for action in actions.values()))
    schemas, components = msgspec.json.schema_components(shapes, ref_template="#/components/schemas/{name}")
    by_shape = dict(zip(shapes, schemas, strict=True))
    error = {"type": "object", "properties": {"error": {"type": "string"}}, "required": ["error"]}
    components["Refusal"] = error
    refused = {
        status: {
            "description": words,
            "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Refusal"}}},
        }
        for status, words in REFUSALS.items()
    }
    token = {
        "name": TOKEN_HEADER,
        "in": "header",
        "required": True,
        "schema": {"type": "string", "minLength": 1, "pattern": "^[A-Za-z0-9_-]+$"},
        "description": "The token of this start, from the event stream's hello",
    }
    paths: dict[str, Any] = {}
    for path, words in PLAIN.items():
        paths[path] = {"get": {"summary": words, "responses": {"200": _json("The answer"), **refused}}}
    for path, kind in FILES.items():
        ok = {"description": "The file", "content": {kind: {}}}
        paths[path] = {"get": {"summary": f"{path} for people", "responses": {"200": ok, **refused}}}
    numbers = [
        {"name": name, "in": "query", "required": True, "schema": {"type": "number", "minimum": -1e5, "maximum": 1e5}}
        for name in ("front", "rear", "ballast_g", "ballast_pct", "push_pct")
    ]
    whole = {"name": "whole", "in": "query", "schema": {"type": "string", "enum": ["0", "1"]}}
    paths["/api/what-if"] = {
        "get": {
            "summary": "The forecast for other numbers",
            "parameters": [*numbers, whole],
            "responses": {"200": _json("The forecast"), **refused},
        }
    }
    for name, action in actions.items():
        paths[f"/api/do/{name}"] = {
            "post": {
                "summary": action.summary,
                "parameters": [token],
                "requestBody": {"required": True, "content": {"application/json": {"schema": by_shape[action.shape]}}},
                "responses": {"200": _json("Done"), "202": _json("Started"), **refused},
            }
        }
    paths["/api/clip"] = {
        "post": {
            "summary": "Measure a clip",
            "parameters": [token],
            "requestBody": {"required": True, "content": {"application/octet-stream": {}}},
            "responses": {"202": _json("Started"), **refused},
        }
    }
    return {
        "openapi": "3.1.0",
        "info": {"title": "Bench page", "version": SOFTWARE},
        "paths": paths,
        "components": {"schemas": components},
    }


def _json(words: str) -> dict[str, Any]:
    return {"description": words, "content": {"application/json": {"schema": {"type": "object"}}}}
