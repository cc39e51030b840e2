/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure --queue: the items of a list, one after the other. */
#include <stdlib.h>
#include <unistd.h>

#include "session_options.h"
#include "text/json.h"
#include "text/text.h"

struct whole_queue {
    struct session_options options;
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
        json_auto_t *json = json_pack("{s:s, s:s, s:o, s:o}", "event", "queue", "item", item->name,
                                      "text", up_json_text(place), "queue", json_deep_copy(queue));
        up_json_write(json, stdout, JSON_COMPACT);
        putchar('\n');
        return;
    }
    UP_FREED char *name = up_text_isolated(item->name);
    fprintf(stderr, "\n== %s\n", name);
    up_text_lines(stderr, "   ", place, terminal_columns(STDERR_FILENO));
}

static void show_one(void *context, const struct up_session_results *results) {
    struct whole_queue *whole = context;
    const struct up_session_settings *settings = &whole->options.settings;
    if (whole->options.json_document) {
        for (unsigned i = 0; i < results->results; i++) {
            json_array_append_new(whole->list, up_result_to_json(&results->result[i]));
        }
    } else if (settings->operator_kind != UP_OPERATOR_JSON) {
        print_results(results, whole->options.catalogue, &whole->style);
        fflush(stdout);
    }
    up_panel_show_class(settings->panel, results->result[0].answer.class, &signalled);
    whole->undecided = whole->undecided || up_session_status(results) == UP_STATUS_UNDECIDED;
}

static void note_remaining(const struct call *call, const struct whole_queue *whole) {
    unsigned remaining = up_queue_remaining(&whole->queue);
    if (whole->begun && remaining > 0) {
        UP_FREED char *command = resume_as_typed("measure", call);
        up_text_print(stderr, "note: %u of %u items left; continue with `%s`\n", remaining,
                      whole->queue.count, command);
    }
}

static void end_queue(struct call *call, struct whole_queue *whole) {
    call->status = whole->undecided ? UP_STATUS_UNDECIDED : UP_STATUS_DONE;
    if (whole->options.json_document) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-results-1", "results", whole->list));
    }
    note_remaining(call, whole);
    json_decref(whole->list);
    close_session(&whole->options, NULL);
    free(whole);
    die_of_signal();
}

/* What does not go with an item of the list is refused before the first one is hung. */
static bool check_items(struct call *call, struct whole_queue *whole) {
    bool by_keys = whole->options.settings.operator_kind == UP_OPERATOR_KEYS;
    for (unsigned i = 0; i < whole->queue.count; i++) {
        struct up_queue_entry *entry = &whole->queue.entry[i];
        struct up_failure why;
        struct call of_item = *call;
        bool filled = up_kind_facts(entry->item.kind)->filled != UP_FILLED_NEVER;
        of_item.failure = &why;
        if (entry->done) {
            continue;
        }
        if (!check_item(&entry->item, &whole->plan, &why) ||
            (filled && !take_filling(&of_item, by_keys, &entry->item, &entry->filling))) {
            return up_fail(call->failure, why.status, "%.80s: %.300s", entry->item.name, why.text);
        }
    }
    return true;
}

bool measure_queue(struct call *call) {
    struct whole_queue *whole = up_allocate(1, sizeof *whole);
    struct up_water water[UP_WATERS_MAX];
    const struct up_queue_caller caller = {whole, show_place, show_one};
    bool good =
        check_words(call) &&
        (!option_given(call, "item") ||
         refuse(call, "--item and --queue: give only one; the list names the items")) &&
        style_asked(call, &whole->style) && waters_asked(call, water, &whole->plan.waters) &&
        open_session(call, true, &whole->options) && read_conditions(call, &whole->options) &&
        read_measure(call, &whole->options, &whole->plan) &&
        up_queue_open(&whole->queue, whole->options.catalogue, option_value(call, "queue"),
                      option_given(call, "resume") ? whole->options.rig.id : NULL, call->failure) &&
        check_items(call, whole);
    whole->list = json_array();
    whole->plan.water = water;
    if (good && up_queue_remaining(&whole->queue) == 0) {
        fprintf(stderr, "note: all %u items of the list are done\n", whole->queue.count);
    }
    whole->begun = good;
    if (good) {
        note_rough_calibration(&whole->options);
    }
    good = good && up_queue_measure(&whole->queue, &whole->options.settings, &whole->plan, &caller,
                                    call->failure);
    end_queue(call, whole);
    /* Stopped by a word is no failure: what was measured is stored. */
    return good || call->failure->text[0] == '\0';
}
