"""A house that learns: one species from egg to adult, pupae under ground."""

from monitor.accounts.instruments import Instruments
from monitor.accounts.observing import Observer
from monitor.accounts.sightings import by_cohort, spans_of
from monitor.accounts.worker import AccountsWorker
from monitor.site.figures import Figure, Rule
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortStarted,
    Count,
)
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind
from tests.accounts.house import DAY, START, Declared, Told, heat, lasting, site, stage

WEEKLY = {"acts": ["look"], "due": [{"act": "look", "every": "7 d"}]}
DAILY = {"acts": ["look"], "due": [{"act": "look", "every": "1 d"}]}
HIDDEN = {"unseen": True}


def needs(mean, sd, **more):
    return heat(required_degree_days=[{"sex": "any", "mean": mean, "sd": sd}], **more)


def scarab(*, egg=None, **more):
    """Egg 200 +- 20, grub 600 +- 60, pupa 300 without a spread, adult 60 d."""
    pupa = heat(required_degree_days=[{"sex": "any", "mean": 300.0}])
    rows = [
        stage("egg", **needs(200.0, 20.0, **(egg or {}))) | WEEKLY,
        stage("grub", **needs(600.0, 60.0, driven_by="heat-earliest")) | WEEKLY,
        stage("pupa", **pupa) | HIDDEN,
        stage("adult", **lasting(("any", 60.0, 24.0), driven_by="time")) | DAILY,
    ]
    table = {"id": "scarab", "name": "Exemplum scarabaeus", "group": "scarab"} | more
    return Species.model_validate({"species": table, "stage": rows})


def library(species=None, *, provisional=()):
    return Library(
        species={"scarab": species or scarab()}, provisional=frozenset(provisional)
    )


class Story(Told):
    """What keepers noted, in days from START."""

    def __init__(self):
        super().__init__()
        self.tub(START - DAY)

    def begin(self, day, *, cohort=1, stage="egg", sex="any", count=12, colony=False):
        count = Count(CountKind.COUNTED, count) if isinstance(count, int) else count
        fact = CohortStarted(
            cohort, "scarab", stage, count, "tub-1", sex=sex, colony=colony
        )
        return self.tell(START + day * DAY, fact)

    def found(self, day, stage, *, cohort=1, last_seen=None, seen=True):
        after = None if last_seen is None else START + last_seen * DAY
        fact = CohortAdvanced(cohort, stage, seen=seen, not_before=after)
        return self.tell(START + day * DAY, fact)

    def counted(self, day, number, *, cohort=1, kind=CountKind.COUNTED):
        fact = CohortCounted(cohort, Count(kind, number))
        return self.tell(START + day * DAY, fact)

    def ended(self, day, reason="given away", *, cohort=1):
        return self.tell(START + day * DAY, CohortEnded(cohort, reason))

    def spans(self, day, *, of=None, cohort=1):
        """What is known of each stage on a day, by stage, in days from START."""
        now = START + day * DAY
        species = of or scarab()
        made = spans_of(
            self.house().cohorts[cohort],
            species,
            by_cohort(self.entries).get(cohort, ()),
            now=now,
        )
        return {span.stage: days(span) for span in made}


def days(span):
    """(begun after, begun by, ended after, ended by) in days from START."""
    ends = span.begun_after, span.begun_by, span.ended_after, span.ended_by
    return tuple(None if at is None else round((at - START) / DAY, 6) for at in ends)


def observed(memory, day, *, of=None):
    """What all cohorts needed, as known on a day."""
    now = START + day * DAY
    observer = Observer(
        Instruments(site(), memory.told.entries),
        of or library(),
        memory.told.house(),
        memory.readings,
        memory.account_days,
        now=now,
    )
    return observer.all(memory.told.entries)


def accounted(memory, day, *, of=None):
    """Bring the accounts up to a day, as the recorder would write them."""
    declared = Declared(site(), of or library())
    worker = AccountsWorker(memory, lambda: declared)
    memory.write(worker.run_once(START + day * DAY))
    return memory


def rule(lower, upper, cutoff):
    return Rule(lower, upper, cutoff, assumed_threshold=False)


RULE = rule(10.0, 30.0, "horizontal")


def figure(**changes):
    fields = {
        "species": "scarab",
        "name": "Exemplum scarabaeus",
        "stage": "egg",
        "sex": "any",
        "unit": "degC d",
        "rule": RULE,
        "n": 9,
        "worth": 8.5,
        "mean": 240.0,
        "sd": 24.0,
        "warmth_low": 23.0,
        "warmth_high": 25.0,
        "coverage": 0.98,
    }
    return Figure(**(fields | changes))
