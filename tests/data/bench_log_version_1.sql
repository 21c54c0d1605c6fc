-- A bench log of version 1, before records had sums; made by the program of that time.
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE bench (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
INSERT INTO "bench" VALUES('id','c3d5016424894c13adf3fefc69795da6');
CREATE TABLE cards (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the text
    kind TEXT NOT NULL,             -- car, bench, test
    name TEXT NOT NULL,
    text TEXT NOT NULL,             -- the TOML as it was read
    saved_at TEXT NOT NULL          -- wall clock, UTC, ISO 8601
) STRICT;
INSERT INTO "cards" VALUES('d4dd44e37173aefaae0885ae0d93a260dca5951521b560b74766b07890929591','car','Dunlin','name = "Dunlin"
','2026-11-25T21:53:04.990+00:00');
CREATE TABLE files (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the content
    kind TEXT NOT NULL,             -- clip, raw readings
    name TEXT NOT NULL,             -- its file name when it was noted
    path TEXT NOT NULL,             -- as last seen; absolute
    bytes INTEGER NOT NULL,
    saved_at TEXT NOT NULL
) STRICT;
INSERT INTO "files" VALUES('1def07dbe06eeb097aafec8a40329937cd20c93a83634b8221ea2b41a894310c','raw readings','raw.txt','/bench/raw.txt',6,'2026-11-25T21:53:04.992+00:00');
CREATE TABLE record_cards (record TEXT NOT NULL REFERENCES records(id),
    card TEXT NOT NULL REFERENCES cards(hash), PRIMARY KEY (record, card)) STRICT;
INSERT INTO "record_cards" VALUES('c7c0a5614c2145c199cc9d4dbadb8694','d4dd44e37173aefaae0885ae0d93a260dca5951521b560b74766b07890929591');
CREATE TABLE record_files (record TEXT NOT NULL REFERENCES records(id),
    file TEXT NOT NULL REFERENCES files(hash), PRIMARY KEY (record, file)) STRICT;
INSERT INTO "record_files" VALUES('ebc5a7810bcf4669a1b56e50ffa335e4','1def07dbe06eeb097aafec8a40329937cd20c93a83634b8221ea2b41a894310c');
CREATE TABLE record_parents (record TEXT NOT NULL REFERENCES records(id),
    parent TEXT NOT NULL REFERENCES records(id), PRIMARY KEY (record, parent)) STRICT;
INSERT INTO "record_parents" VALUES('ebc5a7810bcf4669a1b56e50ffa335e4','c7c0a5614c2145c199cc9d4dbadb8694');
CREATE TABLE records (
    id TEXT PRIMARY KEY,            -- random, 128 bit
    number INTEGER NOT NULL UNIQUE, -- order of writing on this bench
    bench TEXT NOT NULL,            -- id of the bench that wrote it
    kind TEXT NOT NULL,             -- weighing, push, prediction, comparison, calibration, zero, guess
    title TEXT NOT NULL,
    at TEXT NOT NULL,               -- wall clock, UTC, ISO 8601
    software TEXT NOT NULL,         -- name and version that computed it
    inputs TEXT NOT NULL,           -- JSON: all that is needed to compute it again
    result TEXT NOT NULL            -- JSON
) STRICT;
INSERT INTO "records" VALUES('c7c0a5614c2145c199cc9d4dbadb8694',1,'c3d5016424894c13adf3fefc69795da6','weighing','Dunlin, as built','2026-11-25T21:53:04.990+00:00','pivotbench 0.1.0','{"source":"typed"}','{"corner_weights_g":[400.5,401.0,399.25,400.0],"corner_interval_g":[[399.0,402.0],[399.5,402.5],[397.75,400.75],[398.5,401.5]],"share_pct":[25.019522099016086,25.050757457441826,24.94143370295174,24.988286740590347],"total_g":{"value":1600.75,"u":1.5,"interval":[1597.75,1603.75]},"front_pct":{"value":50.07027955645791,"u":0.1,"interval":[49.87027955645791,50.270279556457915]},"left_pct":{"value":49.96095580196783,"u":0.1,"interval":[49.760955801967825,50.16095580196783]},"diagonal_fl_rr_pct":{"value":50.00780883960643,"u":0.1,"interval":[49.80780883960643,50.207808839606436]},"diagonal_fr_rl_pct":{"value":49.99219116039357,"u":0.1,"interval":[49.792191160393564,50.19219116039357]},"cross_g":{"value":800.25,"u":1.0,"interval":[798.25,802.25]},"gravity_m_s2":9.81,"doubt":[{"name":"reading","covariance_g2":[[0.25,0.0,0.0,0.0],[0.0,0.25,0.0,0.0],[0.0,0.0,0.25,0.0],[0.0,0.0,0.0,0.25]]}],"warnings":[]}');
INSERT INTO "records" VALUES('ebc5a7810bcf4669a1b56e50ffa335e4',2,'c3d5016424894c13adf3fefc69795da6','push','Dunlin, rear left','2026-11-25T21:53:04.992+00:00','pivotbench 0.1.0','{}','{"pushes":[{"number":1,"turn_deg":-8.5,"turn_u_deg":0.25,"travel_mm":150.0,"travel_u_mm":0.5,"start_s":1.25,"end_s":2.5,"end_pose":[0.01,0.15,-0.148],"rest_frames":[30,25],"pivot":{"kappa_per_m":-1.0,"kappa_u_per_m":0.03,"kappa_interval_per_m":[-1.06,-0.94],"finding":"pivot","wheelbase_m":0.257,"count":1,"method":"größer ½","station_pct":439.1,"interval_pct":[417.0,463.9],"warnings":[]},"start_pose":[0.0,0.0,0.0],"outliers":0,"warnings":[]}],"track":{"frames_read":90,"camera":{"matrix":[[900.0,0.0,480.0],[0.0,900.0,270.0],[0.0,0.0,1.0]],"distortion":[0.0,0.0,0.0,0.0,0.0],"size":[960,540],"u":[0.0,0.0,0.0,0.0,0.0,0.0,0.0,0.0,0.0],"known":false},"frames_left_out":0,"left_out":{},"notes":[],"warnings":[]}}');
CREATE INDEX records_by_kind ON records (kind, number);
COMMIT;
