PRAGMA application_id = 1400334701;
PRAGMA user_version = 4;
BEGIN TRANSACTION;
CREATE TABLE alarm (id TEXT PRIMARY KEY, fields TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "alarm" VALUES('air-stopped:ash','{"again": null, "changed": 1770000060000, "deadline": null, "id": "air-stopped:ash", "priority": "high", "reason": "held for 60 s", "rule": "air-stopped", "since": 1770000000000, "state": "unacknowledged", "subject": "ash", "text": "Since 05:10.", "title": "Air stopped in ash", "todo": "Look at the pump.", "told": null, "until": null}');
CREATE TABLE delivery (id INTEGER PRIMARY KEY, entries BLOB NOT NULL);
CREATE TABLE event (
             id INTEGER PRIMARY KEY, time INTEGER NOT NULL, logged INTEGER NOT NULL, kind TEXT NOT NULL,
             fields TEXT NOT NULL);
INSERT INTO "event" VALUES(1,1770000000000,1770000000500,'start','{"batch": "ash-1", "cysts_g": 2.0, "litres": 1.5, "lot": "tin-7", "salinity_g_l": 30.0, "vessel": "ash"}');
INSERT INTO "event" VALUES(2,1770090000000,1770090000500,'harvest','{"batch": "ash-1", "hatched_fraction": 0.8, "nauplii": null}');
CREATE TABLE horizon (kind TEXT PRIMARY KEY, time INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE kept (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "kept" VALUES('lot/tin-7','{"hatched": 0.8}');
CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied INTEGER NOT NULL);
INSERT INTO "migration" VALUES(1,'first',1770000000000);
INSERT INTO "migration" VALUES(2,'letters that wait and are merged',1770000000000);
INSERT INTO "migration" VALUES(3,'roll-ups, and estimates as they were told',1770000000000);
INSERT INTO "migration" VALUES(4,'what time-series servers have got',1770000000000);
CREATE TABLE outbox (
             id INTEGER PRIMARY KEY, transition_id INTEGER REFERENCES transition (id), alarm TEXT NOT NULL,
             channel TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL, priority TEXT NOT NULL,
             created INTEGER NOT NULL, token TEXT NOT NULL, state TEXT NOT NULL, tries INTEGER NOT NULL,
             next_try INTEGER NOT NULL, told INTEGER, error TEXT NOT NULL, kind TEXT NOT NULL DEFAULT 'trouble', hold INTEGER NOT NULL DEFAULT 0, cause TEXT NOT NULL DEFAULT 'now', why TEXT NOT NULL DEFAULT '', went INTEGER, parts TEXT NOT NULL DEFAULT '[]', merged_into INTEGER);
INSERT INTO "outbox" VALUES(1,1,'air-stopped:ash','phone','Air stopped in ash','Since 05:10.','high',1770000000000,'c0ffee00','waiting',1,1770000000000,NULL,'','trouble',0,'now','',NULL,'[]',NULL);
CREATE TABLE quarantine (
             series INTEGER NOT NULL, place INTEGER NOT NULL, nth INTEGER NOT NULL, time INTEGER NOT NULL,
             reason TEXT NOT NULL, payload BLOB NOT NULL, PRIMARY KEY (series, place)) WITHOUT ROWID;
INSERT INTO "quarantine" VALUES(1,0,1,1770000000005,'no number',X'3F3F');
CREATE TABLE reading (
             at INTEGER PRIMARY KEY, milli INTEGER NOT NULL, mark INTEGER NOT NULL, late INTEGER, seq INTEGER,
             time INTEGER GENERATED ALWAYS AS (at >> 21) VIRTUAL,
             series INTEGER GENERATED ALWAYS AS (at & 8191) VIRTUAL,
             n INTEGER GENERATED ALWAYS AS ((at >> 13) & 255) VIRTUAL);
INSERT INTO "reading" VALUES(3711959040000000001,24000,8,NULL,0);
INSERT INTO "reading" VALUES(3711959040000000002,24001,8,NULL,1);
INSERT INTO "reading" VALUES(3711959040000000003,24002,8,NULL,2);
INSERT INTO "reading" VALUES(3711959060971520001,24003,8,NULL,3);
INSERT INTO "reading" VALUES(3711959060971520002,24004,8,3,4);
INSERT INTO "reading" VALUES(3711959060971520003,24005,8,NULL,5);
INSERT INTO "reading" VALUES(3711959081943040001,24006,73,NULL,6);
INSERT INTO "reading" VALUES(3711959081943040002,24007,8,NULL,7);
INSERT INTO "reading" VALUES(3711959081943040003,24008,8,NULL,8);
INSERT INTO "reading" VALUES(3711959102914560001,24009,8,3,9);
INSERT INTO "reading" VALUES(3711959102914560002,24010,8,NULL,10);
INSERT INTO "reading" VALUES(3711959102914560003,24011,8,NULL,11);
INSERT INTO "reading" VALUES(3711959123886080001,24012,8,NULL,12);
INSERT INTO "reading" VALUES(3711959123886080002,24013,73,NULL,13);
INSERT INTO "reading" VALUES(3711959123886080003,24014,8,3,14);
INSERT INTO "reading" VALUES(3711959144857600001,24015,8,NULL,15);
INSERT INTO "reading" VALUES(3711959144857600002,24016,8,NULL,16);
INSERT INTO "reading" VALUES(3711959144857600003,24017,8,NULL,17);
INSERT INTO "reading" VALUES(3711959165829120001,24018,8,NULL,18);
INSERT INTO "reading" VALUES(3711959165829120002,24019,8,3,19);
INSERT INTO "reading" VALUES(3711959165829120003,24020,73,NULL,20);
INSERT INTO "reading" VALUES(3711959186800640001,24021,8,NULL,21);
INSERT INTO "reading" VALUES(3711959186800640002,24022,8,NULL,22);
INSERT INTO "reading" VALUES(3711959186800640003,24023,8,NULL,23);
INSERT INTO "reading" VALUES(3711959207772160001,24024,8,3,24);
INSERT INTO "reading" VALUES(3711959207772160002,24025,8,NULL,25);
INSERT INTO "reading" VALUES(3711959207772160003,24026,8,NULL,26);
INSERT INTO "reading" VALUES(3711959228743680001,24027,73,NULL,27);
INSERT INTO "reading" VALUES(3711959228743680002,24028,8,NULL,28);
INSERT INTO "reading" VALUES(3711959228743680003,24029,8,3,29);
INSERT INTO "reading" VALUES(3711959249715200001,24030,8,NULL,30);
INSERT INTO "reading" VALUES(3711959249715200002,24031,8,NULL,31);
INSERT INTO "reading" VALUES(3711959249715200003,24032,8,NULL,32);
INSERT INTO "reading" VALUES(3711959270686720001,24033,8,NULL,33);
INSERT INTO "reading" VALUES(3711959270686720002,24034,73,3,34);
INSERT INTO "reading" VALUES(3711959270686720003,24035,8,NULL,35);
INSERT INTO "reading" VALUES(3711959291658240001,24036,8,NULL,36);
INSERT INTO "reading" VALUES(3711959291658240002,24037,8,NULL,37);
INSERT INTO "reading" VALUES(3711959291658240003,24038,8,NULL,38);
INSERT INTO "reading" VALUES(3711959312629760001,24039,8,3,39);
CREATE TABLE reason (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
INSERT INTO "reason" VALUES(1,'it jumped');
CREATE TABLE resend (
             sink TEXT NOT NULL, slot INTEGER NOT NULL, series INTEGER NOT NULL, mark INTEGER NOT NULL,
             PRIMARY KEY (sink, slot, series)) WITHOUT ROWID;
CREATE TABLE rollup_day (
             series INTEGER NOT NULL, slot INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
             low INTEGER, high INTEGER, suspect INTEGER NOT NULL, stopped INTEGER NOT NULL, weak INTEGER NOT NULL,
             PRIMARY KEY (series, slot)) WITHOUT ROWID;
CREATE TABLE rollup_minute (
             series INTEGER NOT NULL, slot INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
             low INTEGER, high INTEGER, suspect INTEGER NOT NULL, stopped INTEGER NOT NULL, weak INTEGER NOT NULL,
             PRIMARY KEY (series, slot)) WITHOUT ROWID;
CREATE TABLE rollup_quarter (
             series INTEGER NOT NULL, slot INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
             low INTEGER, high INTEGER, suspect INTEGER NOT NULL, stopped INTEGER NOT NULL, weak INTEGER NOT NULL,
             PRIMARY KEY (series, slot)) WITHOUT ROWID;
CREATE TABLE series (id INTEGER PRIMARY KEY, probe TEXT NOT NULL UNIQUE);
INSERT INTO "series" VALUES(1,'ash-water');
INSERT INTO "series" VALUES(2,'ash-air');
INSERT INTO "series" VALUES(3,'shed-room');
CREATE TABLE sink (
             id TEXT PRIMARY KEY, reading INTEGER NOT NULL, told INTEGER NOT NULL, transition_id INTEGER NOT NULL);
CREATE TABLE slot (
             slot INTEGER NOT NULL, series INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
             PRIMARY KEY (slot, series)) WITHOUT ROWID;
INSERT INTO "slot" VALUES(1770000000000,1,30,720000);
CREATE TABLE stale (slot INTEGER NOT NULL, series INTEGER NOT NULL, PRIMARY KEY (slot, series)) WITHOUT ROWID;
INSERT INTO "stale" VALUES(1769999400000,1);
INSERT INTO "stale" VALUES(1769999400000,2);
INSERT INTO "stale" VALUES(1769999400000,3);
CREATE TABLE told_estimate (
             id INTEGER PRIMARY KEY, batch TEXT NOT NULL, time INTEGER NOT NULL, fields TEXT NOT NULL);
CREATE TABLE transition (
             id INTEGER PRIMARY KEY, time INTEGER NOT NULL, alarm TEXT NOT NULL, before TEXT NOT NULL,
             after TEXT NOT NULL, notify INTEGER NOT NULL, reason TEXT NOT NULL, fields TEXT NOT NULL);
INSERT INTO "transition" VALUES(1,1770000060000,'air-stopped:ash','normal','unacknowledged',1,'held for 60 s','{"again": null, "changed": 1770000060000, "deadline": null, "id": "air-stopped:ash", "priority": "high", "reason": "held for 60 s", "rule": "air-stopped", "since": 1770000000000, "state": "unacknowledged", "subject": "ash", "text": "Since 05:10.", "title": "Air stopped in ash", "todo": "Look at the pump.", "told": null, "until": null}');
CREATE INDEX event_logged ON event (logged, id);
CREATE INDEX transition_time ON transition (time);
CREATE INDEX outbox_state ON outbox (state, created);
CREATE INDEX outbox_created ON outbox (created);
CREATE VIEW plain_reading AS
             SELECT strftime('%Y-%m-%dT%H:%M:%SZ', reading.time / 1000, 'unixepoch') AS utc, reading.time, series.probe,
                    reading.n, reading.milli / 1000.0 AS value, reading.mark & 7 AS quality,
                    CASE (reading.mark >> 4) & 3 WHEN 1 THEN 'stopped' WHEN 2 THEN 'running' WHEN 3 THEN 'weak' END
                    AS air,
                    (reading.mark >> 3) & 1 AS own_time, reading.seq, reason.text AS reason
             FROM reading JOIN series ON series.id = reading.series
             LEFT JOIN reason ON reason.id = reading.mark >> 6;
CREATE INDEX told_estimate_batch ON told_estimate (batch, id);
COMMIT;
