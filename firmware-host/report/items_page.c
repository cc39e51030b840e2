/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A list a page at a time: candidates come by the indices of the catalogue, and what they show
   decides, as in the whole list. */
#include <string.h>

#include "catalogue/records.h"
#include "report/items.h"
#include "text/text.h"

enum { BATCH_MOST = 1000 };

static bool focus(struct up_catalogue *catalogue, const json_t *ids, struct up_failure *failure) {
    size_t count = json_array_size(ids);
    const char **list = up_allocate(count + 1, sizeof *list);
    for (size_t i = 0; i < count; i++) {
        list[i] = json_string_value(json_array_get(ids, i));
    }
    bool good = up_catalogue_focus(catalogue, list, count, failure);
    free(list);
    return good;
}

/* Those of the candidates that the choice shows, in the candidates' order, until there are
   `limit`. */
static bool take_shown(struct up_catalogue *catalogue, const struct up_choice *choice,
                       const json_t *candidates, size_t limit, json_t *chosen,
                       struct up_failure *failure) {
    struct up_rows rows = {0};
    struct up_items items = {0};
    json_auto_t *shown = json_object();
    bool good = focus(catalogue, candidates, failure) && up_rows_load(catalogue, &rows, failure) &&
                up_items_load(catalogue, &rows, choice, &items, failure);
    for (size_t i = 0; good && i < items.count; i++) {
        json_object_set_new(shown, items.item[i].id, json_true());
    }
    for (size_t i = 0; good && i < json_array_size(candidates); i++) {
        json_t *id = json_array_get(candidates, i);
        if (json_array_size(chosen) < limit &&
            json_object_get(shown, json_string_value(id)) != NULL) {
            json_array_append(chosen, id);
        }
    }
    up_items_release(&items);
    up_rows_release(&rows);
    return good;
}

static bool gather(struct up_catalogue *catalogue, const struct up_choice *choice,
                   struct up_item_query *query, size_t limit, json_t *chosen,
                   struct up_failure *failure) {
    bool good = true, more = true;
    char after_id[UP_ID_SIZE];
    while (good && more && json_array_size(chosen) < limit) {
        json_auto_t *candidates = up_item_page(catalogue, query, failure);
        size_t count = json_array_size(candidates), before = json_array_size(chosen);
        good =
            candidates != NULL && take_shown(catalogue, choice, candidates, limit, chosen, failure);
        more = count == query->limit;
        if (good && count > 0) {
            snprintf(after_id, sizeof after_id, "%s",
                     json_string_value(json_array_get(candidates, count - 1)));
            query->after_id = after_id;
        }
        if (json_array_size(chosen) == before && query->limit < BATCH_MOST) {
            query->limit *= 2;
        }
    }
    return good;
}

bool up_items_page(struct up_catalogue *catalogue, size_t limit, const char *after_id,
                   struct up_choice *choice, bool *more, char last_id[UP_ID_SIZE],
                   struct up_failure *failure) {
    struct up_item_query query = {.kind = choice->kind,
                                  .maker = choice->maker,
                                  .model = choice->model,
                                  .size = choice->size,
                                  .class = choice->class,
                                  .text = choice->text,
                                  .texts = choice->texts,
                                  .waters = choice->waters,
                                  .water_count = choice->water_count,
                                  .sort = choice->sort != NULL ? choice->sort : "name",
                                  .retired = choice->retired,
                                  .after_id = after_id,
                                  .limit = limit + 1};
    json_auto_t *chosen = json_array();
    bool good = gather(catalogue, choice, &query, limit + 1, chosen, failure);
    *more = good && json_array_size(chosen) > limit;
    if (*more) {
        json_array_remove(chosen, limit);
    }
    choice->only = json_object();
    for (size_t i = 0; i < json_array_size(chosen); i++) {
        const char *id = json_string_value(json_array_get(chosen, i));
        json_object_set_new(choice->only, id, json_true());
        snprintf(last_id, UP_ID_SIZE, "%s", id);
    }
    choice->sort = query.sort;
    return good && focus(catalogue, chosen, failure);
}
