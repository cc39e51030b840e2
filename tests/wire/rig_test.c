/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "embedded.h"
#include "text/text.h"
#include "upthrust/rig.h"

#define HEAD "[rig]\nid = bench-1\n"
#define LINE                                                                                       \
    "[line]\nlayout = fields\nseparator = comma\nload_field = 2\ntime_field = 1\ntime_unit = ms\n"

#define DIVISION "[sensor]\ndivision_counts = 0.001\n"
#define BARE     "[line]\nlayout = bare\nrate_hz = 10\n"

static void reads_what_is_written(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse(
        "t",
        HEAD "name = the bench\n" LINE "temp_field = 3\nword_bits = 24\n"
             "[sensor]\ncapacity_kg = 10\n"
             "[tank]\nline_diameter_mm = 0.8\nmeniscus_g = 0.02\n"
             "[bench]\nread_after_s = 15\nshake_share = 0.5\nstuck_share = 0.3\ntrials = 6\n",
        &rig, &failure));
    assert_string_equal(rig.id, "bench-1");
    assert_string_equal(rig.name, "the bench");
    assert_int_equal(rig.line.separator, ',');
    assert_int_equal(rig.line.loads, 1);
    assert_int_equal(rig.line.load[0].field, 2);
    assert_int_equal(rig.line.temp.field, 3);
    assert_true(rig.line.time_unit_s == 1e-3);
    assert_true(rig.capacity_kg == 10);
    assert_true(fabs(rig.cord_diameter_m - 0.0008) < 1e-15);
    assert_true(fabs(rig.meniscus_kg - 2e-5) < 1e-18);
    assert_true(rig.read_after_s == 15 && rig.shake_share == 0.5 && rig.stuck_share == 0.3 &&
                rig.trials == 6);
    assert_true(isnan(rig.temp_c));
}

/* ---- the tank's water and the place ---- */

