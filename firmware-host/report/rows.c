/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/report.h"
#include "upthrust/text.h"

struct gather {
    struct up_rows *rows;
    size_t room;
};

static void copy_text(char *to, size_t size, const json_t *from) {
    const char *text = json_is_string(from) ? json_string_value(from) : "";
    size_t length = strlen(text);
    length = length < size ? length : size - 1;
    memcpy(to, text, length);
    to[length] = '\0';
}

/* Missing is NaN, never zero. */
static double number_of(const json_t *body, const char *key) {
    const json_t *member = json_object_get(body, key);
    return json_is_number(member) ? json_number_value(member) : (double)NAN;
}

static struct up_row *row_for(struct gather *gather, const char *item_id, const char *water) {
    struct up_rows *rows = gather->rows;
    for (size_t i = 0; i < rows->count; i++) {
        if (strcmp(rows->row[i].item_id, item_id) == 0 && strcmp(rows->row[i].water, water) == 0) {
            return &rows->row[i];
        }
    }
    if (rows->count == gather->room) {
        gather->room = gather->room == 0 ? 64 : 2 * gather->room;
        rows->row = up_reallocate(rows->row, gather->room, sizeof *rows->row);
    }
    return &rows->row[rows->count++];
}

/* Records come oldest first: a later result of the same item and water takes the place. */
static bool take_result(const struct up_record *record, void *context) {
    char item_id[UP_ID_SIZE], water[48];
    const json_t *body = record->body;
    copy_text(item_id, sizeof item_id, json_object_get(body, "item_id"));
    copy_text(water, sizeof water, json_object_get(body, "water"));
    struct up_row *row = row_for(context, item_id, water);
    memset(row, 0, sizeof *row);
    memcpy(row->item_id, item_id, sizeof item_id);
    memcpy(row->water, water, sizeof water);
    copy_text(row->class, sizeof row->class, json_object_get(body, "class"));
    row->measured = strcmp(json_string_value(json_object_get(body, "basis")) != NULL
                               ? json_string_value(json_object_get(body, "basis"))
                               : "",
                           "measured") == 0;
    row->buoyancy_g = number_of(body, "buoyancy_g");
    row->expanded_u_g = number_of(body, "expanded_u_g");
    row->tolerance_g = number_of(body, "tolerance_g");
    row->water_temp_c = number_of(body, "water_temp_c");
    memcpy(row->made_utc, record->made_utc, sizeof row->made_utc);
    return true;
}

static bool take_name(const struct up_record *record, void *context) {
    struct gather *gather = context;
    for (size_t i = 0; i < gather->rows->count; i++) {
        struct up_row *row = &gather->rows->row[i];
        if (strcmp(row->item_id, record->subject) == 0) {
            copy_text(row->name, sizeof row->name, json_object_get(record->body, "name"));
        }
    }
    return true;
}

/* ---- order ---- */

/* One key an item: its net buoyancy in fresh water, else in the tank, else anywhere; last where it
   is not known, as NaN has no place in an order. */
static double item_key(const struct up_rows *rows, const char *item_id) {
    static const char *const preferred[] = {"fresh", "tank", NULL};
    for (size_t p = 0; p < sizeof preferred / sizeof preferred[0]; p++) {
        for (size_t i = 0; i < rows->count; i++) {
            const struct up_row *row = &rows->row[i];
            if (strcmp(row->item_id, item_id) == 0 &&
                (preferred[p] == NULL || strcmp(row->water, preferred[p]) == 0)) {
                return isnan(row->buoyancy_g) ? -(double)INFINITY : row->buoyancy_g;
            }
        }
    }
    return 0;
}

struct keyed {
    double key;
    size_t index;
    struct up_row row;
};

static int by_key(const void *a, const void *b) {
    const struct keyed *x = a, *y = b;
    int ids = strcmp(x->row.item_id, y->row.item_id);
    if (ids != 0 && x->key != y->key) {
        return x->key > y->key ? -1 : 1;
    }
    if (ids != 0) {
        return ids;
    }
    return x->index < y->index ? -1 : 1;
}

static void sort_rows(struct up_rows *rows) {
    struct keyed *keyed = up_allocate(rows->count + 1, sizeof *keyed);
    for (size_t i = 0; i < rows->count; i++) {
        keyed[i] = (struct keyed){item_key(rows, rows->row[i].item_id), i, rows->row[i]};
    }
    qsort(keyed, rows->count, sizeof *keyed, by_key);
    for (size_t i = 0; i < rows->count; i++) {
        rows->row[i] = keyed[i].row;
    }
    free(keyed);
}

bool up_rows_load(struct up_catalogue *catalogue, struct up_rows *rows,
                  struct up_failure *failure) {
    struct gather gather = {.rows = rows};
    *rows = (struct up_rows){0};
    if (!up_catalogue_each(catalogue, "result", take_result, &gather, failure) ||
        !up_catalogue_each(catalogue, "item", take_name, &gather, failure)) {
        up_rows_release(rows);
        return false;
    }
    sort_rows(rows);
    return true;
}

void up_rows_release(struct up_rows *rows) {
    free(rows->row);
    *rows = (struct up_rows){0};
}
