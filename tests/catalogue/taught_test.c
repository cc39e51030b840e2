/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a bench teaches itself, and what of a quick weighing the catalogue keeps. */
#include "support.h"

#include "catalogue/claim.h"
#include "catalogue/taught.h"

/* ---- learning: only its own runs, on the same schedule, of real items for real ones ---- */

enum { ITEMS = 6, TRACES = 3 };

static struct up_taught_bench rig;
static struct up_calibration calibration; /* of the catalogue that is open */

static struct up_catalogue *open_calibrated(const char *directory) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    calibration = plain_calibration("bench", 4e5);
    assert_true(up_calibration_add(catalogue, &calibration, NULL));
    return catalogue;
}

static void begin_rig(void) {
    rig = (struct up_taught_bench){
        .id = "bench", .rig_sha256 = "its line and sensor", .read_after_s = 20, .window_s = 8};
}

/* Traces that settle from 10 g off, a little otherwise each. */
static json_t *taught_of(const struct up_taught_bench *of, const struct up_early_watch *watch) {
    struct up_quick_taught taught[TRACES];
    for (int i = 0; i < TRACES; i++) {
        taught[i] = (struct up_quick_taught){.step = UP_QUICK_LIFTED, .step_kg = 0.3};
        for (int t = 0; t < UP_EARLY_VALUES; t++) {
            taught[i].off_kg[t] = (i - 1) * 1e-2 / (1 + t);
        }
    }
    return up_taught_to_json(of, taught, TRACES, watch);
}

struct run_of {
    const char *bench, *sha256, *how_ended, *queue;
    bool elsewhere;
    const struct up_early_watch *watch;
};

static void add_run(struct up_catalogue *catalogue, const struct run_of *of,
                    const struct up_taught_bench *as, int item) {
    char item_id[UP_ID_SIZE], id[UP_ID_SIZE];
    snprintf(item_id, sizeof item_id, "%08d-0000-4000-8000-000000000000", item);
    json_t *content = json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:o}", "what", "measure", "version",
                                "0", "item_id", item_id, "calibration_id", calibration.id,
                                "rig_sha256", of->sha256 != NULL ? of->sha256 : as->rig_sha256,
                                "how_ended", of->how_ended != NULL ? of->how_ended : "completed",
                                "taught", taught_of(as, of->watch));
    if (of->queue != NULL) {
        json_object_set_new(content, "queue", json_pack("{s:s}", "id", of->queue));
    }
    assert_true(up_catalogue_add(catalogue, "run", NULL, of->bench != NULL ? of->bench : "bench",
                                 content, NULL, id, NULL));
    json_decref(content);
    if (of->elsewhere) { /* as one that came by import */
        char *text = up_text_format("DELETE FROM local_mark WHERE record_id = '%s'", id);
        sql(catalogue->database, text);
        free(text);
    }
    catalogue_clock_step_s++;
}

