/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Other content under the id of a record: one of the two is forged, and nothing here shows which.
   So that catalogues can be put together in any order, each is kept under its hash. What is held
   here (made, adopted, weighed, or taken by a person) counts on. Of others none does, and the one
   with the smallest hash stands among the records: then all that is made of them is the same,
   whichever came first. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

#define REASON CATALOGUE_CONTESTED_REASON

/* ---- one more ---- */

bool catalogue_contest(struct up_catalogue *catalogue, const struct up_record *record,
                       const json_t *replaces, enum catalogue_admitted *how,
                       struct up_failure *failure) {
    char *content =
        record->facts != NULL
            ? up_text_format("%s", record->facts)
            : json_dumps(record->content, JSON_SORT_KEYS | JSON_COMPACT | JSON_REAL_PRECISION(17));
    char *old = json_dumps(replaces, JSON_COMPACT);
    const char *values[] = {record->id,    record->sha256,   record->kind, record->subject,
                            record->bench, record->made_utc, content,      old};
    bool good = catalogue_change(catalogue,
                                 "INSERT INTO contested VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
                                 " ON CONFLICT DO NOTHING",
                                 values, 8, failure);
    *how = good && sqlite3_changes(catalogue->database) > 0 ? ADMITTED_CONTESTED : ADMITTED_KNOWN;
    good =
        good && (record->envelope == NULL     ? true
                 : *how == ADMITTED_CONTESTED ? catalogue_insert_signed(catalogue, record, failure)
                                              : catalogue_add_known(catalogue, record, failure));
    free(content);
    free(old);
    return good;
}

struct row_visitor {
    struct up_catalogue *catalogue;
    sqlite3_stmt *statement, *signed_as;
    bool (*visit)(const struct up_record *record, json_t *replaces, bool sound, void *context);
    void *context;
};

static bool visit_row(const struct row_visitor *visitor, bool *more, struct up_failure *failure) {
    struct up_record record;
    catalogue_read_row(visitor->statement, &record);
    json_t *replaces = catalogue_json_of(visitor->statement, 7);
    bool good = catalogue_read_signed(visitor->catalogue, visitor->signed_as, &record,
                                      catalogue_text_of(visitor->statement, 6), true, failure);
    if (good) {
        /* Few are contested, and an export of one with another signature is refused whole. */
        bool sound = json_is_array(replaces) && catalogue_is_sound(&record, NULL, replaces) &&
                     catalogue_is_signed_so(&record);
        *more = visitor->visit(&record, replaces, sound, visitor->context);
    }
    sqlite3_reset(visitor->signed_as);
    json_decref(record.content);
    json_decref(replaces);
    return good;
}

bool catalogue_each_contested(struct up_catalogue *catalogue,
                              bool (*visit)(const struct up_record *record, json_t *replaces,
                                            bool sound, void *context),
                              void *context, struct up_failure *failure) {
    enum { SINCE = 6 };
    struct row_visitor visitor = {.catalogue = catalogue, .visit = visit, .context = context};
    bool more = true;
    int code = SQLITE_ERROR;
    if (catalogue->version < SINCE) {
        return true;
    }
    visitor.signed_as = catalogue_prepare_signed(catalogue, failure);
    visitor.statement =
        visitor.signed_as == NULL
            ? NULL
            : catalogue_prepare(catalogue,
                                "SELECT id, sha256, kind, subject, bench, made_utc, body, replaces"
                                " FROM contested ORDER BY id, sha256",
                                NULL, 0, failure);
    bool good = visitor.statement != NULL;
    while (good && more && (code = sqlite3_step(visitor.statement)) == SQLITE_ROW) {
        good = visit_row(&visitor, &more, failure);
    }
    sqlite3_finalize(visitor.signed_as);
    if (!good) {
        sqlite3_finalize(visitor.statement);
        return false;
    }
    return catalogue_finish(catalogue, visitor.statement, more ? code : SQLITE_DONE, failure);
}

/* ---- which stands among the records ---- */

/* Two rules keep records from being removed. For a moment of a transaction they are away, and a
   record leaves only for the table beside, where it is kept whole. */
static bool lift_rules(struct up_catalogue *catalogue, struct up_failure *failure) {
    return catalogue_run(catalogue, "DROP TRIGGER record_stays; DROP TRIGGER replaces_stays",
                         failure);
}

static bool put_back_rules(struct up_catalogue *catalogue, struct up_failure *failure) {
    return catalogue_run(catalogue, CATALOGUE_RECORD_STAYS CATALOGUE_REPLACES_STAYS, failure);
}

