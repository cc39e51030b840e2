/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure --queue: the items of a list, one after the other. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_options.h"
#include "text/json.h"
#include "text/text.h"

struct whole_queue {
    const struct arguments *arguments;
    struct bench_options options;
    struct up_measure_plan plan;
    struct up_queue queue;
    struct up_style style;
    json_t *list; /* all results, for one document */
    bool begun, undecided;
};

static void show_place(void *context, const struct up_item *item, const char *place,
                       const json_t *queue) {
    const struct whole_queue *whole = context;
    if (whole->options.settings.operator_kind == UP_OPERATOR_JSON) {
        json_t *json = json_pack("{s:s, s:s, s:o, s:o}", "event", "queue", "item", item->name,
                                 "text", up_json_text(place), "queue", json_deep_copy(queue));
        up_json_write(json, stdout, JSON_COMPACT);
        putchar('\n');
        json_decref(json);
        return;
    }
    fputc('\n', stderr);
    char *name = up_text_isolated(item->name), *where = up_text_for_terminal(place);
    fprintf(stderr, "== %s: %s\n", name, where);
    free(name);
    free(where);
}

static void show_one(void *context, const struct up_session_results *results) {
    struct whole_queue *whole = context;
    const struct up_session_settings *settings = &whole->options.settings;
    if (whole->options.json_document) {
        for (unsigned i = 0; i < results->results; i++) {
            json_array_append_new(whole->list, up_result_to_json(&results->result[i]));
        }
    } else if (settings->operator_kind != UP_OPERATOR_JSON) {
        print_results(results, &whole->style);
        fflush(stdout);
    }
    up_panel_show_class(settings->panel, results->result[0].answer.class, &signalled);
    whole->undecided = whole->undecided || up_session_status(results) == UP_STATUS_UNDECIDED;
}

static void note_remaining(const struct whole_queue *whole) {
    unsigned remaining = up_queue_remaining(&whole->queue);
    if (whole->begun && remaining > 0) {
        char *command = resume_as_typed("measure", whole->arguments);
        up_text_print(stderr, "note: %u of %u items left; continue with `%s`\n", remaining,
                      whole->queue.count, command);
        free(command);
    }
}

static enum up_status end_queue(struct whole_queue *whole, bool good, struct up_failure *failure) {
    /* Stopped by a word is no failure: what was measured is stored. */
    enum up_status status = good || failure->text[0] == '\0'
                                ? whole->undecided ? UP_STATUS_UNDECIDED : UP_STATUS_DONE
                                : failure->status;
    if (whole->options.json_document) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-results-1", "results", whole->list));
    }
    note_remaining(whole);
    json_decref(whole->list);
    close_bench(&whole->options, NULL);
    free(whole);
    die_of_signal();
    return status;
}

static bool check_alone(const struct arguments *arguments, struct up_failure *failure) {
    return !option_given(arguments, "item") ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--item and --queue: give only one; the list names the items");
}

/* What does not go with an item of the list is refused before the first one is hung. */
static bool check_items(const struct arguments *arguments, struct whole_queue *whole,
                        struct up_failure *failure) {
    bool by_keys = whole->options.settings.operator_kind == UP_OPERATOR_KEYS;
    for (unsigned i = 0; i < whole->queue.count; i++) {
        struct up_queue_entry *entry = &whole->queue.entry[i];
        struct up_failure why;
        bool filled = up_kind_facts(entry->item.kind)->filled != UP_FILLED_NEVER;
        if (entry->done) {
            continue;
        }
        if (!check_item(&entry->item, &whole->plan, &why) ||
            (filled && !take_filling(arguments, by_keys, &entry->item, &entry->filling, &why))) {
            return up_fail(failure, why.status, "%.80s: %.300s", entry->item.name, why.text);
        }
    }
    return true;
}

enum up_status measure_queue(const struct arguments *arguments, struct up_failure *failure) {
    struct whole_queue *whole = up_allocate(1, sizeof *whole);
    whole->arguments = arguments;
    struct up_water water[UP_WATERS_MAX];
    const struct up_queue_caller caller = {whole, show_place, show_one};
    bool good =
        check_words(arguments, failure) && check_alone(arguments, failure) &&
        style_asked(arguments, &whole->style, failure) &&
        waters_asked(arguments, water, &whole->plan.waters, failure) &&
        open_bench(arguments, true, &whole->options, failure) &&
        read_conditions(arguments, &whole->options, failure) &&
        read_measure(arguments, &whole->options, &whole->plan, failure) &&
        up_queue_open(&whole->queue, whole->options.catalogue, option_value(arguments, "queue"),
                      option_given(arguments, "resume") ? whole->options.rig.id : NULL, failure) &&
        check_items(arguments, whole, failure);
    whole->list = json_array();
    whole->plan.water = water;
    if (good && up_queue_remaining(&whole->queue) == 0) {
        fprintf(stderr, "note: all %u items of the list are done\n", whole->queue.count);
    }
    whole->begun = good;
    good = good && up_queue_measure(&whole->queue, &whole->options.settings, &whole->plan, &caller,
                                    failure);
    return end_queue(whole, good, failure);
}
