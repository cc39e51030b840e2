/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Hearing a port or a recording without a session: to describe a stream, to check a rig, and to
 * find out what a device sends of which nothing is known yet.
 */
#pragma once

#include <signal.h>

#include "stream/listen.h"
#include "wire/guess.h"
#include "wire/port.h"

/* A device for so many seconds, a recording to its end; a signal ends both. False where the device
   is lost or nothing came. */
bool up_listen_to_stream(const struct up_rig *rig, struct up_source *source, double seconds,
                         const volatile sig_atomic_t *signalled, struct up_listening *listening,
                         struct up_failure *failure);

enum { UP_PROBE_BYTES_MAX = 65536 };

struct up_probe {
    struct up_port port; /* the caller's: its name at least */
    enum up_port_kind kind;
    struct up_port_settings settings; /* of a serial port: those that fit, or the last tried */
    char bytes[UP_PROBE_BYTES_MAX];
    size_t length;
    double first_s, span_s; /* of the first bytes, and from them to the last; 0 for a recording */
    double rate_hz;         /* of the lines that fit; 0 where not known */
    /* Of a device that sends only when asked; see up_probe_ask_with. */
    char poll[UP_RIG_TEXT], poll_keys[2 * UP_RIG_TEXT];
    struct up_source *source;
    unsigned polls, answers; /* each ends with the byte `answer_end`, `answer_ends` times */
    unsigned answer_ends;
    double heard_s; /* the latest bytes or question */
    char answer_end;
    bool found;
    struct up_guess guess;
    struct up_failure failure; /* where no layout was found */
};

/* It is to be asked with this word, written as the keys `poll` and `poll_end` of a rig file are;
   false where it cannot be one. */
bool up_probe_ask_with(struct up_probe *probe, const char *word, const char *end,
                       struct up_failure *failure);

/* Tries rates and frames, so many seconds each, until a layout fits; the same as found. */
bool up_probe_port(struct up_probe *probe, double seconds, const volatile sig_atomic_t *signalled);
bool up_probe_recording(struct up_probe *probe, const char *path);

/* The section [bench] for lines so slow that the usual window holds too few of them; else "". */
char *up_probe_bench_section(double rate_hz);
/* Its section [port]; the caller's. */
char *up_probe_port_section(const struct up_probe *probe);
/* The rig file that reads what was found; the caller's. */
char *up_probe_rig(const struct up_probe *probe);