/* Of two contents under an id, the one with this hash goes among the records, the other aside. */
static bool swap(struct up_catalogue *catalogue, const char *id, const char *sha256,
                 struct up_failure *failure) {
#define CHOSEN "FROM contested WHERE id = ?1 AND sha256 = ?2"
    static const char *const steps[] = {
        "INSERT OR REPLACE INTO contested SELECT id, sha256, kind, subject, bench, made_utc, body,"
        " (SELECT json_group_array(old_id) FROM (SELECT old_id FROM replaces WHERE new_id = ?1"
        "  ORDER BY old_id)) FROM record WHERE id = ?1 AND sha256 <> ?2",
        "DELETE FROM record WHERE id = ?1 AND sha256 <> ?2",
        "DELETE FROM replaces WHERE new_id = ?1 AND EXISTS (SELECT 1 " CHOSEN ")",
        "INSERT INTO record SELECT id, sha256, kind, subject, bench, made_utc, body " CHOSEN,
        "INSERT INTO replaces SELECT ?1, value FROM json_each((SELECT replaces " CHOSEN "))",
        "DELETE " CHOSEN,
    };
#undef CHOSEN
    bool good = catalogue_unsettle_id(catalogue, id, failure);
    for (size_t i = 0; good && i < sizeof steps / sizeof steps[0]; i++) {
        good = catalogue_change(catalogue, steps[i], (const char *[]){id, sha256}, 2, failure);
    }
    return good && catalogue_unsettle_id(catalogue, id, failure);
}

static bool note_smallest(const struct up_record *record, json_t *replaces, bool sound,
                          void *context) {
    json_t *smallest = context; /* id -> hash */
    (void)replaces;
    if (sound && json_object_get(smallest, record->id) == NULL) { /* they come in that order */
        json_object_set_new(smallest, record->id, json_string(record->sha256));
    }
    return true;
}

/* Ids with several contents for none of which anything here speaks, and with the hash of the one
   among the records. */
static const char undecided_ids[] =
    "SELECT id, sha256 FROM record WHERE id IN (SELECT id FROM contested)"
    " AND NOT " CATALOGUE_IS_TAKEN("record.id") " ORDER BY id";

static json_t *undecided(struct up_catalogue *catalogue, struct up_failure *failure) {
    json_t *ids = json_object();
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = catalogue_prepare(catalogue, undecided_ids, NULL, 0, failure);
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        json_object_set_new(ids, catalogue_text_of(statement, 0),
                            json_string(catalogue_text_of(statement, 1)));
    }
    if (statement == NULL || !catalogue_finish(catalogue, statement, code, failure)) {
        json_decref(ids);
        return NULL;
    }
    return ids;
}

static bool leave_out(struct up_catalogue *catalogue, const char *id, unsigned long *fresh,
                      struct up_failure *failure) {
    char utc[UP_TIME_SIZE];
    catalogue_now(utc);
    bool good = catalogue_change(catalogue,
                                 "INSERT INTO local_mark VALUES (?, 'aside', '', '" REASON "', ?)"
                                 " ON CONFLICT DO NOTHING", /* a person's reason stays */
                                 (const char *[]){id, utc}, 2, failure);
    *fresh += good && sqlite3_changes(catalogue->database) > 0;
    return good && catalogue_unsettle_id(catalogue, id, failure);
}

