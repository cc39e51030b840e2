/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Giving trust, saying something of keys in signed records, and who was met here. */
#include <stdlib.h>
#include <string.h>

#include "catalogue/internal.h"
#include "text/text.h"
#include "trust/trust.h"

enum { BEGINNING_LEAST = 4, REASON_MOST = 300 };

/* ---- what is given ---- */

static bool is_key(const char *text) {
    return up_text_is_hex(text, UP_KEY_SIZE - 1);
}

static bool check_key(const char *writer, struct up_failure *failure) {
    return is_key(writer) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "\"%.70s\" is not a key: it has %d hexadecimal digits in lower case", writer,
                   UP_KEY_SIZE - 1);
}

/* The caller's; NULL where it is empty or too long. */
static char *clean(const char *text, const char *option, struct up_failure *failure) {
    char *better = up_text_clean(text, strlen(text));
    size_t length = strlen(better);
    if (length <= REASON_MOST && strspn(better, " ") < length) {
        return better;
    }
    free(better);
    up_fail(failure, UP_STATUS_WRONG_INPUT,
            "--%s must be more than spaces and at most %d bytes long", option, REASON_MOST);
    return NULL;
}

bool up_trust_give(struct up_catalogue *catalogue, const char *writer, const char *role,
                   const char *name, const char *reason, struct up_failure *failure) {
    static const char *const roles[] = {"bench", "editor", "federation", "none"};
    char utc[UP_TIME_SIZE];
    bool known = false, none = strcmp(role, "none") == 0;
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++) {
        known = known || strcmp(role, roles[i]) == 0;
    }
    if (!known) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "\"%.40s\" is not a role: give bench, editor or federation", role);
    }
    UP_FREED char *called = check_key(writer, failure)
                                ? none ? up_text_format("%s", "") : clean(name, "name", failure)
                                : NULL;
    if (called == NULL || !catalogue_begin(catalogue, failure)) {
        return false;
    }
    UP_FREED char *why = up_text_clean(reason, strlen(reason));
    catalogue_now(utc);
    return catalogue_end(
        catalogue,
        catalogue_change(
            catalogue,
            "INSERT INTO trusted VALUES (?, ?, ?, ?, ?) ON CONFLICT (writer) DO UPDATE"
            " SET role = excluded.role, name = CASE excluded.name WHEN '' THEN name"
            " ELSE excluded.name END, reason = excluded.reason, made_utc = excluded.made_utc",
            (const char *[]){writer, role, called, why, utc}, 5, failure) &&
            catalogue_trust_changed(catalogue, writer, failure),
        failure);
}

/* ---- by its beginning ---- */

/* Whoever signed, was given trust, or is named by another. */
#define EVERY_WRITER                                                                               \
    "SELECT writer FROM signed UNION SELECT writer FROM trusted UNION SELECT writer FROM standing" \
    " UNION SELECT new FROM rotated UNION SELECT writer FROM revoked UNION SELECT writer FROM"     \
    " recalled UNION SELECT json_extract(body, '$.writer') FROM record WHERE kind IN ('vouching'," \
    " 'rotation', 'revocation', 'recall') AND json_valid(body)"

static bool fail_to_find(const char *beginning, int count, struct up_failure *failure) {
    return count == 0 ? up_fail(failure, UP_STATUS_WRONG_INPUT,
                                "no key that was met here begins with \"%.64s\": `upthrust bench "
                                "list` shows all; of one that was not met, give all %d digits",
                                beginning, UP_KEY_SIZE - 1)
                      : up_fail(failure, UP_STATUS_WRONG_INPUT,
                                "%d keys begin with %.64s: give more of it", count, beginning);
}

