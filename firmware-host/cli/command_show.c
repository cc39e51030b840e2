/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding one's way in the catalogue: one item in full, all of them in columns. */
#include <stdlib.h>
#include <string.h>

#include "cli.h"
#include "report/items.h"
#include "text/json.h"
#include "text/text.h"

const struct option_text options_show[] = {OPTION_UNITS, OPTION_CATALOGUE, OPTION_JSON, OPTION_END};

/* ---- one ---- */

static bool note_left_out(struct call *call, const struct up_item *item) {
    unsigned long results = 0;
    char *why = NULL;
    bool good = up_left_out_of_item(call->catalogue, item->id, &results, &why, call->failure);
    if (good && results > 0) {
        UP_FREED char *text = up_text_format("%lu result%s left out: %s", results,
                                             results == 1 ? " is" : "s are", why);
        print_note(NULL, text);
    }
    free(why);
    return good;
}

static bool show(struct call *call, const struct up_style *style) {
    struct up_item item;
    if (!up_item_find(call->catalogue, call->word[0], &item, call->failure) ||
        !note_left_out(call, &item) ||
        !up_catalogue_focus(call->catalogue, (const char *[]){item.id}, 1, call->failure)) {
        return false;
    }
    if (!option_given(call, "json")) {
        return up_sheet_print(call->catalogue, &item, style, stdout, call->failure);
    }
    json_t *document = up_sheet_to_json(call->catalogue, &item, call->failure);
    if (document != NULL) {
        print_json(document);
    }
    return document != NULL;
}

bool command_show(struct call *call) {
    struct up_style style;
    if (call->words != 1) {
        return refuse(
            call,
            "show: give one name or id, in quotes if it contains spaces; `upthrust item list` "
            "shows all");
    }
    if (!style_asked(call, &style) || !open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    return show(call, &style);
}

/* ---- all ---- */

static json_t *result_to_json(const struct up_row *row) {
    static const char *const words[] = {"inside", "unchecked", "outside"};
    char claim[UP_CLAIM_SCOPE_SIZE];
    up_claim_scope(row->pieces, row->simulated, row->quick, claim);
    json_t *json = json_pack(
        "{s:s, s:s, s:s, s:b, s:s, s:b, s:o, s:o, s:o, s:o, s:i, s:b, s:s, s:s}", "water",
        row->water, "basis", row->measured ? "measured" : "calculated", "class", row->class,
        "rejudged", row->rejudged, "body_check", words[row->checked], "elsewhere", row->elsewhere,
        "buoyancy_g", up_json_number(row->buoyancy_g), "expanded_u_g",
        up_json_number(row->expanded_u_g), "stuck_air_g", up_json_number(row->stuck_air_g),
        "tolerance_g", up_json_number(row->tolerance_g), "pieces", row->pieces, "simulated",
        row->simulated, "claim", claim, "made_utc", row->made_utc);
    json_object_update_new(json,
                           json_pack("{s:b, s:o, s:s, s:b}", "is_quick", row->quick, "at_most_g",
                                     up_json_number(row->at_most ? row->at_most_g : (double)NAN),
                                     "put_aside", row->aside, "quick_beside", row->quick_beside));
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
    json_object_set_new(json, "elsewhere", json_boolean(item->elsewhere));
    json_object_set_new(json, "results", results);
    return json;
}

static bool list_json(struct up_catalogue *catalogue, const struct up_choice *choice,
                      const char *last_id, struct up_failure *failure) {
    struct up_rows rows;
    struct up_items items = {0};
    bool good = up_rows_load(catalogue, &rows, failure) &&
                up_items_load(catalogue, &rows, choice, &items, failure);
    if (good) {
        json_t *list = json_array();
        for (size_t i = 0; i < items.count; i++) {
            json_array_append_new(list, item_to_json(&rows, &items.item[i]));
        }
        json_t *document = json_pack("{s:s, s:o}", "schema", "upthrust-items-1", "items", list);
        if (last_id[0] != '\0') { /* others follow it */
            json_object_set_new(document, "last_id", json_string(last_id));
        }
        print_json(document);
    }
    up_items_release(&items);
    up_rows_release(&rows);
    return good;
}

/* One of the words, where the option is given. */
bool option_word(struct call *call, const char *name, const char *const *words,
                 const char **value) {
    char list[120] = "";
    *value = option_value(call, name);
    for (int i = 0; *value != NULL && words[i] != NULL; i++) {
        if (strcmp(words[i], *value) == 0) {
            return true;
        }
        size_t used = strlen(list);
        snprintf(list + used, sizeof list - used, "%s%s", i == 0 ? "" : ", ", words[i]);
    }
    return *value == NULL || refuse(call, "--%s %.40s: choose one of %s", name, *value, list);
}

bool choice_asked(struct call *call, int words_before, const char **waters,
                  struct up_choice *choice) {
    static const char *const classes[] = {"positive", "neutral", "negative", "undecided", NULL};
    *choice = (struct up_choice){.kind = option_value(call, "kind"),
                                 .maker = option_value(call, "maker"),
                                 .model = option_value(call, "model"),
                                 .size = option_value(call, "size"),
                                 .bench = option_value(call, "bench"),
                                 .text = call->word + words_before,
                                 .texts = (size_t)(call->words - words_before),
                                 .waters = waters,
                                 .retired = option_given(call, "retired")};
    for (int i = 0; i < call->options; i++) {
        if (strcmp(call->option[i].name, "water") == 0) {
            waters[choice->water_count++] = call->option[i].value;
        }
    }
    return option_word(call, "class", classes, &choice->class) &&
           option_word(call, "sort", up_item_orders, &choice->sort);
}

enum { LIMIT_MOST = 1000 };

/* --limit and --after: the catalogue is read for that page alone. */
static bool choose_page(struct call *call, struct up_choice *choice, char last_id[UP_ID_SIZE]) {
    const char *after = option_value(call, "after"), *sort = choice->sort;
    struct up_item item;
    int limit = 0;
    bool more = false;
    if (!option_whole(call, "limit", 1, LIMIT_MOST, &limit)) {
        return false;
    }
    if (limit == 0) {
        return after == NULL || refuse(call, "item list: --after needs --limit N");
    }
    if (sort != NULL && (strcmp(sort, "up") == 0 || strcmp(sort, "newest") == 0)) {
        return refuse(call,
                      "item list: --limit goes by name, kind, maker, model or size: leave out "
                      "--sort %s, or --limit",
                      sort);
    }
    if ((after != NULL && !up_item_find(call->catalogue, after, &item, call->failure)) ||
        !up_items_page(call->catalogue, (size_t)limit, after != NULL ? item.id : NULL, choice,
                       &more, last_id, call->failure)) {
        return false;
    }
    if (!more) {
        last_id[0] = '\0';
    }
    return true;
}

bool list_items(struct call *call) {
    const char *waters[OPTIONS_GIVEN_MAX];
    struct up_style style;
    struct up_choice choice = {.only = NULL};
    char last_id[UP_ID_SIZE] = "";
    bool good = style_asked(call, &style) && choice_asked(call, 1, waters, &choice) &&
                choose_page(call, &choice, last_id) &&
                (option_given(call, "json")
                     ? list_json(call->catalogue, &choice, last_id, call->failure)
                     : up_items_print(call->catalogue, &choice, &style, stdout, call->failure));
    if (good && last_id[0] != '\0' && !option_given(call, "json")) {
        printf("more follow: the same command with --after %s\n", last_id);
    }
    json_decref(choice.only);
    return good;
}