static struct up_early_envelope learned(struct up_catalogue *catalogue) {
    struct up_early_envelope envelope[UP_QUICK_STEPS];
    struct up_failure failure = {0};
    if (!up_taught_learn(catalogue, &rig, envelope, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(envelope[UP_QUICK_SHAKEN].basis, UP_EARLY_NONE);
    return envelope[UP_QUICK_LIFTED];
}

static unsigned taught_by(const struct run_of *of, const struct up_taught_bench *as) {
    static int folder;
    char directory[16];
    snprintf(directory, sizeof directory, "c%d", folder++);
    struct up_catalogue *catalogue = open_calibrated(directory);
    for (int i = 0; i < ITEMS; i++) {
        add_run(catalogue, of, as, i);
    }
    struct up_early_envelope envelope = learned(catalogue);
    up_catalogue_close(catalogue);
    assert_true(envelope.traces == 0 || envelope.basis == UP_EARLY_FEW);
    return envelope.traces;
}

static void only_its_own_runs_teach_it(void **state) {
    (void)state;
    begin_rig();
    struct up_taught_bench other = rig, simulated = rig, narrow = rig;
    other.read_after_s = 15;
    narrow.window_s = 6;
    simulated.simulated = true;
    assert_int_equal(taught_by(&(struct run_of){.elsewhere = false}, &rig), ITEMS * TRACES);
    assert_int_equal(taught_by(&(struct run_of){.elsewhere = true}, &rig), 0);
    assert_int_equal(taught_by(&(struct run_of){.bench = "other"}, &rig), 0);
    assert_int_equal(taught_by(&(struct run_of){.sha256 = "another"}, &rig), 0);
    assert_int_equal(taught_by(&(struct run_of){.how_ended = "stopped"}, &rig), 0);
    assert_int_equal(taught_by(&(struct run_of){.queue = NULL}, &other), 0);
    assert_int_equal(taught_by(&(struct run_of){.queue = NULL}, &narrow), 0);
    assert_int_equal(taught_by(&(struct run_of){.queue = NULL}, &simulated), 0);
    rig.simulated = true;
    assert_int_equal(taught_by(&(struct run_of){.queue = NULL}, &simulated), ITEMS * TRACES);
}

/* What the session saw itself stays, of its whole queue; what came before it goes. */
static void what_was_rejected_is_forgotten(void **state) {
    (void)state;
    begin_rig();
    static const struct up_early_watch rejected[UP_QUICK_STEPS] = {
        [UP_QUICK_LIFTED] = {.seen = 5, .against = 7}};
    struct up_catalogue *catalogue = open_calibrated("c");
    for (int i = 0; i < ITEMS; i++) {
        add_run(catalogue, &(struct run_of){.queue = NULL}, &rig, i);
    }
    add_run(catalogue, &(struct run_of){.queue = "now"}, &rig, 7);
    assert_int_equal(learned(catalogue).traces, (ITEMS + 1) * TRACES);
    add_run(catalogue, &(struct run_of){.queue = "now", .watch = rejected}, &rig, 8);
    assert_int_equal(learned(catalogue).traces, 2 * TRACES);
    assert_int_equal(learned(catalogue).basis, UP_EARLY_NONE); /* too few again */
    add_run(catalogue, &(struct run_of){.queue = "now"}, &rig, 9);
    assert_int_equal(learned(catalogue).traces, 3 * TRACES);
    up_catalogue_close(catalogue);
}

static void a_trace_that_is_none_teaches_nothing(void **state) {
    (void)state;
    begin_rig();
    struct up_catalogue *catalogue = open_calibrated("c");
    json_t *taught = taught_of(&rig, NULL), *traces = json_object_get(taught, "traces");
    json_object_set_new(json_array_get(traces, 0), "step", json_string("thrown"));
    json_array_set_new(json_object_get(json_array_get(traces, 1), "off_kg"), 3, json_null());
    json_t *content = json_pack("{s:s, s:s, s:s, s:s, s:s, s:o}", "what", "measure", "item_id", "x",
                                "calibration_id", calibration.id, "rig_sha256", rig.rig_sha256,
                                "how_ended", "completed", "taught", taught);
    assert_true(up_catalogue_add(catalogue, "run", NULL, "bench", content, NULL, NULL, NULL));
    json_decref(content);
    assert_int_equal(learned(catalogue).traces, 1);
    up_catalogue_close(catalogue);
}

/* Of a folder that was copied, until a known mass has shown that the cell is the same. */
static void a_copied_folder_teaches_nothing_before_its_calibration_is_adopted(void **state) {
    (void)state;
    begin_rig();
    struct up_catalogue *catalogue = open_calibrated("c");
    for (int i = 0; i < ITEMS; i++) {
        add_run(catalogue, &(struct run_of){.queue = NULL}, &rig, i);
    }
    assert_int_equal(learned(catalogue).traces, ITEMS * TRACES);
    sql(catalogue->database, "UPDATE local_mark SET place = 'another'");
    assert_int_equal(learned(catalogue).traces, 0);
    assert_true(up_calibration_adopt(catalogue, calibration.id, NULL));
    assert_int_equal(learned(catalogue).traces, ITEMS * TRACES);
    up_catalogue_close(catalogue);
}

/* ---- a result ---- */

static struct up_result quick_result(bool at_most) {
    struct up_result result = plain_result("item", "tank");
    result.compressible = false;
    result.answer.expanded_u_kg = at_most ? (double)NAN : 0.004;
    result.answer.stuck_air_kg = at_most ? (double)NAN : 0.01;
    result.quick = (struct up_quick){.is = true,
                                     .at_most = at_most,
                                     .analysis = 2,
                                     .bound_one = 2.2,
                                     .bound_two = 2.5,
                                     .early_kg = 0.0015,
                                     .margin_kg = 0.002,
                                     .air_kg = at_most ? (double)INFINITY : 0.01,
                                     .low_kg = at_most ? -(double)INFINITY : -0.1375,
                                     .high_kg = -0.1195,
                                     .class_low_kg = at_most ? -(double)INFINITY : -0.137,
                                     .class_high_kg = -0.12,
                                     .aside = at_most ? UP_ASIDE_NOT : UP_ASIDE_AIR,
                                     .immersions = 1,
                                     .shakes = at_most ? 0 : 3,
                                     .readings = 3,
                                     .ended_early = 2,
                                     .mass_kg = 0.9,
                                     .u_mass_kg = 0.001};
    return result;
}

/* Grams of kilograms and back. */
static bool near(double a, double b) {
    return a == b || fabs(a - b) < 1e-15;
}

static void assert_same(const struct up_quick *a, const struct up_quick *b) {
    assert_true(a->is == b->is && a->at_most == b->at_most && a->aside == b->aside);
    assert_true(a->analysis == b->analysis && a->bound_one == b->bound_one &&
                a->bound_two == b->bound_two);
    assert_true(near(a->air_kg, b->air_kg) && near(a->low_kg, b->low_kg));
    assert_true(near(a->high_kg, b->high_kg) && near(a->class_low_kg, b->class_low_kg));
    assert_true(near(a->class_high_kg, b->class_high_kg));
    assert_true(near(a->early_kg, b->early_kg) && near(a->margin_kg, b->margin_kg));
    assert_true(a->immersions == b->immersions && a->shakes == b->shakes);
    assert_true(a->readings == b->readings && a->ended_early == b->ended_early);
    assert_true(a->mass_kg == b->mass_kg && a->u_mass_kg == b->u_mass_kg);
}

static void how_it_came_about_is_kept(void **state) {
    (void)state;
    for (int at_most = 0; at_most < 2; at_most++) {
        struct up_result was = quick_result(at_most), is;
        json_t *json = up_result_to_json(&was);
        assert_true(json_is_true(json_object_get(json, "is_quick")));
        assert_true(json_is_number(json_object_get(json, "at_most_g")) == at_most);
        assert_true(json_is_null(json_object_get(json, "expanded_u_g")) == at_most);
        assert_string_equal(json_string_value(json_object_get(json, "put_aside")),
                            at_most ? "" : "air");
        assert_non_null(strstr(json_string_value(json_object_get(json, "claim")), UP_CLAIM_QUICK));
        up_result_from_json(json, &is);
        assert_same(&is.quick, &was.quick);
        json_decref(json);
    }
    struct up_result full = plain_result("item", "tank"), is;
    json_t *json = up_result_to_json(&full);
    assert_true(json_is_false(json_object_get(json, "is_quick")));
    assert_null(json_object_get(json, "quick"));
    assert_null(strstr(json_string_value(json_object_get(json, "claim")), "quick"));
    json_object_del(json, "is_quick"); /* of before there were such */
    json_object_del(json, "put_aside");
    up_result_from_json(json, &is);
    assert_false(is.quick.is);
    json_decref(json);
}

static void it_says_why_it_is_put_aside(void **state) {
    (void)state;
    char why[UP_CLAIM_ASIDE_SIZE];
    struct up_result result = quick_result(false);
    result.question.tolerance_kg = 0.05;
    up_claim_aside(&result, why);
    assert_string_equal(why, "air that may still be in it reaches over the line at -50 g");
    result.quick.aside = UP_ASIDE_NEAR;
    result.answer.buoyancy_kg.value = 0.051;
    up_claim_aside(&result, why);
    assert_string_equal(why, "too near the line at +50 g");
    result.quick.aside = UP_ASIDE_SCATTER;
    up_claim_aside(&result, why);
    assert_non_null(strstr(why, "its kind is new"));
    result.quick.is = false;
    up_claim_aside(&result, why);
    assert_string_equal(why, "");
}

static bool stays(struct up_claim_rank there, struct up_claim_rank comes) {
    return up_claim_stays(there, comes);
}

/* One of here before one of elsewhere, a full one before a quick one of as many pieces, else the
   newer. */
static void a_full_one_counts_before_a_quick_one(void **state) {
    (void)state;
    const struct up_claim_rank full = {.pieces = 1}, quick = {.quick = true, .pieces = 1},
                               pair = {.quick = true, .pieces = 2},
                               guest = {.elsewhere = true, .pieces = 1},
                               guest_quick = {.elsewhere = true, .quick = true, .pieces = 1};
    assert_false(stays(full, full) || stays(quick, quick) || stays(quick, full));
    assert_true(stays(full, quick));
    assert_false(stays(full, pair)); /* it is another thing now */
    assert_true(stays(quick, guest) && stays(full, guest_quick));
    assert_false(stays(guest, quick));
    assert_true(stays(guest, guest_quick));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(only_its_own_runs_teach_it),
        TEST(what_was_rejected_is_forgotten),
        TEST(a_trace_that_is_none_teaches_nothing),
        TEST(a_copied_folder_teaches_nothing_before_its_calibration_is_adopted),
        TEST(how_it_came_about_is_kept),
        TEST(it_says_why_it_is_put_aside),
        TEST(a_full_one_counts_before_a_quick_one)};
    return cmocka_run_group_tests_name("catalogue: quick weighings", tests, NULL, NULL);
}
