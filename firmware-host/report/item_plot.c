/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The pictures of one item: in every water, its trials, and what its uncertainty is made of. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "embedded.h"
#include "picture.h"
#include "report/card.h"
#include "text/text.h"
#include "upthrust/waters.h"

enum { TITLE_BYTES = 60 };

struct subject {
    const struct up_item *item;
    const struct up_row *row; /* of the water that is drawn */
    const json_t *document;   /* up_explain's */
    const struct up_plots *to;
};

/* `calculates`: beside what was measured. */
static bool write_about(const struct subject *subject, const char *kind, const char *words,
                        bool calculates, struct picture picture, struct up_failure *failure) {
    UP_FREED char *clean = name_in_title(subject->row->name, TITLE_BYTES);
    UP_FREED char *title = up_text_format("%s: %s", clean, words);
    struct up_row calculated = *subject->row;
    calculated.measured = false;
    const struct up_row *const row[] = {subject->row, &calculated};
    UP_FREED char *standing = standing_of(row, calculates ? 2 : 1, false);
    UP_FREED char *name = up_text_format("%s-%.8s", kind, subject->item->id);
    picture.name = name;
    picture.words.title = title;
    picture.words.standing = standing;
    return picture_write(&picture, subject->to, failure);
}

static double low_g(const struct up_row *row) {
    return row->buoyancy_g - row->expanded_u_g - fmax(row->stuck_air_g, 0);
}

static double high_g(const struct up_row *row) {
    return row->buoyancy_g + row->expanded_u_g;
}

/* ---- in every water ---- */

enum { STEPS = 32, CHANGES_MAX = 8, HALVINGS = 7, DRAWS = 10000 };

struct change {
    double density_kg_m3;
    enum up_class to;
};

struct waters {
    const struct up_row *row; /* in the tank */
    struct up_weighing weighing;
    struct up_question question;
    bool has_line;
    double temp_c, lightest, densest, density[STEPS + 1], net_g[STEPS + 1], low_g[STEPS + 1],
        high_g[STEPS + 1], y_low_g, y_high_g;
    enum up_class class[STEPS + 1];
    struct change change[CHANGES_MAX];
    unsigned changes;
};

/* NaN where the formula does not hold. */
static double density_of(const struct up_named_water *named, double salinity_g_kg, double temp_c) {
    struct up_water water = {
        .model = named->model, .temp_c = temp_c, .salinity_g_kg = salinity_g_kg};
    struct up_water_density density;
    return up_water_density(&water, &density, NULL) ? density.density_kg_m3.value : (double)NAN;
}

/* The tank's own water is drawn, whatever it is: warm, or salted. */
static const double MARGIN_KG_M3 = 0.4;

/* From water without salt to the saltiest sea that has a name, at the temperature of the sea. */
static void find_ends(struct waters *waters) {
    struct up_water sea;
    double saltiest_g_kg = 0;
    up_water_by_name("sea", &sea);
    waters->temp_c = sea.temp_c;
    waters->lightest = density_of(up_named_water_at(0), 0, sea.temp_c);
    for (size_t i = 0; up_named_water_at(i) != NULL; i++) {
        const struct up_named_water *named = up_named_water_at(i);
        if (named->model == UP_WATER_SEA && named->high_g_kg > saltiest_g_kg) {
            saltiest_g_kg = named->high_g_kg;
            waters->densest = density_of(named, saltiest_g_kg, sea.temp_c);
        }
    }
    waters->lightest = fmin(waters->lightest, waters->row->water_density_kg_m3 - MARGIN_KG_M3);
    waters->densest = fmax(waters->densest, waters->row->water_density_kg_m3 + MARGIN_KG_M3);
}

static bool weigh_in(const struct waters *waters, double density_kg_m3, struct up_answer *answer) {
    struct up_weighing weighing = waters->weighing;
    struct up_term *density = &weighing.term[UP_INPUT_TARGET_DENSITY];
    weighing.in_tank = false;
    weighing.target_temp_c = waters->temp_c;
    *density = (struct up_term){.value = density_kg_m3,
                                .dof = (double)INFINITY,
                                .distribution = UP_NORMAL,
                                .evaluation = 'B'};
    weighing.term[UP_INPUT_TARGET_SALINITY] = *density;
    weighing.term[UP_INPUT_TARGET_SALINITY].value = 0;
    return up_weigh(&weighing, &waters->question, answer);
}

