/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit's report in the units that people think in, against lines converted by hand: 1 lb is
   0.45359237 kg, 1 oz a sixteenth of it, 1 ft 0.3048 m, 1 lbf ft 1.35582 N m. */
#include "../catalogue/support.h"

#include "kit/report.h"

/* In single quotation marks, for the eye. */
static const char REPORT[] =
    "{'water': {'name': 'sea', 'density_kg_m3': 1025.8}, 'air_pressure_hpa': 1013,"
    "'checks_agree': 1, 'effective_draws': 2000, 'lead_entered_kg': 6, 'ditchable_kg': 4,"
    "'lead': [{'when': 'stop, nearly empty', 'depth_m': 5, 'pressure_bar': 10,"
    "  'lead_to_add': {'low_kg': -1.26, 'high_kg': 5.87}},"
    " {'when': 'surface, full', 'depth_m': 0, 'pressure_bar': 200,"
    "  'lead_to_add': {'low_kg': 0.02, 'high_kg': 1.81}}],"
    "'other_water': {'from_kg_m3': 998.8, 'to_kg_m3': 1025.8,"
    "  'lead_to_add': {'low_kg': -0.03, 'high_kg': 3.61}},"
    "'surplus': {'low_kg': 0.09, 'high_kg': 1.29, 'gas_per_kg_l': 0.885, 'at_stop_g_per_m': 60.3,"
    "  'at_surface_g_per_m': 90.2, 'at_deepest_g_per_m': 30.2, 'breath_g': 500},"
    "'dive': [{'when': 'surface, full', 'depth_m': 0, 'pressure_bar': 200,"
    "  'lift': {'value_kg': 5.85, 'low_kg': 4.48, 'high_kg': 7.18}},"
    " {'when': 'deepest point, full', 'depth_m': 18, 'pressure_bar': 200,"
    "  'lift': {'value_kg': -0.44, 'low_kg': -2.38, 'high_kg': 1.62}},"
    " {'when': 'stop, nearly empty', 'depth_m': 5, 'pressure_bar': 10,"
    "  'lift': {'value_kg': -0.02, 'low_kg': -0.23, 'high_kg': -0.01}}],"
    "'worst_cases': [{'case': 'deepest', 'depth_m': 18,"
    "  'lift': {'least_kg': -7.01, 'most_kg': -2.19}},"
    " {'case': 'dropped', 'depth_m': 0, 'lift': {'least_kg': 0.03, 'most_kg': 2.11}}],"
    "'jacket_lift_kg': 16, 'jacket_needs_kg': 20, 'breath_moment_nm': 2.2,"
    "'moments': [{'name': 'belt', 'place_m': 0.05,"
    "  'moment': {'value_nm': -2.7, 'low_nm': -5.8, 'high_nm': 0.4}},"
    " {'name': 'pocket', 'place_m': 0.3,"
    "  'moment': {'value_nm': -0.03, 'low_nm': -0.04, 'high_nm': 0}}],"
    "'fins': {'present': 'old', 'level_seen_in': 'lake', 'left_out': 0,"
    " 'off_level': {'value_nm': 6.6, 'low_nm': 1.2, 'high_nm': 12},"
    " 'others': [{'name': 'new', 'lift': {'value_kg': 0.635, 'low_kg': 0.542, 'high_kg': 0.727},"
    "  'lead_to_add': {'low_kg': 0.6, 'high_kg': 0.9}, 'one_kg_of_lead_towards_feet_m': -0.63,"
    "  'moment': {'value_nm': -5.7, 'low_nm': -6.6, 'high_nm': -4.8},"
    "  'off_level': {'value_nm': 0.9, 'low_nm': -4.5, 'high_nm': 6.3}}]},"
    "'swaps': [{'instead_of': 'hood', 'name': 'thin',"
    "  'lift': {'value_kg': -0.0003, 'low_kg': -0.004, 'high_kg': 0.003},"
    "  'lead_to_add': {'low_kg': -0.004, 'high_kg': 0.003}, 'moment': null}],"
    "'models': [{'name': 'lamp', 'samples': 1, 'u_kg': 0.1}],"
    "'moves': [{'from': 'belt', 'to': 'pocket', 'kg': 1,"
    "  'moment': {'value_nm': -2.2, 'low_nm': -2.9, 'high_nm': -1.5}}],"
    "'rules': [{'input': 'suit gas', 'share': 0.8,"
    "  'measure': 'do weight checks at two depths, 3 m apart or more'}],"
    "'predictions': {'of': 1, 'inside': 1, 'share_low': 0.03, 'share_high': 1, 'verdict': null,"
    " 'checks': [{'check': 'lake', 'inside': true,"
    "  'lift_predicted': {'low_kg': -0.3, 'high_kg': 2.72}}]}}";

