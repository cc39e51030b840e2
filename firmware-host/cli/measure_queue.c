/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure --queue: the items of a list, one after the other. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "session/stock_list.h"
#include "session_options.h"
#include "text/json.h"
#include "text/text.h"

struct whole_queue {
    struct session_options options;
    struct up_measure_plan plan;
    struct up_queue queue;
    struct up_style style;
    json_t *list; /* all results, for one document */
    const struct call *call;
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
    draw_label(whole->call, whole->options.catalogue, &results->item, &whole->style);
    up_panel_show_class(settings->panel, results->result[0].answer.class, &signalled);
    whole->undecided = whole->undecided || up_session_status(results) == UP_STATUS_UNDECIDED;
}

/* ---- barcodes ---- */

/* Empty where the line is none, or longer than any name. */
static void copy_scan(const char *line, bool json, char text[UP_NAME_SIZE]) {
    json_auto_t *object = json ? json_loads(line, 0, NULL) : NULL;
    const char *item = json ? up_record_text(object, "item") : line;
    size_t length = strlen(item);
    memcpy(text, length < UP_NAME_SIZE ? item : "", length < UP_NAME_SIZE ? length + 1 : 1);
}

/* As a barcode reader or a person types it; a program's line is {"item": TEXT}. An empty line and
   the end of the input end it; `text` is empty where a line must be refused. */
static bool read_scan(const struct whole_queue *whole, char text[UP_NAME_SIZE]) {
    bool json = whole->options.settings.operator_kind == UP_OPERATOR_JSON;
    static const char what[] = "next item: scan or type its stock number, name or id; Enter alone "
                               "ends it";
    char line[8 * UP_NAME_SIZE];
    if (json) {
        puts("{\"event\":\"scan\",\"text\":\"next item: {\\\"item\\\":\\\"...\\\"}; an empty "
             "line ends it\"}");
        fflush(stdout);
    } else {
        fprintf(stderr, "\n>> %s\n", what);
    }
    bool more =
        up_operator_read_line(STDIN_FILENO, &signalled, line, sizeof line) && line[0] != '\0';
    copy_scan(more ? line : "", json, text);
    return more;
}

static void refuse_scan(const struct whole_queue *whole, const char *why) {
    if (whole->options.settings.operator_kind == UP_OPERATOR_JSON) {
        json_auto_t *json = json_pack("{s:s, s:o}", "event", "refused", "text", up_json_text(why));
        up_json_write(json, stdout, JSON_COMPACT);
        putchar('\n');
        return;
    }
    UP_FREED char *shown = up_text_for_terminal(why);
    fprintf(stderr, "?? %s\n", shown);
}

/* Whether the plan goes with an item, and what that is filled with. */
static bool prepare(const struct whole_queue *whole, struct up_queue_entry *entry,
                    struct up_failure *why) {
    bool by_keys = whole->options.settings.operator_kind == UP_OPERATOR_KEYS;
    bool filled = up_kind_facts(entry->item.kind)->filled != UP_FILLED_NEVER;
    struct call of_item = *whole->call;
    of_item.failure = why;
    return check_item(&entry->item, &whole->plan, why) &&
           (!filled || take_filling(&of_item, by_keys, &entry->item, &entry->filling));
}

static bool scan_next(void *context, struct up_queue_entry *entry) {
    const struct whole_queue *whole = context;
    char text[UP_NAME_SIZE];
    while (read_scan(whole, text)) {
        struct up_failure why;
        if (text[0] == '\0') {
            refuse_scan(whole, "this is not a stock number, name or id");
        } else if (up_stock_find(whole->options.catalogue, text, &entry->item, &why) &&
                   prepare(whole, entry, &why)) {
            return true;
        } else {
            refuse_scan(whole, why.text);
        }
    }
    return false;
}

/* ---- the end ---- */

static void tell_files(const struct whole_queue *whole, const char *csv, const char *aside) {
    up_text_print(stderr, "note: the table is %s\n", csv);
    if (aside != NULL) {
        UP_FREED char *list = quoted(aside);
        UP_FREED char *rig = quoted(option_value(whole->call, "rig"));
        UP_FREED char *what = up_text_format("measure --rig %s --queue %s", rig, list);
        UP_FREED char *command = command_on(whole->options.catalogue, what);
        up_text_print(stderr, "note: to weigh in full what was put aside: `%s`\n", command);
    }
}

