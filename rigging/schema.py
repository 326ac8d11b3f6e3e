"""JSON Schema of the file models, for editors that complete and check; the reader itself does not need it.

It says what single keys may hold. What must fit between keys is for the reader alone, so a file that a schema
accepts may still be refused.
"""

from __future__ import annotations

import tomllib
from typing import Any

from pydantic import TypeAdapter, create_model
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from rigging.models import IMPERIAL, Model, imperial_keys

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(*models: type[Model], told_by: str = "") -> dict[str, Any]:
    """Schema (draft 2020-12) of a file of one model, or of a second one where the key `told_by` stands."""
    found = [TypeAdapter(model).json_schema(schema_generator=_Keys, ref_template="#/$defs/{model}") for model in models]
    if len(found) == 1:
        return {"$schema": DIALECT, **found[0]}
    definitions = {name: value for one in found for name, value in one.pop("$defs", {}).items()}
    usual, other = found
    return {"$schema": DIALECT, "if": {"required": [told_by]}, "then": other, "else": usual, "$defs": definitions}


def with_part(model: type[Model], name: str, part: type[Model]) -> type[Model]:
    """A file model with the model of a table that it passes through unread for another package."""
    field = model.model_fields[name]
    annotation: Any = part if field.is_required() else part | None
    fields: dict[str, Any] = {name: (annotation, field)}
    made: type[Model] = create_model(model.__name__, __base__=model, __doc__=model.__doc__, **fields)
    return made


class _Keys(GenerateJsonSchema):
    """Pydantic's own, without null, which TOML does not have, and with keys in feet and pounds."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        found = super().default_schema(schema)
        usual = found.pop("default", None)
        if isinstance(usual, dict):
            usual = {name: value for name, value in usual.items() if value is not None}
        return found if usual is None else {**found, "default": usual}

    def model_schema(self, schema: core_schema.ModelSchema) -> JsonSchemaValue:
        found = super().model_schema(schema)
        for one in found.get("properties", {}).values():
            _show_examples(one)
        _add_imperial(schema["cls"], found)
        return found


def _show_examples(schema: JsonSchemaValue) -> None:
    """Examples as values in place of the lines of TOML that give them; none where such a line is a sketch."""
    try:
        shown = [tomllib.loads(f"example = {one}")["example"] for one in schema.pop("examples", [])]
    except tomllib.TOMLDecodeError:
        return
    if shown:
        schema["examples"] = shown


def _add_imperial(model: type[Model], found: JsonSchemaValue) -> None:
    """Each key in metres or kilograms once more in feet or pounds; one of the two may stand."""
    keys, needed, rules = found.get("properties", {}), found.get("required", []), list[Any]()
    for name, suffix in imperial_keys(model).items():
        metric = name.removesuffix(suffix) + IMPERIAL[suffix][0]
        told = f"{keys[metric]['description']}; {metric} in {suffix[1:]}"
        keys[name] = {**_scaled(keys[metric], suffix), "description": told}
        if metric in needed:
            needed.remove(metric)
            rules.append({"oneOf": [{"required": [metric]}, {"required": [name]}]})
        else:
            rules.append({"not": {"required": [metric, name]}})
    if rules:
        found["allOf"] = rules


def _scaled(schema: Any, suffix: str) -> Any:
    """The schema of a metric key for numbers of another unit; feet may also be texts such as 32' 6"."""
    if isinstance(schema, list):
        return [_scaled(one, suffix) for one in schema]
    if not isinstance(schema, dict):
        return schema
    factor = IMPERIAL[suffix][1]
    found = {name: _scaled(value, suffix) for name, value in schema.items() if name not in ("default", "examples")}
    if schema.get("type") == "number":
        found |= {name: schema[name] / factor for name in ("minimum", "maximum") if name in schema}
        found["x-unit"] = suffix[1:]
        if suffix == "_ft":
            found["type"] = ["number", "string"]
    return found
