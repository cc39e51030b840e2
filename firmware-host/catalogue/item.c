/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "catalogue/claim.h"
#include "internal.h"
#include "text/text.h"

enum { PIECES_MAX = 12 };

static const struct catalogue_noun noun = {"item", "item", "items", "an item", "item"};

/* Ids in one text, separated by blanks, as in a column of a table. */
static json_t *parts_to_json(const void *from) {
    const struct up_item *item = from;
    char text[UP_PARTS_MAX * UP_ID_SIZE + 1] = "";
    size_t length = 0;
    for (int i = 0; i < item->parts && i < UP_PARTS_MAX; i++) {
        length += (size_t)snprintf(text + length, sizeof text - length, "%s%.36s", i > 0 ? " " : "",
                                   item->part_id[i]);
    }
    return item->parts > 0 ? up_json_text(text) : NULL;
}

static bool parts_from_json(const json_t *value, void *to) {
    struct up_item *item = to;
    const char *text = json_string_value(value);
    item->parts = 0;
    while (text != NULL && *text != '\0') {
        size_t length = strcspn(text, " ");
        if (item->parts == UP_PARTS_MAX || length != UP_ID_SIZE - 1) {
            return false;
        }
        memcpy(item->part_id[item->parts++], text, length);
        text += length + (text[length] == ' ');
    }
    return true;
}

/* ---- whether it holds gas ---- */

static const char *const gas_words[] = {"no", "yes", "unknown", NULL};

static json_t *gas_to_json(const void *from) {
    enum up_holds_gas holds = ((const struct up_item *)from)->holds_gas;
    return holds != UP_GAS_NOT_STATED ? json_string(gas_words[holds - UP_GAS_NO]) : NULL;
}

enum up_holds_gas up_holds_gas_of(const char *word) {
    for (int i = 0; gas_words[i] != NULL; i++) {
        if (strcmp(gas_words[i], word) == 0) {
            return (enum up_holds_gas)(UP_GAS_NO + i);
        }
    }
    return UP_GAS_NOT_STATED;
}

static bool gas_from_json(const json_t *value, void *to) {
    ((struct up_item *)to)->holds_gas =
        json_is_string(value) ? up_holds_gas_of(json_string_value(value)) : UP_GAS_NOT_STATED;
    return true;
}

/* Not stated never counts as no, except for kinds that hold no gas. */
static void settle_gas(struct up_item *item) {
    if (item->holds_gas == UP_GAS_NOT_STATED && !item->compressible) {
        enum up_holds_gas usual = up_kind_facts(item->kind)->holds_gas;
        item->holds_gas = usual != UP_GAS_NOT_STATED ? usual : UP_GAS_UNKNOWN;
    } else if (item->holds_gas == UP_GAS_NOT_STATED ||
               (item->holds_gas == UP_GAS_NO && item->compressible)) {
        item->holds_gas = UP_GAS_YES;
    }
    item->compressible = item->holds_gas != UP_GAS_NO;
}

const char *const up_item_sides[] = {"left", "right", NULL};

#define MEMBERS_OF struct up_item
const struct catalogue_member catalogue_item_members[] = {
    TEXT("name", name, 0, "what the item is called here; need not be unique"),
    TEXT("kind", kind, 0, "fin, boot, hood, ..."),
    TEXT("maker", maker, 0, "who made it; may be empty"),
    TEXT("model", model, 0, "the maker's name for it; may be empty"),
    TEXT("size", size, 0, "as printed on it; may be empty"),
    INTEGER("pieces", pieces, PIECES_MAX, ABOVE_ZERO, "hung together: 1, or 2 for a pair"),
    NUMBER("tolerance_g", tolerance_g, UNIT_G, NEEDED | ABOVE_ZERO,
           "neutral is a net buoyancy of up to this, either way"),
    NUMBER("expansion_per_k", expansion_per_k, UNIT_PER_K, NEEDED, "volume expansion, estimate"),
    NUMBER("u_expansion_per_k", u_expansion_per_k, UNIT_PER_K, NEEDED | NOT_NEGATIVE,
           "its standard uncertainty"),
    TRUTH("compressible", compressible, 0, "foam or closed air: a result holds at its depth only"),
    {OWN("part_ids", MEMBER_TEXT, LATER, parts_to_json, parts_from_json,
         "items measured together as this one, a space between their ids")},
    {OWN("holds_gas", MEMBER_TEXT, LATER, gas_to_json, gas_from_json,
         "gas that the water squeezes: yes, no or unknown, which counts as yes"),
     .words = gas_words},
    TEXT_AS(IN_TEXT_OR_NULL, "stock_number", stock_number, LATER, "the owner's own number for it"),
    TEXT_AS(IN_TEXT_OR_NULL, "note", note, LATER, "what the owner noted"),
    {ROW("side", MEMBER_TEXT, IN_TEXT_OR_NULL, LATER, "left or right piece of a pair"),
     .words = up_item_sides, AT(side)},
    TRUTH("retired", retired, LATER, "kept, but no longer shown unless asked for"),
    END};
