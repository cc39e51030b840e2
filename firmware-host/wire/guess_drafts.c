/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a line of each kind but columns looks like, and the section [line] that would read it. */
#include <string.h>

#include "guess_internal.h"
#include "text/text.h"

/* ---- one number a line ---- */

bool draft_bare(const struct lines *lines, struct draft *draft) {
    struct unit_votes votes = {{0}};
    size_t whole = 0, large = 0;
    for (size_t i = 0; i < lines->count; i++) {
        struct quantity quantity;
        if (read_quantity(lines, lines->line[i], &quantity) && quantity.whole) {
            whole++;
            vote_unit(&votes, quantity.unit);
            large += quantity.is_integer && fabs(quantity.value) > 32768;
        }
    }
    if (!are_most(whole, lines->count)) {
        return false;
    }
    draft_add(draft, "layout = bare\n");
    add_unit(draft, &votes, whole);
    if (large * 2 > whole && usual_unit(&votes, whole) == NULL) {
        draft_add(draft, "word_bits = 24\n");
    }
    snprintf(draft->words, sizeof draft->words, "one number a line");
    return true;
}

/* ---- numbers among text ---- */

/* What stands between a number of the line and the one before it, from 1. */
static struct slice before_number(const struct lines *lines, struct slice line, int n) {
    struct slice rest, from = line;
    if (n > 1 && find_number(line, lines->decimal_comma, n - 1, &rest)) {
        struct number number;
        size_t length = stamp_length(rest);
        if (length == 0 && scan_number(rest, lines->decimal_comma, &number)) {
            length = number.length;
        }
        from = (struct slice){rest.at + length, rest.length - length};
    }
    if (!find_number(line, lines->decimal_comma, n, &rest)) {
        return (struct slice){line.at, 0};
    }
    from.length = (size_t)(rest.at - from.at);
    from = skip_unit(from);
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

static bool is_climate(const struct lines *lines, struct slice line, int n,
                       const struct quantity *quantity) {
    char name[UP_LABEL_SIZE];
    struct slice label = before_number(lines, line, n);
    snprintf(name, sizeof name, "%.*s", (int)label.length, label.at);
    return quantity->is_climate || names_climate(name);
}

/* The n-th number of the lines, taken over all of them. */
struct ordinal {
    size_t seen, stamps, climates;
    double least, most;
};

static void learn_ordinal(const struct lines *lines, int n, struct ordinal *ordinal) {
    *ordinal = (struct ordinal){.least = (double)INFINITY, .most = (double)-INFINITY};
    for (size_t i = 0; i < lines->count; i++) {
        struct slice rest;
        struct quantity quantity;
        if (!find_number(lines->line[i], lines->decimal_comma, n, &rest)) {
            continue;
        }
        ordinal->seen++;
        if (stamp_length(rest) > 0) {
            ordinal->stamps++;
        } else if (read_quantity(lines, rest, &quantity)) {
            ordinal->climates += is_climate(lines, lines->line[i], n, &quantity);
            ordinal->least = fmin(ordinal->least, quantity.value);
            ordinal->most = fmax(ordinal->most, quantity.value);
        }
    }
}

enum { ORDINALS = 8 };

/* The number that changed the most and is neither clock nor climate; where none did, the first
   such. 0: there is none. *stamp: a time of day, 0 for none. */
static int liveliest_number(const struct lines *lines, int *stamp) {
    double span = -1;
    int best = 0;
    *stamp = 0;
    for (int n = 1; n <= ORDINALS; n++) {
        struct ordinal ordinal;
        learn_ordinal(lines, n, &ordinal);
        if (!are_most(ordinal.seen, lines->count)) {
            break;
        }
        if (are_most(ordinal.stamps, ordinal.seen)) {
            *stamp = n; /* the time comes behind the date */
        } else if (ordinal.climates * 2 < ordinal.seen && ordinal.most - ordinal.least > span) {
            best = n;
            span = ordinal.most - ordinal.least;
        }
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
        struct slice here = before_number(lines, lines->line[i], which);
        if (lead == 0) {
            label = here;
        }
        lead += is_same(here, label) ? 1 : (size_t)-1;
    }
    return label;
}

/* Where most lines begin with a time, the numbers of the line say more than its labels. */
bool draft_labels(const struct lines *lines, struct draft *draft) {
    int stamp, which = liveliest_number(lines, &stamp);
    struct slice label = usual_label(lines, which);
    struct unit_votes votes = {{0}};
    size_t same = 0;
    if (which == 0 || stamp > 0 || !is_label(label)) {
        return false;
    }
    for (size_t i = 0; i < lines->count; i++) {
        struct slice rest;
        struct quantity quantity;
        if (is_same(before_number(lines, lines->line[i], which), label) &&
            find_number(lines->line[i], lines->decimal_comma, which, &rest) &&
            read_quantity(lines, rest, &quantity)) {
            same++;
            vote_unit(&votes, quantity.unit);
        }
    }
    if (same * 2 < lines->count) {
        return false;
    }
    draft_add(draft, "layout = labels\nload_label = %.*s\n", (int)label.length, label.at);
    if (!are_nearly_all(same, lines->count)) {
        draft_add(draft, "other_lines = pass\n");
    }
    add_unit(draft, &votes, same);
    snprintf(draft->words, sizeof draft->words, "the number after the label %.*s",
             (int)label.length, label.at);
    return true;
}

/* "+007.12/3 G S": besides the number nothing but letters, two together at most. Such a G may be
   the gram or gross. */
static bool is_number_and_letters(struct slice line, bool *grams) {
    size_t together = 0;
    *grams = false;
    for (size_t at = 0; at < line.length; at++) {
        bool letter = is_letter(line.at[at]);
        together = letter ? together + 1 : 0;
        *grams = *grams || line.at[at] == 'G' || line.at[at] == 'g';
        if (together > 2 || (!letter && strchr("+-./ 0123456789", line.at[at]) == NULL)) {
            return false;
        }
    }
    return true;
}

static bool assume_unit(const struct lines *lines, struct draft *draft) {
    size_t plain = 0, grams = 0;
    for (size_t i = 0; i < lines->count; i++) {
        bool g;
        plain += is_number_and_letters(lines->line[i], &g);
        grams += g;
    }
    if (!are_most(plain, lines->count)) {
        return false;
    }
    draft_add(draft,
              "; no unit is printed (G may mean gross): correct it where it is wrong\n"
              "load_unit = %s\n",
              are_most(grams, lines->count) ? "g" : "kg");
    return true;
}

/* Text in which numbers occur is no reading: a unit must show what the number is, or a recorder's
   stamp before it. */
bool draft_numbers(const struct lines *lines, struct draft *draft) {
    struct unit_votes votes = {{0}};
    int stamp, which = liveliest_number(lines, &stamp);
    size_t found = 0;
    for (size_t i = 0; i < lines->count && which > 0; i++) {
        struct slice rest;
        struct quantity quantity;
        if (find_number(lines->line[i], lines->decimal_comma, which, &rest) &&
            read_quantity(lines, rest, &quantity)) {
            found++;
            vote_unit(&votes, quantity.unit);
        }
    }
    if (!are_most(found, lines->count)) {
        return false;
    }
    draft_add(draft, "layout = numbers\nload_field = %d\n", which);
    if (stamp > 0) {
        draft->has_time = true;
        draft_add(draft, "time_field = %d\ntime_unit = hh:mm:ss\n", stamp);
    }
    add_unit(draft, &votes, found);
    add_status(lines, draft);
    snprintf(draft->words, sizeof draft->words, "number %d of the line", which);
    return usual_unit(&votes, found) != NULL || stamp > 0 || assume_unit(lines, draft);
}

/* ---- a report of several lines, each a name and a number ---- */

/* What stands before a number that ends the line, two blanks or more between: a key letter, or
   words. */
static bool is_keyed(const struct lines *lines, struct slice line, struct slice *key,
                     struct quantity *quantity) {
    size_t at = line.length;
    while (at > 1 && !(is_blank(line.at[at - 1]) && is_blank(line.at[at - 2]))) {
        at--;
    }
    *key = trim((struct slice){line.at, at});
    return at > 2 && key->length > 0 && key->length < UP_LABEL_SIZE &&
           memchr(key->at, ',', key->length) == NULL &&
           read_quantity(lines, (struct slice){line.at + at, line.length - at}, quantity) &&
           quantity->whole;
}

enum { KEYS_MAX = 64 };

struct report {
    struct {
        struct slice key;
        size_t seen;
        double least, most;
        struct unit_votes votes;
    } line[KEYS_MAX];
    int keys, last;
    size_t keyed, repeated; /* lines with a key, and with the key of the line before */
};

static void learn_report(const struct lines *lines, struct report *report) {
    for (size_t i = 0; i < lines->count; i++) {
        struct quantity quantity;
        struct slice key;
        int at = 0;
        if (!is_keyed(lines, lines->line[i], &key, &quantity)) {
            continue;
        }
        while (at < report->keys && !is_same(report->line[at].key, key)) {
            at++;
        }
        if (at < KEYS_MAX) {
            bool first = at == report->keys;
            report->keys += first;
            report->keyed++;
            report->repeated += at == report->last && !first;
            report->last = at;
            report->line[at].key = key;
            report->line[at].seen++;
            report->line[at].least =
                first ? quantity.value : fmin(report->line[at].least, quantity.value);
            report->line[at].most =
                first ? quantity.value : fmax(report->line[at].most, quantity.value);
            vote_unit(&report->line[at].votes, quantity.unit);
        }
    }
}

bool draft_report(const struct lines *lines, struct draft *draft) {
    UP_FREED struct report *report = up_allocate(1, sizeof *report);
    int best = -1, kinds = 0;
    learn_report(lines, report);
    for (int i = 0; i < report->keys; i++) {
        double span = report->line[i].most - report->line[i].least;
        bool recurs = report->line[i].seen > 4;
        kinds += recurs;
        if (recurs && (best < 0 || span > report->line[best].most - report->line[best].least)) {
            best = i;
        }
    }
    /* the words of a state stay for a while, those of a report take turns */
    bool found =
        kinds > 2 && report->keyed * 2 >= lines->count && report->repeated * 10 < report->keyed;
    if (found) {
        struct slice key = report->line[best].key;
        const char *unit = usual_unit(&report->line[best].votes, report->line[best].seen);
        draft_add(draft, "layout = bare\nstarts_with = %.*s\nother_lines = pass\nload_unit = %s\n",
                  (int)key.length, key.at, unit != NULL ? unit : "kg");
        snprintf(draft->words, sizeof draft->words,
                 "a report of %d kinds of lines; those that begin with %.*s changed the most%s",
                 kinds, (int)key.length, key.at,
                 unit != NULL ? "" : "; no unit is printed, kg is assumed");
    }
    return found;
}

/* ---- a label on one line, the number on the next ---- */

static bool begins_with_number(const struct lines *lines, struct slice line) {
    struct slice rest;
    return find_number(line, lines->decimal_comma, 1, &rest) && rest.at == line.at;
}

bool draft_next_line(const struct lines *lines, struct draft *draft) {
    size_t pairs = 0;
    struct slice label = {NULL, 0};
    for (size_t i = 0; i + 1 < lines->count; i++) {
        struct quantity quantity;
        if (!begins_with_number(lines, lines->line[i]) &&
            read_quantity(lines, lines->line[i + 1], &quantity) && quantity.whole) {
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

/* ---- frames that no line end parts: everything came as few lines, or as none ---- */

static bool any_contains(const struct lines *lines, char byte) {
    size_t found = 0;
    for (size_t i = 0; i < lines->count; i++) {
        found += memchr(lines->line[i].at, byte, lines->line[i].length) != NULL;
    }
    return are_most(found, lines->count);
}

bool draft_star_hash(const struct lines *lines, struct draft *draft) {
    if (lines->count > 0 && (!any_contains(lines, '*') || !any_contains(lines, '#'))) {
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
    if (lines->count > 0 && (!any_contains(lines, '\002') || !any_contains(lines, '\003'))) {
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

/* ---- the numbered line (rigs/numbered_line.h) ---- */

/* A board's thermometer is within half a degree (data sheet, from memory): a rectangle's 0.29 K. */
bool draft_sealed(const struct lines *lines, struct draft *draft) {
    static const struct up_line_rule rule = {
        .checksum = UP_CHECKSUM_CRC16, .checksum_mark = '*', .checksum_base = 16};
    struct slice name = {"", 0};
    size_t sealed = 0;
    for (size_t i = 0; i < lines->count; i++) {
        struct slice line = lines->line[i];
        bool whole = take_checksum(&rule, &line);
        sealed += whole;
        if (whole && line.length > 7 && memcmp(line.at, "#start ", 7) == 0) {
            name = (struct slice){line.at + 7, line.length - 7};
        }
    }
    draft->has_time = true;
    draft_add(draft, "layout = fields\nseparator = comma\ncolumns = 4\nsequence_field = 1\n"
                     "time_field = 2\ntime_unit = ms\nload_field = 3\ntemp_field = 4\n"
                     "word_bits = 24\nchecksum = crc16\nchecksum_after = star\nnotes = hash\n"
                     "\n[sensor]\nu_thermometer_k = 0.3\n");
    snprintf(draft->words, sizeof draft->words, "numbered lines with a checksum%s%.*s",
             name.length > 0 ? ", of " : "", (int)name.length, name.at);
    return are_most(sealed, lines->count);
}
