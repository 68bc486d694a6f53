-- A store as the first released schema made it; made once, never changed.
BEGIN TRANSACTION;
CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
);
INSERT INTO "_sqlite_migrations" VALUES(1,'fourpair','0001_records','2026-11-25 12:41:29.930328+00:00');
CREATE TABLE api_key (
        id TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        digest TEXT NOT NULL,
        scopes TEXT NOT NULL CHECK (json_valid(scopes)),
        created_at TEXT NOT NULL,
        jobs TEXT CHECK (jobs IS NULL OR json_valid(jobs)),
        expires_at TEXT,
        revoked_at TEXT,
        last_used_at TEXT,
        replaces TEXT,
        requests_per_minute INTEGER
    ) STRICT
    ;
CREATE TABLE assessment (
        record_id TEXT NOT NULL,
        number INTEGER NOT NULL,
        version TEXT NOT NULL,
        document BLOB NOT NULL,
        PRIMARY KEY (record_id, number)
    ) STRICT
    ;
CREATE TABLE attachment (
        id TEXT PRIMARY KEY,
        job_id TEXT NOT NULL,
        name TEXT NOT NULL,
        media_type TEXT NOT NULL,
        size INTEGER NOT NULL,
        digest TEXT NOT NULL,
        at TEXT NOT NULL,
        actor TEXT NOT NULL
    ) STRICT
    ;
INSERT INTO "attachment" VALUES('r5','harbour-hall','plan','text/plain',4,'sha256:64879f7d6b960a01909762d911a32d4582c20010c5641ee90278b644a9e3b525','2026-11-02T08:00:07.000000Z','tester');
CREATE TABLE attachment_content (digest TEXT PRIMARY KEY, content BLOB NOT NULL) STRICT;
INSERT INTO "attachment_content" VALUES('sha256:64879f7d6b960a01909762d911a32d4582c20010c5641ee90278b644a9e3b525',X'706C616E');
CREATE TABLE change (
        seq INTEGER PRIMARY KEY CHECK (seq >= 1),
        previous_seq INTEGER,
        kind TEXT NOT NULL,
        at TEXT NOT NULL,
        job_id TEXT NOT NULL,
        previous_job_id TEXT,
        record_id TEXT,
        number INTEGER NOT NULL,
        label TEXT,
        outcome TEXT,
        previous_outcome TEXT
    ) STRICT
    ;
INSERT INTO "change" VALUES(1,NULL,'job.created','2026-11-02T08:00:00.000000Z','harbour-hall',NULL,NULL,1,NULL,NULL,NULL);
INSERT INTO "change" VALUES(2,NULL,'record.submitted','2026-11-02T08:00:01.000000Z','harbour-hall',NULL,'r2',1,'A-00','pass',NULL);
INSERT INTO "change" VALUES(3,NULL,'record.submitted','2026-11-02T08:00:04.000000Z','harbour-hall',NULL,'r4',1,'A-01','pass',NULL);
CREATE TABLE content (
        seq INTEGER PRIMARY KEY,
        verdict BLOB NOT NULL,
        rest BLOB NOT NULL,
        curves BLOB,
        curves_seq INTEGER NOT NULL REFERENCES content (seq),
        CHECK ((curves IS NULL) = (curves_seq <> seq))
    ) STRICT
    ;
