/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding one's way in the catalogue: one item in full, all of them in columns. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli.h"
#include "report/items.h"
#include "text/json.h"

const struct option_text options_show[] = {OPTION_UNITS, OPTION_CATALOGUE, OPTION_JSON, OPTION_END};

/* ---- one ---- */

static bool show(const struct arguments *arguments, struct up_catalogue *catalogue,
                 const struct up_style *style, struct up_failure *failure) {
    struct up_item item;
    if (!up_item_find(catalogue, arguments->word[0], &item, failure)) {
        return false;
    }
    if (!option_given(arguments, "json")) {
        return up_sheet_print(catalogue, &item, style, stdout, failure);
    }
    json_t *document = up_sheet_to_json(catalogue, &item, failure);
    if (document != NULL) {
        print_json(document);
    }
    return document != NULL;
}

enum up_status command_show(const struct arguments *arguments, struct up_failure *failure) {
    struct up_catalogue *catalogue = NULL;
    struct up_style style;
    if (arguments->words != 1) {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "show: give one name or id, in quotes if it contains spaces; `upthrust item list` "
                "shows all");
        return failure->status;
    }
    if (!style_asked(arguments, &style, failure) ||
        !open_catalogue(arguments, UP_CATALOGUE_READ, &catalogue, failure)) {
        return failure->status;
    }
    bool good = show(arguments, catalogue, &style, failure);
    up_catalogue_close(catalogue);
    return good ? UP_STATUS_DONE : failure->status;
}

/* ---- all ---- */

static json_t *result_to_json(const struct up_row *row) {
    static const char *const words[] = {"inside", "unchecked", "outside"};
    char claim[UP_CLAIM_SCOPE_SIZE];
    up_claim_scope(row->pieces, row->simulated, claim);
    json_t *json = json_pack(
        "{s:s, s:s, s:s, s:b, s:s, s:b, s:o, s:o, s:o, s:o, s:i, s:b, s:s, s:s}", "water",
        row->water, "basis", row->measured ? "measured" : "calculated", "class", row->class,
        "rejudged", row->rejudged, "body_check", words[row->checked], "elsewhere", row->elsewhere,
        "buoyancy_g", up_json_number(row->buoyancy_g), "expanded_u_g",
        up_json_number(row->expanded_u_g), "stuck_air_g", up_json_number(row->stuck_air_g),
        "tolerance_g", up_json_number(row->tolerance_g), "pieces", row->pieces, "simulated",
        row->simulated, "claim", claim, "made_utc", row->made_utc);
    if (row->filling[0] != '\0') {
        json_object_set_new(json, "filling", up_json_text(row->filling));
    }
    return json;
}

static json_t *item_to_json(const struct up_rows *rows, const struct up_item *item) {
    json_t *json = up_item_to_json(item), *results = json_array();
    for (size_t i = 0; i < rows->count; i++) {
        if (strcmp(rows->row[i].item_id, item->id) == 0) {
            json_array_append_new(results, result_to_json(&rows->row[i]));
        }
    }
    json_object_set_new(json, "item_id", json_string(item->id));
    json_object_set_new(json, "results", results);
    return json;
}

static bool list_json(struct up_catalogue *catalogue, const struct up_choice *choice,
                      struct up_failure *failure) {
    struct up_rows rows;
    struct up_items items = {0};
    bool good = up_rows_load(catalogue, &rows, failure) &&
                up_items_load(catalogue, &rows, choice, &items, failure);
    if (good) {
        json_t *list = json_array();
        for (size_t i = 0; i < items.count; i++) {
            json_array_append_new(list, item_to_json(&rows, &items.item[i]));
        }
        print_json(json_pack("{s:s, s:o}", "schema", "upthrust-items-1", "items", list));
    }
    up_items_release(&items);
    up_rows_release(&rows);
    return good;
}

/* One of the words, where the option is given. */
static bool option_word(const struct arguments *arguments, const char *name,
                        const char *const *words, const char **value, struct up_failure *failure) {
    char list[120] = "";
    *value = option_value(arguments, name);
    for (int i = 0; *value != NULL && words[i] != NULL; i++) {
        if (strcmp(words[i], *value) == 0) {
            return true;
        }
        size_t used = strlen(list);
        snprintf(list + used, sizeof list - used, "%s%s", i == 0 ? "" : ", ", words[i]);
    }
    return *value == NULL || up_fail(failure, UP_STATUS_WRONG_INPUT, "--%s %.40s: choose one of %s",
                                     name, *value, list);
}

static bool choice_asked(const struct arguments *arguments, const char **waters,
                         struct up_choice *choice, struct up_failure *failure) {
    static const char *const classes[] = {"positive", "neutral", "negative", "undecided", NULL};
    *choice = (struct up_choice){.kind = option_value(arguments, "kind"),
                                 .maker = option_value(arguments, "maker"),
                                 .model = option_value(arguments, "model"),
                                 .size = option_value(arguments, "size"),
                                 .bench = option_value(arguments, "bench"),
                                 .text = arguments->word + 1,
                                 .texts = (size_t)arguments->words - 1,
                                 .waters = waters,
                                 .retired = option_given(arguments, "retired")};
    for (int i = 0; i < arguments->options; i++) {
        if (strcmp(arguments->option[i].name, "water") == 0) {
            waters[choice->water_count++] = arguments->option[i].value;
        }
    }
    return option_word(arguments, "class", classes, &choice->class, failure) &&
           option_word(arguments, "sort", up_item_orders, &choice->sort, failure);
}

enum up_status list_items(const struct arguments *arguments, struct up_catalogue *catalogue,
                          struct up_failure *failure) {
    const char *waters[OPTIONS_GIVEN_MAX];
    struct up_style style;
    struct up_choice choice;
    bool good = style_asked(arguments, &style, failure) &&
                choice_asked(arguments, waters, &choice, failure) &&
                (option_given(arguments, "json")
                     ? list_json(catalogue, &choice, failure)
                     : up_items_print(catalogue, &choice, &style, stdout, failure));
    return good ? UP_STATUS_DONE : failure->status;
}
