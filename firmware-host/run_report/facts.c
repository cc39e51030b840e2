/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "run_report/facts.h"

#include <string.h>

#include "catalogue/records.h"
#include "catalogue/verification.h"
#include "report/report.h"
#include "report/trace.h"
#include "text/text.h"

static void copy(char *to, size_t size, const char *text) {
    snprintf(to, size, "%s", text);
}

/* ---- the run ---- */

struct search {
    struct facts *facts;
    char rig_record_id[UP_ID_SIZE], item_id[UP_ID_SIZE], calibration_id[UP_ID_SIZE], what[32];
    char id[FACTS_RESULTS_MAX][UP_ID_SIZE]; /* of its results */
    bool own;                               /* one of here is among them: no other counts */
    int ids;
};

static bool take_run(const struct up_record *record, void *context) {
    struct search *search = context;
    struct facts *facts = search->facts;
    const json_t *content = record->content;
    if (strcmp(record->subject, facts->run_id) != 0) {
        return true;
    }
    facts->elsewhere = record->elsewhere;
    copy(facts->bench, sizeof facts->bench, record->bench);
    copy(facts->begun_utc, sizeof facts->begun_utc, up_record_text(content, "begun_utc"));
    copy(facts->rig_sha256, sizeof facts->rig_sha256, up_record_text(content, "rig_sha256"));
    copy(facts->version, sizeof facts->version, up_record_text(content, "version"));
    const char *earlier =
        json_string_value(json_array_get(json_object_get(content, "continues"), 0));
    copy(facts->earlier, sizeof facts->earlier, earlier != NULL ? earlier : "");
    copy(search->rig_record_id, sizeof search->rig_record_id,
         up_record_text(content, "rig_record_id"));
    copy(search->item_id, sizeof search->item_id, up_record_text(content, "item_id"));
    copy(search->what, sizeof search->what, up_record_text(content, "what"));
    return true;
}

/* A later version of the rig file may have another name. */
static bool take_rig(const struct up_record *record, void *context) {
    struct search *search = context;
    if (strcmp(record->id, search->rig_record_id) == 0) {
        copy(search->facts->rig_name, sizeof search->facts->rig_name,
             up_record_text(record->content, "name"));
    }
    return true;
}

/* ---- its results ---- */

/* The tank's first: it was measured there. What others say that a run of here came to does not
   count, though it came to nothing. */
static bool take_result(const struct up_record *record, void *context) {
    struct search *search = context;
    bool counts = strcmp(up_record_text(record->content, "run_id"), search->facts->run_id) == 0 &&
                  !(record->elsewhere && (search->own || !search->facts->elsewhere));
    if (!counts || search->ids == FACTS_RESULTS_MAX) {
        return true;
    }
    if (!record->elsewhere && !search->own) {
        search->own = true;
        search->ids = 0;
    }
    int at = search->ids++;
    if (strcmp(up_record_text(record->content, "water"), "tank") == 0) {
        memmove(search->id[1], search->id[0], (size_t)at * sizeof search->id[0]);
        at = 0;
    }
    copy(search->id[at], sizeof search->id[at], record->subject);
    return true;
}

static bool explain_results(struct up_catalogue *catalogue, struct search *search,
                            struct up_failure *failure) {
    struct facts *facts = search->facts;
    bool good = true;
    for (int i = 0; good && i < search->ids; i++) {
        json_t *result = up_explain(catalogue, search->id[i], NULL, failure);
        good = result != NULL;
        if (good && json_is_true(json_object_get(result, "withdrawn"))) {
            facts->withdrawn++;
            json_decref(result);
        } else if (good) {
            facts->result[facts->results++] = result;
        }
    }
    return good;
}

static bool check_results(const struct search *search, struct up_failure *failure) {
    const struct facts *facts = search->facts;
    if (strcmp(search->what, "measure") != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %.8s is one of `%s`: a report is of a run of `measure`; `upthrust show "
                       "ITEM` names an item's runs",
                       facts->run_id, search->what);
    }
    return search->ids > 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "run %.8s has no result: it was left before its end; `upthrust measure "
                   "--resume %.8s` continues it",
                   facts->run_id, facts->run_id);
}

/* ---- what it rests on ---- */

static bool take_calibration(const struct up_record *record, void *context) {
    struct search *search = context;
    struct facts *facts = search->facts;
    if (strcmp(record->id, search->calibration_id) == 0) {
        facts->has_calibration = up_calibration_from_json(record->content, &facts->calibration);
        copy(facts->calibration.id, sizeof facts->calibration.id, record->id);
        copy(facts->calibration.made_utc, sizeof facts->calibration.made_utc, record->made_utc);
    }
    return true;
}

/* What the item is called now; what was weighed stands with its results. */
static void find_item(struct up_catalogue *catalogue, struct search *search) {
    struct up_failure ignored;
    const json_t *result = json_object_get(search->facts->result[0], "result");
    struct up_item *item = &search->facts->item;
    if (!up_item_find(catalogue, up_record_text(result, "item_id"), item, &ignored)) {
        *item = (struct up_item){.name = ""};
    }
}

/* The latest that has a result, whatever was calibrated after it. */
static bool take_latest(const struct up_record *record, void *context) {
    struct facts *facts = context;
    if (!record->elsewhere) {
        copy(facts->run_id, sizeof facts->run_id, up_record_text(record->content, "run_id"));
    }
    return true;
}

static bool find_run(struct up_catalogue *catalogue, const char *run, struct facts *facts,
                     struct up_failure *failure) {
    UP_FREED struct trace *trace = up_allocate(1, sizeof *trace);
    if (strcmp(run, "latest") == 0) {
        return up_catalogue_each(catalogue, "result", take_latest, facts, failure) &&
               (facts->run_id[0] != '\0' ||
                up_fail(failure, UP_STATUS_WRONG_INPUT,
                        "there is no result yet: `upthrust measure` makes one"));
    }
    bool good = trace_find(catalogue, run, trace, failure);
    copy(facts->run_id, sizeof facts->run_id, trace->run_id);
    trace_release(trace);
    return good;
}

bool facts_gather(struct up_catalogue *catalogue, const char *run, struct facts *facts,
                  struct up_failure *failure) {
    struct search search = {.facts = facts};
    *facts = (struct facts){.results = 0};
    bool good = find_run(catalogue, run, facts, failure);
    good = good && up_catalogue_each(catalogue, "run", take_run, &search, failure) &&
           up_catalogue_each(catalogue, "rig", take_rig, &search, failure) &&
           up_catalogue_each(catalogue, "result", take_result, &search, failure) &&
           check_results(&search, failure) && explain_results(catalogue, &search, failure);
    if (good && facts->results == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %.8s has no result that stands: they were calculated for an item that "
                       "holds gas",
                       facts->run_id);
    }
    if (good) {
        const json_t *model = json_object_get(json_object_get(facts->result[0], "result"), "model");
        copy(search.calibration_id, sizeof search.calibration_id,
             up_record_text(model, "calibration_id"));
        find_item(catalogue, &search);
        good = up_catalogue_each(catalogue, "calibration", take_calibration, &search, failure);
    }
    facts->verified = good ? up_verifications(catalogue, failure) : NULL;
    return good && facts->verified != NULL;
}

void facts_release(struct facts *facts) {
    for (int i = 0; i < facts->results; i++) {
        json_decref(facts->result[i]);
    }
    json_decref(facts->verified);
}
