/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cautions, before the first load is hung. */
#include <ctype.h>
#include <errno.h>
#include <unistd.h>

#include "internal.h"
#include "text/text.h"

enum { POLL_MS = 200 };

/* Byte by byte: what is typed ahead belongs to whoever reads next. Waits in short steps, because a
   signal may come just before the wait. */
static bool read_byte(int input, const volatile sig_atomic_t *signalled, char *byte) {
    struct pollfd entry = {.fd = input, .events = POLLIN};
    while (signalled == NULL || *signalled == 0) {
        if (poll(&entry, 1, POLL_MS) > 0) {
            ssize_t got = read(input, byte, 1);
            if (got >= 0 || errno != EINTR) {
                return got == 1;
            }
        }
    }
    return false;
}

bool up_operator_read_line(int input, const volatile sig_atomic_t *signalled, char *line,
                           size_t size) {
    size_t length = 0;
    char byte;
    while (read_byte(input, signalled, &byte)) {
        if (byte == '\n') {
            while (length > 0 && isspace((unsigned char)line[length - 1])) {
                length--;
            }
            line[length] = '\0';
            return true;
        }
        if (length + 1 < size && (length > 0 || !isspace((unsigned char)byte))) {
            line[length++] = byte;
        }
    }
    return false;
}

/* Any line but one that begins with q; the end of the input stops, as it does later on. */
static bool person_goes_on(int input, const volatile sig_atomic_t *signalled) {
    char line[80];
    return up_operator_read_line(input, signalled, line, sizeof line) &&
           tolower((unsigned char)line[0]) != 'q';
}

bool up_operator_caution(struct up_operator *op, const struct up_cautions *cautions,
                         const volatile sig_atomic_t *signalled, struct up_failure *failure) {
    bool person =
        op->kind == &operator_keys && !op->by_pedal && op->is_terminal && isatty(op->input) != 0;
    if (!person) {
        struct up_event event = {.kind = UP_EVENT_NOTE};
        snprintf(event.text, sizeof event.text, "%s", cautions->line);
        op->kind->event(op, &event);
        return true;
    }
    fputs("Before you begin:\n", op->output);
    for (const char *const *text = cautions->texts; *text != NULL; text++) {
        up_text_lines(op->output, "- ", *text, op->style.columns);
    }
    fputs("`upthrust help rig` has all cautions. Press Enter to begin (q and Enter: stop). ",
          op->output);
    fflush(op->output);
    if (person_goes_on(op->input, signalled)) {
        return true;
    }
    fputc('\n', op->output);
    return up_fail(failure, UP_STATUS_UNABLE, "stopped before anything was weighed");
}
