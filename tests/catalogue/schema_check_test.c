/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A catalogue is opened only where its tables and rules are those that we made. */
#include "support.h"

/* A catalogue with an item, whose file somebody else then changed. */
static void change(const char *text) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "fin");
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, text);
    sqlite3_close(database);
}

static void begin_anew(void) {
    assert_int_equal(system("rm -rf c"), 0);
}

/* SQLite lets who asks for it write there, and takes what it finds. */
#define SLIP        "PRAGMA writable_schema = ON; INSERT INTO sqlite_master VALUES "
#define SLIP_UPDATE "PRAGMA writable_schema = ON; UPDATE sqlite_master SET "

static void changed_tables_are_refused(void **state) {
    (void)state;
    static const struct {
        const char *change, *words;
    } cases[] = {
        {"DROP TRIGGER record_stays", "has not the tables of a catalogue: another"},
        {"DROP INDEX record_subject", "has not the tables of a catalogue: another"},
        {"DROP TABLE bench_counter", "has not the tables of a catalogue: another"},
        {"DROP TABLE replaces; CREATE VIEW replaces AS SELECT '' AS new_id, '' AS old_id",
         "see replaces"},
        {"DROP TRIGGER record_stays; CREATE TRIGGER t AFTER INSERT ON record"
         " BEGIN DELETE FROM record WHERE id = NEW.id; END",
         "see t"},
        {"CREATE TRIGGER t AFTER INSERT ON record BEGIN"
         " INSERT INTO replaces WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)"
         " SELECT i, i FROM n; END",
         "see t"},
        {"CREATE TEMP TABLE x(a); CREATE TABLE mine(a);"
         "CREATE TRIGGER far AFTER INSERT ON mine BEGIN DELETE FROM record; END",
         "see far"},
        {"CREATE INDEX slow ON record (hex(body))", "see slow"},
        {"DROP TRIGGER record_kept; CREATE TRIGGER record_kept BEFORE UPDATE ON record"
         " BEGIN SELECT RAISE(IGNORE); END",
         "see record_kept"},
        {"ALTER TABLE record ADD COLUMN more TEXT GENERATED ALWAYS AS (body || body)",
         "see record"},
        {SLIP "('trigger', 'sqlite_x', 'record', 0, 'CREATE TRIGGER sqlite_x BEFORE INSERT ON"
              " record WHEN NEW.kind = ''item'' BEGIN SELECT RAISE(IGNORE); END')",
         "see sqlite_x"},
        {SLIP "('TRIGGER', 't', 'record', 0, 'CREATE TRIGGER t BEFORE INSERT ON record"
              " BEGIN SELECT RAISE(IGNORE); END')",
         "see t"},
        {"CREATE UNIQUE INDEX one_mark ON local_mark (mark, record_id);" SLIP_UPDATE
         "tbl_name = 'LOCAL_MARK' WHERE name = 'one_mark'",
         "see one_mark"},
        {"CREATE UNIQUE INDEX one_mark ON local_mark (mark, record_id);" SLIP_UPDATE
         "type = 'INDEX' WHERE name = 'one_mark'",
         "see one_mark"},
        {SLIP_UPDATE "name = 'RECORD', sql = sql || ' ' WHERE name = 'record'", "see RECORD"},
    };
    for (size_t i = 0; i < ARRAY(cases); i++) {
        change(cases[i].change);
        for (int mode = UP_CATALOGUE_READ; mode <= UP_CATALOGUE_CREATE; mode++) {
            assert_refused("c", (enum up_catalogue_mode)mode, UP_STATUS_WRONG_INPUT,
                           cases[i].words);
        }
        begin_anew();
    }
}

/* A file that says it is one, and whose record is a view without an end. */
static void endless_views_are_not_asked(void **state) {
    (void)state;
    change("PRAGMA writable_schema = ON; DELETE FROM sqlite_master WHERE tbl_name = 'record';"
           "PRAGMA writable_schema = RESET;"
           "CREATE VIEW record AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)"
           " SELECT i AS id, '' AS sha256, '' AS kind, '' AS subject, '' AS bench, '' AS made_utc,"
           " '' AS body, i AS rowid FROM n");
    assert_refused("c", UP_CATALOGUE_READ, UP_STATUS_WRONG_INPUT, "see record");
    assert_refused("c", UP_CATALOGUE_WRITE, UP_STATUS_WRONG_INPUT, "see record");
}

/* Others may keep tables and views of their own beside ours. */
static void what_others_add_beside_does_no_harm(void **state) {
    (void)state;
    change("CREATE TABLE mine(a PRIMARY KEY); CREATE INDEX of_mine ON mine (a);"
           "CREATE VIEW heavy AS SELECT * FROM record; DROP VIEW model; ANALYZE");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_int_equal(count_kind(catalogue, "item"), 1);
    up_catalogue_close(catalogue);
}

/* Whatever rule another program added since it was opened. */
static void what_is_not_kept_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_item item = plain_item("fin");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    sql(catalogue->database, "CREATE TEMP TRIGGER t BEFORE INSERT ON record"
                             " BEGIN SELECT RAISE(IGNORE); END");
    assert_false(up_item_add(catalogue, &item, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "did not keep a record");
    up_catalogue_close(catalogue);
}

/* More than any record is long: it is not even fetched. */
static void limits_are_set(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_prepare_v2(catalogue->database, "SELECT length(zeroblob(20000000))",
                                        -1, &statement, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(statement) & 0xFF, SQLITE_TOOBIG);
    sqlite3_finalize(statement);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(changed_tables_are_refused),
        TEST(endless_views_are_not_asked),
        TEST(what_others_add_beside_does_no_harm),
        TEST(what_is_not_kept_is_told),
        TEST(limits_are_set),
    };
    return cmocka_run_group_tests_name("catalogue: the tables themselves", tests, NULL, NULL);
}
