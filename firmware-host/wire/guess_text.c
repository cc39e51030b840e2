/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers, units and words in the lines of an unknown device. */
#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "guess_internal.h"

/* Choices of ours. */
static const double MOST = 0.8, NEARLY_ALL = 0.95;

bool are_most(size_t some, size_t all) {
    return all > 0 && (double)some >= MOST * (double)all;
}

bool are_nearly_all(size_t some, size_t all) {
    return all > 0 && (double)some >= NEARLY_ALL * (double)all;
}

/* ---- a number and its unit ---- */

static bool is_climate_unit(struct slice unit) {
    static const char *const units[] = {"C",
                                        "\xc2\xb0"
                                        "C",
                                        "\xb0"
                                        "C",
                                        "degC",
                                        "RH",
                                        "hPa"};
    if (unit.length > 0 && unit.at[0] == '%') {
        return true;
    }
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strlen(units[i]) == unit.length && memcmp(units[i], unit.at, unit.length) == 0) {
            return true;
        }
    }
    return false;
}

struct slice skip_unit(struct slice slice) {
    struct slice from = trim(slice);
    double factor;
    size_t length = 0;
    bool joined;
    take_unit(from, &factor, &length, &joined);
    if (isnan(factor) && !is_climate_unit((struct slice){from.at, length})) {
        length = from.length > 0 && from.at[0] == '%';
    }
    return (struct slice){from.at + length, from.length - length};
}

bool read_quantity(const struct lines *lines, struct slice slice, struct quantity *quantity) {
    struct number number;
    double factor;
    size_t length;
    bool joined;
    slice = trim(slice);
    if (!scan_number(slice, lines->decimal_comma, &number)) {
        return false;
    }
    bool marked = memchr(slice.at, lines->decimal_comma ? ',' : '.', number.length) != NULL;
    slice.at += number.length;
    slice.length -= number.length;
    take_unit(slice, &factor, &length, &joined);
    struct slice unit = trim((struct slice){slice.at, length > 0 ? length : slice.length});
    *quantity =
        (struct quantity){.value = number.value,
                          .is_integer = number.value == floor(number.value) && !marked,
                          .is_climate = isnan(factor) && is_climate_unit(unit),
                          .whole = isnan(factor) ? slice.length == 0 : length == slice.length};
    if (!isnan(factor)) {
        snprintf(quantity->unit, sizeof quantity->unit, "%.*s", (int)unit.length, unit.at);
    }
    return true;
}

static const char *const unit_words[5] = {"g", "kg", "lb", "N", "printed"};

void vote_unit(struct unit_votes *votes, const char *unit) {
    static const char *const spelt[][2] = {{"gr", "g"},  {"gram", "g"}, {"grams", "g"},
                                           {"KG", "kg"}, {"Kg", "kg"},  {"lbs", "lb"},
                                           {"LB", "lb"}, {"LBS", "lb"}};
    char name[TOKEN];
    snprintf(name, sizeof name, "%.*s", (int)strcspn(unit, "."), unit);
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

const char *usual_unit(const struct unit_votes *votes, size_t lines) {
    int best = 0;
    for (int i = 1; i < 5; i++) {
        best = votes->votes[i] > votes->votes[best] ? i : best;
    }
    return votes->votes[best] * 2 > lines ? unit_words[best] : NULL;
}

void add_unit(struct draft *draft, const struct unit_votes *votes, size_t lines) {
    const char *unit = usual_unit(votes, lines);
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

void add_status(const struct lines *lines, struct draft *draft) {
    if (some_line_has(lines, "ST") || some_line_has(lines, "US")) {
        draft_add(draft, "stable_words = ST\nunstable_words = US\nover_words = OL\n");
    } else if (some_line_has(lines, "S S") || some_line_has(lines, "S D")) {
        draft_add(draft, "stable_words = S S\nunstable_words = S D\nover_words = S +\n"
                         "under_words = S -\nignore_words = S I\n");
    } else if (some_line_has(lines, "?")) {
        draft_add(draft, "unstable_words = ?\n");
    }
}

/* ---- names ---- */

static bool has_part(const char *name, const char *const *parts) {
    char lower[UP_LABEL_SIZE];
    size_t length = 0;
    for (; length < sizeof lower - 1 && name[length] != '\0'; length++) {
        lower[length] = (char)tolower((unsigned char)name[length]);
    }
    lower[length] = '\0';
    while (*parts != NULL && strstr(lower, *parts) == NULL) {
        parts++;
    }
    return *parts != NULL;
}

bool names_load(const char *name) {
    static const char *const parts[] = {"weight", "gram",  "load",    "force", "mass", "kg",
                                        "raw",    "count", "reading", "value", NULL};
    return has_part(name, parts);
}

bool names_climate(const char *name) {
    static const char *const parts[] = {"temp", "hum", "press", "batt", "volt", "factor", NULL};
    return has_part(name, parts) || strncmp(name, "T:", 2) == 0 || strncmp(name, "T=", 2) == 0 ||
           strncmp(name, "H:", 2) == 0 || strncmp(name, "H=", 2) == 0 || strstr(name, "RH") != NULL;
}

/* ---- decimal commas ---- */

/* Every comma stands between digits, and each piece between blanks, tabs or semicolons has one at
   most, and no point. */
static bool may_be_decimal(struct slice line, bool *parted) {
    bool comma = false, point = false, any = false;
    *parted = false;
    for (size_t at = 0; at < line.length; at++) {
        char byte = line.at[at];
        if (byte == ';' || is_blank(byte)) {
            *parted = *parted || byte != ' ';
            comma = point = false;
        } else if (byte == ',') {
            bool between = at > 0 && is_digit(line.at[at - 1]) && at + 1 < line.length &&
                           is_digit(line.at[at + 1]);
            if (comma || point || !between) {
                return false;
            }
            comma = any = true;
        } else if (byte == '.') {
            point = true;
        }
        if (comma && point) {
            return false;
        }
    }
    return any;
}

bool has_decimal_commas(const struct lines *lines) {
    size_t decimal = 0, parted = 0, units = 0, rises = 0;
    double last = (double)INFINITY;
    for (size_t i = 0; i < lines->count; i++) {
        struct quantity quantity;
        bool has_parts;
        struct slice line = lines->line[i];
        if (!may_be_decimal(line, &has_parts)) {
            continue;
        }
        decimal++;
        parted += has_parts;
        const char *comma = memchr(line.at, ',', line.length);
        struct slice behind = {comma + 1, line.length - (size_t)(comma + 1 - line.at)};
        units += read_quantity(lines, behind, &quantity) && quantity.unit[0] != '\0';
        if (read_quantity(lines, line, &quantity)) { /* what stands before the comma */
            rises += quantity.value > last;
            last = quantity.value;
        }
    }
    /* "12,50 kg" is one number, unless what stands before the comma rises like a clock */
    return are_most(decimal, lines->count) &&
           (are_most(parted, decimal) ||
            (are_most(units, decimal) && !are_nearly_all(rises, decimal - 1)));
}
