/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <ini.h>
#include <nettle/sha2.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rig_internal.h"
#include "text/text.h"

enum { RIG_MAX_BYTES = 65536 };

static bool refuse(struct parse *parse, const char *what) {
    if (!parse->failed) {
        up_fail(parse->failure, UP_STATUS_WRONG_INPUT, "rig file %s, line %d: %s", parse->name,
                parse->line, what);
    }
    parse->failed = true;
    return false;
}

static bool refuse_value(struct parse *parse, const struct key *key, const char *value,
                         const char *wanted) {
    char what[420];
    snprintf(what, sizeof what, "%s = %.80s: give %s", key->name, value, wanted);
    return refuse(parse, what);
}

/* inih's reader: hands out one line a call and counts it. */
static char *next_line(char *buffer, int size, void *stream) {
    struct parse *parse = stream;
    size_t length = strcspn(parse->next, "\n");
    if (parse->failed || parse->next[0] == '\0') {
        return NULL;
    }
    parse->line++;
    if (length > RIG_LINE_MAX || (int)length + 2 > size) {
        refuse(parse, "the line is longer than 199 bytes: shorten it");
        return NULL;
    }
    memcpy(buffer, parse->next, length);
    memcpy(buffer + length, "\n", 2);
    parse->next += length + (parse->next[length] == '\n');
    return buffer;
}

static void words_of(const struct key *key, char *text, size_t size) {
    snprintf(text, size, "one of");
    for (const struct word *word = key->words; word->text != NULL; word++) {
        size_t used = strlen(text);
        snprintf(text + used, size - used, " %s", word->text);
    }
}

static void store_word(const struct key *key, double value, void *target) {
    if (key->type == KEY_UNIT) {
        *(double *)target = value;
    } else if (key->type == KEY_CHAR) {
        *(char *)target = (char)value;
    } else if (key->type == KEY_SWITCH) {
        *(bool *)target = value != 0;
    } else {
        *(unsigned *)target = (unsigned)value;
    }
}

static bool set_word(struct parse *parse, const struct key *key, const char *value, void *target) {
    char wanted[160];
    for (const struct word *word = key->words; word->text != NULL; word++) {
        if (strcmp(word->text, value) == 0) {
            store_word(key, word->value, target);
            return true;
        }
    }
    words_of(key, wanted, sizeof wanted);
    return refuse_value(parse, key, value, wanted);
}

static bool in_range(const struct key *key, double number) {
    return number >= key->low && number <= key->high &&
           (key->type == KEY_NUMBER || number == floor(number));
}

static bool set_number(struct parse *parse, const struct key *key, const char *value,
                       void *target) {
    double number = 0;
    char wanted[120];
    if (!up_text_number(value, strlen(value), &number) || !in_range(key, number)) {
        snprintf(wanted, sizeof wanted, "a %s from %g to %g",
                 key->type == KEY_NUMBER ? "number" : "whole number", key->low, key->high);
        return refuse_value(parse, key, value, wanted);
    }
    if (key->type == KEY_NUMBER) {
        *(double *)target = number * key->unit;
    } else {
        *(int *)target = (int)number;
    }
    return true;
}

static bool set_text(struct parse *parse, const struct key *key, const char *value, char *target) {
    size_t length = strlen(value);
    UP_FREED char *clean = up_text_clean(value, length);
    bool good = length > 0 && strlen(clean) < (size_t)key->high && strcmp(clean, value) == 0;
    if (good) {
        memcpy(target, value, length + 1);
    }
    return good || refuse_value(parse, key, "", "some text in UTF-8 without control characters");
}

/* "11" or "11, 12, 13": the columns that hold loads. */
static bool set_fields(struct parse *parse, const struct key *key, const char *value) {
    struct up_line_rule *line = &parse->rig->line;
    int count = 0;
    for (const char *at = value; at != NULL;) {
        at += strspn(at, " \t");
        size_t length = strcspn(at, ", \t");
        double number = 0;
        if (count == UP_LOADS_MAX || !up_text_number(at, length, &number) ||
            !in_range(&(struct key){.type = KEY_WHOLE, .low = key->low, .high = key->high},
                      number)) {
            return refuse_value(parse, key, value, "one to eight columns, such as 11 or 11, 12");
        }
        line->load[count++].field = (int)number;
        at = strchr(at + length, ',');
        at = at == NULL ? NULL : at + 1;
    }
    line->loads = count;
    return true;
}

