/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding one's way in the catalogue: one item in full, all of them in columns. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli.h"
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
        "{s:s, s:s, s:s, s:b, s:s, s:b, s:o, s:o, s:o, s:i, s:b, s:s, s:s}", "water", row->water,
        "basis", row->measured ? "measured" : "calculated", "class", row->class, "rejudged",
        row->rejudged, "body_check", words[row->checked], "elsewhere", row->elsewhere, "buoyancy_g",
        up_json_number(row->buoyancy_g), "expanded_u_g", up_json_number(row->expanded_u_g),
        "tolerance_g", up_json_number(row->tolerance_g), "pieces", row->pieces, "simulated",
        row->simulated, "claim", claim, "made_utc", row->made_utc);
    if (row->filling[0] != '\0') {
        json_object_set_new(json, "filling", up_json_text(row->filling));
    }
    return json;
}

struct listing {
    const struct up_rows *rows;
    json_t *items;
};

static bool take_item(const struct up_record *record, void *context) {
    struct listing *listing = context;
    struct up_item item;
    if (!up_item_from_json(record->content, &item)) {
        return true;
    }
    json_t *json = up_item_to_json(&item), *results = json_array();
    for (size_t i = 0; i < listing->rows->count; i++) {
        if (strcmp(listing->rows->row[i].item_id, record->subject) == 0) {
            json_array_append_new(results, result_to_json(&listing->rows->row[i]));
        }
    }
    json_object_set_new(json, "item_id", json_string(record->subject));
    json_object_set_new(json, "results", results);
    json_array_append_new(listing->items, json);
    return true;
}

static bool list_json(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct up_rows rows;
    if (!up_rows_load(catalogue, &rows, failure)) {
        return false;
    }
    struct listing listing = {&rows, json_array()};
    bool good = up_catalogue_each(catalogue, "item", take_item, &listing, failure);
    if (good) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-items-1", "items", listing.items));
    }
    json_decref(listing.items);
    up_rows_release(&rows);
    return good;
}

enum up_status list_items(const struct arguments *arguments, struct up_catalogue *catalogue,
                          struct up_failure *failure) {
    const char *waters[OPTIONS_GIVEN_MAX];
    struct up_style style;
    size_t count = 0;
    for (int i = 0; i < arguments->options; i++) {
        if (strcmp(arguments->option[i].name, "water") == 0) {
            waters[count++] = arguments->option[i].value;
        }
    }
    bool good = style_asked(arguments, &style, failure) &&
                (option_given(arguments, "json")
                     ? list_json(catalogue, failure)
                     : up_items_print(catalogue, waters, count, &style, stdout, failure));
    return good ? UP_STATUS_DONE : failure->status;
}