INSERT INTO "content" VALUES(2,X'7801A5924D4FC3300C86FF8BCF19EA0A9B446F1CB8EEC401094D95B7B89DA5262949CA1855FF3BF62634D86E23A7F8753E9ED7F6081D6EA8830A9E66450106C290B7C191083DA62442A4F7812339F219AA11B698A90DF12007969A1D3AAA13490A2CB9302B8B7209D36F7D04B67FB2062CB794F44ADA61B95856C5FFD6A37ED8C7F0C189834731D36097C8C08ED0C6105C6D37502DEE0A037B71523BECD5C995D386BD65DF26A8DED6FA2246749429AA309E43E1F6F499C57CE6DC69A556CFAF2F120E9E8F75D8C89EBC9AF6845182AB9FF621A62C1CB165AF28A7DD19D311A621923D2A0F47F28E1DE7535CA89346FB427E7BA8DDEE0BAAB96A3DB2C2C2BC9CDD4B1726731B75730374B9307049ADDA2DD86BF333654CA7DA5F0C5DCA3284E253BA03D37AFA067544DA0F',X'7801658D4D0AC2301085EF325B1B4852A8909D77702752923AB5D534A96982D692BB3B01C1859B796FBE373F1B586DD0828203E31C2AB87943CDA083F129B0415B4BB0F3AE1FAF29E8387A47F18C61D20E5D6CEDE8EE341071897869CD4A61A87F40470292CB8609C1B83C0AAEA4507CBFE354CBBB3EE023A1EBD6761ADEA04E1B2C5107DA1215399CBFC61723F399E013715E406DE0F045734575282A24AB1B502E599BE9F03FCC397F00245B4A9C',X'433100000041789C8B8E36D23131D6898E8E562A2E4F4D2D2856D251CA4BAD280153894540CAD048D7D84C2956C7D048C72056078BBA3474654AE98E8EB64AB1400000EF8719DB70636F210300040604010817000091011051038050FC07780020003180000200120000D205AC770C080100',2);
INSERT INTO "content" VALUES(3,X'7801A5924D4FC3300C86FF8BCF19EA0A9B446F1CB8EEC401094D95B7B89DA5262949CA1855FF3BF62634D86E23A7F8753E9ED7F6081D6EA8830A9E66C51C0C84216F8323117A4C498448EF034772E43354236C31531BE2410E2C353B74542792145872615616E512A6DFFA086CFF640D586E29E995B4C372B1AC8AFFAD47FDB08FE18313078F62A6C12E91811DA18D21B8DA6EA05ADC1506F6E2A476D8AB932BA70D7BCBBE4D50BDADF5458CE8285354613C87C2EDE9338BF9CCB9D34AAD9E5F5F241C3C1FEBB0913D7935ED09A304573FED434C593862CB5E514EBB33A6234C43247B541E8EE41D3BCEA7B850278DF685FCF650BBDD175473D57A6485857939BB972E4CE636EAE606E87261E0925AB55BB0D7E667CA984EB5BF18BA946508C5A77407A6F5F40D77FBDA10',X'7801658CC10E82301044FF65AFD2A42D0926BDF90FDE8C215B5C042D2D961245D27F77494C3C78D9997D33BB2B38B4E4C0C041480505DC82E5A5C368C31C4587CE316C826FFBEB1C31F5C1733C521CD0934FB5EBFD9D0B89A64497DA2E1CC6F2073031D05257422921F55149A39591FB9DE429B9D7467ACCE49BA51EBA3798D30A53C2C857AA6047E3D784CDE87C66F8241A27302B787A716F538C9B2A2DCA0A8C9F9DCBFCF81FE69C3F253D4A9D',X'433100000041789C8B8E36D23131D6898E8E562A2E4F4D2D2856D251CA4BAD280153894540CAD048D7D84C2956C7D048C72056078BBA3474654AE98E8EB64AB1400000EF8719DB70636F210300040604010817000091011051038050FC07780020003180000200120000D205AC770C080100',3);
CREATE TABLE fault (
        key TEXT PRIMARY KEY,
        record_id TEXT NOT NULL,
        what TEXT NOT NULL,
        title TEXT NOT NULL,
        detail TEXT NOT NULL,
        opened_seq INTEGER NOT NULL,
        seen_seq INTEGER NOT NULL,
        closed_seq INTEGER
    ) STRICT, WITHOUT ROWID
    ;
CREATE TABLE idempotency (
        owner TEXT NOT NULL,
        key TEXT NOT NULL,
        fingerprint TEXT NOT NULL,
        subject TEXT NOT NULL,
        subject_id TEXT NOT NULL,
        number INTEGER,
        seq INTEGER,
        at TEXT NOT NULL,
        status INTEGER NOT NULL,
        answer TEXT CHECK (answer IS NULL OR json_valid(answer)),
        PRIMARY KEY (owner, key)
    ) STRICT, WITHOUT ROWID
    ;
