/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose records count. Everything that is signed is kept and passed on; what of it counts here is
   made of two things alone, the records and the trust that was given here (table `trusted`), so
   that the order of merging is no matter. Clocks are not asked. Derived tables, each rebuilt whole
   by SQL, the word of later steps resting on that of earlier ones:
     revoked   per writer the last record that is good: by its own word, by that of a key to which
               it passed its trust, by a federation that vouched for it. The strictest word counts
     rotated   the old key signed the new one
     standing  who has which role, given here, passed on by rotation or by a vouching (one level)
     recalled  records that a writer, its successor or an editor took back
     left_out  the records that do not count: revoked, recalled, or waiting for a person's word. A
               version waits whose writer has no say about the thing (settle_subject) */
#include <string.h>

#include "internal.h"
#include "text/text.h"

/* ---- members ---- */

const struct catalogue_member catalogue_vouching_members[] = {
    TEXT_ALONE("writer", 0, "the key that is vouched for (Ed25519, hex)"),
    TEXT_ALONE("name", 0, "whose key it is, says who vouches"), END};

const struct catalogue_member catalogue_rotation_members[] = {
    TEXT_ALONE("writer", 0, "the key that signs from now on, in place of the one that signed this"),
    END};

const struct catalogue_member catalogue_revocation_members[] = {
    TEXT_ALONE("writer", 0, "the key that is revoked (Ed25519, hex)"),
    INTEGER_ALONE("last_sequence", SEQUENCE_MOST, 0, "number of its last good record; 0: none"),
    TEXT_ALONE("last_sha256", LATER, "hash of that record"), TEXT_ALONE("reason", 0, "why"), END};

const struct catalogue_member catalogue_recall_members[] = {
    TEXT_ALONE("writer", 0, "the key that signed what is recalled (Ed25519, hex)"),
    INTEGER_ALONE("first_sequence", SEQUENCE_MOST, ABOVE_ZERO, "number of its first such record"),
    INTEGER_ALONE("last_sequence", SEQUENCE_MOST, ABOVE_ZERO, "number of its last such record"),
    TEXT_ALONE("reason", 0, "why"), END};

const char *catalogue_fault_of_key(const json_t *content) {
    return up_text_is_hex(up_record_text(content, "writer"), UP_KEY_SIZE - 1)
               ? NULL
               : "has a \"writer\" that is not a key";
}

static json_int_t whole(const json_t *content, const char *key) {
    return json_integer_value(json_object_get(content, key));
}

const char *catalogue_fault_of_revocation(const json_t *content) {
    const char *hash = up_record_text(content, "last_sha256");
    bool good = whole(content, "last_sequence") > 0 ? up_text_is_hex(hash, UP_SHA256_SIZE - 1)
                                                    : hash[0] == '\0';
    return good ? catalogue_fault_of_key(content) : "does not name the last good record";
}

const char *catalogue_fault_of_recall(const json_t *content) {
    return whole(content, "first_sequence") <= whole(content, "last_sequence")
               ? catalogue_fault_of_key(content)
               : "recalls from a number to a lower one";
}

/* ---- what a transaction touches ---- */

static bool is_about_keys(const char *kind) {
    static const char *const kinds[] = {"vouching", "rotation", "revocation", "recall"};
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        if (strcmp(kind, kinds[i]) == 0) {
            return true;
        }
    }
    return false;
}

static void note(json_t **set, const char *key) {
    *set = *set != NULL ? *set : json_object();
    json_object_set_new(*set, key, json_true());
}

static void note_subject(struct up_catalogue *catalogue, const char *kind, const char *subject) {
    UP_FREED char *key = up_text_format("%s %s", kind, subject);
    note(&catalogue->touched.subjects, key);
}

void catalogue_forget_touched(struct up_catalogue *catalogue) {
    json_decref(catalogue->touched.writers);
    json_decref(catalogue->touched.subjects);
    catalogue->touched = (struct catalogue_touched){.trust = false};
}

