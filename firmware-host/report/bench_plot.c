/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Benches compared: one item, or the pieces of one model, as several benches weighed it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/verification.h"
#include "embedded.h"
#include "items.h"
#include "picture.h"
#include "text/text.h"

enum { ROWS_SHOWN = 36 };

struct benches {
    const struct up_items *items;
    json_t *place, *pieces; /* of an item, by its id */
    json_t *index;          /* of a row, by "ITEM BENCH WATER" */
    json_t *decisions, *verifications;
    struct up_row *row; /* the newest of each item, bench and water */
    size_t count;
    const char *water;
    size_t distinct; /* benches in that water */
    bool one_item;   /* several weighed one and the same: those are drawn, */
    double apart_g;  /* and so far apart they are at most */
};

/* The newest of an item and bench; a later one takes its place. */
static struct up_row *row_for(struct benches *benches, const char *item_id, const char *bench,
                              const char *water) {
    UP_FREED char *key = up_text_format("%s %s %s", item_id, water, bench);
    const json_t *found = json_object_get(benches->index, key);
    if (found != NULL) {
        return &benches->row[json_integer_value(found)];
    }
    json_object_set_new_nocheck(benches->index, key, json_integer((json_int_t)benches->count));
    benches->row = up_reallocate(benches->row, benches->count + 1, sizeof *benches->row);
    return &benches->row[benches->count++];
}

/* Fresh water and the tank's alone, and of as many pieces as its row has. */
static bool take_result(const struct up_record *record, void *context) {
    struct benches *benches = context;
    const json_t *content = record->content;
    const char *item_id = up_record_text(content, "item_id"),
               *water = up_record_text(content, "water");
    const json_t *place = json_object_get(benches->place, item_id);
    if (place == NULL || (strcmp(water, "fresh") != 0 && strcmp(water, "tank") != 0)) {
        return true;
    }
    const struct up_item *item = &benches->items->item[json_integer_value(place)];
    const json_t *pieces = json_object_get(benches->pieces, item->id);
    if (pieces == NULL || up_claim_pieces_of(content) != json_integer_value(pieces) ||
        up_claim_is_withdrawn(content, item->compressible)) {
        return true;
    }
    struct up_row *row = row_for(benches, item->id, record->bench, water);
    *row = (struct up_row){
        .pieces = up_claim_pieces_of(content),
        .measured = strcmp(water, "tank") == 0,
        .buoyancy_g = up_record_number(content, "buoyancy_g"),
        .expanded_u_g = up_record_number(content, "expanded_u_g"),
        .stuck_air_g = up_record_number(content, "stuck_air_g"),
        .simulated = up_claim_is_simulated(content, record->bench),
        .quick = up_claim_is_quick(content),
        .elsewhere = record->elsewhere,
        .checked = up_checked_of(up_record_text(benches->verifications, record->subject))};
    const json_t *decision = json_object_get(benches->decisions, record->subject);
    row->rejudged = decision != NULL;
    memcpy(row->item_id, item->id, sizeof row->item_id);
    memcpy(row->made_utc, record->made_utc, sizeof row->made_utc);
    snprintf(row->bench, sizeof row->bench, "%s", record->bench);
    snprintf(row->water, sizeof row->water, "%s", water);
    snprintf(row->class, sizeof row->class, "%.15s",
             up_record_text(decision != NULL ? decision : content, "class"));
    snprintf(row->name, sizeof row->name, "%s", item->name);
    return true;
}

static size_t count_benches(const struct benches *benches, const char *water) {
    size_t count = 0;
    for (size_t i = 0; i < benches->count; i++) {
        bool first = strcmp(benches->row[i].water, water) == 0;
        for (size_t j = 0; j < i && first; j++) {
            first = strcmp(benches->row[j].water, water) != 0 ||
                    strcmp(benches->row[j].bench, benches->row[i].bench) != 0;
        }
        count += first;
    }
    return count;
}

