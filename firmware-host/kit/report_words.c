/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit's report in words: cautions first, never one number for the lead. */
#include <math.h>
#include <string.h>

#include "kit/report.h"
#include "text/text.h"

/* What a number of the report is multiplied by, and what stands behind it. */
struct unit {
    double factor;
    const char *name;
    int decimals;
    const char *whole; /* the name in a sentence */
};

/* Gas stays in bar and litres, as a kit file has it and `--units` of other screens leaves it. */
struct units {
    struct up_style style;
    struct unit lead, small, depth, moment, place, shift; /* of kg, kg, m, N m, m, m */
    int rate_decimals;                                    /* of a small mass by depth */
};

#define NM_PER_LBF_FT (UP_KG_PER_LB * 9.80665 * UP_M_PER_FT)
static const struct units METRIC = {
    .lead = {1, "kg", 1, "kilogram"},
    .small = {1e3, "g", 0, NULL},
    .depth = {1, "m", 0, "metre"},
    .moment = {1, "N m", 1, NULL},
    .place = {1, "m", 2, NULL},
    .shift = {100, "cm", 0, NULL},
};
static const struct units IMPERIAL = {
    .style = {.imperial = true},
    .lead = {1 / UP_KG_PER_LB, "lb", 1, "pound"},
    .small = {1e3 / UP_G_PER_OZ, "oz", 1, NULL},
    .depth = {1 / UP_M_PER_FT, "ft", 0, "foot"},
    .moment = {1 / NM_PER_LBF_FT, "lbf ft", 1, NULL},
    .place = {12 / UP_M_PER_FT, "in", 1, NULL},
    .shift = {12 / UP_M_PER_FT, "in", 0, NULL},
    .rate_decimals = 2,
};

static const char CAUTION[] =
    "This prepares a weight check in the water with a qualified instructor; it never replaces "
    "one.\n"
    "It plans neither gas nor ascent. Change lead in small steps, and check in the water each "
    "time.\n"
    "How much lead must be ditchable, and what reserve is kept, your agency and instructor say.\n"
    "A check: hang motionless at a known depth, jacket empty, once trapped air has left. Judge it "
    "over\n"
    "several normal breaths. Never hold your breath under water: it can injure the lungs.\n";

/* Columns of a name in a table, and rows of one on the diver's page. */
enum { NAME_COLUMNS = 28, PAGE_ROWS = 12 };

/* A choice of ours: of so many, one in forty lies beyond either end, give or take one in a
   hundred. */
static const double EFFECTIVE_LEAST = 400, AGREE_LEAST = 0.01;

/* The rows of a list, one after the other; `break` ends none. */
#define EACH(row, list)                                                                            \
    for (size_t i = 0; i < json_array_size(list); i++)                                             \
        for (const json_t *row = json_array_get(list, i), *once = row; once != NULL; once = NULL)

