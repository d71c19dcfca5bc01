"""Every section of the summary, in order; adding one is a file and a line here."""

from typing import Any

from monitor.summary.section import Section
from monitor.summary.sections.alarms import ALARMS
from monitor.summary.sections.cohorts import COHORTS
from monitor.summary.sections.conditions import CONDITIONS
from monitor.summary.sections.forecasts import FORECASTS
from monitor.summary.sections.keeping import KEEPING
from monitor.summary.sections.sensors import SENSORS

SECTIONS: tuple[Section[Any], ...] = (
    ALARMS,
    CONDITIONS,
    COHORTS,
    FORECASTS,
    SENSORS,
    KEEPING,
)
