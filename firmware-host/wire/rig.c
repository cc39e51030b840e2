/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/rig.h"

#include <errno.h>
#include <ini.h>
#include <math.h>
#include <nettle/sha2.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/text.h"

/* inih 55 cuts longer lines and then miscounts: longer ones are refused before it sees them. */
enum { LINE_MAX_BYTES = 199, RIG_MAX_BYTES = 65536 };

enum key_type { KEY_TEXT, KEY_WORD, KEY_NUMBER, KEY_WHOLE, KEY_FIELDS };

struct word {
    const char *text;
    double value;
};

struct key {
    const char *section, *name;
    enum key_type type;
    size_t offset;
    double low, high;         /* of a number; of a text: high is its buffer's size */
    const struct word *words; /* of KEY_WORD, ended by NULL */
    double unit;              /* a number is stored times this */
};

static const struct word port_kinds[] = {{"pty", UP_PORT_PTY},
                                         {"serial", UP_PORT_SERIAL},
                                         {"capture", UP_PORT_CAPTURE},
                                         {"stdin", UP_PORT_STDIN},
                                         {NULL, 0}};
static const struct word parities[] = {
    {"none", UP_PARITY_NONE}, {"even", UP_PARITY_EVEN}, {"odd", UP_PARITY_ODD}, {NULL, 0}};
static const struct word flows[] = {{"none", UP_FLOW_NONE},
                                    {"rts-cts", UP_FLOW_RTS_CTS},
                                    {"xon-xoff", UP_FLOW_XON_XOFF},
                                    {NULL, 0}};
static const struct word layouts[] = {
    {"bare", UP_LAYOUT_BARE}, {"fields", UP_LAYOUT_FIELDS}, {NULL, 0}};
static const struct word separators[] = {{"comma", ','},  {"semicolon", ';'}, {"tab", '\t'},
                                         {"blanks", ' '}, {"colon", ':'},     {"bar", '|'},
                                         {NULL, 0}};
static const struct word time_units[] = {{"us", 1e-6}, {"ms", 1e-3}, {"s", 1}, {NULL, 0}};
static const struct word load_units[] = {{"counts", UP_LOAD_COUNTS}, {"g", UP_LOAD_G},
                                         {"kg", UP_LOAD_KG},         {"lb", UP_LOAD_LB},
                                         {"N", UP_LOAD_N},           {NULL, 0}};
static const struct word mass_classes[] = {{"E2", UP_MASSES_E2},
                                           {"F1", UP_MASSES_F1},
                                           {"F2", UP_MASSES_F2},
                                           {"M1", UP_MASSES_M1},
                                           {"M2", UP_MASSES_M2},
                                           {"M3", UP_MASSES_M3},
                                           {NULL, 0}};
static const struct word waters[] = {{"fresh", UP_WATER_FRESH}, {"sea", UP_WATER_SEA}, {NULL, 0}};

#define AT(member) offsetof(struct up_rig, member)
#define NUMBER(section, name, member, low, high)                                                   \
    { section, name, KEY_NUMBER, AT(member), low, high, NULL, 1 }
#define SCALED(section, name, member, low, high, unit)                                             \
    { section, name, KEY_NUMBER, AT(member), low, high, NULL, unit }
#define WHOLE(section, name, member, low, high)                                                    \
    { section, name, KEY_WHOLE, AT(member), low, high, NULL, 1 }
#define TEXT(section, name, member, size)                                                          \
    { section, name, KEY_TEXT, AT(member), 1, size, NULL, 1 }
#define WORD(section, name, member, words)                                                         \
    { section, name, KEY_WORD, AT(member), 0, 0, words, 1 }

