/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Keys that contradict each other or need each other. */
#include <stdio.h>
#include <string.h>

#include "rig_internal.h"

static bool given(const struct parse *parse, const char *name) {
    return was_given(parse, "line", name);
}

/* ---- what each layout needs and what it has no use for ---- */

enum need { NEVER, MAY, MUST };

struct layout_needs {
    const char *name;
    enum need separator, field, label, column; /* column: what only columns have */
};

static const struct layout_needs needs[] = {
    [UP_LAYOUT_BARE] = {"bare", NEVER, NEVER, NEVER, NEVER},
    [UP_LAYOUT_FIELDS] = {"fields", MUST, MUST, NEVER, MAY},
    [UP_LAYOUT_NUMBERS] = {"numbers", NEVER, MUST, NEVER, NEVER},
    [UP_LAYOUT_LABELS] = {"labels", NEVER, NEVER, MUST, NEVER},
    [UP_LAYOUT_JSON] = {"json", NEVER, NEVER, MUST, NEVER},
};

struct key_use {
    const char *name;
    size_t need; /* offset in struct layout_needs */
    bool leads;  /* the key that a layout which needs this kind must have */
};

static const struct key_use uses[] = {
    {"separator", offsetof(struct layout_needs, separator), true},
    {"load_field", offsetof(struct layout_needs, field), true},
    {"time_field", offsetof(struct layout_needs, field), false},
    {"temp_field", offsetof(struct layout_needs, field), false},
    {"sequence_field", offsetof(struct layout_needs, field), false},
    {"load_label", offsetof(struct layout_needs, label), true},
    {"time_label", offsetof(struct layout_needs, label), false},
    {"temp_label", offsetof(struct layout_needs, label), false},
    {"sequence_label", offsetof(struct layout_needs, label), false},
    {"columns", offsetof(struct layout_needs, column), false},
    {"unit_field", offsetof(struct layout_needs, column), false},
    {"status_field", offsetof(struct layout_needs, column), false},
};

static bool check_layout(struct parse *parse) {
    const struct layout_needs *layout = &needs[parse->rig->line.layout];
    char what[160];
    for (size_t i = 0; i < sizeof uses / sizeof uses[0]; i++) {
        enum need need = *(const enum need *)(const void *)((const char *)layout + uses[i].need);
        if (need == NEVER && given(parse, uses[i].name)) {
            snprintf(what, sizeof what,
                     "layout = %s has no use for the key %s: drop it or choose another layout",
                     layout->name, uses[i].name);
            return fail_rig(parse, what);
        }
        if (need == MUST && uses[i].leads && !given(parse, uses[i].name)) {
            snprintf(what, sizeof what, "layout = %s needs the key %s", layout->name, uses[i].name);
            return fail_rig(parse, what);
        }
    }
    return true;
}

/* ---- columns that mean two things ---- */

static bool check_columns(struct parse *parse) {
    const struct up_line_rule *line = &parse->rig->line;
    const int single[] = {line->time.field, line->temp.field, line->sequence.field,
                          line->unit_field, line->status_field};
    for (int i = 0; i < line->loads; i++) {
        for (int j = 0; j < i; j++) {
            if (line->load[i].field != 0 && line->load[i].field == line->load[j].field) {
                return fail_rig(parse, "load_field names a column twice");
            }
        }
    }
    for (size_t i = 0; i < sizeof single / sizeof single[0]; i++) {
        bool twice = false;
        for (int j = 0; j < line->loads; j++) {
            twice = twice || single[i] == line->load[j].field;
        }
        for (size_t j = 0; j < i; j++) {
            twice = twice || single[i] == single[j];
        }
        if (single[i] != 0 && twice) {
            return fail_rig(parse, "one column is named for two things at once");
        }
        if (line->columns != 0 && single[i] > line->columns) {
            return fail_rig(parse, "a key names a column beyond the number in columns");
        }
    }
    return line->columns == 0 || line->load[0].field <= line->columns ||
           fail_rig(parse, "load_field lies beyond the number in columns");
}

/* ---- pairs ---- */

struct rule {
    bool broken;
    const char *what;
};

static bool check_rules(struct parse *parse, const struct rule *rule, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (rule[i].broken) {
            return fail_rig(parse, rule[i].what);
        }
    }
    return true;
}

