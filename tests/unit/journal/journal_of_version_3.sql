BEGIN TRANSACTION;
CREATE TABLE alarms (           -- every change of every alarm
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL, brooder TEXT, alarm TEXT NOT NULL, change TEXT NOT NULL,
    priority TEXT NOT NULL, cause TEXT NOT NULL, probe TEXT,
    occurrence TEXT NOT NULL,   -- the same from raised to cleared
    facts TEXT NOT NULL,        -- JSON: the numbers behind it
    UNIQUE (occurrence, change, at_ms));
INSERT INTO "alarms" VALUES(1,1770685202000,'porch','cold','raised','warning','unknown','porch/floor','cold/1','{"temp_c":30.5}');
CREATE TABLE bad_values (       -- what no floor can have
    at_ms INTEGER NOT NULL, probe_id INTEGER NOT NULL, nth INTEGER NOT NULL,
    temp_c REAL, reason TEXT NOT NULL,
    PRIMARY KEY (at_ms, probe_id, nth)) WITHOUT ROWID;
INSERT INTO "bad_values" VALUES(1770685201000,1,0,85.0,'85.0 at power-up');
CREATE TABLE changed_hours (    -- by which commit an hour (since 1970) of a probe grew last
    hour INTEGER NOT NULL, probe_id INTEGER NOT NULL, seq INTEGER NOT NULL,
    PRIMARY KEY (hour, probe_id)) WITHOUT ROWID;
CREATE TABLE commits (          -- the engine's inputs since the last snapshot, in their order
    seq INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL, tick_ms INTEGER NOT NULL,  -- how far time had been advanced
    inputs BLOB NOT NULL,       -- compressed JSON, see `writing`
    marks BLOB);
