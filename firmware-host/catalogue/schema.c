/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

static const char *fault_of_item(const json_t *content) {
    struct up_item item;
    return up_item_from_json(content, &item) ? NULL : "has \"part_ids\" that are not a list of ids";
}

static const char *fault_of_reference(const json_t *content) {
    struct up_reference reference;
    return up_reference_from_json(content, &reference)
               ? NULL
               : "has a mass and volume, or an expansion, that cannot be";
}

static const char *fault_of_kind(const json_t *content) {
    return catalogue_kind_is_sound(content) ? NULL : "has tolerances that cannot be";
}

#define TABLE(kind_, list_, members_)                                                              \
    .kind = (kind_), .id_name = (kind_ "_id"), .file = (list_ ".csv"), .list = (list_),            \
    .members = (members_)
const struct catalogue_table catalogue_tables[CATALOGUE_TABLES] = {
    {TABLE("item", "items", catalogue_item_members), .fault = fault_of_item},
    {TABLE("calibration", "calibrations", catalogue_calibration_members), .alone = true},
    {TABLE("result", "results", catalogue_result_members), .alone = true},
    {TABLE("run", "runs", catalogue_run_members)},
    {TABLE("trial", "trials", catalogue_trial_members), .alone = true},
    {TABLE("rig", "rigs", catalogue_rig_members)},
    {TABLE("decision", "decisions", catalogue_decision_members), .alone = true},
    {TABLE("reference", "reference_bodies", catalogue_reference_members),
     .fault = fault_of_reference},
    {TABLE("reference_check", "reference_checks", catalogue_check_members), .alone = true},
    {TABLE("gear_kind", "gear_kinds", catalogue_kind_members), .fault = fault_of_kind},
    {TABLE("writer", "writers", catalogue_writer_members), .alone = true},
    {TABLE("held", "held", catalogue_held_members), .alone = true},
    {TABLE("vouching", "vouchings", catalogue_vouching_members), .alone = true,
     .fault = catalogue_fault_of_key},
    {TABLE("rotation", "rotations", catalogue_rotation_members), .alone = true,
     .fault = catalogue_fault_of_key},
    {TABLE("revocation", "revocations", catalogue_revocation_members), .alone = true,
     .fault = catalogue_fault_of_revocation},
    {TABLE("recall", "recalls", catalogue_recall_members), .alone = true,
     .fault = catalogue_fault_of_recall},
};

const struct catalogue_table *catalogue_table_of(const char *kind) {
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        if (strcmp(catalogue_tables[i].kind, kind) == 0) {
            return &catalogue_tables[i];
        }
    }
    return NULL;
}

/* recursive_triggers closes the way round the DELETE trigger that REPLACE would be; it holds for
   connections of ours only. record_once closes it for every connection, and also where REPLACE
   names a rowid that is taken. The same record again is let go: that is what merging meets. */
static const char tables[] =
    "CREATE TABLE record ("
    " id TEXT NOT NULL, sha256 TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,"
    " bench TEXT NOT NULL, made_utc TEXT NOT NULL, body TEXT NOT NULL,"
    " PRIMARY KEY (id, sha256));"
    "CREATE TABLE replaces ("
    " new_id TEXT NOT NULL, old_id TEXT NOT NULL, PRIMARY KEY (new_id, old_id)) WITHOUT ROWID;"
    "CREATE INDEX record_subject ON record (kind, subject);"
    "CREATE INDEX replaces_old ON replaces (old_id);"
    "CREATE TRIGGER record_once BEFORE INSERT ON record"
    " WHEN EXISTS (SELECT 1 FROM record WHERE rowid = NEW.rowid"
    "  OR (id = NEW.id AND sha256 = NEW.sha256))"
    " BEGIN SELECT CASE WHEN EXISTS (SELECT 1 FROM record WHERE id = NEW.id"
    "  AND sha256 = NEW.sha256 AND kind = NEW.kind AND subject = NEW.subject"
    "  AND bench = NEW.bench AND made_utc = NEW.made_utc AND body = NEW.body)"
    "  THEN RAISE(IGNORE) ELSE RAISE(ABORT, 'records are never changed') END; "
    "END;" CATALOGUE_RECORD_KEPT CATALOGUE_RECORD_STAYS
    "CREATE TRIGGER replaces_kept BEFORE UPDATE ON replaces"
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;" CATALOGUE_REPLACES_STAYS;