static void assert_tank(const char *tank, enum up_water_model model, double salinity_g_kg,
                        double u_g_kg) {
    struct up_rig rig;
    struct up_failure failure = {0};
    char text[600];
    snprintf(text, sizeof text, HEAD LINE "[tank]\n%s", tank);
    if (!up_rig_parse("t", text, &rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(rig.tank_water.model, model);
    assert_string_equal(rig.tank_water.name, "tank");
    assert_true(fabs(rig.tank_water.salinity_g_kg - salinity_g_kg) < 2e-3);
    assert_true(fabs(rig.tank_water.u_salinity_g_kg - u_g_kg) < 2e-3);
}

static void the_tank_is_told_as_any_water(void **state) {
    (void)state;
    assert_tank("", UP_WATER_FRESH, 0.25, 0.25 / sqrt(3));
    assert_tank("solids_max_g_kg = 1\n", UP_WATER_FRESH, 0.5, 0.5 / sqrt(3));
    assert_tank("water = fresh\nsolids_g_kg = 0.3\n", UP_WATER_FRESH, 0.3, 0.03);
    assert_tank("water = sea\nsalinity_g_kg = 30\nu_salinity_g_kg = 0.2\n", UP_WATER_SEA, 30, 0.2);
    assert_tank("conductivity_ms_cm = 42.914\nconductivity_temp_c = 15\n", UP_WATER_SEA, 35.1618,
                0.394);
    assert_tank("pool_salt_g_l = 5\nu_pool_salt_g_l = 0.2\n", UP_WATER_POOL, 4.991, 0.1996);
    assert_tank("water = fresh\ntemp_c = 20\nhydrometer_sg = 1.0005\nhydrometer_ref_c = 20\n",
                UP_WATER_FRESH, 0.656, 0.657);
}

static void refused_tank(const char *keys, const char *wanted) {
    struct up_rig rig;
    struct up_failure failure = {0};
    char text[600];
    snprintf(text, sizeof text, "%s" LINE "%s", strncmp(keys, "[tank]", 6) == 0 ? HEAD : "", keys);
    assert_false(up_rig_parse("t", text, &rig, &failure));
    if (strstr(failure.text, wanted) == NULL || strstr(failure.text, "rig file t") == NULL) {
        fail_msg("\"%s\" does not hold \"%s\"", failure.text, wanted);
    }
}

static void contradictions_of_the_tank_are_refused(void **state) {
    (void)state;
    refused_tank("[tank]\nwater = sea\n", "what is in it");
    refused_tank("[tank]\nwater = pool\n", "what is in it");
    refused_tank("[tank]\nwater = sea\nsolids_max_g_kg = 1\nsalinity_psu = 3\n", "keep one way");
    refused_tank("[tank]\nsolids_max_g_kg = 1\nsolids_g_kg = 1\n", "keep one way");
    refused_tank("[tank]\nwater = sea\npool_salt_g_l = 3\n", "only for a pool");
    refused_tank("[tank]\nwater = sea\nconductivity_ms_cm = 40\n", "needs conductivity_temp_c");
    refused_tank("[tank]\nhydrometer_kg_m3 = 1100\n", "a number from 985 to 1040");
    refused_tank("[tank]\nwater = sea\nsalinity_psu = 35\nu_salinity_g_kg = 0.1\n"
                 "conductivity_ms_cm = 20\nconductivity_temp_c = 20\n",
                 "contradicts itself");
}

static void the_place_tells_gravity(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_true(
        up_rig_parse("t", HEAD "latitude_deg = 45\naltitude_m = 1000\n" LINE, &rig, &failure));
    assert_true(fabs(rig.gravity_m_s2.value - 9.803112944) < 1e-8);
    assert_true(rig.tank_water.gravity_m_s2 == rig.gravity_m_s2.value);
    assert_true(up_rig_parse("t", HEAD "gravity_m_s2 = 9.8125\n" LINE, &rig, &failure));
    assert_true(rig.gravity_m_s2.value == 9.8125 && rig.gravity_m_s2.u < 2e-4);
    assert_false(rig.simulated);
    assert_true(up_rig_parse("t", HEAD "simulated = yes\n" LINE, &rig, &failure));
    assert_true(rig.simulated);
    assert_true(up_rig_parse("t", HEAD LINE, &rig, &failure));
    assert_true(rig.gravity_m_s2.value == 9.80665 && rig.gravity_m_s2.u > 0.01);
    assert_true(
        up_rig_parse("t", HEAD "latitude_deg = 45\naltitude_m = 2000\n" LINE, &rig, &failure));
    assert_true(fabs(rig.air.pressure_pa.value - 79495) < 1);
    refused_tank(HEAD "altitude_m = 10\n", "needs latitude_deg");
    refused_tank(HEAD "latitude_deg = 45\naltitude_m = 2000\n[air]\npressure_pa = 101325\n",
                 "not reduced to sea level");
    refused_tank(HEAD "latitude_deg = 45\ngravity_m_s2 = 9.81\n", "keep one way");
    refused_tank(HEAD "latitude_deg = 91\n", "a number from -90 to 90");
}

static void load_columns_may_be_several(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse("t",
                             HEAD "[line]\nlayout = fields\nseparator = blanks\n"
                                  "load_field = 11, 12,13\nrate_hz = 10\n",
                             &rig, &failure));
    assert_int_equal(rig.line.loads, 3);
    assert_int_equal(rig.line.load[1].field, 12);
    assert_int_equal(rig.line.load[2].field, 13);
}

static void lists_labels_and_bytes(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse("t",
                             HEAD "[port]\nkind = serial\nbaud = 4800\ndata_bits = 7\n"
                                  "parity = even\nstop_bits = 2\nflow = rts-cts\n"
                                  "[line]\nlayout = labels\nload_label = left:, right one:\n"
                                  "rate_hz = 10\nunstable_words = US , S D,?\n"
                                  "poll = \\eP\\x41\npoll_end = cr\n",
                             &rig, &failure));
    assert_int_equal(rig.line.loads, 2);
    assert_string_equal(rig.line.load[1].label, "right one:");
    assert_int_equal(rig.line.unstable.count, 3);
    assert_string_equal(rig.line.unstable.text[1], "S D");
    assert_string_equal(rig.line.poll, "\033PA\r");
    assert_int_equal(rig.port.baud, 4800);
    assert_int_equal(rig.port.parity, UP_PARITY_EVEN);
    assert_int_equal(rig.port.flow, UP_FLOW_RTS_CTS);
}