static const struct key keys[] = {
    TEXT("rig", "id", id, UP_NAME_SIZE),
    TEXT("rig", "name", name, UP_NAME_SIZE),
    WORD("port", "kind", port_kind, port_kinds),
    TEXT("port", "path", port_path, 512),
    WHOLE("port", "baud", port.baud, 50, 4000000),
    WHOLE("port", "data_bits", port.data_bits, 5, 8),
    WORD("port", "parity", port.parity, parities),
    WHOLE("port", "stop_bits", port.stop_bits, 1, 2),
    WORD("port", "flow", port.flow, flows),
    NUMBER("port", "return_s", port.return_s, 0, 3600),
    WORD("line", "layout", line.layout, layouts),
    WORD("line", "separator", line.separator, separators),
    {"line", "load_field", KEY_FIELDS, AT(line.load_field), 1, UP_FIELDS_MAX, NULL, 1},
    WHOLE("line", "time_field", line.time_field, 1, UP_FIELDS_MAX),
    WORD("line", "time_unit", line.time_unit_s, time_units),
    WHOLE("line", "temp_field", line.temp_field, 1, UP_FIELDS_MAX),
    WORD("line", "load_unit", line.load_unit, load_units),
    WHOLE("line", "word_bits", line.word_bits, 8, 32),
    NUMBER("line", "rate_hz", line.rate_hz, 0.05, 10000),
    TEXT("line", "poll", line.poll, UP_RIG_TEXT),
    WHOLE("line", "poll_lines", line.poll_lines, 1, 10000),
    NUMBER("sensor", "capacity_kg", capacity_kg, 0.01, 2000),
    NUMBER("sensor", "division_counts", division_counts, 1e-9, 1e9),
    NUMBER("sensor", "u_thermometer_k", u_thermometer_k, 0, 5),
    WORD("tank", "water", water, waters),
    NUMBER("tank", "salinity_g_kg", salinity_g_kg, 0, UP_SALINITY_MAX_G_KG),
    NUMBER("tank", "u_salinity_g_kg", u_salinity_g_kg, 0, 10),
    NUMBER("tank", "solids_max_g_kg", solids_max_g_kg, 0, 2),
    NUMBER("tank", "temp_c", temp_c, 0, 40),
    NUMBER("tank", "area_m2", tank_area_m2, 0.001, 10000),
    SCALED("tank", "line_diameter_mm", line_diameter_m, 0, 50, 1e-3),
    NUMBER("tank", "depth_m", depth_m, 0, 60),
    SCALED("tank", "meniscus_g", meniscus_kg, 0, 100, 1e-3),
    NUMBER("tank", "ballast_kg", ballast_kg, 0, 500),
    NUMBER("air", "temp_c", air.temp_c.value, 0, 40),
    NUMBER("air", "u_temp_k", air.temp_c.u, 0, 20),
    NUMBER("air", "pressure_pa", air.pressure_pa.value, 60000, 110000),
    NUMBER("air", "u_pressure_pa", air.pressure_pa.u, 0, 20000),
    NUMBER("air", "humidity", air.humidity.value, 0, 1),
    NUMBER("air", "u_humidity", air.humidity.u, 0, 1),
    NUMBER("masses", "tolerance_rel", mass_tolerance_rel, 0, 0.05),
    WORD("masses", "class", mass_class, mass_classes),
    NUMBER("item", "temp_halfwidth_k", item_temp_halfwidth_k, 0, 20),
    NUMBER("bench", "read_after_s", read_after_s, 1, 600),
    NUMBER("bench", "window_s", window_s, 0.5, 300),
    NUMBER("bench", "patience_s", patience_s, 0, 3600),
    NUMBER("bench", "shake_share", shake_share, 0.01, 0.99),
    WHOLE("bench", "shakes_max", shakes_max, 1, UP_TRIAL_SHAKES_MAX),
    WHOLE("bench", "trials", trials, 2, UP_TRIALS_MAX),
    NUMBER("bench", "calibration_days", calibration_days, 0, 3650),
};
enum { KEYS = sizeof keys / sizeof keys[0] };

