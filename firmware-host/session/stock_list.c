/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is to be weighed: a list of names, one a line, or a shop's stock list as CSV, whose header
   says which column is what. What the catalogue does not know yet is added with the kind that the
   list gives it. */
#include "session/stock_list.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "catalogue/kind.h"
#include "catalogue/records.h"
#include "text/text.h"

enum { LIST_MOST_BYTES = 1 << 20, CELLS_MAX = 64 };

/* A scale for dry items that is told without its uncertainty: a gram (our choice). */
static const double U_MASS_KG = 0.001, MASS_LEAST_KG = 0.001, MASS_MOST_KG = 100;

/* ---- what is known already ---- */

struct known {
    char *stock_number, *name; /* sought; either may be empty */
    struct up_item by_number, by_name;
    unsigned numbers, names; /* that match; of here before those of elsewhere */
    bool number_elsewhere, name_elsewhere;
    bool of_row;         /* a guest's number counts where the names agree: all shops count from 1 */
    unsigned meant_here; /* of here, whose name it is or whose id begins so */
};

/* All rows in one reading of the catalogue. */
struct sought {
    struct known *known;
    size_t count;
};

static void take_match(const struct up_item *item, bool elsewhere, struct up_item *match,
                       unsigned *count, bool *match_elsewhere) {
    if (*count > 0 && elsewhere != *match_elsewhere) {
        if (elsewhere) {
            return;
        }
        *count = 0;
    }
    *match = *item;
    match->elsewhere = *match_elsewhere = elsewhere;
    ++*count;
}

static bool is_meant(const char *text, const struct up_item *item) {
    enum { ID_LEAST = 4 };
    size_t length = strlen(text);
    return strcasecmp(text, item->name) == 0 ||
           (length >= ID_LEAST && strncasecmp(text, item->id, length) == 0);
}

static bool is_other_name(const struct known *known, const char *name) {
    return known->of_row && known->name[0] != '\0' && strcmp(known->name, name) != 0;
}

static void consider(struct known *known, const struct up_item *item, bool elsewhere) {
    known->meant_here += !elsewhere && is_meant(known->name, item);
    if (known->stock_number[0] != '\0' && strcmp(item->stock_number, known->stock_number) == 0 &&
        !(elsewhere && is_other_name(known, item->name))) {
        take_match(item, elsewhere, &known->by_number, &known->numbers, &known->number_elsewhere);
    }
    if (known->name[0] != '\0' && strcmp(item->name, known->name) == 0) {
        take_match(item, elsewhere, &known->by_name, &known->names, &known->name_elsewhere);
    }
}

static bool consider_item(const struct up_record *record, void *context) {
    const struct sought *sought = context;
    struct up_item item;
    if (!up_item_from_json(record->content, &item) || item.retired) {
        return true;
    }
    memcpy(item.id, record->subject, sizeof item.id);
    for (size_t i = 0; i < sought->count; i++) {
        consider(&sought->known[i], &item, record->elsewhere);
    }
    return true;
}

static bool fail_ambiguous(const char *what, const char *text, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%.20s %.80s: several items have it; give another one of them, or an id", what,
                   text);
}

/* By a text that may be its stock number, its name or its id. */
static bool resolve(const struct known *known, struct up_catalogue *catalogue, struct up_item *item,
                    struct up_failure *failure) {
    bool guests = known->numbers > 0 && known->number_elsewhere;
    if (known->meant_here == 1 && known->names == 1 && (known->numbers == 0 || guests)) {
        *item = known->by_name;
        return true;
    }
    /* A guest's number stands behind whatever is called so here. */
    if (known->numbers == 0 || (guests && known->meant_here > 0)) {
        return up_item_find(catalogue, known->name, item, failure);
    }
    *item = known->by_number;
    return known->numbers == 1 || fail_ambiguous("the stock number", known->stock_number, failure);
}

bool up_stock_find(struct up_catalogue *catalogue, const char *text, struct up_item *item,
                   struct up_failure *failure) {
    UP_FREED char *clean = up_text_clean(text, strlen(text)); /* as names are stored */
    struct known known = {.stock_number = clean, .name = clean};
    struct sought sought = {&known, 1};
    return up_items_called(catalogue, clean, consider_item, &sought, failure) &&
           resolve(&known, catalogue, item, failure);
}

/* ---- one row ---- */

