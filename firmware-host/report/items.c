/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/items.h"

#include <stdlib.h>
#include <string.h>

#include "text/text.h"

/* ---- what fits ---- */

/* Wanted: the choice with its texts folded; what is NULL there fits anything. */
struct wanted {
    const struct up_choice *choice;
    const struct up_rows *rows;
    char **text;
    struct up_items *items;
    size_t room;
};

static bool is_same(const char *is, const char *wanted) {
    if (wanted == NULL) {
        return true;
    }
    char *one = up_text_folded(is), *other = up_text_folded(wanted);
    bool same = strcmp(one, other) == 0;
    free(one);
    free(other);
    return same;
}

/* As ids are named everywhere: by their beginning. */
static bool begins(const char *id, const char *text) {
    enum { LEAST = 4 };
    return strlen(text) >= LEAST && strncmp(id, text, strlen(text)) == 0;
}

static bool has_texts(const struct wanted *wanted, const struct up_item *item) {
    bool good = true;
    if (wanted->choice->texts == 0) {
        return true;
    }
    UP_FREED char *all =
        up_text_format("%s\n%s\n%s\n%s\n%s\n%s\n%s\n%s", item->name, item->kind, item->maker,
                       item->model, item->size, item->side, item->stock_number, item->note);
    UP_FREED char *folded = up_text_folded(all);
    for (size_t i = 0; good && i < wanted->choice->texts; i++) {
        good = strstr(folded, wanted->text[i]) != NULL || begins(item->id, wanted->text[i]);
    }
    return good;
}

static bool is_water_wanted(const struct up_choice *choice, const char *water) {
    bool wanted = choice->water_count == 0;
    for (size_t i = 0; !wanted && i < choice->water_count; i++) {
        wanted = strcmp(choice->waters[i], water) == 0;
    }
    return wanted;
}

/* One of its results has the class, the water and the bench that are asked for. */
static bool has_result(const struct wanted *wanted, const char *item_id) {
    const struct up_choice *choice = wanted->choice;
    if (choice->class == NULL && choice->bench == NULL && choice->water_count == 0) {
        return true;
    }
    for (size_t i = 0; i < wanted->rows->count; i++) {
        const struct up_row *row = &wanted->rows->row[i];
        if (strcmp(row->item_id, item_id) == 0 && is_water_wanted(choice, row->water) &&
            is_same(row->class, choice->class) && is_same(row->bench, choice->bench)) {
            return true;
        }
    }
    return false;
}

static bool fits(const struct wanted *wanted, const struct up_item *item) {
    const struct up_choice *choice = wanted->choice;
    return (choice->only == NULL || json_object_get(choice->only, item->id) != NULL) &&
           is_same(item->kind, choice->kind) && is_same(item->maker, choice->maker) &&
           is_same(item->model, choice->model) && is_same(item->size, choice->size) &&
           has_texts(wanted, item) && has_result(wanted, item->id);
}

static bool add_if_chosen(const struct up_record *record, void *context) {
    struct wanted *wanted = context;
    struct up_items *items = wanted->items;
    struct up_item item;
    if (!up_item_from_json(record->content, &item)) {
        return true;
    }
    memcpy(item.id, record->subject, sizeof item.id);
    item.elsewhere = record->elsewhere;
    if (!fits(wanted, &item)) {
        items->others++;
    } else if (item.retired && !wanted->choice->retired) {
        items->retired++;
    } else {
        if (items->count == wanted->room) {
            wanted->room = wanted->room == 0 ? 16 : 2 * wanted->room;
            items->item = up_reallocate(items->item, wanted->room, sizeof *items->item);
        }
        items->item[items->count++] = item;
    }
    return true;
}

/* ---- order ---- */

enum order { BY_NAME, BY_KIND, BY_MAKER, BY_MODEL, BY_SIZE, BY_UP, BY_NEWEST, ORDERS };
const char *const up_item_orders[] = {"name", "kind", "maker",  "model",
                                      "size", "up",   "newest", NULL};

struct sort_entry {
    char *key;    /* of a text */
    size_t place; /* of what is no text, and of equals: as they stood */
    struct up_item item;
};

static int by_place(const void *a, const void *b) {
    const struct sort_entry *x = a, *y = b;
    int texts = strcmp(x->key, y->key);
    return texts != 0 ? texts : x->place < y->place ? -1 : x->place > y->place;
}

/* Rows stand from the most buoyant down; what is not measured comes last. */
static size_t row_of(const struct up_rows *rows, const char *item_id) {
    size_t i = 0;
    while (i < rows->count && strcmp(rows->row[i].item_id, item_id) != 0) {
        i++;
    }
    return i;
}

/* The newest first, so each digit is turned about. */
static char *newest_key(const struct up_rows *rows, const char *item_id) {
    const char *newest = "";
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        if (strcmp(row->item_id, item_id) == 0 && strcmp(row->made_utc, newest) > 0) {
            newest = row->made_utc;
        }
    }
    char *key = up_text_format("%s", newest[0] != '\0' ? newest : ":");
    for (char *at = key; *at != '\0'; at++) {
        *at = (char)(*at >= '0' && *at <= '9' ? '9' - (*at - '0') : *at);
    }
    return key;
}

static char *key_of(const struct up_rows *rows, const struct up_item *item, enum order order) {
    const char *const texts[] = {item->name, item->kind, item->maker, item->model, item->size};
    return order <= BY_SIZE     ? up_text_folded(texts[order])
           : order == BY_NEWEST ? newest_key(rows, item->id)
                                : up_text_format("%s", "");
}