INSERT INTO "idempotency" VALUES('tester','k0','f','record','r2',1,2,'2026-11-02T08:00:02.000000Z',201,NULL);
INSERT INTO "idempotency" VALUES('tester','k1','f','record','r4',1,3,'2026-11-02T08:00:05.000000Z',201,NULL);
CREATE TABLE job (
        id TEXT PRIMARY KEY,
        seq INTEGER NOT NULL,
        revision INTEGER NOT NULL CHECK (revision >= 1)
    ) STRICT
    ;
INSERT INTO "job" VALUES('harbour-hall',1,1);
CREATE TABLE job_external_id (
        system TEXT NOT NULL,
        value TEXT NOT NULL,
        job_id TEXT NOT NULL,
        PRIMARY KEY (system, value)
    ) STRICT, WITHOUT ROWID
    ;
CREATE TABLE job_revision (
        job_id TEXT NOT NULL,
        number INTEGER NOT NULL CHECK (number >= 1),
        document TEXT NOT NULL CHECK (json_valid(document)),
        PRIMARY KEY (job_id, number)
    ) STRICT, WITHOUT ROWID
    ;
INSERT INTO "job_revision" VALUES('harbour-hall',1,'{"acceptance":null,"actor":"tester","applications":[],"at":"2026-11-02T08:00:00.000000Z","configuration":null,"cords":{},"customer_id":"r1","external_ids":{},"id":"harbour-hall","marginal_pass_billable":false,"metadata":{},"minimum_basis":null,"name":"Harbour hall","power_type":null,"requirement":{},"revision":1,"schedule":[],"site":null}');
CREATE TABLE party (
        id TEXT PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('person', 'customer')),
        name TEXT,
        erased_at TEXT,
        CHECK ((name IS NULL) = (erased_at IS NOT NULL))
    ) STRICT
    ;
INSERT INTO "party" VALUES('r1','customer','Port',NULL);
INSERT INTO "party" VALUES('r3','person','crew 2',NULL);
CREATE TABLE record (
        row INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        job_id TEXT NOT NULL,
        label TEXT NOT NULL CHECK (label <> ''),
        revision INTEGER NOT NULL CHECK (revision >= 1),
        digest TEXT NOT NULL CHECK (digest GLOB 'sha256:*'),
        seq INTEGER NOT NULL,
        kind TEXT NOT NULL
            CHECK (kind IN ('submitted', 'retested', 'corrected', 'regraded', 'withdrawn')),
        outcome TEXT NOT NULL
            CHECK (outcome IN ('pass', 'marginal_pass', 'marginal_fail', 'fail', 'incomplete')),
        first_outcome TEXT NOT NULL,
        headroom_db REAL,
        category TEXT NOT NULL,
        rule_set_id TEXT NOT NULL,
        provisional INTEGER NOT NULL CHECK (provisional IN (0, 1)),
        tester_id TEXT,
        tested_at TEXT,
        created_at TEXT NOT NULL,
        changed_at TEXT NOT NULL,
        measurement_digest TEXT NOT NULL,
        measured_digest TEXT NOT NULL,
        external_ids TEXT NOT NULL CHECK (json_valid(external_ids)),
        categories_met TEXT NOT NULL CHECK (json_valid(categories_met)),
        applications TEXT NOT NULL CHECK (json_valid(applications)),
        power_types TEXT NOT NULL CHECK (json_valid(power_types)),
        failing TEXT NOT NULL CHECK (json_valid(failing))
    ) STRICT
    ;