static bool check_frames(struct parse *parse) {
    const struct up_line_rule *line = &parse->rig->line;
    const struct rule rules[] = {
        {line->frame_bytes != 0 && (line->frame_start == '\0' || given(parse, "frame_end")),
         "frame_bytes needs a frame_start and takes the place of frame_end"},
        {line->frame_start != '\0' && line->frame_start == line->frame_end,
         "frame_start and frame_end are the same byte"},
        {line->separator != '\0' && line->separator == line->frame_end,
         "separator and frame_end are the same byte"},
        {(line->checksum != UP_CHECKSUM_NONE) != given(parse, "checksum_after"),
         "checksum and checksum_after belong together"},
        {given(parse, "checksum_base") && line->checksum == UP_CHECKSUM_NONE,
         "checksum_base needs a checksum"},
        {line->checksum_mark != '\0' && line->checksum_mark == line->frame_end,
         "checksum_after and frame_end are the same byte"},
        {line->layout == UP_LAYOUT_JSON && line->checksum_mark == ',',
         "checksum_after = comma: a JSON object has commas of its own"},
        {given(parse, "sequence_modulus") && !given(parse, "sequence_field") &&
             !given(parse, "sequence_label"),
         "sequence_modulus needs a sequence_field or sequence_label"},
        {line->value_on_next_line &&
             (line->layout != UP_LAYOUT_LABELS || line->loads != 1 || given(parse, "time_label") ||
              given(parse, "temp_label") || given(parse, "sequence_label")),
         "value_line = next needs layout = labels and only the key load_label"},
        {(given(parse, "poll_end") || given(parse, "poll_lines") || given(parse, "poll_while")) &&
             !given(parse, "poll"),
         "poll_end, poll_lines and poll_while need the key poll"},
    };
    return check_rules(parse, rules, sizeof rules / sizeof rules[0]);
}

static bool check_numbers(struct parse *parse) {
    const struct up_line_rule *line = &parse->rig->line;
    bool timed = given(parse, "time_field") || given(parse, "time_label");
    const struct rule rules[] = {
        {timed != given(parse, "time_unit"),
         "time_unit belongs together with time_field or time_label"},
        {!timed && line->rate_hz == 0 && parse->rig->port_kind != UP_PORT_TYPED,
         "without a device time the key rate_hz is the clock: give it"},
        {line->word_bits != 0 && line->load_unit != UP_LOAD_COUNTS,
         "word_bits needs load_unit = counts"},
        {line->load_unit != UP_LOAD_COUNTS && !was_given(parse, "sensor", "division_counts"),
         "a load_unit other than counts needs [sensor] division_counts: the smallest step that is "
         "shown, in kg"},
        {line->decimal_comma && (line->separator == ',' || line->layout == UP_LAYOUT_JSON),
         "decimal = comma contradicts separator = comma and layout = json"},
        {line->load_unit == UP_LOAD_COUNTS &&
             (line->unit_field != 0 || given(parse, "unit_missing")),
         "unit_field and unit_missing need a load_unit other than counts"},
        {line->load_unit == UP_LOAD_PRINTED && given(parse, "unit_missing"),
         "unit_missing contradicts load_unit = printed: where no unit is printed none is known"},
        {line->status_field != 0 && line->stable.count + line->unstable.count + line->over.count +
                                            line->under.count + line->ignore.count ==
                                        0,
         "status_field needs stable_words, unstable_words, over_words, under_words or "
         "ignore_words"},
    };
    return check_rules(parse, rules, sizeof rules / sizeof rules[0]);
}

static bool shares_word(const struct up_words *one, const struct up_words *other) {
    for (int i = 0; i < one->count; i++) {
        for (int j = 0; j < other->count; j++) {
            if (one != other && strcmp(one->text[i], other->text[j]) == 0) {
                return true;
            }
        }
    }
    return false;
}

static bool check_words(struct parse *parse) {
    const struct up_line_rule *line = &parse->rig->line;
    const struct up_words *const list[] = {&line->stable, &line->unstable, &line->over,
                                           &line->under, &line->ignore};
    for (size_t i = 0; i < sizeof list / sizeof list[0]; i++) {
        for (size_t j = 0; j < i; j++) {
            if (shares_word(list[i], list[j])) {
                return fail_rig(parse,
                                "one word is in two of the lists stable_words, unstable_words, "
                                "over_words, under_words and ignore_words");
            }
        }
    }
    return true;
}

/* ---- lines at the bench ---- */

