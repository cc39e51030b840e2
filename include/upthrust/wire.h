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
    UP_READ_LOST,    /* the device hung up; unread bytes are lost. Drop it */
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
/* A device sends at any time and may be lost; a capture and standard input end. */
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

/* ---- frames ---- */

enum { UP_LINE_SIZE = 1024 };

/* Cuts a stream of bytes into frames as the rule says; empty ones vanish. A frame longer than the
   buffer is delivered once, cut, with `overlong` set, and its rest dropped: memory stays bounded
   whatever arrives. */
struct up_framer {
    const struct up_line_rule *rule;
    const char *frame; /* the completed one, no NUL behind it; lives until the next take */
    size_t frame_length;
    bool overlong;
    bool headless;           /* its start byte is missing */
    uint64_t frame_from;     /* offset in the stream of its first byte */
    uint64_t offset;         /* of the byte after the last one taken */
    char text[UP_LINE_SIZE]; /* a frame that came in pieces */
    size_t length;
    uint64_t text_from;
    bool dropping; /* the rest of an overlong frame */
    bool fresh;    /* the next byte begins a frame */
};

void up_framer_begin(struct up_framer *framer, const struct up_line_rule *rule);
/* Takes bytes up to the end of a frame, all of them where none ends; *complete says whether one
   did. Returns how many were taken. */
size_t up_framer_take(struct up_framer *framer, const char *bytes, size_t length, bool *complete);
/* What is left without an end at the end of a stream; true where there is some. */
bool up_framer_rest(struct up_framer *framer);

/* ---- samples ---- */

struct up_sample {
    double time_s;             /* device time where there is any, else number / nominal rate */
    double load[UP_LOADS_MAX]; /* in the rig's load unit: counts, or kilograms for every unit of
                                  mass and force (a newton at standard gravity) */
    int loads;
    int columns;     /* of a layout of fields */
    bool unstable;   /* the device says so itself: one vote, no proof */
    double temp_c;   /* NaN where the line has none */
    double sequence; /* NaN where the line has none */
    uint64_t number; /* of the good line, from 0 */
    uint64_t offset; /* of the line's first byte in the stream */
};

/* Why a line is no sample. */
enum up_refusal {
    UP_LINE_FITS,
    UP_LINE_PASSED,   /* the rig says that such lines are none of ours */
    UP_LINE_LABEL,    /* the label; its number comes on the next line */
    UP_LINE_NOTE,     /* words of the device, as the rig says */
    UP_REFUSED_OVER,  /* the device says that it is loaded beyond its range */
    UP_REFUSED_UNDER, /* ... below it */
    UP_REFUSED_OVERLONG,
    UP_REFUSED_BYTES, /* control characters or bytes above 126 */
    UP_REFUSED_WORDS, /* words where numbers belong: a header, a message, readings typed as words */
    UP_REFUSED_HEADER, /* the first such line once more: the device restarted */
    UP_REFUSED_LABEL,  /* the label or the beginning is not there */
    UP_REFUSED_FIELDS, /* too few of them, or other than `columns` */
    UP_REFUSED_MERGED, /* two lines in one: an end of line was lost */
    UP_REFUSED_NUMBER, /* a field that is no number; nan, inf; more than 12 digits before its point
                        */
    UP_REFUSED_UNIT,   /* another unit than the rig's, or none where one must be */
    UP_REFUSED_RANGE,  /* beyond the raw word, or a temperature no water has */
    UP_REFUSED_CHECKSUM, /* damaged on the way */
    UP_REFUSED_REPEATED, /* the same sequence number again */
    UP_REFUSED_TIME,     /* device time ran back or leapt ahead */
    UP_REFUSED_CUT,      /* no end of line at the end of the stream, or first line of a device */
    UP_REFUSALS
};

const char *up_refusal_name(enum up_refusal refusal);
bool up_is_refused(enum up_refusal refusal);

/* Fills *sample but for number and offset; for a rig without a device time time_s is NaN. */
enum up_refusal up_line_read(const struct up_line_rule *rule, const char *text, size_t length,
                             struct up_sample *sample);
/* The number alone, of the line after its label. */
enum up_refusal up_line_read_value(const struct up_line_rule *rule, const char *text, size_t length,
                                   struct up_sample *sample);

/* Kilograms in one unit of the load; 1 for counts. */
double up_load_factor(enum up_load_unit unit);

/* CRC-16 with polynomial 0x1021 and start 0xFFFF, neither reflected nor inverted; of "123456789"
   it is 0x29B1 (the published catalogues of CRC algorithms; from memory). */
unsigned up_crc16(const char *text, size_t length);

enum { UP_NOTES = 4, UP_NOTE_SIZE = 112 };

/* Framer, line reader and counters in one: bytes in, samples out. */
struct up_reader {
    const struct up_line_rule *rule;
    struct up_framer framer;
    uint64_t cut_line; /* of a live device: the first line, which is cut, by number; 0 for none */
    uint64_t lines, count[UP_REFUSALS];
    uint64_t refused_before_fit;       /* before the first line that fitted: a banner */
    int shown;                         /* of those that were not cut, the first two are kept: */
    char refused_text[2][80];          /* raw bytes, cut to fit */
    uint64_t refused_line[2];          /* their line numbers from 1 */
    char note[UP_NOTES][UP_NOTE_SIZE]; /* the device's latest words, without mark and checksum */
    uint64_t notes; /* so many until now; the n-th, from 0, is note[n % UP_NOTES] */
    uint64_t lost;  /* lines that the sequence numbers miss */
    uint64_t numbered, dropped;
    double last_time_s, clock_shift_s, last_sequence;
    double odd_clock_s; /* of the line before, where its clock did not go on; else NaN */
    bool label_seen;    /* the next line holds its number */
    char header[80];
    uint64_t columns_seen; /* lines in a row with the usual number of columns */
    int usual_columns;
};

void up_reader_begin(struct up_reader *reader, const struct up_line_rule *rule, bool skip_first);
/* Takes bytes up to the end of the next line that is a sample, moving *bytes and *length on; false
   when all were taken and none is complete. */
bool up_reader_take(struct up_reader *reader, const char **bytes, size_t *length,
                    struct up_sample *sample);
/* The stream was broken off and begins anew, its clock behind the old one: what is left of the old
   line is counted as cut, and with skip_first so is the first new one. */
void up_reader_resume(struct up_reader *reader, bool skip_first);
/* The stream has ended: what is left without an end of line is counted as cut. */
void up_reader_end(struct up_reader *reader);
uint64_t up_reader_refused(const struct up_reader *reader);
/* A line has gone on for 64 KiB: no device ends its lines so, and none can be read. */
bool up_reader_is_endless(const struct up_reader *reader);
/* Why most of the refused ones were. */
enum up_refusal up_reader_usual_refusal(const struct up_reader *reader);
/* True where so many lines do not fit that the rig file must be wrong: after `least` lines none
   fitted, or more than half of those since the first one that did or since it began anew. A device
   out of its range, and what it sent before its first good line, do not point to a wrong rig. */
bool up_reader_is_mismatched(const struct up_reader *reader, uint64_t least);

#endif