bool catalogue_trust_changed(struct up_catalogue *catalogue, const char *writer,
                             struct up_failure *failure) {
    (void)failure;
    note(&catalogue->touched.writers, writer);
    catalogue->touched.trust = true;
    return true;
}

/* Contents that stand beside a record under its id are versions, too: else a forged one would take
   from a thing who made it. */
#define CONTENTS                                                                                   \
    "(SELECT id, sha256, kind, subject FROM record UNION ALL"                                      \
    " SELECT id, sha256, kind, subject FROM contested)"

/* A thing of one version, or of one writer's, is the rule. */
bool catalogue_note_touched(struct up_catalogue *catalogue, const struct up_record *record,
                            const char *writer, struct up_failure *failure) {
    static const char sql[] =
        "SELECT 1 FROM " CONTENTS " AS o LEFT JOIN signed AS s ON s.id = o.id AND"
        " s.sha256 = o.sha256"
        " WHERE o.kind = ? AND o.subject = ? AND coalesce(s.writer, '') <> ?";
    if (writer[0] != '\0') {
        note(&catalogue->touched.writers, writer);
    }
    if (is_about_keys(record->kind)) {
        return catalogue_trust_changed(catalogue, writer, failure);
    }
    if (strcmp(record->id, record->subject) == 0) {
        return true;
    }
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue, sql, (const char *[]){record->kind, record->subject, writer}, 3, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    if (code == SQLITE_ROW) {
        note_subject(catalogue, record->kind, record->subject);
        code = SQLITE_DONE;
    }
    return statement != NULL && catalogue_finish(catalogue, statement, code, failure);
}

/* Things whose kind and id some SQL gives. */
static bool touch_all_of(struct up_catalogue *catalogue, const char *sql, const char *const *values,
                         int count, struct up_failure *failure) {
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = catalogue_prepare(catalogue, sql, values, count, failure);
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        UP_FREED char *kind = up_text_format("%s", catalogue_text_of(statement, 0));
        note_subject(catalogue, kind, catalogue_text_of(statement, 1));
        catalogue->touched.trust = catalogue->touched.trust || is_about_keys(kind);
    }
    return statement != NULL && catalogue_finish(catalogue, statement, code, failure);
}

bool catalogue_touch_id(struct up_catalogue *catalogue, const char *id,
                        struct up_failure *failure) {
    return touch_all_of(catalogue,
                        "SELECT kind, subject FROM record WHERE id = ?1 UNION"
                        " SELECT kind, subject FROM contested WHERE id = ?1",
                        &id, 1, failure);
}

#define SIGNED_AS(record, signed_as)                                                               \
    " LEFT JOIN signed AS " signed_as " ON " signed_as ".id = " record ".id AND " signed_as        \
    ".sha256 = " record ".sha256 "

bool catalogue_touch_all(struct up_catalogue *catalogue, struct up_failure *failure) {
    catalogue->touched.trust = true;
    return touch_all_of(
        catalogue,
        "SELECT r.kind, r.subject FROM " CONTENTS " AS r" SIGNED_AS(
            "r",
            "s") "GROUP BY r.kind, r.subject HAVING count(DISTINCT coalesce(s.writer, '')) > 1",
        NULL, 0, failure);
}

/* Those that a writer shares with others. */
static bool touch_things_of(struct up_catalogue *catalogue, const char *writer,
                            struct up_failure *failure) {
    return touch_all_of(
        catalogue,
        "SELECT DISTINCT r.kind, r.subject FROM signed AS w JOIN " CONTENTS " AS r ON"
        " r.id = w.id AND r.sha256 = w.sha256 WHERE w.writer = ?1"
        " AND r.id <> r.subject AND EXISTS (SELECT 1 FROM " CONTENTS
        " AS o" SIGNED_AS("o", "s") "WHERE o.kind = r.kind AND o.subject = r.subject"
                                    " AND coalesce(s.writer, '') <> ?1)",
        &writer, 1, failure);
}

