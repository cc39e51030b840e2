/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One line becomes one sample, or is refused with a reason. */
#include <jansson.h>
#include <string.h>
#include <strings.h>

#include "line_internal.h"
#include "text/text.h"

/* Temperatures that a sensor in water can mean; 85 and -127 are what broken ones show. */
#define TEMP_LOW_C  (-5.0)
#define TEMP_HIGH_C 60.0

enum { LOAD_DIGITS_MAX = 12 }; /* of a load, before its decimal mark: more are two numbers in one */

const char *up_refusal_name(enum up_refusal refusal) {
    static const char *const names[UP_REFUSALS] = {
        [UP_LINE_FITS] = "fits",
        [UP_LINE_PASSED] = "ignored, as the rig file says",
        [UP_LINE_LABEL] = "a label, its number on the next line",
        [UP_LINE_NOTE] = "words of the device",
        [UP_REFUSED_OVER] = "over the device's range",
        [UP_REFUSED_UNDER] = "under the device's range",
        [UP_REFUSED_OVERLONG] = "longer than 1023 bytes",
        [UP_REFUSED_BYTES] = "bytes that are not text",
        [UP_REFUSED_WORDS] = "words without a number",
        [UP_REFUSED_HEADER] = "the header again",
        [UP_REFUSED_LABEL] = "the label or beginning is missing",
        [UP_REFUSED_FIELDS] = "too few fields, or too many",
        [UP_REFUSED_MERGED] = "two lines in one",
        [UP_REFUSED_NUMBER] = "a field that is not a number",
        [UP_REFUSED_UNIT] = "another unit than the rig's, or none",
        [UP_REFUSED_RANGE] = "a number out of range",
        [UP_REFUSED_CHECKSUM] = "a wrong checksum",
        [UP_REFUSED_REPEATED] = "the same sequence number again",
        [UP_REFUSED_TIME] = "device time went backwards or jumped ahead",
        [UP_REFUSED_CUT] = "cut at the stream's begin or end",
    };
    return names[refusal];
}

bool up_is_refused(enum up_refusal refusal) {
    return refusal >= UP_REFUSED_OVER;
}

static bool is_plain_byte(char byte) {
    return (byte >= ' ' && byte <= '~') || byte == '\t';
}

/* Eight bytes at once: not zero where one of them is below a blank or above '~'. What such a byte
   carries into its neighbours does no harm. */
static uint64_t odd_bytes(const char *text) {
    const uint64_t each = 0x0101010101010101;
    uint64_t bytes;
    memcpy(&bytes, text, sizeof bytes);
    return ((bytes - each * ' ') | (bytes + each * (127 - '~')) | bytes) & each * 0x80;
}

/* Byte by byte where that finds one, which may be a tab, or where there are fewer than eight. */
static bool is_plain_text(const char *text, size_t length) {
    enum { STEP = sizeof(uint64_t) };
    uint64_t odd = length < STEP;
    for (size_t at = 0; at + STEP < length; at += STEP) {
        odd |= odd_bytes(text + at);
    }
    if (odd == 0 && odd_bytes(text + length - STEP) == 0) {
        return true;
    }
    while (length > 0 && is_plain_byte(text[length - 1])) {
        length--;
    }
    return length == 0;
}

/* ---- a number and its unit ---- */

struct value {
    struct number number;
    double factor; /* kilograms a unit as printed; NaN where no unit is */
    bool has_unit;
};

/* `whole`: the slice is the number and its unit and nothing else; otherwise more may follow. */
static enum up_refusal read_value(const struct up_line_rule *rule, struct slice slice, bool whole,
                                  struct value *value) {
    size_t unit_length;
    bool joined;
    if (!scan_number(slice, rule->decimal_comma, &value->number)) {
        return UP_REFUSED_NUMBER;
    }
    slice.at += value->number.length;
    slice.length -= value->number.length;
    value->factor = (double)NAN;
    value->has_unit = false;
    if (slice.length == 0) {
        return UP_LINE_FITS;
    }
    take_unit(slice, &value->factor, &unit_length, &joined);
    value->has_unit = !isnan(value->factor);
    bool stray = unit_length > 0 && !value->has_unit && (joined || whole);
    bool next_is_digits = slice.at[0] == '.' && slice.length > 1 && is_digit(slice.at[1]);
    slice.at += unit_length;
    slice.length -= unit_length;
    bool more = whole && trim(slice).length > 0;
    return stray || next_is_digits || more ? UP_REFUSED_NUMBER : UP_LINE_FITS;
}

