"""Every other part of the week as HTML, and the registry of them all."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from monitor.site.words import Priority
from monitor.summary.findings import heard_words
from monitor.summary.letter import TO_LOOK_AT
from monitor.summary.pages.markup import (
    card,
    folded_away,
    heading,
    items,
    pairs,
    paragraph,
    table,
)
from monitor.summary.pages.places import conditions
from monitor.summary.pages.telling import DEGREE, Telling
from monitor.summary.section import Section
from monitor.summary.sections import alarms, cohorts, keeping, sensors
from monitor.summary.sections.alarms import ALARMS, AlarmFigures
from monitor.summary.sections.cohorts import COHORTS, CohortFigures, Group
from monitor.summary.sections.conditions import CONDITIONS
from monitor.summary.sections.keeping import KEEPING
from monitor.summary.sections.sensors import SENSORS, is_bad
from monitor.summary.words import many, percent

Render = Callable[[Any, Telling], str]

TONE = {Priority.URGENT: "urgent", Priority.PROMPT: "prompt", Priority.NOTE: "note"}


def part(section: Section[Any], figures: Any, telling: Telling) -> str:  # noqa: ANN401
    """A section under its heading; one that nobody has laid out shows its text."""
    laid = RENDERERS.get(section.id)
    inner = laid(figures, telling) if laid else _as_text(section, figures, telling)
    return heading(2, section.title) + inner


def _as_text(section: Section[Any], figures: Any, telling: Telling) -> str:  # noqa: ANN401
    lines = (section.brief or section.text)(figures)
    shown = lines[: telling.detail.groups]
    hidden = len(lines) - len(shown)
    more = [f"and {hidden} more lines on {telling.page}"] if hidden else []
    return card("".join(paragraph(line.strip()) for line in [*shown, *more]))


def look(telling: Telling) -> str:
    """What asks for a look, the worst first."""
    shown = telling.found[: telling.detail.look]
    inner = pairs((f.where, f.what) for f in shown) or paragraph("Nothing.")
    hidden = len(telling.found) - len(shown)
    more = paragraph(f"and {hidden} more on {telling.page}") if hidden else ""
    return heading(2, TO_LOOK_AT) + card(inner + more, "out" if shown else "")


def _alarms(told: alarms.Figures, telling: Telling) -> str:
    if not told.alarms:
        return card(paragraph("No alarm."))
    full = told.alarms[: telling.detail.alarms]
    rest = told.alarms[telling.detail.alarms :]
    lines = rest[: telling.detail.lines]
    cards = "".join(_alarm(alarm, told.time_zone) for alarm in full)
    said = items(f"{_head(a)}: {a.where}: {alarms.matter(a)}" for a in lines)
    hidden = len(rest) - len(lines)
    more = paragraph(f"and {hidden} more on {telling.page}") if hidden else ""
    return card(paragraph(alarms.in_all(told))) + cards + card(said + more)


def _head(alarm: AlarmFigures) -> str:
    return f"{alarm.priority}, {alarms.mark(alarm)} · alarm {alarm.id}"


def _alarm(alarm: AlarmFigures, zone: str) -> str:
    tone = TONE[alarm.priority] if alarm.standing else "over"
    return card(
        paragraph(_head(alarm), "word")
        + heading(3, f"{alarm.where}: {alarms.matter(alarm)}")
        + paragraph(alarms.course(alarm, zone, DEGREE))
        + paragraph(alarms.answered(alarm))
        + paragraph(alarm.detail),
        tone,
    )


def _cohorts(told: cohorts.Figures, telling: Telling) -> str:
    if not told.groups:
        inner = paragraph("No cohort is followed.")
    else:
        shown = told.groups[: telling.detail.groups]
        inner = paragraph(cohorts.stock(told)) + table(
            ("species, stage", "cohorts", "animals", "weeks in stage", "measured"),
            map(_group, shown),
        )
        hidden = len(told.groups) - len(shown)
        if hidden:
            inner += paragraph(f"and {hidden} more stages on {telling.page}")
    inner += items(cohorts.unseen(told))
    ended = [c for c in told.cohorts if c.ended_as is not None]
    inner += items(map(cohorts.left, ended[: telling.detail.sensors]))
    if telling.detail.all_cohorts:
        inner += folded_away("Every cohort", _every(told.cohorts))
    return card(inner)


def _group(group: Group) -> tuple[str, ...]:
    known = " (provisional)" if group.provisional else ""
    animals = [str(group.animals)] if group.animals else []
    if group.colonies:
        animals.append(many(group.colonies, "colony", "colonies"))
    return (
        f"{group.name}{known}, {group.stage}",
        str(group.cohorts),
        ", ".join(animals) or "-",
        cohorts.weeks_of(group).removesuffix(" weeks"),
        percent(group.covered),
    )


def _every(told: Iterable[CohortFigures]) -> str:
    return table(
        ("cohort", "place", "animals", "weeks in stage", "degree-days", "measured"),
        (
            (
                f"{c.id} {c.name} {c.stage}",
                c.place,
                "colony" if c.count is None else str(c.count),
                f"{c.weeks_in_stage:.1f}",
                _warmth(c),
                percent(c.heat.coverage if c.heat else None),
            )
            for c in told
        ),
    )


def _warmth(cohort: CohortFigures) -> str:
    heat = cohort.heat
    if heat is None or heat.assumed_threshold:
        return "-"
    need = "" if heat.required is None else f" of {heat.required:.0f}"
    return f"{heat.degree_days:.0f}{need}"


def _sensors(told: sensors.Figures, telling: Telling) -> str:
    bad = [s for s in told.sensors if is_bad(s)]
    shown = bad[: telling.detail.sensors]
    inner = items(sensors.unheard_lines(told)) + pairs(
        (f"{s.sensor} ({s.where})", f"{heard_words(s)}{_since(s, told)}") for s in shown
    )
    hidden = len(bad) - len(shown)
    if hidden:
        inner += paragraph(f"and {hidden} more on {telling.page}")
    lines = sensors.well_heard(told), *sensors.refused_lines(told.refused)
    return card(inner + "".join(paragraph(line.strip()) for line in lines))


def _since(sensor: sensors.SensorFigures, told: sensors.Figures) -> str:
    silent = sensor.n and not sensors.is_sparse(sensor)
    return f", from {sensors.silent_since(sensor, told)}" if silent else ""


def _keeping(told: keeping.Figures, telling: Telling) -> str:
    del telling
    return card("".join(paragraph(said) for said in keeping.sentences(told)))


RENDERERS: Mapping[str, Render] = {
    ALARMS.id: _alarms,
    CONDITIONS.id: conditions,
    COHORTS.id: _cohorts,
    SENSORS.id: _sensors,
    KEEPING.id: _keeping,
}