enum column {
    STOCK_NAME,
    STOCK_NUMBER,
    STOCK_KIND,
    STOCK_SIZE,
    STOCK_MAKER,
    STOCK_MODEL,
    STOCK_PIECES,
    STOCK_MASS,
    STOCK_U_MASS,
    COLUMNS
};
static const char *const headers[COLUMNS] = {
    [STOCK_NAME] = "name",     [STOCK_NUMBER] = "stock number", [STOCK_KIND] = "kind",
    [STOCK_SIZE] = "size",     [STOCK_MAKER] = "maker",         [STOCK_MODEL] = "model",
    [STOCK_PIECES] = "pieces", [STOCK_MASS] = "mass g",         [STOCK_U_MASS] = "u mass g"};

struct list {
    struct up_queue *queue;
    struct up_catalogue *catalogue;
    int line;
    char separator;     /* of a stock list */
    int place[COLUMNS]; /* of each column; -1: there is none */
    char *cell[CELLS_MAX];
    int cells;
    bool bad_quotes;
    bool gathers; /* the first reading: of what is sought only */
    struct sought sought;
    size_t row;
};

static bool wrong(const struct list *list, struct up_failure *failure, const char *text) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT, "%.80s, line %d: %.320s", list->queue->path,
                   list->line, text);
}

static const char *cell_of(const struct list *list, enum column column) {
    int place = list->place[column];
    return place >= 0 && place < list->cells ? list->cell[place] : "";
}

/* Two that could not be told apart once both are in the catalogue: by one number, or by one name,
   where only a name was given. The list could then never be continued. */
static bool is_like(const struct up_queue_entry *a, const struct up_queue_entry *b) {
    const char *number = a->item.stock_number;
    return (a->is_new || b->is_new) &&
           ((number[0] != '\0' && strcmp(number, b->item.stock_number) == 0) ||
            ((a->by_name || b->by_name) && strcmp(a->item.name, b->item.name) == 0));
}

static bool add_entry(const struct list *list, const struct up_queue_entry *entry,
                      struct up_failure *failure) {
    struct up_queue *queue = list->queue;
    char text[200];
    for (unsigned i = 0; i < queue->count; i++) {
        const struct up_item *other = &queue->entry[i].item;
        bool same = strcmp(other->id, entry->item.id) == 0 ||
                    (entry->is_new && queue->entry[i].is_new &&
                     strcmp(other->name, entry->item.name) == 0 &&
                     strcmp(other->stock_number, entry->item.stock_number) == 0);
        if (same) {
            snprintf(text, sizeof text, "%.80s is listed twice", entry->item.name);
            return wrong(list, failure, text);
        }
        if (is_like(&queue->entry[i], entry)) {
            snprintf(
                text, sizeof text,
                "%.60s and %.60s have one number, or one name: give each a stock number of its own",
                other->name, entry->item.name);
            return wrong(list, failure, text);
        }
    }
    if (queue->count == UP_QUEUE_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%.80s: more than %d items", queue->path,
                       UP_QUEUE_MAX);
    }
    queue->entry[queue->count++] = *entry;
    return true;
}

static bool set_text(const struct list *list, enum column column, char to[UP_NAME_SIZE],
                     struct up_failure *failure) {
    UP_FREED char *clean = up_text_clean(cell_of(list, column), strlen(cell_of(list, column)));
    snprintf(to, UP_NAME_SIZE, "%s", clean);
    return strlen(clean) < UP_NAME_SIZE || wrong(list, failure, "a text is too long");
}

/* "1,500" and "1.500" are a number and a half, or a thousand of them. */
static bool is_read_in_two_ways(const char *text, char mark) {
    size_t whole = strspn(text, "0123456789"), part = 0;
    if (whole > 0 && text[whole] == mark) {
        part = strspn(text + whole + 1, "0123456789");
    }
    return text[0] != '0' && whole <= 3 && part == 3 && text[whole + 1 + part] == '\0';
}

