/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Items a page at a time: where a list goes on is found by an index, not by counting. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

enum { VALUES = 40, FEW = 2000, ID_LEAST = 4 };

struct asking {
    struct up_catalogue *catalogue;
    struct up_failure *failure;
    char *sql;
    char *value[VALUES]; /* bound in this order */
    int values;
};

static void add(struct asking *asking, char *more) {
    char *both = up_text_format("%s%s", asking->sql, more);
    free(asking->sql);
    free(more);
    asking->sql = both;
}

/* Takes the text. */
static int bind(struct asking *asking, char *text) {
    if (asking->values == VALUES) {
        free(text);
        return VALUES;
    }
    asking->value[asking->values++] = text;
    return asking->values;
}

/* Looked up where the index gives the order, too, or few are so; else the order's index is gone
   through, which soon has a page of what is frequent. */
static bool add_equal(struct asking *asking, const char *column, const char *wanted,
                      const char *sort) {
    long long count = 0;
    if (wanted == NULL) {
        return true;
    }
    UP_FREED char *folded = up_text_folded(wanted);
    UP_FREED char *few = up_text_format("SELECT count(*) FROM (SELECT 1 FROM typed_item WHERE"
                                        " folded_%s = ? LIMIT %d)",
                                        column, FEW + 1);
    bool by_index = strcmp(sort, "name") == 0 || strcmp(sort, column) == 0;
    bool good = by_index || catalogue_ask(asking->catalogue, few, folded, &count, asking->failure);
    int number = bind(asking, up_text_format("%s", folded));
    add(asking, up_text_format(" AND %sfolded_%s = ?%d", count > FEW ? "+" : "", column, number));
    return good;
}

/* A phrase of the search in FTS5: in quotes, its own quotes doubled. */
static char *phrase_of(const char *text) {
    char *phrase = up_allocate(2 * strlen(text) + 3, 1), *to = phrase;
    *to++ = '"';
    for (const char *from = text; *from != '\0'; from++) {
        if (*from == '"') {
            *to++ = '"';
        }
        *to++ = *from;
    }
    *to++ = '"';
    *to = '\0';
    return phrase;
}

static size_t characters(const char *text) {
    size_t count = 0;
    for (; *text != '\0'; text++) {
        count += ((unsigned char)*text & 0xC0) != 0x80;
    }
    return count;
}

/* A text that few items hold is looked up; one that many hold, or that has no three letters, is
   soon found by going through them in order. An id is found by its beginning. */
static bool add_text(struct asking *asking, const char *text) {
    UP_FREED char *folded = up_text_folded(text), *phrase = phrase_of(folded);
    long long count = FEW + 1;
    bool good = characters(folded) < 3 ||
                catalogue_ask(asking->catalogue,
                              "SELECT count(*) FROM (SELECT 1 FROM item_words WHERE item_words"
                              " MATCH ? LIMIT 2001)", /* FEW and one */
                              phrase, &count, asking->failure);
    int number = bind(asking, up_text_format("%s", folded));
    UP_FREED char *begins =
        strlen(folded) < ID_LEAST
            ? up_text_format("false")
            : up_text_format("subject >= ?%d AND subject < ?%d || '~'", number, number);
    if (count <= FEW) {
        int words = bind(asking, up_text_format("%s", phrase));
        add(asking, up_text_format(" AND record IN (SELECT rowid FROM item_words WHERE item_words"
                                   " MATCH ?%d UNION SELECT record FROM typed_item WHERE %s)",
                                   words, begins));
    } else {
        add(asking, up_text_format(" AND (instr((SELECT words FROM item_words WHERE rowid ="
                                   " record), ?%d) > 0 OR (%s))",
                                   number, begins));
    }
    return good;
}

/* What can have a result of such a class: more than those that have it now, never fewer. Found by
   the item: of a class there may be any number. */
static void add_class(struct asking *asking, const char *class) {
    if (class != NULL) {
        int number = bind(asking, up_text_format("%s", class));
        add(asking, up_text_format(" AND (EXISTS (SELECT 1 FROM typed_result AS r WHERE r.item_id ="
                                   " t.subject AND +r.class = ?%d) OR EXISTS (SELECT 1 FROM"
                                   " typed_decision AS d WHERE d.item_id = t.subject AND"
                                   " +d.class = ?%d))",
                                   number, number));
    }
}