static void show_afternoon(struct whole_queue *whole) {
    struct up_failure failure;
    char *csv = NULL, *aside = NULL;
    if (!whole->begun || !whole->plan.quick.on) {
        return;
    }
    struct afternoon *afternoon =
        afternoon_load(whole->options.catalogue, whole->queue.id, &failure);
    if (afternoon != NULL && afternoon_is_empty(afternoon)) {
        afternoon_free(afternoon);
        return;
    }
    if (afternoon != NULL && !whole->options.json_document &&
        whole->options.settings.operator_kind != UP_OPERATOR_JSON) {
        afternoon_print(afternoon, &whole->style, stdout);
        fflush(stdout);
    }
    if (afternoon != NULL && afternoon_write(afternoon, &csv, &aside, &failure)) {
        tell_files(whole, csv, aside);
    } else {
        up_text_print(stderr, "note: stored, but not written as a table: %s\n", failure.text);
    }
    afternoon_free(afternoon);
    free(csv);
    free(aside);
}

static void note_remaining(const struct call *call, const struct whole_queue *whole) {
    unsigned remaining = up_queue_remaining(&whole->queue);
    if (whole->begun && remaining > 0 && whole->queue.scans != NULL) {
        UP_FREED char *rig = quoted(option_value(call, "rig"));
        UP_FREED char *what = up_text_format("measure --rig %s --resume", rig);
        UP_FREED char *command = command_on(whole->options.catalogue, what);
        up_text_print(stderr,
                      "note: the last item was not finished: scan it again, or where some of "
                      "it is stored continue with `%s`\n",
                      command);
    } else if (whole->begun && remaining > 0) {
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
    show_afternoon(whole);
    json_decref(whole->list);
    close_session(&whole->options, NULL);
    free(whole);
    die_of_signal();
}

/* What does not go with an item of the list is refused before the first one is hung. */
static bool check_items(struct call *call, struct whole_queue *whole) {
    for (unsigned i = 0; i < whole->queue.count; i++) {
        struct up_queue_entry *entry = &whole->queue.entry[i];
        struct up_failure why;
        if (!entry->done && !prepare(whole, entry, &why)) {
            return up_fail(call->failure, why.status, "%.80s: %.300s", entry->item.name, why.text);
        }
    }
    return true;
}

static bool check_source(struct call *call) {
    bool scans = option_given(call, "scan");
    if (option_given(call, "item")) {
        return refuse(call, "--item and --%s: give only one of them", scans ? "scan" : "queue");
    }
    if (scans && option_given(call, "queue")) {
        return refuse(call, "--scan and --queue: give only one; a list names its items itself");
    }
    return true;
}

static bool open_queue(struct call *call, struct whole_queue *whole) {
    struct up_catalogue *catalogue = whole->options.catalogue;
    const char *resume = option_given(call, "resume") ? whole->options.rig.id : NULL;
    return option_given(call, "scan")
               ? up_queue_begin_scanning(&whole->queue, catalogue, resume, call->failure)
               : up_queue_open(&whole->queue, catalogue, option_value(call, "queue"), resume,
                               call->failure);
}

static bool register_items(struct call *call, struct whole_queue *whole) {
    unsigned added = 0;
    bool good = up_stock_register(&whole->queue, whole->options.catalogue, &added, call->failure);
    if (good && added > 0) {
        fprintf(stderr, "note: %u item%s of the list added to the catalogue\n", added,
                up_text_plural(added));
    }
    return good;
}

bool measure_queue(struct call *call) {
    struct whole_queue *whole = up_allocate(1, sizeof *whole);
    struct up_water water[UP_WATERS_MAX];
    const struct up_queue_caller caller = {whole, show_place, show_one, scan_next};
    whole->call = call;
    bool good = check_words(call) && check_source(call) && style_asked(call, &whole->style) &&
                waters_asked(call, water, &whole->plan.waters) &&
                open_session(call, true, &whole->options) &&
                read_conditions(call, &whole->options) &&
                read_measure(call, &whole->options, &whole->plan) && open_queue(call, whole) &&
                check_items(call, whole) && register_items(call, whole);
    whole->list = json_array();
    whole->plan.water = water;
    if (good && whole->queue.scans == NULL && up_queue_remaining(&whole->queue) == 0) {
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
