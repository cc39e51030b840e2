/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where records came from, and which a person left out. Both are marks of this folder and no part
   of the records, so that catalogues can still be put together in any order:
     made     stored by this folder itself, with the place
     kept     from before there were marks
     adopted  a calibration that came from elsewhere, and that a known mass bore out, with the place
              and the bench's count by then
     used     the version from elsewhere of an item or body that counted when it was measured here
     chosen   taken back by hand: other content under its id does not set it aside again
     aside    left out by hand, with the reason
     redacted, undetailed
              its facts, or its detail, were taken away from this folder, with the reason; what
              comes from elsewhere does not bring them back */
#ifndef _GNU_SOURCE
#define _GNU_SOURCE /* statx */
#endif
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "internal.h"
#include "text/text.h"

/* A clock that is off by this much would be noticed; two clocks differ by less. */
enum { AHEAD_S = 86400, MACHINE_ID_MOST = 256 };

/* To the end of its hour: whoever dates many records seconds apart has the tables that are made of
   them made anew once an hour, not with each command. */
void catalogue_latest(char utc[UP_TIME_SIZE]) {
    static const char end_of_hour[] = "59:59.999Z", hour[] = "0000-00-00T00:";
    catalogue_clock_step_s += AHEAD_S;
    catalogue_now(utc);
    catalogue_clock_step_s -= AHEAD_S;
    memcpy(utc + sizeof hour - 1, end_of_hour, sizeof end_of_hour);
}

/* The file's number on its disk, and when it was made, change with a copy and with a backup that is
   put back; the machine's number, hashed so that it cannot be read from a catalogue, with another
   machine. */
void catalogue_place(struct up_catalogue *catalogue, char place[UP_SHA256_SIZE]) {
    struct up_failure failure;
    struct statx about;
    UP_FREED char *file = up_text_format("%s/catalogue.sqlite", catalogue->directory);
    size_t length = 0;
    char *machine =
        up_text_read_file("/etc/machine-id", UP_LINKS_FOLLOWED, MACHINE_ID_MOST, &length, &failure);
    place[0] = '\0';
    if (statx(AT_FDCWD, file, 0, STATX_INO | STATX_BTIME, &about) == 0) {
        char *text =
            up_text_format("upthrust place %s %llu %lld.%u", machine != NULL ? machine : "",
                           (unsigned long long)about.stx_ino, (long long)about.stx_btime.tv_sec,
                           about.stx_btime.tv_nsec);
        catalogue_hash_text(text, place);
        free(text);
    }
    free(machine);
}

static bool mark(struct up_catalogue *catalogue, const char *record_id, const char *word,
                 const char *reason, struct up_failure *failure) {
    char place[UP_SHA256_SIZE], utc[UP_TIME_SIZE];
    catalogue_place(catalogue, place);
    catalogue_now(utc);
    return catalogue_change(catalogue,
                            "INSERT INTO local_mark VALUES (?, ?, ?, ?, ?) ON CONFLICT DO UPDATE"
                            " SET place = excluded.place, reason = excluded.reason,"
                            " made_utc = excluded.made_utc",
                            (const char *[]){record_id, word, place, reason, utc}, 5, failure) &&
           catalogue_unsettle_id(catalogue, record_id, failure);
}

bool catalogue_mark_made(struct up_catalogue *catalogue, const struct up_record *record,
                         struct up_failure *failure) {
    return mark(catalogue, record->id, "made", "", failure);
}

bool catalogue_hold_measured(struct up_catalogue *catalogue, const struct up_record *record,
                             struct up_failure *failure) {
    static const char *const about[][2] = {{"item", "item_id"}, {"reference", "reference_id"}};
    static const char sql[] =
        "INSERT INTO local_mark SELECT id, 'used', '', '', ?4 FROM (SELECT id FROM record AS r"
        " WHERE kind = ?1 AND subject = ?3 AND " CATALOGUE_COUNTS("?2") " ORDER BY " CATALOGUE_RANK(
            "?2") " DESC LIMIT 1) WHERE NOT " CATALOGUE_IS_HELD("id");
    char latest[UP_TIME_SIZE];
    bool good = true;
    catalogue_latest(latest);
    for (size_t i = 0; good && i < sizeof about / sizeof about[0]; i++) {
        const char *subject = up_record_text(record->content, about[i][1]);
        good = subject[0] == '\0' ||
               (catalogue_change(catalogue, sql,
                                 (const char *[]){about[i][0], latest, subject, record->made_utc},
                                 4, failure) &&
                (sqlite3_changes(catalogue->database) == 0 ||
                 catalogue_unsettle(catalogue, about[i][0], subject, failure)));
    }
    return good;
}

