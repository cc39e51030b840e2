/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The procedure's events, in order, until they are fetched. */
#pragma once

#include "bench/procedure.h"

enum { EVENTS_MAX = 8 };

struct events {
    struct up_event event[EVENTS_MAX];
    unsigned count;
};

/* Appends an event, empty but for its kind. If they are not fetched the oldest is lost. */
struct up_event *events_push(struct events *events, enum up_event_kind kind);
void events_fault(struct events *events, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void events_note(struct events *events, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
bool events_take(struct events *events, struct up_event *event);
