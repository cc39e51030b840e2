/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "cli.h"
#include "session/probe.h"
#include "text/json.h"
#include "text/text.h"

const struct option_text options_listen[] = {
    OPTION_RIG,
    {"replay", "CAPTURE", "a file of recorded bytes, or - for standard input; else the rig's port"},
    {"seconds", "S", "how long to listen to a port (default 10)"},
    {"loads", "LIST", "the loads that hung, in order, in any unit: gives counts per unit"},
    OPTION_PORT,
    OPTION_UNITS,
    OPTION_JSON,
    OPTION_END};

enum { LOADS_MAX = 256, LEAST_LINES = 20 };
enum { LEAST_PAIRS = 8 }; /* an Allan deviation of fewer is too vague to call it the least */

/* ---- the fit to known loads ---- */

struct load_fit {
    struct up_fit fit;
    double residual[LOADS_MAX]; /* in the unit of the loads */
    int count;
};

static bool fit_loads(const struct up_heard_column *column, const double *load, int loads,
                      struct load_fit *result, struct up_failure *failure) {
    double counts[LOADS_MAX];
    result->count = loads;
    for (int i = 0; i < loads; i++) {
        counts[i] = column->plateau[i].load;
    }
    if (!up_fit_polynomial(load, counts, (size_t)loads, 2, &result->fit)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--loads: give at least three loads, not all equal");
    }
    for (int i = 0; i < loads; i++) {
        result->residual[i] = (counts[i] - result->fit.c[0]) / result->fit.c[1] - load[i];
    }
    return true;
}

/* ---- printing ---- */

static json_t *plateaus_to_json(const struct up_heard_column *column) {
    json_t *list = json_array();
    for (uint64_t i = 0; i < column->plateaus && i < UP_HEARD_PLATEAUS_MAX; i++) {
        const struct up_plateau *plateau = &column->plateau[i];
        json_array_append_new(list, json_pack("{s:f, s:f, s:f, s:f, s:f, s:f, s:i, s:f}", "step_s",
                                              plateau->step_s, "start_s", plateau->start_s, "end_s",
                                              plateau->end_s, "load", plateau->load, "u_load",
                                              plateau->u_load, "slope_per_s", plateau->slope_per_s,
                                              "readings", (int)plateau->readings, "late_s",
                                              plateau->late_s));
    }
    return list;
}

static json_t *glitches_to_json(const struct up_heard_column *column) {
    json_t *list = json_array();
    for (uint64_t i = 0; i < column->glitches_kept; i++) {
        const struct up_glitch *glitch = &column->glitch[i];
        json_array_append_new(list,
                              json_pack("{s:f, s:f, s:s, s:I}", "time_s", glitch->time_s, "load",
                                        glitch->load, "kind", up_verdict_name(glitch->verdict),
                                        "readings", (json_int_t)glitch->readings));
    }
    return list;
}

static json_t *fit_to_json(const struct load_fit *fit) {
    json_t *residuals = json_array();
    for (int i = 0; i < fit->count; i++) {
        json_array_append_new(residuals, json_real(fit->residual[i]));
    }
    return json_pack("{s:f, s:f, s:f, s:o}", "counts_per_unit", fit->fit.c[1], "u_counts_per_unit",
                     sqrt(fit->fit.covariance[1][1]), "offset_counts", fit->fit.c[0], "residuals",
                     residuals);
}

static json_t *refusals_to_json(const struct up_reader *reader) {
    json_t *object = json_object();
    for (int i = UP_LINE_PASSED; i < UP_REFUSALS; i++) {
        if (reader->count[i] > 0) {
            json_object_set_new(object, up_refusal_name((enum up_refusal)i),
                                json_integer((json_int_t)reader->count[i]));
        }
    }
    return object;
}

static json_t *pace_to_json(const struct up_pace *pace) {
    json_t *counts = json_object();
    json_t *first = json_array();
    uint64_t events = pace->count[UP_PACE_STALL] + pace->count[UP_PACE_BURST];
    events += pace->count[UP_PACE_RATE];
    for (int i = 0; i < UP_PACE_KINDS; i++) {
        json_object_set_new(counts, up_pace_name((enum up_pace_kind)i),
                            json_integer((json_int_t)pace->count[i]));
    }
    for (uint64_t i = 0; i < events && i < UP_PACE_FIRST_MAX; i++) {
        const struct up_pace_event *event = &pace->first[i];
        json_array_append_new(first,
                              json_pack("{s:s, s:f, s:f, s:o}", "kind", up_pace_name(event->kind),
                                        "time_s", event->time_s, "interval_s", event->interval_s,
                                        "settled_s", up_json_number(event->settled_s)));
    }
    return json_pack("{s:o, s:o}", "counts", counts, "first", first);
}