bool up_trust_find(struct up_catalogue *catalogue, const char *beginning, char writer[UP_KEY_SIZE],
                   struct up_failure *failure) {
    size_t length = strlen(beginning);
    if (is_key(beginning)) {
        memcpy(writer, beginning, UP_KEY_SIZE);
        return true;
    }
    if (length < BEGINNING_LEAST || strspn(beginning, "0123456789abcdef") < length) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "\"%.64s\" begins no key: give at least %d of its hexadecimal digits",
                       beginning, BEGINNING_LEAST);
    }
    sqlite3_stmt *statement = catalogue_prepare(catalogue,
                                                "SELECT count(*), max(writer) FROM (" EVERY_WRITER
                                                ") WHERE substr(writer, 1, length(?1)) ="
                                                " ?1",
                                                &beginning, 1, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    int count = code == SQLITE_ROW ? sqlite3_column_int(statement, 0) : 0;
    snprintf(writer, UP_KEY_SIZE, "%s", count == 1 ? catalogue_text_of(statement, 1) : "");
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code,
                            failure) &&
           (count == 1 || fail_to_find(beginning, count, failure));
}

/* ---- what is said in records ---- */

/* Takes the content. */
static bool put(struct up_catalogue *catalogue, const char *kind, json_t *content,
                struct up_record *record, struct up_failure *failure) {
    *record = (struct up_record){.content = content};
    snprintf(record->kind, sizeof record->kind, "%s", kind);
    bool good = catalogue_check_content(kind, content, failure) &&
                catalogue_put(catalogue, record, NULL, failure);
    json_decref(content);
    return good;
}

bool up_trust_vouch(struct up_catalogue *catalogue, const char *writer, const char *name,
                    struct up_failure *failure) {
    struct up_record record;
    UP_FREED char *called = check_key(writer, failure) ? clean(name, "name", failure) : NULL;
    return called != NULL &&
           put(catalogue, "vouching", json_pack("{s:s, s:s}", "writer", writer, "name", called),
               &record, failure);
}

/* The old key signs the new one, which is noted first: killed in between, the folder signs with a
   key that says whom it succeeds, without the old one's word for it. */
static bool hand_over(struct up_catalogue *catalogue, char writer[UP_KEY_SIZE],
                      struct up_failure *failure) {
    struct up_record record;
    struct up_writer old = catalogue->writer;
    bool good = catalogue_renew_writer(catalogue, failure);
    memcpy(writer, catalogue->writer.public_key, UP_KEY_SIZE);
    if (good) {
        catalogue->writer = old;
        good = put(catalogue, "rotation", json_pack("{s:s}", "writer", writer), &record, failure);
    }
    up_writer_forget(&old);
    return good;
}

bool up_trust_new_key(struct up_catalogue *catalogue, char writer[UP_KEY_SIZE],
                      struct up_failure *failure) {
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good = catalogue_ready_writer(catalogue, failure) && hand_over(catalogue, writer, failure);
    good = catalogue_end(catalogue, good, failure);
    up_writer_forget(&catalogue->writer); /* it is opened again, and is the new one */
    return good;
}

/* ---- revocation ---- */

static bool find_last(struct up_catalogue *catalogue, const char *writer, long long last,
                      const char *beginning, char hash[UP_SHA256_SIZE],
                      struct up_failure *failure) {
    UP_FREED char *number = up_text_format("%lld", last);
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue,
        "SELECT count(*), max(sha256) FROM signed WHERE writer = ?1 AND sequence = CAST(?2 AS"
        " INTEGER) AND substr(sha256, 1, length(?3)) = ?3",
        (const char *[]){writer, number, beginning}, 3, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    int count = code == SQLITE_ROW ? sqlite3_column_int(statement, 0) : 0;
    snprintf(hash, UP_SHA256_SIZE, "%s", count == 1 ? catalogue_text_of(statement, 1) : "");
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code,
                            failure) &&
           (count == 1 ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    count == 0 ? "there is no record number %lld of %.8s here: give the number of "
                                 "its last good record, or 0 for none"
                               : "there are several records number %lld of %.8s: give the "
                                 "beginning of the good one's hash with --hash; `upthrust "
                                 "check-catalogue` lists them",
                    last, writer));
}