struct parse {
    const char *name;
    struct up_rig *rig;
    struct up_failure *failure;
    const char *next; /* text not read yet */
    int line;
    bool seen[KEYS];
    char value[KEYS][LINE_MAX_BYTES + 1];
    bool failed;
};

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
    if (length > LINE_MAX_BYTES || (int)length + 2 > size) {
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

static bool set_word(struct parse *parse, const struct key *key, const char *value, void *target) {
    char wanted[160];
    for (const struct word *word = key->words; word->text != NULL; word++) {
        if (strcmp(word->text, value) != 0) {
            continue;
        }
        if (key->words == time_units) {
            *(double *)target = word->value;
        } else if (key->words == separators) {
            *(char *)target = (char)word->value;
        } else {
            *(unsigned *)target = (unsigned)word->value;
        }
        return true;
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
    char *clean = up_text_clean(value, length);
    bool good = length > 0 && strlen(clean) < (size_t)key->high && strcmp(clean, value) == 0;
    if (good) {
        memcpy(target, value, length + 1);
    }
    free(clean);
    return good || refuse_value(parse, key, "", "some text in UTF-8 without control characters");
}

/* "11" or "11, 12, 13": the columns that hold loads. */
static bool set_fields(struct parse *parse, const struct key *key, const char *value) {
    struct up_line_rule *line = &parse->rig->line;
    line->loads = 0;
    for (const char *at = value; at != NULL;) {
        at += strspn(at, " \t");
        size_t length = strcspn(at, ", \t");
        double number = 0;
        if (line->loads == UP_LOADS_MAX || !up_text_number(at, length, &number) ||
            !in_range(&(struct key){.type = KEY_WHOLE, .low = key->low, .high = key->high},
                      number)) {
            return refuse_value(parse, key, value, "one to eight columns, such as 11 or 11, 12");
        }
        line->load_field[line->loads++] = (int)number;
        at = strchr(at + length, ',');
        at = at == NULL ? NULL : at + 1;
    }
    return true;
}

static bool set(struct parse *parse, const struct key *key, const char *value) {
    void *target = (char *)parse->rig + key->offset;
    switch (key->type) {
    case KEY_TEXT:
        return set_text(parse, key, value, target);
    case KEY_WORD:
        return set_word(parse, key, value, target);
    case KEY_FIELDS:
        return set_fields(parse, key, value);
    case KEY_NUMBER:
    case KEY_WHOLE:
        return set_number(parse, key, value, target);
    }
    return false;
}

static bool known_section(const char *section) {
    for (size_t i = 0; i < KEYS; i++) {
        if (strcmp(keys[i].section, section) == 0) {
            return true;
        }
    }
    return false;
}

/* inih's handler: nonzero goes on. */
static int take(void *user, const char *section, const char *name, const char *value) {
    struct parse *parse = user;
    char what[400];
    for (size_t i = 0; i < KEYS; i++) {
        if (strcmp(keys[i].section, section) != 0 || strcmp(keys[i].name, name) != 0) {
            continue;
        }
        if (parse->seen[i]) {
            snprintf(what, sizeof what, "%.60s is given twice: keep one", name);
            return refuse(parse, what);
        }
        parse->seen[i] = true;
        snprintf(parse->value[i], sizeof parse->value[i], "%s", value);
        return set(parse, &keys[i], value);
    }
    if (known_section(section)) {
        snprintf(what, sizeof what, "unknown key %.60s in section [%.40s]: see rigs/README.md",
                 name, section);
    } else {
        snprintf(what, sizeof what, "unknown section [%.60s]: see rigs/README.md", section);
    }
    return refuse(parse, what);
}

static bool was_given(const struct parse *parse, const char *section, const char *name) {
    for (size_t i = 0; i < KEYS; i++) {
        if (strcmp(keys[i].section, section) == 0 &&
            (name == NULL || strcmp(keys[i].name, name) == 0) && parse->seen[i]) {
            return true;
        }
    }
    return false;
}

static bool lacks(struct parse *parse, const char *what) {
    parse->failed = true;
    return up_fail(parse->failure, UP_STATUS_WRONG_INPUT, "rig file %s: %s", parse->name, what);
}

static bool check_line(struct parse *parse) {
    const struct up_line_rule *line = &parse->rig->line;
    if (!was_given(parse, "line", "layout")) {
        return lacks(parse, "section [line] lacks the key layout");
    }
    if (line->layout == UP_LAYOUT_BARE) {
        return (!was_given(parse, "line", "separator") && !was_given(parse, "line", "load_field") &&
                line->time_field == 0 && line->temp_field == 0) ||
               lacks(parse, "a bare layout has no separator and no fields: drop those keys or "
                            "write layout = fields");
    }
    if (line->loads == 0 || line->separator == '\0') {
        return lacks(parse, "a layout of fields needs the keys separator and load_field");
    }
    for (int i = 0; i < line->loads; i++) {
        for (int j = 0; j < i; j++) {
            if (line->load_field[i] == line->load_field[j]) {
                return lacks(parse, "load_field names a column twice");
            }
        }
        if (line->load_field[i] == line->time_field || line->load_field[i] == line->temp_field) {
            return lacks(parse, "a column is load and time or temperature at once");
        }
    }
    return (line->time_field == 0 || line->time_field != line->temp_field) ||
           lacks(parse, "a column is time and temperature at once");
}

static bool check(struct parse *parse) {
    struct up_rig *rig = parse->rig;
    struct up_line_rule *line = &rig->line;
    for (const char *const *section = (const char *const[]){"rig", "line", NULL}; *section != NULL;
         section++) {
        if (!was_given(parse, *section, NULL)) {
            char what[80];
            snprintf(what, sizeof what, "the section [%s] is missing: see rigs/README.md",
                     *section);
            return lacks(parse, what);
        }
    }
    if (rig->id[0] == '\0') {
        return lacks(parse, "section [rig] lacks the key id");
    }
    if (!check_line(parse)) {
        return false;
    }
    if ((line->time_field != 0) != was_given(parse, "line", "time_unit")) {
        return lacks(parse, "time_field and time_unit belong together");
    }
    if (line->time_field == 0 && line->rate_hz == 0) {
        return lacks(parse, "without a time_field the key rate_hz is the clock: give it");
    }
    if (line->word_bits != 0 && line->load_unit != UP_LOAD_COUNTS) {
        return lacks(parse, "word_bits goes with load_unit = counts only");
    }
    if (was_given(parse, "masses", "class") && was_given(parse, "masses", "tolerance_rel")) {
        return lacks(parse, "[masses] gives class and tolerance_rel: keep one");
    }
    if (rig->window_s > 2 * rig->read_after_s) {
        return lacks(parse, "window_s is longer than twice read_after_s");
    }
    return true;
}

static void set_defaults(struct up_rig *rig) {
    memset(rig, 0, sizeof *rig);
    rig->port =
        (struct up_port_settings){.baud = 9600, .data_bits = 8, .stop_bits = 1, .return_s = 60};
    rig->line.poll_lines = 1;
    rig->line.loads = 0;
    rig->division_counts = 1;
    rig->u_thermometer_k = 0.5; /* a plain aquarium thermometer: common practice, no source */
    rig->temp_c = (double)NAN;
    rig->solids_max_g_kg = 0.5; /* tap water, common practice, no source */
    rig->depth_m = 0.4;
    rig->meniscus_kg = 5e-5;
    rig->air.temp_c = up_known(20, 3);
    rig->air.pressure_pa = up_known(UP_STANDARD_PRESSURE_PA, 2000);
    rig->air.humidity = up_known(0.5, 0.2);
    rig->mass_tolerance_rel = 5e-4; /* OIML R 111-1:2004 table 1, class M3 from 100 g on */
    rig->item_temp_halfwidth_k = 1;
    rig->read_after_s = 20;
    rig->window_s = 8;
    rig->patience_s = 60;
    rig->shake_share = (double)NAN;
    rig->shakes_max = 6;
    rig->trials = 5;
    rig->calibration_days = 30; /* a choice of ours */
}

/* What a calibration depends on: the values of the sections line and sensor in the table's order,
   so that comments, order and blanks do not matter. */
static void hash_sections(const struct parse *parse, char hex[UP_SHA256_SIZE]) {
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&context);
    for (size_t i = 0; i < KEYS; i++) {
        bool counts =
            strcmp(keys[i].section, "line") == 0 || strcmp(keys[i].section, "sensor") == 0;
        if (counts && parse->seen[i]) {
            char text[512];
            int length = snprintf(text, sizeof text, "%s.%s=%s\n", keys[i].section, keys[i].name,
                                  parse->value[i]);
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
    struct parse *parse = up_allocate(1, sizeof *parse);
    *parse = (struct parse){.name = name, .rig = rig, .failure = failure, .next = text};
    set_defaults(rig);
    int status = ini_parse_stream(next_line, parse, take, parse);
    if (status != 0 && !parse->failed) {
        parse->line = status > 0 ? status : parse->line;
        refuse(parse, "neither a [section], a key = value nor a ; comment");
    }
    bool good = !parse->failed && check(parse);
    if (good && rig->line.layout == UP_LAYOUT_BARE) {
        rig->line.loads = 1;
    }
    if (good && rig->name[0] == '\0') {
        memcpy(rig->name, rig->id, sizeof rig->name);
    }
    hash_sections(parse, rig->sha256);
    free(parse);
    return good;
}

static char *read_all(const char *path, struct up_failure *failure) {
    FILE *stream = fopen(path, "r");
    char *text = up_allocate(RIG_MAX_BYTES + 1, 1);
    size_t length = 0;
    if (stream != NULL) {
        length = fread(text, 1, RIG_MAX_BYTES + 1, stream);
    }
    if (stream == NULL || ferror(stream)) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "cannot read the rig file %s: %s", path,
                strerror(errno));
    } else if (length > RIG_MAX_BYTES || memchr(text, '\0', length) != NULL) {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "%s is no rig file: it is longer than 64 KiB or holds NUL bytes", path);
    } else {
        text[length] = '\0';
        fclose(stream);
        return text;
    }
    if (stream != NULL) {
        fclose(stream);
    }
    free(text);
    return NULL;
}

bool up_rig_load(const char *path, struct up_rig *rig, struct up_failure *failure) {
    char *text = read_all(path, failure);
    bool good = text != NULL && up_rig_parse(path, text, rig, failure);
    if (good) {
        snprintf(rig->path, sizeof rig->path, "%s", path);
    }
    free(text);
    return good;
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
