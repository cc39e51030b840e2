/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The derivation of one result from plateaus to class: all its numbers in one document. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "catalogue/records.h"
#include "report/report.h"
#include "signing/signing.h"
#include "stream/glitch_filter.h"
#include "text/text.h"

enum { PREFIX_LEAST = 4 };

static void set_number(json_t *json, const char *key, double value) {
    json_object_set_new(json, key, isfinite(value) ? json_real(value) : json_null());
}

/* ---- which result ---- */

struct search {
    const char *id;              /* its beginning; NULL: any */
    const char *item_id, *water; /* NULL: any */
    json_t *content;             /* the latest that fits; owned */
    char result_id[UP_ID_SIZE], made_utc[UP_TIME_SIZE], bench[UP_NAME_SIZE];
    char writer[UP_SHA256_SIZE], sha256[UP_SHA256_SIZE], signature[UP_SIGNATURE_SIZE];
    long long sequence;
    unsigned count;
    bool elsewhere, bare; /* its detail was taken away */
};

static bool consider(const struct up_record *record, void *context) {
    struct search *search = context;
    const json_t *content = record->content;
    if ((search->id != NULL && strncasecmp(search->id, record->subject, strlen(search->id)) != 0) ||
        (search->item_id != NULL &&
         strcmp(search->item_id, up_record_text(content, "item_id")) != 0) ||
        (search->water != NULL && strcmp(search->water, up_record_text(content, "water")) != 0)) {
        return true;
    }
    if (record->elsewhere && search->count > 0 && !search->elsewhere) {
        return true; /* the list shows that of here, and its id may begin as it likes */
    }
    search->count = !record->elsewhere && search->elsewhere ? 1 : search->count + 1;
    json_decref(search->content);
    search->content = json_incref(record->content);
    memcpy(search->result_id, record->subject, sizeof search->result_id);
    memcpy(search->made_utc, record->made_utc, sizeof search->made_utc);
    memcpy(search->bench, record->bench, sizeof search->bench);
    memcpy(search->writer, record->writer, sizeof search->writer);
    memcpy(search->sha256, record->sha256, sizeof search->sha256);
    snprintf(search->signature, sizeof search->signature, "%s",
             record->signature != NULL ? record->signature : "");
    search->bare = record->envelope != NULL && record->detail == NULL;
    search->sequence = record->sequence;
    search->elsewhere = record->elsewhere;
    return true;
}

static bool fail_without_result(struct up_catalogue *catalogue, const struct up_item *item,
                                const char *water, struct up_failure *failure) {
    unsigned long left_out = 0;
    char *why = NULL;
    if (!up_left_out_of_item(catalogue, item->id, &left_out, &why, failure)) {
        return false;
    }
    up_fail(failure, UP_STATUS_WRONG_INPUT,
            "\"%.80s\" has no result in the water \"%.47s\"%s%.200s: `upthrust show` lists those "
            "there are",
            item->name, water, left_out > 0 ? "; some are left out, " : "",
            left_out > 0 ? why : "");
    free(why);
    return false;
}

/* Of what was asked for by its id, and is left out: says why. Otherwise leaves the failure alone.
 */
static bool fail_left_out(struct up_catalogue *catalogue, const char *wanted,
                          struct up_failure *failure) {
    struct up_failure other;
    const char *how = NULL;
    char *why = NULL;
    if (up_left_out_why(catalogue, wanted, &how, &why, &other) && how != NULL) {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "the record %.36s is left out of every list and figure (%s): %.200s; `upthrust "
                "check-catalogue` lists all",
                wanted, how, why);
    }
    free(why);
    return false;
}

