/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a kit file answers, as JSON and in words, against numbers worked by hand. */
#include "../catalogue/support.h"

#include "agree.h"
#include "kit/report.h"

#define CHECK "{\"water\": \"fresh\", \"depth_m\": 0, \"pressure_bar\": 50, \"gas_temp_c\": 20}"
#define DIVE                                                                                       \
    "\"water\": \"sea\", \"deepest_m\": 20, \"start_bar\": 200, \"reserve_bar\": 50, "             \
    "\"gas_temp_c\": 20"
/* 16 l outside, 14.3 kg when empty: in the sea of rho it lifts rho 16e-3 - 14.3 kg less its gas. */
#define TWELVE                                                                                     \
    "{\"name\": \"twelve\", \"kind\": \"cylinder\", \"water_volume_l\": 12, \"empty_mass_kg\": "   \
    "14.3, "                                                                                       \
    "\"u_empty_mass_kg\": 0, \"outside_volume_l\": 16, \"u_outside_volume_l\": 0, "                \
    "\"working_pressure_bar\": 232}"

static void write_kit(const char *parts, const char *more, const char *checks, const char *dive) {
    char *text = up_text_format("{\"schema\": \"upthrust-kit-1\", \"diver\": {\"mass_kg\": 80}, "
                                "\"parts\": [%s, %s], %s \"checks\": [%s], \"dive\": {%s}}",
                                TWELVE, parts, more, checks, dive);
    write_all("kit.json", text);
    free(text);
}

static json_t *report(void) {
    struct up_failure failure = {0};
    json_t *document = up_kit_report("kit.json", NULL, &failure);
    if (document == NULL) {
        fail_msg("%s", failure.text);
    }
    return document;
}

