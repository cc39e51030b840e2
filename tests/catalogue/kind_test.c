/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Kinds of items: what is set for them, and what trials teach. */
#include <gsl/gsl_randist.h>

#include "support.h"

static const double COUNTS_G = -500; /* of the simulated calibration: a cell that falls with load */

static struct up_item add_of_kind(struct up_catalogue *catalogue, const char *name,
                                  const char *kind, int pieces) {
    struct up_failure failure = {0};
    struct up_item item = plain_item(name);
    snprintf(item.kind, sizeof item.kind, "%s", kind);
    item.pieces = pieces;
    if (!up_item_add(catalogue, &item, &failure)) {
        fail_msg("%s", failure.text);
    }
    return item;
}

static int ended_early; /* of the readings of the trials that follow */

/* As a session stores it. */
static void add_trial(struct up_catalogue *catalogue, const struct up_item *item,
                      const char *run_id, const char *bench, int number, double load_g,
                      const double *gain_g, size_t gains) {
    struct up_failure failure = {0};
    json_t *list = json_array();
    for (size_t i = 0; i < gains; i++) {
        json_array_append_new(list, json_real(gain_g[i] * fabs(COUNTS_G)));
    }
    json_t *content =
        json_pack("{s:s, s:s, s:i, s:f, s:f, s:f, s:i, s:b, s:f, s:f, s:o, s:b}", "run_id", run_id,
                  "item_id", item->id, "number", number, "load_counts", load_g * COUNTS_G, "load_g",
                  load_g, "u_plateau_counts", 5.0, "shakes", (int)gains, "still_gaining", 0,
                  "soak_s", 60.0, "temp_c", 20.0, "gain_counts", list, "shakes_set", number > 1);
    if (ended_early > 0) {
        json_object_set_new(content, "readings_ended_early", json_integer(ended_early));
    }
    if (!up_catalogue_add(catalogue, "trial", NULL, bench, content, NULL, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
    json_decref(content);
}

static struct up_kind learned(struct up_catalogue *catalogue, const char *name, const char *bench) {
    struct up_failure failure = {0};
    struct up_kind kind;
    if (!up_kind_learn(catalogue, name, bench, &kind, &failure)) {
        fail_msg("%s", failure.text);
    }
    return kind;
}

/* ---- repeatability ---- */

/* Five loads of a given mean and standard deviation: -1, -0.5, 0, 0.5, 1 have sqrt(0.625). */
static void add_run_of_five(struct up_catalogue *catalogue, const struct up_item *item,
                            const char *run_id, const char *bench, double mean_g, double sd_g) {
    for (int i = 0; i < 5; i++) {
        add_trial(catalogue, item, run_id, bench, i + 1,
                  mean_g + sd_g * (i * 0.5 - 1) / sqrt(0.625), NULL, 0);
    }
}

/* GUM (JCGM 100:2008) H.5: five readings on each of ten days, table H.9: the days' standard
   deviations in microvolts, here taken as milligrams; pooled 85 with 40 degrees of freedom
   (H.5.2.2), 84.8870 unrounded, computed from the printed ones. */
static const double day_sd[] = {60, 77, 111, 101, 67, 93, 80, 73, 88, 86};
static const double GUM_POOLED = 84.8870, GUM_DOF = 40;

static void runs_pool_as_in_the_gum(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item fin[] = {add_of_kind(catalogue, "A", "fin", 1),
                            add_of_kind(catalogue, "B", "Fin", 1),
                            add_of_kind(catalogue, "C", "FIN", 1)};
    struct up_item boot = add_of_kind(catalogue, "D", "boot", 1);
    char run_id[UP_ID_SIZE];
    for (size_t i = 0; i < ARRAY(day_sd); i++) {
        up_new_id(run_id);
        add_run_of_five(catalogue, &fin[i % 2], run_id, "one", 100.0 * (double)i - 400,
                        day_sd[i] * 1e-3);
        up_new_id(run_id);
        add_run_of_five(catalogue, &fin[0], run_id, "two", 7, 1);
        up_new_id(run_id);
        add_run_of_five(catalogue, &boot, run_id, "one", 7, 3);
    }
    struct up_kind kind = learned(catalogue, "fin", "one");
    assert_true(fabs(kind.repeatability_kg.u * 1e6 - GUM_POOLED) < 1e-3);
    assert_true(kind.repeatability_kg.dof == GUM_DOF && kind.repeatability_kg.value == 0);
    assert_true(kind.repeatability_pair_kg.u == 0 && kind.repeatability_pair_kg.dof == 0);
    assert_int_equal(kind.items, 2);
    assert_int_equal(kind.runs, 10);
    assert_int_equal(kind.share.shares, 0);
    assert_true(isnan(kind.share.at_least));
    kind = learned(catalogue, "fin", "two");
    assert_true(fabs(kind.repeatability_kg.u - 1e-3) < 1e-12 && kind.items == 1);
    kind = learned(catalogue, "boot", "one");
    assert_true(fabs(kind.repeatability_kg.u - 3e-3) < 1e-12);
    kind = learned(catalogue, "boot", "two");
    assert_true(kind.repeatability_kg.u == 0 && kind.runs == 0 && kind.items == 0);
    kind = learned(catalogue, "hood", "one");
    assert_true(kind.repeatability_kg.u == 0 && kind.tolerance_one_g == 0);
    assert_string_equal(kind.name, "hood");
    up_catalogue_close(catalogue);
}

static void a_pair_is_pooled_apart(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item one = add_of_kind(catalogue, "A", "boot", 1);
    struct up_item pair = add_of_kind(catalogue, "B", "boot", 2);
    struct up_item three = add_of_kind(catalogue, "C", "boot", 3);
    char run_id[UP_ID_SIZE];
    up_new_id(run_id);
    add_run_of_five(catalogue, &one, run_id, "one", 50, 0.1);
    add_run_of_five(catalogue, &pair, run_id, "one", 100, 0.2);
    add_run_of_five(catalogue, &three, run_id, "one", 150, 9);
    struct up_kind kind = learned(catalogue, "boot", "one");
    assert_true(fabs(kind.repeatability_kg.u - 1e-4) < 1e-12 && kind.repeatability_kg.dof == 4);
    assert_true(fabs(kind.repeatability_pair_kg.u - 2e-4) < 1e-12 &&
                kind.repeatability_pair_kg.dof == 4);
    assert_int_equal(kind.items, 3);
    up_catalogue_close(catalogue);
}

/* They end where the class is clear, and so lean away from the lines. */
static void quick_trials_teach_nothing(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of_kind(catalogue, "A", "boot", 1);
    char run_id[UP_ID_SIZE];
    up_new_id(run_id);
    for (int i = 0; i < 5; i++) {
        json_t *content = json_pack("{s:s, s:s, s:i, s:f, s:f, s:b}", "run_id", run_id, "item_id",
                                    item.id, "number", i + 1, "load_counts", 50.0 * i * COUNTS_G,
                                    "load_g", 50.0 * i, "is_quick", 1);
        assert_true(up_catalogue_add(catalogue, "trial", NULL, "one", content, NULL, NULL, NULL));
        json_decref(content);
    }
    struct up_kind kind = learned(catalogue, "boot", "one");
    assert_true(kind.repeatability_kg.u == 0 && kind.runs == 0);
    up_catalogue_close(catalogue);
}

/* Single trials say nothing about scatter: their items' means are no scatter of a trial. */
static void single_trials_teach_nothing(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (int i = 0; i < 4; i++) {
        char run_id[UP_ID_SIZE];
        char *name = up_text_format("fin %d", i);
        struct up_item item = add_of_kind(catalogue, name, "fin", 1);
        up_new_id(run_id);
        add_trial(catalogue, &item, run_id, "one", 1, 10.0 * i, NULL, 0);
        free(name);
    }
    struct up_kind kind = learned(catalogue, "fin", "one");
    assert_true(kind.repeatability_kg.u == 0 && kind.repeatability_kg.dof == 0);
    assert_int_equal(kind.runs, 4);
    up_catalogue_close(catalogue);
}

static void a_trial_that_a_result_left_out_teaches_nothing(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of_kind(catalogue, "A", "fin", 1);
    char run_id[UP_ID_SIZE], other[UP_ID_SIZE];
    up_new_id(run_id);
    up_new_id(other);
    add_run_of_five(catalogue, &item, run_id, "one", 50, 0.1);
    add_trial(catalogue, &item, run_id, "one", 6, 90, NULL, 0);
    add_run_of_five(catalogue, &item, other, "one", 50, 0.1);
    add_trial(catalogue, &item, other, "one", 6, 50, NULL, 0);
    assert_true(learned(catalogue, "fin", "one").repeatability_kg.u > 0.01);
    struct up_result result = plain_result(item.id, "tank");
    memcpy(result.run_id, run_id, sizeof run_id);
    result.left_out = 1U << 5;
    assert_true(up_results_add(catalogue, &result, 1, "one", NULL));
    struct up_kind kind = learned(catalogue, "fin", "one");
    /* 4 of the first run, 5 of the second, whose sixth lies at the mean of the others */
    assert_true(kind.repeatability_kg.dof == 9);
    assert_true(fabs(kind.repeatability_kg.u - sqrt(8 * 0.01 / 9) * 1e-3) < 1e-10);
    up_catalogue_close(catalogue);
}

/* A run that was left and the one that goes on with it have one result. */
static void a_run_that_goes_on_is_one(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of_kind(catalogue, "A", "fin", 1);
    char left[UP_ID_SIZE], last[UP_ID_SIZE];
    up_new_id(left);
    up_new_id(last);
    json_t *content = json_pack("{s:s, s:[s]}", "what", "measure", "continues", left);
    assert_true(up_catalogue_add(catalogue, "run", last, "one", content, NULL, NULL, NULL));
    json_decref(content);
    add_trial(catalogue, &item, left, "one", 1, 90, NULL, 0);
    add_trial(catalogue, &item, left, "one", 2, 50.1, NULL, 0);
    add_trial(catalogue, &item, last, "one", 3, 50, NULL, 0);
    add_trial(catalogue, &item, last, "one", 4, 49.9, NULL, 0);
    struct up_result result = plain_result(item.id, "tank");
    memcpy(result.run_id, last, sizeof last);
    result.left_out = 1;
    assert_true(up_results_add(catalogue, &result, 1, "one", NULL));
    struct up_kind kind = learned(catalogue, "fin", "one");
    assert_true(kind.repeatability_kg.dof == 2 && kind.runs == 1);
    assert_true(fabs(kind.repeatability_kg.u - 0.1e-3) < 1e-10);
    up_catalogue_close(catalogue);
}

/* What an item took up from trial to trial is no scatter of its kind. */
static void water_taken_up_teaches_nothing(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of_kind(catalogue, "A", "fin", 1);
    char run_id[UP_ID_SIZE], wet[UP_ID_SIZE];
    up_new_id(run_id);
    up_new_id(wet);
    add_run_of_five(catalogue, &item, run_id, "one", 50, 0.1);
    for (int i = 1; i <= 5; i++) {
        const double gain_g[] = {5, 1, 1};
        add_trial(catalogue, &item, wet, "one", i, 50 + i, gain_g, ARRAY(gain_g));
    }
    struct up_result result = plain_result(item.id, "tank");
    memcpy(result.run_id, wet, sizeof wet);
    result.takes_up_water = true;
    assert_true(up_results_add(catalogue, &result, 1, "one", NULL));
    struct up_kind kind = learned(catalogue, "fin", "one");
    assert_true(kind.repeatability_kg.dof == 4 && kind.share.shares == 0);
    assert_true(fabs(kind.repeatability_kg.u - 0.1e-3) < 1e-10);
    up_catalogue_close(catalogue);
}

/* ---- share of a shake ---- */

enum { SHAKES = 4, RUNS = 6, TRIALS = 5 };

/* Each shake frees 0.6 to 0.8 of the air left; every reading scatters by 0.05 g of hanging. */
static void shakes_tell_their_share(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of_kind(catalogue, "A", "boot", 1);
    gsl_rng *hand = gsl_rng_alloc(gsl_rng_mt19937);
    double gain_g[RUNS * TRIALS][SHAKES];
    gsl_rng_set(hand, 5);
    for (int run = 0; run < RUNS; run++) {
        char run_id[UP_ID_SIZE];
        up_new_id(run_id);
        for (int trial = 0; trial < TRIALS; trial++) {
            double *gained_g = gain_g[run * TRIALS + trial];
            double air_g = 20 + 20 * gsl_rng_uniform(hand), load_g = 0;
            double before_g = -air_g + gsl_ran_gaussian(hand, 0.05);
            for (int i = 0; i < SHAKES; i++) {
                air_g *= 1 - (0.6 + 0.2 * gsl_rng_uniform(hand));
                load_g = -air_g + gsl_ran_gaussian(hand, 0.05);
                gained_g[i] = load_g - before_g;
                before_g = load_g;
            }
            add_trial(catalogue, &item, run_id, "one", trial + 1, 100 + load_g, gained_g, SHAKES);
        }
    }
    gsl_rng_free(hand);
    struct up_kind kind = learned(catalogue, "boot", "one");
    /* Mean 0.7 known to 0.01 (90 shares of standard deviation 0.06), allowance four of these. */
    assert_true(kind.share.shares > 30);
    assert_true(fabs(kind.share.mean.value - 0.7) < 0.04);
    /* At least: 0.6 is the least there is; the bound of normal shares lies a little about it. */
    assert_true(kind.share.at_least > 0.5 && kind.share.at_least < 0.65);
    assert_true(kind.repeatability_kg.dof == RUNS * (TRIALS - 1));
    /* A gain is the difference of two readings, each of which scatters as a trial does. */
    struct up_shaken shaken[RUNS * TRIALS];
    struct up_share wanted;
    for (size_t i = 0; i < RUNS * TRIALS; i++) {
        double stop_g = i % TRIALS == 0 ? 0.5 : 0; /* the first trial sets the number of shakes */
        shaken[i] =
            (struct up_shaken){gain_g[i], SHAKES, sqrt(2) * 1e3 * kind.repeatability_kg.u, stop_g};
    }
    assert_true(up_find_share(shaken, RUNS * TRIALS, &wanted));
    assert_true(fabs(kind.share.at_least - wanted.at_least) < 1e-6);
    up_catalogue_close(catalogue);
}

/* Their gains are known within a bound only; the last reading, and so the load, was read in full.
 */
static void gains_of_readings_that_ended_early_teach_no_share(void **state) {
    static const double gain_g[SHAKES] = {20, 8, 3.2, 1.3};
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item boot = add_of_kind(catalogue, "A", "boot", 1);
    struct up_item hood = add_of_kind(catalogue, "B", "hood", 1);
    char run_id[UP_ID_SIZE], other[UP_ID_SIZE];
    up_new_id(run_id);
    up_new_id(other);
    for (int trial = 0; trial < TRIALS; trial++) {
        double load_g = 50 + 0.1 * trial;
        add_trial(catalogue, &hood, other, "one", trial + 1, load_g, gain_g, SHAKES);
        ended_early = 2;
        add_trial(catalogue, &boot, run_id, "one", trial + 1, load_g, gain_g, SHAKES);
        ended_early = 0;
    }
    assert_true(learned(catalogue, "hood", "one").share.shares > 0);
    struct up_kind kind = learned(catalogue, "boot", "one");
    assert_int_equal(kind.share.shares, 0);
    assert_true(kind.repeatability_kg.dof == TRIALS - 1);
    up_catalogue_close(catalogue);
}

/* ---- tolerances ---- */

static void set(struct up_catalogue *catalogue, const char *name, double one_g, double pair_g) {
    struct up_failure failure = {0};
    struct up_kind kind = {.tolerance_one_g = one_g, .tolerance_pair_g = pair_g};
    snprintf(kind.name, sizeof kind.name, "%s", name);
    if (!up_kind_set(catalogue, &kind, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void the_newest_tolerance_counts(void **state) {
    (void)state;
    struct up_intake taken;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *other = open_as("d", UP_CATALOGUE_CREATE);
    set(catalogue, "fin", 25, 0);
    struct up_kind kind = learned(catalogue, "Fin", "one");
    assert_true(kind.tolerance_one_g == 25 && kind.tolerance_pair_g == 0);
    catalogue_clock_step_s = 100;
    set(other, "FIN", 40, 80); /* apart, later, and otherwise spelled */
    set(other, "boot", 400, 800);
    catalogue_clock_step_s = 50;
    set(catalogue, "fin", 30, 60);
    assert_true(up_catalogue_merge(catalogue, "d", false, &taken, &failure));
    kind = learned(catalogue, "fin", "one"); /* that of here counts, though it is older */
    assert_true(kind.tolerance_one_g == 30 && kind.tolerance_pair_g == 60);
    assert_int_equal(count_kind(catalogue, "gear_kind"), 2);
    double boot_g = 50; /* nobody set it here */
    assert_true(up_kind_tolerance(catalogue, "boot", 1, &boot_g, &failure) && boot_g == 50);
    assert_true(learned(catalogue, "boot", "one").tolerance_one_g == 0);
    assert_true(up_catalogue_merge(other, "c", false, &taken, &failure));
    assert_true(learned(other, "fin", "one").tolerance_one_g == 40);
    catalogue_clock_step_s = -100; /* a clock set back does not bring the old one back */
    set(other, "fin", 10, 0);
    kind = learned(other, "fin", "one");
    assert_true(kind.tolerance_one_g == 10 && kind.tolerance_pair_g == 0);
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

static void a_pair_has_a_tolerance_of_its_own(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    double one_g = 50, pair_g = 100, other_g = 7;
    set(catalogue, "fin", 25, 60);
    assert_true(up_kind_tolerance(catalogue, "Fin", 1, &one_g, &failure));
    assert_true(up_kind_tolerance(catalogue, "fin", 2, &pair_g, &failure));
    assert_true(up_kind_tolerance(catalogue, "boot", 2, &other_g, &failure));
    assert_true(one_g == 25 && pair_g == 60 && other_g == 7);
    up_catalogue_close(catalogue);
}

/* As the tolerances: of a name, with the case of its letters let go, the newest. */
static void what_may_stay_is_kept(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_kind kind = {.name = "fin", .stuck_share = 0.25, .stuck_g = 3}, found;
    assert_true(up_kind_set(catalogue, &kind, &failure));
    assert_true(up_kind_find(catalogue, "FIN", &found, &failure));
    assert_true(found.stuck_share == 0.25 && found.stuck_g == 3 && found.tolerance_one_g == 0);
    found = learned(catalogue, "Fin", "one");
    assert_true(found.stuck_share == 0.25 && found.stuck_g == 3);
    assert_true(up_kind_find(catalogue, "boot", &found, &failure));
    assert_true(found.stuck_share == 0 && found.stuck_g == 0);
    up_catalogue_close(catalogue);
}

static void wrong_kinds_are_refused(void **state) {
    (void)state;
    static const double bad[] = {-1, 0.99, 1000.01, (double)NAN, (double)INFINITY};
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_kind kind = {.name = " "};
    assert_false(up_kind_set(catalogue, &kind, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "a kind's --name");
    for (size_t i = 0; i < ARRAY(bad); i++) {
        kind = (struct up_kind){.name = "fin", .tolerance_one_g = bad[i]};
        assert_false(up_kind_set(catalogue, &kind, &failure));
        kind = (struct up_kind){.name = "fin", .tolerance_pair_g = bad[i]};
        assert_false(up_kind_set(catalogue, &kind, &failure));
        assert_says(&failure, UP_STATUS_WRONG_INPUT, "tolerances");
    }
    kind = (struct up_kind){.name = "fin",
                            .tolerance_one_g = 501}; /* as a pair's it is none too wide */
    assert_false(up_kind_set(catalogue, &kind, &failure));
    assert_int_equal(count_kind(catalogue, "gear_kind"), 0);
    up_catalogue_close(catalogue);
}

static void hostile_kinds_are_kept_apart(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        set(catalogue, hostile_names[i].given, 1 + (double)i, 0);
    }
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        struct up_kind kind = learned(catalogue, hostile_names[i].given, "one");
        assert_string_equal(kind.name, hostile_names[i].stored);
        assert_true(kind.tolerance_one_g == 1 + (double)i);
    }
    up_catalogue_close(catalogue);
}

/* A trial as somebody else might have written it is left aside, not fallen over. */
static void odd_trials_are_left_aside(void **state) {
    (void)state;
    static const char *const odd[] = {
        "{\"number\": 3, \"load_g\": null, \"load_counts\": 5}",
        "{\"number\": 3, \"load_g\": 0, \"load_counts\": 0, \"gain_counts\": [1, 2, 3]}",
        "{\"number\": \"x\", \"load_g\": 1, \"load_counts\": 1}",
        "{\"number\": 3, \"load_g\": 0, \"load_counts\": 0, \"gain_counts\": {\"a\": 1}}"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of_kind(catalogue, "A", "fin", 1);
    char run_id[UP_ID_SIZE];
    up_new_id(run_id);
    add_run_of_five(catalogue, &item, run_id, "one", 0, 0.1);
    for (size_t i = 0; i < ARRAY(odd); i++) {
        json_t *content = json_loads(odd[i], 0, NULL);
        json_object_set_new(content, "item_id", json_string(item.id));
        json_object_set_new(content, "run_id", json_string(run_id));
        assert_true(up_catalogue_add(catalogue, "trial", NULL, "one", content, NULL, NULL, NULL));
        json_decref(content);
    }
    struct up_kind kind = learned(catalogue, "fin", "one");
    assert_true(kind.repeatability_kg.dof == 6); /* the two at 0 g are loads of 0 g */
    assert_int_equal(kind.share.shares, 0);
    up_catalogue_close(catalogue);
}

/* ---- all kinds ---- */

static void kinds_that_cannot_be_learned_leave_nothing(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_kind one, *kinds = &one;
    size_t count = 7;
    add_of_kind(catalogue, "A", "fin", 1);
    sql(catalogue->database,
        "INSERT INTO record VALUES ('broken-id','1','trial','s','','2000','[1]')");
    assert_false(up_kinds_learn(catalogue, &kinds, &count, &failure));
    assert_null(kinds);
    assert_int_equal(count, 0);
    up_catalogue_close(catalogue);
}

/* As it is spelled here, though a guest's older item spells it otherwise. */
static void a_kind_is_spelled_as_here(void **state) {
    (void)state;
    struct up_kind *kinds;
    size_t count;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_of_kind(catalogue, "A", "FIN", 1);
    sql(catalogue->database, "DELETE FROM local_mark");
    catalogue_clock_step_s = 10;
    add_of_kind(catalogue, "B", "fin", 1);
    assert_true(up_kinds_learn(catalogue, &kinds, &count, NULL));
    assert_int_equal(count, 1);
    assert_string_equal(kinds[0].name, "fin");
    free(kinds);
    up_catalogue_close(catalogue);
}

static void all_kinds_are_listed_by_bench(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item fin = add_of_kind(catalogue, "A", "fin", 1);
    struct up_kind *kinds;
    size_t count;
    char run_id[UP_ID_SIZE];
    assert_true(up_kinds_learn(catalogue, &kinds, &count, &failure));
    assert_int_equal(count, 1);
    free(kinds);
    set(catalogue, "Fin", 25, 0);
    set(catalogue, "weight", 5, 10);
    add_of_kind(catalogue, "B", "boot", 2);
    for (int i = 0; i < 2; i++) {
        up_new_id(run_id);
        add_run_of_five(catalogue, &fin, run_id, i == 0 ? "two" : "one", 7, 0.1 * (i + 1));
    }
    assert_true(up_kinds_learn(catalogue, &kinds, &count, &failure));
    assert_int_equal(count, 4);
    assert_string_equal(kinds[0].name, "boot");
    assert_string_equal(kinds[0].bench, "");
    assert_string_equal(kinds[1].bench, "one");
    assert_string_equal(kinds[2].bench, "two");
    assert_true(kinds[1].tolerance_one_g == 25 && kinds[2].tolerance_one_g == 25);
    assert_true(fabs(kinds[1].repeatability_kg.u - 2e-4) < 1e-12);
    assert_true(fabs(kinds[2].repeatability_kg.u - 1e-4) < 1e-12);
    assert_string_equal(kinds[3].name, "weight");
    assert_true(kinds[3].tolerance_pair_g == 10 && kinds[3].runs == 0);
    free(kinds);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(runs_pool_as_in_the_gum),
        TEST(a_pair_is_pooled_apart),
        TEST(quick_trials_teach_nothing),
        TEST(single_trials_teach_nothing),
        TEST(a_trial_that_a_result_left_out_teaches_nothing),
        TEST(a_run_that_goes_on_is_one),
        TEST(water_taken_up_teaches_nothing),
        TEST(shakes_tell_their_share),
        TEST(gains_of_readings_that_ended_early_teach_no_share),
        TEST(the_newest_tolerance_counts),
        TEST(a_pair_has_a_tolerance_of_its_own),
        TEST(what_may_stay_is_kept),
        TEST(wrong_kinds_are_refused),
        TEST(hostile_kinds_are_kept_apart),
        TEST(odd_trials_are_left_aside),
        TEST(a_kind_is_spelled_as_here),
        TEST(all_kinds_are_listed_by_bench),
        TEST(kinds_that_cannot_be_learned_leave_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
