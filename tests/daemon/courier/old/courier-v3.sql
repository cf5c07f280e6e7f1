BEGIN TRANSACTION;
CREATE TABLE counts (what TEXT PRIMARY KEY, number INTEGER NOT NULL) WITHOUT ROWID;
INSERT INTO "counts" VALUES('delivered',2);
INSERT INTO "counts" VALUES('failed attempts',8);
INSERT INTO "counts" VALUES('messages',3);
CREATE TABLE deliveries (
    message INTEGER NOT NULL REFERENCES messages,
    service TEXT NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0,
    outcome TEXT,                         -- NULL: waiting
    reason TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (message, service)
) WITHOUT ROWID;
INSERT INTO "deliveries" VALUES(1,'1 json',1,'delivered','');
INSERT INTO "deliveries" VALUES(2,'1 json',1,'delivered','');
INSERT INTO "deliveries" VALUES(3,'1 json',8,NULL,'failure: Failed to send JSON POST notification: Servers are overloaded., error=503.');
CREATE TABLE labels (boot TEXT PRIMARY KEY, offset INTEGER NOT NULL) WITHOUT ROWID;
INSERT INTO "labels" VALUES('boot-1',1790000000000);
CREATE TABLE messages (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    key TEXT NOT NULL, boot TEXT NOT NULL, t INTEGER NOT NULL, label INTEGER,
    stage TEXT NOT NULL, priority TEXT NOT NULL,
    title TEXT NOT NULL, body TEXT NOT NULL, unheard TEXT NOT NULL,
    concern TEXT NOT NULL DEFAULT '',     -- the priority of what it is about
    held INTEGER NOT NULL DEFAULT 0       -- put here in quiet hours
);
INSERT INTO "messages" VALUES(1,'part door','boot-1',3600000,1790003600000,'begin','medium','Workshop: part door lost','Part door gives no usable readings. Since 15:13. It is taken back by itself. Check its cable and power; while the daemon is stopped, `ventwright check` says what is there.','','medium',0);
INSERT INTO "messages" VALUES(2,'alarm print','boot-1',3600000,1790003600000,'begin','medium','Workshop: particles rising (PM2.5 +23 µg/m³)','PM2.5 at bench averaged 27.4 µg/m³ over 1 min, 23.1 above this room''s baseline of 4.3. Setpoint: rise of 10 µg/m³. Since 15:13. The extractor window-fan is running. Best stay out. Low-cost optical sensors do not see ultrafine particles. Not a certified alarm.','','medium',0);
INSERT INTO "messages" VALUES(3,'part door','boot-1',3660000,1790003660000,'end','low','Workshop: part door is back','Part door can be read again. At 15:14.','Workshop: part door was lost for a while, is back','medium',0);
CREATE TABLE progress (
    store TEXT PRIMARY KEY,               -- the name of the store's first boot
    block INTEGER NOT NULL DEFAULT 0,     -- the last block done with
    event INTEGER NOT NULL DEFAULT 0,     -- the last event taken
    pushed INTEGER NOT NULL DEFAULT 0,    -- samples, here and below
    empty INTEGER NOT NULL DEFAULT 0,     -- without any value
    refused INTEGER NOT NULL DEFAULT 0,   -- by the database
    dropped INTEGER NOT NULL DEFAULT 0,   -- set aside by the courier
    blocks_gone INTEGER NOT NULL DEFAULT 0 -- pruned before they were pushed
, gone INTEGER NOT NULL DEFAULT 0) WITHOUT ROWID;
INSERT INTO "progress" VALUES('boot-1',4,3,24,0,0,0,0,0);
CREATE TABLE refused (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    store TEXT NOT NULL,
    block INTEGER NOT NULL,
    samples INTEGER NOT NULL,
    line TEXT NOT NULL,                   -- empty where no line was made
    reason TEXT NOT NULL
);
CREATE TABLE state (key TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "state" VALUES('troubles','{"chores": {}, "services": {"1 json": {"since": 1790003601000, "why": "failure: Failed to send JSON POST notification: Servers are overloaded., error=503."}}, "database": {"air": {"since": 1790003601000, "why": "503: Service Unavailable"}}}');
CREATE INDEX waiting ON deliveries (service, message) WHERE outcome IS NULL;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('messages',3);
COMMIT;
PRAGMA user_version = 3;
