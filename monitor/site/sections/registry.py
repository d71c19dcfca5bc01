"""Every section of a stage in a species file; adding one is a file and a line here."""

from typing import Any

from monitor.site.sections.bands import BANDS
from monitor.site.sections.development import DEVELOPMENT
from monitor.site.sections.section import Section

SECTIONS: tuple[Section[Any], ...] = (
    BANDS,
    DEVELOPMENT,
)
