-- A bench log of version 2, before cards, links and files had sums; made by the program of that time.
PRAGMA user_version = 2;
BEGIN TRANSACTION;
CREATE TABLE bench (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
INSERT INTO "bench" VALUES('id','304d9d69f11e4f8f80e0016943bc4dc6');
CREATE TABLE cards (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the text
    kind TEXT NOT NULL,             -- car, bench, test
    name TEXT NOT NULL,
    text TEXT NOT NULL,             -- the TOML as it was read
    saved_at TEXT NOT NULL          -- wall clock, UTC, ISO 8601
) STRICT;
INSERT INTO "cards" VALUES('81fabdcf8e3183aa8358194b434d1914886c260dba3eb41563b725089abcf8bb','car','Dunlin','name = "Dunlin"
wheelbase_mm = 257
','2026-11-28T21:40:09.737+00:00');
INSERT INTO "cards" VALUES('3ce7d3e896f06dba5f3ac6acc5521bcc77416825ccac78324d6175b908b26eba','test','rear left','position_pct = 85
','2026-11-28T21:40:09.738+00:00');
CREATE TABLE files (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the content
    kind TEXT NOT NULL,             -- clip, raw readings
    name TEXT NOT NULL,             -- its file name when it was noted
    path TEXT NOT NULL,             -- as last seen; absolute
    bytes INTEGER NOT NULL,
    saved_at TEXT NOT NULL
) STRICT;
INSERT INTO "files" VALUES('1def07dbe06eeb097aafec8a40329937cd20c93a83634b8221ea2b41a894310c','raw readings','raw.txt','/bench/raw.txt',6,'2026-11-28T21:40:09.744+00:00');
INSERT INTO "files" VALUES('f97a76e7dd36a80f1093a17ac7dd963e6aac5745f1bbea7ff3942c4162efeb4a','clip','push.avi','/bench/push.avi',16,'2026-11-28T21:40:09.750+00:00');
CREATE TABLE record_cards (record TEXT NOT NULL REFERENCES records(id),
    card TEXT NOT NULL REFERENCES cards(hash), PRIMARY KEY (record, card)) STRICT;
INSERT INTO "record_cards" VALUES('45ef3c7d41004b36a73b3b8f4ed4444f','81fabdcf8e3183aa8358194b434d1914886c260dba3eb41563b725089abcf8bb');
INSERT INTO "record_cards" VALUES('55201282dc004bbe9f2bb455ddbb4328','3ce7d3e896f06dba5f3ac6acc5521bcc77416825ccac78324d6175b908b26eba');
INSERT INTO "record_cards" VALUES('55201282dc004bbe9f2bb455ddbb4328','81fabdcf8e3183aa8358194b434d1914886c260dba3eb41563b725089abcf8bb');
INSERT INTO "record_cards" VALUES('a0842b757cfa43038e8e1797027b06f6','3ce7d3e896f06dba5f3ac6acc5521bcc77416825ccac78324d6175b908b26eba');
INSERT INTO "record_cards" VALUES('a0842b757cfa43038e8e1797027b06f6','81fabdcf8e3183aa8358194b434d1914886c260dba3eb41563b725089abcf8bb');
CREATE TABLE record_files (record TEXT NOT NULL REFERENCES records(id),
    file TEXT NOT NULL REFERENCES files(hash), PRIMARY KEY (record, file)) STRICT;
INSERT INTO "record_files" VALUES('45ef3c7d41004b36a73b3b8f4ed4444f','1def07dbe06eeb097aafec8a40329937cd20c93a83634b8221ea2b41a894310c');
INSERT INTO "record_files" VALUES('55201282dc004bbe9f2bb455ddbb4328','f97a76e7dd36a80f1093a17ac7dd963e6aac5745f1bbea7ff3942c4162efeb4a');
CREATE TABLE record_parents (record TEXT NOT NULL REFERENCES records(id),
    parent TEXT NOT NULL REFERENCES records(id), PRIMARY KEY (record, parent)) STRICT;
INSERT INTO "record_parents" VALUES('a0842b757cfa43038e8e1797027b06f6','55201282dc004bbe9f2bb455ddbb4328');
INSERT INTO "record_parents" VALUES('a0842b757cfa43038e8e1797027b06f6','45ef3c7d41004b36a73b3b8f4ed4444f');
CREATE TABLE records (
    id TEXT PRIMARY KEY,            -- random, 128 bit
    number INTEGER NOT NULL UNIQUE, -- order of writing on this bench
    bench TEXT NOT NULL,            -- id of the bench that wrote it
    kind TEXT NOT NULL,             -- weighing, push, prediction, comparison, calibration, zero, guess
    title TEXT NOT NULL,
    at TEXT NOT NULL,               -- wall clock, UTC, ISO 8601
    software TEXT NOT NULL,         -- name and version that computed it
    inputs TEXT NOT NULL,           -- JSON: all that is needed to compute it again
    result TEXT NOT NULL,           -- JSON
    sum TEXT NOT NULL DEFAULT ''    -- SHA-256 of the columns before it: SQLite keeps no sums over its pages
) STRICT;
INSERT INTO "records" VALUES('45ef3c7d41004b36a73b3b8f4ed4444f',1,'304d9d69f11e4f8f80e0016943bc4dc6','weighing','Dunlin, as built','2026-11-28T21:40:09.745+00:00','pivotbench 0.1.0','{"raw_g":[401.5,392.25,381,387]}','{"total_g":1561.75}','e827008c439fd480522abd40fccb028291ca930bd912f1d5de0427beaf13cd60');
INSERT INTO "records" VALUES('55201282dc004bbe9f2bb455ddbb4328',2,'304d9d69f11e4f8f80e0016943bc4dc6','push','Dunlin, rear left','2026-11-28T21:40:09.750+00:00','pivotbench 0.1.0','{}','{"kappa_per_m":-1.0,"note":"größer ½"}','e51d1072246f9b291797c318a8c5902e88d4c9d86dbd522aaad76a3539bb3fb2');
INSERT INTO "records" VALUES('a0842b757cfa43038e8e1797027b06f6',3,'304d9d69f11e4f8f80e0016943bc4dc6','comparison','Dunlin, rear left','2026-11-28T21:40:09.751+00:00','pivotbench 0.1.0','{"push_number":1}','{"agrees":true}','09f69baffc5bba4772a468f82158dce8e1d90662d06d09df22fb4bd4791ef089');
CREATE INDEX records_by_kind ON records (kind, number);
COMMIT;
