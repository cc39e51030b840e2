/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes in, samples out: what depends on the lines before is judged here. */
#include <string.h>

#include "upthrust/wire.h"

/* After so many lines with one number of columns, twice as many are two lines in one. */
enum { USUAL_AFTER = 20, ENDLESS_BYTES = 65536 };

/* A gap of more than a day within a stream is no gap; a clock of three thousand years is none, and
   would leave no digits for the seconds. Choices of ours. */
static const double DAY_S = 86400, CLOCK_MOST_S = 1e11;

void up_reader_begin(struct up_reader *reader, const struct up_line_rule *rule, bool skip_first) {
    memset(reader, 0, sizeof *reader);
    reader->rule = rule;
    reader->cut_line = skip_first ? 1 : 0;
    reader->last_time_s = (double)-INFINITY;
    reader->last_sequence = reader->odd_clock_s = (double)NAN;
    up_framer_begin(&reader->framer, rule);
}

static void copy_text(char *copy, size_t size, const struct up_framer *framer) {
    size_t length = framer->frame_length < size - 1 ? framer->frame_length : size - 1;
    memcpy(copy, framer->frame, length);
    copy[length] = '\0';
}

static void refuse(struct up_reader *reader, enum up_refusal refusal) {
    if (reader->shown < 2 && refusal != UP_REFUSED_CUT) {
        copy_text(reader->refused_text[reader->shown], sizeof reader->refused_text[0],
                  &reader->framer);
        reader->refused_line[reader->shown++] = reader->lines;
    }
    reader->count[refusal]++;
    if (reader->count[UP_LINE_FITS] == 0) {
        reader->refused_before_fit++;
    }
}

/* A device that was reset prints its header anew. */
static enum up_refusal judge_words(struct up_reader *reader) {
    char text[sizeof reader->header];
    copy_text(text, sizeof text, &reader->framer);
    if (reader->header[0] == '\0') {
        memcpy(reader->header, text, sizeof text);
        return UP_REFUSED_WORDS;
    }
    /* Before the first good line a repeated text is not a header. */
    return reader->count[UP_LINE_FITS] > 0 && strcmp(reader->header, text) == 0 ? UP_REFUSED_HEADER
                                                                                : UP_REFUSED_WORDS;
}

static bool continues_from(double from_s, double time_s) {
    return time_s >= from_s && time_s - from_s <= DAY_S;
}

/* A clock that turned back or leapt ahead shows in one line, which is refused: that line alone may
   be wrong. Where the next one goes on from it, the device was reset or its clock set, and the new
   clock is put behind the old one, so that time in the samples never runs back. */
static enum up_refusal judge_time(struct up_reader *reader, struct up_sample *sample) {
    double clock_s = sample->time_s;
    sample->time_s += reader->clock_shift_s;
    if (fabs(clock_s) > CLOCK_MOST_S) {
        return UP_REFUSED_TIME;
    }
    if (reader->rule->time_of_day && sample->time_s < reader->last_time_s - DAY_S / 2) {
        sample->time_s += DAY_S; /* midnight */
        reader->clock_shift_s += DAY_S;
    }
    if (isinf(reader->last_time_s) || continues_from(reader->last_time_s, sample->time_s)) {
        reader->odd_clock_s = (double)NAN;
        return UP_LINE_FITS;
    }
    if (continues_from(reader->odd_clock_s, clock_s)) {
        reader->clock_shift_s = reader->last_time_s - reader->odd_clock_s;
        if (reader->odd_clock_s + reader->clock_shift_s < reader->last_time_s) { /* by rounding */
            reader->clock_shift_s = nextafter(reader->clock_shift_s, (double)INFINITY);
        }
        sample->time_s = clock_s + reader->clock_shift_s;
        return UP_LINE_FITS;
    }
    reader->odd_clock_s = clock_s;
    return UP_REFUSED_TIME;
}

static enum up_refusal judge_columns(struct up_reader *reader, const struct up_sample *sample) {
    if (sample->columns == reader->usual_columns) {
        reader->columns_seen++;
        return UP_LINE_FITS;
    }
    if (reader->columns_seen >= USUAL_AFTER && reader->usual_columns > 1 &&
        sample->columns >= 2 * reader->usual_columns - 1) {
        return UP_REFUSED_MERGED;
    }
    reader->usual_columns = sample->columns;
    reader->columns_seen = 1;
    return UP_LINE_FITS;
}

static enum up_refusal judge_sequence(struct up_reader *reader, const struct up_sample *sample) {
    double modulus = reader->rule->sequence_modulus;
    double gap = fmod(sample->sequence - reader->last_sequence, modulus);
    gap += gap < 0 ? modulus : 0;
    if (isnan(reader->last_sequence)) {
        gap = 1;
    }
    reader->last_sequence = sample->sequence;
    if (gap == 0) {
        return UP_REFUSED_REPEATED;
    }
    if (gap <= modulus / 2) { /* more: it restarted, after an unknown number of lines */
        reader->lost += (uint64_t)(gap - 1);
    }
    return UP_LINE_FITS;
}

