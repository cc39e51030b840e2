/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Many items as few rows: by model, kind or size; and the sizes of one model as a picture. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "embedded.h"
#include "items.h"
#include "picture.h"
#include "text/text.h"

/* ---- what belongs together ---- */

struct member {
    size_t group;
    int series; /* 1 and 2: waters of the view, 3: tank */
    const struct up_row *row;
};

static int by_group(const void *a, const void *b) {
    const struct member *x = a, *y = b;
    double left = x->row->buoyancy_g, right = y->row->buoyancy_g;
    return x->group != y->group     ? (x->group < y->group ? -1 : 1)
           : x->series != y->series ? x->series - y->series
           : left != right          ? (left < right ? -1 : 1)
                                    : strcmp(x->row->item_id, y->row->item_id);
}

static size_t end_of_group(const struct member *member, size_t from, size_t count) {
    size_t to = from;
    while (to < count && member[to].group == member[from].group &&
           member[to].series == member[from].series) {
        to++;
    }
    return to;
}

/* The middle one, with a bar from the lowest interval to the highest; marked if any is. */
static struct up_row row_of_many(const struct member *member, size_t count) {
    struct up_row many = *member[(count - 1) / 2].row;
    double low_g = (double)INFINITY, high_g = -(double)INFINITY;
    for (size_t i = 0; i < count; i++) {
        const struct up_row *row = member[i].row;
        low_g = fmin(low_g, row->buoyancy_g - row->expanded_u_g - fmax(row->stuck_air_g, 0));
        high_g = fmax(high_g, row->buoyancy_g + row->expanded_u_g);
        many.tolerance_g = row->tolerance_g == many.tolerance_g ? many.tolerance_g : (double)NAN;
        if (strcmp(row->class, many.class) != 0) {
            snprintf(many.class, sizeof many.class, "undecided");
        }
        many.checked = row->checked > many.checked ? row->checked : many.checked;
        many.elsewhere = many.elsewhere || row->elsewhere;
        many.rejudged = many.rejudged || row->rejudged;
        many.simulated = many.simulated || row->simulated;
        many.quick = many.quick || row->quick;
        memcpy(many.made_utc,
               strcmp(row->made_utc, many.made_utc) > 0 ? row->made_utc : many.made_utc,
               sizeof many.made_utc);
    }
    many.expanded_u_g = high_g - many.buoyancy_g;
    many.stuck_air_g = many.buoyancy_g - many.expanded_u_g - low_g;
    many.unusual = false;
    many.filling[0] = many.distinction[0] = '\0';
    many.foam_depth_m = 0;
    return many;
}

/* ---- by what ---- */

struct grouping {
    const struct up_rows *rows;
    const struct up_items *items;
    const struct up_view *view;
    json_t *place;  /* of an item, by its id */
    json_t *number; /* of a group, by its key */
    struct member *member;
    size_t members;
};

static const struct up_item *item_of(const struct grouping *grouping, const char *id) {
    const json_t *place = json_object_get(grouping->place, id);
    return place != NULL ? &grouping->items->item[json_integer_value(place)] : NULL;
}

/* A pair is another thing than one of its pieces. */
static char *key_of(const struct up_item *item, enum up_group_by by, int pieces, bool tank) {
    const char *kind = item->kind[0] != '\0' ? item->kind : "gear";
    UP_FREED char *name =
        by == UP_GROUP_SIZE   ? up_text_format("%s", item->size)
        : by == UP_GROUP_KIND ? up_text_format("%s", kind)
        : item->model[0] == '\0'
            ? up_text_format("%s, no model named", kind)
            : up_text_format("%s%s%s", item->maker, item->maker[0] != '\0' ? " " : "", item->model);
    UP_FREED char *several = pieces > 2 ? up_text_format(", %d pieces", pieces)
                                        : up_text_format("%s", pieces == 2 ? ", pair" : "");
    return up_text_format("%s%s%s", name, several, tank ? ", in the tank" : "");
}

static size_t number_of(struct grouping *grouping, const char *key) {
    const json_t *number = json_object_get(grouping->number, key);
    size_t next = json_object_size(grouping->number);
    if (number == NULL) {
        json_object_set_new_nocheck(grouping->number, key, json_integer((json_int_t)next));
    }
    return number != NULL ? (size_t)json_integer_value(number) : next;
}

