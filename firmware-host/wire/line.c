/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "upthrust/text.h"
#include "upthrust/water.h"
#include "upthrust/wire.h"

#define POUND_KG 0.45359237 /* exact: international yard and pound agreement of 1959 */

/* Temperatures that a sensor in water can mean; 85 and -127 are what broken ones show. */
#define TEMP_LOW_C  (-5.0)
#define TEMP_HIGH_C 60.0

/* ---- framer ---- */

bool up_framer_push(struct up_framer *framer, char byte) {
    if (framer->delivered || framer->length == 0) {
        framer->length = 0;
        framer->overlong = false;
        framer->delivered = false;
        framer->line_start = framer->offset;
    }
    framer->offset++;
    if (byte == '\n' || byte == '\r') {
        return up_framer_rest(framer);
    }
    if (framer->length + 1 < sizeof framer->text) {
        framer->text[framer->length++] = byte;
    } else {
        framer->overlong = true;
    }
    return false;
}

bool up_framer_rest(struct up_framer *framer) {
    bool some = framer->length > 0 && !framer->delivered;
    framer->text[framer->length] = '\0';
    framer->delivered = some;
    return some;
}

/* ---- one line ---- */

const char *up_refusal_name(enum up_refusal refusal) {
    static const char *const names[UP_REFUSALS] = {
        [UP_LINE_FITS] = "fits",
        [UP_REFUSED_OVERLONG] = "longer than 1023 bytes",
        [UP_REFUSED_BYTES] = "bytes that are no text",
        [UP_REFUSED_FIELDS] = "too few fields",
        [UP_REFUSED_NUMBER] = "a field that is no number",
        [UP_REFUSED_RANGE] = "a number out of range",
        [UP_REFUSED_TIME] = "device time ran back",
        [UP_REFUSED_CUT] = "cut at the stream's begin or end",
    };
    return names[refusal];
}

struct field {
    const char *text;
    size_t length;
};

static bool is_blank(char byte) {
    return byte == ' ' || byte == '\t';
}

static struct field trim(struct field field) {
    while (field.length > 0 && is_blank(field.text[0])) {
        field.text++;
        field.length--;
    }
    while (field.length > 0 && is_blank(field.text[field.length - 1])) {
        field.length--;
    }
    return field;
}

/* Splits; fields beyond the last one that can be asked for are not looked at. */
static int split(char separator, struct field line, struct field field[UP_FIELDS_MAX]) {
    int count = 0;
    const char *end = line.text + line.length;
    line = separator == ' ' ? trim(line) : line;
    end = line.text + line.length;
    for (const char *at = line.text; at <= end && count < UP_FIELDS_MAX; count++) {
        const char *stop = at;
        while (stop < end && (separator == ' ' ? !is_blank(*stop) : *stop != separator)) {
            stop++;
        }
        field[count] = trim((struct field){at, (size_t)(stop - at)});
        at = stop + 1;
        while (separator == ' ' && at < end && is_blank(*at)) {
            at++;
        }
    }
    return count;
}

static bool is_plain_text(const char *text, size_t length) {
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)text[i];
        if ((byte < ' ' && byte != '\t') || byte > '~') {
            return false;
        }
    }
    return true;
}

static double load_factor(enum up_load_unit unit) {
    switch (unit) {
    case UP_LOAD_COUNTS:
    case UP_LOAD_KG:
        return 1;
    case UP_LOAD_G:
        return 1e-3;
    case UP_LOAD_LB:
        return POUND_KG;
    case UP_LOAD_N:
        return 1 / UP_STANDARD_GRAVITY_M_S2;
    }
    return 1;
}

static enum up_refusal read_load(const struct up_line_rule *rule, struct field field,
                                 double *load) {
    double number = 0;
    if (!up_text_number(field.text, field.length, &number)) {
        return UP_REFUSED_NUMBER;
    }
    if (rule->word_bits > 0 &&
        (number < -ldexp(1, rule->word_bits - 1) || number >= ldexp(1, rule->word_bits - 1))) {
        return UP_REFUSED_RANGE;
    }
    *load = number * load_factor(rule->load_unit);
    return UP_LINE_FITS;
}

static enum up_refusal read_temp(struct field field, double *temp_c) {
    if (!up_text_number(field.text, field.length, temp_c)) {
        return UP_REFUSED_NUMBER;
    }
    return *temp_c >= TEMP_LOW_C && *temp_c <= TEMP_HIGH_C ? UP_LINE_FITS : UP_REFUSED_RANGE;
}

