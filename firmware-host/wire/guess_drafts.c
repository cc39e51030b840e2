/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a line of each kind looks like, and the section [line] that would read it. */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "guess_internal.h"
#include "text/text.h"

enum { TOKEN = 24 };
/* Choices of ours. */
static const double MOST = 0.8, NEARLY_ALL = 0.95;

static bool are_most(size_t some, size_t all) {
    return all > 0 && (double)some >= MOST * (double)all;
}

/* ---- a quantity: number and unit ---- */

struct quantity {
    double value;
    char unit[TOKEN]; /* as printed, where it is one of mass or force; else empty */
    bool whole;       /* nothing else stands in the slice */
    bool is_integer;
};

static bool read_quantity(struct slice slice, struct quantity *quantity) {
    struct number number;
    double factor;
    size_t length;
    bool joined;
    slice = trim(slice);
    if (!scan_number(slice, false, &number)) {
        return false;
    }
    slice.at += number.length;
    slice.length -= number.length;
    take_unit(slice, &factor, &length, &joined);
    *quantity = (struct quantity){.value = number.value};
    quantity->is_integer = number.value == floor(number.value) &&
                           memchr(slice.at - number.length, '.', number.length) == NULL;
    if (!isnan(factor)) {
        struct slice unit = trim((struct slice){slice.at, length});
        snprintf(quantity->unit, sizeof quantity->unit, "%.*s", (int)unit.length, unit.at);
    }
    quantity->whole = isnan(factor) ? slice.length == 0 : length == slice.length;
    return true;
}

/* The unit most of the lines print, as the key load_unit has it. */
struct unit_votes {
    size_t votes[5];
};
static const char *const unit_words[5] = {"g", "kg", "lb", "N", "printed"};

static void vote(struct unit_votes *votes, const char *unit) {
    static const char *const spelt[][2] = {{"gr", "g"},  {"gram", "g"}, {"grams", "g"},
                                           {"KG", "kg"}, {"Kg", "kg"},  {"lbs", "lb"},
                                           {"LB", "lb"}, {"LBS", "lb"}};
    size_t length = strcspn(unit, ".");
    char name[TOKEN];
    snprintf(name, sizeof name, "%.*s", (int)length, unit);
    for (size_t i = 0; i < sizeof spelt / sizeof spelt[0]; i++) {
        if (strcmp(spelt[i][0], name) == 0) {
            snprintf(name, sizeof name, "%s", spelt[i][1]);
        }
    }
    for (int i = 0; i < 4 && name[0] != '\0'; i++) {
        if (strcmp(unit_words[i], name) == 0) {
            votes->votes[i]++;
            return;
        }
    }
    votes->votes[4] += name[0] != '\0';
}

static const char *winner(const struct unit_votes *votes, size_t lines) {
    int best = 0;
    for (int i = 1; i < 5; i++) {
        best = votes->votes[i] > votes->votes[best] ? i : best;
    }
    return votes->votes[best] * 2 > lines ? unit_words[best] : NULL;
}

static void add_unit(struct draft *draft, const struct unit_votes *votes, size_t lines) {
    const char *unit = winner(votes, lines);
    if (unit != NULL) {
        draft_add(draft, "load_unit = %s\n", unit);
    }
}

/* ---- status words that many scales print (common practice, no source) ---- */

static bool some_line_has(const struct lines *lines, const char *word) {
    char copy[UP_LINE_SIZE];
    struct up_line_rule rule = {.unstable = {.count = 1}};
    snprintf(rule.unstable.text[0], sizeof rule.unstable.text[0], "%s", word);
    for (size_t i = 0; i < lines->count; i++) {
        memcpy(copy, lines->line[i].at, lines->line[i].length);
        if (take_status(&rule, copy, lines->line[i].length) == STATUS_UNSTABLE) {
            return true;
        }
    }
    return false;
}

static void add_status(const struct lines *lines, struct draft *draft) {
    if (some_line_has(lines, "ST") || some_line_has(lines, "US")) {
        draft_add(draft, "stable_words = ST\nunstable_words = US\nover_words = OL\n");
    } else if (some_line_has(lines, "S S") || some_line_has(lines, "S D")) {
        draft_add(draft, "stable_words = S S\nunstable_words = S D\nover_words = S +\n"
                         "under_words = S -\nignore_words = S I\n");
    } else if (some_line_has(lines, "?")) {
        draft_add(draft, "unstable_words = ?\n");
    }
}

