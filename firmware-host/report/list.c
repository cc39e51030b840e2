/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All items in aligned columns, what is known of each in some waters beside it. */
#include <string.h>

#include "catalogue/claim.h"
#include "report/items.h"
#include "text/text.h"

enum {
    NAME_MOST = 40,
    NAME_LEAST = 16,
    KIND_MOST = 12,
    WATERS_MOST = 4,
    CLASS_COLUMNS = 9,
    WITHIN_COLUMNS = 8, /* "35.27 oz" */
    WATER_COLUMNS = 8,
    ID_SHOWN = 8,
    MARKS_SIZE = 10
};

struct list {
    const struct up_rows *rows;
    const struct up_items *items;
    json_t *distinction; /* by ids: what distinguishes items of one name */
    const struct up_style *style;
    FILE *stream;
    const char *const *waters;
    size_t count;
    int name, kind, which;        /* columns; which: 0 where no name repeats */
    int net[64], uncertainty[64]; /* by water */
    int marks;                    /* columns for them behind a number */
    bool any_again;               /* a class was judged again: marked with * */
    bool any[UP_CHECKED_OUTSIDE + 1];
    bool any_elsewhere; /* an item or a number that came from elsewhere */
    unsigned long waiting;
    bool any_stuck, any_quick, any_at_most, any_aside, any_beside;
    bool any_unusual; /* a tolerance is not the usual one: a column shows those */
};

/* ---- which waters ---- */

static bool is_among(const char *water, const char *const *waters, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (strcmp(waters[i], water) == 0) {
            return true;
        }
    }
    return false;
}

static bool has_rows(const struct up_rows *rows, const char *water) {
    for (size_t i = 0; i < rows->count; i++) {
        if (strcmp(rows->row[i].water, water) == 0) {
            return true;
        }
    }
    return false;
}

/* The usual ones first, then those of results of here; *more counts those for which there is no
   room. */
static size_t choose_waters(const struct up_rows *rows, const char *waters[WATERS_MOST],
                            size_t *more) {
    static const char *const usual[] = {"tank", "fresh", "sea"};
    size_t count = 0;
    for (size_t i = 0; i < 3; i++) {
        if (has_rows(rows, usual[i])) {
            waters[count++] = usual[i];
        }
    }
    const char *last = NULL;
    for (size_t i = 0; i < 2 * rows->count; i++) {
        const struct up_row *row = &rows->row[i % rows->count];
        if (row->elsewhere != (i >= rows->count) || is_among(row->water, usual, 3) ||
            is_among(row->water, waters, count)) {
            continue;
        }
        if (count < WATERS_MOST) {
            waters[count++] = row->water;
        } else if (last == NULL || strcmp(last, row->water) != 0) {
            last = row->water;
            ++*more;
        }
    }
    return count;
}

/* ---- widths ---- */

static int larger(int a, int b) {
    return a > b ? a : b;
}

static int width_of(const char *text) {
    UP_FREED char *clean = up_text_for_terminal(text);
    return up_text_columns(clean);
}

/* As it was measured; what is not measured yet, as the item says. */
static char *title_of(const struct list *list, const struct up_item *item) {
    const char *retired = item->retired ? "retired: " : "", *simulated = "";
    int pieces = item->pieces;
    for (size_t i = 0; i < list->rows->count; i++) {
        if (strcmp(list->rows->row[i].item_id, item->id) == 0) {
            pieces = list->rows->row[i].pieces;
            simulated = list->rows->row[i].simulated ? UP_SIMULATED : "";
            break;
        }
    }
    UP_FREED char *title = up_item_title(item->name, pieces);
    return up_text_format("%s%s%s", retired, simulated, title);
}

/* Empty where the id in the line is enough. */
static const char *distinction_of(const struct list *list, const struct up_item *item) {
    const char *distinction = json_string_value(json_object_get(list->distinction, item->id));
    return distinction != NULL && strncmp(distinction, item->id, ID_SHOWN) != 0 ? distinction : "";
}

static void measure_texts(struct list *list) {
    list->name = width_of("item");
    list->kind = width_of("kind");
    for (size_t i = 0; i < list->items->count; i++) {
        const struct up_item *item = &list->items->item[i];
        UP_FREED char *title = title_of(list, item);
        list->name = larger(list->name, width_of(title));
        list->kind = larger(list->kind, width_of(item->kind));
        list->which = larger(list->which, width_of(distinction_of(list, item)));
        list->any_elsewhere = list->any_elsewhere || item->elsewhere;
    }
    list->name = list->name > NAME_MOST ? NAME_MOST : list->name;
    list->kind = list->kind > KIND_MOST ? KIND_MOST : list->kind;
    list->which = list->which > 0 ? larger(list->which, width_of("which")) : 0;
}

