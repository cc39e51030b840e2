/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Adding results and decisions, and putting a later decision over its result. */

#include "internal.h"

/* ---- the decisions ---- */

/* A record of its own: who asks another question later adds another decision and keeps this one. */
static json_t *decision_of(const json_t *result, const char *result_id, const char *rule) {
    json_t *json = json_object();
    for (const struct catalogue_member *member = catalogue_decision_members; member->key != NULL;
         member++) {
        json_object_set(json, member->key, json_object_get(result, member->key));
    }
    json_object_set_new(json, "result_id", json_string(result_id));
    json_object_set_new(json, "rejudged", json_boolean(rule != NULL));
    json_object_set_new(json, "rule",
                        up_json_text(rule != NULL ? rule : up_record_text(result, "method")));
    return json;
}

static bool add_one(struct up_catalogue *catalogue, const struct up_result *result,
                    const char *bench, struct up_failure *failure) {
    char id[UP_ID_SIZE] = "";
    json_t *content = up_result_to_json(result), *decision = NULL;
    bool good = catalogue_check_content("result", content, failure) &&
                up_catalogue_add(catalogue, "result", NULL, bench, content, NULL, id, failure);
    if (good) {
        decision = decision_of(content, id, NULL);
        good = up_catalogue_add(catalogue, "decision", NULL, bench, decision, NULL, NULL, failure);
    }
    json_decref(decision);
    json_decref(content);
    return good;
}

bool up_results_add(struct up_catalogue *catalogue, const struct up_result *result, size_t results,
                    const char *bench, struct up_failure *failure) {
    bool good = catalogue_begin(catalogue, failure);
    if (!good) {
        return false;
    }
    for (size_t i = 0; i < results && good; i++) {
        good = add_one(catalogue, &result[i], bench, failure);
    }
    return catalogue_end(catalogue, good, failure);
}

struct own_results {
    bool (*visit)(const struct up_record *record, void *context);
    void *context;
    json_t *elsewhere;
};

static bool visit_own(const struct up_record *record, void *context) {
    const struct own_results *here = context;
    const char *item_id = up_record_text(record->content, "item_id");
    json_int_t before = json_integer_value(json_object_get(here->elsewhere, item_id));
    return record->elsewhere
               ? json_object_set_new(here->elsewhere, item_id, json_integer(before + 1)) == 0
               : here->visit(record, here->context);
}

bool up_results_to_judge(struct up_catalogue *catalogue,
                         bool (*visit)(const struct up_record *record, void *context),
                         void *context, json_t *elsewhere, struct up_failure *failure) {
    struct own_results here = {visit, context, elsewhere};
    return up_catalogue_each(catalogue, "result", visit_own, &here, failure);
}

static bool decide_one(struct up_catalogue *catalogue, const struct up_decided *decided,
                       struct up_failure *failure) {
    if (decided->result_id[0] == '\0') {
        return add_one(catalogue, &decided->result, decided->bench, failure);
    }
    json_auto_t *content = up_result_to_json(&decided->result);
    json_auto_t *decision = decision_of(content, decided->result_id, decided->rule);
    return catalogue_check_content("decision", decision, failure) &&
           up_catalogue_add(catalogue, "decision", NULL, decided->bench, decision, NULL, NULL,
                            failure);
}

bool up_decisions_add(struct up_catalogue *catalogue, const struct up_decided *decided,
                      size_t count, struct up_failure *failure) {
    bool good = catalogue_begin(catalogue, failure);
    if (!good) {
        return false;
    }
    for (size_t i = 0; i < count && good; i++) {
        good = decide_one(catalogue, &decided[i], failure);
    }
    return catalogue_end(catalogue, good, failure);
}

struct later {
    struct up_catalogue *catalogue;
    struct up_failure *failure;
    json_t *by_result;
    bool failed;
};

/* Oldest first: the last stays. A decision from elsewhere does not judge what was measured here. */
static bool note_decision(const struct up_record *record, void *context) {
    struct later *later = context;
    const char *result_id = up_record_text(record->content, "result_id");
    bool own = false;
    if (!json_is_true(json_object_get(record->content, "rejudged"))) {
        return true;
    }
    if (record->elsewhere) {
        later->failed = !catalogue_is_own(later->catalogue, result_id, &own, later->failure);
    }
    if (!own && !later->failed) {
        json_object_set(later->by_result, result_id, record->content);
    }
    return !later->failed;
}

json_t *up_decisions_later(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct later later = {catalogue, failure, json_object(), false};
    if (!up_catalogue_each(catalogue, "decision", note_decision, &later, failure) || later.failed) {
        json_decref(later.by_result);
        return NULL;
    }
    return later.by_result;
}

void up_decision_apply(const json_t *decision, struct up_result *result) {
    if (decision != NULL) {
        members_from_json(catalogue_decision_members, decision, result);
        result->rejudged = true;
    }
}

bool up_results_begun(struct up_catalogue *catalogue, const char *beginning,
                      bool (*visit)(const struct up_record *record, void *context), void *context,
                      struct up_failure *failure) {
    return catalogue_each_in(catalogue, "result",
                             "SELECT record FROM newest WHERE kind = 'result' AND subject >="
                             " lower(?2) AND subject < lower(?2) || '~'",
                             beginning, visit, context, failure);
}