static void a_serial_port_is_set_and_waited_for(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse("t",
                             HEAD "[port]\nkind = serial\npath = usb:0403:6001\nbaud = 4800\n"
                                  "data_bits = 7\nparity = even\nstop_bits = 2\n"
                                  "flow = xon-xoff\n" LINE,
                             &rig, &failure));
    assert_true(rig.port.baud == 4800 && rig.port.data_bits == 7 && rig.port.stop_bits == 2);
    assert_true(rig.port.parity == UP_PARITY_EVEN && rig.port.flow == UP_FLOW_XON_XOFF);
    assert_true(rig.port.return_s == 300);
    assert_true(
        up_rig_parse("t", HEAD "[port]\nkind = serial\nreturn_s = 0\n" LINE, &rig, &failure));
    assert_true(rig.port.return_s == 0);
    /* The other end of a pseudo-terminal has ended, unless somebody says that it comes back. */
    assert_true(up_rig_parse("t", HEAD LINE, &rig, &failure));
    assert_true(rig.port.return_s == 0);
    assert_true(up_rig_parse("t", HEAD "[port]\nreturn_s = 5\n" LINE, &rig, &failure));
    assert_true(rig.port.return_s == 5);
}

struct refusal {
    const char *text, *says;
};

static const struct refusal refusals[] = {
    {"", "section [rig] is missing"},
    {HEAD, "section [line] is missing"},
    {"[rig]\nname = x\n" LINE, "lacks the key id"},
    {HEAD LINE "colour = red\n", "line 9: unknown key colour"},
    {HEAD "[lamp]\npin = 3\n" LINE, "line 4: unknown section [lamp]"},
    {HEAD LINE "load_field = 3\n", "line 9: load_field is given twice"},
    {HEAD "[line]\nlayout = fields\nseparator = ,\n", "one of comma semicolon tab blanks"},
    {HEAD "[line]\nlayout = sideways\n", "one of bare fields"},
    {HEAD "[line]\nlayout = bare\nrate_hz = ten\n", "line 5: rate_hz = ten: give a number"},
    {HEAD "[line]\nlayout = bare\nrate_hz = 1e999\n", "give a number"},
    {HEAD "[line]\nlayout = bare\nrate_hz = nan\n", "give a number"},
    {HEAD "[line]\nlayout = bare\n", "rate_hz is the clock"},
    {HEAD LINE "[port]\nkind = serial\nstop_bits = 3\n", "stop_bits = 3"},
    {HEAD "[line]\nlayout = bare\nrate_hz = 10\nload_field = 2\n", "no use for the key load_field"},
    {HEAD "[line]\nlayout = fields\nseparator = tab\nrate_hz = 5\n", "load_field"},
    {HEAD "[line]\nlayout = fields\nseparator = tab\nload_field = 0\n", "columns"},
    {HEAD "[line]\nlayout = fields\nseparator = tab\nload_field = 2.5\n", "columns"},
    {HEAD "[line]\nlayout = fields\nseparator = tab\nload_field = 1,2,3,4,5,6,7,8,9\n", "columns"},
    {HEAD "[line]\nlayout = fields\nseparator = tab\nload_field = 2,2\nrate_hz = 1\n", "twice"},
    {HEAD LINE "temp_field = 2\n", "at once"},
    {HEAD LINE "temp_field = 1\n", "at once"},
    {HEAD "[line]\nlayout = fields\nseparator = tab\nload_field = 2\ntime_field = 1\n",
     "time_unit belongs together with"},
    {HEAD LINE "load_unit = kg\n", "needs [sensor] division_counts"},
    {HEAD LINE "load_unit = kg\nword_bits = 24\n", "word_bits needs load_unit = counts"},
    {HEAD LINE "[bench]\nread_after_s = 5\nwindow_s = 20\n", "longer than twice"},
    {HEAD LINE "[masses]\nclass = M1\ntolerance_rel = 1e-4\n", "keep one"},
    {HEAD LINE "[masses]\nclass = m1\n", "one of E2 F1 F2 M1 M2 M3"},
    {HEAD LINE "[bench]\ncalibration_days = -1\n", "from 0 to 3650"},
    {HEAD LINE "[tank]\ntemp_c = 41\n", "from 0 to 40"},
    {HEAD LINE "[tank]\ntemp_c = -0.1\n", "from 0 to 40"},
    /* layouts and what they have no use for */
    {HEAD BARE "load_label = x\n", "no use for the key load_label"},
    {HEAD BARE "columns = 3\n", "no use for the key columns"},
    {HEAD LINE "load_label = x\n", "no use for the key load_label"},
    {HEAD "[line]\nlayout = numbers\nrate_hz = 1\n", "layout = numbers needs the key load_field"},
    {HEAD "[line]\nlayout = labels\nrate_hz = 1\n", "layout = labels needs the key load_label"},
    {HEAD "[line]\nlayout = json\nload_label = g\nrate_hz = 1\nseparator = comma\n",
     "no use for the key separator"},
    {HEAD "[line]\nlayout = json\nload_label = g\nrate_hz = 1\ndecimal = comma\n",
     "decimal = comma contradicts"},
    /* frames */
    {HEAD BARE "frame_bytes = 9\n", "frame_bytes needs a frame_start"},
    {HEAD BARE "frame_start = stx\nframe_bytes = 9\nframe_end = etx\n", "takes the place of"},
    {HEAD BARE "frame_start = hash\nframe_end = hash\n", "the same byte"},
    {HEAD LINE "checksum = crc16\n", "belong together"},
    {HEAD LINE "checksum_after = star\n", "belong together"},
    {HEAD LINE "checksum_base = decimal\n", "checksum_base needs a checksum"},
    {HEAD LINE "sequence_modulus = 10\n", "needs a sequence_field"},
    {HEAD LINE "sequence_field = 2\n", "two things at once"},
    {HEAD LINE "columns = 1\n", "beyond the number in columns"},
    {HEAD BARE "poll_lines = 2\n", "need the key poll"},
    {HEAD BARE "poll = \\q\n", "poll = \\q: give up to"},
    {HEAD BARE "value_line = next\n", "value_line = next needs"},
    /* numbers and status */
    {HEAD LINE "decimal = comma\n", "decimal = comma contradicts"},
    {HEAD LINE "unit_field = 3\n", "need a load_unit other than counts"},
    {HEAD DIVISION LINE "load_unit = printed\nunit_missing = refuse\n", "unit_missing contradicts"},
    {HEAD LINE "status_field = 3\n", "status_field needs"},
    {HEAD BARE "stable_words = ST\nunstable_words = US, ST\n", "is in two of the lists"},
    {HEAD BARE "stable_words = A,,B\n", "one to eight words"},
    {HEAD BARE "stable_words = a,b,c,d,e,f,g,h,i\n", "one to eight words"},
    {HEAD "[port]\nbaud = 0\n" LINE, "whole number from 50"},
    {HEAD "[port]\nparity = mark\n" LINE, "one of none even odd"},
    {HEAD "just words\n", "line 3: neither"},
    {HEAD BARE "stable_words = A\x1B[2J\n", "one to eight words"},
    {HEAD "[line]\nlayout = json\nrate_hz = 1\nload_label = a\x7F\n", "one to eight labels"},
    {"[rig]\nid = \x01\n" LINE, "control characters"},
    {"[rig]\nid = \xff\n" LINE, "control characters"},
};