/* ---- bare ---- */

bool draft_bare(const struct lines *lines, struct draft *draft) {
    struct unit_votes votes = {{0}};
    size_t whole = 0, large = 0;
    for (size_t i = 0; i < lines->count; i++) {
        struct quantity quantity;
        if (read_quantity(lines->line[i], &quantity) && quantity.whole) {
            whole++;
            vote(&votes, quantity.unit);
            large += quantity.is_integer && fabs(quantity.value) > 32768;
        }
    }
    if (!are_most(whole, lines->count)) {
        return false;
    }
    draft_add(draft, "layout = bare\n");
    add_unit(draft, &votes, whole);
    if (large * 2 > whole && winner(&votes, whole) == NULL) {
        draft_add(draft, "word_bits = 24\n");
    }
    snprintf(draft->words, sizeof draft->words, "one number a line");
    return true;
}

/* ---- fields ---- */

struct column {
    size_t numbers, integers, rises, ones;
    double least, most, last, sum_step;
    struct unit_votes votes;
    size_t units;
    char header[TOKEN];
};

struct table {
    struct column column[UP_FIELDS_MAX];
    size_t rows; /* of the usual width */
    int width;
};

static int cut(struct slice line, char separator, struct slice *field) {
    int count = 0;
    const char *end = line.at + line.length;
    for (const char *at = line.at; at <= end && count < UP_FIELDS_MAX; count++) {
        const char *stop = memchr(at, separator, (size_t)(end - at));
        stop = stop != NULL ? stop : end;
        field[count] = trim((struct slice){at, (size_t)(stop - at)});
        at = stop + 1;
        while (separator == ' ' && at < end && is_blank(*at)) {
            at++;
        }
    }
    return count;
}

static int usual_width(const struct lines *lines, char separator) {
    size_t votes[UP_FIELDS_MAX + 1] = {0};
    struct slice field[UP_FIELDS_MAX];
    int best = 0;
    for (size_t i = 0; i < lines->count; i++) {
        votes[cut(lines->line[i], separator, field)]++;
    }
    for (int i = 1; i <= UP_FIELDS_MAX; i++) {
        best = votes[i] > votes[best] ? i : best;
    }
    return are_most(votes[best], lines->count) ? best : 0;
}

static void learn(struct column *column, struct slice field, bool first_line) {
    struct quantity quantity;
    if (!read_quantity(field, &quantity) || !quantity.whole) {
        if (first_line) {
            snprintf(column->header, sizeof column->header, "%.*s", (int)field.length, field.at);
        }
        return;
    }
    if (column->numbers > 0) {
        double step = quantity.value - column->last;
        column->rises += step > 0;
        column->ones += step == 1;
        column->sum_step += step;
    }
    column->least = column->numbers > 0 ? fmin(column->least, quantity.value) : quantity.value;
    column->most = column->numbers > 0 ? fmax(column->most, quantity.value) : quantity.value;
    column->last = quantity.value;
    column->numbers++;
    column->integers += quantity.is_integer;
    column->units += quantity.unit[0] != '\0';
    vote(&column->votes, quantity.unit);
}

static bool read_table(const struct lines *lines, char separator, struct table *table) {
    struct slice field[UP_FIELDS_MAX];
    memset(table, 0, sizeof *table);
    table->width = usual_width(lines, separator);
    if (table->width < 2) {
        return false;
    }
    for (size_t i = 0; i < lines->count; i++) {
        if (cut(lines->line[i], separator, field) != table->width) {
            continue;
        }
        table->rows++;
        for (int j = 0; j < table->width; j++) {
            learn(&table->column[j], field[j], i == 0);
        }
    }
    return table->rows > 4;
}

static bool is_numeric(const struct table *table, int column) {
    return (double)table->column[column].numbers >= NEARLY_ALL * (double)(table->rows - 1);
}

static double mean_step(const struct column *column) {
    return column->sum_step / (double)(column->numbers - 1);
}

