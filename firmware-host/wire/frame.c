/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "upthrust/wire.h"

enum { WINDOW = 128 };

void up_framer_begin(struct up_framer *framer, const struct up_line_rule *rule) {
    memset(framer, 0, sizeof *framer);
    framer->rule = rule;
    framer->fresh = true;
}

/* The first byte that ends a frame; NULL where there is none. Looks in windows, so that a stream
   of CR alone is not searched for LF to its end again and again. */
static const char *find_end(const struct up_line_rule *rule, const char *bytes, size_t length) {
    if (rule->frame_end != '\n') {
        return memchr(bytes, rule->frame_end, length);
    }
    while (length > 0) {
        size_t window = length < WINDOW ? length : WINDOW;
        const char *line_feed = memchr(bytes, '\n', window);
        size_t before = line_feed != NULL ? (size_t)(line_feed - bytes) : window;
        const char *carriage_return = memchr(bytes, '\r', before);
        if (carriage_return != NULL || line_feed != NULL) {
            return carriage_return != NULL ? carriage_return : line_feed;
        }
        bytes += window;
        length -= window;
    }
    return NULL;
}

static void keep(struct up_framer *framer, const char *bytes, size_t length, uint64_t from) {
    size_t room = sizeof framer->text - 1 - framer->length;
    if (framer->fresh) {
        framer->text_from = from;
        framer->fresh = false;
    }
    if (length > room) {
        framer->dropping = true;
        length = room;
    }
    memcpy(framer->text + framer->length, bytes, length);
    framer->length += length;
}

static bool is_filler(char byte) {
    return byte == ' ' || byte == '\t' || byte == '\r' || byte == '\n';
}

/* Removes what is not part of the frame: blanks at both ends, and everything before the start byte.
   The last start counts: what lies before it is a frame whose end was lost. */
static bool trim_frame(struct up_framer *framer) {
    char start = framer->rule->frame_start;
    const char *text = framer->frame;
    size_t length = framer->frame_length;
    while (length > 0 && is_filler(text[length - 1])) {
        length--;
    }
    framer->headless = false;
    if (start != '\0' && length > 0) {
        size_t at = length;
        while (at > 0 && text[at - 1] != start) {
            at--;
        }
        framer->headless = at == 0;
        text += at;
        length -= at;
    }
    while (length > 0 && is_filler(*text)) {
        text++;
        length--;
    }
    framer->frame_from += (uint64_t)(text - framer->frame);
    framer->frame = text;
    framer->frame_length = length;
    return length > 0;
}

static bool complete_from_text(struct up_framer *framer) {
    framer->frame = framer->text;
    framer->frame_length = framer->length;
    framer->frame_from = framer->text_from;
    framer->overlong = framer->dropping;
    framer->length = 0;
    framer->dropping = false;
    framer->fresh = true;
    return trim_frame(framer) || framer->overlong;
}

/* A frame of a fixed length counts from its start byte. */
static size_t take_fixed(struct up_framer *framer, const char *bytes, size_t length,
                         bool *complete) {
    const struct up_line_rule *rule = framer->rule;
    size_t taken = 0;
    while (taken < length && !*complete) {
        char byte = bytes[taken++];
        framer->offset++;
        if (!framer->fresh || byte == rule->frame_start) {
            keep(framer, &byte, 1, framer->offset - 1);
        }
        if (framer->length == (size_t)rule->frame_bytes) {
            *complete = complete_from_text(framer);
        }
    }
    return taken;
}

size_t up_framer_take(struct up_framer *framer, const char *bytes, size_t length, bool *complete) {
    size_t taken = 0;
    *complete = false;
    if (framer->rule->frame_bytes > 0) {
        return take_fixed(framer, bytes, length, complete);
    }
    while (taken < length && !*complete) {
        const char *begin = bytes + taken;
        const char *end = find_end(framer->rule, begin, length - taken);
        size_t size = end != NULL ? (size_t)(end - begin) : length - taken;
        uint64_t from = framer->offset;
        taken += size + (end != NULL);
        framer->offset += size + (end != NULL);
        if (end != NULL && framer->fresh && size < sizeof framer->text) {
            framer->frame = begin; /* whole within these bytes: no copy */
            framer->frame_length = size;
            framer->frame_from = from;
            framer->overlong = false;
            *complete = trim_frame(framer);
        } else if (!framer->fresh || size > 0) {
            keep(framer, begin, size, from);
            *complete = end != NULL && complete_from_text(framer);
        }
    }
    return taken;
}

bool up_framer_rest(struct up_framer *framer) {
    return !framer->fresh && complete_from_text(framer);
}
