/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every key of the rig file: its place, its bounds, and its value where it is left out. */
#include <string.h>

#include "rig_internal.h"

static const struct word port_kinds[] = {{"pty", UP_PORT_PTY},         {"serial", UP_PORT_SERIAL},
                                         {"capture", UP_PORT_CAPTURE}, {"stdin", UP_PORT_STDIN},
                                         {"typed", UP_PORT_TYPED},     {NULL, 0}};
static const struct word parities[] = {
    {"none", UP_PARITY_NONE}, {"even", UP_PARITY_EVEN}, {"odd", UP_PARITY_ODD}, {NULL, 0}};
static const struct word flows[] = {{"none", UP_FLOW_NONE},
                                    {"rts-cts", UP_FLOW_RTS_CTS},
                                    {"xon-xoff", UP_FLOW_XON_XOFF},
                                    {NULL, 0}};
static const struct word layouts[] = {{"bare", UP_LAYOUT_BARE},       {"fields", UP_LAYOUT_FIELDS},
                                      {"numbers", UP_LAYOUT_NUMBERS}, {"labels", UP_LAYOUT_LABELS},
                                      {"json", UP_LAYOUT_JSON},       {NULL, 0}};
static const struct word separators[] = {{"comma", ','},  {"semicolon", ';'}, {"tab", '\t'},
                                         {"blanks", ' '}, {"colon", ':'},     {"bar", '|'},
                                         {NULL, 0}};
static const struct word time_units[] = {
    {"us", 1e-6}, {"ms", 1e-3}, {"s", 1}, {"hh:mm:ss", TIME_OF_DAY}, {NULL, 0}};
static const struct word load_units[] = {{"counts", UP_LOAD_COUNTS},
                                         {"g", UP_LOAD_G},
                                         {"kg", UP_LOAD_KG},
                                         {"lb", UP_LOAD_LB},
                                         {"N", UP_LOAD_N},
                                         {"printed", UP_LOAD_PRINTED},
                                         {NULL, 0}};
/* Frames that no line feed ends; what comes before the start byte is no part of them. */
static const struct word frame_ends[] = {
    {"line", '\n'}, {"semicolon", ';'}, {"hash", '#'}, {"etx", 3}, {NULL, 0}};
static const struct word frame_starts[] = {{"none", 0},    {"star", '*'}, {"dollar", '$'},
                                           {"colon", ':'}, {"hash", '#'}, {"stx", 2},
                                           {NULL, 0}};
static const struct word checksums[] = {{"none", UP_CHECKSUM_NONE},
                                        {"xor8", UP_CHECKSUM_XOR8},
                                        {"sum8", UP_CHECKSUM_SUM8},
                                        {"crc16", UP_CHECKSUM_CRC16},
                                        {NULL, 0}};
static const struct word checksum_marks[] = {{"star", '*'}, {"comma", ','}, {"semicolon", ';'},
                                             {"tab", '\t'}, {"blank", ' '}, {"colon", ':'},
                                             {"bar", '|'},  {NULL, 0}};
static const struct word bases[] = {{"hex", 16}, {"decimal", 10}, {NULL, 0}};
static const struct word decimals[] = {{"point", false}, {"comma", true}, {NULL, 0}};
static const struct word next_lines[] = {{"same", false}, {"next", true}, {NULL, 0}};
static const struct word pass_or_refuse[] = {{"refuse", false}, {"pass", true}, {NULL, 0}};
static const struct word missing_units[] = {{"take", UP_UNIT_MISSING_TAKEN},
                                            {"unstable", UP_UNIT_MISSING_UNSTABLE},
                                            {"refuse", UP_UNIT_MISSING_REFUSED},
                                            {NULL, 0}};
static const struct word poll_whiles[] = {{"always", false}, {"reading", true}, {NULL, 0}};
static const struct word poll_ends[] = {{"lf", '\n'}, {"cr", '\r'}, {"none", 0}, {NULL, 0}};