INSERT INTO "commits" VALUES(1,1770685202000,1770685202000,X'789C8B8E564ACD2B29AA54D2D135323030809286B13AD1862822C6C67A066646A6107143B038983436D003092A2525A628A14818EA285998EA192824962814E497A716E9961628E980446263010AB21AF3',X'3132333435363738');
INSERT INTO "commits" VALUES(2,1770685240000,1770685240000,X'789C8B8E36D4D135363730308051C6067A06B1B10041010535',NULL);
CREATE TABLE cursors (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "cursors" VALUES('mirror','{"seq":1}');
CREATE TABLE deliveries (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL, contact TEXT NOT NULL,
    tried_ms INTEGER NOT NULL, late_ms INTEGER NOT NULL, failure TEXT);
INSERT INTO "deliveries" VALUES(1,'cold/1','me',1770685203000,3000,'no route');
INSERT INTO "deliveries" VALUES(2,'cold/1','me',1770685233000,33000,NULL);
CREATE TABLE derived (          -- target_c, low_c, rise_k, ... of a brooder: the names say the unit
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL, brooder TEXT NOT NULL, name TEXT NOT NULL, value REAL NOT NULL);
INSERT INTO "derived" VALUES(1,1770685200000,'porch','target_c',35.0);
CREATE TABLE entries (          -- the ledger, and the acts on alarms
    number INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,    -- the entry's own, in whatever journal it is
    at_ms INTEGER NOT NULL, entry TEXT NOT NULL, brooder TEXT,
    count INTEGER, hatched TEXT, kind TEXT, note TEXT, alarm TEXT, probe TEXT, minutes REAL,
    undoes_id TEXT, by TEXT);
INSERT INTO "entries" VALUES(1,'00000001f77d0e894b9d2d0646d73b29',1770685200000,'placed','porch',100,'2026-02-09','broiler',NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE ledger_lines (     -- each entry once more, as its journal line: see `salvage`
    number INTEGER PRIMARY KEY, line TEXT NOT NULL);
INSERT INTO "ledger_lines" VALUES(1,'{"at":"2026-02-10T01:00:00Z","entry":"placed","brooder":"porch","number":1,"count":100,"hatched":"2026-02-09","kind":"broiler","id":"00000001f77d0e894b9d2d0646d73b29"}
');
CREATE TABLE meta (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
INSERT INTO "meta" VALUES('meters','[]');
INSERT INTO "meta" VALUES('views','UTC fahrenheit');
CREATE TABLE outbox (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL, contact TEXT NOT NULL,
    at_ms INTEGER NOT NULL, priority TEXT NOT NULL, message TEXT NOT NULL,
    state TEXT NOT NULL, tries INTEGER NOT NULL, next_try_ms INTEGER,
    UNIQUE (key, contact));
INSERT INTO "outbox" VALUES(1,'cold/1','me',1770685200000,'urgent','{"title":"porch: cold"}','sent',2,NULL);
INSERT INTO "outbox" VALUES(2,'cold/2','me',1770685240000,'urgent','{"title":"porch: still cold"}','pending',0,NULL);
CREATE TABLE probes (           -- as configured, and once more for each time that was changed
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL,          -- brooder/name, or site/name of an outside probe
    brooder TEXT, topic TEXT, place TEXT, unit TEXT,
    value_pointer TEXT, time_pointer TEXT, senml_name TEXT, offset_c REAL);
INSERT INTO "probes" VALUES(1,'porch/floor','porch','brooder/porch/floor','floor','celsius',NULL,NULL,NULL,0.0);
CREATE TABLE readings (         -- in order of time
    id INTEGER PRIMARY KEY,     -- its at_ms and, in the last six digits, which of that millisecond
    at_ms INTEGER GENERATED ALWAYS AS (id / 1000000) VIRTUAL,  -- Unix time (UTC) in milliseconds
    probe_id INTEGER NOT NULL,
    temp_c REAL NOT NULL,
    clock_sure INTEGER NOT NULL);
INSERT INTO "readings" VALUES(1770685200000000000,1,33.0625,1);
INSERT INTO "readings" VALUES(1770685201000000000,1,30.5,1);
INSERT INTO "readings" VALUES(1770685203000000000,1,30.0,1);
CREATE TABLE refused (          -- no longer written: the next form is without it
    topic TEXT NOT NULL, reason TEXT NOT NULL,
    count INTEGER NOT NULL, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL, excerpt TEXT,
    PRIMARY KEY (topic, reason)) WITHOUT ROWID;
INSERT INTO "refused" VALUES('x/y','no number',3,1,2,'abc');
CREATE TABLE snapshots (
    name TEXT PRIMARY KEY, seq INTEGER NOT NULL,
    at_ms INTEGER NOT NULL, tick_ms INTEGER NOT NULL, state BLOB NOT NULL);
INSERT INTO "snapshots" VALUES('engine',1,1770685202000,1770685202000,X'789CAB56CA53B232AC0500086B0216');
CREATE TABLE utc_offsets (      -- of the site's zone, for the views in local time
    from_ms INTEGER PRIMARY KEY, offset_s INTEGER NOT NULL);
INSERT INTO "utc_offsets" VALUES(0,0);
CREATE INDEX alarms_by_time ON alarms (at_ms);
CREATE INDEX derived_by_name ON derived (brooder, name, at_ms);
CREATE INDEX outbox_pending ON outbox (state) WHERE state = 'pending';
CREATE INDEX deliveries_by_time ON deliveries (tried_ms);
CREATE INDEX changed_hours_by_seq ON changed_hours (seq);
CREATE VIEW readings_local AS SELECT strftime('%Y-%m-%d %H:%M:%S', at_ms / 1000 + (SELECT offset_s FROM utc_offsets WHERE from_ms <= at_ms ORDER BY from_ms DESC LIMIT 1), 'unixepoch') AS local_time, p.brooder, p.key AS probe, p.place, round(temp_c * 1.8 + 32, 2) AS temp_f FROM readings JOIN probes AS p ON p.id = probe_id WHERE clock_sure;
CREATE VIEW alarms_local AS SELECT strftime('%Y-%m-%d %H:%M:%S', at_ms / 1000 + (SELECT offset_s FROM utc_offsets WHERE from_ms <= at_ms ORDER BY from_ms DESC LIMIT 1), 'unixepoch') AS local_time, brooder, alarm, change, priority, cause, probe, round(json_extract(facts, '$.temp_c') * 1.8 + 32, 2) AS temp_f FROM alarms;
CREATE VIEW entries_local AS SELECT strftime('%Y-%m-%d %H:%M:%S', at_ms / 1000 + (SELECT offset_s FROM utc_offsets WHERE from_ms <= at_ms ORDER BY from_ms DESC LIMIT 1), 'unixepoch') AS local_time, number, brooder, entry, count, hatched, kind, note, EXISTS (SELECT 1 FROM entries AS u WHERE u.undoes_id = e.id) AS taken_back, by FROM entries AS e;
COMMIT;
PRAGMA user_version = 3;
