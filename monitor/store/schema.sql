-- The store of the rearing monitor, schema 1. Instants are integer microseconds
-- since 1970-01-01 UTC (Q11), days are whole UTC days since then. Every table is
-- STRICT, so that text never ends up in the arithmetic (Q9).

CREATE TABLE meta (
  key TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE counter (
  name TEXT PRIMARY KEY CHECK (name <> ''),
  value INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE series (
  id INTEGER PRIMARY KEY,
  sensor TEXT NOT NULL CHECK (sensor <> ''),
  quantity TEXT NOT NULL CHECK (quantity <> ''),
  UNIQUE (sensor, quantity)
) STRICT;

-- Readings in order of arrival. No index: one would write a page per reading.
-- The writer refuses repeats before they come here.
CREATE TABLE reading_log (
  id INTEGER PRIMARY KEY,
  ts_us INTEGER NOT NULL
    CHECK (ts_us BETWEEN -62135596800000000 AND 253402300799999999),
  series INTEGER NOT NULL REFERENCES series (id),
  value REAL NOT NULL
    CHECK (value BETWEEN -1.7976931348623157e308 AND 1.7976931348623157e308)
) STRICT;

-- A sealed day of one series; blob as in monitor/store/piece.py. sum is NULL where
-- it exceeds what a REAL holds.
CREATE TABLE piece (
  series INTEGER NOT NULL REFERENCES series (id),
  day INTEGER NOT NULL CHECK (day BETWEEN -719162 AND 2932896),
  n INTEGER NOT NULL CHECK (n > 0),
  min REAL NOT NULL,
  max REAL NOT NULL CHECK (min <= max),
  sum REAL,
  first_us INTEGER NOT NULL,
  last_us INTEGER NOT NULL,
  blob BLOB NOT NULL,
  PRIMARY KEY (series, day),
  CHECK (day * 86400000000 <= first_us AND first_us <= last_us
    AND last_us < (day + 1) * 86400000000)
) STRICT, WITHOUT ROWID;

-- The newest reading of each series as of the log row in meta 'latest_upto'.
CREATE TABLE latest (
  series INTEGER PRIMARY KEY REFERENCES series (id),
  ts_us INTEGER NOT NULL,
  value REAL NOT NULL
) STRICT;

-- Days that got a reading after they were over; mark grows with each new one.
CREATE TABLE series_stale (
  series INTEGER NOT NULL REFERENCES series (id),
  day INTEGER NOT NULL,
  mark INTEGER NOT NULL,
  PRIMARY KEY (series, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE journal (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  happened_us INTEGER NOT NULL,
  entered_us INTEGER NOT NULL,
  by TEXT NOT NULL CHECK (by <> ''),
  kind TEXT NOT NULL CHECK (kind <> ''),
  body TEXT NOT NULL CHECK (json_valid(body)),
  note TEXT NOT NULL
) STRICT;

CREATE TRIGGER journal_keeps BEFORE UPDATE ON journal
BEGIN SELECT raise(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER journal_stays BEFORE DELETE ON journal
BEGIN SELECT raise(ABORT, 'the journal is append-only'); END;

CREATE TABLE alarm (
  id INTEGER PRIMARY KEY CHECK (id > 0),
  thing TEXT NOT NULL CHECK (thing <> ''),
  kind TEXT NOT NULL CHECK (kind <> ''),
  quantity TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state <> ''),
  priority TEXT NOT NULL CHECK (priority IN ('urgent', 'prompt', 'note')),
  raised_us INTEGER NOT NULL,
  closed_us INTEGER,
  body TEXT NOT NULL CHECK (json_valid(body))
) STRICT;

CREATE INDEX alarm_open ON alarm (id) WHERE closed_us IS NULL;

CREATE TABLE alarm_change (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  alarm INTEGER NOT NULL REFERENCES alarm (id),
  at_us INTEGER NOT NULL,
  event TEXT NOT NULL CHECK (event <> ''),
  by TEXT NOT NULL,
  note TEXT NOT NULL,
  body TEXT NOT NULL CHECK (json_valid(body))
) STRICT;

CREATE INDEX alarm_change_of ON alarm_change (alarm);

CREATE TRIGGER alarm_change_keeps BEFORE UPDATE ON alarm_change
BEGIN SELECT raise(ABORT, 'changes of alarms are append-only'); END;
CREATE TRIGGER alarm_change_stays BEFORE DELETE ON alarm_change
BEGIN SELECT raise(ABORT, 'changes of alarms are append-only'); END;

-- From at_us on a cohort was taken to be perhaps in these unseen stages, [] for none.
-- Recorded, not computed anew: a forecast of the past depends on what was known then.
CREATE TABLE perhaps (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  at_us INTEGER NOT NULL,
  cohort INTEGER NOT NULL CHECK (cohort > 0),
  stages TEXT NOT NULL CHECK (json_valid(stages) AND json_type(stages) = 'array')
) STRICT;

CREATE TRIGGER perhaps_keeps BEFORE UPDATE ON perhaps
BEGIN SELECT raise(ABORT, 'what was taken up is append-only'); END;
CREATE TRIGGER perhaps_stays BEFORE DELETE ON perhaps
BEGIN SELECT raise(ABORT, 'what was taken up is append-only'); END;

-- The outbox. An id is never used again: it is part of the Message-ID.
CREATE TABLE notice (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  keeper TEXT NOT NULL CHECK (keeper <> ''),
  why TEXT NOT NULL,
  priority TEXT NOT NULL CHECK (priority IN ('urgent', 'prompt', 'note')),
  alarms TEXT NOT NULL CHECK (json_valid(alarms)),
  created_us INTEGER NOT NULL,
  subject TEXT NOT NULL,
  short TEXT NOT NULL,
  long TEXT NOT NULL,
  html TEXT NOT NULL,
  pictures TEXT NOT NULL DEFAULT '',
  state TEXT NOT NULL DEFAULT 'waiting'
    CHECK (state IN ('waiting', 'sent', 'failed')),
  channel INTEGER NOT NULL DEFAULT 0 CHECK (channel >= 0),
  attempts INTEGER NOT NULL DEFAULT 0 CHECK (attempts >= 0),
  next_try_us INTEGER,
  sent_us INTEGER,
  last_error TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE INDEX notice_waiting ON notice (id) WHERE state = 'waiting';

-- What comes once a period and was done: "summary/2026-W09", "backup/2026-03-02".
CREATE TABLE done (
  key TEXT PRIMARY KEY CHECK (key <> ''),
  at_us INTEGER NOT NULL,
  detail TEXT NOT NULL DEFAULT ''
) STRICT, WITHOUT ROWID;

CREATE TABLE quarantine (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  at_us INTEGER NOT NULL,
  topic TEXT NOT NULL,
  reason TEXT NOT NULL,
  payload BLOB NOT NULL CHECK (length(payload) <= 512),
  size INTEGER NOT NULL CHECK (size >= length(payload))
) STRICT;

CREATE TABLE state_record (
  key TEXT PRIMARY KEY CHECK (key <> ''),
  version INTEGER NOT NULL,
  body BLOB NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE configuration (
  hash TEXT PRIMARY KEY CHECK (hash <> ''),
  at_us INTEGER NOT NULL,
  body TEXT NOT NULL
) STRICT;

CREATE TABLE account_day (
  cohort INTEGER NOT NULL,
  stage TEXT NOT NULL CHECK (stage <> ''),
  day INTEGER NOT NULL,
  body BLOB NOT NULL,
  PRIMARY KEY (cohort, stage, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE stale_day (
  cohort INTEGER NOT NULL,
  day INTEGER NOT NULL,
  mark INTEGER NOT NULL,
  PRIMARY KEY (cohort, day)
) STRICT, WITHOUT ROWID;