static enum up_refusal apply_unit(const struct up_line_rule *rule, const struct value *value,
                                  struct up_sample *sample, double *load) {
    double factor = up_load_factor(rule->load_unit);
    bool counts = rule->load_unit == UP_LOAD_COUNTS;
    if (rule->load_unit == UP_LOAD_PRINTED) {
        factor = value->factor;
    }
    if (value->has_unit && (counts || fabs(value->factor / factor - 1) > 1e-9)) {
        return UP_REFUSED_UNIT;
    }
    if (!value->has_unit &&
        (rule->load_unit == UP_LOAD_PRINTED || rule->unit_missing == UP_UNIT_MISSING_REFUSED)) {
        return UP_REFUSED_UNIT;
    }
    sample->unstable |= !value->has_unit && rule->unit_missing == UP_UNIT_MISSING_UNSTABLE;
    *load = value->number.value * factor;
    return UP_LINE_FITS;
}

static enum up_refusal judge_load(const struct up_line_rule *rule, const struct value *value,
                                  struct up_sample *sample, double *load) {
    if (value->number.whole_digits > LOAD_DIGITS_MAX) {
        return UP_REFUSED_NUMBER;
    }
    if (rule->word_bits > 0) {
        double half = (double)((uint64_t)1 << (rule->word_bits - 1));
        if (value->number.value < -half || value->number.value >= half) {
            return UP_REFUSED_RANGE;
        }
    }
    return apply_unit(rule, value, sample, load);
}

/* A thermometer of the usual one-wire kind says 85 where it was not asked to measure (its data
   sheet: the register after power-on), its usual program -127 where it does not answer (from
   memory). */
static bool is_no_thermometer(double temp_c) {
    return temp_c == 85 || temp_c == -127;
}

static enum up_refusal judge_temp(double temp_c, struct up_sample *sample) {
    if (is_no_thermometer(temp_c)) { /* the load of such a line is as good as ever */
        return UP_LINE_FITS;
    }
    sample->temp_c = temp_c;
    return temp_c >= TEMP_LOW_C && temp_c <= TEMP_HIGH_C ? UP_LINE_FITS : UP_REFUSED_RANGE;
}

/* ---- where a layout keeps its numbers ---- */

struct line {
    const struct up_line_rule *rule;
    struct slice text;
    struct slice field[UP_FIELDS_MAX];
    int fields;
    json_t *object;
};

static bool is_placed(const struct up_place *place) {
    return place->field != 0 || place->label[0] != '\0';
}

/* A recorder may have quoted what a device sent; its numbers are columns like others. */
static void add_field(struct line *line, const char *at, const char *stop) {
    struct slice field = trim((struct slice){at, (size_t)(stop - at)});
    if (field.length > 0 && (field.at[0] == '"' || field.at[field.length - 1] == '"')) {
        field = trim_quotes(field);
    }
    line->field[line->fields++] = field;
}

static void split_at_blanks(struct line *line) {
    struct slice text = trim(line->text);
    const char *at = text.at, *end = text.at + text.length;
    do {
        const char *stop = at;
        while (stop < end && !is_blank(*stop)) {
            stop++;
        }
        add_field(line, at, stop);
        for (at = stop; at < end && is_blank(*at);) {
            at++;
        }
    } while (at < end && line->fields < UP_FIELDS_MAX);
}

/* Splits up to the last column that a key can name. */
static void split(struct line *line) {
    const char *at = line->text.at, *end = at + line->text.length, *stop;
    if (line->rule->separator == ' ') {
        split_at_blanks(line);
        return;
    }
    do {
        stop = memchr(at, line->rule->separator, (size_t)(end - at));
        add_field(line, at, stop != NULL ? stop : end);
        at = stop != NULL ? stop + 1 : end;
    } while (stop != NULL && line->fields < UP_FIELDS_MAX);
}

/* Where a label ends in the line; NULL where it does not stand there as a word of its own. */
static const char *after_label(struct slice line, const char *label) {
    size_t size = strlen(label);
    for (size_t at = 0; at + size <= line.length; at++) {
        bool inside_word = at > 0 && is_letter(label[0]) && is_letter(line.at[at - 1]);
        char after = at + size < line.length ? line.at[at + size] : ' ';
        bool goes_on = is_letter(label[size - 1]) && (is_letter(after) || after == '_');
        if (memcmp(line.at + at, label, size) == 0 && !inside_word && !goes_on) {
            return line.at + at + size;
        }
    }
    return NULL;
}