static bool find_of_item(struct up_catalogue *catalogue, const char *wanted, const char *water,
                         struct search *search, struct up_failure *failure) {
    struct up_item item;
    if (!up_item_find(catalogue, wanted, &item, failure)) {
        return false;
    }
    *search = (struct search){.item_id = item.id, .water = water != NULL ? water : "tank"};
    bool good = up_catalogue_focus(catalogue, (const char *[]){item.id}, 1, failure) &&
                up_catalogue_each(catalogue, "result", consider, search, failure);
    search->item_id = NULL;
    return good &&
           (search->count > 0 || fail_without_result(catalogue, &item, search->water, failure));
}

/* A guest chooses the ids of its results: one does not stand before an item of here that is called
   as it begins. */
static bool hides_an_item(struct up_catalogue *catalogue, const struct search *search) {
    struct up_item item;
    return search->id != NULL && search->count > 0 && search->elsewhere &&
           strlen(search->id) < UP_ID_SIZE - 1 &&
           up_item_find(catalogue, search->id, &item, NULL) && !item.elsewhere;
}

static bool find(struct up_catalogue *catalogue, const char *wanted, const char *water,
                 struct search *search, struct up_failure *failure) {
    bool may_be_id = wanted != NULL && water == NULL && strlen(wanted) >= PREFIX_LEAST;
    *search = (struct search){.id = wanted, .water = water};
    if (wanted != NULL && !may_be_id) {
        return find_of_item(catalogue, wanted, water, search, failure);
    }
    if (!(wanted != NULL ? up_results_begun(catalogue, wanted, consider, search, failure)
                         : up_catalogue_each(catalogue, "result", consider, search, failure))) {
        return false;
    }
    if (hides_an_item(catalogue, search)) {
        json_decref(search->content);
        search->content = NULL;
        return find_of_item(catalogue, wanted, water, search, failure);
    }
    if (wanted == NULL && search->count == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "there is no result%s%.47s yet: `upthrust measure` makes one",
                       water != NULL ? " in the water " : "", water != NULL ? water : "");
    }
    if (wanted != NULL && search->count > 1) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%u results begin with \"%.40s\": give more of the id", search->count,
                       wanted);
    }
    return search->count > 0 || find_of_item(catalogue, wanted, water, search, failure) ||
           fail_left_out(catalogue, wanted, failure);
}

/* ---- the plateaus of its trials ---- */

struct level {
    double time_s, load_counts; /* NaN: there is none */
};

static const struct level nowhere = {(double)NAN, (double)NAN};

static struct level level_of(const json_t *plateau) {
    return (struct level){
        (up_record_number(plateau, "start_s") + up_record_number(plateau, "end_s")) / 2,
        up_record_number(plateau, "load_counts")};
}

/* A load and the tares before and after it. */
struct bracket {
    struct level before, load, after;
};

struct derivation {
    const char *run_id;
    bool own; /* the result was made here: then nothing from elsewhere is part of it */
    json_t
        *runs; /* the run and those that it continues: a trial is stored with the run it ended in */
    const struct up_calibration *calibration; /* NULL: it is not here */
    struct level tare;                        /* the latest */
    struct bracket air;
    json_t *trials;
    const json_t *left_out; /* numbers of trials; NULL: none */
};

static json_t *level_to_json(const struct level *level) {
    json_t *json = json_object();
    set_number(json, "time_s", level->time_s);
    set_number(json, "load_counts", level->load_counts);
    return json;
}

/* The tares' mean at the time of the load, weighted by time. */
static void set_bracket(json_t *json, const struct derivation *derivation,
                        const struct bracket *bracket) {
    double span_s = bracket->after.time_s - bracket->before.time_s;
    double weight = span_s > 0 ? (bracket->load.time_s - bracket->before.time_s) / span_s : 0.5;
    weight = fmin(fmax(weight, 0), 1);
    double tare = (1 - weight) * bracket->before.load_counts + weight * bracket->after.load_counts;
    double difference = bracket->load.load_counts - tare;
    json_object_set_new(json, "tare_before", level_to_json(&bracket->before));
    json_object_set_new(json, "load", level_to_json(&bracket->load));
    json_object_set_new(json, "tare_after", level_to_json(&bracket->after));
    set_number(json, "weight_after", weight);
    set_number(json, "tare_counts", tare);
    set_number(json, "difference_counts", difference);
    set_number(json, "linear_counts",
               derivation->calibration != NULL
                   ? up_calibration_linear_counts(derivation->calibration, difference)
                   : (double)NAN);
}