static void sort_items(const struct up_rows *rows, const char *word, struct up_items *items) {
    enum order order = BY_NAME;
    while (order < ORDERS && strcmp(up_item_orders[order], word) != 0) {
        order++;
    }
    UP_FREED struct sort_entry *sort_entry = up_allocate(items->count + 1, sizeof *sort_entry);
    for (size_t i = 0; i < items->count; i++) {
        const struct up_item *item = &items->item[i];
        sort_entry[i] = (struct sort_entry){key_of(rows, item, order),
                                            order == BY_UP ? row_of(rows, item->id) : i, *item};
    }
    qsort(sort_entry, items->count, sizeof *sort_entry, by_place);
    for (size_t i = 0; i < items->count; i++) {
        items->item[i] = sort_entry[i].item;
        free(sort_entry[i].key);
    }
}

bool up_items_load(struct up_catalogue *catalogue, const struct up_rows *rows,
                   const struct up_choice *choice, struct up_items *items,
                   struct up_failure *failure) {
    struct wanted wanted = {.choice = choice, .rows = rows, .items = items};
    *items = (struct up_items){0};
    wanted.text = up_allocate(choice->texts + 1, sizeof *wanted.text);
    for (size_t i = 0; i < choice->texts; i++) {
        wanted.text[i] = up_text_folded(choice->text[i]);
    }
    bool good = up_catalogue_each(catalogue, "item", add_if_chosen, &wanted, failure);
    if (good && choice->sort != NULL) {
        sort_items(rows, choice->sort, items);
    }
    for (size_t i = 0; i < choice->texts; i++) {
        free(wanted.text[i]);
    }
    free(wanted.text);
    return good;
}

void up_items_release(struct up_items *items) {
    free(items->item);
    *items = (struct up_items){0};
}

/* ---- items of one name ---- */

/* Longer, and there would be no room for the name. */
enum { DISTINCTION_BYTES = 32, ID_SHOWN = 8, PARTS = 5, SPANS = 10 };

struct distinction {
    json_t *count; /* of items that look alike, by name and what follows it */
    json_t *text;  /* by id */
};

/*
 * The text for an item: its name alone, one part, several parts; the shortest unique one is used.
 * */
static const struct span {
    int from, to;
} spans[SPANS] = {{0, 0}, {0, 1}, {1, 2}, {2, 3}, {3, 4}, {4, 5}, {0, 2}, {0, 3}, {0, 4}, {0, 5}};

/* "" where the last part of the span is unknown: the rest alone adds nothing. */
static char *distinguishing_text(const struct up_item *item, int span) {
    const int from = spans[span].from, to = spans[span].to;
    const char *const is[PARTS] = {item->size, item->maker, item->model, item->side,
                                   item->stock_number};
    static const char *const label[PARTS] = {"size ", "maker ", "model ", "", "stock number "};
    char *text = up_text_format("%s", "");
    for (int i = from; i < to && is[to - 1][0] != '\0'; i++) {
        char *more = is[i][0] == '\0'
                         ? up_text_format("%s", text)
                         : up_text_format("%s%s%s%s", text, text[0] ? ", " : "", label[i], is[i]);
        free(text);
        text = more;
    }
    return text;
}

static char *appearance_of(const struct up_item *item, int span) {
    UP_FREED char *text_of_span = distinguishing_text(item, span);
    UP_FREED char *both = up_text_format("%d%s\n%s", span, item->name, text_of_span);
    return up_text_skeleton(both);
}

static json_int_t count_alike(const struct distinction *distinction, const struct up_item *item,
                              int span) {
    UP_FREED char *appearance = appearance_of(item, span);
    json_int_t count = json_integer_value(json_object_get(distinction->count, appearance));
    return count;
}

static bool count_appearances(const struct up_record *record, void *context) {
    struct distinction *distinction = context;
    struct up_item item;
    if (!up_item_from_json(record->content, &item)) {
        return true;
    }
    for (int span = 0; span < SPANS; span++) {
        UP_FREED char *appearance = appearance_of(&item, span);
        json_int_t count = json_integer_value(json_object_get(distinction->count, appearance));
        json_object_set_new_nocheck(distinction->count, appearance, json_integer(count + 1));
    }
    return true;
}

static bool distinguish(const struct up_record *record, void *context) {
    struct distinction *distinction = context;
    struct up_item item;
    if (!up_item_from_json(record->content, &item) || count_alike(distinction, &item, 0) < 2) {
        return true;
    }
    UP_FREED char *text_of_span = NULL;
    bool is_unique = false;
    for (int span = 1; span < SPANS && !is_unique; span++) {
        free(text_of_span);
        text_of_span = distinguishing_text(&item, span);
        is_unique = text_of_span[0] != '\0' && strlen(text_of_span) <= DISTINCTION_BYTES &&
                    count_alike(distinction, &item, span) < 2;
    }
    char *text = is_unique ? up_text_format("%s", text_of_span)
                           : up_text_format("%.*s", ID_SHOWN, record->subject);
    json_object_set_new_nocheck(distinction->text, record->subject, json_string_nocheck(text));
    free(text);
    return true;
}

json_t *up_items_distinctions(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct distinction distinction = {json_object(), json_object()};
    bool good = up_catalogue_each(catalogue, "item", count_appearances, &distinction, failure) &&
                up_catalogue_each(catalogue, "item", distinguish, &distinction, failure);
    json_decref(distinction.count);
    if (!good) {
        json_decref(distinction.text);
    }
    return good ? distinction.text : NULL;
}
