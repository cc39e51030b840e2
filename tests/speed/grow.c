/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Makes a catalogue large: items and results like those of a catalogue that is there (the
 * demonstration's), each under a name and numbers of its own, signed as everything is. Results have
 * a decision; of each five results one item, measured in one session, and one session in ten has
 * its run and two trials.
 * grow DIRECTORY RESULTS
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "catalogue/internal.h"
#include "chance.h"
#include "text/text.h"

enum { TEMPLATES = 64, BATCH = 20000, RESULTS_AN_ITEM = 5, SESSIONS_A_RUN = 10 };

struct templates {
    json_t *content[TEMPLATES];
    char bench[TEMPLATES][UP_NAME_SIZE];
    size_t count;
};

static bool take(const struct up_record *record, void *context) {
    struct templates *templates = context;
    if (templates->count < TEMPLATES) {
        snprintf(templates->bench[templates->count], UP_NAME_SIZE, "%s", record->bench);
        templates->content[templates->count++] = json_deep_copy(record->content);
    }
    return true;
}

static void set_text(json_t *content, const char *key, const char *text) {
    json_object_set_new(content, key, json_string(text));
}

static void shift(json_t *content, const char *key, double by) {
    json_t *value = json_object_get(content, key);
    if (json_is_number(value)) {
        json_object_set_new(content, key, json_real(json_number_value(value) + by));
    }
}

struct growth {
    struct up_catalogue *catalogue;
    struct templates items, results, decisions, runs, trials;
    struct chance *chance;
    struct up_failure failure;
    char item_id[UP_ID_SIZE], run_id[UP_ID_SIZE];
    unsigned long made;
};

static bool add(struct growth *growth, const char *kind, const struct templates *templates,
                size_t which, json_t *content, char id[UP_ID_SIZE]) {
    struct up_record record = {.content = content};
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    snprintf(record.bench, sizeof record.bench, "%s", templates->bench[which]);
    bool good = catalogue_put(growth->catalogue, &record, NULL, &growth->failure);
    memcpy(id, record.subject, UP_ID_SIZE);
    json_decref(content);
    return good;
}

static bool add_item(struct growth *growth, unsigned long number) {
    size_t which = number % growth->items.count;
    json_t *content = json_copy(growth->items.content[which]);
    UP_FREED char *name = up_text_format("%s %06lu", up_record_text(content, "name"), number + 1);
    UP_FREED char *model = up_text_format("Invented %lu", number / 40);
    set_text(content, "name", name);
    set_text(content, "model", model);
    json_object_del(content, "part_ids");
    up_new_id(growth->run_id);
    return add(growth, "item", &growth->items, which, content, growth->item_id);
}

static bool add_run(struct growth *growth) {
    json_t *run = json_copy(growth->runs.content[growth->made % growth->runs.count]);
    set_text(run, "item_id", growth->item_id);
    bool good =
        add(growth, "run", &growth->runs, growth->made % growth->runs.count, run, growth->run_id);
    for (size_t i = 0; good && i < 2; i++) {
        char id[UP_ID_SIZE];
        size_t which = (growth->made + i) % growth->trials.count;
        json_t *trial = json_copy(growth->trials.content[which]);
        set_text(trial, "item_id", growth->item_id);
        set_text(trial, "run_id", growth->run_id);
        good = add(growth, "trial", &growth->trials, which, trial, id);
    }
    return good;
}

static bool add_result(struct growth *growth) {
    size_t which = growth->made % growth->results.count;
    char result_id[UP_ID_SIZE], id[UP_ID_SIZE];
    double by_g = (double)chance_below(growth->chance, 160001) / 1000 - 80;
    json_t *result = json_copy(growth->results.content[which]);
    set_text(result, "item_id", growth->item_id);
    set_text(result, "run_id", growth->run_id);
    shift(result, "buoyancy_g", by_g);
    if (!add(growth, "result", &growth->results, which, result, result_id)) {
        return false;
    }
    which = growth->made % growth->decisions.count;
    json_t *decision = json_copy(growth->decisions.content[which]);
    set_text(decision, "item_id", growth->item_id);
    set_text(decision, "run_id", growth->run_id);
    set_text(decision, "result_id", result_id);
    growth->made++;
    return add(growth, "decision", &growth->decisions, which, decision, id);
}

static bool grow(struct growth *growth, unsigned long results) {
    bool good = true;
    while (good && growth->made < results) {
        good = catalogue_begin(growth->catalogue, &growth->failure);
        for (unsigned i = 0; good && i < BATCH && growth->made < results; i++) {
            good = (growth->made % RESULTS_AN_ITEM != 0 ||
                    add_item(growth, growth->made / RESULTS_AN_ITEM)) &&
                   (growth->made % (RESULTS_AN_ITEM * SESSIONS_A_RUN) != 0 || add_run(growth)) &&
                   add_result(growth);
        }
        good = catalogue_end(growth->catalogue, good, &growth->failure);
    }
    return good;
}

int main(int argc, char **argv) {
    struct growth growth = {.chance = chance_begin(1)};
    struct up_failure *failure = &growth.failure;
    if (argc != 3) {
        fprintf(stderr, "usage: grow DIRECTORY RESULTS\n");
        return 2;
    }
    bool good = up_catalogue_open(argv[1], UP_CATALOGUE_WRITE, &growth.catalogue, failure) &&
                catalogue_run(growth.catalogue, "PRAGMA synchronous = OFF", failure) &&
                up_catalogue_each(growth.catalogue, "item", take, &growth.items, failure) &&
                up_catalogue_each(growth.catalogue, "result", take, &growth.results, failure) &&
                up_catalogue_each(growth.catalogue, "decision", take, &growth.decisions, failure) &&
                up_catalogue_each(growth.catalogue, "run", take, &growth.runs, failure) &&
                up_catalogue_each(growth.catalogue, "trial", take, &growth.trials, failure) &&
                grow(&growth, strtoul(argv[2], NULL, 10));
    if (!good) {
        fprintf(stderr, "grow: %s\n", failure->text);
    }
    up_catalogue_close(growth.catalogue);
    chance_end(growth.chance);
    return good ? 0 : 1;
}
