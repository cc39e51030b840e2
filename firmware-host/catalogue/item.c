/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <uuid/uuid.h>

#include "internal.h"
#include "upthrust/text.h"

enum { NAME_MAX_BYTES = 300, PIECES_MAX = 12, SHOWN_MAX = 5, PREFIX_LEAST = 4 };

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

/* ---- adding ---- */

static bool clean(char text[UP_NAME_SIZE], const char *what, bool needed,
                  struct up_failure *failure) {
    char *better = up_text_clean(text, strnlen(text, UP_NAME_SIZE));
    size_t length = strlen(better);
    bool good = length <= NAME_MAX_BYTES && (!needed || strspn(better, " ") < length);
    if (good) {
        memcpy(text, better, length + 1);
    } else {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "an item's --%s must be %s and at most %d bytes long", what,
                needed ? "more than blanks" : "UTF-8", NAME_MAX_BYTES);
    }
    free(better);
    return good;
}

static bool check_texts(struct up_item *item, struct up_failure *failure) {
    return clean(item->name, "name", true, failure) && clean(item->kind, "kind", true, failure) &&
           clean(item->maker, "maker", false, failure) &&
           clean(item->model, "model", false, failure) && clean(item->size, "size", false, failure);
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

/* Ids go into file names and are compared as bytes: one spelling only. */
static bool settle_id(char id[UP_ID_SIZE], struct up_failure *failure) {
    uuid_t uuid;
    if (id[0] == '\0') {
        up_new_id(id);
        return true;
    }
    if (memchr(id, '\0', UP_ID_SIZE) == NULL || uuid_parse(id, uuid) != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "\"%.36s\" is no id of an item: ids are UUIDs", id);
    }
    uuid_unparse_lower(uuid, id);
    return true;
}

bool up_item_add(struct up_catalogue *catalogue, struct up_item *item, struct up_failure *failure) {
    struct up_record record = {.kind = "item"};
    if (!check_texts(item, failure) || !check_numbers(item, failure) ||
        !settle_id(item->id, failure)) {
        return false;
    }
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    /* Named, so that a clock set back cannot leave an older version current. */
    json_t *replaces = catalogue_live_ids(catalogue, "item", item->id, failure);
    memcpy(record.subject, item->id, sizeof item->id);
    record.body = up_item_to_json(item);
    bool good = replaces != NULL && catalogue_put(catalogue, &record, replaces, failure);
    json_decref(record.body);
    json_decref(replaces);
    return catalogue_end(catalogue, good, failure);
}

/* ---- finding ---- */

/* A name and the beginning of an id weigh the same: which of two items was meant is not for us to
   guess. */
enum match { MATCH_NONE, MATCH_FOLDED, MATCH_PART, MATCH_ID };

struct search {
    const char *wanted;
    enum match best;
    unsigned count; /* of the best kind */
    bool by_beginning;
    struct up_item item;
    struct up_item shown[SHOWN_MAX];
    size_t nearest_steps;
    char nearest[UP_NAME_SIZE];
};

static bool begins_id(const char *wanted, const char *id) {
    return strlen(wanted) >= PREFIX_LEAST && strncasecmp(wanted, id, strlen(wanted)) == 0;
}

static enum match match_of(const char *wanted, const struct up_item *item) {
    return strcasecmp(wanted, item->id) == 0                                ? MATCH_ID
           : strcmp(wanted, item->name) == 0 || begins_id(wanted, item->id) ? MATCH_PART
           : strcasecmp(wanted, item->name) == 0                            ? MATCH_FOLDED
                                                                            : MATCH_NONE;
}

static void note_match(struct search *search, enum match match, const struct up_item *item) {
    if (match > search->best) {
        search->best = match;
        search->count = 0;
        search->by_beginning = false;
    }
    if (search->count < SHOWN_MAX) {
        search->shown[search->count] = *item;
    }
    search->count++;
    search->item = *item;
    search->by_beginning = search->by_beginning || begins_id(search->wanted, item->id);
}

static bool look_at(const struct up_record *record, void *context) {
    struct search *search = context;
    struct up_item item;
    if (!up_item_from_json(record->body, &item)) {
        return true;
    }
    memcpy(item.id, record->subject, sizeof item.id);
    size_t steps = up_text_distance(search->wanted, item.name);
    if (steps < search->nearest_steps) {
        search->nearest_steps = steps;
        memcpy(search->nearest, item.name, sizeof item.name);
    }
    enum match match = match_of(search->wanted, &item);
    if (match != MATCH_NONE && match >= search->best) {
        note_match(search, match, &item);
    }
    return true;
}

/* Bytes of the longest beginning of at most `most` bytes that cuts no character of UTF-8. */
static int shortened(const char *text, size_t most) {
    size_t length = strlen(text);
    if (length > most) {
        for (length = most; length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80; length--) {
        }
    }
    return (int)length;
}

static bool fail_ambiguous(const struct search *search, struct up_failure *failure) {
    char *list = up_text_format("%s", "");
    for (unsigned i = 0; i < search->count && i < SHOWN_MAX; i++) {
        const struct up_item *item = &search->shown[i];
        char *longer = up_text_format("%s%s%s (%.*s)", list, i > 0 ? ", " : "", item->id,
                                      shortened(item->name, 20), item->name);
        free(list);
        list = longer;
    }
    up_fail(failure, UP_STATUS_WRONG_INPUT, "%u items %s \"%.*s\": give the id, one of %s%s",
            search->count, search->by_beginning ? "fit" : "are called",
            shortened(search->wanted, 60), search->wanted, list,
            search->count > SHOWN_MAX ? ", ..." : "");
    free(list);
    return false;
}

static bool fail_unknown(const struct search *search, struct up_failure *failure) {
    const char *wanted = search->wanted;
    if (search->nearest[0] == '\0') {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "no item \"%.*s\": there are none yet, `upthrust item add` registers one",
                       shortened(wanted, 80), wanted);
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "no item \"%.*s\"; did you mean \"%.*s\"? `upthrust item list` shows all",
                   shortened(wanted, 80), wanted, shortened(search->nearest, 80), search->nearest);
}

bool up_item_find(struct up_catalogue *catalogue, const char *name_or_id, struct up_item *item,
                  struct up_failure *failure) {
    /* Names are stored clean. */
    char *wanted = up_text_clean(name_or_id, strlen(name_or_id));
    struct search search = {.wanted = wanted, .nearest_steps = SIZE_MAX};
    bool good = up_catalogue_each(catalogue, "item", look_at, &search, failure);
    if (good && search.count == 1) {
        *item = search.item;
    } else if (good) {
        good = search.count > 1 ? fail_ambiguous(&search, failure) : fail_unknown(&search, failure);
    }
    free(wanted);
    return good;
}
