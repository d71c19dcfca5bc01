"""What is allowed in a configuration, and still deserves a word."""

from collections.abc import Iterator

from monitor.site.checking import is_loopback
from monitor.site.load import Configuration
from monitor.site.references import NO_BROKER
from monitor.site.site_file import Site
from monitor.site.spans import format_span
from monitor.site.species_file import Library, Stage
from monitor.site.words import TEMPERATURES, Quantity, Role

FEW = 4


def warnings(configuration: Configuration) -> list[str]:
    """
    Tell what a keeper would want to know before the first night.

    Args:
        configuration: As loaded.

    Returns:
        One line each, the gravest first; empty where there is nothing to say.
    """
    site, library = configuration.site, configuration.library
    return [
        *_people(site),
        *_network(site),
        *_sensors(site),
        *_wildcards(site),
        *_places(site),
        *_checks(configuration),
        *_library(library),
        *_not_yet(site),
    ]


def _not_yet(site: Site) -> Iterator[str]:
    """Tables that are checked but that nothing uses in this version."""
    for name in ("mirror", "page"):
        if getattr(site, name) is not None:
            yield f"[{name}] is checked and kept, but this version has none yet"


def _people(site: Site) -> Iterator[str]:
    if not site.keepers:
        yield "there is no [[keeper]]: alarms reach nobody"
        return
    silent = [k.id for k in site.keepers if not k.channels]
    if silent:
        yield f"no channel reaches {_few(silent)}: give channels"
    if site.mail is None:
        yield "there is no [mail]: no notice or summary goes by mail"
    ringing = {c.id for c in site.channels if c.rings}
    rung = {k.id for k in site.keepers if ringing.intersection(k.channels)}
    if not rung:
        yield (
            "urgent alarms reach nobody who can be rung: mail wakes no sleeper; give a "
            "keeper a [[channel]] with rings = true"
        )
    if site.rota is None:
        yield (
            "there is no [rota]: the first keeper is on call day and night"
            if any(k.role in {Role.KEEPER, Role.ADMINISTRATOR} for k in site.keepers)
            else "nobody is on call: add a [rota], or a keeper who is no cover"
        )
        return
    if site.rota.fallback is None:
        yield "the rota has no fallback: name who is told when nobody answers"
    asleep = [name for name in dict.fromkeys(site.rota.order) if name not in rung]
    if rung and asleep:
        yield f"cannot be rung while on call: {_few(asleep)}"


def _network(site: Site) -> Iterator[str]:
    broker = site.broker
    if broker is None:
        yield f"there is no [broker], which run needs: write {NO_BROKER}"
    elif broker.embedded:
        yield (
            "the embedded broker keeps nothing over a restart and asks for no "
            "password: for a trial, not for animals"
        )
    elif not is_loopback(broker.host or "") and broker.tls is False:
        yield (
            f"readings{' and the password' if broker.username else ''} go to "
            f"{broker.host} in the clear: set tls"
        )
    elif broker.username is None:
        yield "the broker asks for no login: anybody on its network can send readings"


def _sensors(site: Site) -> Iterator[str]:
    if not site.sensors:
        yield "there is no [[sensor]]: nothing is measured"
    untimed = [s.id for s in site.sensors if s.pointer and not s.name_in_pack]
    if untimed:
        yield (
            f"payloads read by pointer may carry no time: {_few(untimed)}; without a "
            '"time" beside the value what queues while the monitor is down cannot be '
            'dated. Send {"value": ..., "time": ...} or SenML where the device can'
        )


def _wildcards(site: Site) -> Iterator[str]:
    for sensor in site.sensors:
        topic = sensor.topic or ""
        if ("+" in topic or "#" in topic) and not sensor.name_in_pack:
            yield (
                f"sensor {sensor.id} listens to {topic}, which fits several devices: "
                "while two speak at once neither is believed; give each device a "
                "[[sensor]] with its own topic, or its full name_in_pack"
            )


def _places(site: Site) -> Iterator[str]:
    parents = {s.id: s.room for s in site.shelves}
    parents |= {e.id: e.place for e in site.enclosures}
    measured = {(s.place, s.quantity) for s in site.sensors}
    for limit in site.limits:
        chain = [limit.place]
        while chain[-1] in parents:
            chain.append(parents[chain[-1]])
        quantities = {limit.quantity}
        if limit.quantity is Quantity.SUBSTRATE_TEMPERATURE:
            quantities |= TEMPERATURES
        if not any((place, q) in measured for place in chain for q in quantities):
            yield (
                f"the limit of {limit.quantity} in {limit.place} has no sensor: "
                "it never alarms"
            )


def _checks(configuration: Configuration) -> Iterator[str]:
    """A gap shorter than the interval leaves nothing that looks back in force."""
    for quantity, checks in sorted(configuration.checks.items()):
        slow = [
            s.id
            for s in configuration.site.sensors
            if s.quantity is quantity and checks.gap and s.interval > checks.gap.longest
        ]
        if checks.gap and slow:
            yield (
                f"checks/{quantity}.toml: gap.longest, "
                f"{format_span(checks.gap.longest)}, is shorter than the interval of "
                f"{_few(slow)}: each of their readings comes after a gap"
            )


def _library(library: Library) -> Iterator[str]:
    if not library.species:
        yield "the library is empty: no cohort can be started"
    for species in sorted(library.species.values(), key=lambda s: s.id):
        mute = [s.id for s in species.stages if not _can_alarm(s)]
        if mute:
            yield f"{species.id}: no tolerated band, so no alarm, for {_few(mute)}"
        half = [
            f"{stage.id} {band.quantity}"
            for stage in species.stages
            for band in stage.bands
            if band.tolerated is None and _can_alarm(stage)
        ]
        if half:
            yield (
                f"{species.id}: a band without tolerated alarms late or never: "
                f"{_few(half)}"
            )
    provisional = sorted(library.provisional)
    if provisional:
        yield (
            f"provisional, from templates: {_few(provisional)}; find the needs of the "
            "species itself soon"
        )


def _can_alarm(stage: Stage) -> bool:
    return any(
        limits.tolerated or limits.danger
        for band in stage.bands
        for limits in (band.limits(night=False), band.limits(night=True))
    )


def _few(names: list[str]) -> str:
    shown = ", ".join(names[:FEW])
    return shown if len(names) <= FEW else f"{shown} and {len(names) - FEW} more"