/* ---- what writers say of keys ---- */

/* By a person. */
#define R_IS_SET_ASIDE                                                                             \
    "EXISTS (SELECT 1 FROM local_mark WHERE record_id = r.id AND mark = 'aside'"                   \
    " AND reason <> '" CATALOGUE_CONTESTED_REASON "')"
#define R_IS_OUT CATALOGUE_IS_OUT("r")

/* Signed records of a kind that were not set aside by a person and do not come after a revocation.
   Contents that share an id count each for itself: else a forged one would silence the other. */
#define SAID(kind)                                                                                 \
    "(SELECT s.sha256, s.writer, s.sequence, json_extract(body, '$.writer') AS whom, body FROM"    \
    " (SELECT id, sha256, body FROM record WHERE kind = '" kind "' UNION"                          \
    "  SELECT id, sha256, body FROM contested WHERE kind = '" kind "') AS r"                       \
    " JOIN signed AS s ON s.id = r.id AND s.sha256 = r.sha256 WHERE json_valid(body)"              \
    " AND NOT " R_IS_SET_ASIDE " AND NOT EXISTS (SELECT 1 FROM left_out AS l"                      \
    "  WHERE l.record_id = r.id AND l.sha256 = r.sha256 AND l.how = 'revoked'))"

/* Longer chains of rotations are nobody's. */
#define ROTATIONS_MOST "32"
#define NOT_REFUSED    " NOT IN (SELECT writer FROM trusted WHERE role = 'none')"
#define HEIRS(of)                                                                                  \
    "heir(old, new, sequence, depth) AS (SELECT old, new, sequence, 1 FROM rotated WHERE old "     \
    "IN " of                                                                                       \
    " UNION SELECT heir.old, rotated.new, heir.sequence, depth + 1 FROM heir JOIN rotated ON"      \
    " rotated.old = heir.new WHERE depth < " ROTATIONS_MOST ")"

#define REVOCATION                                                                                 \
    "whom, json_extract(body, '$.last_sequence') AS last,"                                         \
    " coalesce(json_extract(body, '$.last_sha256'), '') AS hash, said.writer AS by_writer,"        \
    " coalesce(json_extract(body, '$.reason'), '') AS reason FROM " SAID("revocation") " AS said"
#define STRICTEST                                                                                  \
    " ON CONFLICT (writer) DO UPDATE SET last_sequence = excluded.last_sequence,"                  \
    " last_sha256 = excluded.last_sha256, by_writer = excluded.by_writer,"                         \
    " reason = excluded.reason WHERE (excluded.last_sequence, excluded.last_sha256,"               \
    " excluded.by_writer, excluded.reason) < (last_sequence, last_sha256, by_writer, reason);"

static const char forget[] = "DELETE FROM revoked; DELETE FROM rotated; DELETE FROM standing;"
                             "DELETE FROM recalled; DELETE FROM left_out WHERE how <> 'waiting';";

static const char revoke_by_itself[] =
    "INSERT INTO revoked SELECT " REVOCATION " WHERE said.writer = whom" STRICTEST;

/* Whom it passed its trust to cannot take away that it did. */
static const char revoke_by_heir[] = "INSERT INTO revoked WITH RECURSIVE " HEIRS(
    "(SELECT old FROM rotated)") " SELECT whom, last, hash, by_writer, reason FROM "
                                 "(SELECT " REVOCATION ") JOIN heir ON"
                                 " heir.old = whom AND heir.new = by_writer WHERE last >= "
                                 "heir.sequence" STRICTEST;

static const char revoke_by_federation[] =
    "INSERT INTO revoked SELECT whom, last, hash, by_writer, reason FROM (SELECT " REVOCATION ")"
    " WHERE (by_writer, whom) IN (SELECT v.writer, v.whom FROM " SAID(
        "vouching") " AS v JOIN"
                    " standing AS f ON f.writer = v.writer WHERE f.role = 'federation')" STRICTEST;