/* What the second version of the tables added. record_time gives one kind in the order of time
   without sorting; bench_counter is derived: the last number and time of each bench, so that they
   need not be found among all records. */
#define TABLES_2(missing)                                                                          \
    "CREATE INDEX " missing "record_time ON record (kind, made_utc, id);"                          \
    "CREATE TABLE " missing "bench_counter ("                                                      \
    " bench TEXT PRIMARY KEY, last_sequence INTEGER NOT NULL, last_utc TEXT NOT NULL,"             \
    " ran_back INTEGER NOT NULL) WITHOUT ROWID;"

/* What the fourth added. local_mark says of records what holds in this folder alone, so it is never
   exported: see origin.c. record_hash finds one record under two ids. */
#define TABLES_4(missing)                                                                          \
    "CREATE INDEX " missing "record_hash ON record (sha256);"                                      \
    "CREATE TABLE " missing "local_mark ("                                                         \
    " record_id TEXT NOT NULL, mark TEXT NOT NULL, place TEXT NOT NULL, reason TEXT NOT NULL,"     \
    " made_utc TEXT NOT NULL, PRIMARY KEY (record_id, mark)) WITHOUT ROWID;"

/* What the sixth added; `replaces` is a list of ids in JSON: see contested.c. */
#define TABLES_6(missing)                                                                          \
    "CREATE TABLE " missing "contested ("                                                          \
    " id TEXT NOT NULL, sha256 TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,"          \
    " bench TEXT NOT NULL, made_utc TEXT NOT NULL, body TEXT NOT NULL, replaces TEXT NOT NULL,"    \
    " PRIMARY KEY (id, sha256)) WITHOUT ROWID;"

/* What the ninth added: records as they were signed. See signed.c. */
#define TABLES_9(missing)                                                                          \
    "CREATE TABLE " missing "signed ("                                                             \
    " id TEXT NOT NULL, sha256 TEXT NOT NULL, writer TEXT NOT NULL, sequence INTEGER NOT NULL,"    \
    " envelope TEXT NOT NULL, signature TEXT NOT NULL,"                                            \
    " PRIMARY KEY (id, sha256)) WITHOUT ROWID;"                                                    \
    "CREATE TABLE " missing "detail (sha256 TEXT PRIMARY KEY, body TEXT NOT NULL);"                \
    "CREATE INDEX " missing "signed_writer ON signed (writer, sequence);"                          \
    "CREATE TRIGGER " missing "signed_once BEFORE INSERT ON signed WHEN EXISTS"                    \
    " (SELECT 1 FROM signed WHERE id = NEW.id AND sha256 = NEW.sha256)"                            \
    " BEGIN SELECT RAISE(IGNORE); END;" CATALOGUE_SIGNED_KEPT_(                                    \
        missing) "CREATE TRIGGER " missing "signed_stays BEFORE DELETE ON signed"                  \
                 " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"                   \
                 "CREATE TRIGGER " missing "detail_once BEFORE INSERT ON detail WHEN EXISTS"       \
                 " (SELECT 1 FROM detail WHERE rowid = NEW.rowid OR sha256 = NEW.sha256)"          \
                 " BEGIN SELECT RAISE(IGNORE); END;"                                               \
                 "CREATE TRIGGER " missing "detail_kept BEFORE UPDATE ON detail"                   \
                 " BEGIN SELECT RAISE(ABORT, 'records are never changed'); "                       \
                 "END;" CATALOGUE_DETAIL_STAYS(missing)

/* What the tenth added: texts that stay in this folder. See private.c. */
#define TABLES_10_PRIVATE(missing)                                                                 \
    "CREATE TABLE " missing "private ("                                                            \
    " thing TEXT NOT NULL, member TEXT NOT NULL, salt TEXT NOT NULL, body TEXT NOT NULL,"          \
    " made_utc TEXT NOT NULL, PRIMARY KEY (thing, member)) WITHOUT ROWID;"

/* What the tenth added of trust. What was given here is never exported; the others are derived. See
   trust.c. */
