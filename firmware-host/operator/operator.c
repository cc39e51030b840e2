/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "operator/operator.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "internal.h"
#include "panel_internal.h"
#include "text/clock.h"
#include "text/text.h"

static const double LIVE_EVERY_S = 0.5, SCREEN_EVERY_S = 0.1;

struct up_operator *up_operator_create(enum up_operator_kind kind, int input, FILE *output) {
    struct up_operator *op = up_allocate(1, sizeof *op);
    op->kind = kind == UP_OPERATOR_JSON ? &operator_json : &operator_keys;
    op->by_pedal = kind == UP_OPERATOR_PEDAL;
    /* a keyboard that is there answers too; the end of anything else is no stop */
    op->input = op->by_pedal && !isatty(input) ? -1 : input;
    op->output = output;
    op->is_terminal = isatty(fileno(output)) != 0;
    struct winsize size = {0};
    if (op->is_terminal && ioctl(fileno(output), TIOCGWINSZ, &size) == 0) {
        op->style.columns = size.ws_col;
    }
    return op;
}

void up_operator_use_imperial(struct up_operator *op, bool imperial) {
    op->style.imperial = imperial;
}

void up_operator_use_screen(struct up_operator *op, int keyboard) {
    op->wants_screen = true;
    op->keyboard = keyboard;
}

void up_operator_destroy(struct up_operator *op) {
    free(op);
}

void up_operator_show_result(struct up_operator *op, json_t *result) {
    if (op->kind->result != NULL) {
        op->kind->result(op, result);
    }
}

void up_operator_begin(struct up_operator *op, const struct up_procedure *procedure,
                       struct up_panel *panel, const char *place) {
    struct up_procedure_view view = up_procedure_view(procedure);
    op->procedure = procedure;
    op->panel = panel;
    op->place = place;
    op->counts_per_kg =
        view.measurement != NULL ? view.measurement->calibration.slope_counts_per_kg : 0;
    op->loads_in_kg = view.rig->line.load_unit != UP_LOAD_COUNTS;
    op->is_typed = view.rig->port_kind == UP_PORT_TYPED;
    op->typed_unit = view.rig->line.load_unit;
    if (op->wants_screen) {
        live_begin(op);
        op->had_screen = op->live != NULL;
    }
    if (panel != NULL && op->by_pedal) {
        panel_listen(panel);
    }
}

void up_operator_end(struct up_operator *op) {
    live_end(op);
}

void up_operator_hold_result(struct up_operator *op, const struct up_result *result,
                             unsigned results, const volatile sig_atomic_t *signalled) {
    if (!op->had_screen || op->ended || results == 0 || (signalled != NULL && *signalled != 0)) {
        return;
    }
    live_begin(op);
    if (op->live != NULL) {
        live_hold(op, result, results, signalled);
    }
    live_end(op);
}

/* ---- what the operator is shown ---- */

/* A screen is drawn over and over; a line that was lost stays so. */
static bool show_event(struct up_operator *op, const struct up_event *event,
                       struct up_failure *failure) {
    if (op->live != NULL) {
        live_event(op, event);
        return true;
    }
    errno = 0;
    op->kind->event(op, event);
    return event->kind != UP_EVENT_ASK || !ferror(op->output) ||
           up_fail(failure, UP_STATUS_UNABLE, "cannot write the question to the operator: %s",
                   errno != 0 ? strerror(errno) : "an earlier line could not be written");
}

/* What a quick weighing has come to while the item still hangs. */
static enum up_class class_so_far(const struct up_operator *op) {
    const struct up_quick_progress *quick =
        op->procedure != NULL ? up_procedure_quick(op->procedure) : NULL;
    return quick != NULL ? quick->class : UP_CLASS_UNDECIDED;
}

bool up_operator_event(struct up_operator *op, const struct up_event *event,
                       struct up_failure *failure) {
    bool good;
    if (op->panel != NULL && event->kind == UP_EVENT_ASK) {
        up_pedal_asks(&op->panel->press, up_monotonic_s());
    }
    good = show_event(op, event, failure);
    if (op->panel != NULL) {
        indicator_event(op->panel, event, class_so_far(op));
    }
    return good;
}

void up_operator_accepted(struct up_operator *op) {
    if (op->panel != NULL) {
        indicator_answered(op->panel);
        up_pedal_asks(&op->panel->press, (double)INFINITY);
    }
}

void up_operator_refused(struct up_operator *op, unsigned id, const char *why) {
    if (op->live != NULL) {
        live_refused(op, why);
    } else {
        op->kind->refused(op, id, why);
    }
}