/* From the last good record back, link by link. What is not on that chain may be another branch;
   where a link is missing here, nothing before it is shown to be good. */
static const char mark_revoked[] =
    "DELETE FROM left_out WHERE how = 'revoked';"
    "INSERT OR REPLACE INTO left_out WITH RECURSIVE chain(writer, sequence, sha256) AS ("
    " SELECT writer, last_sequence, last_sha256 FROM revoked UNION ALL"
    " SELECT s.writer, s.sequence - 1, CASE WHEN json_valid(s.envelope) THEN"
    "  json_extract(s.envelope, '$.previous') END FROM chain JOIN signed AS s ON"
    "  s.writer = chain.writer AND s.sequence = chain.sequence AND s.sha256 = chain.sha256)"
    "SELECT s.id, s.sha256, 'revoked', 'number ' || s.sequence || CASE WHEN s.sequence >"
    "  v.last_sequence THEN ' comes after number ' || v.last_sequence || ', the last good one'"
    "  ELSE ' is not shown to come before the last good one, number ' || v.last_sequence END ||"
    "  ' of ' || substr(s.writer, 1, 8) || CASE v.reason WHEN '' THEN '' ELSE ': ' || v.reason END"
    " FROM revoked AS v JOIN signed AS s ON s.writer = v.writer"
    " WHERE (s.sequence > v.last_sequence OR s.sha256 NOT IN (SELECT sha256 FROM chain"
    "  WHERE sha256 IS NOT NULL))"
    /* what revokes itself says so with its last word */
    " AND NOT (json_valid(s.envelope) AND json_extract(s.envelope, '$.kind') = 'revocation' AND"
    "  s.writer IN (SELECT json_extract(r.body, '$.writer') FROM (SELECT id, sha256, body FROM"
    "   record UNION ALL SELECT id, sha256, body FROM contested) AS r WHERE r.id = s.id"
    "   AND r.sha256 = s.sha256 AND json_valid(r.body)));";

static const char rotate[] = "DELETE FROM rotated;"
                             "INSERT INTO rotated SELECT writer, whom, min(sequence) FROM " SAID(
                                 "rotation") " WHERE whom <> writer GROUP BY writer, whom;";

#define PASSED_ON                                                                                  \
    " UNION SELECT new, role, 'rotation', old, name, depth + 1 FROM s JOIN rotated ON"             \
    " old = s.writer WHERE depth < " ROTATIONS_MOST " AND new" NOT_REFUSED ")"                     \
    " SELECT writer, role, how, through, name FROM s ORDER BY depth, how, through, name;"
#define STAND                                                                                      \
    "INSERT OR IGNORE INTO standing WITH RECURSIVE s(writer, role, how, through, name, depth) AS " \
    "("
static const char stand[] =
    "DELETE FROM standing;" STAND
    "SELECT writer, role, 'here', '', name, 0 FROM trusted WHERE role <> 'none'" PASSED_ON STAND
    "SELECT whom, 'bench', 'vouching', v.writer,"
    " coalesce(json_extract(body, '$.name'), ''), 0 FROM " SAID(
        "vouching") " AS v JOIN standing AS"
                    " f ON f.writer = v.writer WHERE f.role = 'federation' AND whom" NOT_REFUSED
                        PASSED_ON;