#define TRUST_TABLES(create)                                                                       \
    create "trusted ("                                                                             \
           " writer TEXT PRIMARY KEY, role TEXT NOT NULL, name TEXT NOT NULL,"                     \
           " reason TEXT NOT NULL, made_utc TEXT NOT NULL) WITHOUT ROWID;" create "standing ("     \
           " writer TEXT NOT NULL, role TEXT NOT NULL, how TEXT NOT NULL, through TEXT NOT NULL,"  \
           " name TEXT NOT NULL, PRIMARY KEY (writer, role)) WITHOUT ROWID;" create "rotated ("    \
           " old TEXT NOT NULL, new TEXT NOT NULL, sequence INTEGER NOT NULL,"                     \
           " PRIMARY KEY (old, new)) WITHOUT ROWID;" create "revoked ("                            \
           " writer TEXT PRIMARY KEY, last_sequence INTEGER NOT NULL, last_sha256 TEXT NOT NULL,"  \
           " by_writer TEXT NOT NULL, reason TEXT NOT NULL) WITHOUT ROWID;" create "recalled ("    \
           " sha256 TEXT PRIMARY KEY, writer TEXT NOT NULL, first_sequence INTEGER NOT NULL,"      \
           " last_sequence INTEGER NOT NULL, by_writer TEXT NOT NULL, reason TEXT NOT NULL)"       \
           " WITHOUT ROWID;" create "left_out ("                                                   \
           " record_id TEXT NOT NULL, sha256 TEXT NOT NULL, how TEXT NOT NULL, why TEXT NOT NULL," \
           " PRIMARY KEY (record_id, sha256)) WITHOUT ROWID;"
#define TABLES_10_TRUST(missing)                                                                   \
    TRUST_TABLES("CREATE TABLE " missing)                                                          \
    "CREATE INDEX " missing "contested_subject ON contested (kind, subject);"

const char catalogue_trust_for_now[] =
    "PRAGMA temp_store = MEMORY;" TRUST_TABLES("CREATE TEMP TABLE ");

/* From before there were marks: the origin of a record is unknown. It counts as one of here; only a
   calibration must be adopted before it is used. */
#define MARK_ALL                                                                                   \
    "INSERT INTO local_mark SELECT DISTINCT id, 'kept', '', '', made_utc FROM record WHERE true"   \
    " ON CONFLICT DO NOTHING;"

const char catalogue_marks_for_now[] =
    "CREATE TEMP TABLE local_mark (record_id TEXT NOT NULL, mark TEXT NOT NULL,"
    " place TEXT NOT NULL, reason TEXT NOT NULL, made_utc TEXT NOT NULL,"
    " PRIMARY KEY (record_id, mark)) WITHOUT ROWID;" MARK_ALL;

/* What the seventh added: marks for what was measured before there were such. An earlier `decide`
   could make results here of a run of elsewhere; they are of there, too. */
#define OWN_IDS "own(id) AS (SELECT record_id FROM local_mark WHERE mark IN ('made', 'kept'))"
static const char marks_7[] =
    "CREATE TEMP VIEW says AS SELECT id, kind, subject, json_extract(body, '$.run_id') AS run_id,"
    " json_extract(body, '$.item_id') AS item_id, json_extract(body, '$.reference_id') AS body_id"
    " FROM (SELECT id, kind, subject, CASE WHEN json_valid(body) THEN body END AS body FROM record"
    "  WHERE kind IN ('run', 'trial', 'result', 'reference_check'));"
    "DELETE FROM local_mark WHERE mark = 'made' AND record_id IN (WITH " OWN_IDS ", made AS"
    " (SELECT id, run_id FROM says WHERE kind = 'result') SELECT id FROM made WHERE run_id <> ''"
    " AND run_id IN (SELECT run_id FROM made WHERE id NOT IN own)"
    " AND run_id NOT IN (SELECT subject FROM says WHERE kind = 'run' AND id IN own));"
    "INSERT INTO local_mark WITH " OWN_IDS ", weighed AS (SELECT * FROM says WHERE id IN own),"
    " counting AS (SELECT * FROM (SELECT *, row_number() OVER (PARTITION BY kind, subject"
    "  ORDER BY " CATALOGUE_RANK(
        CATALOGUE_NOW_SQL) " DESC) AS place FROM record AS r"
                           "  WHERE kind IN ('item', 'reference') AND " CATALOGUE_COUNTS(
                               CATALOGUE_NOW_SQL) ")"
                                                  "  WHERE place = 1)"
                                                  " SELECT id, 'used', '', '', made_utc FROM "
                                                  "counting WHERE id NOT IN own AND"
                                                  " kind IN ('item', 'reference') AND (subject IN "
                                                  "(SELECT item_id FROM weighed)"
                                                  "  OR subject IN (SELECT body_id FROM weighed));"
                                                  "DROP VIEW says;";

