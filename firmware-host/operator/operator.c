/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "operator.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "upthrust/text.h"

struct up_operator *up_operator_create(enum up_operator_kind kind, int input, FILE *output) {
    static const struct operator_kind *const kinds[] = {[UP_OPERATOR_KEYS] = &operator_keys,
                                                        [UP_OPERATOR_JSON] = &operator_json,
                                                        [UP_OPERATOR_PEDAL] = &operator_pedal};
    struct up_operator *op = up_allocate(1, sizeof *op);
    op->kind = kinds[kind];
    op->by_pedal = kind == UP_OPERATOR_PEDAL;
    /* a keyboard that is there answers too; the end of anything else is no stop */
    op->input = op->by_pedal && !isatty(input) ? -1 : input;
    op->output = output;
    op->is_terminal = isatty(fileno(output)) != 0;
    return op;
}

void up_operator_use_screen(struct up_operator *op, int keyboard) {
    op->wants_screen = true;
    op->keyboard = keyboard;
}

void up_operator_destroy(struct up_operator *op) {
    free(op);
}

void up_operator_tell_result(struct up_operator *op, json_t *result) {
    op->kind->result(op, result);
}

void operator_event(struct up_operator *op, const struct up_event *event) {
    if (op->live != NULL) {
        live_event(op, event);
    } else {
        op->kind->event(op, event);
    }
}

void operator_refused(struct up_operator *op, unsigned id, const char *why) {
    if (op->live != NULL) {
        live_refused(op, why);
    } else {
        op->kind->refused(op, id, why);
    }
}

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

static bool is_readable(const struct up_operator *op) {
    struct pollfd entry = {.fd = op->input, .events = POLLIN};
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

enum operator_read operator_read(struct up_operator *op, struct answer *answer) {
    char line[sizeof op->text + 1];
    if (op->live != NULL) {
        return live_read(op, answer);
    }
    for (;;) {
        if (take_line(op, line, sizeof line)) {
            if (op->kind->line(op, line, answer)) {
                return OPERATOR_ANSWER;
            }
        } else if (op->ended) {
            return OPERATOR_ENDED;
        } else if (is_readable(op)) {
            fill(op);
        } else {
            return OPERATOR_NOTHING;
        }
    }
}
