/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "catalogue/kind.h"
#include "catalogue/verification.h"
#include "report/items.h"
#include "text/text.h"

/* Rows are found by item and water, and by item alone the first one; jansson's objects are the hash
   table. */
struct gather {
    struct up_rows *rows;
    size_t room;
    json_t *index;       /* "ID WATER" and "ID" to the row's number */
    json_t *items;       /* item's id to its name, its kind, whether it holds gas or is retired */
    json_t *distinction; /* item's id to what distinguishes it from others of its name */
    json_t *pieces;      /* item's id to the pieces of its newest result */
    json_t *decisions;   /* result's id to what was decided later */
    struct up_verifier *verifier; /* whether a reference body spoke for it */
};

/* As a whole word: not within "repair". */
static bool says_pair(const char *name) {
    for (const char *at = name; *at != '\0'; at++) {
        if ((at == name || !isalpha((unsigned char)at[-1])) && strncasecmp(at, "pair", 4) == 0 &&
            !isalpha((unsigned char)at[4])) {
            return true;
        }
    }
    return false;
}

/* Beside a name from right to left a figure would change its place. */
static const char *count_word(int pieces) {
    static const char *const words[] = {"three", "four", "five", "six",    "seven",
                                        "eight", "nine", "ten",  "eleven", "twelve"};
    return pieces - 3 < (int)(sizeof words / sizeof words[0]) ? words[pieces - 3] : "many";
}

char *up_item_title(const char *name, int pieces) {
    /* Where the name already says so, it is not repeated. */
    return pieces == 2 && !says_pair(name) ? up_text_format("pair: %s", name)
           : pieces > 2 ? up_text_format("%s pieces: %s", count_word(pieces), name)
           : pieces < 1 ? up_text_format("pieces unknown: %s", name)
                        : up_text_format("%s", name);
}

static void copy_text(char *to, size_t size, const json_t *from) {
    const char *text = json_is_string(from) ? json_string_value(from) : "";
    size_t length = strlen(text);
    length = length < size ? length : size - 1;
    memcpy(to, text, length);
    to[length] = '\0';
}

enum { KEY_SIZE = UP_ID_SIZE + 50 };

/* The number of the row, or of none: the count of rows. Water NULL: any, the first. */
static size_t find_row(const struct gather *gather, const char *item_id, const char *water) {
    char key[KEY_SIZE];
    const json_t *found;
    snprintf(key, sizeof key, "%s%s%s", item_id, water != NULL ? " " : "",
             water != NULL ? water : "");
    found = json_object_get(gather->index, key);
    return found != NULL ? (size_t)json_integer_value(found) : gather->rows->count;
}

static struct up_row *row_for(struct gather *gather, const char *item_id, const char *water) {
    struct up_rows *rows = gather->rows;
    size_t row = find_row(gather, item_id, water);
    if (row < rows->count) {
        return &rows->row[row];
    }
    if (rows->count == gather->room) {
        gather->room = gather->room == 0 ? 64 : 2 * gather->room;
        rows->row = up_reallocate(rows->row, gather->room, sizeof *rows->row);
    }
    char key[KEY_SIZE];
    json_auto_t *number = json_integer((json_int_t)gather->rows->count);
    snprintf(key, sizeof key, "%s %s", item_id, water);
    json_object_set_nocheck(gather->index, key, number);
    if (json_object_get(gather->index, item_id) == NULL) {
        json_object_set_nocheck(gather->index, item_id, number);
    }
    rows->row[rows->count] = (struct up_row){0};
    return &rows->row[rows->count++];
}

/* What was decided later stands in the place of what the result itself said. */
static void take_decision(const struct gather *gather, const char *result_id, struct up_row *row) {
    const json_t *decision = json_object_get(gather->decisions, result_id);
    if (decision != NULL) {
        row->rejudged = true;
        copy_text(row->class, sizeof row->class, json_object_get(decision, "class"));
        row->tolerance_g = up_record_number(decision, "tolerance_g");
    }
}

/* Records come oldest first: a later result of the same item and water takes the place, but one of
   elsewhere never that of one of here. */