#undef MEMBERS_OF

json_t *up_item_to_json(const struct up_item *item) {
    return members_to_json(catalogue_item_members, item);
}

bool up_item_from_json(const json_t *content, struct up_item *item) {
    memset(item, 0, sizeof *item);
    bool good = members_from_json(catalogue_item_members, content, item);
    item->pieces = item->pieces > 0 ? item->pieces : 1;
    settle_gas(item);
    return good;
}

/* ---- adding and finding ---- */

static bool check_texts(struct up_item *item, struct up_failure *failure) {
    return catalogue_clean_name(item->name, &noun, "name", true, failure) &&
           catalogue_clean_name(item->kind, &noun, "kind", true, failure) &&
           catalogue_clean_name(item->maker, &noun, "maker", false, failure) &&
           catalogue_clean_name(item->model, &noun, "model", false, failure) &&
           catalogue_clean_name(item->size, &noun, "size", false, failure) &&
           catalogue_clean_name(item->stock_number, &noun, "stock-number", false, failure) &&
           catalogue_clean_name(item->note, &noun, "note", false, failure);
}

static bool check_numbers(const struct up_item *item, struct up_failure *failure) {
    if (item->pieces < 1 || item->pieces > PIECES_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "an item has 1 to %d pieces, not %d",
                       PIECES_MAX, item->pieces);
    }
    double most_g = up_tolerance_most_g(item->pieces);
    if (!(item->tolerance_g >= UP_TOLERANCE_LEAST_G && item->tolerance_g <= most_g)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--tolerance-g %g: %s is neutral within %g g to %g g", item->tolerance_g,
                       item->pieces > 1 ? "a pair" : "one piece", UP_TOLERANCE_LEAST_G, most_g);
    }
    return (isfinite(item->expansion_per_k) && isfinite(item->u_expansion_per_k) &&
            item->u_expansion_per_k >= 0) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "an item's expansion must be a number");
}

/* ---- measured items keep their pieces ---- */

struct search {
    const char *item_id;
    bool found;
};

static bool find_weighing(const struct up_record *record, void *context) {
    struct search *search = context;
    search->found = !record->elsewhere &&
                    strcmp(up_record_text(record->content, "item_id"), search->item_id) == 0;
    return !search->found;
}

static bool find_pieces(const struct up_record *record, void *context) {
    struct up_item item;
    if (up_item_from_json(record->content, &item)) {
        *(int *)context = item.pieces;
    }
    return false; /* the first is the current one */
}

/* A result of one fin must not be listed as that of a pair: the pieces of an item that was weighed
   stay. */
static bool check_pieces(struct up_catalogue *catalogue, const struct up_item *item,
                         struct up_failure *failure) {
    static const char *const weighings[][2] = {
        {"trial", "SELECT record FROM typed_trial WHERE item_id = ?2"},
        {"result", "SELECT record FROM typed_result WHERE item_id = ?2"},
    };
    struct search search = {.item_id = item->id};
    int pieces = item->pieces;
    if (item->id[0] == '\0') {
        return true;
    }
    if (!up_catalogue_each_live(catalogue, "item", item->id, find_pieces, &pieces, failure)) {
        return false;
    }
    if (pieces == item->pieces) {
        return true;
    }
    for (size_t i = 0; i < 2 && !search.found; i++) {
        if (!catalogue_each_in(catalogue, weighings[i][0], weighings[i][1], item->id, find_weighing,
                               &search, failure)) {
            return false;
        }
    }
    return !search.found || up_fail(failure, UP_STATUS_WRONG_INPUT,
                                    "%.80s was measured with %d %s: its results would be read as "
                                    "those of %d; add the %s as a new item",
                                    item->name, pieces, pieces == 1 ? "piece" : "pieces",
                                    item->pieces, item->pieces == 2 ? "pair" : "other pieces");
}

