"""The page's interface as an OpenAPI document, made from the shapes of the actions themselves."""

from collections.abc import Mapping

import msgspec

from rig.base.plain_json import Json
from rig.base.version import SOFTWARE
from rig.page.server.actions import Action
from rig.page.server.guard import TOKEN_HEADER
from rig.page.server.routes import JSON, ROUTES, WHAT_IF, PageRoute, action_path

REFUSALS = {
    "400": "The request is wrong; the answer says how",
    "403": "Token, host or origin are not right",
    "409": "It cannot be done now; the answer says why",
    "413": "Too large",
}


def document(actions: Mapping[str, Action]) -> Json:
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
    paths = {
        route.path: {"post": _change(route, token, refused)} if route.changes else {"get": _question(route, refused)}
        for route in ROUTES
        if route.listed
    }
    for name, action in actions.items():
        paths[action_path(name)] = {
            "post": {
                "summary": action.summary,
                "parameters": [token],
                "requestBody": {"required": True, "content": {"application/json": {"schema": by_shape[action.shape]}}},
                "responses": {"200": _json("Done"), "202": _json("Started"), **refused},
            }
        }
    return {
        "openapi": "3.1.0",
        "info": {"title": "Bench page", "version": SOFTWARE},
        "paths": paths,
        "components": {"schemas": components},
    }


def _question(route: PageRoute, refused: Json) -> Json:
    plain = {"description": "The file", "content": {route.answers: {}}}
    numbers = [
        {
            "name": name,
            "in": "query",
            "required": route is WHAT_IF,
            "schema": {"type": "number", "minimum": -1e5, "maximum": 1e5},
        }
        for name in route.numbers
    ]
    whole = {"name": "whole", "in": "query", "schema": {"type": "string", "enum": ["0", "1"]}}
    return {
        "summary": route.summary,
        "parameters": [*numbers, whole] if route is WHAT_IF else numbers,
        "responses": {"200": _json("The answer") if route.answers == JSON else plain, **refused},
    }


def _change(route: PageRoute, token: Json, refused: Json) -> Json:
    return {
        "summary": route.summary,
        "parameters": [token],
        "requestBody": {"required": True, "content": {"application/octet-stream": {}}},
        "responses": {"202": _json("Started"), **refused},
    }


def _json(words: str) -> Json:
    return {"description": words, "content": {"application/json": {"schema": {"type": "object"}}}}