/* Bias and level are stated, never guessed: the wrong one is a pedal that is always pressed, or a
   shaker that runs from the start. */
struct gpio_needs {
    const char *section, *key; /* a section that is begun has this one */
};

static bool check_gpio_keys(struct parse *parse) {
    static const struct gpio_needs musts[] = {
        {"pedal", "line"},     {"pedal", "bias"},   {"pedal", "active"},  {"float", "line"},
        {"float", "bias"},     {"float", "active"}, {"shaker", "line"},   {"shaker", "active"},
        {"shaker", "limit_s"}, {"buzzer", "line"},  {"buzzer", "active"}, {"lamps", "active"},
    };
    for (size_t i = 0; i < sizeof musts / sizeof musts[0]; i++) {
        char what[160];
        if (was_given(parse, musts[i].section, NULL) &&
            !was_given(parse, musts[i].section, musts[i].key)) {
            snprintf(what, sizeof what, "the section [%s] lacks the key %s%s", musts[i].section,
                     musts[i].key,
                     strcmp(musts[i].key, "limit_s") == 0
                         ? ": no relay without a time after which it is off"
                         : "");
            return fail_rig(parse, what);
        }
    }
    return true;
}

struct named_gpio {
    const char *section, *name;
    const struct up_gpio *at;
    bool is_output;
};

static bool check_same_gpio(struct parse *parse, const struct named_gpio *one,
                            const struct named_gpio *other) {
    char what[400];
    if (one->at->chip[0] == '\0' || strcmp(one->at->chip, other->at->chip) != 0 ||
        strcmp(one->at->line, other->at->line) != 0) {
        return true;
    }
    snprintf(what, sizeof what, "[%s] %s and [%s] %s name the same line, %.60s %.60s: %s",
             other->section, other->name, one->section, one->name, one->at->chip, one->at->line,
             one->is_output != other->is_output ? "an output cannot be an input too"
                                                : "give each its own");
    return fail_rig(parse, what);
}

static bool check_gpio(struct parse *parse) {
    const struct up_rig *rig = parse->rig;
    struct named_gpio named[4 + UP_LAMPS] = {{"pedal", "line", &rig->pedal.input.at, false},
                                             {"float", "line", &rig->level.at, false},
                                             {"shaker", "line", &rig->shaker.at, true},
                                             {"buzzer", "line", &rig->buzzer.at, true}};
    bool lit = false;
    for (int i = 0; i < UP_LAMPS; i++) {
        named[4 + i] =
            (struct named_gpio){"lamps", up_lamp_name((enum up_lamp)i), &rig->lamp[i], true};
        lit = lit || rig->lamp[i].chip[0] != '\0';
    }
    for (size_t i = 0; i < sizeof named / sizeof named[0]; i++) {
        for (size_t j = 0; j < i; j++) {
            if (!check_same_gpio(parse, &named[i], &named[j])) {
                return false;
            }
        }
    }
    const struct rule rules[] = {
        {was_given(parse, "lamps", NULL) && !lit,
         "the section [lamps] names no lamp: one for all will do"},
        {rig->pedal.long_s <= 2 * rig->pedal.input.debounce_s,
         "[pedal] long_ms must be more than twice debounce_ms"},
        {rig->pedal.stuck_s <= rig->pedal.long_s + 1,
         "[pedal] stuck_s must be a second more than long_ms at least"},
    };
    return check_gpio_keys(parse) && check_rules(parse, rules, sizeof rules / sizeof rules[0]);
}

/* ---- the place and the tank's water ---- */

/* As measured there, say: a gravimeter's map gives it to 1e-6 or so; the number as it was typed is
   good to a few of its last digits. A choice of ours. */
static const double U_GRAVITY_GIVEN_REL = 1e-5;

static bool settle_gravity(struct parse *parse) {
    struct up_rig *rig = parse->rig;
    bool is_given = was_given(parse, "rig", "gravity_m_s2");
    bool latitude = was_given(parse, "rig", "latitude_deg");
    if (is_given && (latitude || was_given(parse, "rig", "altitude_m"))) {
        return fail_rig(parse,
                        "[rig] gives gravity_m_s2 and also latitude_deg or altitude_m: keep one "
                        "way");
    }
    if (was_given(parse, "rig", "altitude_m") && !latitude) {
        return fail_rig(parse, "[rig] altitude_m needs latitude_deg");
    }
    if (is_given) {
        rig->gravity_m_s2 =
            up_known(rig->gravity_m_s2.value, U_GRAVITY_GIVEN_REL * rig->gravity_m_s2.value);
        return true;
    }
    rig->gravity_m_s2 = up_gravity_unknown();
    return !latitude ||
           up_gravity_at(rig->latitude_deg, isnan(rig->altitude_m) ? 0 : rig->altitude_m,
                         &rig->gravity_m_s2, parse->failure);
}