/* Cuts "a, b" at the commas and trims the parts: at most `room` of them, each of 1 to size - 1
   bytes. Bytes of any alphabet are those of the line; control bytes would reach a terminal. */
static int cut_list(const char *value, char *parts, size_t size, int room) {
    int count = 0;
    for (const char *at = value; *at != '\0'; at++) {
        if (iscntrl((unsigned char)*at) && *at != '\t') {
            return 0;
        }
    }
    for (const char *at = value; at != NULL; count++) {
        at += strspn(at, " \t");
        size_t length = strcspn(at, ",");
        const char *end = at + length;
        while (length > 0 && (at[length - 1] == ' ' || at[length - 1] == '\t')) {
            length--;
        }
        if (count == room || length == 0 || length >= size) {
            return 0;
        }
        memcpy(parts + (size_t)count * size, at, length);
        parts[(size_t)count * size + length] = '\0';
        at = *end == ',' ? end + 1 : NULL;
    }
    return count;
}

static bool set_labels(struct parse *parse, const struct key *key, const char *value) {
    struct up_line_rule *line = &parse->rig->line;
    char label[UP_LOADS_MAX][UP_LABEL_SIZE];
    int count = cut_list(value, label[0], UP_LABEL_SIZE, UP_LOADS_MAX);
    for (int i = 0; i < count; i++) {
        memcpy(line->load[i].label, label[i], sizeof label[i]);
    }
    line->loads = count;
    return count > 0 || refuse_value(parse, key, value,
                                     "one to eight labels of at most 47 bytes, separated by commas,"
                                     " without control characters");
}

static bool set_words(struct parse *parse, const struct key *key, const char *value,
                      struct up_words *words) {
    words->count = cut_list(value, words->text[0], UP_WORD_SIZE, UP_WORDS_MAX);
    return words->count > 0 ||
           refuse_value(parse, key, value,
                        "one to eight words of at most 23 bytes, separated by commas,"
                        " without control characters");
}

/* One byte behind a backslash; 0 where there is none such. *at moves behind it. */
static char escaped_byte(const char **at) {
    static const char names[] = "rnte\\", bytes[] = "\r\n\t\033\\";
    const char *name = **at != '\0' ? strchr(names, **at) : NULL;
    if (name != NULL) {
        ++*at;
        return bytes[name - names];
    }
    if ((*at)[0] == 'x' && isxdigit((unsigned char)(*at)[1]) && isxdigit((unsigned char)(*at)[2])) {
        char hex[3] = {(*at)[1], (*at)[2], '\0'};
        *at += 3;
        return (char)strtol(hex, NULL, 16);
    }
    return '\0';
}

static bool set_bytes(struct parse *parse, const struct key *key, const char *value, char *target) {
    size_t length = 0;
    for (const char *at = value; *at != '\0';) {
        char byte = *at++;
        if (byte == '\\') {
            byte = escaped_byte(&at);
        }
        if (byte == '\0' || length + 1 >= (size_t)key->high) {
            return refuse_value(parse, key, value,
                                "up to 190 bytes, with \\r \\n"
                                " \\t \\e \\\\ or \\xHH for bytes that are not letters");
        }
        target[length++] = byte;
    }
    target[length] = '\0';
    return true;
}

/* "gpiochip0 17" or "gpiochip0 PEDAL": a line's name may hold blanks, a chip's none. */
static bool set_gpio(struct parse *parse, const struct key *key, const char *value,
                     struct up_gpio *gpio) {
    size_t chip = strcspn(value, " ");
    const char *line = value + chip + strspn(value + chip, " ");
    UP_FREED char *clean = up_text_clean(value, strlen(value));
    bool good = chip > 0 && chip < sizeof gpio->chip && line[0] != '\0' &&
                strlen(line) < sizeof gpio->line && strcmp(clean, value) == 0;
    if (!good) {
        return refuse_value(parse, key, value,
                            "a chip and a line of it, by name or number, such as gpiochip0 17");
    }
    memcpy(gpio->chip, value, chip);
    memcpy(gpio->line, line, strlen(line) + 1);
    return true;
}