static const struct word mass_classes[] = {{"E2", UP_MASSES_E2},
                                           {"F1", UP_MASSES_F1},
                                           {"F2", UP_MASSES_F2},
                                           {"M1", UP_MASSES_M1},
                                           {"M2", UP_MASSES_M2},
                                           {"M3", UP_MASSES_M3},
                                           {NULL, 0}};
static const struct word biases[] = {{"pull-up", UP_BIAS_PULL_UP},
                                     {"pull-down", UP_BIAS_PULL_DOWN},
                                     {"none", UP_BIAS_NONE},
                                     {"as-is", UP_BIAS_AS_IS},
                                     {NULL, 0}};
static const struct word yes_or_no[] = {{"no", false}, {"yes", true}, {NULL, 0}};
static const struct word actives[] = {{"high", false}, {"low", true}, {NULL, 0}};
static const struct word waters[] = {
    {"fresh", UP_WATER_FRESH}, {"sea", UP_WATER_SEA}, {"pool", UP_WATER_POOL}, {NULL, 0}};

#define AT(member) offsetof(struct up_rig, member)
#define NUMBER(section, name, member, low, high)                                                   \
    { section, name, KEY_NUMBER, AT(member), low, high, NULL, 1 }
#define SCALED(section, name, member, low, high, unit)                                             \
    { section, name, KEY_NUMBER, AT(member), low, high, NULL, unit }
#define WHOLE(section, name, member, low, high)                                                    \
    { section, name, KEY_WHOLE, AT(member), low, high, NULL, 1 }
#define GIVEN(name, low, high) NUMBER("tank", #name, water_given.name, low, high),
#define TEXT(section, name, member, size)                                                          \
    { section, name, KEY_TEXT, AT(member), 1, size, NULL, 1 }
#define WORD(section, name, member, words)                                                         \
    { section, name, KEY_WORD, AT(member), 0, 0, words, 1 }
#define LINE_CHAR(name, member, words)                                                             \
    { "line", name, KEY_CHAR, AT(line.member), 0, 0, words, 1 }
#define LINE_SWITCH(name, member, words)                                                           \
    { "line", name, KEY_SWITCH, AT(line.member), 0, 0, words, 1 }
#define LINE_FIELD(name, member)                                                                   \
    { "line", name, KEY_WHOLE, AT(line.member), 1, UP_FIELDS_MAX, NULL, 1 }
#define LINE_WORDS(name, member)                                                                   \
    { "line", name, KEY_WORDS, AT(line.member), 0, 0, NULL, 1 }

#define GPIO(section, name, member)                                                                \
    { section, name, KEY_GPIO, AT(member), 0, 0, NULL, 1 }
#define ACTIVE(section, member)                                                                    \
    { section, "active", KEY_SWITCH, AT(member), 0, 0, actives, 1 }