static enum up_refusal judge_sample(struct up_reader *reader, struct up_sample *sample) {
    const struct up_line_rule *rule = reader->rule;
    enum up_refusal refusal = UP_LINE_FITS;
    if (sample->columns != 0) {
        refusal = judge_columns(reader, sample);
    }
    if (refusal == UP_LINE_FITS && !isnan(sample->sequence)) {
        refusal = judge_sequence(reader, sample);
    }
    if (refusal == UP_LINE_FITS && rule->time_unit_s > 0) {
        refusal = judge_time(reader, sample);
    }
    return refusal;
}

static enum up_refusal judge_line(struct up_reader *reader, struct up_sample *sample) {
    const struct up_framer *framer = &reader->framer;
    enum up_refusal refusal;
    bool labelled = reader->label_seen;
    reader->label_seen = false;
    if (reader->lines == reader->cut_line || framer->headless) {
        return UP_REFUSED_CUT;
    }
    if (framer->overlong) {
        return UP_REFUSED_OVERLONG;
    }
    refusal = labelled
                  ? up_line_read_value(reader->rule, framer->frame, framer->frame_length, sample)
                  : up_line_read(reader->rule, framer->frame, framer->frame_length, sample);
    reader->label_seen = refusal == UP_LINE_LABEL;
    if (refusal == UP_REFUSED_WORDS) {
        return judge_words(reader);
    }
    return refusal == UP_LINE_FITS ? judge_sample(reader, sample) : refusal;
}

/* What is said again is kept once; but each beginning is another one. */
static void keep_note(struct up_reader *reader) {
    char *note = reader->note[reader->notes % UP_NOTES];
    const char mark[] = {reader->rule->checksum_mark, '\0'};
    copy_text(note, UP_NOTE_SIZE, &reader->framer);
    memmove(note, note + 1, strlen(note));
    note[strcspn(note, mark)] = '\0';
    reader->notes += reader->notes == 0 || strncmp(note, "start ", 6) == 0 ||
                     strcmp(note, reader->note[(reader->notes - 1) % UP_NOTES]) != 0;
}

static bool take_line(struct up_reader *reader, struct up_sample *sample) {
    enum up_refusal refusal;
    reader->lines++;
    refusal = judge_line(reader, sample);
    if (up_is_refused(refusal)) {
        refuse(reader, refusal);
        return false;
    }
    if (refusal == UP_LINE_NOTE) {
        keep_note(reader);
    }
    reader->count[refusal]++;
    if (refusal != UP_LINE_FITS) {
        return false;
    }
    if (reader->dropped < (uint64_t)reader->rule->drop_lines) {
        reader->dropped++;
        return false;
    }
    if (reader->rule->time_unit_s == 0) {
        sample->time_s = (double)reader->numbered / reader->rule->rate_hz;
    }
    reader->last_time_s = sample->time_s;
    sample->number = reader->numbered++;
    sample->offset = reader->framer.frame_from;
    return true;
}

bool up_reader_take(struct up_reader *reader, const char **bytes, size_t *length,
                    struct up_sample *sample) {
    while (*length > 0) {
        bool complete = false;
        size_t taken = up_framer_take(&reader->framer, *bytes, *length, &complete);
        *bytes += taken;
        *length -= taken;
        if (complete && take_line(reader, sample)) {
            return true;
        }
    }
    return false;
}

void up_reader_end(struct up_reader *reader) {
    if (up_framer_rest(&reader->framer)) {
        reader->lines++;
        refuse(reader, UP_REFUSED_CUT);
    }
}

static uint64_t refused_in_range(const struct up_reader *reader) {
    return up_reader_refused(reader) - reader->count[UP_REFUSED_OVER] -
           reader->count[UP_REFUSED_UNDER];
}

void up_reader_resume(struct up_reader *reader, bool skip_first) {
    up_reader_end(reader);
    reader->refused_before_fit = refused_in_range(reader);
    reader->cut_line = skip_first ? reader->lines + 1 : 0;
    reader->last_sequence = (double)NAN;
    reader->label_seen = false;
}

uint64_t up_reader_refused(const struct up_reader *reader) {
    uint64_t sum = 0;
    for (int i = UP_REFUSED_OVER; i < UP_REFUSALS; i++) {
        sum += reader->count[i];
    }
    return sum;
}

bool up_reader_is_endless(const struct up_reader *reader) {
    const struct up_framer *framer = &reader->framer;
    return framer->dropping && framer->offset - framer->text_from > ENDLESS_BYTES;
}

enum up_refusal up_reader_usual_refusal(const struct up_reader *reader) {
    int most = UP_REFUSED_OVER;
    for (int i = UP_REFUSED_OVER; i < UP_REFUSALS; i++) {
        most = reader->count[i] > reader->count[most] ? i : most;
    }
    return (enum up_refusal)most;
}

bool up_reader_is_mismatched(const struct up_reader *reader, uint64_t least) {
    uint64_t fits = reader->count[UP_LINE_FITS];
    if (fits == 0) {
        return refused_in_range(reader) >= least;
    }
    return reader->lines >= least && refused_in_range(reader) - reader->refused_before_fit > fits;
}