/* Weather moves the pressure by some 3 kPa; more is a reading reduced to sea level, or the wrong
   altitude. */
static const double WEATHER_PA = 6000;

static bool settle_pressure(struct parse *parse) {
    struct up_quantity *pressure_pa = &parse->rig->air.pressure_pa;
    double usual_pa = up_standard_pressure_pa(parse->rig->altitude_m);
    char what[200];
    if (isnan(usual_pa)) {
        return true;
    }
    if (!was_given(parse, "air", "pressure_pa")) {
        pressure_pa->value = usual_pa;
    }
    snprintf(what, sizeof what,
             "[air] pressure_pa contradicts [rig] altitude_m, where about %.0f Pa are usual: give "
             "it as it is there, not reduced to sea level",
             usual_pa);
    return fabs(pressure_pa->value - usual_pa) <= WEATHER_PA + 2 * pressure_pa->u ||
           fail_rig(parse, what);
}

static bool settle_water(struct parse *parse) {
    struct up_rig *rig = parse->rig;
    struct up_failure why;
    bool is_given = up_water_is_given(&rig->water_given);
    if (is_given && !was_given(parse, "tank", "water")) {
        rig->water = up_water_model_given(&rig->water_given);
    }
    if (was_given(parse, "tank", "solids_max_g_kg") && (is_given || rig->water != UP_WATER_FRESH)) {
        return fail_rig(parse, "[tank] solids_max_g_kg is for fresh water of which nothing else is "
                               "known: keep one way");
    }
    rig->tank_water = (struct up_water){.name = "tank",
                                        .model = rig->water,
                                        .temp_c = rig->temp_c,
                                        .salinity_g_kg = (double)NAN,
                                        .depth_m = rig->depth_m,
                                        .gravity_m_s2 = rig->gravity_m_s2.value};
    if (rig->water == UP_WATER_FRESH && !is_given) {
        rig->tank_water.salinity_g_kg = rig->solids_max_g_kg / 2;
        rig->tank_water.u_salinity_g_kg = rig->solids_max_g_kg / 2 / sqrt(3);
        rig->tank_water.salinity_range = true;
    }
    return up_water_from_given(&rig->water_given, &rig->tank_water, &why) ||
           fail_rig(parse, why.text);
}

bool rig_check(struct parse *parse) {
    static const char *const sections[] = {"rig", "line"};
    struct up_rig *rig = parse->rig;
    for (size_t i = 0; i < sizeof sections / sizeof sections[0]; i++) {
        if (!was_given(parse, sections[i], NULL)) {
            char what[80];
            snprintf(what, sizeof what, "the section [%s] is missing: see `upthrust help rig`",
                     sections[i]);
            return fail_rig(parse, what);
        }
    }
    if (rig->id[0] == '\0') {
        return fail_rig(parse, "section [rig] lacks the key id");
    }
    if (!given(parse, "layout")) {
        return fail_rig(parse, "section [line] lacks the key layout");
    }
    if (!check_layout(parse) || !check_columns(parse) || !check_frames(parse) ||
        !check_numbers(parse) || !check_words(parse) || !check_gpio(parse)) {
        return false;
    }
    if (rig->port_kind == UP_PORT_TYPED && rig->line.layout != UP_LAYOUT_BARE) {
        return fail_rig(parse, "kind = typed needs layout = bare");
    }
    if (!settle_gravity(parse) || !settle_pressure(parse) || !settle_water(parse)) {
        return false;
    }
    if (was_given(parse, "masses", "class") && was_given(parse, "masses", "tolerance_rel")) {
        return fail_rig(parse, "[masses] gives class and tolerance_rel: keep one");
    }
    if (rig->port.return_s < 0) { /* cables slip; a pseudo-terminal's other end has ended */
        rig->port.return_s = rig->port_kind == UP_PORT_SERIAL ? 300 : 0;
    }
    return rig->window_s <= 2 * rig->read_after_s ||
           fail_rig(parse, "window_s is longer than twice read_after_s");
}
