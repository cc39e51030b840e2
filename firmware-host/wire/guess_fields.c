/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines of columns, or of JSON members: which one is the load, which the clock. */
#include <jansson.h>
#include <string.h>

#include "guess_internal.h"
#include "text/text.h"

struct column {
    char name[UP_LABEL_SIZE]; /* of a JSON member, or above the column; empty */
    size_t seen, numbers, integers, rises, falls, ones, stamps, units, unit_words;
    double least, most, last, sum_step;
    struct unit_votes votes;
};

struct table {
    struct column column[UP_FIELDS_MAX];
    size_t rows;
    int width;
    double rate_hz;
};

/* ---- reading the columns ---- */

static void learn_number(struct column *column, const struct quantity *quantity) {
    if (column->numbers > 0) {
        double step = quantity->value - column->last;
        column->rises += step > 0;
        column->falls += step < 0;
        column->ones += step == 1;
        column->sum_step += step;
    }
    column->least = column->numbers > 0 ? fmin(column->least, quantity->value) : quantity->value;
    column->most = column->numbers > 0 ? fmax(column->most, quantity->value) : quantity->value;
    column->last = quantity->value;
    column->numbers++;
    column->integers += quantity->is_integer;
    column->units += quantity->unit[0] != '\0';
    vote_unit(&column->votes, quantity->unit);
}

/* A column of nothing but units belongs to the numbers beside it. */
static bool learn_unit(struct column *column, struct slice field) {
    double factor;
    size_t length;
    bool joined;
    char unit[TOKEN];
    take_unit(field, &factor, &length, &joined);
    if (isnan(factor) || length != field.length || length >= sizeof unit) {
        return false;
    }
    snprintf(unit, sizeof unit, "%.*s", (int)length, field.at);
    column->unit_words++;
    vote_unit(&column->votes, unit);
    return true;
}

static void observe(const struct lines *lines, struct column *column, struct slice field) {
    struct quantity quantity;
    double time_s;
    bool first = column->seen++ == 0;
    if (read_quantity(lines, field, &quantity) && quantity.whole) {
        learn_number(column, &quantity);
    } else if (scan_time_of_day(field, &time_s)) {
        column->stamps++;
    } else if (!learn_unit(column, field) && first) {
        snprintf(column->name, sizeof column->name, "%.*s", (int)field.length, field.at);
    }
}

static int split_fields(struct slice line, char separator, struct slice *field) {
    int count = 0;
    const char *end = line.at + line.length;
    for (const char *at = line.at; at <= end && count < UP_FIELDS_MAX; count++) {
        const char *stop = memchr(at, separator, (size_t)(end - at));
        stop = stop != NULL ? stop : end;
        field[count] = trim_quotes(trim((struct slice){at, (size_t)(stop - at)}));
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
        votes[split_fields(lines->line[i], separator, field)]++;
    }
    for (int i = 1; i <= UP_FIELDS_MAX; i++) {
        best = votes[i] > votes[best] ? i : best;
    }
    return are_most(votes[best], lines->count) ? best : 0;
}

static bool read_table(const struct lines *lines, char separator, struct table *table) {
    struct slice field[UP_FIELDS_MAX];
    memset(table, 0, sizeof *table);
    table->rate_hz = lines->rate_hz;
    table->width = usual_width(lines, separator);
    for (size_t i = 0; i < lines->count && table->width > 1; i++) {
        if (split_fields(lines->line[i], separator, field) != table->width) {
            continue;
        }
        table->rows++;
        for (int j = 0; j < table->width; j++) {
            observe(lines, &table->column[j], field[j]);
        }
    }
    return table->rows > 4;
}

static void learn_member(const struct lines *lines, struct table *table, const char *name,
                         const json_t *member) {
    int at = 0;
    while (at < table->width && strcmp(table->column[at].name, name) != 0) {
        at++;
    }
    if (at == UP_FIELDS_MAX || strlen(name) >= UP_LABEL_SIZE || strpbrk(name, ",;#") != NULL ||
        !up_text_is_clean(name)) { /* a line end would begin a key of the rig file */
        return;
    }
    struct column *column = &table->column[at];
    if (at == table->width) {
        table->width++;
        memcpy(column->name, name, strlen(name) + 1);
    }
    column->seen++; /* the name is not a header's */
    if (json_is_string(member)) {
        struct slice text = {json_string_value(member), json_string_length(member)};
        observe(lines, column, text);
    } else if (json_is_number(member)) {
        struct quantity quantity = {.value = json_number_value(member),
                                    .is_integer = json_is_integer(member)};
        learn_number(column, &quantity);
    }
}