static void assert_kit_refused(const char *words) {
    struct up_failure failure = {0};
    assert_null(up_kit_report("kit.json", NULL, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

static double of(const json_t *object, const char *key) {
    return json_number_value(json_object_get(object, key));
}

static double lift(const json_t *document, const char *list, size_t i) {
    return of(json_object_get(json_array_get(json_object_get(document, list), i), "lift"),
              "value_kg");
}

static char *in_units(const json_t *document, bool imperial) {
    const struct up_style style = {.imperial = imperial};
    static char *text;
    size_t size;
    FILE *stream = open_memstream(&text, &size);
    up_kit_report_print(document, false, &style, stream);
    fclose(stream);
    return text;
}

static char *in_words(const json_t *document) {
    return in_units(document, false);
}

#define LEAD(name, kg, ditchable)                                                                  \
    "{\"name\": \"" name "\", \"kind\": \"lead\", \"weighed\": true, \"mass_kg\": " kg             \
    ", \"place_m\": 0.1, \"ditchable\": " ditchable "}"

/* Dropped: all 7 kg, the lightest 2, the heaviest 5, less in water by 1 - rho / 11190. */
static void the_worst_cases_lose_what_they_say(void **state) {
    (void)state;
    write_kit(
        LEAD("belt", "5", "true") "," LEAD("pocket", "2", "true") "," LEAD("band", "9", "false"),
        "", CHECK, DIVE);
    json_t *document = report();
    double factor = 1 - of(json_object_get(document, "water"), "density_kg_m3") / 11190;
    double surface_kg = lift(document, "dive", 0), stop_kg = lift(document, "dive", 4);
    assert_close(lift(document, "worst_cases", 1) - surface_kg, 7 * factor, 0.02);
    assert_close(lift(document, "worst_cases", 2) - stop_kg, 7 * factor, 0.02);
    assert_close(lift(document, "worst_cases", 3) - surface_kg, 2 * factor, 0.02);
    assert_close(lift(document, "worst_cases", 4) - stop_kg, 5 * factor, 0.02);
    assert_close(of(document, "lead_entered_kg"), 16, 1e-9);
    assert_close(of(document, "ditchable_kg"), 7, 1e-9);
    const json_t *lead = json_array_get(json_object_get(document, "lead"), 0);
    double added_kg = of(json_object_get(lead, "lead_to_add"), "high_kg") * factor;
    const json_t *deep = json_array_get(json_object_get(document, "worst_cases"), 0);
    assert_true(added_kg > 0);
    assert_close(of(document, "jacket_needs_kg"),
                 added_kg - of(json_object_get(deep, "lift"), "least_kg"), 1e-3);
    json_decref(document);
}

/* On this dive the pocket has more than the belt, the band is left at home. */
static void the_lead_of_the_dive_counts(void **state) {
    (void)state;
    write_kit(
        LEAD("belt", "5", "true") "," LEAD("pocket", "2", "true") "," LEAD("band", "9", "false"),
        "", CHECK, DIVE ", \"without\": [\"band\"], \"lead_kg\": {\"pocket\": 6}");
    json_t *document = report();
    double factor = 1 - of(json_object_get(document, "water"), "density_kg_m3") / 11190;
    double surface_kg = lift(document, "dive", 0), stop_kg = lift(document, "dive", 4);
    assert_close(lift(document, "worst_cases", 3) - surface_kg, 5 * factor, 0.02);
    assert_close(lift(document, "worst_cases", 4) - stop_kg, 6 * factor, 0.02);
    assert_close(of(document, "lead_entered_kg"), 11, 1e-9);
    char *text = in_words(document);
    assert_non_null(
        strstr(text, "Lead to add to the 11.0 kg that are entered, 11.0 kg of it ditchable"));
    free(text);
    json_decref(document);
    /* One piece is all there is; none is said. */
    write_kit(LEAD("belt", "5", "true") "," LEAD("band", "9", "false"), "", CHECK, DIVE);
    document = report();
    assert_int_equal(json_array_size(json_object_get(document, "worst_cases")), 3);
    json_decref(document);
    write_kit(LEAD("band", "9", "false"), "", CHECK, DIVE);
    document = report();
    text = in_words(document);
    assert_non_null(strstr(text, "No lead is entered as ditchable"));
    free(text);
    json_decref(document);
}

/* In the sea of 1025.8 kg/m3 the empty cylinder lifts 2.113 kg, so it floats where 12 l of gas
   weigh less: 176.1 kg/m3. Air of 20 C has 166.80 at 140 bar absolute and 178.08 at 150 (Lemmon's
   equation, evaluated outside): 148.2 bar, 147.2 on the gauge. */
static void a_cylinder_turns_positive(void **state) {
    (void)state;
    write_kit(LEAD("belt", "5", "true"), "", CHECK, DIVE);
    json_t *document = report();
    const json_t *twelve = json_array_get(json_object_get(document, "cylinders"), 0);
    double turns_bar = of(twelve, "floats_below_bar");
    assert_close(turns_bar, 147, 3);
    /* The gauge is 3 bar uncertain, and asks alike: +- 5.9 bar. */
    assert_close(of(twelve, "surely_below_bar"), turns_bar - 5.9, 1.5);
    assert_close(of(twelve, "perhaps_below_bar"), turns_bar + 5.9, 1.5);
    json_decref(document);
}

/* 14.2 kg of steel (7850 kg/m3, within 0.5 %) beside 12 l (0.5 %): 13.809 l outside, known to
   hypot(9, 60, 71, 9) ml or 0.09 kg with the mass and the gas; where nobody says whether a valve is
   in it, to 0.5 / sqrt(3) l more, 0.296 kg of lift in the sea. */
static void valve_and_boot_are_stated(void **state) {
    static const char *const extras[] = {"", ", \"extras_mass_kg\": 0",
                                         ", \"extras_volume_l\": 0.4"};
    double u_kg[3], lift_kg[3];
    (void)state;
    for (size_t i = 0; i < ARRAY(extras); i++) {
        char *part = up_text_format(
            "{\"name\": \"other\", \"kind\": \"cylinder\", \"water_volume_l\": 12, "
            "\"empty_mass_kg\": 14.2, \"metal\": \"steel\", \"working_pressure_bar\": 232, "
            "\"instead_of\": \"twelve\"%s}",
            extras[i]);
        write_kit(part, "", CHECK, DIVE);
        json_t *document = report();
        const json_t *lifts =
            json_object_get(json_array_get(json_object_get(document, "cylinders"), 1), "lifts");
        const json_t *lift = json_object_get(json_array_get(lifts, 3), "lift");
        u_kg[i] = of(lift, "u_kg");
        lift_kg[i] = of(lift, "value_kg");
        json_decref(document);
        free(part);
    }
    assert_close(sqrt(u_kg[0] * u_kg[0] - u_kg[1] * u_kg[1]), 0.296, 0.01);
    assert_close(lift_kg[0], lift_kg[1], 0.01);
    assert_close(lift_kg[2] - lift_kg[1], 0.4 * 1.0258, 0.005);
}

/* A kilogram of lead holds 0.908 kg of lift, 0.885 l of gas, which Boyle's law changes by
   0.908 rho g / P: at the surface (101325 Pa) 90.2 g/m, at 5 m (151600 Pa) 60.3, at 20 m (302500)
   30.2. At 2000 m the standard atmosphere (ISO 2533) has 795 hPa: 114.9 g/m. */
static void lead_that_is_too_much_costs(void **state) {
    (void)state;
    write_kit(LEAD("belt", "5", "true"), "", CHECK, DIVE);
    json_t *document = report();
    const json_t *surplus = json_object_get(document, "surplus");
    assert_close(of(surplus, "gas_per_kg_l"), 0.885, 0.001);
    assert_close(of(surplus, "at_surface_g_per_m"), 90.2, 0.2);
    assert_close(of(surplus, "at_stop_g_per_m"), 60.3, 0.2);
    assert_close(of(surplus, "at_deepest_g_per_m"), 30.2, 0.2);
    json_decref(document);
    write_kit(LEAD("belt", "5", "true"), "", CHECK, DIVE ", \"altitude_m\": 2000");
    document = report();
    assert_close(of(document, "air_pressure_hpa"), 795, 0.1);
    assert_close(of(json_object_get(document, "surplus"), "at_surface_g_per_m"), 114.9, 0.3);
    json_decref(document);
}

static void ditchable_lead_stays_ditchable(void **state) {
    static const char parts[] =
        LEAD("belt", "5", "true") "," LEAD("pocket", "0", "true") "," LEAD("band", "2", "false");
    (void)state;
    write_kit(parts, "", CHECK, DIVE);
    json_t *document = report(), *move;
    size_t i, moves = 0;
    json_array_foreach(json_object_get(document, "moves"), i, move) {
        bool from_belt = strcmp(json_string_value(json_object_get(move, "from")), "belt") == 0;
        assert_false(from_belt &&
                     strcmp(json_string_value(json_object_get(move, "to")), "band") == 0);
        moves++;
    }
    assert_int_equal(moves, 3); /* belt to pocket, band to belt and pocket */
    json_decref(document);
    write_kit(parts, "\"moves\": [{\"from\": \"belt\", \"to\": \"band\", \"kg\": 1}],", CHECK,
              DIVE);
    assert_kit_refused("ditchable lead is not moved to a fixed place");
    write_kit(parts, "\"moves\": [{\"from\": \"band\", \"to\": \"belt\", \"kg\": 3}],", CHECK,
              DIVE);
    assert_kit_refused("only 2 kg are there");
}

/* Of 8 places 56 moves could be made up; 32 are. */
static void no_more_moves_are_made_up_than_anybody_reads(void **state) {
    char parts[2000] = LEAD("a", "1", "false");
    (void)state;
    for (char name = 'b'; name < 'i'; name++) {
        char *one = up_text_format(", {\"name\": \"%c\", \"kind\": \"lead\", \"mass_kg\": 1, "
                                   "\"place_m\": 0.1}",
                                   name);
        strcat(parts, one);
        free(one);
    }
    write_kit(parts, "", CHECK, DIVE);
    json_t *document = report();
    assert_int_equal(json_array_size(json_object_get(document, "moves")), 32);
    char *text = in_words(document);
    assert_non_null(strstr(text, "No more are shown: list those you want"));
    free(text);
    json_decref(document);
}

/* Exact binomial bounds (Clopper and Pearson): 20 of 20 hold from 0.832 on, by 0.025^(1/20). */
static void the_record_gives_no_verdict_below_twenty(void **state) {
    static const char *const verdict[] = {NULL, "as claimed", "too narrow"};
    (void)state;
    for (size_t i = 0; i < ARRAY(verdict); i++) {
        char checks[40 * sizeof CHECK] = CHECK;
        for (size_t k = 1; k < (i == 0 ? 20 : 21); k++) {
            const char *other =
                i == 2 && k % 2 == 1
                    ? ","
                      "{\"water\": \"fresh\", \"depth_m\": 0, \"pressure_bar\": 50, "
                      "\"lead_kg\": {\"belt\": 15}}"
                    : "," CHECK;
            strcat(checks, other);
        }
        write_kit(LEAD("belt", "5", "true"), "", checks, DIVE);
        json_t *document = report(), *record = json_object_get(document, "predictions");
        const char *says = json_string_value(json_object_get(record, "verdict"));
        assert_true(verdict[i] == NULL ? says == NULL : strcmp(says, verdict[i]) == 0);
        if (i == 1) {
            assert_close(of(record, "share_low"), 0.8316, 1e-3);
        }
        char *text = in_words(document);
        assert_true((strstr(text, "CONTRADICT EACH OTHER") != NULL) == (i == 2));
        assert_true(i != 2 || strstr(text, "CONTRADICT EACH OTHER") < strstr(text, "Lead to add"));
        free(text);
        json_decref(document);
    }
}

/* Never towards less lead: -1.26 and -0.04 become -1.2 and 0; bounds of the worst cases outwards.
 */
static void numbers_are_rounded_to_the_safe_side(void **state) {
    (void)state;
    write_kit(LEAD("belt", "5", "true"), "", CHECK, DIVE);
    json_t *document = report();
    json_t *lead =
        json_object_get(json_array_get(json_object_get(document, "lead"), 0), "lead_to_add");
    json_object_set_new(lead, "low_kg", json_real(-1.26));
    json_object_set_new(lead, "high_kg", json_real(-0.04));
    json_t *deep =
        json_object_get(json_array_get(json_object_get(document, "worst_cases"), 0), "lift");
    json_object_set_new(deep, "least_kg", json_real(-7.01));
    json_object_set_new(deep, "most_kg", json_real(-2.19));
    json_t *surplus = json_object_get(document, "surplus");
    json_object_set_new(surplus, "low_kg", json_real(0.09));
    json_object_set_new(surplus, "high_kg", json_real(1.29));
    char *text = in_words(document);
    assert_non_null(strstr(text, "10 bar   from -1.2 to +0.0 kg; check in the water before"));
    assert_non_null(strstr(text, "from -7.1 to -2.1 kg"));
    assert_non_null(strstr(text, "from 0.0 to 1.2 kg may be too much"));
    assert_true(strstr(text, "never replaces one") < strstr(text, "Lead to add"));
    free(text);
    json_decref(document);
}

/* Where it is, what, and what to do; null is no mistake where a number may stay unknown. */
static void mistakes_are_named(void **state) {
    static const char belt[] = LEAD("belt", "5", "true");
    static const struct {
        const char *parts, *more, *checks, *dive, *says;
    } row[] = {
        {"{\"name\": \"a\", \"mas_kg\": 1}", "", CHECK, DIVE,
         "parts[1].mas_kg: this key is not known"},
        {"{\"name\": \"a\", \"kind\": \"drysuit\"}", "", CHECK, DIVE, "parts[1]: give gear, lead"},
        {"{\"name\": \"a\", \"kind\": \"lead\"}", "", CHECK, DIVE,
         "parts[1].mass_kg: this is missing"},
        {"{\"name\": \"a\", \"mass_kg\": 1}", "", CHECK, DIVE, "parts[1].volume_l: give volume_l"},
        {"{\"name\": \"a\", \"mass_kg\": 61, \"volume_l\": 1}", "", CHECK, DIVE,
         "from 0.0001 to 60"},
        {belt, "", "{\"water\": \"fresh\", \"depth_m\": null, \"pressure_bar\": 1}", DIVE,
         "checks[0].depth_m: give a number from 0 to 60"},
        {belt, "\"moves\": 3,", CHECK, DIVE, "moves: this must be a list"},
        {belt, "", CHECK, DIVE ", \"deco\": 3", "decompression are beyond this program"},
        {belt, "", CHECK, DIVE ", \"stop_m\": 20.5", "dive.stop_m: give a number from 1 to 20"},
        {belt, "", CHECK, DIVE ", \"altitude_m\": 1, \"air_pressure_hpa\": 950", "not both"},
        {"{\"name\": \"stage\", \"kind\": \"cylinder\", \"water_volume_l\": 7, \"empty_mass_kg\": "
         "8, "
         "\"metal\": \"steel\", \"working_pressure_bar\": 232, \"oxygen_percent\": 32}",
         "", CHECK, DIVE, "several gases are beyond this program"},
        {belt, "\"accept\": [\"all\"],", CHECK, DIVE, "accept[0]: give one of: contested"}};
    (void)state;
    for (size_t i = 0; i < ARRAY(row); i++) {
        write_kit(row[i].parts, row[i].more, row[i].checks, row[i].dive);
        assert_kit_refused(row[i].says);
    }
    write_kit("{\"name\": \"a\", \"mass_kg\": 1, \"volume_l\": null, \"place_m\": null}", "", CHECK,
              DIVE);
    json_decref(report());
}

/* What rounds to nothing has no minus and no direction; few draws that fit are said to a person. */
static void nothing_is_neither_up_nor_down(void **state) {
    (void)state;
    json_t *document =
        json_pack("{s:f, s:[{s:s, s:f, s:f, s:{s:f, s:f, s:f}}]}", "effective_draws", 399.0, "dive",
                  "when", "surface, full", "depth_m", 0.0, "pressure_bar", 0.0, "lift", "value_kg",
                  -0.04, "low_kg", -0.23, "high_kg", -0.01);
    char *text = in_words(document);
    assert_non_null(strstr(text, "   0 bar   +0.0 kg      (-0.2 to +0.0)\n"));
    assert_non_null(strstr(text, "\nROUGH: only 399 of the simulated divers fit"));
    free(text);
    json_object_set_new(document, "effective_draws", json_real(400));
    text = in_words(document);
    assert_null(strstr(text, "ROUGH"));
    free(text);
    json_decref(document);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(the_worst_cases_lose_what_they_say),
        TEST(the_lead_of_the_dive_counts),
        TEST(a_cylinder_turns_positive),
        TEST(valve_and_boot_are_stated),
        TEST(lead_that_is_too_much_costs),
        TEST(ditchable_lead_stays_ditchable),
        TEST(no_more_moves_are_made_up_than_anybody_reads),
        TEST(the_record_gives_no_verdict_below_twenty),
        TEST(numbers_are_rounded_to_the_safe_side),
        TEST(nothing_is_neither_up_nor_down),
        TEST(mistakes_are_named),
    };
    return cmocka_run_group_tests_name("kit: the report", tests, NULL, NULL);
}