INSERT INTO "record" VALUES(2,'r2','harbour-hall','A-00',1,'sha256:89143909e3e53d1679a74285e00ad22320a5c90d73532adb138cf3ce3a40060e',2,'submitted','pass','pass',5.0,'6','demo-2026',0,'r3','2026-11-02T09:21:07.000000Z','2026-11-02T08:00:01.000000Z','2026-11-02T08:00:01.000000Z','sha256:40726af398167f299c147183602616788844dfc24303f18dcb08b15a1494ee94','sha256:516c8dedb7bd9df7975fba34b2ccb56a572195b686569fde7bcd5c1f74e75072','{}','["6"]','[]','[]','[]');
INSERT INTO "record" VALUES(3,'r4','harbour-hall','A-01',1,'sha256:d46cddf591ff18803327e173f44c7198f894ec48e65f4c3456dbde33be97eefe',3,'submitted','pass','pass',5.0,'6','demo-2026',0,'r3','2026-11-02T09:21:07.000000Z','2026-11-02T08:00:04.000000Z','2026-11-02T08:00:04.000000Z','sha256:befdc65a9de372dd93313f829194f5fea916c5d87ce1a7cc7c425f99dbc48808','sha256:516c8dedb7bd9df7975fba34b2ccb56a572195b686569fde7bcd5c1f74e75072','{}','["6"]','[]','[]','[]');
CREATE TABLE record_external_id (
        system TEXT NOT NULL,
        value TEXT NOT NULL,
        record_id TEXT NOT NULL,
        PRIMARY KEY (system, value, record_id)
    ) STRICT, WITHOUT ROWID
    ;
CREATE TABLE record_trait (
        record_row INTEGER NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('categories_met', 'applications', 'power_types', 'failing')),
        value TEXT NOT NULL,
        PRIMARY KEY (record_row, kind, value)
    ) STRICT, WITHOUT ROWID
    ;
INSERT INTO "record_trait" VALUES(2,'categories_met','6');
INSERT INTO "record_trait" VALUES(3,'categories_met','6');
CREATE TABLE revision (
        seq INTEGER PRIMARY KEY,
        record_id TEXT NOT NULL,
        number INTEGER NOT NULL CHECK (number >= 1),
        kind TEXT NOT NULL
            CHECK (kind IN ('submitted', 'retested', 'corrected', 'regraded', 'withdrawn')),
        job_id TEXT NOT NULL,
        label TEXT NOT NULL,
        external_ids TEXT NOT NULL CHECK (json_valid(external_ids)),
        tester_id TEXT,
        tested_at TEXT,
        rule_set_id TEXT NOT NULL,
        rule_set_digest TEXT NOT NULL CHECK (rule_set_digest GLOB 'sha256:*'),
        measurement_digest TEXT NOT NULL CHECK (measurement_digest GLOB 'sha256:*'),
        measured_digest TEXT NOT NULL CHECK (measured_digest GLOB 'sha256:*'),
        verdict_digest TEXT NOT NULL CHECK (verdict_digest GLOB 'sha256:*'),
        outcome TEXT NOT NULL
            CHECK (outcome IN ('pass', 'marginal_pass', 'marginal_fail', 'fail', 'incomplete')),
        headroom_db REAL,
        actor TEXT NOT NULL,
        reason TEXT,
        at TEXT NOT NULL,
        previous_digest TEXT CHECK ((previous_digest IS NULL) = (number = 1)),
        digest TEXT NOT NULL UNIQUE CHECK (digest GLOB 'sha256:*'),
        UNIQUE (record_id, number)
    ) STRICT
    ;