static bool set(struct parse *parse, const struct key *key, const char *value) {
    void *target = (char *)parse->rig + key->offset;
    switch (key->type) {
    case KEY_TEXT:
        return set_text(parse, key, value, target);
    case KEY_BYTES:
        return set_bytes(parse, key, value, target);
    case KEY_WORD:
    case KEY_CHAR:
    case KEY_SWITCH:
    case KEY_UNIT:
        return set_word(parse, key, value, target);
    case KEY_FIELDS:
        return set_fields(parse, key, value);
    case KEY_LABELS:
        return set_labels(parse, key, value);
    case KEY_WORDS:
        return set_words(parse, key, value, target);
    case KEY_GPIO:
        return set_gpio(parse, key, value, target);
    case KEY_NUMBER:
    case KEY_WHOLE:
        return set_number(parse, key, value, target);
    }
    return false;
}

static bool known_section(const char *section) {
    for (size_t i = 0; i < rig_key_count; i++) {
        if (strcmp(rig_keys[i].section, section) == 0) {
            return true;
        }
    }
    return false;
}

/* inih's handler: nonzero goes on. */
static int read_key(void *user, const char *section, const char *name, const char *value) {
    struct parse *parse = user;
    char what[400];
    for (size_t i = 0; i < rig_key_count; i++) {
        if (strcmp(rig_keys[i].section, section) != 0 || strcmp(rig_keys[i].name, name) != 0) {
            continue;
        }
        if (parse->seen[i]) {
            snprintf(what, sizeof what, "%.60s is given twice: keep one", name);
            return refuse(parse, what);
        }
        parse->seen[i] = true;
        snprintf(parse->value[i], sizeof parse->value[i], "%s", value);
        return set(parse, &rig_keys[i], value);
    }
    if (known_section(section)) {
        snprintf(what, sizeof what, "unknown key %.60s in section [%.40s]: see `upthrust help rig`",
                 name, section);
    } else {
        snprintf(what, sizeof what, "unknown section [%.60s]: see `upthrust help rig`", section);
    }
    return refuse(parse, what);
}

bool was_given(const struct parse *parse, const char *section, const char *name) {
    for (size_t i = 0; i < rig_key_count; i++) {
        if (strcmp(rig_keys[i].section, section) == 0 &&
            (name == NULL || strcmp(rig_keys[i].name, name) == 0) && parse->seen[i]) {
            return true;
        }
    }
    return false;
}

bool fail_rig(struct parse *parse, const char *what) {
    parse->failed = true;
    return up_fail(parse->failure, UP_STATUS_WRONG_INPUT, "rig file %s: %s", parse->name, what);
}

/* What a calibration depends on: the values of the sections line and sensor in the table's order,
   so that comments, order and blanks do not matter. */
static void hash_sections(const struct parse *parse, char hex[UP_SHA256_SIZE]) {
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&context);
    for (size_t i = 0; i < rig_key_count; i++) {
        bool counts =
            strcmp(rig_keys[i].section, "line") == 0 || strcmp(rig_keys[i].section, "sensor") == 0;
        if (counts && parse->seen[i]) {
            char text[512];
            int length = snprintf(text, sizeof text, "%s.%s=%s\n", rig_keys[i].section,
                                  rig_keys[i].name, parse->value[i]);
            sha256_update(&context, (size_t)length, (const uint8_t *)text);
        }
    }
    sha256_digest(&context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(hex + 2 * i, 3, "%02x", digest[i]);
    }
}