static int by_net(const void *a, const void *b) {
    const struct up_row *x = a, *y = b;
    return x->buoyancy_g != y->buoyancy_g ? (x->buoyancy_g > y->buoyancy_g ? -1 : 1)
                                          : strcmp(x->made_utc, y->made_utc);
}

/* Of an item from its first row on: how many rows, and how far apart. */
static size_t span_of(const struct benches *benches, size_t from, double *apart_g) {
    double low_g = (double)INFINITY, high_g = -(double)INFINITY;
    size_t count = 0;
    for (size_t i = 0; i < benches->count; i++) {
        if (strcmp(benches->row[i].item_id, benches->row[from].item_id) == 0) {
            low_g = fmin(low_g, benches->row[i].buoyancy_g);
            high_g = fmax(high_g, benches->row[i].buoyancy_g);
            count++;
        }
    }
    *apart_g = high_g - low_g;
    return count;
}

/* Where one item was weighed by several benches, such items alone: pieces of one model differ
   themselves. */
static void keep_shared(struct benches *benches) {
    UP_FREED bool *shared = up_allocate(benches->count + 1, sizeof *shared);
    size_t kept = 0;
    double apart_g;
    for (size_t i = 0; i < benches->count; i++) {
        shared[i] = span_of(benches, i, &apart_g) > 1;
        benches->one_item = benches->one_item || shared[i];
        benches->apart_g = shared[i] ? fmax(benches->apart_g, apart_g) : benches->apart_g;
    }
    for (size_t i = 0; i < benches->count; i++) {
        if (shared[i] || !benches->one_item) {
            benches->row[kept++] = benches->row[i];
        }
    }
    benches->count = kept;
}

/* Fresh water is the same for all benches; their tanks are not. */
static void keep_one_water(struct benches *benches) {
    size_t kept = 0, fresh = count_benches(benches, "fresh"), tank = count_benches(benches, "tank");
    benches->water = fresh >= 2 ? "fresh" : "tank";
    benches->distinct = fresh >= 2 ? fresh : tank;
    for (size_t i = 0; i < benches->count; i++) {
        if (strcmp(benches->row[i].water, benches->water) == 0 &&
            isfinite(benches->row[i].buoyancy_g)) {
            benches->row[kept++] = benches->row[i];
        }
    }
    benches->count = kept;
    keep_shared(benches);
    if (benches->count > 0) {
        qsort(benches->row, benches->count, sizeof *benches->row, by_net);
    }
}

/* ---- the picture ---- */

static size_t shown_of(const struct benches *benches) {
    return benches->count < ROWS_SHOWN ? benches->count : ROWS_SHOWN;
}

static bool put_data(FILE *stream, void *context) {
    const struct benches *benches = context;
    fputs("# class: 0 undecided, 1 positive, 2 neutral, 3 negative; elsewhere: came by import\n"
          "# row\tbuoyancy_g\texpanded_u_g\tstuck_air_g\tclass\telsewhere\n",
          stream);
    for (size_t i = 0; i < shown_of(benches); i++) {
        const struct up_row *row = &benches->row[i];
        const double number[] = {row->buoyancy_g, row->expanded_u_g, fmax(row->stuck_air_g, 0),
                                 number_of_class(row->class), row->elsewhere};
        put_data_numbers(stream, (int)i + 1, number, 5);
    }
    return ferror(stream) == 0;
}

