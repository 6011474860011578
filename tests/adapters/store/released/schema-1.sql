PRAGMA application_id = 1400334701;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE alarm (id TEXT PRIMARY KEY, fields TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "alarm" VALUES('air-stopped:ash','{"again": null, "changed": 1770000060000, "deadline": null, "id": "air-stopped:ash", "priority": "high", "reason": "held for 60 s", "rule": "air-stopped", "since": 1770000000000, "state": "unacknowledged", "subject": "ash", "text": "Since 05:10.", "title": "Air stopped in ash", "todo": "Look at the pump.", "told": null, "until": null}');
CREATE TABLE delivery (id INTEGER PRIMARY KEY, entries BLOB NOT NULL);
CREATE TABLE event (
             id INTEGER PRIMARY KEY, time INTEGER NOT NULL, logged INTEGER NOT NULL, kind TEXT NOT NULL,
             fields TEXT NOT NULL);
INSERT INTO "event" VALUES(1,1770000000000,1770000000500,'start','{"batch": "ash-1", "cysts_g": 2.0, "litres": 1.5, "lot": "tin-7", "salinity_g_l": 30.0, "vessel": "ash"}');
INSERT INTO "event" VALUES(2,1770090000000,1770090000500,'harvest','{"batch": "ash-1", "hatched_fraction": 0.8, "nauplii": null}');
CREATE TABLE kept (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "kept" VALUES('lot/tin-7','{"hatched": 0.8}');
CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied INTEGER NOT NULL);
INSERT INTO "migration" VALUES(1,'first',1770000000000);
CREATE TABLE outbox (
             id INTEGER PRIMARY KEY, transition_id INTEGER REFERENCES transition (id), alarm TEXT NOT NULL,
             channel TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL, priority TEXT NOT NULL,
             created INTEGER NOT NULL, token TEXT NOT NULL, state TEXT NOT NULL, tries INTEGER NOT NULL,
             next_try INTEGER NOT NULL, told INTEGER, error TEXT NOT NULL);
INSERT INTO "outbox" VALUES(1,1,'air-stopped:ash','phone','Air stopped in ash','Since 05:10.','high',1770000000000,'c0ffee00','waiting',1,1770000000000,NULL,'');
CREATE TABLE quarantine (
             series INTEGER NOT NULL, place INTEGER NOT NULL, nth INTEGER NOT NULL, time INTEGER NOT NULL,
             reason TEXT NOT NULL, payload BLOB NOT NULL, PRIMARY KEY (series, place)) WITHOUT ROWID;
INSERT INTO "quarantine" VALUES(1,0,1,1770000000005,'no number',X'3F3F');
CREATE TABLE reading (
             time INTEGER NOT NULL, series INTEGER NOT NULL, n INTEGER NOT NULL,
             milli INTEGER NOT NULL, mark INTEGER NOT NULL, late INTEGER, seq INTEGER,
             PRIMARY KEY (time, series, n)) WITHOUT ROWID;
INSERT INTO "reading" VALUES(1770000000000,1,0,24000,8,NULL,0);
INSERT INTO "reading" VALUES(1770000000000,2,0,24001,8,NULL,1);
INSERT INTO "reading" VALUES(1770000000000,3,0,24002,8,NULL,2);
INSERT INTO "reading" VALUES(1770000010000,1,0,24003,8,NULL,3);
INSERT INTO "reading" VALUES(1770000010000,2,0,24004,8,3000,4);
INSERT INTO "reading" VALUES(1770000010000,3,0,24005,8,NULL,5);
INSERT INTO "reading" VALUES(1770000020000,1,0,24006,73,NULL,6);
INSERT INTO "reading" VALUES(1770000020000,2,0,24007,8,NULL,7);
INSERT INTO "reading" VALUES(1770000020000,3,0,24008,8,NULL,8);
INSERT INTO "reading" VALUES(1770000030000,1,0,24009,8,3000,9);
INSERT INTO "reading" VALUES(1770000030000,2,0,24010,8,NULL,10);
INSERT INTO "reading" VALUES(1770000030000,3,0,24011,8,NULL,11);
INSERT INTO "reading" VALUES(1770000040000,1,0,24012,8,NULL,12);
INSERT INTO "reading" VALUES(1770000040000,2,0,24013,73,NULL,13);
INSERT INTO "reading" VALUES(1770000040000,3,0,24014,8,3000,14);
INSERT INTO "reading" VALUES(1770000050000,1,0,24015,8,NULL,15);
INSERT INTO "reading" VALUES(1770000050000,2,0,24016,8,NULL,16);
INSERT INTO "reading" VALUES(1770000050000,3,0,24017,8,NULL,17);
INSERT INTO "reading" VALUES(1770000060000,1,0,24018,8,NULL,18);
INSERT INTO "reading" VALUES(1770000060000,2,0,24019,8,3000,19);
INSERT INTO "reading" VALUES(1770000060000,3,0,24020,73,NULL,20);
INSERT INTO "reading" VALUES(1770000070000,1,0,24021,8,NULL,21);
INSERT INTO "reading" VALUES(1770000070000,2,0,24022,8,NULL,22);
INSERT INTO "reading" VALUES(1770000070000,3,0,24023,8,NULL,23);
INSERT INTO "reading" VALUES(1770000080000,1,0,24024,8,3000,24);
INSERT INTO "reading" VALUES(1770000080000,2,0,24025,8,NULL,25);
INSERT INTO "reading" VALUES(1770000080000,3,0,24026,8,NULL,26);
INSERT INTO "reading" VALUES(1770000090000,1,0,24027,73,NULL,27);
INSERT INTO "reading" VALUES(1770000090000,2,0,24028,8,NULL,28);
INSERT INTO "reading" VALUES(1770000090000,3,0,24029,8,3000,29);
INSERT INTO "reading" VALUES(1770000100000,1,0,24030,8,NULL,30);
INSERT INTO "reading" VALUES(1770000100000,2,0,24031,8,NULL,31);
INSERT INTO "reading" VALUES(1770000100000,3,0,24032,8,NULL,32);
INSERT INTO "reading" VALUES(1770000110000,1,0,24033,8,NULL,33);
INSERT INTO "reading" VALUES(1770000110000,2,0,24034,73,3000,34);
INSERT INTO "reading" VALUES(1770000110000,3,0,24035,8,NULL,35);
INSERT INTO "reading" VALUES(1770000120000,1,0,24036,8,NULL,36);
INSERT INTO "reading" VALUES(1770000120000,2,0,24037,8,NULL,37);
INSERT INTO "reading" VALUES(1770000120000,3,0,24038,8,NULL,38);
INSERT INTO "reading" VALUES(1770000130000,1,0,24039,8,3000,39);
CREATE TABLE reason (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
INSERT INTO "reason" VALUES(1,'it jumped');
CREATE TABLE series (id INTEGER PRIMARY KEY, probe TEXT NOT NULL UNIQUE);
INSERT INTO "series" VALUES(1,'ash-water');
INSERT INTO "series" VALUES(2,'ash-air');
INSERT INTO "series" VALUES(3,'shed-room');
CREATE TABLE slot (
             slot INTEGER NOT NULL, series INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
             PRIMARY KEY (slot, series)) WITHOUT ROWID;
INSERT INTO "slot" VALUES(1770000000000,1,30,720000);
CREATE TABLE transition (
             id INTEGER PRIMARY KEY, time INTEGER NOT NULL, alarm TEXT NOT NULL, before TEXT NOT NULL,
             after TEXT NOT NULL, notify INTEGER NOT NULL, reason TEXT NOT NULL, fields TEXT NOT NULL);
INSERT INTO "transition" VALUES(1,1770000060000,'air-stopped:ash','normal','unacknowledged',1,'held for 60 s','{"again": null, "changed": 1770000060000, "deadline": null, "id": "air-stopped:ash", "priority": "high", "reason": "held for 60 s", "rule": "air-stopped", "since": 1770000000000, "state": "unacknowledged", "subject": "ash", "text": "Since 05:10.", "title": "Air stopped in ash", "todo": "Look at the pump.", "told": null, "until": null}');
CREATE VIEW plain_reading AS
             SELECT strftime('%Y-%m-%dT%H:%M:%SZ', reading.time / 1000, 'unixepoch') AS utc, reading.time, series.probe,
                    reading.n, reading.milli / 1000.0 AS value, reading.mark & 7 AS quality,
                    CASE (reading.mark >> 4) & 3 WHEN 1 THEN 'stopped' WHEN 2 THEN 'running' WHEN 3 THEN 'weak' END
                    AS air,
                    (reading.mark >> 3) & 1 AS own_time, reading.seq, reason.text AS reason
             FROM reading JOIN series ON series.id = reading.series
             LEFT JOIN reason ON reason.id = reading.mark >> 6;
CREATE INDEX event_logged ON event (logged, id);
CREATE INDEX transition_time ON transition (time);
CREATE INDEX outbox_state ON outbox (state, created);
COMMIT;
