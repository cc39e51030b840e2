/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The control chart of each reference body on each bench, as a gnuplot script with its data. */
#include <stdlib.h>
#include <string.h>

#include "embedded.h"
#include "picture.h"
#include "text/text.h"

/* The kinds of rows that the template distinguishes. */
enum { BAND, LIMITS, CENTRE, INSIDE, OUTSIDE, OTHER_NUMBERS, ELSEWHERE };

/* The bars hold this many standard uncertainties. */
static const double BARS = 2;

enum { NAME_BYTES = 40 };

struct drawing {
    const struct up_reference *body;
    const char *bench;
    bool simulated;
    const struct up_past_check *past; /* on that bench */
    size_t count;
    struct up_chart chart;
    unsigned number; /* of the picture */
};

/* Those of elsewhere are drawn apart, and judged by nobody here. */
static int kind_of(const struct up_past_check *past) {
    return past->elsewhere       ? ELSEWHERE
           : past->check.outside ? OUTSIDE
           : past->in_limits     ? INSIDE
                                 : OTHER_NUMBERS;
}

static size_t count_of(const struct drawing *drawing, int kind) {
    size_t count = 0;
    for (size_t i = 0; i < drawing->count; i++) {
        count += kind_of(&drawing->past[i]) == kind;
    }
    return count;
}

/* ---- data: numbers only ---- */

/* What each check was held against, half a step to both sides of it. */
static void put_band(FILE *stream, const struct drawing *drawing) {
    for (size_t i = 0; i < drawing->count; i++) {
        const struct up_reference_check *check = &drawing->past[i].check;
        bool drawn =
            !drawing->past[i].elsewhere && isfinite(check->low_kg) && isfinite(check->high_kg);
        for (int side = 0; side < 2 && drawn; side++) {
            put_data_row(stream, BAND, (double)i + 0.5 + side, check->low_kg * 1e3,
                         check->high_kg * 1e3);
        }
    }
}

/* From the first check that makes the limits on. Rows of one kind stand together: another between
   them would break the line. */
static void put_chart(FILE *stream, const struct drawing *drawing) {
    const struct up_chart *chart = &drawing->chart;
    size_t first = 0;
    while (first + 1 < drawing->count && !drawing->past[first].in_limits) {
        first++;
    }
    const double ends[] = {(double)first + 0.5, (double)drawing->count + 0.5};
    for (int i = 0; i < 2 && chart->has_limits; i++) {
        put_data_row(stream, LIMITS, ends[i], chart->low * 1e3, chart->high * 1e3);
    }
    for (int i = 0; i < 2 && chart->has_limits; i++) {
        put_data_row(stream, CENTRE, ends[i], chart->centre * 1e3, 0);
    }
}

static bool put_data(FILE *stream, void *context) {
    const struct drawing *drawing = context;
    fputs("# kind: 0 limits the check was compared with (low, high), 1 limits of the chart (low, "
          "high),\n"
          "# 2 its centre, 3 check inside (off, twice its u), 4 outside, 5 inside, but with other\n"
          "# numbers of the body, 6 from elsewhere\n"
          "# kind\tcheck\ta_g\tb_g\n",
          stream);
    put_band(stream, drawing);
    put_chart(stream, drawing);
    for (size_t i = 0; i < drawing->count; i++) {
        const struct up_past_check *past = &drawing->past[i];
        if (isfinite(past->check.deviation_kg.value)) {
            put_data_row(stream, kind_of(past), (double)i + 1, past->check.deviation_kg.value * 1e3,
                         BARS * past->check.deviation_kg.u * 1e3);
        }
    }
    return ferror(stream) == 0;
}

/* ---- script ---- */

static char *title_of(const struct drawing *drawing) {
    UP_FREED char *body = name_in_title(drawing->body->name, NAME_BYTES);
    UP_FREED char *bench = name_in_title(drawing->bench, NAME_BYTES);
    size_t own = drawing->count - count_of(drawing, ELSEWHERE);
    return up_text_format("%s%s%s on %s: %zu check%s, %zu outside",
                          drawing->simulated ? UP_SIMULATED : "", body,
                          drawing->body->elsewhere ? "  " UP_ELSEWHERE_MARK : "", bench, own,
                          own == 1 ? "" : "s", count_of(drawing, OUTSIDE));
}

