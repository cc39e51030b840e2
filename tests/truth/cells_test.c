/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often the stated interval holds the truth, and how often a class is wrong, in cells of tank,
 * item and number of trials, beside a plain procedure in the same tanks. UPTHRUST_TRUTH_SESSIONS
 * sets the sessions a tank: 10000 in `make truth`, which prints the table; 40 in `make check`.
 *
 * Sessions of one cell are independent draws. An aim counts as missed where a true share right at
 * it would make such a count (binomial) so seldom that among all cells chance does so in one run of
 * a thousand. All cells together share sessions, so their share is taken by sessions, with four
 * standard deviations of its mean.
 */
#include <gsl/gsl_cdf.h>
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
#include "jobs.h"
#include "truth_cells.h"

enum { DRAWS = 1000, SESSIONS_SMALL = 40, SESSIONS_MAX = 1000000 };

static const double CONFIDENCE = 0.95, BEYOND_CHANCE = 4, SHOWN = 1.96;
/* Of all cells together, each looked at for too few, too many and wrong classes. */
static const double RARE = 1e-3;
enum { LOOKED_AT = 3 * TRUTH_TANKS * TRUTH_ITEMS * TRUTH_MODES * TRUTH_WATERS };

/* Of a cell: coverage at least and at most. Where rectangular terms make up half of the variance
   and more even a true budget may cover nearly all. */
static const double RULED = 0.5;

struct aim {
    double low, high;
};

static struct aim aim_of(unsigned mode, const struct truth_tally *tally) {
    bool ruled = tally->rectangular / tally->results >= RULED;
    if (mode == 2) { /* five or more trials */
        return (struct aim){0.94, ruled ? 0.995 : 0.97};
    }
    return (struct aim){0.92, 1};
}

static unsigned sessions_wanted(void) {
    const char *text = getenv("UPTHRUST_TRUTH_SESSIONS");
    long sessions = text != NULL ? strtol(text, NULL, 10) : SESSIONS_SMALL;
    return sessions < 4 ? 4 : sessions > SESSIONS_MAX ? SESSIONS_MAX : (unsigned)sessions;
}

/* ---- many sessions ---- */

static bool play(void *context, unsigned session, double *sum, struct up_failure *failure) {
    for (unsigned kind = 0; kind < TRUTH_TANKS; kind++) {
        unsigned long seed = 1 + session + (unsigned long)SESSIONS_MAX * kind;
        if (!truth_session(context, kind, seed, (struct truth_table *)sum, failure)) {
            return false;
        }
    }
    return true;
}

/* The caller frees it. */
static struct truth_table *run(struct truth_settings *settings, unsigned sessions) {
    struct truth_table *sum = calloc(1, sizeof *sum);
    struct up_failure failure = {0};
    assert_non_null(sum);
    if (!truth_share_out(sessions, play, settings, (double *)sum, sizeof *sum / sizeof(double),
                         &failure)) {
        fail_msg("%s", failure.text);
    }
    return sum;
}

/* ---- the table ---- */

static void print_head(const char *title) {
    print_message(
        "# %s\n"
        "# tank          item         n     coverage (95 %% interval)  bias g  z    wrong  "
        "undec trials   s | sea    z    | plain: cover  bias g  wrong    s\n",
        title);
}

static void print_cell(const struct truth_table *table, unsigned kind, unsigned item,
                       unsigned mode) {
    const struct truth_tally *ours = &table->ours[kind][item][mode][0];
    const struct truth_tally *sea = &table->ours[kind][item][mode][1];
    const struct truth_tally *plain = &table->plain[kind][item][TRUTH_DIPS_LEAST];
    double n = ours->results, low, high;
    truth_interval(ours->inside, n, SHOWN, &low, &high);
    print_message(
        "# %-13s %-12s %-5s %.4f (%.4f to %.4f)%s %+7.3f %4.2f %.4f  %.2f   %4.1f %4.0f | "
        "%.4f %4.2f |",
        truth_kinds[kind].name, truth_items[item].name, truth_modes[mode], ours->inside / n, low,
        high, ours->rectangular / n >= RULED ? "r" : " ", ours->error_g / n,
        sqrt(ours->ratio_squares / n), ours->wrong / n, ours->undecided / n, ours->trials / n,
        ours->seconds / n, sea->inside / n, sqrt(sea->ratio_squares / n));
    if (mode == 0) {
        print_message("        %.4f %+7.3f %.4f %4.0f", plain->inside / n, plain->error_g / n,
                      plain->wrong / n, plain->seconds / n);
    }
    print_message("\n");
}

static void print_table(const struct truth_table *table, const char *title) {
    print_head(title);
    for (unsigned kind = 0; kind < TRUTH_TANKS; kind++) {
        for (unsigned item = 0; item < TRUTH_ITEMS; item++) {
            for (unsigned mode = 0; mode < TRUTH_MODES; mode++) {
                print_cell(table, kind, item, mode);
            }
        }
    }
}