/* The caller frees what it holds with end_grouping. */
static void begin_grouping(struct grouping *grouping, enum up_group_by by) {
    grouping->place = json_object();
    grouping->number = json_object();
    grouping->member = up_allocate(grouping->rows->count + 1, sizeof *grouping->member);
    for (size_t i = 0; i < grouping->items->count; i++) {
        json_object_set_new_nocheck(grouping->place, grouping->items->item[i].id,
                                    json_integer((json_int_t)i));
    }
    for (size_t i = 0; i < grouping->rows->count; i++) {
        const struct up_row *row = &grouping->rows->row[i];
        const struct up_item *item = item_of(grouping, row->item_id);
        int series = item != NULL && !row->quick && isfinite(row->buoyancy_g)
                         ? series_of(grouping->view, grouping->rows, row)
                         : 0;
        if (series != 0) {
            UP_FREED char *key = key_of(item, by, row->pieces, series == 3);
            size_t number = number_of(grouping, key);
            grouping->member[grouping->members++] = (struct member){number, series, row};
        }
    }
}

static void end_grouping(struct grouping *grouping) {
    json_decref(grouping->place);
    json_decref(grouping->number);
    free(grouping->member);
}

/* ---- rows ---- */

struct ordered {
    double key;
    size_t group;
    struct up_row row;
};

static int by_key(const void *a, const void *b) {
    const struct ordered *x = a, *y = b;
    return x->key != y->key       ? (x->key > y->key ? -1 : 1)
           : x->group != y->group ? (x->group < y->group ? -1 : 1)
                                  : 0;
}

static void name_group(struct ordered *ordered, const char *key, enum up_group_by by,
                       size_t count) {
    struct up_row *row = &ordered->row;
    UP_FREED char *name = name_in_title(key, sizeof row->name - sizeof UP_SIMULATED - 8);
    snprintf(row->name, sizeof row->name, "%s%s",
             row->simulated && by != UP_GROUP_SIZE ? UP_SIMULATED : "", name);
    snprintf(row->distinction, sizeof row->distinction, "%zu item%s", count, count == 1 ? "" : "s");
    snprintf(row->item_id, sizeof row->item_id, "%zu", ordered->group);
}

void up_rows_group(const struct up_rows *rows, const struct up_items *items, enum up_group_by by,
                   const struct up_view *view, struct up_rows *groups) {
    struct grouping grouping = {.rows = rows, .items = items, .view = view};
    begin_grouping(&grouping, by);
    qsort(grouping.member, grouping.members, sizeof *grouping.member, by_group);
    UP_FREED const char **key = up_allocate(json_object_size(grouping.number) + 1, sizeof *key);
    UP_FREED struct ordered *ordered = up_allocate(grouping.members + 1, sizeof *ordered);
    const char *name;
    json_t *number;
    json_object_foreach(grouping.number, name, number) {
        key[json_integer_value(number)] = name;
    }
    size_t count = 0;
    for (size_t from = 0; from < grouping.members;) {
        const struct member *first = &grouping.member[from];
        size_t to = end_of_group(grouping.member, from, grouping.members);
        struct up_row row = row_of_many(first, to - from);
        bool again = count > 0 && ordered[count - 1].group == first->group;
        ordered[count] =
            (struct ordered){again ? ordered[count - 1].key : row.buoyancy_g, first->group, row};
        name_group(&ordered[count++], key[first->group], by, to - from);
        from = to;
    }
    qsort(ordered, count, sizeof *ordered, by_key);
    *groups = (struct up_rows){.row = up_allocate(count + 1, sizeof *groups->row), .count = count};
    for (size_t i = 0; i < count; i++) {
        groups->row[i] = ordered[i].row;
    }
    end_grouping(&grouping);
}

/* ---- sizes of one model ---- */

struct sizes {
    const struct up_view *view;
    struct up_rows groups;
    size_t count; /* of sizes */
};

/* Letters before numbers before all else; what is not known, last. */
static double rank_of(const char *word) {
    static const char *const letters[] = {"XXXS", "XXS", "XS",  "S",    "M",    "ML",
                                          "L",    "XL",  "XXL", "XXXL", "XXXXL"};
    char *end;
    double number = strtod(word, &end);
    size_t length = strcspn(word, ",");
    for (size_t i = 0; i < sizeof letters / sizeof letters[0]; i++) {
        if (strlen(letters[i]) == length && strncasecmp(word, letters[i], length) == 0) {
            return (double)i - 1e9;
        }
    }
    return length == 0 ? 2e9 : end == word || !isfinite(number) ? 1e9 : fmin(number, 9e8);
}

/* Those of a group stand together, as its item_id is one. */
static int by_rank(const void *a, const void *b) {
    const struct up_row *x = a, *y = b;
    double left = rank_of(x->name), right = rank_of(y->name);
    int names = strcmp(x->name, y->name);
    return left != right ? (left < right ? -1 : 1)
           : names != 0  ? names
                         : strcmp(x->water, y->water);
}