static void put_variables(FILE *stream, const void *context) {
    const struct drawing *drawing = context;
    UP_FREED char *first = up_text_format("%.10s", drawing->past[0].made_utc);
    UP_FREED char *last = up_text_format("%.10s", drawing->past[drawing->count - 1].made_utc);
    put_text_variable(stream, "first", first);
    put_text_variable(stream, "last", last);
    fprintf(stream,
            "checks = %zu\nhas_limits = %d\noutside = %zu\nother_numbers = %zu\n"
            "checks_elsewhere = %zu\n",
            drawing->count, drawing->chart.has_limits, count_of(drawing, OUTSIDE),
            count_of(drawing, OTHER_NUMBERS), count_of(drawing, ELSEWHERE));
}

static bool write_one(struct drawing *drawing, const struct up_plots *to,
                      struct up_failure *failure) {
    bool elsewhere = drawing->body->elsewhere || count_of(drawing, ELSEWHERE) > 0;
    UP_FREED char *name = up_text_format("reference-%u", drawing->number);
    UP_FREED char *title = title_of(drawing);
    UP_FREED char *standing =
        up_text_format("%s%s", drawing->simulated ? STANDING_SIMULATED "\n" : "",
                       elsewhere ? UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING "\n" : "");
    const struct picture picture = {
        .name = name,
        .words = {"Control chart of a reference body", title, "", standing},
        .script = {embedded_references_gp, put_data, put_variables, drawing}};
    return picture_write(&picture, to, failure);
}

/* ---- which bodies and benches ---- */

struct bodies {
    struct up_reference *body;
    size_t count;
};

static bool take_body(const struct up_record *record, void *context) {
    struct bodies *bodies = context;
    struct up_reference body;
    if (up_reference_from_json(record->content, &body)) {
        memcpy(body.id, record->subject, sizeof body.id);
        body.elsewhere = record->elsewhere;
        bodies->body = up_reallocate(bodies->body, bodies->count + 1, sizeof *bodies->body);
        bodies->body[bodies->count++] = body;
    }
    return true;
}

static bool is_first_of_bench(const struct up_past_check *past, size_t at) {
    for (size_t i = 0; i < at; i++) {
        if (strcmp(past[i].bench, past[at].bench) == 0) {
            return false;
        }
    }
    return true;
}

static bool write_bench(struct up_catalogue *catalogue, const struct up_reference *body,
                        const char *bench, const struct up_plots *to, unsigned *count,
                        struct up_failure *failure) {
    struct up_past_check *past;
    struct drawing drawing = {.body = body,
                              .bench = bench,
                              .simulated = up_bench_is_simulated(catalogue, bench),
                              .number = *count + 1};
    if (!up_reference_checks(catalogue, body->id, bench, &past, &drawing.count, failure)) {
        return false;
    }
    drawing.past = past;
    bool good = up_reference_chart(catalogue, body->id, bench, &drawing.chart, failure) &&
                write_one(&drawing, to, failure);
    *count += good;
    free(past);
    return good;
}

static bool is_weighed_here(const struct up_past_check *past, size_t checks, const char *bench) {
    for (size_t i = 0; i < checks; i++) {
        if (!past[i].elsewhere && strcmp(past[i].bench, bench) == 0) {
            return true;
        }
    }
    return false;
}

/* On the benches of here, or on those of guests. */
static bool write_body(struct up_catalogue *catalogue, const struct up_reference *body, bool here,
                       const struct up_plots *to, unsigned *count, struct up_failure *failure) {
    struct up_past_check *past;
    size_t checks;
    bool good = up_reference_checks(catalogue, body->id, NULL, &past, &checks, failure);
    for (size_t i = 0; good && i < checks; i++) {
        good = !is_first_of_bench(past, i) ||
               is_weighed_here(past, checks, past[i].bench) != here ||
               write_bench(catalogue, body, past[i].bench, to, count, failure);
    }
    free(past);
    return good;
}

/* A chart of here keeps the name of its file: those of guests come after. */
bool up_plot_write_references(struct up_catalogue *catalogue, const struct up_plots *to,
                              unsigned *count, struct up_failure *failure) {
    struct bodies bodies = {0};
    bool good = up_catalogue_each(catalogue, "reference", take_body, &bodies, failure);
    *count = 0;
    for (size_t i = 0; good && i < 2 * bodies.count; i++) {
        good = write_body(catalogue, &bodies.body[i % bodies.count], i < bodies.count, to, count,
                          failure);
    }
    free(bodies.body);
    return good;
}