/* A clock rises nearly always, and by more than one or by parts of one. */
static bool is_clock(const struct table *table, int which) {
    const struct column *column = &table->column[which];
    return is_numeric(table, which) && column->units == 0 &&
           (double)column->rises >= NEARLY_ALL * (double)(column->numbers - 1) &&
           (double)column->ones < MOST * (double)(column->numbers - 1);
}

static bool is_sequence(const struct table *table, int which) {
    const struct column *column = &table->column[which];
    return is_numeric(table, which) && (double)column->ones >= MOST * (double)(column->numbers - 1);
}

/* A converter gives 1 to 2000 readings a second: so long a step is so large a unit. */
static const char *clock_unit(const struct column *column) {
    double step = mean_step(column);
    if (strstr(column->header, "us") != NULL || step >= 2000) {
        return "us";
    }
    return strstr(column->header, "ms") != NULL || step >= 2 ? "ms" : "s";
}

static const char *header_unit(const struct column *column) {
    static const char *const ends[][2] = {{"_N", "N"}, {"_kg", "kg"}, {"_g", "g"}, {"_lb", "lb"}};
    size_t length = strlen(column->header);
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        size_t size = strlen(ends[i][0]);
        if (length >= size && strcmp(column->header + length - size, ends[i][0]) == 0) {
            return ends[i][1];
        }
    }
    return NULL;
}

/* Loads: what carries a unit comes first, then large whole numbers (raw words), then whatever
   changes the most. */
static double load_weight(const struct table *table, int which) {
    const struct column *column = &table->column[which];
    double span = column->most - column->least;
    double weight = span / (1 + span);
    if (!is_numeric(table, which)) {
        return -1;
    }
    weight += column->integers == column->numbers && span > 200 ? 1 + 1e-12 * span : 0;
    return weight + (header_unit(column) != NULL ? 4 : 0) +
           (column->units * 2 > column->numbers ? 8 : 0);
}

static int best_load(const struct table *table, int clock, int sequence) {
    int best = -1;
    for (int i = 0; i < table->width; i++) {
        if (i != clock && i != sequence && load_weight(table, i) >= 0 &&
            (best < 0 || load_weight(table, i) > load_weight(table, best))) {
            best = i;
        }
    }
    return best;
}

static void write_table(const struct lines *lines, const struct table *table, const char *separator,
                        struct draft *draft) {
    int clock = -1, sequence = -1, load;
    for (int i = table->width - 1; i >= 0; i--) {
        clock = is_clock(table, i) ? i : clock;
        sequence = is_sequence(table, i) ? i : sequence;
    }
    load = best_load(table, clock, sequence);
    if (load < 0) { /* what rises by one is then the load */
        sequence = -1;
        load = best_load(table, clock, sequence);
    }
    if (load < 0) {
        return;
    }
    const struct column *column = &table->column[load];
    draft_add(draft, "layout = fields\nseparator = %s\nload_field = %d\n", separator, load + 1);
    snprintf(draft->words, sizeof draft->words, "%d columns, the load in column %d", table->width,
             load + 1);
    if (clock >= 0) {
        draft->has_time = true;
        draft_add(draft, "time_field = %d\ntime_unit = %s\n", clock + 1,
                  clock_unit(&table->column[clock]));
        snprintf(draft->words, sizeof draft->words,
                 "%d columns, the load in column %d, a clock in %s in column %d", table->width,
                 load + 1, clock_unit(&table->column[clock]), clock + 1);
    }
    if (sequence >= 0) {
        draft_add(draft, "sequence_field = %d\n", sequence + 1);
    }
    if (header_unit(column) != NULL) {
        draft_add(draft, "load_unit = %s\n", header_unit(column));
    } else {
        add_unit(draft, &column->votes, column->numbers);
    }
    if (winner(&column->votes, column->numbers) == NULL && header_unit(column) == NULL &&
        column->integers == column->numbers &&
        fmax(fabs(column->most), fabs(column->least)) > 4096) {
        draft_add(draft, "word_bits = 24\n");
    }
    add_status(lines, draft);
}

static bool all_numeric(const struct table *table) {
    for (int i = 0; i < table->width; i++) {
        if (!is_numeric(table, i)) {
            return false;
        }
    }
    return true;
}

