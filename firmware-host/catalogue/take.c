/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records of another catalogue, taken as hostile until their form, members and hash are good. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

enum { BODY_BYTES_MAX = 1 << 20, TEXT_BYTES_MAX = 1000, REPLACES_MAX = 1000, MESSAGE_PART = 100 };

struct taking {
    struct up_catalogue *catalogue;
    struct up_record *record;
    json_t *replaces;
    const char *where;
    struct up_failure *failure;
};

static bool refuse(const struct taking *taking, const char *member, const char *wanted) {
    return up_fail(taking->failure, UP_STATUS_WRONG_INPUT,
                   "%.200s, record %.36s: %s %s; nothing was stored", taking->where,
                   taking->record->id, member, wanted);
}

/* ---- form ---- */

/* x: lower-case hexadecimal, 0: a digit; all else stands for itself. */
static bool has_form(const char *text, const char *form) {
    size_t i = 0;
    for (; form[i] != '\0' && text[i] != '\0'; i++) {
        bool digit = text[i] >= '0' && text[i] <= '9';
        bool good = form[i] == 'x'   ? digit || (text[i] >= 'a' && text[i] <= 'f')
                    : form[i] == '0' ? digit
                                     : text[i] == form[i];
        if (!good) {
            return false;
        }
    }
    return form[i] == text[i];
}

static bool is_uuid(const char *text) {
    return has_form(text, "xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx");
}

static bool is_clean(const char *text) {
    char *clean = up_text_clean(text, strlen(text));
    bool same = strcmp(clean, text) == 0;
    free(clean);
    return same;
}

static bool check_replaces(const struct taking *taking) {
    const char *before = "";
    if (!json_is_array(taking->replaces) || json_array_size(taking->replaces) > REPLACES_MAX) {
        return refuse(taking, "\"replaces\"", "is no list of ids");
    }
    for (size_t i = 0; i < json_array_size(taking->replaces); i++) {
        const char *id = json_string_value(json_array_get(taking->replaces, i));
        if (id == NULL || !is_uuid(id) || strcmp(before, id) >= 0) {
            return refuse(taking, "\"replaces\"", "is no ascending list of ids");
        }
        before = id;
    }
    return true;
}

static bool check_form(const struct taking *taking) {
    const struct up_record *record = taking->record;
    if (!is_uuid(record->id)) {
        return refuse(taking, "\"id\"", "is no UUID in lower case");
    }
    if (!is_uuid(record->subject)) {
        return refuse(taking, "\"subject\"", "is no UUID in lower case");
    }
    if (strspn(record->sha256, "0123456789abcdef") != UP_SHA256_SIZE - 1) {
        return refuse(taking, "\"sha256\"", "is no hash");
    }
    if (!has_form(record->made_utc, "0000-00-00T00:00:00.000Z")) {
        return refuse(taking, "\"made_utc\"", "is no time such as 2026-01-31T12:00:00.000Z");
    }
    if (!is_clean(record->bench)) {
        return refuse(taking, "\"bench\"", "holds control characters");
    }
    return check_replaces(taking);
}

/* ---- members ---- */

static const char *fault_of_text(const json_t *value, bool lines) {
    if (!json_is_string(value)) {
        return "is missing or no text";
    }
    if (lines) {
        return NULL;
    }
    return json_string_length(value) > TEXT_BYTES_MAX ? "is longer than 1000 bytes"
           : !is_clean(json_string_value(value))      ? "holds control characters"
                                                      : NULL;
}

static const char *fault_of(const struct catalogue_column *column, const json_t *value) {
    if (column->may_lack && (value == NULL || json_is_null(value))) {
        return NULL;
    }
    switch (column->type) {
    case COLUMN_TEXT:
    case COLUMN_LINES:
        return fault_of_text(value, column->type == COLUMN_LINES);
    case COLUMN_NUMBER:
        return json_is_number(value) || json_is_null(value) ? NULL : "is missing or no number";
    case COLUMN_INTEGER:
        return json_is_integer(value) && json_integer_value(value) >= 0 &&
                       json_integer_value(value) < 1LL << 53
                   ? NULL
                   : "is missing or no whole number";
    case COLUMN_TRUTH:
        return json_is_boolean(value) ? NULL : "is missing or neither true nor false";
    }
    return NULL;
}

/* Null, or above zero. */
static bool is_tolerance(const json_t *body, const char *key) {
    double value = 1;
    return !take_number(body, key, &value) || value > 0;
}

static bool is_one_of(const json_t *value, const char *const *words) {
    const char *text = json_string_value(value);
    for (; text != NULL && *words != NULL; words++) {
        if (strcmp(text, *words) == 0) {
            return true;
        }
    }
    return false;
}