/* The same lines in metric and in imperial units. */
static const char *const LINES[][2] = {
    {"In the water sea, 1025.8 kg/m3, under", "In the water sea, 64.04 lb/ft3, under"},
    {"to the 6.0 kg that are entered, 4.0 kg of", "to the 13.2 lb that are entered, 8.8 lb of"},
    {"  stop, nearly empty          5 m   10 bar   from -1.2 to +5.9 kg; check in the water before",
     "  stop, nearly empty         16 ft   10 bar   from -2.7 to +13.0 lb; check in the water"},
    {"  surface, full               0 m  200 bar   from +0.1 to +1.9 kg\n",
     "  surface, full               0 ft  200 bar   from +0.1 to +4.0 lb\n"},
    {"(998.8 kg/m3) to this one (1025.8): from +0.0 to +3.7 kg",
     "(62.35 lb/ft3) to this one (64.04): from +0.0 to +8.0 lb"},
    {"Each kilogram of lead too much costs the jacket 0.89 l of gas.",
     "Each pound of lead too much costs the jacket 0.40 l of gas."},
    {"\n60 g a metre of depth at the stop, 90 at the surface, 30 at the deepest point; a breath\n",
     "\n0.29 oz a foot of depth at the stop, 0.44 at the surface, 0.15 at the deepest point;"},
    {"moves about 500 g.", "moves about 18 oz."},
    {"Here from 0.0 to 1.2 kg may be too much: up to 1.1 l, 72 g a metre at",
     "Here from 0.1 to 2.8 lb may be too much: up to 1.1 l, 0.82 oz a foot at"},
    {"    0 m  200 bar   +5.9 kg UP   (+4.5 to +7.2)\n",
     "    0 ft  200 bar  +12.9 lb UP   (+9.9 to +15.8)\n"},
    {"   18 m  200 bar   -0.4 kg DOWN (-2.4 to +1.6)\n",
     "   59 ft  200 bar   -1.0 lb DOWN (-5.2 to +3.6)\n"},
    {"    5 m   10 bar   +0.0 kg      (-0.2 to +0.0)\n",
     "   16 ft   10 bar   +0.0 lb      (-0.5 to +0.0)\n"},
    {"from -7.1 to -2.1 kg; with the lead to add MORE than the jacket's 16.0 kg can",
     "from -15.5 to -4.8 lb; with the lead to add MORE than the jacket's 35.3 lb can"},
    {"from +0.0 to +2.2 kg; may sink", "from +0.0 to +4.7 lb; may sink"},
    {"makes 2.2 N m; compare", "makes 1.6 lbf ft; compare"},
    {"   -2.7 +- 3.1 N m at +0.05 m\n", "   -2.0 +- 2.3 lbf ft at +2.0 in\n"},
    {"   +0.0 +- 0.0 N m at +0.30 m\n", "   +0.0 +- 0.0 lbf ft at +11.8 in\n"},
    {"at the feet +635 g (+542 to +727); lead from +0.6 to +0.9 kg\n",
     "at the feet +22.4 oz (+19.1 to +25.6); lead from +1.4 to +2.0 lb\n"},
    {"like moving 1 kg of lead 63 cm towards the head",
     "like moving 1 lb of lead 55 in towards the head"},
    {"+0.9 +- 5.4 N m off level, 5.7 N m nearer",
     "+0.7 +- 4.0 lbf ft off level, 4.2 lbf ft nearer"},
    {"lifts +0 g (-4 to +3); lead from +0.0 to +0.1 kg\n",
     "lifts +0.0 oz (-0.1 to +0.1); lead from +0.0 to +0.1 lb\n"},
    {"1 sample, so +- 196 g\n", "1 sample, so +- 6.9 oz\n"},
    {"   -2.2 +- 0.7 N m  1.0 kg from belt", "   -1.6 +- 0.5 lbf ft  2.2 lb from belt"},
    {"two depths, 3 m apart or more", "two depths, 9.8 ft apart or more"},
    {"(it found 0 kg):", "(it found 0 lb):"},
    {"predicted -0.3 to +2.7 kg: inside", "predicted -0.7 to +6.0 lb: inside"}};

