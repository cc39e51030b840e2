/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure --queue: the items of a list, one after the other. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../session/queue.h"
#include "bench_options.h"
#include "upthrust/text.h"
#include "upthrust/wire.h"

struct whole_queue {
    struct bench_options options;
    struct up_measure_plan plan;
    struct queue queue;
    struct up_source *source;
    struct up_opening opening;
    struct up_style style;
    json_t *list; /* all results, for one document */
    bool begun, undecided, left;
};

static void say_place(const struct whole_queue *whole, unsigned index, const char *place) {
    char *name = up_text_for_terminal(whole->queue.entry[index].item.name);
    char *where = up_text_for_terminal(place);
    if (whole->options.run.json) {
        char *clean = up_text_clean(place, strlen(place)); /* the next name may have been cut */
        json_t *json = json_pack("{s:s, s:s, s:s, s:o}", "event", "queue", "item",
                                 whole->queue.entry[index].item.name, "text", clean, "queue",
                                 queue_to_json(&whole->queue, index));
        free(clean);
        json_dumpf(json, stdout, JSON_COMPACT);
        putchar('\n');
        json_decref(json);
    } else {
        fprintf(stderr, "\n== %s: %s\n", name, where);
    }
    free(name);
    free(where);
}

static void tell_one(struct whole_queue *whole, const struct repeated *one) {
    if (whole->options.json_document) {
        for (unsigned i = 0; i < one->results; i++) {
            json_array_append_new(whole->list, up_result_to_json(&one->result[i]));
        }
    } else if (!whole->options.run.json) {
        print_results(&one->item, one->result, one->results, one->waters, &whole->style);
        fflush(stdout);
    }
    up_panel_show_class(whole->options.run.lines, one->result[0].answer.class, &signalled);
    whole->undecided =
        whole->undecided || status_of_results(one->result, one->results) == UP_STATUS_UNDECIDED;
}

/* What was begun and cannot be gone on with, because the item, the rig or the calibration is
   another one now, begins anew: one item must not keep the rest of the list waiting. */
static bool find_left(struct bench_run *run, struct queue_entry *entry,
                      struct up_failure *failure) {
    struct up_failure why;
    run->resume = entry->left_run;
    if (entry->left_run[0] == '\0' || may_resume_measure(run, &entry->item, &why)) {
        return true;
    }
    if (why.status != UP_STATUS_WRONG_INPUT) {
        *failure = why;
        return false;
    }
    char *text = up_text_for_terminal(why.text);
    fprintf(stderr, "note: %s; here it begins anew by itself\n", text);
    free(text);
    entry->left_run[0] = '\0';
    return true;
}

static bool measure_one(struct whole_queue *whole, unsigned index, struct repeated *one,
                        struct up_failure *failure) {
    struct queue_entry *entry = &whole->queue.entry[index];
    struct bench_run *run = &whole->options.run;
    char place[200];
    bool good;
    if (!find_left(run, entry, failure)) {
        return false;
    }
    queue_say_place(&whole->queue, index, &whole->plan, &whole->options.rig, place, sizeof place);
    say_place(whole, index, place);
    run->place = place;
    run->queue = queue_to_json(&whole->queue, index);
    queue_begin_item(&whole->queue);
    one->item = entry->item;
    one->waters = whole->plan.waters;
    good = entry->left_run[0] != '\0'
               ? resume_measure(run, &entry->item, one, failure)
               : read_for_item(&whole->options, &entry->item, &whole->plan, failure) &&
                     run_measure(run, &whole->plan, one->result, &one->results, failure);
    whole->plan.references = 0; /* once, at the beginning */
    json_decref(run->queue);
    run->queue = NULL;
    run->place = NULL;
    return good;
}

/* Each item's results are stored before the next one is asked for. */
static bool measure_all(struct whole_queue *whole, struct up_failure *failure) {
    struct repeated *one = up_allocate(1, sizeof *one);
    bool good = true;
    for (unsigned i = 0; i < whole->queue.count && good && signalled == 0; i++) {
        if (whole->queue.entry[i].done) {
            continue;
        }
        memset(one, 0, sizeof *one);
        good = measure_one(whole, i, one, failure);
        if (good) {
            tell_one(whole, one);
        }
        if (good && !whole->left) {
            queue_end_item(&whole->queue, i);
        }
        good = good && !whole->left;
    }
    free(one);
    return good;
}

static void tell_way_on(const struct whole_queue *whole) {
    unsigned left = queue_left(&whole->queue);
    if (whole->begun && left > 0) {
        char *path = up_text_for_terminal(whole->queue.path);
        fprintf(stderr,
                "note: %u of %u items are left; `upthrust measure --queue %s --resume`, with "
                "all other options as before, goes on\n",
                left, whole->queue.count, path);
        free(path);
    }
}

static enum up_status end_queue(struct whole_queue *whole, bool good, struct up_failure *failure) {
    /* Left by a word is no failure: what was measured is stored. */
    enum up_status status = good || failure->text[0] == '\0'
                                ? whole->undecided ? UP_STATUS_UNDECIDED : UP_STATUS_DONE
                                : failure->status;
    if (whole->options.json_document) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-results-1", "results", whole->list));
    }
    tell_way_on(whole);
    up_source_close(whole->source);
    json_decref(whole->list);
    up_catalogue_close(whole->options.catalogue);
    up_panel_close(whole->options.run.lines);
    free(whole);
    die_of_signal();
    return status;
}

static bool check_alone(const struct arguments *arguments, struct up_failure *failure) {
    return !option_given(arguments, "item") ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--item and --queue are one too many: the list names the items");
}

/* What does not go with an item of the list is told before the first one is hung. */
static bool check_items(struct whole_queue *whole, struct up_failure *failure) {
    bool good = true;
    for (unsigned i = 0; good && i < whole->queue.count; i++) {
        const struct queue_entry *entry = &whole->queue.entry[i];
        good = entry->done || read_for_item(&whole->options, &entry->item, &whole->plan, failure);
        if (!good) {
            struct up_failure why = *failure;
            up_fail(failure, why.status, "%.80s: %.300s", entry->item.name, why.text);
        }
    }
    return good;
}

enum up_status measure_queue(const struct arguments *arguments, struct up_failure *failure) {
    struct whole_queue *whole = up_allocate(1, sizeof *whole);
    struct bench_run *run = &whole->options.run;
    struct up_water water[WATERS_MAX];
    bool good =
        check_words(arguments, failure) && check_alone(arguments, failure) &&
        style_asked(arguments, &whole->style, failure) &&
        waters_asked(arguments, water, &whole->plan.waters, failure) &&
        open_bench(arguments, true, &whole->options, failure) &&
        read_conditions(arguments, &whole->options, failure) &&
        read_measure(arguments, &whole->options, &whole->plan, failure) &&
        queue_open(&whole->queue, whole->options.catalogue, option_value(arguments, "queue"),
                   option_given(arguments, "resume") ? whole->options.rig.id : NULL, failure) &&
        check_items(whole, failure);
    whole->list = json_array();
    whole->plan.water = water;
    run->source = &whole->source;
    run->opening = &whole->opening;
    run->left = &whole->left;
    if (good && queue_left(&whole->queue) == 0) {
        fprintf(stderr, "note: all %u items of the list are done\n", whole->queue.count);
    }
    whole->begun = good;
    good = good && measure_all(whole, failure);
    return end_queue(whole, good, failure);
}