/* What others say of a bench moves its count, so that laptops at one bench go on with it; but not
   its time, which is of the clock here. Nor does a number that is none, or lies above 2^51: what is
   numbered after it could be taken in nowhere. Nor what was left out. */
#define IS_MADE(id) CATALOGUE_HAS_MARK(id, "'made'")
#define IS_LEFT_OUT "(" CATALOGUE_IS_ASIDE("id") " OR " CATALOGUE_IS_OUT("record") ")"
#define IS_COUNTED  "(NOT " IS_LEFT_OUT " OR " CATALOGUE_IS_OWN("id") ")"
const char catalogue_count_again[] =
    "DELETE FROM bench_counter;"
    "INSERT INTO bench_counter"
    " SELECT bench, coalesce(max(n), 0), coalesce(max(CASE WHEN own THEN stamp END), ''),"
    "  coalesce(max(back), 0) FROM ("
    "  SELECT bench, own, n, stamp, stamp < max(stamp) OVER ("
    "   PARTITION BY bench, own ORDER BY n, stamp"
    "   ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS back FROM ("
    "   SELECT bench, own, CASE WHEN made OR made_utc <= " CATALOGUE_NOW_SQL
    "     THEN made_utc END AS stamp,"
    "    CASE WHEN typeof(n) = 'integer' AND (made OR n BETWEEN 0 AND 2251799813685248)"
    "     THEN n END AS n"
    "    FROM (SELECT bench, made_utc, " IS_MADE("id") " AS made, " CATALOGUE_IS_OWN(
        "id") "     AS own, CASE WHEN json_valid(body) THEN json_extract(body, '$.bench_sequence') "
              "END AS n"
              "     FROM record WHERE bench <> '' AND " IS_COUNTED "))) GROUP BY bench;";

/* For others, who may rely on names and columns; we ask the tables themselves. */
static const char views[] =
    "CREATE VIEW live AS SELECT id, sha256, kind, subject, bench, made_utc, body FROM record AS r"
    " WHERE NOT EXISTS (SELECT 1 FROM replaces JOIN record AS n ON n.id = new_id"
    "  WHERE old_id = r.id AND +n.kind = r.kind AND +n.subject = r.subject);"
    "CREATE VIEW current AS SELECT r.id, r.sha256, r.kind, r.subject, r.bench, r.made_utc, r.body"
    " FROM newest AS n JOIN record AS r ON r.rowid = n.record;"
    "CREATE VIEW model AS SELECT maker, model, size, count(*) AS items,"
    " group_concat(item_id, ' ') AS item_ids FROM item WHERE model <> ''"
    " GROUP BY maker, model, size;";

/* Takes `text` and returns it with the rest behind it. */
static char *append(char *text, char *more) {
    char *both = up_text_format("%s%s", text, more);
    free(text);
    free(more);
    return both;
}

/* json_extract and not ->>: a reader with an SQLite from before 3.38 could not even open the file
   otherwise. */
static char *columns_of(char *sql, const struct catalogue_member *members, const char *json) {
    for (const struct catalogue_member *member = members; member->key != NULL; member++) {
        /* A whole number has no fraction in canonical JSON, but is one still. */
        bool real = json != NULL && member->type == MEMBER_NUMBER;
        if (catalogue_is_column(member) && json == NULL) {
            sql = append(sql, up_text_format(", %s\"%s\"",
                                             (member->flags & OF_RECORD) != 0 ? "r." : "t.",
                                             member->key));
        } else if (catalogue_is_column(member)) {
            sql = append(sql, up_text_format(", %sjson_extract(%s, '$.%s')%s AS \"%s\"",
                                             real ? "CAST(" : "", json, member->key,
                                             real ? " AS REAL)" : "", member->key));
        }
    }
    return sql;
}

