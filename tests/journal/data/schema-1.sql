-- A journal of schema 1 as it was released, with one record of every kind: `.dump` of SQLite, and its two numbers.
PRAGMA application_id = 1399998068;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
);
INSERT INTO "_sqlite_migrations" VALUES(1,'surefoot-journal','schema 1','2026-11-25 03:13:56.858525+00:00');
CREATE TABLE applications (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        setting TEXT NOT NULL
    );
INSERT INTO "applications" VALUES(1,1,'2026-11-25T03:13:56.935611+00:00','{"cpu-core": -50.0}');
CREATE TABLE cards (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        event TEXT NOT NULL CHECK (event IN ('add', 'revise', 'retire', 'restore')),
        card TEXT CHECK ((card IS NULL) = (event IN ('retire', 'restore')))
    );
INSERT INTO "cards" VALUES(1,'shoebox-3','2026-11-25T00:00:00.000000+00:00','add','{"name":"shoebox-3","parts":{},"firmware":"1.14","driver":null,"cooling":null,"power_mode":null,"supply":null,"supply_watts":null,"ceilings_celsius":{"cpu":95.0},"power_limits_watts":{},"knobs":[{"name":"cpu-core","domain":"cpu","unit":"mV","toward":"down","step":5.0,"limit":250.0,"load":null,"linked_to":null},{"name":"gpu-core","domain":"gpu","unit":"MHz","toward":"up","step":15.0,"limit":300.0,"load":null,"linked_to":null}],"hands":{"kind":"ask","apply":[],"read_back":[],"timeout_seconds":30.0},"loads":[],"goal":{"mttf_hours":100.0,"confidence":0.9},"notes":""}');
CREATE TABLE closings (
        run_id INTEGER PRIMARY KEY NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        outcome TEXT NOT NULL,
        minutes REAL NOT NULL CHECK (minutes >= 0),
        timed INTEGER NOT NULL CHECK (timed IN (0, 1)),
        judged_by TEXT NOT NULL,
        setting TEXT,
        detail TEXT NOT NULL DEFAULT '{}',
        note TEXT NOT NULL DEFAULT ''
    );
INSERT INTO "closings" VALUES(1,'2026-11-25T00:03:00.000000+00:00','reset',2.5,1,'another boot identity',NULL,'{"boot": "b2"}','');
INSERT INTO "closings" VALUES(2,'2026-11-22T00:30:00.000000+00:00','held',30.0,1,'seen',NULL,'{}','');
CREATE TABLE column_mappings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at TEXT NOT NULL,
        fingerprint TEXT NOT NULL,
        mapping TEXT NOT NULL
    );
INSERT INTO "column_mappings" VALUES(1,'2026-11-25T03:13:57.051361+00:00','f','{"CPU": "cpu.temperature"}');
CREATE TABLE configuration_names (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        key TEXT NOT NULL,
        name TEXT NOT NULL,
        rank INTEGER NOT NULL
    );
INSERT INTO "configuration_names" VALUES(1,'shoebox-3','2026-11-25T03:13:57.035384+00:00','k','as it came',0);
CREATE TABLE consents (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        text TEXT NOT NULL
    );
INSERT INTO "consents" VALUES(1,'shoebox-3','2026-11-25T00:00:00.000000+00:00','cautions');
CREATE TABLE forecasts (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        run_id INTEGER REFERENCES runs (id),
        at TEXT NOT NULL,
        forecast TEXT NOT NULL
    );
INSERT INTO "forecasts" VALUES(1,'shoebox-3',NULL,'2026-11-25T00:00:00.000000+00:00','{"watts": 41.0}');
CREATE TABLE heartbeats (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        minutes REAL NOT NULL CHECK (minutes >= 0)
    );
INSERT INTO "heartbeats" VALUES(1,1,'2026-11-25T03:13:56.951784+00:00',1.0);
INSERT INTO "heartbeats" VALUES(2,1,'2026-11-25T03:13:56.959599+00:00',2.0);
CREATE TABLE readings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        run_id INTEGER REFERENCES runs (id),
        configuration TEXT,
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        value REAL NOT NULL,
        place TEXT NOT NULL DEFAULT '',
        background REAL,
        state TEXT NOT NULL,
        read_at TEXT,
        note TEXT NOT NULL DEFAULT ''
    );
