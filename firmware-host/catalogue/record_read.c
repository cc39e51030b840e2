/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading records: which version of a thing counts, and whether it is what was stored. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

#define COUNTS CATALOGUE_COUNTS("?2")
#define RANK   CATALOGUE_RANK("?2")
#define IS_NEWEST                                                                                  \
    "EXISTS (SELECT 1 FROM newest AS c WHERE c.kind = r.kind AND c.subject = r.subject"            \
    " AND c.record = r.rowid)"
#define COLUMNS                                                                                    \
    "id, sha256, kind, subject, bench, made_utc, body, " CATALOGUE_IS_OWN(                         \
        "id") ", " CATALOGUE_HAS_MARK("id", "'aside'") ", " CATALOGUE_IS_GONE("id")
enum { COLUMN_OWN = 7, COLUMN_ASIDE, COLUMN_GONE, COLUMN_COUNTS }; /* the last one after them */
#define SEQUENCE  "CASE WHEN json_valid(body) THEN json_extract(body, '$.bench_sequence') END"
#define BY_NUMBER "PARTITION BY bench, own ORDER BY n, made_utc, id ROWS UNBOUNDED PRECEDING"

#define REPLACED_BY "SELECT old_id FROM replaces WHERE new_id = ? ORDER BY old_id"

/* Where the clock of a bench ran back, what it stored later comes later, whatever its stamp says:
   each stands at the latest time that its bench had told until then. What others say that it told
   moves nothing of here; and theirs have one order, whichever came first. */
#define IN_TIME " ORDER BY made_utc, id"
#define IN_NUMBER                                                                                  \
    " ORDER BY CASE bench WHEN '' THEN made_utc ELSE max(made_utc) OVER (" BY_NUMBER               \
    ") END, bench, n, made_utc, id"

static int bind_all(sqlite3_stmt *statement, const char *const *values, int count) {
    int code = SQLITE_OK;
    for (int i = 0; i < count && code == SQLITE_OK; i++) {
        code = sqlite3_bind_text(statement, i + 1, values[i], -1, SQLITE_STATIC);
    }
    return code;
}

sqlite3_stmt *catalogue_prepare(struct up_catalogue *catalogue, const char *sql,
                                const char *const *values, int count, struct up_failure *failure) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    code = code == SQLITE_OK ? bind_all(statement, values, count) : code;
    if (code != SQLITE_OK) {
        catalogue_fail(catalogue, code, failure);
        sqlite3_finalize(statement);
        return NULL;
    }
    return statement;
}

sqlite3_stmt *catalogue_ready(struct up_catalogue *catalogue, const char *sql,
                              const char *const *values, int count, struct up_failure *failure) {
    sqlite3_stmt **place = catalogue->ready;
    sqlite3_stmt **end = place + CATALOGUE_STATEMENTS;
    while (place < end && *place != NULL &&
           (sqlite3_stmt_busy(*place) != 0 || strcmp(sqlite3_sql(*place), sql) != 0)) {
        place++;
    }
    if (place == end) { /* one that is not in use goes */
        do {
            place = &catalogue->ready[catalogue->next_ready++ % CATALOGUE_STATEMENTS];
        } while (sqlite3_stmt_busy(*place) != 0);
        sqlite3_finalize(*place);
        *place = NULL;
    }
    if (*place == NULL) {
        return *place = catalogue_prepare(catalogue, sql, values, count, failure);
    }
    int code = bind_all(*place, values, count);
    return code == SQLITE_OK || catalogue_fail(catalogue, code, failure) ? *place : NULL;
}

bool catalogue_done(struct up_catalogue *catalogue, sqlite3_stmt *statement, int code,
                    struct up_failure *failure) {
    bool good = code == SQLITE_DONE || catalogue_fail(catalogue, code, failure);
    sqlite3_reset(statement);
    sqlite3_clear_bindings(statement);
    return good;
}

bool catalogue_finish(struct up_catalogue *catalogue, sqlite3_stmt *statement, int code,
                      struct up_failure *failure) {
    bool good = code == SQLITE_DONE || catalogue_fail(catalogue, code, failure);
    sqlite3_finalize(statement);
    return good;
}

