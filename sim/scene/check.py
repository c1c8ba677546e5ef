"""What pydantic finds wrong with a file, said with the line and the nearest key."""

import difflib
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from ..errors import SceneError
from .toml_lines import line_of

__all__ = ["Problem", "hint", "refusal", "validate"]

Location = tuple[str | int, ...]
Problem = tuple[int, str]  # the line, and the sentence
T = TypeVar("T", bound=BaseModel)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Give the known word that is most like this one, if one is like it at all."""
    found = difflib.get_close_matches(word, sorted(known), 1, 0.4)
    return found[0] if found else None


def hint(word: str, known: Iterable[str]) -> str:
    """Ask whether the nearest known word was meant; nothing where none is near."""
    near = nearest(word, known)
    return f"; did you mean {near}?" if near else ""


def _model_at(model: type[BaseModel], location: Location) -> set[str]:
    """Collect the keys that the table at a location knows, by pydantic's schema."""
    schema = model.model_json_schema(by_alias=True)
    node: Any = schema
    for key in location:
        node = _descend(node, key, schema)
    return set(_properties(node, schema))


def _resolve(node: Any, schema: Any) -> list[Any]:
    """Follow references and alternatives to plain object schemas."""
    if not isinstance(node, dict):
        return []
    if "$ref" in node:
        return _resolve(schema["$defs"][node["$ref"].rpartition("/")[2]], schema)
    found = [node]
    for key in ("anyOf", "oneOf"):
        for option in node.get(key, ()):
            found += _resolve(option, schema)
    return found


def _properties(node: Any, schema: Any) -> dict[str, Any]:
    merged: dict[str, Any] = {}
    for option in _resolve(node, schema):
        merged |= option.get("properties", {})
    return merged


def _descend(node: Any, key: str | int, schema: Any) -> Any:
    for option in _resolve(node, schema):
        if isinstance(key, int) and "items" in option:
            return option["items"]
        if key in option.get("properties", {}):
            return option["properties"][key]
        if isinstance(option.get("additionalProperties"), dict):
            return option["additionalProperties"]
    return node  # a union's tag, which stands in no file


def _sentence(error: Mapping[str, Any], location: Location, known: set[str]) -> str:
    name = ".".join(str(part) for part in location) or "the file"
    context = error.get("ctx", {})
    if error["type"] == "extra_forbidden":
        return f"{name} is not known here{hint(str(location[-1]), known)}"
    if error["type"] in ("missing", "union_tag_not_found"):
        return f"{name} is missing"
    if error["type"] == "union_tag_invalid":
        expected = context["expected_tags"].replace("'", "")
        near = hint(context["tag"], expected.split(", "))
        return f"{name}: {context['tag']} is none of {expected}{near}"
    message = str(error["msg"]).removeprefix("Value error, ")
    return f"{name}: {message[0].lower()}{message[1:]}"


def _location(error: Mapping[str, Any], data: Any) -> Location:
    """Drop from pydantic's location what stands in no file: the tags of unions."""
    kept: list[str | int] = []
    node = data
    parts = list(error["loc"])
    for i, part in enumerate(parts):
        inside = isinstance(node, dict) and part in node
        inside |= isinstance(node, list) and isinstance(part, int) and part < len(node)
        if inside:
            node = node[part]
        elif i < len(parts) - 1 or error["type"] != "missing":
            continue
        kept.append(part)
    return tuple(kept)


def _problems(
    error: ValidationError, model: type[BaseModel], data: Any, text: str
) -> list[Problem]:
    found: list[tuple[Location, str, Problem]] = []
    meant: set[Location] = set()
    for entry in error.errors(include_url=False):
        location = _location(entry, data)
        if entry["type"].startswith("union_tag"):
            location = (*location, entry["ctx"]["discriminator"].strip("'"))
        known = _model_at(model, location[:-1])
        sentence = _sentence(entry, location, known)
        problem = (line_of(location, text), sentence)
        found.append((location, entry["type"], problem))
        if entry["type"] == "extra_forbidden":
            near = nearest(str(location[-1]), known)
            meant |= {(*location[:-1], near)} if near else set()
    # a key that is missing because it is misspelt is one mistake, not two
    return [
        problem
        for location, kind, problem in found
        if not (kind == "missing" and location in meant)
    ]


def validate(model: type[T], data: Any, text: str, path: str) -> T:
    """Check a document against its model.

    Parameters
    ----------
    model
        The model.
    data, text
        The document, parsed and as it stands in the file.
    path
        The file, for the error.

    Raises
    ------
    SceneError
        With the line of the first mistake, and all of them in ``problems``.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        problems = _problems(error, model, data, text)
    raise refusal(problems, path)


def refusal(problems: list[Problem], path: str) -> SceneError:
    """Make one error of several problems, in the order of their lines."""
    problems = sorted(dict.fromkeys(problems))
    line, sentence = problems[0]
    more = len(problems) - 1
    if more:
        sentence += f" (and {more} more mistake{'s' if more > 1 else ''})"
    listed = tuple(f"line {n}: {text}" for n, text in problems)
    return SceneError(sentence, path=path, line=line, problems=listed)