bool up_item_add(struct up_catalogue *catalogue, struct up_item *item, struct up_failure *failure) {
    settle_gas(item);
    return check_texts(item, failure) && check_numbers(item, failure) &&
           check_pieces(catalogue, item, failure) &&
           catalogue_settle_id(item->id, &noun, failure) &&
           catalogue_put_version(catalogue, &noun, item->id, up_item_to_json(item), failure);
}

bool up_item_find(struct up_catalogue *catalogue, const char *name_or_id, struct up_item *item,
                  struct up_failure *failure) {
    struct catalogue_found found;
    if (!catalogue_find(catalogue, &noun, name_or_id, &found, failure)) {
        return false;
    }
    bool good = up_item_from_json(found.content, item) || catalogue_fail_found(&found, failure);
    memcpy(item->id, found.id, sizeof item->id);
    item->elsewhere = found.elsewhere;
    json_decref(found.content);
    return good;
}

/* ---- names that look alike ---- */

struct look_alike {
    const struct up_item *item;
    char *skeleton; /* of its name */
    struct up_item *other;
};

static bool compare_name(const struct up_record *record, void *context) {
    struct look_alike *sought = context;
    struct up_item other;
    if (strcmp(record->subject, sought->item->id) == 0 ||
        !up_item_from_json(record->content, &other)) {
        return true;
    }
    UP_FREED char *skeleton = up_text_skeleton(other.name);
    bool alike = strcmp(skeleton, sought->skeleton) == 0;
    if (alike) {
        *sought->other = other;
        memcpy(sought->other->id, record->subject, sizeof record->subject);
        sought->other->elsewhere = record->elsewhere;
    }
    return !alike;
}

bool up_item_look_alike(struct up_catalogue *catalogue, const struct up_item *item,
                        struct up_item *other, struct up_failure *failure) {
    struct look_alike sought = {item, up_text_skeleton(item->name), other};
    other->id[0] = '\0';
    bool good =
        catalogue_each_in(catalogue, "item", "SELECT record FROM typed_item WHERE look = ?2",
                          sought.skeleton, compare_name, &sought, failure);
    free(sought.skeleton);
    return good;
}

bool up_items_called(struct up_catalogue *catalogue, const char *text,
                     bool (*visit)(const struct up_record *record, void *context), void *context,
                     struct up_failure *failure) {
    return text[0] == '\0' ||
           catalogue_each_in(catalogue, "item",
                             "SELECT record FROM typed_item WHERE stock_number = ?2"
                             " UNION SELECT record FROM typed_item WHERE name = ?2 COLLATE NOCASE"
                             " UNION SELECT record FROM typed_item WHERE subject >= lower(?2)"
                             " AND subject < lower(?2) || '~'",
                             text, visit, context, failure);
}

/* ---- versions of elsewhere ---- */

/* Each list is made once, not for each version. `and` restricts them to one item. */
#define HELD(and) "FROM record AS o WHERE o.kind = 'item'" and " AND " CATALOGUE_IS_HELD("o.id")
#define OUT(and)                                                                                   \
    "FROM left_out AS l JOIN record AS o ON o.id = l.record_id AND o.sha256 = l.sha256"            \
    " WHERE o.kind = 'item'" and
#define R_IS_LEFT_OUT CATALOGUE_LEFT_OUT("r", "")
#define WAITS(and)                                                                                    \
    "r.kind = 'item' AND r.subject IN (SELECT subject " HELD(and) " UNION SELECT o.subject " OUT(     \
        and) ") AND (r.subject IN (SELECT subject " HELD(and) ") OR " R_IS_LEFT_OUT                   \
                                                              ") AND (r.subject, r.body) NOT IN "     \
                                                              "(SELECT subject, body " HELD(          \
                                                                  and) ") "                           \
                                                                       "AND"                          \
                                                                       " " CATALOGUE_COUNTS_OR_WAITS( \
                                                                           "?1")
#define WAITS_OF_ONE "r.subject = ?2 AND " WAITS(" AND o.subject = ?2")

