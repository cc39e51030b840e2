/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "internal.h"

enum { PIECES_MAX = 12 };

static const struct catalogue_noun noun = {"item", "item", "items", "an item", "item"};

/* Ids in one text, a blank between them: a column of a table, too. */
static void set_parts(json_t *json, const struct up_item *item) {
    char text[UP_PARTS_MAX * UP_ID_SIZE + 1] = "";
    size_t length = 0;
    for (int i = 0; i < item->parts && i < UP_PARTS_MAX; i++) {
        length += (size_t)snprintf(text + length, sizeof text - length, "%s%.36s", i > 0 ? " " : "",
                                   item->part_id[i]);
    }
    if (item->parts > 0) {
        json_object_set_new(json, "part_ids", clean_string(text));
    }
}

/* Records from before there were parts have none. */
static bool take_parts(const json_t *body, struct up_item *item) {
    const char *text = json_string_value(json_object_get(body, "part_ids"));
    while (text != NULL && *text != '\0') {
        size_t length = strcspn(text, " ");
        if (item->parts == UP_PARTS_MAX || length != UP_ID_SIZE - 1) {
            return false;
        }
        memcpy(item->part_id[item->parts++], text, length);
        text += length + (text[length] == ' ');
    }
    return true;
}

json_t *up_item_to_json(const struct up_item *item) {
    json_t *json = json_pack(
        "{s:o, s:o, s:o, s:o, s:o, s:i, s:o, s:o, s:o, s:b}", "name", clean_string(item->name),
        "kind", clean_string(item->kind), "maker", clean_string(item->maker), "model",
        clean_string(item->model), "size", clean_string(item->size), "pieces", item->pieces,
        "tolerance_g", number_or_null(item->tolerance_g), "expansion_per_k",
        number_or_null(item->expansion_per_k), "u_expansion_per_k",
        number_or_null(item->u_expansion_per_k), "compressible", item->compressible);
    set_parts(json, item);
    return json;
}

bool up_item_from_json(const json_t *body, struct up_item *item) {
    double pieces = 0;
    memset(item, 0, sizeof *item);
    bool good = take_text(body, "name", item->name, sizeof item->name) &&
                take_text(body, "kind", item->kind, sizeof item->kind) &&
                take_text(body, "maker", item->maker, sizeof item->maker) &&
                take_text(body, "model", item->model, sizeof item->model) &&
                take_text(body, "size", item->size, sizeof item->size) &&
                take_number(body, "pieces", &pieces) &&
                take_number(body, "tolerance_g", &item->tolerance_g) &&
                take_number(body, "expansion_per_k", &item->expansion_per_k) &&
                take_number(body, "u_expansion_per_k", &item->u_expansion_per_k) &&
                take_parts(body, item);
    good = good && pieces >= 1 && pieces <= PIECES_MAX && pieces == floor(pieces) &&
           item->tolerance_g > 0;
    item->pieces = good ? (int)pieces : 1;
    item->compressible = json_is_true(json_object_get(body, "compressible"));
    return good;
}

/* ---- adding and finding ---- */

static bool check_texts(struct up_item *item, struct up_failure *failure) {
    return catalogue_clean_name(item->name, &noun, "name", true, failure) &&
           catalogue_clean_name(item->kind, &noun, "kind", true, failure) &&
           catalogue_clean_name(item->maker, &noun, "maker", false, failure) &&
           catalogue_clean_name(item->model, &noun, "model", false, failure) &&
           catalogue_clean_name(item->size, &noun, "size", false, failure);
}

static bool check_numbers(const struct up_item *item, struct up_failure *failure) {
    if (item->pieces < 1 || item->pieces > PIECES_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "an item has 1 to %d pieces, not %d",
                       PIECES_MAX, item->pieces);
    }
    return (isfinite(item->tolerance_g) && item->tolerance_g > 0 &&
            isfinite(item->expansion_per_k) && isfinite(item->u_expansion_per_k) &&
            item->u_expansion_per_k >= 0) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "an item's tolerance must be above 0 g and its expansion a number");
}

bool up_item_add(struct up_catalogue *catalogue, struct up_item *item, struct up_failure *failure) {
    return check_texts(item, failure) && check_numbers(item, failure) &&
           catalogue_settle_id(item->id, &noun, failure) &&
           catalogue_put_thing(catalogue, &noun, item->id, up_item_to_json(item), failure);
}

bool up_item_find(struct up_catalogue *catalogue, const char *name_or_id, struct up_item *item,
                  struct up_failure *failure) {
    struct catalogue_found found;
    if (!catalogue_find(catalogue, &noun, name_or_id, &found, failure)) {
        return false;
    }
    bool good = up_item_from_json(found.body, item) || catalogue_fail_found(&found, failure);
    memcpy(item->id, found.id, sizeof item->id);
    json_decref(found.body);
    return good;
}