/* ---- the aims ---- */

static bool is_beyond(double hits, double n, double low, double high) {
    unsigned count = (unsigned)hits, of = (unsigned)n;
    return gsl_cdf_binomial_P(count, low, of) < RARE / LOOKED_AT ||
           (count > 0 && gsl_cdf_binomial_Q(count - 1, high, of) < RARE / LOOKED_AT);
}

static bool check_cell(const struct truth_table *table, unsigned kind, unsigned item, unsigned mode,
                       unsigned water) {
    const struct truth_tally *tally = &table->ours[kind][item][mode][water];
    struct aim aim = aim_of(mode, tally);
    bool covers = !is_beyond(tally->inside, tally->results, aim.low, aim.high);
    bool classes = !is_beyond(tally->wrong, tally->results, 0, 1 - CONFIDENCE);
    if (!covers || !classes) {
        print_message("# short: %s, %s, %s trials, %s: covers %.4f (aim %.3f to %.3f), wrong "
                      "classes %.4f\n",
                      truth_kinds[kind].name, truth_items[item].name, truth_modes[mode],
                      water == 0 ? "tank" : "sea", tally->inside / tally->results, aim.low,
                      aim.high, tally->wrong / tally->results);
    }
    return covers && classes;
}

static unsigned check_cells(const struct truth_table *table) {
    unsigned shorts = 0;
    for (unsigned kind = 0; kind < TRUTH_TANKS; kind++) {
        for (unsigned item = 0; item < TRUTH_ITEMS; item++) {
            for (unsigned mode = 0; mode < TRUTH_MODES; mode++) {
                for (unsigned water = 0; water < TRUTH_WATERS; water++) {
                    shorts += !check_cell(table, kind, item, mode, water);
                }
            }
        }
    }
    return shorts;
}

/* The plain procedure with as many dips as it takes to cover as much, or 94 %: does it get there
   sooner? */
static bool plain_is_sooner(const struct truth_tally *ours, const struct truth_tally *plain) {
    bool sooner = false;
    for (unsigned dips = TRUTH_DIPS_LEAST; dips <= TRUTH_DIPS_MAX; dips++) {
        double least = fmin(ours->inside, 0.94 * ours->results);
        double seconds = plain[dips].seconds / plain[dips].results;
        sooner = sooner || (plain[dips].inside >= least && seconds < ours->seconds / ours->results);
    }
    return sooner;
}

struct sums {
    struct truth_tally ours[TRUTH_MODES][TRUTH_WATERS], plain[TRUTH_DIPS_MAX + 1];
};

static void add_tally(struct truth_tally *sum, const struct truth_tally *tally) {
    double *to = (double *)sum;
    const double *from = (const double *)tally;
    for (size_t i = 0; i < sizeof *sum / sizeof *to; i++) {
        to[i] += from[i];
    }
}

static struct sums sum_up(const struct truth_table *table) {
    struct sums sums = {0};
    for (unsigned kind = 0; kind < TRUTH_TANKS; kind++) {
        for (unsigned item = 0; item < TRUTH_ITEMS; item++) {
            for (unsigned dips = TRUTH_DIPS_LEAST; dips <= TRUTH_DIPS_MAX; dips++) {
                add_tally(&sums.plain[dips], &table->plain[kind][item][dips]);
            }
            for (unsigned mode = 0; mode < TRUTH_MODES; mode++) {
                add_tally(&sums.ours[mode][0], &table->ours[kind][item][mode][0]);
                add_tally(&sums.ours[mode][1], &table->ours[kind][item][mode][1]);
            }
        }
    }
    return sums;
}

static void print_plain(const struct truth_table *table, const struct sums *sums) {
    for (unsigned dips = TRUTH_DIPS_LEAST; dips <= TRUTH_DIPS_MAX; dips += 3) {
        const struct truth_tally *plain = &sums->plain[dips];
        print_message(
            "# plain, %2u dips, t s / sqrt(n): covers %.4f; wrong classes %.5f a session; "
            "%.0f s\n",
            dips, plain->inside / plain->results, plain->wrong / plain->results,
            plain->seconds / plain->results);
    }
    for (unsigned i = 0; i < TRUTH_TANKS * TRUTH_ITEMS; i++) {
        unsigned kind = i / TRUTH_ITEMS, item = i % TRUTH_ITEMS;
        if (plain_is_sooner(&table->ours[kind][item][0][0], table->plain[kind][item])) {
            print_message("# plain is as sure and sooner than three trials: %s, %s\n",
                          truth_kinds[kind].name, truth_items[item].name);
        }
    }
}