/* Items whose calculated waters are withdrawn, as settle_gas (item.c) has it. */
static char *squeezed_view(char *sql) {
    UP_FREED char *none = up_text_format("''");
    for (unsigned i = 0; up_kind_facts_at(i) != NULL; i++) {
        if (up_kind_facts_at(i)->holds_gas == UP_GAS_NO) {
            none = append(none, up_text_format(", '%s'", up_kind_facts_at(i)->name));
        }
    }
    sql = append(
        sql, up_text_format("CREATE VIEW squeezed_item AS SELECT subject AS item_id FROM typed_item"
                            " WHERE compressible OR coalesce(holds_gas, CASE WHEN lower(kind)"
                            "  IN (%s) THEN 'no' ELSE 'unknown' END) <> 'no';",
                            none));
    return sql;
}

/* A withdrawn number is not shown. */
static const char *shown_condition(const struct catalogue_table *table) {
    return strcmp(table->kind, "result") == 0 || strcmp(table->kind, "decision") == 0
               ? " WHERE t.water = 'tank' OR coalesce(t.item_id, '') NOT IN (SELECT item_id FROM"
                 " squeezed_item)"
               : "";
}

static char *view(char *sql, const struct catalogue_table *table) {
    sql = append(sql, up_text_format("CREATE VIEW %s AS SELECT t.subject AS %s, r.id AS record_id,"
                                     " t.made_utc",
                                     table->kind, table->id_name));
    sql = columns_of(sql, table->members, NULL);
    return append(sql, up_text_format(" FROM typed_%s AS t JOIN record AS r ON r.rowid = t.record"
                                      "%s;",
                                      table->kind, shown_condition(table)));
}

static char *plateau_view(char *sql) {
    sql = append(sql, up_text_format("CREATE VIEW plateau AS SELECT"
                                     " CASE kind WHEN 'trial' THEN subject END AS trial_id,"
                                     " CASE kind WHEN 'trial' THEN json_extract(body, '$.run_id')"
                                     " ELSE subject END AS run_id, json_each.key + 1 AS number"));
    sql = columns_of(sql, catalogue_plateau_members, "value");
    return append(sql,
                  up_text_format(" FROM current, json_each(coalesce((SELECT detail.body FROM detail"
                                 " WHERE detail.sha256 = current.sha256), current.body),"
                                 " '$.plateaus')"
                                 " WHERE kind IN ('trial', 'run');"));
}

static char *all_views(char *sql) {
    sql = squeezed_view(plateau_view(append(sql, up_text_format("%s", views))));
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sql = view(sql, &catalogue_tables[i]);
    }
    return sql;
}

char *catalogue_tables_of(int version) {
    return up_text_format("%s%s%s%s%s%s%s", tables, version >= 2 ? TABLES_2("") : "",
                          version >= 4 ? TABLES_4("") : "", version >= 6 ? TABLES_6("") : "",
                          version >= SIGNED_SINCE ? TABLES_9("") : "",
                          version >= PRIVATE_SINCE ? TABLES_10_PRIVATE("") : "",
                          version >= TRUST_SINCE ? TABLES_10_TRUST("") : "");
}

char *catalogue_schema(void) {
    return all_views(catalogue_tables_of(SCHEMA_VERSION));
}

/* Views hold nothing, so they are made anew. Tables are made where they are missing: an older
   program may have set back the version's number. */
#define MISSING "IF NOT EXISTS "
char *catalogue_migration(int version) {
    char *sql = up_text_format("DROP VIEW IF EXISTS current; DROP VIEW IF EXISTS live;"
                               "DROP VIEW IF EXISTS plateau; DROP VIEW IF EXISTS model;"
                               "DROP VIEW IF EXISTS squeezed_item;");
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sql = append(sql, up_text_format("DROP VIEW IF EXISTS %s;", catalogue_tables[i].kind));
    }
    if (version < 4) {
        sql = append(sql, up_text_format("%s%s" MARK_ALL, version < 2 ? TABLES_2(MISSING) : "",
                                         TABLES_4(MISSING)));
    }
    sql = append(sql, up_text_format("%s%s%s", version < 6 ? TABLES_6(MISSING) : "",
                                     version < SIGNED_SINCE ? TABLES_9(MISSING) : "",
                                     version < TRUST_SINCE ? TABLES_10_TRUST(MISSING) : ""));
    if (version < 2) {
        sql = append(sql, up_text_format("%s", catalogue_count_again));
    }
    sql = append(sql,
                 up_text_format("%s", version < PRIVATE_SINCE ? TABLES_10_PRIVATE(MISSING) : ""));
    return append(all_views(sql), up_text_format("%s", version < 7 ? marks_7 : ""));
}

