/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the procedure has to say, in order, until somebody takes it. */
#pragma once

#include "bench/procedure.h"

enum { EVENTS_MAX = 8 };

struct events {
    struct up_event event[EVENTS_MAX];
    unsigned count;
};

/* A new last one, empty but for its kind. Where nobody takes them the oldest is lost. */
struct up_event *events_push(struct events *events, enum up_event_kind kind);
void events_fault(struct events *events, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void events_note(struct events *events, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
bool events_take(struct events *events, struct up_event *event);