/* By halving, since the class is what the rule says of each density. */
static void find_change(struct waters *waters, double below, double above, enum up_class from,
                        enum up_class to) {
    struct up_answer answer;
    for (int i = 0; i < HALVINGS; i++) {
        double middle = (below + above) / 2;
        if (weigh_in(waters, middle, &answer) && answer.class == from) {
            below = middle;
        } else {
            above = middle;
        }
    }
    if (waters->changes < CHANGES_MAX) {
        waters->change[waters->changes++] = (struct change){above, to};
    }
}

static void find_line(struct waters *waters) {
    waters->y_low_g = low_g(waters->row);
    waters->y_high_g = high_g(waters->row);
    for (int i = 0; i <= STEPS && waters->has_line; i++) {
        struct up_answer answer;
        waters->density[i] =
            waters->lightest + (waters->densest - waters->lightest) * i / (double)STEPS;
        waters->has_line = weigh_in(waters, waters->density[i], &answer);
        waters->net_g[i] = answer.buoyancy_kg.value * 1e3;
        waters->low_g[i] =
            waters->net_g[i] - (answer.expanded_u_kg + fmax(answer.stuck_air_kg, 0)) * 1e3;
        waters->high_g[i] = waters->net_g[i] + answer.expanded_u_kg * 1e3;
        waters->class[i] = answer.class;
        if (waters->has_line && i > 0 && answer.class != waters->class[i - 1]) {
            find_change(waters, waters->density[i - 1], waters->density[i], waters->class[i - 1],
                        answer.class);
        }
        waters->y_low_g = fmin(waters->y_low_g, waters->low_g[i]);
        waters->y_high_g = fmax(waters->y_high_g, waters->high_g[i]);
    }
    double pad_g = fmax(0.08 * (waters->y_high_g - waters->y_low_g), 1);
    waters->y_low_g -= pad_g;
    waters->y_high_g += pad_g;
}

static bool put_waters(FILE *stream, void *context) {
    const struct waters *waters = context;
    const struct up_row *row = waters->row;
    fputs(
        "# kind: 0 interval (low, high), 1 net buoyancy, 2 measured in the tank (net, low, high),\n"
        "# 3 from here another class (from the bottom, so high)\n"
        "# kind\tdensity_kg_m3\ta_g\tb_g\tc_g\n",
        stream);
    for (int i = 0; i <= STEPS && waters->has_line; i++) {
        put_data_row(stream, 0, waters->density[i], waters->low_g[i], waters->high_g[i]);
    }
    for (int i = 0; i <= STEPS && waters->has_line; i++) {
        put_data_row(stream, 1, waters->density[i], waters->net_g[i], 0);
    }
    put_data_numbers(
        stream, 2,
        (const double[]){row->water_density_kg_m3, row->buoyancy_g, low_g(row), high_g(row)}, 4);
    for (unsigned i = 0; i < waters->changes; i++) {
        put_data_row(stream, 3, waters->change[i].density_kg_m3, waters->y_low_g,
                     waters->y_high_g - waters->y_low_g);
    }
    return ferror(stream) == 0;
}

/* Where the named waters lie; "baltic" is a range from nearly fresh to sea. */
static void put_named(FILE *stream, const struct waters *waters) {
    for (size_t i = 0; up_named_water_at(i) != NULL; i++) {
        const struct up_named_water *named = up_named_water_at(i);
        double at = density_of(named, (named->low_g_kg + named->high_g_kg) / 2, waters->temp_c);
        if (named->model == UP_WATER_POOL || strcmp(named->name, "baltic") == 0 || !(at > 0)) {
            continue;
        }
        fprintf(stream,
                "set arrow from %.4f / unit_kg_m3, graph 0 to %.4f / unit_kg_m3, graph 1 nohead dt "
                "3 lw "
                "1.5 lc rgb grey\n"
                "set label \"%s\" at %.4f / unit_kg_m3, graph 1.01 rotate by 65 left noenhanced "
                "textcolor rgb "
                "ink\n",
                at, at, named->name, at);
    }
}