static bool read_objects(const struct lines *lines, struct table *table) {
    memset(table, 0, sizeof *table);
    table->rate_hz = lines->rate_hz;
    for (size_t i = 0; i < lines->count; i++) {
        const struct slice *line = &lines->line[i];
        json_t *object = line->at[0] == '{' ? json_loadb(line->at, line->length, 0, NULL) : NULL;
        const char *name;
        json_t *member;
        table->rows += json_is_object(object);
        json_object_foreach(object, name, member) {
            learn_member(lines, table, name, member);
        }
        json_decref(object);
    }
    return are_most(table->rows, lines->count);
}

/* ---- which is which ---- */

static bool is_numeric(const struct table *table, const struct column *column) {
    return column->numbers > 1 && are_nearly_all(column->numbers, table->rows - 1);
}

static bool is_sequence(const struct table *table, const struct column *column) {
    return is_numeric(table, column) && are_most(column->ones, column->numbers - 1);
}

/* A clock rises nearly always. One that gives a time to several lines never falls; so may a load
   behave that is filled up, but then something stands before it. */
static bool is_clock(const struct table *table, const struct column *column, bool leads) {
    size_t steps = column->numbers - 1;
    if (!is_numeric(table, column) || column->units > 0 || names_load(column->name)) {
        return false;
    }
    return are_nearly_all(column->rises, steps) ||
           (leads && column->rises > 2 && column->falls * 100 <= steps);
}

/* In seconds, by the lines' pace where it is known. Else a converter gives 1 to 2000 readings a
   second: so long a step is so large a unit. */
static const char *clock_unit(const struct table *table, const struct column *column) {
    static const char *const names[] = {"us", "ms", "s"};
    static const double unit_s[] = {1e-6, 1e-3, 1};
    double step = column->sum_step / (double)(column->numbers - 1);
    int best = step >= 2000 ? 0 : step >= 2 ? 1 : 2;
    for (int i = 0; i < 3 && !isnan(table->rate_hz); i++) {
        double off = fabs(log(step * unit_s[i] * table->rate_hz));
        best = off < fabs(log(step * unit_s[best] * table->rate_hz)) ? i : best;
    }
    for (int i = 0; i < 2 && isnan(table->rate_hz); i++) {
        best = strstr(column->name, names[i]) != NULL ? i : best;
    }
    return names[best];
}

static const char *named_unit(const struct column *column) {
    static const char *const ends[][2] = {{"_N", "N"},   {"_kg", "kg"},  {"_g", "g"},
                                          {"_lb", "lb"}, {"grams", "g"}, {"kg", "kg"}};
    size_t length = strlen(column->name);
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        size_t size = strlen(ends[i][0]);
        if (length >= size && strcmp(column->name + length - size, ends[i][0]) == 0) {
            return ends[i][1];
        }
    }
    return NULL;
}

/* As temperatures and humidities of a room are: neither zero, nor much, nor moving much. */
static bool may_be_climate(const struct column *column) {
    return column->least >= 5 && column->most <= 99 && column->most - column->least < 3 &&
           column->integers < column->numbers;
}

/* Loads: what carries a unit or its name comes first, then large whole numbers (raw words), then
   whatever changes the most. */
static double load_weight(const struct table *table, const struct column *column) {
    double span = column->most - column->least;
    double weight = span / (1 + span);
    if (!is_numeric(table, column) || names_climate(column->name)) {
        return -1;
    }
    weight += column->integers == column->numbers && span > 200 ? 1 + 1e-12 * span : 0;
    weight -= may_be_climate(column) ? 1 : 0;
    weight += names_load(column->name) ? 4 : 0;
    weight += named_unit(column) != NULL ? 4 : 0;
    return fmax(weight + (column->units * 2 > column->numbers ? 16 : 0), -0.5);
}

struct choice {
    int load, clock, sequence, unit;
};

static int best_load(const struct table *table, const struct choice *choice) {
    int best = -1;
    double most = -1;
    for (int i = 0; i < table->width; i++) {
        double weight = load_weight(table, &table->column[i]);
        if (i != choice->clock && i != choice->sequence && weight > most) {
            best = i;
            most = weight;
        }
    }
    return best;
}

static bool rises_by_seconds(const struct table *table, const struct column *column) {
    return is_sequence(table, column) && fabs(table->rate_hz - 1) < 0.3;
}

