/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Benches compared: one item, or the pieces of one model, as several benches weighed it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "embedded.h"
#include "items.h"
#include "picture.h"
#include "text/text.h"

enum { ROWS_SHOWN = 36 };

struct benches {
    const struct up_items *items;
    struct up_rows rows; /* the newest of each item and bench in one water */
    const char *water;
    size_t distinct; /* benches */
    bool one_item;   /* several weighed one and the same: those are drawn, */
    double apart_g;  /* and so far apart they are at most */
};

static size_t count_benches(const struct up_rows *rows, const char *water) {
    size_t count = 0;
    for (size_t i = 0; i < rows->count; i++) {
        bool first = strcmp(rows->row[i].water, water) == 0;
        for (size_t j = 0; j < i && first; j++) {
            first = strcmp(rows->row[j].water, water) != 0 ||
                    strcmp(rows->row[j].bench, rows->row[i].bench) != 0;
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

/* The rows of the items and of the water; NULL: of any. */
static void keep(struct up_rows *rows, const json_t *place, const char *water) {
    size_t kept = 0;
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        bool wanted = place == NULL || json_object_get(place, row->item_id) != NULL;
        bool fits = water == NULL || strcmp(row->water, water) == 0;
        if (wanted && fits && isfinite(row->buoyancy_g)) {
            rows->row[kept++] = *row;
        }
    }
    rows->count = kept;
}

/* Of an item from its first row on: how many rows, and how far apart. */
static size_t span_of(const struct benches *benches, size_t from, double *apart_g) {
    double low_g = (double)INFINITY, high_g = -(double)INFINITY;
    size_t count = 0;
    for (size_t i = 0; i < benches->rows.count; i++) {
        if (strcmp(benches->rows.row[i].item_id, benches->rows.row[from].item_id) == 0) {
            low_g = fmin(low_g, benches->rows.row[i].buoyancy_g);
            high_g = fmax(high_g, benches->rows.row[i].buoyancy_g);
            count++;
        }
    }
    *apart_g = high_g - low_g;
    return count;
}

/* Where one item was weighed by several benches, such items alone: pieces of one model differ
   themselves. */
static void keep_shared(struct benches *benches) {
    UP_FREED bool *shared = up_allocate(benches->rows.count + 1, sizeof *shared);
    size_t kept = 0;
    double apart_g;
    for (size_t i = 0; i < benches->rows.count; i++) {
        shared[i] = span_of(benches, i, &apart_g) > 1;
        benches->one_item = benches->one_item || shared[i];
        benches->apart_g = shared[i] ? fmax(benches->apart_g, apart_g) : benches->apart_g;
    }
    for (size_t i = 0; i < benches->rows.count; i++) {
        if (shared[i] || !benches->one_item) {
            benches->rows.row[kept++] = benches->rows.row[i];
        }
    }
    benches->rows.count = kept;
}

/* Whether benches agree is asked of full weighings. */
static void drop_quick(struct up_rows *rows) {
    size_t kept = 0;
    for (size_t i = 0; i < rows->count; i++) {
        if (!rows->row[i].quick) {
            rows->row[kept++] = rows->row[i];
        }
    }
    rows->count = kept;
}

/* Fresh water is the same for all benches; their tanks are not. */
static void keep_one_water(struct benches *benches) {
    struct up_rows *rows = &benches->rows;
    drop_quick(rows);
    size_t fresh = count_benches(rows, "fresh"), tank = count_benches(rows, "tank");
    benches->water = fresh >= 2 ? "fresh" : "tank";
    benches->distinct = fresh >= 2 ? fresh : tank;
    keep(rows, NULL, benches->water);
    keep_shared(benches);
    if (rows->count > 0) {
        qsort(rows->row, rows->count, sizeof *rows->row, by_net);
    }
}

/* ---- the picture ---- */

static size_t shown_of(const struct benches *benches) {
    return benches->rows.count < ROWS_SHOWN ? benches->rows.count : ROWS_SHOWN;
}

static bool put_data(FILE *stream, void *context) {
    const struct benches *benches = context;
    fputs("# class: 0 undecided, 1 positive, 2 neutral, 3 negative; elsewhere: came by import\n"
          "# row\tbuoyancy_g\texpanded_u_g\tstuck_air_g\tclass\telsewhere\n",
          stream);
    for (size_t i = 0; i < shown_of(benches); i++) {
        const struct up_row *row = &benches->rows.row[i];
        const double number[] = {row->buoyancy_g, row->expanded_u_g, fmax(row->stuck_air_g, 0),
                                 number_of_class(row->class), row->elsewhere};
        put_data_numbers(stream, (int)i + 1, number, 5);
    }
    return ferror(stream) == 0;
}

static void put_variables(FILE *stream, const void *context) {
    const struct benches *benches = context;
    int widest = 0;
    bool open = false;
    fputs("set ytics (", stream);
    for (size_t i = 0; i < shown_of(benches); i++) {
        const struct up_row *row = &benches->rows.row[i];
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
        open = open || row->elsewhere;
    }
    fprintf(stream, ")\nrows = %zu\nname_columns = %d\nopen_marks = %d\n", shown_of(benches),
            widest, open);
}

static char *note_of(const struct benches *benches) {
    UP_FREED char *more =
        benches->rows.count > ROWS_SHOWN
            ? up_text_format("   %d of %zu shown", ROWS_SHOWN, benches->rows.count)
            : up_text_format("%s", "");
    return benches->one_item
               ? up_text_format(
                     "%s water, %zu benches   one item at most %.1f g apart   bars: 95 %% "
                     "intervals%s",
                     benches->water, benches->distinct, benches->apart_g, more)
               : up_text_format(
                     "%s water, %zu benches   no piece was weighed on two: pieces differ "
                     "themselves%s",
                     benches->water, benches->distinct, more);
}

static bool write_benches(struct benches *benches, const struct up_plots *to,
                          struct up_failure *failure) {
    const struct up_item *first = &benches->items->item[0];
    bool one = benches->items->count == 1;
    UP_FREED const struct up_row **row = up_allocate(benches->rows.count, sizeof *row);
    for (size_t i = 0; i < benches->rows.count; i++) {
        row[i] = &benches->rows.row[i];
    }
    UP_FREED char *clean = name_in_title(one ? first->name : first->model, 60);
    UP_FREED char *title =
        up_text_format("%s%s: benches compared", row[0]->simulated ? UP_SIMULATED : "", clean);
    UP_FREED char *note = in_units(&to->style, note_of(benches));
    UP_FREED char *standing = standing_of(row, benches->rows.count, true);
    UP_FREED char *name = up_text_format("benches-%.8s", first->id);
    const struct picture picture = {
        .name = name,
        .words = {"Benches compared", title, note, standing},
        .script = {embedded_benches_gp, put_data, put_variables, benches}};
    return picture_write(&picture, to, failure);
}

bool up_plot_write_benches(struct up_catalogue *catalogue, const struct up_items *items,
                           const struct up_plots *to, bool *drawn, struct up_failure *failure) {
    struct benches benches = {.items = items};
    json_auto_t *place = json_object();
    for (size_t i = 0; i < items->count; i++) {
        json_object_set_new_nocheck(place, items->item[i].id, json_true());
    }
    *drawn = false;
    bool good = up_rows_load_by_bench(catalogue, &benches.rows, failure);
    if (good) {
        keep(&benches.rows, place, NULL);
        keep_one_water(&benches);
        *drawn = benches.distinct >= 2;
        good = !*drawn || write_benches(&benches, to, failure);
    }
    up_rows_release(&benches.rows);
    return good;
}
