/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "events.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void drop_first(struct events *events) {
    events->count--;
    memmove(events->event, events->event + 1, events->count * sizeof events->event[0]);
}

struct up_event *events_push(struct events *events, enum up_event_kind kind) {
    if (events->count == EVENTS_MAX) {
        drop_first(events);
    }
    struct up_event *event = &events->event[events->count++];
    *event = (struct up_event){.kind = kind};
    return event;
}

void events_fault(struct events *events, const char *format, ...) {
    struct up_event *event = events_push(events, UP_EVENT_FAULT);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(event->text, sizeof event->text, format, arguments);
    va_end(arguments);
}

void events_note(struct events *events, const char *format, ...) {
    struct up_event *event = events_push(events, UP_EVENT_NOTE);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(event->text, sizeof event->text, format, arguments);
    va_end(arguments);
}

bool events_take(struct events *events, struct up_event *event) {
    if (events->count == 0) {
        return false;
    }
    *event = events->event[0];
    drop_first(events);
    return true;
}
