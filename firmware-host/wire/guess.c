/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Drafts of a section [line], each tried on the bytes themselves; the first that fits is taken. */
#include "wire/guess.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "guess_internal.h"
#include "text/text.h"

/* Choices of ours: the ends of a recording are cut, a device prints a word now and then. */
enum { LEAST_FITS = 5 };
static const double FITS_SHARE = 0.8;

/* Assumed where the arrival of the lines was not seen; the file that is written says so. */
static const double RATE_UNKNOWN_HZ = 10, STEP_EXAMPLE_KG = 0.01;

/* A value beyond the capacity of any scale is not a division. */
static const double STEP_MOST_KG = 1000;

struct trial_run {
    double load[GUESS_LINES_MAX];
    size_t count;
    uint64_t lines, fits, passed;
};

void draft_add(struct draft *draft, const char *format, ...) {
    size_t used = strlen(draft->section);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(draft->section + used, sizeof draft->section - used, format, arguments);
    va_end(arguments);
}

/* ---- the lines ---- */

static void cut_lines(const char *bytes, size_t length, struct lines *lines) {
    static const struct up_line_rule plain = {.frame_end = '\n'};
    struct up_framer framer;
    bool complete;
    up_framer_begin(&framer, &plain);
    lines->count = lines->overlong = 0;
    lines->all = (struct slice){bytes, length};
    while (length > 0 && lines->count < GUESS_LINES_MAX) {
        size_t taken = up_framer_take(&framer, bytes, length, &complete);
        if (complete && framer.overlong) {
            lines->overlong++;
        } else if (complete && framer.frame >= bytes && framer.frame < bytes + taken) {
            lines->line[lines->count++] = (struct slice){framer.frame, framer.frame_length};
        }
        bytes += taken;
        length -= taken;
    }
    lines->overlong += !framer.fresh && framer.dropping;
}

/* ---- trying a draft ---- */

static int by_size(const void *one, const void *other) {
    double a = *(const double *)one, b = *(const double *)other;
    return (a > b) - (a < b);
}

/* A load that is hung, and taken off, is a jump and no division: it takes more values to decide,
   the smallest change among them twice, or a change that nobody makes so often by hand (choices of
   ours). */
enum { STEPS_LEAST = 3, REPEATS_LEAST = 2, REPEATS_MANY = 6 };

static bool is_same(double gap, double step) {
    return fabs(gap - step) < 1e-3 * step;
}

/* 1, 2 or 5 times a power of ten of its unit, as the divisions of scales are (OIML R 76-1). */
static bool is_usual_division(double step_kg, enum up_load_unit unit) {
    bool printed = unit == UP_LOAD_PRINTED;
    const double units[] = {up_load_factor(printed ? UP_LOAD_KG : unit),
                            up_load_factor(printed ? UP_LOAD_LB : unit)};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        double step = step_kg / units[i], digit = step / pow(10, floor(log10(step) + 1e-6));
        if (is_same(digit, 1) || is_same(digit, 2) || is_same(digit, 5)) {
            return true;
        }
    }
    return false;
}

/* Sorts the loads. */
static double smallest_step(double *load, size_t count, enum up_load_unit unit, bool *seen) {
    UP_FREED double *change = up_allocate(count + 1, sizeof *change);
    double step = (double)INFINITY;
    unsigned steps = 0, repeats = 0;
    for (size_t i = 1; i < count; i++) {
        change[i] = fabs(load[i] - load[i - 1]);
    }
    qsort(load, count, sizeof *load, by_size);
    for (size_t i = 1; i < count; i++) {
        double gap = load[i] - load[i - 1];
        step = gap > 1e-9 && gap < step ? gap : step;
        steps += gap > 1e-9;
    }
    for (size_t i = 1; i < count; i++) {
        repeats += is_same(change[i], step) || is_same(load[i] - load[i - 1], step);
    }
    *seen = ((steps >= STEPS_LEAST && repeats >= REPEATS_LEAST) || repeats >= REPEATS_MANY) &&
            (unit == UP_LOAD_COUNTS || is_usual_division(step, unit));
    return step;
}

static void read_all(const struct up_rig *rig, const char *bytes, size_t length,
                     struct trial_run *run) {
    struct up_reader reader;
    struct up_sample sample;
    up_reader_begin(&reader, &rig->line, false);
    run->count = 0;
    while (up_reader_take(&reader, &bytes, &length, &sample)) {
        if (run->count < GUESS_LINES_MAX) {
            run->load[run->count++] = sample.load[0];
        }
    }
    run->lines = reader.lines;
    run->fits = reader.count[UP_LINE_FITS];
    run->passed =
        reader.count[UP_LINE_PASSED] + reader.count[UP_LINE_LABEL] + reader.count[UP_LINE_NOTE];
}

