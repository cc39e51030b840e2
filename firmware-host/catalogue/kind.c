/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is set for a kind of item, and what a bench has learned from the trials of its items. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <uuid/uuid.h>

#include "catalogue/claim.h"
#include "internal.h"
#include "metrology/statistics.h"
#include "text/text.h"

static const struct catalogue_noun noun = {"gear_kind", "kind", "kinds", "a kind", "kind"};

#define MEMBERS_OF struct up_kind
const struct catalogue_member catalogue_kind_members[] = {
    TEXT("name", name, 0, "of the kind; the case of its letters does not count"),
    NUMBER_AS(IN_ABOVE_ZERO, "tolerance_one_g", tolerance_one_g, UNIT_G, ABOVE_ZERO,
              "neutral for one piece, for items added from then on; null: none is set"),
    NUMBER_AS(IN_ABOVE_ZERO, "tolerance_pair_g", tolerance_pair_g, UNIT_G, ABOVE_ZERO,
              "the same for a pair"),
    NUMBER_AS(IN_ABOVE_ZERO, "stuck_share", stuck_share, UNIT_SHARE, LATER | ABOVE_ZERO,
              "at most this share of the trapped air stays through all shakes; null: none is set"),
    NUMBER_AS(IN_ABOVE_ZERO, "stuck_g", stuck_g, UNIT_G, LATER | ABOVE_ZERO,
              "lift of air that may stay beside that, whatever shaking frees; null: none is set"),
    END};
#undef MEMBERS_OF

enum { GAINS_MAX = 16 }; /* of one trial: as many as a rig file may ask for */

/* A session shakes no more after a gain below this, or below three times what the readings' noise
   makes of a gain (bench/measuring.c). */
static const double STOP_GAIN_G = 0.5, STOP_GAIN_US = 3;

struct names {
    char (*name)[UP_NAME_SIZE];
    unsigned count;
};

struct trial {
    unsigned kind, bench; /* indices of names */
    double pieces;
    char item_id[UP_ID_SIZE], run_id[UP_ID_SIZE];
    double load_g, u_plateau_g;
    double gain_g[GAINS_MAX];
    size_t gains;
    bool shakes_set; /* by the first trial: no small gain ended it */
    bool soaks;      /* its scatter and its gains come from water that it took up */
};

struct trial_data {
    const char *only_kind, *only_bench; /* NULL: all */
    struct names kinds, benches;
    json_t *items;    /* id -> [index of its kind, pieces] */
    json_t *left_out; /* run id -> numbers of trials that a result does not use */
    json_t *soaked;   /* run id -> true: the item took up water in it */
    json_t *gone_on;  /* run id -> that of the last run that went on with it */
    bool elsewhere;   /* guests' items are read now */
    struct trial *trial;
    size_t count, room;
    struct up_kind *tolerance;
    size_t tolerances;
};

/* ---- gathering ---- */

static unsigned index_of(struct names *names, const char *name,
                         int (*compare)(const char *, const char *)) {
    unsigned i = 0;
    while (i < names->count && compare(names->name[i], name) != 0) {
        i++;
    }
    if (i == names->count) {
        names->name = up_reallocate(names->name, names->count + 1, sizeof *names->name);
        snprintf(names->name[names->count++], UP_NAME_SIZE, "%s", name);
    }
    return i;
}

static bool read_item(const struct up_record *record, void *context) {
    struct trial_data *trial_data = context;
    struct up_item item;
    if (record->elsewhere == trial_data->elsewhere && up_item_from_json(record->content, &item) &&
        (trial_data->only_kind == NULL || strcasecmp(trial_data->only_kind, item.kind) == 0)) {
        unsigned kind = index_of(&trial_data->kinds, item.kind, strcasecmp);
        json_object_set_new(trial_data->items, record->subject,
                            json_pack("[i, i]", (int)kind, item.pieces));
    }
    return true;
}

/* The first one spells its kind for all: one of here. */
static bool read_items(struct up_catalogue *catalogue, struct trial_data *trial_data,
                       struct up_failure *failure) {
    bool good = up_catalogue_each(catalogue, "item", read_item, trial_data, failure);
    trial_data->elsewhere = true;
    return good && up_catalogue_each(catalogue, "item", read_item, trial_data, failure);
}