/* A recall is of what was measured or entered, not of what keys say of each other. */
static const char recall[] = "INSERT OR IGNORE INTO recalled WITH RECURSIVE " HEIRS(
    "(SELECT old FROM rotated)") " SELECT sha256, whom, json_extract(body, '$.first_sequence'),"
                                 "  json_extract(body, '$.last_sequence'), writer, "
                                 "coalesce(json_extract(body, '$.reason'), '')"
                                 " FROM " SAID(
                                     "recall") " AS said WHERE writer = whom OR writer IN (SELECT "
                                               "writer FROM standing"
                                               "  WHERE role = 'editor') OR writer IN (SELECT new "
                                               "FROM heir WHERE old = whom);"
                                               "INSERT OR IGNORE INTO left_out SELECT s.id, "
                                               "s.sha256, 'recalled', 'number ' || s.sequence ||"
                                               "  ' of ' || substr(s.writer, 1, 8) || ' was "
                                               "recalled' ||"
                                               "  CASE c.reason WHEN '' THEN '' ELSE ': ' || "
                                               "c.reason END"
                                               " FROM recalled AS c JOIN signed AS s ON s.writer = "
                                               "c.writer"
                                               "  AND s.sequence BETWEEN c.first_sequence AND "
                                               "c.last_sequence"
                                               " WHERE NOT (json_valid(s.envelope) AND "
                                               "json_extract(s.envelope, '$.kind') IN"
                                               "  ('writer', 'held', 'vouching', 'rotation', "
                                               "'revocation', 'recall'))"
                                               " ORDER BY c.by_writer, c.reason, c.sha256;";

/* ---- all of it ---- */

static bool rebuild(struct up_catalogue *catalogue, struct up_failure *failure) {
    const char *const steps[] = {
        forget, revoke_by_itself,     mark_revoked, rotate, revoke_by_heir, mark_revoked, rotate,
        stand,  revoke_by_federation, mark_revoked, rotate, stand,          recall,
    };
    bool good = true;
    for (size_t i = 0; good && i < sizeof steps / sizeof steps[0]; i++) {
        good = catalogue_run(catalogue, steps[i], failure);
    }
    return good;
}

/* What is derived of keys, each with the writer that it is about. */
static json_t *keys_now(struct up_catalogue *catalogue, struct up_failure *failure) {
    static const char sql[] =
        "SELECT writer, role FROM standing UNION ALL SELECT new, old || sequence FROM rotated"
        " UNION ALL SELECT writer, 'r' || last_sequence || last_sha256 FROM revoked"
        " UNION ALL SELECT writer, 'c' || sha256 FROM recalled";
    json_t *keys = json_object();
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = catalogue_prepare(catalogue, sql, NULL, 0, failure);
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        UP_FREED char *key = up_text_format("%s %s", catalogue_text_of(statement, 0),
                                            catalogue_text_of(statement, 1));
        json_object_set_new(keys, key, json_string(catalogue_text_of(statement, 0)));
    }
    if (statement == NULL || !catalogue_finish(catalogue, statement, code, failure)) {
        json_decref(keys);
        return NULL;
    }
    return keys;
}

static bool touch_changed(struct up_catalogue *catalogue, json_t *before, json_t *after,
                          struct up_failure *failure) {
    const char *key;
    json_t *writer;
    bool good = true;
    json_object_foreach(before, key, writer) {
        good = good && (json_object_get(after, key) != NULL ||
                        touch_things_of(catalogue, json_string_value(writer), failure));
    }
    json_object_foreach(after, key, writer) {
        good = good && (json_object_get(before, key) != NULL ||
                        touch_things_of(catalogue, json_string_value(writer), failure));
    }
    return good;
}

/* Whether one of the writers is revoked, or something of it recalled: then what came may belong to
   that. */
static bool touches_marked(struct up_catalogue *catalogue, bool *touches,
                           struct up_failure *failure) {
    const char *writer;
    json_t *value;
    long long marked = 0;
    bool good = true;
    *touches = false;
    json_object_foreach(catalogue->touched.writers, writer, value) {
        good = good && catalogue_ask(catalogue,
                                     "SELECT EXISTS (SELECT 1 FROM revoked WHERE writer = ?1) OR"
                                     " EXISTS (SELECT 1 FROM recalled WHERE writer = ?1)",
                                     writer, &marked, failure);
        *touches = *touches || marked != 0;
    }
    return good;
}