static bool take_result(const struct up_record *record, void *context) {
    char item_id[UP_ID_SIZE], water[48];
    const json_t *content = record->content;
    copy_text(item_id, sizeof item_id, json_object_get(content, "item_id"));
    copy_text(water, sizeof water, json_object_get(content, "water"));
    const struct gather *gather = context;
    const char *checked = up_verifier_visit(gather->verifier, record);
    struct up_row *row = row_for(context, item_id, water);
    if (record->elsewhere && row->item_id[0] != '\0' && !row->elsewhere) {
        return true;
    }
    memset(row, 0, sizeof *row);
    memcpy(row->item_id, item_id, sizeof item_id);
    memcpy(row->result_id, record->subject, sizeof row->result_id);
    memcpy(row->water, water, sizeof water);
    copy_text(row->class, sizeof row->class, json_object_get(content, "class"));
    row->measured = strcmp(json_string_value(json_object_get(content, "basis")) != NULL
                               ? json_string_value(json_object_get(content, "basis"))
                               : "",
                           "measured") == 0;
    row->buoyancy_g = up_record_number(content, "buoyancy_g");
    row->expanded_u_g = up_record_number(content, "expanded_u_g");
    row->stuck_air_g = up_record_number(content, "stuck_air_g");
    row->tolerance_g = up_record_number(content, "tolerance_g");
    row->water_temp_c = up_record_number(content, "water_temp_c");
    row->water_density_kg_m3 = up_record_number(content, "water_density_kg_m3");
    memcpy(row->made_utc, record->made_utc, sizeof row->made_utc);
    snprintf(row->bench, sizeof row->bench, "%.*s", (int)sizeof row->bench - 1, record->bench);
    row->pieces = up_claim_pieces_of(content);
    row->withdrawable = up_claim_is_withdrawn(content, true);
    row->foam_depth_m = up_record_number(content, "immersion_depth_m"); /* see fill_names */
    row->simulated = up_claim_is_simulated(content, record->bench);
    copy_text(row->filled.gas, sizeof row->filled.gas, json_object_get(content, "filled_with"));
    row->filled.pressure_bar = up_record_number(content, "filling_bar");
    if (!record->elsewhere || json_object_get(gather->pieces, item_id) == NULL) {
        json_object_set_new_nocheck(gather->pieces, item_id, json_integer(row->pieces));
    }
    row->checked = up_checked_of(checked);
    row->elsewhere = record->elsewhere;
    take_decision(gather, record->subject, row);
    return true;
}

static bool take_name(const struct up_record *record, void *context) {
    struct gather *gather = context;
    json_t *name = json_object_get(record->content, "name");
    if (json_object_get(gather->index, record->subject) != NULL && json_is_string(name)) {
        struct up_item item;
        bool good = up_item_from_json(record->content, &item);
        json_object_set_new(gather->items, record->subject,
                            json_pack("{s:O, s:O*, s:b, s:b}", "name", name, "kind",
                                      json_object_get(record->content, "kind"), "gas",
                                      good && item.compressible, "retired", good && item.retired));
    }
    return true;
}

static void fill_names(struct gather *gather) {
    for (size_t i = 0; i < gather->rows->count; i++) {
        struct up_row *row = &gather->rows->row[i];
        const json_t *item = json_object_get(gather->items, row->item_id);
        UP_FREED char *title = up_item_title(up_record_text(item, "name"), row->pieces);
        snprintf(row->name, sizeof row->name, "%s%s", row->simulated ? UP_SIMULATED : "", title);
        copy_text(row->distinction, sizeof row->distinction,
                  json_object_get(gather->distinction, row->item_id));
        row->retired = json_is_true(json_object_get(item, "retired"));
        bool foam = json_is_true(json_object_get(item, "gas")) && !row->withdrawable;
        row->foam_depth_m = foam ? fmax(row->foam_depth_m, 0) : 0;
    }
}

/* ---- what is usual ---- */

/* Each kind is asked once for one piece and once for more. */
static bool default_tolerance_g(struct up_catalogue *catalogue, json_t *known, const char *kind,
                                int pieces, double *tolerance_g, struct up_failure *failure) {
    UP_FREED char *key = up_text_format("%d %s", pieces > 1, kind);
    const json_t *found = json_object_get(known, key);
    bool good = true;
    *tolerance_g = pieces > 1 ? UP_TOLERANCE_PAIR_G : UP_TOLERANCE_ONE_G;
    if (found != NULL) {
        *tolerance_g = json_number_value(found);
    } else {
        good = up_kind_tolerance(catalogue, kind, pieces, tolerance_g, failure);
        json_object_set_new(known, key, json_real(*tolerance_g));
    }
    return good;
}

