/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The load over the time of one run, as a gnuplot script with its data. */
#include <string.h>

#include "data_row.h"
#include "embedded.h"
#include "text/text.h"
#include "trace.h"

enum { ID_SHOWN = 8, TITLE_BYTES = 60 };

struct drawing {
    struct trace *trace;
    double begin_s, end_s, low_g, high_g;
};

/* ---- numbers ---- */

static double minutes(const struct drawing *drawing, double time_s) {
    return (time_s - drawing->begin_s) / 60;
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

/* Glitches do not widen the picture: they lie anywhere. */
static void find_range(struct drawing *drawing) {
    const struct trace *trace = drawing->trace;
    drawing->begin_s = drawing->low_g = (double)INFINITY;
    drawing->end_s = drawing->high_g = -(double)INFINITY;
    for (size_t i = 0; i < trace->readings; i++) {
        extend_range(drawing, trace->reading[i].time_s, grams(trace, trace->reading[i].load));
    }
    for (size_t i = 0; i < trace->plateaus; i++) {
        extend_range(drawing, trace->plateau[i].start_s, grams(trace, trace->plateau[i].load));
        extend_range(drawing, trace->plateau[i].end_s, grams(trace, trace->plateau[i].load));
    }
}

/* The kinds of rows that the template distinguishes. */
enum { READING, TARE, UNDER_LOAD, GLITCH };

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
        put_data_row(stream, READING, minutes(drawing, trace->reading[first].time_s),
                     grams(trace, trace->reading[first].load), 0);
        if (first != second) {
            put_data_row(stream, READING, minutes(drawing, trace->reading[second].time_s),
                         grams(trace, trace->reading[second].load), 0);
        }
    }
}

static bool write_data(FILE *stream, void *context) {
    const struct drawing *drawing = context;
    const struct trace *trace = drawing->trace;
    fputs("# kind: 0 reading, 1 plateau of a tare, 2 plateau under load, 3 glitch (drawn at the "
          "edge where it lies beyond)\n"
          "# kind\tminutes\tload_g\tlength_minutes\n",
          stream);
    put_readings(stream, drawing);
    for (size_t i = 0; i < trace->plateaus; i++) {
        const struct trace_plateau *plateau = &trace->plateau[i];
        put_data_row(stream, plateau->under_load ? UNDER_LOAD : TARE,
                     minutes(drawing, plateau->start_s), grams(trace, plateau->load),
                     (plateau->end_s - plateau->start_s) / 60);
    }
    for (size_t i = 0; i < trace->glitches; i++) {
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
    UP_FREED char *title = up_text_format(
        "%s%s%s, run %.8s of %.10s", trace->simulated ? UP_SIMULATED : "",
        trace->calibrating ? "Calibration of " : "", clean, trace->run_id, trace->made_utc);
    return up_text_for_gnuplot(title);
}

static void write_marks(FILE *stream, const struct drawing *drawing) {
    const struct trace *trace = drawing->trace;
    for (size_t i = 0; i < trace->marks; i++) {
        double at = minutes(drawing, trace->mark[i].time_s);
        if (trace->mark[i].time_s < drawing->begin_s || trace->mark[i].time_s > drawing->end_s) {
            continue;
        }
        fprintf(stream,
                "set arrow from %.4f, graph 0 to %.4f, graph 1 nohead dt 2 lc rgb \"#a0a0a0\"\n"
                "set label \"%s\" at %.4f, graph 1.01 rotate by 60 left noenhanced\n",
                at, at, trace_actions[trace->mark[i].action].word, at);
    }
}

static bool write_script(FILE *stream, void *context) {
    const struct drawing *drawing = context;
    const struct trace *trace = drawing->trace;
    UP_FREED char *title = title_of(trace);
    fprintf(stream,
            "# The load over one run, by upthrust. Draws again with: gnuplot -d run-%.8s.gp\n"
            "set encoding utf8\nname = 'run-%.8s'\nwords = %s\nreadings = %d\nglitches = %zu\n"
            "calibrated = %d\nminutes = %.4f\n",
            trace->run_id, trace->run_id, title, trace->readings > 0, trace->glitches,
            !isnan(trace->counts_per_kg), minutes(drawing, drawing->end_s));
    write_marks(stream, drawing);
    fputs(embedded_run_gp, stream);
    return ferror(stream) == 0;
}

/* ---- together ---- */

static bool write_files(struct drawing *drawing, const char *directory,
                        struct up_failure *failure) {
    const char *id = drawing->trace->run_id;
    UP_FREED char *script = up_text_format("%s/run-%.8s.gp", directory, id);
    UP_FREED char *data = up_text_format("%s/run-%.8s.tsv", directory, id);
    return up_text_write_file(data, write_data, drawing, failure) &&
           up_text_write_file(script, write_script, drawing, failure);
}

bool up_plot_write_run(struct up_catalogue *catalogue, const char *run, const struct up_rig *rig,
                       const char *directory, char run_id[UP_ID_SIZE], struct up_failure *failure) {
    UP_FREED struct trace *trace = up_allocate(1, sizeof *trace);
    struct drawing drawing = {.trace = trace};
    bool good = trace_find(catalogue, run, trace, failure) &&
                trace_read_journal(catalogue, trace, failure) &&
                (rig == NULL || trace_read_stream(catalogue, rig, trace, failure));
    trace->simulated = up_bench_is_simulated(catalogue, trace->bench);
    find_range(&drawing);
    if (good && !(drawing.end_s > drawing.begin_s)) {
        good = up_fail(failure, UP_STATUS_UNABLE,
                       "run %.8s has nothing to draw: it was stopped before its first reading%s",
                       trace->run_id, rig == NULL ? "; --rig FILE looks at its bytes" : "");
    }
    good = good && write_files(&drawing, directory, failure);
    memcpy(run_id, trace->run_id, UP_ID_SIZE);
    trace_release(trace);
    return good;
}