/* Reference bodies and a second depth have plateaus of their own. */
static struct bracket *bracket_of(const char *of, struct derivation *derivation,
                                  struct bracket *water) {
    return strcmp(of, "air") == 0 ? &derivation->air : strcmp(of, "water") == 0 ? water : NULL;
}

/* A spoilt step that was repeated left plateaus: the last load between two tares counts. */
static void read_plateaus(struct derivation *derivation, const json_t *plateaus,
                          struct bracket *water) {
    const json_t *plateau;
    size_t i;
    const char *last = "tare";
    json_array_foreach(plateaus, i, plateau) {
        const char *of = up_record_text(plateau, "of");
        struct bracket *here = bracket_of(of, derivation, water);
        struct bracket *closed = bracket_of(last, derivation, water);
        if (here != NULL) {
            here->before = strcmp(last, of) != 0 ? derivation->tare : here->before;
            here->load = level_of(plateau);
            here->after = nowhere;
        } else if (strcmp(of, "tare") == 0) {
            derivation->tare = level_of(plateau);
            if (closed != NULL) {
                closed->after = derivation->tare;
            }
        }
        last = of;
    }
}

static bool is_listed(const json_t *list, const json_t *wanted) {
    size_t i = 0;
    while (i < json_array_size(list) && !json_equal(json_array_get(list, i), wanted)) {
        i++;
    }
    return i < json_array_size(list);
}

static bool take_run(const struct up_record *record, void *context) {
    struct derivation *derivation = context;
    if (strcmp(record->subject, derivation->run_id) == 0 &&
        !(derivation->own && record->elsewhere)) {
        json_array_extend(derivation->runs, json_object_get(record->content, "continues"));
    }
    return true;
}

static bool take_trial(const struct up_record *record, void *context) {
    static const char *const members[] = {"number",
                                          "load_counts",
                                          "u_plateau_counts",
                                          "shakes",
                                          "gain_counts",
                                          "still_gaining",
                                          "soak_s",
                                          "temp_c",
                                          "readings_ended_early",
                                          "early_freed_counts"};
    struct derivation *derivation = context;
    struct bracket water = {nowhere, nowhere, nowhere};
    if ((derivation->own && record->elsewhere) ||
        !is_listed(derivation->runs, json_object_get(record->content, "run_id"))) {
        return true;
    }
    read_plateaus(derivation, json_object_get(record->content, "plateaus"), &water);
    json_t *json = json_object();
    set_bracket(json, derivation, &water);
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        json_object_set(json, members[i], json_object_get(record->content, members[i]));
    }
    bool left_out = is_listed(derivation->left_out, json_object_get(record->content, "number"));
    json_object_set_new(json, "left_out", json_boolean(left_out));
    json_array_append_new(derivation->trials, json);
    return true;
}

/* ---- the rest of the chain ---- */

struct named {
    const char *id;
    struct up_calibration *calibration;
};

/* By its own id: another may have its subject. */
static bool take_calibration(const struct up_record *record, void *context) {
    const struct named *named = context;
    return strcmp(record->id, named->id) != 0 ||
           !up_calibration_from_json(record->content, named->calibration);
}

static json_t *calibration_to_json(const struct up_calibration *calibration) {
    json_t *json = json_object();
    set_number(json, "slope_counts_kg", calibration->slope_counts_per_kg);
    set_number(json, "u_slope_counts_kg", calibration->u_slope_counts_per_kg);
    set_number(json, "unloading_slope_counts_kg", calibration->unloading_slope_counts_per_kg);
    set_number(json, "quadratic_counts_kg2", calibration->quadratic_counts_per_kg2);
    set_number(json, "air_density_kg_m3", calibration->air_density_kg_m3);
    return json;
}