/* The only one of the contents that somebody trusted signed; "" where there is none, or several. */
static bool find_trusted(struct up_catalogue *catalogue, const char *id,
                         char sha256[UP_SHA256_SIZE], struct up_failure *failure) {
    static const char sql[] =
        "SELECT count(*), max(s.sha256) FROM (SELECT id, sha256 FROM record WHERE id = ?1 UNION"
        " SELECT id, sha256 FROM contested WHERE id = ?1) AS r JOIN signed AS s ON s.id = r.id"
        " AND s.sha256 = r.sha256 WHERE s.writer IN (SELECT writer FROM standing)"
        " AND NOT " CATALOGUE_IS_OUT("r");
    sqlite3_stmt *statement = catalogue_prepare(catalogue, sql, &id, 1, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    bool one = code == SQLITE_ROW && sqlite3_column_int(statement, 0) == 1;
    snprintf(sha256, UP_SHA256_SIZE, "%s", one ? catalogue_text_of(statement, 1) : "");
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

static bool take_trusted(struct up_catalogue *catalogue, const char *id, const char *here,
                         const char *trusted, struct up_failure *failure) {
    return (strcmp(here, trusted) == 0 || swap(catalogue, id, trusted, failure)) &&
           catalogue_change(catalogue,
                            "DELETE FROM local_mark WHERE record_id = ? AND mark = 'aside'"
                            " AND reason = '" REASON "'",
                            &id, 1, failure) &&
           catalogue_unsettle_id(catalogue, id, failure);
}

/* The smaller hash of the two goes among the records, or what somebody trusted signed. */
static bool settle_one(struct up_catalogue *catalogue, const char *id, const char *here,
                       const char *beside, unsigned long *fresh, struct up_failure *failure) {
    char trusted[UP_SHA256_SIZE];
    if (!catalogue_touch_id(catalogue, id, failure) ||
        !find_trusted(catalogue, id, trusted, failure)) {
        return false;
    }
    if (trusted[0] != '\0') {
        return take_trusted(catalogue, id, here, trusted, failure);
    }
    return leave_out(catalogue, id, fresh, failure) &&
           (beside == NULL || strcmp(beside, here) > 0 || swap(catalogue, id, beside, failure));
}

bool catalogue_settle_contested(struct up_catalogue *catalogue, unsigned long *fresh,
                                struct up_failure *failure) {
    json_auto_t *ids = undecided(catalogue, failure), *smallest = json_object();
    const char *id;
    json_t *hash;
    *fresh = 0;
    if (ids == NULL || json_object_size(ids) == 0) {
        return ids != NULL;
    }
    bool good = catalogue_each_contested(catalogue, note_smallest, smallest, failure) &&
                lift_rules(catalogue, failure);
    json_object_foreach(ids, id, hash) {
        good = good && settle_one(catalogue, id, json_string_value(hash),
                                  json_string_value(json_object_get(smallest, id)), fresh, failure);
    }
    return good && put_back_rules(catalogue, failure);
}

/* ---- which one a person takes ---- */

/* How many contents an id has whose hash begins so, and the last of them. */
static bool find_content(struct up_catalogue *catalogue, const char *id, const char *beginning,
                         char sha256[UP_SHA256_SIZE], int *count, struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue,
        "SELECT count(*), max(sha256) FROM (SELECT sha256 FROM record WHERE id = ?1 UNION"
        " SELECT sha256 FROM contested WHERE id = ?1) WHERE substr(sha256, 1, length(?2)) = ?2",
        (const char *[]){id, beginning}, 2, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *count = code == SQLITE_ROW ? sqlite3_column_int(statement, 0) : 0;
    snprintf(sha256, UP_SHA256_SIZE, "%s",
             code == SQLITE_ROW ? catalogue_text_of(statement, 1) : "");
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

static bool fail_taking(const char *id, const char *beginning, int count,
                        struct up_failure *failure) {
    return count == 0
               ? up_fail(failure, UP_STATUS_WRONG_INPUT,
                         "no content of the record %.36s has a hash that begins with %.64s: "
                         "`upthrust check-catalogue` lists them",
                         id, beginning)
               : up_fail(failure, UP_STATUS_WRONG_INPUT,
                         "%d contents have the id %.36s: name the one to take by the beginning of "
                         "its hash, --take-back %.36s/HASH; `upthrust check-catalogue` lists them",
                         count, id, id);
}

bool catalogue_take_content(struct up_catalogue *catalogue, const char *id, const char *beginning,
                            struct up_failure *failure) {
    char sha256[UP_SHA256_SIZE];
    long long held = 0;
    int count = 0;
    json_auto_t *here = catalogue_hashes_of(catalogue, id, failure);
    if (here == NULL || !find_content(catalogue, id, beginning, sha256, &count, failure) ||
        !catalogue_ask(catalogue, "SELECT " CATALOGUE_IS_HELD("?"), id, &held, failure)) {
        return false;
    }
    if (beginning[0] == '\0' && (held > 0 || count == 1)) {
        return true;
    }
    if (count != 1) {
        return fail_taking(id, beginning, count, failure);
    }
    if (strcmp(json_string_value(json_array_get(here, 0)), sha256) == 0) {
        return true;
    }
    return held > 0
               ? up_fail(failure, UP_STATUS_WRONG_INPUT,
                         "the record %.36s was made or measured on this machine: other content "
                         "under its id cannot take its place",
                         id)
               : lift_rules(catalogue, failure) && swap(catalogue, id, sha256, failure) &&
                     put_back_rules(catalogue, failure);
}