INSERT INTO "revision" VALUES(2,'r2',1,'submitted','harbour-hall','A-00','{}','r3','2026-11-02T09:21:07.000000Z','demo-2026','sha256:0000000000000000000000000000000000000000000000000000000000000009','sha256:40726af398167f299c147183602616788844dfc24303f18dcb08b15a1494ee94','sha256:516c8dedb7bd9df7975fba34b2ccb56a572195b686569fde7bcd5c1f74e75072','sha256:0ac655929f76d19f84c012bb3ba4f0929a9a040ba978289e62a080b2b9326c20','pass',5.0,'tester',NULL,'2026-11-02T08:00:01.000000Z',NULL,'sha256:89143909e3e53d1679a74285e00ad22320a5c90d73532adb138cf3ce3a40060e');
INSERT INTO "revision" VALUES(3,'r4',1,'submitted','harbour-hall','A-01','{}','r3','2026-11-02T09:21:07.000000Z','demo-2026','sha256:0000000000000000000000000000000000000000000000000000000000000009','sha256:befdc65a9de372dd93313f829194f5fea916c5d87ce1a7cc7c425f99dbc48808','sha256:516c8dedb7bd9df7975fba34b2ccb56a572195b686569fde7bcd5c1f74e75072','sha256:82671c78237e8624444cae3b58bd2d09413cd8aa1377fe359a3429c1f80b37b7','pass',5.0,'tester',NULL,'2026-11-02T08:00:04.000000Z',NULL,'sha256:d46cddf591ff18803327e173f44c7198f894ec48e65f4c3456dbde33be97eefe');
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE UNIQUE INDEX party_name ON party (kind, name) WHERE name IS NOT NULL;
CREATE INDEX job_external_id_job ON job_external_id (job_id);
CREATE UNIQUE INDEX record_label ON record (job_id, label) WHERE kind <> 'withdrawn';
CREATE INDEX record_job ON record (job_id, row);
CREATE INDEX record_counts ON record (job_id, kind, outcome, headroom_db);
CREATE INDEX record_seq ON record (seq);
CREATE INDEX record_by_label ON record (label, row);
CREATE INDEX record_by_tested ON record (ifnull(tested_at, ''), row);
CREATE INDEX record_by_headroom ON record (ifnull(headroom_db, 1e9), row);
CREATE INDEX record_by_outcome ON record (outcome, row);
CREATE INDEX record_external_id_record ON record_external_id (record_id);
CREATE INDEX record_trait_value ON record_trait (kind, value, record_row);
CREATE INDEX change_job ON change (job_id, seq);
CREATE INDEX change_previous_job ON change (previous_job_id, seq) WHERE previous_job_id <> job_id;
CREATE TRIGGER change_follows BEFORE INSERT ON change
    WHEN NEW.seq <> (SELECT ifnull(max(seq), 0) + 1 FROM change)
    BEGIN SELECT RAISE(ABORT, 'the feed has no gaps'); END;
CREATE INDEX fault_record ON fault (record_id, opened_seq);
CREATE INDEX attachment_job ON attachment (job_id);
CREATE INDEX idempotency_at ON idempotency (at);
CREATE TRIGGER revision_refuses_update BEFORE UPDATE ON revision BEGIN SELECT RAISE(ABORT, 'what is in revision is never changed'); END;
CREATE TRIGGER revision_refuses_delete BEFORE DELETE ON revision BEGIN SELECT RAISE(ABORT, 'what is in revision is never changed'); END;
CREATE TRIGGER content_refuses_update BEFORE UPDATE ON content BEGIN SELECT RAISE(ABORT, 'what is in content is never changed'); END;
CREATE TRIGGER content_refuses_delete BEFORE DELETE ON content BEGIN SELECT RAISE(ABORT, 'what is in content is never changed'); END;
CREATE TRIGGER change_refuses_update BEFORE UPDATE ON change BEGIN SELECT RAISE(ABORT, 'what is in change is never changed'); END;
CREATE TRIGGER change_refuses_delete BEFORE DELETE ON change BEGIN SELECT RAISE(ABORT, 'what is in change is never changed'); END;
CREATE TRIGGER job_revision_refuses_update BEFORE UPDATE ON job_revision BEGIN SELECT RAISE(ABORT, 'what is in job_revision is never changed'); END;
CREATE TRIGGER job_revision_refuses_delete BEFORE DELETE ON job_revision BEGIN SELECT RAISE(ABORT, 'what is in job_revision is never changed'); END;
CREATE TRIGGER attachment_refuses_update BEFORE UPDATE ON attachment BEGIN SELECT RAISE(ABORT, 'what is in attachment is never changed'); END;
CREATE TRIGGER attachment_refuses_delete BEFORE DELETE ON attachment BEGIN SELECT RAISE(ABORT, 'what is in attachment is never changed'); END;
CREATE TRIGGER attachment_content_refuses_update BEFORE UPDATE ON attachment_content BEGIN SELECT RAISE(ABORT, 'what is in attachment_content is never changed'); END;
CREATE TRIGGER attachment_content_refuses_delete BEFORE DELETE ON attachment_content BEGIN SELECT RAISE(ABORT, 'what is in attachment_content is never changed'); END;
COMMIT;
