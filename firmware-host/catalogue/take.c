/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records of another catalogue, taken as hostile until their form, members and hash are good. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "upthrust/text.h"

enum { BODY_BYTES_MAX = 1 << 20, REPLACES_MAX = 1000 };

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

/* What is wrong with the content; NULL where nothing is. The text lives in `fault`. */
static const char *fault_of(const struct catalogue_table *table, const json_t *content,
                            struct member_fault *fault) {
    if (!members_check(table->members, content, fault)) {
        return fault->text;
    }
    snprintf(fault->place, sizeof fault->place, "%s", table->kind);
    return table->fault != NULL ? table->fault(content) : NULL;
}

static bool check_members(const struct taking *taking) {
    const struct catalogue_table *table = catalogue_table_of(taking->record->kind);
    struct member_fault fault;
    char place[sizeof fault.place + 2];
    if (table == NULL) {
        return refuse(taking, "its kind", "is not known to this program: update upthrust");
    }
    if (!json_is_object(taking->record->body)) {
        return refuse(taking, "its body", "is no JSON object");
    }
    const char *wrong = fault_of(table, taking->record->body, &fault);
    snprintf(place, sizeof place, "\"%s\"", fault.place);
    return wrong == NULL || refuse(taking, place, wrong);
}

bool catalogue_check_content(const char *kind, const json_t *content, struct up_failure *failure) {
    struct member_fault fault;
    const char *wrong = fault_of(catalogue_table_of(kind), content, &fault);
    return wrong == NULL ||
           up_fail(failure, UP_STATUS_UNABLE, "this %s cannot be stored: \"%s\" %s", kind,
                   fault.place, wrong);
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