static bool read_result(const struct up_record *record, void *context) {
    struct trial_data *trial_data = context;
    const char *run_id = json_string_value(json_object_get(record->content, "run_id"));
    json_t *numbers = json_object_get(record->content, "left_out");
    if (record->elsewhere) { /* a bench learns from what it saw itself */
        return true;
    }
    if (run_id != NULL && json_array_size(numbers) > 0) {
        json_object_set(trial_data->left_out, run_id, numbers);
    }
    if (run_id != NULL && json_is_true(json_object_get(record->content, "takes_up_water"))) {
        json_object_set_new(trial_data->soaked, run_id, json_true());
    }
    return true;
}

/* Runs come the oldest first: the last one that continues another has its results. */
static bool read_run(const struct up_record *record, void *context) {
    struct trial_data *trial_data = context;
    const json_t *id;
    size_t i;
    if (record->elsewhere) { /* a bench learns from what it saw itself */
        return true;
    }
    json_array_foreach(json_object_get(record->content, "continues"), i, id) {
        if (json_is_string(id)) {
            json_object_set_new(trial_data->gone_on, json_string_value(id),
                                json_string(record->subject));
        }
    }
    return true;
}

/* Trials stored before a run was interrupted belong to the run that continued it. */
static void settle_run(const struct trial_data *trial_data, struct trial *trial) {
    const char *last = json_string_value(json_object_get(trial_data->gone_on, trial->run_id));
    if (last != NULL) {
        snprintf(trial->run_id, sizeof trial->run_id, "%s", last);
    }
}

static bool is_left_out(const struct trial_data *trial_data, const struct trial *trial,
                        double number) {
    const json_t *numbers = json_object_get(trial_data->left_out, trial->run_id);
    for (size_t i = 0; i < json_array_size(numbers); i++) {
        if (json_number_value(json_array_get(numbers, i)) == number) {
            return true;
        }
    }
    return false;
}

/* A trial with a gain that is not a number says nothing about its air, and one with readings that
   ended early no more than a bound. */
static void read_gains(const json_t *content, double counts_g, struct trial *trial) {
    const json_t *gains = json_object_get(content, "gain_counts");
    size_t count = json_array_size(gains);
    bool whole = !(up_record_number(content, "readings_ended_early") > 0);
    trial->gains = count > GAINS_MAX || !whole ? 0 : count;
    trial->shakes_set = json_is_true(json_object_get(content, "shakes_set"));
    for (size_t i = 0; i < trial->gains; i++) {
        const json_t *gain = json_array_get(gains, i);
        if (!json_is_number(gain)) {
            trial->gains = 0;
            return;
        }
        trial->gain_g[i] = json_number_value(gain) / counts_g;
    }
}

static bool parse_trial(const json_t *content, struct trial *trial, double *number) {
    double load_counts = 0, u_counts = 0;
    if (!catalogue_read_text(content, "item_id", trial->item_id, sizeof trial->item_id) ||
        !catalogue_read_text(content, "run_id", trial->run_id, sizeof trial->run_id) ||
        !catalogue_read_number(content, "number", number) ||
        !catalogue_read_number(content, "load_g", &trial->load_g) ||
        !catalogue_read_number(content, "load_counts", &load_counts)) {
        return false;
    }
    /* For a load of zero the grams remain, and values in counts are lost. */
    if (trial->load_g != 0 && load_counts != 0) {
        double counts_g = fabs(load_counts / trial->load_g);
        catalogue_read_number(content, "u_plateau_counts", &u_counts);
        trial->u_plateau_g = u_counts / counts_g;
        read_gains(content, counts_g, trial);
    }
    return true;
}

static bool read_trial(const struct up_record *record, void *context) {
    struct trial_data *trial_data = context;
    struct trial trial = {0};
    double number = 0;
    if (record->elsewhere) { /* a bench learns from what it saw itself */
        return true;
    }
    /* Quick weighings end where the class is clear, so their trials lean away from the lines. */
    if (json_is_true(json_object_get(record->content, "is_quick"))) {
        return true;
    }
    if ((trial_data->only_bench != NULL && strcmp(trial_data->only_bench, record->bench) != 0) ||
        !parse_trial(record->content, &trial, &number)) {
        return true;
    }
    settle_run(trial_data, &trial);
    const json_t *item = json_object_get(trial_data->items, trial.item_id);
    if (item == NULL || is_left_out(trial_data, &trial, number)) {
        return true;
    }
    trial.kind = (unsigned)json_integer_value(json_array_get(item, 0));
    trial.pieces = json_number_value(json_array_get(item, 1));
    trial.soaks = json_object_get(trial_data->soaked, trial.run_id) != NULL;
    trial.bench = index_of(&trial_data->benches, record->bench, strcmp);
    if (trial_data->count == trial_data->room) {
        trial_data->room = 2 * trial_data->room + 64;
        trial_data->trial =
            up_reallocate(trial_data->trial, trial_data->room, sizeof *trial_data->trial);
    }
    trial_data->trial[trial_data->count++] = trial;
    return true;
}

