"""Read the directory of configuration: site, species, templates, sources, checks."""

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import monitor
from monitor.errors import ConfigError
from monitor.science.quality import Checks
from monitor.site.checks_file import quantity_of, read_checks
from monitor.site.mending import complaint, validated
from monitor.site.model import Problem
from monitor.site.references import NO_BROKER
from monitor.site.site_file import Broker, Site
from monitor.site.species_file import Library, SourceEntry, Species, source_problems
from monitor.site.words import Quantity

HASH_LENGTH = 12


@dataclass(frozen=True, slots=True)
class Configuration:
    """
    All that is declared, proved and at one moment.

    Attributes:
        site: site.toml.
        library: Species and templates.
        sources: sources.toml, by id.
        path: The directory of site.toml.
        hash: First 12 hexadecimal digits of SHA-256 over all files.
        text: The text of every file, by its name within the directory.
        checks: Quality checks that the house declares, by quantity; what is checked in
            the end, known failure values too, gives `checks_file.checks_for`.
    """

    site: Site
    library: Library
    sources: Mapping[str, SourceEntry]
    path: Path
    hash: str
    text: dict[str, str] = field(repr=False)
    checks: Mapping[Quantity, Checks] = field(default_factory=dict)


def shipped() -> Path:
    """The library that comes with the program: in the wheel, else in the checkout."""
    package = Path(monitor.__file__).parent
    packed = package / "config"
    return packed if packed.is_dir() else package.parent / "config"


def load(config_dir: Path) -> Configuration:
    """
    Read and prove a whole configuration.

    A directory ``species`` beside site.toml is the whole library, not an addition to
    the shipped one; the same holds for ``templates`` and ``sources.toml`` (C4).
    Without a directory ``checks`` there are none: their limits are the house's own.

    Args:
        config_dir: The directory of site.toml.

    Raises:
        ConfigError: If a file is missing, unreadable or wrong; one line that says
            which, where, what and the mend.
    """
    files: dict[str, bytes] = {}
    site = _site(config_dir, files)
    sources = _sources(config_dir, files)
    species = _species("species", config_dir, files, sources)
    templates = _species("templates", config_dir, files, sources)
    twice = sorted(species.keys() & templates.keys())
    if twice:
        raise ConfigError(
            f'templates: the id "{twice[0]}" is that of a species too: rename one'
        )
    library = Library(
        species={**species, **templates}, provisional=frozenset(templates)
    )
    checks = _checks(config_dir, files)
    digest = hashlib.sha256()
    for name, content in sorted(files.items()):
        digest.update(f"{name}\0{len(content)}\0".encode())
        digest.update(content)
    return Configuration(
        site=site,
        library=library,
        sources=sources,
        path=config_dir,
        hash=digest.hexdigest()[:HASH_LENGTH],
        text={name: content.decode("utf-8-sig") for name, content in files.items()},
        checks=checks,
    )


def load_checks(path: Path) -> Checks:
    """
    Read and prove one file of quality checks, wherever it lies.

    Raises:
        ConfigError: If it is missing, unreadable or wrong; one line that says where,
            what and the mend.
    """
    return read_checks(_read(path, str(path), {}), str(path))


def require_broker(configuration: Configuration) -> Broker:
    """
    Give the broker that `run` needs.

    Raises:
        ConfigError: If site.toml names none; tells both choices.
    """
    broker = configuration.site.broker
    if broker is None:
        raise ConfigError(f"site.toml: there is no [broker]: write {NO_BROKER}")
    return broker


def _site(config_dir: Path, files: dict[str, bytes]) -> Site:
    path = config_dir / "site.toml"
    if not path.exists():
        raise ConfigError(
            f"{path}: there is no such file: give --config DIR or set REARING_CONFIG"
        )
    data = _read(path, "site.toml", files)
    site = validated(Site, data, "site.toml")
    broker = site.broker
    if broker is not None and isinstance(broker.tls, str):
        # a path in a file is seen from that file, not from where the daemon starts
        tls = str(config_dir.absolute() / broker.tls)
        here = broker.model_copy(update={"tls": tls})
        return site.model_copy(update={"broker": here})
    return site


def _sources(config_dir: Path, files: dict[str, bytes]) -> dict[str, SourceEntry]:
    name = "sources.toml"
    path = config_dir / name
    path = path if path.exists() else shipped() / name
    found: dict[str, SourceEntry] = {}
    for key, table in _read(path, name, files).items():
        if not isinstance(table, dict):
            raise ConfigError(
                f"{name}: {key}: is no table: write [{key}] above its keys"
            )
        found[key] = validated(SourceEntry, table, f"{name}: [{key}]")
    return found


def _species(
    folder: str,
    config_dir: Path,
    files: dict[str, bytes],
    sources: Mapping[str, SourceEntry],
) -> dict[str, Species]:
    own = config_dir / folder
    found: dict[str, Species] = {}
    for path in _tomls(own if own.exists() else shipped() / folder):
        name = f"{folder}/{path.name}"
        data = _read(path, name, files)
        species = validated(Species, data, name)
        problems = source_problems(species, frozenset(sources))
        if species.id in found:
            text = f'"{species.id}" is the id of another file too: rename one'
            problems.append(Problem(("species", "id"), text))
        if problems:
            raise complaint(name, data, problems)
        found[species.id] = species
    return found


def _checks(config_dir: Path, files: dict[str, bytes]) -> dict[Quantity, Checks]:
    folder = config_dir / "checks"
    found: dict[Quantity, Checks] = {}
    for path in _tomls(folder) if folder.exists() else ():
        name = f"checks/{path.name}"
        quantity = quantity_of(path.stem, name)
        found[quantity] = read_checks(_read(path, name, files), name)
    return found


def _tomls(folder: Path) -> list[Path]:
    try:
        return sorted(p for p in folder.iterdir() if p.suffix == ".toml")
    except OSError as error:
        raise ConfigError(
            f"{folder}: cannot be read ({error.strerror}): make it a readable directory"
        ) from None


def _read(path: Path, name: str, files: dict[str, bytes]) -> dict[str, Any]:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise ConfigError(
            f"{path}: cannot be read ({error.strerror}): make it a file that this "
            "user may read"
        ) from None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise ConfigError(
            f"{name}: line {line}: byte 0x{content[error.start]:02x} is no UTF-8: save "
            "the file as UTF-8"
        ) from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(f"{name}: is no TOML: {error}: mend that line") from None
    except (RecursionError, ValueError) as error:
        raise ConfigError(f"{name}: is no TOML: {type(error).__name__}") from None
    files[name] = content
    return data