bool draft_fields(const struct lines *lines, struct draft *draft) {
    static const struct {
        char byte;
        const char *name;
    } separators[] = {
        {';', "semicolon"}, {'\t', "tab"}, {',', "comma"}, {'|', "bar"}, {' ', "blanks"}};
    struct table *table = up_allocate(1, sizeof *table);
    bool found = false;
    for (size_t i = 0; i < sizeof separators / sizeof separators[0] && !found; i++) {
        if (!read_table(lines, separators[i].byte, table) ||
            (separators[i].byte == ' ' && !all_numeric(table))) {
            continue; /* blanks also part a sign from its number and a number from its unit */
        }
        write_table(lines, table, separators[i].name, draft);
        found = draft->section[0] != '\0';
    }
    free(table);
    return found;
}

/* ---- numbers among text ---- */

/* What stands between a number of the line and the one before it, from 1. */
static struct slice before_number(struct slice line, int n) {
    struct slice rest, from = line;
    struct number number;
    if (n > 1 && find_number(line, false, n - 1, &rest) && scan_number(rest, false, &number)) {
        from = (struct slice){rest.at + number.length, rest.length - number.length};
    }
    if (!find_number(line, false, n, &rest)) {
        return (struct slice){line.at, 0};
    }
    from.length = (size_t)(rest.at - from.at);
    while (from.length > 0 && strchr(" \t,;|>", from.at[0]) != NULL) {
        from.at++;
        from.length--;
    }
    return trim(from);
}

static bool is_label(struct slice label) {
    return label.length > 0 && label.length < UP_LABEL_SIZE &&
           memchr(":=>", label.at[label.length - 1], 3) != NULL &&
           memchr(label.at, ',', label.length) == NULL;
}

/* The number that changed the most; where none did, the first. */
static int liveliest_number(const struct lines *lines) {
    double least[9], most[9];
    int best = 1;
    for (int n = 1; n <= 8; n++) {
        size_t seen = 0;
        for (size_t i = 0; i < lines->count; i++) {
            struct slice rest;
            struct quantity quantity;
            if (find_number(lines->line[i], false, n, &rest) && read_quantity(rest, &quantity)) {
                least[n] = seen > 0 ? fmin(least[n], quantity.value) : quantity.value;
                most[n] = seen > 0 ? fmax(most[n], quantity.value) : quantity.value;
                seen++;
            }
        }
        if (!are_most(seen, lines->count)) {
            break;
        }
        best = n > 1 && most[n] - least[n] > most[best] - least[best] ? n : best;
    }
    return best;
}

static bool is_same(struct slice one, struct slice other) {
    return one.length == other.length && memcmp(one.at, other.at, one.length) == 0;
}

/* The label that more than half of the lines have, if one does: each vote for another takes one
   from it. */
static struct slice usual_label(const struct lines *lines, int which) {
    struct slice label = {"", 0};
    size_t lead = 0;
    for (size_t i = 0; i < lines->count; i++) {
        struct slice here = before_number(lines->line[i], which);
        if (lead == 0) {
            label = here;
        }
        lead += is_same(here, label) ? 1 : (size_t)-1;
    }
    return label;
}

bool draft_labels(const struct lines *lines, struct draft *draft) {
    int which = liveliest_number(lines);
    struct slice label = usual_label(lines, which);
    struct unit_votes votes = {{0}};
    size_t same = 0;
    if (!is_label(label)) {
        return false;
    }
    for (size_t i = 0; i < lines->count; i++) {
        struct slice rest;
        struct quantity quantity;
        if (is_same(before_number(lines->line[i], which), label) &&
            find_number(lines->line[i], false, which, &rest) && read_quantity(rest, &quantity)) {
            same++;
            vote(&votes, quantity.unit);
        }
    }
    if (same * 2 < lines->count) {
        return false;
    }
    draft_add(draft, "layout = labels\nload_label = %.*s\n", (int)label.length, label.at);
    if ((double)same < NEARLY_ALL * (double)lines->count) {
        draft_add(draft, "other_lines = pass\n");
    }
    add_unit(draft, &votes, same);
    snprintf(draft->words, sizeof draft->words, "the number behind the label %.*s",
             (int)label.length, label.at);
    return true;
}

