/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The wire: bytes of a serial port, a pseudo-terminal, a recorded capture or standard input become
 * lines, and lines become samples.
 */
#ifndef UPTHRUST_WIRE_H
#define UPTHRUST_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "upthrust/failure.h"
#include "upthrust/rig.h"

/* ---- sources: where bytes come from ---- */

struct up_source;

enum up_read {
    UP_READ_BYTES,
    UP_READ_NOTHING, /* not now: wait for the descriptor */
    UP_READ_END,     /* a capture or standard input has ended */
    UP_READ_LOST,    /* the device hung up; what it had sent and nobody read is gone. Drop it */
};

/* Opens what the rig names, or `path` instead where it is not NULL. UP_STATUS_WRONG_INPUT for a
   capture that cannot be read or a path that is none, UP_STATUS_UNABLE for a device. A device is
   locked against other programs. The caller closes it. */
bool up_source_open(const struct up_rig *rig, const char *path, struct up_source **source,
                    struct up_failure *failure);
bool up_source_open_capture(const char *path, struct up_source **source,
                            struct up_failure *failure);
void up_source_close(struct up_source *source);

/* For poll(2), which passes over it while it is -1: a lost device is away. */
int up_source_descriptor(const struct up_source *source);
/* The node of an open serial port, else what was asked for. */
const char *up_source_name(const struct up_source *source);
/* A device talks when it likes and may be lost; a capture and standard input end. */
bool up_source_is_device(const struct up_source *source);
bool up_source_is_lost(const struct up_source *source);

/* A lost device: lets go of it at once, or it could not come back under its name. */
void up_source_drop(struct up_source *source);
/* After a drop, the same device again: under its path, or by its USB identity under another name.
   Where it is not there yet, try later. */
bool up_source_reopen(struct up_source *source, struct up_failure *failure);

/* Never blocks on a device. *length gets the number of bytes. */
enum up_read up_source_read(struct up_source *source, char *bytes, size_t size, size_t *length);

/* Writes all of it or fails; nothing is written to captures and standard input. */
bool up_source_write(struct up_source *source, const char *bytes, size_t length,
                     struct up_failure *failure);

/* ---- lines ---- */

enum { UP_LINE_SIZE = 1024 };

/* Cuts a stream of bytes at CR, LF or CR LF; empty lines vanish. A line longer than the buffer is
   delivered once, cut, with `overlong` set, and its rest dropped: memory stays bounded whatever
   arrives. */
struct up_framer {
    char text[UP_LINE_SIZE];
    size_t length;
    bool overlong;
    bool delivered;      /* the text has been handed out: the next byte begins a new line */
    uint64_t offset;     /* of the byte after the last one pushed */
    uint64_t line_start; /* offset of the first byte of the line in `text` */
};

/* True when the byte ended a line: it stands in framer->text, NUL ended, until the next push. */
bool up_framer_push(struct up_framer *framer, char byte);
/* What is left without an end at the end of a stream; true where there is some. */
bool up_framer_rest(struct up_framer *framer);

/* ---- samples ---- */

struct up_sample {
    double time_s;             /* device time where there is any, else number / nominal rate */
    double load[UP_LOADS_MAX]; /* in the rig's load unit: counts, or kilograms for every unit of
                                  mass and force (a newton at standard gravity) */
    int loads;
    double temp_c;   /* NaN where the line has none */
    uint64_t number; /* of the good line, from 0 */
    uint64_t offset; /* of the line's first byte in the stream */
};

/* Why a line is no sample. */
enum up_refusal {
    UP_LINE_FITS,
    UP_REFUSED_OVERLONG,
    UP_REFUSED_BYTES,  /* control characters or bytes above 126 */
    UP_REFUSED_FIELDS, /* too few of them */
    UP_REFUSED_NUMBER, /* a field that is no number; nan, inf */
    UP_REFUSED_RANGE,  /* beyond the raw word, or a temperature no water has */
    UP_REFUSED_TIME,   /* device time ran back */
    UP_REFUSED_CUT,    /* no end of line at the end of the stream, or first line of a device */
    UP_REFUSALS
};

const char *up_refusal_name(enum up_refusal refusal);

/* Fills *sample but for number and offset; for a rig without a time field time_s is NaN. */
enum up_refusal up_line_read(const struct up_line_rule *rule, const char *text, size_t length,
                             struct up_sample *sample);

/* Framer, line reader and counters in one: bytes in, samples out. */
struct up_reader {
    const struct up_line_rule *rule;
    struct up_framer framer;
    uint64_t cut_line; /* of a live device: the line that we came into, by number; 0 for none */
    uint64_t lines, refused[UP_REFUSALS];
    char refused_text[2][80]; /* the first two, raw bytes cut to fit */
    uint64_t refused_line[2]; /* their line numbers from 1 */
    uint64_t numbered;
    double last_time_s, clock_shift_s;
};

void up_reader_begin(struct up_reader *reader, const struct up_line_rule *rule, bool skip_first);
/* Takes one byte; true when it completed a sample. */
bool up_reader_push(struct up_reader *reader, char byte, struct up_sample *sample);
/* The stream was broken off and begins anew, its clock behind the old one: what is left of the old
   line is counted as cut, and with skip_first so is the first new one. */
void up_reader_resume(struct up_reader *reader, bool skip_first);
/* The stream has ended: what is left without an end of line is counted as cut. */
void up_reader_end(struct up_reader *reader);
uint64_t up_reader_refused(const struct up_reader *reader);

#endif
