/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "internal.h"
#include "upthrust/text.h"

enum { NAME_MAX_BYTES = 300, PIECES_MAX = 12, SHOWN_MAX = 5, PREFIX_LEAST = 4 };

json_t *up_item_to_json(const struct up_item *item) {
    return json_pack("{s:s, s:s, s:s, s:s, s:s, s:i, s:f, s:f, s:f, s:b}", "name", item->name,
                     "kind", item->kind, "maker", item->maker, "model", item->model, "size",
                     item->size, "pieces", item->pieces, "tolerance_g", item->tolerance_g,
                     "expansion_per_k", item->expansion_per_k, "u_expansion_per_k",
                     item->u_expansion_per_k, "compressible", item->compressible);
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
                take_number(body, "u_expansion_per_k", &item->u_expansion_per_k);
    good = good && pieces >= 1 && pieces <= PIECES_MAX;
    item->pieces = good ? (int)pieces : 1;
    item->compressible = json_is_true(json_object_get(body, "compressible"));
    return good;
}

/* ---- adding ---- */

static bool clean(char text[UP_NAME_SIZE], const char *what, bool needed,
                  struct up_failure *failure) {
    char *better = up_text_clean(text, strlen(text));
    bool good = strlen(better) <= NAME_MAX_BYTES && (!needed || better[0] != '\0');
    if (good) {
        memcpy(text, better, strlen(better) + 1);
    } else {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "an item needs --%s of %d to %d bytes of UTF-8",
                what, needed ? 1 : 0, NAME_MAX_BYTES);
    }
    free(better);
    return good;
}

static bool check(struct up_item *item, struct up_failure *failure) {
    if (!clean(item->name, "name", true, failure) || !clean(item->kind, "kind", true, failure) ||
        !clean(item->maker, "maker", false, failure) ||
        !clean(item->model, "model", false, failure) ||
        !clean(item->size, "size", false, failure)) {
        return false;
    }
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
    if (!check(item, failure)) {
        return false;
    }
    if (item->id[0] == '\0') {
        up_new_id(item->id);
    }
    json_t *body = up_item_to_json(item);
    bool good = up_catalogue_add(catalogue, "item", item->id, NULL, body, NULL, NULL, failure);
    json_decref(body);
    return good;
}

/* ---- finding ---- */

enum match { MATCH_NONE, MATCH_FOLDED, MATCH_NAME, MATCH_PREFIX, MATCH_ID };

struct search {
    const char *wanted;
    enum match best;
    unsigned count; /* of the best kind */
    struct up_item item;
    char shown[300];
    size_t nearest_steps;
    char nearest[UP_NAME_SIZE];
};

/* Edit distance between the first bytes of two names: enough to point at a slip of the finger. */
static size_t steps_between(const char *a, const char *b) {
    enum { LOOKED_AT = 64 };
    size_t row[LOOKED_AT + 1];
    size_t length_a = strnlen(a, LOOKED_AT), length_b = strnlen(b, LOOKED_AT);
    for (size_t j = 0; j <= length_b; j++) {
        row[j] = j;
    }
    for (size_t i = 1; i <= length_a; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t j = 1; j <= length_b; j++) {
            bool same = tolower((unsigned char)a[i - 1]) == tolower((unsigned char)b[j - 1]);
            size_t change = diagonal + !same;
            diagonal = row[j];
            row[j] = row[j] < row[j - 1] ? row[j] + 1 : row[j - 1] + 1;
            row[j] = change < row[j] ? change : row[j];
        }
    }
    return row[length_b];
}

static enum match match_of(const char *wanted, const char *id, const char *name) {
    if (strcasecmp(wanted, id) == 0) {
        return MATCH_ID;
    }
    if (strcmp(wanted, name) == 0) {
        return MATCH_NAME;
    }
    if (strlen(wanted) >= PREFIX_LEAST && strncasecmp(wanted, id, strlen(wanted)) == 0) {
        return MATCH_PREFIX;
    }
    return strcasecmp(wanted, name) == 0 ? MATCH_FOLDED : MATCH_NONE;
}

static void note_candidate(struct search *search, const struct up_item *item) {
    size_t used = strlen(search->shown);
    if (search->count <= SHOWN_MAX) {
        snprintf(search->shown + used, sizeof search->shown - used, "%s%s", used > 0 ? ", " : "",
                 item->id);
    }
}

static bool look_at(const struct up_record *record, void *context) {
    struct search *search = context;
    struct up_item item;
    if (!up_item_from_json(record->body, &item)) {
        return true;
    }
    memcpy(item.id, record->subject, sizeof item.id);
    enum match match = match_of(search->wanted, item.id, item.name);
    size_t steps = steps_between(search->wanted, item.name);
    if (steps < search->nearest_steps) {
        search->nearest_steps = steps;
        memcpy(search->nearest, item.name, sizeof item.name);
    }
    if (match == MATCH_NONE || match < search->best) {
        return true;
    }
    if (match > search->best) {
        search->best = match;
        search->count = 0;
        search->shown[0] = '\0';
    }
    search->count++;
    search->item = item;
    note_candidate(search, &item);
    return true;
}

bool up_item_find(struct up_catalogue *catalogue, const char *name_or_id, struct up_item *item,
                  struct up_failure *failure) {
    struct search search = {.wanted = name_or_id, .nearest_steps = SIZE_MAX};
    if (!up_catalogue_each(catalogue, "item", look_at, &search, failure)) {
        return false;
    }
    if (search.count == 1) {
        *item = search.item;
        return true;
    }
    if (search.count > 1) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%u items are called \"%.80s\": give the id, one of %s%s", search.count,
                       name_or_id, search.shown, search.count > SHOWN_MAX ? ", ..." : "");
    }
    if (search.nearest_steps <= 2 + strlen(name_or_id) / 3) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "no item \"%.80s\"; did you mean \"%.80s\"? `upthrust item list` shows all",
                       name_or_id, search.nearest);
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "no item \"%.80s\": `upthrust item list` shows all, `upthrust item add` "
                   "registers one",
                   name_or_id);
}