INSERT INTO "readings" VALUES(1,'shoebox-3',NULL,'k','2026-11-25T00:00:00.000000+00:00','sound',41.2,'',28.0,'load',NULL,'');
CREATE TABLE runs (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        card_id INTEGER NOT NULL REFERENCES cards (id),
        opened_at TEXT NOT NULL,
        setting TEXT NOT NULL,
        load TEXT NOT NULL,
        planned_minutes REAL NOT NULL CHECK (planned_minutes >= 0),
        purpose TEXT NOT NULL,
        knob TEXT,
        ambient_celsius REAL,
        power_mode TEXT,
        cooling TEXT,
        supply TEXT,
        firmware TEXT,
        driver TEXT,
        operating_system TEXT,
        boot_id TEXT,
        source TEXT NOT NULL,
        note TEXT NOT NULL DEFAULT ''
    );
INSERT INTO "runs" VALUES(1,'shoebox-3',1,'2026-11-25T00:00:00.000000+00:00','{"cpu-core": -50.0}','cpu',10.0,'search','cpu-core',21.0,NULL,NULL,NULL,NULL,NULL,NULL,'b1','rig','');
INSERT INTO "runs" VALUES(2,'shoebox-3',1,'2026-11-22T00:00:00.000000+00:00','{"gpu-core": 120.0}','by-hand',30.0,'search',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'hand','');
INSERT INTO "runs" VALUES(3,'shoebox-3',1,'2026-11-25T01:00:00.000000+00:00','{}','cpu',10.0,'search',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'rig','');
CREATE TABLE scores (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        run_id INTEGER REFERENCES runs (id),
        configuration TEXT,
        at TEXT NOT NULL,
        name TEXT NOT NULL,
        value REAL NOT NULL,
        measure TEXT NOT NULL,
        higher_is_better INTEGER NOT NULL CHECK (higher_is_better IN (0, 1)),
        note TEXT NOT NULL DEFAULT ''
    );
INSERT INTO "scores" VALUES(1,'shoebox-3',1,NULL,'2026-11-25T00:00:00.000000+00:00','render',241.5,'s',0,'');
CREATE TABLE trace_blocks (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        heartbeat_id INTEGER REFERENCES heartbeats (id),
        import_id INTEGER,
        started_at TEXT,
        layout_id INTEGER NOT NULL REFERENCES trace_layouts (id),
        samples INTEGER NOT NULL CHECK (samples > 0),
        data BLOB NOT NULL
    );
INSERT INTO "trace_blocks" VALUES(1,1,1,NULL,'2026-11-25T00:00:00+00:00',1,5,X'2823F4010000000001807E80FB807881F581818B9A809F818283848500000000');
INSERT INTO "trace_blocks" VALUES(2,1,2,NULL,NULL,1,5,X'282358020500000001807E80FB807881F581818B959FA9818283848500000000');
INSERT INTO "trace_blocks" VALUES(3,2,NULL,NULL,NULL,2,5,X'A08601000000000001807E80FB807881F581818283848500');
CREATE TABLE trace_layouts (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        columns TEXT NOT NULL UNIQUE
    );
INSERT INTO "trace_layouts" VALUES(1,'[["cpu.voltage",4,2,2],["cpu.temperature",1,1,2],["seconds",0,1,2]]');
INSERT INTO "trace_layouts" VALUES(2,'[["gpu.power",3,2,4],["seconds",0,1,2]]');
CREATE TABLE units (
        name TEXT PRIMARY KEY NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
        added_at TEXT NOT NULL
    );