static bool mark_unusual(struct up_catalogue *catalogue, const struct gather *gather,
                         struct up_failure *failure) {
    json_auto_t *known = json_object();
    bool good = true;
    for (size_t i = 0; good && i < gather->rows->count; i++) {
        struct up_row *row = &gather->rows->row[i];
        const char *kind = up_record_text(json_object_get(gather->items, row->item_id), "kind");
        double usual = (double)NAN;
        good = default_tolerance_g(catalogue, known, kind, row->pieces, &usual, failure);
        row->unusual = fabs(row->tolerance_g - usual) > 1e-6;
        up_claim_filling(&row->filled, kind, row->filling);
    }
    return good;
}

/* ---- order ---- */

/* One key an item: its net buoyancy in fresh water, else in the tank, else anywhere; last where it
   is not known, as NaN has no place in an order. */
static double item_key(const struct gather *gather, const char *item_id) {
    static const char *const preferred[] = {"fresh", "tank", NULL};
    for (size_t p = 0; p < sizeof preferred / sizeof preferred[0]; p++) {
        size_t row = find_row(gather, item_id, preferred[p]);
        if (row < gather->rows->count) {
            double buoyancy_g = gather->rows->row[row].buoyancy_g;
            return isnan(buoyancy_g) ? -(double)INFINITY : buoyancy_g;
        }
    }
    return 0;
}

struct sort_entry {
    double key;
    size_t index;
    struct up_row row;
};

static int by_key(const void *a, const void *b) {
    const struct sort_entry *x = a, *y = b;
    int ids = strcmp(x->row.item_id, y->row.item_id);
    if (ids != 0 && x->key != y->key) {
        return x->key > y->key ? -1 : 1;
    }
    if (ids != 0) {
        return ids;
    }
    return x->index < y->index ? -1 : 1;
}

static void sort_rows(const struct gather *gather) {
    struct up_rows *rows = gather->rows;
    UP_FREED struct sort_entry *sort_entry = up_allocate(rows->count + 1, sizeof *sort_entry);
    for (size_t i = 0; i < rows->count; i++) {
        sort_entry[i] =
            (struct sort_entry){item_key(gather, rows->row[i].item_id), i, rows->row[i]};
    }
    qsort(sort_entry, rows->count, sizeof *sort_entry, by_key);
    for (size_t i = 0; i < rows->count; i++) {
        rows->row[i] = sort_entry[i].row;
    }
}

/* What is withdrawn is not shown. One line is one thing: results of an earlier version of an item,
   with other pieces, are only on its sheet. */
static void keep_claims(const struct gather *gather) {
    struct up_rows *rows = gather->rows;
    size_t kept = 0;
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        const json_t *newest = json_object_get(gather->pieces, row->item_id);
        const json_t *item = json_object_get(gather->items, row->item_id);
        if (row->withdrawable && json_is_true(json_object_get(item, "gas"))) {
            rows->withdrawn++;
        } else if (json_integer_value(newest) != rows->row[i].pieces) {
            rows->other_pieces++;
        } else {
            rows->row[kept++] = rows->row[i];
        }
    }
    rows->count = kept;
}

bool up_rows_load(struct up_catalogue *catalogue, struct up_rows *rows,
                  struct up_failure *failure) {
    struct gather gather = {
        .rows = rows, .index = json_object(), .items = json_object(), .pieces = json_object()};
    bool good;
    *rows = (struct up_rows){0};
    gather.decisions = up_decisions_later(catalogue, failure);
    gather.verifier = up_verifier_begin(catalogue, failure);
    gather.distinction = up_items_distinctions(catalogue, failure);
    good = gather.distinction != NULL && gather.decisions != NULL && gather.verifier != NULL &&
           up_catalogue_each(catalogue, "result", take_result, &gather, failure) &&
           up_catalogue_each(catalogue, "item", take_name, &gather, failure) &&
           mark_unusual(catalogue, &gather, failure);
    if (good) {
        fill_names(&gather);
        sort_rows(&gather);
        keep_claims(&gather);
    } else {
        up_rows_release(rows);
    }
    json_decref(gather.index);
    json_decref(gather.items);
    json_decref(gather.distinction);
    json_decref(gather.pieces);
    json_decref(gather.decisions);
    up_verifier_release(gather.verifier);
    return good;
}

void up_rows_release(struct up_rows *rows) {
    free(rows->row);
    *rows = (struct up_rows){0};
}

void up_rows_drop_retired(struct up_rows *rows) {
    size_t kept = 0;
    for (size_t i = 0; i < rows->count; i++) {
        if (!rows->row[i].retired) {
            rows->row[kept++] = rows->row[i];
        }
    }
    rows->count = kept;
}