static void refuses_with_the_place(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
        struct up_rig rig;
        struct up_failure failure = {0};
        if (up_rig_parse("my.ini", refusals[i].text, &rig, &failure) ||
            strstr(failure.text, refusals[i].says) == NULL ||
            strstr(failure.text, "my.ini") == NULL || failure.status != UP_STATUS_WRONG_INPUT) {
            fail_msg("case %zu says \"%s\", wanted \"%s\"", i, failure.text, refusals[i].says);
        }
    }
}

static void refuses_long_lines_with_the_right_number(void **state) {
    char text[1000];
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    snprintf(text, sizeof text, HEAD "name = %0300d\n" LINE, 7);
    assert_false(up_rig_parse("t", text, &rig, &failure));
    assert_non_null(strstr(failure.text, "line 3: the line is longer than 199 bytes"));
}

static void hash_follows_line_and_sensor_only(void **state) {
    struct up_rig plain, renamed, commented, changed;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse("t", HEAD LINE "[sensor]\ncapacity_kg = 10\n", &plain, &failure));
    assert_true(up_rig_parse("t",
                             "[rig]\nid = other\n" LINE "[sensor]\ncapacity_kg = 10\n"
                             "[bench]\ntrials = 9\n",
                             &renamed, &failure));
    assert_true(
        up_rig_parse("t", "; words\n[sensor]\ncapacity_kg=10\n" HEAD LINE, &commented, &failure));
    assert_true(up_rig_parse("t", HEAD LINE "[sensor]\ncapacity_kg = 20\n", &changed, &failure));
    assert_string_equal(plain.sha256, renamed.sha256);
    assert_string_equal(plain.sha256, commented.sha256);
    assert_string_not_equal(plain.sha256, changed.sha256);
    assert_int_equal(strlen(plain.sha256), 64);
}