const char *catalogue_text_of(sqlite3_stmt *statement, int column) {
    const unsigned char *text = sqlite3_column_text(statement, column);
    if (text == NULL && sqlite3_errcode(sqlite3_db_handle(statement)) == SQLITE_NOMEM) {
        up_out_of_memory();
    }
    return text != NULL ? (const char *)text : "";
}

json_t *catalogue_json_of(sqlite3_stmt *statement, int column) {
    const char *text = catalogue_text_of(statement, column);
    bool small = sqlite3_column_bytes(statement, column) <= CATALOGUE_CONTENT_BYTES_MAX;
    return small ? json_loads(text, 0, NULL) : NULL; /* it takes 80 times the room */
}

/* ---- ids ---- */

/* The first column of all rows. */
static json_t *gather_ids(struct up_catalogue *catalogue, const char *sql,
                          const char *const *values, int count, struct up_failure *failure) {
    json_t *ids = json_array();
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = catalogue_ready(catalogue, sql, values, count, failure);
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        json_array_append_new(ids, json_string(catalogue_text_of(statement, 0)));
    }
    if (statement == NULL || !catalogue_done(catalogue, statement, code, failure)) {
        json_decref(ids);
        return NULL;
    }
    return ids;
}

json_t *up_catalogue_live_ids(struct up_catalogue *catalogue, const char *kind, const char *subject,
                              struct up_failure *failure) {
    /* More are taken in nowhere; the others count for less. */
    static const char sql[] =
        "SELECT id FROM (SELECT id FROM (SELECT id, max(held) OVER () AS any_held, held, rank FROM "
        "(SELECT id,"
        " " CATALOGUE_IS_HELD("r.id") " AS held, " RANK " AS rank FROM record AS r"
                                      " WHERE kind = ?1 AND subject = ?3 AND " COUNTS
                                      ")) WHERE held = any_held"
                                      " ORDER BY rank DESC LIMIT 1000) ORDER BY id";
    char latest[UP_TIME_SIZE];
    catalogue_latest(latest);
    return gather_ids(catalogue, sql, (const char *[]){kind, latest, subject}, 3, failure);
}

json_t *catalogue_replaced_by(struct up_catalogue *catalogue, const char *id,
                              struct up_failure *failure) {
    return gather_ids(catalogue, REPLACED_BY, &id, 1, failure);
}

json_t *catalogue_hashes_of(struct up_catalogue *catalogue, const char *id,
                            struct up_failure *failure) {
    return gather_ids(catalogue, "SELECT sha256 FROM record WHERE id = ?", &id, 1, failure);
}