/* "1,5" where commas do not part the cells; where they do, a point is decimal and a comma none. */
static bool read_grams(const struct list *list, enum column column, double *kg,
                       struct up_failure *failure) {
    char text[48], what[120];
    const char *cell = cell_of(list, column);
    snprintf(text, sizeof text, "%s", cell);
    char *comma = strchr(text, ',');
    bool two_ways = is_read_in_two_ways(text, ',') ||
                    (list->separator != ',' && is_read_in_two_ways(text, '.'));
    if (comma != NULL && strchr(text, '.') == NULL && list->separator != ',') {
        *comma = '.';
    }
    if (cell[0] == '\0') {
        return true;
    }
    if (two_ways) {
        snprintf(what, sizeof what, "%s: %.40s may be thousands or parts: write it without %s",
                 headers[column], cell, comma != NULL ? "the comma" : "the point");
        return wrong(list, failure, what);
    }
    snprintf(what, sizeof what, "%s: %.40s is not a number of grams above 0", headers[column],
             cell);
    bool good = strlen(cell) < sizeof text && up_text_number(text, strlen(text), kg) && *kg > 0;
    *kg *= 1e-3;
    return good || wrong(list, failure, what);
}

static bool read_pieces(const struct list *list, struct up_item *item, struct up_failure *failure) {
    const char *cell = cell_of(list, STOCK_PIECES);
    double pieces = 1;
    bool good = cell[0] == '\0' ||
                (up_text_number(cell, strlen(cell), &pieces) && (pieces == 1 || pieces == 2));
    item->pieces = pieces == 2 ? 2 : 1;
    return good || wrong(list, failure, "pieces: 1, or 2 for a pair");
}

/* As `item add` makes one of which nothing more is told. */
static bool make_item(const struct list *list, struct up_item *item, struct up_failure *failure) {
    *item = (struct up_item){.expansion_per_k = UP_EXPANSION_PER_K,
                             .u_expansion_per_k = UP_U_EXPANSION_PER_K};
    up_new_id(item->id);
    if (!set_text(list, STOCK_NAME, item->name, failure) ||
        !set_text(list, STOCK_NUMBER, item->stock_number, failure) ||
        !set_text(list, STOCK_KIND, item->kind, failure) ||
        !set_text(list, STOCK_SIZE, item->size, failure) ||
        !set_text(list, STOCK_MAKER, item->maker, failure) ||
        !set_text(list, STOCK_MODEL, item->model, failure) || !read_pieces(list, item, failure)) {
        return false;
    }
    if (item->name[0] == '\0') {
        snprintf(item->name, sizeof item->name, "%.100s %.100s", item->kind, item->stock_number);
    }
    item->tolerance_g = item->pieces == 2 ? UP_TOLERANCE_PAIR_G : UP_TOLERANCE_ONE_G;
    if (item->kind[0] == '\0') {
        char text[300];
        snprintf(text, sizeof text,
                 "%.80s is not in the catalogue: give it a kind in the list, or add it with "
                 "`upthrust item add`",
                 item->name);
        return wrong(list, failure, text);
    }
    return up_kind_tolerance(list->catalogue, item->kind, item->pieces, &item->tolerance_g,
                             failure);
}

/* What is beyond the most is refused before it is asked for. */
static bool seek(struct list *list, const char *number, const char *name, bool of_row) {
    struct sought *sought = &list->sought;
    bool more = sought->count <= UP_QUEUE_MAX;
    if (more) {
        sought->known[sought->count++] =
            (struct known){.stock_number = up_text_clean(number, strlen(number)),
                           .name = up_text_clean(name, strlen(name)),
                           .of_row = of_row};
    }
    return more;
}

static const struct known *known_of(struct list *list) {
    return &list->sought.known[list->row++];
}

/* By its stock number, else by its name where that item has no other number. */
static bool find_row(struct list *list, struct up_queue_entry *entry, struct up_failure *failure) {
    struct known known = *known_of(list);
    const char *number = known.stock_number, *name = known.name;
    bool by_name = known.names == 1 && (number[0] == '\0' || known.by_name.stock_number[0] == '\0');
    if (known.number_elsewhere && by_name && !known.name_elsewhere) {
        known.numbers = 0; /* a guest's, beside one of here */
    }
    entry->by_name = number[0] == '\0';
    if (known.numbers > 1 || (known.numbers == 0 && number[0] == '\0' && known.names > 1)) {
        struct up_failure why;
        bool numbers = known.numbers > 1;
        fail_ambiguous(numbers ? "the stock number" : "the name", numbers ? number : name, &why);
        return wrong(list, failure, why.text);
    }
    if (known.numbers == 1 || by_name) {
        entry->item = known.numbers == 1 ? known.by_number : known.by_name;
        return true;
    }
    entry->is_new = true;
    return make_item(list, &entry->item, failure);
}