static bool set_plateaus(json_t *json, struct up_catalogue *catalogue,
                         const struct up_result *result, bool own, const json_t *left_out,
                         struct up_failure *failure) {
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    struct derivation derivation = {.run_id = result->run_id,
                                    .own = own,
                                    .runs = json_pack("[s]", result->run_id),
                                    .tare = nowhere,
                                    .air = {nowhere, nowhere, nowhere},
                                    .trials = json_array(),
                                    .left_out = left_out};
    struct named named = {result->calibration_id, calibration};
    bool good = up_catalogue_each(catalogue, "calibration", take_calibration, &named, failure);
    if (good && calibration->slope_counts_per_kg != 0) {
        derivation.calibration = calibration;
        json_object_set_new(json, "calibration", calibration_to_json(calibration));
    }
    good = good && up_catalogue_each(catalogue, "run", take_run, &derivation, failure) &&
           up_catalogue_each(catalogue, "trial", take_trial, &derivation, failure);
    json_object_set(json, "trials", derivation.trials);
    if (good && isfinite(derivation.air.load.load_counts)) {
        json_t *air = json_object();
        set_bracket(air, &derivation, &derivation.air);
        json_object_set_new(json, "air", air);
    }
    json_decref(derivation.trials);
    json_decref(derivation.runs);
    free(calibration);
    return good;
}

static json_t *chain_to_json(const struct up_weighing *weighing) {
    struct up_chain chain;
    json_t *json = json_object();
    up_weighing_chain(weighing, &chain);
    set_number(json, "water_counts", weighing->term[UP_INPUT_WATER_LOAD].value);
    set_number(json, "air_counts", weighing->term[UP_INPUT_AIR_LOAD].value);
    set_number(json, "slope_counts_kg", chain.slope_counts_per_kg);
    set_number(json, "calibration_air_kg_m3", weighing->calibration_air_kg_m3);
    set_number(json, "k", chain.k);
    set_number(json, "swing_rel", weighing->term[UP_INPUT_SWING].value);
    set_number(json, "water_kg", chain.water_kg);
    set_number(json, "air_kg", chain.air_kg);
    set_number(json, "air_density_kg_m3", weighing->term[UP_INPUT_AIR_DENSITY].value);
    set_number(json, "tank_density_kg_m3", chain.water_density_kg_m3);
    set_number(json, "tank_temp_c", weighing->tank_temp_c);
    set_number(json, "trapped_air_kg", weighing->term[UP_INPUT_TRAPPED_AIR].value);
    set_number(json, "bubbles_kg", weighing->term[UP_INPUT_BUBBLES].value);
    set_number(json, "offset_kg", weighing->term[UP_INPUT_OFFSET].value);
    set_number(json, "drips_kg", weighing->term[UP_INPUT_DRIPS].value);
    set_number(json, "wetted_volume_m3", chain.wetted_volume_m3);
    set_number(json, "volume_m3", chain.volume_m3);
    set_number(json, "mass_kg", chain.mass_kg);
    set_number(json, "line_area_m2", weighing->cord_area_m2);
    set_number(json, "tank_area_m2", weighing->tank_area_m2);
    set_number(json, "line_kg", chain.cord_kg);
    set_number(json, "tank_kg", chain.tank_kg);
    set_number(json, "expansion_per_k", weighing->term[UP_INPUT_EXPANSION].value);
    set_number(json, "target_temp_c", weighing->target_temp_c);
    set_number(json, "stretch", chain.stretch);
    set_number(json, "target_density_kg_m3", chain.target_density_kg_m3);
    set_number(json, "buoyancy_kg", chain.buoyancy_kg);
    return json;
}

struct decided {
    const char *result_id;
    bool own;
    json_t *list;
};