static bool read_tolerance(const struct up_record *record, void *context) {
    struct trial_data *trial_data = context;
    struct up_kind set = {0};
    members_from_json(catalogue_kind_members, record->content, &set);
    if (!record->elsewhere && set.name[0] != '\0' && /* whoever weighs sets what is neutral */
        (trial_data->only_kind == NULL || strcasecmp(trial_data->only_kind, set.name) == 0)) {
        trial_data->tolerance = up_reallocate(trial_data->tolerance, trial_data->tolerances + 1,
                                              sizeof *trial_data->tolerance);
        trial_data->tolerance[trial_data->tolerances++] = set;
        index_of(&trial_data->kinds, set.name, strcasecmp);
    }
    return true;
}

/* The trials of a run stand together. */
static int by_item_and_run(const void *a, const void *b) {
    const struct trial *one = a, *two = b;
    int items = strcmp(one->item_id, two->item_id);
    return items != 0 ? items : strcmp(one->run_id, two->run_id);
}

static bool gather(struct up_catalogue *catalogue, struct trial_data *trial_data,
                   struct up_failure *failure) {
    trial_data->items = json_object();
    trial_data->left_out = json_object();
    trial_data->soaked = json_object();
    trial_data->gone_on = json_object();
    bool good = up_catalogue_each(catalogue, "gear_kind", read_tolerance, trial_data, failure) &&
                read_items(catalogue, trial_data, failure) &&
                up_catalogue_each(catalogue, "result", read_result, trial_data, failure) &&
                up_catalogue_each(catalogue, "run", read_run, trial_data, failure) &&
                up_catalogue_each(catalogue, "trial", read_trial, trial_data, failure);
    if (trial_data->count > 0) {
        qsort(trial_data->trial, trial_data->count, sizeof *trial_data->trial, by_item_and_run);
    }
    return good;
}

static void release(struct trial_data *trial_data) {
    json_decref(trial_data->items);
    json_decref(trial_data->left_out);
    json_decref(trial_data->soaked);
    json_decref(trial_data->gone_on);
    free(trial_data->kinds.name);
    free(trial_data->benches.name);
    free(trial_data->trial);
    free(trial_data->tolerance);
}

/* ---- learning ---- */

struct chosen {
    const struct trial **trial; /* those of one kind and bench */
    size_t count;
};

/* The trials stand by item and run; that order stays within a kind and bench. */
static int by_kind_and_bench(const void *a, const void *b) {
    const struct trial *one = *(const struct trial *const *)a,
                       *two = *(const struct trial *const *)b;
    return one->kind != two->kind     ? (one->kind > two->kind ? 1 : -1)
           : one->bench != two->bench ? (one->bench > two->bench ? 1 : -1)
                                      : (one > two) - (one < two);
}

static struct chosen sort_trials(const struct trial_data *trial_data) {
    struct chosen all = {up_allocate(trial_data->count + 1, sizeof *all.trial), trial_data->count};
    for (size_t i = 0; i < all.count; i++) {
        all.trial[i] = &trial_data->trial[i];
    }
    qsort(all.trial, all.count, sizeof *all.trial, by_kind_and_bench);
    return all;
}

/* How many from the first on are of its kind and bench. */
static size_t group_length(const struct chosen *all, size_t first) {
    size_t end = first;
    while (end < all->count && all->trial[end]->kind == all->trial[first]->kind &&
           all->trial[end]->bench == all->trial[first]->bench) {
        end++;
    }
    return end - first;
}

/* How many from the first on are of one item and run. */
static size_t run_length(const struct chosen *chosen, size_t first) {
    size_t end = first;
    while (end < chosen->count && by_item_and_run(chosen->trial[first], chosen->trial[end]) == 0) {
        end++;
    }
    return end - first;
}