/* The things whose records are left out now and were not, or were and are not. */
#define LEFT_OUT_OF(table) "SELECT record_id, sha256, how FROM " table
static const char keep_left_out[] = "CREATE TEMP TABLE left_out_before AS " LEFT_OUT_OF("left_out");
static const char unsettle_left_out[] =
    "INSERT INTO unsettled SELECT kind, subject FROM record WHERE id IN (SELECT record_id FROM ("
    "SELECT * FROM (" LEFT_OUT_OF("left_out") " EXCEPT " LEFT_OUT_OF(
        "left_out_before") ")"
                           " UNION ALL SELECT * FROM (" LEFT_OUT_OF(
                               "left_out_before") " EXCEPT " LEFT_OUT_OF("left_out") "))) ON "
                                                                                     "CONFLICT DO "
                                                                                     "NOTHING; "
                                                                                     "DROP TABLE "
                                                                                     "left_out_"
                                                                                     "before";

static bool rebuild_and_unsettle(struct up_catalogue *catalogue, struct up_failure *failure) {
    catalogue->unsettled = true;
    return catalogue_run(catalogue, keep_left_out, failure) && rebuild(catalogue, failure) &&
           catalogue_run(catalogue, unsettle_left_out, failure);
}

static bool settle_keys(struct up_catalogue *catalogue, struct up_failure *failure) {
    const char *writer;
    json_t *value;
    json_auto_t *before = keys_now(catalogue, failure);
    if (before == NULL || !rebuild_and_unsettle(catalogue, failure)) {
        return false;
    }
    json_auto_t *after = keys_now(catalogue, failure);
    bool good = after != NULL && touch_changed(catalogue, before, after, failure);
    json_object_foreach(catalogue->touched.writers, writer, value) {
        good = good && touch_things_of(catalogue, writer, failure);
    }
    return good && catalogue_run(catalogue, catalogue_count_again, failure);
}

/* ---- which versions of a thing wait ---- */

/* The author of a thing is who signed a version of it that replaces no other signed one. Its word
   counts, and its successors'; an editor's does, too. Where several did, those who are trusted are
   its authors; where none is, nobody is, but for kinds of gear and rigs, which are the same thing
   for everybody. What nobody signed counts only where no author did. */
#define VERSIONS                                                                                   \
    "version AS (SELECT r.id, r.sha256, coalesce(s.writer, '') AS writer,"                         \
    " CASE WHEN json_valid(s.envelope) THEN s.envelope END AS envelope FROM " CONTENTS " AS r"     \
    " LEFT JOIN signed AS s ON s.id = r.id AND s.sha256 = r.sha256"                                \
    " WHERE r.kind = ?1 AND r.subject = ?2 AND NOT " R_IS_SET_ASIDE " AND NOT " R_IS_OUT ")"
#define SOURCES                                                                                    \
    "source(writer) AS (SELECT DISTINCT writer FROM version AS v WHERE writer <> ''"               \
    " AND NOT EXISTS (SELECT 1 FROM json_each(v.envelope, '$.replaces') AS old JOIN version AS o"  \
    "  ON o.id = old.value WHERE o.writer <> ''))"
#define AUTHORS                                                                                    \
    "author(writer) AS (SELECT writer FROM source WHERE writer IN (SELECT writer FROM standing)"   \
    " OR (SELECT count(*) FROM source) = 1 OR ?1 IN ('gear_kind', 'rig')),"                        \
    " may(writer) AS (SELECT writer FROM author UNION SELECT new FROM rotated JOIN may ON"         \
    "  old = may.writer)"
static const char wait[] =
    "INSERT OR IGNORE INTO left_out WITH RECURSIVE " VERSIONS ", " SOURCES ", " AUTHORS
    " SELECT id, sha256, 'waiting', CASE WHEN writer = '' THEN 'nobody signed it'"
    "  WHEN EXISTS (SELECT 1 FROM author) THEN substr(writer, 1, 8) || ' did not make what it"
    " changes' ELSE 'several writers say that they made it, ' || substr(writer, 1, 8) ||"
    " ' among them' END FROM version WHERE CASE writer WHEN '' THEN EXISTS (SELECT 1 FROM author)"
    "  ELSE writer NOT IN (SELECT writer FROM may) AND writer NOT IN"
    "  (SELECT writer FROM standing WHERE role = 'editor') END";

