/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Parts of a record taken away from this folder. The rules that keep records as they are are away
   for one transaction; the envelope and its signature stay. The mark (catalogue/origin.c) keeps the
   parts from coming back. */
#include <string.h>

#include "catalogue/internal.h"
#include "internal.h"
#include "text/text.h"

static bool ask_of(struct up_catalogue *catalogue, const char *sql, const char *id, bool *answer,
                   struct up_failure *failure) {
    long long number = 0;
    bool good = catalogue_ask(catalogue, sql, id, &number, failure);
    *answer = number > 0;
    return good;
}

static bool check_record(struct up_catalogue *catalogue, const char *id,
                         struct up_failure *failure) {
    bool there = false, is_signed = false, says_who = false;
    if (!ask_of(catalogue, "SELECT count(*) FROM record WHERE id = ?", id, &there, failure) ||
        !ask_of(catalogue,
                "SELECT count(*) > 0 AND min(EXISTS (SELECT 1 FROM signed AS s WHERE s.id = r.id"
                " AND s.sha256 = r.sha256)) FROM record AS r WHERE id = ?",
                id, &is_signed, failure) ||
        !ask_of(catalogue,
                "SELECT count(*) FROM record WHERE id = ? AND kind IN ('writer', 'held')", id,
                &says_who, failure)) {
        return false;
    }
    if (!there) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the catalogue %s has no record %.40s: the column record_id of the CSV "
                       "files names them",
                       catalogue->directory, id);
    }
    if (!is_signed) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the record %.36s is from before records were signed: its hash covers all "
                       "of it, so nothing can be taken away; leave it out with `upthrust "
                       "check-catalogue --set-aside %.36s --reason TEXT`",
                       id, id);
    }
    return !says_who || up_fail(failure, UP_STATUS_WRONG_INPUT,
                                "the record %.36s only says who signed others, which those need: "
                                "it stays",
                                id);
}

/* Whether anything of it is left. */
static bool is_done(struct up_catalogue *catalogue, const char *id,
                    const struct up_redaction *redaction, bool *done, struct up_failure *failure) {
    bool facts_gone = false, detail_gone = false;
    bool good = ask_of(catalogue, "SELECT " CATALOGUE_HAS_MARK("?", "'redacted'"), id, &facts_gone,
                       failure) &&
                ask_of(catalogue, "SELECT " CATALOGUE_HAS_MARK("?", "'undetailed'"), id,
                       &detail_gone, failure);
    *done = (facts_gone || !redaction->facts) && (detail_gone || !redaction->detail);
    return good;
}

/* What was written into one version mostly stands in those after it, too. */
static bool count_others(struct up_catalogue *catalogue, const char *id, unsigned long *versions,
                         struct up_failure *failure) {
    long long others = 0;
    bool good = catalogue_ask(catalogue,
                              "SELECT count(*) FROM record AS r JOIN record AS o"
                              " USING (kind, subject) WHERE o.id = ? AND r.id <> o.id"
                              " AND NOT " CATALOGUE_IS_GONE("r.id"),
                              id, &others, failure);
    *versions = (unsigned long)others;
    return good;
}

static bool note(struct up_catalogue *catalogue, const char *id, const char *mark,
                 const char *reason, struct up_failure *failure) {
    char utc[UP_TIME_SIZE];
    catalogue_now(utc);
    return catalogue_change(catalogue, "INSERT OR REPLACE INTO local_mark VALUES (?, ?, '', ?, ?)",
                            (const char *[]){id, mark, reason, utc}, 4, failure) &&
           catalogue_touch_id(catalogue, id, failure) &&
           catalogue_unsettle_id(catalogue, id, failure);
}

static bool take_facts(struct up_catalogue *catalogue, const char *id, const char *reason,
                       struct up_failure *failure) {
    return catalogue_change(catalogue, "UPDATE record SET body = '" CATALOGUE_GONE "' WHERE id = ?",
                            &id, 1, failure) &&
           catalogue_change(catalogue, "DELETE FROM contested WHERE id = ?", &id, 1, failure) &&
           note(catalogue, id, "redacted", reason, failure);
}

static bool take_detail(struct up_catalogue *catalogue, const char *id, const char *reason,
                        struct up_failure *failure) {
    return catalogue_change(catalogue,
                            "DELETE FROM detail WHERE sha256 IN (SELECT sha256 FROM signed"
                            " WHERE id = ?)",
                            &id, 1, failure) &&
           note(catalogue, id, "undetailed", reason, failure);
}

/* What is private of a thing goes with the last of its versions. */
static bool drop_private(struct up_catalogue *catalogue, const char *id,
                         struct up_failure *failure) {
    static const char sql[] =
        "DELETE FROM private WHERE thing = ?1 OR thing IN (SELECT o.subject FROM record AS o"
        " WHERE o.id = ?1 AND NOT EXISTS (SELECT 1 FROM record AS r WHERE r.kind = o.kind"
        "  AND r.subject = o.subject AND NOT " CATALOGUE_IS_GONE("r.id") "))";
    return catalogue_change(catalogue, sql, &id, 1, failure);
}

static bool take_away(struct up_catalogue *catalogue, const char *id,
                      const struct up_redaction *redaction, const char *reason,
                      struct up_failure *failure) {
    return catalogue_run(catalogue, "DROP TRIGGER record_kept; DROP TRIGGER detail_stays",
                         failure) &&
           (!redaction->facts || take_facts(catalogue, id, reason, failure)) &&
           (!redaction->detail || take_detail(catalogue, id, reason, failure)) &&
           drop_private(catalogue, id, failure) &&
           catalogue_run(catalogue, CATALOGUE_RECORD_KEPT CATALOGUE_DETAIL_STAYS(""), failure);
}

/* What SQLite moved about before lies in the slack of other pages: only a file written anew has
   none. The index of words keeps what was deleted until its parts are put together. */
static bool scrub(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct up_failure why = {.text = ""};
    return (catalogue_run(catalogue,
                          "INSERT INTO item_words(item_words) VALUES('optimize'); VACUUM", &why) &&
            catalogue_scrub_log(catalogue, &why)) ||
           up_fail(failure, why.status,
                   "it is taken away, but its bytes may still lie in the file: %s; then type the "
                   "same command again",
                   why.text);
}

bool up_redact(struct up_catalogue *catalogue, const char *record_id,
               const struct up_redaction *redaction, struct up_redacted *redacted,
               struct up_failure *failure) {
    *redacted = (struct up_redacted){.again = false};
    UP_FREED char *reason = up_text_clean(redaction->reason, strlen(redaction->reason));
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good = check_record(catalogue, record_id, failure) &&
                is_done(catalogue, record_id, redaction, &redacted->again, failure) &&
                count_others(catalogue, record_id, &redacted->versions, failure) &&
                (redacted->again || take_away(catalogue, record_id, redaction, reason, failure));
    return catalogue_end(catalogue, good, failure) && scrub(catalogue, failure);
}
