/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The load over the time of one run, as a gnuplot script with its data. */
#include <string.h>

#include "embedded.h"
#include "picture.h"
#include "text/text.h"
#include "trace.h"

enum { ID_SHOWN = 8, TITLE_BYTES = 60 };

/* A wait in which nothing is read for so long is left out but for the last of it: choices of ours.
 */
static const double IDLE_S = 120, IDLE_SHOWN_S = 15;

enum { GAPS_MAX = 200 };

struct gap {
    double from_s, to_s; /* left out; what comes after is drawn so much earlier */
};

struct drawing {
    struct trace *trace;
    double begin_s, end_s, low_g, high_g;
    struct gap gap[GAPS_MAX];
    size_t gaps;
};

/* ---- numbers ---- */

static double minutes(const struct drawing *drawing, double time_s) {
    double left_out_s = 0;
    for (size_t i = 0; i < drawing->gaps; i++) {
        const struct gap *gap = &drawing->gap[i];
        left_out_s += fmax(fmin(time_s, gap->to_s) - gap->from_s, 0);
    }
    return (time_s - drawing->begin_s - left_out_s) / 60;
}

/* Without a calibration, what the rig's unit is. */
static double grams(const struct trace *trace, double load) {
    double unit = isnan(trace->counts_per_kg) ? 1 : trace->counts_per_kg * 1e-3;
    return (load - trace->zero) / unit;
}

static void extend_range(struct drawing *drawing, double time_s, double load_g) {
    drawing->begin_s = fmin(drawing->begin_s, time_s);
    drawing->end_s = fmax(drawing->end_s, time_s);
    drawing->low_g = fmin(drawing->low_g, load_g);
    drawing->high_g = fmax(drawing->high_g, load_g);
}

/* A bare hook, without its ballast, would make all else look like nothing: the picture begins
   shortly before the first empty reading. -INFINITY: there was no bare hook. */
static double end_of_bare_hook(const struct trace *trace) {
    static const double BEFORE_S = 10;
    size_t tare = 0;
    while (tare < trace->plateaus && trace->plateau[tare].under_load) {
        tare++;
    }
    return tare > 0 && tare < trace->plateaus ? trace->plateau[tare].start_s - BEFORE_S
                                              : -(double)INFINITY;
}

/* Glitches do not widen the picture: they lie anywhere. */
static void find_range(struct drawing *drawing) {
    const struct trace *trace = drawing->trace;
    double from_s = end_of_bare_hook(trace);
    drawing->begin_s = drawing->low_g = (double)INFINITY;
    drawing->end_s = drawing->high_g = -(double)INFINITY;
    for (size_t i = 0; i < trace->readings; i++) {
        if (trace->reading[i].time_s >= from_s) {
            extend_range(drawing, trace->reading[i].time_s, grams(trace, trace->reading[i].load));
        }
    }
    for (size_t i = 0; i < trace->plateaus; i++) {
        if (trace->plateau[i].start_s >= from_s) {
            extend_range(drawing, trace->plateau[i].start_s, grams(trace, trace->plateau[i].load));
            extend_range(drawing, trace->plateau[i].end_s, grams(trace, trace->plateau[i].load));
        }
    }
}

/* Between the end of what was read or asked for and what comes next. */
static void find_gaps(struct drawing *drawing) {
    const struct trace *trace = drawing->trace;
    double busy_s = drawing->begin_s;
    size_t mark = 0;
    for (size_t i = 0; i <= trace->plateaus; i++) {
        double next_s = i < trace->plateaus ? trace->plateau[i].start_s : drawing->end_s;
        for (; mark < trace->marks && trace->mark[mark].time_s < next_s; mark++) {
            busy_s = fmax(busy_s, trace->mark[mark].time_s);
        }
        if (next_s - busy_s > IDLE_S && drawing->gaps < GAPS_MAX) {
            drawing->gap[drawing->gaps++] =
                (struct gap){busy_s + IDLE_SHOWN_S, next_s - 2 * IDLE_SHOWN_S};
        }
        busy_s = fmax(busy_s, i < trace->plateaus ? trace->plateau[i].end_s : next_s);
    }
}