static enum up_refusal read_fields(const struct up_line_rule *rule, struct field line,
                                   struct up_sample *sample) {
    struct field field[UP_FIELDS_MAX];
    enum up_refusal refusal = UP_LINE_FITS;
    int count = split(rule->separator, line, field);
    if (rule->time_field > count || rule->temp_field > count) {
        return UP_REFUSED_FIELDS;
    }
    for (int i = 0; i < rule->loads && refusal == UP_LINE_FITS; i++) {
        refusal = rule->load_field[i] > count
                      ? UP_REFUSED_FIELDS
                      : read_load(rule, field[rule->load_field[i] - 1], &sample->load[i]);
    }
    if (refusal == UP_LINE_FITS && rule->temp_field > 0) {
        refusal = read_temp(field[rule->temp_field - 1], &sample->temp_c);
    }
    if (refusal == UP_LINE_FITS && rule->time_field > 0) {
        struct field time = field[rule->time_field - 1];
        if (!up_text_number(time.text, time.length, &sample->time_s)) {
            return UP_REFUSED_NUMBER;
        }
        sample->time_s *= rule->time_unit_s;
    }
    return refusal;
}

enum up_refusal up_line_read(const struct up_line_rule *rule, const char *text, size_t length,
                             struct up_sample *sample) {
    struct field line = {text, length};
    *sample =
        (struct up_sample){.time_s = (double)NAN, .temp_c = (double)NAN, .loads = rule->loads};
    if (!is_plain_text(text, length)) {
        return UP_REFUSED_BYTES;
    }
    if (rule->layout == UP_LAYOUT_BARE) {
        return read_load(rule, trim(line), &sample->load[0]);
    }
    return read_fields(rule, line, sample);
}

/* ---- reader ---- */

void up_reader_begin(struct up_reader *reader, const struct up_line_rule *rule, bool skip_first) {
    memset(reader, 0, sizeof *reader);
    reader->rule = rule;
    reader->cut_line = skip_first ? 1 : 0;
    reader->last_time_s = (double)-INFINITY;
}

static void refuse(struct up_reader *reader, enum up_refusal refusal) {
    uint64_t before = up_reader_refused(reader);
    if (before < 2) {
        snprintf(reader->refused_text[before], sizeof reader->refused_text[before], "%.79s",
                 reader->framer.text);
        reader->refused_line[before] = reader->lines;
    }
    reader->refused[refusal]++;
}

/* A device that was reset starts its clock anew. The line that shows it is refused, once, and the
   new clock is put behind the old one, so that time in the samples never runs back. */
static enum up_refusal judge_time(struct up_reader *reader, struct up_sample *sample) {
    sample->time_s += reader->clock_shift_s;
    if (sample->time_s >= reader->last_time_s) {
        return UP_LINE_FITS;
    }
    reader->clock_shift_s += reader->last_time_s - sample->time_s;
    return UP_REFUSED_TIME;
}

static enum up_refusal judge_line(struct up_reader *reader, struct up_sample *sample) {
    enum up_refusal refusal = UP_LINE_FITS;
    if (reader->lines == reader->cut_line) {
        return UP_REFUSED_CUT;
    }
    if (reader->framer.overlong) {
        return UP_REFUSED_OVERLONG;
    }
    refusal = up_line_read(reader->rule, reader->framer.text, reader->framer.length, sample);
    if (refusal == UP_LINE_FITS && reader->rule->time_field > 0) {
        return judge_time(reader, sample);
    }
    return refusal;
}

bool up_reader_push(struct up_reader *reader, char byte, struct up_sample *sample) {
    enum up_refusal refusal;
    if (!up_framer_push(&reader->framer, byte)) {
        return false;
    }
    reader->lines++;
    refusal = judge_line(reader, sample);
    if (refusal != UP_LINE_FITS) {
        refuse(reader, refusal);
        return false;
    }
    if (reader->rule->time_field == 0) {
        sample->time_s = (double)reader->numbered / reader->rule->rate_hz;
    }
    reader->last_time_s = sample->time_s;
    sample->number = reader->numbered++;
    sample->offset = reader->framer.line_start;
    return true;
}

void up_reader_end(struct up_reader *reader) {
    if (up_framer_rest(&reader->framer)) {
        reader->lines++;
        refuse(reader, UP_REFUSED_CUT);
    }
}

void up_reader_resume(struct up_reader *reader, bool skip_first) {
    up_reader_end(reader);
    reader->cut_line = skip_first ? reader->lines + 1 : 0;
}

uint64_t up_reader_refused(const struct up_reader *reader) {
    uint64_t sum = 0;
    for (int i = 0; i < UP_REFUSALS; i++) {
        sum += reader->refused[i];
    }
    return sum;
}