static struct choice choose(const struct table *table) {
    struct choice choice = {-1, -1, -1, -1};
    bool leads = true; /* nothing but clocks and numbers of lines so far */
    for (int i = 0; i < table->width; i++) {
        const struct column *column = &table->column[i];
        bool stamp = are_nearly_all(column->stamps, table->rows - 1);
        bool counts = is_sequence(table, column) && !rises_by_seconds(table, column);
        if (choice.clock < 0 && (stamp || (!counts && is_clock(table, column, leads)))) {
            choice.clock = i;
        } else if (choice.sequence < 0 && counts) {
            choice.sequence = i;
        } else if (is_numeric(table, column)) {
            leads = false;
        }
        choice.unit = are_nearly_all(column->unit_words, table->rows - 1) ? i : choice.unit;
    }
    choice.load = best_load(table, &choice);
    if (choice.load < 0 && choice.sequence >= 0) { /* what rises by one is then the load */
        choice.sequence = -1;
        choice.load = best_load(table, &choice);
    }
    if (choice.load < 0 && choice.clock >= 0) {
        choice.clock = -1;
        choice.load = best_load(table, &choice);
    }
    return choice;
}

/* ---- writing it down ---- */

static void write_unit(const struct table *table, const struct choice *choice,
                       struct draft *draft) {
    const struct column *column = &table->column[choice->load];
    const char *unit = named_unit(column);
    unit = unit != NULL ? unit : usual_unit(&column->votes, column->numbers);
    if (unit == NULL && choice->unit >= 0) {
        const struct column *beside = &table->column[choice->unit];
        draft_add(draft, "unit_field = %d\n", choice->unit + 1);
        unit = usual_unit(&beside->votes, beside->unit_words);
    }
    if (unit != NULL) {
        draft_add(draft, "load_unit = %s\n", unit);
    } else if (column->integers == column->numbers &&
               fmax(fabs(column->most), fabs(column->least)) > 4096) {
        draft_add(draft, "word_bits = 24\n");
    }
}

static void write_place(struct draft *draft, const struct table *table, const char *what, int which,
                        bool json) {
    if (json) {
        draft_add(draft, "%s_label = %s\n", what, table->column[which].name);
    } else {
        draft_add(draft, "%s_field = %d\n", what, which + 1);
    }
}

static bool write_table(const struct table *table, bool json, struct draft *draft) {
    struct choice choice = choose(table);
    if (choice.load < 0) {
        return false;
    }
    size_t used = strlen(draft->words), room = sizeof draft->words - used;
    write_place(draft, table, "load", choice.load, json);
    if (json) {
        snprintf(draft->words + used, room, ", the load in its member %s",
                 table->column[choice.load].name);
    } else {
        snprintf(draft->words + used, room, ", the load in column %d", choice.load + 1);
    }
    if (choice.clock >= 0) {
        const struct column *clock = &table->column[choice.clock];
        const char *unit = clock->stamps > 0 ? "hh:mm:ss" : clock_unit(table, clock);
        draft->has_time = true;
        write_place(draft, table, "time", choice.clock, json);
        draft_add(draft, "time_unit = %s\n", unit);
        snprintf(draft->words + strlen(draft->words), sizeof draft->words - strlen(draft->words),
                 ", a clock in %s", unit);
    }
    if (choice.sequence >= 0) {
        write_place(draft, table, "sequence", choice.sequence, json);
    }
    write_unit(table, &choice, draft);
    return true;
}

static bool all_numeric(const struct table *table) {
    for (int i = 0; i < table->width; i++) {
        const struct column *column = &table->column[i];
        if (!is_numeric(table, column) && !are_nearly_all(column->stamps, table->rows - 1)) {
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
    UP_FREED struct table *table = up_allocate(1, sizeof *table);
    bool found = false;
    for (size_t i = 0; i < sizeof separators / sizeof separators[0] && !found; i++) {
        if ((separators[i].byte == ',' && lines->decimal_comma) ||
            !read_table(lines, separators[i].byte, table) ||
            (separators[i].byte == ' ' && !all_numeric(table))) {
            continue; /* blanks also part a sign from its number and a number from its unit */
        }
        draft->section[0] = '\0';
        draft_add(draft, "layout = fields\nseparator = %s\n", separators[i].name);
        snprintf(draft->words, sizeof draft->words, "%d columns", table->width);
        found = write_table(table, false, draft);
    }
    add_status(lines, draft);
    return found;
}

bool draft_json(const struct lines *lines, struct draft *draft) {
    UP_FREED struct table *table = up_allocate(1, sizeof *table);
    bool found = read_objects(lines, table);
    draft_add(draft, "layout = json\n");
    snprintf(draft->words, sizeof draft->words, "a JSON object a line");
    found = found && write_table(table, true, draft);
    for (int i = 0; i < table->width && found; i++) {
        if (is_numeric(table, &table->column[i]) && strstr(table->column[i].name, "temp") != NULL) {
            draft_add(draft, "temp_label = %s\n", table->column[i].name);
            break;
        }
    }
    return found;
}