static void put_waters_variables(FILE *stream, const void *context) {
    const struct waters *waters = context;
    char number[5][32];
    const double value[] = {waters->row->tolerance_g, waters->lightest, waters->densest,
                            waters->y_low_g, waters->y_high_g};
    for (int i = 0; i < 5; i++) {
        up_text_from_number(value[i], number[i], sizeof number[i]);
    }
    fprintf(stream,
            "tolerance_g = %s\nlightest = %s\ndensest = %s\nlow_g = %s\nhigh_g = %s\n"
            "temp_c = %g\ntank_c = %.1f\nhas_line = %d\nchanges = %u\n",
            number[0], number[1], number[2], number[3], number[4], waters->temp_c,
            waters->row->water_temp_c, waters->has_line, waters->changes);
    if (waters->has_line) {
        put_named(stream, waters);
    }
}

static char *note_of_waters(const struct waters *waters, const struct up_item *item) {
    if (!waters->has_line) {
        return up_text_format("the tank's water only: %s",
                              item->compressible ? "it holds gas, which the water squeezes"
                              : waters->row->quick
                                  ? "it was weighed quickly; the full weighing draws the others"
                              : !waters->weighing.weighed_in_air
                                  ? "it was not weighed in air, so its volume is unknown"
                                  : "its volume is not known well enough");
    }
    char *note = up_text_format("%s", up_class_name(waters->class[0]));
    for (unsigned i = 0; i < waters->changes; i++) {
        char *longer =
            up_text_format("%s, %s from %.1f kg/m3", note, up_class_name(waters->change[i].to),
                           waters->change[i].density_kg_m3);
        free(note);
        note = longer;
    }
    char *whole = up_text_format("%s%s", note, waters->changes == 0 ? " throughout" : "");
    free(note);
    return whole;
}

static bool write_waters(const struct subject *subject, const struct up_result *result,
                         struct up_failure *failure) {
    UP_FREED struct waters *waters = up_allocate(1, sizeof *waters);
    waters->row = subject->row;
    waters->weighing = result->weighing;
    waters->question = result->question;
    waters->question.tolerance_kg = subject->row->tolerance_g / 1e3;
    waters->question.draws = DRAWS;
    waters->has_line = result->weighing.weighed_in_air && !subject->item->compressible &&
                       !subject->row->quick; /* what is drawn has none of its bounds */
    find_ends(waters);
    find_line(waters);
    UP_FREED char *note = note_of_waters(waters, subject->item);
    note = in_units(&subject->to->style, note);
    struct picture picture = {
        .words = {"Net buoyancy by the density of the water", NULL, note, NULL},
        .script = {embedded_waters_gp, put_waters, put_waters_variables, waters}};
    return write_about(subject, "waters",
                       waters->has_line ? "from fresh water to the saltiest sea"
                                        : "in the tank's water",
                       waters->has_line, picture, failure);
}

/* ---- its trials ---- */

struct trials {
    const struct up_row *row;
    const json_t *list;
    double per_count_g, mean_counts; /* grams a count, and where the result lies */
    double spread_g;                 /* farthest from the result */
    unsigned left_out;
};

static double counts_of(const json_t *trial) {
    double linear = up_record_number(trial, "linear_counts");
    return isfinite(linear) ? linear : up_record_number(trial, "load_counts");
}

/* What the trial alone would have given: all corrections are those of the result. */
static double net_of(const struct trials *trials, const json_t *trial) {
    return trials->row->buoyancy_g - (counts_of(trial) - trials->mean_counts) * trials->per_count_g;
}

static bool shows_limit(const struct trials *trials, double limit_g) {
    return fabs(limit_g - trials->row->buoyancy_g) < 2 * trials->spread_g;
}

