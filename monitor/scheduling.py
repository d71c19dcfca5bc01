"""The scheduler: one interval job that asks what is due (A1 to A11)."""

import logging
from collections.abc import Callable
from datetime import UTC

from apscheduler.events import (
    EVENT_JOB_ERROR,
    EVENT_JOB_MAX_INSTANCES,
    EVENT_JOB_MISSED,
    JobExecutionEvent,
)
from apscheduler.schedulers.background import BackgroundScheduler

from monitor.logs import Counted

log = logging.getLogger(__name__)


def scheduled(work: Callable[[], None], *, every_s: float) -> BackgroundScheduler:
    """
    Start a scheduler that does one piece of work again and again.

    It keeps nothing: what was done stands in the store, by key (A7, A8). A run that
    is late is run all the same (A1), several late ones are one, and none begins while
    another lasts.

    Args:
        work: What raises here is logged and counted; the next run comes.
        every_s: Real seconds between two runs.
    """
    # the library logs each run as it begins and ends
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    scheduler = BackgroundScheduler(
        timezone=UTC,
        job_defaults={
            "misfire_grace_time": None,
            "coalesce": True,
            "max_instances": 1,
        },
    )
    counted = Counted(log)

    def told(event: JobExecutionEvent) -> None:
        reason = repr(event.exception) if event.code == EVENT_JOB_ERROR else ""
        counted.again("chores did not run well", code=event.code, reason=reason)

    scheduler.add_listener(
        told, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES
    )
    scheduler.add_job(work, "interval", seconds=every_s, id="chores")
    scheduler.start()
    return scheduler