/* Returns how many there are. */
static int marks_of(const struct up_row *row, char marks[MARKS_SIZE]) {
    return snprintf(marks, MARKS_SIZE, "%s%s%s%s", row->quick ? " quick" : "",
                    row->rejudged ? "*" : "", up_checked_mark(row->checked),
                    row->elsewhere ? UP_ELSEWHERE_MARK : "");
}

static void shown_net(const struct list *list, const struct up_row *row, char net[UP_SHOWN_SIZE],
                      char u[UP_SHOWN_SIZE]) {
    const struct up_net shown = {row->buoyancy_g, row->expanded_u_g, row->stuck_air_g,
                                 row->at_most ? row->at_most_g : (double)NAN};
    up_style_net(list->style, &shown, net, u);
}

static bool is_listed(const struct list *list, const char *item_id) {
    size_t i = 0;
    while (i < list->items->count && strcmp(list->items->item[i].id, item_id) != 0) {
        i++;
    }
    return i < list->items->count;
}

/* Widths and marks of what is shown. */
static void measure_numbers(struct list *list) {
    for (size_t i = 0; i < list->count; i++) {
        list->net[i] = list->uncertainty[i] = 1;
        for (size_t j = 0; j < list->rows->count; j++) {
            const struct up_row *row = &list->rows->row[j];
            char net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE];
            if (strcmp(row->water, list->waters[i]) == 0 && is_listed(list, row->item_id)) {
                shown_net(list, row, net, u);
                list->any_quick = list->any_quick || row->quick;
                list->any_aside = list->any_aside || row->aside[0] != '\0';
                list->any_at_most = list->any_at_most || row->at_most;
                list->any_beside = list->any_beside || row->quick_beside;
                list->any_stuck = list->any_stuck || up_style_has_stuck(row->stuck_air_g);
                char marks[MARKS_SIZE];
                list->marks = larger(list->marks, marks_of(row, marks));
                list->any_again = list->any_again || row->rejudged;
                list->any[row->checked] = true;
                list->any_elsewhere = list->any_elsewhere || row->elsewhere;
                list->any_unusual = list->any_unusual || row->unusual;
                list->net[i] = larger(list->net[i], (int)strlen(net));
                list->uncertainty[i] = larger(list->uncertainty[i], (int)strlen(u));
            }
        }
    }
}

static int cell_columns(const struct list *list, size_t water) {
    return CLASS_COLUMNS + 1 + list->net[water] + 1 + list->uncertainty[water] + list->marks;
}

static int line_columns(const struct list *list) {
    int columns = list->name + 2 + ID_SHOWN + (list->any_elsewhere ? 2 : 0) +
                  (list->kind > 0 ? list->kind + 2 : 0);
    columns += list->any_unusual ? 2 + WITHIN_COLUMNS : 0;
    columns += list->which > 0 ? 2 + list->which : 0;
    for (size_t i = 0; i < list->count; i++) {
        columns += 2 + cell_columns(list, i);
    }
    return columns;
}

static bool is_too_wide(const struct list *list) {
    return list->style->columns > 0 && line_columns(list) > list->style->columns;
}

/* On a narrow terminal names are cut before waters are left out; those asked for never are. Then
   the kind goes, which the name mostly says. */
static void fit_terminal(struct list *list, bool waters_asked, size_t *more) {
    int columns = list->style->columns, whole = list->name;
    while (is_too_wide(list) && list->name > NAME_LEAST) {
        list->name--;
    }
    while (is_too_wide(list) && list->count > 1 && !waters_asked) {
        list->count--;
        ++*more;
    }
    list->kind = is_too_wide(list) ? 0 : list->kind;
    while (list->name < whole && line_columns(list) < columns) { /* what these left free */
        list->name++;
    }
}

/* ---- lines ---- */

static void print_head(const struct list *list) {
    up_text_put(list->stream, "item", list->name, false);
    if (list->which > 0) {
        fputs("  ", list->stream);
        up_text_put(list->stream, "which", list->which, false);
    }
    if (list->kind > 0) {
        fputs("  ", list->stream);
        up_text_put(list->stream, "kind", list->kind, false);
    }
    for (size_t i = 0; i < list->count; i++) {
        fputs("  ", list->stream);
        up_text_put(list->stream, list->waters[i], cell_columns(list, i), list->style->isolate);
    }
    fputs("  ", list->stream);
    if (list->any_unusual) {
        up_text_put(list->stream, "within", WITHIN_COLUMNS + 2, false);
    }
    fputs("id\n", list->stream);
}

static const struct up_row *find_row(const struct up_rows *rows, const char *item_id,
                                     const char *water) {
    for (size_t i = 0; i < rows->count; i++) {
        if (strcmp(rows->row[i].item_id, item_id) == 0 && strcmp(rows->row[i].water, water) == 0) {
            return &rows->row[i];
        }
    }
    return NULL;
}

