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
INSERT INTO "records" VALUES('45ef3c7d41004b36a73b3b8f4ed4444f',1,'304d9d69f11e4f8f80e0016943bc4dc6','weighing','Dunlin, as built','2026-11-28T21:40:09.745+00:00','pivotbench 0.1.0','{"source":"typed"}','{"corner_weights_g":[401.5,392.25,381.0,387.0],"corner_interval_g":[[400.0,403.0],[390.75,393.75],[379.5,382.5],[385.5,388.5]],"share_pct":[25.70834000320154,25.116055706739235,24.39570994077157,24.77989434928766],"total_g":{"value":1561.75,"u":1.5,"interval":[1558.75,1564.75]},"front_pct":{"value":50.824395709940774,"u":0.1,"interval":[50.62439570994077,51.02439570994078]},"left_pct":{"value":50.10404994397311,"u":0.1,"interval":[49.90404994397311,50.30404994397311]},"diagonal_fl_rr_pct":{"value":50.488234352489194,"u":0.1,"interval":[50.28823435248919,50.6882343524892]},"diagonal_fr_rl_pct":{"value":49.511765647510806,"u":0.1,"interval":[49.3117656475108,49.71176564751081]},"cross_g":{"value":773.25,"u":1.0,"interval":[771.25,775.25]},"gravity_m_s2":9.81,"doubt":[{"name":"reading","covariance_g2":[[0.25,0.0,0.0,0.0],[0.0,0.25,0.0,0.0],[0.0,0.0,0.25,0.0],[0.0,0.0,0.0,0.25]]}],"warnings":[]}','ea3a93c5b5a72290247cdde6662a9931a827bc741e1b54ad2182305d43b8cbd4');
INSERT INTO "records" VALUES('55201282dc004bbe9f2bb455ddbb4328',2,'304d9d69f11e4f8f80e0016943bc4dc6','push','Dunlin, rear left','2026-11-28T21:40:09.750+00:00','pivotbench 0.1.0','{}','{"pushes":[{"number":1,"turn_deg":-8.5,"turn_u_deg":0.25,"travel_mm":150.0,"travel_u_mm":0.5,"start_s":1.25,"end_s":2.5,"end_pose":[0.01,0.15,-0.148],"rest_frames":[30,25],"pivot":{"kappa_per_m":-1.0,"kappa_u_per_m":0.03,"kappa_interval_per_m":[-1.06,-0.94],"finding":"pivot","wheelbase_m":0.257,"count":1,"method":"größer ½","station_pct":439.1,"interval_pct":[417.0,463.9],"warnings":[]},"start_pose":[0.0,0.0,0.0],"outliers":0,"warnings":[]}],"track":{"frames_read":90,"camera":{"matrix":[[900.0,0.0,480.0],[0.0,900.0,270.0],[0.0,0.0,1.0]],"distortion":[0.0,0.0,0.0,0.0,0.0],"size":[960,540],"u":[0.0,0.0,0.0,0.0,0.0,0.0,0.0,0.0,0.0],"known":false},"frames_left_out":0,"left_out":{},"notes":[],"warnings":[]}}','33685509e8f9f210569628bc6145f8d5aec08361172762d1bceab1b19bbe12fd');
INSERT INTO "records" VALUES('a0842b757cfa43038e8e1797027b06f6',3,'304d9d69f11e4f8f80e0016943bc4dc6','comparison','Dunlin, rear left','2026-11-28T21:40:09.751+00:00','pivotbench 0.1.0','{"push_number":1,"seed":3}','{"verdict":"agrees","sentence":"They agree.","reason":"near","difference_per_m":0.125,"sigmas":0.5}','3cea6e0e95dc338704b2bf7ff24db5ee577fa65607b4e8c28250f7bf9c907c84');
CREATE INDEX records_by_kind ON records (kind, number);
COMMIT;
