/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A session once more, from its bytes and what was kept beside them. */
#include <math.h>

#include "upthrust/session.h"
#include "upthrust/wire.h"

struct repeat {
    struct up_procedure *procedure;
    const struct up_past *past;
    struct up_reader reader;
    size_t fed;
};

static void drain(const struct repeat *repeat) {
    struct up_event event;
    while (up_procedure_next(repeat->procedure, &event)) {
        if (repeat->past->event != NULL) {
            repeat->past->event(repeat->past->context, &event);
        }
    }
}

static void feed_up_to(struct repeat *repeat, uint64_t offset) {
    const char *bytes = repeat->past->bytes + repeat->fed;
    size_t length = (size_t)offset - repeat->fed;
    struct up_sample sample;
    while (up_reader_take(&repeat->reader, &bytes, &length, &sample)) {
        up_procedure_sample(repeat->procedure, &sample);
        drain(repeat);
    }
    repeat->fed = (size_t)offset;
}

static void take_note(struct repeat *repeat, const struct up_kept *kept) {
    switch (kept->note) {
    case UP_NOTE_STOPPED:
        up_procedure_stop(repeat->procedure);
        break;
    case UP_NOTE_LEFT:
        up_procedure_leave(repeat->procedure, kept->text);
        break;
    case UP_NOTE_RESUMED:
        up_reader_resume(&repeat->reader, repeat->past->talked_unasked);
        up_procedure_resume(repeat->procedure, kept->text);
        break;
    case UP_NOTE_BACK:
        up_reader_resume(&repeat->reader, repeat->past->talked_unasked);
        up_procedure_interrupt(repeat->procedure, kept->text);
        break;
    case UP_NOTE_LOST:
    case UP_NOTE_INTERRUPTED:
        up_procedure_interrupt(repeat->procedure, kept->text);
        break;
    }
}

static bool take_kept(struct repeat *repeat, const struct up_kept *kept,
                      struct up_failure *failure) {
    struct up_failure why = {0};
    bool good = true;
    if (kept->offset < repeat->fed || kept->offset > repeat->past->length) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the run's journal speaks of byte %llu and its stream has %zu: they do not "
                       "belong together, or one was cut",
                       (unsigned long long)kept->offset, repeat->past->length);
    }
    if (kept->kind == UP_KEPT_BYTES && !isnan(kept->arrival_s)) {
        up_procedure_arrival(repeat->procedure, kept->arrival_s);
    }
    feed_up_to(repeat, kept->offset);
    if (kept->kind == UP_KEPT_ANSWER) {
        if (repeat->past->rig->port_kind == UP_PORT_TYPED) {
            up_procedure_clock(repeat->procedure, kept->time_s);
        }
        good = up_procedure_answer(repeat->procedure, kept->id, kept->word, kept->number, &why);
    } else if (kept->kind == UP_KEPT_NOTE) {
        take_note(repeat, kept);
    }
    drain(repeat);
    return good || up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "the run does not repeat: at byte %llu the answer to question %u was "
                           "taken then and is not now (%.200s)",
                           (unsigned long long)kept->offset, kept->id, why.text);
}

bool up_session_repeat(struct up_procedure *procedure, const struct up_past *past,
                       struct up_reader *reader, struct up_failure *failure) {
    struct repeat repeat = {.procedure = procedure, .past = past};
    up_reader_begin(&repeat.reader, &past->rig->line, past->talked_unasked);
    drain(&repeat);
    for (size_t i = 0; i < past->count; i++) {
        if (!take_kept(&repeat, &past->kept[i], failure)) {
            return false;
        }
    }
    feed_up_to(&repeat, past->length);
    *reader = repeat.reader;
    return true;
}
