/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as the journal of a run and, after the first NUL, its stream: refused in a line, or
   repeated to the same numbers each time; and drawn. */
#include "change.h"
#include "drawing.h"
#include "fuzz_catalogue.h"
#include "report/report.h"
#include "session/internal.h"

#define RUN "01234567-89ab-4cde-8f01-23456789abcd"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* A million draws are allowed and take their time. */
enum { DRAWS_MOST = 200, EVENTS_MOST = 100000 };

struct repeated {
    bool good;
    unsigned events, results;
    double sum; /* of what came out */
    struct up_failure failure;
};

static void add(struct repeated *repeated, double value) {
    repeated->sum += isfinite(value) ? value / (1 + fabs(value)) : 0.5;
}

static void count_event(void *context, const struct up_event *event) {
    struct repeated *repeated = context;
    must(event->kind <= UP_EVENT_FINISHED && ++repeated->events < EVENTS_MOST);
}

static void take_results(struct repeated *repeated, const struct up_procedure *procedure) {
    struct up_result *result = up_allocate(UP_WATERS_MAX + 1, sizeof *result);
    repeated->good =
        up_procedure_results(procedure, result, &repeated->results, &repeated->failure);
    must(!repeated->good || repeated->results <= UP_WATERS_MAX + 1);
    for (unsigned i = 0; repeated->good && i < repeated->results; i++) {
        const struct up_answer *answer = &result[i].answer;
        must(isfinite(answer->buoyancy_kg.value) && answer->buoyancy_kg.u >= 0);
        must(answer->expanded_u_kg >= 0);
        add(repeated, answer->buoyancy_kg.value);
        add(repeated, answer->expanded_u_kg);
        json_decref(up_result_to_json(&result[i]));
    }
    free(result);
}

static void take_calibration(struct repeated *repeated, const struct up_procedure *procedure) {
    struct up_calibration calibration = {0};
    repeated->good = up_procedure_calibration(procedure, &calibration, &repeated->failure);
    if (repeated->good) {
        must(isfinite(calibration.slope_counts_per_kg) && calibration.slope_counts_per_kg != 0);
        add(repeated, calibration.slope_counts_per_kg);
    }
}

/* As up_replay_measure and up_replay_calibrate do; `cut`: as resuming does. */
static struct repeated repeat(struct up_catalogue *catalogue, bool calibrates, bool cut) {
    struct repeated repeated = {.good = false};
    struct stored_run *run = up_allocate(1, sizeof *run);
    struct up_reader *reader = up_allocate(1, sizeof *reader);
    struct up_procedure *procedure = NULL;
    bool good = stored_run_open(run, catalogue, RUN, calibrates, &repeated.failure);
    if (good && cut) {
        stored_run_trim(run);
    }
    if (good) {
        run->measure.draws = run->measure.draws > DRAWS_MOST || run->measure.draws == 0
                                 ? DRAWS_MOST
                                 : run->measure.draws;
        good = (calibrates ? up_procedure_calibrate(&run->calibrate, &procedure, &repeated.failure)
                           : up_procedure_measure(&run->measure, &procedure, &repeated.failure)) &&
               stored_run_repeat(run, procedure, &repeated, count_event, reader, &repeated.failure);
    }
    if (good && calibrates) {
        take_calibration(&repeated, procedure);
    } else if (good) {
        take_results(&repeated, procedure);
    }
    up_procedure_destroy(procedure);
    stored_run_free(run);
    free(reader);
    free(run);
    return repeated;
}

static void repeat_twice(struct up_catalogue *catalogue, bool calibrates, bool cut) {
    struct repeated first = repeat(catalogue, calibrates, cut);
    struct repeated second = repeat(catalogue, calibrates, cut);
    must(first.good == second.good && first.events == second.events);
    must(first.results == second.results && first.sum == second.sum);
    if (!first.good) {
        must_be_a_line(&first.failure);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct shelf shelf;
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    if (shelf.mine == NULL) {
        shelf_enter();
        shelf_begin(&shelf, "mine", false);
        must(mkdir("mine/runs/" RUN, 0700) == 0);
    }
    const uint8_t *end = memchr(data, 0, size);
    size_t length = end != NULL ? (size_t)(end - data) : size;
    shelf_write("mine/runs/" RUN "/journal.jsonl", data, length);
    shelf_write("mine/runs/" RUN "/stream", data + (end != NULL ? length + 1 : length),
                end != NULL ? size - length - 1 : 0);
    repeat_twice(shelf.mine, false, size % 2 != 0);
    repeat_twice(shelf.mine, true, size % 2 != 0);
    if (!up_plot_write_run(shelf.mine, RUN, NULL, PLOTS_IN("mine/plots"), run_id, &failure)) {
        must_be_a_line(&failure);
    }
    return 0;
}

/* ---- changes: one line of the journal as JSON; now and then any bytes ---- */

/* The begin and end of a line of the text. */
static size_t find_line(const char *text, size_t length, unsigned number, size_t *end) {
    size_t at = 0;
    for (unsigned i = 0;; i++) {
        const char *line_end = memchr(text + at, '\n', length - at);
        *end = line_end != NULL ? (size_t)(line_end - text) : length;
        if (i == number || line_end == NULL) {
            return at;
        }
        at = *end + 1;
    }
}

static size_t put_between(uint8_t *data, size_t size, size_t max_size, size_t begin, size_t end,
                          const char *text) {
    size_t length = strlen(text);
    if (size - (end - begin) + length > max_size) {
        return size;
    }
    memmove(data + begin + length, data + end, size - end);
    memcpy(data + begin, text, length);
    return size - (end - begin) + length;
}

size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed) {
    const uint8_t *nul = memchr(data, 0, size);
    size_t length = nul != NULL ? (size_t)(nul - data) : size, lines = 1, end;
    chance_state = seed;
    for (size_t i = 0; i < length; i++) {
        lines += data[i] == '\n';
    }
    size_t begin = find_line((char *)data, length, chance_below((unsigned)lines), &end);
    switch (chance_below(8)) {
    case 0:
        return LLVMFuzzerMutate(data, size, max_size);
    case 1: /* of the stream only */
        return nul == NULL ? size
                           : length + 1 +
                                 LLVMFuzzerMutate(data + length + 1, size - length - 1,
                                                  max_size - length - 1);
    case 2: /* without this line */
        return put_between(data, size, max_size, begin, end + (end < length), "");
    default: {
        char *text = changed_json((char *)data + begin, end - begin);
        size = text != NULL ? put_between(data, size, max_size, begin, end, text) : size;
        free(text);
        return size;
    }
    }
}