static void print_cell(const struct list *list, const struct up_row *row, size_t water) {
    char net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE], marks[MARKS_SIZE];
    fputs("  ", list->stream);
    if (row == NULL) {
        up_text_put(list->stream, "-", cell_columns(list, water), false);
        return;
    }
    shown_net(list, row, net, u);
    up_style_class(list->style, row->aside[0] != '\0' ? "put aside" : row->class, CLASS_COLUMNS,
                   list->stream);
    marks_of(row, marks);
    fprintf(list->stream, " %*s %*s%-*s", list->net[water], net, list->uncertainty[water], u,
            list->marks, marks);
}

/* The tolerance of an item, where it is not the usual one; where its waters differ, the widest. */
static void print_within(const struct list *list, const char *item_id) {
    char within[UP_SHOWN_SIZE] = "";
    double most_g = -1;
    for (size_t i = 0; i < list->count; i++) {
        const struct up_row *row = find_row(list->rows, item_id, list->waters[i]);
        if (row != NULL && row->unusual && !(row->tolerance_g < most_g)) {
            most_g = row->tolerance_g;
            up_style_lead(list->style, row->tolerance_g, within);
        }
    }
    up_text_put(list->stream, within, WITHIN_COLUMNS + 2, false);
}

static const char *elsewhere_mark(const struct up_item *item) {
    return item->elsewhere ? " " UP_ELSEWHERE_MARK : "";
}

static void print_item(const struct list *list, const struct up_item *item) {
    UP_FREED char *title = title_of(list, item);
    up_text_put(list->stream, title, list->name, list->style->isolate);
    if (list->which > 0) {
        fputs("  ", list->stream);
        up_text_put(list->stream, distinction_of(list, item), list->which, list->style->isolate);
    }
    if (list->kind > 0) {
        fputs("  ", list->stream);
        up_text_put(list->stream, item->kind, list->kind, list->style->isolate);
    }
    for (size_t i = 0; i < list->count; i++) {
        print_cell(list, find_row(list->rows, item->id, list->waters[i]), i);
    }
    UP_FREED char *id = up_text_for_terminal(item->id); /* a beginning finds it again */
    fputs("  ", list->stream);
    if (list->any_unusual) {
        print_within(list, item->id);
    }
    fprintf(list->stream, "%.*s%s\n", ID_SHOWN, id, elsewhere_mark(item));
}

/* Each item once, its name in a run of its own. */
static void print_fillings(const struct list *list) {
    for (size_t i = 0; i < list->rows->count; i++) {
        const struct up_row *row = &list->rows->row[i];
        if (row->filling[0] == '\0' || !is_listed(list, row->item_id) ||
            (i > 0 && strcmp(row->item_id, list->rows->row[i - 1].item_id) == 0)) {
            continue;
        }
        UP_FREED char *safe = up_text_for_terminal(row->filling);
        up_text_put(list->stream, row->name, 0, list->style->isolate);
        fprintf(list->stream, ": %s\n", safe);
    }
}

static void print_left_out(const struct list *list) {
    const struct up_items *items = list->items;
    if (items->others > 0) {
        fprintf(list->stream, "%zu of %zu item%s shown; `upthrust item list` shows all\n",
                items->count, items->count + items->others + items->retired,
                up_text_plural(items->count + items->others + items->retired));
    }
    if (items->retired > 0) {
        fprintf(list->stream, "%zu retired item%s not shown: add --retired\n", items->retired,
                up_text_plural(items->retired));
    }
}