static bool put_trials(FILE *stream, void *context) {
    const struct trials *trials = context;
    const json_t *trial;
    double count = (double)json_array_size(trials->list), ends[] = {0.5, count + 0.5};
    size_t i;
    fputs(
        "# kind: 0 interval of the result (low, high), 1 result, 2 trial (net, bar), 3 left out, 4 "
        "limit of neutral\n"
        "# kind\ttrial\ta_g\tb_g\n",
        stream);
    for (int side = 0; side < 2; side++) {
        put_data_row(stream, 0, ends[side], low_g(trials->row), high_g(trials->row));
    }
    for (int side = 0; side < 2; side++) {
        put_data_row(stream, 1, ends[side], trials->row->buoyancy_g, 0);
    }
    for (int sign = -1; sign < 2; sign += 2) {
        double limit_g = sign * trials->row->tolerance_g;
        for (int side = 0; side < 2 && shows_limit(trials, limit_g); side++) {
            put_data_row(stream, 4, ends[side], limit_g, 0);
        }
    }
    json_array_foreach(trials->list, i, trial) {
        double bar_g = 2 * up_record_number(trial, "u_plateau_counts") * fabs(trials->per_count_g);
        put_data_row(stream, json_is_true(json_object_get(trial, "left_out")) ? 3 : 2,
                     up_record_number(trial, "number"), net_of(trials, trial), bar_g);
    }
    return ferror(stream) == 0;
}

static void put_trials_variables(FILE *stream, const void *context) {
    const struct trials *trials = context;
    fprintf(stream, "trials = %zu\nleft_out = %u\nlimit_shown = %d\n",
            json_array_size(trials->list), trials->left_out,
            shows_limit(trials, trials->row->tolerance_g) ||
                shows_limit(trials, -trials->row->tolerance_g));
}

static bool write_trials(const struct subject *subject, struct up_failure *failure) {
    const json_t *chain = json_object_get(subject->document, "chain"), *trial;
    struct trials trials = {.row = subject->row,
                            .list = json_object_get(subject->document, "trials")};
    double squares = 0;
    size_t i, kept = 0;
    trials.mean_counts = up_record_number(chain, "water_counts");
    trials.per_count_g =
        1e3 * up_record_number(chain, "k") / up_record_number(chain, "slope_counts_kg");
    trials.spread_g = fmax(high_g(subject->row) - low_g(subject->row), 0.1);
    json_array_foreach(trials.list, i, trial) {
        bool left_out = json_is_true(json_object_get(trial, "left_out"));
        double off_g = net_of(&trials, trial) - subject->row->buoyancy_g;
        trials.spread_g = fmax(trials.spread_g, fabs(off_g));
        trials.left_out += left_out;
        squares += left_out || isnan(off_g) ? 0 : off_g * off_g;
        kept += !left_out;
    }
    UP_FREED char *note =
        kept > 1 ? up_text_format("%zu trials; they scatter by %.2g g (standard deviation)   bars: "
                                  "two standard uncertainties of the reading",
                                  kept, sqrt(squares / (double)(kept - 1)))
                 : up_text_format("%zu trial, which shows no scatter", kept);
    note = in_units(&subject->to->style, note);
    struct picture picture = {
        .words = {"The trials of one weighing", NULL, note, NULL},
        .script = {embedded_trials_gp, put_trials, put_trials_variables, &trials}};
    return write_about(subject, "trials", "trials in the tank", false, picture, failure);
}

/* ---- what its uncertainty is made of ---- */

enum { SHARES_MAX = 64, SHARES_SHOWN = 10 };

struct share {
    const char *name;
    int kind; /* 0 by statistics, 1 otherwise, 2 all others */
    double percent, u_g;
};

struct shares {
    struct share share[SHARES_MAX];
    size_t count;
};

static int by_percent(const void *a, const void *b) {
    const struct share *x = a, *y = b;
    return x->percent != y->percent ? (x->percent > y->percent ? -1 : 1) : strcmp(x->name, y->name);
}

static void find_shares(const json_t *budget, struct shares *shares) {
    const json_t *term;
    size_t i;
    json_array_foreach(budget, i, term) {
        double percent = 100 * up_record_number(term, "share_of_variance");
        if (percent > 0 && shares->count < SHARES_MAX) {
            shares->share[shares->count++] = (struct share){
                up_record_text(term, "name"), strcmp(up_record_text(term, "evaluation"), "A") != 0,
                percent,
                1e3 * fabs(up_record_number(term, "sensitivity")) * up_record_number(term, "u")};
        }
    }
    qsort(shares->share, shares->count, sizeof *shares->share, by_percent);
    if (shares->count > SHARES_SHOWN) {
        struct share *rest = &shares->share[SHARES_SHOWN - 1];
        double percent = 0, squares = 0;
        for (size_t j = SHARES_SHOWN - 1; j < shares->count; j++) {
            percent += shares->share[j].percent;
            squares += shares->share[j].u_g * shares->share[j].u_g;
        }
        *rest = (struct share){"all others", 2, percent, sqrt(squares)};
        shares->count = SHARES_SHOWN;
    }
}