/* GUM H.5.2.2: each run's own standard deviation, weighted by its degrees of freedom. */
static struct up_quantity pool(const struct chosen *chosen, double pieces) {
    double *sd = up_allocate(chosen->count + 1, sizeof *sd);
    double *dof = up_allocate(chosen->count + 1, sizeof *dof);
    UP_FREED double *load = up_allocate(chosen->count + 1, sizeof *load);
    size_t runs = 0, length;
    for (size_t first = 0; first < chosen->count; first += length) {
        length = run_length(chosen, first);
        if (chosen->trial[first]->pieces != pieces || chosen->trial[first]->soaks) {
            continue;
        }
        for (size_t i = 0; i < length; i++) {
            load[i] = chosen->trial[first + i]->load_g;
        }
        sd[runs] = up_summarise(load, length).sd;
        dof[runs++] = (double)length - 1;
    }
    struct up_pool pooled = up_pool_sds(sd, dof, runs);
    free(sd);
    free(dof);
    return pooled.dof > 0 ? (struct up_quantity){0, pooled.sd * 1e-3, pooled.dof}
                          : (struct up_quantity){0, 0, 0};
}

/* A gain is the difference of two readings, before and after a shake off the hook: hanging scatters
   in both, as it does in a trial. Where that is not known, the readings' own noise is left. */
static double u_gain_g(const struct up_kind *kind, const struct trial *trial) {
    double sd_g = (trial->pieces == 1   ? kind->repeatability_kg.u
                   : trial->pieces == 2 ? kind->repeatability_pair_kg.u
                                        : 0) *
                  1e3;
    return fmax(sd_g, trial->u_plateau_g) * sqrt(2);
}

static void learn_share(const struct chosen *chosen, struct up_kind *kind) {
    UP_FREED struct up_shaken *shaken = up_allocate(chosen->count + 1, sizeof *shaken);
    size_t count = 0;
    for (size_t i = 0; i < chosen->count; i++) {
        const struct trial *trial = chosen->trial[i];
        double u_g = u_gain_g(kind, trial);
        if (trial->gains > 0 && u_g > 0 && !trial->soaks) {
            double stop_g = trial->shakes_set
                                ? 0
                                : fmax(STOP_GAIN_G, STOP_GAIN_US * sqrt(2) * trial->u_plateau_g);
            shaken[count++] = (struct up_shaken){trial->gain_g, trial->gains, u_g, stop_g};
        }
    }
    up_find_share(shaken, count, &kind->share);
}

static void learn(const struct chosen *chosen, struct up_kind *kind) {
    size_t length;
    for (size_t first = 0; first < chosen->count; first += length) {
        length = run_length(chosen, first);
        kind->runs++;
        kind->items += first == 0 || strcmp(chosen->trial[first - 1]->item_id,
                                            chosen->trial[first]->item_id) != 0;
    }
    kind->repeatability_kg = pool(chosen, 1);
    kind->repeatability_pair_kg = pool(chosen, 2);
    learn_share(chosen, kind);
}

static void begin(const struct trial_data *trial_data, const char *name, const char *bench,
                  struct up_kind *kind) {
    *kind = (struct up_kind){0};
    snprintf(kind->name, sizeof kind->name, "%s", name);
    snprintf(kind->bench, sizeof kind->bench, "%s", bench);
    /* The last of the same name is the newest. */
    for (size_t i = 0; i < trial_data->tolerances; i++) {
        if (strcasecmp(trial_data->tolerance[i].name, kind->name) == 0) {
            kind->tolerance_one_g = trial_data->tolerance[i].tolerance_one_g;
            kind->tolerance_pair_g = trial_data->tolerance[i].tolerance_pair_g;
            kind->stuck_share = trial_data->tolerance[i].stuck_share;
            kind->stuck_g = trial_data->tolerance[i].stuck_g;
        }
    }
    up_find_share(NULL, 0, &kind->share);
}

/* The same name has the same id in every catalogue (UUID version 5), so that versions made
   independently belong to one thing. */
static void id_of_name(const char *name, char id[UP_ID_SIZE]) {
    static const uuid_t space = {0x8e, 0x5d, 0x3b, 0x0a, 0x61, 0xf4, 0x4c, 0x27,
                                 0x9b, 0x12, 0x7a, 0xd0, 0x35, 0xe6, 0x48, 0xc1};
    char folded[UP_NAME_SIZE];
    uuid_t uuid;
    size_t length = 0;
    for (; name[length] != '\0'; length++) { /* as strcasecmp folds */
        char c = name[length];
        folded[length] = c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
    }
    uuid_generate_sha1(uuid, space, folded, length);
    uuid_unparse_lower(uuid, id);
}