static bool is_between(char byte) {
    return is_blank(byte) || byte == ':' || byte == '=' || byte == '"';
}

static enum up_refusal find_labelled(struct slice text, const char *label, struct slice *slice) {
    const char *end = text.at + text.length;
    const char *at = after_label(text, label);
    if (at == NULL) {
        return UP_REFUSED_LABEL;
    }
    if (after_label((struct slice){at, (size_t)(end - at)}, label) != NULL) {
        return UP_REFUSED_MERGED;
    }
    while (at < end && is_between(*at)) {
        at++;
    }
    *slice = (struct slice){at, (size_t)(end - at)};
    return UP_LINE_FITS;
}

/* The common case: a field that is a number and nothing else. */
static bool is_plain_field(const struct line *line, const struct up_place *place,
                           struct value *value) {
    const struct up_line_rule *rule = line->rule;
    if (rule->layout != UP_LAYOUT_FIELDS || place->field > line->fields) {
        return false;
    }
    struct slice field = line->field[place->field - 1];
    value->factor = (double)NAN;
    value->has_unit = false;
    return scan_plain(field, rule->decimal_comma ? ',' : '.', &value->number) &&
           value->number.length == field.length;
}

/* The text at a place; of JSON, of a member that is a string. */
static enum up_refusal find_text(const struct line *line, const struct up_place *place,
                                 struct slice *slice) {
    const struct up_line_rule *rule = line->rule;
    const json_t *member;
    *slice = trim(line->text);
    switch (rule->layout) {
    case UP_LAYOUT_BARE:
        break;
    case UP_LAYOUT_FIELDS:
        if (place->field > line->fields) {
            return UP_REFUSED_FIELDS;
        }
        *slice = line->field[place->field - 1];
        break;
    case UP_LAYOUT_NUMBERS:
        return find_number(line->text, rule->decimal_comma, place->field, slice)
                   ? UP_LINE_FITS
                   : UP_REFUSED_FIELDS;
    case UP_LAYOUT_LABELS:
        return find_labelled(line->text, place->label, slice);
    case UP_LAYOUT_JSON:
        member = json_object_get(line->object, place->label);
        if (member == NULL) {
            return UP_REFUSED_LABEL;
        }
        if (!json_is_string(member)) {
            return UP_REFUSED_NUMBER;
        }
        *slice = trim((struct slice){json_string_value(member), json_string_length(member)});
        break;
    }
    return UP_LINE_FITS;
}

static enum up_refusal search_value(const struct line *line, const struct up_place *place,
                                    struct value *value) {
    const struct up_line_rule *rule = line->rule;
    bool whole = rule->layout != UP_LAYOUT_NUMBERS && rule->layout != UP_LAYOUT_LABELS;
    struct slice slice;
    if (rule->layout == UP_LAYOUT_JSON) {
        const json_t *member = json_object_get(line->object, place->label);
        if (json_is_number(member)) {
            *value = (struct value){{.value = json_number_value(member)}, (double)NAN, false};
            return UP_LINE_FITS;
        }
    }
    enum up_refusal refusal = find_text(line, place, &slice);
    return refusal != UP_LINE_FITS ? refusal : read_value(rule, slice, whole, value);
}

static enum up_refusal find_value(const struct line *line, const struct up_place *place,
                                  struct value *value) {
    return is_plain_field(line, place, value) ? UP_LINE_FITS : search_value(line, place, value);
}

/* ---- the line ---- */

static enum up_refusal read_unit_field(const struct line *line, struct value *value) {
    int field = line->rule->unit_field;
    size_t length;
    bool joined;
    if (field == 0) {
        return UP_LINE_FITS;
    }
    if (field > line->fields) {
        return UP_REFUSED_FIELDS;
    }
    take_unit(line->field[field - 1], &value->factor, &length, &joined);
    value->has_unit = !isnan(value->factor);
    return value->has_unit || line->field[field - 1].length == 0 ? UP_LINE_FITS : UP_REFUSED_UNIT;
}

static enum up_refusal read_loads(const struct line *line, struct up_sample *sample) {
    const struct up_line_rule *rule = line->rule;
    enum up_refusal refusal = UP_LINE_FITS;
    for (int i = 0; i < rule->loads && refusal == UP_LINE_FITS; i++) {
        struct value value;
        refusal = find_value(line, &rule->load[i], &value);
        if (refusal == UP_LINE_FITS) {
            refusal = read_unit_field(line, &value);
        }
        if (refusal == UP_LINE_FITS) {
            refusal = judge_load(rule, &value, sample, &sample->load[i]);
        }
    }
    return refusal;
}