static bool take_decision(const struct up_record *record, void *context) {
    const struct decided *decided = context;
    if (strcmp(up_record_text(record->content, "result_id"), decided->result_id) == 0 &&
        !(decided->own && record->elsewhere)) {
        json_t *json = json_copy(record->content);
        json_object_set_new(json, "decision_id", json_string(record->subject));
        json_object_set_new(json, "made_utc", json_string(record->made_utc));
        json_array_append_new(decided->list, json);
    }
    return true;
}

static bool set_decisions(json_t *json, struct up_catalogue *catalogue, const struct search *search,
                          struct up_failure *failure) {
    struct decided decided = {search->result_id, !search->elsewhere, json_array()};
    bool good = up_catalogue_each(catalogue, "decision", take_decision, &decided, failure);
    json_object_set_new(json, "decisions", decided.list);
    return good;
}

static json_t *explain(struct up_catalogue *catalogue, struct search *search,
                       const struct up_result *result, struct up_failure *failure) {
    struct up_item item = {.name = ""};
    struct up_failure ignored;
    json_t *json =
        json_pack("{s:s, s:s, s:s, s:b}", "schema", "upthrust-explain-1", "result_id",
                  search->result_id, "made_utc", search->made_utc, "elsewhere", search->elsewhere);
    up_item_find(catalogue, result->item_id, &item, &ignored);
    json_object_set_new(json, "item_name", json_string(item.name));
    json_object_set_new(json, "bench", json_string(search->bench));
    json_object_set_new(json, "writer", json_string(search->writer));
    json_object_set_new(json, "writer_sequence", json_integer(search->sequence));
    json_object_set_new(
        json, "signature_holds",
        json_boolean(up_signature_holds(search->writer, search->sha256, search->signature)));
    json_object_set_new(json, "withdrawn",
                        json_boolean(up_claim_is_withdrawn(search->content, item.compressible)));
    json_object_set(json, "result", search->content);
    json_object_set_new(json, "chain", chain_to_json(&result->weighing));
    set_number(json, "coverage_factor",
               result->answer.buoyancy_kg.u > 0
                   ? result->answer.first_order_expanded_u_kg / result->answer.buoyancy_kg.u
                   : (double)NAN);
    const json_t *left_out = json_object_get(search->content, "left_out");
    if (!set_plateaus(json, catalogue, result, !search->elsewhere, left_out, failure) ||
        !set_decisions(json, catalogue, search, failure)) {
        json_decref(json);
        return NULL;
    }
    return json;
}

/* Its runs, trials and decisions are those of its item. */
static json_t *explain_alone(struct up_catalogue *catalogue, struct search *search,
                             const struct up_result *result, struct up_failure *failure) {
    return up_catalogue_focus(catalogue, (const char *[]){result->item_id}, 1, failure)
               ? explain(catalogue, search, result, failure)
               : NULL;
}

json_t *up_explain(struct up_catalogue *catalogue, const char *wanted, const char *water,
                   struct up_failure *failure) {
    struct search search;
    UP_FREED struct up_result *result = up_allocate(1, sizeof *result);
    json_t *document = NULL;
    if (find(catalogue, wanted, water, &search, failure)) {
        up_result_from_json(search.content, result);
        if (result->has_model) {
            document = explain_alone(catalogue, &search, result, failure);
        } else if (search.bare) {
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "the result %.8s cannot be explained: its detail is missing; merge or import a "
                    "catalogue that still has it",
                    search.result_id);
        } else {
            bool kept = up_is_uuid(result->run_id); /* else no command to be copied */
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "the result %.8s is older than the model that is kept with results now, so it "
                    "cannot be explained%s%.8s%s",
                    search.result_id, kept ? ": `upthrust measure --replay " : "",
                    kept ? result->run_id : "", kept ? "` computes it again" : "");
        }
    }
    json_decref(search.content);
    up_catalogue_focus(catalogue, NULL, 0, NULL);
    return document;
}