static bool read_row(struct list *list, struct up_failure *failure) {
    struct up_queue_entry entry = {.done = false};
    if (list->gathers) {
        return seek(list, cell_of(list, STOCK_NUMBER), cell_of(list, STOCK_NAME), true);
    }
    if (list->bad_quotes) {
        return wrong(list, failure,
                     "a cell that begins with a quotation mark must end with one, in the same "
                     "line; within it write two for one");
    }
    if (cell_of(list, STOCK_NAME)[0] == '\0' && cell_of(list, STOCK_NUMBER)[0] == '\0') {
        return wrong(list, failure, "there is neither a name nor a stock number");
    }
    if (!find_row(list, &entry, failure) ||
        !read_grams(list, STOCK_MASS, &entry.mass_kg, failure) ||
        !read_grams(list, STOCK_U_MASS, &entry.u_mass_kg, failure)) {
        return false;
    }
    if (entry.mass_kg > 0 && (entry.mass_kg < MASS_LEAST_KG || entry.mass_kg > MASS_MOST_KG)) {
        return wrong(list, failure, "mass g: from 1 g to 100 kg");
    }
    entry.u_mass_kg = entry.mass_kg == 0 ? 0 : entry.u_mass_kg == 0 ? U_MASS_KG : entry.u_mass_kg;
    return add_entry(list, &entry, failure);
}

/* ---- lines and cells ---- */

static char *trim(char *text) {
    text += strspn(text, " \t");
    size_t length = strlen(text);
    while (length > 0 && isspace((unsigned char)text[length - 1])) {
        text[--length] = '\0';
    }
    return text;
}

/* One cell, whose end becomes its NUL; returns what is behind its separator, NULL at the end. A
   quoted one may hold separators, and a quotation mark twice. */
static char *take_cell(struct list *list, char *text, char **cell) {
    char separator = list->separator;
    char *from = text + strspn(text, " "), *to = from;
    *cell = from;
    if (*from != '"') {
        char *end = strchr(text, separator);
        if (end != NULL) {
            *end = '\0';
        }
        *cell = trim(*cell);
        return end != NULL ? end + 1 : NULL;
    }
    for (from++; *from != '\0' && (*from != '"' || from[1] == '"'); from++) {
        from += *from == '"';
        *to++ = *from;
    }
    list->bad_quotes =
        list->bad_quotes || *from != '"'; /* its end is in another line, or nowhere */
    from += *from == '"';
    from += strspn(from, " ");
    list->bad_quotes = list->bad_quotes || (*from != '\0' && *from != separator);
    char *end = strchr(from, separator);
    *to = '\0';
    *cell = trim(*cell);
    return end != NULL ? end + 1 : NULL;
}

static void split(struct list *list, char *line) {
    list->cells = 0;
    list->bad_quotes = false;
    for (char *rest = line; rest != NULL && list->cells < CELLS_MAX;) {
        rest = take_cell(list, rest, &list->cell[list->cells++]);
    }
}

/* "Stock_Number", "stock-number" and "mass (g)" are the same as "stock number" and "mass g". */
static bool is_header(const char *cell, const char *header) {
    for (; *cell != '\0'; cell++) {
        char c = (char)tolower((unsigned char)*cell);
        c = c == '_' || c == '-' ? ' ' : c;
        if (strchr("()[]\"", c) == NULL && c != *header++) {
            return false;
        }
    }
    return *header == '\0';
}

/* False where the line is no header: then it is a list of names. */
static bool read_header(struct list *list, const char *line) {
    static const char separators[] = ",;\t";
    UP_FREED char *copy = up_text_format("%s", line);
    int named = 0;
    list->separator = ',';
    for (size_t i = 0; separators[i] != '\0'; i++) {
        list->separator = strchr(line, separators[i]) != NULL ? separators[i] : list->separator;
    }
    split(list, copy);
    for (int column = 0; column < COLUMNS; column++) {
        list->place[column] = -1;
        for (int i = list->cells - 1; i >= 0; i--) {
            if (is_header(list->cell[i], headers[column])) {
                list->place[column] = i;
            }
        }
        named += list->place[column] >= 0;
    }
    list->cells = 0;
    return named > 0 && (list->place[STOCK_NAME] >= 0 || list->place[STOCK_NUMBER] >= 0);
}