bool catalogue_ask(struct up_catalogue *catalogue, const char *sql, const char *text,
                   long long *number, struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_ready(catalogue, sql, &text, text != NULL, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *number = code == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : 0;
    return statement != NULL &&
           catalogue_done(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

/* ---- one record ---- */

static void copy_column(sqlite3_stmt *statement, int column, char *to, size_t size) {
    snprintf(to, size, "%s", catalogue_text_of(statement, column));
}

void catalogue_read_row(sqlite3_stmt *statement, struct up_record *record) {
    copy_column(statement, 0, record->id, sizeof record->id);
    copy_column(statement, 1, record->sha256, sizeof record->sha256);
    copy_column(statement, 2, record->kind, sizeof record->kind);
    copy_column(statement, 3, record->subject, sizeof record->subject);
    copy_column(statement, 4, record->bench, sizeof record->bench);
    copy_column(statement, 5, record->made_utc, sizeof record->made_utc);
    record->envelope = record->facts = record->detail = record->signature = NULL;
    record->writer[0] = '\0';
    record->sequence = 0;
    record->elsewhere = true;
    record->content = catalogue_json_of(statement, 6);
}

struct visitor {
    bool (*visit)(const struct up_record *record, void *context);
    bool (*visit_other)(const struct up_record *record, bool live, void *context);
    bool (*visit_damaged)(const struct up_record *record, bool aside, void *context);
    catalogue_wants_detail *wants_detail; /* NULL: always */
    void *context;
    struct up_catalogue *catalogue;
    sqlite3_stmt *replaced_by, *signed_as; /* prepared once for all */
    bool goes_on;                          /* damaged ones are counted, and that is all */
    /* found on the way */
    unsigned damaged;
    char first_id[UP_ID_SIZE];
};

static json_t *replaced_by(struct up_catalogue *catalogue, sqlite3_stmt *statement, const char *id,
                           struct up_failure *failure) {
    json_t *ids = json_array();
    int code = sqlite3_bind_text(statement, 1, id, -1, SQLITE_STATIC);
    while (code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        json_array_append_new(ids, json_string(catalogue_text_of(statement, 0)));
        code = SQLITE_OK;
    }
    sqlite3_reset(statement);
    if (code != SQLITE_DONE) {
        catalogue_fail(catalogue, code, failure);
        json_decref(ids);
        return NULL;
    }
    return ids;
}

bool catalogue_is_sound(const struct up_record *record, const char *body, json_t *replaces) {
    struct up_record copy = *record;
    char fault[UP_FAULT_SIZE];
    if (!json_is_object(record->content) || !catalogue_has_form(record)) {
        return false;
    }
    return record->envelope != NULL
               ? catalogue_is_enveloped(record, replaces, fault)
               : (body != NULL && catalogue_hash_fits_as_stored(record, body, replaces)) ||
                     (catalogue_hash(&copy, replaces) && strcmp(copy.sha256, record->sha256) == 0);
}

bool catalogue_is_signed_so(const struct up_record *record) {
    return record->envelope == NULL ||
           up_signature_holds(record->writer, record->sha256, record->signature);
}

/* ---- many ---- */

static bool clock_ran_back(struct up_catalogue *catalogue, bool *ran_back,
                           struct up_failure *failure) {
    long long benches = 0;
    bool good = catalogue->version < 2 ||
                catalogue_ask(catalogue, "SELECT count(*) FROM bench_counter WHERE ran_back", NULL,
                              &benches, failure);
    *ran_back = benches > 0;
    return good;
}

static bool visit_damaged(struct visitor *visitor, const struct up_record *record, bool aside) {
    if (!aside && visitor->damaged++ == 0) {
        memcpy(visitor->first_id, record->id, sizeof record->id);
    }
    return visitor->visit_damaged == NULL ||
           visitor->visit_damaged(record, aside, visitor->context);
}

static bool visit_one(sqlite3_stmt *statement, struct visitor *visitor, bool *more,
                      struct up_failure *failure) {
    struct up_record record;
    const char *body = catalogue_text_of(statement, 6);
    catalogue_read_row(statement, &record);
    record.elsewhere = sqlite3_column_int(statement, COLUMN_OWN) == 0;
    json_auto_t *replaces =
        replaced_by(visitor->catalogue, visitor->replaced_by, record.id, failure);
    bool whole = visitor->wants_detail == NULL || visitor->wants_detail(&record, visitor->context);
    bool good = replaces != NULL && catalogue_read_signed(visitor->catalogue, visitor->signed_as,
                                                          &record, body, whole, failure);
    bool gone = good && sqlite3_column_int(statement, COLUMN_GONE) != 0 &&
                catalogue_facts_are_gone(&record);
    record.facts = gone ? NULL : record.facts;
    /* Verified once, at the door; but one that was set aside may be so for its signature, and does
       not keep all others from being given on. */
    bool aside = sqlite3_column_int(statement, COLUMN_ASIDE) != 0;
    bool sound = good && catalogue_is_sound(&record, body, replaces) &&
                 ((visitor->visit_damaged == NULL && !aside) || catalogue_is_signed_so(&record));
    if (good && !sound) {
        *more = visit_damaged(visitor, &record, aside);
    } else if (gone) {
        *more = true;
    } else if (good && visitor->visit_other != NULL) {
        *more = visitor->visit_other(&record, sqlite3_column_int(statement, COLUMN_COUNTS) != 0,
                                     visitor->context);
    } else if (good && visitor->visit != NULL) {
        *more = visitor->visit(&record, visitor->context);
    }
    sqlite3_reset(visitor->signed_as);
    json_decref(record.content);
    return good;
}

/* A record that cannot be read is reported, not left out: a table with a missing line misleads. The
   others are still shown. */
static bool refuse_damaged(const struct up_catalogue *catalogue, const struct visitor *visitor,
                           struct up_failure *failure) {
    UP_FREED char *others = visitor->damaged > 1
                                ? up_text_format(" and %u more", visitor->damaged - 1)
                                : up_text_format("%s", "");
    /* A command meant to be copied contains nothing that a shell would run. */
    UP_FREED char *remedy = up_is_uuid(visitor->first_id)
                                ? up_text_format(", or leave it out with `upthrust check-catalogue "
                                                 "--set-aside %s --reason TEXT`",
                                                 visitor->first_id)
                                : up_text_format("%s", "");
    up_fail(failure, UP_STATUS_WRONG_INPUT,
            "the record %s%s in the catalogue %s is damaged: restore a copy of the catalogue%s",
            visitor->first_id, others, catalogue->directory, remedy);
    return false;
}

void up_catalogue_watch(struct up_catalogue *catalogue,
                        void (*watch)(const char *doing, unsigned long done)) {
    catalogue->watch = watch;
}

/* 0: it is at its end. */
static void report_progress(const struct up_catalogue *catalogue, unsigned long visited) {
    enum { EACH = 256 };
    if (catalogue->watch != NULL && visited % EACH == 0) {
        catalogue->watch("records read", visited);
    }
}

static bool visit_all(struct up_catalogue *catalogue, sqlite3_stmt *statement,
                      struct visitor *visitor, struct up_failure *failure) {
    bool more = true;
    unsigned long visited = 0;
    int code = SQLITE_DONE;
    visitor->catalogue = catalogue;
    visitor->replaced_by =
        statement != NULL ? catalogue_prepare(catalogue, REPLACED_BY, NULL, 0, failure) : NULL;
    visitor->signed_as =
        visitor->replaced_by != NULL ? catalogue_prepare_signed(catalogue, failure) : NULL;
    bool good = visitor->signed_as != NULL;
    while (good && more && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        good = visit_one(statement, visitor, &more, failure);
        report_progress(catalogue, ++visited);
    }
    report_progress(catalogue, 0);
    sqlite3_finalize(visitor->replaced_by);
    sqlite3_finalize(visitor->signed_as);
    if (!good) {
        sqlite3_finalize(statement);
        return false;
    }
    return catalogue_finish(catalogue, statement, more ? code : SQLITE_DONE, failure) &&
           (visitor->damaged == 0 || visitor->visit_damaged != NULL || visitor->goes_on ||
            refuse_damaged(catalogue, visitor, failure));
}

static bool each_in(struct up_catalogue *catalogue, const char *kind, const char *numbers,
                    const char *value, struct visitor *visitor, struct up_failure *failure) {
    bool ran_back = false;
    if (!catalogue_refresh(catalogue, failure) || !clock_ran_back(catalogue, &ran_back, failure)) {
        return false;
    }
    UP_FREED char *which = numbers != NULL ? up_text_format("+kind = ?1 AND rowid IN (%s)", numbers)
                                           : up_text_format("kind = ?1 AND " IS_NEWEST);
    UP_FREED char *sql =
        ran_back ? up_text_format("SELECT " COLUMNS " FROM (SELECT *, " SEQUENCE
                                  " AS n, " CATALOGUE_IS_OWN("id") " AS own FROM record AS r"
                                                                   " WHERE %s)" IN_NUMBER,
                                  which)
                 : up_text_format("SELECT " COLUMNS " FROM record AS r WHERE %s" IN_TIME, which);
    return visit_all(catalogue,
                     catalogue_prepare(catalogue, sql, (const char *[]){kind, value},
                                       value != NULL ? 2 : 1, failure),
                     visitor, failure);
}

bool catalogue_each_in(struct up_catalogue *catalogue, const char *kind, const char *numbers,
                       const char *value,
                       bool (*visit)(const struct up_record *record, void *context), void *context,
                       struct up_failure *failure) {
    struct visitor visitor = {.visit = visit, .context = context};
    return each_in(catalogue, kind, numbers, value, &visitor, failure);
}

bool catalogue_each_facts(struct up_catalogue *catalogue, const char *kind,
                          catalogue_wants_detail *wants_detail,
                          bool (*visit)(const struct up_record *record, void *context),
                          void *context, struct up_failure *failure) {
    struct visitor visitor = {.visit = visit, .wants_detail = wants_detail, .context = context};
    UP_FREED char *in_focus = catalogue_in_focus(catalogue, kind);
    return each_in(catalogue, kind, in_focus, NULL, &visitor, failure);
}

bool up_catalogue_each(struct up_catalogue *catalogue, const char *kind,
                       bool (*visit)(const struct up_record *record, void *context), void *context,
                       struct up_failure *failure) {
    UP_FREED char *in_focus = catalogue_in_focus(catalogue, kind);
    return catalogue_each_in(catalogue, kind, in_focus, NULL, visit, context, failure);
}

bool up_catalogue_each_live(struct up_catalogue *catalogue, const char *kind, const char *subject,
                            bool (*visit)(const struct up_record *record, void *context),
                            void *context, struct up_failure *failure) {
    static const char sql[] =
        "SELECT " COLUMNS " FROM record AS r WHERE kind = ?1 AND subject = ?3"
        " AND " CATALOGUE_COUNTS_OR_WAITS("?2") " ORDER BY " CATALOGUE_IS_OUT_OR_WAITS(
            "r") ", " RANK " DESC";
    struct visitor visitor = {.visit = visit, .context = context};
    char latest[UP_TIME_SIZE];
    catalogue_latest(latest);
    return visit_all(
        catalogue,
        catalogue_prepare(catalogue, sql, (const char *[]){kind, latest, subject}, 3, failure),
        &visitor, failure);
}

bool catalogue_each_record(struct up_catalogue *catalogue,
                           bool (*visit)(const struct up_record *record, void *context),
                           void *context, unsigned *damaged, struct up_failure *failure) {
    struct visitor visitor = {.visit = visit, .context = context, .goes_on = true};
    bool good =
        visit_all(catalogue,
                  catalogue_prepare(catalogue, "SELECT " COLUMNS " FROM record ORDER BY rowid",
                                    NULL, 0, failure),
                  &visitor, failure);
    *damaged = visitor.damaged;
    return good;
}

bool catalogue_each_damaged(struct up_catalogue *catalogue,
                            bool (*visit)(const struct up_record *record, bool aside,
                                          void *context),
                            void *context, struct up_failure *failure) {
    struct visitor visitor = {.visit_damaged = visit, .context = context};
    return visit_all(catalogue,
                     catalogue_prepare(catalogue,
                                       "SELECT " COLUMNS " FROM record ORDER BY id, sha256", NULL,
                                       0, failure),
                     &visitor, failure);
}

bool catalogue_each_other(struct up_catalogue *catalogue, const char *kind,
                          bool (*visit)(const struct up_record *record, bool live, void *context),
                          void *context, struct up_failure *failure) {
    static const char sql[] =
        "SELECT " COLUMNS ", " CATALOGUE_COUNTS_OR_WAITS("?2") " FROM record AS r WHERE kind = ?1"
                                                               " AND NOT " IS_NEWEST
                                                               " ORDER BY made_utc, id, sha256";
    struct visitor visitor = {.visit_other = visit, .context = context};
    char latest[UP_TIME_SIZE];
    catalogue_latest(latest);
    return catalogue_refresh(catalogue, failure) &&
           visit_all(catalogue,
                     catalogue_prepare(catalogue, sql, (const char *[]){kind, latest}, 2, failure),
                     &visitor, failure);
}

bool catalogue_each_unknown(struct up_catalogue *catalogue,
                            bool (*visit)(const struct up_record *record, void *context),
                            void *context, struct up_failure *failure) {
    struct visitor visitor = {.visit = visit, .context = context};
    UP_FREED char *known = up_text_format("''");
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        char *more = up_text_format("%s, '%s'", known, catalogue_tables[i].kind);
        free(known);
        known = more;
    }
    UP_FREED char *sql = up_text_format("SELECT " COLUMNS " FROM record WHERE kind NOT IN (%s)"
                                        " ORDER BY made_utc, id, sha256",
                                        known);
    return visit_all(catalogue, catalogue_prepare(catalogue, sql, NULL, 0, failure), &visitor,
                     failure);
}