/* ---- whether a file has these tables ---- */

/* Whether a file has the tables of a catalogue, word by word: one that came from somebody else may
   call anything a table, and a trigger could take away what was just stored, or never end. Views
   are for others; nothing here asks them. */

/* SQLite keeps a statement as it was written, without the semicolon. */
static bool is_among(const char *statements, const char *statement) {
    size_t length = strlen(statement);
    const char *at = statements;
    while ((at = strstr(at, statement)) != NULL && at[length] != ';') {
        at++;
    }
    return at != NULL && length > 0;
}

static int count_statements(const char *statements) {
    int count = 0;
    for (const char *at = statements; (at = strstr(at, "CREATE ")) != NULL; at++) {
        count++;
    }
    return count;
}

static bool refuse(const struct up_catalogue *catalogue, const char *name,
                   struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s/catalogue.sqlite has not the tables of a catalogue%s%.60s: another program "
                   "changed them; restore a copy",
                   catalogue->directory, name[0] != '\0' ? ", see " : "", name);
}

struct versions {
    char *needed[SCHEMA_VERSION + 1]; /* the statements of each version */
    int there[SCHEMA_VERSION + 1];    /* and how many of them are */
};

static void count(struct versions *versions, const char *sql) {
    for (int version = 1; version <= SCHEMA_VERSION; version++) {
        versions->there[version] += is_among(versions->needed[version], sql);
    }
}

static bool is_whole(const struct versions *versions, int version) {
    return versions->there[version] >= count_statements(versions->needed[version]);
}

/* The newest one that added tables, all of which are there. */
static int newest_whole(const struct versions *versions, int version) {
    int newest = SCHEMA_VERSION;
    while (newest > version &&
           (strcmp(versions->needed[newest], versions->needed[newest - 1]) == 0 ||
            !is_whole(versions, newest))) {
        newest--;
    }
    return newest;
}

/* An older program may have set back the file's number, so that its tables would be taken for older
   ones and what they hold for unsigned: they are taken for what they are. */
static bool check_rows(struct up_catalogue *catalogue, struct versions *versions,
                       sqlite3_stmt *statement, struct up_failure *failure) {
    int code = SQLITE_DONE;
    bool good = true;
    while (good && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        const char *name = (const char *)sqlite3_column_text(statement, 0);
        const char *sql = (const char *)sqlite3_column_text(statement, 1);
        good = (sql != NULL && is_among(versions->needed[SCHEMA_VERSION], sql)) ||
               refuse(catalogue, name != NULL ? name : "", failure);
        if (good) {
            count(versions, sql);
        }
    }
    if (good && code != SQLITE_DONE) {
        good = catalogue_fail(catalogue, code, failure);
    } else if (good && !is_whole(versions, catalogue->version)) {
        good = refuse(catalogue, "", failure);
    }
    catalogue->version = good ? newest_whole(versions, catalogue->version) : catalogue->version;
    return good;
}

/* Whoever writes into sqlite_master may name a rule of theirs like one of SQLite's own, and choose
   the case of each word; only SQLite's indexes for keys have no statement. */
bool catalogue_check_schema(struct up_catalogue *catalogue, struct up_failure *failure) {
    static const char sql[] =
        "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"
        " AND (type = 'trigger' COLLATE NOCASE OR name COLLATE NOCASE IN " CATALOGUE_TABLE_NAMES
        " OR (type = 'index' COLLATE NOCASE"
        " AND tbl_name COLLATE NOCASE IN " CATALOGUE_TABLE_NAMES "))";
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    struct versions versions = {.there = {0}};
    for (int version = 0; version <= SCHEMA_VERSION; version++) {
        versions.needed[version] = catalogue_tables_of(version);
    }
    bool good = code == SQLITE_OK ? check_rows(catalogue, &versions, statement, failure)
                                  : catalogue_fail(catalogue, code, failure);
    sqlite3_finalize(statement);
    for (int version = 0; version <= SCHEMA_VERSION; version++) {
        free(versions.needed[version]);
    }
    return good;
}
