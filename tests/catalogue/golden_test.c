/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A catalogue of version 0.1.0 as that program left it (golden/catalogue.sql, made at the simulated
   tank) and what that program exported of it: whoever has one, or reads one, must find the same
   bytes. A file that changes on purpose is replaced here, and the change is seen beside it. */
#include "support.h"

static const char *const files[] = {
    "calibrations.csv",
    "catalogue.json",
    "catalogue.schema.json",
    "csv-metadata.json",
    "decisions.csv",
    "gear_kinds.csv",
    "items.csv",
    "reference_bodies.csv",
    "reference_checks.csv",
    "results.csv",
    "rigs.csv",
    "runs.csv",
    "trials.csv",
};

static char *read_all(const char *path) {
    char *text = up_allocate(1 << 20, 1);
    FILE *stream = fopen(path, "rb");
    if (stream == NULL) {
        fail_msg("%s is not there", path);
    }
    text[fread(text, 1, (1 << 20) - 1, stream)] = '\0';
    fclose(stream);
    return text;
}

static char *golden(const char *name) {
    char *path = beside(__FILE__, "golden");
    char *whole = up_text_format("%s/%s", path, name);
    char *text = read_all(whole);
    free(whole);
    free(path);
    return text;
}

static void make_old(void) {
    char *text = golden("catalogue.sql");
    assert_int_equal(mkdir("old", 0755), 0);
    sqlite3 *database = outside("old/catalogue.sqlite");
    sql(database, text);
    sqlite3_close(database);
    free(text);
}

/* Says where two texts part: a golden file is long. */
static void assert_same_text(const char *name, const char *is, const char *wanted) {
    size_t at = 0;
    while (is[at] == wanted[at] && is[at] != '\0') {
        at++;
    }
    size_t from = at > 40 ? at - 40 : 0;
    if (is[at] != wanted[at]) {
        fail_msg("%s, byte %zu: ...%.80s..., not ...%.80s...", name, at, is + from, wanted + from);
    }
}

/* What came from elsewhere says so, at the end of its line. */
static char *said_there(char *golden_text, bool elsewhere) {
    size_t length = strlen(golden_text);
    char *text = up_allocate(length + 1, 1), *to = text;
    for (const char *from = golden_text; *from != '\0'; from++) {
        bool told = elsewhere && strncmp(from, ",false\r\n", 8) == 0;
        to += told ? sprintf(to, ",true") : sprintf(to, "%c", *from);
        from += told ? strlen(",false") - 1 : 0;
    }
    free(golden_text);
    return text;
}

static void assert_exports_as_golden(struct up_catalogue *catalogue, const char *directory,
                                     bool elsewhere) {
    struct up_failure failure = {0};
    if (!up_export_csv(catalogue, directory, &failure) ||
        !up_export_json(catalogue, directory, &failure)) {
        fail_msg("%s", failure.text);
    }
    for (size_t i = 0; i < ARRAY(files); i++) {
        char *path = up_text_format("%s/%s", directory, files[i]);
        char *is = read_all(path), *wanted = said_there(golden(files[i]), elsewhere);
        assert_same_text(files[i], is, wanted);
        free(wanted);
        free(is);
        free(path);
    }
}

static void it_is_read_as_it_is(void **state) {
    (void)state;
    make_old();
    struct up_catalogue *catalogue = open_as("old", UP_CATALOGUE_READ);
    assert_exports_as_golden(catalogue, "out", false);
    up_catalogue_close(catalogue);
}

static void it_is_brought_up_to_date(void **state) {
    (void)state;
    make_old();
    struct up_catalogue *catalogue = open_as("old", UP_CATALOGUE_WRITE);
    assert_exports_as_golden(catalogue, "out", false);
    up_catalogue_close(catalogue);
}

static void it_is_taken_in_by_another(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake;
    make_old();
    struct up_catalogue *merged = open_as("merged", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_merge(merged, "old", false, &intake, &failure));
    assert_exports_as_golden(merged, "out", true);
    up_catalogue_close(merged);
    struct up_catalogue *imported = open_as("imported", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_import(imported, "out", false, &intake, &failure));
    assert_int_equal(intake.known, 0);
    assert_exports_as_golden(imported, "again", true);
    up_catalogue_close(imported);
}