static json_t *allan_to_json(const struct up_allan *allan, double rate_hz) {
    json_t *list = json_array();
    for (int i = 0; i < UP_ALLAN_FACTORS && allan->group[i].pairs > 0; i++) {
        json_array_append_new(list,
                              json_pack("{s:f, s:o, s:f, s:I}", "readings", up_allan_factor(i),
                                        "tau_s", up_json_number(up_allan_factor(i) / rate_hz),
                                        "deviation", up_allan_deviation(allan, i), "pairs",
                                        (json_int_t)allan->group[i].pairs));
    }
    return list;
}

static json_t *allan_minimum_to_json(const struct up_allan *allan, double rate_hz) {
    int best = up_allan_minimum(allan, LEAST_PAIRS);
    return best < 0 ? json_null()
                    : json_pack("{s:f, s:o, s:f}", "readings", up_allan_factor(best), "tau_s",
                                up_json_number(up_allan_factor(best) / rate_hz), "deviation",
                                up_allan_deviation(allan, best));
}

static void add_statistics(json_t *json, const struct up_heard_column *column, double rate_hz) {
    const struct up_quiet *quiet = &column->quiet;
    json_object_set_new(json, "lag1", up_json_number(up_listening_lag1(column)));
    json_object_set_new(json, "allan", allan_to_json(&quiet->allan, rate_hz));
    json_object_set_new(json, "allan_minimum", allan_minimum_to_json(&quiet->allan, rate_hz));
    json_object_set_new(json, "drift_per_min", up_json_number(60 * quiet->slope_per_s));
    json_object_set_new(json, "drift_over_s", up_json_number(quiet->longest_s));
}

static void print_document(const struct up_listening *listening, const struct load_fit *fit) {
    json_t *columns = json_array();
    for (int i = 0; i < listening->columns; i++) {
        const struct up_heard_column *column = &listening->column[i];
        json_t *json =
            json_pack("{s:i, s:o, s:f, s:I, s:I, s:i, s:o, s:o}", "field", column->field, "noise",
                      up_json_number(up_listening_noise(column)), "lines_per_value",
                      column->filter.repeats.per_value, "glitch_count",
                      (json_int_t)column->glitches, "plateau_count", (json_int_t)column->plateaus,
                      "unsettled_count", (int)up_finder_unsettled(column->finder), "glitches",
                      glitches_to_json(column), "plateaus", plateaus_to_json(column));
        add_statistics(json, column, up_listening_conversion_hz(listening, column));
        if (fit != NULL && fit[i].count > 0) {
            json_object_set_new(json, "fit", fit_to_json(&fit[i]));
        }
        json_array_append_new(columns, json);
    }
    print_json(json_pack(
        "{s:s, s:s, s:I, s:I, s:I, s:o, s:o, s:o, s:o, s:o}", "schema", "upthrust-listen-1",
        "load_unit", listening->rig->line.load_unit == UP_LOAD_COUNTS ? "counts" : "kg", "bytes",
        (json_int_t)listening->bytes, "lines", (json_int_t)listening->reader.lines, "refused",
        (json_int_t)up_reader_refused(&listening->reader), "refused_why",
        refusals_to_json(&listening->reader), "rate_hz",
        up_json_number(up_listening_rate_hz(listening)), "duration_s",
        up_json_number(listening->samples > 0 ? listening->last_s - listening->first_s
                                              : (double)NAN),
        "pace", pace_to_json(&listening->pace), "columns", columns));
}

static void print_pace(const struct up_pace *pace) {
    uint64_t events = 0;
    for (int i = 0; i < UP_PACE_KINDS; i++) {
        if (pace->count[i] > 0) {
            printf("  %s: %llu\n", up_pace_name((enum up_pace_kind)i),
                   (unsigned long long)pace->count[i]);
            events += i == UP_PACE_BACK ? 0 : pace->count[i];
        }
    }
    for (uint64_t i = 0; i < events && i < 4; i++) {
        const struct up_pace_event *event = &pace->first[i];
        printf("  %s at %.3f s: %.3g s, before %.3g s a line\n", up_pace_name(event->kind),
               event->time_s, event->interval_s, event->settled_s);
    }
}

/* For people masses are in grams or ounces. */
struct display {
    double factor;
    const char *unit;
};

static struct display display_of(const struct up_rig *rig, const struct up_style *style) {
    return rig->line.load_unit == UP_LOAD_COUNTS
               ? (struct display){1, "counts"}
               : (struct display){up_style_in_unit(style, 1e3), up_style_unit(style)};
}

