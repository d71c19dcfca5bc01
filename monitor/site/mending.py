"""From what pydantic found wrong to one line: file, key, value, mend."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeVar, get_args

from pydantic import ValidationError

from monitor.errors import ConfigError
from monitor.site.checking import nearest, spell
from monitor.site.model import PROBLEM, Key, Model, Problem

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

M = TypeVar("M", bound=Model)

_SECRET = ("password", "passwort", "token", "secret", "apikey", "api_key")

_WORDS = {
    "bool_type": "is neither true nor false: write it without quotes",
    "dict_type": "is no table",
    "finite_number": "is not finite: give a number",
    "float_type": "is no number: write it without quotes, as 18 or 18.5",
    "int_type": "is no whole number: write it without quotes, as 1883",
    "date_type": "is no date: write it without quotes, as 2026-01-05",
    "model_type": "is no table of keys",
    "string_type": 'is no text: write it in quotes, as "..."',
    "tuple_type": "is no list: write it in [ ]",
}
"""What a type of error of pydantic means to who wrote the file."""


def validated(model: type[M], data: Mapping[str, Any], file: str) -> M:
    """
    Read the data of a file, or say in one line what to mend.

    Raises:
        ConfigError: With file, key, value and mend.
    """
    try:
        # keys as the file form has them, never the names of our attributes (C2)
        return model.model_validate(data, by_alias=True, by_name=False)
    except ValidationError as error:
        problems = list(_problems(error, model))
    # outside of the except: no traceback may carry what stands in the file (S9)
    raise complaint(file, data, problems)


def complaint(
    file: str, data: object, problems: Sequence[Problem], *, of: int | None = None
) -> ConfigError:
    """
    Word the first problem of a file, and how many more there are.

    Args:
        file: Its name.
        data: What stands in it, to name rows by their id.
        problems: At least one.
        of: How many there are, where *problems* are not all.
    """
    first = problems[0]
    more = (of or len(problems)) - 1
    where = _path(first.path, data)
    text = f"{file}: {where}: {first.text}" if where else f"{file}: {first.text}"
    return ConfigError(f"{text} (and {more} more)" if more else text)


def _problems(error: ValidationError, model: type[Model]) -> Iterator[Problem]:
    # a misspelt key is both unknown and missing: name what stands in the file
    found = sorted(
        error.errors(include_url=False), key=lambda e: e["type"] != "extra_forbidden"
    )
    for detail in found:
        path = tuple(
            k for k in detail["loc"] if not (isinstance(k, str) and k[0] in "<[")
        )
        if detail["type"] == PROBLEM:
            for problem in detail["ctx"]["all"]:
                yield Problem((*path, *problem.path), problem.text)
        else:
            yield Problem(path, _said(detail, path, model))


def _said(detail: "ErrorDetails", path: tuple[Key, ...], model: type[Model]) -> str:
    kind, value = detail["type"], detail["input"]
    if kind == "extra_forbidden":
        return _unknown_key(str(path[-1]), _keys(model, path[:-1]))
    if kind == "missing" and isinstance(path[-1], int):
        return "is missing: write both, as [19.0, 29.0]"
    if kind == "missing":
        return "is missing, and has no default: add it"
    return _with_value(value, _sentence(detail))


def _sentence(detail: "ErrorDetails") -> str:
    kind, context = detail["type"], detail.get("ctx", {})
    match kind:
        case "value_error":
            text = str(context["error"])
        case "enum" | "literal_error":
            text = f"is none of {context['expected'].replace(chr(39), chr(34))}"
        case "string_pattern_mismatch":
            text = 'is no id: write small letters, digits and hyphens, as "warm-room-a"'
        case "too_short" | "missing_argument":
            text = f"has too few entries: give at least {context['min_length']}"
        case "too_long" | "unexpected_positional_argument":
            text = f"has too many entries: give {context['max_length']}"
        case _:
            text = _WORDS.get(kind) or detail["msg"].removeprefix("Input ")
    return text


def _with_value(value: object, text: str) -> str:
    # a login in an address, or a long text, is not repeated
    if text.startswith(("holds ", "low ")) or (isinstance(value, dict) and value):
        return text
    spelled = spell(value)
    return text if text.startswith(spelled) else f"{spelled} {text}"


def _unknown_key(key: str, known: Sequence[str]) -> str:
    if any(word in key.casefold() for word in _SECRET):
        return "secrets are files and never stand here: see check for their names"
    return f"unknown key: {nearest(key, known)}"


def _keys(model: type[Model], path: Sequence[Key]) -> list[str]:
    """The keys that may stand in the table at a path."""
    here: object = model
    for key in path:
        if isinstance(key, int):
            continue
        table = _model_in(here)
        here = table.keys_and_types().get(key) if table else None
    table = _model_in(here)
    return list(table.keys_and_types()) if table else []


def _model_in(annotation: object) -> type[Model] | None:
    if isinstance(annotation, type) and issubclass(annotation, Model):
        return annotation
    found = (_model_in(part) for part in get_args(annotation))
    return next((part for part in found if part is not None), None)


def _path(path: Sequence[Key], data: object) -> str:
    """Write ("sensor", 1, "interval") as sensor[2] (warm-room-b).interval."""
    written, here = "", data
    for key in path:
        here = _step(here, key)
        if isinstance(key, int):
            written += f"[{key + 1}]"
            name = (
                here.get("id") or here.get("place") if isinstance(here, dict) else None
            )
            if isinstance(name, str) and name.isprintable():
                written += f" ({name[:64]})"
        else:
            written += f".{key}" if written else key
    return written


def _step(here: object, key: Key) -> object:
    if isinstance(here, dict):
        return here.get(key)
    if isinstance(here, list) and isinstance(key, int) and key < len(here):
        return here[key]
    return None