bool up_rig_parse(const char *name, const char *text, struct up_rig *rig,
                  struct up_failure *failure) {
    UP_FREED struct parse *parse = up_allocate(1, sizeof *parse);
    *parse = (struct parse){.name = name, .rig = rig, .failure = failure, .next = text};
    rig_defaults(rig);
    int status = ini_parse_stream(next_line, parse, read_key, parse);
    if (status != 0 && (!parse->failed || (status > 0 && status < parse->line))) {
        parse->line = status > 0 ? status : parse->line; /* that of the first mistake */
        parse->failed = false;
        refuse(parse, "neither a [section], a key = value nor a ; comment");
    }
    bool good = !parse->failed && rig_check(parse);
    if (good && rig->line.layout == UP_LAYOUT_BARE) {
        rig->line.loads = 1;
    }
    if (rig->line.time_unit_s == TIME_OF_DAY) {
        rig->line.time_of_day = true;
        rig->line.time_unit_s = 1;
    }
    if (good && rig->line.poll[0] != '\0') { /* the buffer has room for the end */
        rig->line.poll[strlen(rig->line.poll)] = rig->line.poll_end;
    }
    if (good && rig->name[0] == '\0') {
        memcpy(rig->name, rig->id, sizeof rig->name);
    }
    hash_sections(parse, rig->sha256);
    return good;
}

char *up_rig_read_text(const char *path, struct up_failure *failure) {
    size_t length = 0;
    char *text = up_text_read_file(path, UP_LINKS_FOLLOWED, RIG_MAX_BYTES, &length, failure);
    if (text != NULL && memchr(text, '\0', length) != NULL) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "%s is not a rig file: it contains NUL bytes",
                path);
        free(text);
        text = NULL;
    }
    return text;
}

bool up_rig_load(const char *path, struct up_rig *rig, struct up_failure *failure) {
    UP_FREED char *text = up_rig_read_text(path, failure);
    bool good = text != NULL && up_rig_parse(path, text, rig, failure);
    if (good) {
        snprintf(rig->path, sizeof rig->path, "%s", path);
    }
    return good && (rig->port_kind != UP_PORT_TYPED || up_rig_type_readings(rig, failure));
}

const char *up_load_unit_name(enum up_load_unit unit) {
    static const char *const names[] = {
        [UP_LOAD_COUNTS] = "counts", [UP_LOAD_G] = "g", [UP_LOAD_KG] = "kg",
        [UP_LOAD_LB] = "lb",         [UP_LOAD_N] = "N", [UP_LOAD_PRINTED] = "printed"};
    return names[unit];
}

bool up_rig_type_readings(struct up_rig *rig, struct up_failure *failure) {
    if (rig->line.load_unit == UP_LOAD_COUNTS || rig->line.load_unit == UP_LOAD_PRINTED) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "rig file %s: readings are typed in the unit that the scale shows: give "
                       "load_unit = g, kg, lb or N",
                       rig->path);
    }
    rig->port_kind = UP_PORT_TYPED;
    rig->read_after_s = rig->window_s = 0;
    return true;
}

const char *up_lamp_name(enum up_lamp lamp) {
    static const char *const names[UP_LAMPS] = {
        [UP_LAMP_WAITING] = "waiting",
        [UP_LAMP_SETTLING] = "settling",
        [UP_LAMP_YOUR_TURN] = "your_turn",
        [UP_LAMP_POSITIVE] = "positive",
        [UP_LAMP_NEUTRAL] = "neutral",
        [UP_LAMP_NEGATIVE] = "negative",
        [UP_LAMP_UNDECIDED] = "undecided",
        [UP_LAMP_FAULT] = "fault",
        [UP_LAMP_ALL] = "all",
    };
    return names[lamp];
}

struct rewritten {
    const char *text, *port_path;
};

static bool write_with_port(FILE *stream, void *context) {
    const struct rewritten *rewritten = context;
    bool in_port = false;
    for (const char *line = rewritten->text; *line != '\0';) {
        size_t length = strcspn(line, "\n");
        if (line[0] == '[') {
            in_port = strncmp(line, "[port]", 6) == 0;
        }
        if (in_port && strncmp(line, "path", 4) == 0) {
            fprintf(stream, "path = %s\n", rewritten->port_path);
        } else {
            fprintf(stream, "%.*s\n", (int)length, line);
        }
        line += length + (line[length] == '\n');
    }
    return ferror(stream) == 0;
}

bool up_rig_write_with_port(const char *text, const char *port_path, const char *file,
                            struct up_failure *failure) {
    struct rewritten rewritten = {text, port_path};
    return up_text_write_file(file, write_with_port, &rewritten, failure);
}