/* Of the live versions the first counts. */
static bool read_set(const struct up_record *record, void *context) {
    if (!record->elsewhere) {
        members_from_json(catalogue_kind_members, record->content, context);
    }
    return false;
}

bool up_kind_find(struct up_catalogue *catalogue, const char *name, struct up_kind *kind,
                  struct up_failure *failure) {
    UP_FREED char *clean = up_text_clean(name, strlen(name)); /* names are stored clean */
    char id[UP_ID_SIZE];
    *kind = (struct up_kind){0};
    id_of_name(clean, id);
    return up_catalogue_each_live(catalogue, "gear_kind", id, read_set, kind, failure);
}

bool up_kind_tolerance(struct up_catalogue *catalogue, const char *name, int pieces,
                       double *tolerance_g, struct up_failure *failure) {
    struct up_kind kind;
    bool good = up_kind_find(catalogue, name, &kind, failure);
    double set_g = pieces == 1 ? kind.tolerance_one_g : kind.tolerance_pair_g;
    if (good && set_g > 0) {
        *tolerance_g = set_g;
    }
    return good;
}

/* What a bench learns of a kind it learns from the items that were added or changed last: more of
   them would say the same. */
static bool gather_latest(struct up_catalogue *catalogue, const char *kind,
                          struct trial_data *trial_data, struct up_failure *failure) {
    UP_FREED char *folded = up_text_folded(kind);
    bool good =
        catalogue_focus_on(catalogue,
                           "SELECT subject FROM typed_item AS t WHERE folded_kind = ?1"
                           " AND " CATALOGUE_IS_HELD(
                               "(SELECT id FROM record WHERE rowid ="
                               " t.record)") " ORDER BY made_utc DESC, subject DESC LIMIT 40",
                           folded, failure) &&
        gather(catalogue, trial_data, failure);
    return up_catalogue_focus(catalogue, NULL, 0, good ? failure : NULL) && good;
}

bool up_kind_learn(struct up_catalogue *catalogue, const char *name, const char *bench,
                   struct up_kind *kind, struct up_failure *failure) {
    UP_FREED char *clean = up_text_clean(name, strlen(name));
    struct trial_data trial_data = {.only_kind = clean, .only_bench = bench};
    bool good = gather_latest(catalogue, clean, &trial_data, failure);
    begin(&trial_data, clean, bench, kind);
    struct chosen all = sort_trials(&trial_data); /* of one kind and bench */
    if (good) {
        learn(&all, kind);
    }
    free(all.trial);
    release(&trial_data);
    return good;
}

static int by_name_and_bench(const void *a, const void *b) {
    const struct up_kind *one = a, *two = b;
    int names = strcasecmp(one->name, two->name);
    return names != 0 ? names : strcmp(one->bench, two->bench);
}

bool up_kinds_learn(struct up_catalogue *catalogue, struct up_kind **kinds, size_t *count,
                    struct up_failure *failure) {
    struct trial_data trial_data = {0};
    *kinds = NULL;
    *count = 0;
    if (!gather(catalogue, &trial_data, failure)) {
        release(&trial_data);
        return false;
    }
    struct chosen all = sort_trials(&trial_data);
    UP_FREED bool *seen = up_allocate(trial_data.kinds.count + 1, sizeof *seen);
    size_t listed = 0, length, groups = trial_data.kinds.count;
    for (size_t first = 0; first < all.count; first += group_length(&all, first)) {
        groups++;
    }
    struct up_kind *list = up_allocate(groups + 1, sizeof *list);
    for (size_t first = 0; first < all.count; first += length) {
        struct chosen chosen = {all.trial + first, length = group_length(&all, first)};
        const struct trial *trial = all.trial[first];
        begin(&trial_data, trial_data.kinds.name[trial->kind],
              trial_data.benches.name[trial->bench], &list[listed]);
        learn(&chosen, &list[listed++]);
        seen[trial->kind] = true;
    }
    for (unsigned k = 0; k < trial_data.kinds.count; k++) {
        if (!seen[k]) {
            begin(&trial_data, trial_data.kinds.name[k], "", &list[listed++]);
        }
    }
    free(all.trial);
    release(&trial_data);
    qsort(list, listed, sizeof *list, by_name_and_bench);
    *kinds = list;
    *count = listed;
    return true;
}