static json_t *document_of(const char *text) {
    char *quoted = strdup(text);
    for (char *at = quoted; (at = strchr(at, '\'')) != NULL;) {
        *at = '"';
    }
    json_t *document = json_loads(quoted, 0, NULL);
    assert_non_null(document);
    free(quoted);
    return document;
}

static char *in_units(bool imperial) {
    static char *text;
    size_t size;
    const struct up_style style = {.imperial = imperial};
    json_t *document = document_of(REPORT);
    FILE *stream = open_memstream(&text, &size);
    up_kit_report_print(document, false, &style, stream);
    fclose(stream);
    json_decref(document);
    return text;
}

static void each_line_is_in_the_units_asked_for(void **state) {
    (void)state;
    for (int imperial = 0; imperial < 2; imperial++) {
        char *text = in_units(imperial == 1);
        for (size_t i = 0; i < ARRAY(LINES); i++) {
            if (strstr(text, LINES[i][imperial]) == NULL) {
                fail_msg("not there: %s\nin:\n%s", LINES[i][imperial], text);
            }
        }
        assert_null(strstr(text, "-0.0 "));
        assert_null(strstr(text, "-0 "));
        free(text);
    }
}

static void the_columns_stand_below_each_other(void **state) {
    (void)state;
    for (int imperial = 0; imperial < 2; imperial++) {
        char *text = in_units(imperial == 1), *rest = text;
        int columns = 0, lines = 0;
        for (char *line = strsep(&rest, "\n"); line != NULL; line = strsep(&rest, "\n")) {
            const char *bar = strstr(line, " bar  "), *range = strstr(line, "(");
            if (bar != NULL && range != NULL) {
                assert_true(columns == 0 || columns == (int)(range - line));
                columns = (int)(range - line);
                lines++;
            }
        }
        assert_int_equal(lines, 3);
        free(text);
    }
}

/* ---- what its numbers are ---- */

static char *words_of(const char *edits, bool page, bool standing) {
    const struct up_style style = {.imperial = false};
    json_auto_t *document = document_of(REPORT);
    json_auto_t *more = document_of(edits);
    char *text = NULL;
    size_t size;
    assert_int_equal(json_object_update(document, more), 0);
    FILE *stream = open_memstream(&text, &size);
    if (standing) {
        up_kit_report_standing(document, stream);
    } else {
        up_kit_report_print(document, page, &style, stream);
    }
    assert_int_equal(fclose(stream), 0);
    return text;
}

static const char GEAR[] =
    "{'gear': [{'name': 'fin', 'spare': false, 'samples': 0, 'accepted': ['simulated', 'quick']},"
    " {'name': 'hood', 'spare': false, 'samples': 2, 'accepted': ['quick', 'unchecked']},"
    " {'name': 'good', 'spare': false, 'samples': 0, 'accepted': []},"
    " {'name': 'other', 'spare': true, 'samples': 0, 'accepted': ['elsewhere']}]}";

static void what_counts_by_name_only_is_said(void **state) {
    (void)state;
    char *whole = words_of(GEAR, false, false), *page = words_of(GEAR, true, false);
    assert_non_null(strstr(whole, "\nCounts only because the kit file accepts it:\n  fin "));
    assert_non_null(strstr(whole, "  simulated, quick\n  hood "));
    assert_non_null(strstr(whole, "  elsewhere\n"));
    assert_null(strstr(whole, "\n  good "));
    assert_non_null(strstr(page, "  simulated, quick\n  hood "));
    assert_null(strstr(page, "  elsewhere\n")); /* it is not on the page */
    free(whole);
    free(page);
    char *foot = words_of(GEAR, false, true);
    assert_string_equal(foot, "SIMULATED gear among the parts: it was never weighed.\n"
                              "Calculated from the weight checks and the gear of the kit file.\n"
                              "Some gear counts only because the kit file accepts it: simulated, "
                              "quick, unchecked.\n");
    free(foot);
    foot = words_of("{'checks_agree': 0.009, 'effective_draws': 399}", false, true);
    assert_string_equal(foot, "THE WEIGHT CHECKS CONTRADICT EACH OTHER: trust no number here.\n"
                              "Calculated from the weight checks and the gear of the kit file; "
                              "ROUGH: few simulated divers fit the checks.\n");
    free(foot);
    foot = words_of("{}", false, true);
    assert_string_equal(foot, "Calculated from the weight checks and the gear of the kit file.\n");
    free(foot);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(each_line_is_in_the_units_asked_for),
        TEST(the_columns_stand_below_each_other),
        TEST(what_counts_by_name_only_is_said),
    };
    return cmocka_run_group_tests_name("kit: words and units", tests, NULL, NULL);
}