bool catalogue_is_own(struct up_catalogue *catalogue, const char *record_id, bool *own,
                      struct up_failure *failure) {
    long long there = 0;
    bool good =
        catalogue_ask(catalogue, "SELECT " CATALOGUE_IS_OWN("?"), record_id, &there, failure);
    *own = there > 0;
    return good;
}

/* ---- calibrations ---- */

/* The number that `sql` gives for an id and this place; 0 where it cannot be determined. */
static bool ask_of_place(struct up_catalogue *catalogue, const char *sql, const char *id,
                         int *number, struct up_failure *failure) {
    char place[UP_SHA256_SIZE];
    catalogue_place(catalogue, place);
    sqlite3_stmt *statement =
        catalogue_prepare(catalogue, sql, (const char *[]){id, place}, 2, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *number = code == SQLITE_ROW && place[0] != '\0' ? sqlite3_column_int(statement, 0) : 0;
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

static bool bench_of(struct up_catalogue *catalogue, const char *record_id,
                     char bench[UP_NAME_SIZE], struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_prepare(catalogue, "SELECT bench FROM record WHERE id = ?",
                                                &record_id, 1, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    snprintf(bench, UP_NAME_SIZE, "%s", code == SQLITE_ROW ? catalogue_text_of(statement, 0) : "");
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

bool up_calibration_is_trusted(struct up_catalogue *catalogue, const char *calibration_id,
                               bool *trusted, struct up_failure *failure) {
    int marks = 0;
    bool good = ask_of_place(catalogue,
                             "SELECT count(*) FROM local_mark WHERE record_id = ? AND place = ?"
                             " AND mark IN ('made', 'adopted')",
                             calibration_id, &marks, failure);
    char bench[UP_NAME_SIZE];
    bool agrees = false;
    *trusted = good && marks > 0 && bench_of(catalogue, calibration_id, bench, failure) &&
               catalogue_last_use_agrees(catalogue, bench, &agrees, failure) && agrees;
    return good;
}

bool catalogue_is_of_place(struct up_catalogue *catalogue, const char *subject, bool *is,
                           struct up_failure *failure) {
    int all = 0;
    bool good = ask_of_place(catalogue,
                             "SELECT count(*) > 0 AND min(EXISTS (SELECT 1 FROM local_mark"
                             " WHERE record_id = r.id AND mark = 'made' AND place = ?2))"
                             " FROM record AS r WHERE kind = 'run' AND subject = ?1"
                             " AND EXISTS (SELECT 1 FROM local_mark WHERE record_id = r.id"
                             " AND mark = 'made')", /* what others wrote about it does not count */
                             subject, &all, failure);
    *is = all > 0;
    return good;
}

bool up_calibration_adopt(struct up_catalogue *catalogue, const char *calibration_id,
                          struct up_failure *failure) {
    char bench[UP_NAME_SIZE], number[24];
    long long sequence = 0;
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good = bench_of(catalogue, calibration_id, bench, failure) &&
                catalogue_ask(catalogue, "SELECT last_sequence FROM bench_counter WHERE bench = ?",
                              bench, &sequence, failure);
    snprintf(number, sizeof number, "%lld", sequence);
    return catalogue_end(catalogue,
                         good && mark(catalogue, calibration_id, "adopted", number, failure),
                         failure) &&
           catalogue_last_use_note(catalogue, bench, calibration_id, failure);
}

/* ---- left out by hand ---- */

static bool is_there(struct up_catalogue *catalogue, const char *record_id,
                     struct up_failure *failure) {
    long long there = 0;
    return catalogue_ask(catalogue, "SELECT count(*) FROM record WHERE id = ?", record_id, &there,
                         failure) &&
           (there > 0 ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "the catalogue %s has no record %.40s: `upthrust check-catalogue` and the "
                    "column record_id of the CSV files name them",
                    catalogue->directory, record_id));
}

static bool is_marked_aside(struct up_catalogue *catalogue, const char *record_id,
                            struct up_failure *failure) {
    long long aside = 0;
    return catalogue_ask(catalogue,
                         "SELECT count(*) FROM local_mark WHERE record_id = ? AND mark = 'aside'",
                         record_id, &aside, failure) &&
           (aside > 0 || up_fail(failure, UP_STATUS_WRONG_INPUT,
                                 "the record %.40s is not set aside: `upthrust check-catalogue` "
                                 "lists those that are",
                                 record_id));
}

bool up_catalogue_set_aside(struct up_catalogue *catalogue, const char *record_id,
                            const char *reason, struct up_failure *failure) {
    UP_FREED char *clean = up_text_clean(reason, strlen(reason));
    return is_there(catalogue, record_id, failure) && catalogue_begin(catalogue, failure) &&
           catalogue_end(catalogue,
                         mark(catalogue, record_id, "aside", clean, failure) &&
                             catalogue_touch_id(catalogue, record_id, failure) &&
                             catalogue_run(catalogue, catalogue_count_again, failure),
                         failure);
}

/* "ID" or "ID/HASH". */
bool up_catalogue_restore(struct up_catalogue *catalogue, const char *record_id,
                          struct up_failure *failure) {
    size_t length = strcspn(record_id, "/");
    const char *hash = record_id + length + (record_id[length] == '/');
    UP_FREED char *id = up_text_format("%.*s", (int)(length < 100 ? length : 100), record_id);
    return is_marked_aside(catalogue, id, failure) && catalogue_begin(catalogue, failure) &&
           catalogue_end(catalogue,
                         catalogue_take_content(catalogue, id, hash, failure) &&
                             catalogue_change(catalogue,
                                              "UPDATE OR REPLACE local_mark SET mark = 'chosen'"
                                              " WHERE record_id = ? AND mark = 'aside'",
                                              (const char *[]){id}, 1, failure) &&
                             catalogue_touch_id(catalogue, id, failure) &&
                             catalogue_unsettle_id(catalogue, id, failure) &&
                             catalogue_run(catalogue, catalogue_count_again, failure),
                         failure);
}

/* ---- what is left out, and what cannot be what was stored ---- */

struct checking {
    struct up_catalogue *catalogue;
    bool (*visit)(const struct up_doubtful_record *doubtful, void *context);
    void *context;
    bool damaged; /* a record that counts */
};

static bool visit_damaged(const struct up_record *record, bool aside, void *context) {
    struct checking *checking = context;
    checking->damaged = checking->damaged || !aside;
    struct up_doubtful_record doubtful = {.why = UP_RECORD_DAMAGED, .reason = ""};
    memcpy(doubtful.id, record->id, sizeof record->id);
    memcpy(doubtful.kind, record->kind, sizeof record->kind);
    memcpy(doubtful.made_utc, record->made_utc, sizeof record->made_utc);
    return aside || checking->visit(&doubtful, checking->context);
}

static bool visit_contested(const struct up_record *record, json_t *replaces, bool sound,
                            void *context) {
    const struct checking *checking = context;
    struct up_doubtful_record doubtful = {.why = UP_RECORD_CONTESTED};
    const char *name = up_record_text(record->content, "name");
    long long held = 0;
    (void)replaces;
    doubtful.held = catalogue_ask(checking->catalogue, "SELECT " CATALOGUE_IS_HELD("?"), record->id,
                                  &held, NULL) &&
                    held > 0;
    memcpy(doubtful.id, record->id, sizeof record->id);
    memcpy(doubtful.kind, record->kind, sizeof record->kind);
    memcpy(doubtful.made_utc, record->made_utc, sizeof record->made_utc);
    snprintf(doubtful.reason, sizeof doubtful.reason, "%s%s%s%.60s%s", record->sha256,
             sound ? "" : ", damaged", name[0] != '\0' ? ", \"" : "", name,
             name[0] != '\0' ? "\"" : "");
    return checking->visit(&doubtful, checking->context);
}

static bool visit_rows(const struct checking *checking, enum up_record_doubt why, const char *sql,
                       struct up_failure *failure) {
    char latest[UP_TIME_SIZE];
    bool more = true;
    int code = SQLITE_ERROR;
    catalogue_latest(latest);
    sqlite3_stmt *statement = catalogue_prepare(checking->catalogue, sql, (const char *[]){latest},
                                                why == UP_RECORD_AHEAD_OF_CLOCK ? 1 : 0, failure);
    while (statement != NULL && more && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct up_doubtful_record doubtful = {.why = why};
        snprintf(doubtful.id, sizeof doubtful.id, "%s", catalogue_text_of(statement, 0));
        snprintf(doubtful.kind, sizeof doubtful.kind, "%s", catalogue_text_of(statement, 1));
        snprintf(doubtful.made_utc, sizeof doubtful.made_utc, "%s",
                 catalogue_text_of(statement, 2));
        snprintf(doubtful.reason, sizeof doubtful.reason, "%s", catalogue_text_of(statement, 3));
        more = checking->visit(&doubtful, checking->context);
    }
    return statement != NULL &&
           catalogue_finish(checking->catalogue, statement, more ? code : SQLITE_DONE, failure);
}

/* Records missing from an index would not be found; this happens where a backup is copied over a
   file whose log remained. */
static bool check_file(struct up_catalogue *catalogue, struct up_failure *failure) {
    sqlite3_stmt *statement =
        catalogue_prepare(catalogue, "PRAGMA integrity_check(1)", NULL, 0, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    const char *told = code == SQLITE_ROW ? catalogue_text_of(statement, 0) : "ok";
    UP_FREED char *words = up_text_clean(told, strlen(told)); /* it may have lines */
    bool whole = strcmp(words, "ok") == 0;
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code,
                            failure) &&
           (whole ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "%s/catalogue.sqlite is damaged (%.100s): restore a copy, and take away "
                    "the files beside it that end in -wal and -shm",
                    catalogue->directory, words));
}

static bool check_tables(const struct checking *checking, struct up_failure *failure) {
    struct up_doubtful_record doubtful = {.why = UP_TABLES_UNLIKE};
    long long unlike = 0;
    if (checking->damaged) { /* the tables may say what it said, and it is told already */
        return true;
    }
    if (!catalogue_compare_tables(checking->catalogue, &unlike, failure)) {
        return false;
    }
    snprintf(doubtful.reason, sizeof doubtful.reason, "%lld row%s", unlike, unlike == 1 ? "" : "s");
    if (unlike > 0) {
        checking->visit(&doubtful, checking->context);
    }
    return true;
}

/* In an order that no merge changes. */
bool up_catalogue_check(struct up_catalogue *catalogue,
                        bool (*visit)(const struct up_doubtful_record *doubtful, void *context),
                        void *context, struct up_failure *failure) {
#define ASIDE(and_what)                                                                            \
    "SELECT r.id, r.kind, r.made_utc, m.reason" and_what                                           \
    " FROM local_mark AS m JOIN record AS r ON r.id = m.record_id WHERE m.mark = 'aside'"          \
    " ORDER BY r.id, r.sha256"
    static const char aside[] = ASIDE("");
    static const char aside_6[] =
        ASIDE(" || CASE WHEN r.id IN (SELECT id FROM contested) THEN ', ' || r.sha256 ||"
              " coalesce(', \"' || substr(CASE WHEN json_valid(r.body) THEN"
              " json_extract(r.body, '$.name') END, 1, 60) || '\"', '') ELSE '' END");
#undef ASIDE
    /* A writer that signed two records under one number: somebody writes into a copy of its folder,
       with its key, or the home was put back with the folder. */
    static const char forked[] =
        "SELECT id, kind, made_utc, 'number ' || sequence || ' of ' || writer FROM signed AS s"
        " JOIN record AS r USING (id, sha256) WHERE EXISTS (SELECT 1 FROM signed AS o WHERE"
        " o.writer = s.writer AND o.sequence = s.sequence AND o.sha256 <> s.sha256)"
        " ORDER BY writer, sequence, id, sha256";
    static const char after_gap[] =
        "SELECT id, kind, made_utc, 'number ' || sequence || ' of ' || writer FROM signed AS s"
        " JOIN record AS r USING (id, sha256) WHERE sequence > 1 AND NOT EXISTS (SELECT 1 FROM"
        " signed AS o WHERE o.writer = s.writer AND o.sequence = s.sequence - 1"
        " AND o.sha256 = CASE WHEN json_valid(s.envelope) THEN"
        " json_extract(s.envelope, '$.previous') END)"
        " ORDER BY writer, sequence, id, sha256";
#define REDACTED(mark)                                                                             \
    "SELECT r.id, r.kind, r.made_utc, m.reason FROM local_mark AS m JOIN record AS r"              \
    " ON r.id = m.record_id WHERE m.mark = '" mark "' ORDER BY r.id, r.sha256"
    /* Only a program from before signatures writes none here; the first writer told of its own. */
    static const char unsigned_since[] =
        "SELECT r.id, r.kind, r.made_utc, '' FROM record AS r WHERE " CATALOGUE_HAS_MARK(
            "r.id", "'made'") " AND EXISTS (SELECT 1 FROM record WHERE kind = 'writer') AND NOT"
                              " EXISTS (SELECT 1 FROM signed AS s WHERE s.id = r.id AND"
                              " s.sha256 = r.sha256) AND NOT EXISTS (SELECT 1 FROM record AS h"
                              " JOIN detail AS d ON d.sha256 = h.sha256 WHERE h.kind = 'held'"
                              " AND instr(d.body, r.sha256) > 0) ORDER BY r.id, r.sha256";
#define WOULD_COUNT CATALOGUE_COUNTS_OR_WAITS(CATALOGUE_NOW_SQL)
#define R_IS_TAKEN  CATALOGUE_IS_TAKEN("r.id")
#define ONE_OF_EACH                                                                                \
    " AND NOT " R_IS_TAKEN " AND " WOULD_COUNT " GROUP BY r.kind, r.subject"                       \
    " ORDER BY r.kind, r.subject"
#define LEFT_OUT(how, also)                                                                        \
    "SELECT r.id, r.kind, r.made_utc, l.why" also                                                  \
    " FROM left_out AS l CROSS JOIN record AS r ON r.id = l.record_id AND r.sha256 = l.sha256"     \
    " WHERE l.how = '" how "'"
    static const char revoked[] = LEFT_OUT("revoked", "") " ORDER BY l.record_id, l.sha256";
    static const char recalled[] = LEFT_OUT("recalled", "") " ORDER BY l.record_id, l.sha256";
    /* The newest of each thing that would count if its writer might say so. */
    static const char waiting[] = LEFT_OUT("waiting", ", max(r.made_utc || r.id)") ONE_OF_EACH;
#undef LEFT_OUT
#undef ONE_OF_EACH
#undef WOULD_COUNT
#undef R_IS_TAKEN
    struct checking checking = {catalogue, visit, context, false};
    return check_file(catalogue, failure) &&
           catalogue_each_damaged(catalogue, visit_damaged, &checking, failure) &&
           visit_rows(&checking, UP_RECORD_SET_ASIDE, catalogue->version < 6 ? aside : aside_6,
                      failure) &&
           visit_rows(&checking, UP_RECORD_AHEAD_OF_CLOCK,
                      "SELECT id, kind, made_utc, '' FROM record WHERE made_utc > ?"
                      " ORDER BY id, sha256",
                      failure) &&
           catalogue_each_contested(catalogue, visit_contested, &checking, failure) &&
           visit_rows(&checking, UP_RECORD_REVOKED, revoked, failure) &&
           visit_rows(&checking, UP_RECORD_RECALLED, recalled, failure) &&
           visit_rows(&checking, UP_RECORD_WAITING, waiting, failure) &&
           visit_rows(&checking, UP_RECORD_OF_MANY,
                      "SELECT substr(max(made_utc || id), 25), kind, max(made_utc),"
                      " count(*) || ' of ' || subject FROM record"
                      " GROUP BY kind, subject HAVING count(*) > 1000 ORDER BY kind, subject",
                      failure) &&
           (catalogue->version < SIGNED_SINCE ||
            (visit_rows(&checking, UP_RECORD_FORKED, forked, failure) &&
             visit_rows(&checking, UP_RECORD_AFTER_GAP, after_gap, failure) &&
             visit_rows(&checking, UP_RECORD_REDACTED, REDACTED("redacted"), failure) &&
             visit_rows(&checking, UP_RECORD_UNDETAILED, REDACTED("undetailed"), failure) &&
             visit_rows(&checking, UP_RECORD_UNSIGNED, unsigned_since, failure))) &&
           check_tables(&checking, failure);
#undef REDACTED
}