/* ---- setting ---- */

/* 0: none is set. */
static bool is_tolerance(double tolerance_g, int pieces) {
    return tolerance_g == 0 ||
           (tolerance_g >= UP_TOLERANCE_LEAST_G && tolerance_g <= up_tolerance_most_g(pieces));
}

bool catalogue_kind_is_sound(const json_t *content) {
    struct up_kind kind = {0};
    return members_from_json(catalogue_kind_members, content, &kind) &&
           is_tolerance(kind.tolerance_one_g, 1) && is_tolerance(kind.tolerance_pair_g, 2) &&
           kind.stuck_share <= UP_STUCK_SHARE_MOST;
}

bool catalogue_kind_is_subject(const json_t *content, const char *subject) {
    char id[UP_ID_SIZE];
    id_of_name(up_record_text(content, "name"), id);
    return strcmp(id, subject) == 0;
}

bool up_kind_set(struct up_catalogue *catalogue, const struct up_kind *kind,
                 struct up_failure *failure) {
    char id[UP_ID_SIZE];
    struct up_kind copy = *kind;
    if (!catalogue_clean_name(copy.name, &noun, "name", true, failure)) {
        return false;
    }
    if (!is_tolerance(copy.tolerance_one_g, 1) || !is_tolerance(copy.tolerance_pair_g, 2)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a kind's tolerances: --tolerance-g of %g to %g g for one piece, "
                       "--tolerance-pair-g of %g to %g g",
                       UP_TOLERANCE_LEAST_G, UP_TOLERANCE_MOST_ONE_G, UP_TOLERANCE_LEAST_G,
                       UP_TOLERANCE_MOST_PAIR_G);
    }
    id_of_name(copy.name, id);
    json_t *content = members_to_json(catalogue_kind_members, &copy);
    return catalogue_put_version(catalogue, &noun, id, content, failure);
}

/* ---- what is known of kinds ---- */

/* What is known of a kind of gear before any of it is weighed (common practice, no source). */

/* Water does not compress the gas in a stiff case; it does compress foam. */
static const struct up_kind_facts facts[] = {
    {"fin", UP_GAS_NO, UP_FILLED_NEVER},
    {"fins", UP_GAS_NO, UP_FILLED_NEVER},
    {"lead", UP_GAS_NO, UP_FILLED_NEVER},
    {"weight", UP_GAS_NO, UP_FILLED_NEVER},
    {"weights", UP_GAS_NO, UP_FILLED_NEVER},
    {"light", UP_GAS_NO, UP_FILLED_NEVER},
    {"torch", UP_GAS_NO, UP_FILLED_NEVER},
    {"mask", UP_GAS_NO, UP_FILLED_NEVER},
    {"reel", UP_GAS_NO, UP_FILLED_NEVER},
    {"spool", UP_GAS_NO, UP_FILLED_NEVER},
    {"knife", UP_GAS_NO, UP_FILLED_NEVER},
    {"snorkel", UP_GAS_NO, UP_FILLED_NEVER},
    {"backplate", UP_GAS_NO, UP_FILLED_NEVER},
    {"slate", UP_GAS_NO, UP_FILLED_NEVER},
    /* Stiff, but what is in them has weight. */
    {"cylinder", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"cylinders", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"tank", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"bottle", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"pony", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"stage", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    /* Of the others it is asked. */
    {"boot", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"boots", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"hood", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"glove", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"gloves", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"suit", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"vest", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"jacket", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
    {"wing", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
    {"bladder", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
    {"buoy", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
};

const struct up_kind_facts *up_kind_facts_at(unsigned i) {
    return i < sizeof facts / sizeof facts[0] ? &facts[i] : NULL;
}

const struct up_kind_facts *up_kind_facts(const char *kind) {
    static const struct up_kind_facts of_others = {"", UP_GAS_NOT_STATED, UP_FILLED_NEVER};
    for (unsigned i = 0; i < sizeof facts / sizeof facts[0]; i++) {
        if (strcasecmp(facts[i].name, kind) == 0) {
            return &facts[i];
        }
    }
    return &of_others;
}