static bool is_left_out(const struct drawing *drawing, double time_s) {
    bool within = false;
    for (size_t i = 0; i < drawing->gaps; i++) {
        within = within || (time_s > drawing->gap[i].from_s && time_s < drawing->gap[i].to_s);
    }
    return within || time_s < drawing->begin_s;
}

/* The kinds of rows that the template distinguishes. */
enum { READING, TARE, UNDER_LOAD, GLITCH, GAP };

/* Of many readings the lowest and the highest of each short stretch: the picture is the same. */
static void put_readings(FILE *stream, const struct drawing *drawing) {
    const struct trace *trace = drawing->trace;
    size_t each = trace->readings / TRACE_BINS + 1;
    for (size_t i = 0; i < trace->readings; i += each) {
        size_t low = i, high = i;
        for (size_t j = i; j < i + each && j < trace->readings; j++) {
            low = trace->reading[j].load < trace->reading[low].load ? j : low;
            high = trace->reading[j].load > trace->reading[high].load ? j : high;
        }
        size_t first = low < high ? low : high, second = low < high ? high : low;
        if (is_left_out(drawing, trace->reading[first].time_s)) {
            continue;
        }
        put_data_row(stream, READING, minutes(drawing, trace->reading[first].time_s),
                     grams(trace, trace->reading[first].load), 0);
        if (first != second) {
            put_data_row(stream, READING, minutes(drawing, trace->reading[second].time_s),
                         grams(trace, trace->reading[second].load), 0);
        }
    }
}

static bool put_data(FILE *stream, void *context) {
    const struct drawing *drawing = context;
    const struct trace *trace = drawing->trace;
    fputs("# kind: 0 reading, 1 plateau of a tare, 2 plateau under load, 3 glitch (drawn at the "
          "edge where it lies beyond),\n# 4 a wait that is left out\n"
          "# kind\tminutes\tload_g\tlength_minutes\n",
          stream);
    put_readings(stream, drawing);
    for (size_t i = 0; i < trace->plateaus; i++) {
        const struct trace_plateau *plateau = &trace->plateau[i];
        if (plateau->start_s < drawing->begin_s) {
            continue;
        }
        put_data_row(stream, plateau->under_load ? UNDER_LOAD : TARE,
                     minutes(drawing, plateau->start_s), grams(trace, plateau->load),
                     (plateau->end_s - plateau->start_s) / 60);
    }
    for (size_t i = 0; i < drawing->gaps; i++) {
        put_data_row(stream, GAP, minutes(drawing, drawing->gap[i].to_s), 0, 0);
    }
    for (size_t i = 0; i < trace->glitches; i++) {
        if (is_left_out(drawing, trace->glitch[i].time_s)) {
            continue;
        }
        double load_g = grams(trace, trace->glitch[i].load);
        put_data_row(stream, GLITCH, minutes(drawing, trace->glitch[i].time_s),
                     fmin(fmax(load_g, drawing->low_g), drawing->high_g), 0);
    }
    return ferror(stream) == 0;
}

/* ---- script ---- */

static char *title_of(const struct trace *trace) {
    const char *raw = trace->calibrating ? trace->bench : trace->title;
    UP_FREED char *clean = name_in_title(raw, TITLE_BYTES);
    return up_text_format("%s%s%s, run %.8s of %.10s", trace->simulated ? UP_SIMULATED : "",
                          trace->calibrating ? "Calibration of " : "", clean, trace->run_id,
                          trace->made_utc);
}