/* What the members mean: only what this program could have stored itself. */
static bool check_meaning(const struct taking *taking) {
    static const char *const classes[] = {"positive", "neutral", "negative", "undecided", NULL};
    static const char *const bases[] = {"measured", "calculated", NULL};
    const char *kind = taking->record->kind;
    const json_t *body = taking->record->body;
    bool is_result = strcmp(kind, "result") == 0;
    struct up_item item;
    if (strcmp(kind, "item") == 0 && !up_item_from_json(body, &item)) {
        return refuse(taking, "the item",
                      "has a name, number of pieces or tolerance that cannot be");
    }
    struct up_reference reference;
    if (strcmp(kind, "reference") == 0 && !up_reference_from_json(body, &reference)) {
        return refuse(taking, "the reference body", "has a mass or volume that cannot be");
    }
    if (strcmp(kind, "gear_kind") == 0 &&
        !(is_tolerance(body, "tolerance_one_g") && is_tolerance(body, "tolerance_pair_g"))) {
        return refuse(taking, "a tolerance", "is not above zero");
    }
    if ((is_result || strcmp(kind, "decision") == 0) &&
        !is_one_of(json_object_get(body, "class"), classes)) {
        return refuse(taking, "\"class\"", "is no class");
    }
    if (is_result && !is_one_of(json_object_get(body, "basis"), bases)) {
        return refuse(taking, "\"basis\"", "is neither measured nor calculated");
    }
    if (strcmp(kind, "calibration") == 0) {
        struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
        bool good = up_calibration_from_json(body, calibration) ||
                    refuse(taking, "the calibration", "cannot be read");
        free(calibration);
        return good;
    }
    return true;
}

static bool check_members(const struct taking *taking) {
    const struct catalogue_table *table = catalogue_table_of(taking->record->kind);
    char member[MESSAGE_PART];
    if (table == NULL) {
        return refuse(taking, "its kind", "is not known to this program: update upthrust");
    }
    if (!json_is_object(taking->record->body)) {
        return refuse(taking, "its body", "is no JSON object");
    }
    for (const struct catalogue_column *column = table->columns; column->name != NULL; column++) {
        bool of_record = strcmp(column->name, "bench") == 0;
        const char *fault =
            of_record ? NULL
                      : fault_of(column, json_object_get(taking->record->body, column->name));
        if (fault != NULL) {
            snprintf(member, sizeof member, "\"%s\"", column->name);
            return refuse(taking, member, fault);
        }
    }
    return check_meaning(taking);
}

static bool check_hash(const struct taking *taking) {
    struct up_record copy = *taking->record;
    char *body = json_dumps(copy.body, JSON_COMPACT | JSON_REAL_PRECISION(17));
    bool small = body != NULL && strlen(body) <= BODY_BYTES_MAX;
    free(body);
    if (!small) {
        return refuse(taking, "its body", "is larger than a megabyte");
    }
    return (catalogue_hash(&copy, taking->replaces) &&
            strcmp(copy.sha256, taking->record->sha256) == 0) ||
           refuse(taking, "\"sha256\"", "does not fit its content: it was changed or is damaged");
}

/* ---- beside what is here ---- */

static bool count_with(const struct taking *taking, const char *sql, const char *id,
                       long long *number) {
    const struct up_record *record = taking->record;
    sqlite3 *database = taking->catalogue->database;
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(database, sql, -1, &statement, NULL);
    if (code == SQLITE_OK) {
        sqlite3_bind_text(statement, 1, id, -1, SQLITE_STATIC);
        sqlite3_bind_text(statement, 2, record->kind, -1, SQLITE_STATIC);
        sqlite3_bind_text(statement, 3, record->subject, -1, SQLITE_STATIC);
        code = sqlite3_step(statement);
        *number = code == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : 0;
    }
    sqlite3_finalize(statement);
    return code == SQLITE_ROW || catalogue_fail(taking->catalogue, code, taking->failure);
}

/* Else a result could do away with an item. Either of the two may come first. */
static bool check_same_thing(const struct taking *taking) {
    static const char old_here[] =
        "SELECT count(*) FROM record WHERE id = ?1 AND (kind <> ?2 OR subject <> ?3)";
    static const char new_here[] =
        "SELECT count(*) FROM replaces JOIN record ON record.id = new_id WHERE old_id = ?1"
        " AND (kind <> ?2 OR subject <> ?3)";
    long long others = 0;
    if (!count_with(taking, new_here, taking->record->id, &others)) {
        return false;
    }
    for (size_t i = 0; others == 0 && i < json_array_size(taking->replaces); i++) {
        const char *old = json_string_value(json_array_get(taking->replaces, i));
        if (!count_with(taking, old_here, old, &others)) {
            return false;
        }
    }
    return others == 0 || refuse(taking, "\"replaces\"", "crosses from one thing to another");
}

/* Whether the id is here already, and with the same hash: another one means that somebody changed
   what is never changed. */
static bool look_here(const struct taking *taking, bool *known) {
    const struct up_record *record = taking->record;
    json_t *hashes = catalogue_hashes_of(taking->catalogue, record->id, taking->failure);
    bool good = hashes != NULL;
    *known = json_array_size(hashes) > 0;
    for (size_t i = 0; good && i < json_array_size(hashes); i++) {
        if (strcmp(json_string_value(json_array_get(hashes, i)), record->sha256) != 0) {
            good = refuse(taking, "this catalogue",
                          "has a record with the same id and other content: one of the two is "
                          "forged");
        }
    }
    json_decref(hashes);
    return good;
}

bool catalogue_take(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                    const char *where, bool *fresh, struct up_failure *failure) {
    const struct taking taking = {catalogue, record, replaces, where, failure};
    bool known = false;
    *fresh = false;
    if (!check_form(&taking) || !check_members(&taking) || !check_hash(&taking) ||
        !look_here(&taking, &known)) {
        return false;
    }
    if (known) {
        return true;
    }
    *fresh = check_same_thing(&taking) && catalogue_insert(catalogue, record, replaces, failure);
    return *fresh;
}