/* The record of that key stays in force: it was the last to be signed with it. */
static bool leave_key(struct up_catalogue *catalogue, const char *writer,
                      struct up_failure *failure) {
    if (strcmp(writer, catalogue->writer.public_key) != 0) {
        return true;
    }
    bool good = catalogue_renew_writer(catalogue, failure);
    up_writer_forget(&catalogue->writer);
    return good;
}

static bool has_effect(struct up_catalogue *catalogue, const char *sql, const char *what,
                       bool *counts, struct up_failure *failure) {
    long long there = 0;
    bool good = catalogue_ask(catalogue, sql, what, &there, failure);
    *counts = there != 0;
    return good;
}

bool up_trust_revoke(struct up_catalogue *catalogue, const char *writer, long long last,
                     const char *hash, const char *reason, bool *counts,
                     struct up_failure *failure) {
    struct up_record record;
    char whole[UP_SHA256_SIZE] = "";
    UP_FREED char *words = check_key(writer, failure) ? clean(reason, "reason", failure) : NULL;
    if (words == NULL || (last > 0 && !find_last(catalogue, writer, last, hash, whole, failure))) {
        return false;
    }
    json_t *content =
        json_pack("{s:s, s:I, s:o, s:s}", "writer", writer, "last_sequence", (json_int_t)last,
                  "last_sha256", last > 0 ? json_string(whole) : json_null(), "reason", words);
    return put(catalogue, "revocation", content, &record, failure) &&
           has_effect(catalogue, "SELECT EXISTS (SELECT 1 FROM revoked WHERE writer = ?)", writer,
                      counts, failure) &&
           leave_key(catalogue, writer, failure);
}

/* ---- recall ---- */

/* A recall of nothing is a slip: of the number, or of the key where the folder got another. */
static bool has_signed(struct up_catalogue *catalogue, const char *writer, long long first,
                       long long last, struct up_failure *failure) {
    UP_FREED char *sql = up_text_format("SELECT EXISTS (SELECT 1 FROM signed WHERE writer = ?"
                                        " AND sequence BETWEEN %lld AND %lld)",
                                        first, last);
    long long some = 0;
    return first > last ||
           (catalogue_ask(catalogue, sql, writer, &some, failure) &&
            (some > 0 || up_fail(failure, UP_STATUS_WRONG_INPUT,
                                 "no record from number %lld to %lld of the key %.8s is here: "
                                 "`upthrust bench list` shows the keys; name the one that signed "
                                 "them",
                                 first, last, writer)));
}