static char *note_of(const struct drawing *drawing) {
    double left_out_s = 0;
    for (size_t i = 0; i < drawing->gaps; i++) {
        left_out_s += drawing->gap[i].to_s - drawing->gap[i].from_s;
    }
    const char *sparse = drawing->trace->readings > 0
                             ? ""
                             : "Only the plateaus of the journal: with --rig FILE every reading is "
                               "drawn.   ";
    return drawing->gaps > 0
               ? up_text_format("%s%zu wait%s of %.0f min in total left out", sparse, drawing->gaps,
                                drawing->gaps == 1 ? "" : "s", left_out_s / 60)
               : up_text_format("%s", sparse);
}

/* Of marks that stand closer than this share of the picture, only the first has its word. */
static const double WORD_SHARE = 0.016;

static void put_marks(FILE *stream, const struct drawing *drawing) {
    const struct trace *trace = drawing->trace;
    double whole = minutes(drawing, drawing->end_s), last = -whole;
    for (size_t i = 0; i < trace->marks; i++) {
        double at = minutes(drawing, trace->mark[i].time_s);
        if (trace->mark[i].time_s < drawing->begin_s || trace->mark[i].time_s > drawing->end_s) {
            continue;
        }
        fprintf(stream, "set arrow from %.4f, graph 0 to %.4f, graph 1 nohead dt 2 lc rgb rule\n",
                at, at);
        if (at - last >= WORD_SHARE * whole) {
            fprintf(stream,
                    "set label \"%s\" at %.4f, graph 1.01 rotate by 60 left noenhanced textcolor "
                    "rgb ink\n",
                    trace_actions[trace->mark[i].action].word, at);
            last = at;
        }
    }
}

static void put_variables(FILE *stream, const void *context) {
    const struct drawing *drawing = context;
    const struct trace *trace = drawing->trace;
    fprintf(stream, "readings = %d\nglitches = %zu\ncalibrated = %d\nminutes = %.4f\ngaps = %zu\n",
            trace->readings > 0, trace->glitches, !isnan(trace->counts_per_kg),
            minutes(drawing, drawing->end_s), drawing->gaps);
    put_marks(stream, drawing);
}

/* ---- together ---- */

static bool write_files(struct drawing *drawing, const struct up_plots *to,
                        struct up_failure *failure) {
    UP_FREED char *name = up_text_format("run-%.8s", drawing->trace->run_id);
    UP_FREED char *title = title_of(drawing->trace);
    UP_FREED char *note = note_of(drawing);
    const struct picture picture = {
        .name = name,
        .words = {"The load over one run", title, note,
                  drawing->trace->simulated ? STANDING_SIMULATED "\n" : ""},
        .script = {embedded_run_gp, put_data, put_variables, drawing}};
    return picture_write(&picture, to, failure);
}

bool up_plot_write_run(struct up_catalogue *catalogue, const char *run, const struct up_rig *rig,
                       const struct up_plots *to, char run_id[UP_ID_SIZE],
                       struct up_failure *failure) {
    UP_FREED struct trace *trace = up_allocate(1, sizeof *trace);
    UP_FREED struct drawing *drawing = up_allocate(1, sizeof *drawing);
    drawing->trace = trace;
    bool good = trace_find(catalogue, run, trace, failure) &&
                trace_read_journal(catalogue, trace, failure) &&
                (rig == NULL || trace_read_stream(catalogue, rig, trace, failure));
    trace->simulated = up_bench_is_simulated(catalogue, trace->bench);
    find_range(drawing);
    if (good && !(drawing->end_s > drawing->begin_s)) {
        good = up_fail(failure, UP_STATUS_UNABLE,
                       "run %.8s has nothing to draw: it was stopped before its first reading%s",
                       trace->run_id, rig == NULL ? "; --rig FILE looks at its bytes" : "");
    }
    if (good) {
        find_gaps(drawing);
        good = write_files(drawing, to, failure);
    }
    memcpy(run_id, trace->run_id, UP_ID_SIZE);
    trace_release(trace);
    return good;
}