/* The order of [line] and [sensor] is part of what makes a calibration void: add, never move. */
const struct key rig_keys[] = {
    TEXT("rig", "id", id, UP_NAME_SIZE),
    TEXT("rig", "name", name, UP_NAME_SIZE),
    {"rig", "simulated", KEY_SWITCH, AT(simulated), 0, 0, yes_or_no, 1},
    NUMBER("rig", "latitude_deg", latitude_deg, -90, 90),
    NUMBER("rig", "altitude_m", altitude_m, UP_ALTITUDE_MIN_M, UP_ALTITUDE_MAX_M),
    NUMBER("rig", "gravity_m_s2", gravity_m_s2.value, 9.7, 9.9),
    WORD("port", "kind", port_kind, port_kinds),
    TEXT("port", "path", port_path, 512),
    WHOLE("port", "baud", port.baud, 50, 4000000),
    WHOLE("port", "data_bits", port.data_bits, 5, 8),
    WORD("port", "parity", port.parity, parities),
    WHOLE("port", "stop_bits", port.stop_bits, 1, 2),
    WORD("port", "flow", port.flow, flows),
    NUMBER("port", "return_s", port.return_s, 0, 3600),
    WORD("line", "layout", line.layout, layouts),
    LINE_CHAR("separator", separator, separators),
    {"line", "load_field", KEY_FIELDS, AT(line.load), 1, UP_FIELDS_MAX, NULL, 1},
    {"line", "load_label", KEY_LABELS, AT(line.load), 0, 0, NULL, 1},
    LINE_FIELD("time_field", time.field),
    TEXT("line", "time_label", line.time.label, UP_LABEL_SIZE),
    {"line", "time_unit", KEY_UNIT, AT(line.time_unit_s), 0, 0, time_units, 1},
    LINE_FIELD("temp_field", temp.field),
    TEXT("line", "temp_label", line.temp.label, UP_LABEL_SIZE),
    WORD("line", "load_unit", line.load_unit, load_units),
    LINE_FIELD("unit_field", unit_field),
    WORD("line", "unit_missing", line.unit_missing, missing_units),
    WHOLE("line", "word_bits", line.word_bits, 8, 32),
    LINE_SWITCH("decimal", decimal_comma, decimals),
    LINE_SWITCH("value_line", value_on_next_line, next_lines),
    LINE_CHAR("frame_end", frame_end, frame_ends),
    LINE_CHAR("frame_start", frame_start, frame_starts),
    WHOLE("line", "frame_bytes", line.frame_bytes, 2, 512),
    TEXT("line", "starts_with", line.starts_with, UP_LABEL_SIZE),
    LINE_SWITCH("other_lines", pass_other_lines, pass_or_refuse),
    LINE_SWITCH("other_bytes", pass_other_bytes, pass_or_refuse),
    WHOLE("line", "drop_lines", line.drop_lines, 0, 10000),
    WHOLE("line", "columns", line.columns, 1, UP_FIELDS_MAX),
    LINE_FIELD("status_field", status_field),
    LINE_WORDS("stable_words", stable),
    LINE_WORDS("unstable_words", unstable),
    LINE_WORDS("over_words", over),
    LINE_WORDS("under_words", under),
    LINE_WORDS("ignore_words", ignore),
    WORD("line", "checksum", line.checksum, checksums),
    LINE_CHAR("checksum_after", checksum_mark, checksum_marks),
    WORD("line", "checksum_base", line.checksum_base, bases),
    LINE_FIELD("sequence_field", sequence.field),
    TEXT("line", "sequence_label", line.sequence.label, UP_LABEL_SIZE),
    WHOLE("line", "sequence_modulus", line.sequence_modulus, 2, 2147483647),
    NUMBER("line", "rate_hz", line.rate_hz, 0.05, 10000),
    {"line", "poll", KEY_BYTES, AT(line.poll), 1, UP_RIG_TEXT - 2, NULL, 1},
    LINE_CHAR("poll_end", poll_end, poll_ends),
    WHOLE("line", "poll_lines", line.poll_lines, 1, 10000),
    LINE_SWITCH("poll_while", poll_only_to_read, poll_whiles),
    LINE_CHAR("notes", note_mark, frame_starts),
    NUMBER("sensor", "capacity_kg", capacity_kg, 0.01, 2000),
    NUMBER("sensor", "division_counts", division_counts, 1e-9, 1e9),
    NUMBER("sensor", "u_thermometer_k", u_thermometer_k, 0, 5),
    WORD("tank", "water", water, waters),
    UP_WATER_GIVEN_KEYS(GIVEN) NUMBER("tank", "solids_max_g_kg", solids_max_g_kg, 0, 2),
    NUMBER("tank", "temp_c", temp_c, 0, 40),
    NUMBER("tank", "area_m2", tank_area_m2, 0.001, 10000),
    SCALED("tank", "line_diameter_mm", cord_diameter_m, 0, 50, 1e-3),
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
    NUMBER("bench", "absent_s", absent_s, 0, 86400),
    NUMBER("bench", "shake_share", shake_share, 0.01, 0.99),
    NUMBER("bench", "stuck_share", stuck_share, 0, 0.9),
    WHOLE("bench", "shakes_max", shakes_max, 1, UP_TRIAL_SHAKES_MAX),
    WHOLE("bench", "trials", trials, 2, UP_TRIALS_MAX),
    NUMBER("bench", "calibration_days", calibration_days, 0, 3650),
    GPIO("pedal", "line", pedal.input.at),
    WORD("pedal", "bias", pedal.input.bias, biases),
    ACTIVE("pedal", pedal.input.active_low),
    SCALED("pedal", "debounce_ms", pedal.input.debounce_s, 0, 200, 1e-3),
    SCALED("pedal", "long_ms", pedal.long_s, 300, 5000, 1e-3),
    SCALED("pedal", "double_ms", pedal.double_s, 100, 2000, 1e-3),
    NUMBER("pedal", "stuck_s", pedal.stuck_s, 2, 600),
    GPIO("float", "line", level.at),
    WORD("float", "bias", level.bias, biases),
    ACTIVE("float", level.active_low),
    SCALED("float", "debounce_ms", level.debounce_s, 0, 60000, 1e-3),
    GPIO("shaker", "line", shaker.at),
    ACTIVE("shaker", shaker.active_low),
    NUMBER("shaker", "limit_s", shaker_limit_s, 0.1, 120),
    GPIO("buzzer", "line", buzzer.at),
    ACTIVE("buzzer", buzzer.active_low),
    ACTIVE("lamps", lamps_active_low),
    GPIO("lamps", "all", lamp[UP_LAMP_ALL]),
    GPIO("lamps", "waiting", lamp[UP_LAMP_WAITING]),
    GPIO("lamps", "settling", lamp[UP_LAMP_SETTLING]),
    GPIO("lamps", "your_turn", lamp[UP_LAMP_YOUR_TURN]),
    GPIO("lamps", "positive", lamp[UP_LAMP_POSITIVE]),
    GPIO("lamps", "neutral", lamp[UP_LAMP_NEUTRAL]),
    GPIO("lamps", "negative", lamp[UP_LAMP_NEGATIVE]),
    GPIO("lamps", "undecided", lamp[UP_LAMP_UNDECIDED]),
    GPIO("lamps", "fault", lamp[UP_LAMP_FAULT]),
    NUMBER("lamps", "result_s", result_s, 0, 600),
};
const size_t rig_key_count = sizeof rig_keys / sizeof rig_keys[0];
_Static_assert(sizeof rig_keys / sizeof rig_keys[0] <= RIG_KEYS_MAX, "RIG_KEYS_MAX");