static void describe(const struct draft *draft, const struct up_rig *rig, double rate_hz,
                     struct trial_run *run, struct up_guess *guess) {
    const char *rate = "";
    double step;
    if (rig->line.time_unit_s == 0 && isnan(rate_hz)) {
        rate = "; the pace of these lines is not known: count those of a minute, correct rate_hz\n";
    }
    guess->lines = run->lines;
    guess->fits = run->fits;
    guess->passed = run->passed;
    guess->first_load = run->load[0];
    guess->last_load = run->load[run->count - 1];
    guess->in_counts = rig->line.load_unit == UP_LOAD_COUNTS;
    snprintf(guess->words, sizeof guess->words, "%s", draft->words);
    step = smallest_step(run->load, run->count, rig->line.load_unit, &guess->step_seen);
    step = step < STEP_MOST_KG ? step : (double)INFINITY;
    guess->step_seen = guess->step_seen && isfinite(step);
    snprintf(guess->line_section, sizeof guess->line_section, "%s[line]\n%s", rate, draft->section);
    size_t used = strlen(guess->line_section);
    if (guess->step_seen && (!guess->in_counts || step != floor(step))) {
        snprintf(guess->line_section + used, sizeof guess->line_section - used,
                 "\n[sensor]\n; the smallest step seen%s\ndivision_counts = %.6g\n",
                 guess->in_counts ? "" : ", in kg", step);
    } else if (!guess->in_counts || (isfinite(step) && step != floor(step))) {
        snprintf(guess->line_section + used, sizeof guess->line_section - used,
                 "\n[sensor]\n; FILL IN: the smallest step that it shows%s; too few small changes "
                 "came to know it\n; division_counts = %g\n",
                 guess->in_counts ? "" : ", in kg", guess->in_counts ? step : STEP_EXAMPLE_KG);
    }
}

/* True where the draft reads at least four of five lines that it does not pass over. The first and
   the last line of a piece of stream are cut and count for nothing. */
static bool try_draft(struct draft *draft, const struct lines *lines, struct up_guess *guess) {
    double rate_hz = lines->rate_hz;
    UP_FREED struct up_rig *rig = up_allocate(1, sizeof *rig);
    UP_FREED struct trial_run *run = up_allocate(1, sizeof *run);
    struct up_failure failure = {0};
    bool good;
    if (lines->decimal_comma) {
        draft_add(draft, "decimal = comma\n");
    }
    if (!draft->has_time) {
        draft_add(draft, "rate_hz = %.4g\n", isnan(rate_hz) ? RATE_UNKNOWN_HZ : rate_hz);
    }
    UP_FREED char *text = up_text_format(
        "[rig]\nid = guess\n[line]\n%s[sensor]\ndivision_counts = 0.001\n", draft->section);
    good = up_rig_parse("guess", text, rig, &failure);
    if (good) {
        read_all(rig, lines->all.at, lines->all.length, run);
        uint64_t due = run->lines - run->passed;
        due -= due > LEAST_FITS ? 1 : 0;
        good = run->fits >= LEAST_FITS && (double)run->fits >= FITS_SHARE * (double)due;
    }
    if (good) {
        describe(draft, rig, rate_hz, run, guess);
    }
    return good;
}

static bool refuse_lines(const struct lines *lines, struct up_failure *failure) {
    char example[64] = "";
    char *safe;
    if (lines->count == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       lines->overlong > 0
                           ? "no stream of lines: a line is longer than 1023 bytes; a device that "
                             "prints its readings ends a line after each of them"
                           : "no whole line has come: is the device on, and does it send without "
                             "being asked?");
    }
    const struct slice *line = &lines->line[lines->count / 2];
    snprintf(example, sizeof example, "%.*s", (int)(line->length < 60 ? line->length : 60),
             line->at);
    safe = up_text_for_terminal(example);
    up_fail(failure, UP_STATUS_WRONG_INPUT,
            "no layout fits four of five of its %zu lines, such as \"%s\": a wrong baud rate shows "
            "as such rubbish; else write the rig file by hand",
            lines->count, safe);
    free(safe);
    return false;
}

bool up_guess_layout(const char *bytes, size_t length, double rate_hz, struct up_guess *guess,
                     struct up_failure *failure) {
    static bool (*const drafters[])(const struct lines *lines, struct draft *draft) = {
        draft_sealed, draft_json,   draft_next_line, draft_report,    draft_fields,
        draft_bare,   draft_labels, draft_numbers,   draft_star_hash, draft_start_end};
    UP_FREED struct lines *lines = up_allocate(1, sizeof *lines);
    bool found = false;
    memset(guess, 0, sizeof *guess);
    cut_lines(bytes, length, lines);
    lines->rate_hz = rate_hz;
    lines->decimal_comma = has_decimal_commas(lines);
    for (size_t i = 0; i < sizeof drafters / sizeof drafters[0] && !found; i++) {
        UP_FREED struct draft *draft = up_allocate(1, sizeof *draft);
        found = drafters[i](lines, draft) && try_draft(draft, lines, guess);
    }
    found = found || refuse_lines(lines, failure);
    return found;
}