static bool read_name(struct list *list, const char *line, struct up_failure *failure) {
    struct up_queue_entry entry = {.done = false};
    struct up_failure why;
    if (list->gathers) {
        return seek(list, line, line, false);
    }
    return resolve(known_of(list), list->catalogue, &entry.item, &why)
               ? add_entry(list, &entry, failure)
               : up_fail(failure, why.status, "%.80s, line %d: %.300s", list->queue->path,
                         list->line, why.text);
}

static bool read_lines(struct list *list, char *text, struct up_failure *failure) {
    static const char bom[] = "\xEF\xBB\xBF"; /* some editors begin a file with it */
    bool good = true, begun = false, stock = false;
    text += strncmp(text, bom, strlen(bom)) == 0 ? strlen(bom) : 0;
    for (list->line = 1; good && *text != '\0'; list->line++) {
        char *line = text, *end = text + strcspn(text, "\n");
        text = end + (*end == '\n');
        *end = '\0';
        line = trim(line);
        if (line[0] == '\0' || line[0] == '#') {
            continue;
        }
        if (!begun && read_header(list, line)) {
            stock = true;
        } else if (stock) {
            split(list, line);
            good = read_row(list, failure);
        } else {
            good = read_name(list, line, failure);
        }
        begun = true;
    }
    return good;
}

static bool note_id(const struct up_record *record, void *context) {
    json_object_set_new(context, record->subject, json_true());
    return true;
}

/* Those that some row may mean are looked up, then looked at all together. */
static bool consider_items(struct list *list, struct up_failure *failure) {
    struct sought *sought = &list->sought;
    json_auto_t *ids = json_object();
    bool good = true;
    for (size_t i = 0; good && i < sought->count; i++) {
        const struct known *known = &sought->known[i];
        good = up_items_called(list->catalogue, known->name, note_id, ids, failure) &&
               up_items_called(list->catalogue, known->stock_number, note_id, ids, failure);
    }
    size_t count = 0;
    const char **id = up_allocate(json_object_size(ids) + 1, sizeof *id), *key;
    json_t *value;
    json_object_foreach(ids, key, value) {
        id[count++] = key;
    }
    good = good && up_catalogue_focus(list->catalogue, id, count, failure) &&
           up_catalogue_each(list->catalogue, "item", consider_item, sought, failure);
    free(id);
    return up_catalogue_focus(list->catalogue, NULL, 0, good ? failure : NULL) && good;
}

static bool read_twice(struct list *list, char *text, struct up_failure *failure) {
    struct sought *sought = &list->sought;
    UP_FREED char *copy = up_text_format("%s", text);
    sought->known = up_allocate(UP_QUEUE_MAX + 1, sizeof *sought->known);
    list->gathers = true;
    read_lines(list, copy, failure);
    list->gathers = false;
    bool good = consider_items(list, failure) && read_lines(list, text, failure);
    for (size_t i = 0; i < sought->count; i++) {
        free(sought->known[i].stock_number);
        free(sought->known[i].name);
    }
    free(sought->known);
    return good;
}

bool up_stock_read(struct up_queue *queue, struct up_catalogue *catalogue,
                   struct up_failure *failure) {
    size_t length = 0;
    struct list list = {.queue = queue, .catalogue = catalogue};
    char *text =
        up_text_read_file(queue->path, UP_LINKS_FOLLOWED, LIST_MOST_BYTES, &length, failure);
    if (text == NULL) {
        return up_fail(failure, failure->status, "%.400s; write one item per line", failure->text);
    }
    bool good = (memchr(text, '\0', length) == NULL ||
                 up_fail(failure, UP_STATUS_WRONG_INPUT,
                         "%.80s is not a list of items: it contains bytes that are not text; write "
                         "one name or id per line, in UTF-8",
                         queue->path)) &&
                read_twice(&list, text, failure);
    free(text);
    return good &&
           (queue->count > 0 ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "%.200s names no item: write one item per line, by name or id", queue->path));
}

bool up_stock_register(struct up_queue *queue, struct up_catalogue *catalogue, unsigned *added,
                       struct up_failure *failure) {
    *added = 0;
    for (unsigned i = 0; i < queue->count; i++) {
        struct up_queue_entry *entry = &queue->entry[i];
        if (entry->is_new) {
            if (!up_item_add(catalogue, &entry->item, failure)) {
                return false;
            }
            entry->is_new = false;
            ++*added;
        }
    }
    return true;
}