void rig_defaults(struct up_rig *rig) {
    memset(rig, 0, sizeof *rig);
    rig->port =
        (struct up_port_settings){.baud = 9600, .data_bits = 8, .stop_bits = 1, .return_s = -1};
    rig->line.frame_end = '\n';
    rig->line.checksum_base = 16;
    rig->line.sequence_modulus = 65536;
    rig->line.poll_end = '\n';
    rig->line.poll_lines = 1;
    rig->division_counts = 1;
    rig->u_thermometer_k = 0.5; /* a plain aquarium thermometer: common practice, no source */
    rig->temp_c = (double)NAN;
    rig->water_given = up_water_nothing_given();
    rig->latitude_deg = rig->altitude_m = rig->gravity_m_s2.value = (double)NAN;
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
    rig->absent_s = 600;
    rig->shake_share = (double)NAN;
    rig->stuck_share = 0.1; /* a choice of ours */
    rig->shakes_max = 6;
    rig->trials = 5;
    rig->calibration_days = 30; /* a choice of ours */
    /* choices of ours: contacts bounce for some ms, a boot presses for a quarter of a second, waves
       pass in a second or two */
    rig->pedal = (struct up_pedal_rule){
        .input = {.debounce_s = 0.02}, .long_s = 0.8, .double_s = 0.4, .stuck_s = 8};
    rig->level.debounce_s = 2;
    rig->result_s = 10;
}