static void print_plateaus(const struct up_heard_column *column, struct display display,
                           const struct load_fit *fit) {
    bool fitted = fit != NULL && fit->count > 0;
    if (column->plateaus == 0) {
        return;
    }
    printf("  %10s %*s%s %10s %9s%s\n", "read at s", 16 - (int)strlen(display.unit), "load, ",
           display.unit, "std unc", "readings", fitted ? "  residual" : "");
    for (uint64_t i = 0; i < column->plateaus && i < UP_HEARD_PLATEAUS_MAX; i++) {
        const struct up_plateau *plateau = &column->plateau[i];
        printf("  %10.1f %16.8g %10.3g %9u", (plateau->start_s + plateau->end_s) / 2,
               display.factor * plateau->load, display.factor * plateau->u_load, plateau->readings);
        if (fitted) {
            printf("  %+8.4f", fit->residual[i]);
        }
        putchar('\n');
    }
    if (fitted) {
        UP_FREED char *text = up_text_format(
            "fit: %.6g %s a unit of load, standard uncertainty %.3g; at no load %.6g %s",
            display.factor * fit->fit.c[1], display.unit,
            display.factor * sqrt(fit->fit.covariance[1][1]), display.factor * fit->fit.c[0],
            display.unit);
        up_text_paragraph(stdout, "  ", text);
    }
}

/* "Allan deviation, counts: 68 at 0.1 s, 24 at 1 s; least 14 at 5 s". */
static void print_allan(const struct up_allan *allan, struct display display, double rate_hz) {
    int best = up_allan_minimum(allan, LEAST_PAIRS);
    const char *before = ": ";
    char *text = NULL;
    size_t size = 0;
    FILE *stream = best >= 0 ? open_memstream(&text, &size) : NULL;
    if (stream == NULL) {
        return;
    }
    fprintf(stream, "Allan deviation, %s", display.unit);
    for (int i = 0; i < UP_ALLAN_FACTORS; i += 3) {
        if (allan->group[i].pairs >= LEAST_PAIRS) {
            fprintf(stream, "%s%.3g at %.3g s", before,
                    display.factor * up_allan_deviation(allan, i), up_allan_factor(i) / rate_hz);
            before = ", ";
        }
    }
    fprintf(stream, "; least %.3g at %.3g s", display.factor * up_allan_deviation(allan, best),
            up_allan_factor(best) / rate_hz);
    if (fclose(stream) == 0) {
        up_text_paragraph(stdout, "  ", text);
    }
    free(text);
}

static void print_glitches(const struct up_heard_column *column, struct display display) {
    enum { SHOWN = 20 };
    for (size_t i = 0; i < column->glitches_kept && i < SHOWN; i++) {
        const struct up_glitch *glitch = &column->glitch[i];
        printf("  glitch at %.3f s: %.10g %s, %s", glitch->time_s, display.factor * glitch->load,
               display.unit, up_verdict_name(glitch->verdict));
        if (glitch->readings > 1) {
            printf(", %llu readings", (unsigned long long)glitch->readings);
        }
        putchar('\n');
    }
    if (column->glitches_kept > SHOWN) {
        puts("  ... and more (all with --json)");
    }
}

static void print_column(const struct up_heard_column *column, struct display display,
                         double rate_hz, const struct load_fit *fit) {
    double noise = up_listening_noise(column);
    printf("column %d: ", column->field);
    if (isnan(noise)) {
        printf("too few readings to know their noise");
    } else if (noise < column->filter.noise.floor_least) {
        printf("noise of one reading below its smallest step");
    } else {
        printf("noise of one reading %.4g %s", display.factor * noise, display.unit);
    }
    printf("; %llu glitch%s; %llu plateau%s", (unsigned long long)column->glitches,
           column->glitches == 1 ? "" : "es", (unsigned long long)column->plateaus,
           up_text_plural(column->plateaus));
    if (up_finder_unsettled(column->finder) > 0) {
        printf("; levels that did not settle: %u", up_finder_unsettled(column->finder));
    }
    putchar('\n');
    if (column->filter.repeats.per_value > 1) {
        printf("  each value comes %.2g times; it is counted once\n",
               column->filter.repeats.per_value);
    }
    const struct up_quiet *quiet = &column->quiet;
    if (!isnan(up_listening_lag1(column))) {
        printf("  neighbouring readings correlate by %+.2f\n", up_listening_lag1(column));
    }
    print_allan(&quiet->allan, display, rate_hz);
    if (!isnan(quiet->slope_per_s)) {
        printf("  longest quiet level %.3g s, drift %+.3g %s a minute\n", quiet->longest_s,
               60 * display.factor * quiet->slope_per_s, display.unit);
    }
    print_glitches(column, display);
    print_plateaus(column, display, fit);
}