static void put_variables(FILE *stream, const void *context) {
    const struct benches *benches = context;
    double high_g = -(double)INFINITY;
    int widest = 0;
    bool open = false;
    fputs("set ytics (", stream);
    for (size_t i = 0; i < shown_of(benches); i++) {
        const struct up_row *row = &benches->row[i];
        UP_FREED char *bench = up_text_format("%.24s", row->bench);
        UP_FREED char *distinct = up_text_format(
            "%s%.10s%s%s", benches->items->count > 1 ? bench : "",
            benches->items->count > 1 ? "" : row->made_utc,
            row->checked != UP_CHECKED_INSIDE ? " " : "", up_checked_mark(row->checked));
        UP_FREED char *label =
            label_of_tick(benches->items->count > 1 ? row->name : row->bench, distinct);
        UP_FREED char *escaped = up_text_for_gnuplot(label);
        fprintf(stream, "%s\\\n    %s %zu", i > 0 ? ", " : "", escaped, i + 1);
        widest = up_text_columns(label) > widest ? up_text_columns(label) : widest;
        high_g = fmax(high_g, row->buoyancy_g + row->expanded_u_g);
        open = open || row->elsewhere;
    }
    char number[32];
    up_text_from_number(high_g, number, sizeof number);
    fprintf(stream, ")\nrows = %zu\nname_columns = %d\nright_g = %s\nopen_marks = %d\n",
            shown_of(benches), widest, number, open);
}

static char *note_of(const struct benches *benches) {
    UP_FREED char *more = benches->count > ROWS_SHOWN
                              ? up_text_format("   %d of %zu shown", ROWS_SHOWN, benches->count)
                              : up_text_format("%s", "");
    return benches->one_item
               ? up_text_format("%s water, %zu benches   one item at most %.1f g apart   bars: 95 %% "
                                "intervals%s",
                                benches->water, benches->distinct, benches->apart_g, more)
               : up_text_format("%s water, %zu benches   no piece was weighed on two: pieces differ "
                                "themselves%s",
                                benches->water, benches->distinct, more);
}

static bool write_benches(struct benches *benches, const char *directory,
                          struct up_failure *failure) {
    const struct up_item *first = &benches->items->item[0];
    bool one = benches->items->count == 1;
    UP_FREED const struct up_row **row = up_allocate(benches->count, sizeof *row);
    for (size_t i = 0; i < benches->count; i++) {
        row[i] = &benches->row[i];
    }
    UP_FREED char *clean = name_in_title(one ? first->name : first->model, 60);
    UP_FREED char *title =
        up_text_format("%s%s: benches compared", row[0]->simulated ? UP_SIMULATED : "", clean);
    UP_FREED char *note = note_of(benches);
    UP_FREED char *standing = standing_of(row, benches->count, true);
    UP_FREED char *name = up_text_format("benches-%.8s", first->id);
    const struct picture picture = {.name = name,
                                    .what = "Benches compared",
                                    .title = title,
                                    .note = note,
                                    .standing = standing,
                                    .template = embedded_benches_gp,
                                    .put_data = put_data,
                                    .put_variables = put_variables,
                                    .context = benches};
    return picture_write(&picture, directory, failure);
}

bool up_plot_write_benches(struct up_catalogue *catalogue, const struct up_rows *rows,
                           const struct up_items *items, const char *directory, bool *drawn,
                           struct up_failure *failure) {
    struct benches benches = {
        .items = items, .place = json_object(), .pieces = json_object(), .index = json_object()};
    for (size_t i = 0; i < items->count; i++) {
        json_object_set_new_nocheck(benches.place, items->item[i].id, json_integer((json_int_t)i));
    }
    for (size_t i = 0; i < rows->count; i++) {
        json_object_set_new_nocheck(benches.pieces, rows->row[i].item_id,
                                    json_integer(rows->row[i].pieces));
    }
    benches.decisions = up_decisions_later(catalogue, failure);
    benches.verifications = up_verifications(catalogue, failure);
    bool good = benches.decisions != NULL && benches.verifications != NULL &&
                up_catalogue_each(catalogue, "result", take_result, &benches, failure);
    keep_one_water(&benches);
    *drawn = good && benches.distinct >= 2;
    good = good && (!*drawn || write_benches(&benches, directory, failure));
    json_decref(benches.place);
    json_decref(benches.pieces);
    json_decref(benches.index);
    json_decref(benches.decisions);
    json_decref(benches.verifications);
    free(benches.row);
    return good;
}