INSERT INTO "units" VALUES('shoebox-3','2026-11-25T00:00:00.000000+00:00');
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE INDEX cards_by_unit ON cards (unit, id);
CREATE UNIQUE INDEX units_are_added_once ON cards (unit) WHERE event = 'add';
CREATE INDEX consents_by_unit ON consents (unit, id);
CREATE INDEX runs_by_unit ON runs (unit, id);
CREATE INDEX applications_by_run ON applications (run_id, id);
CREATE INDEX heartbeats_by_run ON heartbeats (run_id, minutes);
CREATE INDEX trace_blocks_by_run ON trace_blocks (run_id, id);
CREATE INDEX trace_imports_by_run ON trace_blocks (run_id) WHERE heartbeat_id IS NULL;
CREATE INDEX scores_by_unit ON scores (unit, id);
CREATE INDEX readings_by_unit ON readings (unit, id);
CREATE INDEX configuration_names_by_unit ON configuration_names (unit, id);
CREATE INDEX column_mappings_by_fingerprint ON column_mappings (fingerprint, id);
CREATE INDEX forecasts_by_unit ON forecasts (unit, id);
CREATE TRIGGER units_no_update BEFORE UPDATE ON units BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER units_no_delete BEFORE DELETE ON units BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER units_no_replace BEFORE INSERT ON units WHEN EXISTS (SELECT 1 FROM units WHERE name = NEW.name) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER cards_no_update BEFORE UPDATE ON cards BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER cards_no_delete BEFORE DELETE ON cards BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER cards_no_replace BEFORE INSERT ON cards WHEN EXISTS (SELECT 1 FROM cards WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER consents_no_update BEFORE UPDATE ON consents BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER consents_no_delete BEFORE DELETE ON consents BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER consents_no_replace BEFORE INSERT ON consents WHEN EXISTS (SELECT 1 FROM consents WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER runs_no_update BEFORE UPDATE ON runs BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER runs_no_delete BEFORE DELETE ON runs BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER runs_no_replace BEFORE INSERT ON runs WHEN EXISTS (SELECT 1 FROM runs WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER applications_no_update BEFORE UPDATE ON applications BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER applications_no_delete BEFORE DELETE ON applications BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER applications_no_replace BEFORE INSERT ON applications WHEN EXISTS (SELECT 1 FROM applications WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER heartbeats_no_update BEFORE UPDATE ON heartbeats BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER heartbeats_no_delete BEFORE DELETE ON heartbeats BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER heartbeats_no_replace BEFORE INSERT ON heartbeats WHEN EXISTS (SELECT 1 FROM heartbeats WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER closings_no_update BEFORE UPDATE ON closings BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER closings_no_delete BEFORE DELETE ON closings BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER closings_no_replace BEFORE INSERT ON closings WHEN EXISTS (SELECT 1 FROM closings WHERE run_id = NEW.run_id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER trace_layouts_no_update BEFORE UPDATE ON trace_layouts BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER trace_layouts_no_delete BEFORE DELETE ON trace_layouts BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER trace_layouts_no_replace BEFORE INSERT ON trace_layouts WHEN EXISTS (SELECT 1 FROM trace_layouts WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER trace_blocks_no_update BEFORE UPDATE ON trace_blocks BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER trace_blocks_no_delete BEFORE DELETE ON trace_blocks BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER trace_blocks_no_replace BEFORE INSERT ON trace_blocks WHEN EXISTS (SELECT 1 FROM trace_blocks WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER scores_no_update BEFORE UPDATE ON scores BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER scores_no_delete BEFORE DELETE ON scores BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER scores_no_replace BEFORE INSERT ON scores WHEN EXISTS (SELECT 1 FROM scores WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER readings_no_update BEFORE UPDATE ON readings BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER readings_no_delete BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER readings_no_replace BEFORE INSERT ON readings WHEN EXISTS (SELECT 1 FROM readings WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER configuration_names_no_update BEFORE UPDATE ON configuration_names BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER configuration_names_no_delete BEFORE DELETE ON configuration_names BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER configuration_names_no_replace BEFORE INSERT ON configuration_names WHEN EXISTS (SELECT 1 FROM configuration_names WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER column_mappings_no_update BEFORE UPDATE ON column_mappings BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER column_mappings_no_delete BEFORE DELETE ON column_mappings BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER column_mappings_no_replace BEFORE INSERT ON column_mappings WHEN EXISTS (SELECT 1 FROM column_mappings WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER forecasts_no_update BEFORE UPDATE ON forecasts BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER forecasts_no_delete BEFORE DELETE ON forecasts BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER forecasts_no_replace BEFORE INSERT ON forecasts WHEN EXISTS (SELECT 1 FROM forecasts WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'the journal is append-only: records are never changed or removed, so that any answer can be explained'); END;
CREATE TRIGGER applications_only_while_open BEFORE INSERT ON applications
        WHEN EXISTS (SELECT 1 FROM closings WHERE run_id = NEW.run_id)
        BEGIN SELECT RAISE(ABORT, 'the run is closed'); END;
CREATE TRIGGER heartbeats_only_while_open BEFORE INSERT ON heartbeats
        WHEN EXISTS (SELECT 1 FROM closings WHERE run_id = NEW.run_id)
        BEGIN SELECT RAISE(ABORT, 'the run is closed'); END;
CREATE TRIGGER heartbeats_never_backwards BEFORE INSERT ON heartbeats
    WHEN NEW.minutes < (SELECT max(minutes) FROM heartbeats WHERE run_id = NEW.run_id)
    BEGIN SELECT RAISE(ABORT, 'heartbeat minutes run backwards'); END;
CREATE VIEW run_settings AS
    SELECT runs.id AS run_id, runs.card_id, coalesce(
        (SELECT setting FROM closings WHERE closings.run_id = runs.id),
        (SELECT setting FROM applications WHERE applications.run_id = runs.id ORDER BY id DESC LIMIT 1),
        runs.setting) AS setting
    FROM runs;
CREATE VIEW run_knobs AS
    SELECT run_settings.run_id AS run_id, value.key AS knob, value.value AS offset,
        (SELECT json_extract(knob.value, '$.unit')
         FROM cards, json_each(cards.card, '$.knobs') AS knob
         WHERE cards.id = run_settings.card_id AND json_extract(knob.value, '$.name') = value.key) AS measure
    FROM run_settings, json_each(run_settings.setting) AS value;
CREATE VIEW runs_view AS
    SELECT
        runs.id AS run,
        runs.unit AS unit,
        runs.opened_at AS opened_at,
        closings.at AS closed_at,
        coalesce((SELECT group_concat(words, ', ') FROM (
            SELECT rtrim(knob || ' ' || printf('%+g', offset) || ' ' || coalesce(measure, '')) AS words
            FROM run_knobs WHERE run_knobs.run_id = runs.id ORDER BY knob)), 'stock') AS setting,
        runs.load AS load,
        runs.purpose AS purpose,
        runs.knob AS knob,
        runs.planned_minutes AS planned_minutes,
        coalesce(closings.minutes, (SELECT max(minutes) FROM heartbeats WHERE heartbeats.run_id = runs.id), 0)
            AS minutes,
        coalesce(closings.outcome, 'open') AS outcome,
        closings.judged_by AS judged_by,
        closings.timed AS timed,
        (SELECT count(*) FROM heartbeats WHERE heartbeats.run_id = runs.id) AS heartbeats,
        (SELECT coalesce(sum(samples), 0) FROM trace_blocks WHERE trace_blocks.run_id = runs.id) AS samples,
        runs.ambient_celsius AS ambient_celsius,
        runs.power_mode AS power_mode,
        runs.cooling AS cooling,
        runs.supply AS supply,
        runs.firmware AS firmware,
        runs.driver AS driver,
        runs.operating_system AS operating_system,
        runs.source AS source,
        runs.note AS note,
        closings.note AS closing_note,
        closings.detail AS detail
    FROM runs LEFT JOIN closings ON closings.run_id = runs.id;
CREATE VIEW units_view AS
    SELECT
        units.name AS unit,
        units.added_at AS added_at,
        (SELECT max(at) FROM cards WHERE cards.unit = units.name AND card IS NOT NULL) AS card_at,
        coalesce((SELECT event = 'retire' FROM cards WHERE cards.unit = units.name AND card IS NULL
            ORDER BY id DESC LIMIT 1), 0) AS retired,
        (SELECT count(*) FROM runs WHERE runs.unit = units.name) AS runs,
        (SELECT card FROM cards WHERE cards.unit = units.name AND card IS NOT NULL ORDER BY id DESC LIMIT 1) AS card
    FROM units;
CREATE VIEW open_runs_view AS SELECT * FROM runs_view WHERE outcome = 'open';
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('cards',1);
INSERT INTO "sqlite_sequence" VALUES('consents',1);
INSERT INTO "sqlite_sequence" VALUES('runs',3);
INSERT INTO "sqlite_sequence" VALUES('applications',1);
INSERT INTO "sqlite_sequence" VALUES('heartbeats',2);
INSERT INTO "sqlite_sequence" VALUES('trace_layouts',2);
INSERT INTO "sqlite_sequence" VALUES('trace_blocks',3);
INSERT INTO "sqlite_sequence" VALUES('scores',1);
INSERT INTO "sqlite_sequence" VALUES('readings',1);
INSERT INTO "sqlite_sequence" VALUES('configuration_names',1);
INSERT INTO "sqlite_sequence" VALUES('column_mappings',1);
INSERT INTO "sqlite_sequence" VALUES('forecasts',1);
COMMIT;