bool draft_numbers(const struct lines *lines, struct draft *draft) {
    struct unit_votes votes = {{0}};
    int which = liveliest_number(lines);
    size_t found = 0;
    for (size_t i = 0; i < lines->count; i++) {
        struct slice rest;
        struct quantity quantity;
        if (find_number(lines->line[i], false, which, &rest) && read_quantity(rest, &quantity)) {
            found++;
            vote(&votes, quantity.unit);
        }
    }
    /* Text in which numbers occur is no reading: a unit must tell what the number is. */
    if (!are_most(found, lines->count) || winner(&votes, found) == NULL) {
        return false;
    }
    draft_add(draft, "layout = numbers\nload_field = %d\n", which);
    add_unit(draft, &votes, found);
    add_status(lines, draft);
    snprintf(draft->words, sizeof draft->words, "number %d of the line, with its unit", which);
    return true;
}

/* ---- a report of several lines, each a key letter and a number ---- */

static bool is_keyed(struct slice line, struct quantity *quantity) {
    return line.length > 3 && (is_letter(line.at[0]) || is_digit(line.at[0])) &&
           is_blank(line.at[1]) && is_blank(line.at[2]) &&
           read_quantity((struct slice){line.at + 1, line.length - 1}, quantity) && quantity->whole;
}

bool draft_key_letters(const struct lines *lines, struct draft *draft) {
    double least[128], most[128];
    size_t seen[128] = {0}, keyed = 0;
    int keys = 0, best = -1;
    for (size_t i = 0; i < lines->count; i++) {
        struct quantity quantity;
        int key = (unsigned char)lines->line[i].at[0];
        if (key < 128 && is_keyed(lines->line[i], &quantity)) {
            keyed++;
            keys += seen[key] == 0;
            least[key] = seen[key] > 0 ? fmin(least[key], quantity.value) : quantity.value;
            most[key] = seen[key]++ > 0 ? fmax(most[key], quantity.value) : quantity.value;
        }
    }
    if (keys < 3 || keyed * 2 < lines->count) {
        return false;
    }
    for (int key = 0; key < 128; key++) {
        if (seen[key] > 4 && (best < 0 || most[key] - least[key] > most[best] - least[best])) {
            best = key;
        }
    }
    if (best < 0) {
        return false;
    }
    draft_add(draft, "layout = bare\nstarts_with = %c\nother_lines = pass\nload_unit = kg\n", best);
    snprintf(
        draft->words, sizeof draft->words,
        "a report of %d kinds of lines; those that begin with %c changed the most; the unit is "
        "not printed, kg is assumed",
        keys, best);
    return true;
}

/* ---- a label on one line, the number on the next ---- */

static bool begins_with_number(struct slice line) {
    struct slice rest;
    return find_number(line, false, 1, &rest) && rest.at == line.at;
}

bool draft_next_line(const struct lines *lines, struct draft *draft) {
    size_t pairs = 0;
    struct slice label = {NULL, 0};
    for (size_t i = 0; i + 1 < lines->count; i++) {
        struct quantity quantity;
        if (!begins_with_number(lines->line[i]) && read_quantity(lines->line[i + 1], &quantity) &&
            quantity.whole) {
            label = trim(lines->line[i]);
            pairs++;
        }
    }
    if (pairs < 3 || !are_most(2 * pairs, lines->count) || label.length >= UP_LABEL_SIZE ||
        memchr(label.at, ',', label.length) != NULL) {
        return false;
    }
    draft_add(draft, "layout = labels\nvalue_line = next\nload_label = %.*s\n", (int)label.length,
              label.at);
    snprintf(draft->words, sizeof draft->words, "a label on one line, the number on the next");
    return true;
}

/* ---- JSON ---- */

static bool name_is(const char *name, const char *const *names) {
    while (*names != NULL && strcmp(name, *names) != 0) {
        names++;
    }
    return *names != NULL;
}

static bool name_has(const char *name, const char *const *parts) {
    for (; *parts != NULL; parts++) {
        if (strstr(name, *parts) != NULL) {
            return true;
        }
    }
    return false;
}