/* Where a number would stand is none: "nan", null or nothing at all. */
static bool is_nothing(const struct line *line, const struct up_place *place) {
    if (line->rule->layout == UP_LAYOUT_JSON) {
        return json_is_null(json_object_get(line->object, place->label));
    }
    if (line->rule->layout != UP_LAYOUT_FIELDS || place->field > line->fields) {
        return false;
    }
    const struct slice *field = &line->field[place->field - 1];
    return field->length == 0 ||
           (field->length == 3 && strncasecmp(field->at, "nan", field->length) == 0);
}

static enum up_refusal read_temp(const struct line *line, struct up_sample *sample) {
    const struct up_place *place = &line->rule->temp;
    struct value value;
    if (is_nothing(line, place)) {
        return UP_LINE_FITS;
    }
    enum up_refusal refusal = find_value(line, place, &value);
    return refusal != UP_LINE_FITS ? refusal : judge_temp(value.number.value, sample);
}

static enum up_refusal read_time(const struct line *line, struct up_sample *sample) {
    const struct up_line_rule *rule = line->rule;
    struct value value;
    struct slice slice;
    if (!rule->time_of_day) {
        enum up_refusal refusal = find_value(line, &rule->time, &value);
        sample->time_s = value.number.value * rule->time_unit_s;
        return refusal;
    }
    enum up_refusal refusal = find_text(line, &rule->time, &slice);
    if (refusal == UP_LINE_FITS && !scan_time_of_day(slice, &sample->time_s)) {
        refusal = UP_REFUSED_NUMBER;
    }
    return refusal;
}

static enum up_refusal read_numbers(const struct line *line, struct up_sample *sample) {
    const struct up_line_rule *rule = line->rule;
    struct value value;
    enum up_refusal refusal = read_loads(line, sample);
    if (refusal == UP_LINE_FITS && is_placed(&rule->temp)) {
        refusal = read_temp(line, sample);
    }
    if (refusal == UP_LINE_FITS && is_placed(&rule->time)) {
        refusal = read_time(line, sample);
    }
    if (refusal == UP_LINE_FITS && is_placed(&rule->sequence)) {
        refusal = find_value(line, &rule->sequence, &value);
        sample->sequence = value.number.value;
    }
    return refusal;
}

static enum up_refusal apply_status(enum status status, struct up_sample *sample) {
    switch (status) {
    case STATUS_IGNORE:
        return UP_LINE_PASSED;
    case STATUS_OVER:
        return UP_REFUSED_OVER;
    case STATUS_UNDER:
        return UP_REFUSED_UNDER;
    case STATUS_UNSTABLE:
        sample->unstable = true;
        break;
    case STATUS_STABLE:
    case STATUS_NONE:
        break;
    }
    return UP_LINE_FITS;
}

static enum up_refusal read_fields(struct line *line, struct up_sample *sample) {
    const struct up_line_rule *rule = line->rule;
    split(line);
    sample->columns = line->fields;
    if (rule->columns != 0 && line->fields != rule->columns) {
        return line->fields >= 2 * rule->columns - 1 ? UP_REFUSED_MERGED : UP_REFUSED_FIELDS;
    }
    if (rule->status_field > line->fields) {
        return UP_REFUSED_FIELDS;
    }
    if (rule->status_field != 0) {
        enum up_refusal refusal =
            apply_status(status_of_field(rule, line->field[rule->status_field - 1]), sample);
        if (refusal != UP_LINE_FITS) {
            return refusal;
        }
    }
    return read_numbers(line, sample);
}

/* A reader of JSON that takes a whole object and no name twice: two objects in one line, or half of
   one, are none. */
static enum up_refusal read_json(struct line *line, struct up_sample *sample) {
    enum up_refusal refusal;
    json_error_t error;
    line->object = json_loadb(line->text.at, line->text.length, JSON_REJECT_DUPLICATES, &error);
    if (!json_is_object(line->object)) {
        json_decref(line->object);
        return memchr(line->text.at, '{', line->text.length) != NULL ? UP_REFUSED_NUMBER
                                                                     : UP_REFUSED_LABEL;
    }
    refusal = read_numbers(line, sample);
    json_decref(line->object);
    return refusal;
}