void up_operator_remind(struct up_operator *op) {
    if (op->panel != NULL) {
        indicator_sound(op->panel, UP_SOUND_YOUR_TURN);
    }
}

static void refresh_panel(struct up_panel *panel, bool away) {
    indicator_fault(panel, away || panel->water_is_low || panel->press.stuck);
    indicator_tick(panel, up_monotonic_s());
}

void up_operator_refresh(struct up_operator *op, bool away) {
    double now_s = up_monotonic_s();
    bool shows_words = op->kind->live != NULL && op->counts_per_kg != 0 && !op->is_typed && !away;
    if (op->panel != NULL) {
        refresh_panel(op->panel, away);
    }
    if ((op->live == NULL && !shows_words) ||
        now_s - op->shown_s < (op->live != NULL ? SCREEN_EVERY_S : LIVE_EVERY_S)) {
        return;
    }
    op->shown_s = now_s;
    if (op->live != NULL) {
        live_show(op, away);
    } else if (isfinite(up_procedure_live_load(op->procedure))) {
        double g = 1e3 / op->counts_per_kg;
        op->kind->live(op, -g * up_procedure_live_load(op->procedure),
                       fabs(g) * up_procedure_noise_floor(op->procedure));
    }
}

/* ---- what the operator does ---- */

/* Takes a whole line out of the buffer. */
static bool take_line(struct up_operator *op, char *line, size_t size) {
    char *end = memchr(op->text, '\n', op->length);
    size_t length;
    if (end == NULL && !(op->ended && op->length > 0)) {
        return false;
    }
    length = end == NULL ? op->length : (size_t)(end - op->text);
    memcpy(line, op->text, length < size ? length : size - 1);
    line[length < size ? length : size - 1] = '\0';
    length += end != NULL;
    op->length -= length;
    memmove(op->text, op->text + length, op->length);
    return true;
}

static bool is_readable(int descriptor) {
    struct pollfd entry = {.fd = descriptor, .events = POLLIN};
    return poll(&entry, 1, 0) > 0;
}

static void fill(struct up_operator *op) {
    ssize_t got;
    if (op->length == sizeof op->text) { /* no answer is that long */
        op->length = 0;
        op->kind->refused(op, 0, "the line is too long");
    }
    got = read(op->input, op->text + op->length, sizeof op->text - op->length);
    if (got > 0) {
        op->length += (size_t)got;
    } else if (got == 0 || (errno != EAGAIN && errno != EINTR)) {
        op->ended = true;
    }
}

bool operator_has_line(const struct up_operator *op) {
    return memchr(op->text, '\n', op->length) != NULL;
}

bool operator_read(struct up_operator *op, struct up_reply *reply) {
    char line[sizeof op->text + 1];
    if (!operator_has_line(op) && !op->ended && is_readable(op->input)) {
        fill(op);
    }
    if (take_line(op, line, sizeof line)) {
        return op->kind->line(op, line, reply);
    }
    *reply = (struct up_reply){.kind = UP_REPLY_STOP};
    return op->ended;
}

static bool next_of_panel(struct up_operator *op, bool is_open, struct up_reply *reply) {
    struct up_panel *panel = op->panel;
    if (panel_water_changed(panel)) {
        *reply = (struct up_reply){
            .kind = UP_REPLY_WATER,
            .text = panel->water_is_low ? "the water is too low: the run pauses until it is back"
                                        : "the water is back: the step is repeated from zero"};
        return true;
    }
    if (pedal_next(op, is_open, reply)) {
        return true;
    }
    *reply = (struct up_reply){.kind = UP_REPLY_FAULT, .text = panel->lost};
    panel->lost = NULL;
    return reply->text != NULL;
}

bool up_operator_next(struct up_operator *op, bool is_open, struct up_reply *reply) {
    if (op->panel != NULL && next_of_panel(op, is_open, reply)) {
        return true;
    }
    if (op->live != NULL) {
        return is_readable(op->keyboard) && live_read(op, reply);
    }
    return is_open && operator_read(op, reply);
}

bool up_operator_water_is_low(const struct up_operator *op) {
    return op->panel != NULL && op->panel->water_is_low;
}

int up_operator_wait(const struct up_operator *op, bool is_open, int most_ms,
                     struct pollfd entry[UP_OPERATOR_POLLED]) {
    entry[0] = (struct pollfd){.fd = op->live != NULL ? op->keyboard
                                     : is_open        ? op->input
                                                      : -1,
                               .events = POLLIN};
    panel_entries(op->panel, entry + 1);
    if (is_open && op->live == NULL && operator_has_line(op)) {
        return 0;
    }
    return panel_wait_ms(op->panel, up_monotonic_s(), most_ms);
}
