"""JSON schemas of the knowledge files, for editors that complete and check YAML while one writes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from diag.errors import UsageError
from diag.knowledge.base import SECTIONS
from diag.knowledge.load import ENTRY_FOLDERS
from diag.knowledge.story_terms import WriteUp
from diag.knowledge.vocabulary import Settings

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_TEXTS = {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}
_NAMES = {"type": "array", "items": {"type": "string"}}
_BOUND = {"anyOf": [{"type": ["string", "number"]}, {"$ref": "#/$defs/InlineLimit"}]}
_SHORT = {"is": _TEXTS, "source": _TEXTS, "compute": _TEXTS, "yes": _TEXTS, "no": _TEXTS,
          "below": _BOUND, "above": _BOUND, "between": {"type": "array", "items": _BOUND}}
"""Fields that may be written shorter than they are kept."""
_AXES = {"type": "object", "additionalProperties": _NAMES}


def entry_schema(section: str) -> dict[str, Any]:
    """Return the schema of a file in causes/, checks/ or rules/: a list. Raises UsageError."""
    if section not in ENTRY_FOLDERS:
        known = ", ".join(ENTRY_FOLDERS)
        raise UsageError(f"There is no folder {section!r}.", "knowledge schema", f"Known: {known}.")
    definitions = _definitions({section: SECTIONS[section]})
    items = {"$ref": f"#/$defs/{SECTIONS[section].__name__}"}
    return {"$schema": DIALECT, "title": section, "type": "array", "items": items, "$defs": definitions}


def vocabulary_schema() -> dict[str, Any]:
    """Return the schema of the files beside those folders: a mapping of sections."""
    properties: dict[str, Any] = {
        name: {"type": "array", "items": {"$ref": f"#/$defs/{entry.__name__}"}}
        for name, entry in SECTIONS.items()
    }
    properties["version"] = properties["requires_program"] = {"type": "string"}
    properties["settings"] = {"$ref": "#/$defs/Settings"}
    properties["write_up"] = {"$ref": "#/$defs/WriteUp"}
    return {
        "$schema": DIALECT, "title": "knowledge", "type": "object", "additionalProperties": False,
        "properties": properties, "$defs": _definitions({**SECTIONS, "settings": Settings, "write_up": WriteUp}),
    }


def _definitions(models: Mapping[str, type[BaseModel]]) -> dict[str, Any]:
    wanted = [(entry, "validation") for entry in dict.fromkeys(models.values())]
    definitions: dict[str, Any] = models_json_schema(wanted)[1].get("$defs", {})  # type: ignore[arg-type]
    return {name: _as_written(name, schema) for name, schema in definitions.items()}


def _as_written(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """Return a definition in the short forms that may be written in YAML."""
    if name == "Applies":
        either = {"type": "array", "items": _AXES}
        axes = {"type": "object", "properties": {"any": either}, "additionalProperties": _NAMES}
        group = {"type": "string"}
        return {"anyOf": [group, axes, {"type": "array", "items": {"anyOf": [group, axes]}}]}
    if name == "Takes":
        return {"anyOf": [{"type": "string", "enum": schema["properties"]["kind"]["enum"]}, schema]}
    if name == "Tells":
        either = {n: {"anyOf": [p["items"], p]} for n, p in schema["properties"].items() if "items" in p}
        return {**schema, "properties": {**schema["properties"], **either}}
    properties = schema.get("properties", {})
    loose = {field: _SHORT[field] for field in properties.keys() & _SHORT.keys()}
    if name == "When":
        loose["rows"] = _TEXTS
    return {**schema, "properties": {**properties, **loose}} if loose else schema