bool up_trust_recall(struct up_catalogue *catalogue, const char *writer, long long first,
                     long long last, const char *reason, bool *counts, struct up_failure *failure) {
    struct up_record record;
    UP_FREED char *words = clean(reason, "reason", failure);
    if (words == NULL || !catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good =
        writer[0] != '\0' ? check_key(writer, failure) : catalogue_ready_writer(catalogue, failure);
    const char *of = writer[0] != '\0' ? writer : catalogue->writer.public_key;
    good = good && has_signed(catalogue, of, first, last, failure) &&
           put(catalogue, "recall",
               json_pack("{s:s, s:I, s:I, s:s}", "writer", of, "first_sequence", (json_int_t)first,
                         "last_sequence", (json_int_t)last, "reason", words),
               &record, failure);
    return catalogue_end(catalogue, good, failure) &&
           has_effect(catalogue, "SELECT EXISTS (SELECT 1 FROM recalled WHERE sha256 = ?)",
                      record.sha256, counts, failure);
}

/* ---- who was met ---- */

/* Numbers of signed records alone come from the index; the date of the last is in its envelope. */
static const char met[] =
    "WITH every(writer) AS (" EVERY_WRITER "), said AS (SELECT kind, id, sha256,"
    "  json_extract(body, '$.writer') AS whom FROM record WHERE kind IN ('revocation', 'recall')"
    "  AND json_valid(body)),"
    " number AS (SELECT writer, count(*) AS records, max(sequence) AS last,"
    "  max(sequence) - count(DISTINCT sequence) AS missing,"
    "  count(*) - count(DISTINCT sequence) AS forked FROM signed GROUP BY writer),"
    " out AS (SELECT s.writer, sum(l.how = 'recalled') AS recalled, count(*) AS left_out FROM"
    "  left_out AS l JOIN signed AS s ON s.id = l.record_id AND s.sha256 = l.sha256"
    "  WHERE l.how <> 'waiting' GROUP BY s.writer),"
    " best AS (SELECT * FROM (SELECT *, row_number() OVER (PARTITION BY writer ORDER BY"
    "  role = 'federation' DESC, role = 'editor' DESC, how) AS place FROM standing) WHERE place = "
    "1)"
    "SELECT e.writer, coalesce(nullif(t.name, ''), b.name, ''), coalesce(b.role, t.role, ''),"
    " coalesce(b.through, before.old, ''), coalesce(b.how, CASE WHEN before.old <> '' THEN "
    "'rotation' END,"
    "  ''),"
    " EXISTS (SELECT 1 FROM signed AS s JOIN local_mark AS m ON m.record_id = s.id"
    "  AND m.mark = 'made' WHERE s.writer = e.writer),"
    " n.records, n.last, n.missing, n.forked, coalesce((SELECT CASE WHEN json_valid(envelope) THEN"
    "  json_extract(envelope, '$.made_utc') END FROM signed WHERE writer = e.writer AND"
    "  sequence = n.last ORDER BY sha256 LIMIT 1), ''),"
    " coalesce(v.last_sequence, -1), coalesce(v.reason, ''), o.recalled, o.left_out,"
    " (SELECT count(*) FROM said WHERE whom = e.writer AND CASE kind WHEN 'recall'"
    "   THEN sha256 NOT IN (SELECT sha256 FROM recalled) ELSE v.writer IS NULL END), "
    "coalesce(t.reason, '')"
    " FROM every AS e LEFT JOIN trusted AS t ON t.writer = e.writer LEFT JOIN best AS b ON"
    " b.writer = e.writer LEFT JOIN number AS n ON n.writer = e.writer LEFT JOIN revoked AS v ON"
    " v.writer = e.writer LEFT JOIN out AS o ON o.writer = e.writer LEFT JOIN (SELECT"
    "  new, min(old) AS old FROM rotated GROUP BY new) AS before ON before.new = e.writer"
    " ORDER BY 6 DESC, coalesce(b.role, t.role) IS NULL, e.writer";

static void read_row(sqlite3_stmt *statement, struct up_trust_row *row) {
    *row = (struct up_trust_row){
        .writer = catalogue_text_of(statement, 0),
        .name = catalogue_text_of(statement, 1),
        .role = catalogue_text_of(statement, 2),
        .through = catalogue_text_of(statement, 3),
        .how = catalogue_text_of(statement, 4),
        .own = sqlite3_column_int(statement, 5) != 0,
        .records = sqlite3_column_int64(statement, 6),
        .last_sequence = sqlite3_column_int64(statement, 7),
        .missing = sqlite3_column_int64(statement, 8),
        .forked = sqlite3_column_int64(statement, 9),
        .last_utc = catalogue_text_of(statement, 10),
        .revoked_after = sqlite3_column_int64(statement, 11),
        .revoked_why = catalogue_text_of(statement, 12),
        .recalled = sqlite3_column_int64(statement, 13),
        .left_out = sqlite3_column_int64(statement, 14),
        .ignored = sqlite3_column_int64(statement, 15),
        .reason = catalogue_text_of(statement, 16),
    };
}

bool up_trust_each(struct up_catalogue *catalogue,
                   bool (*visit)(const struct up_trust_row *row, void *context), void *context,
                   struct up_failure *failure) {
    struct up_trust_row row;
    bool more = true;
    int code = SQLITE_ERROR;
    if (catalogue->version < SIGNED_SINCE) {
        return true;
    }
    sqlite3_stmt *statement = catalogue_prepare(catalogue, met, NULL, 0, failure);
    while (statement != NULL && more && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        read_row(statement, &row);
        more = visit(&row, context);
    }
    return statement != NULL &&
           catalogue_finish(catalogue, statement, more ? code : SQLITE_DONE, failure);
}
