/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A session once more, from its bytes and what was recorded beside them. */
#include "internal.h"

struct repeat {
    struct up_procedure *procedure;
    const struct recording *recording;
    struct up_reader reader;
    size_t fed;
};

static void forward_events(const struct repeat *repeat) {
    struct up_event event;
    while (up_procedure_next(repeat->procedure, &event)) {
        if (repeat->recording->event != NULL) {
            repeat->recording->event(repeat->recording->context, &event);
        }
    }
}

static void feed_up_to(struct repeat *repeat, uint64_t offset) {
    const char *bytes = repeat->recording->bytes + repeat->fed;
    size_t length = (size_t)offset - repeat->fed;
    struct up_sample sample;
    while (up_reader_take(&repeat->reader, &bytes, &length, &sample)) {
        up_procedure_sample(repeat->procedure, &sample);
        forward_events(repeat);
    }
    repeat->fed = (size_t)offset;
}

static void take_note(struct repeat *repeat, const struct recorded *recorded) {
    switch (recorded->note) {
    case NOTE_STOPPED:
        up_procedure_stop(repeat->procedure);
        break;
    case NOTE_ABSENT:
        up_procedure_abandon_step(repeat->procedure, recorded->text);
        break;
    case NOTE_RESUMED:
        up_reader_resume(&repeat->reader, repeat->recording->talked_unasked);
        up_procedure_resume(repeat->procedure, recorded->text);
        break;
    case NOTE_BACK:
        up_reader_resume(&repeat->reader, repeat->recording->talked_unasked);
        up_procedure_interrupt(repeat->procedure, recorded->text);
        break;
    case NOTE_LOST:
    case NOTE_INTERRUPTED:
    case NOTES:
        up_procedure_interrupt(repeat->procedure, recorded->text);
        break;
    }
}

static bool take_recorded(struct repeat *repeat, const struct recorded *recorded,
                          struct up_failure *failure) {
    struct up_failure why = {0};
    bool good = true;
    if (recorded->offset < repeat->fed || recorded->offset > repeat->recording->length) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the run's journal speaks of byte %llu and its stream has %zu: they do not "
                       "belong together, or one was cut",
                       (unsigned long long)recorded->offset, repeat->recording->length);
    }
    if (recorded->kind == RECORDED_BYTES && !isnan(recorded->arrival_s)) {
        up_procedure_arrival(repeat->procedure, recorded->arrival_s);
    }
    feed_up_to(repeat, recorded->offset);
    if (recorded->kind == RECORDED_ANSWER) {
        if (repeat->recording->rig->port_kind == UP_PORT_TYPED) {
            up_procedure_clock(repeat->procedure, recorded->time_s);
        }
        good = up_procedure_answer(repeat->procedure, recorded->answer.id, recorded->answer.word,
                                   recorded->answer.number, &why);
    } else if (recorded->kind == RECORDED_NOTE) {
        take_note(repeat, recorded);
    }
    forward_events(repeat);
    return good || up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "the run does not repeat: at byte %llu the answer to question %u was "
                           "taken then and is not now (%.200s)",
                           (unsigned long long)recorded->offset, recorded->answer.id, why.text);
}

bool repeat_run(struct up_procedure *procedure, const struct recording *recording,
                struct up_reader *reader, struct up_failure *failure) {
    struct repeat repeat = {.procedure = procedure, .recording = recording};
    up_reader_begin(&repeat.reader, &recording->rig->line, recording->talked_unasked);
    forward_events(&repeat);
    for (size_t i = 0; i < recording->count; i++) {
        if (!take_recorded(&repeat, &recording->recorded[i], failure)) {
            return false;
        }
    }
    feed_up_to(&repeat, recording->length);
    *reader = repeat.reader;
    return true;
}