static double of(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static const char *word(const json_t *object, const char *key) {
    const char *value = json_string_value(json_object_get(object, key));
    return value != NULL ? value : "";
}

/* A name of the report between words of ours. */
static void put_named(FILE *stream, const char *before, const json_t *row, const char *key,
                      int columns, const char *after) {
    fputs(before, stream);
    up_text_put(stream, word(row, key), columns, true);
    fputs(after, stream);
}

/* Of the lead's unit. Never towards less lead: the upper end is rounded up, the lower end up as
   well. */
static double up_to_tenth(double lead) {
    return ceil(lead * 10 - 1e-9) / 10 + 0.0;
}

static double down_to_tenth(double lead) {
    return floor(lead * 10) / 10 + 0.0;
}

/* As it is shown, without the minus of what rounds to nothing. */
static double to_tenth(double value) {
    return round(value * 10) / 10 + 0.0;
}

/* A mass of the report in the unit of lead. */
static double lead_of(const json_t *object, const char *key, const struct units *units) {
    return of(object, key) * units->lead.factor;
}

/* A small mass as it is shown, without the minus of what rounds to nothing. */
static double small_of(double mass_kg, const struct units *units) {
    double of_last = units->small.decimals > 0 ? 10 : 1;
    return round(mass_kg * units->small.factor * of_last) / of_last + 0.0;
}

static void print_lead_range(const json_t *lead, const struct units *units, FILE *stream) {
    fprintf(stream, "from %+.1f to %+.1f %s", up_to_tenth(lead_of(lead, "low_kg", units)),
            up_to_tenth(lead_of(lead, "high_kg", units)), units->lead.name);
}

/* When in the dive, how deep, and by which pressure. */
static void print_when(const json_t *row, int columns, const struct units *units, FILE *stream) {
    fprintf(stream, "  %-*s %4.0f %s %4.0f bar", columns, word(row, "when"),
            of(row, "depth_m") * units->depth.factor, units->depth.name, of(row, "pressure_bar"));
}

static void print_lead(const json_t *report, const struct units *units, FILE *stream) {
    fprintf(
        stream,
        "\nLead to add to the %.1f %s that are entered, %.1f %s of it ditchable (minus: more than "
        "needed).\n95 %% interval. The nearly empty stop governs.\n",
        lead_of(report, "lead_entered_kg", units), units->lead.name,
        lead_of(report, "ditchable_kg", units), units->lead.name);
    EACH(row, json_object_get(report, "lead")) {
        const json_t *lead = json_object_get(row, "lead_to_add");
        print_when(row, 24, units, stream);
        fputs("   ", stream);
        print_lead_range(lead, units, stream);
        fputs(of(lead, "low_kg") < 0 ? "; check in the water before you take any off\n" : "\n",
              stream);
    }
    const json_t *water = json_object_get(report, "other_water");
    char from[UP_SHOWN_SIZE], to[UP_SHOWN_SIZE];
    up_style_density(&units->style, of(water, "from_kg_m3"), from);
    up_style_density(&units->style, of(water, "to_kg_m3"), to);
    fprintf(stream, "  from the last check's water (%s) to this one (%.*s): ", from,
            (int)strcspn(to, " "), to);
    print_lead_range(json_object_get(water, "lead_to_add"), units, stream);
    fputc('\n', stream);
}

/* Rounded down, so that no more is called too much than is. */
static void print_surplus(const json_t *report, const struct units *units, FILE *stream) {
    const json_t *of_it = json_object_get(report, "surplus");
    double low = fmax(down_to_tenth(lead_of(of_it, "low_kg", units)), 0);
    double high = down_to_tenth(lead_of(of_it, "high_kg", units));
    double gas_l = of(of_it, "gas_per_kg_l") / units->lead.factor;
    /* Grams a metre by a kilogram of lead: the same ratio holds of ounces a foot, by a pound. */
    double ratio = 1e-3 * units->small.factor / units->depth.factor / units->lead.factor;
    int decimals = units->rate_decimals;
    double stop = of(of_it, "at_stop_g_per_m") * ratio;
    fprintf(stream,
            "\nEach %s of lead too much costs the jacket %.2f l of gas. That gas moves the lift "
            "by\n%.*f %s a %s of depth at the stop, %.*f at the surface, %.*f at the deepest "
            "point; a breath\nmoves about ",
            units->lead.whole, gas_l, decimals, stop, units->small.name, units->depth.whole,
            decimals, of(of_it, "at_surface_g_per_m") * ratio, decimals,
            of(of_it, "at_deepest_g_per_m") * ratio);
    fprintf(stream, "%.0f %s. Many divers carry too much.\n",
            of(of_it, "breath_g") * 1e-3 * units->small.factor, units->small.name);
    if (high > 0) {
        fprintf(stream,
                "Here from %.1f to %.1f %s may be too much: up to %.1f l, %.*f %s a %s at the "
                "stop.\n",
                low, high, units->lead.name, high * gas_l, decimals, high * stop, units->small.name,
                units->depth.whole);
    }
}

static void print_lift(const json_t *lift, const struct units *units, FILE *stream) {
    double value = to_tenth(lead_of(lift, "value_kg", units));
    fprintf(stream, "%+5.1f %s %-4s (%+.1f to %+.1f)\n", value, units->lead.name,
            value > 0   ? "UP"
            : value < 0 ? "DOWN"
                        : "",
            to_tenth(lead_of(lift, "low_kg", units)), to_tenth(lead_of(lift, "high_kg", units)));
}

static void print_dive(const json_t *report, const struct units *units, FILE *stream) {
    fprintf(stream, "\nThrough the dive, jacket empty, breathing normally:\n");
    EACH(row, json_object_get(report, "dive")) {
        print_when(row, 32, units, stream);
        fputs("  ", stream);
        print_lift(json_object_get(row, "lift"), units, stream);
    }
}

/* Bounds are rounded outwards. */
static void print_worst(const json_t *report, const struct units *units, FILE *stream) {
    double jacket_kg = of(report, "jacket_lift_kg"), needs_kg = of(report, "jacket_needs_kg");
    fprintf(stream, "\nThe worst cases, lead as entered (bounds that hold in 99.5 of 100):\n");
    EACH(row, json_object_get(report, "worst_cases")) {
        const json_t *lift = json_object_get(row, "lift");
        double least = down_to_tenth(lead_of(lift, "least_kg", units));
        double most = up_to_tenth(lead_of(lift, "most_kg", units));
        fprintf(stream, "  %s:\n    from %+.1f to %+.1f %s", word(row, "case"), least, most,
                units->lead.name);
        if (i == 0) {
            fprintf(stream,
                    isnan(jacket_kg) ? "; the jacket's lift is not entered"
                    : needs_kg <= jacket_kg
                        ? "; the jacket's %.1f %s carry that, and the lead to add"
                        : "; with the lead to add MORE than the jacket's %.1f %s "
                          "can carry",
                    jacket_kg * units->lead.factor, units->lead.name);
        } else {
            static const char *const words[2][3] = {{"; floats", "; SINKS", "; may sink"},
                                                    {"; RISES", "; stays down", "; may rise"}};
            fputs(words[of(row, "depth_m") > 0][least > 0 ? 0 : most < 0 ? 1 : 2], stream);
        }
        fputc('\n', stream);
    }
    if (!(of(report, "ditchable_kg") > 0)) {
        fputs("  No lead is entered as ditchable, so none is dropped or lost in these.\n", stream);
    }
}

static void print_cylinders(const json_t *report, const struct units *units, FILE *stream) {
    size_t i, k;
    json_t *row, *at;
    json_array_foreach(json_object_get(report, "cylinders"), i, row) {
        double surely_bar = of(row, "surely_below_bar"), perhaps_bar = of(row, "perhaps_below_bar");
        put_named(stream, "\nCylinder ", row, "name", 0, ":\n");
        json_array_foreach(json_object_get(row, "lifts"), k, at) {
            fprintf(stream, "  at %3.0f bar  ", of(at, "pressure_bar"));
            print_lift(json_object_get(at, "lift"), units, stream);
        }
        if (!(perhaps_bar > 0)) {
            fputs("  it sinks even when empty\n", stream);
        } else if (!(surely_bar > 0)) {
            fprintf(stream, "  it may float below %.0f bar\n", perhaps_bar);
        } else {
            fprintf(stream, "  it turns positive between %.0f and %.0f bar, and floats below\n",
                    perhaps_bar, surely_bar);
        }
    }
}

static void print_moment(const json_t *moment, const struct units *units, FILE *stream) {
    fprintf(stream, "%+6.1f +- %.1f %s", to_tenth(of(moment, "value_nm") * units->moment.factor),
            (of(moment, "high_nm") - of(moment, "low_nm")) / 2 * units->moment.factor,
            units->moment.name);
}

static void print_moments(const json_t *report, size_t most, const struct units *units,
                          FILE *stream) {
    size_t i;
    json_t *row, *list = json_object_get(report, "moments");
    fprintf(stream,
            "\nTrim about the hips at the stop with the reserve: + lifts the head, - the feet.\n"
            "A breath alone makes %.1f %s; compare differences, not sums.\n",
            of(report, "breath_moment_nm") * units->moment.factor, units->moment.name);
    json_array_foreach(list, i, row) {
        if (i == most) {
            fprintf(stream, "  %zu more: see `upthrust kit report`\n", json_array_size(list) - i);
            break;
        }
        put_named(stream, "  ", row, "name", NAME_COLUMNS, "");
        if (json_is_null(json_object_get(row, "moment"))) {
            fputs("  its place is missing: give place_m\n", stream);
        } else {
            print_moment(json_object_get(row, "moment"), units, stream);
            fprintf(stream, " at %+.*f %s\n", units->place.decimals,
                    of(row, "place_m") * units->place.factor, units->place.name);
        }
    }
}

/* ---- spares and moves ---- */

static void print_swap(const json_t *row, const char *what, const json_t *present,
                       const struct units *units, FILE *stream) {
    const json_t *lift = json_object_get(row, "lift"), *moment = json_object_get(row, "moment");
    const json_t *off = json_object_get(row, "off_level");
    double nearer_nm = fabs(of(present, "value_nm")) - fabs(of(off, "value_nm"));
    int decimals = units->small.decimals;
    /* A pound must be moved farther than a kilogram. */
    double shift =
        of(row, "one_kg_of_lead_towards_feet_m") * units->lead.factor * units->shift.factor;
    put_named(stream, "  ", row, "name", NAME_COLUMNS, "");
    fprintf(stream, " %s %+.*f %s (%+.*f to %+.*f); lead ", what, decimals,
            small_of(of(lift, "value_kg"), units), units->small.name, decimals,
            small_of(of(lift, "low_kg"), units), decimals, small_of(of(lift, "high_kg"), units));
    print_lead_range(json_object_get(row, "lead_to_add"), units, stream);
    fputs("\n    ", stream);
    if (json_is_null(moment)) {
        fputs("no moment: its place is missing\n", stream);
        return;
    }
    print_moment(moment, units, stream);
    fprintf(stream, ", like moving 1 %s of lead %.0f %s towards the %s\n", units->lead.name,
            fabs(shift), units->shift.name, shift >= 0 ? "feet" : "head");
    if (!isnan(nearer_nm)) {
        fputs("    ", stream);
        print_moment(off, units, stream);
        fprintf(stream, " off level, %.1f %s %s than with the present fins\n",
                fabs(nearer_nm) * units->moment.factor, units->moment.name,
                nearer_nm >= 0 ? "nearer" : "farther");
    }
}

static void print_fins(const json_t *report, const struct units *units, FILE *stream) {
    const json_t *fins = json_object_get(report, "fins"), *others = json_object_get(fins, "others");
    const json_t *present = json_object_get(fins, "off_level");
    if (json_array_size(others) > 0) {
        put_named(stream, "\nOther fins in place of ", fins, "present", 0, "");
        fprintf(stream, ", as differences. A breath alone makes %.1f %s.\n",
                of(report, "breath_moment_nm") * units->moment.factor, units->moment.name);
        if (json_is_null(present)) {
            fputs("How far the diver is from level is not known: a weight check shows force, not "
                  "moment. Mark a\ncheck in which the diver hung level with \"level\": true, and "
                  "give all places.\n",
                  stream);
        } else {
            put_named(
                stream, "Level was seen in ", fins, "level_seen_in", 0,
                "; at the stop with the reserve, with the present fins and the lead\nentered: ");
            print_moment(present, units, stream);
            fputs(" off it\n", stream);
        }
    }
    EACH(row, others) {
        print_swap(row, "at the feet", present, units, stream);
    }
    if (of(fins, "left_out") > 0) {
        fprintf(
            stream,
            "  left out: %.0f whose results count only where \"accept\" names why, whose volume is "
            "unknown,\n  or for which the kit has no room\n",
            of(fins, "left_out"));
    }
}

static void print_swaps(const json_t *report, const struct units *units, FILE *stream) {
    EACH(row, json_object_get(report, "swaps")) {
        put_named(stream, "\nInstead of ", row, "instead_of", 0, ":\n");
        print_swap(row, "lifts", NULL, units, stream);
    }
    EACH(row, json_object_get(report, "models")) {
        put_named(stream, "\nKnown by its model only: ", row, "name", 0, "");
        fprintf(stream, ", %.0f sample%s, so +- %.*f %s\n", of(row, "samples"),
                up_text_plural((unsigned)of(row, "samples")), units->small.decimals,
                small_of(1.96 * of(row, "u_kg"), units), units->small.name);
    }
}

static void print_moves(const json_t *report, const struct units *units, FILE *stream) {
    const json_t *list = json_object_get(report, "moves");
    if (json_array_size(list) > 0) {
        fputs("\nMoves of lead (ditchable lead stays ditchable):\n", stream);
    }
    EACH(row, list) {
        fputs("  ", stream);
        print_moment(json_object_get(row, "moment"), units, stream);
        fprintf(stream, "  %.1f %s from ", lead_of(row, "kg", units), units->lead.name);
        up_text_put(stream, word(row, "from"), 0, true);
        put_named(stream, " to ", row, "to", 0, "\n");
    }
    if (json_array_size(list) == UP_KIT_MOVES_MAX) {
        fputs("  No more are shown: list those you want under \"moves\" in the kit file.\n",
              stream);
    }
}

/* ---- how good all this is ---- */

static void print_predictions(const json_t *report, const struct units *units, FILE *stream) {
    const json_t *record = json_object_get(report, "predictions");
    if (!(of(record, "of") > 0)) {
        return;
    }
    fprintf(stream,
            "\nEach check compared with what the checks before it predicted (it found 0 %s):\n",
            units->lead.name);
    EACH(row, json_object_get(record, "checks")) {
        const json_t *lift = json_object_get(row, "lift_predicted");
        put_named(stream, "  ", row, "check", NAME_COLUMNS, "");
        fprintf(stream, " predicted %+.1f to %+.1f %s: %s\n",
                to_tenth(lead_of(lift, "low_kg", units)), to_tenth(lead_of(lift, "high_kg", units)),
                units->lead.name,
                json_is_true(json_object_get(row, "inside")) ? "inside" : "OUTSIDE");
    }
    fprintf(stream,
            "  %.0f of %.0f inside the 95 %% interval; in the long run %.0f to %.0f of 100 (95 %%, "
            "binomial): ",
            of(record, "inside"), of(record, "of"), 100 * of(record, "share_low"),
            100 * of(record, "share_high"));
    fprintf(stream, "%s\n",
            json_is_null(json_object_get(record, "verdict")) ? "too few for a verdict"
                                                             : word(record, "verdict"));
}

static void print_rules(const json_t *report, const struct units *units, FILE *stream) {
    const json_t *list = json_object_get(report, "rules");
    fprintf(stream, "\nWhat the lead depends on most:\n");
    EACH(row, list) {
        if (of(row, "share") >= 0.02) {
            fprintf(stream, "  %3.0f %%  ", 100 * of(row, "share"));
            up_text_put(stream, word(row, "input"), 0, true);
            fputc('\n', stream);
        }
    }
    UP_FREED char *next = up_style_text(&units->style, word(json_array_get(list, 0), "measure"));
    fprintf(stream, "  next: %s\n", next);
}

static void print_head(const json_t *report, const struct units *units, FILE *stream) {
    const json_t *water = json_object_get(report, "water");
    double agree = of(report, "checks_agree");
    char density[UP_SHOWN_SIZE];
    fputs(CAUTION, stream);
    if (agree < AGREE_LEAST) {
        fprintf(
            stream,
            "\nTHE WEIGHT CHECKS CONTRADICT EACH OTHER (by chance in %.2g %% of cases): trust no "
            "number "
            "below.\nLook for air in suit or jacket, a wrong pressure, lead that is not what it "
            "says.\n",
            agree * 100);
    }
    if (of(report, "effective_draws") < EFFECTIVE_LEAST) {
        fprintf(stream,
                "\nROUGH: only %.0f of the simulated divers fit these checks, so the ends of each "
                "range\nare not well known. Look through what was entered for the checks, and do "
                "one more.\n",
                of(report, "effective_draws"));
    }
    put_named(stream, "\nIn the water ", water, "name", 0, "");
    up_style_density(&units->style, of(water, "density_kg_m3"), density);
    fprintf(stream, ", %s, under air of %.0f hPa:\n", density, of(report, "air_pressure_hpa"));
    print_lead(report, units, stream);
}

/* ---- what the gear's numbers are ---- */

static void put_accepted(const json_t *accepted, FILE *stream) {
    EACH(doubt, accepted) {
        fprintf(stream, "%s%s", i > 0 ? ", " : "", json_string_value(doubt));
    }
}

/* On the page of what is worn. */
static void print_gear(const json_t *report, bool page, FILE *stream) {
    bool first = true;
    EACH(row, json_object_get(report, "gear")) {
        const json_t *accepted = json_object_get(row, "accepted");
        bool beside = page && json_is_true(json_object_get(row, "spare"));
        if (json_array_size(accepted) > 0 && !beside) {
            fputs(first ? "\nCounts only because the kit file accepts it:\n" : "", stream);
            put_named(stream, "  ", row, "name", NAME_COLUMNS, "  ");
            put_accepted(accepted, stream);
            fputc('\n', stream);
            first = false;
        }
    }
}

/* Each once, of all gear that is worn. */
static json_t *accepted_of(const json_t *report) {
    json_t *all = json_array();
    EACH(row, json_object_get(report, "gear")) {
        size_t at, j;
        json_t *doubt, *other, *accepted = json_object_get(row, "accepted");
        json_array_foreach(accepted, at, doubt) {
            bool known = json_is_true(json_object_get(row, "spare"));
            json_array_foreach(all, j, other) {
                known = known || json_equal(doubt, other);
            }
            if (!known) {
                json_array_append(all, doubt);
            }
        }
    }
    return all;
}

void up_kit_report_standing(const json_t *report, FILE *stream) {
    json_auto_t *accepted = accepted_of(report);
    bool simulated = false;
    EACH(doubt, accepted) {
        simulated = simulated || strcmp(json_string_value(doubt), "simulated") == 0;
    }
    fputs(of(report, "checks_agree") < AGREE_LEAST
              ? "THE WEIGHT CHECKS CONTRADICT EACH OTHER: trust no number here.\n"
              : "",
          stream);
    fputs(simulated ? "SIMULATED gear among the parts: it was never weighed.\n" : "", stream);
    fprintf(stream, "Calculated from the weight checks and the gear of the kit file%s.\n",
            of(report, "effective_draws") < EFFECTIVE_LEAST
                ? "; ROUGH: few simulated divers fit the checks"
                : "");
    if (json_array_size(accepted) > 0) {
        fputs("Some gear counts only because the kit file accepts it: ", stream);
        put_accepted(accepted, stream);
        fputs(".\n", stream);
    }
}

void up_kit_report_print(const json_t *report, bool page, const struct up_style *style,
                         FILE *stream) {
    const struct units *units = style->imperial ? &IMPERIAL : &METRIC;
    static void (*const more[])(const json_t *report, const struct units *units, FILE *stream) = {
        print_surplus, print_cylinders, print_fins,       print_swaps,
        print_moves,   print_rules,     print_predictions};
    print_head(report, units, stream);
    print_dive(report, units, stream);
    print_worst(report, units, stream);
    print_moments(report, page ? PAGE_ROWS : SIZE_MAX, units, stream);
    print_gear(report, page, stream);
    for (size_t i = 0; !page && i < sizeof more / sizeof *more; i++) {
        more[i](report, units, stream);
    }
    fputs(page ? "" : "\nA weight check in the water decides.\n", stream); /* below a picture */
}