bool up_items_waiting(struct up_catalogue *catalogue, const char *item_id, unsigned long *items,
                      struct up_failure *failure) {
    char latest[UP_TIME_SIZE];
    catalogue_latest(latest);
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue,
        item_id != NULL ? "SELECT count(DISTINCT r.subject) FROM record AS r WHERE " WAITS_OF_ONE
                        : "SELECT count(DISTINCT r.subject) FROM record AS r WHERE " WAITS(""),
        (const char *[]){latest, item_id}, item_id != NULL ? 2 : 1, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *items = code == SQLITE_ROW ? (unsigned long)sqlite3_column_int64(statement, 0) : 0;
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

/* The newest version that waits: its id. */
static bool find_waiting(struct up_catalogue *catalogue, const char *item_id, char id[UP_ID_SIZE],
                         struct up_failure *failure) {
    char latest[UP_TIME_SIZE];
    catalogue_latest(latest);
    sqlite3_stmt *statement =
        catalogue_prepare(catalogue,
                          "SELECT r.id FROM record AS r WHERE " WAITS_OF_ONE " ORDER BY"
                          " " CATALOGUE_RANK("?1") " DESC LIMIT 1",
                          (const char *[]){latest, item_id}, 2, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    id[0] = '\0';
    if (code == SQLITE_ROW) {
        snprintf(id, UP_ID_SIZE, "%s", catalogue_text_of(statement, 0));
        code = SQLITE_DONE;
    }
    return statement != NULL && catalogue_finish(catalogue, statement, code, failure) &&
           (id[0] != '\0' || up_fail(failure, UP_STATUS_WRONG_INPUT,
                                     "no version from elsewhere waits for this item: nothing was "
                                     "changed"));
}

struct waiting {
    const char *id;
    json_t *content;
};

static bool take_waiting(const struct up_record *record, void *context) {
    struct waiting *waiting = context;
    if (strcmp(record->id, waiting->id) == 0) {
        waiting->content = json_copy(record->content);
    }
    return waiting->content == NULL;
}

/* The own versions and the accepted one are replaced; what waits beside them goes on waiting. */
static bool put_accepted(struct up_catalogue *catalogue, const char item_id[UP_ID_SIZE],
                         const struct waiting *waiting, struct up_failure *failure) {
    struct up_record record = {.kind = "item", .content = waiting->content};
    json_auto_t *ids = up_catalogue_live_ids(catalogue, "item", item_id, failure);
    size_t at = 0;
    memcpy(record.subject, item_id, sizeof record.subject);
    while (at < json_array_size(ids) &&
           strcmp(json_string_value(json_array_get(ids, at)), waiting->id) < 0) {
        at++;
    }
    /* Where none is held here, it is among them. */
    const char *there = json_string_value(json_array_get(ids, at));
    bool listed = there != NULL && strcmp(there, waiting->id) == 0;
    return ids != NULL &&
           (listed || json_array_insert_new(ids, at, json_string(waiting->id)) == 0) &&
           catalogue_put(catalogue, &record, ids, failure);
}

/* A version that an edit would refuse is not accepted either. */
static bool check_accepted(struct up_catalogue *catalogue, const char item_id[UP_ID_SIZE],
                           const struct waiting *waiting, struct up_item *item,
                           struct up_failure *failure) {
    bool good = waiting->content != NULL && up_item_from_json(waiting->content, item);
    memcpy(item->id, item_id, sizeof item->id);
    return good ? check_texts(item, failure) && check_numbers(item, failure) &&
                      check_pieces(catalogue, item, failure)
                : up_fail(failure, UP_STATUS_WRONG_INPUT,
                          "the version from elsewhere cannot be read: nothing was changed");
}

bool up_item_accept(struct up_catalogue *catalogue, const char item_id[UP_ID_SIZE],
                    struct up_item *item, struct up_failure *failure) {
    char id[UP_ID_SIZE], record_id[UP_ID_SIZE]; /* the first may be of *item */
    struct waiting waiting = {record_id, NULL};
    memcpy(id, item_id, sizeof id);
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good = find_waiting(catalogue, id, record_id, failure) &&
                up_catalogue_each_live(catalogue, "item", id, take_waiting, &waiting, failure) &&
                check_accepted(catalogue, id, &waiting, item, failure) &&
                put_accepted(catalogue, id, &waiting, failure);
    json_decref(waiting.content);
    return catalogue_end(catalogue, good, failure);
}

/* ---- a page of items ---- */

/* Items a page at a time: where a list goes on is found by an index, not by counting. */

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