static void print_sums(const struct truth_table *table, const struct sums *sums) {
    print_plain(table, sums);
    for (unsigned mode = 0; mode < TRUTH_MODES; mode++) {
        const struct truth_tally *ours = &sums->ours[mode][0], *sea = &sums->ours[mode][1];
        print_message(
            "# sum of %-5s covers %.4f, sea %.4f; wrong classes %.5f, sea %.5f a session; "
            "undecided %.3f; %.2f trials, %.0f s\n",
            truth_modes[mode], ours->inside / ours->results, sea->inside / sea->results,
            ours->wrong / ours->results, sea->wrong / sea->results, ours->undecided / ours->results,
            ours->trials / ours->results, ours->seconds / ours->results);
    }
    print_message(
        "# all together %.4f over %.0f sessions, without the bound of stuck air %.4f; the "
        "bench gave up in %.0f\n",
        table->share / table->sessions, table->sessions, table->alone / table->sessions,
        table->given_up);
}

/* What chance leaves of a mean of sessions. */
static double chance_of(double sum, double squares, double n) {
    return BEYOND_CHANCE / sqrt(n) * sqrt(fmax(0, squares / n - sum / n * sum / n));
}

static bool check_sums(const struct truth_table *table, const struct sums *sums) {
    double n = table->sessions, share = table->share / n, alone = table->alone / n;
    double chance = chance_of(table->share, table->share_squares, n);
    double chance_alone = chance_of(table->alone, table->alone_squares, n);
    const struct truth_tally *plain = &sums->plain[TRUTH_DIPS_LEAST];
    bool good = true;
    if (share - chance > 0.98 || alone - chance_alone > 0.965) {
        print_message("# more than need be: all together %.4f (98 %%), without the bound of stuck "
                      "air %.4f (96.5 %%)\n",
                      share, alone);
    }
    if (share + chance < 0.94 || alone - chance_alone > 0.98) {
        print_message("# short: all together %.4f, at least 0.94; without the bound of stuck air "
                      "%.4f, at most 0.98\n",
                      share, alone);
        good = false;
    }
    for (unsigned mode = 0; mode < TRUTH_MODES; mode++) {
        const struct truth_tally *ours = &sums->ours[mode][0];
        if (plain_is_sooner(ours, sums->plain)) {
            print_message("# short: %s trials: the plain procedure covers as much in less time\n",
                          truth_modes[mode]);
            good = false;
        }
        if (ours->wrong > plain->wrong / 5) {
            print_message("# short: %s trials: %.0f wrong classes, more than a fifth of the plain "
                          "procedure's %.0f\n",
                          truth_modes[mode], ours->wrong, plain->wrong);
            good = false;
        }
    }
    return good;
}

static void intervals_and_classes_keep_their_word(void **state) {
    struct up_failure failure;
    struct up_rig rig;
    struct truth_settings settings = {.rig = &rig, .draws = DRAWS};
    unsigned sessions = sessions_wanted();
    (void)state;
    assert_true(up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure));
    struct truth_table *table = run(&settings, sessions);
    if (sessions > SESSIONS_SMALL) {
        print_table(table, "as declared");
    }
    struct sums sums = sum_up(table);
    unsigned shorts = check_cells(table);
    bool together = check_sums(table, &sums);
    print_sums(table, &sums);
    print_message("# %u of %u cells fall short\n", shorts,
                  (unsigned)(TRUTH_TANKS * TRUTH_ITEMS * TRUTH_MODES * TRUTH_WATERS));
    free(table);
    assert_true(shorts == 0 && together);
}

/* ---- how it fails ---- */

/* Three times the creep, masses twice as far off, and shakes that free a fifth to a half of the air
   where a half is the least declared. */
static void unlike(struct tank_declared *declared, struct tank_cell *cell) {
    cell->creep_rel_low *= 3;
    cell->creep_rel_high *= 3;
    declared->mass_tolerance_rel *= 2;
    declared->shake_share_low = 0.2;
    declared->shake_share_high = 0.5;
}

static void what_was_not_declared_shows(void **state) {
    struct up_failure failure;
    struct up_rig rig;
    struct truth_settings settings = {.rig = &rig, .draws = DRAWS, .spoil = unlike};
    unsigned sessions = sessions_wanted() / 10;
    (void)state;
    assert_true(up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure));
    struct truth_table *table = run(&settings, sessions < 4 ? 4 : sessions);
    if (sessions > SESSIONS_SMALL) {
        print_table(table,
                    "a tank unlike the declared: creep 3x, masses 2x, shakes free 0.2 to 0.5");
    }
    struct sums sums = sum_up(table);
    print_message("# unlike the declared:\n");
    print_sums(table, &sums);
    /* It must show: intervals do not hold what was not declared. */
    double chance = chance_of(table->alone, table->alone_squares, table->sessions);
    assert_true(table->alone / table->sessions - chance < 0.94);
    free(table);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_not_declared_shows),
        cmocka_unit_test(intervals_and_classes_keep_their_word),
    };
    return cmocka_run_group_tests_name("cells", tests, NULL, NULL);
}
