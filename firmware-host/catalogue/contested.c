/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Other content under the id of a record: one of the two is forged, and nothing here shows which.
   So that catalogues can be put together in any order, each is kept under its hash; what was made,
   adopted or weighed here counts, and of two others neither does until a person takes one back,
   which then holds whatever else comes. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"

/* Made here, borne out by a known mass, taken back by a person, or the gear or body that our own
 * measurements are of. */
static const char speaks_for_it[] = "SELECT " CATALOGUE_HAS_MARK(
    "?1",
    "'made', 'kept', 'adopted', 'chosen'") " OR EXISTS (SELECT 1 FROM record AS h JOIN record AS r"
                                           " WHERE h.id = ?1 AND h.kind IN ('item', 'reference')"
                                           " AND r.kind IN ('result', 'trial', 'run',"
                                           " 'reference_check') AND CASE WHEN json_valid(r.body)"
                                           " THEN h.subject IN (json_extract(r.body, '$.item_id'),"
                                           " json_extract(r.body, '$.reference_id')) END"
                                           " AND " CATALOGUE_IS_OWN("r.id") ")";

static const char reason[] = "another catalogue has other content under this id";

bool catalogue_contest(struct up_catalogue *catalogue, const struct up_record *record,
                       const json_t *replaces, enum catalogue_admitted *how,
                       struct up_failure *failure) {
    long long ours = 0;
    char *content =
        json_dumps(record->content, JSON_SORT_KEYS | JSON_COMPACT | JSON_REAL_PRECISION(17));
    char *old = json_dumps(replaces, JSON_COMPACT);
    const char *values[] = {record->id,    record->sha256,   record->kind, record->subject,
                            record->bench, record->made_utc, content,      old};
    bool good = catalogue_ask(catalogue, speaks_for_it, record->id, &ours, failure) &&
                catalogue_change(catalogue,
                                 "INSERT INTO contested VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
                                 " ON CONFLICT DO NOTHING",
                                 values, 8, failure);
    bool fresh = good && sqlite3_changes(catalogue->database) > 0;
    *how = !fresh ? ADMITTED_KNOWN : ours > 0 ? ADMITTED_CONTESTED : ADMITTED_UNDECIDED;
    free(content);
    free(old);
    return good &&
           (*how != ADMITTED_UNDECIDED ||
            catalogue_change(catalogue,
                             "INSERT INTO local_mark VALUES (?, 'aside', '', ?, ?)"
                             " ON CONFLICT DO NOTHING", /* a person's reason stays */
                             (const char *[]){record->id, reason, record->made_utc}, 3, failure));
}

static bool visit_row(sqlite3_stmt *statement,
                      bool (*visit)(const struct up_record *record, json_t *replaces, bool sound,
                                    void *context),
                      void *context) {
    struct up_record record, copy;
    catalogue_read_row(statement, &record);
    json_t *replaces = catalogue_json_of(statement, 7);
    copy = record;
    bool sound = json_is_object(record.content) && json_is_array(replaces) &&
                 catalogue_has_form(&record) && catalogue_hash(&copy, replaces) &&
                 strcmp(copy.sha256, record.sha256) == 0;
    bool more = visit(&record, replaces, sound, context);
    json_decref(record.content);
    json_decref(replaces);
    return more;
}

bool catalogue_each_contested(struct up_catalogue *catalogue,
                              bool (*visit)(const struct up_record *record, json_t *replaces,
                                            bool sound, void *context),
                              void *context, struct up_failure *failure) {
    enum { SINCE = 6 };
    bool more = true;
    int code = SQLITE_ERROR;
    if (catalogue->version < SINCE) {
        return true;
    }
    sqlite3_stmt *statement =
        catalogue_prepare(catalogue,
                          "SELECT id, sha256, kind, subject, bench, made_utc, body, replaces"
                          " FROM contested ORDER BY id, sha256",
                          NULL, 0, failure);
    while (statement != NULL && more && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        more = visit_row(statement, visit, context);
    }
    return statement != NULL &&
           catalogue_finish(catalogue, statement, more ? code : SQLITE_DONE, failure);
}