static enum up_refusal read_layout(const struct up_line_rule *rule, struct slice text,
                                   struct up_sample *sample) {
    struct line line;
    line.rule = rule;
    line.text = text;
    line.fields = 0;
    line.object = NULL;
    if (rule->layout == UP_LAYOUT_FIELDS) {
        return read_fields(&line, sample);
    }
    if (rule->layout == UP_LAYOUT_JSON) {
        return read_json(&line, sample);
    }
    if (rule->value_on_next_line) {
        return after_label(text, rule->load[0].label) != NULL ? UP_LINE_LABEL : UP_REFUSED_LABEL;
    }
    return read_numbers(&line, sample);
}

/* Status words stand among the numbers: they are looked for in a copy and blanked out there. */
static enum up_refusal read_with_status(const struct up_line_rule *rule, struct slice text,
                                        struct up_sample *sample) {
    char copy[UP_LINE_SIZE];
    enum up_refusal refusal;
    if (rule->status_field != 0 || !has_status_words(rule) || text.length > sizeof copy) {
        return read_layout(rule, text, sample);
    }
    memcpy(copy, text.at, text.length);
    refusal = apply_status(take_status(rule, copy, text.length), sample);
    if (refusal != UP_LINE_FITS) {
        return refusal;
    }
    if (rule->layout == UP_LAYOUT_JSON) { /* its words are part of the object */
        return read_layout(rule, text, sample);
    }
    return read_layout(rule, (struct slice){copy, text.length}, sample);
}

static bool has_digit(struct slice text) {
    for (size_t i = 0; i < text.length; i++) {
        if (is_digit(text.at[i])) {
            return true;
        }
    }
    return false;
}

/* The reason as a person would give it: words are not a damaged number. */
static enum up_refusal refusal_for_person(const struct up_line_rule *rule, enum up_refusal refusal,
                                          struct slice text) {
    bool place =
        refusal == UP_REFUSED_NUMBER || refusal == UP_REFUSED_FIELDS || refusal == UP_REFUSED_LABEL;
    if (refusal == UP_REFUSED_LABEL && rule->pass_other_lines) {
        return UP_LINE_PASSED;
    }
    return place && text.length > 0 && !has_digit(text) ? UP_REFUSED_WORDS : refusal;
}

static enum up_refusal read_marked(const struct up_line_rule *rule, struct slice text,
                                   struct up_sample *sample) {
    size_t begin = rule->starts_with[0] != '\0' ? strlen(rule->starts_with) : 0;
    if (begin > 0 && (text.length < begin || memcmp(text.at, rule->starts_with, begin) != 0)) {
        return UP_REFUSED_LABEL;
    }
    if (!rule->pass_other_bytes && !is_plain_text(text.at, text.length)) {
        return UP_REFUSED_BYTES;
    }
    if (rule->checksum != UP_CHECKSUM_NONE && !take_checksum(rule, &text)) {
        return UP_REFUSED_CHECKSUM;
    }
    if (rule->note_mark != '\0' && text.length > 0 && text.at[0] == rule->note_mark) {
        return UP_LINE_NOTE;
    }
    if (rule->layout == UP_LAYOUT_BARE || rule->layout == UP_LAYOUT_NUMBERS) {
        text.at += begin; /* what it begins with may hold digits of its own */
        text.length -= begin;
    }
    return read_with_status(rule, text, sample);
}

/* By members, for this comes with every line and clearing a whole sample at once takes longer. */
static void begin_sample(const struct up_line_rule *rule, struct up_sample *sample) {
    memset(sample->load, 0, sizeof sample->load);
    sample->time_s = sample->temp_c = sample->sequence = (double)NAN;
    sample->loads = rule->loads;
    sample->columns = 0;
    sample->unstable = false;
    sample->number = sample->offset = 0;
}

enum up_refusal up_line_read(const struct up_line_rule *rule, const char *text, size_t length,
                             struct up_sample *sample) {
    struct slice line = {text, length};
    enum up_refusal refusal;
    begin_sample(rule, sample);
    refusal = read_marked(rule, line, sample);
    return refusal == UP_LINE_FITS ? refusal : refusal_for_person(rule, refusal, line);
}

enum up_refusal up_line_read_value(const struct up_line_rule *rule, const char *text, size_t length,
                                   struct up_sample *sample) {
    struct value value;
    enum up_refusal refusal;
    begin_sample(rule, sample);
    if (!is_plain_text(text, length)) {
        return UP_REFUSED_BYTES;
    }
    refusal = read_value(rule, trim((struct slice){text, length}), true, &value);
    if (refusal == UP_LINE_FITS) {
        refusal = judge_load(rule, &value, sample, &sample->load[0]);
    }
    return refusal;
}