static bool begins_size(const struct sizes *sizes, size_t i) {
    const struct up_row *row = sizes->groups.row;
    return i == 0 || strcmp(row[i].item_id, row[i - 1].item_id) != 0;
}

static bool put_data(FILE *stream, void *context) {
    const struct sizes *sizes = context;
    size_t place = 0;
    fputs("# series: 1 and 2 the waters that the script names, 3 tank (of what has not the first)\n"
          "# class: 0 undecided or differing, 1 positive, 2 neutral, 3 negative\n"
          "# series\tplace\tmiddle_g\tlow_g\thigh_g\ttolerance_g\tclass\n",
          stream);
    for (size_t i = 0; i < sizes->groups.count; i++) {
        const struct up_row *row = &sizes->groups.row[i];
        place += begins_size(sizes, i);
        const double number[] = {(double)place,
                                 row->buoyancy_g,
                                 row->buoyancy_g - row->expanded_u_g - row->stuck_air_g,
                                 row->buoyancy_g + row->expanded_u_g,
                                 row->tolerance_g,
                                 number_of_class(row->class)};
        put_data_numbers(stream, series_of(sizes->view, &sizes->groups, row), number, 6);
    }
    return ferror(stream) == 0;
}

static void put_variables(FILE *stream, const void *context) {
    const struct sizes *sizes = context;
    const char *const *water = sizes->view->water;
    int widest = 0;
    size_t place = 0;
    fputs("set xtics (", stream);
    for (size_t i = 0; i < sizes->groups.count; i++) {
        const struct up_row *row = &sizes->groups.row[i];
        if (begins_size(sizes, i)) {
            const char *word = strcspn(row->name, ",") > 0 ? row->name : "not recorded";
            UP_FREED char *label = label_of_tick(word, row->distinction);
            UP_FREED char *escaped = up_text_for_gnuplot(label);
            fprintf(stream, "%s\\\n    %s %zu", place > 0 ? ", " : "", escaped, place + 1);
            place++;
            widest = up_text_columns(label) > widest ? up_text_columns(label) : widest;
        }
    }
    fprintf(stream, ")\nsizes = %zu\nname_columns = %d\n", place, widest);
    for (int i = 0; i < 2; i++) {
        UP_FREED char *name = name_in_title(water[i] != NULL ? water[i] : "", 40);
        put_text_variable(stream, i == 0 ? "first_water" : "second_water", name);
    }
}

static bool write_sizes(struct sizes *sizes, const struct up_items *items,
                        const struct up_plots *to, struct up_failure *failure) {
    const struct up_item *first = &items->item[0];
    UP_FREED const struct up_row **row = up_allocate(sizes->groups.count, sizeof *row);
    bool simulated = false;
    for (size_t i = 0; i < sizes->groups.count; i++) {
        row[i] = &sizes->groups.row[i];
        simulated = simulated || row[i]->simulated;
    }
    UP_FREED char *model = key_of(first, UP_GROUP_MODEL, 1, false);
    UP_FREED char *clean = name_in_title(model, 60);
    UP_FREED char *title =
        up_text_format("%s%s: size against net buoyancy", simulated ? UP_SIMULATED : "", clean);
    UP_FREED char *note = up_text_format("%zu %s   mark: the middle one of a size   bar: from the "
                                         "lowest 95 %% interval to the highest   grey: neutral",
                                         items->count, items->count == 1 ? "item" : "items");
    UP_FREED char *standing = standing_of(row, sizes->groups.count, false);
    UP_FREED char *name = up_text_format("sizes-%.8s", first->id);
    const struct picture picture = {
        .name = name,
        .words = {"Size against net buoyancy within a model", title, note, standing},
        .script = {embedded_sizes_gp, put_data, put_variables, sizes}};
    return picture_write(&picture, to, failure);
}

bool up_plot_write_sizes(const struct up_rows *rows, const struct up_items *items,
                         const struct up_view *view, const struct up_plots *to, bool *drawn,
                         struct up_failure *failure) {
    struct sizes sizes = {.view = view};
    up_rows_group(rows, items, UP_GROUP_SIZE, view, &sizes.groups);
    *drawn = false;
    for (size_t i = 0; i < sizes.groups.count; i++) {
        *drawn = *drawn || strcspn(sizes.groups.row[i].name, ",") > 0;
    }
    if (*drawn) {
        qsort(sizes.groups.row, sizes.groups.count, sizeof *sizes.groups.row, by_rank);
    }
    bool good = !*drawn || write_sizes(&sizes, items, to, failure);
    up_rows_release(&sizes.groups);
    return good;
}