static void print_words(const struct up_listening *listening, const struct load_fit *fit,
                        const struct up_style *style) {
    const struct up_reader *reader = &listening->reader;
    printf("%llu line%s read, %llu refused\n", (unsigned long long)reader->lines,
           up_text_plural(reader->lines), (unsigned long long)up_reader_refused(reader));
    for (int i = UP_LINE_PASSED; i < UP_REFUSALS; i++) {
        if (reader->count[i] > 0) {
            printf("  %llu %s%s\n", (unsigned long long)reader->count[i],
                   up_is_refused((enum up_refusal)i) ? "refused: " : "",
                   up_refusal_name((enum up_refusal)i));
        }
    }
    for (int i = 0; i < reader->shown; i++) {
        up_text_print(stdout, "  line %llu was: %s\n", (unsigned long long)reader->refused_line[i],
                      reader->refused_text[i]);
    }
    for (uint64_t i = reader->notes - (reader->notes < UP_NOTES ? reader->notes : UP_NOTES);
         i < reader->notes; i++) {
        up_text_print(stdout, "  the device says: %s\n", reader->note[i % UP_NOTES]);
    }
    if (!isnan(up_listening_rate_hz(listening))) {
        printf("rate %.3f Hz by the device's clock, over %.1f s\n", up_listening_rate_hz(listening),
               listening->last_s - listening->first_s);
    }
    print_pace(&listening->pace);
    for (int i = 0; i < listening->columns; i++) {
        const struct up_heard_column *column = &listening->column[i];
        print_column(column, display_of(listening->rig, style),
                     up_listening_conversion_hz(listening, column), fit != NULL ? &fit[i] : NULL);
    }
}

/* ---- the command ---- */

bool judge_listening(const struct up_listening *listening, const char *what,
                     struct up_failure *failure) {
    const struct up_reader *reader = &listening->reader;
    uint64_t refused = up_reader_refused(reader);
    if (listening->samples > 0 && !up_reader_is_mismatched(reader, LEAST_LINES)) {
        return true;
    }
    if (reader->lines == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%s contains no whole line: %llu bytes came",
                       what, (unsigned long long)listening->bytes);
    }
    enum up_refusal usual = up_reader_usual_refusal(reader);
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s: %llu of %llu lines fit the rig file's section [line]; most are refused for "
                   "this: %s; such as \"%.60s\" and \"%.60s\"",
                   what, (unsigned long long)(reader->lines - refused),
                   (unsigned long long)reader->lines, up_refusal_name(usual),
                   reader->refused_text[0], reader->refused_text[1]);
}

static bool fit_columns(struct call *call, const struct up_listening *listening,
                        struct load_fit *fit) {
    double load[LOADS_MAX];
    int loads = 0;
    if (!option_list(call, "loads", load, LOADS_MAX, &loads)) {
        return false;
    }
    int fitted = 0;
    for (int i = 0; i < listening->columns; i++) {
        const struct up_heard_column *column = &listening->column[i];
        if (loads == 0 || column->plateaus != (uint64_t)loads) {
            continue; /* another cell, on which other loads hung */
        }
        if (!fit_loads(column, load, loads, &fit[i], call->failure)) {
            return false;
        }
        fitted++;
    }
    return loads == 0 || fitted > 0 ||
           refuse(call,
                  "--loads names %d loads and no column has as many plateaus (column %d has %llu)",
                  loads, listening->column[0].field,
                  (unsigned long long)listening->column[0].plateaus);
}

bool hear_stream(struct call *call, const struct up_rig *rig, double seconds,
                 struct up_listening *listening) {
    const char *replay = option_value(call, "replay");
    struct up_source *source = NULL;
    bool good =
        option_number(call, "seconds", 0.1, 86400, &seconds) &&
        (replay != NULL ? up_source_open_capture(replay, &source, call->failure)
                        : up_source_open(rig, option_value(call, "port"), &source, call->failure));
    good = good && up_listen_to_stream(rig, source, seconds, &signalled, listening, call->failure);
    up_source_close(source);
    up_listening_end(listening);
    return good;
}

bool command_listen(struct call *call) {
    const char *rig_file = option_value(call, "rig");
    const char *replay = option_value(call, "replay");
    struct up_rig rig;
    struct load_fit fit[UP_LOADS_MAX] = {0};
    struct up_listening *listening;
    struct up_style style;
    bool good;
    if (rig_file == NULL) {
        return refuse(call, "give --rig FILE: it describes what a line looks like");
    }
    if (!style_asked(call, &style) || !up_rig_load(rig_file, &rig, call->failure)) {
        return false;
    }
    catch_signals();
    bool live = replay == NULL && rig.port_kind != UP_PORT_CAPTURE;
    listening = up_listening_create(&rig, live && rig.line.poll[0] == '\0');
    good = hear_stream(call, &rig, 10, listening) &&
           judge_listening(listening, replay != NULL ? replay : rig_file, call->failure) &&
           fit_columns(call, listening, fit);
    if (good && option_given(call, "json")) {
        print_document(listening, fit);
    } else if (good) {
        print_words(listening, fit, &style);
    }
    up_listening_destroy(listening);
    die_of_signal();
    return good;
}