static void missing_and_binary_files(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_false(up_rig_load("/nowhere/rig.ini", &rig, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_non_null(strstr(failure.text, "/nowhere/rig.ini"));
    assert_false(up_rig_load("/dev/zero", &rig, &failure));
    assert_non_null(strstr(failure.text, "not a file"));
    assert_false(up_rig_load("/tmp", &rig, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
}

static void simulated_rig_takes_its_port(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    char path[] = "/tmp/upthrust-rig-XXXXXX";
    (void)state;
    assert_non_null(mkdtemp(path));
    char *file = up_text_format("%s/rig.ini", path);
    assert_true(up_rig_write_with_port(embedded_simulated_ini, "/dev/pts/77", file, &failure));
    assert_true(up_rig_load(file, &rig, &failure));
    assert_string_equal(rig.port_path, "/dev/pts/77");
    assert_string_equal(rig.path, file);
    assert_int_equal(rig.line.loads, 1);
    remove(file);
    remove(path);
    free(file);
}

/* ---- lines at the bench ---- */

#define PEDAL "[pedal]\nline = gpiochip0 PEDAL 1\nbias = pull-up\nactive = low\n"

static void lines_at_the_bench_are_read(void **state) {
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse("t",
                             HEAD BARE PEDAL "long_ms = 1000\n"
                                             "[float]\nline = /dev/gpiochip1  7\nbias = none\n"
                                             "active = high\n"
                                             "[shaker]\nline = expander 0\nactive = high\n"
                                             "limit_s = 3\n"
                                             "[lamps]\nactive = low\nall = gpiochip0 4\n"
                                             "your_turn = gpiochip0 5\n",
                             &rig, &failure));
    assert_string_equal(rig.pedal.input.at.chip, "gpiochip0");
    assert_string_equal(rig.pedal.input.at.line, "PEDAL 1"); /* a name may hold blanks */
    assert_int_equal(rig.pedal.input.bias, UP_BIAS_PULL_UP);
    assert_true(rig.pedal.input.active_low);
    assert_true(fabs(rig.pedal.long_s - 1) < 1e-12);
    assert_true(fabs(rig.pedal.input.debounce_s - 0.02) < 1e-12);
    assert_string_equal(rig.level.at.chip, "/dev/gpiochip1");
    assert_string_equal(rig.level.at.line, "7");
    assert_int_equal(rig.level.bias, UP_BIAS_NONE);
    assert_false(rig.level.active_low);
    assert_true(rig.shaker_limit_s == 3);
    assert_string_equal(rig.buzzer.at.chip, "");
    assert_true(rig.lamps_active_low);
    assert_string_equal(rig.lamp[UP_LAMP_YOUR_TURN].line, "5");
    assert_string_equal(rig.lamp[UP_LAMP_ALL].line, "4");
    assert_string_equal(rig.lamp[UP_LAMP_FAULT].chip, "");
}

/* A pedal is no part of what a calibration depends on. */
static void lines_at_the_bench_void_no_calibration(void **state) {
    struct up_rig without, with;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse("t", HEAD BARE, &without, &failure));
    assert_true(up_rig_parse("t", HEAD BARE PEDAL, &with, &failure));
    assert_string_equal(without.sha256, with.sha256);
}

static void wrong_lines_at_the_bench_are_refused(void **state) {
    static const struct {
        const char *text, *words;
    } cases[] = {
        {"[pedal]\nline = gpiochip0\n", "a chip and a line of it"},
        {"[pedal]\nline = gpiochip0 7\nactive = low\n", "[pedal] lacks the key bias"},
        {"[pedal]\nline = gpiochip0 7\nbias = pull-up\n", "[pedal] lacks the key active"},
        {"[pedal]\nbias = pull-up\nactive = low\n", "[pedal] lacks the key line"},
        {"[pedal]\nline = gpiochip0 7\nbias = up\n", "one of pull-up pull-down none as-is"},
        {PEDAL "stuck_s = 2\nlong_ms = 1500\n", "stuck_s must be a second more than long_ms"},
        {PEDAL "debounce_ms = 200\nlong_ms = 300\n", "more than twice debounce_ms"},
        {"[float]\nline = gpiochip0 7\nactive = low\n", "[float] lacks the key bias"},
        {"[shaker]\nline = gpiochip0 7\nactive = high\n",
         "no relay without a time after which it is off"},
        {"[shaker]\nline = gpiochip0 7\nactive = high\nlimit_s = 0\n", "from 0.1 to 120"},
        {"[shaker]\nline = gpiochip0 7\nlimit_s = 1\n", "[shaker] lacks the key active"},
        {"[buzzer]\nactive = low\n", "[buzzer] lacks the key line"},
        {"[lamps]\nall = gpiochip0 7\n", "[lamps] lacks the key active"},
        {"[lamps]\nactive = high\n", "names no lamp"},
        {"[lamps]\nactive = high\nblue = gpiochip0 7\n", "unknown key blue"},
        {PEDAL "[lamps]\nactive = high\nfault = gpiochip0 PEDAL 1\n",
         "[pedal] line and [lamps] fault name the same line, gpiochip0 PEDAL 1: an output cannot "
         "be an input too"},
        {PEDAL "[float]\nline = gpiochip0 PEDAL 1\nbias = none\nactive = low\n",
         "give each its own"},
        {"[lamps]\nactive = high\nfault = gpiochip0 7\nall = gpiochip0 7\n", "give each its own"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct up_rig rig;
        struct up_failure failure = {0};
        char *text = up_text_format(HEAD BARE "%s", cases[i].text);
        assert_false(up_rig_parse("t", text, &rig, &failure));
        assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
        if (strstr(failure.text, cases[i].words) == NULL) {
            fail_msg("%s", failure.text);
        }
        free(text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_at_the_bench_are_read),
        cmocka_unit_test(lines_at_the_bench_void_no_calibration),
        cmocka_unit_test(wrong_lines_at_the_bench_are_refused),
        cmocka_unit_test(reads_what_is_written),
        cmocka_unit_test(the_tank_is_told_as_any_water),
        cmocka_unit_test(contradictions_of_the_tank_are_refused),
        cmocka_unit_test(the_place_tells_gravity),
        cmocka_unit_test(load_columns_may_be_several),
        cmocka_unit_test(lists_labels_and_bytes),
        cmocka_unit_test(a_serial_port_is_set_and_waited_for),
        cmocka_unit_test(refuses_with_the_place),
        cmocka_unit_test(refuses_long_lines_with_the_right_number),
        cmocka_unit_test(hash_follows_line_and_sensor_only),
        cmocka_unit_test(missing_and_binary_files),
        cmocka_unit_test(simulated_rig_takes_its_port),
    };
    return cmocka_run_group_tests_name("rig", tests, NULL, NULL);
}