static bool settle_subject(struct up_catalogue *catalogue, const char *kind, const char *subject,
                           struct up_failure *failure) {
    const char *values[] = {kind, subject};
    return catalogue_change(catalogue,
                            "DELETE FROM left_out WHERE how = 'waiting' AND record_id IN"
                            " (SELECT id FROM " CONTENTS " WHERE kind = ? AND subject = ?)",
                            values, 2, failure) &&
           catalogue_change(catalogue, wait, values, 2, failure) &&
           catalogue_unsettle(catalogue, kind, subject, failure);
}

static bool settle_subjects(struct up_catalogue *catalogue, struct up_failure *failure) {
    const char *key;
    json_t *value;
    bool good = true;
    json_object_foreach(catalogue->touched.subjects, key, value) {
        size_t length = strcspn(key, " ");
        UP_FREED char *kind = up_text_format("%.*s", (int)length, key);
        good = good && settle_subject(catalogue, kind, key + length + 1, failure);
    }
    return good;
}

bool catalogue_settle_trust(struct up_catalogue *catalogue, unsigned long *undecided,
                            struct up_failure *failure) {
    unsigned long none = 0;
    bool touches = false;
    bool good = touches_marked(catalogue, &touches, failure);
    bool keys = catalogue->touched.trust || touches;
    good =
        good && (!keys || settle_keys(catalogue, failure)) &&
        ((!keys && undecided == NULL) ||
         catalogue_settle_contested(catalogue, undecided != NULL ? undecided : &none, failure)) &&
        settle_subjects(catalogue, failure);
    catalogue_forget_touched(catalogue);
    return good;
}

bool catalogue_settle_for_now(struct up_catalogue *catalogue, struct up_failure *failure) {
    bool good = catalogue_touch_all(catalogue, failure) && rebuild(catalogue, failure) &&
                settle_subjects(catalogue, failure);
    catalogue_forget_touched(catalogue);
    return good;
}

/* ---- what is left out ---- */

/* A number and a text from the first row; 0 and NULL where there is none. */
static bool ask_why(struct up_catalogue *catalogue, const char *sql, const char *id,
                    long long *number, char **why, struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_prepare(catalogue, sql, &id, 1, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *number = code == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : 0;
    *why = *number > 0 ? up_text_format("%s", catalogue_text_of(statement, 1)) : NULL;
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

bool up_left_out_why(struct up_catalogue *catalogue, const char *record_id, const char **how,
                     char **why, struct up_failure *failure) {
    static const char *const words[] = {NULL, "revoked", "recalled", "waiting"};
    long long which = 0;
    bool good = ask_why(catalogue,
                        "SELECT CASE how WHEN 'revoked' THEN 1 WHEN 'recalled' THEN 2 ELSE 3 END,"
                        " why FROM left_out WHERE substr(record_id, 1, length(?1)) = lower(?1)"
                        " ORDER BY 1",
                        record_id, &which, why, failure);
    *how = words[which];
    return good;
}

bool up_left_out_of_item(struct up_catalogue *catalogue, const char *item_id,
                         unsigned long *results, char **why, struct up_failure *failure) {
    long long count = 0;
    bool good = ask_why(catalogue,
                        "SELECT count(*), min(l.why) FROM left_out AS l CROSS JOIN record AS r ON"
                        " r.id = l.record_id AND r.sha256 = l.sha256 WHERE r.kind = 'result'"
                        " AND l.how <> 'waiting' AND CASE WHEN json_valid(r.body) THEN"
                        " json_extract(r.body, '$.item_id') END = ?",
                        item_id, &count, why, failure);
    *results = (unsigned long)count;
    return good;
}