static bool is_number_member(const json_t *member) {
    struct quantity quantity;
    return json_is_number(member) ||
           (json_is_string(member) &&
            read_quantity((struct slice){json_string_value(member), json_string_length(member)},
                          &quantity) &&
            quantity.whole);
}

static void write_members(json_t *object, struct draft *draft) {
    static const char *const loads[] = {"weight", "gram",  "load",  "force",   "mass", "kg",
                                        "raw",    "count", "value", "reading", NULL};
    static const char *const times[] = {"ms", "millis", "time_ms", NULL};
    static const char *const temps[] = {"temp", NULL};
    const char *name, *load = NULL, *time = NULL, *temp = NULL;
    json_t *member;
    json_object_foreach(object, name, member) {
        if (strlen(name) >= UP_LABEL_SIZE || strchr(name, ',') != NULL ||
            !is_number_member(member)) {
            continue;
        }
        time = time == NULL && name_is(name, times) ? name : time;
        temp = temp == NULL && name_has(name, temps) ? name : temp;
        load = load == NULL && name_has(name, loads) ? name : load;
    }
    if (load == NULL) {
        return;
    }
    draft_add(draft, "layout = json\nload_label = %s\n", load);
    if (time != NULL && time != load) {
        draft->has_time = true;
        draft_add(draft, "time_label = %s\ntime_unit = ms\n", time);
    }
    if (temp != NULL && temp != load) {
        draft_add(draft, "temp_label = %s\n", temp);
    }
    if (strstr(load, "gram") != NULL) {
        draft_add(draft, "load_unit = g\n");
    } else if (strstr(load, "kg") != NULL) {
        draft_add(draft, "load_unit = kg\n");
    }
    snprintf(draft->words, sizeof draft->words, "a JSON object a line, the load in its member %s",
             load);
}

bool draft_json(const struct lines *lines, struct draft *draft) {
    size_t objects = 0;
    json_t *last = NULL;
    for (size_t i = 0; i < lines->count; i++) {
        const struct slice *line = &lines->line[i];
        json_t *object = line->at[0] == '{' ? json_loadb(line->at, line->length, 0, NULL) : NULL;
        if (json_is_object(object)) {
            objects++;
            json_decref(last);
            last = json_incref(object);
        }
        json_decref(object);
    }
    if (last != NULL && are_most(objects, lines->count)) {
        write_members(last, draft);
    }
    json_decref(last);
    return draft->section[0] != '\0';
}

/* ---- frames that no line end parts: everything came as few lines, or as none ---- */

static bool some_start(const struct lines *lines, char byte) {
    size_t found = 0;
    for (size_t i = 0; i < lines->count; i++) {
        found += memchr(lines->line[i].at, byte, lines->line[i].length) != NULL;
    }
    return are_most(found, lines->count);
}

bool draft_star_hash(const struct lines *lines, struct draft *draft) {
    if (lines->count > 0 && (!some_start(lines, '*') || !some_start(lines, '#'))) {
        return false;
    }
    draft_add(draft, "layout = bare\nframe_start = star\nframe_end = hash\n");
    snprintf(draft->words, sizeof draft->words, "a number between * and #");
    return true;
}

/* A letter right behind the digits: gross, net, motion, over, under, error (common practice, no
   source). */
static bool has_status_letters(struct slice all) {
    for (size_t i = 1; i < all.length; i++) {
        if ((all.at[i] == 'G' || all.at[i] == 'N') && is_digit(all.at[i - 1])) {
            return true;
        }
    }
    return false;
}

bool draft_start_end(const struct lines *lines, struct draft *draft) {
    if (lines->count > 0 && (!some_start(lines, '\002') || !some_start(lines, '\003'))) {
        return false;
    }
    draft_add(draft, "layout = numbers\nload_field = 1\nframe_start = stx\nframe_end = etx\n");
    if (has_status_letters(lines->all)) {
        draft_add(draft, "stable_words = G, N\nunstable_words = M\nover_words = O\n"
                         "under_words = U\nignore_words = E\n");
    }
    snprintf(draft->words, sizeof draft->words, "a number between the bytes STX and ETX");
    return true;
}
