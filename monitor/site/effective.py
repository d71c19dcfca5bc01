"""What a configuration comes to: defaults filled in, secrets masked, and advice."""

import enum
import json
from collections.abc import Iterator, Mapping
from datetime import date, timedelta

from monitor.site.advice import warnings
from monitor.site.checks_file import checks_lines
from monitor.site.load import Configuration
from monitor.site.model import Model
from monitor.site.sections import registry
from monitor.site.spans import format_span
from monitor.site.species_file import Species

__all__ = ["effective", "warnings"]


def effective(configuration: Configuration, secrets_present: Mapping[str, bool]) -> str:
    """
    Print the effective settings in a stable form.

    The site is written as site.toml would be with every default said; the rest
    follows as comments, so that the whole can be kept as a file.

    Args:
        configuration: As loaded.
        secrets_present: For each secret that is needed, whether it can be read.
    """
    lines = [f"# configuration {configuration.hash} of {configuration.path}"]
    lines += _tables(configuration.site)
    lines.append("")
    for name, present in sorted(secrets_present.items()):
        word = "present (hidden)" if present else "missing"
        lines.append(f"# secret {name}: {word}")
    for quantity, checks in sorted(configuration.checks.items()):
        lines += ["", f"# quality checks: {quantity}"]
        lines += [f"#   {line}" for line in checks_lines(checks)]
    for species in sorted(configuration.library.species.values(), key=lambda s: s.id):
        provisional = species.id in configuration.library.provisional
        lines += _species(species, provisional=provisional)
    return "\n".join(lines)


def _tables(site: Model) -> Iterator[str]:
    for name, field in type(site).model_fields.items():
        key, value = field.alias or name, getattr(site, name)
        if isinstance(value, Model):
            yield from ("", f"[{key}]", *_keys(value))
        elif isinstance(value, tuple):
            for row in value:
                yield from ("", f"[[{key}]]", *_keys(row))


def _keys(table: Model) -> Iterator[str]:
    for name, field in type(table).model_fields.items():
        value = getattr(table, name)
        if value is not None and not _embedded_only(table, name):
            yield f"{field.alias or name} = {_value(value)}"


def _embedded_only(table: Model, name: str) -> bool:
    """The default of what a broker of one kind has no use for."""
    if name not in {"listen", "port"} or not hasattr(table, "embedded"):
        return False
    return (name == "listen") is not bool(table.embedded)


def _value(value: object) -> str:
    match value:
        case bool():
            text = "true" if value else "false"
        case enum.Enum():
            text = json.dumps(value.value)
        case str():
            text = json.dumps(value, ensure_ascii=False)
        case timedelta():
            text = json.dumps(format_span(value))
        case tuple():
            text = f"[{', '.join(_value(part) for part in value)}]"
        case dict():
            pairs = (f"{key} = {_value(part)}" for key, part in value.items())
            text = f"{{ {', '.join(pairs)} }}" if value else "{}"
        case Model():
            text = f"{{ {', '.join(_keys(value))} }}"
        case int() | float() | date():
            text = str(value)
        case _:
            raise TypeError(f"no form for {type(value).__name__}")
    return text


def _species(species: Species, *, provisional: bool) -> Iterator[str]:
    word = "provisional, of a template" if provisional else "species"
    yield ""
    yield f"# {word}: {species.id} ({species.species.name})"
    for stage in species.stages:
        for section in registry.SECTIONS:
            for table in stage.tables(section):
                for line in section.lines(table):
                    yield f"#   {stage.id}: {line}"