static bool put_shares(FILE *stream, void *context) {
    const struct shares *shares = context;
    fputs("# kind: 0 from repeated readings (type A), 1 from what else is known (type B), 2 all "
          "others\n"
          "# row\tkind\tshare_percent\tu_g\n",
          stream);
    for (size_t i = 0; i < shares->count; i++) {
        const struct share *share = &shares->share[i];
        put_data_row(stream, (int)i + 1, share->kind, share->percent, share->u_g);
    }
    return ferror(stream) == 0;
}

static void put_shares_variables(FILE *stream, const void *context) {
    const struct shares *shares = context;
    bool rest = false;
    fputs("set ytics (", stream);
    for (size_t i = 0; i < shares->count; i++) {
        UP_FREED char *label = double_percents(name_in_title(shares->share[i].name, TITLE_BYTES));
        UP_FREED char *escaped = up_text_for_gnuplot(label);
        fprintf(stream, "%s\\\n    %s %zu", i > 0 ? ", " : "", escaped, i + 1);
        rest = rest || shares->share[i].kind == 2;
    }
    fprintf(stream, ")\nrows = %zu\nrest = %d\n", shares->count, rest);
}

static bool write_shares(const struct subject *subject, struct up_failure *failure) {
    const json_t *result = json_object_get(subject->document, "result");
    struct shares shares = {.count = 0};
    find_shares(json_object_get(result, "budget"), &shares);
    UP_FREED char *stuck =
        up_style_has_stuck(subject->row->stuck_air_g)
            ? up_text_format("   not part of it: %.1f g for air that no shake frees",
                             subject->row->stuck_air_g)
            : up_text_format("%s", "");
    UP_FREED char *note = up_text_format("standard uncertainty %.2g g%s",
                                         up_record_number(result, "u_buoyancy_g"), stuck);
    note = in_units(&subject->to->style, note);
    UP_FREED char *water = name_in_title(subject->row->water, TITLE_BYTES);
    UP_FREED char *words = up_text_format("what the uncertainty is made of, %s", water);
    struct picture picture = {
        .words = {"Shares of the uncertainty", NULL, note, NULL},
        .script = {embedded_shares_gp, put_shares, put_shares_variables, &shares}};
    return write_about(subject, "shares", words, false, picture, failure);
}

/* ---- all three ---- */

static const struct up_row *row_in(const struct up_rows *rows, const struct up_item *item,
                                   const char *water) {
    size_t count;
    const struct up_row *row = up_rows_of(rows, item->id, &count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(row[i].water, water) == 0) {
            return &row[i];
        }
    }
    return NULL;
}

bool up_plot_write_item(struct up_catalogue *catalogue, const struct up_rows *rows,
                        const struct up_item *item, const char *water, const struct up_plots *to,
                        struct up_failure *failure) {
    const char *asked = water != NULL ? water : "tank";
    struct subject tank = {item, row_in(rows, item, "tank"), NULL, to},
                   other = {item, row_in(rows, item, asked), NULL, to};
    UP_FREED struct up_result *result = up_allocate(1, sizeof *result);
    if (tank.row == NULL || other.row == NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "\"%.80s\" has no result to draw in the water \"%.47s\": `upthrust show` "
                       "lists those there are",
                       item->name, tank.row == NULL ? "tank" : asked);
    }
    if (tank.row->at_most || other.row->at_most) {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "\"%.80s\" was weighed quickly and not shaken, so its net has no lower end to "
            "draw: measure it without --quick",
            item->name);
    }
    json_auto_t *of_tank = up_explain(catalogue, tank.row->result_id, NULL, failure);
    json_auto_t *of_other =
        of_tank == NULL ? NULL : up_explain(catalogue, other.row->result_id, NULL, failure);
    if (of_other == NULL) {
        return false;
    }
    tank.document = of_tank;
    other.document = of_other;
    up_result_from_json(json_object_get(of_tank, "result"), result);
    return write_waters(&tank, result, failure) && write_trials(&tank, failure) &&
           write_shares(&other, failure);
}