static void print_foot(const struct list *list, size_t more) {
    print_fillings(list);
    print_left_out(list);
    if (list->items->count == 0 && list->items->others > 0) {
        return; /* no marks to be explained */
    }
    if (list->count == 0) {
        fputs("nothing is measured yet: `upthrust measure` does it\n", list->stream);
    } else {
        fputs("+ floats, - sinks; +- is a 95 % interval; `upthrust show ITEM` shows "
              "everything\n" UP_CLAIM_WHOSE "\n" UP_CLAIM_CHECK "\n",
              list->stream);
    }
    if (list->any_stuck) {
        fputs("+a -b: the same interval; " UP_CLAIM_STUCK "\n", list->stream);
    }
    if (list->any_quick) {
        fputs("quick: a quick weighing, with a wider interval; the full one counts where there is "
              "one\n",
              list->stream);
    }
    if (list->any_at_most) {
        fputs(UP_CLAIM_AT_MOST "\n", list->stream);
    }
    if (list->any_aside) {
        fputs(UP_CLAIM_PUT_ASIDE "\n", list->stream);
    }
    if (list->any_beside) {
        fputs("of some items " UP_CLAIM_FULL_COUNTS ": `upthrust show ITEM`\n", list->stream);
    }
    if (list->any_again) {
        fputs("* judged again since it was measured, by `upthrust decide`\n", list->stream);
    }
    if (list->any_unusual) {
        fputs("within: neutral within this, which is not the usual tolerance of the kind\n",
              list->stream);
    }
    if (list->rows->withdrawn > 0) {
        fputs("calculated waters of what holds gas are withdrawn: the water squeezes it\n",
              list->stream);
    }
    if (list->rows->other_pieces > 0) {
        fputs("results of fewer or more pieces than an item's newest are left out: `upthrust show "
              "ITEM`\n",
              list->stream);
    }
    for (enum up_checked checked = UP_CHECKED_NOT; checked <= UP_CHECKED_OUTSIDE; checked++) {
        if (list->any[checked]) {
            fprintf(list->stream, "%s %s\n", up_checked_mark(checked), up_checked_meaning(checked));
        }
    }
    if (list->any[UP_CHECKED_NOT]) {
        fputs("  `upthrust body list` shows the bodies, `upthrust help body` how to add one\n",
              list->stream);
    }
    if (list->any_elsewhere) {
        fputs(UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING "\n", list->stream);
    }
    if (list->waiting > 0) {
        fprintf(list->stream,
                "of %lu item%s a version from elsewhere waits: `upthrust show ITEM`, `upthrust "
                "item accept ITEM`\n",
                list->waiting, up_text_plural(list->waiting));
    }
    if (more > 0) {
        fputs("there are results for other waters: name one with --water\n", list->stream);
    }
}

/* Too wide for the terminal however short its names: a line for each water. */
static void print_tall(const struct list *list, const struct up_item *item) {
    UP_FREED char *title = title_of(list, item);
    UP_FREED char *id = up_text_for_terminal(item->id);
    up_text_put(list->stream, title, 0, list->style->isolate);
    if (list->which > 0) {
        fputs(", ", list->stream);
        up_text_put(list->stream, distinction_of(list, item), 0, list->style->isolate);
    }
    fprintf(list->stream, "  %.*s%s\n", ID_SHOWN, id, elsewhere_mark(item));
    for (size_t i = 0; i < list->count; i++) {
        const struct up_row *row = find_row(list->rows, item->id, list->waters[i]);
        char within[UP_SHOWN_SIZE];
        fputs("  ", list->stream);
        up_text_put(list->stream, list->waters[i], WATER_COLUMNS, list->style->isolate);
        print_cell(list, row, i);
        if (row != NULL && row->unusual) {
            up_style_lead(list->style, row->tolerance_g, within);
            fprintf(list->stream, "  within %s", within);
        }
        fputc('\n', list->stream);
    }
}

static void print_list(struct list *list, bool waters_asked, size_t more) {
    measure_texts(list);
    measure_numbers(list);
    fit_terminal(list, waters_asked, &more);
    bool tall = is_too_wide(list);
    if (!tall) {
        print_head(list);
    }
    for (size_t i = 0; i < list->items->count; i++) {
        (tall ? print_tall : print_item)(list, &list->items->item[i]);
    }
    print_foot(list, more);
}

/* Of how many of the items that are listed a version from elsewhere waits; of a whole list, in one
   go. */
static bool count_waiting(struct up_catalogue *catalogue, const struct up_choice *choice,
                          unsigned long *waiting, struct up_failure *failure) {
    bool good = choice->only != NULL || up_items_waiting(catalogue, NULL, waiting, failure);
    const char *id;
    json_t *value;
    json_object_foreach(choice->only, id, value) {
        unsigned long of_one = 0;
        good = good && up_items_waiting(catalogue, id, &of_one, failure);
        *waiting += of_one;
    }
    return good;
}

bool up_items_print(struct up_catalogue *catalogue, const struct up_choice *choice,
                    const struct up_style *style, FILE *stream, struct up_failure *failure) {
    struct up_rows rows;
    struct up_items items;
    const char *chosen[WATERS_MOST];
    size_t more = 0;
    if (!up_rows_load(catalogue, &rows, failure)) {
        return false;
    }
    bool asked = choice->water_count > 0;
    struct list list = {.rows = &rows, .items = &items, .style = style, .stream = stream};
    list.waters = asked ? choice->waters : chosen;
    list.count = asked ? choice->water_count : choose_waters(&rows, chosen, &more);
    list.count = list.count > 64 ? 64 : list.count;
    list.distinction = up_items_distinctions(catalogue, failure);
    bool good = up_items_load(catalogue, &rows, choice, &items, failure) &&
                list.distinction != NULL &&
                count_waiting(catalogue, choice, &list.waiting, failure);
    if (good) {
        print_list(&list, asked, more);
    }
    json_decref(list.distinction);
    up_items_release(&items);
    up_rows_release(&rows);
    return good;
}