/* A document from before records were signed. */
static void an_old_document_is_taken_in(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake;
    char *text = golden("catalogue-1.json");
    write_all("catalogue.json", text);
    free(text);
    struct up_catalogue *imported = open_as("imported", UP_CATALOGUE_CREATE);
    if (!up_catalogue_import(imported, "catalogue.json", false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_exports_as_golden(imported, "again", true);
    up_catalogue_close(imported);
}

/* The rows of all views and of the records themselves, each line one row. */
static json_t *rows_of(const char *path, const char *query) {
    json_t *rows = json_array();
    sqlite3 *database = outside(path);
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_prepare_v2(database, query, -1, &statement, NULL), SQLITE_OK);
    while (sqlite3_step(statement) == SQLITE_ROW) {
        json_t *row = json_object();
        for (int i = 0; i < sqlite3_column_count(statement); i++) {
            const unsigned char *text = sqlite3_column_text(statement, i);
            json_object_set_new(row, sqlite3_column_name(statement, i),
                                text != NULL ? json_string((const char *)text) : json_null());
        }
        json_array_append_new(rows, row);
    }
    sqlite3_finalize(statement);
    sqlite3_close(database);
    return rows;
}

/* Columns are added, never removed. */
static bool holds_all(const json_t *rows, json_t *before) {
    bool same = json_array_size(rows) == json_array_size(before);
    for (size_t i = 0; same && i < json_array_size(before); i++) {
        const char *column;
        json_t *value;
        json_object_foreach(json_array_get(before, i), column, value) {
            same = same && json_equal(value, json_object_get(json_array_get(rows, i), column));
        }
    }
    return same;
}

static void views_show_the_same_rows(void **state) {
    (void)state;
    static const char *const views[] = {
        "item",     "model",     "calibration",     "rig",
        "run",      "trial",     "plateau",         "result",
        "decision", "reference", "reference_check", "gear_kind",
        "live",     "current",   "record",
    };
    make_old();
    json_t *before[ARRAY(views)];
    for (int turn = 0; turn < 2; turn++) {
        for (size_t i = 0; i < ARRAY(views); i++) {
            char *query = up_text_format("SELECT * FROM %s ORDER BY 1, 2, 3", views[i]);
            json_t *rows = rows_of("old/catalogue.sqlite", query);
            assert_true(json_array_size(rows) > 0);
            if (turn == 1 && !holds_all(rows, before[i])) {
                fail_msg("the view %s has changed", views[i]);
            }
            before[i] = turn == 0 ? json_incref(rows) : (json_decref(before[i]), NULL);
            json_decref(rows);
            free(query);
        }
        up_catalogue_close(open_as("old", UP_CATALOGUE_WRITE));
    }
}

/* ---- each body through its struct and back ---- */

static json_t *again_as(const char *kind, const json_t *content) {
    static struct up_result result;
    struct up_item item;
    struct up_calibration calibration;
    struct up_reference reference;
    if (strcmp(kind, "item") == 0) {
        assert_true(up_item_from_json(content, &item));
        return up_item_to_json(&item);
    }
    if (strcmp(kind, "calibration") == 0) {
        assert_true(up_calibration_from_json(content, &calibration));
        return up_calibration_to_json(&calibration);
    }
    if (strcmp(kind, "reference") == 0) {
        assert_true(up_reference_from_json(content, &reference));
        return up_reference_to_json(&reference);
    }
    up_result_from_json(content, &result);
    return up_result_to_json(&result);
}

/* A member that the struct has no place for need not come back. */
static bool is_kept_elsewhere(const char *key) {
    return strcmp(key, "bench_sequence") == 0;
}

/* Grams are kilograms inside: the last digit may turn. */
static bool is_same(const json_t *a, const json_t *b) {
    double x = json_number_value(a), y = json_number_value(b);
    bool same = json_typeof(a) == json_typeof(b) && json_array_size(a) == json_array_size(b);
    if (json_is_number(a)) {
        return json_is_number(b) && fabs(x - y) <= 4e-16 * fabs(x);
    }
    for (size_t i = 0; same && i < json_array_size(a); i++) {
        same = is_same(json_array_get(a, i), json_array_get(b, i));
    }
    for (void *at = json_object_iter((json_t *)(uintptr_t)a); same && at != NULL;
         at = json_object_iter_next((json_t *)(uintptr_t)a, at)) {
        const json_t *back = json_object_get(b, json_object_iter_key(at));
        same = back != NULL && is_same(json_object_iter_value(at), back);
    }
    return same && (json_is_array(a) || json_is_object(a) || json_equal(a, b));
}

static bool compare_members(const struct up_record *record, void *context) {
    const char *key;
    json_t *value, *again = again_as(record->kind, record->content);
    json_object_foreach(record->content, key, value) {
        const json_t *back = json_object_get(again, key);
        if (!is_kept_elsewhere(key) && (back == NULL || !is_same(value, back))) {
            fail_msg("%s: \"%s\" does not come back", record->kind, key);
        }
    }
    ++*(int *)context;
    json_decref(again);
    return true;
}

static void each_member_goes_both_ways(void **state) {
    (void)state;
    static const char *const kinds[] = {"item", "calibration", "reference", "result"};
    make_old();
    struct up_catalogue *catalogue = open_as("old", UP_CATALOGUE_READ);
    for (size_t i = 0; i < ARRAY(kinds); i++) {
        int seen = 0;
        assert_true(up_catalogue_each(catalogue, kinds[i], compare_members, &seen, NULL));
        assert_true(seen > 0);
    }
    up_catalogue_close(catalogue);
}

/* ---- the bounds ---- */

struct spoiling {
    const struct catalogue_table *table;
    json_t *content;
    unsigned numbers;
};

static void assert_fault(const struct spoiling *spoiling, const char *place) {
    struct member_fault fault;
    if (members_check(spoiling->table->members, spoiling->content, &fault)) {
        fail_msg("%s: a %s of 1e308 is let in", spoiling->table->kind, place);
    }
    assert_string_equal(fault.place, place);
    assert_non_null(strstr(fault.text, "is 1e+308"));
}

static void spoil_numbers(struct spoiling *spoiling, const struct catalogue_member *members,
                          json_t *json, const char *before);

static void spoil_list(struct spoiling *spoiling, const struct catalogue_member *member,
                       json_t *list, const char *place) {
    for (size_t i = 0; i < json_array_size(list); i++) {
        char *deeper = up_text_format("%s[%zu]", place, i);
        json_t *element = json_array_get(list, i);
        if (member->nested->members != NULL) {
            char *before = up_text_format("%s.", deeper);
            spoil_numbers(spoiling, member->nested->members, element, before);
            free(before);
        } else {
            json_incref(element);
            json_array_set_new(list, i, json_real(1e308));
            assert_fault(spoiling, deeper);
            json_array_set_new(list, i, element);
        }
        free(deeper);
    }
}

static void spoil_number(struct spoiling *spoiling, const char *key, json_t *json,
                         const char *place) {
    json_t *value = json_incref(json_object_get(json, key));
    json_object_set_new(json, key, json_real(1e308));
    assert_fault(spoiling, place);
    json_object_set_new(json, key, value);
    spoiling->numbers++;
}

/* Each number of a good content in turn, also within lists. */
static void spoil_numbers(struct spoiling *spoiling, const struct catalogue_member *members,
                          json_t *json, const char *before) {
    for (const struct catalogue_member *member = members; member->key != NULL; member++) {
        json_t *value = json_object_get(json, member->key);
        char *place = up_text_format("%s%s", before, member->key);
        char *deeper = up_text_format("%s.", place);
        if (value != NULL && member->type == MEMBER_NUMBER) {
            spoil_number(spoiling, member->key, json, place);
        } else if (member->type == MEMBER_OBJECT && value != NULL) {
            spoil_numbers(spoiling, member->nested->members, value, deeper);
        } else if (member->type == MEMBER_LIST) {
            spoil_list(spoiling, member, value, place);
        }
        free(deeper);
        free(place);
    }
}

static bool spoil_record(const struct up_record *record, void *context) {
    struct spoiling *spoiling = context;
    struct member_fault fault;
    spoiling->content = record->content;
    if (!members_check(spoiling->table->members, record->content, &fault)) {
        fail_msg("%s: %s %s", record->kind, fault.place, fault.text);
    }
    spoil_numbers(spoiling, spoiling->table->members, record->content, "");
    return true;
}

static void no_number_is_without_bounds(void **state) {
    (void)state;
    make_old();
    struct up_catalogue *catalogue = open_as("old", UP_CATALOGUE_READ);
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        struct spoiling spoiling = {.table = &catalogue_tables[i]};
        const char *kind = spoiling.table->kind;
        assert_true(up_catalogue_each(catalogue, kind, spoil_record, &spoiling, NULL));
        /* Version 0.1.0 knew the first ten kinds. */
        assert_true(spoiling.numbers > 0 || strcmp(kind, "rig") == 0 || i >= 10);
    }
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(it_is_read_as_it_is),         TEST(it_is_brought_up_to_date),
        TEST(it_is_taken_in_by_another),   TEST(an_old_document_is_taken_in),
        TEST(views_show_the_same_rows),    TEST(each_member_goes_both_ways),
        TEST(no_number_is_without_bounds),
    };
    return cmocka_run_group_tests_name("catalogue: as version 0.1.0 left it", tests, NULL, NULL);
}