static void add_waters(struct asking *asking, const char *const *waters, size_t count) {
    for (size_t i = 0; i < count; i++) {
        int number = bind(asking, up_text_format("%s", waters[i]));
        add(asking, up_text_format("%s?%d",
                                   i == 0 ? " AND EXISTS (SELECT 1 FROM typed_result AS r"
                                            " WHERE r.item_id = t.subject AND +r.water IN ("
                                          : ", ",
                                   number));
    }
    if (count > 0) {
        add(asking, up_text_format("))"));
    }
}

static const char *filter_of(const struct up_item_query *query, const char *sort) {
    return strcmp(sort, "kind") == 0    ? query->kind
           : strcmp(sort, "maker") == 0 ? query->maker
           : strcmp(sort, "model") == 0 ? query->model
           : strcmp(sort, "size") == 0  ? query->size
                                        : NULL;
}

/* Of one kind all have the same kind: then the rest of the index gives the order. */
static const char *order_of(const struct up_item_query *query) {
    static const char *const orders[][2] = {
        {"kind", "folded_kind, folded_name, subject"},
        {"maker", "folded_maker, folded_name, subject"},
        {"model", "folded_model, folded_name, subject"},
        {"size", "folded_size, folded_name, subject"},
    };
    for (size_t i = 0; i < sizeof orders / sizeof orders[0]; i++) {
        if (strcmp(orders[i][0], query->sort) == 0 && filter_of(query, query->sort) == NULL) {
            return orders[i][1];
        }
    }
    return "folded_name, subject";
}

/* Behind an item, by its own texts: an index goes straight there only where they are bound. */
static bool add_after(struct asking *asking, const char *after_id, const char *order) {
    UP_FREED char *sql = up_text_format("SELECT %s FROM typed_item WHERE subject = ?", order);
    sqlite3_stmt *statement =
        catalogue_prepare(asking->catalogue, sql, &after_id, 1, asking->failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    add(asking,
        code == SQLITE_ROW ? up_text_format(" AND (%s) > (", order) : up_text_format(" AND false"));
    for (int i = 0; code == SQLITE_ROW && i < sqlite3_column_count(statement); i++) {
        int number = bind(asking, up_text_format("%s", catalogue_text_of(statement, i)));
        add(asking, up_text_format("%s?%d", i > 0 ? ", " : "", number));
    }
    add(asking, up_text_format("%s", code == SQLITE_ROW ? ")" : ""));
    return statement != NULL &&
           catalogue_finish(asking->catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code,
                            asking->failure);
}

static bool build(struct asking *asking, const struct up_item_query *query) {
    const char *order = order_of(query);
    asking->sql = up_text_format("SELECT subject FROM typed_item AS t WHERE true%s",
                                 query->retired ? "" : " AND coalesce(retired, 0) = 0");
    bool good = add_equal(asking, "kind", query->kind, query->sort) &&
                add_equal(asking, "maker", query->maker, query->sort) &&
                add_equal(asking, "model", query->model, query->sort) &&
                add_equal(asking, "size", query->size, query->sort);
    for (size_t i = 0; good && i < query->texts; i++) {
        good = add_text(asking, query->text[i]);
    }
    add_class(asking, query->class);
    add_waters(asking, query->waters, query->water_count);
    good = good && (query->after_id == NULL || add_after(asking, query->after_id, order));
    add(asking, up_text_format(" ORDER BY %s LIMIT %zu", order, query->limit));
    return good && (asking->values < VALUES ||
                    up_fail(asking->failure, UP_STATUS_WRONG_INPUT,
                            "too many words and waters at once: give at most %d", VALUES / 2));
}

json_t *up_item_page(struct up_catalogue *catalogue, const struct up_item_query *query,
                     struct up_failure *failure) {
    struct asking asking = {.catalogue = catalogue, .failure = failure};
    json_t *ids = json_array();
    int code = SQLITE_ERROR;
    bool good = catalogue_refresh(catalogue, failure) && build(&asking, query);
    sqlite3_stmt *statement =
        good ? catalogue_prepare(catalogue, asking.sql, (const char *const *)asking.value,
                                 asking.values, failure)
             : NULL;
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        json_array_append_new(ids, json_string(catalogue_text_of(statement, 0)));
    }
    good = statement != NULL && catalogue_finish(catalogue, statement, code, failure);
    for (int i = 0; i < asking.values; i++) {
        free(asking.value[i]);
    }
    free(asking.sql);
    if (!good) {
        json_decref(ids);
    }
    return good ? ids : NULL;
}
